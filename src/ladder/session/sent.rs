//! Rung 8, sent: a gateway took the downlinks.

use super::{Case, Story};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    intake::{TxError, When},
    ladder::{finding::Finding, join::sent::HEADROOM_US, rung::Judgement},
    trace::Sending,
};

/// So many refusals of one kind decide; one may be chance.
const DECIDE: usize = 2;
/// Downlinks that evidence names.
const NAMED: usize = 4;

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    let all: Vec<usize> = downs(story).collect();
    if all.is_empty() {
        return Judgement::unknown("no downlink of the session is in the capture");
    }
    let taken = all.iter().filter(|place| story.sending(**place).is_some_and(Sending::taken));
    let taken = taken.count();
    let lost = refused(story);
    if is_trouble(story, &lost) {
        let words = |place: &usize| -> Option<Fact> {
            let sending = story.sending(*place)?;
            Some(fact!(
                "{downlink}: the gateway says {error}",
                downlink = story.cite(*place),
                error = sending.refusal().map_or("", TxError::name).to_owned()
            ))
        };
        let mut judgement = Judgement::broken(fact!(
            "{downlinks} of {all} refused by the gateway, and sent in no other way",
            downlinks = Value::Count(lost.len() as u64, "downlink"),
            all = all.len()
        ));
        lost.iter().take(2).filter_map(words).for_each(|fact| judgement.add(fact));
        return judgement;
    }
    if taken > 0 {
        return Judgement::proven(fact!(
            "the gateway took {downlinks} of {all}",
            downlinks = Value::Count(taken as u64, "downlink"),
            all = all.len()
        ));
    }
    Judgement::unknown(fact!(
        "{downlinks}, and no TX_ACK in the capture",
        downlinks = Value::Count(all.len() as u64, "downlink")
    ))
}

/// The downlinks of the time in which the node used the session.
fn downs(story: &Story<'_>) -> impl Iterator<Item = usize> {
    let all = 0..story.session.frames.len();
    all.filter(|place| story.sending(*place).is_some() && story.in_use(*place))
}

/// Returns the downlinks that the gateway refused, where nothing else went out after that uplink.
pub(in crate::ladder) fn refused(story: &Story<'_>) -> Vec<usize> {
    let turn_of = |place: usize| story.settings.turn_of.get(place).copied().flatten();
    let delivered = |place: usize| {
        let turn = turn_of(place).and_then(|turn| story.turns().get(turn));
        turn.is_some_and(|turn| turn.downs.iter().any(|own| *own > place && story.went_out(*own)))
    };
    downs(story).filter(|place| !story.went_out(*place) && !delivered(*place)).collect()
}

/// Whether refusals are what happens, and not what happened once.
fn is_trouble(story: &Story<'_>, lost: &[usize]) -> bool {
    let newest = downs(story).last();
    let went_out = downs(story).filter(|place| story.went_out(*place)).count();
    let continues = newest.is_some_and(|newest| lost.contains(&newest));
    let is_busy = |place: &usize| {
        let refusal = story.sending(*place).and_then(Sending::refusal);
        matches!(refusal, Some(TxError::CollisionPacket | TxError::CollisionBeacon))
    };
    // One transmitter is taken now and then.
    if lost.len() <= DECIDE && lost.iter().all(is_busy) {
        return false;
    }
    (lost.len() >= DECIDE || went_out == 0 && !lost.is_empty())
        && continues
        && lost.len() >= went_out / 2
}

/// Microseconds by which a downlink came after its slot; negative when it came before.
fn late_by(story: &Story<'_>, place: usize) -> Option<i64> {
    let aim = story.aims.iter().find(|aim| aim.down == place)?;
    let heard = story.heard(aim.up?)?;
    let sending = story.sending(place)?;
    let sighting = heard.sightings().find(|sighting| sighting.gateway == sending.gateway)?;
    Some(sending.arrival_after(sighting)? - aim.us?)
}

/// The refusals of one kind, where they are what happens.
fn of_kind(story: &Story<'_>, which: impl Fn(&TxError) -> bool) -> Vec<usize> {
    let lost = refused(story);
    if !is_trouble(story, &lost) {
        return Vec::new();
    }
    let own = |place: &usize| story.sending(*place).and_then(Sending::refusal).is_some_and(&which);
    lost.into_iter().filter(own).collect()
}

fn certainty(refusals: usize) -> Certainty {
    if refusals >= DECIDE { Certainty::Certain } else { Certainty::Likely }
}

