//! The keys around which is searched, and the search as one frame allows it.

use super::Why;
use crate::{
    explore::{
        misreading,
        near_miss::{
            Certainty, Clues, Effort, Hit, Known, KnownKind, Mistake, Nature, Report, Target,
            search,
        },
    },
    id::{DevEui, JoinEui},
    key::Aes128Key,
    ladder::{CauseId, hits},
    reading::{Bunch, KeyRole, Source},
    trace::Role,
};

/// Keys of one frame that are searched around up to two digits: the nearest; others are taken as
/// they stand, and reversed.
const MOST_WIDE: usize = 4;

/// Keys that are tried on one frame at the most.
const MOST_KEYS: usize = 4_000;

/// What a key is to the frame.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Part {
    /// It should have signed the frame.
    Signs,
    /// It is of the same source, or may be, and has another task.
    OtherTask,
    /// It is another node's or session's.
    Foreign,
}

/// A key of the ring.
pub(super) struct Given {
    pub(super) role: KeyRole,
    pub(super) part: Part,
}

/// All keys of a ring that may have made a frame, and what was tried of them.
pub(super) struct Pool<'a> {
    pub(super) given: Vec<Given>,
    pub(super) clues: Clues<'a>,
    /// Candidates tried beside those of the search.
    pub(super) beside: u64,
    /// Candidates that the search tried, for each target.
    near: Vec<u64>,
}

impl<'a> Pool<'a> {
    /// Takes the keys of bunches, the nearest first; `part` says what a key is to the frame.
    pub(super) fn new(
        bunches: impl Iterator<Item = &'a Bunch>,
        part: impl Fn(&Source, KeyRole) -> Part,
    ) -> Self {
        let mut keys = Vec::new();
        for bunch in bunches {
            for &role in KeyRole::ALL {
                if let Some(key) = bunch.key(role) {
                    let part = part(&bunch.source, role);
                    keys.push((Given { role, part }, label(role, &bunch.source), key));
                }
            }
            if keys.len() >= MOST_KEYS {
                break;
            }
        }
        // Those that should have signed it first; within, the order of the ring.
        keys.sort_by_key(|(given, ..)| given.part != Part::Signs);
        let mut wide: Vec<&Aes128Key> = Vec::new();
        let mut pool =
            Self { given: Vec::new(), clues: Clues::default(), beside: 0, near: Vec::new() };
        for (given, label, key) in keys {
            let known = wide.iter().any(|other| other.same_as(key));
            let is_wide = given.part == Part::Signs && (known || wide.len() < MOST_WIDE);
            if is_wide && !known {
                wide.push(key);
            }
            let kind = if is_wide { KnownKind::Claimed } else { KnownKind::OtherNode };
            pool.given.push(given);
            pool.clues.known.push(Known { label, key, kind });
        }
        pool
    }

    pub(super) fn with_euis(mut self, dev_eui: Option<DevEui>, join_eui: Option<JoinEui>) -> Self {
        self.clues.dev_eui = dev_eui;
        self.clues.join_eui = join_eui;
        self
    }

    /// Returns the keys with their labels, the nearest first.
    pub(super) fn keys(&self) -> impl Iterator<Item = (&Given, &Known<'a>)> {
        self.given.iter().zip(&self.clues.known)
    }

    /// Candidates tried so far.
    pub(super) fn tried(&self) -> u64 {
        self.near.iter().sum::<u64>() + self.beside
    }

    /// Searches for each target alone, up to that many wrong digits; returns which target was hit.
    ///
    /// A second call goes over the nearer kinds again, and counts them once.
    pub(super) fn search(&mut self, targets: &[Target], max_digits: u8) -> Option<(usize, Report)> {
        self.near.resize(targets.len(), 0);
        let effort = Effort { max_digits, ..Effort::default() };
        for (at, (target, tried)) in targets.iter().zip(&mut self.near).enumerate() {
            let report = search(&self.clues, std::slice::from_ref(target), &effort);
            *tried = report.tried();
            if !report.hits.is_empty() {
                return Some((at, report));
            }
        }
        None
    }

