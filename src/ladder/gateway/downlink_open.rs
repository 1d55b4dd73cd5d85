//! Rung 4, downlink-open: the gateway asks for downlinks often enough, and the server answers.

use super::{Case, flows::Answers, uplink_acknowledged::LEAST_CLOSED};
use crate::{
    fact::{Certainty, Cite, Fact, Value, fact},
    intake::{Leg, Speaker},
    ladder::{finding::Finding, rung::Judgement},
    trace::{Flow, GatewayTrace},
};

const PULL_DATA: &str = "PULL_DATA";

/// A translation table keeps an idle flow for 30 to 60 s in many boxes (common practice): gateways ask every 5 to
/// 20 s, some once a minute.
const SELDOM_US: i64 = 90_000_000;
/// Downlinks that were taken, and downlinks of which nothing more is heard, before their ages are compared.
const LEAST_AGES: usize = 4;
/// No PULL_DATA for so long, where both sides of the other flow are in the capture, is none that was missed.
const NEVER_US: i64 = 60_000_000;

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let Some(heard) = case.heard else {
        return Judgement::unknown("nothing of it is in the capture");
    };
    if case.is_station() {
        return station(heard);
    }
    if let Some(seldom) = seldom(heard) {
        return Judgement::broken(fact!(
            "it asks every {gap}: downlinks up to {taken} after a PULL_DATA are taken, none from {lost} on",
            gap = Value::About(seldom.gap_us),
            taken = Value::About(seldom.taken_us),
            lost = Value::About(seldom.lost_us)
        ));
    }
    match &case.down {
        Answers::NotRecorded => match never_asks(case, heard) {
            Some(us) => Judgement::broken(fact!(
                "no PULL_DATA in {time}, while both sides of the uplink flow are in the capture",
                time = Value::About(us)
            )),
            None => Judgement::unknown("no PULL_DATA is in the capture"),
        },
        Answers::ServerOnly => {
            Judgement::unknown("PULL_ACK is in the capture, and no PULL_DATA of the gateway")
        }
        Answers::TooFew => Judgement::unknown(
            "too few PULL_DATA are in the capture to say whether they are answered",
        ),
        Answers::Acknowledged(share) | Answers::Late(share) => {
            let gap = heard.pull.gaps.median();
            let how = match gap {
                Some(gap) => fact!(
                    "{share}; one every {gap}",
                    share = share.fact(PULL_DATA),
                    gap = Value::About(gap)
                ),
                None => share.fact(PULL_DATA),
            };
            if waits_long(heard).is_some() {
                return Judgement::unknown(fact!(
                    "{how}: many boxes on the way close it sooner than that, and no downlink shows whether it \
                     is open",
                    how
                ));
            }
            Judgement::proven(how)
        }
        Answers::Counted(fact) | Answers::Read(fact) => Judgement::proven(fact.clone()),
        Answers::OneSided(silence) => Judgement::unknown(fact!(
            "{silence}, and nothing says whether the recorder missed them",
            silence = silence.fact(PULL_DATA)
        )),
        Answers::Partly(share) | Answers::LostInPart(share) => Judgement::unknown(fact!(
            "{share}, and nothing says whether the gateway or the recorder lost the others",
            share = share.fact(PULL_DATA)
        )),
        Answers::Never(silence) => {
            let judgement = Judgement::broken(silence.fact(PULL_DATA));
            silence.witness().into_iter().fold(judgement, Judgement::and)
        }
        Answers::OtherTokens(rule, _) => {
            Judgement::broken(fact!("PULL_ACK carry {rule}", rule = rule.words()))
        }
        Answers::Versions(ours, theirs) => Judgement::broken(fact!(
            "PULL_DATA is of version {ours} of the protocol, PULL_ACK of version {theirs}",
            ours = *ours,
            theirs = *theirs
        )),
        Answers::Astray(_) => Judgement::broken(astray(heard)),
    }
}

/// What to do where nothing comes down.
pub(in crate::ladder) const OPEN_THE_PORT: &str = "open the gateway's downlink UDP port both ways (firewall, address \
     translation, serv_port_down): the gateway must get a PULL_ACK for each PULL_DATA";

/// What is said of a gateway whose uplink flow alone is acknowledged.
pub(in crate::ladder) fn no_path(case: &Case<'_>) -> Option<Finding> {
    let Answers::Never(silence) = &case.down else { return None };
    let heard = case.heard.filter(|_| case.up.is_sound())?;
    if case.network_error(Leg::Pull).is_some() {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{gateway} gets acknowledgements for its uplinks and none for its {pulls} PULL_DATA: no downlink can \
             reach it",
            gateway = case.title(),
            pulls = silence.asked
        ),
        OPEN_THE_PORT,
    );
    finding.add(silence.fact(PULL_DATA));
    if let Answers::Acknowledged(share) | Answers::Late(share) = &case.up {
        finding.add(share.fact("PUSH_DATA"));
    }
    if let Some(dwnb) = case.figures.dwnb {
        finding
            .add(fact!("its own statistics sum up to dwnb {dwnb}", dwnb).said_by(Speaker::Gateway));
    }
    let port = |flow: &Flow| flow.servers.first().map(|server| server.address.port());
    if let (Some(uplink), Some(downlink)) = (port(&heard.push), port(&heard.pull)) {
        finding.add(fact!("uplink port {uplink}, downlink port {downlink}", uplink, downlink));
    }
    Some(finding)
}

