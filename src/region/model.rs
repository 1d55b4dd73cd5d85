//! What a channel plan is made of: the types of its tables, and short ways to write their rows.

use super::{ChMaskCntl, DutyRule, FixedList, Revision, Since};
use crate::radio::Modulation;

/// Whether a plan's channels are defined one by one or all at once.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum PlanKind {
    /// A few default channels; the network adds more, each by its frequency.
    Dynamic,
    /// Every channel is numbered by the plan; the network only switches them on and off.
    Fixed,
}

impl PlanKind {
    /// Returns `dynamic` or `fixed`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Dynamic => "dynamic",
            Self::Fixed => "fixed",
        }
    }
}

/// A channel plan of the regional parameters, with all that a capture can be held against.
///
/// A plan is data: one file each under `region/`. What follows from the data is in the methods.
pub struct Plan {
    /// The name people write: `EU868`, `AS923-2`, `CN470-20A`.
    pub name: &'static str,
    /// The common name in RP002; the five plans of CN470 share one.
    pub common_name: &'static str,
    /// Further names by which the plan is found.
    pub aliases: &'static [&'static str],
    /// The long name: `EU863-870`.
    pub title: &'static str,
    /// Channel Plan ID of RP002; the five plans of CN470 share one.
    pub plan_id: u8,
    /// Dynamic or fixed.
    pub kind: PlanKind,
    /// The revisions that the tables were taken from.
    pub baseline: &'static str,
    /// Keys of [`super::SOURCES`] for what no other `source` of the plan covers.
    pub source: &'static str,
    /// Lowest and highest frequency of the band, Hz.
    pub range_hz: (u32, u32),
    /// Lowest and highest centre frequency, Hz, where the plan sets them apart from the band.
    pub centre_range_hz: Option<(u32, u32)>,
    /// AS923_FREQ_OFFSET_HZ: by how much an AS923 group is shifted.
    pub frequency_offset_hz: Option<i32>,
    /// The channels a node knows before it has joined.
    pub default_channels: DefaultChannels,
    /// Where and how a Join-Request may be sent.
    pub join: Join,
    /// Uplink channels by number (fixed plans).
    pub uplink_blocks: &'static [Block],
    /// Downlink channels by number (fixed plans).
    pub downlink_blocks: &'static [Block],
    /// How many sub-bands (banks of eight channels) the plan is divided into; 0: none.
    pub sub_bands: u8,
    /// The data rates.
    pub data_rates: DataRates,
    /// Which downlink channel and data rate RX1 uses.
    pub rx1_rule: Rx1Rule,
    /// Highest RX1DROffset; higher values are RFU.
    pub rx1_offset_max: u8,
    /// RX2 before the network says otherwise.
    pub rx2_default: Rx2,
    /// Transmit power.
    pub power: Power,
    /// Which CFLists the plan takes.
    pub cflist: CfListRule,
    /// What ChMaskCntl means.
    pub ch_mask_cntl: ChMaskCntlRule,
    /// Maximum payload sizes.
    pub payloads: Payloads,
    /// Dwell time limits and TxParamSetupReq.
    pub dwell: Dwell,
    /// Duty cycle or the rule in its place, in words.
    pub duty_cycle: &'static str,
    /// The numbers in `duty_cycle`: shares of the air beside those of `regulator_bands`.
    pub duty_rules: &'static [DutyRule],
    /// The numbers in `duty_cycle`: longest transmission, ms; 0: none but `dwell`.
    pub longest_ms: u16,
    /// The regulator's sub-bands, where they matter (EU868).
    pub regulator_bands: &'static [RegulatorBand],
    /// The only lawful centre frequencies, where the regulator lists them (KR920).
    pub legal_channels: &'static [LegalChannel],
    /// Class B beacon.
    pub beacon: Beacon,
    /// Class B ping slot.
    pub ping: PingSlot,
    /// Default channels of the relay's wake-on-radio frames.
    pub relay: &'static [RelayChannel],
    /// Default delays.
    pub delays: Delays,
    /// What older revisions had instead.
    pub legacy: &'static [Legacy],
    /// The formula for the RX1 data rate that RP002 replaced by a table.
    pub rx1_formula: Option<Rx1Formula>,
    /// What changed from one revision to the next, and when that is felt.
    pub notes: &'static [Note],
    /// Where sources disagree, and which one the tables follow.
    pub disputes: &'static [Dispute],
    /// What was inferred, remembered or not seen.
    pub doubts: &'static [&'static str],
}

