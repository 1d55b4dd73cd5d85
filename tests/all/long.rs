//! Captures longer than what is kept of them: what is ordinary is counted, what is odd still tells.

use handfast::{
    intake::{Event, When},
    ladder::{Diagnosis, Options, Outcome, diagnose, join::Rung},
    roster::Roster,
};

use crate::common::{GATEWAY, accept, data, heard, joined, request, roster, sent, session, trace};
use crate::support::scene;

const ADDR: u32 = 0x0201_0001;
/// More than twice what a trace keeps of all nodes together.
const MANY: u64 = 220_000;

fn one(roster: &Roster, trace: &handfast::trace::Trace) -> Diagnosis {
    let mut all = diagnose(trace, roster, Options::default());
    assert_eq!(all.len(), 1);
    all.remove(0)
}

fn ids(diagnosis: &Diagnosis) -> Vec<&str> {
    diagnosis.causes.iter().map(|v| v.cause.id.name()).collect()
}

fn uplinks(fcnt: impl Fn(u64) -> u32) -> Vec<Event> {
    let key = session(ADDR, 7);
    (1..=MANY)
        .map(|i| {
            heard(
                2 + i,
                // Often enough, and within the duty cycle.
                Some(60_000_000 * i64::try_from(i).unwrap()),
                Some(GATEWAY),
                None,
                &data(&key, ADDR, fcnt(i)),
            )
        })
        .collect()
}

#[test]
fn a_session_of_many_frames_is_counted_whole_and_kept_in_part() {
    let roster = roster();
    let trace = joined(&roster, &uplinks(|i| u32::try_from(i).unwrap()));
    let node = &trace.nodes[0];
    assert_eq!(node.data_frames(), usize::try_from(MANY).unwrap());
    let kept: usize = node.sessions.iter().map(|s| s.frames.len()).sum();
    assert!(kept < 110_000, "{kept} frames kept");
    let told = one(&roster, &trace);
    assert_eq!((told.outcome, told.data), (Outcome::Joined, 220_000));
    assert_eq!(told.forgotten, (0, 220_000 - kept));
    assert!(ids(&told).is_empty(), "{:?}", ids(&told));
    // the tenth rung counts all of them
    let proven = scene::words(&told.join_rung(Rung::Proven).unwrap().evidence);
    assert!(proven.contains("220000 uplinks"), "{proven}");
}

#[test]
fn a_counter_that_fell_long_ago_is_still_told() {
    let roster = roster();
    // It falls at the 30,000th frame, far from both ends.
    let fcnt = |i: u64| u32::try_from(if i < 30_000 { 300_000 + i } else { i - 30_000 }).unwrap();
    let whole: Vec<_> = uplinks(fcnt);
    let told = one(&roster, &joined(&roster, &whole));
    let short = one(&roster, &joined(&roster, &whole[29_900..30_100]));
    assert!(told.forgotten.1 > 0);
    assert_eq!(ids(&told), ids(&short));
    assert_eq!(ids(&told), ["counter-restarted-in-a-joined-session"]);
}

#[test]
fn requests_that_are_forgotten_leave_their_nonces() {
    let roster = roster();
    let mut all = Vec::new();
    for i in 0..MANY {
        // From the 60,000th on they repeat.
        let nonce = u16::try_from(i % 60_000).unwrap();
        let at = 20_000_000 * i64::try_from(i).unwrap();
        all.push(heard(2 * i + 1, Some(at), Some(GATEWAY), Some(0), &request(nonce)));
    }
    let trace = trace(&roster, &all);
    let node = &trace.nodes[0];
    assert_eq!(node.attempts.total(), usize::try_from(MANY).unwrap());
    assert!(node.attempts.len() < 110_000);
    assert!(node.earlier.nonces.len() > 10_000);
    let told = one(&roster, &trace);
    assert_eq!(told.attempts, usize::try_from(MANY).unwrap());
    assert!(ids(&told).contains(&"dev-nonce-repeated-after-reset"), "{:?}", ids(&told));
}

#[test]
fn an_answer_finds_its_request_among_many() {
    let roster = roster();
    let mut all: Vec<_> = uplinks(|i| u32::try_from(i).unwrap());
    // A second join at the end, under the same key.
    let at = 60_000_000 * i64::try_from(MANY + 10).unwrap();
    all.push(heard(MANY + 10, Some(at), Some(GATEWAY), Some(1_000), &request(8)));
    all.push(sent(
        MANY + 11,
        Some(at + 200_000),
        Some(GATEWAY),
        When::Counter(5_001_000),
        &accept(ADDR + 1),
    ));
    let key = session(ADDR + 1, 8);
    let first =
        heard(MANY + 12, Some(at + 20_000_000), Some(GATEWAY), None, &data(&key, ADDR + 1, 0));
    all.push(first);
    let told = one(&roster, &joined(&roster, &all));
    assert_eq!((told.outcome, told.attempts, told.data), (Outcome::Joined, 2, 220_001));
    assert!(ids(&told).is_empty(), "{:?}", ids(&told));
}
