//! What to capture or to look up next: for every rung of a gateway that the evidence leaves open.

use super::{Case, Rung, flows::Answers, identity::Known, voice::Speaks};
use crate::{
    fact::{Fact, fact},
    ladder::rung::State,
    trace::Flow,
};

/// Steps that would decide, the most telling first. `decided` is whether something certain was found.
pub(in crate::ladder) fn steps(case: &Case<'_>, decided: bool) -> Vec<Fact> {
    let mut out = Vec::new();
    if decided {
        return out;
    }
    match &case.speaks {
        Speaks::Yes => {}
        Speaks::Silent(_) | Speaks::Nothing | Speaks::Unnamed => {
            out.push(
                "check its power, its network, and that its forwarder runs; capture at the gateway itself"
                    .into(),
            );
            return out;
        }
        Speaks::Elsewhere(_) | Speaks::Unresolved(_) => return out,
        Speaks::OneSided => {
            out.push(record(case));
            return out;
        }
    }
    let open = |rung| case.ladder.state(rung) == State::Unknown;
    let one_sided = |answers: &Answers| {
        matches!(answers, Answers::OneSided(_) | Answers::Partly(_) | Answers::TooFew)
    };
    if !case.is_station()
        && (open(Rung::UplinkAcknowledged)
            || open(Rung::DownlinkOpen)
            || one_sided(&case.up)
            || one_sided(&case.down))
    {
        out.push(record(case));
    }
    if open(Rung::Known) && matches!(case.known, Known::Open) && case.roster.gateways.is_empty() {
        out.push(
            "put the gateway's EUI, as registered at the server, on the roster: [[gateway]] eui"
                .into(),
        );
    }
    if open(Rung::OnPlan) && case.plan.is_none() {
        out.push("state the region: region = \"...\" in the roster, or --region".into());
    }
    out
}

/// Which recording would decide.
fn record(case: &Case<'_>) -> Fact {
    let port = |flow: &Flow| flow.servers.first().map(|server| server.address.port());
    let (up, down) = match case.heard {
        Some(heard) => (port(&heard.push), port(&heard.pull)),
        None => (None, None),
    };
    let word =
        |port: Option<u16>, name: &str| port.map_or_else(|| name.to_owned(), |p| p.to_string());
    fact!(
        "record both directions of both ports at the gateway for some minutes: udp port {up} or udp port {down} or \
         port 53 or icmp or icmp6",
        up = word(up, "UP"),
        down = word(down, "DOWN")
    )
}
