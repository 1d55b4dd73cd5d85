//! What an EUI-64 tells about itself.
//!
//! Bit 1 of the first printed octet says that the number was not assigned by the registry of
//! manufacturers, bit 0 that it means a group. The rest is a matter of marks that people leave: an
//! EUI-48 with FF-FE or FF-FF put in its middle, a number made up at the keyboard.

use alloc::{string::String, vec, vec::Vec};
use core::fmt;

use super::{Eui64, dashed};

/// Something an EUI-64 tells about itself.
#[derive(Clone, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum EuiRemark {
    /// Every octet is 0.
    AllZero,
    /// Every octet is FF.
    AllOnes,
    /// The local bit is 0: the first octets are a manufacturer's, by the registry.
    Universal,
    /// The local bit is 1: the number is somebody's own choice.
    Local,
    /// The group bit is 1: no single device may have this number.
    Group,
    /// Made from an EUI-48 with two octets in its middle.
    FromEui48 {
        /// The EUI-48, most significant octet first.
        eui48: [u8; 6],
        /// The two octets: FF FE or FF FF.
        middle: [u8; 2],
    },
    /// One octet eight times.
    OneOctet(u8),
    /// Each octet is the one before it plus the same step, as in a number made up at the keyboard.
    Counting {
        /// The step.
        step: u8,
    },
    /// The same four octets twice.
    TwoHalves,
    /// Five octets or more in a row are printable: perhaps a text was taken for a number.
    Text(String),
}

impl Eui64 {
    /// Returns everything this EUI tells about itself.
    pub fn remarks(self) -> Vec<EuiRemark> {
        let octets = self.octets();
        let [first, ..] = octets;
        if octets == [0; 8] {
            return vec![EuiRemark::AllZero];
        }
        if octets == [0xFF; 8] {
            return vec![EuiRemark::AllOnes];
        }
        let mut remarks =
            vec![if first & 0x02 == 0 { EuiRemark::Universal } else { EuiRemark::Local }];
        if first & 0x01 != 0 {
            remarks.push(EuiRemark::Group);
        }
        let [head @ .., fourth, fifth, x, y, z] = octets;
        if fourth == 0xFF && matches!(fifth, 0xFE | 0xFF) {
            let mut eui48 = [0, 0, 0, x, y, z];
            eui48.iter_mut().zip(head).for_each(|(to, octet)| *to = octet);
            remarks.push(EuiRemark::FromEui48 { eui48, middle: [fourth, fifth] });
        }
        let text = || printable(&octets).map(EuiRemark::Text);
        remarks.extend(pattern(octets).or_else(text));
        remarks
    }

    /// Returns the EUI-64 made from an EUI-48 (a MAC address): FF-FE in its middle.
    ///
    /// Nothing else changes; the form that turns the local bit over is for IPv6 addresses.
    pub const fn from_eui48([first, second, third, rest @ ..]: [u8; 6]) -> Self {
        let [x, y, z] = rest;
        Self::new([first, second, third, 0xFF, 0xFE, x, y, z])
    }
}

fn pattern([first, rest @ ..]: [u8; 8]) -> Option<EuiRemark> {
    let [second, ..] = rest;
    let step = second.wrapping_sub(first);
    let counts = rest
        .iter()
        .try_fold(first, |before, next| (next.wrapping_sub(before) == step).then_some(*next))
        .is_some();
    let [a, b, c, tail @ ..] = rest;
    match (counts, step) {
        (true, 0) => Some(EuiRemark::OneOctet(first)),
        (true, _) => Some(EuiRemark::Counting { step }),
        (false, _) => (tail == [first, a, b, c]).then_some(EuiRemark::TwoHalves),
    }
}

/// Returns the longest run of printable ASCII, if it is at least four octets long.
fn printable(octets: &[u8]) -> Option<String> {
    octets
        .split(|o| !(o.is_ascii_graphic() || *o == b' '))
        .max_by_key(|run| run.len())
        .filter(|run| run.len() >= LEAST_TEXT)
        .map(|run| String::from_utf8_lossy(run).into_owned())
}

impl fmt::Display for EuiRemark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AllZero => f.write_str(
                "all zeros: a value that was never set, or a JoinEUI that nobody asks for",
            ),
            Self::AllOnes => f.write_str("all ones: memory that was never written"),
            Self::Universal => {
                f.write_str("local bit 0: the first bytes are a manufacturer's, by the registry")
            }
            Self::Local => f.write_str("local bit 1: somebody's own choice, in no registry"),
            Self::Group => f.write_str("group bit 1: no single device may have this number"),
            Self::FromEui48 { eui48, middle: [m, n] } => {
                let eui48 = dashed(eui48);
                write!(f, "made from the EUI-48 {eui48}, with {m:02X}-{n:02X} in its middle")
            }
            Self::OneOctet(octet) => write!(f, "{octet:02X} eight times: a sample, no real number"),
            Self::Counting { .. } => f.write_str("it counts: a sample, no real number"),
            Self::TwoHalves => f.write_str("the same four bytes twice: perhaps a sample"),
            Self::Text(text) => {
                write!(f, "its bytes spell \"{text}\": perhaps a text was taken for a number")
            }
        }
    }
}

/// Fewer printable octets than this in a row are too likely an accident.
const LEAST_TEXT: usize = 5;

#[cfg(test)]
mod tests {
    use super::*;

    fn remarks(text: &str) -> Vec<EuiRemark> {
        text.parse::<Eui64>().unwrap().remarks()
    }

    #[test]
    fn an_eui_made_from_a_mac_address_shows_it() {
        let eui = Eui64::from_eui48([0x02, 0, 0, 0x1A, 0x2B, 0x3C]);
        assert_eq!(eui.hex(), "020000fffe1a2b3c");
        assert_eq!(
            eui.remarks(),
            [
                EuiRemark::Local,
                EuiRemark::FromEui48 { eui48: [2, 0, 0, 0x1A, 0x2B, 0x3C], middle: [0xFF, 0xFE] }
            ]
        );
        assert!(remarks("020000ffff1a2b3c")[1].to_string().ends_with("with FF-FF in its middle"));
        // backwards it is nothing
        assert_eq!(eui.bytes_reversed().remarks(), [EuiRemark::Universal]);
    }

    #[test]
    fn samples_are_known_for_samples() {
        assert_eq!(remarks("0000000000000000"), [EuiRemark::AllZero]);
        assert_eq!(remarks("FFFFFFFFFFFFFFFF"), [EuiRemark::AllOnes]);
        assert_eq!(remarks("1212121212121212").last(), Some(&EuiRemark::OneOctet(0x12)));
        assert_eq!(remarks("0102030405060708").last(), Some(&EuiRemark::Counting { step: 1 }));
        assert_eq!(remarks("0123456789ABCDEF").last(), Some(&EuiRemark::Counting { step: 0x22 }));
        assert_eq!(remarks("8877665544332211").last(), Some(&EuiRemark::Counting { step: 0xEF }));
        assert_eq!(remarks("A00000B1A00000B1").last(), Some(&EuiRemark::TwoHalves));
        assert_eq!(remarks("0030303132333400").last(), Some(&EuiRemark::Text("001234".into())));
        assert_eq!(remarks("0102030405060709"), [EuiRemark::Universal, EuiRemark::Group]);
    }
}
