//! What the four groups of AS923 share: one plan, shifted by AS923_FREQ_OFFSET_HZ.

use super::{
    DutyRule, LIST_900, Revision, like_868,
    model::{
        CfListFrequencies, CfListMasks, CfListRule, ChMaskCntlRule, DataRate, DataRates,
        DefaultChannels, Dispute, Dwell, Join, JoinChannels, MasksOver, Note, PayloadLimit,
        Payloads, PingSlot, Plan, PlanKind, Power, Rx1Channel, Rx1Formula, Rx1Row, Rx1Rule, Rx2,
        channel, limit, relay, rx1,
    },
    shared::{
        CH_MASK_CNTL, CH_MASK_CNTL_DISPUTE, CH_MASK_CNTL_OLDER, ONE_TRANSCRIPTION, ORDINARY,
        TYPE_1_SINCE,
    },
};

/// A group, by its AS923_FREQ_OFFSET_HZ.
pub(super) struct Group<const OFFSET_HZ: i32>;

impl<const OFFSET_HZ: i32> Group<OFFSET_HZ> {
    /// What the groups share; each of their files adds its name and band.
    pub(super) const PLAN: Plan = Plan {
        kind: PlanKind::Dynamic,
        frequency_offset_hz: Some(OFFSET_HZ),
        default_channels: DefaultChannels::Listed(&[
            channel(0, Self::shifted(923_200_000), 0, 5),
            channel(1, Self::shifted(923_400_000), 0, 5),
        ]),
        join: Join {
            channels: JoinChannels::Listed(&[
                channel(0, Self::shifted(923_200_000), 2, 5),
                channel(1, Self::shifted(923_400_000), 2, 5),
            ]),
            data_rates: &[2, 3, 4, 5],
            source: Some("R1 Table 60, T5 Table 66"),
        },
        data_rates: DataRates {
            uplink: &DATA_RATES,
            downlink: None,
            source: "T5 Table 67; DR0-7 = R1 Table 61",
        },
        rx1_rule: Rx1Rule {
            channel: Rx1Channel::SameFrequency,
            rule: "same frequency as the uplink",
            table: &RX1,
            dwell_table: Some(&RX1_DWELL),
            source: "rx1: DownlinkDwellTime=0, T5 Table 74 (DR0-7 = R1 Table 66); rx1_dwell: \
             DownlinkDwellTime=1, T5 Table 75 (DR0-7 = R1 Table 67)",
        },
        rx1_offset_max: 7,
        rx2_default: Rx2 { freq_hz: Self::shifted(923_200_000), dr: 2, note: None },
        power: Power {
            max_dbm: 16.0,
            reference: "EIRP (changed by TxParamSetupReq)",
            step_db: 2,
            max_index: 7,
            older: None,
            source: "R1 Table 62",
        },
        cflist: CfListRule {
            frequencies: Some(CfListFrequencies { first_channel: 2 }),
            masks: Some(CfListMasks {
                over: MasksOver::List(&LIST_900),
                since: Revision::Rp002_1_0_4,
            }),
            note: Some("AS923_FREQ_OFFSET is never applied to CFList or MAC-command frequencies"),
            source: None,
        },
        ch_mask_cntl: ChMaskCntlRule {
            current: &CH_MASK_CNTL,
            older: &CH_MASK_CNTL_OLDER,
            source: "T5; older form R1 Table 63",
        },
        payloads: Payloads {
            uplink: &PAYLOAD,
            uplink_dwell: Some(&PAYLOAD_DWELL),
            downlink: None,
            source: "R5 p.79 (Table 73), T5 Table 72; R1 Tables 64/65. Downlink always checked \
             against the no-dwell column",
        },
        dwell: Dwell {
            tx_param_setup: true,
            uplink_ms: 400,
            downlink_ms: 400,
            default: Some(
                "country-specific; DownlinkDwellTime default 0 (R1 2.3); two public device stacks start with UplinkDwellTime=1",
            ),
        },
        duty_cycle: "below 1% on the default channels; Japan: LBT per ARIB STD-T108",
        duty_rules: &[DutyRule { default_channels: true, permille: 10 }],
        beacon: like_868::beacon_at(&[Self::shifted(923_400_000)]),
        ping: PingSlot { frequencies_hz: &[Self::shifted(923_400_000)], dr: 3, rule: None },
        relay: &[relay(Self::shifted(923_600_000), Self::shifted(923_800_000), 3)],
        rx1_formula: Some(Rx1Formula {
            until: Revision::Rp1_0_3A,
            max: 5,
            min: 0,
            min_dwell: 2,
            effective_offsets: &[0, 1, 2, 3, 4, 5, -1, -2],
            source: "R102 2.7.7; a public device stack",
        }),
        notes: &[
            Note {
                revision: "RP002-1.0.1",
                change: "the single AS923 plan became AS923-1 and shifted copies (-2: -1.8 MHz, -3: \
                 -6.6 MHz; -4: -5.9 MHz added later)",
                bites_when: "join channels, RX2, beacon and ping slot all move by the offset, CFList \
                 frequencies do not; mixing groups = join never answered",
                source: "R1 2.10.9, a public device stack",
            },
            Note {
                revision: "RP V1.0 .. 1.0.3revA",
                change: "join only at DR2 in RP V1.0 and 1.0.2rB; DR2..DR5 in RP002 (1.0.3revA not \
                 checked)",
                bites_when: "a join-request at DR5 is legal today, odd in an old capture",
                source: "R10 Table 40, R102 Table 49, R1 Table 60",
            },
            Note {
                revision: "RP 1.0.2rB / 1.0.3 -> RP002-1.0.0",
                change: "RX1 DR was min(5, max(MinDR, DRup - eff)), eff = 0,1,2,3,4,5,-1,-2 for offsets \
                 0..7; RP002 replaced it by a direct table",
                bites_when: "uplink DR6/DR7 answered at DR5 by the formula, DR6/DR7 by the table; offsets \
                 6/7 from DR4/DR5 differ too",
                source: "R102 2.7.7, R1 2.10.7, two releases of a public device stack",
            },
            Note {
                revision: "all",
                change: "RX2 default is DR2 (SF10/125), not DR0",
                bites_when: "a listener waiting at SF12 on 923.2 MHz misses the RX2 join-accept",
                source: "R1 2.10.7, R102 2.7.7, R10",
            },
            Note {
                revision: "RP002-1.0.1",
                change: "payload at DR2 without dwell raised from 59/51 to 123/115",
                bites_when: "a 60..123 byte MACPayload at DR2 is refused by an older peer",
                source: "R1 4.1, R102 Table 53",
            },
        ],
        disputes: &[
            Dispute {
                what: "payload at DR2 without dwell",
                one: "R102: M 59",
                other: "R1 on, a public device stack, R5: M 123",
                taken: "123",
            },
            CH_MASK_CNTL_DISPUTE,
        ],
        doubts: &[
            ONE_TRANSCRIPTION,
            TYPE_1_SINCE,
            "join data rates in RP 1.0.3revA were not checked",
            "relay frequencies of groups 2 to 4: shifted by inference",
            "left out: the channel groups of Japan's LBT rule",
        ],
        ..ORDINARY
    };

