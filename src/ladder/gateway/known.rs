//! Rung 2, known: the gateway's EUI is on the roster, and one radio sends under it.

use super::{
    Case,
    identity::{Known, link_layer},
};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    ladder::{finding::Finding, rung::Judgement},
};

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    match &case.known {
        Known::Open if case.roster.gateways.is_empty() => {
            Judgement::unknown("the roster lists no gateway")
        }
        Known::Open => Judgement::unknown("nothing that it sends is in the capture"),
        Known::Unnamed if case.eui.is_some() => Judgement::unknown(
            "the capture names no gateway; it is taken for the only one of the roster",
        ),
        Known::Unnamed => Judgement::unknown("the capture does not name it"),
        Known::Listed => Judgement::proven(match &case.entry {
            Some(entry) if entry.name.is_some() => fact!(
                "its EUI is on the roster: {name}",
                name = entry.name.clone().unwrap_or_default()
            ),
            Some(_) => "its EUI is on the roster".into(),
            None => "its EUI is that of a record on the roster".into(),
        }),
        Known::Shared => Judgement::broken(fact!(
            "two radios send under this EUI: their counters take turns {times}",
            times = Value::Count(case.heard.map_or(0, |heard| heard.radios.returns), "time")
        )),
        Known::Twins(other, alike) => Judgement::broken(fact!(
            "gateway {other} reports {receptions} with the same counter, signal and channel: it is one radio",
            other = *other,
            receptions = Value::Count(alike.len() as u64, "reception")
        )),
        Known::Near(near) => Judgement::broken(fact!(
            "it is not on the roster; {registered} is, and never speaks: {how}",
            registered = near.registered,
            how = near.how.clone()
        )),
        Known::Refused => Judgement::broken(refusal(case)),
        Known::Unlisted => Judgement::broken("it is not on the roster, and nothing that is speaks"),
        Known::Neighbour => Judgement::unknown(
            "it is not on the roster, and a gateway that is speaks as well: perhaps a neighbour's",
        ),
    }
}

/// What the server says when it refuses a gateway.
pub(in crate::ladder) fn refusal(case: &Case<'_>) -> Fact {
    match case.heard.and_then(|heard| heard.connections.refused.as_ref()) {
        Some(refused) => fact!(
            "{first}: the server refuses it, {times}: {reason}",
            first = refused.span.0,
            times = Value::Count(refused.times, "time"),
            reason = refused.reason.clone()
        ),
        None => "the server refuses it".into(),
    }
}

/// What is said of a gateway that is registered under another EUI.
pub(in crate::ladder) fn another_eui(case: &Case<'_>) -> Option<Finding> {
    let (Known::Near(near), Some(gateway)) = (&case.known, case.eui) else { return None };
    let mut finding = Finding::new(
        if near.refused { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "the gateway calls itself {gateway}, the roster has {registered} ({how})",
            gateway,
            registered = near.registered,
            how = near.how.clone()
        ),
        fact!(
            "copy the EUI from the running gateway into the record at the server: {gateway}",
            gateway
        ),
    );
    finding.add(fact!("in the datagrams: {gateway}", gateway));
    finding.add(fact!("registered: {registered}", registered = near.registered));
    if let Some(link) = near.link {
        finding.add(fact!(
            "link-layer address of its host: {link}, of which the EUI that is sent is made",
            link = link_layer(link)
        ));
    }
    if near.refused {
        finding.add(refusal(case));
    }
    finding.add("nothing under the registered EUI is in the capture");
    Some(finding)
}
