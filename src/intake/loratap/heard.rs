//! A frame in LoRaTap as what a gateway would have said of it.

use jiff::Timestamp;

use super::{LoraTap, PUBLIC};
use crate::{
    frame::{Decoded, Direction, decode},
    intake::{
        envelope::Envelope,
        event::{
            CodeRate, Crc, Event, Heard, HowFound, Ordered, Outcome, Position, What, When, Witness,
        },
        note::{Note, Remark, Within},
    },
    radio::{Airtime, LowDataRate, Modulation, fsk_time_on_air},
};

/// Returns what a gateway would have said of a frame: that it heard what goes up; of what goes down, the order to
/// send it, and that it was heard on the air.
///
/// A frame tagged as scheduled was not heard, and has no outcome.
pub(in crate::intake) fn received(
    tap: &LoraTap,
    octets: &[u8],
    place: Position,
    time: Option<Timestamp>,
) -> Vec<Event> {
    let (gateway, found) = (tap.gateway, HowFound::OnAir);
    let envelope = Envelope { time, gateway, found, ..Envelope::at(place) };
    let frame = decode(octets);
    let (what, within) = match direction(tap, &frame) {
        Direction::Uplink => (What::Heard(Box::new(heard(tap, frame))), Within::Uplink(0)),
        Direction::Downlink => (What::Ordered(Box::new(ordered(tap, frame))), Within::Downlink),
    };
    let sent = matches!(what, What::Ordered(_)) && tap.tag != LoraTap::SCHEDULED;
    let mut out = vec![Event { notes: notes(tap, within), ..envelope.event(what) }];
    out.extend(sent.then(|| {
        let outcome = Outcome { by: Witness::Air, ..Outcome::default() };
        envelope.event(What::Outcome(Box::new(outcome)))
    }));
    out
}

/// The MHDR says which way a frame goes; where it may be either, the polarity does.
fn direction(tap: &LoraTap, frame: &Decoded) -> Direction {
    let stated = frame.mhdr().and_then(|mhdr| mhdr.ftype().direction());
    // Octets that are not those that were sent are nobody's downlink.
    match stated {
        _ if tap.crc == Crc::Bad => Direction::Uplink,
        Some(direction) => direction,
        None if tap.inverted == Some(true) => Direction::Downlink,
        None => Direction::Uplink,
    }
}

fn notes(tap: &LoraTap, within: Within) -> Vec<Note> {
    let other = tap
        .sync_word
        .filter(|word| *word != PUBLIC && matches!(tap.modulation, Some(Modulation::Lora { .. })));
    let remark =
        other.map(|word| Note { within, member: "sync_word", remark: Remark::SyncWord(word) });
    remark.into_iter().collect()
}

fn heard(tap: &LoraTap, frame: Decoded) -> Heard {
    Heard {
        tmst: tap.counter,
        freq_hz: tap.freq_hz,
        modulation: tap.modulation,
        coding_rate: tap.coding_rate.map(CodeRate::Lora),
        chan: tap.chan.map(u16::from),
        rssi: tap.rssi,
        snr: tap.snr,
        crc: tap.crc,
        ..Heard::of(frame)
    }
}

fn ordered(tap: &LoraTap, frame: Decoded) -> Ordered {
    let scheduled = tap.tag == LoraTap::SCHEDULED;
    let begins = if scheduled { tap.counter } else { began(tap, frame.octets.len()) };
    Ordered {
        when: begins.map_or(When::Unsaid, When::Counter),
        freq_hz: tap.freq_hz,
        modulation: tap.modulation,
        coding_rate: tap.coding_rate.map(CodeRate::Lora),
        inverted: tap.inverted,
        no_crc: match tap.crc {
            Crc::None => Some(true),
            Crc::Unknown => None,
            Crc::Ok | Crc::Bad => Some(false),
        },
        no_header: tap.inverted.map(|_| tap.implicit_header),
        rf_chain: tap.gateway.map(|_| u16::from(tap.rf_chain)),
        ..Ordered::of(frame)
    }
}

