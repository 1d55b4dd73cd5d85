//! A gateway: a counter of 32 bits, a way to the server, and one transmitter.

use super::{
    air::{OnAir, microseconds},
    tape::{Body, Rxpk, StatBody, Tape, Txpk, TxpkAck, base64, modu, report_clock},
};
use crate::{
    frame::Direction,
    id::Eui64,
    intake::{DatagramKind, TxError, When},
    radio::{Modulation, demodulation_floor},
    region::Megahertz,
};

/// The older forwarder refuses as late what comes less than this before its slot.
const HEADROOM_US: u64 = 2_500;
/// It refuses as early what lies further ahead than this.
const EARLY_US: u64 = 128_000_000;

/// A gateway of the world.
#[derive(Clone, Debug)]
#[expect(clippy::struct_excessive_bools, reason = "each is one thing that it does or does not")]
pub(super) struct Gateway {
    pub(super) eui: Eui64,
    pub(super) name: &'static str,
    pub(super) sub_band: Option<u8>,
    /// What it receives; all where it is empty.
    pub(super) listens: Vec<u32>,
    /// What its counter says at the start of the world.
    pub(super) counts_from: u64,
    /// When it starts anew, its counter with it.
    pub(super) restarts_at: Option<u64>,
    /// From the end of a frame to its datagram.
    pub(super) latency_us: u64,
    pub(super) highest_dbm: u8,
    /// What it can send.
    pub(super) sends_hz: (u32, u32),
    pub(super) has_gps: bool,
    pub(super) minds_the_wrap: bool,
    /// Whether what the server sends passes.
    pub(super) hears_server: bool,
    /// Whether acknowledgements of uplinks are on the tape.
    pub(super) shows_acks: bool,
    /// From the gateway to where the capture is taken.
    pub(super) way_us: u64,
    pub(super) busy: Vec<(u64, u64)>,
    pub(super) token: u16,
    pub(super) received: u32,
    pub(super) datagrams_down: u32,
    pub(super) sent: u32,
}

/// How well a gateway hears a node.
#[derive(Clone, Copy, Debug)]
pub(super) struct Link {
    pub(super) rssi: i32,
    /// Tenths of a decibel above the demodulation floor.
    pub(super) margin: i32,
}

/// A frame as one gateway heard it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heard {
    /// Which gateway.
    pub(super) by: usize,
    pub(super) tmst: u32,
    /// When its datagram left the gateway.
    pub(super) at: u64,
    /// When the frame ended.
    pub(super) ends: u64,
    pub(super) hz: u32,
    pub(super) modulation: Modulation,
    pub(super) margin: i32,
}

/// A frame that the server hands to a gateway.
#[derive(Clone, Debug)]
pub(super) struct Order {
    pub(super) octets: Vec<u8>,
    pub(super) when: When,
    /// The time of the world that `when` means.
    pub(super) slot: u64,
    pub(super) hz: u32,
    pub(super) modulation: Modulation,
    pub(super) power_dbm: u8,
    pub(super) inverted: bool,
    /// When the datagram reaches the gateway.
    pub(super) arrives: u64,
}

impl Gateway {
    /// Returns what the counter says at a time of the world.
    pub(super) fn counter(&self, at: u64) -> u32 {
        let counted = match self.restarts_at {
            Some(again) if at >= again => at - again,
            _ => self.counts_from + at,
        };
        u32::try_from(counted & 0xFFFF_FFFF).unwrap_or_default()
    }

    /// When the server's acknowledgement of a datagram passes where the capture is taken: after the way
    /// there and back at the gateway, soon where the way ends.
    const fn answered(&self, left: u64) -> u64 {
        if self.way_us == 0 { left + 31_000 } else { left + self.way_us + 400 }
    }

    fn next_token(&mut self) -> u16 {
        self.token = self.token.wrapping_mul(25_173).wrapping_add(13_849);
        self.token
    }

    /// Reports a frame, `stat` 1 for a good CRC and -1 for a bad one.
    pub(super) fn report(
        &mut self,
        tape: &mut Tape,
        by: usize,
        air: &OnAir,
        link: Link,
        reception: Reception,
    ) -> Heard {
        let Reception { hz, stat, skew_us, delay_us } = reception;
        let at = air.ends + self.latency_us + delay_us;
        let tmst = self.counter(air.ends).wrapping_add(skew_us);
        let floor = match air.modulation {
            Modulation::Lora { sf, .. } => demodulation_floor(sf).unwrap_or_default(),
            Modulation::Fsk { .. } | Modulation::LrFhss { .. } => 0.0,
        };
        let token = self.next_token();
        let rxpk = Rxpk {
            tmst,
            freq: Megahertz(hz).get(),
            stat,
            modu: modu(air.modulation),
            datr: air.modulation.to_string(),
            codr: "4/5",
            rssi: link.rssi,
            lsnr: (f64::from(floor) * 10.0 + f64::from(link.margin)).round() / 10.0,
            size: air.octets.len(),
            data: base64(&air.octets),
        };
        tape.push(
            at + self.way_us,
            self.eui,
            DatagramKind::PushData,
            token,
            Some(Body::Rxpk(vec![rxpk])),
        );
        if self.shows_acks {
            tape.push(self.answered(at), self.eui, DatagramKind::PushAck, token, None);
        }
        self.received += 1;
        let modulation = air.modulation;
        Heard { by, tmst, at, ends: air.ends, hz, modulation, margin: link.margin }
    }

