//! What is to be said of a transmission: how long, how often, how far.

use std::time::Duration;

use crate::{
    frame::Direction,
    radio::{
        DWELL_LIMIT, DutyCycle, JOIN_BACK_OFF, Modulation, demodulation_floor, duty_cycle_wait,
        link_margin, messages_per_hour, time_on_air,
    },
    region::Plan,
};

/// What to work out.
#[derive(Clone, Copy, Debug)]
pub struct AirtimeQuery {
    /// Octets of PHYPayload, MHDR and MIC included.
    pub phy_len: usize,
    /// Which way it travels.
    pub direction: Direction,
    /// At which data rate.
    pub rate: Rate,
    /// The duty cycle, if one is asked for; else the usual three are shown.
    pub duty: Option<DutyCycle>,
    /// SNR in dB at the receiver, if it is known.
    pub snr: Option<f32>,
}

/// A data rate: by its modulation, or by its number in a plan.
#[derive(Clone, Copy, Debug)]
pub enum Rate {
    /// By modulation.
    Modulation(Modulation),
    /// By number.
    Number {
        /// The channel plan.
        plan: &'static Plan,
        /// DR, 0 to 15.
        dr: u8,
    },
}

/// What was worked out.
#[derive(Clone, Debug)]
pub struct AirtimeReport {
    /// The question.
    pub query: AirtimeQuery,
    /// How the frame is sent.
    pub modulation: Modulation,
    /// How long it is on the air.
    pub airtime: Duration,
    /// Whether it is on the air longer than 400 ms.
    pub over_dwell: bool,
    /// What it means under duty cycles.
    pub duty: Vec<DutyShare>,
    /// Join-Requests that the join back-off allows: in the first hour, the next ten, each day after.
    /// Only for an uplink of the size of a Join-Request.
    pub join_requests: Option<[u64; 3]>,
    /// The lowest SNR the modulation is read at.
    pub floor: Option<f32>,
    /// SNR above the floor.
    pub margin: Option<f32>,
    /// The region's limit, where the plan is known.
    pub max_payload: Option<MaxPayload>,
}

/// What a duty cycle makes of a transmission.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct DutyShare {
    /// The duty cycle.
    pub duty: DutyCycle,
    /// Silence after the transmission.
    pub wait: Duration,
    /// Transmissions an hour.
    pub per_hour: u64,
}

/// A region's longest MACPayload.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct MaxPayload {
    /// M: octets of MACPayload, that is PHYPayload without MHDR and MIC.
    pub m: u8,
    /// N: octets of FRMPayload with FOpts empty.
    pub n: u8,
    /// Whether the frame is longer.
    pub exceeded: bool,
}

/// Why there is no time on air to tell.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AirtimeError {
    /// More octets than a radio sends.
    #[error("{octets} bytes: a radio sends 255 at most")]
    TooLong {
        /// Octets asked for.
        octets: usize,
    },
    /// A modulation whose formula is not at hand.
    #[error("no published formula is at hand for the time on air of {modulation}")]
    NoFormula {
        /// The modulation.
        modulation: Modulation,
    },
    /// A data rate that the plan does not have in that direction.
    #[error("{plan} has no DR{dr} in the {way}link direction")]
    NoDataRate {
        /// The plan.
        plan: &'static str,
        /// The number.
        dr: u8,
        /// The direction, `up` or `down`.
        way: &'static str,
    },
}

impl AirtimeReport {
    /// Works a query out.
    ///
    /// # Errors
    ///
    /// When the frame is too long for a radio, the plan lacks the data rate, or no formula is at hand.
    pub fn new(query: AirtimeQuery) -> Result<Self, AirtimeError> {
        let AirtimeQuery { phy_len, direction, rate, .. } = query;
        let (modulation, limit) = match rate {
            Rate::Modulation(modulation) => (modulation, None),
            Rate::Number { plan, dr } => {
                let none = AirtimeError::NoDataRate { plan: plan.name, dr, way: direction.name() };
                (plan.dr(direction, dr).ok_or(none)?, plan.max_payload(direction, dr, false, false))
            }
        };
        if phy_len > usize::from(u8::MAX) {
            return Err(AirtimeError::TooLong { octets: phy_len });
        }
        let airtime = time_on_air(modulation, phy_len, direction)
            .ok_or(AirtimeError::NoFormula { modulation })?;
        let usual = [1, 10, 100].into_iter().filter_map(DutyCycle::new).collect();
        let duty: Vec<_> = query.duty.map_or(usual, |d| vec![d]);
        let sf = match modulation {
            Modulation::Lora { sf, .. } => sf,
            Modulation::Fsk { .. } | Modulation::LrFhss { .. } => 0,
        };
        let join = phy_len == JOIN_REQUEST && direction == Direction::Uplink;
        Ok(Self {
            query,
            modulation,
            airtime,
            over_dwell: airtime > DWELL_LIMIT,
            duty: duty
                .into_iter()
                .map(|duty| DutyShare {
                    duty,
                    wait: duty_cycle_wait(airtime, duty),
                    per_hour: messages_per_hour(airtime, duty).unwrap_or_default(),
                })
                .collect(),
            join_requests: join
                .then(|| JOIN_BACK_OFF.map(|span| span.requests(airtime).unwrap_or_default())),
            floor: demodulation_floor(sf),
            margin: query.snr.and_then(|snr| link_margin(snr, sf)),
            max_payload: limit.map(|(m, n)| MaxPayload {
                m,
                n,
                exceeded: phy_len > usize::from(m) + MHDR_AND_MIC,
            }),
        })
    }
}

/// Octets of a Join-Request.
const JOIN_REQUEST: usize = 23;

/// Octets of a PHYPayload that are not MACPayload.
const MHDR_AND_MIC: usize = 5;
