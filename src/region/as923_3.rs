//! AS923-3: AS923 group 3, channel plan 9.

use super::{as923::Group, model::Plan};

pub(super) static PLAN: Plan = Plan {
    name: "AS923-3",
    common_name: "AS923-3",
    title: "AS923 group 3",
    plan_id: 9,
    baseline: "RP002-1.0.5 (group introduced in RP002-1.0.1)",
    source: "T5, R1 2.10, a public device stack",
    range_hz: (915_000_000, 921_000_000),
    ..Group::<{ -6_600_000 }>::PLAN
};
