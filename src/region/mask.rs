//! ChMask words: which channels they name, and what a LinkADRReq does with them.
//!
//! The first word covers channels 0 to 15, its least significant bit the lowest of them; on the
//! wire a word travels least significant octet first. As text a word is a number in four hex
//! digits: `FF00 0000 0000 0000 0002` is sub-band 2 of a plan with 64+8 channels.

use std::{fmt, str::FromStr};

use super::{Plan, PlanKind, Revision};

/// A set of channels, kept as ChMask words.
#[derive(Clone, Debug, Default, Eq, Hash, PartialEq)]
pub struct ChannelMask(Vec<u16>);

/// Why a text is no set of channels.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MaskError {
    /// A word that is not one to four hex digits.
    #[error("word {word} is not a ChMask word of four hex digits")]
    NotAWord {
        /// Which word, from 1.
        word: usize,
    },
    /// Nothing at all.
    #[error("no ChMask word")]
    Empty,
    /// More words than there can be channels.
    #[error("{found} ChMask words, at most {most} expected")]
    TooLong {
        /// Words found.
        found: usize,
        /// Words allowed.
        most: usize,
    },
    /// An entry of a list that is no channel and no range.
    #[error("entry {entry} is not a channel or a range such as 8-15")]
    NotAChannel {
        /// Which entry, from 1.
        entry: usize,
    },
    /// A channel number that no mask can hold.
    #[error("entry {entry}: channel {channel} is above {highest}")]
    ChannelTooHigh {
        /// Which entry, from 1.
        entry: usize,
        /// The channel.
        channel: u32,
        /// The highest possible channel.
        highest: u16,
    },
}

impl ChannelMask {
    /// Returns the set that these words name; words beyond 16 (channel 255) are dropped.
    pub fn from_words(words: &[u16]) -> Self {
        Self(words.iter().copied().take(MOST_WORDS).collect())
    }

    /// Returns a set of these channels, in as few words as hold them; channels above 255 are
    /// left out.
    pub fn from_channels(channels: impl IntoIterator<Item = u16>) -> Self {
        let mut mask = Self::default();
        for channel in channels {
            mask.insert(channel);
        }
        mask
    }

    /// Returns the set that a list names: `8-15,65`.
    ///
    /// # Errors
    /// When an entry is neither a channel nor a range, or above channel 255.
    pub fn from_list(list: &str) -> Result<Self, MaskError> {
        let mut mask = Self::default();
        for (i, part) in list.split(',').enumerate() {
            let entry = i + 1;
            let (low, high) = part.split_once('-').unwrap_or((part, part));
            let number = |text: &str| {
                let text = text.trim();
                let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
                text.parse().ok().filter(|_| digits).ok_or(MaskError::NotAChannel { entry })
            };
            let (low, high): (u32, u32) = (number(low)?, number(high)?);
            if low > high {
                return Err(MaskError::NotAChannel { entry });
            }
            for channel in low..=high {
                match u16::try_from(channel) {
                    Ok(c) if c <= HIGHEST => mask.insert(c),
                    _ => {
                        return Err(MaskError::ChannelTooHigh {
                            entry,
                            channel: high,
                            highest: HIGHEST,
                        });
                    }
                }
            }
        }
        Ok(mask)
    }

    /// Returns all channels that a plan numbers itself: every uplink channel of a fixed plan,
    /// the default channels of a dynamic one.
    pub fn of_plan(plan: &Plan) -> Self {
        Self::from_channels(plan.channels())
    }

    /// Returns the words, first word first.
    pub fn words(&self) -> &[u16] {
        &self.0
    }

    /// Returns a copy with at least so many words.
    pub fn padded(&self, words: usize) -> Self {
        let mut padded = self.0.clone();
        padded.resize(padded.len().max(words.min(MOST_WORDS)), 0);
        Self(padded)
    }

