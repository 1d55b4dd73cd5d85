//! Session keys that a record states, held against the join that made them.

use super::{
    Answer, SessionCase, Side, Slot, Subject,
    derive::Keys,
    recipe::Recipe,
    search::{answer, search},
};
use crate::key::Aes128Key;

/// A session key as a record states it.
#[derive(Clone, Copy, Debug)]
pub struct Recorded<'a> {
    /// The key.
    pub key: &'a Aes128Key,
    /// The slot it stands in.
    pub slot: Slot,
}

impl Recorded<'_> {
    fn is_among(&self, keys: &Keys) -> bool {
        keys.slot(self.slot).is_some_and(|key| key.same_as(self.key))
    }
}

/// Looks for what a server misread when it derived the session keys that it keeps on record.
///
/// The frames of the case do not count; the side is the server, which derived them. A mistake must
/// explain every key given; compare one session's keys at a time.
pub fn explore_record(case: &SessionCase<'_>, recorded: &[Recorded<'_>]) -> Answer {
    if recorded.is_empty() {
        return Answer::CannotTell { why: "the record states no session key" };
    }
    let values = case.values();
    let sources = case.sources(&values);
    let standard = Recipe::standard(case.rule());
    // Several AppKeys may be claimed: whichever of them explains most is the one in use.
    let mut by_standard = vec![false; recorded.len()];
    sources.each(&standard.keys, |keys, _| {
        for (held, recorded) in by_standard.iter_mut().zip(recorded) {
            *held |= recorded.is_among(keys);
        }
    });
    if by_standard.iter().all(|&held| held) {
        return Answer::StandardHolds;
    }
    let found = search(&[Subject::Keys, Subject::Payload], standard, |recipe, tried| {
        let mut hits = Vec::new();
        sources.each(&recipe.keys, |keys, mut hit| {
            *tried += 1;
            for (recorded, &by_standard) in recorded.iter().zip(&by_standard) {
                if !recorded.is_among(keys) {
                    return;
                }
                hit.holds(128.0, by_standard, &[]);
            }
            hits.push(hit);
        });
        hits
    });
    answer(found, |_| Side::Server)
}
