//! AS923-4: AS923 group 4, channel plan 13.

use super::{as923::Group, model::Plan};

pub(super) static PLAN: Plan = Plan {
    name: "AS923-4",
    common_name: "AS923-4",
    title: "AS923 group 4",
    plan_id: 13,
    baseline: "RP002-1.0.5 (group introduced in RP002-1.0.3, by two public device stacks)",
    source: "T5, R1 2.10, two public device stacks, a public gateway channel list",
    range_hz: (917_000_000, 920_000_000),
    ..Group::<{ -5_900_000 }>::PLAN
};
