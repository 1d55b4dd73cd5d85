//! Mistakes in a Join-Accept: the server's.

use crate::explore::misreading::recipe::{
    Cipher, EuiIn, Mac, MhdrIn,
    Order::{Printed, Wire},
    Rule, Sealing, Source,
};

rows! { Accept Server;
    // The rule of the MIC
    "mic-rule-of-1.0-though-opt-neg-is-set" AcceptVersion "LoRaWAN 1.1, 6.2.3"
        "sets OptNeg, which is RFU in 1.0.x, and yet signs the Join-Accept by the rule of 1.0"
        "a 1.0.x node joins and a 1.1 node, with the same key, never takes the Join-Accept"
        |r| r.accept.rule = Some(Rule::V1_0);
    "mic-rule-of-1.1-though-opt-neg-is-clear" AcceptVersion "LoRaWAN 1.1, 6.2.3"
        "leaves OptNeg clear and yet signs the Join-Accept by the rule of 1.1"
        "the Join-Accept decrypts well and no node takes it"
        |r| r.accept.rule = Some(Rule::V1_1);
    "accept-mic-under-the-other-rules-key" AcceptVersion "LoRaWAN 1.1, 6.2.3"
        "signs the right input under the other rule's key: the root key where JSIntKey belongs, or \
         JSIntKey where the root key belongs"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.other_mic_key = true;
    // What it answers
    "answers-another-request" AcceptOfAnotherRequest "LoRaWAN 1.1, 6.2.3 and 6.2.4.4"
        "makes the Join-Accept for another of the node's requests than the one it answers in time"
        "the Join-Accept decrypts well and its MIC fails; it would hold for an earlier attempt"
        |r| r.accept.answers = Source::Other;
    "nonce-of-another-request-in-accept-mic" AcceptOfAnotherRequest "LoRaWAN 1.1, 6.2.3 and 6.2.4.4"
        "signs the nonce of another request: of an earlier attempt, or DevNonce where a \
         Rejoin-Request's RJcount belongs"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.nonce = Source::Other;
    "nonce-left-out-of-accept-mic" AcceptSealing "LoRaWAN 1.1, 6.2.3"
        "leaves DevNonce out of what it signs by the rule of 1.1"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.nonce = Source::Nowhere;
    "nonce-turned-in-accept-mic" AcceptSealing "LoRaWAN 1.1, 6.2.3"
        "signs DevNonce most significant byte first"
        "the Join-Accept decrypts well and its MIC fails, but for some values of DevNonce"
        |r| r.accept.nonce_order = Printed;
    "join-req-type-of-a-join-in-every-accept" AcceptSealing "LoRaWAN 1.1, 6.2.4.4"
        "signs JoinReqType FF although it answers a Rejoin-Request"
        "nodes join, and never take the answer to a Rejoin-Request"
        |r| r.accept.join_req_type = Source::Other;
    "join-req-type-left-out-of-accept-mic" AcceptSealing "LoRaWAN 1.1, 6.2.3"
        "leaves JoinReqType out of what it signs by the rule of 1.1"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.join_req_type = Source::Nowhere;
    "join-eui-turned-in-accept-mic" AcceptSealing "LoRaWAN 1.1, 6.2.3"
        "signs JoinEUI most significant byte first"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.eui = EuiIn::Join(Printed);
    "join-eui-left-out-of-accept-mic" AcceptSealing "LoRaWAN 1.1, 6.2.3"
        "leaves JoinEUI out of what it signs by the rule of 1.1"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.eui = EuiIn::LeftOut;
    "dev-eui-for-join-eui-in-accept-mic" AcceptSealing "LoRaWAN 1.1, 6.2.3"
        "signs DevEUI where JoinEUI belongs"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.eui = EuiIn::Dev(Wire);
    "euis-and-nonce-turned-in-accept-mic" AcceptSealing "LoRaWAN 1.1, 6.2.3"
        "signs JoinEUI and DevNonce most significant byte first"
        "the Join-Accept decrypts well and its MIC fails"
        |r| { r.accept.eui = EuiIn::Join(Printed); r.accept.nonce_order = Printed; };
    // The fields
    "mhdr-left-out-of-accept-mic" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "leaves MHDR out of what it signs"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.mhdr = MhdrIn::LeftOut;
    "mhdr-zero-in-accept-mic" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "signs 00 where MHDR belongs"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.mhdr = MhdrIn::Zero;
    "join-nonce-turned-in-accept-mic" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "signs JoinNonce in one byte order and sends it in the other"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.join_nonce = Printed;
    "net-id-turned-in-accept-mic" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "signs NetID in one byte order and sends it in the other"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.net_id = Printed;
    "dev-addr-turned-in-accept-mic" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "signs DevAddr in one byte order and sends it in the other"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.dev_addr = Printed;
    "all-fields-turned-in-accept-mic" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "signs JoinNonce, NetID and DevAddr in one byte order and sends them in the other"
        "the Join-Accept decrypts well and its MIC fails"
        |r| {
            r.accept.join_nonce = Printed;
            r.accept.net_id = Printed;
            r.accept.dev_addr = Printed;
        };
    "cf-list-left-out-of-accept-mic" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "leaves CFList out of what it signs"
        "Join-Accepts without a CFList are taken, those with one are not"
        |r| r.accept.cf_list_in_mic = false;
    // The join server's keys
    "dev-eui-turned-in-js-keys" AcceptSealing "LoRaWAN 1.1, 6.1.1.4"
        "derives JSIntKey and JSEncKey with DevEUI most significant byte first"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.js_eui = EuiIn::Dev(Printed);
    "join-eui-in-js-keys" AcceptSealing "LoRaWAN 1.1, 6.1.1.4"
        "derives JSIntKey and JSEncKey with JoinEUI where DevEUI belongs"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.js_eui = EuiIn::Join(Wire);
    "no-eui-in-js-keys" AcceptSealing "LoRaWAN 1.1, 6.1.1.4"
        "derives JSIntKey and JSEncKey without DevEUI"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.js_eui = EuiIn::LeftOut;
    "js-key-octets-exchanged" AcceptSealing "LoRaWAN 1.1, 6.1.1.4"
        "derives JSIntKey with 05 and JSEncKey with 06: swapped"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.js_octets_exchanged = true;
    "js-keys-from-the-other-root-key" AcceptSealing "LoRaWAN 1.1, 6.1.1.4"
        "derives JSIntKey and JSEncKey from AppKey where NwkKey belongs"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.js_root = Source::Other;
    // Encryption
    "accept-encrypted-under-the-wrong-kind-of-key" AcceptSealing "LoRaWAN 1.1, 6.2.3"
        "encrypts the answer to a Join-Request under JSEncKey, or the answer to a Rejoin-Request \
         under NwkKey"
        "the Join-Accept decrypts to noise"
        |r| r.accept.other_cipher_key = true;
    "accept-encrypted-by-aes-encryption" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "encrypts the Join-Accept by AES encryption where a server has to decrypt"
        "the Join-Accept decrypts to noise in every node"
        |r| r.accept.cipher = Cipher::EcbEncrypt;
    "accept-chained-by-aes-decryption" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "decrypts the Join-Accept in CBC mode: blocks are to be turned each on its own"
        "Join-Accepts without a CFList are taken, those with one are not"
        |r| r.accept.cipher = Cipher::CbcDecrypt;
    "accept-chained-by-aes-encryption" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "encrypts the Join-Accept in CBC mode by AES encryption"
        "the Join-Accept decrypts to noise in every node"
        |r| r.accept.cipher = Cipher::CbcEncrypt;
    "accept-encrypted-by-a-key-stream" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "encrypts the Join-Accept by a key stream of counter blocks (CTR mode)"
        "the Join-Accept decrypts to noise in every node"
        |r| r.accept.cipher = Cipher::Ctr;
    "accept-in-clear" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "sends the Join-Accept in clear"
        "the fields are readable in the frame, and it decrypts to noise in every node"
        |r| r.accept.cipher = Cipher::Clear;
    "accept-mic-in-clear" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "encrypts the padded fields without MIC and sends MIC in clear after them"
        "the Join-Accept has four bytes more than it can have: 21 or 37"
        |r| r.accept.sealing = Sealing::MicInClear;
    "mhdr-encrypted-into-the-accept" AcceptSealing "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "encrypts MHDR along with the fields, and pads what then fills no block"
        "the Join-Accept has a block more than it should and its fields are one byte too far"
        |r| r.accept.sealing = Sealing::MhdrInside;
    // The MAC
    "accept-mic-back-to-front" AcceptSealing "LoRaWAN 1.0.4 p. 46, RFC 4493 2.4"
        "lays the bytes of MIC down back to front"
        "the Join-Accept decrypts well; its MIC and the one expected are each other's reversal"
        |r| r.accept.mic.reversed = true;
    "accept-mic-from-the-end-of-the-cmac" AcceptSealing "LoRaWAN 1.0.4 p. 46, RFC 4493 2.4"
        "takes the last four bytes of the CMAC for MIC, not the first"
        "the Join-Accept decrypts well and its MIC fails"
        |r| r.accept.mic.from_the_end = true;
    "accept-mac-without-subkey" AcceptSealing "RFC 4493, 2.4"
        "chains the blocks of the MAC and leaves the subkey out"
        "every MIC that this side makes fails, whatever the frame"
        |r| r.accept.mic.mac = Mac::NoSubkey;
    "accept-mac-with-k1-for-k2" AcceptSealing "RFC 4493, 2.4"
        "takes K1 for a last block that was padded, where K2 belongs"
        "MICs over whole blocks hold, all others fail"
        |r| r.accept.mic.mac = Mac::OneSubkey;
    "accept-mac-padded-with-zeros" AcceptSealing "RFC 4493, 2.4"
        "pads the last block of the MAC with zeros alone, without the one bit in front"
        "MICs over whole blocks hold, all others fail"
        |r| r.accept.mic.mac = Mac::ZeroPadding;
}
