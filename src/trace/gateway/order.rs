//! Downlinks that a gateway is ordered to send, and what became of each.

use std::{
    collections::{BTreeMap, VecDeque},
    time::Duration,
};

use crate::{
    frame::Direction,
    intake::{Event, Ordered, Outcome, TxError, When},
    radio::{Hours, time_on_air},
    region::{DutyBand, Plan},
    trace::{Moment, Spread},
};

/// A gateway says what it does with an order within milliseconds; what it says later is of another.
const FORGOTTEN_US: i64 = 10_000_000;
/// Orders that wait for what the gateway says.
const MOST_OPEN: usize = 256;
/// Uplinks by whose counter a slot may be meant: those of the last seconds.
const MOST_UPLINKS: usize = 64;
/// Orders of one kind that are kept.
const MOST_TOLD: usize = 4;
/// Powers and frequencies that are told apart.
const MOST_SETTINGS: usize = 64;
/// The longest delay that RxDelay can set, and a second for RX2, in microseconds.
const LONGEST_DELAY_US: u32 = 16_500_000;
const SECOND_US: u32 = 1_000_000;

/// A downlink that a gateway was ordered to send.
#[derive(Clone, Debug)]
pub struct Order {
    /// Where it is.
    pub moment: Moment,
    /// Token of the datagram.
    pub token: Option<u16>,
    /// When it is to be sent.
    pub when: When,
    /// Frequency, hertz.
    pub freq_hz: Option<u32>,
    /// Power, dBm.
    pub power_dbm: Option<f32>,
    /// Time from the gateway's last PULL_DATA, microseconds.
    pub age_us: Option<i64>,
    /// The slot after an uplink that this gateway heard, microseconds, and by how much the order came after it;
    /// negative where it came in time.
    pub slot: Option<(u32, i64)>,
    /// What the gateway said, and where; `None` where nothing is said.
    pub fate: Option<Fate>,
    airtime: Option<Duration>,
    octets: Box<[u8]>,
    /// The numbers of its alternatives, where the format has numbers.
    numbers: (Option<u32>, Option<u32>),
    first_version: bool,
}

/// What a gateway said to an order.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Fate {
    /// Why it is not sent; [`TxError::None`] where it is.
    pub error: TxError,
    /// Where it says so.
    pub moment: Moment,
}

impl Order {
    /// Returns whether the gateway took it.
    pub fn is_taken(&self) -> bool {
        self.fate.as_ref().is_some_and(|fate| fate.error == TxError::None)
    }

    /// Returns why the gateway refused it.
    pub fn refusal(&self) -> Option<&TxError> {
        self.fate.as_ref().map(|fate| &fate.error).filter(|error| **error != TxError::None)
    }
}

/// Orders of one power, or on one frequency.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct Setting {
    /// Orders that were taken.
    pub taken: u64,
    /// Orders that were refused because of it.
    pub refused: u64,
}

/// The orders to a gateway.
#[derive(Clone, Debug, Default)]
pub struct Orders {
    /// How many.
    pub total: u64,
    /// Those that were taken.
    pub taken: u64,
    /// Those to which the gateway says nothing, though its version of the protocol would.
    pub unsaid: u64,
    /// Those of version 1 of the protocol, in which a gateway says nothing.
    pub first_version: u64,
    /// Those that were refused, by the protocol's word for why.
    pub refused: BTreeMap<String, u64>,
    /// Those by GPS time: taken, and refused for want of it.
    pub by_gps: Setting,
    /// By power in tenths of a dBm.
    pub powers: BTreeMap<i32, Setting>,
    /// By frequency in hertz.
    pub frequencies: BTreeMap<u32, Setting>,
    /// Time from the last PULL_DATA to an order, and whether the order was taken.
    pub ages: Spread<(i64, bool)>,
    /// Slot of an order and how late it came, as in [`Order::slot`], and whether it was taken.
    pub slots: Spread<(u32, i64, bool)>,
    /// The first few of each kind.
    pub told: Vec<Order>,
    /// The last PULL_DATA, and where it went.
    pulled: Option<Moment>,
    uplinks: VecDeque<(u32, Moment)>,
    open: VecDeque<Order>,
    hours: BTreeMap<(&'static str, usize), Hours>,
}

impl Orders {
    /// Returns the first few orders that were refused for a reason.
    pub fn refused_for(&self, error: &TxError) -> impl Iterator<Item = &Order> {
        self.told.iter().filter(move |order| order.refusal() == Some(error))
    }

    /// Returns how many were refused for a reason.
    pub fn refusals(&self, error: &TxError) -> u64 {
        self.refused.get(error.name()).copied().unwrap_or_default()
    }

    /// Returns the shares of the air of a plan of which more was sent in an hour than they allow: the share, when
    /// that hour began, and the time on air in it.
    pub fn over_the_limit(&self, plan: &Plan) -> Vec<(DutyBand, jiff::Timestamp, Duration)> {
        let over = plan.duty_bands().enumerate().filter_map(|(place, band)| {
            let busiest = self.hours.get(&(plan.name, place))?.busiest()?;
            (busiest.airtime > band.hourly()).then_some((band, busiest.from, busiest.airtime))
        });
        over.collect()
    }

    pub(super) fn pulled(&mut self, moment: Moment) {
        self.pulled = Some(moment);
    }

    pub(super) fn heard(&mut self, moment: Moment, tmst: u32) {
        self.uplinks.push_back((tmst, moment));
        if self.uplinks.len() > MOST_UPLINKS {
            self.uplinks.pop_front();
        }
    }

