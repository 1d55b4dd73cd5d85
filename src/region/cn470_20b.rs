//! CN470-20B: CN470-510, 20 MHz antenna, type B.

use super::{
    Revision, cn470,
    model::{
        Beacon, CfListMasks, CfListRule, ChMaskCntlRule, DefaultChannels, Hop, MasksOver, PingSlot,
        Plan, Rx1Channel, Rx1Rule, Rx2, block,
    },
};

pub(super) static PLAN: Plan = Plan {
    name: "CN470-20B",
    aliases: &["CN470-510-20B"],
    title: "CN470-510, 20 MHz antenna, type B",
    default_channels: DefaultChannels::AllUplink("all 64 channels of the plan once activated"),
    uplink_blocks: &[
        block(0, 32, 476_900_000, 200_000, 125, 1, 5),
        block(32, 32, 496_900_000, 200_000, 125, 1, 5),
    ],
    downlink_blocks: &[
        block(0, 32, 476_900_000, 200_000, 125, 1, 5),
        block(32, 32, 496_900_000, 200_000, 125, 1, 5),
    ],
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::Modulo(64),
        rule: "same channel number = same frequency",
        ..cn470::ANTENNA_PLAN.rx1_rule
    },
    rx2_default: Rx2 {
        freq_hz: 498_300_000,
        dr: 1,
        note: Some(
            "498.3 MHz for ABP; OTAA: 478.3 MHz (join channel 8) or 498.3 MHz (join channel \
             9)",
        ),
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
        frequencies_hz: &[481_500_000, 501_500_000],
        hop: Hop::PingOverHalf,
        dr: 2,
        sf: 10,
        bw_khz: 125,
        octets: 19,
        rule: Some(
            "downlink channel 23 (481.5 MHz) after join channel 8, channel 55 (501.5 MHz) \
             after join channel 9",
        ),
    },
    ping: PingSlot {
        frequencies_hz: &[476_900_000, 496_900_000],
        dr: 2,
        rule: Some(
            "channel = (DevAddr + floor(beacon_time/128)) mod 32 after join channel 8, +32 \
             after join channel 9 (list shown: first channel of each group)",
        ),
    },
    notes: &[cn470::REPLACED, cn470::JOIN_DECIDES, cn470::UNCHANGED],
    ..cn470::ANTENNA_PLAN
};
