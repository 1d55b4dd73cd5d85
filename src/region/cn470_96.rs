//! CN470-96: CN470-510, legacy 96-channel plan, channel plan 6.

use super::{
    ChMaskCntl, Revision, like_868,
    model::{
        Beacon, CfListMasks, CfListRule, ChMaskCntlRule, DataRate, DataRates, DefaultChannels,
        Dispute, Hop, Join, JoinChannels, MasksOver, Note, PayloadLimit, Payloads, PingSlot, Plan,
        PlanKind, Power, Rx1Channel, Rx1Row, Rx1Rule, Rx2, block,
    },
    shared::ORDINARY,
};

pub(super) static PLAN: Plan = Plan {
    name: "CN470-96",
    common_name: "CN470",
    aliases: &["CN470", "CN470-510", "CN470-510-96"],
    title: "CN470-510, legacy 96-channel plan",
    plan_id: 6,
    kind: PlanKind::Fixed,
    baseline: "RP V1.0 .. RP 1.0.3revA",
    source: "R10 2.6, R102 2.6, two public device stacks, T5 (quotes 1.0.3revA 2.7)",
    range_hz: (470_000_000, 510_000_000),
    default_channels: DefaultChannels::AllUplink("all 96 uplink channels enabled after reset"),
    join: Join {
        channels: JoinChannels::AnyUplink("any of the 96 uplink channels"),
        data_rates: &[5, 4, 3, 2, 1, 0],
        source: Some("R102 2.6.2"),
    },
    uplink_blocks: &[block(0, 96, 470_300_000, 200_000, 125, 0, 5)],
    downlink_blocks: &[block(0, 48, 500_300_000, 200_000, 125, 0, 5)],
    sub_bands: 12,
    data_rates: DataRates { uplink: &DATA_RATES, downlink: None, source: "R102 Table 41" },
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::Modulo(48),
        rule: "downlink channel k = uplink channel number mod 48 (uplink 49 -> downlink 1)",
        table: &RX1,
        dwell_table: None,
        source: "R102 Table 45",
    },
    rx1_offset_max: 5,
    rx2_default: Rx2 { freq_hz: 505_300_000, dr: 0, note: None },
    power: Power {
        max_dbm: 19.15,
        reference: "EIRP",
        step_db: 2,
        max_index: 7,
        older: None,
        source: "R102 Table 41",
    },
    cflist: CfListRule {
        frequencies: None,
        masks: Some(CfListMasks {
            over: MasksOver::Channels { words: 6 },
            since: Revision::Rp1_0_3A,
        }),
        note: Some(
            "type 1 with six ChMask fields since 1.0.3revA (read from a public device stack); not supported up to 1.0.2rB",
        ),
        source: None,
    },
    ch_mask_cntl: ChMaskCntlRule { current: &CH_MASK_CNTL, older: &[], source: "R102 Table 42" },
    payloads: Payloads {
        uplink: &PAYLOAD,
        uplink_dwell: None,
        downlink: None,
        source: "R102 Tables 43/44",
    },
    duty_cycle: "a transmission lasts at most 5000 ms (R102 2.6.2)",
    longest_ms: 5000,
    beacon: Beacon {
        frequencies_hz: &[
            508_300_000,
            508_500_000,
            508_700_000,
            508_900_000,
            509_100_000,
            509_300_000,
            509_500_000,
            509_700_000,
        ],
        hop: Hop::OverList,
        dr: 2,
        sf: 10,
        bw_khz: 125,
        octets: 19,
        rule: None,
    },
    ping: PingSlot {
        frequencies_hz: &[
            508_300_000,
            508_500_000,
            508_700_000,
            508_900_000,
            509_100_000,
            509_300_000,
            509_500_000,
            509_700_000,
        ],
        dr: 2,
        rule: None,
    },
    notes: &[
        Note {
            revision: "all",
            change: "still widely deployed although replaced in RP002-1.0.1; networks usually run \
                 one block of eight, e.g. channels 80-87 = 486.3-487.7 MHz",
            bites_when: "see CN470_20A; a device set to the new plans never hears 500-510 MHz downlinks \
                 of this plan",
            source: "R1 2.9, T5, a public gateway channel list",
        },
        Note {
            revision: "<= RP V1.0",
            change: "TXPower absolute: 17,16,14,12,10,7,5,2 dBm; RX1DROffset text allowed 0..3 \
                 although the table had 0..5",
            bites_when: "power decode of very old devices",
            source: "R10 2.6.3/2.6.7",
        },
        Note {
            revision: "stack bug",
            change: "a public device stack lists a Class B ping-slot start of 923.3 MHz for this plan",
            bites_when: "copy error; the specification family and another public device stack use 508.3 MHz + 0.2 k",
            source: "two public device stacks that differ",
        },
    ],
    disputes: &[Dispute {
        what: "ping slot",
        one: "a public device stack: 508.3 MHz + 0.2 k",
        other: "another public device stack: start 923.3 MHz",
        taken: "508.3 MHz + 0.2 k",
    }],
    doubts: &["CFList type 1 since RP 1.0.3revA: read from one public device stack"],
    ..ORDINARY
};

static DATA_RATES: [DataRate; 6] = like_868::rates([0, 1, 2, 3, 4, 5]);

static RX1: [Rx1Row; 6] = like_868::rx1_rows([0, 1, 2, 3, 4, 5]);

static CH_MASK_CNTL: [ChMaskCntl; 8] = [
    ChMaskCntl::Group { first: 0, last: 15 },
    ChMaskCntl::Group { first: 16, last: 31 },
    ChMaskCntl::Group { first: 32, last: 47 },
    ChMaskCntl::Group { first: 48, last: 63 },
    ChMaskCntl::Group { first: 64, last: 79 },
    ChMaskCntl::Group { first: 80, last: 95 },
    ChMaskCntl::AllOn,
    ChMaskCntl::Rfu,
];

static PAYLOAD: [PayloadLimit; 6] = like_868::limits([0, 1, 2, 3, 4, 5]);
