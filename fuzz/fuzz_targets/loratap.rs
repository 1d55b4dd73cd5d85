//! Any octets are a LoRaTap packet or say why not; what was read is written so that it reads alike.
#![no_main]

use handfast::intake::LoraTap;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|octets: &[u8]| {
    if let Ok((tap, _)) = LoraTap::read(octets) {
        let written = tap.octets();
        let again = LoraTap::read(&written).map(|(tap, _)| tap.octets());
        assert_eq!(again, Ok(written));
    }
});