    /// Puts what was hit into words. `cause` names the cause of a mistake in a key.
    pub(super) fn explain(
        &self,
        hits: &[Hit],
        cause: impl FnOnce(&Mistake, Option<&Given>) -> Option<CauseId>,
    ) -> Option<Why> {
        let hit = hits.first()?;
        let given = hit.known.and_then(|at| self.given.get(at));
        let label = hit.known.and_then(|at| self.clues.known.get(at));
        let label = label.map_or("a key given", |known| known.label.as_str());
        let mut what = match (&hit.mistake, given.map(|given| given.part)) {
            (Mistake::Same, Some(Part::OtherTask)) => {
                format!("the MIC holds under {label}, which is not the key for such a frame")
            }
            (Mistake::Same, _) => format!("the MIC holds under {label}"),
            _ => hit.mistake.of_key_of_one_frame(label),
        };
        let rivals = hits.iter().filter(|other| !other.key.same_as(&hit.key)).count();
        let cause = cause(&hit.mistake, given);
        let mut why = Why::of(String::new(), cause, self.tried());
        if rivals > 0 {
            what.push_str("; other keys as near fit, too: another frame decides");
            why.certainty = Certainty::Possible;
        }
        why.what = what;
        Some(why)
    }

    /// Puts into words what an explorer of misread rules found.
    pub(super) fn misread(&self, found: &misreading::Finding, who: &str) -> Why {
        let what: Vec<&str> = found.mistakes.iter().map(|row| row.what).collect();
        let roots = found.roots.join(" or ");
        let mut what = format!("the MIC holds under {roots} if the {who} {}", what.join(", and "));
        if !found.alike.is_empty() {
            what.push_str(" (other readings come to the same bytes)");
        }
        let family = found.first_family().filter(|_| found.is_of_one_family());
        let cause = family.map(hits::misreading);
        Why::of(what, cause, self.tried())
    }

    /// Returns the root keys that may be the node's own, as the explorers of misread rules take
    /// them.
    pub(super) fn roots(&self) -> Vec<misreading::Known<'_>> {
        let own = self.keys().filter(|(given, _)| given.part != Part::Foreign);
        let known = own.filter_map(|(given, known)| {
            let role = match given.role {
                KeyRole::App => misreading::Role::App,
                KeyRole::Nwk => misreading::Role::Nwk,
                _ => return None,
            };
            Some(misreading::Known { label: &known.label, key: known.key, role })
        });
        known.take(2 * MOST_WIDE).collect()
    }
}

/// Returns `the AppKey given`, or `the record's AppKey of probe-07`.
fn label(role: KeyRole, source: &Source) -> String {
    let name = role.name();
    match (&source.claim, &source.node) {
        (Some(claim), Some(node)) => format!("the {claim}'s {name} of {node}"),
        (Some(claim), None) => format!("the {claim}'s {name}"),
        (None, Some(node)) => format!("the {name} of {node}"),
        (None, None) => format!("the {name} given"),
    }
}

/// Returns the cause that a mistake in a root key means.
pub(super) fn root_cause(mistake: &Mistake, given: Option<&Given>) -> Option<CauseId> {
    cause_by(hits::root_key, mistake, given)
}

/// Returns the cause that a mistake in the key of a Join-Accept means.
pub(super) fn accept_cause(mistake: &Mistake, given: Option<&Given>) -> Option<CauseId> {
    cause_by(hits::accept_key, mistake, given)
}

fn cause_by(
    map: fn(Nature, KnownKind, Role) -> CauseId,
    mistake: &Mistake,
    given: Option<&Given>,
) -> Option<CauseId> {
    let nature = mistake.nature();
    let (role, part) = match (nature, given) {
        // Made of no key that was given.
        (Nature::Guessable, _) => (KeyRole::App, Part::Signs),
        (_, None) => return None,
        (_, Some(given)) => (given.role, given.part),
    };
    let (kind, role) = match (part, role) {
        (Part::Foreign, _) => (KnownKind::OtherNode, Role::AppKey),
        (_, KeyRole::App) => (KnownKind::Claimed, Role::AppKey),
        (_, KeyRole::Nwk) => (KnownKind::Claimed, Role::NwkKey),
        (_, role) if role.is_of_session() => (KnownKind::Session, Role::AppKey),
        _ => return None,
    };
    // A root key that fits as it stands is no mistake.
    let is_right = nature == Nature::Same && kind == KnownKind::Claimed;
    (!is_right).then(|| map(nature, kind, role))
}
