//! A gateway: what the capture holds of it, what the roster says, and its ladder.

use super::Rung;
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
    pub(in crate::ladder) eui: Option<Eui64>,
    /// What the capture holds of it.
    pub(in crate::ladder) heard: Option<&'a GatewayTrace>,
    /// Its entry on the roster.
    pub(in crate::ladder) entry: Option<&'a Gateway>,
    pub(in crate::ladder) ladder: Ladder<Rung>,
}

impl<'a> Case<'a> {
    pub(in crate::ladder) fn new(trace: &'a Trace, roster: &'a Roster, eui: Option<Eui64>) -> Self {
        let mut case = Self {
            trace,
            eui,
            heard: trace.gateways.get(&eui),
            entry: roster.gateways.iter().find(|gateway| Some(gateway.eui) == eui),
            ladder: Ladder::open(),
        };
        for rung in Rung::ALL {
            let judgement = rung.judge(&case, 0);
            case.ladder[*rung] = judgement;
        }
        case
    }
}