    /// Takes an order of the server; returns whether it goes on the air.
    pub(super) fn take(&mut self, tape: &mut Tape, order: &Order) -> bool {
        if !self.hears_server {
            return false;
        }
        let token = self.next_token();
        let (tmst, tmms) = match order.when {
            When::Counter(tmst) => (Some(tmst), None),
            When::Gps(tmms) => (None, Some(tmms)),
            When::Immediate | When::Unsaid => (None, None),
        };
        let txpk = Txpk {
            imme: order.when == When::Immediate,
            tmst,
            tmms,
            freq: Megahertz(order.hz).get(),
            powe: order.power_dbm,
            modu: modu(order.modulation),
            datr: order.modulation.to_string(),
            codr: "4/5",
            ipol: order.inverted,
            size: order.octets.len(),
            data: base64(&order.octets),
            ncrc: true,
        };
        let left = order.arrives.saturating_sub(self.way_us);
        tape.push(left, self.eui, DatagramKind::PullResp, token, Some(Body::Txpk(txpk)));
        self.datagrams_down += 1;
        let word = self.judge(order);
        let ack = TxpkAck { error: word.name() };
        let said = order.arrives + 1_700 + self.way_us;
        tape.push(said, self.eui, DatagramKind::TxAck, token, Some(Body::TxpkAck(ack)));
        if word != TxError::None {
            return false;
        }
        self.sent += 1;
        let air = microseconds(order.modulation, order.octets.len(), Direction::Downlink);
        self.busy.push((order.slot, order.slot + air));
        true
    }

    /// What the forwarder says to an order.
    fn judge(&self, order: &Order) -> TxError {
        let now = order.arrives;
        if let When::Counter(slot) = order.when {
            let counter = self.counter(now);
            // The usual forwarder subtracts without a sign.
            let ahead = u64::from(slot.wrapping_sub(counter));
            if !self.minds_the_wrap && slot < counter {
                return TxError::TooLate;
            }
            if ahead > EARLY_US {
                return TxError::TooEarly;
            }
            if ahead < HEADROOM_US {
                return TxError::TooLate;
            }
        }
        if matches!(order.when, When::Gps(_)) && !self.has_gps {
            return TxError::GpsUnlocked;
        }
        let air = microseconds(order.modulation, order.octets.len(), Direction::Downlink);
        if self.busy.iter().any(|(from, to)| order.slot < *to && *from < order.slot + air) {
            return TxError::CollisionPacket;
        }
        let (low, high) = self.sends_hz;
        if !(low..=high).contains(&order.hz) {
            return TxError::TxFreq;
        }
        if order.power_dbm > self.highest_dbm { TxError::TxPower } else { TxError::None }
    }

    /// Asks for downlinks, as gateways do every few seconds.
    pub(super) fn keep_alive(&mut self, tape: &mut Tape, at: u64) {
        let token = self.next_token();
        tape.push(at + self.way_us, self.eui, DatagramKind::PullData, token, None);
        if self.hears_server {
            tape.push(self.answered(at), self.eui, DatagramKind::PullAck, token, None);
        }
    }

    /// Reports about itself.
    pub(super) fn report_itself(&mut self, tape: &mut Tape, at: u64) {
        let stat = StatBody {
            time: report_clock(at),
            rxnb: self.received,
            rxok: self.received,
            rxfw: self.received,
            ackr: 100.0,
            dwnb: self.datagrams_down,
            txnb: self.sent,
        };
        let token = self.next_token();
        tape.push(
            at + self.way_us,
            self.eui,
            DatagramKind::PushData,
            token,
            Some(Body::Stat(stat)),
        );
        if self.shows_acks {
            tape.push(self.answered(at), self.eui, DatagramKind::PushAck, token, None);
        }
    }
}

/// How a gateway comes by a frame, and what it says about it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reception {
    /// The frequency that it reports.
    pub(super) hz: u32,
    /// What it says of the CRC.
    pub(super) stat: i8,
    /// By how much its counter is off for this one.
    pub(super) skew_us: u32,
    /// How long its datagram is under way beyond what is usual.
    pub(super) delay_us: u64,
}
