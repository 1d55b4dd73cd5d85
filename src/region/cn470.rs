//! What the four antenna plans of CN470 share (RP002-1.0.1 on).

use super::{
    ChMaskCntl,
    model::{
        CommonJoin, DataRate, DataRates, Dispute, Join, JoinChannels, Note, PayloadLimit, Payloads,
        Plan, PlanKind, Power, Rx1Channel, Rx1Row, Rx1Rule, fsk, limit, lora, relay, rx1,
    },
    shared::ORDINARY,
};

/// What the four plans share; each of their files adds its name, channels and windows.
pub(super) const ANTENNA_PLAN: Plan = Plan {
    common_name: "CN470",
    plan_id: 6,
    kind: PlanKind::Fixed,
    baseline: "RP002-1.0.1 .. RP002-1.0.5 (same channels)",
    source: "R1 2.9, T5, a public device stack",
    range_hz: (470_000_000, 510_000_000),
    join: Join {
        channels: JoinChannels::Common {
            rule: "any of the 20 common join channels (cn470_common_join)",
            table: &COMMON_JOIN,
        },
        data_rates: &[5, 4, 3, 2, 1],
        source: Some(
            "R1 2.9.2.2 says DR5 to DR0, but DR0 is not available (R1 note 32); two public device stacks use DR5..DR1",
        ),
    },
    data_rates: DataRates {
        uplink: &DATA_RATES,
        downlink: None,
        source: "R1 Table 46, T5 Table 50",
    },
    rx1_offset_max: 5,
    power: Power {
        max_dbm: 19.15,
        reference: "EIRP",
        step_db: 2,
        max_index: 7,
        older: None,
        source: "R1 Table 46 and 2.9.3",
    },
    payloads: Payloads {
        uplink: &PAYLOAD,
        uplink_dwell: None,
        downlink: None,
        source: "T5 Tables 54/55; R1 Table 50 (R1 Table 49 prints 172/164 for DR3 with \
             repeater). DR0: no payload",
    },
    duty_cycle: "no duty cycle; a transmission lasts at most 1 s, one channel at a time, \
             LBT/AFA or similar (R1 2.9.2)",
    longest_ms: 1000,
    relay: &[relay(472_100_000, 485_300_000, 3), relay(494_900_000, 505_500_000, 5)],
    doubts: &["EIRP in RP002-1.0.5: T5 rounds to whole decibels (19)"],
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::Modulo(64),
        rule: "",
        table: &RX1,
        dwell_table: None,
        source: "R1 Table 51, T5 Table 56",
    },
    disputes: &[CFLIST_DISPUTE, DR0_DISPUTE, DR3_DISPUTE],
    ..ORDINARY
};

pub(super) const CFLIST_DISPUTE: Dispute = Dispute {
    what: "CFList",
    one: "R1: type 1",
    other: "a constant of a public device stack: type 0",
    taken: "type 1",
};

pub(super) const DR0_DISPUTE: Dispute = Dispute {
    what: "DR0",
    one: "R1 text: channels DR0 to DR5, join DR5 to DR0; R1 note 32: DR0 not available",
    other: "two public device stacks: DR1 to DR5",
    taken: "DR1 to DR5",
};

pub(super) const DR3_DISPUTE: Dispute = Dispute {
    what: "DR3, repeater M/N",
    one: "R1: 172/164",
    other: "T5 (1.0.5): 192/184",
    taken: "192/184; a length check should allow either",
};

pub(super) const REPLACED: Note = Note {
    revision: "RP 1.0.3revA -> RP002-1.0.1",
    change: "96-channel plan replaced by four antenna plans, not backward compatible; RX2 \
         505.3 MHz DR0 became per-join-channel frequency, DR1; DR0 withdrawn; DR6 = \
         SF7/500 and DR7 = FSK added",
    bites_when: "device and network must agree which CN470 they mean: old device joins on \
         470.3-489.3 MHz and listens on 500.3-509.7 MHz, new network answers on 484-502 \
         MHz",
    source: "R1 2.9 and revision list, R102 2.6",
};

pub(super) const JOIN_DECIDES: Note = Note {
    revision: "all",
    change: "the uplink join channel decides the antenna plan; the join-accept comes on the \
         paired downlink",
    bites_when: "decoding a join capture: look up the uplink frequency in cn470_common_join \
         first",
    source: "R1 Table 41 and note 31",
};

pub(super) const UNCHANGED: Note = Note {
    revision: "RP002-1.0.2+",
    change: "frequencies below are unchanged from 1.0.1 to 1.0.5",
    bites_when: "-",
    source: "R1, T5, a public device stack",
};

