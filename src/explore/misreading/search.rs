//! The search: every mistake alone, then every pair, nearest first.

use std::{
    collections::{HashMap, HashSet},
    sync::{Arc, LazyLock, Mutex, PoisonError},
};

use super::{Answer, Finding, Root, Row, Side, Subject, recipe::Recipe, table};
use crate::id::{DevNonce, JoinNonce};

/// A recipe that holds for everything it was tried on.
#[derive(Clone, Debug, Default)]
pub(super) struct Hit {
    pub(super) roots: Vec<String>,
    pub(super) nonce: Option<DevNonce>,
    pub(super) join_nonce: Option<JoinNonce>,
    /// Frames that hold.
    pub(super) held: usize,
    /// Those that the standard's way does not explain.
    pub(super) decided_by: usize,
    /// Bits compared in them.
    pub(super) bits: f64,
    /// All that was computed: two readings with one trail are one and the same here.
    pub(super) trail: Vec<u8>,
}

impl Hit {
    pub(super) fn under(root: &Root<'_>) -> Self {
        Self { roots: root.labels(), ..Self::default() }
    }

    /// Counts one thing that holds.
    pub(super) fn holds(&mut self, bits: f64, by_standard: bool, computed: &[u8]) {
        self.held += 1;
        self.trail.extend(computed);
        if !by_standard {
            self.decided_by += 1;
            self.bits += bits;
        }
    }
}

/// The mistakes that hold, and how many candidates were tried to find them.
#[derive(Debug, Default)]
pub(super) struct Fitting {
    pub(super) hits: Vec<(Vec<&'static Row>, Hit)>,
    pub(super) tried: u64,
}

/// Tries each row of these subjects and, when none holds, each pair of them.
///
/// `trial` tries one recipe with all the choices it leaves (other nonces, other roots), adds their
/// number to its second argument and returns those that hold.
pub(super) fn search(
    subjects: &[Subject],
    standard: Recipe,
    mut trial: impl FnMut(&Recipe, &mut u64) -> Vec<Hit>,
) -> Fitting {
    let steps = steps(subjects, standard);
    let mut found = Fitting::default();
    for (row, recipe) in &steps.single {
        let hits = trial(recipe, &mut found.tried);
        found.hits.extend(hits.into_iter().map(|hit| (vec![*row], hit)));
    }
    // A pair that holds beside a single mistake holds by that one.
    if !found.hits.is_empty() {
        return found;
    }
    for (rows, recipe) in &steps.pairs {
        let hits = trial(recipe, &mut found.tried);
        found.hits.extend(hits.into_iter().map(|hit| (rows.to_vec(), hit)));
    }
    found
}

/// The recipes of a search, no two alike.
struct Steps {
    single: Vec<(&'static Row, Recipe)>,
    pairs: Vec<([&'static Row; 2], Recipe)>,
}

/// What a search is made of: the same for every node, and so made once.
type Known = HashMap<(Vec<Subject>, Recipe), Arc<Steps>>;

fn steps(subjects: &[Subject], standard: Recipe) -> Arc<Steps> {
    static KNOWN: LazyLock<Mutex<Known>> = LazyLock::new(Mutex::default);
    let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    let made = known.entry((subjects.to_vec(), standard));
    Arc::clone(made.or_insert_with(|| Arc::new(Steps::of(subjects, standard))))
}

impl Steps {
    fn of(subjects: &[Subject], standard: Recipe) -> Self {
        let rows: Vec<&'static Row> =
            table::rows().filter(|row| subjects.contains(&row.subject)).collect();
        let mut seen = HashSet::from([standard]);
        let mut steps = Self { single: Vec::new(), pairs: Vec::new() };
        for &row in &rows {
            let mut recipe = standard;
            row.apply(&mut recipe);
            if seen.insert(recipe) {
                steps.single.push((row, recipe));
            }
        }
        for (i, &first) in rows.iter().enumerate() {
            for &second in rows.iter().skip(i + 1) {
                let mut recipe = standard;
                first.apply(&mut recipe);
                second.apply(&mut recipe);
                if seen.insert(recipe) {
                    steps.pairs.push(([first, second], recipe));
                }
            }
        }
        steps
    }
}

/// An accident likelier than this is no finding.
pub(super) const MOST_ODDS: f64 = 0.01;

pub(super) const WEAK: &str = "a misreading fits, but so many were tried that chance alone may fit \
                               one: another frame of this session decides";

/// Returns the odds that one of `tried` candidates fits `bits` bits by accident.
pub(super) fn odds(tried: u64, bits: f64) -> f64 {
    let tried = f64::from(u32::try_from(tried).unwrap_or(u32::MAX));
    (tried * (-bits).exp2()).min(1.0)
}

/// Makes an answer of what was found.
pub(super) fn answer(found: Fitting, side: impl Fn(&[&'static Row]) -> Side) -> Answer {
    if found.hits.is_empty() {
        return Answer::NotFound { tried: found.tried };
    }
    let mut findings: Vec<(Vec<u8>, Finding)> = Vec::new();
    for (rows, hit) in found.hits {
        if let Some((_, same)) = findings.iter_mut().find(|(trail, _)| *trail == hit.trail) {
            if same.readings().all(|reading| reading != rows) {
                same.alike.push(rows);
            }
            continue;
        }
        let odds = odds(found.tried, hit.bits);
        if odds > MOST_ODDS {
            continue;
        }
        let finding = Finding {
            side: side(&rows),
            mistakes: rows,
            alike: Vec::new(),
            roots: hit.roots,
            nonce: hit.nonce,
            join_nonce: hit.join_nonce,
            held: hit.held,
            decided_by: hit.decided_by,
            tried: found.tried,
            odds,
        };
        findings.push((hit.trail, finding));
    }
    findings.sort_by(|(_, a), (_, b)| a.odds.total_cmp(&b.odds));
    if findings.is_empty() {
        return Answer::CannotTell { why: WEAK };
    }
    Answer::Misread(findings.into_iter().map(|(_, finding)| finding).collect())
}
