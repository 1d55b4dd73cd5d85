//! EU868: EU863-870, channel plan 1.

use super::{
    like_868,
    model::{
        ChMaskCntlRule, Channel, DataRates, DefaultChannels, Dispute, Note, Payloads, PingSlot,
        Plan, Power, RegulatorBand, Rx1Rule, Rx2, channel, relay,
    },
    shared::{CH_MASK_CNTL_DISPUTE, ONE_TRANSCRIPTION, TYPE_1_SINCE},
};

pub(super) static PLAN: Plan = Plan {
    name: "EU868",
    common_name: "EU868",
    aliases: &["EU863-870"],
    title: "EU863-870",
    plan_id: 1,
    source: "T5, R1 2.4",
    range_hz: (863_000_000, 870_000_000),
    default_channels: DefaultChannels::Listed(&CHANNELS),
    join: like_868::join_on(&CHANNELS),
    data_rates: DataRates { source: "T5 Table 10", ..like_868::PLAN.data_rates },
    rx1_rule: Rx1Rule {
        rule: "same frequency as the uplink (unless changed by DlChannelReq)",
        source: "T5 Table 17 (DR0-7 = R1 Table 11, DR0-11 = a public device stack)",
        ..like_868::PLAN.rx1_rule
    },
    rx2_default: Rx2 { freq_hz: 869_525_000, dr: 0, note: None },
    power: Power { source: "R1 Table 7, T5 Table 13", ..like_868::PLAN.power },
    ch_mask_cntl: ChMaskCntlRule {
        source: "T5 Table 14; older form R1 Table 8",
        ..like_868::PLAN.ch_mask_cntl
    },
    payloads: Payloads {
        source: "T5 Tables 15/16; DR0-7 = R1 Tables 9/10; M column DR0-11 = a public device stack",
        ..like_868::PLAN.payloads
    },
    duty_cycle: "below 1% on the default channels; otherwise the ETSI sub-band (eu868_sub_band)",
    regulator_bands: &REGULATOR_BANDS,
    beacon: like_868::beacon_at(&[869_525_000]),
    ping: PingSlot { frequencies_hz: &[869_525_000], dr: 3, rule: None },
    relay: &[relay(865_100_000, 865_300_000, 3), relay(865_500_000, 865_900_000, 5)],
    notes: &[
        Note {
            revision: "RP002-1.0.3+",
            change: "DR8-DR11 LR-FHSS (uplink only), RX1 rows for them",
            bites_when: "an uplink reported as DR8..11 is LR-FHSS, its RX1 answer is DR1/DR2/DR1/DR2 at \
                 offset 0; a stack built for <=RP002-1.0.1 calls the same numbers RFU",
            source: "T5, a public device stack, R1",
        },
        Note {
            revision: "RP002-1.0.5",
            change: "DR12 = SF6/125, DR13 = SF5/125",
            bites_when: "older tables say RFU for 12..14; a decoder must not map DR12 to anything else",
            source: "T5 Table 10, public network documentation (1.0.4 shows 12..14 RFU)",
        },
        Note {
            revision: "<= RP V1.0 / LoRaWAN 1.0.1",
            change: "TXPower was absolute ERP: 0=20 (if supported), 1=14, 2=11, 3=8, 4=5, 5=2 dBm",
            bites_when: "LinkADRReq TXPower=1 meant 14 dBm ERP then, Max EIRP - 2 dB (=14 dBm EIRP, \
                 11.85 ERP) since 1.0.2rB",
            source: "R10 Table 5, L101 Table 15, R102 Table 5",
        },
        Note {
            revision: "<= RP 1.0.2rB",
            change: "octet 16 of the CFList was plain RFU; the five frequencies were called \
                 channels 4..8 (counting from 1)",
            bites_when: "same bytes: the list still fills 0-based channels 3..7; a non-zero last octet \
                 was legal then, today it must be CFListType 0",
            source: "R102 2.1.4, R1 2.4.4",
        },
        Note {
            revision: "network practice",
            change: "some networks run RX2 at DR3 (SF9) instead of DR0",
            bites_when: "before joining, a device only knows the default (869.525 MHz, DR0); a \
                 join-accept sent in RX2 at any other DR is missed. The network's own RX2 DR \
                 reaches the device inside the join-accept (DLSettings)",
            source: "a public gateway channel list (an EU868 plan variant with RX2 DR3)",
        },
    ],
    disputes: &[
        Dispute {
            what: "DR8 to DR11",
            one: "a public device stack that claims RP2-1.0.3 stops at DR7",
            other: "another public device stack (RP2-1.0.3): LR-FHSS",
            taken: "LR-FHSS",
        },
        CH_MASK_CNTL_DISPUTE,
    ],
    doubts: &[
        ONE_TRANSCRIPTION,
        "the first revision with LR-FHSS: RP002-1.0.3 was seen, RP002-1.0.2 is from \
             memory",
        TYPE_1_SINCE,
        "left out: 869.7 to 870.0 MHz at 5 mW without a duty cycle limit",
    ],
    ..like_868::PLAN
};

static CHANNELS: [Channel; 3] =
    [channel(0, 868_100_000, 0, 5), channel(1, 868_300_000, 0, 5), channel(2, 868_500_000, 0, 5)];

// EN 300 220: letters, duty cycles and ERP from public network documentation, older names from its
// history, EC 2017/1483 entries from a public device stack.
static REGULATOR_BANDS: [RegulatorBand; 6] = [
    RegulatorBand {
        letter: 'K',
        older_name: "g",
        low_hz: 863_000_000,
        high_hz: 865_000_000,
        duty_permille: 1,
        max_erp_dbm: 14,
        max_erp_mw: 25,
        ec_2017_1483: "46a",
    },
    RegulatorBand {
        letter: 'L',
        older_name: "g",
        low_hz: 865_000_000,
        high_hz: 868_000_000,
        duty_permille: 10,
        max_erp_dbm: 14,
        max_erp_mw: 25,
        ec_2017_1483: "47",
    },
    RegulatorBand {
        letter: 'M',
        older_name: "g1",
        low_hz: 868_000_000,
        high_hz: 868_600_000,
        duty_permille: 10,
        max_erp_dbm: 14,
        max_erp_mw: 25,
        ec_2017_1483: "48",
    },
    RegulatorBand {
        letter: 'N',
        older_name: "g2",
        low_hz: 868_700_000,
        high_hz: 869_200_000,
        duty_permille: 1,
        max_erp_dbm: 14,
        max_erp_mw: 25,
        ec_2017_1483: "50",
    },
    RegulatorBand {
        letter: 'P',
        older_name: "g3",
        low_hz: 869_400_000,
        high_hz: 869_650_000,
        duty_permille: 100,
        max_erp_dbm: 27,
        max_erp_mw: 500,
        ec_2017_1483: "54",
    },
    RegulatorBand {
        letter: 'Q',
        older_name: "g4",
        low_hz: 869_700_000,
        high_hz: 870_000_000,
        duty_permille: 10,
        max_erp_dbm: 14,
        max_erp_mw: 25,
        ec_2017_1483: "56b",
    },
];
