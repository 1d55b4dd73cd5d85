//! Mistakes in the cipher of FOpts (1.1): either side's.
//!
//! The standard here is LoRaWAN 1.1 with the erratum of 26 January 2018. A side that follows the
//! text as first published reads nothing wrong in it, and yet does not understand the other.

use crate::explore::misreading::recipe::{Constant, Order::Wire, Slot};

rows! { FOpts Either;
    "fopts-as-first-published" FOptsCipher "LoRaWAN 1.1, 4.3.1.6, erratum of 26 January 2018"
        "encrypts FOpts by the text of October 2017, without the erratum"
        "MICs verify and MAC commands in FOpts are noise; those on port 0 are well"
        |r| { r.fopts.constant = Constant::Zero; r.fopts.last = 0; };
    "fopts-in-clear" FOptsCipher "LoRaWAN 1.1, 4.3.1.6"
        "sends FOpts in clear, as in 1.0.x"
        "MICs verify; MAC commands in FOpts are noise once decrypted and readable before"
        |r| r.fopts.clear = true;
    "fopts-constant-1-beside-the-application-counter" FOptsCipher
        "LoRaWAN 1.1, erratum of 26 January 2018"
        "puts 1 into the block of FOpts although AFCntDwn counts, which takes 2"
        "MAC commands are noise in downlinks with an application payload alone"
        |r| r.fopts.constant = Constant::One;
    "fopts-constant-turned" FOptsCipher "LoRaWAN 1.1, erratum of 26 January 2018"
        "puts the erratum's constant into the block least significant byte first"
        "MICs verify and MAC commands in FOpts are noise"
        |r| r.fopts.constant_order = Wire;
    "fopts-block-ends-with-0" FOptsCipher "LoRaWAN 1.1, erratum of 26 January 2018"
        "ends the block of FOpts with 0 where the erratum has 1"
        "MICs verify and MAC commands in FOpts are noise"
        |r| r.fopts.last = 0;
    "fopts-constant-left-out" FOptsCipher "LoRaWAN 1.1, erratum of 26 January 2018"
        "leaves the erratum's constant out of the block of FOpts"
        "MICs verify and MAC commands in FOpts are noise"
        |r| r.fopts.constant = Constant::Zero;
    "fopts-under-f-nwk-s-int-key" FOptsCipher "LoRaWAN 1.1, 4.3.1.6"
        "encrypts FOpts under FNwkSIntKey where NwkSEncKey belongs"
        "MICs verify and MAC commands in FOpts are noise"
        |r| r.fopts.slot = Slot::Forwarding;
}
