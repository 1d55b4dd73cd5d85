//! The gateway's leg: for each cause of its ladder a capture that trips it, and near misses that must not.

mod air;
mod configured;
mod packets;

use handfast::{
    id::Eui64,
    ladder::{
        CAUSES, Cause, CauseId, Findings, GatewayDiagnosis, LadderName, Options,
        configured as of_files, judge,
    },
    region::Plan,
    roster::{self, GatewayConfig},
    scenario::{Acks, Leg, Side, StationWays},
    trace::Tracer,
};

use crate::support::recording;

/// What is given to the ladder.
#[derive(Clone, Debug, Default)]
struct Given {
    /// A capture; empty where there is none.
    capture: Vec<u8>,
    roster: String,
    /// The first gateway's own configuration.
    config: Option<String>,
}

/// A cause, the name of the gateway that has it, what trips it, and what looks like it.
struct Pair {
    id: &'static str,
    gateway: &'static str,
    trip: Given,
    near: Vec<Given>,
}

fn pair(id: &'static str, trip: Given, near: impl IntoIterator<Item = Given>) -> Pair {
    Pair { id, gateway: "barn", trip, near: near.into_iter().collect() }
}

fn plan(name: &str) -> &'static Plan {
    Plan::by_name(name).unwrap()
}

fn played(leg: &Leg) -> Given {
    let recording = leg.play();
    Given { capture: recording.capture.into_bytes(), roster: recording.roster, config: None }
}

/// A leg of one gateway in that plan.
fn of_plan(name: &str, change: impl FnOnce(&mut Side)) -> Given {
    let mut leg = Leg::new(2026, plan(name));
    change(&mut leg.sides[0]);
    played(&leg)
}

/// A leg of one gateway.
fn one(change: impl FnOnce(&mut Side)) -> Given {
    of_plan("EU868", change)
}

/// A leg of one gateway that is as long as that.
fn long(minutes: u32, change: impl FnOnce(&mut Side)) -> Given {
    let mut leg = Leg::new(2026, plan("EU868"));
    leg.minutes = minutes;
    change(&mut leg.sides[0]);
    played(&leg)
}

/// A leg of two gateways, `barn` and `gate`; the second is changed.
fn two(minutes: u32, change: impl FnOnce(&mut Side)) -> Given {
    let mut leg = Leg::new(2026, plan("EU868"));
    leg.minutes = minutes;
    change(leg.add("gate"));
    played(&leg)
}

/// A gateway of the station protocol.
fn station(ways: StationWays) -> Given {
    one(|side| side.station = Some(ways))
}

fn eui(text: &str) -> Eui64 {
    text.parse().unwrap()
}

/// A gateway that sends under one EUI and is registered under another.
fn registered(side: &mut Side, sent: &str, registered: &str) {
    (side.eui, side.registered) = (eui(sent), Some(eui(registered)));
}

/// A registered gateway, and one that is on no roster.
fn beside(own: &str, other: &str) -> Given {
    let mut leg = Leg::new(2026, plan("EU868"));
    registered(&mut leg.sides[0], own, own);
    let stranger = leg.add("gate");
    (stranger.eui, stranger.registered) = (eui(other), None);
    played(&leg)
}

fn found(given: &Given) -> Findings {
    let mut roster = roster::parse(&given.roster, None).unwrap();
    if let Some(config) = &given.config {
        roster.gateways[0].config = Some(GatewayConfig::parse("gateway.json", config).unwrap());
    }
    if given.capture.is_empty() {
        return Findings { gateways: of_files(&roster, None), nodes: Vec::new() };
    }
    let mut tracer = Tracer::new(&roster);
    for event in recording::intact(&recording::items(&given.capture)) {
        tracer.push(event);
    }
    judge(&tracer.finish(), &roster, Options::default())
}

fn ids(gateway: &GatewayDiagnosis) -> Vec<&'static str> {
    gateway.causes.iter().map(|verdict| verdict.cause.id.name()).collect()
}

