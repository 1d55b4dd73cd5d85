//! How session keys are derived, and data frames signed and encrypted.

use super::{MhdrIn, MicForm, Order, Rule, Slot, Source};

/// Which identifier stands in the middle of a session key's block.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Middle {
    /// NetID in 1.0.x, JoinEUI in 1.1.
    ByRule,
    NetId,
    JoinEui,
    DevEui,
}

/// The order of the three fields in a session key's block.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum FieldOrder {
    /// JoinNonce, identifier, DevNonce.
    Standard,
    /// DevNonce, identifier, JoinNonce.
    NoncesExchanged,
    /// Identifier, JoinNonce, DevNonce.
    IdFirst,
}

/// The root of AppSKey.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum AppRoot {
    /// AppKey in 1.1, the one root key in 1.0.x.
    ByRule,
    /// The root that the network session keys come from.
    Network,
    /// Another root key that is claimed.
    Other,
    /// Sixteen zero octets.
    Zero,
    /// No join in sight: the key is of another place or time.
    Elsewhere,
}

#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) struct KeyRecipe {
    pub(crate) rule: Rule,
    pub(crate) middle: Middle,
    pub(crate) field_order: FieldOrder,
    /// First octets: FNwkSIntKey (NwkSKey), SNwkSIntKey, NwkSEncKey, AppSKey.
    pub(crate) octets: [u8; 4],
    pub(crate) join_nonce: Order,
    pub(crate) net_id: Order,
    pub(crate) eui: Order,
    pub(crate) dev_nonce: Order,
    /// PKCS#7 padding instead of zeros.
    pub(crate) pkcs7: bool,
    /// AES decryption instead of encryption.
    pub(crate) decrypts: bool,
    pub(crate) network_root: Source,
    pub(crate) app_root: AppRoot,
    pub(crate) dev_nonce_from: Source,
    pub(crate) join_nonce_from: Source,
    /// The whole of another join, for all keys.
    pub(crate) join: Source,
    /// The same, for AppSKey alone.
    pub(crate) app_join: Source,
}

impl KeyRecipe {
    /// Returns the right way.
    pub(super) const fn standard(rule: Rule) -> Self {
        Self {
            rule,
            middle: Middle::ByRule,
            field_order: FieldOrder::Standard,
            octets: [1, 3, 4, 2],
            join_nonce: Order::Wire,
            net_id: Order::Wire,
            eui: Order::Wire,
            dev_nonce: Order::Wire,
            pkcs7: false,
            decrypts: false,
            network_root: Source::This,
            app_root: AppRoot::ByRule,
            dev_nonce_from: Source::This,
            join_nonce_from: Source::This,
            join: Source::This,
            app_join: Source::This,
        }
    }
}

/// Which ConfFCnt a block holds.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Conf {
    /// That of the acknowledged frame when ACK is set, else 0.
    Standard,
    LeftOut,
    OneMore,
    OneLess,
    /// That of the last confirmed frame, ACK or not.
    WithoutAckToo,
}

/// How the two halves of a 1.1 uplink's MIC are laid down.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Halves {
    /// Serving, then forwarding, octets 0 and 1 of each.
    Standard,
    Exchanged,
    /// Octets 2 and 3 of the forwarding CMAC, as if the MICs were laid over one another.
    Overlaid,
}

/// Octet 15 of B0 and B1.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Len {
    Msg,
    WithMic,
    Zero,
}

#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each is one mistake, made or not")]
pub(crate) struct DataRecipe {
    pub(crate) rule: Rule,
    pub(crate) forwarding: Slot,
    pub(crate) serving: Slot,
    pub(crate) down: Slot,
    pub(crate) halves: Halves,
    pub(crate) mic: MicForm,
    /// The upper 16 bits of the counter are taken as zero.
    pub(crate) low_half: bool,
    pub(crate) fcnt: Order,
    pub(crate) dev_addr: Order,
    /// Dir of the other direction.
    pub(crate) dir_inverted: bool,
    pub(crate) first: u8,
    /// The blocks stand in front of the message at all.
    pub(crate) has_block: bool,
    pub(crate) len: Len,
    pub(crate) mhdr: MhdrIn,
    pub(crate) conf: Conf,
    /// ConfFCnt also where the standard has zeros: in B0 of a 1.1 uplink, in B0 of 1.0.x.
    pub(crate) conf_in_b0: bool,
    pub(crate) tx_dr_zero: bool,
    pub(crate) tx_ch_zero: bool,
    pub(crate) tx_exchanged: bool,
    /// The MIC is made before FRMPayload is encrypted.
    pub(crate) over_plaintext: bool,
}

impl DataRecipe {
    /// Returns the right way.
    pub(super) const fn standard(rule: Rule) -> Self {
        Self {
            rule,
            forwarding: Slot::Forwarding,
            serving: Slot::Serving,
            down: Slot::Serving,
            halves: Halves::Standard,
            mic: MicForm::STANDARD,
            low_half: false,
            fcnt: Order::Wire,
            dev_addr: Order::Wire,
            dir_inverted: false,
            first: 0x49,
            has_block: true,
            len: Len::Msg,
            mhdr: MhdrIn::AsSent,
            conf: Conf::Standard,
            conf_in_b0: false,
            tx_dr_zero: false,
            tx_ch_zero: false,
            tx_exchanged: false,
            over_plaintext: false,
        }
    }
}

#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) struct PayloadRecipe {
    pub(crate) clear: bool,
    pub(crate) slot: Slot,
    /// The number of the first block A.
    pub(crate) first_block: u8,
    pub(crate) low_half: bool,
    pub(crate) dir_inverted: bool,
}

impl PayloadRecipe {
    /// Returns the right way.
    pub(super) const fn standard() -> Self {
        Self { clear: false, slot: Slot::App, first_block: 1, low_half: false, dir_inverted: false }
    }
}

/// The constant in octets 1 to 4 of the block A of FOpts.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Constant {
    /// 1, or 2 where AFCntDwn counts: the erratum.
    ByCounter,
    /// 1 always.
    One,
    /// 0: as first published.
    Zero,
}

#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) struct FOptsRecipe {
    pub(crate) clear: bool,
    pub(crate) slot: Slot,
    pub(crate) constant: Constant,
    /// The constant least significant octet first, as all else.
    pub(crate) constant_order: Order,
    pub(crate) last: u8,
}

impl FOptsRecipe {
    /// Returns the right way.
    pub(super) const fn standard() -> Self {
        Self {
            clear: false,
            slot: Slot::NetworkEnc,
            constant: Constant::ByCounter,
            constant_order: Order::Printed,
            last: 1,
        }
    }
}
