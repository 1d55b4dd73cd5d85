//! What was on the air once and what was on the air again: copies, slow lines, repeats, restarts.

use handfast::{
    crypto::{derive::SessionKeys, mic},
    frame::{DataFrame, Frame, decode},
    intake::{Event, What},
    ladder::{Diagnosis, Options, diagnose},
    region::Plan,
    roster::{self, Roster},
    scenario::{Mistake, Scene},
    trace::Tracer,
};
use jiff::SignedDuration;

use crate::{
    common::{from, trace},
    support::scene,
};

/// A healthy join and its data through two gateways.
fn by_two() -> (Roster, Vec<Event>) {
    let mut scene = Scene::new(7, Plan::by_name("EU868").unwrap()).with(|probe| probe.uplinks = 12);
    scene.gateways = 2;
    let recording = scene.play();
    let events = scene::events(&recording.capture).collect();
    (roster::parse(&recording.roster, None).unwrap(), events)
}

fn told(roster: &Roster, events: &[Event]) -> Diagnosis {
    diagnose(&trace(roster, events), roster, Options::default()).remove(0)
}

fn causes(diagnosis: &Diagnosis) -> Vec<String> {
    scene::causes(diagnosis)
}

/// Later by so many seconds, the counter with it or not.
fn later(event: &Event, seconds: u32, counts: bool) -> Event {
    let mut event = event.clone();
    event.time = event.time.map(|at| at + SignedDuration::from_secs(i64::from(seconds)));
    if let (What::Heard(up), true) = (&mut event.what, counts) {
        up.tmst = up.tmst.map(|tmst| tmst.wrapping_add(seconds.wrapping_mul(1_000_000)));
    }
    event
}

fn is_data(event: &Event) -> bool {
    event.heard().is_some_and(|up| up.octets().len() != 23)
}

#[test]
fn a_slow_gateway_s_copies_are_no_restart() {
    let (roster, all) = by_two();
    let sends = all.iter().find(|event| event.ordered().is_some()).unwrap().gateway;
    for seconds in [10, 60, 600, 7_200] {
        let slow = |d: &Event| {
            if is_data(d) && d.gateway != sends { later(d, seconds, false) } else { d.clone() }
        };
        let slow: Vec<Event> = all.iter().map(slow).collect();
        let diagnosis = told(&roster, &slow);
        assert_eq!((diagnosis.outcome.name(), causes(&diagnosis)), ("joined", vec![]), "{seconds}");
    }
}

#[test]
fn datagrams_that_a_gateway_sends_twice_were_received_once() {
    let (roster, all) = by_two();
    let again = all.iter().filter(|d| is_data(d)).map(|d| later(d, 1_800, false));
    let both: Vec<Event> = all.iter().cloned().chain(again).collect();
    assert_eq!(causes(&told(&roster, &both)), Vec::<String>::new());
}

#[test]
fn frames_that_come_late_through_the_only_gateway_that_heard_them_are_no_restart() {
    let (roster, all) = by_two();
    let sends = all.iter().find(|event| event.ordered().is_some()).unwrap().gateway;
    let mut place = 0;
    let mut late = Vec::new();
    for event in &all {
        if !is_data(event) {
            late.push(event.clone());
            continue;
        }
        place += usize::from(event.gateway == sends);
        let missed = matches!(place, 3 | 4);
        match (missed, event.gateway == sends) {
            (true, true) | (false, false) => {}
            (true, false) => late.push(later(event, 7_200, false)),
            (false, true) => late.push(event.clone()),
        }
    }
    assert_eq!(causes(&told(&roster, &late)), Vec::<String>::new());
}

#[test]
fn the_same_frames_at_other_counters_are_at_most_possibly_a_restart() {
    let (roster, all) = by_two();
    let again = all.iter().filter(|d| is_data(d)).map(|d| later(d, 3_600, true));
    let both: Vec<Event> = all.iter().cloned().chain(again).collect();
    let diagnosis = told(&roster, &both);
    assert_eq!(causes(&diagnosis), ["counter-restarted-in-a-joined-session possible"]);
    let evidence = scene::words(&diagnosis.causes[0].evidence);
    assert!(evidence.contains("somebody who repeats what he heard"), "{evidence}");
}

#[test]
fn requests_repeated_a_day_later_in_a_second_capture_are_no_clock() {
    let (roster, all) = by_two();
    let mut tracer = Tracer::new(&roster);
    for event in &all {
        tracer.push(event.clone());
        if event.heard().is_some() {
            tracer.push(from(1, &later(event, 86_400, true)));
        }
    }
    let trace = tracer.finish();
    assert_eq!(trace.clocks, []);
    let diagnosis = diagnose(&trace, &roster, Options::default()).remove(0);
    assert_eq!(diagnosis.attempts, 2);
    assert!(!diagnosis.causes.is_empty());
}

#[test]
fn accepts_are_not_called_missed_where_data_was_left_out() {
    let recording = Scene::new(7, Plan::by_name("EU868").unwrap())
        .with(|probe| probe.mistakes = vec![Mistake::Deaf])
        .play();
    let roster = roster::parse(&recording.roster, None).unwrap();
    let judged = |left_out: u64| {
        let mut tracer = Tracer::new(&roster);
        scene::events(&recording.capture).for_each(|event| tracer.push(event));
        tracer.leave_out(left_out, 0);
        causes(&diagnose(&tracer.finish(), &roster, Options::default())[0])
    };
    assert_eq!(judged(0), ["good-accepts-not-taken-by-the-node likely"]);
    assert_eq!(judged(1), Vec::<String>::new());
}

#[test]
fn one_counter_for_two_payloads_is_told_and_the_same_frame_sent_again_is_not() {
    let (roster, all) = by_two();
    let data: Vec<usize> = (0..all.len()).filter(|i| is_data(&all[*i])).collect();
    let place = data[6];
    // The session's key, from the accept that opens with the record's root key.
    let trace = trace(&roster, &all);
    let session = &trace.nodes[0].sessions[0];
    let SessionKeys::V1_0 { nwk_s_key, .. } = &session.candidates[0].keys else {
        panic!("a session by the 1.0 rule")
    };
    let first = &all[place].frame().unwrap();
    let octets = &first.octets;
    let Some(Frame::Data(mut frame)) = first.frame.clone() else { panic!() };
    let seen = session.uplinks().find(|(_, heard)| *heard.octets == octets[..]).unwrap().0;
    let changed = |frame: &mut DataFrame| {
        frame.payload.as_mut().unwrap().frm[0] ^= 1;
    };
    let again = |frame: &DataFrame| {
        let mut event = later(&all[place], 3, true);
        if let What::Heard(up) = &mut event.what {
            up.frame = decode(&Frame::Data(frame.clone()).build());
        }
        let mut with = all.clone();
        with.insert(place + 1, event);
        with.sort_by_key(|event| event.time);
        causes(&told(&roster, &with))
    };
    assert_eq!(again(&frame), Vec::<String>::new());
    changed(&mut frame);
    frame.mic = mic::data_1_0(nwk_s_key, &frame, seen.held.fcnt);
    assert_eq!(again(&frame), ["counter-used-twice likely"]);
}
