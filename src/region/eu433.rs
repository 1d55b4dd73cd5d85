//! EU433, channel plan 4.

use super::{
    DutyRule, like_868,
    model::{
        CfListRule, ChMaskCntlRule, Channel, DataRate, DataRates, DefaultChannels, Dispute, Note,
        PayloadLimit, Payloads, PingSlot, Plan, Power, Rx1Row, Rx1Rule, Rx2, channel,
    },
    shared::{CH_MASK_CNTL_DISPUTE, ONE_TRANSCRIPTION},
};

pub(super) static PLAN: Plan = Plan {
    name: "EU433",
    common_name: "EU433",
    title: "EU433",
    plan_id: 4,
    source: "T5, R1 2.7",
    range_hz: (433_050_000, 434_790_000),
    centre_range_hz: Some((433_175_000, 434_665_000)),
    default_channels: DefaultChannels::Listed(&CHANNELS),
    join: like_868::join_on(&CHANNELS),
    data_rates: DataRates {
        uplink: &DATA_RATES,
        source: "T5 Table 30; DR0-7 = R1 Table 28",
        ..like_868::PLAN.data_rates
    },
    rx1_rule: Rx1Rule {
        table: &RX1,
        source: "T5 Table 38; DR0-7 = R1 Table 32",
        ..like_868::PLAN.rx1_rule
    },
    rx2_default: Rx2 { freq_hz: 434_665_000, dr: 0, note: None },
    power: Power {
        max_dbm: 12.15,
        max_index: 5,
        source: "R1 Table 28 (12.15); public network documentation and T5 give 12 for 1.0.4/1.0.5",
        ..like_868::PLAN.power
    },
    cflist: CfListRule { masks: None, ..like_868::PLAN.cflist },
    ch_mask_cntl: ChMaskCntlRule {
        source: "T5; older form R1 Table 29",
        ..like_868::PLAN.ch_mask_cntl
    },
    payloads: Payloads {
        uplink: &PAYLOAD,
        source: "T5 Tables 36/37; DR0-7 = R1 Tables 30/31",
        ..like_868::PLAN.payloads
    },
    duty_cycle: "below 10% in the band (R1 2.7.2, T5); join channels below 1% (R1 Table 27); 1% \
             everywhere up to RP 1.0.2rB",
    duty_rules: &[
        DutyRule { default_channels: false, permille: 100 },
        DutyRule { default_channels: true, permille: 10 },
    ],
    beacon: like_868::beacon_at(&[434_665_000]),
    ping: PingSlot { frequencies_hz: &[434_665_000], dr: 3, rule: None },
    notes: &[
        Note {
            revision: "RP 1.0.2rB -> RP002",
            change: "duty cycle 1% became 10%",
            bites_when: "a stack still enforcing 1% spaces join retries ten times wider than expected",
            source: "R102 2.4.2, R1 2.7.2; a public device stack keeps 1%",
        },
        Note {
            revision: "1.0.5",
            change: "only CFList type 0 is named for EU433 (no fixed channel list)",
            bites_when: "a type 1 CFList in an EU433 join-accept is ignored",
            source: "T5",
        },
    ],
    disputes: &[
        Dispute {
            what: "duty cycle",
            one: "R102: 1%; a public device stack still 1%",
            other: "R1: 10% in the band, 1% on join channels",
            taken: "R1",
        },
        Dispute {
            what: "maximum EIRP",
            one: "R1: 12.15 dBm",
            other: "public network documentation (1.0.4), T5: 12",
            taken: "12.15; the difference is rounding",
        },
        CH_MASK_CNTL_DISPUTE,
    ],
    doubts: &[ONE_TRANSCRIPTION],
    ..like_868::PLAN
};

static CHANNELS: [Channel; 3] =
    [channel(0, 433_175_000, 0, 5), channel(1, 433_375_000, 0, 5), channel(2, 433_575_000, 0, 5)];

static DATA_RATES: [DataRate; 10] = like_868::rates([0, 1, 2, 3, 4, 5, 6, 7, 12, 13]);

static RX1: [Rx1Row; 10] = like_868::rx1_rows([0, 1, 2, 3, 4, 5, 6, 7, 12, 13]);

static PAYLOAD: [PayloadLimit; 10] = like_868::limits([0, 1, 2, 3, 4, 5, 6, 7, 12, 13]);
