//! The join ladder: ten provable statements on each attempt to join.
//!
//! | # | rung | holds when |
//! |---|------|------------|
//! | 1 | heard | a gateway received a Join-Request of this node |
//! | 2 | on-plan | its frequency and data rate are join channels of the region, and of the gateway's sub-band |
//! | 3 | identified | its DevEUI and JoinEUI are the ones on record |
//! | 4 | authentic | its MIC holds under the key on record that the MAC version uses for it |
//! | 5 | fresh | its DevNonce is acceptable under the version's rule |
//! | 6 | answered | a Join-Accept for this node was handed to a gateway |
//! | 7 | timely | it was scheduled into RX1 or RX2: delay, frequency, data rate, polarity |
//! | 8 | sent | the gateway took it for transmission |
//! | 9 | acceptable | the node can decrypt and authenticate it, and its fields are valid |
//! | 10 | proven | the next uplink of the new DevAddr authenticates under the derived session keys |
//!
//! Rungs 7 to 9 hold for the same Join-Accept, or they do not hold: `tried` is one accept against
//! them, `accepts` says of which accept they speak.

pub(in crate::ladder) mod accepts;
mod case;
mod climb;
pub(in crate::ladder) mod missed;
pub(in crate::ladder) mod others;
pub(in crate::ladder) mod told;
mod tried;
pub(super) mod why;

use super::rung::rungs;

pub(super) use case::Case;
pub(super) use climb::climb;

rungs! {
    Join: Case<'_> =>
    heard Heard "heard", "a gateway received a Join-Request of this node";
    on_plan OnPlan "on-plan", "its frequency and data rate are for joins in this region";
    identified Identified "identified", "its DevEUI and JoinEUI are the ones on record";
    authentic Authentic "authentic", "its MIC holds under the key on record";
    fresh Fresh "fresh", "its DevNonce is acceptable";
    answered Answered "answered", "a Join-Accept was handed to a gateway";
    timely Timely "timely", "the accept was aimed at RX1 or RX2";
    sent Sent "sent", "the gateway took it for transmission";
    acceptable Acceptable "acceptable", "the node can open it, and its fields are valid";
    proven Proven "proven", "data under the new DevAddr authenticates";
}
