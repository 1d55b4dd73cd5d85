//! What the plans of one kind with EU863-870 share: data rates, RX1, sizes, the CFList, ChMaskCntl.
//!
//! A plan's file states its own numbers and its differences, and takes the rest from [`PLAN`]. The tables
//! are those of EU863-870, which has every row; [`rates`], [`rx1_rows`] and [`limits`] take the rows that
//! a plan has.

use super::{
    LIST_800, Revision,
    model::{
        Beacon, CfListFrequencies, CfListMasks, CfListRule, ChMaskCntlRule, Channel, DataRate,
        DataRates, Hop, Join, JoinChannels, MasksOver, PayloadLimit, Payloads, Plan, PlanKind,
        Power, Rx1Channel, Rx1Row, Rx1Rule, fsk, limit, lora, lr_fhss, rx1,
    },
    shared::{
        CH_MASK_CNTL, CH_MASK_CNTL_DISPUTE, CH_MASK_CNTL_OLDER, ONE_TRANSCRIPTION, ORDINARY,
        TYPE_1_SINCE,
    },
};

/// The rules that these plans have in common; each file adds its name, channels, sources and differences.
pub(super) const PLAN: Plan = Plan {
    kind: PlanKind::Dynamic,
    baseline: "RP002-1.0.5",
    data_rates: DataRates { uplink: &DATA_RATES, downlink: None, source: "" },
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::SameFrequency,
        rule: "same frequency as the uplink",
        table: &RX1,
        dwell_table: None,
        source: "",
    },
    rx1_offset_max: 5,
    power: Power {
        max_dbm: 16.0,
        reference: "EIRP",
        step_db: 2,
        max_index: 7,
        older: None,
        source: "",
    },
    cflist: CfListRule {
        frequencies: Some(CfListFrequencies { first_channel: 3 }),
        masks: Some(CfListMasks { over: MasksOver::List(&LIST_800), since: Revision::Rp002_1_0_4 }),
        note: None,
        source: None,
    },
    ch_mask_cntl: ChMaskCntlRule { current: &CH_MASK_CNTL, older: &CH_MASK_CNTL_OLDER, source: "" },
    payloads: Payloads { uplink: &PAYLOAD, uplink_dwell: None, downlink: None, source: "" },
    disputes: &[CH_MASK_CNTL_DISPUTE],
    doubts: &[ONE_TRANSCRIPTION, TYPE_1_SINCE],
    ..ORDINARY
};

/// A join on these channels, at DR0 to DR5.
pub(super) const fn join_on(channels: &'static [Channel]) -> Join {
    Join { channels: JoinChannels::Listed(channels), data_rates: &[0, 1, 2, 3, 4, 5], source: None }
}

/// A beacon at DR3, SF9/125, on frequencies that never hop.
pub(super) const fn beacon_at(frequencies_hz: &'static [u32]) -> Beacon {
    Beacon { frequencies_hz, hop: Hop::Never, dr: 3, sf: 9, bw_khz: 125, octets: 17, rule: None }
}

/// Makes a function that takes the rows of some data rates out of a table.
macro_rules! rows {
    ($(#[$doc:meta])* $name:ident: $row:ty, $table:ident by $number:ident) => {
        $(#[$doc])*
        ///
        /// For the tables of plans, which are computed by the compiler: a missing row does not compile.
        #[allow(clippy::indexing_slicing, reason = "the compiler computes it, and refuses a bad index")]
        pub(super) const fn $name<const N: usize>(numbers: [u8; N]) -> [$row; N] {
            let mut rows = [$table[0]; N];
            let mut i = 0;
            while i < N {
                let mut row = 0;
                while $table[row].$number != numbers[i] {
                    row += 1;
                }
                rows[i] = $table[row];
                i += 1;
            }
            rows
        }
    };
}

rows! {
    /// Returns the rows of these data rates.
    rates: DataRate, DATA_RATES by dr
}
rows! {
    /// Returns the RX1 rows of these uplink data rates.
    rx1_rows: Rx1Row, RX1 by uplink
}
rows! {
    /// Returns the sizes of these data rates.
    limits: PayloadLimit, PAYLOAD by dr
}

const DATA_RATES: [DataRate; 14] = [
    lora(0, 12, 125, 250),
    lora(1, 11, 125, 440),
    lora(2, 10, 125, 980),
    lora(3, 9, 125, 1760),
    lora(4, 8, 125, 3125),
    lora(5, 7, 125, 5470),
    lora(6, 7, 250, 11_000),
    fsk(7, 50_000),
    lr_fhss(8, 1, 137, 162).seen_in(Revision::Rp002_1_0_3),
    lr_fhss(9, 2, 137, 325).seen_in(Revision::Rp002_1_0_3),
    lr_fhss(10, 1, 336, 162).seen_in(Revision::Rp002_1_0_3),
    lr_fhss(11, 2, 336, 325).seen_in(Revision::Rp002_1_0_3),
    lora(12, 6, 125, 9375).since(Revision::Rp002_1_0_5),
    lora(13, 5, 125, 15_625).since(Revision::Rp002_1_0_5),
];

const RX1: [Rx1Row; 14] = [
    rx1(0, &[0, 0, 0, 0, 0, 0]),
    rx1(1, &[1, 0, 0, 0, 0, 0]),
    rx1(2, &[2, 1, 0, 0, 0, 0]),
    rx1(3, &[3, 2, 1, 0, 0, 0]),
    rx1(4, &[4, 3, 2, 1, 0, 0]),
    rx1(5, &[5, 4, 3, 2, 1, 0]),
    rx1(6, &[6, 5, 4, 3, 2, 1]),
    rx1(7, &[7, 6, 5, 4, 3, 2]),
    rx1(8, &[1, 0, 0, 0, 0, 0]),
    rx1(9, &[2, 1, 0, 0, 0, 0]),
    rx1(10, &[1, 0, 0, 0, 0, 0]),
    rx1(11, &[2, 1, 0, 0, 0, 0]),
    rx1(12, &[12, 5, 4, 3, 2, 1]),
    rx1(13, &[13, 12, 5, 4, 3, 2]),
];

const PAYLOAD: [PayloadLimit; 14] = [
    limit(0, 59, 59),
    limit(1, 59, 59),
    limit(2, 59, 59),
    limit(3, 123, 123),
    limit(4, 230, 250),
    limit(5, 230, 250),
    limit(6, 230, 250),
    limit(7, 230, 250),
    limit(8, 58, 58),
    limit(9, 123, 123),
    limit(10, 58, 58),
    limit(11, 123, 123),
    limit(12, 230, 250),
    limit(13, 230, 250),
];
