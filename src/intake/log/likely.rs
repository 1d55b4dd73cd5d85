//! What is taken for a frame where no format says that it is one.
//!
//! Octets must first be lawful: they split into a frame without a fault, MHDR is of LoRaWAN R1 with
//! its reserved bits clear, the length is lawful for the type (Join-Request 23, Join-Accept 17 or 33,
//! Rejoin-Request 19 or 24, data from 12 to 255 octets), and it is not proprietary. Of random octets
//! one in forty is. So two points more are wanted:
//!
//! | points | for |
//! |--------|-----|
//! | 2 | a member called PHYPayload |
//! | 2 | a member or a word that speaks of the air: frame, packet, uplink, rx, ... |
//! | 1 | a member or a word that may mean a frame: payload, data, raw, ... |
//! | 1 | each thing beside it that only a radio knows: frequency, data rate, RSSI, SNR, counter |
//! | 1 | a word of the air elsewhere in a line of words: rx, uplink, gateway, ... |
//! | 2 | a Join-Request: of random octets of its length one in 256 begins so |
//! | 1 | a size stated beside it that is its own |
//! | 1 | a DevAddr stated beside it that is its own |
//!
//! A DevAddr, FPort or FCnt stated beside it that is another refutes it: what is called payload there
//! is the application's. What has a secret's name is never looked at.

use super::{
    facts::Facts,
    words::{Meaning, meaning},
};
use crate::{
    frame::{Decoded, FType, Frame, decode},
    id::DevAddr,
};

/// What names the octets.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub(super) enum Label {
    /// Nothing.
    None,
    /// A word that may mean a frame.
    Maybe,
    /// A word that speaks of the air.
    OnAir,
    /// The standard's name.
    Frame,
}

impl Label {
    /// Returns the label that a name is.
    pub(super) fn of(name: &str) -> Self {
        match meaning(name) {
            Some(Meaning::Frame) => Self::Frame,
            Some(Meaning::OnAir) => Self::OnAir,
            Some(Meaning::MaybeFrame) => Self::Maybe,
            _ => Self::None,
        }
    }
}

/// Returns the frame that octets are to be taken for.
pub(super) fn frame(octets: &[u8], label: Label, beside: &Facts) -> Option<Decoded> {
    let named = label == Label::Frame;
    if !(MIN..=MAX).contains(&octets.len()) {
        return None;
    }
    let decoded = decode(octets);
    if !is_lawful(&decoded, named) {
        return None;
    }
    let mut points = match label {
        Label::Frame | Label::OnAir => 2,
        Label::Maybe => 1,
        Label::None => 0,
    };
    points += beside.radio();
    points += u8::from(beside.size == Some(octets.len() as u64));
    match &decoded.frame {
        Some(Frame::JoinRequest(request)) => points += 2 * u8::from(request.surplus.is_empty()),
        Some(Frame::Data(data)) if !named => {
            let same = |stated: DevAddr| {
                stated == data.dev_addr || stated.0 == data.dev_addr.0.swap_bytes()
            };
            let other_port = |stated: u64| data.port().map(u64::from) != Some(stated);
            if beside.dev_addr.is_some_and(|stated| !same(stated))
                || beside.f_port.is_some_and(other_port)
                || beside.fcnt.is_some_and(|stated| stated & 0xFFFF != u64::from(data.fcnt))
            {
                return None;
            }
            points += u8::from(beside.dev_addr.is_some());
        }
        _ => {}
    }
    (points >= 2).then_some(decoded)
}

/// Returns whether a line that is octets alone may be a frame in a log of other things.
pub(in crate::intake) fn is_lawful_alone(decoded: &Decoded) -> bool {
    (MIN..=MAX).contains(&decoded.octets.len()) && is_lawful(decoded, false)
}

/// Returns whether octets begin as a frame does, and are more than an EUI: they may be a damaged one.
pub(in crate::intake) fn begins_well(decoded: &Decoded) -> bool {
    (EUI + 1..=MAX).contains(&decoded.octets.len())
        && decoded.mhdr().is_some_and(|mhdr| {
            mhdr.ftype() != FType::Proprietary && mhdr.major() == 0 && mhdr.rfu() == 0
        })
}

