//! The data frames after a good Join-Accept.

use super::{
    Answer, Finding, Known, MOST_OTHERS, Root, Row, Rule, Side, Subject, data,
    data::Heard,
    derive::{Join, Sources},
    distinct,
    recipe::Recipe,
    search::{Hit, answer, search},
};
use crate::{
    frame::{Direction, JoinAccept},
    id::{DevEui, DevNonce, JoinEui},
};

/// A session and all that its keys can come from.
#[derive(Clone, Copy, Debug)]
pub struct SessionCase<'a> {
    /// The root key under which the Join-Accept holds.
    pub root: Known<'a>,
    /// Every other root key that is claimed.
    pub others: &'a [Known<'a>],
    /// The Join-Accept.
    pub accept: &'a JoinAccept,
    /// The rule by which its MIC holds; OptNeg says which it should be.
    pub accept_rule: Rule,
    /// JoinEUI of the request.
    pub join_eui: JoinEui,
    /// DevEUI of the request.
    pub dev_eui: DevEui,
    /// DevNonce of the request, or the RJcount that was answered.
    pub dev_nonce: DevNonce,
    /// DevNonces of the node's other attempts, the nearest first.
    pub other_nonces: &'a [DevNonce],
    /// Other joins of the node, the newest first.
    pub other_joins: &'a [Join],
    /// Its data frames: those of this accept's DevAddr alone.
    pub frames: &'a [Heard<'a>],
}

/// The values of a case, each once.
pub(super) struct Values<'a> {
    root: Root<'a>,
    others: Vec<Root<'a>>,
}

impl<'a> SessionCase<'a> {
    /// The rule that OptNeg asks for.
    pub(super) const fn rule(&self) -> Rule {
        if self.accept.dl_settings.opt_neg() { Rule::V1_1 } else { Rule::V1_0 }
    }

    pub(super) fn values(&self) -> Values<'a> {
        let Known { label, key, role } = self.root;
        let mut root = Root { key, labels: vec![label], is_app: role == super::Role::App };
        let mut others = distinct(self.others.iter().copied());
        others.retain(|other| {
            let same = other.key.same_as(key);
            if same {
                root.is_app |= other.is_app;
                root.labels.extend(&other.labels);
            }
            !same
        });
        Values { root, others }
    }

    pub(super) fn sources<'v>(&self, values: &'v Values<'a>) -> Sources<'v>
    where
        'a: 'v,
    {
        let JoinAccept { join_nonce, net_id, .. } = *self.accept;
        let join = Join { join_nonce, net_id, dev_nonce: self.dev_nonce };
        let mut other_nonces: Vec<DevNonce> = Vec::new();
        for &nonce in self.other_nonces.iter().take(MOST_OTHERS) {
            if nonce != self.dev_nonce && !other_nonces.contains(&nonce) {
                other_nonces.push(nonce);
            }
        }
        let mut other_joins: Vec<Join> = Vec::new();
        for &other in self.other_joins.iter().take(MOST_OTHERS) {
            if other != join && !other_joins.contains(&other) {
                other_joins.push(other);
            }
        }
        Sources {
            root: &values.root,
            others: &values.others,
            join,
            join_eui: self.join_eui,
            dev_eui: self.dev_eui,
            other_nonces,
            other_joins,
        }
    }
}

/// Looks for what a side misread when it derived the session keys or signed the data (LoRaWAN
/// 1.0.4 p. 24-25 and 46, 1.1 4.4 and 6.2.3).
///
/// Uplinks and downlinks are explained apart: what holds under the mistake alone was made by the
/// side that sent it. Where both directions need the same mistake the two sides agree with each
/// other, and the side cannot be told.
pub fn explore_session(case: &SessionCase<'_>) -> Answer {
    let up = explore_direction(case, Direction::Uplink);
    let down = explore_direction(case, Direction::Downlink);
    match (up, down) {
        (None, None) => Answer::CannotTell {
            why: "no data frame of the session whose MIC can be computed: capture an uplink of the \
                  new DevAddr",
        },
        (Some(one), None) | (None, Some(one)) => one,
        (Some(up), Some(down)) => both(up, down),
    }
}

