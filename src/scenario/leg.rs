//! A gateway's leg: what gateways and their server say to each other for some minutes, in a capture.
//!
//! A [`Leg`] is right by default. What is wrong with it is declared on one of its [`Side`]s, and what follows from
//! that follows by itself: a gateway that gets no acknowledgement counts none, either.
//!
//! ```
//! use handfast::{region::Plan, scenario::{Acks, Leg}};
//!
//! let mut leg = Leg::new(7, Plan::by_name("EU868").ok_or("no such plan")?);
//! leg.sides[0].pull_acks = Acks::None;
//! let recording = leg.play();
//! assert!(recording.capture.contains("PULL_DATA") && !recording.capture.contains("PULL_ACK"));
//! # Ok::<(), &str>(())
//! ```

mod station;

use std::fmt::Write;

use super::{
    Recording,
    dice::Dice,
    life::orchard_eui,
    listens,
    tape::{Body, Rxpk, StatBody, Tape, Txpk, TxpkAck, base64, clock, modu},
};
use crate::{
    id::Eui64,
    intake::DatagramKind,
    radio::Modulation,
    region::{Megahertz, Plan},
};

pub use station::StationWays;

/// A gateway waits so long for an acknowledgement (common practice).
const WAITS_US: u64 = 100_000;
/// Microseconds of a second.
const SECOND: u64 = 1_000_000;

/// Some minutes of one or several gateways.
#[derive(Clone, Debug)]
pub struct Leg {
    /// Where chance comes from.
    pub seed: u64,
    /// The channel plan of the roster.
    pub plan: &'static Plan,
    /// The sub-band of the roster, where the plan has any.
    pub sub_band: Option<u8>,
    /// How long the capture is.
    pub minutes: u32,
    /// The gateways.
    pub sides: Vec<Side>,
}

/// One gateway of a leg.
#[derive(Clone, Debug)]
pub struct Side {
    /// Its name on the roster.
    pub name: &'static str,
    /// The EUI that it sends.
    pub eui: Eui64,
    /// The EUI on the roster; `None` where it is on none.
    pub registered: Option<Eui64>,
    /// Whether it sends anything at all.
    pub speaks: bool,
    /// Seconds between two PULL_DATA; `None` where it asks for no downlink.
    pub pulls_every_s: Option<u32>,
    /// Seconds between two reports; `None` where it makes none.
    pub reports_every_s: Option<u32>,
    /// What the server does with PUSH_DATA.
    pub push_acks: Acks,
    /// What the server does with PULL_DATA.
    pub pull_acks: Acks,
    /// Whether the recorder sees what the server sends.
    pub server_recorded: bool,
    /// From a datagram to its acknowledgement.
    pub round_trip_us: u64,
    /// What it hears.
    pub uplinks: Uplinks,
    /// What it is to send.
    pub downlinks: Downlinks,
    /// By how much the time in its reports is ahead.
    pub clock_ahead_us: i64,
    /// By how much that grows, in a million.
    pub clock_drift: i64,
    /// When its counter begins again.
    pub restarts_at_s: Option<u32>,
    /// Whether every other frame is of another radio.
    pub two_radios: bool,
    /// A gateway whose receptions it reports as its own: its place among the sides.
    pub echoes: Option<usize>,
    /// How it behaves in the station protocol; `None` where it speaks the UDP protocol.
    pub station: Option<StationWays>,
}

/// What a server does with a gateway's datagrams.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Acks {
    /// It acknowledges them.
    All,
    /// It acknowledges none.
    None,
    /// It acknowledges them for so many seconds.
    Until(u32),
    /// So many of a hundred get lost.
    Lost(u8),
    /// So many of a hundred are missing in the recording alone.
    Unrecorded(u8),
    /// It swaps the bytes of the token.
    Swapped,
}

