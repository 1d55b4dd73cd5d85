//! Mistakes that spoil payloads alone, the MIC being right: either side's.

use crate::explore::misreading::recipe::{AppRoot, Slot, Source};

rows! { Payload Either;
    // Another AppSKey
    "app-s-key-of-another-join" OtherJoin "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "keeps the AppSKey of another join next to the new network session key"
        "MICs verify and payloads are noise since a join"
        |r| r.keys.app_join = Source::Other;
    "app-s-key-of-another-time" OtherJoin "LoRaWAN 1.0.4 p. 46, 1.1 6.2.3"
        "holds an AppSKey that comes from no join in sight"
        "MICs verify and payloads are noise under the AppSKey on record; the one that this join \
         gives makes them sound"
        |r| r.keys.app_root = AppRoot::Elsewhere;
    "app-s-key-from-the-network-root-key" SessionKeys "LoRaWAN 1.1, 6.1.2 and 6.2.3"
        "derives AppSKey from NwkKey where 1.1 needs AppKey"
        "MICs verify and payloads are noise"
        |r| r.keys.app_root = AppRoot::Network;
    "app-s-key-from-the-other-root-key" SessionKeys "LoRaWAN 1.1, 6.2.3"
        "derives AppSKey from AppKey although OptNeg is 0, or from a root key of another claim"
        "MICs verify and payloads are noise"
        |r| r.keys.app_root = AppRoot::Other;
    "app-s-key-from-a-zero-root-key" SessionKeys "LoRaWAN 1.1, 6.1.2 and 6.2.3"
        "derives AppSKey from a root key of zeros: one that was never filled in"
        "MICs verify and payloads are noise"
        |r| r.keys.app_root = AppRoot::Zero;
    // The cipher
    "payload-in-clear" PayloadCipher "LoRaWAN 1.0.4 p. 24, 1.1 4.3.3"
        "sends FRMPayload in clear"
        "MICs verify; payloads are noise once decrypted and sound before"
        |r| r.payload.clear = true;
    "payload-under-the-network-key" PayloadCipher "LoRaWAN 1.0.4 p. 24, 1.1 4.3.3"
        "encrypts application payloads under NwkSKey (NwkSEncKey in 1.1)"
        "MICs verify and payloads are noise under AppSKey"
        |r| r.payload.slot = Slot::NetworkEnc;
    "payload-blocks-count-from-0" PayloadCipher "LoRaWAN 1.0.4 p. 24, 1.1 4.3.3"
        "counts the blocks of the key stream from 0 where they count from 1"
        "MICs verify and payloads are noise"
        |r| r.payload.first_block = 0;
    "payload-counter-upper-half-lost" PayloadCipher "LoRaWAN 1.0.4 p. 24, 1.1 4.3.3"
        "encrypts with the lower 16 bits of the counter alone, and signs with all 32"
        "all is well up to counter 65535; after it MICs verify and payloads are noise"
        |r| r.payload.low_half = true;
    "payload-dir-inverted" PayloadCipher "LoRaWAN 1.0.4 p. 24, 1.1 4.3.3"
        "puts Dir of the other direction into the blocks of the key stream"
        "MICs verify and the payloads of one side are noise"
        |r| r.payload.dir_inverted = true;
}
