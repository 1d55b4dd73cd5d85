//! What one thing costs beside another, whatever the machine: no test asserts seconds.

use std::{
    fs,
    sync::OnceLock,
    time::{Duration, Instant},
};

/// Measures so often before it is sure: what runs beside only ever slows down.
const ATTEMPTS: usize = 8;
/// Long enough for the system's own clock to tell.
const ENOUGH: Duration = Duration::from_millis(30);

/// Fails if `more` takes longer than so many times what `less` takes, by the shortest run of each.
pub(crate) fn at_most<T, U>(
    times: u32,
    what: &str,
    mut less: impl FnMut() -> T,
    mut more: impl FnMut() -> U,
) {
    let (mut least, mut most) = (Duration::MAX, Duration::MAX);
    for _ in 0..ATTEMPTS {
        least = least.min(cost(&mut less));
        most = most.min(cost(&mut more));
        if most <= least * times {
            return;
        }
    }
    panic!("{what}: {most:?} is more than {times} times {least:?}");
}

fn cost<T>(mut work: impl FnMut() -> T) -> Duration {
    let begun = spent();
    for runs in 1.. {
        std::hint::black_box(work());
        let taken = spent().saturating_sub(begun);
        if taken >= ENOUGH {
            return taken / runs;
        }
    }
    unreachable!()
}

/// How long this thread has run so far: other processes and tests do not count, where the system tells.
fn spent() -> Duration {
    static BEGUN: OnceLock<Instant> = OnceLock::new();
    // Nanoseconds on a core, nanoseconds in the queue, turns.
    let told = fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|told| told.split(' ').next()?.parse().ok());
    let clock = || BEGUN.get_or_init(Instant::now).elapsed();
    nanoseconds.map_or_else(clock, Duration::from_nanos)
}
