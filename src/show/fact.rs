//! Facts and their values as JSON.

use serde_json::{Map, json};

use super::{Secrets, json};
use crate::fact::{Cite, Fact, Value, text};

/// Returns a fact as the contract's evidence object: `text`, `at`, `values`, `said_by`.
pub(crate) fn json(fact: &Fact, secrets: Secrets) -> serde_json::Value {
    let mut object = Map::new();
    object.insert("text".into(), text(fact, secrets).into());
    let at: Vec<_> = fact.places().into_iter().map(place).collect();
    if !at.is_empty() {
        object.insert("at".into(), at.into());
    }
    let mut values = Map::new();
    gather(fact, secrets, &mut values);
    if !values.is_empty() {
        object.insert("values".into(), values.into());
    }
    if let Some(speaker) = fact.speaker() {
        object.insert("said_by".into(), speaker.name().into());
    }
    object.into()
}

/// Where a fact shows in a capture.
fn place(cite: &Cite) -> serde_json::Value {
    let (mut object, place) = (Map::new(), cite.line.place);
    object.insert("source".into(), place.source.into());
    object.insert(place.unit.name().into(), place.number.into());
    if let Some(time) = cite.time {
        object.insert("time".into(), format!("{time:.6}").into());
    }
    if let Some(gateway) = cite.gateway {
        object.insert("gateway".into(), gateway.hex().into());
    }
    if let Some(token) = cite.token {
        object.insert("token".into(), format!("{token:04x}").into());
    }
    object.into()
}

/// Puts the values of a fact, and of the facts in it, under their names; the first of a name stays.
fn gather(fact: &Fact, secrets: Secrets, out: &mut Map<String, serde_json::Value>) {
    for (name, value) in fact.values() {
        match value {
            Value::Fact(inner) => gather(inner, secrets, out),
            Value::List(values, _) if values.iter().any(|v| matches!(v, Value::Fact(_))) => {
                for value in values {
                    if let Value::Fact(inner) = value {
                        gather(inner, secrets, out);
                    }
                }
            }
            value => {
                if let Some(plain) = plain(value, secrets) {
                    let name = match value {
                        Value::Micros(_) | Value::About(_) | Value::Apart(_)
                            if !name.ends_with("_us") =>
                        {
                            format!("{name}_us")
                        }
                        _ => (*name).to_owned(),
                    };
                    out.entry(name).or_insert(plain);
                }
            }
        }
    }
}

/// A value for programs: units are those of the contract, and are not written.
fn plain(value: &Value, secrets: Secrets) -> Option<serde_json::Value> {
    Some(match value {
        // Words that were put together beforehand are in the text.
        Value::Text(words) => json!(words),
        Value::Number(n) | Value::Micros(n) | Value::About(n) | Value::Apart(n) => json!(n),
        Value::Count(n, _) => json!(n),
        Value::Decimal(n) | Value::Dbm(n) | Value::Db(n) | Value::Probability(n) => json!(n),
        Value::Frequency(hz) => json!(hz),
        Value::Offset(hz) => json!(hz),
        Value::Channels(numbers) | Value::Tally(numbers) => json!(numbers),
        Value::Rate(rate) => json!(rate.to_string()),
        Value::Time(time) => json!(time.to_string()),
        Value::Eui(eui) => json!(eui.hex()),
        Value::DevAddr(addr) => json!(addr.to_string().to_lowercase()),
        Value::NetId(id) => json!(id.to_string().to_lowercase()),
        Value::Bytes(bytes) => json!(hex::encode(bytes)),
        Value::Command(command) => json::command(command, secrets),
        Value::List(values, _) => {
            json!(values.iter().filter_map(|v| plain(v, secrets)).collect::<Vec<_>>())
        }
        Value::Secret(secret) if secrets == Secrets::Shown => {
            json!(text(secret.revealed(), secrets))
        }
        // Places are in `at`, and a fact's values stand for themselves.
        Value::Secret(_) | Value::Cite(_) | Value::Fact(_) => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        fact::{Secret, fact},
        intake::Position,
        trace::Line,
    };

    #[test]
    fn what_a_radio_reports_has_no_digits_of_its_binary_form() {
        assert_eq!(plain(&Value::dbm(-84.2), Secrets::Hidden), Some(json!(-84.2)));
    }

    #[test]
    fn evidence_is_text_places_and_values() {
        let line = Line { place: Position::line(16), ..Line::default() };
        let time = "2026-04-11T06:31:05Z".parse().ok();
        let request = Cite { line, time, token: Some(0x353C), ..Cite::default() }.with_time();
        let fact = fact!(
            "{request}: Join-Request, {frequency}, {rssi}",
            request,
            frequency = Value::Frequency(868_500_000),
            rssi = Value::Dbm(-118.0)
        );
        assert_eq!(
            json(&fact, Secrets::Hidden),
            json!({
                "text": "line 16 (06:31:05Z): Join-Request, 868.5 MHz, -118 dBm",
                "at": [{"source": 0, "line": 16, "time": "2026-04-11T06:31:05.000000Z", "token": "353c"}],
                "values": {"frequency": 868_500_000, "rssi": -118.0},
            })
        );
    }

    #[test]
    fn digits_of_a_key_are_left_out_unless_keys_are_shown() {
        let secret = Secret::new("digit 3 is a, not b", "digit 3 differs");
        let fact = fact!("the AppKey is wrong: {digits}", digits = secret);
        assert_eq!(text(&fact, Secrets::Hidden), "the AppKey is wrong: digit 3 differs");
        assert_eq!(text(&fact, Secrets::Shown), "the AppKey is wrong: digit 3 is a, not b");
        assert!(!json(&fact, Secrets::Hidden).to_string().contains("not b"));
        assert!(json(&fact, Secrets::Shown).to_string().contains("not b"));
    }
}
