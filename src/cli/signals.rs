//! Ctrl-C, SIGTERM and SIGHUP: how a run ends before its end.
//!
//! While a command reads, each of them ends it within a fifth of a second. During a search the first
//! Ctrl-C stops the search alone, and what is known is printed. The second one always ends the program.
//! The exit status is 128 and the signal's number, as is the convention.

use std::{
    sync::{
        Once,
        atomic::{AtomicBool, AtomicU8, Ordering},
    },
    thread,
    time::Duration,
};

use super::{Exit, output};

/// What a signal does.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[repr(u8)]
pub(super) enum Phase {
    /// It ends the program.
    Ends,
    /// It is seen by the command, which prints what it has and ends.
    Stops,
    /// It is seen by the command, which takes the time to end in order: a tap records what came.
    Closes,
    /// Ctrl-C stops a search; the others end the program.
    Searches,
}

static PHASE: AtomicU8 = AtomicU8::new(Phase::Ends as u8);
/// The first signal that was caught; 0 for none.
static CAUGHT: AtomicU8 = AtomicU8::new(0);
/// Set by a signal that does not end the program itself: anyone who reads, waits or searches looks at it.
pub(super) static STOP: AtomicBool = AtomicBool::new(false);

/// Says what a signal does from now on; returns what it did before. In a command that stops by itself a
/// search stops with it.
pub(super) fn phase(phase: Phase) -> Phase {
    let before = match PHASE.load(Ordering::SeqCst) {
        p if p == Phase::Stops as u8 => Phase::Stops,
        p if p == Phase::Closes as u8 => Phase::Closes,
        p if p == Phase::Searches as u8 => Phase::Searches,
        _ => Phase::Ends,
    };
    let after = if before == Phase::Stops { before } else { phase };
    PHASE.store(after as u8, Ordering::SeqCst);
    before
}

/// Returns the exit status that the signal asks for, if there was one.
pub(super) fn status() -> Option<Exit> {
    match CAUGHT.load(Ordering::SeqCst) {
        0 => None,
        1 => Some(Exit::HungUp),
        INTERRUPT => Some(Exit::Interrupted),
        _ => Some(Exit::Terminated),
    }
}

/// Returns whether the command is to stop.
pub(super) fn is_stopped() -> bool {
    STOP.load(Ordering::Relaxed)
}

/// Takes the signals; once a process, and before it has other threads.
pub(super) fn watch() {
    static ONCE: Once = Once::new();
    ONCE.call_once(begin);
}

#[cfg(unix)]
fn begin() {
    use nix::sys::signal::{SigSet, Signal};
    let ignored = ignored();
    let mut set = SigSet::empty();
    for signal in [Signal::SIGINT, Signal::SIGTERM, Signal::SIGHUP] {
        // Whoever runs us under `nohup` means it.
        if ignored & (1 << (signal as i32 - 1)) == 0 {
            set.add(signal);
        }
    }
    // Threads begun from now on have them blocked as well: one alone waits for them. Without it the
    // system ends the program as it always does.
    if set.thread_block().is_err() {
        return;
    }
    let waits = move || {
        while let Ok(signal) = set.wait() {
            caught(signal as u8);
        }
    };
    let begun = thread::Builder::new().name("signals".into()).spawn(waits);
    if begun.is_err() {
        let _ = set.thread_unblock();
    }
}

/// Returns the signals that were ignored when the program began, one bit each.
#[cfg(unix)]
fn ignored() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    line.and_then(|digits| u64::from_str_radix(digits.trim(), 16).ok()).unwrap_or_default()
}

#[cfg(not(unix))]
fn begin() {
    // Without a handler the system ends the program, which is as well.
    let _ = ctrlc::set_handler(|| caught(INTERRUPT));
}

/// The number of Ctrl-C.
const INTERRUPT: u8 = 2;

fn caught(number: u8) {
    let first = CAUGHT.compare_exchange(0, number, Ordering::SeqCst, Ordering::SeqCst).is_ok();
    let phase = PHASE.load(Ordering::SeqCst);
    let waits = first
        && match phase {
            p if p == Phase::Stops as u8 || p == Phase::Closes as u8 => true,
            p if p == Phase::Searches as u8 => number == INTERRUPT,
            _ => false,
        };
    if !waits {
        end(number);
    }
    STOP.store(true, Ordering::SeqCst);
    if phase == Phase::Stops as u8 {
        // A command that hangs on a pipe which nobody reads ends, too.
        thread::spawn(move || {
            thread::sleep(PATIENCE);
            end(number);
        });
    }
}

fn end(number: u8) {
    output::abandon();
    std::process::exit(128 + i32::from(number));
}

/// How long a command that was told to stop may take to print what it has.
const PATIENCE: Duration = Duration::from_secs(5);
