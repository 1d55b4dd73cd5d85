//! CN470-26B: CN470-510, 26 MHz antenna, type B.

use super::{
    Revision, cn470,
    model::{
        Beacon, CfListMasks, CfListRule, ChMaskCntlRule, DefaultChannels, Hop, MasksOver, Note,
        PingSlot, Plan, Rx1Channel, Rx1Rule, Rx2, block,
    },
};

pub(super) static PLAN: Plan = Plan {
    name: "CN470-26B",
    aliases: &["CN470-510-26B"],
    title: "CN470-510, 26 MHz antenna, type B",
    default_channels: DefaultChannels::AllUplink(
        "all 48 uplink channels of the plan once activated",
    ),
    uplink_blocks: &[block(0, 48, 480_300_000, 200_000, 125, 1, 5)],
    downlink_blocks: &[block(0, 24, 500_100_000, 200_000, 125, 1, 5)],
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::Modulo(24),
        rule: "downlink channel k = uplink channel number mod 24",
        ..cn470::ANTENNA_PLAN.rx1_rule
    },
    rx2_default: Rx2 { freq_hz: 502_500_000, dr: 1, note: None },
    cflist: CfListRule {
        frequencies: None,
        masks: Some(CfListMasks {
            over: MasksOver::Channels { words: 3 },
            since: Revision::Rp002_1_0_1,
        }),
        note: None,
        source: None,
    },
    ch_mask_cntl: ChMaskCntlRule {
        current: &cn470::CH_MASK_CNTL_26,
        older: &[],
        source: "R1 Table 48, T5 Table 53",
    },
    beacon: Beacon {
        frequencies_hz: &[504_900_000],
        hop: Hop::Never,
        dr: 2,
        sf: 10,
        bw_khz: 125,
        octets: 19,
        rule: None,
    },
    ping: PingSlot { frequencies_hz: &[504_900_000], dr: 2, rule: None },
    notes: &[
        cn470::REPLACED,
        cn470::JOIN_DECIDES,
        cn470::UNCHANGED,
        Note {
            revision: "all",
            change: "join-accept on the fixed 502.5 MHz of the join table, not on uplink channel \
                 mod 24",
            bites_when: "computing RX1 with the data rule during the join",
            source: "R1 Table 41 vs 2.9.7.2, a public device stack",
        },
    ],
    ..cn470::ANTENNA_PLAN
};