fn said(story: &Story<'_>, finding: &mut Finding, all: &[usize]) {
    for place in all.iter().take(NAMED) {
        let Some(sending) = story.sending(*place) else { continue };
        finding.add(fact!(
            "{downlink}: {frequency}, {power}: the gateway says {error}",
            downlink = story.cite(*place),
            frequency =
                sending.freq_hz.map_or(Value::Text("no frequency".into()), Value::Frequency),
            power = sending
                .power_dbm
                .map_or(Value::Text("no power".into()), |dbm| Value::Dbm(dbm.into())),
            error = sending.refusal().map_or("", TxError::name).to_owned()
        ));
    }
}

/// Data downlinks that came to the gateway after their slot.
pub(in crate::ladder) fn too_late(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let timing = of_kind(story, |error| matches!(error, TxError::TooLate | TxError::TooEarly));
    // The arithmetic decides, not the word: the usual forwarder computes without a sign.
    let late: Vec<(usize, i64)> = timing
        .iter()
        .filter_map(|place| Some((*place, late_by(story, *place)?)))
        .filter(|(_, by)| *by > -HEADROOM_US)
        .collect();
    let worst = late.iter().map(|(_, by)| *by).max()?;
    let mut finding = Finding::new(
        certainty(late.len()),
        fact!(
            "data downlinks come to the gateway up to {late} after their slot: the way from gateway to \
             server and back takes too long for the delay in force",
            late = Value::About(worst.max(0))
        ),
        "raise RxDelay above the time from gateway to server and back, use RX2, or shorten that way",
    );
    for (place, by) in late.iter().take(NAMED) {
        let error = story.sending(*place).and_then(Sending::refusal);
        finding.add(fact!(
            "{downlink}: it came {late} after its slot; the gateway says {error}",
            downlink = story.cite(*place),
            late = Value::About(*by),
            error = error.map_or("", TxError::name).to_owned()
        ));
    }
    Some(finding)
}

/// Data downlinks whose power the gateway cannot send at.
pub(in crate::ladder) fn power(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = of_kind(story, |error| *error == TxError::TxPower);
    if all.is_empty() {
        return None;
    }
    let mut finding = Finding::new(
        certainty(all.len()),
        fact!(
            "the gateway refuses {downlinks} for the power that the server asks for",
            downlinks = Value::Count(all.len() as u64, "data downlink")
        ),
        "ask for a power that the gateway has in its table, or complete the table",
    );
    said(story, &mut finding, &all);
    Some(finding)
}

/// Data downlinks on a frequency that the gateway does not send on.
pub(in crate::ladder) fn frequency(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = of_kind(story, |error| *error == TxError::TxFreq);
    if all.is_empty() {
        return None;
    }
    let mut finding = Finding::new(
        certainty(all.len()),
        fact!(
            "the gateway refuses {downlinks} for their frequency: it is outside the range that the \
             gateway is set to send on",
            downlinks = Value::Count(all.len() as u64, "data downlink")
        ),
        "set the gateway's transmit range to the region's, RX2 included",
    );
    said(story, &mut finding, &all);
    Some(finding)
}

/// Downlinks timed by GPS, and a gateway without it.
pub(in crate::ladder) fn no_gps(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let unlocked = |place: &usize| {
        story.sending(*place).and_then(Sending::refusal) == Some(&TxError::GpsUnlocked)
    };
    let all: Vec<usize> = refused(story).into_iter().filter(unlocked).collect();
    if all.is_empty() {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        "the gateway refuses downlinks timed by GPS: it has no GPS time",
        "give the gateway a GPS fix (antenna with a view of the sky, the right receiver settings), or \
         use class A or C downlinks until it has one",
    );
    for place in all.iter().take(NAMED) {
        let gps = match story.sending(*place).map(|sending| sending.when) {
            Some(When::Gps(ms)) => Value::Number(i64::try_from(ms).unwrap_or(i64::MAX)),
            _ => Value::Text("not said".into()),
        };
        finding.add(fact!(
            "{downlink}: tmms {tmms}: the gateway says GPS_UNLOCKED",
            downlink = story.cite(*place),
            tmms = gps
        ));
    }
    finding.add(fact!(
        "{downlinks} refused",
        downlinks = Value::Count(all.len() as u64, "timed downlink")
    ));
    Some(finding)
}

/// Downlinks for which the gateway has no free time.
pub(in crate::ladder) fn collisions(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let busy =
        |error: &TxError| matches!(error, TxError::CollisionPacket | TxError::CollisionBeacon);
    let all = of_kind(story, busy);
    if all.len() < 3 {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "the gateway refuses {downlinks}: at that time it sends something else",
            downlinks = Value::Count(all.len() as u64, "data downlink")
        ),
        "use another window or another gateway; look for another server, or a beacon, on this gateway",
    );
    said(story, &mut finding, &all);
    finding.add("what it sends then is not part of this session");
    Some(finding)
}
