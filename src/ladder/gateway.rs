//! A gateway's ladder: from its first datagram to a downlink that it transmits.
//!
//! | # | rung | holds when |
//! |---|---|---|
//! | 1 | speaks | datagrams or station messages of it are in the capture |
//! | 2 | known | its EUI is on the roster |
//! | 3 | uplink-acknowledged | the server acknowledges what it pushes |
//! | 4 | downlink-open | it asks for downlinks often enough, and the server answers |
//! | 5 | clock | its statistics' time fits the capture's, its counter is steady, the delay to the server fits the windows |
//! | 6 | hears | it receives frames with a good CRC |
//! | 7 | on-plan | what it listens to is the channels of the region and the sub-band |
//! | 8 | sends | downlinks that it is ordered to send are taken and transmitted |

mod case;
pub(super) mod clocks;
mod configured;
pub(in crate::ladder) mod flows;
pub(super) mod hosts;
pub(super) mod identity;
pub(super) mod listening;
pub(super) mod misconfigured;
pub(super) mod next;
pub(in crate::ladder) mod told;
pub(super) mod voice;
mod world;

use super::rung::{Rungs, rungs};
use crate::id::Eui64;

pub(super) use case::Case;
pub(super) use flows::{Answers, Rule, Witness};
pub(super) use world::World;

rungs! {
    Gateway: Case<'_> =>
    speaks Speaks "speaks", "datagrams or station messages of it are in the capture";
    known Known "known", "its EUI is on the roster";
    uplink_acknowledged UplinkAcknowledged "uplink-acknowledged", "the server acknowledges what it pushes";
    downlink_open DownlinkOpen "downlink-open", "it asks for downlinks, and the server answers";
    clock Clock "clock", "its clock and counter are steady, the server answers in time";
    hears Hears "hears", "it receives frames with a good CRC";
    on_plan OnPlan "on-plan", "it listens to the channels of the region and the sub-band";
    sends Sends "sends", "downlinks that it is ordered to send are transmitted";
}

/// Judges a gateway: what the capture shows goes before its file, and both before what is said of it.
pub(super) fn climb<'a>(world: &World<'a>, eui: Option<Eui64>) -> Case<'a> {
    let mut case = Case::new(world, eui);
    for rung in Rung::ALL {
        let judged =
            if world.captured { rung.judge(&case, 0) } else { configured::without_capture() };
        let judged = match &case.config {
            Some(config) => config.amend(*rung, judged),
            None => judged,
        };
        case.ladder[*rung] = judged;
    }
    told::amend(&mut case);
    case
}
