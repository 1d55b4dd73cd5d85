//! The climb: every rung of every attempt of a node, in the order in which they can be judged.

use super::{Case, Rung, acceptable, proven, sent, timely, told, tried::Tried};
use crate::ladder::{
    rung::{Rungs, State},
    subject::Subject,
};

/// Climbs the join ladder for each attempt of a node.
pub(in crate::ladder) fn climb(subject: Subject<'_>) -> Case<'_> {
    let mut case = Case::open(subject);
    case.tried = (0..case.ladders.len()).map(|index| tried(&case, index)).collect();
    // Rung by rung, not attempt by attempt: the last one asks how far every attempt climbed.
    for rung in Rung::ALL {
        if *rung == Rung::Proven {
            case.deaf = proven::receiving::deaf(&case);
        }
        for attempt in 0..case.ladders.len() {
            // A Rejoin-Request is judged with its session.
            if case.node.attempts.get(attempt).is_some_and(|asked| asked.ask.join().is_none()) {
                continue;
            }
            let judgement = told::amend(&case, *rung, attempt, rung.judge(&case, attempt));
            if let Some(ladder) = case.ladders.get_mut(attempt) {
                ladder[*rung] = judgement;
            }
        }
    }
    for ladder in &mut case.ladders {
        if ladder.state(Rung::Proven) != State::Proven {
            continue;
        }
        // What was taken was sent, in time and acceptable, whatever the capture says.
        for rung in [Rung::Timely, Rung::Sent, Rung::Acceptable] {
            if ladder.state(rung) == State::Broken {
                ladder[rung].state = State::Unknown;
                ladder[rung].add("the node took the accept all the same");
            }
        }
    }
    case
}

/// Every accept of an attempt, without those of which the gateway took the other way.
fn tried<'a>(case: &Case<'a>, index: usize) -> Vec<Tried<'a>> {
    // What answers a Rejoin-Request is judged with its session.
    let asked = case.node.attempts.get(index);
    let Some(attempt) = asked.filter(|attempt| attempt.ask.join().is_some()) else {
        return Vec::new();
    };
    let of = |answer| Tried {
        answer,
        timely: timely::of(case, attempt, answer),
        sent: sent::of(attempt, answer),
        acceptable: acceptable::of(case, index, attempt, answer),
    };
    attempt.answers_sent().map(of).collect()
}
