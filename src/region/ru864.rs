//! RU864: RU864-870, channel plan 12.

use super::{
    DutyRule, like_868,
    model::{
        CfListFrequencies, CfListRule, ChMaskCntlRule, Channel, DataRate, DataRates,
        DefaultChannels, Dispute, Note, PayloadLimit, Payloads, PingSlot, Plan, Power, Rx1Row,
        Rx1Rule, Rx2, channel, relay,
    },
    shared::CH_MASK_CNTL_DISPUTE,
};

pub(super) static PLAN: Plan = Plan {
    name: "RU864",
    common_name: "RU864",
    aliases: &["RU864-870"],
    title: "RU864-870",
    plan_id: 12,
    baseline: "RP002-1.0.5 (region added in RP 1.0.3)",
    source: "T5, R1 2.13, R103 p.65/67",
    range_hz: (864_000_000, 870_000_000),
    default_channels: DefaultChannels::Listed(&CHANNELS),
    join: like_868::join_on(&CHANNELS),
    data_rates: DataRates {
        uplink: &DATA_RATES,
        source: "T5 Table 102; DR0-7 = R1 Table 88",
        ..like_868::PLAN.data_rates
    },
    rx1_rule: Rx1Rule {
        table: &RX1,
        source: "T5 Table 109; DR0-7 = R1 Table 93",
        ..like_868::PLAN.rx1_rule
    },
    rx2_default: Rx2 { freq_hz: 869_100_000, dr: 0, note: None },
    power: Power { source: "R1 Table 89", ..like_868::PLAN.power },
    cflist: CfListRule {
        frequencies: Some(CfListFrequencies { first_channel: 2 }),
        ..like_868::PLAN.cflist
    },
    ch_mask_cntl: ChMaskCntlRule {
        source: "T5; older form R1 Table 90, R103 p.65",
        ..like_868::PLAN.ch_mask_cntl
    },
    payloads: Payloads {
        uplink: &PAYLOAD,
        source: "T5 Tables 107/108; DR0-7 = R1 Tables 91/92",
        ..like_868::PLAN.payloads
    },
    duty_cycle: "below 1% on the default channels (R1 Table 86); a public device stack applies 864-865 0.1%, 866-868 1%, 868.7-869.2 MHz 10%",
    // The three bands are what one stack applies, and no more.
    duty_rules: &[DutyRule { default_channels: true, permille: 10 }],
    beacon: like_868::beacon_at(&[869_100_000]),
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
    ..like_868::PLAN
};

static CHANNELS: [Channel; 2] = [channel(0, 868_900_000, 0, 5), channel(1, 869_100_000, 0, 5)];

static DATA_RATES: [DataRate; 10] = like_868::rates([0, 1, 2, 3, 4, 5, 6, 7, 12, 13]);

static RX1: [Rx1Row; 10] = like_868::rx1_rows([0, 1, 2, 3, 4, 5, 6, 7, 12, 13]);

static PAYLOAD: [PayloadLimit; 10] = like_868::limits([0, 1, 2, 3, 4, 5, 6, 7, 12, 13]);
