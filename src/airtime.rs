//! The airtime of one transmission ([`AirtimeReport`]), and of a capture: how long each node and each gateway was on the air, and which limits
//! of its channel plan that passes.
//!
//! [`Meter`] takes events as they were captured and keeps an [`Account`] of every sender. Copies
//! of one transmission, heard by several gateways, count once; a frame with a bad CRC names no
//! sender and counts for none; a downlink that its gateway refused was never on the air.
//!
//! | limit | what is held against it |
//! |-------|-------------------------|
//! | duty cycle | all transmissions that begin within any hour, by sub-band |
//! | longest transmission | each one |
//! | payload | MACPayload of each data frame, by data rate |
//! | join back-off | Join-Requests and Rejoin-Requests, in spans since the first one heard |
//!
//! What a gateway did not hear is not counted, so that everything told here is the least that was
//! sent. Local rules decide what is lawful; a plan only prints what they usually are.
//!
//! ```
//! use handfast::{airtime::Meter, intake::{Capture, Item}, region::Plan, roster::Roster};
//!
//! let capture = r#"{"at":"2026-05-04T06:00:00Z","gateway":"020000fffea09442","kind":"PUSH_DATA",
//!     "datagram":{"rxpk":[{"freq":868.1,"datr":"SF12BW125","codr":"4/5",
//!     "data":"AAEA//7/AAACBxIA/v8AAAIBAS4mnPU="}]}}"#.replace('\n', "");
//! let roster = Roster::default();
//! let mut meter = Meter::new(&roster, Plan::by_name("EU868"));
//! for item in Capture::new(capture.as_bytes()) {
//!     if let Item::Event(event) = item? {
//!         meter.push(&event);
//!     }
//! }
//! let report = meter.finish();
//! assert_eq!(report.nodes[0].account.airtime.as_micros(), 1_482_752);
//! # Ok::<(), std::io::Error>(())
//! ```

mod account;
mod joins;
mod meter;
mod on_air;
mod query;
mod senders;

use jiff::Timestamp;

use crate::{
    id::{DevAddr, DevEui, Eui64},
    region::Plan,
};

pub use crate::radio::BusiestHour;
pub use account::{Account, DutyUse, Dwell, Oversize, Passed};
pub use joins::{BackOff, SpanUse};
pub use meter::Meter;
pub use query::{AirtimeError, AirtimeQuery, AirtimeReport, DutyShare, MaxPayload, Rate};

/// What a capture tells of the time on air.
#[derive(Debug, Default)]
pub struct CaptureAirtime {
    /// The nodes of the roster that were heard, in its order; then the others in the order heard.
    pub nodes: Vec<NodeAirtime>,
    /// The gateways that were to send, in the order met.
    pub gateways: Vec<GatewayAirtime>,
    /// First and last time stamp.
    pub span: Option<(Timestamp, Timestamp)>,
    /// Receptions with a bad CRC, which name no sender.
    pub crc_bad: u64,
    /// Frames that no sender can be read from.
    pub nameless: u64,
}

/// A node's part.
#[derive(Debug)]
pub struct NodeAirtime {
    /// Its name on the roster.
    pub name: Option<String>,
    /// DevEUI, where a join or the roster tells it.
    pub dev_eui: Option<DevEui>,
    /// The last DevAddr of its data; several nodes may share one that no roster explains.
    pub dev_addr: Option<DevAddr>,
    /// What it sent.
    pub account: Account,
}

/// A gateway's part.
#[derive(Debug)]
pub struct GatewayAirtime {
    /// Its EUI, where the capture names it.
    pub eui: Option<Eui64>,
    /// Its name on the roster.
    pub name: Option<String>,
    /// Downlinks that it refused: they are in no other number.
    pub refused: u64,
    /// What it sent.
    pub account: Account,
}

impl CaptureAirtime {
    /// Returns whether any sender passes a limit.
    pub fn passes_a_limit(&self) -> bool {
        let nodes = self.nodes.iter().map(|node| &node.account);
        let gateways = self.gateways.iter().map(|gateway| &gateway.account);
        nodes.chain(gateways).any(|account| !account.passed().is_empty())
    }

    /// Returns the plans that anything was held against, each once, in the order of use.
    pub fn plans(&self) -> Vec<&'static Plan> {
        let nodes = self.nodes.iter().filter_map(|node| node.account.plan);
        let gateways = self.gateways.iter().filter_map(|gateway| gateway.account.plan);
        let mut plans: Vec<&'static Plan> = Vec::new();
        for plan in nodes.chain(gateways) {
            if !plans.contains(&plan) {
                plans.push(plan);
            }
        }
        plans
    }
}
