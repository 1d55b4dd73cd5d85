//! What a gateway says of downlinks, of its channels, and of what it counts; and what a server says of gateways.

use super::{
    super::event::{Count, Leg, Position, Speaker, Statement, TxError},
    phrase::{find, find_any},
    token::{Line, Token, as_u64},
};

/// What the lines before say.
#[derive(Debug, Default)]
pub(super) struct Before {
    /// A slot and a counter, for a downlink whose fate may come.
    wanted: Option<(Position, u32, u32)>,
    /// Receptions counted, and on which line.
    received: Option<(u64, u64)>,
}

type Told = (Position, Speaker, Statement);

impl Before {
    pub(super) fn read(&mut self, line: &Line, place: Position) -> Vec<Told> {
        let mut out = Vec::new();
        let gateway = |what| (place, Speaker::Gateway, what);
        if let Some(error) = refused(line) {
            let near = |at: &Position| place.number.saturating_sub(at.number) <= NEAR;
            let wanted = wants(line).map(|(slot, counter)| (place, slot, counter));
            let wanted = wanted.or_else(|| self.wanted.take().filter(|(at, ..)| near(at)));
            let from = wanted.map_or(place, |(at, ..)| at);
            let more = u32::try_from(place.number.saturating_sub(from.number)).unwrap_or_default();
            let counters = wanted.map(|(_, slot, counter)| (slot, counter));
            out.push((
                Position { more, ..from },
                Speaker::Gateway,
                Statement::NotSent { error, counters },
            ));
            return out;
        }
        if let Some((slot, counter)) = wants(line) {
            self.wanted = Some((place, slot, counter));
            return out;
        }
        if no_path(line) {
            out.push((place, Speaker::Server, Statement::NoDownlinkPath));
            return out;
        }
        if unknown(line) {
            out.push((place, Speaker::Server, Statement::UnknownGateway));
            return out;
        }
        out.extend(one_channel(line).map(|freq_hz| gateway(Statement::OneChannel { freq_hz })));
        out.extend(
            self.counts(line, place).into_iter().map(|count| gateway(Statement::Counted(count))),
        );
        out
    }

    /// Figures of a report, whichever of its lines they stand in.
    fn counts(&mut self, line: &Line, place: Position) -> Vec<Count> {
        let mut out = Vec::new();
        let received =
            after(line, &[&["received"], &["rf", "packets"], &["radio", "gave"], &["receptions"]]);
        if let Some(received) = received {
            self.received = Some((place.number, as_u64(received)));
        }
        if let Some(share) = share(line, &[&["crc", "ok"], &["crc", "good"]])
            && let Some((_, received)) =
                self.received.filter(|(at, _)| place.number.saturating_sub(*at) <= NEAR)
        {
            out.push(Count::Received(received, share));
        }
        let push = after(line, &[&["push", "data"], &["upstream", "datagrams"]]);
        let pull = after(
            line,
            &[&["pull", "data"], &["downstream", "keep", "alives"], &["keep", "alives"]],
        );
        let acknowledged =
            || share(line, &[&["push", "ack"], &["pull", "ack"]]).or_else(|| share_before(line));
        let leg = match (push, pull) {
            (Some(count), None) => Some((Leg::Push, count)),
            (None, Some(count)) => Some((Leg::Pull, count)),
            _ => None,
        };
        if let (Some((leg, count)), Some(share)) = (leg, acknowledged()) {
            out.push(Count::Acknowledged(leg, as_u64(count), share));
        }
        out.extend(after(line, &[&["pull", "resp"]]).map(|n| Count::Ordered(as_u64(n))));
        out
    }
}

/// Why a downlink is not sent, where a line says that.
fn refused(line: &Line) -> Option<TxError> {
    let downlink =
        line.has(&["downlink", "tx", "txpk", "transmit", "transmission", "accept", "packet"]);
    let refused = find(
        line,
        &[&["refused", "rejected", "failed", "error", "dropped", "discarded", "nack"]],
        0,
    )
    .is_some()
        || find_any(line, &[&["not"], &["sent", "transmitted", "scheduled", "taken"]], 1).is_some();
    if !downlink || !refused {
        return None;
    }
    let says = |sets: &[&[&str]]| find(line, sets, 0).is_some();
    Some(if says(&[&["too"], &["late"]]) {
        TxError::TooLate
    } else if says(&[&["too"], &["early"]]) {
        TxError::TooEarly
    } else if says(&[&["collision"], &["beacon"]]) {
        TxError::CollisionBeacon
    } else if says(&[&["collision", "collides"]]) {
        TxError::CollisionPacket
    } else if says(&[&["tx"], &["freq"]]) {
        TxError::TxFreq
    } else if says(&[&["tx"], &["power"]]) {
        TxError::TxPower
    } else {
        return None;
    })
}

