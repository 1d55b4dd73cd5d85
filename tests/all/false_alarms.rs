//! False alarms: where keys, claims or lines are missing, nothing is certain that they would refute.

use std::{collections::BTreeSet, fs, path::Path};

use base64::{Engine, engine::general_purpose::STANDARD};
use handfast::{
    ladder::{Certainty, Diagnosis, Options, diagnose},
    region::Plan,
    roster::{self, Roster},
    scenario::{Dice, Mistake, Scene},
    trace::Tracer,
};
use serde_json::Value;

use crate::support::scene;

/// A capture with its roster, by a name.
struct Case {
    name: String,
    capture: String,
    roster: Roster,
}

fn climb(capture: &str, roster: &Roster) -> Vec<Diagnosis> {
    let mut tracer = Tracer::new(roster);
    scene::events(capture).for_each(|event| tracer.push(event));
    diagnose(&tracer.finish(), roster, Options::default())
}

/// The cases of `vectors/join` and a scene of each mistake.
fn cases() -> Vec<Case> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/join");
    let mut out: Vec<Case> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_dir())
        .map(|path| Case {
            name: path.file_name().unwrap().to_string_lossy().into_owned(),
            capture: fs::read_to_string(path.join("capture.ndjson")).unwrap(),
            roster: roster::read_file(&path.join("roster.toml")).unwrap(),
        })
        .collect();
    assert!(out.len() >= 41);
    for mistake in Mistake::ALL {
        let fits = |version| Plan::all().iter().find(|p| mistake.fits(p, version));
        let versions = handfast::frame::MacVersion::ALL;
        let (plan, version) =
            versions.into_iter().rev().find_map(|v| Some((*fits(v)?, v))).unwrap();
        let made = Scene::new(5, plan).with(|probe| {
            probe.version = version;
            probe.mistakes = vec![*mistake];
        });
        let recording = made.play();
        out.push(Case {
            name: mistake.id().to_owned(),
            roster: roster::parse(&recording.roster, None).unwrap(),
            capture: recording.capture,
        });
    }
    out
}

/// Every cause named, of whatever node, with whatever certainty.
fn named(all: &[Diagnosis]) -> BTreeSet<&'static str> {
    all.iter().flat_map(|d| &d.causes).map(|v| v.cause.id.name()).collect()
}

/// Causes of which the second is what is left of the first when a line is missing.
const LEFT_OF: [(&str, &str); 2] = [
    // Without the gateway's refusal the frequency is still the wrong one.
    ("accept-on-a-frequency-the-gateway-cannot-send", "accept-sent-on-the-wrong-rx2-frequency"),
    ("accept-on-a-frequency-the-gateway-cannot-send", "accept-sent-on-the-wrong-rx1-frequency"),
];

/// What may be said with less than all.
fn warranted(full: &[Diagnosis]) -> BTreeSet<&'static str> {
    let mut out = named(full);
    let left = LEFT_OF.iter().filter(|(whole, _)| named(full).contains(whole));
    out.extend(left.map(|(_, less)| less));
    let made = Mistake::ALL.iter().filter(|mistake| named(full).contains(mistake.id()));
    out.extend(made.flat_map(|mistake| scene::brought_by(*mistake)));
    out
}

fn certain(all: &[Diagnosis]) -> BTreeSet<&'static str> {
    let causes = all.iter().flat_map(|d| &d.causes);
    causes.filter(|v| v.certainty == Certainty::Certain).map(|v| v.cause.id.name()).collect()
}

/// Whatever becomes certain when something is taken away.
fn new_certainties(change: impl Fn(&Case) -> (String, Roster)) -> Vec<String> {
    let mut out = Vec::new();
    for case in cases() {
        let full = climb(&case.capture, &case.roster);
        let warranted = warranted(&full);
        let (capture, roster) = change(&case);
        let less = climb(&capture, &roster);
        let news: Vec<_> = certain(&less).difference(&warranted).copied().collect();
        if !news.is_empty() {
            out.push(format!("{}: {news:?}, with all there is {warranted:?}", case.name));
        }
    }
    out
}

