//! Rules with a limit, an order or a tie: what lies on the line, and what lies just beyond it.
//!
//! Each test goes through a door that users have: a verdict on a small capture, a report, a marked
//! sheet. What is inside may be built anew; where the line runs may not change unseen.

mod air;
mod copies;
mod counters;
mod elsewhere;
mod freshness;
mod sureness;
mod windows;

use handfast::{
    intake::Event,
    ladder::{Certainty, Diagnosis, Options, State, diagnose, join::Rung},
    roster::{self, Roster},
};

use crate::common::{ROOT, dev_eui, join_eui, trace};

/// A roster of one node, with further members of its two sides.
fn claims(region: &str, firmware: &str, record: &str) -> Roster {
    let identity = format!(
        "dev-eui = '{}'\njoin-eui = '{}'\napp-key = '{}'\n",
        dev_eui().hex(),
        join_eui().hex(),
        hex::encode(ROOT)
    );
    let text = format!(
        "region = '{region}'\n[[node]]\nname = 'p'\n[node.firmware]\n{identity}{firmware}\n\
         [node.record]\n{identity}{record}\n"
    );
    roster::parse(&text, None).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

fn verdict(roster: &Roster, datagrams: &[Event]) -> Diagnosis {
    let mut all = diagnose(&trace(roster, datagrams), roster, Options::default());
    assert_eq!(all.len(), 1, "{all:?}");
    all.remove(0)
}

fn causes(diagnosis: &Diagnosis) -> Vec<(&'static str, Certainty)> {
    diagnosis.causes.iter().map(|v| (v.cause.id.name(), v.certainty)).collect()
}

fn names(diagnosis: &Diagnosis) -> Vec<&'static str> {
    diagnosis.causes.iter().map(|v| v.cause.id.name()).collect()
}

fn state(diagnosis: &Diagnosis, rung: Rung) -> State {
    diagnosis.join_rung(rung).unwrap().state
}