impl std::fmt::Debug for Plan {
    /// Prints the name alone: the tables fill pages and are the same everywhere.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Plan").field(&self.name).finish()
    }
}

impl PartialEq for Plan {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Eq for Plan {}

/// A single channel.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Channel {
    /// Its number, from 0.
    pub number: u16,
    /// Its frequency.
    pub freq_hz: u32,
    /// Lowest data rate.
    pub dr_min: u8,
    /// Highest data rate.
    pub dr_max: u8,
}

/// Channels at equal steps.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Block {
    /// Number of the first channel.
    pub first: u16,
    /// How many.
    pub count: u16,
    /// Frequency of the first.
    pub start_hz: u32,
    /// Distance from one to the next.
    pub step_hz: u32,
    /// Bandwidth.
    pub bw_khz: u16,
    /// Lowest data rate.
    pub dr_min: u8,
    /// Highest data rate.
    pub dr_max: u8,
}

/// The channels of a node that has not joined.
#[derive(Clone, Copy, Debug)]
pub enum DefaultChannels {
    /// These.
    Listed(&'static [Channel]),
    /// All uplink channels; how the plan says so.
    AllUplink(&'static str),
}

/// Where and how Join-Requests are sent.
#[derive(Clone, Copy, Debug)]
pub struct Join {
    /// On which channels.
    pub channels: JoinChannels,
    /// At which data rates, in the order in which they are tried where the plan has one.
    pub data_rates: &'static [u8],
    /// Keys of [`super::SOURCES`], where it is not the plan's own.
    pub source: Option<&'static str>,
}

/// The channels for Join-Requests.
#[derive(Clone, Copy, Debug)]
pub enum JoinChannels {
    /// These, at the data rates each allows.
    Listed(&'static [Channel]),
    /// Any uplink channel, at the join data rate of its bandwidth; how the plan says so.
    AnyUplink(&'static str),
    /// Channels that several plans have in common: the one used picks the plan (CN470).
    Common {
        /// How the plan says so.
        rule: &'static str,
        /// The channels, of all the plans.
        table: &'static [CommonJoin],
    },
}

/// A join channel that several plans have in common.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct CommonJoin {
    /// Its index.
    pub index: u8,
    /// Where the Join-Request is sent.
    pub uplink_hz: u32,
    /// Where RX1 is for the Join-Accept.
    pub join_accept_hz: u32,
    /// Where RX2 is, for the Join-Accept and from then on.
    pub rx2_hz: u32,
    /// Name of the plan that a join here activates.
    pub plan: &'static str,
}

/// The data rates of a plan.
#[derive(Clone, Copy, Debug)]
pub struct DataRates {
    /// Uplink.
    pub uplink: &'static [DataRate],
    /// Downlink, where it has a table of its own.
    pub downlink: Option<&'static [DataRate]>,
    /// Keys of [`super::SOURCES`].
    pub source: &'static str,
}

/// A data rate.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct DataRate {
    /// Its number.
    pub dr: u8,
    /// What it is on the air.
    pub modulation: Modulation,
    /// Bits a second, as the regional parameters print it.
    pub bit_rate: u32,
    /// Which revisions have it.
    pub since: Since,
}

/// Where RX1 is.
#[derive(Clone, Copy, Debug)]
pub struct Rx1Rule {
    /// The channel.
    pub channel: Rx1Channel,
    /// The channel rule in words.
    pub rule: &'static str,
    /// The data rate by uplink data rate and RX1DROffset.
    pub table: &'static [Rx1Row],
    /// The same while DownlinkDwellTime is 1, where that makes a difference.
    pub dwell_table: Option<&'static [Rx1Row]>,
    /// Keys of [`super::SOURCES`].
    pub source: &'static str,
}

/// The channel of RX1.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Rx1Channel {
    /// The uplink's own frequency.
    SameFrequency,
    /// The downlink channel whose number is the uplink channel's modulo this.
    Modulo(u16),
}

/// The RX1 data rates of one uplink data rate.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Rx1Row {
    /// The uplink data rate.
    pub uplink: u8,
    /// The downlink data rate for RX1DROffset 0, 1, 2, ...
    pub downlink: &'static [u8],
}