    pub(super) fn ordered(&mut self, moment: Moment, event: &Event, ordered: &Ordered) {
        let octets = ordered.octets();
        // The same frame in the other window is no order of its own.
        if ordered.alternative
            && let Some(last) = self.open.back_mut()
            && *last.octets == *octets
        {
            last.numbers.1 = ordered.number;
            return;
        }
        self.settle(Some(moment));
        let airtime = ordered
            .modulation
            .and_then(|rate| time_on_air(rate, octets.len(), Direction::Downlink));
        self.total += 1;
        self.open.push_back(Order {
            moment,
            token: event.wire.token,
            when: ordered.when,
            freq_hz: ordered.freq_hz,
            power_dbm: ordered.power_dbm,
            age_us: self.pulled.and_then(|pulled| moment.since(pulled)),
            slot: self.slot(moment, ordered.when),
            fate: None,
            airtime,
            octets: octets.into(),
            numbers: (ordered.number, None),
            first_version: event.wire.version == Some(1),
        });
        if self.open.len() > MOST_OPEN {
            self.close_first();
        }
    }

    /// The slot after the newest uplink from which it is whole seconds.
    fn slot(&self, moment: Moment, when: When) -> Option<(u32, i64)> {
        let When::Counter(slot) = when else { return None };
        self.uplinks.iter().rev().find_map(|(tmst, heard)| {
            let us = slot.wrapping_sub(*tmst);
            let whole = us % SECOND_US <= 2 || us % SECOND_US >= SECOND_US - 2;
            let near = (SECOND_US / 2..=LONGEST_DELAY_US).contains(&us);
            (whole && near).then_some((us, moment.since(*heard)? - i64::from(us)))
        })
    }

    pub(super) fn outcome(&mut self, moment: Moment, event: &Event, outcome: &Outcome) {
        let token = event.wire.token;
        let same = |order: &Order| match (token, outcome.number) {
            (None, None) => true,
            (token, None) => order.token == token,
            (_, number) => number == order.numbers.0 || number == order.numbers.1,
        };
        let Some(place) = self.open.iter().rposition(same) else { return };
        let Some(mut order) = self.open.remove(place) else { return };
        order.fate = Some(Fate { error: outcome.error.clone(), moment });
        self.book(order);
    }

    /// Books what the gateway will say nothing to any more; everything at the end of a capture.
    pub(super) fn settle(&mut self, now: Option<Moment>) {
        let over = |order: &Order| {
            now.is_none_or(|now| now.since(order.moment).is_some_and(|us| us > FORGOTTEN_US))
        };
        while self.open.front().is_some_and(over) {
            self.close_first();
        }
    }

    fn close_first(&mut self) {
        if let Some(order) = self.open.pop_front() {
            self.book(order);
        }
    }

    fn book(&mut self, order: Order) {
        let taken = order.is_taken();
        let refusal = order.refusal().cloned();
        self.taken += u64::from(taken);
        self.first_version += u64::from(order.first_version);
        self.unsaid += u64::from(order.fate.is_none() && !order.first_version);
        if let Some(error) = &refusal {
            *self.refused.entry(error.name().to_owned()).or_default() += 1;
        }
        let note = |setting: &mut Setting, because: &TxError| {
            setting.taken += u64::from(taken);
            setting.refused += u64::from(refusal.as_ref() == Some(because));
        };
        if matches!(order.when, When::Gps(_)) {
            note(&mut self.by_gps, &TxError::GpsUnlocked);
        }
        if let Some(dbm) = order.power_dbm {
            setting(&mut self.powers, tenths(dbm), |one| note(one, &TxError::TxPower));
        }
        if let Some(hz) = order.freq_hz {
            setting(&mut self.frequencies, hz, |one| note(one, &TxError::TxFreq));
        }
        if let Some(age) = order.age_us.filter(|_| taken || order.fate.is_none()) {
            self.ages.push((age, taken));
        }
        if let Some((us, late)) = order.slot {
            self.slots.push((us, late, taken));
        }
        if refusal.is_none() {
            self.on_air(&order);
        }
        let alike = |told: &&Order| {
            (told.fate.is_none(), told.refusal()) == (order.fate.is_none(), order.refusal())
        };
        if self.told.iter().filter(alike).count() < MOST_TOLD {
            self.told.push(order);
        }
    }

    /// Counts what it takes of every share of the air that its frequency is in, in whichever plan.
    fn on_air(&mut self, order: &Order) {
        let (Some(hz), Some(airtime), Some(at)) = (order.freq_hz, order.airtime, order.moment.at)
        else {
            return;
        };
        for plan in Plan::all() {
            for (place, band) in plan.duty_bands().enumerate() {
                if band.covers(plan, hz) {
                    self.hours.entry((plan.name, place)).or_default().add(at, airtime);
                }
            }
        }
    }
}

fn setting<K: Ord>(all: &mut BTreeMap<K, Setting>, key: K, note: impl FnOnce(&mut Setting)) {
    if all.len() < MOST_SETTINGS || all.contains_key(&key) {
        note(all.entry(key).or_default());
    }
}

/// A power in tenths of a dBm.
#[expect(clippy::cast_possible_truncation, reason = "powers are far below 2^31 tenths")]
fn tenths(dbm: f32) -> i32 {
    (dbm.clamp(-1_000.0, 1_000.0) * 10.0).round() as i32
}
