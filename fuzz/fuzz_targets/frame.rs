//! Any octets decode without a panic, and what decodes whole builds back.
#![no_main]

use handfast::frame::{JoinAccept, decode};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|octets: &[u8]| {
    if let Some(frame) = decode(octets).frame {
        assert_eq!(frame.build(), octets);
    }
    if let Ok(opened) = JoinAccept::read_opened(octets) {
        assert_eq!(opened.accept.octets(), octets);
    }
});
