//! IN865: IN865-867, channel plan 11.

use super::{
    Revision, like_868,
    model::{
        Beacon, CfListRule, ChMaskCntlRule, Channel, DataRate, DataRates, DefaultChannels, Dispute,
        Hop, Note, OlderPower, PayloadLimit, Payloads, PingSlot, Plan, Power, Rx1Formula, Rx1Row,
        Rx1Rule, Rx2, channel, relay, rx1,
    },
    shared::CH_MASK_CNTL_DISPUTE,
};

pub(super) static PLAN: Plan = Plan {
    name: "IN865",
    common_name: "IN865",
    aliases: &["IN865-867"],
    title: "IN865-867",
    plan_id: 11,
    source: "T5, R5 p.90, R1 2.12",
    range_hz: (865_000_000, 867_000_000),
    default_channels: DefaultChannels::Listed(&CHANNELS),
    join: like_868::join_on(&CHANNELS),
    data_rates: DataRates {
        uplink: &DATA_RATES,
        source: "T5 Table 91; DR0-5,7 = R1 Table 80",
        ..like_868::PLAN.data_rates
    },
    rx1_rule: Rx1Rule {
        table: &RX1,
        source: "T5 Table 98; DR0-5,7 = R1 Table 85 (DR6 row RFU)",
        ..like_868::PLAN.rx1_rule
    },
    rx1_offset_max: 7,
    rx2_default: Rx2 { freq_hz: 866_550_000, dr: 2, note: None },
    power: Power {
        max_dbm: 29.2,
        max_index: 14,
        older: Some(OlderPower { until: Revision::Rp002_1_0_4, max_dbm: 30.0, max_index: 10 }),
        source: "R5 p.90 Table 94 (1..14); R1 Table 81 (0..10), public network documentation (30 dBm for 1.0.4)",
        ..like_868::PLAN.power
    },
    cflist: CfListRule { source: Some("R5 p.90"), ..like_868::PLAN.cflist },
    ch_mask_cntl: ChMaskCntlRule {
        source: "T5; older form R1 Table 82",
        ..like_868::PLAN.ch_mask_cntl
    },
    payloads: Payloads {
        uplink: &PAYLOAD,
        source: "T5 Tables 96/97; R1 Tables 83/84 (which also print a row for the RFU DR6)",
        ..like_868::PLAN.payloads
    },
    duty_cycle: "none (R1 2.12.3)",
    beacon: Beacon {
        frequencies_hz: &[866_550_000],
        hop: Hop::Never,
        dr: 4,
        sf: 8,
        bw_khz: 125,
        octets: 19,
        rule: None,
    },
    ping: PingSlot { frequencies_hz: &[866_550_000], dr: 4, rule: None },
    relay: &[relay(866_000_000, 866_200_000, 3), relay(866_700_000, 866_900_000, 5)],
    rx1_formula: Some(Rx1Formula {
        until: Revision::Rp1_0_3A,
        max: 5,
        min: 0,
        min_dwell: 0,
        effective_offsets: &[0, 1, 2, 3, 4, 5, -1, -2],
        source: "R102 2.9.7",
    }),
    notes: &[
        Note {
            revision: "all",
            change: "default channels are not on a 200 kHz raster; RX2 is DR2 (SF10), not DR0; \
                 beacon is DR4 (SF8)",
            bites_when: "copying EU868 constants",
            source: "R1 2.12",
        },
        Note {
            revision: "RP 1.0.2rB / 1.0.3 -> RP002",
            change: "RX1 DR was min(5, max(0, DRup - eff)), then a direct table",
            bites_when: "DR7 (FSK) uplink answered at DR5 by the formula, DR7 by the table; DR5 offset \
                 7: DR5 vs DR7",
            source: "R102 2.9.7, R1 Table 85",
        },
        Note {
            revision: "RP002-1.0.5",
            change: "default Max EIRP 30 -> 29.2 dBm, TXPower table extended to index 14",
            bites_when: "power decode",
            source: "R5 p.90, R1 2.12.3",
        },
    ],
    disputes: &[
        Dispute {
            what: "maximum EIRP, TXPower range",
            one: "R1, a public device stack, public network documentation: 30 dBm, 0 to 10",
            other: "R5: 29.2 dBm, 1 to 14; T5 keeps 10",
            taken: "R5",
        },
        Dispute {
            what: "payload row of DR6",
            one: "R1 prints 230/250 for an RFU rate",
            other: "T5: none",
            taken: "none",
        },
        CH_MASK_CNTL_DISPUTE,
    ],
    ..like_868::PLAN
};

static CHANNELS: [Channel; 3] =
    [channel(0, 865_062_500, 0, 5), channel(1, 865_402_500, 0, 5), channel(2, 865_985_000, 0, 5)];

static DATA_RATES: [DataRate; 9] = like_868::rates([0, 1, 2, 3, 4, 5, 7, 12, 13]);

static RX1: [Rx1Row; 9] = [
    rx1(0, &[0, 0, 0, 0, 0, 0, 1, 2]),
    rx1(1, &[1, 0, 0, 0, 0, 0, 2, 3]),
    rx1(2, &[2, 1, 0, 0, 0, 0, 3, 4]),
    rx1(3, &[3, 2, 1, 0, 0, 0, 4, 5]),
    rx1(4, &[4, 3, 2, 1, 0, 0, 5, 5]),
    rx1(5, &[5, 4, 3, 2, 1, 0, 5, 7]),
    rx1(7, &[7, 5, 5, 4, 3, 2, 7, 7]),
    rx1(12, &[12, 5, 4, 3, 2, 1, 13, 13]),
    rx1(13, &[13, 12, 5, 4, 3, 2, 13, 13]),
];

static PAYLOAD: [PayloadLimit; 9] = like_868::limits([0, 1, 2, 3, 4, 5, 7, 12, 13]);