/// The slot of a downlink and the counter when it came, microseconds.
fn wants(line: &Line) -> Option<(u32, u32)> {
    let number = |names: &[&str]| line.number(0, names).and_then(|n| u32::try_from(n).ok());
    let slot = number(&["at", "slot", "tmst", "for"])?;
    let counter = number(&["counter", "now", "clock"])?;
    (line.has(&["downlink", "txpk", "tx"]) && slot != counter).then_some((slot, counter))
}

fn no_path(line: &Line) -> bool {
    find_any(line, &[&["no"], &["downlink"], &["path", "route", "gateway"]], 1)
        .or_else(|| find_any(line, &[&["no"], &["gateway"], &["downlink"]], 4))
        .or_else(|| {
            find_any(
                line,
                &[
                    &["downlink"],
                    &["path", "route"],
                    &["unavailable", "missing", "expired", "unknown"],
                ],
                2,
            )
        })
        .is_some()
}

fn unknown(line: &Line) -> bool {
    const GATEWAY: &[&str] = &["gateway", "gw", "gweui"];
    line.gateway().is_some()
        && find(line, &[&["unknown", "unregistered"], GATEWAY], 1)
            .or_else(|| find(line, &[GATEWAY, &["unknown", "unregistered"]], 3))
            .or_else(|| {
                find_any(line, &[GATEWAY, &["not"], &["registered", "known", "found", "listed"]], 3)
            })
            .is_some()
}

/// The only frequency that is received.
fn one_channel(line: &Line) -> Option<u32> {
    let receives = line.has(&[
        "receiver",
        "receives",
        "receive",
        "listening",
        "listens",
        "listen",
        "rx",
        "gateway",
    ]);
    let only = find(line, &[&["channel", "frequency"], &["only"]], 0)
        .or_else(|| find(line, &[&["single", "one", "only"], &["channel", "frequency"]], 0))?;
    let hz = line.tokens.iter().enumerate().find_map(|(at, token)| match token {
        Token::Number(value) if line.word(at + 1) == Some("mhz") => Some(value * 1e6),
        Token::Number(value) if (1e8..1e9).contains(value) => Some(*value),
        Token::Number(value) if (433.0..928.1).contains(value) && value.fract() != 0.0 => {
            Some(value * 1e6)
        }
        _ => None,
    })?;
    let _ = only;
    receives.then_some(hz.round()).and_then(|hz| u32::try_from(as_u64(hz)).ok())
}

/// The number behind words in a row: `push_data=3`, `PUSH_DATA 2 out`, `count 0`.
fn after(line: &Line, names: &[&[&str]]) -> Option<f64> {
    let begins = 0..line.tokens.len();
    begins.into_iter().find_map(|from| {
        let name = names.iter().find(|name| {
            name.iter().enumerate().all(|(i, part)| line.word(from + i) == Some(part))
        })?;
        let mut at = from + name.len();
        while matches!(line.tokens.get(at), Some(Token::Mark('=' | ':' | '(')))
            || line.word(at).is_some_and(|word| matches!(word, "count" | "sent"))
        {
            at += 1;
        }
        match line.tokens.get(at) {
            Some(Token::Number(value)) if line.tokens.get(at + 1) != Some(&Token::Mark('%')) => {
                Some(*value)
            }
            _ => None,
        }
    })
}

/// The share behind words: `push_ack=0.00%`, `CRC ok 100.00 %`.
fn share(line: &Line, names: &[&[&str]]) -> Option<f64> {
    (0..line.tokens.len()).find_map(|from| {
        let name = names.iter().find(|name| {
            name.iter().enumerate().all(|(i, part)| line.word(from + i) == Some(part))
        })?;
        let mut at = from + name.len();
        while matches!(line.tokens.get(at), Some(Token::Mark('=' | ':'))) {
            at += 1;
        }
        per_cent(line, at)
    })
}

/// `0.00 % acknowledged`.
fn share_before(line: &Line) -> Option<f64> {
    let at = (0..line.tokens.len())
        .find(|at| line.word(*at).is_some_and(|w| matches!(w, "acknowledged" | "acked")))?;
    per_cent(line, at.checked_sub(2)?)
}

fn per_cent(line: &Line, at: usize) -> Option<f64> {
    match (line.tokens.get(at), line.tokens.get(at + 1)) {
        (Some(Token::Number(value)), Some(Token::Mark('%'))) if (0.0..=100.0).contains(value) => {
            Some(*value)
        }
        _ => None,
    }
}

/// Lines of one report, or of one downlink.
const NEAR: u64 = 3;
