//! The demonstration: some minutes of a community orchard's soil probes, and what is wrong there.
//!
//! | probe | what happens |
//! |-------|--------------|
//! | `probe-01` | joins and sends: nothing is wrong |
//! | `probe-02` | its DevEUI is built in backwards |
//! | `probe-03` | a digit of its AppKey is typed wrong on record |
//! | `probe-04` | it forgot its DevNonce in a power cut |
//! | `probe-05` | the server sends its accepts at the delay of data |
//! | `probe-06` | its accepts come to the gateway too late |
//! | `probe-07` | it is registered as 1.1, and is 1.0.3 |
//! | `probe-08` | it takes its accept and derives its session keys in another way |
//! | `probe-09` | it joins, and the server forgets the delay of data that its accept gave |
//! | `probe-10` | it joins, and after a reset it counts its frames from 0 again |
//!
//! The gateway `gate` hears, and what the server acknowledges never comes back to it: its PULL_DATA are
//! not answered, so that nothing can be sent through it. A neighbour's node is heard as well, of which nothing is known. [`CAPTURE`] and [`ROSTER`] are
//! files of the crate; [`generate`] makes them again, octet for octet.
//!
//! A third gateway, `shed`, is being brought up: what it sends to the wrong port is never answered.
//! [`SHED_CAPTURE`], [`SHED_ROSTER`] and [`SHED_CONFIG`] are of it, and of [`generate_shed`].

use crate::{
    frame::MacVersion,
    region::Plan,
    scenario::{Acks, Leg, Mistake, Probe, Scene},
};

/// What stood on the wire of the orchard's two gateways: capture lines.
pub const CAPTURE: &str = include_str!("demo/orchard.ndjson");

/// The orchard's roster, as TOML.
pub const ROSTER: &str = include_str!("demo/orchard.toml");

/// Three minutes of a gateway that is being brought up: capture lines.
pub const SHED_CAPTURE: &str = include_str!("demo/shed.ndjson");

/// Its roster, as TOML.
pub const SHED_ROSTER: &str = include_str!("demo/shed.toml");

/// Its own configuration, as JSON with comments.
pub const SHED_CONFIG: &str = include_str!("demo/shed.json");

/// Where the orchard's chance comes from.
const SEED: u64 = 11;

/// Returns capture and roster as [`CAPTURE`] and [`ROSTER`] have them.
pub fn generate() -> (String, String) {
    let Some(plan) = Plan::by_name("EU868") else { return (String::new(), String::new()) };
    let recording =
        Scene { gateways: 2, cut_off: Some(1), probes: probes(), ..Scene::new(SEED, plan) }.play();
    (recording.capture, HEAD.to_owned() + &recording.roster)
}

/// Returns capture and roster as [`SHED_CAPTURE`] and [`SHED_ROSTER`] have them.
pub fn generate_shed() -> (String, String) {
    let Some(plan) = Plan::by_name("EU868") else { return (String::new(), String::new()) };
    let mut leg = Leg { minutes: 3, sides: Vec::new(), ..Leg::new(SEED, plan) };
    let shed = leg.add("shed");
    shed.pull_acks = Acks::None;
    shed.downlinks.every = 0;
    let recording = leg.play();
    let server = "server = \"lns.orchard.example\"\nuplink-port = 1700\ndownlink-port = 1700\n";
    (recording.capture, SHED_HEAD.to_owned() + &recording.roster + server)
}

/// What a reader of its roster is told first.
const SHED_HEAD: &str = "# A gateway that is being brought up. Names and numbers are invented.\n";

/// What a reader of the roster is told first.
const HEAD: &str = "# A community orchard's soil probes. Names, numbers and keys are invented.\n";

fn probes() -> Vec<Probe> {
    let probe = |name: &str, asks_at_s, gateway, mistake: Mistake| Probe {
        asks_at_s,
        heard_by: Some(gateway),
        attempts: 2,
        version: MacVersion::V1_0_3,
        mistakes: vec![mistake],
        ..Probe::new(name)
    };
    vec![
        Probe { uplinks: 4, join_rate: Some(5), ..Probe::new("probe-01") },
        probe("probe-02", 14, 0, Mistake::DevEuiReversed),
        probe("probe-03", 29, 0, Mistake::AppKeyTyped),
        Probe {
            version: MacVersion::V1_0_4,
            attempts: 3,
            ..probe("probe-04", 75, 0, Mistake::NonceNotKept)
        },
        probe("probe-05", 131, 0, Mistake::DataDelay),
        probe("probe-06", 189, 0, Mistake::TooLate),
        probe("probe-07", 248, 0, Mistake::Says1_1),
        Probe { uplinks: 3, ..probe("probe-08", 302, 0, Mistake::MisreadDerivation) },
        Probe { uplinks: 4, ..probe("probe-09", 361, 0, Mistake::DelayForgotten) },
        Probe { uplinks: 6, ..probe("probe-10", 421, 0, Mistake::CountsAnew) },
        Probe {
            listed: false,
            mistakes: vec![Mistake::ServerSilent],
            ..probe("neighbour", 104, 1, Mistake::ServerSilent)
        },
    ]
}
