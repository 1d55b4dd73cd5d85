//! The counters of a session, and the one rule for how far a counter is searched.
//!
//! A frame carries 16 of the 32 bits that its MIC covers. The upper half is looked for near what the
//! session counted last; of a session of which nothing is known yet, near its start. Only where no key at
//! hand explains a frame so, the upper halves are searched farther: to the end where a MIC has 32 bits of
//! one key, and for [`HALVES_OF_1_1`] of them where two keys of 1.1 sign 16 bits each and everything unseen
//! is tried besides. Every command searches by this rule, and so all of them say the same of a frame.

use crate::{
    crypto::{DataMismatch, MicInput, Proof, SignedBy, Unseen, Verified, Verifier},
    frame::{DataFrame, Direction},
};

/// Upper halves that are searched of a 1.1 uplink: more would fit by accident.
pub(crate) const HALVES_OF_1_1: u16 = 256;

/// Frames of a session whose upper halves are searched farther; after that the keys are taken to be others.
const SEARCHES_OF_A_SESSION: u8 = 3;

/// Searches that all sessions of a node, or of a place that states keys, have together.
pub(crate) const SEARCHES_OF_A_NODE: u16 = 32;

/// Confirmed frames whose counters an ACK may mean.
const REMEMBERED: usize = 8;

/// Upper halves behind the last one that are near it.
const BEHIND: usize = 16;

/// What the frames of a session tell of the counters to come.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Counters {
    up: Option<u32>,
    down: Option<u32>,
    app_down: Option<u32>,
    confirmed_up: Vec<u16>,
    confirmed_down: Vec<u16>,
    /// Whether it began before the capture, as far as anybody knows.
    under_way: bool,
    searches_left: u8,
}

/// What is known of a frame beside its octets.
#[derive(Clone, Debug, Default)]
pub(crate) struct Given {
    /// Whole counters that it may have, the likeliest first.
    pub(crate) fcnts: Vec<u32>,
    /// ConfFCnt.
    pub(crate) conf_fcnt: Option<u16>,
    /// Data rate index of an uplink.
    pub(crate) tx_dr: Option<u8>,
    /// Channel index of an uplink.
    pub(crate) tx_ch: Option<u8>,
}

impl Given {
    /// Returns what the MIC covers and neither the frame nor anybody says.
    pub(crate) fn unseen<'a>(&self, conf_fcnts: &'a [u16]) -> Unseen<'a> {
        let every = Unseen::default();
        Unseen {
            conf_fcnts,
            tx_drs: self.tx_dr.map_or(every.tx_drs, |dr| dr..=dr),
            tx_chs: self.tx_ch.map_or(every.tx_chs, |ch| ch..=ch),
        }
    }
}

/// Returns the whole counters of a frame in a session of which nothing is known: it has just begun, or the
/// 16 bits went round once.
pub(crate) fn at_the_start(fcnt: u16) -> [u32; 2] {
    [0, 1].map(|high| whole(high, fcnt))
}

fn whole(high: u16, fcnt: u16) -> u32 {
    u32::from(high) << 16 | u32::from(fcnt)
}

impl Counters {
    /// Returns the counters of a session that a join began.
    pub const fn of_a_join() -> Self {
        Self {
            up: None,
            down: None,
            app_down: None,
            confirmed_up: Vec::new(),
            confirmed_down: Vec::new(),
            under_way: false,
            searches_left: SEARCHES_OF_A_SESSION,
        }
    }

    /// Returns the counters of a session that is under way: the last FCntUp and the next FCntDown where
    /// somebody states them.
    pub fn under_way(last_up: Option<u32>, next_down: Option<u32>) -> Self {
        let down = next_down.map(|next| next.saturating_sub(1));
        Self { up: last_up, down, under_way: true, ..Self::of_a_join() }
    }

    /// Returns the low halves of the counters that a frame may acknowledge, the likeliest first.
    pub(crate) fn conf_fcnts(&self, frame: &DataFrame, given: &Given) -> Vec<u16> {
        let confirmed = match frame.direction() {
            Direction::Uplink => &self.confirmed_down,
            Direction::Downlink => &self.confirmed_up,
        };
        match given.conf_fcnt {
            Some(conf_fcnt) => vec![conf_fcnt],
            None => confirmed.iter().rev().copied().collect(),
        }
    }