/// The RX1 data rate by formula: `min(max, max(min, uplink - effective offset))`.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Rx1Formula {
    /// The last revision that has it.
    pub until: Revision,
    /// Highest result.
    pub max: u8,
    /// Lowest result while DownlinkDwellTime is 0.
    pub min: u8,
    /// Lowest result while DownlinkDwellTime is 1.
    pub min_dwell: u8,
    /// Effective offsets of RX1DROffset 0, 1, 2, ...
    pub effective_offsets: &'static [i8],
    /// Keys of [`super::SOURCES`].
    pub source: &'static str,
}

/// The default RX2.
#[derive(Clone, Copy, Debug)]
pub struct Rx2 {
    /// Its frequency.
    pub freq_hz: u32,
    /// Its data rate.
    pub dr: u8,
    /// What else there is to know about the frequency.
    pub note: Option<&'static str>,
}

/// Transmit power: TXPower `n` is the maximum less `n` steps.
#[derive(Clone, Copy, Debug)]
pub struct Power {
    /// Default maximum, dBm.
    pub max_dbm: f32,
    /// What the maximum counts: EIRP or conducted.
    pub reference: &'static str,
    /// Decibels a step.
    pub step_db: u8,
    /// Highest TXPower; higher values are RFU (15: keep, since LoRaWAN 1.0.4).
    pub max_index: u8,
    /// What older revisions had.
    pub older: Option<OlderPower>,
    /// Keys of [`super::SOURCES`].
    pub source: &'static str,
}

/// Transmit power in older revisions.
#[derive(Clone, Copy, Debug)]
pub struct OlderPower {
    /// The last revision that has it.
    pub until: Revision,
    /// Maximum, dBm.
    pub max_dbm: f32,
    /// Highest TXPower.
    pub max_index: u8,
}

/// Which CFLists a plan takes.
#[derive(Clone, Copy, Debug)]
pub struct CfListRule {
    /// Type 0, five frequencies.
    pub frequencies: Option<CfListFrequencies>,
    /// Type 1, ChMask words.
    pub masks: Option<CfListMasks>,
    /// What else there is to know.
    pub note: Option<&'static str>,
    /// Keys of [`super::SOURCES`], where it is not the plan's own.
    pub source: Option<&'static str>,
}

/// CFListType 0.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct CfListFrequencies {
    /// The channel that the first of the five frequencies defines.
    pub first_channel: u8,
}

/// CFListType 1.
#[derive(Clone, Copy, Debug)]
pub struct CfListMasks {
    /// What the bits stand for.
    pub over: MasksOver,
    /// The first revision that has it; older nodes ignore or reject such a CFList.
    pub since: Revision,
}

/// What the bits of a CFListType 1 stand for.
#[derive(Clone, Copy, Debug)]
pub enum MasksOver {
    /// The plan's channels, in so many ChMask words.
    Channels {
        /// Words that are used; the rest is RFU.
        words: u8,
    },
    /// The numbers of a fixed list of frequencies.
    List(&'static FixedList),
}

/// What ChMaskCntl 0 to 7 mean.
#[derive(Clone, Copy, Debug)]
pub struct ChMaskCntlRule {
    /// In the newest revision.
    pub current: &'static [ChMaskCntl; 8],
    /// In older ones: the last revision that has it, oldest first.
    pub older: &'static [(Revision, &'static [ChMaskCntl; 8])],
    /// Keys of [`super::SOURCES`].
    pub source: &'static str,
}

