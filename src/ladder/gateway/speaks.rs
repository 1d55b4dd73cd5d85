//! Rung 1, speaks: datagrams, statistics or station messages of the gateway are in the capture.

use super::{Case, voice::Speaks};
use crate::{
    fact::{Fact, Value, fact},
    ladder::rung::Judgement,
    trace::GatewayTrace,
};

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    match &case.speaks {
        Speaks::Yes => match case.heard {
            Some(heard) => Judgement::proven(spoken(heard)),
            None => Judgement::open(),
        },
        Speaks::Unresolved(unresolved) => {
            let words = fact!(
                "nothing of it is in the capture, and the name that its host asks for is not resolved: {name}",
                name = unresolved.name.name.clone();
                at: unresolved.name.span.0
            );
            if case.speaks.is_broken() {
                Judgement::broken(words)
            } else {
                Judgement::unknown(words)
            }
        }
        Speaks::Elsewhere(eui) => Judgement::unknown(fact!(
            "nothing of it is in the capture; gateway {gateway}, whose EUI is a typing error away, speaks",
            gateway = *eui
        )),
        Speaks::Silent(silent) => Judgement::broken(fact!(
            "nothing of it is in the capture, while gateway {gateway} speaks from {first} to {last}",
            gateway = silent.other,
            first = silent.span.0,
            last = silent.span.1
        )),
        Speaks::Unnamed => Judgement::unknown(
            "the capture names no gateway for some of what is in it: that may be this one",
        ),
        Speaks::OneSided => {
            Judgement::unknown("only what is sent to it is in the capture, nothing that it sends")
        }
        Speaks::Nothing => Judgement::unknown("nothing of it is in the capture"),
    }
}

/// What of it is in the capture.
fn spoken(heard: &GatewayTrace) -> Fact {
    let mut parts = Vec::new();
    let mut count = |n: u64, noun: &'static str| {
        if n > 0 {
            parts.push(fact!("{n}", n = Value::Count(n, noun)));
        }
    };
    let datagrams = heard.counts.sent();
    if heard.push.is_recorded() || heard.pull.is_recorded() {
        count(datagrams, "datagram");
    } else {
        count(heard.connections.messages, "station message");
        count(heard.counts.heard, "frame");
        count(heard.stats.total() as u64, "report");
    }
    let what = Fact::joined(parts, ", ");
    match heard.span {
        Some((first, last)) if first.line != last.line => {
            fact!("{what} of it, from {first} to {last}", what, first, last)
        }
        Some((first, _)) => fact!("{what} of it, at {first}", what, first),
        None => fact!("{what} of it", what),
    }
}