/// Joins the answers of two directions.
pub(super) fn both(up: Answer, down: Answer) -> Answer {
    match (up, down) {
        (Answer::Misread(mut up), Answer::Misread(down)) => {
            for finding in down {
                match up.iter_mut().find(|other| say_the_same(other, &finding)) {
                    Some(other) => {
                        other.held += finding.held;
                        other.decided_by += finding.decided_by;
                        other.odds *= finding.odds;
                        other.side = Side::CannotTell { why: BOTH_ALIKE };
                    }
                    None => up.push(finding),
                }
            }
            Answer::Misread(up)
        }
        (found @ Answer::Misread(_), _) | (_, found @ Answer::Misread(_)) => found,
        (weak @ Answer::CannotTell { .. }, _) | (_, weak @ Answer::CannotTell { .. }) => weak,
        (Answer::NotFound { tried }, Answer::NotFound { tried: more }) => {
            Answer::NotFound { tried: tried.saturating_add(more) }
        }
        (none @ Answer::NotFound { .. }, _) | (_, none @ Answer::NotFound { .. }) => none,
        (Answer::StandardHolds, Answer::StandardHolds) => Answer::StandardHolds,
    }
}

const BOTH_ALIKE: &str = "uplinks and downlinks hold under the same reading: node and server agree \
                          with each other, and not with the standard";

/// Whether two findings have a reading in common.
fn say_the_same(a: &Finding, b: &Finding) -> bool {
    a.readings().any(|one| b.readings().any(|other| one == other))
}

fn explore_direction(case: &SessionCase<'_>, direction: Direction) -> Option<Answer> {
    let rule = case.rule();
    let frames: Vec<&Heard<'_>> = case
        .frames
        .iter()
        .filter(|heard| heard.direction() == direction && heard.is_testable(rule))
        .collect();
    if frames.is_empty() {
        return None;
    }
    let values = case.values();
    let sources = case.sources(&values);
    let standard = Recipe::standard(rule);
    let mut by_standard = vec![false; frames.len()];
    let mut in_part = vec![0.0_f64; frames.len()];
    sources.each(&standard.keys, |keys, _| {
        for ((held, part), heard) in by_standard.iter_mut().zip(&mut in_part).zip(&frames) {
            *held |= data::held(&standard, keys, heard).is_some();
            *part = part.max(data::held_in_part(&standard, keys, heard));
        }
    });
    if by_standard.iter().all(|&held| held) {
        return Some(Answer::StandardHolds);
    }
    let found = search(&[Subject::Keys, Subject::DataMic], standard, |recipe, tried| {
        let mut hits = Vec::new();
        sources.each(&recipe.keys, |keys, mut hit: Hit| {
            *tried += 1;
            // Those that the standard leaves open first: they fail soonest.
            for wanted in [false, true] {
                let marked = frames.iter().zip(by_standard.iter().zip(&in_part));
                for (heard, (&by_standard, part)) in marked {
                    if by_standard == wanted {
                        let Some(held) = data::held(recipe, keys, heard) else { return };
                        hit.holds((held.bits - part).max(0.0), by_standard, &held.macs);
                    }
                }
            }
            hits.push(hit);
        });
        hits
    });
    Some(answer(found, |rows| side(case, direction, rows)))
}

fn side(case: &SessionCase<'_>, direction: Direction, rows: &[&'static Row]) -> Side {
    // OptNeg is RFU in 1.0.x: a server that signs by 1.0 and yet sets it misleads the node.
    let server_says_1_1 = case.accept_rule == Rule::V1_0 && case.rule() == Rule::V1_1;
    if server_says_1_1 && rows.iter().any(|row| row.id == "rule-of-1.0-though-opt-neg-is-set") {
        return Side::Server;
    }
    match direction {
        Direction::Uplink => Side::Node,
        Direction::Downlink => Side::Server,
    }
}

#[cfg(test)]
mod tests;
