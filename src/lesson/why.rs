//! Exercises about a join that failed: which rung broke, and why.

use super::{
    Answer, Given, Made, Question, Value,
    stage::{Stage, spaced},
};
use crate::{
    frame::MacVersion,
    intake::{Event, What, When},
    ladder::{CAUSES, Cause, Diagnosis, Place, Rungs, State, Verdict, join::Rung},
    roster::Claim,
    scenario::{Dice, Mistake},
};

/// Mistakes that a class can find in a capture of some lines and two claims.
const MISTAKES: [Mistake; 15] = [
    Mistake::EuisExchanged,
    Mistake::DevEuiReversed,
    Mistake::JoinEuiReversed,
    Mistake::DevEuiTyped,
    Mistake::AppKeyReversed,
    Mistake::AppKeyTyped,
    Mistake::RecordIsAbp,
    Mistake::NonceNotKept,
    Mistake::NonceRepeated,
    Mistake::NonceRandom,
    Mistake::DataDelay,
    Mistake::Rx1Frequency,
    Mistake::Polarity,
    Mistake::TooLate,
    Mistake::PowerRefused,
];

/// The most lines of a capture that are shown.
const LINES: usize = 6;

pub(super) fn why(dice: &mut Dice) -> Option<Made> {
    let version = dice.pick(&[MacVersion::V1_0_3, MacVersion::V1_0_4])?;
    let mistake = dice.pick(&MISTAKES)?;
    let plan = dice.pick(&["EU868", "EU868", "IN865"])?;
    if !mistake.fits(crate::region::Plan::by_name(plan)?, version) {
        return None;
    }
    let mut stage = Stage::new(dice, plan, |probe| {
        probe.version = version;
        probe.attempts = 2;
        probe.mistakes = vec![mistake];
    })?;
    let shown = stage.events.iter().filter(|event| line(event).is_some()).take(LINES);
    let last = shown.map(|event| event.place.number).last()?;
    // The class judges by what it is shown, and so does the ladder.
    stage.events.retain(|event| event.place.number <= last);
    let diagnosis = stage.diagnosis()?;
    let verdict = diagnosis.causes.first()?;
    let Some(Place::Join(rung)) = diagnosis.first_broken().filter(|at| *at == verdict.place) else {
        return None;
    };
    let questions =
        vec![rung_question(&diagnosis, rung)?, cause_question(&diagnosis, verdict, dice)?];
    let mut given = vec![Given::words(format!(
        "A probe of LoRaWAN {} does not join, in {plan}. The gateway's traffic, by line of the \
         capture:",
        version.name()
    ))];
    given.extend(stage.events.iter().filter_map(line));
    given.extend(claims(&stage));
    Some(Made { given, questions })
}

fn rung_question(diagnosis: &Diagnosis, right: Rung) -> Option<Question> {
    let mut answer = Answer::new(rung_value(right));
    let evidence = evidence_of(diagnosis, right)?;
    for rung in Rung::ALL.iter().copied().filter(|rung| *rung != right) {
        let why = if rung < right {
            format!("`{}` holds: {}", rung.name(), evidence_of(diagnosis, rung).unwrap_or_default())
        } else {
            format!("an earlier rung breaks first, `{}`: {evidence}", right.name())
        };
        answer = answer.unless(rung_value(rung), why);
    }
    let among = Rung::ALL.iter().map(|rung| format!("{} {}", rung.number(), rung.name()));
    let question = Question::new("Which rung of the ladder breaks first?", answer).among(among);
    Some(question.because(format!("`{}`: {evidence}", right.name())))
}

fn cause_question(diagnosis: &Diagnosis, verdict: &Verdict, dice: &mut Dice) -> Option<Question> {
    let mut choices = vec![verdict.cause];
    let at_work = |cause: &Cause| diagnosis.causes.iter().any(|v| v.cause.id == cause.id);
    let Place::Join(rung) = verdict.place else { return None };
    let near = |cause: &&Cause| {
        let first = join_rungs(cause).next();
        !at_work(cause) && first.is_some_and(|own| own.number().abs_diff(rung.number()) <= 2)
    };
    let near: Vec<&'static Cause> = CAUSES.iter().filter(near).collect();
    while choices.len() < 4 {
        let cause = dice.pick(&near)?;
        if choices.iter().all(|choice| choice.id != cause.id) {
            choices.insert(dice.below(u32::try_from(choices.len()).ok()? + 1) as usize, cause);
        }
    }
    let letters = ["A", "B", "C", "D"];
    let value = |letter: &str, cause: &Cause| Value::Word {
        word: letter.to_owned(),
        also: vec![cause.id.name().to_owned(), format!("{letter} {}", cause.id)],
    };
    let lettered = || letters.iter().zip(&choices);
    let (letter, _) = lettered().find(|(_, cause)| cause.id == verdict.cause.id)?;
    let mut answer = Answer::new(value(letter, verdict.cause));
    for (letter, cause) in lettered() {
        answer = answer.unless(value(letter, cause), not_this(diagnosis, verdict, cause));
    }
    let among = lettered().map(|(letter, cause)| format!("{letter} {}: {}", cause.id, cause.what));
    let mut question = Question::new("Why did this join fail?", answer)
        .among(among)
        .because(format!("{}: {}", verdict.cause.id, verdict.summary));
    for evidence in &verdict.evidence {
        question = question.because(evidence.to_string());
    }
    Some(question.because(format!("to do: {}", verdict.remedy)))
}

