//! The accepts that miss their window, by what is wrong with them.

use super::{
    Case, accepts, sent,
    timely::{Aim, Miss, SAME_HZ, aim, asked_at, misses},
};
use crate::{
    fact::{Value, fact},
    intake::TxError,
    ladder::finding::Finding,
    radio::Modulation,
    region::Plan,
    trace::{Answer, Attempt},
};

/// An accept that misses its window, the attempt that it answers, and what is wrong with it.
pub(in crate::ladder) type Missed<'a, T> = (&'a Attempt, &'a Answer, T);

/// Evidence of one kind is told of this many accepts.
pub(in crate::ladder) const MOST_TOLD: usize = 4;

/// The misses of one kind over all accepts of which it matters.
pub(in crate::ladder) fn all<'a, T>(
    case: &Case<'a>,
    pick: impl Fn(&Miss) -> Option<T>,
) -> Vec<Missed<'a, T>> {
    let found = |(attempt, answer): (&'a Attempt, &'a Answer)| {
        let what = misses(case, attempt, answer).iter().find_map(&pick)?;
        Some((attempt, answer, what))
    };
    accepts::lost(case).into_iter().filter_map(found).collect()
}

/// What is wrong with a frequency: got, and wanted.
pub(in crate::ladder) type Frequencies = (u32, u32);

/// Why the frequency of an accept is not the window's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::ladder) enum Astray {
    /// It is the window of another AS923 group, by so much beside.
    Group(&'static Plan, i64),
    /// The gateway cannot send on it.
    Unsendable,
    /// It is another.
    Wrong,
}

/// The accepts on another frequency than that of their window, RX1 or RX2 or either.
pub(in crate::ladder) fn frequency<'a>(
    case: &Case<'a>,
    rx: Option<u8>,
    why: impl Fn(Astray) -> bool,
) -> Vec<Missed<'a, Frequencies>> {
    let Some(plan) = case.plan else { return Vec::new() };
    let everywhere = all(case, |m| match m {
        Miss::Frequency { rx, got, want } => Some((*rx, *got, *want)),
        _ => None,
    });
    // A server is set to one group: then all its windows are that group's.
    let group =
        |(attempt, answer, _): &Missed<'a, (u8, u32, u32)>| other_group(plan, attempt, answer);
    let first = everywhere.first().and_then(group);
    let shared = first.filter(|(first, _)| {
        everywhere.iter().all(|miss| group(miss).is_some_and(|(g, _)| g.name == first.name))
    });
    let astray = |answer: &Answer, got: u32| match shared {
        Some((group, offset)) => Astray::Group(group, offset),
        None if cannot_send(plan, answer, got) => Astray::Unsendable,
        None => Astray::Wrong,
    };
    everywhere
        .into_iter()
        .filter(|(_, answer, (of, got, _))| {
            rx.is_none_or(|rx| *of == rx) && why(astray(answer, *got))
        })
        .map(|(attempt, answer, (_, got, want))| (attempt, answer, (got, want)))
        .collect()
}

/// The AS923 group, other than the plan, whose window an accept's frequency is.
pub(in crate::ladder) fn other_group(
    plan: &Plan,
    attempt: &Attempt,
    answer: &Answer,
) -> Option<(&'static Plan, i64)> {
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

fn cannot_send(plan: &Plan, answer: &Answer, got: u32) -> bool {
    answer.sending.refusal() == Some(&TxError::TxFreq)
        || (!plan.in_band(got) && !answer.sending.taken())
        || sent::out_of_range(&answer.sending).is_some()
}

/// Adds what each accept should have and what it has.
pub(in crate::ladder) fn tell_frequencies(
    finding: &mut Finding,
    wrong: &[Missed<'_, Frequencies>],
) {
    for (_, answer, (got, want)) in wrong.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept}: {frequency} instead of {expected}{taken}",
            accept = &answer.sending,
            frequency = Value::Frequency(*got),
            expected = Value::Frequency(*want),
            taken = if answer.sending.taken() { "; the gateway took it" } else { "" }
        ));
    }
}

/// What is wrong with a data rate: got, and wanted.
pub(in crate::ladder) type Rates = (Modulation, Modulation);

/// The accepts at another data rate than that of their window.
pub(in crate::ladder) fn rate<'a>(case: &Case<'a>, rx: u8) -> Vec<Missed<'a, Rates>> {
    all(case, |m| match m {
        Miss::Rate { rx: of, got, want } if *of == rx => Some((*got, *want)),
        _ => None,
    })
}

/// Adds what each accept should have and what it has, and what the accept says of RX2.
pub(in crate::ladder) fn tell_rates(
    case: &Case<'_>,
    finding: &mut Finding,
    wrong: &[Missed<'_, Rates>],
) {
    for (_, answer, (got, want)) in wrong.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept}: {data_rate} instead of {expected}",
            accept = &answer.sending,
            data_rate = *got,
            expected = *want
        ));
    }
    if let Some(opening) = wrong.first().and_then(|(_, answer, _)| case.own_opening(answer)) {
        finding.add(fact!(
            "the accept itself carries RX2DataRate {rx2_data_rate}, for after the join",
            rx2_data_rate = opening.opened.accept.dl_settings.rx2_data_rate()
        ));
    }
}

/// The RX1DROffset that was applied to an accept in RX1, as far as one explains its data rate: the
/// one that is stated (on record, or in the accept), or else the first that gives this rate.
#[derive(Clone, Copy, Debug)]
#[expect(clippy::struct_field_names, reason = "the word of the standard")]
pub(in crate::ladder) struct Offset {
    pub(in crate::ladder) offset: u8,
    /// On record.
    pub(in crate::ladder) stated: Option<u8>,
    /// In the accept's DLSettings.
    pub(in crate::ladder) carried: Option<u8>,
    /// Whether record or accept state an offset above 0.
    pub(in crate::ladder) known: bool,
}

pub(in crate::ladder) fn offset(case: &Case<'_>) -> Option<Offset> {
    let plan = case.plan?;
    let wrong = rate(case, 1);
    let (attempt, answer, (got, _)) = *wrong.first()?;
    let seen = asked_at(attempt, answer);
    let (hz, modulation) = (seen.freq_hz?, seen.modulation?);
    let gives = |offset: u8| {
        plan.rx1(hz, modulation, offset, false).is_some_and(|window| window.modulation == got)
    };
    let first = (1..=plan.rx1_offset_max).find(|offset| gives(*offset))?;
    let stated = case.record().and_then(|r| r.rx1_dr_offset);
    let carried = case.own_opening(answer).map(|o| o.opened.accept.dl_settings.rx1_dr_offset());
    let known = stated.filter(|s| *s > 0).or(carried.filter(|c| *c > 0));
    if known.is_some_and(|known| !gives(known)) {
        return None;
    }
    Some(Offset { offset: known.unwrap_or(first), stated, carried, known: known.is_some() })
}
