//! EU433, channel plan 4.

use super::{
    DutyRule, Revision,
    model::{
        Beacon, CfListFrequencies, CfListRule, ChMaskCntlRule, DataRate, DataRates,
        DefaultChannels, Dispute, Hop, Join, JoinChannels, Note, PayloadLimit, Payloads, PingSlot,
        Plan, PlanKind, Power, Rx1Channel, Rx1Row, Rx1Rule, Rx2, channel, fsk, limit, lora, rx1,
    },
    shared::{CH_MASK_CNTL, CH_MASK_CNTL_DISPUTE, CH_MASK_CNTL_OLDER, ONE_TRANSCRIPTION, ORDINARY},
};

pub(super) static PLAN: Plan = Plan {
    name: "EU433",
    common_name: "EU433",
    title: "EU433",
    plan_id: 4,
    kind: PlanKind::Dynamic,
    baseline: "RP002-1.0.5",
    source: "T5, R1 2.7",
    range_hz: (433_050_000, 434_790_000),
    centre_range_hz: Some((433_175_000, 434_665_000)),
    default_channels: DefaultChannels::Listed(&[
        channel(0, 433_175_000, 0, 5),
        channel(1, 433_375_000, 0, 5),
        channel(2, 433_575_000, 0, 5),
    ]),
    join: Join {
        channels: JoinChannels::Listed(&[
            channel(0, 433_175_000, 0, 5),
            channel(1, 433_375_000, 0, 5),
            channel(2, 433_575_000, 0, 5),
        ]),
        data_rates: &[0, 1, 2, 3, 4, 5],
        source: None,
    },
    data_rates: DataRates {
        uplink: &DATA_RATES,
        downlink: None,
        source: "T5 Table 30; DR0-7 = R1 Table 28",
    },
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::SameFrequency,
        rule: "same frequency as the uplink",
        table: &RX1,
        dwell_table: None,
        source: "T5 Table 38; DR0-7 = R1 Table 32",
    },
    rx1_offset_max: 5,
    rx2_default: Rx2 { freq_hz: 434_665_000, dr: 0, note: None },
    power: Power {
        max_dbm: 12.15,
        reference: "EIRP",
        step_db: 2,
        max_index: 5,
        older: None,
        source: "R1 Table 28 (12.15); public network documentation and T5 give 12 for 1.0.4/1.0.5",
    },
    cflist: CfListRule {
        frequencies: Some(CfListFrequencies { first_channel: 3 }),
        masks: None,
        note: None,
        source: None,
    },
    ch_mask_cntl: ChMaskCntlRule {
        current: &CH_MASK_CNTL,
        older: &CH_MASK_CNTL_OLDER,
        source: "T5; older form R1 Table 29",
    },
    payloads: Payloads {
        uplink: &PAYLOAD,
        uplink_dwell: None,
        downlink: None,
        source: "T5 Tables 36/37; DR0-7 = R1 Tables 30/31",
    },
    duty_cycle: "below 10% in the band (R1 2.7.2, T5); join channels below 1% (R1 Table 27); 1% \
             everywhere up to RP 1.0.2rB",
    duty_rules: &[
        DutyRule { default_channels: false, permille: 100 },
        DutyRule { default_channels: true, permille: 10 },
    ],
    beacon: Beacon {
        frequencies_hz: &[434_665_000],
        hop: Hop::Never,
        dr: 3,
        sf: 9,
        bw_khz: 125,
        octets: 17,
        rule: None,
    },
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
    ..ORDINARY
};

static DATA_RATES: [DataRate; 10] = [
    lora(0, 12, 125, 250),
    lora(1, 11, 125, 440),
    lora(2, 10, 125, 980),
    lora(3, 9, 125, 1760),
    lora(4, 8, 125, 3125),
    lora(5, 7, 125, 5470),
    lora(6, 7, 250, 11_000),
    fsk(7, 50_000),
    lora(12, 6, 125, 9375).since(Revision::Rp002_1_0_5),
    lora(13, 5, 125, 15_625).since(Revision::Rp002_1_0_5),
];

static RX1: [Rx1Row; 10] = [
    rx1(0, &[0, 0, 0, 0, 0, 0]),
    rx1(1, &[1, 0, 0, 0, 0, 0]),
    rx1(2, &[2, 1, 0, 0, 0, 0]),
    rx1(3, &[3, 2, 1, 0, 0, 0]),
    rx1(4, &[4, 3, 2, 1, 0, 0]),
    rx1(5, &[5, 4, 3, 2, 1, 0]),
    rx1(6, &[6, 5, 4, 3, 2, 1]),
    rx1(7, &[7, 6, 5, 4, 3, 2]),
    rx1(12, &[12, 5, 4, 3, 2, 1]),
    rx1(13, &[13, 12, 5, 4, 3, 2]),
];

static PAYLOAD: [PayloadLimit; 10] = [
    limit(0, 59, 59),
    limit(1, 59, 59),
    limit(2, 59, 59),
    limit(3, 123, 123),
    limit(4, 230, 250),
    limit(5, 230, 250),
    limit(6, 230, 250),
    limit(7, 230, 250),
    limit(12, 230, 250),
    limit(13, 230, 250),
];