/// Maximum payload sizes.
#[derive(Clone, Copy, Debug)]
pub struct Payloads {
    /// Uplink.
    pub uplink: &'static [PayloadLimit],
    /// Uplink while UplinkDwellTime is 1; a data rate without a row cannot be used then.
    pub uplink_dwell: Option<&'static [PayloadLimit]>,
    /// Downlink, where it has a table of its own; never limited by dwell time.
    pub downlink: Option<&'static [PayloadLimit]>,
    /// Keys of [`super::SOURCES`].
    pub source: &'static str,
}

/// The largest MACPayload of a data rate; the largest FRMPayload (N) is 8 octets less.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct PayloadLimit {
    /// The data rate.
    pub dr: u8,
    /// M where the frame must fit through a repeater.
    pub repeater: u8,
    /// M otherwise.
    pub direct: u8,
}

/// Dwell time limits.
#[derive(Clone, Copy, Debug)]
pub struct Dwell {
    /// Whether the plan has TxParamSetupReq.
    pub tx_param_setup: bool,
    /// Uplink limit when it is in force; 0: the plan has none.
    pub uplink_ms: u16,
    /// Downlink limit when it is in force; 0: the plan has none.
    pub downlink_ms: u16,
    /// What is in force before the network says otherwise.
    pub default: Option<&'static str>,
}

/// A sub-band of the regulator.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct RegulatorBand {
    /// Its letter.
    pub letter: char,
    /// Its older name, still heard.
    pub older_name: &'static str,
    /// Lower edge.
    pub low_hz: u32,
    /// Upper edge.
    pub high_hz: u32,
    /// Duty cycle in thousandths.
    pub duty_permille: u16,
    /// Maximum ERP, dBm.
    pub max_erp_dbm: u8,
    /// Maximum ERP, mW.
    pub max_erp_mw: u16,
    /// Entry of EC 2017/1483.
    pub ec_2017_1483: &'static str,
}

/// A lawful centre frequency.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct LegalChannel {
    /// The frequency.
    pub freq_hz: u32,
    /// Maximum EIRP of a node there, dBm.
    pub max_eirp_dbm: u8,
}

/// The Class B beacon.
#[derive(Clone, Copy, Debug)]
pub struct Beacon {
    /// Its frequencies.
    pub frequencies_hz: &'static [u32],
    /// Which one when.
    pub hop: Hop,
    /// Its data rate.
    pub dr: u8,
    /// Spreading factor of that data rate.
    pub sf: u8,
    /// Bandwidth of that data rate.
    pub bw_khz: u16,
    /// Length of the frame.
    pub octets: u8,
    /// The channel rule in words, where the list does not tell it.
    pub rule: Option<&'static str>,
}

/// The default ping slot.
#[derive(Clone, Copy, Debug)]
pub struct PingSlot {
    /// Its frequencies.
    pub frequencies_hz: &'static [u32],
    /// Its data rate.
    pub dr: u8,
    /// The channel rule in words, where the list does not tell it.
    pub rule: Option<&'static str>,
}

/// How beacon and ping slot change channels.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Hop {
    /// Not at all.
    Never,
    /// Over the eight frequencies of the list.
    OverList,
    /// Over the group of eight downlink channels that the join channel picks (CN470-20A).
    OverJoinGroup,
    /// The beacon stays where the join channel put it, ping slots hop over 32 channels (CN470-20B).
    PingOverHalf,
}

/// A default channel of the relay.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct RelayChannel {
    /// Where the wake-on-radio frame is sent.
    pub wor_hz: u32,
    /// Where it is acknowledged.
    pub ack_hz: u32,
    /// At which data rate.
    pub dr: u8,
}

/// Default delays after the end of an uplink, in seconds.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Delays {
    /// RECEIVE_DELAY1.
    pub receive_1_s: u8,
    /// RECEIVE_DELAY2.
    pub receive_2_s: u8,
    /// JOIN_ACCEPT_DELAY1, whatever RxDelay says.
    pub join_accept_1_s: u8,
    /// JOIN_ACCEPT_DELAY2.
    pub join_accept_2_s: u8,
}

