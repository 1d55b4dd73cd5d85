//! What the ladder says of a recording.

use handfast::{
    fact::Fact,
    intake::{Capture, Event, Item},
    ladder::{Diagnosis, Options, diagnose},
    roster,
    scenario::{Mistake, Recording},
    trace::Tracer,
};

/// Climbs the ladder for every node of a recording, without a word lost on the way.
pub(crate) fn climb(recording: &Recording) -> Vec<Diagnosis> {
    climb_text(&recording.capture, &recording.roster)
}

/// Climbs the ladder for a capture and a roster as texts.
pub(crate) fn climb_text(capture: &str, roster: &str) -> Vec<Diagnosis> {
    let roster = roster::parse(roster, None).unwrap_or_else(|e| panic!("{e}\n{roster}"));
    let mut tracer = Tracer::new(&roster);
    events(capture).for_each(|event| tracer.push(event));
    diagnose(&tracer.finish(), &roster, Options::default())
}

/// The events of a capture.
pub(crate) fn events(capture: &str) -> impl Iterator<Item = Event> {
    Capture::new(capture.as_bytes()).filter_map(|item| match item {
        Ok(Item::Event(event)) => Some(event),
        _ => None,
    })
}

/// The diagnosis of a node by its name.
pub(crate) fn of<'d>(all: &'d [Diagnosis], name: &str) -> &'d Diagnosis {
    all.iter().find(|d| d.name.as_deref() == Some(name)).expect("the node is on the roster")
}

/// The ids of the causes named, each with its certainty.
pub(crate) fn causes(diagnosis: &Diagnosis) -> Vec<String> {
    diagnosis
        .causes
        .iter()
        .map(|v| format!("{} {}", v.cause.id.name(), v.certainty.name()))
        .collect()
}

/// Returns facts in words, one a line, without digits of keys.
pub(crate) fn words(facts: &[Fact]) -> String {
    facts.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

/// Whether a mistake brings another cause with it, which is then rightly told beside its own.
pub(crate) fn brings(mistake: Mistake, id: &str) -> bool {
    brought_by(mistake).contains(&id)
}

/// The causes that a mistake brings with it.
pub(crate) fn brought_by(mistake: Mistake) -> &'static [&'static str] {
    match mistake {
        // A server that says nothing owes every answer.
        Mistake::AdrAckIgnored => &["rekey-ind-never-answered", "node-request-never-answered"],
        // At the slowest rate the same interval is too short.
        Mistake::AdrTooFar => &["duty-cycle-exceeded"],
        // What the node refused, it does not hold.
        Mistake::NotHeld => &["receive-settings-refused"],
        // Without the record it is only seen that another rate is used than the node was given.
        Mistake::RecordUsed => &["downlink-at-the-wrong-rx2-data-rate"],
        // The session before has other counters; what it acknowledges is another frame. The new
        // session is not answered.
        Mistake::OldSession => &["confirmed-counter-wrong-in-the-mic", "rekey-ind-never-answered"],
        // A server that drops the node's data, or answers to somebody else, acknowledges nothing.
        Mistake::AddressTyped
        | Mistake::SessionKeyTyped
        | Mistake::SessionKeysSwapped
        | Mistake::SessionKeyUnrelated
        | Mistake::CounterLeaps
        | Mistake::AnotherAddress => &["confirmed-uplink-never-acknowledged"],
        // Both count by themselves, and each takes the other's accepts.
        Mistake::SharedIdentity => {
            &["rejoin-counter-went-back", "join-nonce-went-back", "downlink-to-an-old-session"]
        }
        // A gateway refuses what is outside its band, in answer to a node outside it.
        Mistake::AnotherRegion => &["gateway-refuses-the-frequency"],
        _ => &[],
    }
}
