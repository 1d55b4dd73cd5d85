//! Channel plans of RP002.

/// A channel plan.
#[derive(Debug)]
pub struct Plan {
    /// The common name: `EU868`.
    pub name: &'static str,
}

static EU868: Plan = Plan { name: "EU868" };

impl Plan {
    /// Returns the plan of that common name.
    pub fn by_name(name: &str) -> Option<&'static Self> {
        (name == "EU868").then_some(&EU868)
    }
}