fn pairs() -> Vec<Pair> {
    let mut all = vec![];
    all.extend(speaks_and_known());
    all.extend(acknowledged());
    all.extend(clocks());
    all.extend(air::pairs());
    all.extend(packets::pairs());
    all.extend(configured::pairs());
    all
}

fn speaks_and_known() -> [Pair; 6] {
    let refused = StationWays { refused: true, ..StationWays::default() };
    [
        Pair {
            gateway: "gate",
            ..pair(
                "gateway-silent",
                two(12, |side| side.speaks = false),
                // Too short for a word; and a roster that is mostly of another place.
                [two(3, |side| side.speaks = false), {
                    let mut leg = Leg::new(2026, plan("EU868"));
                    for name in ["gate", "shed", "mill"] {
                        leg.add(name).speaks = false;
                    }
                    played(&leg)
                }],
            )
        },
        Pair {
            // Under the EUI that it sends it has no name.
            gateway: "",
            ..pair(
                "gateway-registered-under-another-eui",
                one(|side| registered(side, "020000FFFEA01827", "020000FFFEA01828")),
                // Both are on the air; and another gateway altogether.
                [
                    beside("020000FFFEA01827", "020000FFFEA01828"),
                    one(|side| registered(side, "020000FFFEA01827", "020000FFFE5C3D94")),
                ],
            )
        },
        Pair {
            gateway: "",
            ..pair(
                "gateway-not-on-the-roster",
                one(|side| registered(side, "020000FFFEA01827", "020000FFFE5C3D94")),
                // A neighbour's, while the roster's own speaks.
                [two(12, |side| side.registered = None)],
            )
        },
        pair(
            "two-gateways-share-one-eui",
            one(|side| side.two_radios = true),
            [one(|side| side.restarts_at_s = Some(300))],
        ),
        pair(
            "one-gateway-under-two-euis",
            two(12, |side| side.echoes = Some(0)),
            [two(12, |_| {})],
        ),
        pair(
            "server-refuses-the-gateway",
            station(refused),
            [
                station(StationWays::default()),
                // The more exact cause is told.
                one(|side| {
                    registered(side, "020000FFFEA01827", "020000FFFEA01828");
                    side.station = Some(refused);
                }),
            ],
        ),
    ]
}

fn acknowledged() -> Vec<Pair> {
    let acks = |push: Acks, pull: Acks| {
        one(|side| {
            (side.push_acks, side.pull_acks) = (push, pull);
            // What nobody asks for does not come.
            side.downlinks.every = 0;
        })
    };
    let ways = StationWays::default();
    let closed = |seconds| StationWays { closed_after_s: Some(seconds), code: Some(1008), ..ways };
    let seldom = |reach_s| {
        long(40, |side| {
            side.pulls_every_s = Some(180);
            side.uplinks.every_s = 10;
            (side.downlinks.every, side.downlinks.reach_s) = (2, reach_s);
        })
    };
    vec![
        pair(
            "server-never-answers",
            acks(Acks::None, Acks::None),
            // One flow alone; and the gateway's side alone, whose statistics count acknowledgements.
            [acks(Acks::None, Acks::All), one(|side| side.server_recorded = false)],
        ),
        pair(
            "uplink-port-unanswered",
            acks(Acks::None, Acks::All),
            [acks(Acks::Unrecorded(100), Acks::All), acks(Acks::None, Acks::None)],
        ),
        pair(
            "no-downlink-path-to-the-gateway",
            acks(Acks::All, Acks::None),
            [acks(Acks::None, Acks::None), one(|side| side.pull_acks = Acks::Unrecorded(100))],
        ),
        pair(
            "acknowledgements-later-than-the-gateway-waits",
            one(|side| side.round_trip_us = 250_000),
            [one(|side| side.round_trip_us = 60_000)],
        ),
        pair(
            "acknowledgements-lost-in-part",
            acks(Acks::Lost(40), Acks::Lost(40)),
            [acks(Acks::Unrecorded(40), Acks::All), acks(Acks::Lost(2), Acks::Lost(2))],
        ),
        pair(
            "acknowledgements-for-other-tokens",
            acks(Acks::Swapped, Acks::Swapped),
            [acks(Acks::None, Acks::None), acks(Acks::Lost(40), Acks::All)],
        ),
        pair(
            "router-config-missing",
            station(StationWays { unconfigured: true, ..ways }),
            [station(closed(20)), station(ways)],
        ),
        pair(
            "server-closes-the-connection",
            station(closed(20)),
            [station(closed(90)), station(ways)],
        ),
        pair(
            "gateway-never-asks-for-downlinks",
            one(|side| (side.pulls_every_s, side.downlinks.every) = (None, 0)),
            // Downlinks reach it: the recorder has the uplink port alone.
            [one(|side| side.pulls_every_s = None)],
        ),
        pair("gateway-asks-for-downlinks-too-seldom", seldom(Some(60)), [seldom(None)]),
    ]
}

