//! The same candidates, for a frame whose signed octets depend on the key itself.
//!
//! A Join-Accept is opened before its MIC can be computed: every candidate makes other octets of
//! it. So whoever searches says by trial whether a candidate fits.

use super::{
    Certainty, Clues, Covered, Hit, MistakeClass, Report, from_eui,
    mistake::Mistake,
    odds,
    run::{Around, around},
    sample,
    sink::Sink,
};
use crate::key::Aes128Key;

/// Searches the keys that a mistake could have made of the known ones for those that `fits` takes,
/// by 32 bits of one frame.
///
/// Kinds of mistake are tried nearest first, up to `farthest`; the first kind that hits is finished
/// and ends the search. Nothing runs in parallel: this is for the nearer kinds.
pub fn search_by_trial(
    clues: &Clues<'_>,
    farthest: MistakeClass,
    mut fits: impl FnMut(&Aes128Key) -> bool,
) -> Report {
    let mut report = Report::default();
    let all = around(clues);
    let mut total = 0;
    for &class in MistakeClass::ALL.iter().filter(|&&class| class <= farthest) {
        let mut trial = Trial { fits: &mut fits, known: None, tried: 0, found: Vec::new() };
        match class {
            MistakeClass::FromEui => from_eui::offer(clues.dev_eui, clues.join_eui, &mut trial),
            MistakeClass::Sample => sample::offer(&mut trial),
            _ => {
                for Around { known, kind, digits } in &all {
                    trial.known = Some(*known);
                    let pieces = class.pieces(32).into_iter().filter(|_| class.applies_to(*kind));
                    pieces.for_each(|piece| class.offer(**digits, piece, &mut trial));
                }
            }
        }
        let Trial { tried, found, .. } = trial;
        total += tried;
        report.covered.push(Covered { class, tried, total: tried });
        let odds = odds(total, 1);
        for (known, key, mistake) in found {
            // Of a double digit it cannot be told which of both was dropped.
            if report.hits.iter().any(|hit: &Hit| hit.known == known && hit.key.same_as(&key)) {
                continue;
            }
            let certainty = Certainty::of_probability(odds);
            report.hits.push(Hit { mistake, known, key, frames: 1, tried: total, odds, certainty });
        }
        if !report.hits.is_empty() {
            break;
        }
    }
    report
}

/// Tries each candidate by the searcher's own test.
struct Trial<'a, F> {
    fits: &'a mut F,
    known: Option<usize>,
    tried: u64,
    found: Vec<(Option<usize>, Aes128Key, Mistake)>,
}

impl<F: FnMut(&Aes128Key) -> bool> Sink for Trial<'_, F> {
    fn offer(&mut self, candidate: u128, mistake: impl FnOnce() -> Mistake) {
        self.tried += 1;
        let key = Aes128Key::new(candidate.to_be_bytes());
        if (self.fits)(&key) {
            self.found.push((self.known, key, mistake()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{
        super::{Effort, Known, KnownKind, Target, search},
        *,
    };
    use crate::{crypto::mic, frame::Mic};

    #[test]
    fn a_search_by_trial_finds_what_the_search_finds() {
        let claimed: Aes128Key = "d2306c9b9a5f88016208103f7e8a07a6".parse().unwrap();
        let signed = b"nineteen bytes or so".to_vec();
        for used in [
            "d2306c9b9a5f83016208103f7e8a07a6",
            "a6078a7e3f10086201885f9a9b6c30d2",
            "00000000000000000000000000000000",
            "d2306c9b9a5f88012608103f7e8a07a6",
        ] {
            let used: Aes128Key = used.parse().unwrap();
            let [a, b, c, d, ..] = mic::cmac(&used, &signed);
            let label = "the AppKey given".into();
            let known = vec![Known { label, key: &claimed, kind: KnownKind::Claimed }];
            let clues = Clues { known, ..Clues::default() };
            let target = Target { signed: signed.clone(), mic: Mic([a, b, c, d]) };
            let one = search(&clues, &[target], &Effort::default());
            let other = search_by_trial(&clues, MistakeClass::OneOctet, |key| key.same_as(&used));
            assert_eq!(one.hits[0].mistake, other.hits[0].mistake);
            assert_eq!(one.hits[0].tried, other.hits[0].tried);
        }
    }
}
