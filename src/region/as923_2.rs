//! AS923-2: AS923 group 2, channel plan 8.

use super::{as923::Group, model::Plan};

pub(super) static PLAN: Plan = Plan {
    name: "AS923-2",
    common_name: "AS923-2",
    title: "AS923 group 2",
    plan_id: 8,
    baseline: "RP002-1.0.5 (group introduced in RP002-1.0.1)",
    source: "T5, R1 2.10, a public device stack",
    range_hz: (920_000_000, 923_000_000),
    ..Group::<{ -1_800_000 }>::PLAN
};
