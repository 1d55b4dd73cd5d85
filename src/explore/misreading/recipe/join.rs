//! How a Join-Request is signed, and a Join-Accept signed and encrypted.

use super::{MhdrIn, MicForm, Order, Rule, Source};

#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) struct RequestRecipe {
    pub(crate) mhdr: MhdrIn,
    pub(crate) join_eui: Order,
    pub(crate) dev_eui: Order,
    pub(crate) dev_nonce: Order,
    pub(crate) euis_exchanged: bool,
    /// Four zero octets, where MIC will stand, are signed too.
    pub(crate) zero_mic: bool,
    /// JSIntKey signs instead of the root key.
    pub(crate) under_js_int_key: bool,
    pub(crate) mic: MicForm,
}

impl RequestRecipe {
    /// Returns the right way.
    pub(super) const fn standard() -> Self {
        Self {
            mhdr: MhdrIn::AsSent,
            join_eui: Order::Wire,
            dev_eui: Order::Wire,
            dev_nonce: Order::Wire,
            euis_exchanged: false,
            zero_mic: false,
            under_js_int_key: false,
            mic: MicForm::STANDARD,
        }
    }
}

/// How the octets after MHDR of a Join-Accept are turned.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Cipher {
    /// Each block decrypted on its own: the standard's way for a server.
    EcbDecrypt,
    EcbEncrypt,
    CbcDecrypt,
    CbcEncrypt,
    /// A key stream of counter blocks from zero.
    Ctr,
    Clear,
}

/// What lies inside the encrypted part of a Join-Accept.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Sealing {
    /// Fields and MIC.
    FieldsAndMic,
    /// Fields alone, padded; MIC follows in clear.
    MicInClear,
    /// MHDR once more, fields and MIC, padded.
    MhdrInside,
}

/// Which EUI, in which order, goes into JSIntKey and JSEncKey.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum EuiIn {
    Dev(Order),
    Join(Order),
    LeftOut,
}

#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each is one mistake, made or not")]
pub(crate) struct AcceptRecipe {
    pub(crate) cipher: Cipher,
    pub(crate) sealing: Sealing,
    /// JSEncKey for the answer to a Join-Request, the root key for that to a Rejoin-Request.
    pub(crate) other_cipher_key: bool,
    /// The rule of the MIC; `None` is by OptNeg.
    pub(crate) rule: Option<Rule>,
    /// The other rule's key: the root key over the input of 1.1, JSIntKey over that of 1.0.
    pub(crate) other_mic_key: bool,
    /// 05 and 06 exchanged.
    pub(crate) js_octets_exchanged: bool,
    pub(crate) js_eui: EuiIn,
    pub(crate) js_root: Source,
    pub(crate) mhdr: MhdrIn,
    /// FF for a Rejoin-Request too; `Nowhere` leaves JoinReqType out.
    pub(crate) join_req_type: Source,
    pub(crate) eui: EuiIn,
    /// DevNonce or RJcount.
    pub(crate) nonce: Source,
    pub(crate) nonce_order: Order,
    /// The request answered, its type and nonce together.
    pub(crate) answers: Source,
    pub(crate) join_nonce: Order,
    pub(crate) net_id: Order,
    pub(crate) dev_addr: Order,
    pub(crate) cf_list_in_mic: bool,
    pub(crate) mic: MicForm,
}

impl AcceptRecipe {
    /// Returns the right way.
    pub(super) const fn standard() -> Self {
        Self {
            cipher: Cipher::EcbDecrypt,
            sealing: Sealing::FieldsAndMic,
            other_cipher_key: false,
            rule: None,
            other_mic_key: false,
            js_octets_exchanged: false,
            js_eui: EuiIn::Dev(Order::Wire),
            js_root: Source::This,
            mhdr: MhdrIn::AsSent,
            join_req_type: Source::This,
            eui: EuiIn::Join(Order::Wire),
            nonce: Source::This,
            nonce_order: Order::Wire,
            answers: Source::This,
            join_nonce: Order::Wire,
            net_id: Order::Wire,
            dev_addr: Order::Wire,
            cf_list_in_mic: true,
            mic: MicForm::STANDARD,
        }
    }
}
