//! A frame in LoRaTap as the datagrams that would have told of it.

use jiff::Timestamp;

use super::{LoraTap, PUBLIC};
use crate::{
    frame::{Direction, Mhdr},
    intake::{
        CodeRate, Crc, Datagram, Downlink, Found, Kind, Note, Place, Remark, TxAck, Unit, Uplink,
        When,
    },
    radio::{Airtime, LowDataRate, Modulation, fsk_time_on_air},
};

/// Returns what a gateway would have reported of a frame: a PUSH_DATA of what goes up; of what goes down a
/// PULL_RESP, and a TX_ACK that says that it was heard on the air.
///
/// A frame tagged as scheduled was not heard, and has no TX_ACK.
pub(in crate::intake) fn datagrams(
    tap: &LoraTap,
    octets: &[u8],
    line: u64,
    at: Option<Timestamp>,
) -> (Datagram, Option<Datagram>) {
    let datagram = |kind| Datagram {
        line,
        unit: Unit::Packet,
        at,
        gateway: tap.gateway,
        found: Found::OnAir,
        ..Datagram::new(kind)
    };
    if direction(tap, octets) == Direction::Uplink {
        let rxpk = vec![uplink(tap, octets)];
        let notes = notes(tap, Place::Uplink(0));
        return (Datagram { rxpk, notes, ..datagram(Kind::PushData) }, None);
    }
    let txpk = Some(downlink(tap, octets));
    let notes = notes(tap, Place::Downlink);
    let heard = TxAck { on_air: true, ..TxAck::default() };
    let ack = (tap.tag != LoraTap::SCHEDULED)
        .then(|| Datagram { ack: Some(heard), ..datagram(Kind::TxAck) });
    (Datagram { txpk, notes, ..datagram(Kind::PullResp) }, ack)
}

/// The MHDR says which way a frame goes; where it may be either, the polarity does.
fn direction(tap: &LoraTap, octets: &[u8]) -> Direction {
    let stated = octets.first().and_then(|mhdr| Mhdr(*mhdr).ftype().direction());
    // Octets that are not those that were sent are nobody's downlink.
    match stated {
        _ if tap.crc == Crc::Bad => Direction::Uplink,
        Some(direction) => direction,
        None if tap.inverted == Some(true) => Direction::Downlink,
        None => Direction::Uplink,
    }
}

fn notes(tap: &LoraTap, place: Place) -> Vec<Note> {
    let other = tap
        .sync_word
        .filter(|word| *word != PUBLIC && matches!(tap.modulation, Some(Modulation::Lora { .. })));
    let remark =
        other.map(|word| Note { place, member: "sync_word", remark: Remark::SyncWord(word) });
    remark.into_iter().collect()
}

fn uplink(tap: &LoraTap, octets: &[u8]) -> Uplink {
    Uplink {
        octets: octets.to_vec(),
        tmst: tap.counter,
        tmms: None,
        time: None,
        freq_hz: tap.freq_hz,
        modulation: tap.modulation,
        coding_rate: tap.coding_rate.map(CodeRate::Lora),
        chan: tap.chan.map(u16::from),
        rssi: tap.rssi,
        snr: tap.snr,
        crc: tap.crc,
        index: 0,
    }
}

fn downlink(tap: &LoraTap, octets: &[u8]) -> Downlink {
    let begins = if tap.tag == LoraTap::SCHEDULED { tap.counter } else { began(tap, octets.len()) };
    Downlink {
        octets: octets.to_vec(),
        when: begins.map_or(When::Unsaid, When::Counter),
        time: None,
        freq_hz: tap.freq_hz,
        modulation: tap.modulation,
        coding_rate: tap.coding_rate.map(CodeRate::Lora),
        power_dbm: None,
        inverted: tap.inverted,
        no_crc: match tap.crc {
            Crc::None => Some(true),
            Crc::Unknown => None,
            Crc::Ok | Crc::Bad => Some(false),
        },
        no_header: tap.inverted.map(|_| tap.implicit_header),
        preamble: None,
        rf_chain: tap.gateway.map(|_| u16::from(tap.rf_chain)),
        deviation_hz: None,
        ..Downlink::default()
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

    #[test]
    fn a_downlink_heard_began_a_time_on_air_before_its_counter_and_was_sent() {
        // A Join-Accept of 33 octets at SF9: 246.784 ms, the reference's table of airtimes.
        let mut accept = [0; 33];
        accept[0] = 0x20;
        let (resp, ack) = datagrams(&tap(), &accept, 7, None);
        let down = resp.txpk.unwrap();
        assert_eq!((resp.kind, resp.line, resp.unit), (Kind::PullResp, 7, Unit::Packet));
        assert_eq!(down.when, When::Counter(5_000_000));
        assert_eq!((down.inverted, down.no_crc), (Some(true), Some(true)));
        let ack = ack.unwrap();
        assert_eq!(ack.kind, Kind::TxAck);
        assert!(ack.ack.is_some_and(|ack| ack.on_air));
    }

    #[test]
    fn a_downlink_that_was_only_scheduled_begins_at_its_counter_and_is_not_acknowledged() {
        let tap = LoraTap { tag: LoraTap::SCHEDULED, ..tap() };
        let (resp, ack) = datagrams(&tap, &[0x20; 33], 1, None);
        assert_eq!(resp.txpk.unwrap().when, When::Counter(5_246_784));
        assert_eq!(ack, None);
    }

    #[test]
    fn the_mhdr_says_the_way_and_where_it_cannot_the_polarity_does() {
        for (mhdr, inverted, kind) in [
            (0x00, true, Kind::PushData),
            (0x20, false, Kind::PullResp),
            (0x40, false, Kind::PushData),
            (0x60, true, Kind::PullResp),
            (0xE0, false, Kind::PushData),
            (0xE0, true, Kind::PullResp),
        ] {
            let tap = LoraTap { inverted: Some(inverted), ..tap() };
            assert_eq!(datagrams(&tap, &[mhdr; 20], 1, None).0.kind, kind, "{mhdr:02x}");
        }
        let bad = LoraTap { crc: Crc::Bad, ..tap() };
        assert_eq!(datagrams(&bad, &[0x20; 33], 1, None).0.rxpk[0].crc, Crc::Bad);
        assert_eq!(datagrams(&tap(), &[], 1, None).0.kind, Kind::PullResp);
    }

    #[test]
    fn a_sync_word_of_private_networks_is_remarked_on() {
        let notes = |word| {
            let tap = LoraTap { sync_word: word, inverted: Some(false), ..tap() };
            let (datagram, _) = datagrams(&tap, &[0x40; 20], 1, None);
            datagram.notes.iter().map(ToString::to_string).collect::<Vec<_>>()
        };
        assert_eq!(notes(Some(0x34)), Vec::<String>::new());
        assert_eq!(notes(None), Vec::<String>::new());
        assert_eq!(notes(Some(0x12)).len(), 1);
    }
}
