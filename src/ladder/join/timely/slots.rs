//! Accepts that are aimed at another time than a window.

use crate::{
    fact::Certainty,
    gps::GpsTime,
    intake::When,
    ladder::{
        finding::Finding,
        join::{
            Case, sent,
            timely::{Miss, SAME_US, all, asked_at, certainty},
        },
        words::{from_request, seconds, short_seconds},
    },
    trace::{Answer, Delay},
};

pub(in crate::ladder) fn at_the_data_delay(case: &Case<'_>) -> Option<Finding> {
    let late = all(case, |m| if let Miss::DataDelay(us) = m { Some(*us) } else { None });
    let (_, first, us) = late.first()?;
    let mut finding = Finding::new(
        certainty(late.len()),
        format!(
            "the accept is aimed {} after the request, the delay of data; a Join-Accept belongs at \
             5 s (RX1) or 6 s (RX2)",
            seconds(*us)
        ),
        "have the server use JOIN_ACCEPT_DELAY1 = 5 s for Join-Accepts; RxDelay and \
         RECEIVE_DELAY1 are for data only",
    );
    for (attempt, answer, us) in late.iter().take(4) {
        finding.add(format!(
            "{}: slot less end of request ({}) = {us} us",
            answer.sending.line,
            attempt.line()
        ));
    }
    if let Some(error) = first.sending.refusal() {
        let arrival = late
            .iter()
            .filter_map(|(a, answer, _)| answer.sending.arrival_after(asked_at(a, answer)))
            .min();
        let words = arrival.map_or(String::new(), |us| {
            format!(
                "; the datagram came {} after the request, when that slot was {}, and the right \
                 one still ahead",
                short_seconds(us),
                if us > late.first().map_or(0, |l| l.2) { "past" } else { "near" }
            )
        });
        finding.add(format!("the gateway refuses it with {}{words}", error.name()));
    }
    Some(finding)
}

pub(in crate::ladder) fn at_another_time(case: &Case<'_>) -> Option<Finding> {
    let stray = all(case, |m| match m {
        Miss::Time(us) => Some(Some(*us)),
        Miss::AtOnce(us) => Some(*us),
        _ => None,
    });
    let (_, first, us) = stray.first()?;
    // A slot of a counter that is gone, or far ahead, has causes of its own.
    if sent::explains(case, first) {
        return None;
    }
    let when = us.map_or("at once".to_owned(), from_request);
    let same = stray.iter().all(|s| s.2 == *us);
    let mut finding = Finding::new(
        if us.is_some() { Certainty::Certain } else { Certainty::Likely },
        format!("the accept is aimed {when}; the node listens at 5 s and at 6 s"),
        "have the server schedule Join-Accepts 5 s (RX1) or 6 s (RX2) after the end of the request, \
         by the gateway's counter",
    );
    for (attempt, answer, us) in stray.iter().take(4) {
        let us = us.map_or("at once".to_owned(), seconds);
        finding.add(format!("{}: {us} after {}", answer.sending.line, attempt.line()));
    }
    if let Some(words) = us.and_then(|us| leap_seconds(first, us)) {
        finding.add(words);
    }
    if same && stray.len() > 1 {
        finding.add("the same every time: a setting, not a delay on the way".to_owned());
    }
    Some(finding)
}

/// What explains a slot by GPS time that misses a window by the leap seconds, or by one of them.
fn leap_seconds(answer: &Answer, us: i64) -> Option<String> {
    let (When::Gps(ms), Delay::Gps { .. }) = (answer.sending.when, answer.delay) else {
        return None;
    };
    let leap = GpsTime::from_seconds(u32::try_from(ms / 1_000).ok()?).leap_seconds();
    [5, 6].into_iter().find_map(|window| {
        let off = us - window * 1_000_000;
        let near = |seconds: i64| off.abs_diff(seconds * 1_000_000) <= u64::from(SAME_US);
        let side = if off < 0 { "before" } else { "after" };
        if near(leap) || near(-leap) {
            Some(format!(
                "{leap} s {side} RX{}: the leap seconds between GPS time and UTC, which were \
                 forgotten or taken twice",
                window - 4
            ))
        } else if near(1) || near(-1) {
            Some(format!("1 s {side} RX{}: perhaps a leap second too many or too few", window - 4))
        } else {
            None
        }
    })
}
