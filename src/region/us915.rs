//! US915: US902-928, channel plan 2.

use super::{
    Revision, like_915,
    model::{
        ChMaskCntlRule, DataRate, DataRates, Dispute, Dwell, Join, JoinChannels, Note, OlderPower,
        PayloadLimit, Payloads, Plan, Power, Rx1Row, Rx1Rule, block, limit, lora, lr_fhss, rx1,
    },
    shared::ONE_TRANSCRIPTION,
};

pub(super) static PLAN: Plan = Plan {
    name: "US915",
    common_name: "US915",
    aliases: &["US902-928"],
    title: "US902-928",
    plan_id: 2,
    source: "T5, R1 2.5",
    range_hz: (902_000_000, 928_000_000),
    join: Join {
        channels: JoinChannels::AnyUplink(
            "any of 0-63 at DR0, any of 64-71 at DR4; recommended pass: one random channel \
             of each octet 0-7,8-15,..,56-63, then one 500 kHz channel, next pass the next \
             500 kHz channel",
        ),
        data_rates: &[0, 4],
        source: Some("R1 2.5.2, R102 2.2.2, T5"),
    },
    uplink_blocks: &[
        block(0, 64, 902_300_000, 200_000, 125, 0, 3),
        block(64, 8, 903_000_000, 1_600_000, 500, 4, 4),
    ],
    data_rates: DataRates {
        uplink: &UPLINK,
        source: "T5 Tables 19/20; <=1.0.1: R1 Table 13",
        ..like_915::PLAN.data_rates
    },
    rx1_rule: Rx1Rule {
        table: &RX1,
        source: "T5 Table 26; DR0-4 = R1 Table 18 = R103 p.24; DR0-6 = a public device stack",
        ..like_915::PLAN.rx1_rule
    },
    rx1_offset_max: 3,
    power: Power {
        max_dbm: 30.0,
        reference: "conducted (30 dBm - 2*TXPower)",
        step_db: 2,
        max_index: 14,
        older: Some(OlderPower { until: Revision::Rp1_0_2B, max_dbm: 30.0, max_index: 10 }),
        source: "R1 Table 14, T5 Table 22",
    },
    ch_mask_cntl: ChMaskCntlRule {
        source: "R1 Table 15, T5 Table 23, R4E",
        ..like_915::PLAN.ch_mask_cntl
    },
    payloads: Payloads {
        uplink: &PAYLOAD_UPLINK,
        source: "T5 Tables 24/25; not-repeater column DR0-4,8-13 = R1 Table 17",
        ..like_915::PLAN.payloads
    },
    dwell: Dwell { tx_param_setup: false, uplink_ms: 400, downlink_ms: 0, default: None },
    duty_cycle: "none (FCC: 400 ms dwell on 125 kHz channels)",
    notes: &[
        Note {
            revision: "all",
            change: "join-request at DR0 (SF10/125) is answered in RX1 at DR10 = SF10/500, one at \
                 DR4 (SF8/500) at DR13 = SF7/500; RX2 is 923.3 MHz DR8 = SF12/500",
            bites_when: "a capture receiver left at 125 kHz never sees the join-accept although the \
                 network log says it was sent",
            source: "R1 Table 18",
        },
        Note {
            revision: "all",
            change: "DR numbers 8.. mean downlink only; up to RP002-1.0.4 uplink DR8 did not exist, \
                 in RP002-1.0.5 uplink DR7/DR8 = SF6/SF5 at 125 kHz while downlink DR8 = \
                 SF12/500 and downlink DR0 = SF5/500",
            bites_when: "a direction-blind DR table prints the wrong modulation",
            source: "T5 Tables 19/20",
        },
        Note {
            revision: "<= RP 1.0.2rB",
            change: "no CFList for US915 (must be ignored); TXPower 0..10 only; ChMaskCntl 5 was \
                 RFU",
            bites_when: "a 1.0.2 device ignores the sub-band mask in the join-accept and keeps hopping \
                 over all 72 channels until LinkADRReq; CFList type 1 and ChMaskCntl 5 come \
                 with RP 1.0.3revA",
            source: "R102 2.2.4/2.2.5, R1 notes 12-14, two releases of a public device stack",
        },
        Note {
            revision: "RP002-1.0.4 and errata",
            change: "1.0.4 gave bit 8 of the ChMaskCntl=5 mask a meaning, the errata made it RFU \
                 again; the 1.0.5 transcription models bit 9 as channels 72-79 if defined and \
                 lets ChMaskCntl 4 reach channel 79",
            bites_when: "bits 8/9 of a bank mask: treat as RFU unless the device is known to be 1.0.5",
            source: "R4E, T5 rules",
        },
        Note {
            revision: "RP002-1.0.1 vs 1.0.4/1.0.5",
            change: "repeater-compatible M for downlink DR8/DR9: 41/117 in R1 (and older), 61/137 \
                 in 1.0.4/1.0.5",
            bites_when: "only matters for a length check at DR8/9",
            source: "R1 Table 16, public network documentation, T5 Table 24",
        },
        Note {
            revision: "LoRaWAN 1.0.1",
            change: "DR2 M/N printed 137/129 (repeater) and 134/126; RP V1.0+ 133/125; RX1 table \
                 also had rows for DR8-13; downstream described as DR10-13",
            bites_when: "length checks against a 1.0.1 device",
            source: "L101 Tables 22-24, R10 Table 12",
        },
        Note {
            revision: "field",
            change: "gateways usually listen on one sub-band (8+1 channels) only",
            bites_when: "a device scanning all 72 channels gets roughly one join-request in eight (125 \
                 kHz) heard; a device locked to another sub-band is never heard",
            source: "a public gateway channel list, R1 2.5.2",
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
            what: "maximum power",
            one: "R1: 30 dBm conducted",
            other: "public network documentation: 30 dBm EIRP",
            taken: "conducted",
        },
    ],
    doubts: &[
        ONE_TRANSCRIPTION,
        "the first revision with LR-FHSS: RP002-1.0.3 was seen, RP002-1.0.2 is from \
             memory",
        "left out: details of FCC hybrid mode",
    ],
    ..like_915::PLAN
};

