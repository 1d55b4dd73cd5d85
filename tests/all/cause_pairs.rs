//! For each cause of the table a scene that trips it, and a near miss that must not.

use handfast::{
    frame::MacVersion,
    ladder::{CAUSES, Cause, Diagnosis, LadderName},
    region::Plan,
    roster::Class,
    scenario::{Mistake, Probe, Recording, Scene},
};

use crate::support::scene::{self, brings};

use MacVersion::{V1_0_3, V1_0_4, V1_1};

const EU868: &str = "EU868";
const US915: &str = "US915";
const AS923: &str = "AS923";

/// A scene of one probe.
fn made(plan: &str, version: MacVersion, change: impl FnOnce(&mut Probe)) -> Recording {
    of_scene(plan, version, change).play()
}

fn of_scene(plan: &str, version: MacVersion, change: impl FnOnce(&mut Probe)) -> Scene {
    let plan = Plan::by_name(plan).unwrap();
    Scene::new(2026, plan).with(|probe| {
        probe.version = version;
        change(probe);
    })
}

/// A scene of one probe with one mistake.
fn wrong(plan: &str, version: MacVersion, mistake: Mistake) -> Recording {
    made(plan, version, |probe| probe.mistakes = vec![mistake])
}

/// A scene of one probe and two gateways.
fn by_two(version: MacVersion, mistakes: Vec<Mistake>) -> Recording {
    let mut scene = of_scene(EU868, version, |probe| probe.mistakes = mistakes);
    scene.gateways = 2;
    scene.play()
}

/// A scene with a second probe, with which nothing is wrong.
fn beside_another(version: MacVersion, mistake: Mistake) -> Recording {
    let mut scene = of_scene(EU868, version, |probe| probe.mistakes = vec![mistake]);
    scene.probes.push(Probe::new("probe-02"));
    scene.play()
}

trait Edit {
    /// Changes the roster's text; what is to be replaced must be there.
    fn roster(self, from: &str, to: &str) -> Self;
    /// Changes the capture's text, likewise.
    fn capture(self, from: &str, to: &str) -> Self;
    /// Keeps the lines of the capture that the predicate wants, told with their place.
    fn lines(self, keep: impl FnMut(usize, &str) -> bool) -> Self;
    /// Keeps the lines of the roster.
    fn members(self, keep: impl FnMut(&str) -> bool) -> Self;
}

impl Edit for Recording {
    fn roster(mut self, from: &str, to: &str) -> Self {
        assert!(self.roster.contains(from), "{from} is not in\n{}", self.roster);
        self.roster = self.roster.replace(from, to);
        self
    }

    fn capture(mut self, from: &str, to: &str) -> Self {
        assert!(self.capture.contains(from), "{from} is not in\n{}", self.capture);
        self.capture = self.capture.replace(from, to);
        self
    }

    fn lines(mut self, mut keep: impl FnMut(usize, &str) -> bool) -> Self {
        let kept = self.capture.lines().enumerate().filter(|(i, line)| keep(*i, line));
        self.capture = kept.fold(String::new(), |out, (_, line)| out + line + "\n");
        self
    }

    fn members(mut self, mut keep: impl FnMut(&str) -> bool) -> Self {
        let kept = self.roster.lines().filter(|line| keep(line));
        self.roster = kept.fold(String::new(), |out, line| out + line + "\n");
        self
    }
}

/// Where and by which version each mistake is made.
fn trip(mistake: Mistake) -> Recording {
    let (plan, version) = fitting(mistake);
    wrong(plan, version, mistake)
}

/// A plan and a version in which a mistake can be made.
fn fitting(mistake: Mistake) -> (&'static str, MacVersion) {
    let plans = [EU868, US915, AS923];
    let versions = [V1_0_3, V1_0_4, V1_1];
    let all = plans.iter().flat_map(|p| versions.iter().map(move |v| (*p, *v)));
    all.into_iter()
        .find(|(plan, version)| mistake.fits(Plan::by_name(plan).unwrap(), *version))
        .unwrap()
}