/// The rungs of the join ladder that a cause breaks.
fn join_rungs(cause: &Cause) -> impl Iterator<Item = Rung> {
    cause.places.iter().filter_map(|place| match place {
        Place::Join(rung) => Some(*rung),
        Place::Gateway(_) | Place::Session(_) => None,
    })
}

/// Why another cause is not the one.
fn not_this(diagnosis: &Diagnosis, verdict: &Verdict, other: &Cause) -> String {
    let holds = join_rungs(other).find(|rung| state_of(diagnosis, *rung) == Some(State::Proven));
    match holds {
        Some(rung) => format!(
            "that would break `{}`, which holds: {}",
            rung.name(),
            evidence_of(diagnosis, rung).unwrap_or_default()
        ),
        None => format!("the evidence speaks for another cause: {}", verdict.summary),
    }
}

fn rung_value(rung: Rung) -> Value {
    let (name, number) = (rung.name(), rung.number());
    Value::Word {
        word: name.to_owned(),
        also: vec![number.to_string(), format!("{number} {name}")],
    }
}

fn state_of(diagnosis: &Diagnosis, rung: Rung) -> Option<State> {
    diagnosis.join_rung(rung).map(|judgement| judgement.state)
}

fn evidence_of(diagnosis: &Diagnosis, rung: Rung) -> Option<String> {
    let evidence = &diagnosis.join_rung(rung)?.evidence;
    Some(evidence.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))
}

/// A line of the capture that is about a frame, in words.
fn line(event: &Event) -> Option<Given> {
    let at = event.time.map(|at| at.strftime("%H:%M:%S%.3f").to_string()).unwrap_or_default();
    let text = match &event.what {
        What::Heard(up) => {
            let place = place(up.freq_hz, up.modulation);
            format!("heard at counter {}, {place}: {}", up.tmst?, spaced(up.octets()))
        }
        What::Ordered(down) => {
            let when = match down.when {
                When::Counter(counter) => format!("at counter {counter}"),
                _ => "immediately".to_owned(),
            };
            let inverted =
                if down.inverted == Some(false) { ", not inverted" } else { ", inverted" };
            let power = down.power_dbm.map(|dbm| format!(", {dbm} dBm")).unwrap_or_default();
            let place = place(down.freq_hz, down.modulation);
            format!("to send {when}, {place}{inverted}{power}: {}", spaced(down.octets()))
        }
        What::Outcome(outcome) => format!("the gateway says: {}", outcome.error.name()),
        _ => return None,
    };
    Some(Given::value(format!("{} at {at}", event.place.number), text))
}

fn place(hz: Option<u32>, rate: Option<crate::radio::Modulation>) -> String {
    let hz = hz.unwrap_or_default();
    let rate = rate.map(|rate| rate.to_string()).unwrap_or_default();
    format!("{}.{:03} MHz {rate}", hz / 1_000_000, hz / 1_000 % 1_000)
}

fn claims(stage: &Stage) -> Vec<Given> {
    let places = [("firmware", stage.firmware()), ("record", stage.record())];
    let mut out: Vec<(usize, Given)> = places
        .into_iter()
        .filter_map(|(place, claim)| Some(claim_given(place, claim?)))
        .flatten()
        .collect();
    // The two claims of one member stand one above the other.
    out.sort_by_key(|(member, _)| *member);
    out.into_iter().map(|(_, given)| given).collect()
}

/// What a claim states, each with the place of the member.
fn claim_given(place: &str, claim: &Claim) -> Vec<(usize, Given)> {
    let name = |what: &str| format!("{what} in the {place}");
    let used: Vec<String> = claim.used_dev_nonces.iter().map(u16::to_string).collect();
    let members = [
        claim.dev_eui.map(|eui| Given::value(name("DevEUI"), eui.0.to_string())),
        claim.join_eui.map(|eui| Given::value(name("JoinEUI"), eui.0.to_string())),
        claim.app_key.as_ref().map(|key| Given::key(name("AppKey"), key.key())),
        claim.activation.map(|way| Given::value(name("activation"), way.name())),
        claim.mac_version.map(|version| Given::value(name("version"), version.name())),
        claim.last_dev_nonce.map(|n| Given::value(name("last DevNonce"), n.to_string())),
        (!used.is_empty()).then(|| Given::value(name("used DevNonces"), used.join(", "))),
    ];
    members.into_iter().enumerate().filter_map(|(place, given)| Some((place, given?))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ladder_finds_what_was_done_to_the_probe() {
        let ids: Vec<&str> = MISTAKES.iter().map(|mistake| mistake.id()).collect();
        let mut made = 0;
        for seed in 0..60 {
            let Some(exercise) = why(&mut Dice::new(seed)) else { continue };
            let Some(Question { answer, .. }) = exercise.questions.get(1) else { panic!() };
            let Value::Word { also, .. } = &answer.right else { panic!() };
            assert!(ids.contains(&also[0].as_str()), "seed {seed}: {also:?}");
            made += 1;
        }
        assert!(made > 30, "{made} of 60");
    }
}
