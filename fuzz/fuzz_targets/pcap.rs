//! Any octets are a capture of some kind, packed or not, or say why not, without a panic.
#![no_main]

use handfast::intake::Capture;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|octets: &[u8]| {
    for item in Capture::new(octets) {
        let _ = std::hint::black_box(item);
    }
});
