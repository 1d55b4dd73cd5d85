//! Any octets are a capture of some kind, packed or not, or say why not, without a panic.
#![no_main]

use std::io::Cursor;

use handfast::intake::{Capture, OpenOptions};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|octets: &[u8]| {
    for item in Capture::open(Box::new(Cursor::new(octets.to_vec())), OpenOptions::default()) {
        let _ = std::hint::black_box(item);
    }
});
