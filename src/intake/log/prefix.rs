//! What the words in front of a frame say: gateway, kind of datagram, radio.

use serde_json::Value;

use super::{
    super::{event::TxError, header::DatagramKind},
    facts::Facts,
    words::{Meaning, meaning},
};
use crate::id::Eui64;

/// Returns the gateway that a line names: behind a word for it, or else the only EUI there is, where
/// no word says that it is a node's.
pub(super) fn gateway(text: &str) -> Option<Eui64> {
    let mut only = None;
    let mut ambiguous = false;
    let mut before = "";
    for token in text.split(|c: char| !c.is_ascii_alphanumeric() && !matches!(c, '-' | ':' | '_')) {
        let bare = token.trim_matches(|c| matches!(c, '-' | ':' | '_'));
        if bare.is_empty() {
            continue;
        }
        let Some((label, eui)) = labelled(bare) else {
            before = bare;
            continue;
        };
        let label = label.unwrap_or(before).to_ascii_lowercase();
        before = "";
        if GATEWAY.iter().any(|word| label.starts_with(word)) {
            return Some(eui);
        }
        // A node's, or a server's: it does not make the other one ambiguous.
        if !NOT_GATEWAY.iter().any(|word| label.contains(word)) {
            ambiguous |= *only.get_or_insert(eui) != eui;
        }
    }
    let small = text.to_ascii_lowercase();
    only.filter(|_| !ambiguous && !NOT_GATEWAY.iter().any(|word| small.contains(word)))
}

/// An EUI, perhaps behind a word of its own: `eui-020000fffea09442`, `gw:020000fffea09442`.
fn labelled(token: &str) -> Option<(Option<&str>, Eui64)> {
    let whole = |text: &str| {
        let digits = text.bytes().filter(u8::is_ascii_hexdigit).count();
        let right = digits == 16 && matches!(text.len(), 16 | 23);
        right.then(|| text.parse().ok()).flatten()
    };
    if let Some(eui) = whole(token) {
        return Some((None, eui));
    }
    let (label, eui) = token.split_once(['-', ':', '_'])?;
    Some((Some(label), whole(eui)?))
}

/// Returns the kind of datagram that a line names in the protocol's words.
pub(super) fn kind(text: &str) -> Option<DatagramKind> {
    tokens(text).find_map(DatagramKind::by_name)
}

/// Returns what a gateway said of a downlink, if a line without JSON tells it: an error by its name,
/// or nothing but numbers.
pub(super) fn tx_ack(text: &str) -> Option<TxError> {
    let mut after = tokens(text)
        .skip_while(|word| DatagramKind::by_name(word) != Some(DatagramKind::TxAck))
        .skip(1);
    let known = |word: &str| {
        let error = TxError::by_name(word);
        (!matches!(error, TxError::Other(_))).then_some(error)
    };
    if let Some(error) = after.clone().find_map(known) {
        return Some(error);
    }
    let plain = |word: &str| {
        word.bytes().any(|c| c.is_ascii_digit()) || matches!(word, "token" | "gateway" | "from")
    };
    after.all(plain).then_some(TxError::None)
}

fn tokens(text: &str) -> impl Iterator<Item = &str> + Clone {
    let cut = |c: char| !c.is_ascii_alphanumeric() && c != '_';
    text.split(cut).filter(|word| !word.is_empty())
}

/// Returns what the words of a line say of the radio: `rssi=-84`, `SF7BW125`, `868.1 MHz`, `-84 dBm`.
pub(super) fn facts(text: &str) -> Facts {
    let mut facts = Facts::default();
    let cut = |c: char| c.is_whitespace() || matches!(c, ',' | ';' | '=' | '"' | '\'' | '(' | ')');
    let mut before: Option<&str> = None;
    for word in text.split(cut).filter(|word| !word.is_empty()).take(MOST_WORDS) {
        let bare = word.trim_matches(|c: char| !c.is_ascii_alphanumeric());
        facts.of_the_air |= matches!(meaning(bare), Some(Meaning::OnAir | Meaning::Gateway));
        // A colon may join a name to its number, or be part of a time.
        let (head, word) = match word.split_once(':') {
            Some((name, "")) => {
                before = Some(name);
                continue;
            }
            Some((name, value)) if meaning(name).is_some() => (Some(name), value),
            _ => (before, word),
        };
        let value = Value::from(word);
        if let Some(name) = head
            && let Some(meaning) = meaning(name)
            && !matches!(meaning, Meaning::Time | Meaning::Status | Meaning::Id)
        {
            facts.take(meaning, &value);
        }
        if word.len() > 4 && word.get(..2).is_some_and(|sf| sf.eq_ignore_ascii_case("sf")) {
            facts.take(Meaning::DataRate, &value);
        }
        if let Some(number) = before {
            match word.to_ascii_lowercase().as_str() {
                "mhz" | "khz" | "hz" => facts.take(Meaning::Frequency, &Value::from(number)),
                "dbm" => facts.take(Meaning::Rssi, &Value::from(number)),
                "db" => facts.take(Meaning::Snr, &Value::from(number)),
                _ => {}
            }
        }
        glued(word, &mut facts);
        before = Some(word.trim_end_matches(':'));
    }
    facts
}

