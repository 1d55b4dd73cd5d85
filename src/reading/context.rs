//! What is known beside the frame: what a capture, a roster or a command line says of it.

use crate::{
    frame::{Direction, MacVersion},
    id::{DevEui, DevNonce, JoinEui},
    radio::Modulation,
    trace::Given,
};

/// What is known beside the frame. None of it is needed to split a frame; all of it helps to prove one.
#[derive(Clone, Debug, Default)]
pub struct Context {
    /// The way the frame travelled, for proprietary frames, which do not say.
    pub direction: Option<Direction>,
    /// The version that the node speaks.
    pub mac_version: Option<MacVersion>,
    /// The whole counter, or its upper half.
    pub fcnt: Option<CounterHint>,
    /// DevNonce of the Join-Request, or the RJcount of the Rejoin-Request, that an accept answers.
    pub dev_nonce: Option<DevNonce>,
    /// JoinEUI of the Join-Request that an accept answers.
    pub join_eui: Option<JoinEui>,
    /// DevEUI of the node that an accept answers.
    pub dev_eui: Option<DevEui>,
    /// Low half of the counter of the confirmed frame that a 1.1 frame acknowledges.
    pub conf_fcnt: Option<u16>,
    /// How the frame was received: of a node whose channel plan is known it tells the data rate index.
    pub modulation: Option<Modulation>,
    /// Data rate index of a 1.1 uplink.
    pub tx_dr: Option<u8>,
    /// Channel index of a 1.1 uplink, as the node numbers its channels.
    pub tx_ch: Option<u8>,
}

/// What a user says of the frame counter: the whole of it, or the upper half that the frame lacks.
///
/// A number above 65535 can only be whole. One below may be either, and a MIC decides: as the whole
/// counter it counts if the frame's FCnt agrees, as an upper half otherwise.
///
/// ```
/// use handfast::reading::CounterHint;
///
/// assert!(CounterHint(65538).counters(2).eq([65538]));
/// assert!(CounterHint(1).counters(2).eq([65538]));
/// assert!(CounterHint(2).counters(2).eq([2, 131074]));
/// assert_eq!(CounterHint(65538).counters(3).count(), 0);
/// ```
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct CounterHint(pub u32);

impl CounterHint {
    /// Returns the whole counters that this can mean for a frame with that FCnt.
    pub fn counters(self, fcnt: u16) -> impl Iterator<Item = u32> {
        let whole = (self.0 & 0xFFFF == u32::from(fcnt)).then_some(self.0);
        let high = u16::try_from(self.0).ok().map(|high| u32::from(high) << 16 | u32::from(fcnt));
        whole.into_iter().chain(high.filter(|&h| Some(h) != whole))
    }
}

impl Context {
    /// Returns what is known of a data frame beside its octets.
    pub(super) fn given(&self, fcnt: u16) -> Given {
        Given {
            fcnts: self.fcnt.into_iter().flat_map(|hint| hint.counters(fcnt)).collect(),
            conf_fcnt: self.conf_fcnt,
            tx_dr: self.tx_dr,
            tx_ch: self.tx_ch,
        }
    }

    /// Returns the counter to take where no MIC can decide.
    pub(super) fn first_counter(&self, fcnt: u16) -> u32 {
        self.fcnt.and_then(|hint| hint.counters(fcnt).next()).unwrap_or(u32::from(fcnt))
    }
}
