//! AS923: AS923 group 1, channel plan 7.

use super::{as923::Group, model::Plan};

pub(super) static PLAN: Plan = Plan {
    name: "AS923",
    common_name: "AS923",
    aliases: &["AS923-1"],
    title: "AS923 group 1",
    plan_id: 7,
    baseline: "RP002-1.0.5 (group introduced in RP V1.0)",
    source: "T5, R1 2.10, a public device stack",
    range_hz: (915_000_000, 928_000_000),
    ..Group::<0>::PLAN
};
