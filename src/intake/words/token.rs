//! Words, numbers and identifiers of a line.

use crate::id::{DevAddr, DevEui, Eui64};

use super::super::event::Subject;

/// A part of a line.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Token {
    /// A word in lower case; what the standard names is one word: `devnonce`, `joineui`, `fcnt`.
    Word(String),
    /// An EUI.
    Eui(Eui64),
    /// Eight hex digits that may be a DevAddr.
    Addr(DevAddr),
    /// A number.
    Number(f64),
    /// What stands between.
    Mark(char),
}

/// A line, read.
#[derive(Clone, Debug)]
pub(super) struct Line {
    pub(super) tokens: Vec<Token>,
    /// Whether it begins with a time, as lines of a log do.
    pub(super) is_of_a_log: bool,
}

impl Line {
    pub(super) fn of(text: &str) -> Self {
        let is_of_a_log = begins_with_a_time(text);
        Self { tokens: joined(cut(text)), is_of_a_log }
    }

    /// Returns the word at a place.
    pub(super) fn word(&self, at: usize) -> Option<&str> {
        match self.tokens.get(at)? {
            Token::Word(word) => Some(word),
            _ => None,
        }
    }

    pub(super) fn has(&self, words: &[&str]) -> bool {
        self.tokens
            .iter()
            .any(|token| matches!(token, Token::Word(word) if words.contains(&word.as_str())))
    }

    /// Returns the last word before a place, marks left out.
    pub(super) fn before(&self, at: usize) -> Option<&str> {
        (0..at).rev().take(3).find_map(|at| self.word(at))
    }

    /// Returns every EUI with the word before it and its place.
    pub(super) fn euis(&self) -> impl Iterator<Item = (usize, Option<&str>, Eui64)> {
        self.tokens.iter().enumerate().filter_map(|(at, token)| match token {
            Token::Eui(eui) => Some((at, self.before(at), *eui)),
            _ => None,
        })
    }

    /// Returns the gateway that a word names as one.
    pub(super) fn gateway(&self) -> Option<Eui64> {
        let named = |(at, before, eui): (usize, Option<&str>, Eui64)| {
            let near = (at.saturating_sub(3)..at).any(|at| self.word(at).is_some_and(is_gateway));
            (before.is_some_and(is_gateway) || near && before == Some("eui")).then_some(eui)
        };
        self.euis().find_map(named)
    }

    /// Returns the node that a line names: by the DevEUI, which is the first EUI that is nothing else's, or by
    /// its DevAddr.
    pub(super) fn subject(&self) -> Option<Subject> {
        let gateway = self.gateway();
        let of_a_node = |(_, before, _): &(usize, Option<&str>, Eui64)| {
            matches!(
                before,
                Some("deveui" | "device" | "node" | "dev" | "enddevice" | "for" | "of")
            )
        };
        let another = |(_, before, eui): &(usize, Option<&str>, Eui64)| {
            Some(*eui) == gateway || before.is_some_and(|word| NOT_A_NODE.contains(&word))
        };
        let euis: Vec<_> = self.euis().filter(|eui| !another(eui)).collect();
        let found = euis.iter().find(|eui| of_a_node(eui)).or(euis.first());
        if let Some((_, _, eui)) = found {
            return Some(Subject::DevEui(DevEui(*eui)));
        }
        self.addr().map(Subject::DevAddr)
    }

    /// Returns the DevAddr that it names.
    pub(super) fn addr(&self) -> Option<DevAddr> {
        self.tokens.iter().enumerate().find_map(|(at, token)| match token {
            Token::Addr(addr)
                if self.before(at).is_none_or(|word| !NOT_AN_ADDR.contains(&word)) =>
            {
                Some(*addr)
            }
            _ => None,
        })
    }

    /// Returns the first whole number behind a place, near one of the words given.
    pub(super) fn number(&self, from: usize, names: &[&str]) -> Option<u64> {
        (from..self.tokens.len()).find_map(|at| {
            let value = match self.tokens.get(at)? {
                Token::Number(value) => *value,
                _ => return None,
            };
            let is_near = (at.saturating_sub(3)..at)
                .any(|at| self.word(at).is_some_and(|word| names.contains(&word)));
            (is_near && value.fract() == 0.0 && value >= 0.0).then_some(as_u64(value))
        })
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "whole, not negative, saturates"
)]
pub(super) const fn as_u64(value: f64) -> u64 {
    value as u64
}

fn is_gateway(word: &str) -> bool {
    matches!(word, "gateway" | "gw" | "gatewayid" | "gweui" | "gatewayeui" | "station")
}

const NOT_A_NODE: &[&str] = &[
    "joineui",
    "gateway",
    "gw",
    "station",
    "air",
    "record",
    "expected",
    "got",
    "heard",
    "registered",
    "join",
];
/// What eight digits may be besides.
const NOT_AN_ADDR: &[&str] =
    &["mic", "token", "id", "version", "build", "netid", "us", "tmst", "counter", "at"];

