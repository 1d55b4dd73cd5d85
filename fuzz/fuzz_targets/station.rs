//! Any octets are messages of the station protocol or say why not, with and without guessing.
#![no_main]

use handfast::intake::{Capture, CaptureOptions};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|octets: &[u8]| {
    let options = CaptureOptions { strict: true, ..CaptureOptions::default() };
    Capture::open(octets, options).for_each(drop);
    let behind = [&b"2026-03-02T08:00:03Z gw "[..], octets].concat();
    Capture::new(behind.as_slice()).for_each(drop);
});