    /// Returns the channels, lowest first.
    pub fn channels(&self) -> impl Iterator<Item = u16> + '_ {
        (0..=HIGHEST).filter(|&c| self.contains(c))
    }

    /// Returns whether a channel is in the set.
    pub fn contains(&self, channel: u16) -> bool {
        self.0.get(usize::from(channel / 16)).is_some_and(|w| w >> (channel % 16) & 1 == 1)
    }

    /// Returns whether no channel is in the set.
    pub fn is_empty(&self) -> bool {
        self.0.iter().all(|&w| w == 0)
    }

    /// Returns how many channels are in the set.
    pub fn len(&self) -> usize {
        self.channels().count()
    }

    /// Adds a channel; one above 255 has no place in any mask and is not added.
    pub fn insert(&mut self, channel: u16) {
        if channel > HIGHEST {
            return;
        }
        let word = usize::from(channel / 16);
        if self.0.len() <= word {
            self.0.resize(word + 1, 0);
        }
        if let Some(w) = self.0.get_mut(word) {
            *w |= 1 << (channel % 16);
        }
    }

    /// Takes a channel out.
    pub fn remove(&mut self, channel: u16) {
        if let Some(w) = self.0.get_mut(usize::from(channel / 16)) {
            *w &= !(1 << (channel % 16));
        }
    }

    /// Returns the channels as a list of ranges: `8-15, 65`; `none` for the empty set.
    pub fn list(&self) -> String {
        let mut ranges: Vec<(u16, u16)> = Vec::new();
        for c in self.channels() {
            match ranges.last_mut() {
                Some((_, last)) if *last + 1 == c => *last = c,
                _ => ranges.push((c, c)),
            }
        }
        if ranges.is_empty() {
            return "none".into();
        }
        let parts: Vec<String> = ranges
            .into_iter()
            .map(|(a, b)| if a == b { a.to_string() } else { format!("{a}-{b}") })
            .collect();
        parts.join(", ")
    }

    fn set(&mut self, channel: u16, on: bool) {
        if on {
            self.insert(channel);
        } else {
            self.remove(channel);
        }
    }
}

impl fmt::Display for ChannelMask {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, word) in self.0.iter().enumerate() {
            write!(f, "{}{word:04X}", if i == 0 { "" } else { " " })?;
        }
        Ok(())
    }
}

impl FromStr for ChannelMask {
    type Err = MaskError;

    /// Reads words of up to four hex digits, `0x` allowed, with spaces or commas between them;
    /// words of exactly four digits may also stand together without any.
    fn from_str(text: &str) -> Result<Self, MaskError> {
        let mut words = Vec::new();
        for piece in text.split([' ', ',', '\t']).filter(|p| !p.is_empty()) {
            let word = words.len() + 1;
            let digits =
                piece.strip_prefix("0x").or_else(|| piece.strip_prefix("0X")).unwrap_or(piece);
            let hex = digits.bytes().all(|b| b.is_ascii_hexdigit()) && !digits.is_empty();
            if !hex || (digits.len() > 4 && !digits.len().is_multiple_of(4)) {
                return Err(MaskError::NotAWord { word });
            }
            for start in (0..digits.len()).step_by(4) {
                let part = digits.get(start..digits.len().min(start + 4)).unwrap_or_default();
                let value =
                    u16::from_str_radix(part, 16).map_err(|_| MaskError::NotAWord { word })?;
                words.push(value);
            }
        }
        match words.len() {
            0 => Err(MaskError::Empty),
            1..=MOST_WORDS => Ok(Self(words)),
            found => Err(MaskError::TooLong { found, most: MOST_WORDS }),
        }
    }
}

/// What a value of ChMaskCntl does with the ChMask beside it.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum ChMaskCntl {
    /// The sixteen bits are channels from `first` to `last`; bits beyond are RFU.
    Group {
        /// Channel of bit 0.
        first: u16,
        /// The last channel that has a bit.
        last: u16,
    },
    /// Bit `b` is channels `8b` to `8b+7`, for `b` from 0 to 9.
    Banks,
    /// Bit `b` is channels `8b` to `8b+7` and `64+b`, for `b` from 0 to 7; other bits are RFU.
    SubBands,
    /// All channels that are defined come on; the ChMask does not count.
    AllOn,
    /// All channels go off; another LinkADRReq must follow and enable one.
    AllOff,
    /// All channels of 125 kHz come on; the ChMask sets channels 64 to 71.
    NarrowOn,
    /// All channels of 125 kHz go off; the ChMask sets channels 64 to 71.
    NarrowOff,
    /// Reserved.
    Rfu,
}

impl fmt::Display for ChMaskCntl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Group { first, last } => write!(f, "channels {first}-{last}"),
            Self::Banks => f.write_str("banks: bit b = channels 8b to 8b+7, b = 0 to 9"),
            Self::SubBands => f.write_str("bit b = channels 8b to 8b+7 and 64+b, b = 0 to 7"),
            Self::AllOn => f.write_str("all defined channels on"),
            Self::AllOff => f.write_str("all channels off (another command must enable one)"),
            Self::NarrowOn => f.write_str("all 125 kHz channels on, ChMask sets 64-71"),
            Self::NarrowOff => f.write_str("all 125 kHz channels off, ChMask sets 64-71"),
            Self::Rfu => f.write_str("RFU"),
        }
    }
}

