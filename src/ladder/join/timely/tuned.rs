//! Accepts on another frequency, at another rate, in another form than a window wants.

use crate::{
    fact::Certainty,
    intake::TxError,
    ladder::{
        finding::Finding,
        join::{
            Case, sent,
            timely::{Aim, Miss, SAME_HZ, aim, all, asked_at},
        },
        words::{count, mhz, place},
    },
    radio::Modulation,
    region::Plan,
    trace::{Answer, Attempt},
};

/// The AS923 group, other than the plan, whose window an accept's frequency is.
fn other_group(plan: &Plan, attempt: &Attempt, answer: &Answer) -> Option<(&'static Plan, i64)> {
    if !plan.name.starts_with("AS923") {
        return None;
    }
    let got = i64::from(answer.sending.freq_hz?);
    let own_rx2 = i64::from(plan.rx2().freq_hz);
    let asked = i64::from(asked_at(attempt, answer).freq_hz?);
    Plan::all().iter().copied().filter(|p| p.name.starts_with("AS923")).find_map(|other| {
        let offset = i64::from(other.rx2().freq_hz) - own_rx2;
        let fits = |hz: i64| (got - hz - offset).abs() < i64::from(SAME_HZ);
        (offset != 0
            && match aim(answer) {
                Aim::Rx1 => fits(asked),
                Aim::Rx2 => fits(own_rx2),
                _ => false,
            })
        .then_some((other, offset))
    })
}

fn frequency_misses<'a>(case: &Case<'a>, rx: u8) -> Vec<(&'a Attempt, &'a Answer, (u32, u32))> {
    all(case, |m| match m {
        Miss::Frequency { rx: of, got, want } if *of == rx => Some((*got, *want)),
        _ => None,
    })
}

pub(in crate::ladder) fn another_group(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let mut wrong = frequency_misses(case, 1);
    wrong.extend(frequency_misses(case, 2));
    let (attempt, answer, (got, _)) = wrong.first()?;
    let (group, offset) = other_group(plan, attempt, answer)?;
    let same = wrong
        .iter()
        .all(|(a, x, _)| other_group(plan, a, x).is_some_and(|(g, _)| g.name == group.name));
    if !same {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept goes out on {}, {:+.1} MHz from where {} wants it: the server follows {}",
            mhz(*got),
            f64::from(i32::try_from(offset).unwrap_or_default()) / 1e6,
            plan.name,
            group.name
        ),
        format!("set the server's region to {}, as node and gateway have it", plan.name),
    );
    for (_, answer, (got, want)) in wrong.iter().take(4) {
        finding.add(format!("{}: {} instead of {}", answer.sending.line, mhz(*got), mhz(*want)));
    }
    Some(finding)
}

pub(in crate::ladder) fn cannot_send(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let mut wrong = frequency_misses(case, 1);
    wrong.extend(frequency_misses(case, 2));
    wrong.retain(|(_, answer, (got, _))| {
        answer.sending.refusal() == Some(&TxError::TxFreq)
            || (!plan.in_band(*got) && !answer.sending.taken())
            || sent::out_of_range(&answer.sending).is_some()
    });
    let (_, first, (got, want)) = wrong.first()?;
    let barred = sent::out_of_range(&first.sending);
    let refused = first.sending.refusal() == Some(&TxError::TxFreq) || barred.is_some();
    let mut finding = Finding::new(
        if refused { Certainty::Certain } else { Certainty::Likely },
        format!(
            "the accept is to go out on {}, which the gateway cannot send; the window is on {}",
            mhz(*got),
            mhz(*want)
        ),
        format!("correct the server's setting for this window to {}", mhz(*want)),
    );
    for (_, answer, (got, _)) in wrong.iter().take(4) {
        let said = answer.sending.refusal().map_or("no word from the gateway", |e| e.name());
        finding.add(format!("{}: {}: {said}", answer.sending.line, mhz(*got)));
    }
    if let Some(words) = barred {
        finding.add(words);
    }
    if let Some(hz) = case.record().and_then(|r| r.rx2_frequency) {
        finding.add(format!("the record's rx2-frequency is {}", mhz(hz)));
    }
    Some(finding)
}