/// `868.1MHz`, `-84dBm`, `7.5dB`, `SF7`.
fn glued(word: &str, facts: &mut Facts) {
    let small = word.to_ascii_lowercase();
    let number = |unit: &str| {
        let number = small.strip_suffix(unit)?;
        number.ends_with(|c: char| c.is_ascii_digit()).then(|| Value::from(number))
    };
    if let Some(value) = number("mhz") {
        facts.take(Meaning::Frequency, &value);
    } else if let Some(value) = number("dbm") {
        facts.take(Meaning::Rssi, &value);
    } else if let Some(value) = number("db") {
        facts.take(Meaning::Snr, &value);
    } else if let Some(sf) = small.strip_prefix("sf").filter(|sf| sf.len() <= 2) {
        facts.take(Meaning::SpreadingFactor, &Value::from(sf));
    } else if let Some(bw) = small.strip_prefix("bw").filter(|bw| bw.len() == 3) {
        facts.take(Meaning::Bandwidth, &Value::from(bw));
    }
}

const GATEWAY: &[&str] = &["gateway", "gw", "station", "router", "mux"];
const NOT_GATEWAY: &[&str] = &["dev", "node", "probe", "join", "app", "end"];
/// A line that is all words is no list of members.
const MOST_WORDS: usize = 256;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::radio::Modulation;

    #[test]
    fn a_gateway_is_told_from_a_node() {
        let eui = Some("020000fffea09442".parse().unwrap());
        for text in [
            "orchard/gateway/020000fffea09442/event/up",
            "gw=02-00-00-FF-FE-A0-94-42 dev=020000fffe001207",
            "2026-03-02T08:00:03Z eui-020000fffea09442 PUSH_DATA",
            "station 02:00:00:ff:fe:a0:94:42: up",
            "[020000FFFEA09442] up",
            "deveui 020000fffe001207 gateway 020000fffea09442",
        ] {
            assert_eq!(gateway(text), eui, "{text}");
        }
        for text in [
            "node 020000fffe001207 joins",
            "DevEUI=020000fffe001207",
            "020000fffe001207 020000fffe001208",
            "020000fffe00120",
            "",
        ] {
            assert_eq!(gateway(text), None, "{text}");
        }
    }

    #[test]
    fn words_of_the_protocol_are_kinds() {
        assert_eq!(kind("rx PUSH_DATA from 192.0.2.7"), Some(DatagramKind::PushData));
        assert_eq!(kind("push data"), None);
        assert_eq!(tx_ack("TX_ACK 192.0.2.7:1700 token 353c"), Some(TxError::None));
        assert_eq!(tx_ack("TX_ACK: TOO_LATE"), Some(TxError::TooLate));
        assert_eq!(tx_ack("TX_ACK was lost"), None);
    }

    #[test]
    fn a_radio_s_words_are_understood() {
        for text in [
            "rx 868.1 MHz SF7BW125 rssi -84 snr 7.5",
            "freq=868100000 sf=7 bw=125 rssi=-84 lsnr=7.5",
            "868.1MHz SF7 BW125 -84dBm 7.5dB",
            "frequency: 868.1, data_rate: SF7BW125, -84 dBm / 7.5 dB",
            "freq:868.1 datr:SF7BW125 rssi:-84 snr:7.5",
        ] {
            let facts = facts(text);
            assert_eq!(facts.freq_hz, Some(868_100_000), "{text}");
            assert_eq!(facts.modulation(), Some(Modulation::Lora { sf: 7, bw_khz: 125 }), "{text}");
            assert_eq!((facts.rssi, facts.snr), (Some(-84.0), Some(7.5)), "{text}");
        }
        assert_eq!(facts("the quick brown fox").radio(), 0);
    }
}
