//! Any text is a node's console: the ladder is climbed with it, without a panic.
#![no_main]

use std::sync::LazyLock;

use handfast::{
    intake::{Capture, Item},
    ladder::{Options, diagnose},
    roster::{self, Roster},
    trace::{Trace, Tracer},
};
use libfuzzer_sys::fuzz_target;

/// A node whose accepts are good: what its console says decides.
static ROSTER: LazyLock<Roster> = LazyLock::new(|| {
    roster::parse(include_str!("../../vectors/join/jf-33/roster.toml"), None).unwrap()
});
static TRACE: LazyLock<Trace> = LazyLock::new(|| {
    let mut tracer = Tracer::new(&ROSTER);
    let capture = include_str!("../../vectors/join/jf-33/capture.ndjson");
    for item in Capture::new(capture.as_bytes()) {
        if let Ok(Item::Event(event)) = item {
            tracer.push(event);
        }
    }
    tracer.finish()
});

fuzz_target!(|text: &str| {
    let mut roster = ROSTER.clone();
    if let Some(firmware) = &mut roster.nodes[0].firmware {
        firmware.log.clear();
    }
    roster.nodes[0].add_console(text.lines());
    diagnose(&TRACE, &roster, Options::default());
});
