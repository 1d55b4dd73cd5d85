//! Any text is a roster or says why not, without a panic.
#![no_main]

use handfast::roster;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let _ = std::hint::black_box(roster::parse(text, None));
});