/// Returns the counter when a frame that was heard began: a receiver notes it when the frame has ended.
fn began(tap: &LoraTap, octets: usize) -> Option<u32> {
    let on_air = match tap.modulation? {
        Modulation::Lora { sf, bw_khz } => Airtime {
            explicit_header: !tap.implicit_header,
            crc: matches!(tap.crc, Crc::Ok | Crc::Bad),
            coding_rate: tap.coding_rate.unwrap_or(crate::radio::CodingRate::Cr45),
            low_data_rate: LowDataRate::Auto,
            ..Airtime::lorawan(Direction::Downlink)
        }
        .lora(sf, bw_khz, octets)?,
        Modulation::Fsk { bit_rate } => fsk_time_on_air(bit_rate, octets)?,
        Modulation::LrFhss { .. } => return None,
    };
    Some(tap.counter?.wrapping_sub(u32::try_from(on_air.as_micros()).ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tap() -> LoraTap {
        LoraTap {
            modulation: Some(Modulation::Lora { sf: 9, bw_khz: 125 }),
            counter: Some(5_246_784),
            inverted: Some(true),
            crc: Crc::None,
            ..LoraTap::default()
        }
    }

    fn read(tap: &LoraTap, octets: &[u8]) -> Vec<Event> {
        received(tap, octets, Position::packet(7), None)
    }

    #[test]
    fn a_downlink_heard_began_a_time_on_air_before_its_counter_and_was_sent() {
        // A Join-Accept of 33 octets at SF9: 246.784 ms, the reference's table of airtimes.
        let mut accept = [0; 33];
        accept[0] = 0x20;
        let events = read(&tap(), &accept);
        let down = events[0].ordered().unwrap();
        assert_eq!(events[0].place, Position::packet(7));
        assert_eq!(down.when, When::Counter(5_000_000));
        assert_eq!((down.inverted, down.no_crc), (Some(true), Some(true)));
        assert_eq!(events[1].outcome().unwrap().by, Witness::Air);
    }

    #[test]
    fn a_downlink_that_was_only_scheduled_begins_at_its_counter_and_has_no_outcome() {
        let tap = LoraTap { tag: LoraTap::SCHEDULED, ..tap() };
        let events = read(&tap, &[0x20; 33]);
        assert_eq!(events[0].ordered().unwrap().when, When::Counter(5_246_784));
        assert_eq!(events.len(), 1);
    }

    #[test]
    fn the_mhdr_says_the_way_and_where_it_cannot_the_polarity_does() {
        for (mhdr, inverted, heard) in [
            (0x00, true, true),
            (0x20, false, false),
            (0x40, false, true),
            (0x60, true, false),
            (0xE0, false, true),
            (0xE0, true, false),
        ] {
            let tap = LoraTap { inverted: Some(inverted), ..tap() };
            assert_eq!(read(&tap, &[mhdr; 20])[0].heard().is_some(), heard, "{mhdr:02x}");
        }
        let bad = LoraTap { crc: Crc::Bad, ..tap() };
        assert_eq!(read(&bad, &[0x20; 33])[0].heard().unwrap().crc, Crc::Bad);
        assert!(read(&tap(), &[])[0].ordered().is_some());
    }

    #[test]
    fn a_sync_word_of_private_networks_is_remarked_on() {
        let notes = |word| {
            let tap = LoraTap { sync_word: word, inverted: Some(false), ..tap() };
            let events = read(&tap, &[0x40; 20]);
            events[0].notes.iter().map(ToString::to_string).collect::<Vec<_>>()
        };
        assert_eq!(notes(Some(0x34)), Vec::<String>::new());
        assert_eq!(notes(None), Vec::<String>::new());
        assert_eq!(notes(Some(0x12)).len(), 1);
    }
}
