//! RU864: RU864-870, channel plan 12.

use super::{
    DutyRule, LIST_800, Revision,
    model::{
        Beacon, CfListFrequencies, CfListMasks, CfListRule, ChMaskCntlRule, DataRate, DataRates,
        DefaultChannels, Dispute, Hop, Join, JoinChannels, MasksOver, Note, PayloadLimit, Payloads,
        PingSlot, Plan, PlanKind, Power, Rx1Channel, Rx1Row, Rx1Rule, Rx2, channel, fsk, limit,
        lora, relay, rx1,
    },
    shared::{
        CH_MASK_CNTL, CH_MASK_CNTL_DISPUTE, CH_MASK_CNTL_OLDER, ONE_TRANSCRIPTION, ORDINARY,
        TYPE_1_SINCE,
    },
};

pub(super) static PLAN: Plan = Plan {
    name: "RU864",
    common_name: "RU864",
    aliases: &["RU864-870"],
    title: "RU864-870",
    plan_id: 12,
    kind: PlanKind::Dynamic,
    baseline: "RP002-1.0.5 (region added in RP 1.0.3)",
    source: "T5, R1 2.13, R103 p.65/67",
    range_hz: (864_000_000, 870_000_000),
    default_channels: DefaultChannels::Listed(&[
        channel(0, 868_900_000, 0, 5),
        channel(1, 869_100_000, 0, 5),
    ]),
    join: Join {
        channels: JoinChannels::Listed(&[
            channel(0, 868_900_000, 0, 5),
            channel(1, 869_100_000, 0, 5),
        ]),
        data_rates: &[0, 1, 2, 3, 4, 5],
        source: None,
    },
    data_rates: DataRates {
        uplink: &DATA_RATES,
        downlink: None,
        source: "T5 Table 102; DR0-7 = R1 Table 88",
    },
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::SameFrequency,
        rule: "same frequency as the uplink",
        table: &RX1,
        dwell_table: None,
        source: "T5 Table 109; DR0-7 = R1 Table 93",
    },
    rx1_offset_max: 5,
    rx2_default: Rx2 { freq_hz: 869_100_000, dr: 0, note: None },
    power: Power {
        max_dbm: 16.0,
        reference: "EIRP",
        step_db: 2,
        max_index: 7,
        older: None,
        source: "R1 Table 89",
    },
    cflist: CfListRule {
        frequencies: Some(CfListFrequencies { first_channel: 2 }),
        masks: Some(CfListMasks { over: MasksOver::List(&LIST_800), since: Revision::Rp002_1_0_4 }),
        note: None,
        source: None,
    },
    ch_mask_cntl: ChMaskCntlRule {
        current: &CH_MASK_CNTL,
        older: &CH_MASK_CNTL_OLDER,
        source: "T5; older form R1 Table 90, R103 p.65",
    },
    payloads: Payloads {
        uplink: &PAYLOAD,
        uplink_dwell: None,
        downlink: None,
        source: "T5 Tables 107/108; DR0-7 = R1 Tables 91/92",
    },
    duty_cycle: "below 1% on the default channels (R1 Table 86); a public device stack applies 864-865 0.1%, 866-868 1%, 868.7-869.2 MHz 10%",
    // The three bands are what one stack applies, and no more.
    duty_rules: &[DutyRule { default_channels: true, permille: 10 }],
    beacon: Beacon {
        frequencies_hz: &[869_100_000],
        hop: Hop::Never,
        dr: 3,
        sf: 9,
        bw_khz: 125,
        octets: 17,
        rule: None,
    },
    ping: PingSlot { frequencies_hz: &[868_900_000], dr: 3, rule: None },
    relay: &[relay(866_100_000, 866_300_000, 3), relay(866_500_000, 866_900_000, 5)],
    notes: &[
        Note {
            revision: "all",
            change: "only two default channels, so a type 0 CFList fills channels 2..6 (3..7 in \
                 EU868)",
            bites_when: "off-by-one channel numbers in LinkADRReq decode",
            source: "R103 p.65, R1 2.13.4",
        },
        Note {
            revision: "all",
            change: "beacon/RX2 869.1 MHz, ping slot 868.9 MHz",
            bites_when: "one constant for both",
            source: "R1 2.13.8, R103 p.67",
        },
        Note {
            revision: "RP002-1.0.1 vs later",
            change: "at least 8 channels in 1.0.1 (16 in a public device stack)",
            bites_when: "NewChannelReq above channel 7 refused by an old device",
            source: "R1 2.13.2, a public device stack",
        },
    ],
    disputes: &[
        Dispute {
            what: "duty cycle",
            one: "R1: below 1% on default channels; a public device stack 1%",
            other: "another public device stack: 0.1%, 1%, 10% by band",
            taken: "both are given",
        },
        CH_MASK_CNTL_DISPUTE,
    ],
    doubts: &[ONE_TRANSCRIPTION, TYPE_1_SINCE],
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
