//! What a server says of a request to join, or of data.

use super::{
    super::event::{Refusal, Statement, Subject},
    phrase::{Span, find, find_any},
    token::{Line, Token},
};
use crate::id::Eui64;

/// What is said, and of which node.
pub(super) struct Told {
    pub(super) about: Option<Subject>,
    pub(super) what: Statement,
}

const NONCE: &[&str] = &["devnonce", "nonce"];
const DEVICE: &[&str] = &["device", "deveui", "node"];
const NAMED: &[&str] = &["device", "deveui", "node", "devaddr"];
const COUNTER: &[&str] = &["fcnt", "counter", "fcntup"];
const WRONG: &[&str] = &[
    "invalid",
    "wrong",
    "bad",
    "mismatch",
    "mismatched",
    "mismatches",
    "fails",
    "failed",
    "failure",
    "incorrect",
    "differs",
    "error",
];
const RIGHT: &[&str] = &[
    "valid", "match", "matching", "matches", "correct", "hold", "verify", "verified", "ok", "equal",
];
const LOW: &[&str] =
    &["small", "smaller", "low", "lower", "less", "below", "old", "older", "stale", "behind"];
const HIGH: &[&str] = &[
    "higher",
    "greater",
    "above",
    "larger",
    "increasing",
    "rising",
    "bigger",
    "increased",
    "fresh",
];
const USED: &[&str] = &["used", "seen", "known", "taken", "exists", "consumed"];
const TWICE: &[&str] = &["reused", "duplicate", "duplicated", "repeated", "replayed", "replay"];
const BEFORE: &[&str] = &["already", "before", "twice", "again", "previously", "earlier", "past"];
const NOT: &[&str] = &["not", "isn", "wasn", "doesn", "didn", "cannot", "no"];
const REFUSES: &[&str] = &[
    "refused",
    "rejected",
    "dropped",
    "failed",
    "denied",
    "discarded",
    "refusing",
    "rejecting",
    "dropping",
    "error",
    "invalid",
    "ignored",
    "ignoring",
    "declined",
    "reject",
    "refuse",
    "drop",
];
const FIRST: &[&str] =
    &["got", "received", "heard", "is", "was", "devnonce", "nonce", "fcnt", "counter", "value"];
const LAST: &[&str] =
    &["last", "previous", "stored", "highest", "expected", "than", "known", "accepted"];

/// Returns what a line says of one node.
pub(super) fn read(line: &Line) -> Option<Told> {
    let refusal = nonce(line)
        .or_else(|| join_eui(line))
        .or_else(|| mic(line))
        .or_else(|| counter(line))
        .or_else(|| unknown(line));
    let accepted = accepted(line);
    let what = match (refusal, accepted) {
        (Some(_), Some(Statement::Accepted { .. })) => return None,
        (Some(refusal), _) => Statement::Refused(refusal),
        (None, Some(accepted)) => accepted,
        (None, None) => asked(line).or_else(|| uplink(line))?,
    };
    let about = line.subject();
    let needs_a_node = matches!(
        what,
        Statement::UplinkTaken { .. }
            | Statement::Asked
            | Statement::Refused(Refusal::UnknownDevice)
    );
    // Without a node, something must say that a frame was refused.
    let refuses = line.has(REFUSES) || line.has(&["too", "join"]);
    let whole = about.is_some() || !needs_a_node && refuses;
    whole.then_some(Told { about, what })
}

