//! Channel plans of the regional parameters (RP002): what a frame's frequency and data rate mean.
//!
//! A plan is a file of data under `region/` and a line in [`Plan::all`]; nothing about a plan
//! stands anywhere else. Everything that follows from the data (where RX1 is, whether a
//! Join-Request is on a join channel, what a ChMask names) is a method of [`Plan`].
//!
//! ```
//! use handfast::{radio::Modulation, region::{JoinFit, Plan}};
//!
//! let plan = Plan::by_name("US915").ok_or("no such plan")?;
//! let sf10 = Modulation::Lora { sf: 10, bw_khz: 125 };
//! assert_eq!(plan.join_fit(903_900_000, sf10), JoinFit::Fits { channel: 8 });
//! let rx1 = plan.join_rx1(903_900_000, sf10).ok_or("no RX1")?;
//! assert_eq!((rx1.freq_hz, rx1.modulation.to_string()), (923_300_000, "SF10BW500".into()));
//! # Ok::<(), &str>(())
//! ```

mod air_limits;
mod class_b;
mod fixed_list;
mod frequency;
mod mask;
mod model;
mod place;
mod revision;
mod rules;
mod source;

// What several plans share.
mod as923;
mod cn470;
mod like_868;
mod like_915;
mod shared;

// The plans.
mod as923_1;
mod as923_2;
mod as923_3;
mod as923_4;
mod au915;
mod cn470_20a;
mod cn470_20b;
mod cn470_26a;
mod cn470_26b;
mod cn470_96;
mod cn779;
mod eu433;
mod eu868;
mod in865;
mod kr920;
mod ru864;
mod us915;

pub use air_limits::{DutyBand, DutyRule, Longest};
pub use class_b::{BeaconOnPlan, PingSlots};
pub use fixed_list::{FixedList, LIST_800, LIST_900};
pub use frequency::{Megahertz, NoFrequency, parse_frequency};
pub use mask::{ChMaskCntl, ChannelMask, MaskError, MaskRefusal};
pub use model::{
    Beacon, Block, CfListFrequencies, CfListMasks, CfListRule, ChMaskCntlRule, Channel, CommonJoin,
    DataRate, DataRates, DefaultChannels, Delays, Dispute, Dwell, Hop, Join, JoinChannels, Legacy,
    LegalChannel, MasksOver, Note, OlderPower, PayloadLimit, Payloads, PingSlot, Plan, PlanKind,
    Power, RegulatorBand, RelayChannel, Rx1Channel, Rx1Formula, Rx1Row, Rx1Rule, Rx2,
};
pub use place::{PlanAt, Role, plans_at};
pub use revision::{Revision, Since};
pub use rules::{CfListFit, ChannelHit, JoinFit, Window, plans_joining_at};
pub use source::SOURCES;

impl Plan {
    /// Returns every plan, in the order of RP002.
    pub fn all() -> &'static [&'static Self] {
        PLANS
    }

    /// Returns the plan of a name: the common name, the long one, or an alias.
    ///
    /// Case and the separators `-`, `_`, `.` and space do not count: `AS923-2`, `as923_2`,
    /// `EU863-870`. `AS923` is group 1, as in RP002. `CN470`, which RP002 gives to five plans,
    /// is the 96-channel plan: it had the name to itself until RP002-1.0.1 and is still widely
    /// deployed (regions reference, 7.6). [`Plan::namesakes`] are the others, and whoever calls
    /// something a fault under `CN470` should look there first.
    pub fn by_name(name: &str) -> Option<&'static Self> {
        let wanted = bare(name);
        Self::all().iter().copied().find(|plan| plan.names().any(|n| bare(n) == wanted))
    }

    /// Returns the other plans with the same common name, whose rules differ all the same.
    pub fn namesakes(&self) -> impl Iterator<Item = &'static Self> + '_ {
        Self::all()
            .iter()
            .copied()
            .filter(|p| p.common_name == self.common_name && p.name != self.name)
    }

    /// Returns whether both are variants of one region: groups of AS923, or plans of one common name.
    pub fn is_variant_of(&self, other: &Self) -> bool {
        let groups = [self, other].iter().all(|plan| plan.frequency_offset_hz.is_some());
        self.name != other.name && (groups || self.common_name == other.common_name)
    }

    fn names(&self) -> impl Iterator<Item = &'static str> + '_ {
        [self.name, self.title].into_iter().chain(self.aliases.iter().copied())
    }
}

fn bare(name: &str) -> String {
    name.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_uppercase()).collect()
}

/// A new plan is one more line here, and its file.
static PLANS: &[&Plan] = &[
    &eu868::PLAN,
    &us915::PLAN,
    &cn779::PLAN,
    &eu433::PLAN,
    &au915::PLAN,
    &cn470_20a::PLAN,
    &cn470_20b::PLAN,
    &cn470_26a::PLAN,
    &cn470_26b::PLAN,
    &cn470_96::PLAN,
    &as923_1::PLAN,
    &as923_2::PLAN,
    &as923_3::PLAN,
    &as923_4::PLAN,
    &kr920::PLAN,
    &in865::PLAN,
    &ru864::PLAN,
];
