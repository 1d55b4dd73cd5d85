//! A plan as one JSON object.

use std::fmt::{self, Write};

use serde::Serialize;

use super::{floor, join_request_us, mentions};
use crate::{
    frame::Direction::{self, Downlink, Uplink},
    region::{
        ChMaskCntl, Channel, ChannelMask, DataRate, JoinChannels, MasksOver, PayloadLimit, Plan,
        Rx1Row, SOURCES, Since, Window,
    },
};

/// Writes a plan as one JSON object in one line. Frequencies are hertz.
///
/// # Errors
/// When `out` does not take it.
pub fn json(plan: &Plan, out: &mut dyn Write) -> fmt::Result {
    let mut report = PlanJson::new(plan);
    let text = crate::show::json::object(&report)?;
    let named = SOURCES.iter().filter(|(key, _)| mentions(&text, key));
    report.sources = named.map(|&(key, title)| SourceJson { key, title }).collect();
    writeln!(out, "{}", crate::show::json::object(&report)?)
}

#[derive(Serialize)]
struct PlanJson {
    schema: u32,
    plan: &'static str,
    common_name: &'static str,
    title: &'static str,
    plan_id: u8,
    kind: &'static str,
    baseline: &'static str,
    source: &'static str,
    band: [u32; 2],
    #[serde(skip_serializing_if = "Option::is_none")]
    channel_centres: Option<[u32; 2]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    frequency_offset: Option<i32>,
    uplink_channels: Vec<ChannelJson>,
    downlink_channels: Vec<ChannelJson>,
    sub_bands: Vec<SubBandJson>,
    data_rates: Vec<RateJson>,
    join: JoinJson,
    rx1: Rx1Json,
    rx2: WindowJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    rx2_note: Option<&'static str>,
    receive_delays_s: [u8; 2],
    cflist: CfListJson,
    ch_mask_cntl: Vec<String>,
    ch_mask_cntl_older: Vec<OlderMaskJson>,
    payloads: Vec<PayloadJson>,
    payload_source: &'static str,
    uplink_dwell_ms: u16,
    downlink_dwell_ms: u16,
    #[serde(skip_serializing_if = "Option::is_none")]
    dwell_default: Option<&'static str>,
    tx_param_setup: bool,
    duty_cycle: &'static str,
    duty_limits: Vec<DutyJson>,
    longest_ms: Option<u16>,
    regulator_bands: Vec<RegulatorJson>,
    legal_channels: Vec<LegalJson>,
    power: PowerJson,
    beacon: BeaconJson,
    ping_slot: PingJson,
    relay: Vec<RelayJson>,
    legacy: Vec<LegacyJson>,
    changes: Vec<ChangeJson>,
    disputes: Vec<DisputeJson>,
    doubts: &'static [&'static str],
    sources: Vec<SourceJson>,
}

#[derive(Serialize)]
struct ChannelJson {
    channel: u16,
    frequency: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    bandwidth_khz: Option<u16>,
    dr_min: u8,
    dr_max: u8,
    #[serde(skip_serializing_if = "Option::is_none")]
    sub_band: Option<u8>,
}

#[derive(Serialize)]
struct SubBandJson {
    sub_band: u8,
    channels: Vec<u16>,
    masks: Vec<String>,
}

#[derive(Serialize)]
struct RateJson {
    direction: &'static str,
    dr: u8,
    data_rate: String,
    bit_rate: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    since: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    demodulation_floor_db: Option<f32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    join_request_us: Option<u64>,
}

#[derive(Serialize)]
struct JoinJson {
    #[serde(skip_serializing_if = "Option::is_none")]
    rule: Option<&'static str>,
    channels: Vec<ChannelJson>,
    common_channels: Vec<CommonJson>,
    data_rates: &'static [u8],
    delays_s: [u8; 2],
    rx1: Vec<JoinRx1Json>,
    rx2: WindowJson,
}

#[derive(Serialize)]
struct CommonJson {
    join_channel: u8,
    frequency: u32,
    rx1_frequency: u32,
    rx2_frequency: u32,
    plan: &'static str,
}

#[derive(Serialize)]
struct JoinRx1Json {
    uplink_dr: u8,
    uplink_data_rate: String,
    dr: u8,
    data_rate: String,
}

#[derive(Serialize)]
struct WindowJson {
    frequency: u32,
    dr: u8,
    data_rate: String,
}

#[derive(Serialize)]
struct Rx1Json {
    channel: &'static str,
    offset_max: u8,
    table: Vec<Rx1RowJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dwell_table: Option<Vec<Rx1RowJson>>,
    source: &'static str,
}