/// Where the acknowledgements come from, and where they should.
pub(in crate::ladder) fn astray(heard: &GatewayTrace) -> Fact {
    let flow = if heard.pull.astray > 0 { &heard.pull } else { &heard.push };
    let server = flow.servers.first().map(|server| server.address.to_string()).unwrap_or_default();
    match flow.astray_from {
        Some((from, moment)) => fact!(
            "it asks {server}, and the acknowledgements come from {from}",
            server,
            from = from.to_string();
            at: Cite::from(moment)
        ),
        None => "the acknowledgements come from another address".into(),
    }
}

/// How long the gateway asks for no downlink, where the capture shows that it does not.
pub(in crate::ladder) fn never_asks(case: &Case<'_>, heard: &GatewayTrace) -> Option<i64> {
    let (first, last) = heard.push.span?;
    let us = last.since(first)?;
    let figures = case.figures;
    // A filter for the uplink port alone looks the same: the gateway's own statistics are to count none.
    let downlinks = heard.orders.total
        + heard.counts.outcomes
        + figures.dwnb?
        + figures.txnb.unwrap_or_default();
    let both_sides = heard.push.answered >= 3;
    (!heard.pull.is_recorded() && both_sides && us >= NEVER_US && downlinks == 0).then_some(us)
}

/// Downlinks that are taken soon after a PULL_DATA, and lost later.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Seldom {
    pub(in crate::ladder) gap_us: i64,
    /// The age at which the last one was taken, and that from which on they are lost.
    pub(in crate::ladder) taken_us: i64,
    pub(in crate::ladder) lost_us: i64,
    /// How many of each.
    pub(in crate::ladder) counts: (usize, usize),
    /// The probability that chance sorts them so.
    pub(in crate::ladder) chance: f64,
}

/// Whether the way down closes before the gateway asks again.
pub(in crate::ladder) fn seldom(heard: &GatewayTrace) -> Option<Seldom> {
    let ages = |wanted: bool| {
        let all = heard.orders.ages.iter().filter(move |(_, taken)| *taken == wanted);
        all.map(|(age, _)| *age)
    };
    let (taken, lost) = (ages(true).count(), ages(false).count());
    if taken < LEAST_AGES || lost < LEAST_AGES {
        return None;
    }
    let (taken_us, lost_us) = (ages(true).max()?, ages(false).min()?);
    let gap_us = heard.pull.gaps.median()?;
    let chance = 1.0 / choose(taken + lost, taken);
    (taken_us < lost_us).then_some(Seldom {
        gap_us,
        taken_us,
        lost_us,
        counts: (taken, lost),
        chance,
    })
}

/// How long it waits between two PULL_DATA, where that is long and no downlink shows that the way stays open.
pub(in crate::ladder) fn waits_long(heard: &GatewayTrace) -> Option<i64> {
    let gap = heard.pull.gaps.median().filter(|gap| *gap >= SELDOM_US)?;
    let arrives = heard.orders.ages.iter().any(|(age, taken)| *taken && *age >= SELDOM_US);
    (!arrives).then_some(gap)
}

fn station(heard: &GatewayTrace) -> Judgement {
    let connections = &heard.connections;
    if connections.short.1 >= LEAST_CLOSED {
        return Judgement::unknown("its connections end before anything is to be sent");
    }
    match connections.configs.1 {
        Some(configured) => Judgement::proven(fact!(
            "{configured}: router_config; one connection carries both ways",
            configured
        )),
        None if heard.orders.total > 0 => Judgement::proven(fact!(
            "{downlinks} came over the connection",
            downlinks = Value::Count(heard.orders.total, "downlink")
        )),
        None => Judgement::unknown("nothing of the server is in the capture"),
    }
}

/// How many ways there are to choose `k` of `n`.
fn choose(n: usize, k: usize) -> f64 {
    let of = |i: usize| f64::from(u32::try_from(i).unwrap_or(u32::MAX));
    (0..k).map(|i| of(n - i) / of(i + 1)).product()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ways_to_choose_are_counted() {
        assert!((choose(34, 14) - 1_391_975_640.0).abs() < 1.0);
        assert!((choose(8, 4) - 70.0).abs() < 1e-9);
    }
}
