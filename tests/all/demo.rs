//! The demonstration: its files are those that its generator makes, and each probe tells its story.

use handfast::{
    demo,
    id::Eui64,
    ladder::{Certainty, Options, Outcome, Place, join::Rung, judge, session},
    roster::{self, GatewayConfig},
    trace::Tracer,
};

use crate::support::scene;

/// Set this variable to have the files written anew.
const REWRITE: &str = "HANDFAST_WRITE_DEMO";

#[test]
fn the_files_are_those_that_the_generator_makes() {
    let (capture, roster) = demo::generate();
    let shed = demo::generate_shed();
    if std::env::var_os(REWRITE).is_some() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/demo");
        std::fs::write(folder.join("orchard.ndjson"), &capture).unwrap();
        std::fs::write(folder.join("orchard.toml"), &roster).unwrap();
        std::fs::write(folder.join("shed.ndjson"), &shed.0).unwrap();
        std::fs::write(folder.join("shed.toml"), &shed.1).unwrap();
        return;
    }
    assert_eq!(shed, (demo::SHED_CAPTURE.to_owned(), demo::SHED_ROSTER.to_owned()));
    assert_eq!(capture, demo::CAPTURE, "set {REWRITE} to write the files again");
    assert_eq!(roster, demo::ROSTER, "set {REWRITE} to write the files again");
}

#[test]
fn the_capture_is_short_enough_to_read() {
    // Some two pages of it: ten nodes, and what acknowledges their gateways' datagrams.
    assert!(demo::CAPTURE.lines().count() < 130, "{} lines", demo::CAPTURE.lines().count());
}

#[test]
fn every_probe_has_its_own_story() {
    let all = scene::climb_text(demo::CAPTURE, demo::ROSTER);
    let first = scene::of(&all, "probe-01");
    assert_eq!((first.outcome, first.data), (Outcome::Joined, 5));
    assert!(!first.has_fault());
    for (name, id, broken) in [
        ("probe-02", "dev-eui-bytes-reversed", Rung::Identified),
        ("probe-03", "app-key-typed-wrong", Rung::Authentic),
        ("probe-04", "dev-nonce-not-kept-across-power-loss", Rung::Fresh),
        ("probe-05", "accept-sent-at-the-data-delay", Rung::Timely),
        ("probe-06", "downlink-reached-the-gateway-too-late", Rung::Sent),
        ("probe-07", "server-says-1.1-node-is-1.0", Rung::Acceptable),
        ("probe-08", "session-keys-derived-by-another-rule", Rung::Proven),
    ] {
        let probe = scene::of(&all, name);
        let causes: Vec<_> =
            probe.causes.iter().map(|v| (v.cause.id.name(), v.certainty)).collect();
        assert_eq!(causes, [(id, Certainty::Certain)], "{name}");
        assert_eq!(probe.first_broken(), Some(Place::Join(broken)), "{name}");
    }
}

#[test]
fn two_probes_join_well_and_fail_in_their_sessions() {
    let all = scene::climb_text(demo::CAPTURE, demo::ROSTER);
    for (name, id, broken) in [
        ("probe-09", "server-forgets-the-delay-it-gave", session::Rung::Timely),
        ("probe-10", "counter-restarted-in-a-joined-session", session::Rung::Fresh),
    ] {
        let probe = scene::of(&all, name);
        let causes: Vec<_> =
            probe.causes.iter().map(|v| (v.cause.id.name(), v.certainty)).collect();
        assert_eq!(causes, [(id, Certainty::Certain)], "{name}");
        assert_eq!(probe.outcome, Outcome::Joined, "{name}");
        assert_eq!(probe.first_broken(), Some(Place::Session(broken)), "{name}");
    }
}

#[test]
fn of_the_two_gateways_one_gets_nothing_from_the_server() {
    let roster = roster::parse(demo::ROSTER, None).unwrap();
    let mut tracer = Tracer::new(&roster);
    scene::events(demo::CAPTURE).for_each(|event| tracer.push(event));
    let found = judge(&tracer.finish(), &roster, Options::default());
    let causes: Vec<Vec<_>> = found
        .gateways
        .iter()
        .map(|g| g.causes.iter().map(|v| (v.cause.id.name(), v.certainty)).collect())
        .collect();
    assert_eq!(causes, [vec![], vec![("no-downlink-path-to-the-gateway", Certainty::Certain)]]);
}

#[test]
fn the_neighbour_is_listed_and_nothing_certain_is_said_of_it() {
    let all = scene::climb_text(demo::CAPTURE, demo::ROSTER);
    let strangers: Vec<_> = all.iter().filter(|d| d.name.is_none()).collect();
    assert_eq!(strangers.len(), 1);
    assert!(strangers[0].causes.iter().all(|v| v.certainty != Certainty::Certain));
}

#[test]
fn the_gateway_that_is_brought_up_has_the_wrong_port_by_its_capture_and_by_its_file() {
    let found = |with_file: bool| {
        let mut roster = roster::parse(demo::SHED_ROSTER, None).unwrap();
        let config = GatewayConfig::parse("shed.json", demo::SHED_CONFIG).unwrap();
        assert_eq!(
            config.eui.as_ref().map(|eui: &_| eui.value),
            Some::<Eui64>(roster.gateways[0].eui)
        );
        roster.gateways[0].config = Some(config).filter(|_| with_file);
        let mut tracer = Tracer::new(&roster);
        scene::events(demo::SHED_CAPTURE).for_each(|event| tracer.push(event));
        let gateways = judge(&tracer.finish(), &roster, Options::default()).gateways;
        let causes = gateways[0].causes.iter().map(|v| (v.cause.id.name(), v.certainty));
        causes.collect::<Vec<_>>()
    };
    assert_eq!(found(false), [("no-downlink-path-to-the-gateway", Certainty::Certain)]);
    assert_eq!(found(true)[0], ("gateway-set-to-another-port", Certainty::Certain));
}
