//! The search itself: kinds of mistake one after another, the pieces of each on all cores.

use std::sync::atomic::{AtomicU64, Ordering};

use zeroize::Zeroizing;

use super::{
    Certainty, Clues, Covered, Effort, Hit, KnownKind, MistakeClass, Report, Target,
    classes::Piece,
    digits::Digits,
    from_eui,
    kernel::Message,
    mistake::Mistake,
    odds, sample,
    sink::{Counter, Prober, Sink},
};
use crate::{frame::Mic, key::Aes128Key};

/// A known key and what it is.
pub(super) struct Around {
    pub(super) known: usize,
    pub(super) kind: KnownKind,
    pub(super) digits: Zeroizing<Digits>,
}

/// One piece of a kind of mistake, around one known key or none.
struct Job<'a> {
    around: Option<&'a Around>,
    piece: Piece,
}

/// A candidate that explains every frame.
struct RunHit {
    known: Option<usize>,
    key: Aes128Key,
    mistake: Mistake,
}

pub(super) struct Search<'a> {
    clues: &'a Clues<'a>,
    effort: &'a Effort<'a>,
    frames: Vec<(Message, Mic)>,
    around: Vec<Around>,
    done: AtomicU64,
}

impl<'a> Search<'a> {
    pub(super) fn new(clues: &'a Clues<'a>, targets: &[Target], effort: &'a Effort<'a>) -> Self {
        let mut frames: Vec<(Message, Mic)> = Vec::with_capacity(targets.len());
        for target in targets {
            let frame = (Message::new(&target.signed), target.mic);
            // A copy of a frame is no second witness.
            if !frames.contains(&frame) {
                frames.push(frame);
            }
        }
        Self { clues, effort, frames, around: around(clues), done: AtomicU64::new(0) }
    }

    pub(super) fn run(&self) -> Report {
        let mut report = Report::default();
        if self.frames.is_empty() {
            return report;
        }
        let plan: Vec<(MistakeClass, Vec<Job<'_>>, u64)> = MistakeClass::ALL
            .iter()
            .filter(|class| class.wrong_digits() <= self.effort.max_digits)
            .map(|&class| {
                let jobs = self.jobs(class);
                let total = jobs.iter().map(|job| self.count(class, job)).sum();
                (class, jobs, total)
            })
            .collect();
        let planned = plan.iter().map(|(_, _, total)| total).sum();
        for (class, jobs, total) in plan {
            let before = self.done.load(Ordering::Relaxed);
            let found = self.try_all(class, &jobs, planned);
            let after = self.done.load(Ordering::Relaxed);
            report.covered.push(Covered { class, tried: after - before, total });
            report.hits = self.hits(found, after);
            report.interrupted = after - before < total;
            if report.interrupted || !report.hits.is_empty() {
                break;
            }
        }
        report
    }

    fn jobs(&self, class: MistakeClass) -> Vec<Job<'_>> {
        if class.needs_no_key() {
            return vec![Job { around: None, piece: [0; 3] }];
        }
        let pieces = class.pieces(32);
        let around = self.around.iter().filter(|around| class.applies_to(around.kind));
        around
            .flat_map(|around| pieces.iter().map(move |&piece| Job { around: Some(around), piece }))
            .collect()
    }

    fn offer(&self, class: MistakeClass, job: &Job<'_>, sink: &mut impl Sink) {
        match (job.around, class) {
            (Some(around), _) => class.offer(*around.digits, job.piece, sink),
            (None, MistakeClass::FromEui) => {
                from_eui::offer(self.clues.dev_eui, self.clues.join_eui, sink);
            }
            (None, _) => sample::offer(sink),
        }
    }

    fn count(&self, class: MistakeClass, job: &Job<'_>) -> u64 {
        if class == MistakeClass::ThreeDigits {
            return 15 * 15 * 15; // not counted one by one: there are millions
        }
        let mut counter = Counter::default();
        self.offer(class, job, &mut counter);
        counter.0
    }

    #[cfg(feature = "parallel")]
    fn try_all(&self, class: MistakeClass, jobs: &[Job<'_>], planned: u64) -> Vec<RunHit> {
        use rayon::prelude::*;

        jobs.par_iter().flat_map_iter(|job| self.try_one(class, job, planned)).collect()
    }

    #[cfg(not(feature = "parallel"))]
    fn try_all(&self, class: MistakeClass, jobs: &[Job<'_>], planned: u64) -> Vec<RunHit> {
        jobs.iter().flat_map(|job| self.try_one(class, job, planned)).collect()
    }

    fn try_one(&self, class: MistakeClass, job: &Job<'_>, planned: u64) -> Vec<RunHit> {
        if self.effort.stop.load(Ordering::Relaxed) {
            return Vec::new();
        }
        let Some(mut prober) = Prober::new(&self.frames) else { return Vec::new() };
        self.offer(class, job, &mut prober);
        let done = self.done.fetch_add(prober.tried, Ordering::Relaxed) + prober.tried;
        if let Some(progress) = self.effort.progress {
            progress(done, planned);
        }
        let known = job.around.map(|around| around.known);
        let found = prober.found.into_iter();
        found
            .map(|(key, mistake)| RunHit { known, key: Aes128Key::new(key.to_be_bytes()), mistake })
            .collect()
    }

    fn hits(&self, found: Vec<RunHit>, tried: u64) -> Vec<Hit> {
        let frames = self.frames.len();
        let odds = odds(tried, frames);
        let mut hits: Vec<Hit> = Vec::new();
        for RunHit { known, key, mistake } in found {
            // Of a double digit it cannot be told which of both was dropped.
            if hits.iter().any(|hit| hit.known == known && hit.key.same_as(&key)) {
                continue;
            }
            let certainty = Certainty::of_probability(odds);
            hits.push(Hit { mistake, known, key, frames, tried, odds, certainty });
        }
        hits
    }
}

/// The known keys, each value once: of equal ones the nearest kind, and of that the first.
pub(super) fn around(clues: &Clues<'_>) -> Vec<Around> {
    let known = clues.known.iter().enumerate();
    let mut around: Vec<Around> = known
        .map(|(index, known)| Around {
            known: index,
            kind: known.kind,
            digits: Zeroizing::new(Digits::of_key(*known.key.expose())),
        })
        .collect();
    around.sort_by_key(|a| (a.digits.value, a.kind, a.known));
    around.dedup_by_key(|a| a.digits.value);
    around.sort_by_key(|a| (a.kind, a.known));
    around
}