fn nonce(line: &Line) -> Option<Refusal> {
    let named =
        |at: usize| line.number(at.saturating_sub(3), FIRST).and_then(|n| u16::try_from(n).ok());
    let low = find(line, &[NONCE, LOW], 6)
        .filter(|_| line.has(&["too", "than"]) || line.has(REFUSES))
        .or_else(|| find(line, &[&["too"], LOW, NONCE], 1))
        .or_else(|| find(line, &[&["stale", "old"], NONCE], 1))
        .or_else(|| {
            find_any(line, &[NONCE, NOT, HIGH], 4)
                .filter(|_| line.has(REFUSES) || line.has(&["than"]))
        });
    if let Some(Span { from, .. }) = low {
        let last = line.number(from, LAST).and_then(|n| u16::try_from(n).ok());
        let nonce = named(from).filter(|nonce| Some(*nonce) != last);
        return Some(Refusal::NonceTooSmall { nonce, last });
    }
    let weak = find(line, &[NONCE, USED], 8).filter(|_| line.has(BEFORE) || line.has(REFUSES));
    let used = weak
        .or_else(|| find(line, &[NONCE, TWICE], 6))
        .or_else(|| find(line, &[NONCE, BEFORE, USED], 6))
        .or_else(|| {
            find(line, &[&["duplicate", "duplicated", "repeated", "reused", "replayed"], NONCE], 2)
        })
        .or_else(|| {
            find(line, &[&["used"], NONCE], 1).filter(|_| line.has(&["already", "previously"]))
        })
        .or_else(|| find_any(line, &[NONCE, NOT, &["unique"]], 3))?;
    Some(Refusal::NonceUsed { nonce: named(used.from) })
}

fn mic(line: &Line) -> Option<Refusal> {
    const MIC: &[&str] = &["mic"];
    let code = find(line, &[&["message"], &["integrity"], &["code", "check"], WRONG], 3);
    find(line, &[MIC, WRONG], 4)
        .or_else(|| find(line, &[&["invalid", "wrong", "bad", "incorrect"], MIC], 1))
        .or_else(|| find(line, &[&["mismatch", "failed"], &["mic"]], 2))
        .or_else(|| find_any(line, &[MIC, NOT, RIGHT], 3))
        .or_else(|| find_any(line, &[NOT, &["verify", "validate"], MIC], 2))
        .or(code)
        .map(|_| Refusal::MicInvalid)
}

fn join_eui(line: &Line) -> Option<Refusal> {
    const EUI: &[&str] = &["joineui"];
    let differs = [
        "differs",
        "mismatch",
        "mismatched",
        "mismatches",
        "wrong",
        "different",
        "unexpected",
        "unknown",
    ];
    let found = find(line, &[EUI, &differs], 6)
        .or_else(|| find(line, &[&["wrong", "mismatched", "unexpected", "unknown"], EUI], 1))
        .or_else(|| find(line, &[&["mismatch"], EUI], 3))
        .or_else(|| {
            find_any(
                line,
                &[EUI, NOT, &["match", "equal", "same", "registered", "known", "found", "belong"]],
                6,
            )
        })?;
    let subject = line.subject();
    let own = |eui: Eui64| {
        subject.as_ref().is_some_and(|s| matches!(s, Subject::DevEui(dev) if dev.0 == eui))
    };
    let others: Vec<_> =
        line.euis().filter(|(_, _, eui)| !own(*eui) && Some(*eui) != line.gateway()).collect();
    let near = |at: usize, words: &[&str]| {
        (at.saturating_sub(4)..at)
            .rev()
            .find_map(|at| line.word(at))
            .is_some_and(|word| words.contains(&word))
    };
    let mut heard = others.iter().find(|(at, ..)| {
        near(*at, &["air", "got", "heard", "received", "sent", "request", "has", "was"])
    });
    let mut on_record = others.iter().find(|(at, ..)| {
        near(
            *at,
            &[
                "record",
                "expected",
                "registered",
                "expects",
                "stored",
                "known",
                "instead",
                "configured",
            ],
        )
    });
    if let [first, second] = &others[..] {
        match (heard, on_record) {
            (None, None) => (heard, on_record) = (Some(first), Some(second)),
            (Some(own), None) => on_record = others.iter().find(|other| *other != own),
            (None, Some(own)) => heard = others.iter().find(|other| *other != own),
            _ => {}
        }
    }
    if let [only] = &others[..]
        && heard.is_none()
        && on_record.is_none()
        && only.0 > found.from
    {
        heard = Some(only);
    }
    Some(Refusal::JoinEuiDiffers {
        heard: heard.map(|(.., eui)| *eui),
        on_record: on_record.map(|(.., eui)| *eui),
    })
}