/// What a gateway hears.
#[derive(Clone, Debug)]
pub struct Uplinks {
    /// Seconds between two frames, about; 0 where there is none.
    pub every_s: u32,
    /// From when on there is none.
    pub until_s: Option<u32>,
    /// Of how many nodes.
    pub nodes: u32,
    /// The channels, hertz.
    pub channels: Vec<u32>,
    /// By how much the frequencies that it reports are off.
    pub off_hz: i32,
    /// What it says of the CRC: 1, or -1 for a bad one.
    pub stat: i8,
    /// Whether it forwards them.
    pub forwarded: bool,
}

/// What a gateway is to send.
#[derive(Clone, Debug)]
pub struct Downlinks {
    /// Every so manieth frame that it hears is answered; 0 where none is.
    pub every: u32,
    /// The slot after the frame, seconds.
    pub delay_s: u32,
    /// Every so manieth of them is for a slot at 5 s; 0 where none is.
    pub later_every: u32,
    /// The time that the server takes besides the round trip.
    pub server_us: u64,
    /// The power, dBm.
    pub power_dbm: u8,
    /// Whether they are timed by GPS.
    pub by_gps: bool,
    /// Octets of each.
    pub octets: usize,
    /// The slowest data rate, and no other.
    pub slow: bool,
    /// What the gateway says; `None` where it says nothing.
    pub word: Option<&'static str>,
    /// Whether it counts them as sent, where it says nothing.
    pub sent: bool,
    /// How long after a PULL_DATA they still reach the gateway, seconds.
    pub reach_s: Option<u32>,
}

impl Leg {
    /// Returns a leg of one gateway on which all is well.
    pub fn new(seed: u64, plan: &'static Plan) -> Self {
        let sub_band = (plan.sub_bands > 1).then_some(2);
        let mut leg = Self { seed, plan, sub_band, minutes: 12, sides: Vec::new() };
        leg.add("barn");
        leg
    }

    /// Adds a gateway with which all is well, and returns it.
    pub fn add(&mut self, name: &'static str) -> &mut Side {
        let mut dice = Dice::of(self.seed, name);
        let eui = orchard_eui(0xEB_0000 + dice.below(0x1_0000));
        self.sides.push(Side {
            name,
            eui,
            registered: Some(eui),
            speaks: true,
            pulls_every_s: Some(10),
            reports_every_s: Some(30),
            push_acks: Acks::All,
            pull_acks: Acks::All,
            server_recorded: true,
            round_trip_us: 31_000,
            uplinks: Uplinks {
                every_s: 15,
                until_s: None,
                nodes: 12,
                channels: listens(self.plan, self.sub_band),
                off_hz: 0,
                stat: 1,
                forwarded: true,
            },
            downlinks: Downlinks {
                every: 6,
                delay_s: 1,
                later_every: 0,
                server_us: 200_000,
                power_dbm: 14,
                by_gps: false,
                octets: 17,
                slow: false,
                word: Some("NONE"),
                sent: true,
                reach_s: None,
            },
            clock_ahead_us: 0,
            clock_drift: 0,
            restarts_at_s: None,
            two_radios: false,
            echoes: None,
            station: None,
        });
        let last = self.sides.len() - 1;
        #[expect(clippy::indexing_slicing, reason = "one was just pushed")]
        &mut self.sides[last]
    }

    /// Returns a leg on which all is well, everything else by chance.
    pub fn by_chance(seed: u64, plan: &'static Plan) -> Self {
        let mut dice = Dice::of(seed, "leg");
        let mut leg = Self::new(seed, plan);
        leg.minutes = dice.pick(&[5, 12, 40]).unwrap_or(12);
        if dice.once_in(3) {
            leg.add("gate");
        }
        // Gateways of one orchard hear the same nodes: one that hears none beside one that does is not well.
        let every_s = dice.pick(&[0, 10, 40, 200]).unwrap_or(10);
        for side in &mut leg.sides {
            side.pulls_every_s = dice.pick(&[5, 10, 20, 60]);
            side.reports_every_s = dice.pick(&[Some(30), Some(60), None]).flatten();
            side.round_trip_us = u64::from(dice.between(8_000, 85_000));
            side.push_acks = dice
                .pick(&[Acks::All, Acks::All, Acks::Lost(1), Acks::Unrecorded(20)])
                .filter(|acks| side.reports_every_s.is_some() || *acks == Acks::All)
                .unwrap_or(Acks::All);
            side.uplinks.every_s = every_s;
            side.uplinks.nodes = dice.between(1, 20);
            side.downlinks.every = dice.pick(&[0, 3, 9]).unwrap_or(0);
            side.downlinks.delay_s = dice.pick(&[1, 2, 5]).unwrap_or(1);
            side.server_recorded = !dice.once_in(6);
            side.clock_ahead_us = i64::from(dice.below(1_500_000)) - 1_000_000;
        }
        leg
    }