fn wrong_frequency(case: &Case<'_>, rx: u8) -> Option<Finding> {
    let plan = case.plan?;
    if another_group(case).is_some() || cannot_send(case).is_some() {
        return None;
    }
    let wrong = frequency_misses(case, rx);
    let (attempt, answer, (got, want)) = *wrong.first()?;
    let seen = asked_at(attempt, answer);
    let channel = seen
        .freq_hz
        .and_then(|hz| plan.nearest_uplink(hz, bandwidth(seen.modulation)))
        .map(|hit| format!("uplink channel {}", hit.channel))
        .unwrap_or_default();
    let meant = plan
        .nearest_downlink(got)
        .filter(|hit| hit.offset_hz == 0)
        .map(|hit| format!(" (downlink channel {})", hit.channel))
        .unwrap_or_default();
    let (summary, remedy) = if rx == 1 {
        (
            format!(
                "the accept for a request in {channel} belongs on {} in RX1, and goes out on \
                 {}{meant}",
                mhz(want),
                mhz(got)
            ),
            format!("correct the server's RX1 channel rule for {}", plan.name),
        )
    } else {
        (
            format!(
                "before the join RX2 is the region's default, {}; the accept goes out on {}",
                mhz(want),
                mhz(got)
            ),
            "use the region's default RX2 for Join-Accepts; the network's own RX2 counts only \
             after the accept has told the node"
                .to_owned(),
        )
    };
    let mut finding = Finding::new(Certainty::Certain, summary, remedy);
    for (_, answer, (got, want)) in wrong.iter().take(4) {
        finding.add(format!(
            "{}: {} instead of {}{}",
            answer.sending.line,
            mhz(*got),
            mhz(*want),
            if answer.sending.taken() { "; the gateway took it" } else { "" }
        ));
    }
    Some(finding)
}

fn bandwidth(modulation: Option<Modulation>) -> Option<u16> {
    match modulation? {
        Modulation::Lora { bw_khz, .. } => Some(bw_khz),
        Modulation::Fsk { .. } | Modulation::LrFhss { .. } => None,
    }
}

pub(in crate::ladder) fn rx1_frequency(case: &Case<'_>) -> Option<Finding> {
    wrong_frequency(case, 1)
}

pub(in crate::ladder) fn rx2_frequency(case: &Case<'_>) -> Option<Finding> {
    wrong_frequency(case, 2)
}

fn rate_misses<'a>(
    case: &Case<'a>,
    rx: u8,
) -> Vec<(&'a Attempt, &'a Answer, (Modulation, Modulation))> {
    all(case, |m| match m {
        Miss::Rate { rx: of, got, want } if *of == rx => Some((*got, *want)),
        _ => None,
    })
}

/// The RX1DROffset that explains the data rate of an accept.
fn offset_of(plan: &Plan, attempt: &Attempt, answer: &Answer) -> Option<u8> {
    let seen = asked_at(attempt, answer);
    let (hz, modulation) = (seen.freq_hz?, seen.modulation?);
    let got = answer.sending.modulation?;
    (1..=plan.rx1_offset_max).find(|offset| {
        plan.rx1(hz, modulation, *offset, false).is_some_and(|w| w.modulation == got)
    })
}

