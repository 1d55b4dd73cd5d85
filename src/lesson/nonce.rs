//! Exercises about DevNonce: does the server take it?

use super::{Answer, Given, Made, Question, Value, stage::Stage};
use crate::{
    frame::{FType, Frame, MacVersion},
    ladder::{State, join::Rung},
    scenario::Dice,
};

pub(super) fn fresh(dice: &mut Dice) -> Option<Made> {
    let version = dice.pick(&[MacVersion::V1_0_2, MacVersion::V1_0_3, MacVersion::V1_0_4])?;
    let mut stage = Stage::new(dice, "EU868", |probe| probe.version = version)?;
    let asked = stage.first_heard(FType::JoinRequest)?.frame.clone();
    let Some(Frame::JoinRequest(request)) = &asked.frame else { return None };
    let nonce = request.dev_nonce.0;
    // The request alone: what became of it is the question.
    stage.events.retain(|event| event.heard().is_some_and(|heard| heard.frame == asked));
    let record = stage.roster.nodes.first_mut()?.record.as_mut()?;
    let known = if version.counts_dev_nonces() {
        let (less, more) =
            (u16::try_from(dice.between(1, 3)).ok()?, u16::try_from(dice.between(1, 40)).ok()?);
        let last = if dice.once_in(2) { nonce.checked_sub(less)? } else { nonce + more };
        record.last_dev_nonce = Some(last);
        Given::value("last DevNonce accepted", last.to_string())
    } else {
        // A list with the value in the other octet order misleads who reads it so.
        let mut used = vec![nonce.swap_bytes()];
        used.extend((0..3).map(|_| u16::try_from(dice.below(0x1_0000)).unwrap_or_default()));
        if dice.once_in(2) {
            used.insert(2, nonce);
        }
        let list: Vec<String> = used.iter().map(u16::to_string).collect();
        record.used_dev_nonces = used;
        Given::value("DevNonces used before", list.join(", "))
    };
    let diagnosis = stage.diagnosis()?;
    let judgement = diagnosis.join_rung(Rung::Fresh)?;
    let evidence = judgement.evidence.first()?;
    let takes = match judgement.state {
        State::Proven => true,
        State::Broken => false,
        State::Unknown => return None,
    };
    let rule = if version.counts_dev_nonces() {
        "from 1.0.4 on DevNonce counts: each above the last accepted"
    } else {
        "before 1.0.4 DevNonce is random: any value that was not used before"
    };
    let answer =
        Answer::new(Value::yes(takes)).unless(Value::yes(!takes), format!("{evidence}; {rule}"));
    let turned = "you read DevNonce as sent; it travels least significant byte first";
    let number = Answer::new(Value::Number(nonce.into()))
        .unless(Value::Number(nonce.swap_bytes().into()), turned);
    let questions = vec![
        Question::new("DevNonce, as a number (decimal, or hex after 0x):", number)
            .because("DevNonce is bytes 17-18, the two before the MIC"),
        Question::new("Does the server take it as fresh?", answer)
            .among(["yes", "no"].map(str::to_owned))
            .because(rule)
            .because(evidence.to_string()),
    ];
    let given = vec![
        Given::words("A Join-Request whose MIC holds:"),
        Given::Octets(asked.octets),
        Given::value("LoRaWAN version on record", version.name()),
        known,
    ];
    Some(Made { given, questions })
}
