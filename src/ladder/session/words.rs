//! Requests, answers and accepts, as evidence names them.

use super::{Case, Story};
use crate::{
    fact::{Cite, Fact, Value, fact},
    frame::command::{self, Command},
    trace::{
        Origin,
        settings::{Exchange, Fate},
    },
};

/// Returns commands as one value.
pub(in crate::ladder) fn commands(all: &[Command]) -> Value {
    Value::List(all.iter().map(Value::from).collect(), "; ")
}

/// Returns what a request asks, and where.
pub(in crate::ladder) fn request(story: &Story<'_>, exchange: &Exchange) -> Fact {
    fact!(
        "{downlink}: {request}",
        downlink = story.cite(exchange.asked),
        request = commands(&exchange.requests)
    )
}

/// Returns what became of a request.
pub(in crate::ladder) fn fate(story: &Story<'_>, exchange: &Exchange) -> Fact {
    match &exchange.fate {
        Fate::Taken(answered) => fact!(
            "{uplink}: the node takes it, {answer}",
            uplink = story.cite(answered.at),
            answer = commands(&answered.commands)
        ),
        Fate::Refused(answered) => fact!(
            "{uplink}: the node refuses it, {answer}",
            uplink = story.cite(answered.at),
            answer = commands(&answered.commands)
        ),
        Fate::Unanswered { by } => fact!(
            "{uplink}: the next uplink, FCnt {fcnt}, carries no answer",
            uplink = story.cite(*by),
            fcnt = story.seen(*by).map_or(0, |seen| seen.held.fcnt)
        ),
        Fate::Doubtful => "uplinks are missing in which the answer may have been".into(),
        Fate::Open => "no uplink came after it".into(),
        Fate::NotSent => "the gateway did not send it".into(),
        Fate::NoAnswerDue => "a node gives no answer to it".into(),
    }
}

/// Returns the bits by which an answer refuses, each with its reason.
pub(in crate::ladder) fn refused_bits(exchange: &Exchange) -> Vec<Fact> {
    let Some(answered) = exchange.refused() else { return Vec::new() };
    let Some(answer) = answered.commands.first() else { return Vec::new() };
    let Some(request) = exchange.requests.last() else { return Vec::new() };
    let bits = command::explain_refusal(request, answer);
    bits.into_iter()
        .map(|bit| {
            fact!(
                "bit {bit}, {name}, is 0: {meaning}",
                bit = bit.bit,
                name = bit.name,
                meaning = bit.meaning
            )
        })
        .collect()
}

/// Returns where the accept that began a session was handed to a gateway.
pub(in crate::ladder) fn accept_at(case: &Case<'_>, story: &Story<'_>) -> Option<Cite> {
    let Origin::Accept { attempt, answer } = story.session.origin else { return None };
    let answer = case.node.attempts.get(attempt)?.answers.get(answer)?;
    Some(Cite::from(&answer.sending).with_time())
}