/// What looks like a mistake of a session: the same session without it, and with the mistake before
/// it and behind it in the table, which are of its rung or of the next one.
fn session_near_misses(mistake: Mistake) -> Vec<Recording> {
    let (plan, version) = fitting(mistake);
    let talks = made(plan, version, |probe| {
        probe.talks = true;
        probe.uplinks = 20;
    });
    let place = Mistake::ALL.iter().position(|own| *own == mistake).unwrap();
    let neighbours = [place - 1, place + 1].into_iter().filter_map(|at| Mistake::ALL.get(at));
    let alike = neighbours.filter(|near| near.is_of_talk() && !brings(**near, mistake.id()));
    std::iter::once(talks).chain(alike.map(|near| trip(*near))).collect()
}

/// What looks like a cause and is not: a right world, or one with another mistake.
#[expect(clippy::too_many_lines, clippy::match_same_arms, reason = "a row a cause, in their order")]
fn near_miss(id: &str) -> Option<Recording> {
    use Mistake as M;
    let healthy = |plan, version| made(plan, version, |_| {});
    Some(match id {
        // The console speaks of sleep alone.
        "node-silent" => wrong(EU868, V1_0_3, M::Unheard)
            .roster("join request, attempt 1", "asleep")
            .roster("join request, attempt 2", "asleep")
            .roster("tx done", "battery 3.1 V"),
        // Another node's frames come whole.
        "gateway-heard-only-bad-crc" => beside_another(V1_0_3, M::DamagedOnAir),
        // Nobody knows which channels the node uses.
        "channel-plans-do-not-overlap" => {
            wrong(US915, V1_0_3, M::PlansApart).members(|line| !line.starts_with("channel-mask"))
        }
        // Of nobody who is on the roster.
        "join-request-has-the-wrong-length" => made(EU868, V1_0_3, |probe| {
            probe.mistakes = vec![M::LongRequest, M::UnknownIdentity];
        }),
        "node-transmits-in-another-region" => wrong(EU868, V1_0_3, M::UnlawfulJoinRate),
        "join-request-at-an-unlawful-data-rate" => wrong(EU868, V1_0_3, M::AnotherRegion),
        // A third of the frames is lost, which eight channels of 72 would not explain.
        "node-hops-outside-the-gateway-sub-band" => {
            let mut n = 0;
            made(US915, V1_0_3, |probe| probe.uplinks = 24).lines(|_, line| {
                let data = line.contains("\"rxpk\"") && !line.contains("\"size\":23");
                n += usize::from(data);
                !data || !n.is_multiple_of(3)
            })
        }
        // One channel, and nothing is lost on it: the node keeps to it as well.
        "one-channel-gateway" => wrong(EU868, V1_0_3, M::OneChannel).lines(|_, line| {
            line.contains("PULL") || line.contains("TX_ACK") || line.contains("\"size\":23")
        }),
        // Off the grid, and the server does not mind.
        "gateway-reports-an-inexact-frequency" => healthy(EU868, V1_0_3)
            .capture("\"freq\":868.3,\"stat\"", "\"freq\":868.300013,\"stat\""),
        "dev-eui-and-join-eui-exchanged" => made(EU868, V1_0_3, |probe| {
            probe.mistakes = vec![M::DevEuiReversed, M::JoinEuiReversed];
        }),
        "dev-eui-bytes-reversed" => wrong(EU868, V1_0_3, M::EuisExchanged),
        "join-eui-bytes-reversed" => wrong(EU868, V1_0_3, M::JoinEuiTyped),
        "dev-eui-typed-wrong" => wrong(EU868, V1_0_3, M::UnknownIdentity),
        "join-eui-typed-wrong" => wrong(EU868, V1_0_3, M::JoinEuiReversed),
        "identity-not-on-record" => wrong(EU868, V1_0_3, M::DevEuiTyped),
        // Two sessions, one after the other.
        "two-nodes-share-one-identity" => wrong(EU868, V1_0_3, M::AppKeyStale),
        "node-joins-over-the-air-record-is-abp" => wrong(EU868, V1_0_3, M::CounterRestarted),
        "app-key-bytes-reversed" => wrong(EU868, V1_0_3, M::AppKeyTyped),
        "nwk-key-bytes-reversed" => wrong(EU868, V1_1, M::NwkKeyTyped),
        "app-key-typed-wrong" => wrong(EU868, V1_0_3, M::AppKeyReversed),
        "nwk-key-typed-wrong" => wrong(EU868, V1_1, M::KeyUnrelated),
        "root-key-transformed" => wrong(EU868, V1_0_3, M::AppKeyReversed),
        "root-key-on-record-is-a-placeholder" => wrong(EU868, V1_0_3, M::KeyUnrelated),
        "app-key-text-taken-as-bytes" => wrong(EU868, V1_0_3, M::SampleKey),
        "firmware-still-uses-a-sample-key" => wrong(EU868, V1_0_3, M::KeyText),
        "root-key-in-the-wrong-slot" => wrong(EU868, V1_1, M::KeyUnrelated),
        "session-key-entered-as-root-key" => wrong(EU868, V1_0_3, M::KeyUnrelated),
        "key-of-another-node" => beside_another(V1_0_3, M::KeyUnrelated),
        "root-key-unrelated" => wrong(EU868, V1_0_3, M::KeyOfAnother),
        "dev-nonce-not-kept-across-power-loss" => wrong(EU868, V1_0_3, M::NonceRandom),
        // One request, heard by two gateways.
        "dev-nonce-repeated-after-reset" => by_two(V1_0_3, vec![]),
        "random-nonce-against-a-counting-server" => wrong(EU868, V1_0_4, M::NonceNotKept),
        // The record names a gateway mistyped, and the answer comes all the same.
        "gateway-registered-under-another-eui" => healthy(EU868, V1_0_3)
            .roster("gateways = [\"020000fffeea", "gateways = [\"020000fffeae"),
        // No PULL_ACK was captured, but what it is for.
        "no-downlink-path-to-the-gateway" => {
            healthy(EU868, V1_0_3).lines(|_, line| !line.contains("PULL_ACK"))
        }
        // The capture ends before an accept is due.
        "no-answer-from-the-server" => made(EU868, V1_0_3, |probe| {
            probe.attempts = 1;
            probe.mistakes = vec![M::ServerSilent];
        })
        .lines(|_, line| !line.contains("\"stat\":{") && !line.contains("06:30:1")),
        "accept-sent-at-the-data-delay" => made(EU868, V1_0_3, |probe| probe.second_window = true),
        "accept-sent-at-another-time" => wrong(EU868, V1_0_3, M::DataDelay),
        "server-set-to-another-as923-group" => wrong(AS923, V1_0_3, M::Rx1Frequency),
        "accept-on-a-frequency-the-gateway-cannot-send" => wrong(EU868, V1_0_3, M::Rx2Frequency),
        // Another frequency than the request's, by the plan's rule.
        "accept-sent-on-the-wrong-rx1-frequency" => healthy(US915, V1_0_3),
        "rx1-offset-applied-to-the-join-accept" => wrong(EU868, V1_0_3, M::Rx2Rate),
        "accept-sent-at-the-wrong-rx1-data-rate" => wrong(EU868, V1_0_3, M::Rx1Offset),
        "accept-sent-on-the-wrong-rx2-frequency" => wrong(EU868, V1_0_3, M::Rx1Frequency),
        "accept-sent-with-the-wrong-rx2-data-rate" => wrong(EU868, V1_0_3, M::Rx1Rate),
        // The datagram does not say.
        "downlink-polarity-not-inverted" => healthy(EU868, V1_0_3).capture("\"ipol\":true,", ""),
        // As long, where no limit is in force.
        "accept-too-long-for-the-dwell-limit" => wrong(AS923, V1_0_3, M::TooLong)
            .roster("downlink-dwell = true", "downlink-dwell = false"),
        // TOO_LATE, and in time.
        "downlink-reached-the-gateway-too-late" => wrong(EU868, V1_0_3, M::WrapMishandled),
        "gateway-refuses-the-power-asked-for" => wrong(EU868, V1_0_3, M::FrequencyRefused),
        "gateway-refuses-the-frequency" => wrong(EU868, V1_0_3, M::FrequencyOutOfRange),
        // A collision with nothing of another node's.
        "accepts-of-nodes-joining-in-step-collide" => {
            wrong(EU868, V1_0_3, M::PowerRefused).capture("TX_POWER", "COLLISION_PACKET")
        }
        "gateway-mishandles-its-counter-wrap" => wrong(EU868, V1_0_3, M::TooLate),
        "gateway-counter-restarted-between-request-and-accept" => {
            wrong(EU868, V1_0_3, M::WrapMishandled)
        }
        "accept-for-another-key" => wrong(EU868, V1_1, M::AnswersEarlier),
        "accept-answers-another-attempt" => wrong(EU868, V1_1, M::AcceptOtherKey),
        "server-says-1.1-node-is-1.0" => healthy(EU868, V1_1),
        // 1.0.3 draws its JoinNonces.
        "join-nonce-went-back" => healthy(EU868, V1_0_3)
            .roster("[node.firmware]\n", "[node.firmware]\nlast-join-nonce = 16777215\n"),
        "cflist-type-does-not-fit-the-region" => wrong(EU868, V1_0_3, M::RxParameters),
        "rx-parameters-out-of-range" => wrong(EU868, V1_0_3, M::CfListType),
        "cflist-opens-the-wrong-channels" => healthy(US915, V1_0_3),
        // The same server, and a node that falls back.
        "node-ignores-1.0-fallback" => made(EU868, V1_1, |probe| probe.served_as = Some(V1_0_3)),
        "session-keys-derived-by-another-rule" => wrong(EU868, V1_1, M::IgnoresFallback),
        // Windows in time, and the node is deaf all the same.
        "node-opens-its-window-late" => wrong(EU868, V1_0_3, M::Deaf).roster(
            "[node.firmware]\n",
            "[node.firmware]\nlog = [\"900.0 ms tx done\", \"5895.0 ms receive on RX1\"]\n",
        ),
        "accept-sent-through-the-far-gateway" => by_two(V1_0_3, vec![M::Deaf]),
        // One accept that the node did not take is chance.
        "good-accepts-not-taken-by-the-node" => made(EU868, V1_0_3, |probe| {
            probe.attempts = 1;
            probe.mistakes = vec![M::Deaf];
        }),
        "ghost-copy-of-a-node-too-close-to-the-gateway" | "late-copy-replaced-the-session" => {
            by_two(V1_0_3, vec![])
        }
        "abp-counter-restarted" => wrong(EU868, V1_0_3, M::UpperHalfLost),
        // Built in, and no join.
        "counter-restarted-in-a-joined-session" => wrong(EU868, V1_0_3, M::CounterRestarted),
        "counter-upper-half-lost-at-rollover" => wrong(EU868, V1_0_3, M::CounterRestarted),
        // 1.1 has two counters, which take turns.
        "downlink-counter-went-back" => made(EU868, V1_1, |probe| {
            probe.uplinks = 20;
            probe.mistakes = vec![M::DelayForgotten];
        }),
        "application-key-out-of-step" => {
            wrong(EU868, V1_0_3, M::AppKeyStale).members(|line| !line.starts_with("app-s-key"))
        }
        // 1.0.4 takes such frames.
        "commands-on-port-0-and-in-fopts-together" => wrong(EU868, V1_0_4, M::CommandsTwice),
        // Refused once.
        "channel-mask-refused" => made(EU868, V1_0_3, |probe| {
            probe.uplinks = 2;
            probe.mistakes = vec![M::MaskRefused];
        }),
        "fopts-encryption-rule-differs" => healthy(EU868, V1_1),
        "class-c-downlink-at-the-wrong-rate" => made(EU868, V1_0_3, |probe| probe.class = Class::C),
        "server-forgets-the-delay-it-gave" => made(EU868, V1_0_3, |probe| probe.uplinks = 20),
        "gateway-has-no-gps-time" => wrong(EU868, V1_0_3, M::NoGps).capture("GPS_UNLOCKED", "NONE"),
        "dev-addr-outside-the-servers-range" => healthy(EU868, V1_0_3)
            .roster("[node.record]\n", "[node.record]\ndev-addr-prefix = \"02000000/7\"\n"),
        _ => return None,
    })
}