/// Why a node refuses a ChMask (ChannelMaskACK 0).
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MaskRefusal {
    /// The value of ChMaskCntl is reserved in this plan and revision.
    #[error("ChMaskCntl {cntl} is RFU in this plan and revision")]
    Rfu {
        /// The value.
        cntl: u8,
    },
    /// A bit enables a channel that the node does not have.
    #[error("bit {bit} enables channel {channel}, which is not defined")]
    Undefined {
        /// The bit, 0 for the least significant.
        bit: u8,
        /// The channel, or the first of its bank.
        channel: u16,
    },
}

impl Plan {
    /// Returns what a value of ChMaskCntl means in a revision; values above 7 do not exist.
    pub fn ch_mask_cntl(&self, revision: Revision, cntl: u8) -> ChMaskCntl {
        let rule = &self.ch_mask_cntl;
        let table =
            rule.older.iter().find(|(until, _)| revision <= *until).map_or(rule.current, |o| o.1);
        table.get(usize::from(cntl)).copied().unwrap_or(ChMaskCntl::Rfu)
    }

    /// Returns the channels that are enabled after a LinkADRReq.
    ///
    /// `enabled` are the channels in use before it, `defined` those that the node has at all
    /// (fixed plans: [`ChannelMask::of_plan`]; dynamic plans: default channels, CFList and
    /// NewChannelReq). A node obeys a block of LinkADRReqs as a whole, so an empty result is
    /// a fault only after the last one.
    ///
    /// # Errors
    /// When a node must refuse: a reserved ChMaskCntl, or a bit for a channel it does not have.
    /// RFU bits are ignored. A bank is refused when none of its channels is defined; whether a
    /// bank that is defined in part is lawful is not settled by the sources, so it is taken.
    pub fn link_adr(
        &self,
        revision: Revision,
        enabled: &ChannelMask,
        defined: &ChannelMask,
        cntl: u8,
        ch_mask: u16,
    ) -> Result<ChannelMask, MaskRefusal> {
        let mut result = enabled.clone();
        let bits = (0u8..16).map(|bit| (bit, ch_mask >> bit & 1 == 1));
        match self.ch_mask_cntl(revision, cntl) {
            ChMaskCntl::Rfu => return Err(MaskRefusal::Rfu { cntl }),
            ChMaskCntl::AllOn => result = defined.clone(),
            ChMaskCntl::AllOff => result = ChannelMask::default(),
            ChMaskCntl::Group { first, last } => {
                for (bit, on) in bits {
                    let channel = first + u16::from(bit);
                    if channel > last {
                        break;
                    }
                    if on && !defined.contains(channel) {
                        return Err(MaskRefusal::Undefined { bit, channel });
                    }
                    result.set(channel, on);
                }
            }
            ChMaskCntl::Banks => {
                for (bit, on) in bits.take(10) {
                    let bank = u16::from(bit) * 8..u16::from(bit) * 8 + 8;
                    if on && !bank.clone().any(|c| defined.contains(c)) {
                        return Err(MaskRefusal::Undefined { bit, channel: bank.start });
                    }
                    for channel in bank {
                        result.set(channel, on && defined.contains(channel));
                    }
                }
            }
            ChMaskCntl::SubBands => {
                for (bit, on) in bits.take(8) {
                    for channel in self.sub_band_channels(bit + 1) {
                        result.set(channel, on);
                    }
                }
            }
            narrow @ (ChMaskCntl::NarrowOn | ChMaskCntl::NarrowOff) => {
                for channel in defined.channels().filter(|c| *c < FIRST_WIDE) {
                    result.set(channel, narrow == ChMaskCntl::NarrowOn);
                }
                for (bit, on) in bits.take(8) {
                    result.set(FIRST_WIDE + u16::from(bit), on);
                }
            }
        }
        Ok(result)
    }

    /// Returns the numbers of the channels that the plan itself defines.
    pub fn channels(&self) -> Vec<u16> {
        match self.kind {
            PlanKind::Dynamic => self.listed_channels().iter().map(|c| c.number).collect(),
            PlanKind::Fixed => {
                self.uplink_blocks.iter().flat_map(|b| b.first..b.first + b.count).collect()
            }
        }
    }