pub(in crate::ladder) fn rx1_offset(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let wrong = rate_misses(case, 1);
    let (attempt, answer, (got, want)) = *wrong.first()?;
    let offset = offset_of(plan, attempt, answer)?;
    let stated = case.record().and_then(|r| r.rx1_dr_offset);
    let carried = case.own_opening(answer).map(|o| o.opened.accept.dl_settings.rx1_dr_offset());
    let known = stated.filter(|s| *s > 0).or(carried.filter(|c| *c > 0));
    if known.is_some_and(|known| {
        let seen = asked_at(attempt, answer);
        match (seen.freq_hz, seen.modulation) {
            (Some(hz), Some(m)) => {
                plan.rx1(hz, m, known, false).is_none_or(|w| w.modulation != got)
            }
            _ => true,
        }
    }) {
        return None;
    }
    let certainty = match (known, wrong.len()) {
        (Some(_), _) => Certainty::Certain,
        (None, 2..) => Certainty::Likely,
        (None, _) => Certainty::Possible,
    };
    let offset = known.unwrap_or(offset);
    let mut finding = Finding::new(
        certainty,
        format!(
            "the accept goes out at {got} instead of {want}: RX1DROffset {offset} was applied, which \
             the node cannot know before it has the accept"
        ),
        "use RX1DROffset 0 for Join-Accepts",
    );
    for (attempt, answer, (got, want)) in wrong.iter().take(4) {
        finding.add(format!(
            "{}: {got}, the request ({}) asks for {want}",
            answer.sending.line,
            attempt.line()
        ));
    }
    if let Some(stated) = stated {
        finding.add(format!("the record's rx1-dr-offset is {stated}"));
    }
    if let Some(carried) = carried {
        finding.add(format!("the accept's DLSettings carry RX1DROffset {carried}"));
    }
    Some(finding)
}

pub(in crate::ladder) fn rx1_data_rate(case: &Case<'_>) -> Option<Finding> {
    if rx1_offset(case).is_some() {
        return None;
    }
    wrong_rate(case, 1)
}

pub(in crate::ladder) fn rx2_data_rate(case: &Case<'_>) -> Option<Finding> {
    wrong_rate(case, 2)
}

fn wrong_rate(case: &Case<'_>, rx: u8) -> Option<Finding> {
    let wrong = rate_misses(case, rx);
    let (_, first, (got, want)) = *wrong.first()?;
    let (what, remedy) = if rx == 1 {
        ("RX1 takes its data rate from the request", "correct the server's RX1 data rate table")
    } else {
        (
            "before the join RX2 has the region's default data rate",
            "use the region's default RX2 data rate for Join-Accepts; the network's own counts only \
             after the accept has told the node",
        )
    };
    let mut finding = Finding::new(
        Certainty::Certain,
        format!("{what}, {want}; the accept goes out at {got}"),
        remedy,
    );
    for (_, answer, (got, want)) in wrong.iter().take(4) {
        finding.add(format!("{}: {got} instead of {want}", answer.sending.line));
    }
    if let Some(dr) = case.record().and_then(|r| r.rx2_data_rate).filter(|_| rx == 2) {
        finding.add(format!("the record's rx2-data-rate is {dr}"));
    }
    if let Some(opening) = case.own_opening(first) {
        finding.add(format!(
            "the accept itself carries RX2DataRate {}, for after the join",
            opening.opened.accept.dl_settings.rx2_data_rate()
        ));
    }
    Some(finding)
}

pub(in crate::ladder) fn polarity(case: &Case<'_>) -> Option<Finding> {
    let wrong = all(case, |m| (*m == Miss::Polarity).then_some(()));
    let (_, first, ()) = wrong.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        "the accept is sent with ipol false, the polarity of an uplink: nodes listen with inverted \
         polarity and cannot hear it",
        "send every downlink to nodes with ipol true",
    );
    finding.add(format!(
        "{} with ipol false, first {}",
        count(wrong.len(), "Join-Accept"),
        place(first.sending.line, first.sending.at)
    ));
    Some(finding)
}

pub(in crate::ladder) fn dwell(case: &Case<'_>) -> Option<Finding> {
    let wrong = all(case, |m| match m {
        Miss::Dwell { ms, limit_ms } => Some((*ms, *limit_ms)),
        _ => None,
    });
    let (_, first, (ms, limit)) = *wrong.first()?;
    let n = first.sending.octets.len();
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept of {n} octets is on air for {ms:.1} ms, the limit in force is {limit} ms"
        ),
        "send no CFList in the accept at this data rate (17 octets fit where 33 do not), and \
         NewChannelReq after the join; local rules decide whether the limit holds",
    );
    for (_, answer, (ms, _)) in wrong.iter().take(4) {
        let rate = answer.sending.modulation.map(|m| m.to_string()).unwrap_or_default();
        finding.add(format!("{}: {rate}, {ms:.1} ms", answer.sending.line));
    }
    Some(finding)
}