fn ids(diagnosis: &Diagnosis) -> Vec<&'static str> {
    diagnosis.causes.iter().map(|v| v.cause.id.name()).collect()
}

/// Causes in which a side computes in its own way, or which only a station's messages or a
/// console's frequencies show, or the payload of a package: no scene does, so `own_ways.rs`,
/// `station.rs`, `consoles.rs` and `packages.rs` make them, and their near misses, by hand.
const BY_HAND: [&str; 27] = [
    "counter-used-twice",
    "gateway-filters-the-join-eui",
    "gateway-filters-the-address",
    "node-listens-on-another-frequency",
    "join-request-signed-by-another-rule",
    "accept-made-by-another-rule",
    "accept-rule-and-opt-neg-disagree",
    "data-signed-by-another-rule",
    "payload-encrypted-by-another-rule",
    "frame-size-over-the-limit",
    "clock-answer-does-not-match",
    "clock-correction-in-the-wrong-epoch",
    "firmware-image-refused",
    "fragment-parity-of-another-version",
    "fragmentation-session-refused",
    "fragmented-block-cannot-be-rebuilt",
    "multicast-counter-outside-the-range",
    "multicast-downlink-at-the-wrong-rate",
    "multicast-frame-of-a-forbidden-kind",
    "multicast-keys-differ",
    "multicast-outside-its-session",
    "multicast-session-refused",
    "multicast-to-another-address",
    "relay-configuration-refused",
    "join-request-replayed",
    "join-requests-forged",
    "join-accept-replayed",
];