    /// Plays the leg.
    pub fn play(&self) -> Recording {
        let mut tape = Tape::default();
        for (place, side) in self.sides.iter().enumerate().filter(|(_, side)| side.speaks) {
            if let Some(ways) = &side.station {
                station::play(self, side, *ways, &mut tape);
            } else {
                let part = side.echoes.unwrap_or(place);
                self.side(side, part, &mut tape);
            }
        }
        Recording { capture: tape.text(), roster: self.roster() }
    }

    fn roster(&self) -> String {
        let mut out = format!("region = \"{}\"\n", self.plan.name);
        if let Some(sub_band) = self.sub_band {
            let _ = writeln!(out, "sub-band = {sub_band}");
        }
        for side in &self.sides {
            if let Some(eui) = side.registered {
                let (eui, name) = (eui.hex(), side.name);
                let _ = write!(out, "\n[[gateway]]\neui = \"{eui}\"\nname = \"{name}\"\n");
            }
        }
        out
    }

    /// The gateway's minutes. Gateways that report one radio's receptions draw the same chance.
    fn side(&self, side: &Side, part: usize, tape: &mut Tape) {
        let ends = u64::from(self.minutes) * 60 * SECOND;
        let mut run = Run {
            plan: self.plan,
            side,
            dice: Dice::of(self.seed, &format!("radio {part}")),
            token: Dice::of(self.seed, &side.eui.hex()),
            ends,
            counted: Counted::default(),
            pulled: 0,
            answered: 0,
        };
        let mut pulls = side.pulls_every_s.map(|s| (SECOND / 3, u64::from(s) * SECOND));
        let mut reports =
            side.reports_every_s.map(|s| (u64::from(s) * SECOND, u64::from(s) * SECOND));
        let mut uplinks = run.next_uplink(2 * SECOND);
        let mut frames = 0;
        loop {
            let never = u64::MAX;
            let [pull, report, uplink] = [
                pulls.map_or(never, |(at, _)| at),
                reports.map_or(never, |(at, _)| at),
                uplinks.unwrap_or(never),
            ];
            let at = pull.min(report).min(uplink);
            if at >= ends {
                break;
            }
            if at == pull {
                run.pull(at, tape);
                pulls = pulls.map(|(at, every)| (at + every, every));
            } else if at == report {
                run.report(at, tape);
                reports = reports.map(|(at, every)| (at + every, every));
            } else {
                frames += 1;
                run.uplink(at, frames, tape);
                uplinks = run.next_uplink(at);
            }
        }
    }
}

/// What a gateway counts between two reports.
#[derive(Clone, Copy, Debug, Default)]
struct Counted {
    received: u32,
    good: u32,
    forwarded: u32,
    pushed: u32,
    acknowledged: u32,
    downlinks: u32,
    sent: u32,
}

/// A gateway at work.
struct Run<'a> {
    plan: &'static Plan,
    side: &'a Side,
    dice: Dice,
    token: Dice,
    ends: u64,
    counted: Counted,
    /// When it last asked for downlinks.
    pulled: u64,
    answered: u32,
}