/// Cuts a line into its parts.
fn cut(text: &str) -> Vec<Token> {
    let octets = text.as_bytes();
    let mut out = Vec::new();
    let mut at = 0;
    while let Some(rest) = text.get(at..).filter(|rest| !rest.is_empty()) {
        if out.len() >= MOST_TOKENS {
            break;
        }
        let free = at == 0 || octets.get(at - 1).is_none_or(|c| !c.is_ascii_alphanumeric());
        if free && let Some((token, len)) = identifier(rest) {
            out.push(token);
            at += len;
            continue;
        }
        let Some(first) = rest.chars().next() else { break };
        if !first.is_alphanumeric() {
            if !first.is_whitespace() && !matches!(first, '_' | '-') {
                out.push(Token::Mark(first));
            }
            at += first.len_utf8();
            continue;
        }
        let len = rest.find(|c: char| !c.is_alphanumeric()).unwrap_or(rest.len());
        let word = rest.get(..len).unwrap_or(rest);
        at += len;
        if word.bytes().all(|c| c.is_ascii_digit()) {
            let mut number = word.to_owned();
            let fraction =
                rest.get(len..).and_then(|rest| rest.strip_prefix('.')).unwrap_or_default();
            let digits = fraction.bytes().take_while(u8::is_ascii_digit).count();
            if digits > 0 {
                number = format!("{word}.{}", fraction.get(..digits).unwrap_or_default());
                at += 1 + digits;
            }
            out.extend(number.parse().ok().map(Token::Number));
        } else {
            parts(word, &mut out);
        }
    }
    out
}

/// An EUI or a DevAddr, and how many octets of the text it takes.
fn identifier(text: &str) -> Option<(Token, usize)> {
    for (pairs, separators) in [(8, true), (8, false), (4, true), (4, false)] {
        let len = pairs * 2 + if separators { pairs - 1 } else { 0 };
        let Some(part) = text.get(..len) else { continue };
        let well = part.bytes().enumerate().all(|(i, c)| {
            if separators && i % 3 == 2 { matches!(c, b'-' | b':') } else { c.is_ascii_hexdigit() }
        });
        let behind = text.as_bytes().get(len..).unwrap_or_default();
        let goes_on = match behind {
            [b'-' | b':', a, b, ..] => separators && a.is_ascii_hexdigit() && b.is_ascii_hexdigit(),
            [c, ..] => c.is_ascii_alphanumeric(),
            [] => false,
        };
        if !well || goes_on {
            continue;
        }
        // `00:12:03:04` may be a time.
        if pairs == 4 && separators {
            continue;
        }
        return Some(if pairs == 8 {
            (Token::Eui(part.parse().ok()?), len)
        } else {
            (Token::Addr(part.parse().ok()?), len)
        });
    }
    None
}

/// `DevNonceTooSmall` is four words.
fn parts(word: &str, out: &mut Vec<Token>) {
    let letters: Vec<char> = word.chars().collect();
    let mut part = String::new();
    for (i, c) in letters.iter().enumerate() {
        let before = i.checked_sub(1).and_then(|i| letters.get(i));
        let after = letters.get(i + 1);
        let begins = c.is_uppercase()
            && before.is_some_and(|before| {
                before.is_lowercase()
                    || before.is_uppercase() && after.is_some_and(|after| after.is_lowercase())
            });
        if begins && !part.is_empty() {
            out.push(Token::Word(std::mem::take(&mut part)));
        }
        part.extend(c.to_lowercase());
    }
    out.push(Token::Word(part));
}

/// Makes one word of what the standard names.
fn joined(tokens: Vec<Token>) -> Vec<Token> {
    let mut out: Vec<Token> = Vec::with_capacity(tokens.len());
    for token in tokens {
        let Token::Word(word) = &token else {
            out.push(token);
            continue;
        };
        let before = match out.last() {
            Some(Token::Word(before)) => before.as_str(),
            _ => "",
        };
        let one = match (before, word.as_str()) {
            ("dev" | "device", "nonce") => "devnonce",
            ("join" | "app", "nonce") => "joinnonce",
            ("dev" | "device", "eui") => "deveui",
            ("join" | "app" | "application", "eui") => "joineui",
            ("gateway" | "gw", "eui") => "gweui",
            ("dev" | "device", "addr" | "address") => "devaddr",
            ("f", "cnt") | ("frame", "counter" | "count" | "cnt") => "fcnt",
            ("end", "device") => "device",
            ("net", "id") => "netid",
            _ => {
                let own = match word.as_str() {
                    "appeui" => "joineui",
                    "counter" if before == "uplink" => "fcnt",
                    "joinrequest" => {
                        out.push(Token::Word("join".into()));
                        "request"
                    }
                    "joinaccept" => {
                        out.push(Token::Word("join".into()));
                        "accept"
                    }
                    own => own,
                };
                out.push(Token::Word(own.to_owned()));
                continue;
            }
        };
        out.pop();
        out.push(Token::Word(one.to_owned()));
    }
    out
}

/// A date, a time of day, or a month's name with a day, perhaps in a bracket.
fn begins_with_a_time(text: &str) -> bool {
    let text = text.trim_start().trim_start_matches(['[', '(', '<', '|']);
    let head: String =
        text.chars().take(MOST_HEAD).map(|c| if c.is_ascii_digit() { '0' } else { c }).collect();
    let clock = ["0000-00-00", "0000/00/00", "00:00:00", "00.00.0000"];
    let month =
        head.get(..3).is_some_and(|month| MONTHS.contains(&month)) && head.contains("00:00:00");
    let member = head.starts_with("time") && head.contains("00:00:00");
    month || member || clock.iter().any(|clock| head.starts_with(clock))
}

const MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const MOST_HEAD: usize = 40;
const MOST_TOKENS: usize = 512;
