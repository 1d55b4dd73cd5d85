//! Octets that are made of bits, one row a group of bits.

use super::{Row, Shown};
use crate::frame::{Direction, DlSettings, FCtrl, FType, Mhdr, RxDelay};

/// Neighbouring bits of a number, named as the standard names them: `bits 7-5`, and `000`.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Bits {
    /// The most significant of them.
    pub hi: u8,
    /// The least significant of them.
    pub lo: u8,
    /// The number that they are part of.
    pub whole: u64,
}

impl Bits {
    /// Which bits these are: `bits 7-5`, `bit 4`.
    pub fn place(self) -> String {
        let Self { hi, lo, .. } = self;
        if hi == lo { format!("bit {hi}") } else { format!("bits {hi}-{lo}") }
    }

    /// Their value: `000`.
    pub fn digits(self) -> String {
        let bit = |at| if self.whole.checked_shr(at).unwrap_or(0) & 1 == 1 { '1' } else { '0' };
        (self.lo..=self.hi).rev().map(|at| bit(u32::from(at))).collect()
    }
}

/// Returns bits `hi` to `lo` of a number, in parts that each fit into one octet.
pub(super) fn of((hi, lo): (u8, u8), whole: u64) -> Shown {
    if hi - lo < 8 {
        return Shown::Bits(vec![Bits { hi, lo, whole }]);
    }
    let octets = (lo / 8..=hi / 8).rev();
    Shown::Bits(
        octets
            .map(|octet| Bits { hi: hi.min(8 * octet + 7), lo: lo.max(8 * octet), whole })
            .collect(),
    )
}

/// Returns those bits of a number of `width` bits that are asked for, neighbours together.
pub(super) fn those(width: u8, asked: impl Fn(u8) -> bool, whole: u64) -> Vec<Bits> {
    let mut runs: Vec<Bits> = Vec::new();
    for bit in (0..width).rev().filter(|&bit| asked(bit)) {
        match runs.last_mut() {
            Some(run) if run.lo == bit + 1 => run.lo = bit,
            _ => runs.push(Bits { hi: bit, lo: bit, whole }),
        }
    }
    runs
}

/// One group of bits of an octet whose note says it all.
fn group(octet: u8, bits: (u8, u8), name: &str, note: impl Into<String>) -> Row {
    let shown = of(bits, octet.into());
    Row { shown, name: name.to_owned(), note: note.into(), ..Row::default() }
}

/// One group of bits of an octet that is a number.
fn number(octet: u8, (hi, lo): (u8, u8), name: &str, note: impl Into<String>) -> Row {
    let value = (octet >> lo) & (0xFF >> (7 - (hi - lo)));
    Row { value: value.to_string(), ..group(octet, (hi, lo), name, note) }
}

const RFU: &str = "reserved: sent as 0";

pub(super) fn mhdr(octet: u8) -> Vec<Row> {
    let mhdr = Mhdr(octet);
    let ftype = match mhdr.ftype() {
        FType::RejoinRequest => "Rejoin-Request; reserved in 1.0.x".into(),
        ftype => ftype.title().to_owned(),
    };
    let major = if mhdr.major() == 0 { "LoRaWAN R1" } else { "reserved" };
    vec![
        group(octet, (7, 5), "FType", ftype),
        group(octet, (4, 2), "RFU", RFU),
        group(octet, (1, 0), "Major", major),
    ]
}

pub(super) fn fctrl(octet: u8, direction: Option<Direction>) -> Vec<Row> {
    let flags = FCtrl::new(octet);
    let say = |set: bool, yes: &'static str, no: &'static str| if set { yes } else { no };
    let down = direction == Some(Direction::Downlink);
    let sixth = if down {
        ("RFU", RFU)
    } else {
        ("ADRACKReq", say(flags.adr_ack_req(), "asks for a downlink", "asks for no downlink"))
    };
    let fourth = match (down, flags.f_pending()) {
        (true, true) => ("FPending", "more is waiting"),
        (true, false) => ("FPending", "nothing more is waiting"),
        (false, true) => ("ClassB", "opens ping slots"),
        (false, false) => ("ClassB", "opens no ping slots"),
    };
    let adr = say(flags.adr(), "adaptive data rate on", "adaptive data rate off");
    let ack = say(flags.ack(), "acknowledges a confirmed frame", "acknowledges nothing");
    let options = match octet & 0x0F {
        0 => "no FOpts follow",
        _ => "bytes of FOpts",
    };
    vec![
        group(octet, (7, 7), "ADR", adr),
        group(octet, (6, 6), sixth.0, sixth.1),
        group(octet, (5, 5), "ACK", ack),
        group(octet, (4, 4), fourth.0, fourth.1),
        number(octet, (3, 0), "FOptsLen", options),
    ]
}

pub(super) fn dl_settings(octet: u8) -> Vec<Row> {
    let settings = DlSettings(octet);
    let opt_neg = if settings.opt_neg() {
        "the server speaks 1.1; in 1.0.x reserved"
    } else {
        "the server speaks 1.0.x"
    };
    let rx2 = format!("RX2 at DR{}", settings.rx2_data_rate());
    vec![
        group(octet, (7, 7), "OptNeg", opt_neg),
        number(octet, (6, 4), "RX1DROffset", "from uplink rate to RX1 rate"),
        number(octet, (3, 0), "RX2DataRate", rx2),
    ]
}

pub(super) fn rx_delay(octet: u8) -> Vec<Row> {
    let note = match (octet & 0x0F, RxDelay(octet).seconds()) {
        (0, _) => "0 means 1 s".to_owned(),
        (_, seconds) => format!("{seconds} s"),
    };
    vec![group(octet, (7, 4), "RFU", RFU), number(octet, (3, 0), "Del", note)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn runs(shown: &Shown) -> &[Bits] {
        let Shown::Bits(runs) = shown else { panic!("no bits: {shown:?}") };
        runs
    }

    fn told(bits: &[Bits]) -> Vec<String> {
        bits.iter().map(|bits| format!("{} {}", bits.place(), bits.digits())).collect()
    }

    #[test]
    fn bits_are_named_by_their_places() {
        assert_eq!(told(runs(&of((6, 4), 0b0101_0000))), ["bits 6-4 101"]);
        assert_eq!(told(runs(&of((17, 14), 0x0002_4000))), ["bits 17-14 1001"]);
        assert_eq!(told(runs(&of((15, 0), 0xFF02))), ["bits 15-8 11111111", "bits 7-0 00000010"]);
        let scattered = those(8, |bit| [7, 3, 2].contains(&bit), 0b1000_0100);
        assert_eq!(told(&scattered), ["bit 7 1", "bits 3-2 01"]);
    }

    #[test]
    fn each_bit_of_an_octet_is_in_one_row() {
        for direction in [None, Some(Direction::Uplink), Some(Direction::Downlink)] {
            for octet in 0..=u8::MAX {
                for rows in
                    [mhdr(octet), fctrl(octet, direction), dl_settings(octet), rx_delay(octet)]
                {
                    let mut joined = String::new();
                    for row in rows {
                        let [bits] = runs(&row.shown) else { panic!("{row:?}") };
                        assert_eq!(usize::from(bits.hi), 7 - joined.len());
                        let digits = bits.digits();
                        let value = u8::from_str_radix(&digits, 2).unwrap().to_string();
                        assert!(row.value.is_empty() || row.value == value, "{row:?}");
                        joined.push_str(&digits);
                    }
                    assert_eq!(joined, format!("{octet:08b}"));
                }
            }
        }
    }
}
