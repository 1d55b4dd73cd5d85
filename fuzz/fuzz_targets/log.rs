//! Any octets are lines of a log: what hides in them is found or not, without a panic, and what is
//! taken for a frame is one.
#![no_main]

use handfast::{
    frame::decode,
    intake::{CaptureLines, Found, Item},
};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|octets: &[u8]| {
    // Whatever the lines are, this makes them those of a log.
    let log = [b"one two\nthree four\nfive six\n{\"rxpk\":[]}\n", octets].concat();
    for item in CaptureLines::new(log.as_slice()) {
        if let Ok(Item::Datagram(datagram)) = item
            && datagram.found == Found::Guessed
        {
            let down = datagram.txpk.iter().map(|down| &down.octets);
            for frame in datagram.rxpk.iter().map(|up| &up.octets).chain(down) {
                assert!(decode(frame).stopped.is_none());
            }
        }
    }
});