impl Delays {
    /// The delays that all plans share (R1 2.3, R4 p.27, R102).
    pub const DEFAULT: Self =
        Self { receive_1_s: 1, receive_2_s: 2, join_accept_1_s: 5, join_accept_2_s: 6 };
}

/// What an older revision had instead; `None`: as today.
#[derive(Clone, Copy, Debug)]
pub struct Legacy {
    /// The revisions in words.
    pub valid: &'static str,
    /// The first and the last revision.
    pub revisions: (Revision, Revision),
    /// Uplink data rates.
    pub uplink: Option<&'static [DataRate]>,
    /// Join data rates.
    pub join_data_rates: &'static [u8],
    /// RX1 table.
    pub rx1: Option<&'static [Rx1Row]>,
    /// Highest RX1DROffset.
    pub rx1_offset_max: Option<u8>,
    /// Beacon: data rate, spreading factor, octets.
    pub beacon: Option<(u8, u8, u8)>,
    /// CFList types.
    pub cflist_types: Option<&'static [u8]>,
    /// Whether there is TxParamSetupReq.
    pub tx_param_setup: Option<bool>,
    /// Highest TXPower.
    pub power_max_index: Option<u8>,
    /// Keys of [`super::SOURCES`].
    pub source: &'static str,
}

/// A change between revisions.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Note {
    /// The revisions it is about.
    pub revision: &'static str,
    /// What differs.
    pub change: &'static str,
    /// When it is felt.
    pub bites_when: &'static str,
    /// Keys of [`super::SOURCES`].
    pub source: &'static str,
}

/// Sources that contradict each other.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Dispute {
    /// About what.
    pub what: &'static str,
    /// What the first says.
    pub one: &'static str,
    /// What the other says.
    pub other: &'static str,
    /// What the tables follow.
    pub taken: &'static str,
}

// Short ways to write the rows, so that a plan's file reads like the table it was taken from.

pub(super) const fn channel(number: u16, freq_hz: u32, dr_min: u8, dr_max: u8) -> Channel {
    Channel { number, freq_hz, dr_min, dr_max }
}

/// Channels `first` on, `count` of them, from `start_hz` in steps: `bw_khz` wide, at `dr_min` to `dr_max`.
pub(super) const fn block(
    first: u16,
    count: u16,
    start_hz: u32,
    step_hz: u32,
    bw_khz: u16,
    dr_min: u8,
    dr_max: u8,
) -> Block {
    Block { first, count, start_hz, step_hz, bw_khz, dr_min, dr_max }
}

pub(super) const fn lora(dr: u8, sf: u8, bw_khz: u16, bit_rate: u32) -> DataRate {
    DataRate { dr, modulation: Modulation::Lora { sf, bw_khz }, bit_rate, since: Since::Always }
}

pub(super) const fn fsk(dr: u8, bit_rate: u32) -> DataRate {
    DataRate { dr, modulation: Modulation::Fsk { bit_rate }, bit_rate, since: Since::Always }
}

pub(super) const fn lr_fhss(dr: u8, cr_thirds: u8, ocw_khz: u16, bit_rate: u32) -> DataRate {
    let modulation = Modulation::LrFhss { cr_thirds, ocw_khz };
    DataRate { dr, modulation, bit_rate, since: Since::Always }
}

impl DataRate {
    /// Returns the row as one that is new in this revision.
    pub(super) const fn since(self, revision: Revision) -> Self {
        Self { since: Since::In(revision), ..self }
    }

    /// Returns the row as one that this revision has, and perhaps an older one.
    pub(super) const fn seen_in(self, revision: Revision) -> Self {
        Self { since: Since::InOrBefore(revision), ..self }
    }
}

pub(super) const fn rx1(uplink: u8, downlink: &'static [u8]) -> Rx1Row {
    Rx1Row { uplink, downlink }
}

pub(super) const fn limit(dr: u8, repeater: u8, direct: u8) -> PayloadLimit {
    PayloadLimit { dr, repeater, direct }
}

pub(super) const fn relay(wor_hz: u32, ack_hz: u32, dr: u8) -> RelayChannel {
    RelayChannel { wor_hz, ack_hz, dr }
}
