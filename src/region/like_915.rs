//! What US902-928 and AU915-928 share: 64 narrow and 8 wide channels up, 8 wide ones down.
//!
//! A plan's file states its own numbers and its differences, and takes the rest from [`PLAN`].

use super::{
    ChMaskCntl, Revision,
    model::{
        Beacon, CfListMasks, CfListRule, ChMaskCntlRule, DataRate, DataRates, DefaultChannels, Hop,
        MasksOver, PayloadLimit, Payloads, PingSlot, Plan, PlanKind, Rx1Channel, Rx1Rule, Rx2,
        block, limit, lora, relay,
    },
    shared::ORDINARY,
};

/// The rules that both have in common.
pub(super) const PLAN: Plan = Plan {
    baseline: "RP002-1.0.5",
    kind: PlanKind::Fixed,
    default_channels: DefaultChannels::AllUplink("all 72 uplink channels enabled after reset"),
    downlink_blocks: &[block(0, 8, 923_300_000, 600_000, 500, 8, 13)],
    sub_bands: 8,
    rx2_default: Rx2 { freq_hz: 923_300_000, dr: 8, note: None },
    cflist: CfListRule {
        frequencies: None,
        masks: Some(CfListMasks {
            over: MasksOver::Channels { words: 5 },
            since: Revision::Rp1_0_3A,
        }),
        note: None,
        source: None,
    },
    beacon: Beacon {
        frequencies_hz: &DOWNLINKS_HZ,
        hop: Hop::OverList,
        dr: 8,
        sf: 12,
        bw_khz: 500,
        octets: 23,
        rule: None,
    },
    ping: PingSlot { frequencies_hz: &DOWNLINKS_HZ, dr: 8, rule: None },
    relay: &[relay(916_700_000, 918_300_000, 10), relay(919_900_000, 921_500_000, 10)],
    data_rates: DataRates { uplink: &[], downlink: Some(&DOWNLINK), source: "" },
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::Modulo(8),
        rule: "downlink channel k = uplink channel number mod 8",
        table: &[],
        dwell_table: None,
        source: "",
    },
    ch_mask_cntl: ChMaskCntlRule {
        current: &CH_MASK_CNTL,
        older: &[(Revision::Rp1_0_2B, &CH_MASK_CNTL_1_0_2B)],
        source: "",
    },
    payloads: Payloads {
        uplink: &[],
        uplink_dwell: None,
        downlink: Some(&PAYLOAD_DOWNLINK),
        source: "",
    },
    ..ORDINARY
};

const DOWNLINKS_HZ: [u32; 8] = [
    923_300_000,
    923_900_000,
    924_500_000,
    925_100_000,
    925_700_000,
    926_300_000,
    926_900_000,
    927_500_000,
];

static DOWNLINK: [DataRate; 8] = [
    lora(0, 5, 500, 62_500).since(Revision::Rp002_1_0_5),
    lora(8, 12, 500, 980),
    lora(9, 11, 500, 1760),
    lora(10, 10, 500, 3900),
    lora(11, 9, 500, 7000),
    lora(12, 8, 500, 12_500),
    lora(13, 7, 500, 21_900),
    lora(14, 6, 500, 37_500).since(Revision::Rp002_1_0_5),
];

static CH_MASK_CNTL: [ChMaskCntl; 8] = [
    ChMaskCntl::Group { first: 0, last: 15 },
    ChMaskCntl::Group { first: 16, last: 31 },
    ChMaskCntl::Group { first: 32, last: 47 },
    ChMaskCntl::Group { first: 48, last: 63 },
    ChMaskCntl::Group { first: 64, last: 71 },
    ChMaskCntl::SubBands,
    ChMaskCntl::NarrowOn,
    ChMaskCntl::NarrowOff,
];

static CH_MASK_CNTL_1_0_2B: [ChMaskCntl; 8] = [
    ChMaskCntl::Group { first: 0, last: 15 },
    ChMaskCntl::Group { first: 16, last: 31 },
    ChMaskCntl::Group { first: 32, last: 47 },
    ChMaskCntl::Group { first: 48, last: 63 },
    ChMaskCntl::Group { first: 64, last: 71 },
    ChMaskCntl::Rfu,
    ChMaskCntl::NarrowOn,
    ChMaskCntl::NarrowOff,
];

static PAYLOAD_DOWNLINK: [PayloadLimit; 8] = [
    limit(0, 230, 250),
    limit(8, 61, 61),
    limit(9, 137, 137),
    limit(10, 230, 250),
    limit(11, 230, 250),
    limit(12, 230, 250),
    limit(13, 230, 250),
    limit(14, 230, 250),
];
