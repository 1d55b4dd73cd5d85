//! Rung 3, uplink-acknowledged: the server acknowledges what the gateway pushes.

use super::{Case, clock, flows::Answers};
use crate::{
    fact::{Fact, Value, fact},
    ladder::rung::Judgement,
    trace::{Connections, GatewayTrace},
};

const PUSH_DATA: &str = "PUSH_DATA";

/// Connections in a row that end within a minute: one may be an accident.
pub(in crate::ladder) const LEAST_CLOSED: u64 = 3;
/// `version` messages without a `router_config`.
pub(in crate::ladder) const LEAST_VERSIONS: u64 = 3;
/// A connection over which a gateway still sends after this time works: TCP would have ended it (common practice).
const OPEN_US: i64 = 60_000_000;

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let Some(heard) = case.heard else {
        return Judgement::unknown("nothing of it is in the capture");
    };
    if case.is_station() {
        return station(heard);
    }
    match &case.up {
        Answers::NotRecorded => Judgement::unknown("no PUSH_DATA is in the capture"),
        Answers::ServerOnly => {
            Judgement::unknown("PUSH_ACK is in the capture, and no PUSH_DATA of the gateway")
        }
        Answers::TooFew => Judgement::unknown(
            "too few PUSH_DATA are in the capture to say whether they are answered",
        ),
        Answers::Acknowledged(share) => {
            let mut judgement = Judgement::proven(share.fact(PUSH_DATA));
            if share.answered < share.asked && share.ackr.0 > 0 {
                judgement.add(ackr(share.ackr));
            }
            judgement
        }
        Answers::Counted(fact) => Judgement::proven(fact.clone()),
        Answers::Read(fact) => Judgement::unknown(fact!(
            "no PUSH_ACK is in the capture, though the server reads what it pushes: {fact}",
            fact = fact.clone()
        )),
        Answers::OneSided(silence) => Judgement::unknown(fact!(
            "{silence}, and nothing says whether the recorder missed them",
            silence = silence.fact(PUSH_DATA)
        )),
        Answers::Partly(share) => Judgement::unknown(fact!(
            "{share}, and nothing says whether the gateway or the recorder lost the others",
            share = share.fact(PUSH_DATA)
        )),
        Answers::Never(silence) => {
            let judgement = Judgement::broken(silence.fact(PUSH_DATA));
            silence.witness().into_iter().fold(judgement, Judgement::and)
        }
        Answers::LostInPart(share) => {
            Judgement::broken(share.fact(PUSH_DATA)).and(ackr(share.ackr))
        }
        // Late acknowledgements harm nothing by themselves; a slow line is the clock's.
        Answers::Late(share) if clock::is_slow(case) => Judgement::proven(share.fact(PUSH_DATA)),
        Answers::Late(share) => Judgement::broken(share.fact(PUSH_DATA)).and(ackr(share.ackr)),
        Answers::OtherTokens(rule, _) => {
            Judgement::broken(fact!("PUSH_ACK carry {rule}", rule = rule.words()))
        }
        Answers::Versions(ours, theirs) => Judgement::broken(fact!(
            "PUSH_DATA is of version {ours} of the protocol, PUSH_ACK of version {theirs}",
            ours = *ours,
            theirs = *theirs
        )),
        Answers::Astray(share) => Judgement::broken(fact!(
            "{share}, each from an address that it was not sent to",
            share = share.fact(PUSH_DATA)
        )),
    }
}

/// What the gateway counts, and what the capture shows.
pub(in crate::ladder) fn ackr((asked, counted, shown): (u64, f64, u64)) -> Fact {
    fact!(
        "by its statistics the gateway counts {counted} of {asked} as acknowledged; {shown} came while it waits \
         ({wait})",
        counted = counted.round(),
        asked,
        shown,
        wait = super::flows::waits()
    )
}

fn station(heard: &GatewayTrace) -> Judgement {
    let connections = &heard.connections;
    let Connections { short, unconfigured, configs, .. } = connections;
    if short.1 >= LEAST_CLOSED {
        return Judgement::broken(fact!(
            "{connections} in a row ended within a minute",
            connections = Value::Count(short.1, "connection")
        ));
    }
    if unconfigured.0 >= LEAST_VERSIONS {
        return Judgement::broken(fact!(
            "{messages} and no router_config after the first",
            messages = Value::Count(unconfigured.0, "version message")
        ));
    }
    if heard.orders.total > 0 && heard.counts.heard > 0 {
        return Judgement::proven(fact!(
            "the server answers its uplinks: {downlinks}",
            downlinks = Value::Count(heard.orders.total, "downlink")
        ));
    }
    match configs.1 {
        Some(configured) if connections.open_us >= OPEN_US => Judgement::proven(fact!(
            "the connection stays open for {time} after {configured}: router_config",
            time = Value::About(connections.open_us),
            configured
        )),
        _ => Judgement::unknown(
            "the station protocol acknowledges no frame, and no downlink is in the capture",
        ),
    }
}