/// `named`: whoever says PHYPayload may show a frame with a fault.
fn is_lawful(decoded: &Decoded, named: bool) -> bool {
    let Some(mhdr) = decoded.mhdr().filter(|_| decoded.stopped.is_none()) else { return false };
    if named {
        return mhdr.ftype() != FType::Proprietary;
    }
    let len = decoded.octets.len();
    let length = match mhdr.ftype() {
        FType::JoinRequest => len == 23,
        FType::JoinAccept => len == 17 || len == 33,
        FType::RejoinRequest => len == 19 || len == 24,
        FType::Proprietary => false,
        _ => true,
    };
    length && mhdr.major() == 0 && mhdr.rfu() == 0 && decoded.faults.is_empty()
}

/// MHDR 1, FHDR 7, MIC 4 octets.
const MIN: usize = 12;
/// Octets of an EUI.
const EUI: usize = 8;
/// PHYPayload on the air.
const MAX: usize = 255;

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    const DATA: &str = "40dabb0102800200022721029daeaf9ee9";
    const REQUEST: &str = "0001000bfeff0000023c2b1afeff00000202012e269cf5";

    fn taken(frame: &str, label: Label, beside: &[(Meaning, serde_json::Value)]) -> bool {
        let mut facts = Facts::default();
        for (meaning, value) in beside {
            facts.take(*meaning, value);
        }
        super::frame(&hex::decode(frame).unwrap(), label, &facts).is_some()
    }

    #[test]
    fn two_points_are_wanted() {
        let rssi = || (Meaning::Rssi, json!(-80));
        let freq = || (Meaning::Frequency, json!(868.1));
        assert!(taken(DATA, Label::Frame, &[]));
        assert!(taken(DATA, Label::OnAir, &[]));
        assert!(!taken(DATA, Label::Maybe, &[]));
        assert!(taken(DATA, Label::Maybe, &[rssi()]));
        assert!(!taken(DATA, Label::None, &[rssi()]));
        assert!(taken(DATA, Label::None, &[rssi(), freq()]));
        assert!(taken(REQUEST, Label::Maybe, &[]));
        assert!(taken(REQUEST, Label::None, &[]));
        assert!(taken(DATA, Label::Maybe, &[(Meaning::DevAddr, json!("0201BBDA"))]));
        assert!(taken(DATA, Label::Maybe, &[(Meaning::Size, json!(17))]));
    }

    #[test]
    fn what_stands_beside_it_may_refute_it() {
        let rssi = || (Meaning::Rssi, json!(-80));
        for other in [
            (Meaning::DevAddr, json!("0201BBDB")),
            (Meaning::FPort, json!(3)),
            (Meaning::FCnt, json!(7)),
        ] {
            assert!(!taken(DATA, Label::Maybe, &[rssi(), other.clone()]), "{other:?}");
        }
        for same in [(Meaning::FPort, json!(2)), (Meaning::FCnt, json!(65_538))] {
            assert!(taken(DATA, Label::Maybe, &[rssi(), same]));
        }
    }

    #[test]
    fn no_random_octets_of_a_wrong_form_are_taken() {
        let radio = [(Meaning::Rssi, json!(-80)), (Meaning::Frequency, json!(868.1))];
        for frame in [
            "",
            "40",
            "40dabb0102800200022721",                       // cut
            "41dabb0102800200022721029daeaf9ee9",           // Major 1
            "44dabb0102800200022721029daeaf9ee9",           // RFU
            "e0dabb0102800200022721029daeaf9ee9",           // proprietary
            "20dabb0102800200022721029daeaf9ee9aa",         // no accept has 18 octets
            "0001000bfeff0000023c2b1afeff00000202012e269c", // a request of 22
            "2b7e151628aed2a6abf7158809cf4f3c",             // a well-known key
        ] {
            assert!(!taken(frame, Label::None, &radio), "{frame}");
        }
    }
}
