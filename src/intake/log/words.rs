//! The words that name what stands beside a frame: a table, a row a word.
//!
//! Words are compared without regard to case and separators: `phyPayload`, `PHY_PAYLOAD` and
//! `phy-payload` are one. They are the trade's own and those of plain English.

/// What a word names.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Meaning {
    /// A whole frame, by the standard's name for it.
    Frame,
    /// What is a frame or a part of one, by a word that speaks of the air.
    OnAir,
    /// What may be a frame, or something else.
    MaybeFrame,
    /// A secret: what follows is never taken.
    Secret,
    Frequency,
    SpreadingFactor,
    Bandwidth,
    /// Spreading factor and bandwidth in one: SF7BW125.
    DataRate,
    CodeRate,
    Rssi,
    Snr,
    Crc,
    Gateway,
    Time,
    /// The gateway's counter, microseconds.
    Counter,
    /// GPS time, milliseconds.
    GpsTime,
    /// From the end of the uplink to the downlink.
    Delay,
    /// The gateway's own words, given back to it with the downlink: often its counter.
    Context,
    AtOnce,
    Power,
    Inverted,
    Size,
    /// By which an acknowledgement finds its downlink.
    Id,
    /// What became of a downlink.
    Status,
    DevAddr,
    FPort,
    FCnt,
}

use Meaning as M;

/// Every word, without separators and in small letters.
const WORDS: &[(&str, Meaning)] = &[
    ("phypayload", M::Frame),
    ("phypld", M::Frame),
    ("phy", M::Frame),
    ("macframe", M::OnAir),
    ("rawframe", M::OnAir),
    ("framehex", M::OnAir),
    ("frame", M::OnAir),
    ("rawpayload", M::MaybeFrame),
    ("payload", M::MaybeFrame),
    ("payloadhex", M::MaybeFrame),
    ("rawpacket", M::OnAir),
    ("packet", M::OnAir),
    ("rawdata", M::MaybeFrame),
    ("data", M::MaybeFrame),
    ("pdu", M::MaybeFrame),
    ("raw", M::MaybeFrame),
    ("hex", M::MaybeFrame),
    ("message", M::MaybeFrame),
    ("msg", M::MaybeFrame),
    ("uplink", M::OnAir),
    ("downlink", M::OnAir),
    ("rx", M::OnAir),
    ("tx", M::OnAir),
    ("up", M::OnAir),
    ("down", M::OnAir),
    ("received", M::OnAir),
    ("receive", M::OnAir),
    ("receiving", M::OnAir),
    ("transmit", M::OnAir),
    ("transmitted", M::OnAir),
    ("sending", M::OnAir),
    ("request", M::MaybeFrame),
    ("joinrequest", M::OnAir),
    ("joinaccept", M::OnAir),
    ("sent", M::OnAir),
    ("send", M::OnAir),
    ("lora", M::OnAir),
    ("frequency", M::Frequency),
    ("freq", M::Frequency),
    ("freqhz", M::Frequency),
    ("frequencyhz", M::Frequency),
    ("frequencymhz", M::Frequency),
    ("freqmhz", M::Frequency),
    ("spreadingfactor", M::SpreadingFactor),
    ("spreadfactor", M::SpreadingFactor),
    ("sf", M::SpreadingFactor),
    ("bandwidth", M::Bandwidth),
    ("bandwidthkhz", M::Bandwidth),
    ("bw", M::Bandwidth),
    ("bwkhz", M::Bandwidth),
    ("datarate", M::DataRate),
    ("datr", M::DataRate),
    ("dr", M::DataRate),
    ("modulation", M::DataRate),
    ("coderate", M::CodeRate),
    ("codingrate", M::CodeRate),
    ("codr", M::CodeRate),
    ("rssi", M::Rssi),
    ("rssidbm", M::Rssi),
    ("channelrssi", M::Rssi),
    ("snr", M::Snr),
    ("snrdb", M::Snr),
    ("lsnr", M::Snr),
    ("lorasnr", M::Snr),
    ("crc", M::Crc),
    ("crcok", M::Crc),
    ("crcstatus", M::Crc),
    ("gateway", M::Gateway),
    ("gatewayid", M::Gateway),
    ("gatewayeui", M::Gateway),
    ("gw", M::Gateway),
    ("gwid", M::Gateway),
    ("gweui", M::Gateway),
    ("stationeui", M::Gateway),
    ("forwarder", M::Gateway),
    ("concentrator", M::Gateway),
    ("time", M::Time),
    ("timestamp", M::Time),
    ("datetime", M::Time),
    ("receivedat", M::Time),
    ("rxtime", M::Time),
    ("txtime", M::Time),
    ("at", M::Time),
    ("ts", M::Time),
    ("realtimetimestamp", M::Time),
    ("tmst", M::Counter),
    ("counterus", M::Counter),
    ("concentratorcounter", M::Counter),
    ("tmms", M::GpsTime),
    ("delay", M::Delay),
    ("rxdelay", M::Delay),
    ("context", M::Context),
    ("immediately", M::AtOnce),
    ("immediate", M::AtOnce),
    ("imme", M::AtOnce),
    ("power", M::Power),
    ("txpower", M::Power),
    ("powe", M::Power),
    ("polarizationinversion", M::Inverted),
    ("iqinverted", M::Inverted),
    ("invertiq", M::Inverted),
    ("ipol", M::Inverted),
    ("size", M::Size),
    ("length", M::Size),
    ("len", M::Size),
    ("downlinkid", M::Id),
    ("diid", M::Id),
    ("token", M::Id),
    ("id", M::Id),
    ("status", M::Status),
    ("error", M::Status),
    ("result", M::Status),
    ("devaddr", M::DevAddr),
    ("deviceaddress", M::DevAddr),
    ("fport", M::FPort),
    ("port", M::FPort),
    ("fcnt", M::FCnt),
    ("framecounter", M::FCnt),
];

