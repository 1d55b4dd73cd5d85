//! A clock for benches that compare two things in one run.

use std::{hint::black_box, time::Instant};

/// Rounds of each; the fastest counts, since whatever else runs on the machine only slows.
const ROUNDS: usize = 300;

/// How long a round takes: short, so that some rounds run without interruption on a busy machine.
const ROUND_US: u128 = 1_000;

/// Returns the seconds that one call takes, of each, measured by turns so that a slow moment of the
/// machine hits all alike.
pub(crate) fn seconds<const N: usize>(calls: [&mut dyn FnMut() -> u64; N]) -> [f64; N] {
    let mut best = [f64::MAX; N];
    let mut calls = calls.map(|call| (repeats(&mut *call), call));
    for _ in 0..ROUNDS {
        for ((repeats, call), best) in calls.iter_mut().zip(&mut best) {
            let start = Instant::now();
            for _ in 0..*repeats {
                black_box(call());
            }
            *best = best.min(start.elapsed().as_secs_f64() / f64::from(*repeats));
        }
    }
    best
}

/// Returns how often to call in a round.
fn repeats(call: &mut dyn FnMut() -> u64) -> u32 {
    let mut repeats = 1;
    loop {
        let start = Instant::now();
        for _ in 0..repeats {
            black_box(call());
        }
        if start.elapsed().as_micros() >= ROUND_US {
            return repeats;
        }
        repeats *= 2;
    }
}