#[derive(Serialize)]
struct Rx1RowJson {
    uplink_dr: u8,
    downlink_dr: &'static [u8],
}

#[derive(Serialize)]
struct CfListJson {
    types: Vec<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    type0_first_channel: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    type1_words: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    type1_list: Option<Vec<u32>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    type1_since: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<&'static str>,
}

#[derive(Serialize)]
struct OlderMaskJson {
    until: &'static str,
    ch_mask_cntl: Vec<String>,
}

#[derive(Serialize)]
struct PayloadJson {
    direction: &'static str,
    dwell: bool,
    dr: u8,
    m: u8,
    n: u8,
    m_repeater: u8,
    n_repeater: u8,
}

#[derive(Serialize)]
struct RegulatorJson {
    letter: char,
    older_name: &'static str,
    band: [u32; 2],
    duty_permille: u16,
    max_erp_dbm: u8,
    max_erp_mw: u16,
    ec_2017_1483: &'static str,
}

#[derive(Serialize)]
struct DutyJson {
    band: String,
    per_mille: u16,
}

#[derive(Serialize)]
struct LegalJson {
    frequency: u32,
    max_eirp_dbm: u8,
}

#[derive(Serialize)]
struct PowerJson {
    max_dbm: f32,
    reference: &'static str,
    step_db: u8,
    max_index: u8,
    #[serde(skip_serializing_if = "Option::is_none")]
    older: Option<OlderPowerJson>,
    source: &'static str,
}

#[derive(Serialize)]
struct OlderPowerJson {
    until: &'static str,
    max_dbm: f32,
    max_index: u8,
}

#[derive(Serialize)]
struct BeaconJson {
    frequencies: &'static [u32],
    dr: u8,
    data_rate: String,
    octets: u8,
    #[serde(skip_serializing_if = "Option::is_none")]
    rule: Option<&'static str>,
}

#[derive(Serialize)]
struct PingJson {
    frequencies: &'static [u32],
    dr: u8,
    #[serde(skip_serializing_if = "Option::is_none")]
    rule: Option<&'static str>,
}

#[derive(Serialize)]
struct RelayJson {
    wor_frequency: u32,
    ack_frequency: u32,
    dr: u8,
}

#[derive(Serialize)]
struct LegacyJson {
    valid: &'static str,
    join_data_rates: &'static [u8],
    data_rates: Vec<RateJson>,
    rx1_table: Vec<Rx1RowJson>,
    source: &'static str,
}

#[derive(Serialize)]
struct ChangeJson {
    revision: &'static str,
    change: &'static str,
    bites_when: &'static str,
    source: &'static str,
}

#[derive(Serialize)]
struct DisputeJson {
    what: &'static str,
    one: &'static str,
    other: &'static str,
    taken: &'static str,
}

#[derive(Serialize)]
struct SourceJson {
    key: &'static str,
    title: &'static str,
}

