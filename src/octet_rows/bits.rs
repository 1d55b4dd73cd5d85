//! Octets that are made of bits, one row a group of bits.

use super::{Row, Shown};
use crate::frame::{Direction, DlSettings, FCtrl, FType, Mhdr, RxDelay};

/// Draws bits `hi..lo` of a number of `width` bits where they stand: `..10 0...`, 16 a line.
pub(super) fn draw(width: u8, (hi, lo): (u8, u8), whole: u64) -> Shown {
    draw_those(width, |bit| (lo..=hi).contains(&bit), whole)
}

/// Draws some bits of a number of `width` bits, and dots for the others.
pub(super) fn draw_those(width: u8, those: impl Fn(u8) -> bool, whole: u64) -> Shown {
    let mut lines = Vec::new();
    let mut line = String::new();
    for bit in (0..width).rev() {
        line.push(match those(bit) {
            true if whole >> bit & 1 == 1 => '1',
            true => '0',
            false => '.',
        });
        if bit % 16 == 0 {
            lines.push(std::mem::take(&mut line));
        } else if bit % 4 == 0 {
            line.push(' ');
        }
    }
    Shown::Bits(lines)
}

/// One group of bits of an octet.
fn group(octet: u8, (hi, lo): (u8, u8), name: &str, note: impl Into<String>) -> Row {
    let value = (octet >> lo) & (0xFF >> (7 - (hi - lo)));
    Row {
        shown: draw(8, (hi, lo), octet.into()),
        name: name.to_owned(),
        value: value.to_string(),
        note: note.into(),
        ..Row::default()
    }
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
        _ => "octets of FOpts",
    };
    vec![
        group(octet, (7, 7), "ADR", adr),
        group(octet, (6, 6), sixth.0, sixth.1),
        group(octet, (5, 5), "ACK", ack),
        group(octet, (4, 4), fourth.0, fourth.1),
        group(octet, (3, 0), "FOptsLen", options),
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
        group(octet, (6, 4), "RX1DROffset", "from uplink rate to RX1 rate"),
        group(octet, (3, 0), "RX2DataRate", rx2),
    ]
}

pub(super) fn rx_delay(octet: u8) -> Vec<Row> {
    let note = match (octet & 0x0F, RxDelay(octet).seconds()) {
        (0, _) => "0 means 1 s".to_owned(),
        (_, seconds) => format!("{seconds} s"),
    };
    vec![group(octet, (7, 4), "RFU", RFU), group(octet, (3, 0), "Del", note)]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bits_are_drawn_where_they_stand() {
        assert_eq!(draw(8, (6, 4), 0b0101_0000), Shown::Bits(vec![".101 ....".into()]));
        let two = draw(32, (17, 14), 0x0002_4000);
        let lines = [".... .... .... ..10", "01.. .... .... ...."];
        assert_eq!(two, Shown::Bits(lines.map(str::to_owned).to_vec()));
    }

    #[test]
    fn the_bits_of_an_octet_have_each_one_row() {
        for direction in [None, Some(Direction::Uplink), Some(Direction::Downlink)] {
            for octet in 0..=u8::MAX {
                for rows in
                    [mhdr(octet), fctrl(octet, direction), dl_settings(octet), rx_delay(octet)]
                {
                    let mut joined = 0u64;
                    for row in rows {
                        let Shown::Bits(lines) = row.shown else { panic!() };
                        let digits = lines.concat().replace(' ', "");
                        assert_eq!(digits.len(), 8);
                        let bits = u64::from_str_radix(&digits.replace('.', "0"), 2).unwrap();
                        let shift = 7 - digits.rfind(['0', '1']).unwrap();
                        assert_eq!((bits >> shift).to_string(), row.value);
                        joined |= bits;
                    }
                    assert_eq!(joined, u64::from(octet));
                }
            }
        }
    }
}