fn counter(line: &Line) -> Option<Refusal> {
    let found = find(line, &[COUNTER, LOW], 5)
        .filter(|_| line.has(&["too", "than"]) || line.has(REFUSES))
        .or_else(|| find(line, &[COUNTER, TWICE], 3).filter(|_| line.has(REFUSES)))
        .or_else(|| find(line, &[&["too"], LOW, COUNTER], 1))
        .or_else(|| {
            find_any(line, &[COUNTER, NOT, HIGH], 4)
                .filter(|_| line.has(REFUSES) || line.has(&["than"]))
        })?;
    // A gateway's concentrator counts, too.
    if line.has(&["downlink", "concentrator", "tmst"]) {
        return None;
    }
    let number = |names| line.number(found.from, names).and_then(|n| u32::try_from(n).ok());
    let last = number(LAST);
    Some(Refusal::CounterTooLow { fcnt: number(FIRST).filter(|fcnt| Some(*fcnt) != last), last })
}

fn unknown(line: &Line) -> Option<Refusal> {
    const UNKNOWN: &[&str] = &["unknown", "unregistered", "unrecognised", "unrecognized"];
    const LISTED: &[&str] = &[
        "found",
        "registered",
        "known",
        "exist",
        "provisioned",
        "recognised",
        "recognized",
        "listed",
    ];
    let of_a_gateway = find(line, &[UNKNOWN, &["gateway", "gw"]], 0).is_some();
    find(line, &[UNKNOWN, NAMED], 1)
        .filter(|_| !of_a_gateway)
        .or_else(|| find(line, &[NAMED, UNKNOWN], 3))
        .or_else(|| find_any(line, &[NAMED, NOT, LISTED], 3))
        .or_else(|| {
            find_any(
                line,
                &[&["no"], &["entry", "record", "device", "node"], &["for", "with", "found"]],
                2,
            )
        })
        .or_else(|| {
            find_any(line, &[&["no", "cannot", "not"], &["find", "such", "known"], DEVICE], 2)
        })
        .map(|_| Refusal::UnknownDevice)
}

fn accepted(line: &Line) -> Option<Statement> {
    const JOIN: &[&str] = &["join"];
    if find(
        line,
        &[JOIN, &["accept"], &["sent", "scheduled", "queued", "enqueued", "transmitted"]],
        4,
    )
    .or_else(|| {
        find(
            line,
            &[&["sent", "sending", "scheduled", "scheduling", "queued"], JOIN, &["accept"]],
            1,
        )
    })
    .is_some()
    {
        return Some(Statement::AcceptSent);
    }
    let refuses = line.has(&["refused", "rejected", "denied", "failed"]);
    find(line, &[JOIN, &["accepted", "granted", "approved", "succeeded", "successful"]], 3)
        .or_else(|| find(line, &[&["accepting", "accepted"], JOIN], 1))
        .or_else(|| find(line, &[DEVICE, &["joined", "activated"]], 2))
        .or_else(|| find(line, &[&["joined", "activated"], &["devaddr"]], 3))
        .filter(|_| !refuses)
        .map(|_| Statement::Accepted { dev_addr: line.addr() })
}

fn asked(line: &Line) -> Option<Statement> {
    // What a node says of itself is not here: it sends.
    if line.has(&["send", "sending", "sent", "tx", "retry", "next", "will", "waiting"]) {
        return None;
    }
    find(line, &[&["join"], &["request"]], 0)
        .or_else(|| find(line, &[&["request"], &["to"], &["join"]], 0))
        .map(|_| Statement::Asked)
}

fn uplink(line: &Line) -> Option<Statement> {
    let data = line.has(&["uplink", "data", "unconfirmed", "confirmed"]);
    let at = (0..line.tokens.len())
        .find(|at| line.word(*at).is_some_and(|word| COUNTER.contains(&word)))?;
    let harmless = !line.has(REFUSES)
        && !line.has(&[
            "downlink",
            "down",
            "gap",
            "lost",
            "missing",
            "duplicate",
            "copy",
            "late",
            "send",
            "sending",
        ]);
    let fcnt = match (line.tokens.get(at + 1), line.tokens.get(at + 2)) {
        (Some(Token::Number(n)), _) | (Some(Token::Mark('=' | ':')), Some(Token::Number(n))) => *n,
        _ => return None,
    };
    let fcnt = Some(super::token::as_u64(fcnt)).and_then(|n| u32::try_from(n).ok());
    (data && harmless).then_some(Statement::UplinkTaken { fcnt })
}
