//! A gateway: what the capture holds of it, what the roster says, and its ladder.

use std::collections::BTreeSet;

use super::{
    Rung,
    configured::{Configured, Sight, without_capture},
};
use crate::{
    id::Eui64,
    ladder::rung::{Ladder, Rungs},
    roster::{Gateway, Roster},
    trace::{GatewayTrace, Trace},
};

/// A gateway and its ladder.
#[derive(Debug)]
pub(in crate::ladder) struct Case<'a> {
    pub(in crate::ladder) trace: &'a Trace,
    pub(in crate::ladder) roster: &'a Roster,
    pub(in crate::ladder) eui: Option<Eui64>,
    /// What the capture holds of it.
    pub(in crate::ladder) heard: Option<&'a GatewayTrace>,
    /// Its entry on the roster.
    pub(in crate::ladder) entry: Option<&'a Gateway>,
    /// Its own configuration.
    pub(in crate::ladder) config: Option<Configured<'a>>,
    pub(in crate::ladder) ladder: Ladder<Rung>,
}

impl<'a> Case<'a> {
    pub(in crate::ladder) fn new(
        trace: &'a Trace,
        sight: &Sight<'a>,
        eui: Option<Eui64>,
    ) -> Self {
        let roster = sight.roster;
        let mut case = Self {
            trace,
            roster,
            eui,
            heard: trace.gateways.get(&eui),
            entry: roster.gateways.iter().find(|gateway| Some(gateway.eui) == eui),
            config: Configured::of(sight, eui),
            ladder: Ladder::open(),
        };
        for rung in Rung::ALL {
            let judged = match sight.heard {
                Some(_) => rung.judge(&case, 0),
                None => without_capture(),
            };
            let judged = match &case.config {
                Some(config) => config.amend(*rung, judged),
                None => judged,
            };
            case.ladder[*rung] = judged;
        }
        case
    }
}

/// The gateways that sent something that is in a capture.
pub(in crate::ladder) fn speaking(trace: &Trace) -> BTreeSet<Eui64> {
    let speaks = trace.gateways.iter().filter(|(_, heard)| heard.counts.sent() > 0);
    speaks.filter_map(|(eui, _)| *eui).collect()
}
