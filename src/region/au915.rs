//! AU915: AU915-928, channel plan 5.

use super::{
    Revision, like_915,
    model::{
        ChMaskCntlRule, DataRate, DataRates, Dispute, Dwell, Join, JoinChannels, Legacy, Note,
        PayloadLimit, Payloads, Plan, Power, Rx1Row, Rx1Rule, block, limit, lora, lr_fhss, rx1,
    },
    shared::ONE_TRANSCRIPTION,
};

pub(super) static PLAN: Plan = Plan {
    name: "AU915",
    common_name: "AU915",
    aliases: &["AU915-928"],
    title: "AU915-928",
    plan_id: 5,
    source: "T5, R1 2.8",
    range_hz: (915_000_000, 928_000_000),
    join: Join {
        channels: JoinChannels::AnyUplink(
            "any of 0-63 at DR2, any of 64-71 at DR6, same octet pass as US915",
        ),
        data_rates: &[2, 6],
        source: Some("R1 2.8.2, T5; R11 and a public issue of a device stack for 1.0.3/1.1"),
    },
    uplink_blocks: &[
        block(0, 64, 915_200_000, 200_000, 125, 0, 5),
        block(64, 8, 915_900_000, 1_600_000, 500, 6, 6),
    ],
    data_rates: DataRates {
        uplink: &UPLINK,
        source: "T5 Tables 39/40; DR0-6,8-13 = R1 Table 34; DR7 = a public device stack",
        ..like_915::PLAN.data_rates
    },
    rx1_rule: Rx1Rule {
        table: &RX1,
        source: "T5 Table 46; DR0-6 = R1 Table 39; DR7 = a public device stack",
        ..like_915::PLAN.rx1_rule
    },
    rx1_offset_max: 5,
    power: Power {
        max_dbm: 30.0,
        reference: "EIRP",
        step_db: 2,
        max_index: 14,
        older: None,
        source: "R1 Table 35, T5",
    },
    ch_mask_cntl: ChMaskCntlRule {
        source: "R1 Table 36, T5 Table 43, R4E",
        ..like_915::PLAN.ch_mask_cntl
    },
    payloads: Payloads {
        uplink: &PAYLOAD_UPLINK,
        uplink_dwell: Some(&PAYLOAD_DWELL),
        source: "T5 Tables 44/45; R1 Table 38. DR9/DR10 without repeater under dwell: inferred \
             (250/242, as DR5)",
        ..like_915::PLAN.payloads
    },
    dwell: Dwell {
        tx_param_setup: true,
        uplink_ms: 400,
        downlink_ms: 0,
        default: Some(
            "UplinkDwellTime=1 from boot until TxParamSetupReq; DownlinkDwellTime always 0",
        ),
    },
    duty_cycle: "none; with UplinkDwellTime=1 about 20 s between uplinks is recommended (R1 \
             2.8.3)",
    legacy: &[
        Legacy {
            valid: "LoRaWAN 1.0.1 / RP V1.0 (until RP 1.0.2rB, Feb 2017)",
            revisions: (Revision::Lorawan1_0_1, Revision::Rp1_0),
            uplink: Some(&UPLINK_V1_0),
            join_data_rates: &[0, 4],
            rx1: Some(&RX1_V1_0),
            rx1_offset_max: Some(3),
            beacon: None,
            cflist_types: None,
            tx_param_setup: None,
            power_max_index: None,
            source: "R10 Tables 28-33",
        },
        Legacy {
            valid: "RP 1.0.2rB",
            revisions: (Revision::Rp1_0_2B, Revision::Rp1_0_2B),
            uplink: None,
            join_data_rates: &[0, 6],
            rx1: None,
            rx1_offset_max: None,
            beacon: Some((10, 10, 19)),
            cflist_types: Some(&[]),
            tx_param_setup: Some(false),
            power_max_index: Some(10),
            source: "R102 2.5",
        },
    ],
    notes: &[
        Note {
            revision: "RP V1.0 -> RP 1.0.2rB",
            change: "uplink DR numbering moved by two: before DR0=SF10/125..DR3=SF7/125, \
                 DR4=SF8/500 (like US915); since DR0=SF12/125..DR5=SF7/125, DR6=SF8/500",
            bites_when: "RX1 stays physically the same (both tables map SF10/125 to SF10/500 ... \
                 SF7/125 and SF8/500 to SF7/500, computed), so a join still works; what breaks \
                 is every DR number that travels or is logged: LinkADRReq DataRate 4 = SF8/500 \
                 before, SF8/125 after, DataRate 5/6 unknown to an old device, payload limits \
                 shift, RX1DROffset 4/5 unknown, SF11/SF12 uplinks unknown to an old network",
            source: "R10 Table 28, R102 Table 34",
        },
        Note {
            revision: "RP 1.0.2rB -> 1.0.3revA",
            change: "join-request DR0 (SF12) became DR2 (SF10); UplinkDwellTime=1 until told \
                 otherwise; TxParamSetupReq/Ans became mandatory",
            bites_when: "a 1.0.2 device sends joins at SF12 (1.48 s for 23 bytes, computed, over 400 \
                 ms); a 1.0.3+ device joins only at DR2 (371 ms, computed) and DR6; after the \
                 join DR0/DR1 uplinks stay blocked until TxParamSetupReq clears the dwell flag",
            source: "R102 2.5.2, R11, a public issue of a device stack, R1 2.8.2",
        },
        Note {
            revision: "<= RP 1.0.2rB",
            change: "CFList not supported; ChMaskCntl 5 RFU",
            bites_when: "sub-band mask in the join-accept ignored by such devices",
            source: "R102 2.5.4/2.5.5",
        },
        Note {
            revision: "RP 1.0.2rB vs later",
            change: "Class B beacon DR10 (SF10/500), 19-byte frame, then DR8 (SF12/500), 23 bytes",
            bites_when: "beacon never found by an old device; note R1 footnote 29 still prints the \
                 19-byte layout next to SF12",
            source: "R102 Table 40, R1 Table 40; a public device stack uses 23",
        },
        Note {
            revision: "RP002-1.0.3+",
            change: "DR7 = LR-FHSS CR1/3, 1.523 MHz (DR7 RFU before); 1.0.5 adds uplink \
                 DR9=SF6/125, DR10=SF5/125 (DR8 stays RFU), downlink DR0=SF5/500, DR14=SF6/500",
            bites_when: "uplink DR9/DR10 collide with downlink DR9/DR10 numbers",
            source: "T5, a public device stack, R1",
        },
    ],
    disputes: &[
        Dispute {
            what: "downlink DR8 and DR9, repeater M",
            one: "R1 and older: 41 and 117",
            other: "public network documentation (1.0.4), T5 (1.0.5): 61 and 137",
            taken: "61 and 137",
        },
        Dispute {
            what: "beacon octets",
            one: "R1 footnote 29, R102: 19",
            other: "a public device stack: 23 (SF12)",
            taken: "23",
        },
    ],
    doubts: &[
        ONE_TRANSCRIPTION,
        "the first revision with LR-FHSS: RP002-1.0.3 was seen, RP002-1.0.2 is from \
             memory",
        "M/N of DR9 and DR10 without repeater under dwell: inferred (as DR5)",
    ],
    ..like_915::PLAN
};