impl Run<'_> {
    fn next_uplink(&mut self, after: u64) -> Option<u64> {
        let every = self.side.uplinks.every_s;
        let next = after + u64::from(self.dice.between(every * 600_000, every * 1_400_000));
        let until = self.side.uplinks.until_s.map_or(self.ends, |s| u64::from(s) * SECOND);
        (every > 0 && next < until).then_some(next)
    }

    fn counter(&self, at: u64, frame: u32) -> u32 {
        let started = self.side.restarts_at_s.map(|s| u64::from(s) * SECOND);
        let counted = match started {
            Some(again) if at >= again => at - again,
            _ => 900_000_000 + at,
        };
        let other =
            if self.side.two_radios && frame.is_multiple_of(2) { 1_700 * SECOND } else { 0 };
        u32::try_from((counted + other) & 0xFFFF_FFFF).unwrap_or_default()
    }

    fn next_token(&mut self) -> u16 {
        u16::try_from(self.token.below(0x1_0000)).unwrap_or_default()
    }

    /// Sends a datagram and, as the server does, its acknowledgement; returns whether the gateway gets that in
    /// time.
    fn ask(
        &mut self,
        at: u64,
        (kind, ack): (DatagramKind, DatagramKind),
        acks: Acks,
        body: Option<Body<'_>>,
        tape: &mut Tape,
    ) -> bool {
        let (eui, token) = (self.side.eui, self.next_token());
        tape.push(at, eui, kind, token, body);
        let chance = u8::try_from(self.token.below(100)).unwrap_or_default();
        let (answers, recorded, word) = match acks {
            Acks::All => (true, true, token),
            Acks::None => (false, false, token),
            Acks::Until(seconds) => {
                let answers = at < u64::from(seconds) * SECOND;
                (answers, answers, token)
            }
            Acks::Lost(percent) => (chance >= percent, chance >= percent, token),
            Acks::Unrecorded(percent) => (true, chance >= percent, token),
            Acks::Swapped => (true, true, token.swap_bytes()),
        };
        let round_trip = self.side.round_trip_us + u64::from(self.token.below(4_000));
        if answers && recorded && self.side.server_recorded {
            tape.push(at + round_trip, eui, ack, word, None);
        }
        answers && word == token && round_trip <= WAITS_US
    }

    fn push(&mut self, at: u64, body: Body<'_>, tape: &mut Tape) {
        let kinds = (DatagramKind::PushData, DatagramKind::PushAck);
        let got = self.ask(at, kinds, self.side.push_acks, Some(body), tape);
        self.counted.pushed += 1;
        self.counted.acknowledged += u32::from(got);
    }

    fn pull(&mut self, at: u64, tape: &mut Tape) {
        let kinds = (DatagramKind::PullData, DatagramKind::PullAck);
        self.ask(at, kinds, self.side.pull_acks, None, tape);
        self.pulled = at;
    }

    fn report(&mut self, at: u64, tape: &mut Tape) {
        let told = std::mem::take(&mut self.counted);
        let drift = i64::try_from(at).unwrap_or_default() / 1_000_000 * self.side.clock_drift;
        let ahead = self.side.clock_ahead_us + drift;
        let time = clock(at.saturating_add_signed(ahead).min(u64::MAX / 4));
        let time = if ahead.unsigned_abs() > at && ahead < 0 {
            // Before the world began.
            clock(at).checked_sub(jiff::SignedDuration::from_micros(-ahead)).unwrap_or(time)
        } else {
            time
        };
        let stat = StatBody {
            time: time.strftime("%Y-%m-%d %H:%M:%S GMT").to_string(),
            rxnb: told.received,
            rxok: told.good,
            rxfw: told.forwarded,
            ackr: share(told.acknowledged, told.pushed),
            dwnb: told.downlinks,
            txnb: told.sent,
        };
        self.push(at, Body::Stat(stat), tape);
    }

    fn uplink(&mut self, at: u64, frame: u32, tape: &mut Tape) {
        let uplinks = &self.side.uplinks;
        let hz = self.dice.pick(&uplinks.channels).unwrap_or(868_100_000);
        let sf = u8::try_from(self.dice.between(7, 10)).unwrap_or(7);
        let modulation = Modulation::Lora { sf, bw_khz: 125 };
        let node = self.dice.below(uplinks.nodes.max(1));
        let mut octets = vec![0x40];
        octets.extend((0x0203_0000 + node).to_le_bytes());
        octets.extend([0x00, frame.to_le_bytes()[0], frame.to_le_bytes()[1], 2]);
        octets.extend(self.dice.roll().to_be_bytes());
        let tmst = self.counter(at, frame);
        let (rssi, snr) = (self.dice.between(60, 110), self.dice.between(0, 120));
        self.counted.received += 1;
        self.counted.good += u32::from(uplinks.stat == 1);
        if !uplinks.forwarded {
            return;
        }
        self.counted.forwarded += 1;
        let rxpk = Rxpk {
            tmst,
            freq: Megahertz(hz.saturating_add_signed(uplinks.off_hz)).get(),
            stat: uplinks.stat,
            modu: modu(modulation),
            datr: modulation.to_string(),
            codr: "4/5",
            rssi: -i32::try_from(rssi).unwrap_or_default(),
            lsnr: f64::from(snr) / 10.0,
            size: octets.len(),
            data: base64(&octets),
        };
        let sent = at + 2_100;
        self.push(sent, Body::Rxpk(vec![rxpk]), tape);
        let every = self.side.downlinks.every;
        if every > 0 && frame.is_multiple_of(every) {
            self.downlink(sent, tmst, hz, modulation, tape);
        }
    }

    fn downlink(&mut self, heard: u64, tmst: u32, hz: u32, rate: Modulation, tape: &mut Tape) {
        let down = &self.side.downlinks;
        self.answered += 1;
        let later = down.later_every > 0 && self.answered.is_multiple_of(down.later_every);
        let delay = u64::from(if later { 5 } else { down.delay_s }) * SECOND;
        let window = self.plan.rx1(hz, rate, 0, false);
        let (freq, mut modulation) =
            window.map_or((hz, rate), |window| (window.freq_hz, window.modulation));
        if down.slow {
            modulation = Modulation::Lora { sf: 12, bw_khz: 125 };
        }
        let mut octets = vec![0x60];
        octets.extend((0x0203_0000_u32).to_le_bytes());
        octets.resize(down.octets, 0x5A);
        let token = self.next_token();
        let slot = tmst.wrapping_add(u32::try_from(delay).unwrap_or_default());
        let txpk = Txpk {
            imme: false,
            tmst: (!down.by_gps).then_some(slot),
            tmms: down.by_gps.then_some(1_400_000_000_000 + heard / 1_000),
            freq: Megahertz(freq).get(),
            powe: down.power_dbm,
            modu: modu(modulation),
            datr: modulation.to_string(),
            codr: "4/5",
            ipol: true,
            size: octets.len(),
            data: base64(&octets),
            ncrc: true,
        };
        let arrives = heard + self.side.round_trip_us + down.server_us;
        if self.side.server_recorded {
            let body = Some(Body::Txpk(txpk));
            tape.push(arrives, self.side.eui, DatagramKind::PullResp, token, body);
        }
        let age = arrives - self.pulled;
        if down.reach_s.is_some_and(|s| age > u64::from(s) * SECOND) {
            return;
        }
        self.counted.downlinks += 1;
        let late = arrives > heard - 2_100 + delay;
        let word = if late { Some("TOO_LATE") } else { down.word };
        if let Some(error) = word {
            let body = Some(Body::TxpkAck(TxpkAck { error }));
            tape.push(arrives + 1_700, self.side.eui, DatagramKind::TxAck, token, body);
        }
        let goes = word.map_or(down.sent, |word| word == "NONE");
        self.counted.sent += u32::from(goes);
    }
}

/// A share in per cent, with one decimal; 0.0 of nothing, as gateways say it.
fn share(part: u32, of: u32) -> f64 {
    if of == 0 { 0.0 } else { (f64::from(part) * 1_000.0 / f64::from(of)).round() / 10.0 }
}