const HOUR_US: i64 = 3_600_000_000;

fn clocks() -> Vec<Pair> {
    let ahead = |us| one(|side| side.clock_ahead_us = us);
    let slow = |delay_s| {
        one(|side| {
            side.round_trip_us = 1_300_000;
            (side.downlinks.every, side.downlinks.delay_s) = (2, delay_s);
        })
    };
    vec![
        // Since 1970, but for a day.
        pair("gateway-clock-not-set", ahead(-56 * 365 * 24 * HOUR_US), [ahead(-2 * HOUR_US)]),
        pair(
            "gateway-statistics-in-local-time",
            ahead(2 * HOUR_US),
            [ahead(2 * HOUR_US + 300_000_000), ahead(900_000_000)],
        ),
        pair(
            "gateway-clock-drifts",
            one(|side| side.clock_drift = 20_000),
            [one(|side| side.clock_drift = 1_000), ahead(40_000_000)],
        ),
        pair("gateway-clock-off", ahead(40_000_000), [ahead(2 * HOUR_US), ahead(2_000_000)]),
        pair(
            "gateway-counter-restarted",
            one(|side| side.restarts_at_s = Some(300)),
            // The counter wraps after 57 minutes of this.
            [long(80, |_| {}), one(|side| side.two_radios = true)],
        ),
        pair("backhaul-too-slow-for-the-windows", slow(1), [slow(5)]),
    ]
}

#[test]
fn every_cause_of_a_gateway_is_tripped_and_not_by_its_near_misses() {
    let mut wrong = Vec::new();
    let pairs = pairs();
    // What is told on the gateway's ladder by its own words alone is in `words.rs`, with its near misses.
    let by_words = [CauseId::DownlinkReachedTheGatewayTooLate];
    let on_gateway = |c: &&Cause| c.places_on(LadderName::Gateway).next().is_some();
    // What only link-layer addresses show has its scenes there.
    let of_hosts = include_str!("hosts.rs");
    for cause in CAUSES.iter().filter(on_gateway).filter(|c| !by_words.contains(&c.id)) {
        if of_hosts.contains(&format!("\"{}\"", cause.id)) {
            continue;
        }
        if !pairs.iter().any(|pair| pair.id == cause.id.name() && !pair.near.is_empty()) {
            wrong.push(format!("{}: no pair", cause.id));
        }
    }
    for pair in &pairs {
        let all = found(&pair.trip).gateways;
        let own = all.iter().find(|g| g.name.as_deref().unwrap_or_default() == pair.gateway);
        let told = own.map(ids).unwrap_or_default();
        if told.first() != Some(&pair.id) {
            wrong.push(format!("{}: told as {told:?} of {:?}", pair.id, own.map(|g| g.outcome)));
        }
        for (n, near) in pair.near.iter().enumerate() {
            if found(near).gateways.iter().any(|gateway| ids(gateway).contains(&pair.id)) {
                wrong.push(format!("{}: near miss {n} trips it", pair.id));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_gateway_with_which_all_is_well_is_accused() {
    let mut wrong = Vec::new();
    for (seed, name) in (0..60).zip(["EU868", "US915", "AS923", "CN470"].into_iter().cycle()) {
        for gateway in found(&played(&Leg::by_chance(seed, plan(name)))).gateways {
            if gateway.has_fault() {
                wrong.push(format!("{name}, seed {seed}: {:?}", ids(&gateway)));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