static UPLINK: [DataRate; 10] = [
    lora(0, 12, 125, 250),
    lora(1, 11, 125, 440),
    lora(2, 10, 125, 980),
    lora(3, 9, 125, 1760),
    lora(4, 8, 125, 3125),
    lora(5, 7, 125, 5470),
    lora(6, 8, 500, 12_500),
    lr_fhss(7, 1, 1523, 162).seen_in(Revision::Rp002_1_0_3),
    lora(9, 6, 125, 9375).since(Revision::Rp002_1_0_5),
    lora(10, 5, 125, 15_625).since(Revision::Rp002_1_0_5),
];

static RX1: [Rx1Row; 10] = [
    rx1(0, &[8, 8, 8, 8, 8, 8]),
    rx1(1, &[9, 8, 8, 8, 8, 8]),
    rx1(2, &[10, 9, 8, 8, 8, 8]),
    rx1(3, &[11, 10, 9, 8, 8, 8]),
    rx1(4, &[12, 11, 10, 9, 8, 8]),
    rx1(5, &[13, 12, 11, 10, 9, 8]),
    rx1(6, &[13, 13, 12, 11, 10, 9]),
    rx1(7, &[9, 8, 8, 8, 8, 8]),
    rx1(9, &[14, 13, 12, 11, 10, 9]),
    rx1(10, &[0, 14, 13, 12, 11, 10]),
];

static PAYLOAD_UPLINK: [PayloadLimit; 10] = [
    limit(0, 59, 59),
    limit(1, 59, 59),
    limit(2, 59, 59),
    limit(3, 123, 123),
    limit(4, 230, 250),
    limit(5, 230, 250),
    limit(6, 230, 250),
    limit(7, 58, 58),
    limit(9, 230, 250),
    limit(10, 230, 250),
];

static PAYLOAD_DWELL: [PayloadLimit; 8] = [
    limit(2, 19, 19),
    limit(3, 61, 61),
    limit(4, 133, 133),
    limit(5, 230, 250),
    limit(6, 230, 250),
    limit(7, 58, 58),
    limit(9, 230, 250),
    limit(10, 230, 250),
];

static UPLINK_V1_0: [DataRate; 5] = [
    lora(0, 10, 125, 980),
    lora(1, 9, 125, 1760),
    lora(2, 8, 125, 3125),
    lora(3, 7, 125, 5470),
    lora(4, 8, 500, 12_500),
];

static RX1_V1_0: [Rx1Row; 5] = [
    rx1(0, &[10, 9, 8, 8]),
    rx1(1, &[11, 10, 9, 8]),
    rx1(2, &[12, 11, 10, 9]),
    rx1(3, &[13, 12, 11, 10]),
    rx1(4, &[13, 13, 12, 11]),
];