static DATA_RATES: [DataRate; 8] = [
    lora(0, 12, 125, 250),
    lora(1, 11, 125, 440),
    lora(2, 10, 125, 980),
    lora(3, 9, 125, 1760),
    lora(4, 8, 125, 3125),
    lora(5, 7, 125, 5470),
    lora(6, 7, 500, 21_900),
    fsk(7, 50_000),
];

static RX1: [Rx1Row; 8] = [
    rx1(0, &[0, 0, 0, 0, 0, 0]),
    rx1(1, &[1, 1, 1, 1, 1, 1]),
    rx1(2, &[2, 1, 1, 1, 1, 1]),
    rx1(3, &[3, 2, 1, 1, 1, 1]),
    rx1(4, &[4, 3, 2, 1, 1, 1]),
    rx1(5, &[5, 4, 3, 2, 1, 1]),
    rx1(6, &[6, 5, 4, 3, 2, 1]),
    rx1(7, &[7, 6, 5, 4, 3, 2]),
];

static PAYLOAD: [PayloadLimit; 7] = [
    limit(1, 31, 31),
    limit(2, 94, 94),
    limit(3, 192, 192),
    limit(4, 230, 250),
    limit(5, 230, 250),
    limit(6, 230, 250),
    limit(7, 230, 250),
];

// R1 Tables 41, 52, 53 and 2.9.7.2, a public device stack, T5.
static COMMON_JOIN: [CommonJoin; 20] = [
    common(0, 470_900_000, 484_500_000, 485_300_000, "CN470-20A"),
    common(1, 472_500_000, 486_100_000, 486_900_000, "CN470-20A"),
    common(2, 474_100_000, 487_700_000, 488_500_000, "CN470-20A"),
    common(3, 475_700_000, 489_300_000, 490_100_000, "CN470-20A"),
    common(4, 504_100_000, 490_900_000, 491_700_000, "CN470-20A"),
    common(5, 505_700_000, 492_500_000, 493_300_000, "CN470-20A"),
    common(6, 507_300_000, 494_100_000, 494_900_000, "CN470-20A"),
    common(7, 508_900_000, 495_700_000, 496_500_000, "CN470-20A"),
    common(8, 479_900_000, 479_900_000, 478_300_000, "CN470-20B"),
    common(9, 499_900_000, 499_900_000, 498_300_000, "CN470-20B"),
    common(10, 470_300_000, 492_500_000, 492_500_000, "CN470-26A"),
    common(11, 472_300_000, 492_500_000, 492_500_000, "CN470-26A"),
    common(12, 474_300_000, 492_500_000, 492_500_000, "CN470-26A"),
    common(13, 476_300_000, 492_500_000, 492_500_000, "CN470-26A"),
    common(14, 478_300_000, 492_500_000, 492_500_000, "CN470-26A"),
    common(15, 480_300_000, 502_500_000, 502_500_000, "CN470-26B"),
    common(16, 482_300_000, 502_500_000, 502_500_000, "CN470-26B"),
    common(17, 484_300_000, 502_500_000, 502_500_000, "CN470-26B"),
    common(18, 486_300_000, 502_500_000, 502_500_000, "CN470-26B"),
    common(19, 488_300_000, 502_500_000, 502_500_000, "CN470-26B"),
];

pub(super) static CH_MASK_CNTL_20: [ChMaskCntl; 8] = [
    ChMaskCntl::Group { first: 0, last: 15 },
    ChMaskCntl::Group { first: 16, last: 31 },
    ChMaskCntl::Group { first: 32, last: 47 },
    ChMaskCntl::Group { first: 48, last: 63 },
    ChMaskCntl::Rfu,
    ChMaskCntl::Rfu,
    ChMaskCntl::AllOn,
    ChMaskCntl::AllOff,
];

pub(super) static CH_MASK_CNTL_26: [ChMaskCntl; 8] = [
    ChMaskCntl::Group { first: 0, last: 15 },
    ChMaskCntl::Group { first: 16, last: 31 },
    ChMaskCntl::Group { first: 32, last: 47 },
    ChMaskCntl::AllOn,
    ChMaskCntl::AllOff,
    ChMaskCntl::Rfu,
    ChMaskCntl::Rfu,
    ChMaskCntl::Rfu,
];

const fn common(
    index: u8,
    uplink_hz: u32,
    join_accept_hz: u32,
    rx2_hz: u32,
    plan: &'static str,
) -> CommonJoin {
    CommonJoin { index, uplink_hz, join_accept_hz, rx2_hz, plan }
}
