//! Clocks that are wrong, missing or of another kind: what can be told all the same, and what not.

use handfast::{
    gps::GpsTime,
    intake::{Damage, Event, Gap, IntakeError, Lost, Position, What},
    ladder::{Diagnosis, Options, Rungs, State, diagnose, join::Rung},
    region::Plan,
    roster,
    scenario::{Mistake, Recording, Scene},
    trace::{Trace, Tracer},
};
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};

use crate::{common::from, support::scene};

fn healthy() -> Recording {
    Scene::new(7, Plan::by_name("EU868").unwrap()).play()
}

/// The recording with each of its lines changed.
fn edited(recording: &Recording, mut edit: impl FnMut(&mut Value)) -> Recording {
    let lines = recording.capture.lines().map(|line| {
        let mut line: Value = serde_json::from_str(line).unwrap();
        edit(&mut line);
        line.to_string() + "\n"
    });
    Recording { capture: lines.collect(), roster: recording.roster.clone() }
}

fn told(recording: &Recording) -> Diagnosis {
    scene::of(&scene::climb(recording), "probe-01").clone()
}

fn rung(diagnosis: &Diagnosis, rung: Rung) -> (State, String) {
    let judged = diagnosis.join_rung(rung).unwrap();
    (judged.state, scene::words(&judged.evidence))
}

fn ids(diagnosis: &Diagnosis) -> Vec<&'static str> {
    diagnosis.causes.iter().map(|verdict| verdict.cause.id.name()).collect()
}

// --- slots by GPS time ---------------------------------------------------------------------------

/// The recording of a gateway with GPS time: slots are GPS times, `off` seconds from where they were.
fn by_gps(recording: &Recording, off: i64) -> Recording {
    // The end of each frame: any offset between counter and GPS time does. 2026-03-02 08:00 UTC.
    let start: Timestamp = "2026-03-02T08:00:00Z".parse().unwrap();
    let start = i64::from(GpsTime::from_utc(start).unwrap().seconds()) * 1_000;
    let gps = |tmst: &Value| start + tmst.as_i64().unwrap() / 1_000;
    edited(recording, |line| {
        let datagram = &mut line["datagram"];
        for up in datagram["rxpk"].as_array_mut().into_iter().flatten() {
            up["tmms"] = json!(gps(&up["tmst"]));
        }
        if let Some(down) = datagram["txpk"].as_object_mut()
            && let Some(tmst) = down.remove("tmst")
        {
            down.insert("tmms".to_owned(), json!(gps(&tmst) + off * 1_000));
        }
    })
}

/// Only the exchange of the join: no later data contradicts what is said of it.
fn join_alone(recording: &Recording) -> Recording {
    let mut asked = false;
    let kept = recording.capture.lines().filter(|line| {
        let request = line.contains("\"size\":23");
        let first = request && !asked;
        asked |= request;
        first || !line.contains("\"rxpk\"")
    });
    let capture = kept.fold(String::new(), |out, line| out + line + "\n");
    Recording { capture, roster: recording.roster.clone() }
}

#[test]
fn a_slot_by_gps_time_is_judged_as_one_by_the_counter() {
    let recording = healthy();
    let (counted, by_gps) = (told(&recording), told(&by_gps(&recording, 0)));
    let (state, words) = rung(&by_gps, Rung::Timely);
    assert_eq!(state, State::Proven, "{words}");
    assert_eq!(rung(&counted, Rung::Timely), (state, words));
    assert_eq!(ids(&by_gps), Vec::<&str>::new());
}

#[test]
fn leap_seconds_that_were_forgotten_are_named() {
    // GPS time is 18 s ahead of UTC since 2017 (IERS Bulletin C 52 and later).
    let recording = join_alone(&healthy());
    for (off, side) in [(-18, "before"), (18, "after")] {
        let diagnosis = told(&by_gps(&recording, off));
        assert_eq!(rung(&diagnosis, Rung::Timely).0, State::Broken);
        assert_eq!(ids(&diagnosis), ["accept-sent-at-another-time"], "{off}");
        let evidence = scene::words(&diagnosis.causes[0].evidence);
        assert!(evidence.contains(&format!("18 s {side} RX1: the leap seconds")), "{evidence}");
    }
    let diagnosis = told(&by_gps(&recording, -2));
    assert_eq!(ids(&diagnosis), ["accept-sent-at-another-time"]);
    let evidence = scene::words(&diagnosis.causes[0].evidence);
    assert!(!evidence.contains("leap"), "{evidence}");
}

#[test]
fn what_the_node_took_was_in_time_whatever_the_capture_says() {
    let off = by_gps(&healthy(), -18);
    let diagnosis = told(&off);
    let (state, words) = rung(&diagnosis, Rung::Timely);
    assert_eq!(state, State::Unknown, "{words}");
    assert!(words.contains("the node took the accept all the same"), "{words}");
    assert_eq!(ids(&diagnosis), Vec::<&str>::new());
}

// --- clocks of recorders -------------------------------------------------------------------------

fn moved(event: &Event, seconds: i64) -> Event {
    let time = event.time.map(|at| at + SignedDuration::from_secs(seconds));
    Event { time, ..event.clone() }
}