static UPLINK: [DataRate; 9] = [
    lora(0, 10, 125, 980),
    lora(1, 9, 125, 1760),
    lora(2, 8, 125, 3125),
    lora(3, 7, 125, 5470),
    lora(4, 8, 500, 12_500),
    lr_fhss(5, 1, 1523, 162).seen_in(Revision::Rp002_1_0_3),
    lr_fhss(6, 2, 1523, 325).seen_in(Revision::Rp002_1_0_3),
    lora(7, 6, 125, 9375).since(Revision::Rp002_1_0_5),
    lora(8, 5, 125, 15_625).since(Revision::Rp002_1_0_5),
];

static RX1: [Rx1Row; 9] = [
    rx1(0, &[10, 9, 8, 8]),
    rx1(1, &[11, 10, 9, 8]),
    rx1(2, &[12, 11, 10, 9]),
    rx1(3, &[13, 12, 11, 10]),
    rx1(4, &[13, 13, 12, 11]),
    rx1(5, &[10, 9, 8, 8]),
    rx1(6, &[11, 10, 9, 8]),
    rx1(7, &[14, 13, 12, 11]),
    rx1(8, &[0, 14, 13, 12]),
];

static PAYLOAD_UPLINK: [PayloadLimit; 9] = [
    limit(0, 19, 19),
    limit(1, 61, 61),
    limit(2, 133, 133),
    limit(3, 230, 250),
    limit(4, 230, 250),
    limit(5, 58, 58),
    limit(6, 133, 133),
    limit(7, 230, 250),
    limit(8, 230, 250),
];