#[test]
fn what_no_scene_trips_is_made_by_hand() {
    let made = concat!(
        include_str!("own_ways.rs"),
        include_str!("station.rs"),
        include_str!("consoles.rs"),
        include_str!("copies.rs"),
        include_str!("packages.rs"),
        include_str!("hosts.rs")
    );
    for id in BY_HAND {
        assert!(made.contains(id), "{id} is tried nowhere");
        assert!(Mistake::ALL.iter().all(|m| m.id() != id), "{id} has a scene");
    }
}

#[test]
fn every_cause_is_tripped_by_a_scene_and_not_by_its_near_miss() {
    let mut wrong = Vec::new();
    // What is a gateway's alone has no node of a scene: `gateway_leg.rs` has the pairs.
    let is_of_a_leg =
        |cause: &Cause| cause.places.iter().all(|place| place.ladder() == LadderName::Gateway);
    let of_scenes = |c: &&Cause| !BY_HAND.contains(&c.id.name()) && !is_of_a_leg(c);
    for cause in CAUSES.iter().filter(of_scenes) {
        let Some(mistake) = Mistake::ALL.iter().find(|m| m.id() == cause.id.name()) else {
            wrong.push(format!("{}: no scene trips it", cause.id.name()));
            continue;
        };
        let all = scene::climb(&trip(*mistake));
        let tripped = ids(scene::of(&all, "probe-01"));
        if tripped.first() != Some(&cause.id.name()) {
            wrong.push(format!("{}: its scene is told as {tripped:?}", cause.id.name()));
        }
        let near: Vec<Recording> = match near_miss(cause.id.name()) {
            Some(near) => vec![near],
            None if mistake.is_of_talk() => session_near_misses(*mistake),
            None => vec![],
        };
        if near.is_empty() {
            wrong.push(format!("{}: no near miss", cause.id.name()));
        }
        for (n, near) in near.iter().enumerate() {
            let all = scene::climb(near);
            if all.iter().any(|d| ids(d).contains(&cause.id.name())) {
                wrong.push(format!("{}: its near miss {n} trips it", cause.id.name()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn an_accept_for_a_request_that_was_not_captured_is_no_accept_for_another_key() {
    // The first request is taken out: the accept for it stands alone in the second's window.
    let recording = wrong(EU868, V1_1, Mistake::AnswersEarlier);
    let first = recording.capture.lines().position(|line| line.contains("\"size\":23")).unwrap();
    let all = scene::climb(&recording.lines(|i, _| i != first));
    let found = ids(scene::of(&all, "probe-01"));
    assert_eq!(found, ["accept-answers-another-attempt"]);
}