    /// Returns how many ChMask words cover the plan's channels.
    pub fn mask_words(&self) -> usize {
        self.channels().last().map_or(0, |c| usize::from(c / 16) + 1)
    }
}

/// ChIndex has eight bits, so no channel is above 255.
const HIGHEST: u16 = 255;
const MOST_WORDS: usize = 16;
/// The first channel of 500 kHz in the plans that have NarrowOn and NarrowOff.
const FIRST_WIDE: u16 = 64;

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(name: &str) -> &'static Plan {
        Plan::by_name(name).unwrap()
    }

    #[test]
    fn the_least_significant_bit_is_the_lowest_channel() {
        let mask: ChannelMask = "FF00 0000 0000 0000 0002".parse().unwrap();
        assert_eq!(mask.list(), "8-15, 65");
        assert_eq!(mask.to_string(), "FF00 0000 0000 0000 0002");
        assert_eq!(ChannelMask::from_list("8-15,65"), Ok(mask));
    }

    #[test]
    fn words_may_stand_together() {
        let mask: ChannelMask = "0xFF00,0000 000000000002".parse().unwrap();
        assert_eq!(mask.words(), [0xff00, 0, 0, 0, 2]);
    }

    #[test]
    fn a_wrong_text_is_told_by_its_place() {
        assert_eq!("FF00 00G0".parse::<ChannelMask>(), Err(MaskError::NotAWord { word: 2 }));
        assert_eq!("FF00 00000".parse::<ChannelMask>(), Err(MaskError::NotAWord { word: 2 }));
        assert_eq!(" ".parse::<ChannelMask>(), Err(MaskError::Empty));
        assert_eq!(ChannelMask::from_list("8-15,,65"), Err(MaskError::NotAChannel { entry: 2 }));
        assert_eq!(ChannelMask::from_list("15-8"), Err(MaskError::NotAChannel { entry: 1 }));
        assert_eq!(
            ChannelMask::from_list("0-4000000000"),
            Err(MaskError::ChannelTooHigh { entry: 1, channel: 4_000_000_000, highest: 255 })
        );
    }

    #[test]
    fn seven_then_zero_cuts_a_node_to_one_sub_band() {
        let us = plan("US915");
        let all = ChannelMask::of_plan(us);
        let narrow_off = us.link_adr(Revision::LATEST, &all, &all, 7, 0x0002).unwrap();
        assert_eq!(narrow_off.list(), "65");
        let one = us.link_adr(Revision::LATEST, &narrow_off, &all, 0, 0xff00).unwrap();
        assert_eq!(one.list(), "8-15, 65");
        let five = us.link_adr(Revision::LATEST, &all, &all, 5, 0x0302).unwrap();
        assert_eq!(five, one.padded(five.words().len()), "bits 8 and 9 are RFU");
    }

    #[test]
    fn chmaskcntl_5_is_rfu_before_1_0_3() {
        let us = plan("US915");
        let all = ChannelMask::of_plan(us);
        assert_eq!(
            us.link_adr(Revision::Rp1_0_2B, &all, &all, 5, 2),
            Err(MaskRefusal::Rfu { cntl: 5 })
        );
    }

    #[test]
    fn a_dynamic_plan_refuses_what_it_does_not_have() {
        let eu = plan("EU868");
        let have = ChannelMask::of_plan(eu);
        assert_eq!(
            eu.link_adr(Revision::LATEST, &have, &have, 0, 0x00ff),
            Err(MaskRefusal::Undefined { bit: 3, channel: 3 })
        );
        assert_eq!(
            eu.link_adr(Revision::Rp002_1_0_3, &have, &have, 1, 1),
            Err(MaskRefusal::Rfu { cntl: 1 })
        );
        assert_eq!(
            eu.link_adr(Revision::LATEST, &have, &have, 1, 1),
            Err(MaskRefusal::Undefined { bit: 0, channel: 16 })
        );
    }

    #[test]
    fn all_on_is_6_in_one_cn470_and_3_in_another() {
        let (a, b) = (plan("CN470-20A"), plan("CN470-26A"));
        assert_eq!(a.ch_mask_cntl(Revision::LATEST, 6), ChMaskCntl::AllOn);
        assert_eq!(b.ch_mask_cntl(Revision::LATEST, 3), ChMaskCntl::AllOn);
        assert_eq!(b.ch_mask_cntl(Revision::LATEST, 6), ChMaskCntl::Rfu);
    }
}