    /// Checks a frame with the counters that are near.
    ///
    /// # Errors
    /// What each verifier that signs frames of this way found.
    pub(crate) fn near<'f>(
        &self,
        verifiers: &mut [Verifier],
        input: &mut MicInput<'f>,
        frame: &DataFrame,
        given: &Given,
    ) -> Result<Verified<&'f DataFrame>, Vec<DataMismatch>> {
        let conf_fcnts = self.conf_fcnts(frame, given);
        let unseen = given.unseen(&conf_fcnts);
        let near = self.halves(frame).into_iter().map(|high| whole(high, frame.fcnt));
        let given = given.fcnts.iter().copied();
        let counters: Vec<u32> = given.chain(near).collect();
        let mut misses = Vec::new();
        for verifier in verifiers {
            match verifier.check(input, counters.iter().copied(), &unseen) {
                Some(Ok(verified)) => return Ok(verified),
                Some(Err(miss)) => misses.push(miss),
                None => {}
            }
        }
        Err(misses)
    }

    /// Checks a frame that nothing near explains with the upper halves that are farther away.
    ///
    /// `left` is how many more such searches whoever states the keys has.
    ///
    /// # Errors
    /// What was found of 1.1 uplinks of which half a MIC holds: of so many halves one may by accident.
    pub(crate) fn far<'f>(
        &mut self,
        verifiers: &mut [Verifier],
        input: &mut MicInput<'f>,
        frame: &DataFrame,
        given: &Given,
        left: &mut u16,
    ) -> Result<Verified<&'f DataFrame>, Vec<DataMismatch>> {
        let mut halves = Vec::new();
        if self.searches_left == 0 || *left == 0 {
            return Err(halves);
        }
        let conf_fcnts = self.conf_fcnts(frame, given);
        let unseen = given.unseen(&conf_fcnts);
        let mut found = None;
        let mut searched = false;
        for verifier in verifiers {
            let last = match frame.direction() {
                _ if verifier.is_1_0() => u16::MAX,
                Direction::Uplink if self.under_way => HALVES_OF_1_1 - 1,
                Direction::Downlink if self.under_way => u16::MAX,
                _ => continue,
            };
            let counters = (0..=last).map(|high| whole(high, frame.fcnt));
            match verifier.check(input, counters, &unseen) {
                Some(Ok(verified)) => found = Some(verified),
                Some(Err(miss)) => halves.extend(miss.half().map(|_| miss)),
                None => continue,
            }
            searched = true;
            if found.is_some() {
                break;
            }
        }
        if searched {
            self.searches_left -= 1;
            *left -= 1;
        }
        found.ok_or(halves)
    }

    /// Returns whether no search is left: counters that are far are no longer tried.
    pub(crate) const fn is_spent(&self) -> bool {
        self.searches_left == 0
    }

    /// Returns whether a search was spent on these counters.
    pub(crate) const fn is_searched(&self) -> bool {
        self.searches_left < SEARCHES_OF_A_SESSION
    }

    /// Learns from a frame that holds.
    pub(crate) fn take(&mut self, frame: &DataFrame, proof: &Proof) {
        // In 1.1 data for the application has a counter of its own (LoRaWAN 1.1, 4.3.1.5).
        let apart = matches!(proof.by(), SignedBy::SNwkSIntKey);
        let counter = match frame.direction() {
            Direction::Uplink => &mut self.up,
            Direction::Downlink if apart && frame.port().is_some_and(|port| port > 0) => {
                &mut self.app_down
            }
            Direction::Downlink => &mut self.down,
        };
        *counter = Some(proof.fcnt());
        if frame.mhdr.ftype().is_confirmed() {
            let memory = match frame.direction() {
                Direction::Uplink => &mut self.confirmed_up,
                Direction::Downlink => &mut self.confirmed_down,
            };
            if memory.len() == REMEMBERED {
                memory.remove(0);
            }
            memory.push(frame.fcnt);
        }
    }

    /// Upper halves that are near: the one that continues, the next, and those before.
    fn halves(&self, frame: &DataFrame) -> Vec<u16> {
        let last = match frame.direction() {
            Direction::Uplink => self.up,
            Direction::Downlink if frame.port().is_some_and(|port| port > 0) => {
                self.app_down.max(self.down)
            }
            Direction::Downlink => self.down,
        };
        let Some(last) = last else { return vec![0, 1] };
        let [_, _, lo, hi] = last.to_be_bytes();
        let field = u16::from_be_bytes([lo, hi]);
        let high = u16::try_from(last >> 16).unwrap_or_default();
        let goes_on = if frame.fcnt < field { high.saturating_add(1) } else { high };
        let mut out = vec![goes_on, high, high.saturating_add(1)];
        out.extend((0..high).rev().take(BEHIND));
        out.push(0);
        let mut seen = Vec::with_capacity(out.len());
        out.retain(|h| {
            let new = !seen.contains(h);
            seen.push(*h);
            new
        });
        out
    }
}

impl Default for Counters {
    /// Those of a session of which nobody says anything.
    fn default() -> Self {
        Self::under_way(None, None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{frame::FType, id::DevAddr};

    #[test]
    fn an_ack_means_the_last_confirmed_frame_of_the_other_side_before_older_ones() {
        let counters = Counters {
            confirmed_up: vec![1, 2],
            confirmed_down: vec![7, 8, 9],
            ..Counters::of_a_join()
        };
        let frame = |ftype| DataFrame::new(ftype, DevAddr(0x0279_CEFA), 3);
        let (up, down) = (frame(FType::UnconfirmedDataUp), frame(FType::UnconfirmedDataDown));
        assert_eq!(counters.conf_fcnts(&up, &Given::default()), [9, 8, 7]);
        assert_eq!(counters.conf_fcnts(&down, &Given::default()), [2, 1]);
        let stated = Given { conf_fcnt: Some(4), ..Given::default() };
        assert_eq!(counters.conf_fcnts(&up, &stated), [4]);
    }

    #[test]
    fn near_a_counter_are_the_half_that_goes_on_the_next_and_those_before() {
        let after = |up| Counters { up: Some(up), ..Counters::of_a_join() };
        let halves = |up, fcnt| {
            let frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(1), fcnt);
            after(up).halves(&frame)
        };
        assert_eq!(halves(0x0003_FFF0, 5), [4, 3, 2, 1, 0]);
        assert_eq!(halves(0x0003_0005, 5), [3, 4, 2, 1, 0]);
        assert_eq!(halves(0x0003_0005, 4), [4, 3, 2, 1, 0]);
        // No farther behind than sixteen, and the start of a session.
        let far = halves(0x0040_0000, 1);
        assert_eq!((far.len(), far[2], far[17], far[18]), (19, 0x3F, 0x30, 0));
    }
}
