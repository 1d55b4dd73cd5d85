//! What plans share: empty fields, the ChMaskCntl of dynamic plans, doubts.

use super::{
    ChMaskCntl, Revision,
    model::{
        Beacon, CfListRule, ChMaskCntlRule, DataRates, DefaultChannels, Delays, Dispute, Dwell,
        Hop, Join, JoinChannels, Payloads, PingSlot, Plan, PlanKind, Power, Rx1Channel, Rx1Rule,
        Rx2,
    },
};

/// The fields that most plans leave empty. Every plan's file adds the rest; a test walks them all.
pub(super) const ORDINARY: Plan = Plan {
    name: "",
    common_name: "",
    aliases: &[],
    title: "",
    plan_id: 0,
    kind: PlanKind::Dynamic,
    baseline: "",
    source: "",
    range_hz: (0, 0),
    centre_range_hz: None,
    frequency_offset_hz: None,
    default_channels: DefaultChannels::Listed(&[]),
    join: Join { channels: JoinChannels::Listed(&[]), data_rates: &[], source: None },
    uplink_blocks: &[],
    downlink_blocks: &[],
    sub_bands: 0,
    data_rates: DataRates { uplink: &[], downlink: None, source: "" },
    rx1_rule: Rx1Rule {
        channel: Rx1Channel::SameFrequency,
        rule: "",
        table: &[],
        dwell_table: None,
        source: "",
    },
    rx1_offset_max: 0,
    rx2_default: Rx2 { freq_hz: 0, dr: 0, note: None },
    power: Power { max_dbm: 0.0, reference: "", step_db: 2, max_index: 0, older: None, source: "" },
    cflist: CfListRule { frequencies: None, masks: None, note: None, source: None },
    ch_mask_cntl: ChMaskCntlRule { current: &CH_MASK_CNTL_16, older: &[], source: "" },
    payloads: Payloads { uplink: &[], uplink_dwell: None, downlink: None, source: "" },
    dwell: Dwell { tx_param_setup: false, uplink_ms: 0, downlink_ms: 0, default: None },
    duty_cycle: "",
    duty_rules: &[],
    longest_ms: 0,
    regulator_bands: &[],
    legal_channels: &[],
    beacon: Beacon {
        frequencies_hz: &[],
        hop: Hop::Never,
        dr: 0,
        sf: 0,
        bw_khz: 0,
        octets: 0,
        rule: None,
    },
    ping: PingSlot { frequencies_hz: &[], dr: 0, rule: None },
    relay: &[],
    delays: Delays::DEFAULT,
    legacy: &[],
    rx1_formula: None,
    notes: &[],
    disputes: &[],
    doubts: &[],
};

/// ChMaskCntl of dynamic plans since they have up to 80 channels.
pub(super) static CH_MASK_CNTL: [ChMaskCntl; 8] = [
    ChMaskCntl::Group { first: 0, last: 15 },
    ChMaskCntl::Group { first: 16, last: 31 },
    ChMaskCntl::Group { first: 32, last: 47 },
    ChMaskCntl::Group { first: 48, last: 63 },
    ChMaskCntl::Group { first: 64, last: 79 },
    ChMaskCntl::Banks,
    ChMaskCntl::AllOn,
    ChMaskCntl::Rfu,
];

/// ChMaskCntl of dynamic plans while they have up to 16 channels.
pub(super) static CH_MASK_CNTL_16: [ChMaskCntl; 8] = [
    ChMaskCntl::Group { first: 0, last: 15 },
    ChMaskCntl::Rfu,
    ChMaskCntl::Rfu,
    ChMaskCntl::Rfu,
    ChMaskCntl::Rfu,
    ChMaskCntl::Rfu,
    ChMaskCntl::AllOn,
    ChMaskCntl::Rfu,
];

/// Until when dynamic plans have up to 16 channels.
pub(super) static CH_MASK_CNTL_OLDER: [(Revision, &[ChMaskCntl; 8]); 1] =
    [(Revision::Rp002_1_0_3, &CH_MASK_CNTL_16)];

pub(super) const CH_MASK_CNTL_DISPUTE: Dispute = Dispute {
    what: "ChMaskCntl 1 to 5",
    one: "R1, R102, R103, two public device stacks: RFU",
    other: "T5 (1.0.5): groups and banks",
    taken: "by revision: RFU until RP002-1.0.3; RP002-1.0.4 at the latest brought them",
};

pub(super) const ONE_TRANSCRIPTION: &str = "numbers new in RP002-1.0.5 rest on one transcription (T5) that agreed with the \
     few original pages seen";

pub(super) const TYPE_1_SINCE: &str = "not seen: which revision introduced CFList type 1 here (RP002-1.0.4 is the \
     first in which it was met), and whether a node must take it then";
