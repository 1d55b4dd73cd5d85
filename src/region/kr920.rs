//! KR920: KR920-923, channel plan 10.

use super::{
    LIST_900, Revision, like_868,
    model::{
        CfListMasks, CfListRule, ChMaskCntlRule, Channel, DataRate, DataRates, DefaultChannels,
        LegalChannel, MasksOver, Note, PayloadLimit, Payloads, PingSlot, Plan, Power, Rx1Row,
        Rx1Rule, Rx2, channel, relay,
    },
};

pub(super) static PLAN: Plan = Plan {
    name: "KR920",
    common_name: "KR920",
    aliases: &["KR920-923"],
    title: "KR920-923",
    plan_id: 10,
    source: "T5, R1 2.11",
    range_hz: (920_900_000, 923_300_000),
    default_channels: DefaultChannels::Listed(&CHANNELS),
    join: like_868::join_on(&CHANNELS),
    data_rates: DataRates {
        uplink: &DATA_RATES,
        source: "T5 Table 80; DR0-5 = R1 Table 71",
        ..like_868::PLAN.data_rates
    },
    rx1_rule: Rx1Rule {
        table: &RX1,
        source: "T5 Table 87; DR0-5 = R1 Table 76",
        ..like_868::PLAN.rx1_rule
    },
    rx2_default: Rx2 { freq_hz: 921_900_000, dr: 0, note: None },
    power: Power {
        max_dbm: 14.0,
        reference: "EIRP; capped at 10 dBm below 922 MHz",
        source: "R1 Table 72 and 2.11.3, R103 p.54",
        ..like_868::PLAN.power
    },
    cflist: CfListRule {
        masks: Some(CfListMasks { over: MasksOver::List(&LIST_900), since: Revision::Rp002_1_0_4 }),
        ..like_868::PLAN.cflist
    },
    ch_mask_cntl: ChMaskCntlRule {
        source: "T5; older form R1 Table 73",
        ..like_868::PLAN.ch_mask_cntl
    },
    payloads: Payloads {
        uplink: &PAYLOAD,
        source: "T5 Tables 85/86; DR0-5 = R1 Tables 74/75",
        ..like_868::PLAN.payloads
    },
    duty_cycle: "no duty cycle; LBT, a transmission below 4 s (R1 2.11.2/2.11.6)",
    longest_ms: 4000,
    legal_channels: &LEGAL_CHANNELS,
    beacon: like_868::beacon_at(&[923_100_000]),
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
    ..like_868::PLAN
};

static CHANNELS: [Channel; 3] =
    [channel(0, 922_100_000, 0, 5), channel(1, 922_300_000, 0, 5), channel(2, 922_500_000, 0, 5)];

static DATA_RATES: [DataRate; 8] = like_868::rates([0, 1, 2, 3, 4, 5, 12, 13]);

static RX1: [Rx1Row; 8] = like_868::rx1_rows([0, 1, 2, 3, 4, 5, 12, 13]);

static PAYLOAD: [PayloadLimit; 8] = like_868::limits([0, 1, 2, 3, 4, 5, 12, 13]);

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
