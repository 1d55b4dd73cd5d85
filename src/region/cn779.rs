//! CN779: CN779-787, channel plan 3.

use super::{
    DutyRule,
    model::{
        Beacon, CfListFrequencies, CfListRule, ChMaskCntlRule, DataRate, DataRates,
        DefaultChannels, Hop, Join, JoinChannels, Note, PayloadLimit, Payloads, PingSlot, Plan,
        PlanKind, Power, Rx1Channel, Rx1Row, Rx1Rule, Rx2, channel, fsk, limit, lora, rx1,
    },
    shared::{CH_MASK_CNTL_16, ORDINARY},
};

pub(super) static PLAN: Plan = Plan {
    name: "CN779",
    common_name: "CN779",
    aliases: &["CN779-787"],
    title: "CN779-787",
    plan_id: 3,
    kind: PlanKind::Dynamic,
    baseline: "RP002-1.0.1 (later revisions: deprecated, tables not seen)",
    source: "R1 2.6, public network documentation",
    range_hz: (779_000_000, 787_000_000),
    centre_range_hz: Some((779_500_000, 786_500_000)),
    default_channels: DefaultChannels::Listed(&[
        channel(0, 779_500_000, 0, 5),
        channel(1, 779_700_000, 0, 5),
        channel(2, 779_900_000, 0, 5),
    ]),
    join: Join {
        channels: JoinChannels::Listed(&[
            channel(0, 779_500_000, 0, 5),
            channel(1, 779_700_000, 0, 5),
            channel(2, 779_900_000, 0, 5),
        ]),
        data_rates: &[0, 1, 2, 3, 4, 5],
        source: None,
    },
    data_rates: DataRates { uplink: &DATA_RATES, downlink: None, source: "R1 Table 21" },
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::SameFrequency,
        rule: "same frequency as the uplink",
        table: &RX1,
        dwell_table: None,
        source: "R1 Table 25",
    },
    rx1_offset_max: 5,
    rx2_default: Rx2 { freq_hz: 786_000_000, dr: 0, note: None },
    power: Power {
        max_dbm: 12.15,
        reference: "EIRP",
        step_db: 2,
        max_index: 5,
        older: None,
        source: "R1 Table 21",
    },
    cflist: CfListRule {
        frequencies: Some(CfListFrequencies { first_channel: 3 }),
        masks: None,
        note: None,
        source: None,
    },
    ch_mask_cntl: ChMaskCntlRule { current: &CH_MASK_CNTL_16, older: &[], source: "R1 Table 22" },
    payloads: Payloads {
        uplink: &PAYLOAD,
        uplink_dwell: None,
        downlink: None,
        source: "R1 Tables 23/24",
    },
    duty_cycle: "below 1%",
    duty_rules: &[DutyRule { default_channels: false, permille: 10 }],
    beacon: Beacon {
        frequencies_hz: &[785_000_000],
        hop: Hop::Never,
        dr: 3,
        sf: 9,
        bw_khz: 125,
        octets: 17,
        rule: None,
    },
    ping: PingSlot { frequencies_hz: &[785_000_000], dr: 3, rule: None },
    notes: &[
        Note {
            revision: "<= RP 1.0.3revA",
            change: "join list had six frequencies 779.5 779.7 779.9 780.5 780.7 780.9 MHz (below \
                 0.1%)",
            bites_when: "an old device joins on 780.x where a gateway set up for three channels is deaf",
            source: "R102 Table 19, R103 p.26, R1 revision list",
        },
        Note {
            revision: "all",
            change: "new devices not allowed after 2021-01-01; later regional parameters mark the \
                 plan deprecated",
            bites_when: "seen only in old captures",
            source: "R1 2.6.2, public network documentation",
        },
        Note {
            revision: "all",
            change: "RX2 is 786.0 MHz but beacon and ping slot are 785.0 MHz",
            bites_when: "using one constant for both",
            source: "R1 2.6.7/2.6.8",
        },
    ],
    doubts: &["tables after RP002-1.0.1 were not seen"],
    ..ORDINARY
};

static DATA_RATES: [DataRate; 8] = [
    lora(0, 12, 125, 250),
    lora(1, 11, 125, 440),
    lora(2, 10, 125, 980),
    lora(3, 9, 125, 1760),
    lora(4, 8, 125, 3125),
    lora(5, 7, 125, 5470),
    lora(6, 7, 250, 11_000),
    fsk(7, 50_000),
];

static RX1: [Rx1Row; 8] = [
    rx1(0, &[0, 0, 0, 0, 0, 0]),
    rx1(1, &[1, 0, 0, 0, 0, 0]),
    rx1(2, &[2, 1, 0, 0, 0, 0]),
    rx1(3, &[3, 2, 1, 0, 0, 0]),
    rx1(4, &[4, 3, 2, 1, 0, 0]),
    rx1(5, &[5, 4, 3, 2, 1, 0]),
    rx1(6, &[6, 5, 4, 3, 2, 1]),
    rx1(7, &[7, 6, 5, 4, 3, 2]),
];

static PAYLOAD: [PayloadLimit; 8] = [
    limit(0, 59, 59),
    limit(1, 59, 59),
    limit(2, 59, 59),
    limit(3, 123, 123),
    limit(4, 230, 250),
    limit(5, 230, 250),
    limit(6, 230, 250),
    limit(7, 230, 250),
];