    const fn shifted(group_1_hz: u32) -> u32 {
        group_1_hz.saturating_add_signed(OFFSET_HZ)
    }
}

static DATA_RATES: [DataRate; 10] = like_868::rates([0, 1, 2, 3, 4, 5, 6, 7, 12, 13]);

static RX1: [Rx1Row; 10] = [
    rx1(0, &[0, 0, 0, 0, 0, 0, 1, 2]),
    rx1(1, &[1, 0, 0, 0, 0, 0, 2, 3]),
    rx1(2, &[2, 1, 0, 0, 0, 0, 3, 4]),
    rx1(3, &[3, 2, 1, 0, 0, 0, 4, 5]),
    rx1(4, &[4, 3, 2, 1, 0, 0, 5, 6]),
    rx1(5, &[5, 4, 3, 2, 1, 0, 6, 7]),
    rx1(6, &[6, 5, 4, 3, 2, 1, 7, 7]),
    rx1(7, &[7, 6, 5, 4, 3, 2, 7, 7]),
    rx1(12, &[12, 5, 4, 3, 2, 1, 13, 13]),
    rx1(13, &[13, 12, 5, 4, 3, 2, 13, 13]),
];

static RX1_DWELL: [Rx1Row; 10] = [
    rx1(0, &[2, 2, 2, 2, 2, 2, 2, 2]),
    rx1(1, &[2, 2, 2, 2, 2, 2, 2, 3]),
    rx1(2, &[2, 2, 2, 2, 2, 2, 3, 4]),
    rx1(3, &[3, 2, 2, 2, 2, 2, 4, 5]),
    rx1(4, &[4, 3, 2, 2, 2, 2, 5, 6]),
    rx1(5, &[5, 4, 3, 2, 2, 2, 6, 7]),
    rx1(6, &[6, 5, 4, 3, 2, 2, 7, 7]),
    rx1(7, &[7, 6, 5, 4, 3, 2, 7, 7]),
    rx1(12, &[12, 5, 4, 3, 2, 2, 13, 13]),
    rx1(13, &[13, 12, 5, 4, 3, 2, 13, 13]),
];

static PAYLOAD: [PayloadLimit; 10] = [
    limit(0, 59, 59),
    limit(1, 59, 59),
    limit(2, 123, 123),
    limit(3, 123, 123),
    limit(4, 230, 250),
    limit(5, 230, 250),
    limit(6, 230, 250),
    limit(7, 230, 250),
    limit(12, 230, 250),
    limit(13, 230, 250),
];

static PAYLOAD_DWELL: [PayloadLimit; 8] = [
    limit(2, 19, 19),
    limit(3, 61, 61),
    limit(4, 133, 133),
    limit(5, 230, 250),
    limit(6, 230, 250),
    limit(7, 230, 250),
    limit(12, 230, 250),
    limit(13, 230, 250),
];