impl PlanJson {
    fn new(p: &Plan) -> Self {
        let both = p.data_rates.downlink.is_none();
        let mut data_rates: Vec<RateJson> =
            p.rates(Uplink).iter().map(|r| rate(r, Uplink, both)).collect();
        if !both {
            data_rates.extend(p.rates(Downlink).iter().map(|r| rate(r, Downlink, false)));
        }
        Self {
            schema: crate::show::json::SCHEMA,
            plan: p.name,
            common_name: p.common_name,
            title: p.title,
            plan_id: p.plan_id,
            kind: p.kind.name(),
            baseline: p.baseline,
            source: p.source,
            band: p.range_hz.into(),
            channel_centres: p.centre_range_hz.map(Into::into),
            frequency_offset: p.frequency_offset_hz,
            uplink_channels: uplink_channels(p),
            downlink_channels: downlink_channels(p),
            sub_bands: sub_bands(p),
            data_rates,
            join: join(p),
            rx1: Rx1Json {
                channel: p.rx1_rule.rule,
                offset_max: p.rx1_offset_max,
                table: rx1_rows(p.rx1_rule.table),
                dwell_table: p.rx1_rule.dwell_table.map(rx1_rows),
                source: p.rx1_rule.source,
            },
            rx2: window(p.rx2()),
            rx2_note: p.rx2_default.note,
            receive_delays_s: [p.delays.receive_1_s, p.delays.receive_2_s],
            cflist: cflist(p),
            ch_mask_cntl: meanings(p.ch_mask_cntl.current),
            ch_mask_cntl_older: p
                .ch_mask_cntl
                .older
                .iter()
                .map(|(until, table)| OlderMaskJson {
                    until: until.name(),
                    ch_mask_cntl: meanings(table),
                })
                .collect(),
            payloads: payloads(p),
            payload_source: p.payloads.source,
            uplink_dwell_ms: p.dwell.uplink_ms,
            downlink_dwell_ms: p.dwell.downlink_ms,
            dwell_default: p.dwell.default,
            tx_param_setup: p.dwell.tx_param_setup,
            duty_cycle: p.duty_words(),
            duty_limits: p
                .duty_bands()
                .map(|band| DutyJson { band: band.name(p), per_mille: band.permille() })
                .collect(),
            longest_ms: Some(p.longest_ms).filter(|ms| *ms > 0),
            regulator_bands: regulator_bands(p),
            legal_channels: p
                .legal_channels
                .iter()
                .map(|c| LegalJson { frequency: c.freq_hz, max_eirp_dbm: c.max_eirp_dbm })
                .collect(),
            power: power(p),
            beacon: BeaconJson {
                frequencies: p.beacon.frequencies_hz,
                dr: p.beacon.dr,
                data_rate: format!("SF{}BW{}", p.beacon.sf, p.beacon.bw_khz),
                octets: p.beacon.octets,
                rule: p.beacon.rule,
            },
            ping_slot: PingJson {
                frequencies: p.ping.frequencies_hz,
                dr: p.ping.dr,
                rule: p.ping.rule,
            },
            relay: p
                .relay
                .iter()
                .map(|r| RelayJson { wor_frequency: r.wor_hz, ack_frequency: r.ack_hz, dr: r.dr })
                .collect(),
            legacy: legacy(p),
            changes: p
                .notes
                .iter()
                .map(|n| ChangeJson {
                    revision: n.revision,
                    change: n.change,
                    bites_when: n.bites_when,
                    source: n.source,
                })
                .collect(),
            disputes: p
                .disputes
                .iter()
                .map(|d| DisputeJson { what: d.what, one: d.one, other: d.other, taken: d.taken })
                .collect(),
            doubts: p.doubts,
            sources: Vec::new(),
        }
    }
}

fn uplink_channels(p: &Plan) -> Vec<ChannelJson> {
    let listed = p.listed_channels().iter().copied().map(listed);
    let blocks = p.uplink_blocks.iter().flat_map(|b| {
        (b.first..b.first + b.count).filter_map(|channel| {
            Some(ChannelJson {
                channel,
                frequency: b.frequency(channel)?,
                bandwidth_khz: Some(b.bw_khz),
                dr_min: b.dr_min,
                dr_max: b.dr_max,
                sub_band: p.sub_band(channel),
            })
        })
    });
    listed.chain(blocks).collect()
}

fn downlink_channels(p: &Plan) -> Vec<ChannelJson> {
    let numbers = |b: &'static crate::region::Block| {
        (b.first..b.first + b.count).filter_map(|channel| {
            Some(ChannelJson {
                channel,
                frequency: b.frequency(channel)?,
                bandwidth_khz: Some(b.bw_khz),
                dr_min: b.dr_min,
                dr_max: b.dr_max,
                sub_band: None,
            })
        })
    };
    p.downlink_blocks.iter().flat_map(numbers).collect()
}

fn listed(c: Channel) -> ChannelJson {
    ChannelJson {
        channel: c.number,
        frequency: c.freq_hz,
        bandwidth_khz: None,
        dr_min: c.dr_min,
        dr_max: c.dr_max,
        sub_band: None,
    }
}

fn sub_bands(p: &Plan) -> Vec<SubBandJson> {
    (1..=p.sub_bands)
        .map(|n| {
            let channels = p.sub_band_channels(n);
            let mask = ChannelMask::from_channels(channels.iter().copied());
            let masks = mask.padded(p.mask_words());
            SubBandJson {
                sub_band: n,
                channels,
                masks: masks.words().iter().map(|w| format!("{w:04x}")).collect(),
            }
        })
        .collect()
}

fn rate(r: &DataRate, direction: Direction, both: bool) -> RateJson {
    let uplink = direction == Uplink;
    RateJson {
        direction: if both && r.goes(Downlink) { "both" } else { direction.name() },
        dr: r.dr,
        data_rate: r.modulation.to_string(),
        bit_rate: r.bit_rate,
        since: (r.since != Since::Always).then(|| r.since.to_string()),
        demodulation_floor_db: floor(r.modulation),
        join_request_us: join_request_us(r.modulation)
            .filter(|_| uplink)
            .and_then(|us| us.try_into().ok()),
    }
}

