//! The words by which logs name things: trade words, whatever their case and separators.
//!
//! common practice; a table, so that a new word is one row.

use jiff::{Timestamp, civil};

use crate::intake::time::timestamp;

/// What a member or a label speaks of.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Meaning {
    Frame,
    Frequency,
    SpreadingFactor,
    Bandwidth,
    DataRate,
    Rssi,
    Snr,
    Gateway,
    Time,
    Counter,
    /// An opaque value that a downlink repeats from the uplink that it answers.
    Context,
    Delay,
    AtOnce,
    Power,
    Inverted,
    Crc,
    Token,
    Status,
}

use Meaning::{
    AtOnce, Bandwidth, Context, Counter, Crc, DataRate, Delay, Frame, Frequency, Gateway, Inverted,
    Power, Rssi, Snr, SpreadingFactor, Status, Time, Token,
};

/// Each word, in lower case and without separators.
const WORDS: &[(&str, Meaning)] = &[
    ("phypayload", Frame),
    ("phy", Frame),
    ("payload", Frame),
    ("rawpayload", Frame),
    ("data", Frame),
    ("frame", Frame),
    ("rawframe", Frame),
    ("pdu", Frame),
    ("hex", Frame),
    ("frequency", Frequency),
    ("freq", Frequency),
    ("frequencyhz", Frequency),
    ("frequencymhz", Frequency),
    ("spreadingfactor", SpreadingFactor),
    ("sf", SpreadingFactor),
    ("bandwidth", Bandwidth),
    ("bw", Bandwidth),
    ("datr", DataRate),
    ("datarate", DataRate),
    ("rssi", Rssi),
    ("snr", Snr),
    ("lsnr", Snr),
    ("gatewayid", Gateway),
    ("gatewayeui", Gateway),
    ("gateway", Gateway),
    ("gweui", Gateway),
    ("time", Time),
    ("timestamp", Time),
    ("receivedat", Time),
    ("at", Time),
    ("tmst", Counter),
    ("context", Context),
    ("delay", Delay),
    ("immediately", AtOnce),
    ("immediate", AtOnce),
    ("imme", AtOnce),
    ("power", Power),
    ("powe", Power),
    ("txpower", Power),
    ("polarizationinversion", Inverted),
    ("invertpolarization", Inverted),
    ("ipol", Inverted),
    ("crcstatus", Crc),
    ("crc", Crc),
    ("downlinkid", Token),
    ("token", Token),
    ("status", Status),
    ("error", Status),
];

fn bare(word: &str) -> String {
    word.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_lowercase()).collect()
}

/// Returns what a member's name speaks of.
pub(super) fn meaning(name: &str) -> Option<Meaning> {
    if name.len() > LONGEST {
        return None;
    }
    let name = bare(name);
    WORDS.iter().find(|(word, _)| *word == name).map(|(_, meaning)| *meaning)
}

/// Returns whether a word speaks of a key.
pub(super) fn of_key(word: &str) -> bool {
    word.len() <= LONGEST && bare(word).contains("key")
}

/// Words before a frame in text, beside those of [`WORDS`].
const BEFORE_A_FRAME: [&str; 14] = [
    "rx", "tx", "uplink", "downlink", "up", "down", "lora", "lorawan", "packet", "received",
    "sent", "send", "recv", "msg",
];

/// Returns whether a word stands before a frame in a log.
pub(super) fn of_frame(word: &str) -> bool {
    if word.len() > LONGEST {
        return false;
    }
    let bare = bare(word);
    BEFORE_A_FRAME.contains(&bare.as_str()) || meaning(&bare) == Some(Frame)
}

/// No word of the table is longer, separators included.
const LONGEST: usize = 32;

/// Reads octets of two digits with a space, `:` or `-` between them; returns them and their length.
pub(super) fn octets_apart(text: &str) -> Option<(Vec<u8>, usize)> {
    let bytes = text.as_bytes();
    let mut octets = Vec::new();
    let mut at = 0;
    while let Some(pair) = bytes.get(at..at + 2) {
        let Ok(octet) = u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16) else { break };
        if !pair.iter().all(u8::is_ascii_hexdigit) {
            break;
        }
        octets.push(octet);
        at += 2;
        match bytes.get(at) {
            Some(b' ' | b':' | b'-') if octets.len() < LONGEST_FRAME => at += 1,
            Some(c) if c.is_ascii_alphanumeric() => return None,
            _ => break,
        }
    }
    (octets.len() >= SHORTEST_FRAME).then_some((octets, at.min(text.len())))
}

/// MHDR 1, DevAddr 4, FCtrl 1, FCnt 2, MIC 4.
const SHORTEST_FRAME: usize = 12;
/// What a PHYPayload can have.
const LONGEST_FRAME: usize = 255;

/// Reads a time at the beginning of a text, and whether it names no zone.
pub(super) fn leading_time(text: &str) -> Option<(Timestamp, bool)> {
    let mut words = text.split_whitespace();
    let first = words.next()?.trim_end_matches([',', ':', ']']);
    if let Some(time) = timestamp(first) {
        return Some((time, false));
    }
    let second = words.next().unwrap_or_default().trim_end_matches([',', ':', ']']);
    let both = format!("{first}T{second}").replace('/', "-").replace(',', ".");
    if let Some(time) = timestamp(&both) {
        return Some((time, false));
    }
    let civil: civil::DateTime = both.parse().or_else(|_| first.parse()).ok()?;
    // A date alone is no time.
    (first.contains(['T', 't']) || second.contains(':')).then_some(())?;
    let zoned = civil.to_zoned_datetime(jiff::tz::TimeZone::UTC).ok()?;
    Some((zoned.timestamp(), true))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_known_whatever_their_case_and_separators() {
        for name in ["phyPayload", "PHYPayload", "phy_payload", "PHY-Payload"] {
            assert_eq!(meaning(name), Some(Frame), "{name}");
        }
        assert_eq!(meaning("spreading_factor"), Some(SpreadingFactor));
        assert_eq!(meaning("appKey"), None);
        assert!(of_key("AppKey") && of_key("nwk_s_key") && !of_key("frame"));
    }

    #[test]
    fn a_time_without_a_zone_is_told_from_one_with() {
        let eight: Timestamp = "2026-03-02T08:00:00.5Z".parse().unwrap();
        for text in
            ["2026-03-02T08:00:00.5Z rx", "2026-03-02T09:00:00.5+01:00", "2026-03-02 08:00:00.5Z x"]
        {
            assert_eq!(leading_time(text), Some((eight, false)), "{text}");
        }
        for text in
            ["2026-03-02 08:00:00.5 rx", "2026-03-02T08:00:00.5 rx", "2026/03/02 08:00:00,5 rx"]
        {
            assert_eq!(leading_time(text), Some((eight, true)), "{text}");
        }
        for text in ["", "2026-03-02", "rx 40", "12 34"] {
            assert_eq!(leading_time(text), None, "{text}");
        }
    }

    #[test]
    fn octets_with_spaces_between_them_are_one_run() {
        let (octets, length) = octets_apart("40 da bb 01 02 80 02 00 02 27 21 02 9d rest").unwrap();
        assert_eq!((octets.len(), length), (13, 39));
        assert_eq!(octets_apart("40 da bb"), None);
        assert_eq!(octets_apart("40dabb01028002000227"), None);
    }
}
