//! Any octets are a capture or a frame text, or say why not, without a panic.
#![no_main]

use handfast::intake::{Capture, frame_text};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|octets: &[u8]| {
    for item in Capture::new(octets) {
        let _ = std::hint::black_box(item);
    }
    if let Ok(text) = std::str::from_utf8(octets) {
        let _ = std::hint::black_box(frame_text(text));
    }
});