fn join(p: &Plan) -> JoinJson {
    let (rule, channels, common) = match p.join.channels {
        JoinChannels::Listed(channels) => (None, channels, None),
        JoinChannels::AnyUplink(rule) => (Some(rule), [].as_slice(), None),
        JoinChannels::Common { rule, table } => (Some(rule), [].as_slice(), Some(table)),
    };
    let rx1 = p.join.data_rates.iter().filter_map(|&uplink_dr| {
        let dr = p.rx1_dr(uplink_dr, 0, false)?;
        Some(JoinRx1Json {
            uplink_dr,
            uplink_data_rate: p.dr(Uplink, uplink_dr)?.to_string(),
            dr,
            data_rate: p.dr(Downlink, dr)?.to_string(),
        })
    });
    JoinJson {
        rule,
        channels: channels.iter().copied().map(listed).collect(),
        common_channels: common
            .unwrap_or_default()
            .iter()
            .map(|c| CommonJson {
                join_channel: c.index,
                frequency: c.uplink_hz,
                rx1_frequency: c.join_accept_hz,
                rx2_frequency: c.rx2_hz,
                plan: c.plan,
            })
            .collect(),
        data_rates: p.join.data_rates,
        delays_s: [p.delays.join_accept_1_s, p.delays.join_accept_2_s],
        rx1: rx1.collect(),
        rx2: window(p.rx2()),
    }
}

fn window(w: Window) -> WindowJson {
    WindowJson { frequency: w.freq_hz, dr: w.dr, data_rate: w.modulation.to_string() }
}

fn rx1_rows(table: &'static [Rx1Row]) -> Vec<Rx1RowJson> {
    table.iter().map(|r| Rx1RowJson { uplink_dr: r.uplink, downlink_dr: r.downlink }).collect()
}

fn cflist(p: &Plan) -> CfListJson {
    let words = match p.cflist.masks.map(|m| m.over) {
        Some(MasksOver::Channels { words }) => Some(words),
        _ => None,
    };
    CfListJson {
        types: (0..=1).filter(|t| p.accepts_cflist_type(*t)).collect(),
        type0_first_channel: p.cflist.frequencies.map(|f| f.first_channel),
        type1_words: words,
        type1_list: p.fixed_list().map(|l| l.iter().map(|(_, f)| f).collect()),
        type1_since: p.cflist.masks.map(|m| m.since.name()),
        note: p.cflist.note,
    }
}

fn meanings(table: &[ChMaskCntl; 8]) -> Vec<String> {
    table.iter().map(ToString::to_string).collect()
}

fn payloads(p: &Plan) -> Vec<PayloadJson> {
    let own = p.payloads.downlink.is_some();
    let tables = [
        (if own { "up" } else { "both" }, false, Some(p.payloads.uplink)),
        ("up", true, p.payloads.uplink_dwell),
        ("down", false, p.payloads.downlink),
    ];
    let row = |direction, dwell, l: &PayloadLimit| PayloadJson {
        direction,
        dwell,
        dr: l.dr,
        m: l.direct,
        n: l.direct.saturating_sub(8),
        m_repeater: l.repeater,
        n_repeater: l.repeater.saturating_sub(8),
    };
    tables
        .into_iter()
        .flat_map(|(direction, dwell, table)| {
            table.unwrap_or_default().iter().map(move |l| row(direction, dwell, l))
        })
        .collect()
}

fn regulator_bands(p: &Plan) -> Vec<RegulatorJson> {
    p.regulator_bands
        .iter()
        .map(|b| RegulatorJson {
            letter: b.letter,
            older_name: b.older_name,
            band: [b.low_hz, b.high_hz],
            duty_permille: b.duty_permille,
            max_erp_dbm: b.max_erp_dbm,
            max_erp_mw: b.max_erp_mw,
            ec_2017_1483: b.ec_2017_1483,
        })
        .collect()
}

fn power(p: &Plan) -> PowerJson {
    PowerJson {
        max_dbm: p.power.max_dbm,
        reference: p.power.reference,
        step_db: p.power.step_db,
        max_index: p.power.max_index,
        older: p.power.older.map(|o| OlderPowerJson {
            until: o.until.name(),
            max_dbm: o.max_dbm,
            max_index: o.max_index,
        }),
        source: p.power.source,
    }
}

fn legacy(p: &Plan) -> Vec<LegacyJson> {
    p.legacy
        .iter()
        .map(|l| LegacyJson {
            valid: l.valid,
            join_data_rates: l.join_data_rates,
            data_rates: l
                .uplink
                .unwrap_or_default()
                .iter()
                .map(|r| rate(r, Uplink, false))
                .collect(),
            rx1_table: l.rx1.map(rx1_rows).unwrap_or_default(),
            source: l.source,
        })
        .collect()
}
