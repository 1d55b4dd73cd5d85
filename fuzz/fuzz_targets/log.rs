//! Any octets are lines of a log: what hides in them is found or not, without a panic, and what is
//! taken for a frame is one.
#![no_main]

use handfast::intake::{Capture, HowFound, Item};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|octets: &[u8]| {
    // Whatever the lines are, this makes them those of a log.
    let log = [b"one two\nthree four\nfive six\n{\"rxpk\":[]}\n", octets].concat();
    for item in Capture::new(log.as_slice()) {
        if let Ok(Item::Event(event)) = item
            && event.found == HowFound::Guessed
        {
            assert!(event.frame().is_none_or(|frame| frame.stopped.is_none()));
        }
    }
});