fn stripped(strip: impl Fn(&mut Roster)) -> Vec<String> {
    new_certainties(|case| {
        let mut roster = case.roster.clone();
        strip(&mut roster);
        (case.capture.clone(), roster)
    })
}

#[test]
fn without_keys_nothing_new_is_certain() {
    let found = stripped(|roster| {
        for node in &mut roster.nodes {
            for claim in
                [&mut node.firmware, &mut node.record, &mut node.label].into_iter().flatten()
            {
                claim.app_key = None;
                claim.nwk_key = None;
                claim.nwk_s_key = None;
                claim.app_s_key = None;
            }
        }
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn without_records_nothing_new_is_certain() {
    let found = stripped(|roster| roster.nodes.iter_mut().for_each(|node| node.record = None));
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn without_the_nodes_own_claims_nothing_new_is_certain() {
    let found = stripped(|roster| roster.nodes.iter_mut().for_each(|node| node.firmware = None));
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn without_a_region_nothing_new_is_certain() {
    let found = stripped(|roster| {
        roster.region = None;
        for node in &mut roster.nodes {
            for claim in [&mut node.firmware, &mut node.record].into_iter().flatten() {
                claim.region = None;
            }
        }
        roster.gateways.iter_mut().for_each(|g| g.region = None);
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn without_a_roster_nothing_new_is_certain() {
    let found = stripped(|roster| *roster = Roster::default());
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn without_gateways_on_the_roster_nothing_new_is_certain() {
    let found = stripped(|roster| roster.gateways.clear());
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn lines_that_come_twice_make_nothing_certain() {
    let found = new_certainties(|case| {
        let twice = case.capture.lines().fold(String::new(), |o, l| o + l + "\n" + l + "\n");
        (twice, case.roster.clone())
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn lines_out_of_order_make_nothing_certain() {
    let found = new_certainties(|case| {
        let mut dice = Dice::of(6, &case.name);
        let mut lines: Vec<(u64, &str)> = case.capture.lines().map(|l| (dice.roll(), l)).collect();
        lines.sort_unstable();
        (lines.into_iter().fold(String::new(), |o, (_, l)| o + l + "\n"), case.roster.clone())
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// The lines of a capture that a predicate wants.
fn only(capture: &str, keep: impl Fn(&str) -> bool) -> String {
    capture.lines().filter(|l| keep(l)).fold(String::new(), |o, l| o + l + "\n")
}

#[test]
fn without_downlinks_nothing_new_is_certain() {
    let found = new_certainties(|case| {
        (only(&case.capture, |l| l.contains("PUSH_DATA")), case.roster.clone())
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn without_the_gateways_words_nothing_new_is_certain() {
    let found = new_certainties(|case| {
        (only(&case.capture, |l| !l.contains("TX_ACK")), case.roster.clone())
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn without_times_nothing_new_is_certain() {
    let found = new_certainties(|case| {
        let timeless = case.capture.lines().fold(String::new(), |out, line| {
            let mut value: Value = serde_json::from_str(line).unwrap();
            value.as_object_mut().unwrap().remove("at");
            out + &value.to_string() + "\n"
        });
        (timeless, case.roster.clone())
    });
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// A healthy probe between two gateways, and the EUIs of both.
fn between_two_gateways(seed: u64) -> (String, Roster) {
    let mut scene = Scene::by_chance(seed, Plan::by_name("EU868").unwrap());
    scene.gateways = 2;
    scene.probes.truncate(1);
    let recording = scene.play();
    (recording.capture, roster::parse(&recording.roster, None).unwrap())
}

#[test]
fn captures_of_two_gateways_one_after_the_other_are_one_capture() {
    for seed in 0..40 {
        let (capture, roster) = between_two_gateways(seed);
        let of = |n: usize| {
            let eui = roster.gateways[n].eui.hex();
            only(&capture, |l| l.contains(&format!("\"gateway\":\"{eui}\"")))
        };
        for both in [of(0) + &of(1), of(1) + &of(0)] {
            assert!(named(&climb(&both, &roster)).is_empty(), "seed {seed}");
        }
    }
}

#[test]
fn copies_without_gateway_and_time_are_one_request() {
    for seed in 0..40 {
        let (capture, roster) = between_two_gateways(seed);
        let bare = capture.lines().fold(String::new(), |out, line| {
            let value: Value = serde_json::from_str(line).unwrap();
            out + &value["datagram"].to_string() + "\n"
        });
        let found = named(&climb(&bare, &roster));
        assert!(found.is_empty(), "seed {seed}: {found:?}");
    }
}

#[test]
fn two_gateways_under_one_eui_make_no_fault_of_the_node() {
    for seed in 0..40 {
        let (capture, roster) = between_two_gateways(seed);
        let [first, second] = [0, 1].map(|n: usize| roster.gateways[n].eui.hex());
        let found = named(&climb(&capture.replace(&second, &first), &roster));
        assert!(found.is_empty(), "seed {seed}: {found:?}");
    }
}

#[test]
fn a_capture_cut_at_any_line_makes_nothing_certain() {
    let mut wrong = BTreeSet::new();
    for case in cases() {
        let warranted = warranted(&climb(&case.capture, &case.roster));
        let lines: Vec<&str> = case.capture.lines().collect();
        let step = (lines.len() / 24).max(1);
        for cut in (0..lines.len()).step_by(step) {
            for part in [lines.get(..cut), lines.get(cut..)].into_iter().flatten() {
                let less = climb(&part.join("\n"), &case.roster);
                for id in certain(&less).difference(&warranted) {
                    wrong.insert(format!("{}: {id}, with all there is {warranted:?}", case.name));
                }
            }
        }
    }
    let wrong: Vec<String> = wrong.into_iter().collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Every published frame of `vectors/frames`, as hex.
fn published() -> Vec<String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/frames");
    let mut out = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let text = fs::read_to_string(entry.unwrap().path()).unwrap();
        let file: Value = serde_json::from_str(&text).unwrap();
        let items = file["items"].as_array().unwrap().iter();
        out.extend(items.filter_map(|item| Some(item["phy_hex"].as_str()?.to_owned())));
    }
    assert!(out.len() > 100, "{} frames", out.len());
    out
}

#[test]
fn of_published_frames_without_keys_nothing_is_certain() {
    let mut lines = String::new();
    for (n, frame) in published().iter().enumerate() {
        let data = STANDARD.encode(hex::decode(frame).unwrap());
        let tmst = n * 20_000_000 % 4_000_000_000;
        let datagram = match n % 2 {
            0 => format!(
                "{{\"rxpk\":[{{\"tmst\":{tmst},\"freq\":868.1,\"datr\":\"SF7BW125\",\"data\":\"{data}\"}}]}}"
            ),
            _ => format!(
                "{{\"txpk\":{{\"tmst\":{tmst},\"freq\":868.1,\"datr\":\"SF7BW125\",\"data\":\"{data}\"}}}}"
            ),
        };
        lines = lines + &datagram + "\n";
    }
    for text in ["", "region = \"EU868\"\n", "region = \"US915\"\nsub-band = 2\n"] {
        let all = climb(&lines, &roster::parse(text, None).unwrap());
        assert!(certain(&all).is_empty(), "{text}: {:?}", certain(&all));
    }
    // Nor of a healthy node among them.
    let healthy = Scene::new(8, Plan::by_name("EU868").unwrap()).play();
    let roster = roster::parse(&healthy.roster, None).unwrap();
    let all = climb(&(lines + &healthy.capture), &roster);
    assert!(certain(&all).is_empty(), "{:?}", certain(&all));
}
