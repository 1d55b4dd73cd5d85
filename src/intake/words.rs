//! What servers and gateways say in words: refusals, accepts, statistics.
//!
//! | file | reads |
//! |------|-------|
//! | `token` | words as the standard spells them, identifiers, numbers |
//! | `phrase` | what words say together, and whether they deny it |
//! | `server` | what a server says of a request or of data |
//! | `gateway` | what a gateway says of downlinks and of what it counts |
//!
//! No form of a line is asked for, and no product's words are known: a subject and what is said of it
//! stand near one another, and nothing in between denies it. A line that asks, supposes, or states a
//! setting is no event ([`phrase::is_told`]). What a server says of a node must name the node, or stand
//! behind a time.

mod gateway;
mod phrase;
mod server;
mod token;

use serde_json::Value;

use self::token::Line;
use super::event::{Position, Said, Speaker, Statement};
use crate::{id::Eui64, words::log_line};

/// A statement, with where it stands and the gateway that it is about.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Spoken {
    pub(super) place: Position,
    pub(super) gateway: Option<Eui64>,
    pub(super) said: Said,
}

/// What earlier lines say of the later ones.
#[derive(Debug, Default)]
pub(super) struct Speech {
    gateway: gateway::Before,
}

impl Speech {
    /// Returns what a line of text says.
    pub(super) fn line(&mut self, text: &str, place: Position) -> Vec<Spoken> {
        let Some(text) = text.get(..text.len().min(LONGEST)) else { return Vec::new() };
        let line = Line::of(text);
        if !phrase::is_told(&line) {
            return Vec::new();
        }
        let mut out = Vec::new();
        let mut say = |place, by, gateway, about, what| {
            let words = Some(printed(text));
            out.push(Spoken { place, gateway, said: Said { by, about, what, words } });
        };
        if let Some(told) = server::read(&line) {
            let about = told.about;
            if about.is_some() || line.is_of_a_log {
                say(place, Speaker::Server, line.gateway(), about, told.what);
                return out;
            }
        }
        for (place, by, what) in self.gateway.read(&line, place) {
            if line.is_of_a_log || matches!(what, Statement::UnknownGateway) {
                say(place, by, line.gateway(), None, what);
            }
        }
        out
    }

    /// Returns what JSON of decoded fields says: of each object that names a node.
    pub(super) fn json(&mut self, value: &Value, place: Position) -> Vec<Spoken> {
        let objects: Vec<&Value> = match value {
            Value::Array(list) => list.iter().take(MOST_OBJECTS).collect(),
            one => vec![one],
        };
        let mut out = Vec::new();
        for object in objects.into_iter().filter(|value| value.is_object()) {
            let mut text = String::new();
            members(object, "", DEPTH, &mut text);
            out.extend(self.line(&text, place).into_iter().filter(|one| one.said.about.is_some()));
        }
        out
    }
}

/// Words fit to print: no key, and not too long.
fn printed(text: &str) -> Box<str> {
    let clean = log_line(text.trim());
    if clean.chars().count() <= PRINTED {
        return clean.into();
    }
    clean.chars().take(PRINTED).chain("...".chars()).collect::<String>().into()
}

/// Writes members as `name value`, one after the other.
fn members(value: &Value, name: &str, depth: u8, out: &mut String) {
    if out.len() >= LONGEST {
        return;
    }
    match value {
        Value::Object(map) if depth > 0 => {
            map.iter().for_each(|(own, value)| {
                // What holds a member may name it: `gateway` holds an `eui`.
                let full = if own.eq_ignore_ascii_case("eui") {
                    format!("{name} {own}")
                } else {
                    own.clone()
                };
                members(value, &full, depth - 1, out);
            });
        }
        Value::Array(list) if depth > 0 => {
            for value in list {
                members(value, name, depth - 1, out);
            }
        }
        Value::String(text) if text.len() < LONGEST => {
            out.extend([name, ": ", text, " | "]);
        }
        Value::Number(number) => out.extend([name, ": ", &number.to_string(), " | "]),
        _ => {}
    }
}

/// Octets of a line that are looked at.
const LONGEST: usize = 2_048;
/// Characters of it that evidence repeats.
const PRINTED: usize = 160;
/// Objects of a list, and objects in one another.
const MOST_OBJECTS: usize = 256;
const DEPTH: u8 = 4;

#[cfg(test)]
mod tests;
