//! Rung 10, proven: the next uplink of the new DevAddr authenticates under the session keys that
//! the standard derives.

pub(in crate::ladder) mod away;
pub(in crate::ladder) mod derived;
pub(in crate::ladder) mod receiving;
mod sessions;

use self::{
    away::{data_filter, led_away},
    sessions::{sessions_of, unverified},
};
use super::Case;
use crate::{
    fact::{Cite, Fact, Value, fact},
    ladder::rung::Judgement,
    trace::{Data, DataSeen},
};

/// Where a data frame stands, worded with its time.
pub(in crate::ladder) fn cite(seen: &DataSeen) -> Cite {
    let cite = match &seen.data {
        Data::Up { heard, .. } => Cite::from(heard.first()),
        Data::Down { sending, .. } => Cite::from(sending),
    };
    cite.with_time()
}

/// Judges an attempt, after the rungs below are judged of every attempt.
pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let mut told = None;
    let mut any = false;
    for session in sessions_of(case, index) {
        any = true;
        let (dev_addr, rule) = (session.dev_addr, |seen: &DataSeen| {
            session.candidate_of(seen).map_or("", |candidate| candidate.rule.name())
        });
        let by_the_standard: Vec<&DataSeen> = session
            .uplinks()
            .map(|(seen, _)| seen)
            .filter(|seen| session.candidate_of(seen).is_some_and(|c| c.lawful))
            .collect();
        if let Some(seen) = by_the_standard.first() {
            let n = by_the_standard.len() + session.forgotten_up;
            let half = by_the_standard.iter().any(|seen| seen.held.half);
            return Judgement::proven(fact!(
                "{first}: {uplinks} of DevAddr {dev_addr} {authenticate} under the keys derived by \
                 the {rule} rule{half}",
                first = cite(seen),
                uplinks = Value::count(n, "uplink"),
                dev_addr,
                authenticate = if n == 1 { "authenticates" } else { "authenticate" },
                rule = rule(seen),
                half = if half {
                    " (of some only the forwarding half of the MIC could be checked)"
                } else {
                    ""
                }
            ));
        }
        if let Some((seen, _)) = session.uplinks().next() {
            told = Some(Judgement::broken(fact!(
                "{first}: data of DevAddr {dev_addr} authenticates, but only under keys of the \
                 {rule} rule, which the accept does not ask for",
                first = cite(seen),
                dev_addr,
                rule = rule(seen)
            )));
            continue;
        }
        let failing = unverified(case, session).len();
        if failing > 0 {
            told = Some(Judgement::broken(fact!(
                "{uplinks} of DevAddr {dev_addr} {authenticate} under no key derived from this \
                 accept",
                uplinks = Value::count(failing, "uplink"),
                dev_addr,
                authenticate = if failing == 1 { "authenticates" } else { "authenticate" }
            )));
        }
    }
    if let Some(told) = told {
        return told;
    }
    if !any {
        return Judgement::unknown("no accept that opens, so there is no session to prove");
    }
    if led_away(case, index) {
        return Judgement::broken(
            "nothing of the new DevAddr came: the accept's CFList opens channels that the gateway \
             does not hear",
        );
    }
    if case.is_deaf(index) {
        return Judgement::broken("no data of the new DevAddr: the node asks again instead");
    }
    if let Some(why) = data_filter(case, index) {
        return Judgement::broken(why);
    }
    Judgement::unknown(if case.asks_again(index) {
        Fact::from("no data of the new DevAddr; the node asks again")
    } else {
        Fact::from("no data of the new DevAddr in the capture yet")
    })
}