/// What two recorders say whose clocks are so far apart; each stands at a gateway of its own, and only
/// the first one's hears the server.
fn two_recorders(apart: i64) -> (Trace, Diagnosis) {
    let mut scene = Scene::new(7, Plan::by_name("EU868").unwrap());
    scene.gateways = 2;
    let recording = scene.play();
    let roster = roster::parse(&recording.roster, None).unwrap();
    let all: Vec<Event> = scene::events(&recording.capture).collect();
    let sends = all.iter().find(|event| event.ordered().is_some()).unwrap().gateway;
    let mut tracer = Tracer::new(&roster);
    for event in all.iter().filter(|event| event.gateway == sends) {
        tracer.push(event.clone());
    }
    for event in all.iter().filter(|event| event.gateway != sends) {
        tracer.push(from(1, &moved(event, apart)));
    }
    let trace = tracer.finish();
    let diagnosis = diagnose(&trace, &roster, Options::default()).remove(0);
    (trace, diagnosis)
}

#[test]
fn two_recorders_with_clocks_apart_tell_what_they_tell_with_clocks_alike() {
    let (trace, alike) = two_recorders(0);
    assert_eq!(trace.clocks, []);
    assert_eq!((alike.attempts, alike.outcome.name()), (1, "joined"));
    for apart in [40, 600, 3_600, -3_600, 86_400] {
        let (trace, diagnosis) = two_recorders(apart);
        assert_eq!(trace.clocks.len(), 1, "{apart}");
        let clock = trace.clocks[0];
        let off = clock.ahead - SignedDuration::from_secs(apart);
        assert!(off.abs() < SignedDuration::from_secs(1), "{apart}: {clock:?}");
        assert_eq!((clock.source, clock.against), (1, 0));
        assert_eq!((diagnosis.attempts, diagnosis.data), (alike.attempts, alike.data), "{apart}");
        assert_eq!(ids(&diagnosis), Vec::<&str>::new(), "{apart}");
        for &of in Rung::ALL {
            assert_eq!(rung(&diagnosis, of).0, rung(&alike, of).0, "{apart}: {of:?}");
        }
    }
}

#[test]
fn a_clock_set_back_between_request_and_accept_hides_no_accept() {
    let recording = join_alone(&healthy());
    // A hundred seconds, from the first downlink on.
    let mut back = false;
    let recording = edited(&recording, |line| {
        back |= line["kind"] == "PULL_RESP";
        if back {
            let at: Timestamp = line["at"].as_str().unwrap().parse().unwrap();
            line["at"] = json!((at - SignedDuration::from_secs(100)).to_string());
        }
    });
    let diagnosis = told(&recording);
    assert_eq!(rung(&diagnosis, Rung::Answered).0, State::Proven);
    assert_eq!(rung(&diagnosis, Rung::Timely).0, State::Proven);
    assert_eq!(rung(&diagnosis, Rung::Acceptable).0, State::Proven);
    assert_eq!(ids(&diagnosis), Vec::<&str>::new());
}

// --- what a capture lacks ------------------------------------------------------------------------

#[test]
fn an_accept_that_cannot_be_read_is_no_accept_that_was_not_sent() {
    let recording = healthy();
    let roster = roster::parse(&recording.roster, None).unwrap();
    // The gateway's own counts would tell that something is missing.
    let all = scene::events(&recording.capture).filter(|event| event.status().is_none());
    let all: Vec<Event> = all.collect();
    let with = |damage: Option<Event>, first: bool| {
        let mut tracer = Tracer::new(&roster);
        if first {
            tracer.push(damage.clone().unwrap());
        }
        for event in &all {
            match (event.ordered().is_some() || event.outcome().is_some(), &damage) {
                (true, Some(damage)) if !first => tracer.push(damage.clone()),
                (true, _) => {}
                (false, _) => tracer.push(event.clone()),
            }
        }
        let trace = tracer.finish();
        rung(&diagnose(&trace, &roster, Options::default())[0], Rung::Answered)
    };
    let damage = || {
        let gap = Gap { lost: Lost::Anything, damage: Damage::All(IntakeError::NoDatagram) };
        Some(Event::new(Position::line(4), What::Gap(Box::new(gap))))
    };
    let (state, words) = with(damage(), false);
    assert_eq!(state, State::Unknown, "{words}");
    assert!(words.contains("line 4 is damaged, and may be one"), "{words}");
    // What was damaged before the request cannot be its answer.
    assert_eq!(with(damage(), true).0, State::Broken);
    assert_eq!(with(None, false).0, State::Broken);
}

#[test]
fn downlinks_that_were_left_out_are_not_missed() {
    let recording = Scene::new(7, Plan::by_name("EU868").unwrap())
        .with(|probe| probe.mistakes = vec![Mistake::ServerSilent])
        .play();
    let roster = roster::parse(&recording.roster, None).unwrap();
    let judged = |left_out: u64| {
        let mut tracer = Tracer::new(&roster);
        scene::events(&recording.capture).for_each(|event| tracer.push(event));
        tracer.leave_out(0, left_out);
        let all = diagnose(&tracer.finish(), &roster, Options::default());
        (rung(&all[0], Rung::Answered).0, ids(&all[0]))
    };
    assert_eq!(judged(0), (State::Broken, vec!["no-answer-from-the-server"]));
    assert_eq!(judged(1), (State::Unknown, vec![]));
}
