//! How fast keys are tried, beside the rate of bare key expansion and the AES blocks needed.
#![expect(clippy::print_stdout, reason = "a benchmark prints")]

use std::{
    hint::black_box,
    sync::atomic::{AtomicBool, Ordering},
    time::{Duration, Instant},
};

use aes::{
    Aes128Enc,
    cipher::{
        Array, BlockCipherEncBackend, BlockCipherEncClosure, BlockCipherEncrypt, BlockSizeUser,
        KeyInit, consts::U16,
    },
};
use handfast::{
    explore::near_miss::{Clues, Effort, Known, KnownKind, MistakeClass, Target, search},
    frame::Mic,
    key::Aes128Key,
};

/// Blocks of a Join-Request's CMAC: the subkey and 19 octets.
const BLOCKS: usize = 3;
const ROUNDS: usize = 5;

/// `BLOCKS` independent blocks in one call: no MIC can be had for less.
struct Bare<'a>(&'a mut [u8; 16]);

impl BlockSizeUser for Bare<'_> {
    type BlockSize = U16;
}

impl BlockCipherEncClosure for Bare<'_> {
    #[inline]
    fn call<B: BlockCipherEncBackend<BlockSize = U16>>(self, aes: &B) {
        for i in 0..BLOCKS {
            let mut block = Array::from([u8::try_from(i).unwrap_or_default(); 16]);
            aes.encrypt_block((&mut block).into());
            self.0.iter_mut().zip(block).for_each(|(sum, octet)| *sum ^= octet);
        }
    }
}

fn bare(keys: u64) {
    let mut sum = [0; 16];
    for i in 0..u128::from(keys) {
        let cipher = Aes128Enc::new(&Array::from(black_box(i << 40).to_be_bytes()));
        cipher.encrypt_with_backend(Bare(&mut sum));
    }
    black_box(sum);
}

/// Tries every candidate up to so many digits around a key that explains nothing.
fn explore(max_digits: u8) -> u64 {
    static NEVER: AtomicBool = AtomicBool::new(false);
    let key = Aes128Key::new(*b"\xD2\x30\x6C\x9B\x9A\x5F\x88\x01\x62\x08\x10\x3F\x7E\x8A\x07\xA6");
    let known = vec![Known { label: "a key".into(), key: &key, kind: KnownKind::Claimed }];
    let clues = Clues { known, ..Clues::default() };
    let target = |octet| Target { signed: vec![octet; 19], mic: Mic([octet; 4]) };
    let effort = Effort { max_digits, stop: &NEVER, progress: None };
    let report = search(&clues, &[target(1), target(2)], &effort);
    assert!(report.hits.is_empty() && !NEVER.load(Ordering::Relaxed));
    assert_eq!(
        report.covered.last().map(|c| c.class) == Some(MistakeClass::ThreeDigits),
        max_digits == 3
    );
    report.tried()
}

/// The shortest of some rounds: what else runs on the machine only ever adds.
fn best(mut what: impl FnMut() -> u64) -> (u64, Duration) {
    let mut best = (0, Duration::MAX);
    for _ in 0..ROUNDS {
        let before = Instant::now();
        let count = what();
        best = std::cmp::min_by_key(best, (count, before.elapsed()), |(_, time)| *time);
    }
    best
}

#[expect(clippy::cast_precision_loss, reason = "rates to three digits")]
fn report(name: &str, (count, time): (u64, Duration)) -> f64 {
    let rate = count as f64 / time.as_secs_f64();
    let millis = time.as_secs_f64() * 1e3;
    println!("{name:42} {:8.2} M keys/s  {count:>10} in {millis:8.1} ms", rate / 1e6);
    rate
}

#[cfg(feature = "parallel")]
fn on_one_core<T: Send>(what: impl FnOnce() -> T + Send) -> T {
    match rayon::ThreadPoolBuilder::new().num_threads(1).build() {
        Ok(pool) => pool.install(what),
        Err(_) => what(),
    }
}

#[cfg(not(feature = "parallel"))]
fn on_one_core<T>(what: impl FnOnce() -> T) -> T {
    what()
}

fn main() {
    if !std::env::args().any(|arg| arg == "--bench") {
        explore(1); // run as a test: only that it runs
        return;
    }
    println!("AES instructions: {}", if aes::hardware_accelerated() { "yes" } else { "no" });
    let floor = report(
        "bare: key expansion and 3 blocks, 1 core",
        best(|| {
            bare(4_000_000);
            4_000_000
        }),
    );
    let one = report("three digits, 1 core", on_one_core(|| best(|| explore(3))));
    report("two digits, 1 core", on_one_core(|| best(|| explore(2))));
    let all = report("three digits, all cores", best(|| explore(3)));
    report("two digits, all cores", best(|| explore(2)));
    println!("1 core against bare: {:.2}; all cores against 1: {:.2}", one / floor, all / one);
}
