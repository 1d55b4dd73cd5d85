//! CN779: CN779-787, channel plan 3.

use super::{
    DutyRule, like_868,
    model::{
        CfListRule, ChMaskCntlRule, Channel, DataRate, DataRates, DefaultChannels, Note,
        PayloadLimit, Payloads, PingSlot, Plan, Power, Rx1Row, Rx1Rule, Rx2, channel,
    },
    shared::CH_MASK_CNTL_16,
};

pub(super) static PLAN: Plan = Plan {
    name: "CN779",
    common_name: "CN779",
    aliases: &["CN779-787"],
    title: "CN779-787",
    plan_id: 3,
    baseline: "RP002-1.0.1 (later revisions: deprecated, tables not seen)",
    source: "R1 2.6, public network documentation",
    range_hz: (779_000_000, 787_000_000),
    centre_range_hz: Some((779_500_000, 786_500_000)),
    default_channels: DefaultChannels::Listed(&CHANNELS),
    join: like_868::join_on(&CHANNELS),
    data_rates: DataRates {
        uplink: &DATA_RATES,
        source: "R1 Table 21",
        ..like_868::PLAN.data_rates
    },
    rx1_rule: Rx1Rule { table: &RX1, source: "R1 Table 25", ..like_868::PLAN.rx1_rule },
    rx2_default: Rx2 { freq_hz: 786_000_000, dr: 0, note: None },
    power: Power { max_dbm: 12.15, max_index: 5, source: "R1 Table 21", ..like_868::PLAN.power },
    cflist: CfListRule { masks: None, ..like_868::PLAN.cflist },
    ch_mask_cntl: ChMaskCntlRule { current: &CH_MASK_CNTL_16, older: &[], source: "R1 Table 22" },
    payloads: Payloads { uplink: &PAYLOAD, source: "R1 Tables 23/24", ..like_868::PLAN.payloads },
    duty_cycle: "below 1%",
    duty_rules: &[DutyRule { default_channels: false, permille: 10 }],
    beacon: like_868::beacon_at(&[785_000_000]),
    ping: PingSlot { frequencies_hz: &[785_000_000], dr: 3, rule: None },
    disputes: &[],
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
    ..like_868::PLAN
};

static CHANNELS: [Channel; 3] =
    [channel(0, 779_500_000, 0, 5), channel(1, 779_700_000, 0, 5), channel(2, 779_900_000, 0, 5)];

static DATA_RATES: [DataRate; 8] = like_868::rates([0, 1, 2, 3, 4, 5, 6, 7]);

static RX1: [Rx1Row; 8] = like_868::rx1_rows([0, 1, 2, 3, 4, 5, 6, 7]);

static PAYLOAD: [PayloadLimit; 8] = like_868::limits([0, 1, 2, 3, 4, 5, 6, 7]);
