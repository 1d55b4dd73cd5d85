//! What a frequency is for, in every plan.

use std::fmt::{self, Write};

use serde::Serialize;

use super::page::Page;
use crate::region::{ChannelHit, Megahertz, PlanAt, Role, plans_at};

/// Writes what a frequency is for.
///
/// # Errors
/// When `out` does not take it.
pub fn text(freq_hz: u32, out: &mut dyn Write) -> fmt::Result {
    let mut page = Page::new(out);
    page.line(&format!("{} MHz ({freq_hz} Hz)", Megahertz(freq_hz)))?;
    let places = plans_at(freq_hz);
    if places.is_empty() {
        return page.paragraph("in the band of no plan");
    }
    for place in &places {
        page.section(&format!("{}: {}", place.plan.name, place.plan.title))?;
        for role in &place.roles {
            let (label, what) = words(role);
            page.field(label, &what)?;
            if let (Role::Uplink { .. }, Some(hit)) = (role, place.nearest_uplink)
                && hit.offset_hz != 0
            {
                page.field("", &format!("not exactly: {} it", off(hit.offset_hz)))?;
            }
        }
        off_the_grid(place, &mut page)?;
        limits(place, &mut page)?;
    }
    Ok(())
}

/// The nearest channels, where the frequency is on none; far ones only if there is nothing else.
fn off_the_grid(place: &PlanAt, page: &mut Page) -> fmt::Result {
    let near = |hit: &ChannelHit| hit.offset_hz.abs() < NEAR_HZ;
    let uplink = place.roles.iter().any(|r| matches!(r, Role::Uplink { .. }));
    let which = if place.plan.uplink_blocks.is_empty() { "default channel" } else { "channel" };
    if let Some(hit) =
        place.nearest_uplink.filter(|h| !uplink && (near(h) || place.roles.is_empty()))
    {
        page.field("uplink", &format!("no {which}; {}", nearest(&hit)))?;
    }
    let downlink = place.roles.iter().any(|r| matches!(r, Role::Downlink { .. }));
    if let Some(hit) = place.nearest_downlink.filter(|h| !downlink && near(h)) {
        page.field("downlink", &format!("no channel; {}", nearest(&hit)))?;
    }
    Ok(())
}

/// What a transmission there counts in, or may not do.
fn limits(place: &PlanAt, page: &mut Page) -> fmt::Result {
    for band in &place.duty {
        let (name, share) = (band.name(place.plan), band.percent());
        page.field("duty cycle", &format!("{name}: {share}"))?;
    }
    if !place.plan.regulator_bands.is_empty() && place.duty.is_empty() {
        page.field("duty cycle", "in no sub-band of the regulator")?;
    }
    match place.legal {
        Some(legal) => {
            let dbm = legal.max_eirp_dbm;
            page.field("law", &format!("an allowed centre frequency, up to {dbm} dBm EIRP"))
        }
        None if place.plan.legal_channels.is_empty() => Ok(()),
        None => page.field("law", "not among the allowed centre frequencies"),
    }
}

fn words(role: &Role) -> (&'static str, String) {
    match *role {
        Role::Uplink { channel, bw_khz, sub_band, join, rx1_hz } => {
            let mut text = format!("channel {channel}");
            if let Some(bw) = bw_khz {
                let _ = write!(text, ", {bw} kHz");
            }
            if let Some(n) = sub_band {
                let _ = write!(text, ", sub-band {n}");
            }
            text.push_str(if join { ", for joins too" } else { ", not for joins" });
            if let Some(hz) = rx1_hz {
                let _ = write!(text, "; RX1 of data at {} MHz", Megahertz(hz));
            }
            ("uplink", text)
        }
        Role::CommonJoin { index, own, join_accept_hz, rx2_hz } => {
            let whose = if own { "activates this plan" } else { "activates another plan" };
            let (rx1, rx2) = (Megahertz(join_accept_hz), Megahertz(rx2_hz));
            let text = format!("join channel {index}, {whose}; RX1 at {rx1} MHz, RX2 at {rx2} MHz");
            ("join", text)
        }
        Role::Downlink { channel } => ("downlink", format!("channel {channel} (RX1)")),
        Role::JoinAccept { index } => {
            ("RX1", format!("of the Join-Accept after join channel {index}"))
        }
        Role::Rx2AfterJoin { index } => ("RX2", format!("after join channel {index}")),
        Role::Rx2 => ("RX2", "the default".into()),
        Role::FixedList { number } => ("CFList", format!("number {number} of the type 1 list")),
        Role::Beacon => ("beacon", "Class B beacon".into()),
        Role::PingSlot => ("ping slot", "the default".into()),
        Role::RelayWor => ("relay", "wake-on-radio".into()),
        Role::RelayAck => ("relay", "acknowledgement".into()),
    }
}

