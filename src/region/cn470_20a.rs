//! CN470-20A: CN470-510, 20 MHz antenna, type A.

use super::{
    Revision, cn470,
    model::{
        Beacon, CfListMasks, CfListRule, ChMaskCntlRule, DefaultChannels, Dispute, Hop, MasksOver,
        Note, PingSlot, Plan, Rx1Channel, Rx1Rule, Rx2, block,
    },
};

pub(super) static PLAN: Plan = Plan {
    name: "CN470-20A",
    aliases: &["CN470-510-20A"],
    title: "CN470-510, 20 MHz antenna, type A",
    default_channels: DefaultChannels::AllUplink(
        "all 64 uplink channels of the plan once activated",
    ),
    uplink_blocks: &[
        block(0, 32, 470_300_000, 200_000, 125, 1, 5),
        block(32, 32, 503_500_000, 200_000, 125, 1, 5),
    ],
    downlink_blocks: &[
        block(0, 32, 483_900_000, 200_000, 125, 1, 5),
        block(32, 32, 490_300_000, 200_000, 125, 1, 5),
    ],
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::Modulo(64),
        rule: "downlink channel of the same number",
        ..cn470::ANTENNA_PLAN.rx1_rule
    },
    rx2_default: Rx2 {
        freq_hz: 486_900_000,
        dr: 1,
        note: Some("486.9 MHz for ABP; OTAA: rx2_hz of the join channel used"),
    },
    cflist: CfListRule {
        frequencies: None,
        masks: Some(CfListMasks {
            over: MasksOver::Channels { words: 4 },
            since: Revision::Rp002_1_0_1,
        }),
        note: None,
        source: None,
    },
    ch_mask_cntl: ChMaskCntlRule {
        current: &cn470::CH_MASK_CNTL_20,
        older: &[],
        source: "R1 Table 47, T5 Table 52",
    },
    beacon: Beacon {
        frequencies_hz: &[
            483_900_000,
            484_100_000,
            484_300_000,
            484_500_000,
            484_700_000,
            484_900_000,
            485_100_000,
            485_300_000,
        ],
        hop: Hop::OverJoinGroup,
        dr: 2,
        sf: 10,
        bw_khz: 125,
        octets: 19,
        rule: Some(
            "channel = 8*J + floor(beacon_time/128) mod 8, J = join channel index 0..7 \
             (list shown: J=0)",
        ),
    },
    ping: PingSlot {
        frequencies_hz: &[
            483_900_000,
            484_100_000,
            484_300_000,
            484_500_000,
            484_700_000,
            484_900_000,
            485_100_000,
            485_300_000,
        ],
        dr: 2,
        rule: Some("channel = 8*J + (DevAddr + floor(beacon_time/128)) mod 8"),
    },
    notes: &[
        cn470::REPLACED,
        cn470::JOIN_DECIDES,
        cn470::UNCHANGED,
        Note {
            revision: "stack bug",
            change: "two releases of a public device stack have 494.0 MHz instead of 494.9 MHz for the RX2 of join channel 6",
            bites_when: "RX2 downlinks lost for devices that joined on 507.3 MHz with that stack",
            source: "a public device stack vs R1 Table 52, T5, another public device stack",
        },
    ],
    disputes: &[
        Dispute {
            what: "RX2 of join channel 6",
            one: "R1, a public device stack, T5: 494.9 MHz",
            other: "two releases of another public device stack: 494.0 MHz",
            taken: "494.9 MHz; the other looks like a slip",
        },
        cn470::CFLIST_DISPUTE,
        cn470::DR0_DISPUTE,
        cn470::DR3_DISPUTE,
    ],
    ..cn470::ANTENNA_PLAN
};
