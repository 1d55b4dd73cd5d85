//! What a gateway did, period by period: a period ends with its statistics, or else after a minute.
//!
//! Shares over a complete capture hide when something began; and `ackr` speaks of one period alone.

use crate::{
    intake::Stat,
    trace::{Line, Moment},
};

/// Periods that are kept. When there are more, each two become one.
const MOST: usize = 256;
/// A period without statistics: as long as those of most gateways with them (common practice: 30 s to a minute).
const UNTOLD_US: i64 = 60_000_000;
/// A gateway that reports about itself, and then no longer does: its last period ends after this time.
const SILENT_US: i64 = 900_000_000;

/// A period, or several that follow one another.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Period {
    /// Where it begins.
    pub from: Moment,
    /// Where it ends.
    pub to: Moment,
    /// PUSH_DATA, and what was acknowledged of it.
    pub push: Tally,
    /// PULL_DATA, likewise.
    pub pull: Tally,
    /// Frames with a good CRC in the capture.
    pub heard: u64,
    /// What the gateway counted.
    pub told: Figures,
    /// How many periods they are.
    pub periods: u32,
    first: u64,
}

/// Datagrams and their acknowledgements.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct Tally {
    /// Datagrams.
    pub asked: u64,
    /// Those that were acknowledged.
    pub answered: u64,
    /// Those that were acknowledged while the gateway waits.
    pub in_time: u64,
}

/// The figures of a gateway's statistics, summed. What a report leaves out is in no sum.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Figures {
    /// How many reports.
    pub reports: u64,
    /// Frames received.
    pub rxnb: Option<u64>,
    /// Frames received with a CRC that holds.
    pub rxok: Option<u64>,
    /// Frames forwarded.
    pub rxfw: Option<u64>,
    /// Downlink datagrams received.
    pub dwnb: Option<u64>,
    /// Frames sent.
    pub txnb: Option<u64>,
    /// Reports that say that some of what was pushed is acknowledged, and reports that say that nothing is. A
    /// first report has no period before it and is in neither.
    pub acknowledged: (u64, u64),
    /// PUSH_DATA of the periods that have an `ackr`, how many of it the gateway counts as acknowledged, and how
    /// many came while it waits.
    pub ackr: (u64, f64, u64),
}

impl Figures {
    fn add(&mut self, other: &Self) {
        let sum = |own: &mut Option<u64>, more: Option<u64>| {
            if let Some(more) = more {
                *own = Some(own.unwrap_or_default().saturating_add(more));
            }
        };
        self.reports += other.reports;
        sum(&mut self.rxnb, other.rxnb);
        sum(&mut self.rxok, other.rxok);
        sum(&mut self.rxfw, other.rxfw);
        sum(&mut self.dwnb, other.dwnb);
        sum(&mut self.txnb, other.txnb);
        self.acknowledged.0 += other.acknowledged.0;
        self.acknowledged.1 += other.acknowledged.1;
        self.ackr.0 += other.ackr.0;
        self.ackr.1 += other.ackr.1;
        self.ackr.2 += other.ackr.2;
    }

    fn of(stat: &Stat) -> Self {
        let Stat { rxnb, rxok, rxfw, dwnb, txnb, .. } = *stat;
        Self { reports: 1, rxnb, rxok, rxfw, dwnb, txnb, ..Self::default() }
    }
}

impl Period {
    fn add(&mut self, next: &Self) {
        self.to = next.to;
        for (own, more) in [(&mut self.push, next.push), (&mut self.pull, next.pull)] {
            own.asked += more.asked;
            own.answered += more.answered;
            own.in_time += more.in_time;
        }
        self.heard += next.heard;
        self.told.add(&next.told);
        self.periods += next.periods;
    }

    /// Returns how long it is, microseconds.
    pub fn us(&self) -> Option<i64> {
        self.to.since(self.from)
    }
}

/// The periods of one gateway.
#[derive(Clone, Debug, Default)]
pub struct Periods {
    done: Vec<Period>,
    now: Option<Period>,
    /// The number of the period that is open.
    number: u64,
    /// Whether the gateway reports about itself, and what the last report said of acknowledgements.
    reported: Option<Line>,
}

impl Periods {
    /// Returns the periods in order, the one that is not over last.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = &Period> + Clone {
        self.done.iter().chain(&self.now)
    }

    /// Returns the sum of all figures.
    pub fn figures(&self) -> Figures {
        self.iter().fold(Figures::default(), |mut sum, period| {
            sum.add(&period.told);
            sum
        })
    }

    /// Returns the number of the period in which something happens, and begins one where none is open.
    pub(super) fn at(&mut self, moment: Moment) -> u64 {
        let longest = if self.reported.is_some() { SILENT_US } else { UNTOLD_US };
        let over = |now: &Period| moment.since(now.from).is_some_and(|us| us >= longest);
        if self.now.as_ref().is_some_and(over) {
            self.close(moment);
        }
        let first = self.number;
        self.now
            .get_or_insert(Period { from: moment, periods: 1, first, ..Period::default() })
            .to = moment;
        self.number
    }

    /// Returns the period of a number.
    pub(super) fn of(&mut self, number: u64) -> Option<&mut Period> {
        if let Some(now) = self.now.as_mut().filter(|now| now.first <= number) {
            return Some(now);
        }
        self.done.iter_mut().rev().find(|period| period.first <= number)
    }

    /// Ends a period with the gateway's report about it. `own` is whether the report's own PUSH_DATA is counted
    /// in it: that belongs to the next.
    pub(super) fn report(&mut self, moment: Moment, stat: &Stat, own: bool) {
        self.at(moment);
        let is_first = self.reported.replace(moment.line).is_none();
        let Some(now) = &mut self.now else { return };
        now.push.asked -= u64::from(own && now.push.asked > 0);
        let mut told = Figures::of(stat);
        if let Some(ackr) = stat.ackr.filter(|_| !is_first) {
            let some = ackr > 0.0;
            told.acknowledged = (u64::from(some), u64::from(!some));
            told.ackr = (now.push.asked, share(ackr, now.push.asked), now.push.in_time);
        }
        now.told.add(&told);
        self.close(moment);
        if own {
            self.at(moment);
            if let Some(now) = &mut self.now {
                now.push.asked += 1;
            }
        }
    }

    fn close(&mut self, moment: Moment) {
        let Some(mut over) = self.now.take() else { return };
        over.to = moment;
        self.number += 1;
        self.done.push(over);
        if self.done.len() > MOST {
            let pairs = std::mem::take(&mut self.done);
            self.done = pairs
                .chunks(2)
                .filter_map(|pair| {
                    let (first, rest) = pair.split_first()?;
                    let mut sum = *first;
                    for next in rest {
                        sum.add(next);
                    }
                    Some(sum)
                })
                .collect();
        }
    }

    /// Notes that a PUSH_DATA of a period was acknowledged.
    pub(super) fn pushed(&mut self, number: u64, in_time: bool) {
        if let Some(period) = self.of(number) {
            period.push.answered += 1;
            period.push.in_time += u64::from(in_time);
            // A datagram that is acknowledged after its period is over is counted all the same.
            let told = period.told.acknowledged != (0, 0);
            period.told.ackr.2 += u64::from(in_time && told);
        }
    }
}

/// How many of `asked` datagrams are `ackr` per cent.
#[expect(clippy::cast_precision_loss, reason = "datagrams of a period are far below 2^53")]
fn share(ackr: f32, asked: u64) -> f64 {
    f64::from(ackr) / 100.0 * asked as f64
}