/// `50 kHz above channel 3 at 902.9 MHz`
fn nearest(hit: &ChannelHit) -> String {
    let (channel, mhz) = (hit.channel, Megahertz(hit.freq_hz));
    format!("{} channel {channel} at {mhz} MHz", off(hit.offset_hz))
}

/// `50 kHz above`
fn off(offset_hz: i64) -> String {
    let side = if offset_hz < 0 { "below" } else { "above" };
    match offset_hz.abs() {
        hz if hz < 10_000 => format!("{hz} Hz {side}"),
        hz => format!("{}.{} kHz {side}", hz / 1000, hz % 1000 / 100),
    }
}

/// Writes what a frequency is for, as one JSON object in one line.
///
/// # Errors
/// When `out` does not take it.
pub fn json(freq_hz: u32, out: &mut dyn Write) -> fmt::Result {
    let places = plans_at(freq_hz).iter().map(PlaceJson::new).collect();
    let report = AtJson { schema: crate::show::json::SCHEMA, frequency: freq_hz, plans: places };
    writeln!(out, "{}", crate::show::json::object(&report)?)
}

#[derive(Serialize)]
struct AtJson {
    schema: u32,
    frequency: u32,
    plans: Vec<PlaceJson>,
}

#[derive(Serialize)]
struct PlaceJson {
    plan: &'static str,
    roles: Vec<RoleJson>,
    nearest_uplink: Option<HitJson>,
    nearest_downlink: Option<HitJson>,
    duty_cycle: Vec<DutyJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    max_eirp_dbm: Option<u8>,
}

#[derive(Serialize)]
struct DutyJson {
    band: String,
    per_mille: u16,
}

#[derive(Serialize)]
struct HitJson {
    channel: u16,
    frequency: u32,
    offset: i64,
}

#[derive(Default, Serialize)]
struct RoleJson {
    role: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    channel: Option<u16>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bandwidth_khz: Option<u16>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sub_band: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    join: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    join_channel: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    activates_this_plan: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rx1_frequency: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rx2_frequency: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    number: Option<u16>,
}

impl PlaceJson {
    fn new(place: &PlanAt) -> Self {
        let hit = |h: ChannelHit| HitJson {
            channel: h.channel,
            frequency: h.freq_hz,
            offset: h.offset_hz,
        };
        Self {
            plan: place.plan.name,
            roles: place.roles.iter().map(RoleJson::new).collect(),
            nearest_uplink: place.nearest_uplink.map(hit),
            nearest_downlink: place.nearest_downlink.map(hit),
            duty_cycle: place
                .duty
                .iter()
                .map(|band| DutyJson { band: band.name(place.plan), per_mille: band.permille() })
                .collect(),
            max_eirp_dbm: place.legal.map(|legal| legal.max_eirp_dbm),
        }
    }
}

impl RoleJson {
    fn new(role: &Role) -> Self {
        match *role {
            Role::Uplink { channel, bw_khz, sub_band, join, rx1_hz } => Self {
                role: "uplink",
                channel: Some(channel),
                bandwidth_khz: bw_khz,
                sub_band,
                join: Some(join),
                rx1_frequency: rx1_hz,
                ..Self::default()
            },
            Role::CommonJoin { index, own, join_accept_hz, rx2_hz } => Self {
                role: "join",
                join_channel: Some(index),
                activates_this_plan: Some(own),
                rx1_frequency: Some(join_accept_hz),
                rx2_frequency: Some(rx2_hz),
                ..Self::default()
            },
            Role::Downlink { channel } => {
                Self { role: "rx1", channel: Some(channel), ..Self::default() }
            }
            Role::JoinAccept { index } => {
                Self { role: "join-accept-rx1", join_channel: Some(index), ..Self::default() }
            }
            Role::Rx2AfterJoin { index } => {
                Self { role: "join-accept-rx2", join_channel: Some(index), ..Self::default() }
            }
            Role::Rx2 => Self { role: "rx2", ..Self::default() },
            Role::FixedList { number } => {
                Self { role: "cflist-list", number: Some(number), ..Self::default() }
            }
            Role::Beacon => Self { role: "beacon", ..Self::default() },
            Role::PingSlot => Self { role: "ping-slot", ..Self::default() },
            Role::RelayWor => Self { role: "relay-wor", ..Self::default() },
            Role::RelayAck => Self { role: "relay-ack", ..Self::default() },
        }
    }
}

/// Channels farther than this say nothing about a frequency that has a use of its own.
const NEAR_HZ: i64 = 1_000_000;
