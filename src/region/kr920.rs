//! KR920: KR920-923, channel plan 10.

use super::{
    LIST_900, Revision,
    model::{
        Beacon, CfListFrequencies, CfListMasks, CfListRule, ChMaskCntlRule, DataRate, DataRates,
        DefaultChannels, Hop, Join, JoinChannels, LegalChannel, MasksOver, Note, PayloadLimit,
        Payloads, PingSlot, Plan, PlanKind, Power, Rx1Channel, Rx1Row, Rx1Rule, Rx2, channel,
        limit, lora, relay, rx1,
    },
    shared::{
        CH_MASK_CNTL, CH_MASK_CNTL_DISPUTE, CH_MASK_CNTL_OLDER, ONE_TRANSCRIPTION, ORDINARY,
        TYPE_1_SINCE,
    },
};

pub(super) static PLAN: Plan = Plan {
    name: "KR920",
    common_name: "KR920",
    aliases: &["KR920-923"],
    title: "KR920-923",
    plan_id: 10,
    kind: PlanKind::Dynamic,
    baseline: "RP002-1.0.5",
    source: "T5, R1 2.11",
    range_hz: (920_900_000, 923_300_000),
    default_channels: DefaultChannels::Listed(&[
        channel(0, 922_100_000, 0, 5),
        channel(1, 922_300_000, 0, 5),
        channel(2, 922_500_000, 0, 5),
    ]),
    join: Join {
        channels: JoinChannels::Listed(&[
            channel(0, 922_100_000, 0, 5),
            channel(1, 922_300_000, 0, 5),
            channel(2, 922_500_000, 0, 5),
        ]),
        data_rates: &[0, 1, 2, 3, 4, 5],
        source: None,
    },
    data_rates: DataRates {
        uplink: &DATA_RATES,
        downlink: None,
        source: "T5 Table 80; DR0-5 = R1 Table 71",
    },
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::SameFrequency,
        rule: "same frequency as the uplink",
        table: &RX1,
        dwell_table: None,
        source: "T5 Table 87; DR0-5 = R1 Table 76",
    },
    rx1_offset_max: 5,
    rx2_default: Rx2 { freq_hz: 921_900_000, dr: 0, note: None },
    power: Power {
        max_dbm: 14.0,
        reference: "EIRP; capped at 10 dBm below 922 MHz",
        step_db: 2,
        max_index: 7,
        older: None,
        source: "R1 Table 72 and 2.11.3, R103 p.54",
    },
    cflist: CfListRule {
        frequencies: Some(CfListFrequencies { first_channel: 3 }),
        masks: Some(CfListMasks { over: MasksOver::List(&LIST_900), since: Revision::Rp002_1_0_4 }),
        note: None,
        source: None,
    },
    ch_mask_cntl: ChMaskCntlRule {
        current: &CH_MASK_CNTL,
        older: &CH_MASK_CNTL_OLDER,
        source: "T5; older form R1 Table 73",
    },
    payloads: Payloads {
        uplink: &PAYLOAD,
        uplink_dwell: None,
        downlink: None,
        source: "T5 Tables 85/86; DR0-5 = R1 Tables 74/75",
    },
    duty_cycle: "no duty cycle; LBT, a transmission below 4 s (R1 2.11.2/2.11.6)",
    longest_ms: 4000,
    legal_channels: &LEGAL_CHANNELS,
    beacon: Beacon {
        frequencies_hz: &[923_100_000],
        hop: Hop::Never,
        dr: 3,
        sf: 9,
        bw_khz: 125,
        octets: 17,
        rule: None,
    },
    ping: PingSlot { frequencies_hz: &[923_100_000], dr: 3, rule: None },
    relay: &[relay(922_700_000, 922_900_000, 3), relay(923_100_000, 923_100_000, 5)],
    notes: &[
        Note {
            revision: "all",
            change: "RX2 (921.9 MHz, DR0) lies in the 10 dBm part of the band, below the default \
                 channels",
            bites_when: "a listener covering only 922.1-923.3 MHz misses RX2",
            source: "R1 2.11",
        },
        Note {
            revision: "RP V1.0",
            change: "TXPower absolute 20,14,10,8,5,2,0 dBm; larger payload limits 73/65, 159/151, \
                 250/242...",
            bites_when: "length and power checks of 2016 devices",
            source: "R10 Tables 51/53",
        },
        Note {
            revision: "all",
            change: "DR6, DR7 do not exist here (no SF7/250, no FSK)",
            bites_when: "an EU868-style table prints FSK for DR7",
            source: "R1 Table 71",
        },
    ],
    disputes: &[CH_MASK_CNTL_DISPUTE],
    doubts: &[ONE_TRANSCRIPTION, TYPE_1_SINCE],
    ..ORDINARY
};

static DATA_RATES: [DataRate; 8] = [
    lora(0, 12, 125, 250),
    lora(1, 11, 125, 440),
    lora(2, 10, 125, 980),
    lora(3, 9, 125, 1760),
    lora(4, 8, 125, 3125),
    lora(5, 7, 125, 5470),
    lora(12, 6, 125, 9375).since(Revision::Rp002_1_0_5),
    lora(13, 5, 125, 15_625).since(Revision::Rp002_1_0_5),
];

static RX1: [Rx1Row; 8] = [
    rx1(0, &[0, 0, 0, 0, 0, 0]),
    rx1(1, &[1, 0, 0, 0, 0, 0]),
    rx1(2, &[2, 1, 0, 0, 0, 0]),
    rx1(3, &[3, 2, 1, 0, 0, 0]),
    rx1(4, &[4, 3, 2, 1, 0, 0]),
    rx1(5, &[5, 4, 3, 2, 1, 0]),
    rx1(12, &[12, 5, 4, 3, 2, 1]),
    rx1(13, &[13, 12, 5, 4, 3, 2]),
];

static PAYLOAD: [PayloadLimit; 8] = [
    limit(0, 59, 59),
    limit(1, 59, 59),
    limit(2, 59, 59),
    limit(3, 123, 123),
    limit(4, 230, 250),
    limit(5, 230, 250),
    limit(12, 230, 250),
    limit(13, 230, 250),
];

static LEGAL_CHANNELS: [LegalChannel; 13] = [
    LegalChannel { freq_hz: 920_900_000, max_eirp_dbm: 10 },
    LegalChannel { freq_hz: 921_100_000, max_eirp_dbm: 10 },
    LegalChannel { freq_hz: 921_300_000, max_eirp_dbm: 10 },
    LegalChannel { freq_hz: 921_500_000, max_eirp_dbm: 10 },
    LegalChannel { freq_hz: 921_700_000, max_eirp_dbm: 10 },
    LegalChannel { freq_hz: 921_900_000, max_eirp_dbm: 10 },
    LegalChannel { freq_hz: 922_100_000, max_eirp_dbm: 14 },
    LegalChannel { freq_hz: 922_300_000, max_eirp_dbm: 14 },
    LegalChannel { freq_hz: 922_500_000, max_eirp_dbm: 14 },
    LegalChannel { freq_hz: 922_700_000, max_eirp_dbm: 14 },
    LegalChannel { freq_hz: 922_900_000, max_eirp_dbm: 14 },
    LegalChannel { freq_hz: 923_100_000, max_eirp_dbm: 14 },
    LegalChannel { freq_hz: 923_300_000, max_eirp_dbm: 14 },
];
