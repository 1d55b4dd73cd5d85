//! Mistakes in the derivation of session keys: either side's.

use crate::explore::misreading::recipe::{
    FieldOrder, Middle, Order::Printed, Recipe, Rule, Source,
};

fn rule(recipe: &mut Recipe, rule: Rule) {
    recipe.keys.rule = rule;
    recipe.data.rule = rule;
}

rows! { Keys Either;
    // The rule
    "rule-of-1.1-though-opt-neg-is-clear" FallbackIgnored "LoRaWAN 1.1, 6.2.3"
        "derives keys and signs data by the rule of 1.1 although OptNeg is 0"
        "the Join-Accept is taken and no data frame after it verifies; FOpts looks like noise"
        |r| rule(r, Rule::V1_1);
    "rule-of-1.0-though-opt-neg-is-set" VersionOverstated "LoRaWAN 1.1, 6.2.3"
        "derives keys and signs data by the rule of 1.0 although OptNeg is 1"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| rule(r, Rule::V1_0);
    // What goes into the block
    "net-id-for-join-eui" SessionKeys "LoRaWAN 1.1, 6.2.3"
        "derives the session keys with NetID where 1.1 needs JoinEUI"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.middle = Middle::NetId;
    "join-eui-for-net-id" SessionKeys "LoRaWAN 1.0.4 p. 46"
        "derives the session keys with JoinEUI where 1.0 needs NetID"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.middle = Middle::JoinEui;
    "dev-eui-in-session-keys" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "derives the session keys with DevEUI where NetID (1.0) or JoinEUI (1.1) belongs"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.middle = Middle::DevEui;
    "octets-01-and-02-exchanged" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "swaps the derivation bytes 01 and 02: NwkSKey (FNwkSIntKey) and AppSKey change places"
        "MICs verify under AppSKey; each key is right and in the other's place"
        |r| r.keys.octets = [2, 3, 4, 1];
    "octets-01-and-03-exchanged" SessionKeys "LoRaWAN 1.1, 6.2.3"
        "swaps the derivation bytes 01 and 03: FNwkSIntKey and SNwkSIntKey change places"
        "no 1.1 data frame verifies, though both keys are those of the other side"
        |r| r.keys.octets = [3, 1, 4, 2];
    "octets-03-and-04-exchanged" SessionKeys "LoRaWAN 1.1, 6.2.3"
        "swaps the derivation bytes 03 and 04: SNwkSIntKey and NwkSEncKey change places"
        "the last two bytes of a 1.1 uplink's MIC are right, the first two are not"
        |r| r.keys.octets = [1, 4, 3, 2];
    "join-nonce-turned-in-session-keys" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "puts JoinNonce into the block most significant byte first"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.join_nonce = Printed;
    "net-id-turned-in-session-keys" SessionKeys "LoRaWAN 1.0.4 p. 46"
        "puts NetID into the block most significant byte first"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.net_id = Printed;
    "join-eui-turned-in-session-keys" SessionKeys "LoRaWAN 1.1, 6.2.3"
        "puts JoinEUI into the block most significant byte first"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.eui = Printed;
    "dev-nonce-turned-in-session-keys" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "puts DevNonce into the block most significant byte first"
        "data verifies after some joins (DevNonce of two equal bytes) and not after others"
        |r| r.keys.dev_nonce = Printed;
    "all-fields-turned-in-session-keys" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "puts JoinNonce, NetID or JoinEUI, and DevNonce into the block most significant byte first"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| {
            r.keys.join_nonce = Printed;
            r.keys.net_id = Printed;
            r.keys.eui = Printed;
            r.keys.dev_nonce = Printed;
        };
    "nonces-exchanged-in-session-keys" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "puts DevNonce where JoinNonce belongs, and JoinNonce where DevNonce belongs"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.field_order = FieldOrder::NoncesExchanged;
    "identifier-first-in-session-keys" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "puts NetID or JoinEUI before JoinNonce"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.field_order = FieldOrder::IdFirst;
    "session-key-block-padded-by-pkcs7" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "pads the block by PKCS#7, as AES libraries do unasked, where zeros belong"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.pkcs7 = true;
    "session-keys-by-aes-decryption" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "derives the session keys by AES decryption where encryption belongs"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.decrypts = true;
    // Where its values come from
    "network-keys-from-the-other-root-key" SessionKeys "LoRaWAN 1.1, 6.1.2 and 6.2.3"
        "derives the network session keys from another root key than the one that joined: AppKey \
         for NwkKey"
        "the Join-Accept is taken and no data frame after it verifies"
        |r| r.keys.network_root = Source::Other;
    "dev-nonce-of-another-attempt" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "derives the session keys with the DevNonce of another attempt than the one answered"
        "no data frame verifies, mostly after joins that took several attempts"
        |r| r.keys.dev_nonce_from = Source::Other;
    "join-nonce-of-another-accept" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "derives the session keys with the JoinNonce of another Join-Accept"
        "no data frame verifies, mostly where several Join-Accepts were made for one node"
        |r| r.keys.join_nonce_from = Source::Other;
    "keys-of-another-join" SessionKeys "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "uses the new DevAddr with the session keys of another join"
        "no data frame of the new DevAddr verifies, but under the keys of an older session"
        |r| r.keys.join = Source::Other;
}