/// What stands in the name of a secret, or of a number that looks like octets.
const SECRET: &[&str] = &["key", "secret", "password", "passwd", "psk", "auth", "credential"];

/// Returns what a name means.
pub(super) fn meaning(name: &str) -> Option<Meaning> {
    let bare = bare(name);
    if is_secret(name) {
        return Some(Meaning::Secret);
    }
    let find =
        |name: &str| WORDS.iter().find(|(word, _)| *word == name).map(|(_, meaning)| *meaning);
    // How octets are written may stand behind what they are: `phy_b64`.
    let written = || {
        let name = FORMS.iter().find_map(|form| bare.strip_suffix(form))?;
        find(name).filter(|m| matches!(m, M::Frame | M::OnAir | M::MaybeFrame))
    };
    find(&bare).or_else(written)
}

const FORMS: &[&str] = &["base64", "b64", "hex", "bytes"];

/// Returns whether a member is a line of text that JSON was put around.
pub(super) fn is_line(name: &str) -> bool {
    ["log", "message", "msg", "line", "text"].contains(&&*bare(name))
}

/// Returns whether something may be a secret by its name.
pub(super) fn is_secret(name: &str) -> bool {
    secret(name).is_some()
}

/// Returns where the first word that speaks of a secret ends.
pub(super) fn secret(text: &str) -> Option<usize> {
    let small = text.to_ascii_lowercase();
    SECRET.iter().filter_map(|word| Some(small.find(word)? + word.len())).min()
}

fn bare(name: &str) -> String {
    // No word of the table is longer; a hostile name must not be copied again and again.
    let head = name.chars().take(LONGEST);
    head.filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_lowercase()).collect()
}

const LONGEST: usize = 64;

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn each_word_stands_once_bare_and_means_what_the_table_says() {
        let mut seen = BTreeSet::new();
        for (word, wanted) in WORDS {
            assert!(seen.insert(word), "{word} twice");
            assert_eq!(bare(word), *word);
            assert_eq!(meaning(&word.to_uppercase()), Some(*wanted));
        }
    }

    #[test]
    fn case_and_separators_do_not_count() {
        for name in ["phyPayload", "PHYPayload", "phy_payload", "PHY-PAYLOAD"] {
            assert_eq!(meaning(name), Some(Meaning::Frame), "{name}");
        }
        for name in ["appKey", "nwk_s_key", "NwkSKey", "Authorization", "keyhex"] {
            assert_eq!(meaning(name), Some(Meaning::Secret), "{name}");
        }
        assert_eq!(meaning("phy_b64"), Some(Meaning::Frame));
        assert_eq!(meaning("colour"), None);
        assert_eq!(meaning("rssi_hex"), None);
    }
}
