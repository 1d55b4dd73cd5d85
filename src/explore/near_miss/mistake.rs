//! The mistakes that are looked for, and the sentences that say them.

use std::fmt;

use super::{
    classes::MistakeClass,
    digits::{Digit, End, Unit},
    from_eui::EuiKey,
    order::Order,
    sample::Sample,
    text_form::{Letters, TextForm},
};

/// What was done to a claimed value to make the one in use.
///
/// Positions count from 1 at the left, as people read a key. Who erred is not in here: the claim
/// may be wrong, or the node.
#[derive(Clone, Debug, Eq, Hash, PartialEq)]
#[non_exhaustive]
pub enum Mistake {
    /// Nothing: the known value fits as it stands.
    Same,
    /// The octets are in reverse order.
    OctetsReversed,
    /// The whole is in another order.
    Reordered(Order),
    /// The digits moved round to the left by so many places.
    Rotated {
        /// Places.
        digits: u8,
    },
    /// The text of the key was taken for the key.
    TextAsOctets {
        /// Which octets of it.
        form: TextForm,
        /// How the text was written.
        letters: Letters,
    },
    /// The key is made of an EUI.
    FromEui {
        /// How.
        how: EuiKey,
        /// Whether each EUI stands in the order in which it is sent.
        reversed: bool,
    },
    /// The key is a published value.
    Sample(Sample),
    /// One digit is wrong.
    OneDigit(Digit),
    /// The bit of an EUI that says "local" is the other way (octet 1, value 02).
    LocalBit,
    /// Octets 4 and 5 of an EUI made of 48 bits are filled otherwise (FFFE, FFFF, 0000).
    MiddleFiller {
        /// As claimed.
        claimed: [u8; 2],
        /// As used.
        used: [u8; 2],
    },
    /// Two neighbouring digits are exchanged.
    NeighboursExchanged {
        /// The left one.
        first: u8,
    },
    /// One digit is wrong, and the octets are in reverse order. The digit is counted as claimed.
    OneDigitReversed(Digit),
    /// Two digits that are no neighbours, or two octets, are exchanged.
    Exchanged {
        /// Which of both.
        unit: Unit,
        /// The left one.
        first: u8,
        /// The right one.
        second: u8,
    },
    /// Every digit of one value stands for another.
    Substituted {
        /// As claimed.
        claimed: u8,
        /// As used.
        used: u8,
    },
    /// The value in use has a unit of the claim twice, and lacks the one at an end.
    Doubled {
        /// Digit or octet.
        unit: Unit,
        /// Which, in the claim.
        at: u8,
        /// Which end was pushed out.
        lost: End,
    },
    /// The value in use lacks a unit of the claim, the gap is closed, and an end was filled.
    Dropped {
        /// Digit or octet.
        unit: Unit,
        /// Which, in the claim.
        at: u8,
        /// Which end was filled.
        filled: End,
        /// With what.
        with: u8,
    },
    /// The value in use has a unit that the claim lacks, and an end of the claim was pushed out.
    Inserted {
        /// Digit or octet.
        unit: Unit,
        /// Where it stands in the value in use.
        at: u8,
        /// What it is.
        value: u8,
        /// Which end was pushed out.
        lost: End,
    },
    /// One octet is wrong in both its digits.
    OneOctet {
        /// Which.
        at: u8,
        /// As claimed.
        claimed: u8,
        /// As used.
        used: u8,
    },
    /// Several digits were taken for others that look like them.
    LookAlikes(Vec<Digit>),
    /// Two digits are wrong.
    TwoDigits([Digit; 2]),
    /// Three digits are wrong.
    ThreeDigits([Digit; 3]),
}

/// What was done to a key, as people tell such mistakes apart.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Nature {
    /// Nothing: the known value fits as it stands.
    Same,
    /// Its bytes, words or digits are in another order.
    Turned,
    /// It was changed throughout: rotated, or its bits inverted or mirrored.
    Transformed,
    /// Its text was taken for it.
    Text,
    /// It is a value that anybody can guess: published, or made of an EUI.
    Guessable,
    /// It was typed or copied wrong.
    Typed,
}

impl Mistake {
    /// Returns what was done, as people tell mistakes apart.
    pub const fn nature(&self) -> Nature {
        match self {
            Self::Same => Nature::Same,
            Self::Rotated { .. }
            | Self::Reordered(Order::Inverted | Order::Bits | Order::BitsInOctets) => {
                Nature::Transformed
            }
            Self::OctetsReversed | Self::Reordered(_) => Nature::Turned,
            Self::TextAsOctets { .. } => Nature::Text,
            Self::FromEui { .. } | Self::Sample(_) => Nature::Guessable,
            _ => Nature::Typed,
        }
    }

    /// Returns how the value was changed as a whole, as the end of `it holds with`; `None` for all
    /// other mistakes.
    pub fn change(&self) -> Option<String> {
        Some(match self {
            Self::OctetsReversed => "its bytes reversed".into(),
            Self::Reordered(order) => order.text().into(),
            Self::Rotated { digits } => format!("its digits rotated to the left by {digits}"),
            _ => return None,
        })
    }

    /// Returns the kind of mistake; kinds are ordered by nearness.
    pub const fn class(&self) -> MistakeClass {
        match self {
            Self::Same => MistakeClass::Same,
            Self::OctetsReversed => MistakeClass::OctetsReversed,
            Self::Reordered(_) | Self::Rotated { .. } => MistakeClass::Reordered,
            Self::TextAsOctets { .. } => MistakeClass::TextAsOctets,
            Self::FromEui { .. } => MistakeClass::FromEui,
            Self::Sample(_) => MistakeClass::Sample,
            Self::OneDigit(_) | Self::LocalBit | Self::MiddleFiller { .. } => {
                MistakeClass::OneDigit
            }
            Self::NeighboursExchanged { .. } => MistakeClass::NeighboursExchanged,
            Self::OneDigitReversed(_) => MistakeClass::OneDigitReversed,
            Self::Exchanged { .. } => MistakeClass::Exchanged,
            Self::Substituted { .. } => MistakeClass::Substituted,
            Self::Doubled { unit, .. }
            | Self::Dropped { unit, .. }
            | Self::Inserted { unit, .. } => match unit {
                Unit::Digit => MistakeClass::DigitsShifted,
                Unit::Octet => MistakeClass::OctetsShifted,
            },
            Self::OneOctet { .. } => MistakeClass::OneOctet,
            Self::LookAlikes(_) => MistakeClass::LookAlikes,
            Self::TwoDigits(_) => MistakeClass::TwoDigits,
            Self::ThreeDigits(_) => MistakeClass::ThreeDigits,
        }
    }

    /// Returns its stable name, finer than that of its class.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Reordered(order) => order.name(),
            Self::Rotated { .. } => "rotated",
            Self::LocalBit => "local-bit",
            Self::MiddleFiller { .. } => "middle-octets",
            Self::Exchanged { unit: Unit::Digit, .. } => "digits-exchanged",
            Self::Exchanged { unit: Unit::Octet, .. } => "octets-exchanged",
            Self::Doubled { unit: Unit::Digit, .. } => "digit-doubled",
            Self::Doubled { unit: Unit::Octet, .. } => "octet-doubled",
            Self::Dropped { unit: Unit::Digit, .. } => "digit-dropped",
            Self::Dropped { unit: Unit::Octet, .. } => "octet-dropped",
            Self::Inserted { unit: Unit::Digit, .. } => "digit-inserted",
            Self::Inserted { unit: Unit::Octet, .. } => "octet-inserted",
            _ => self.class().name(),
        }
    }

    /// Returns the digits that differ where the rest agrees, for a view that marks them.
    pub fn digits(&self) -> Vec<u8> {
        match self {
            Self::OneDigit(digit) => vec![digit.at],
            Self::TwoDigits(digits) => digits.iter().map(|digit| digit.at).collect(),
            Self::ThreeDigits(digits) => digits.iter().map(|digit| digit.at).collect(),
            Self::LookAlikes(digits) => digits.iter().map(|digit| digit.at).collect(),
            Self::LocalBit => vec![2],
            Self::MiddleFiller { .. } => vec![7, 8, 9, 10],
            Self::NeighboursExchanged { first } => vec![*first, first.saturating_add(1)],
            Self::Exchanged { unit: Unit::Digit, first, second } => vec![*first, *second],
            Self::Exchanged { unit: Unit::Octet, first, second } => {
                [of_octet(*first), of_octet(*second)].concat()
            }
            Self::OneOctet { at, .. } => of_octet(*at).to_vec(),
            _ => Vec::new(),
        }
    }

    /// Returns the sentence about a key; `claim` names it, as "the record's AppKey".
    pub fn of_key(&self, claim: &str) -> String {
        Sentence { mistake: self, claim, agree: "the frames agree with" }.to_string()
    }

    /// As [`of_key`](Self::of_key), where one frame is all there is.
    pub fn of_key_of_one_frame(&self, claim: &str) -> String {
        Sentence { mistake: self, claim, agree: "the frame agrees with" }.to_string()
    }

    /// As [`of_key`](Self::of_key), for eyes that may not see a digit of a key: places alone.
    pub fn of_key_by_places(&self, claim: &str) -> String {
        let agree = "the frames agree with";
        let said = match self {
            Self::OneDigit(_) | Self::TwoDigits(_) | Self::ThreeDigits(_) | Self::LookAlikes(_) => {
                let places: Vec<String> = self.digits().iter().map(u8::to_string).collect();
                match places.as_slice() {
                    [one] => format!("with another digit {one}"),
                    _ => format!("with other digits {}", places.join(", ")),
                }
            }
            Self::OneDigitReversed(Digit { at, .. }) => {
                format!("with its bytes reversed and another digit {at}")
            }
            Self::OneOctet { at, .. } => format!("with another byte {at}"),
            Self::Substituted { .. } => "with one digit replaced by another throughout".into(),
            Self::Dropped { unit, at, filled, .. } => {
                let (unit, filled) = (unit.name(), filled.text());
                format!("without its {unit} {at}, and another as {filled} {unit}")
            }
            Self::Inserted { unit, at, lost, .. } => {
                let (unit, lost) = (unit.name(), lost.text());
                format!("with one put in as {unit} {at}, and its {lost} {unit} pushed out")
            }
            _ => return self.of_key(claim),
        };
        format!("{agree} {claim} {said}")
    }

    /// Returns the sentence about an EUI; `claim` names it, as "the record's DevEUI".
    pub fn of_eui(&self, claim: &str) -> String {
        Sentence { mistake: self, claim, agree: "the node sends" }.to_string()
    }

    /// Returns the sentence about the EUI of a gateway.
    pub fn of_gateway(&self, claim: &str) -> String {
        Sentence { mistake: self, claim, agree: "the gateway sends" }.to_string()
    }
}

struct Sentence<'a> {
    mistake: &'a Mistake,
    claim: &'a str,
    /// "the frames agree with", "the node sends".
    agree: &'a str,
}

impl Sentence<'_> {
    fn digits(&self, f: &mut fmt::Formatter<'_>, digits: &[Digit]) -> fmt::Result {
        for (i, Digit { at, claimed, used }) in digits.iter().enumerate() {
            if i == 0 {
                write!(
                    f,
                    "digit {at}: {} has {claimed:X} where {} {used:X}",
                    self.claim, self.agree
                )?;
            } else {
                write!(f, "; digit {at}: {claimed:X}, and {used:X}")?;
            }
        }
        Ok(())
    }

    /// Dropped, doubled, put in.
    fn shifted(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { claim, agree, .. } = self;
        match self.mistake {
            Mistake::Doubled { unit, at, lost } => {
                let (unit, lost) = (unit.name(), lost.text());
                write!(f, "{agree} {claim} with {unit} {at} twice and its {lost} {unit} pushed out")
            }
            Mistake::Dropped { unit, at, filled, with } => {
                let (name, filled) = (unit.name(), filled.text());
                let with = written(*unit, *with);
                write!(f, "{agree} {claim} without its {name} {at}, and {with} as {filled} {name}")
            }
            Mistake::Inserted { unit, at, value, lost } => {
                let (name, lost) = (unit.name(), lost.text());
                let value = written(*unit, *value);
                write!(
                    f,
                    "{agree} {claim} with {value} put in as {name} {at}, and its {lost} {name} pushed out"
                )
            }
            _ => Ok(()),
        }
    }
}

impl fmt::Display for Sentence<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { mistake, claim, agree } = self;
        match mistake {
            Mistake::Same => write!(f, "{agree} {claim} as it is"),
            Mistake::OctetsReversed | Mistake::Reordered(_) | Mistake::Rotated { .. } => {
                write!(f, "{agree} {claim} with {}", mistake.change().unwrap_or_default())
            }
            Mistake::TextAsOctets { form, letters } => {
                write!(f, "{agree} {}", form.text(claim, *letters))
            }
            Mistake::FromEui { how, reversed } => {
                let order =
                    if *reversed { "as sent, least significant byte first" } else { "as printed" };
                write!(f, "{agree} a key made of identifiers: {}, {order}", how.text())
            }
            Mistake::Sample(sample) => write!(f, "{agree} a published value: {}", sample.text()),
            Mistake::OneDigit(digit) => self.digits(f, &[*digit]),
            Mistake::TwoDigits(digits) => self.digits(f, digits),
            Mistake::ThreeDigits(digits) => self.digits(f, digits),
            Mistake::LookAlikes(digits) => {
                self.digits(f, digits)?;
                f.write_str(" (digits that look alike)")
            }
            Mistake::LocalBit => {
                write!(f, "{agree} {claim} with the local bit of the first byte (02) turned over")
            }
            Mistake::MiddleFiller { claimed: was, used } => {
                let (was, used) = (hex::encode_upper(was), hex::encode_upper(used));
                write!(f, "bytes 4 and 5: {claim} has {was} where {agree} {used}")
            }
            Mistake::NeighboursExchanged { first } => {
                write!(
                    f,
                    "{agree} {claim} with digits {first} and {} swapped",
                    first.saturating_add(1)
                )
            }
            Mistake::OneDigitReversed(digit) => {
                write!(f, "{agree} {claim} with its bytes reversed and one digit wrong; ")?;
                let Digit { at, claimed, used } = digit;
                write!(f, "digit {at}: {claimed:X}, and {used:X}")
            }
            Mistake::Exchanged { unit, first, second } => {
                write!(f, "{agree} {claim} with {}s {first} and {second} swapped", unit.name())
            }
            Mistake::Substituted { claimed, used } => {
                write!(f, "{agree} {claim} with {used:X} for every {claimed:X}")
            }
            Mistake::OneOctet { at, claimed, used } => {
                write!(f, "byte {at}: {claim} has {claimed:02X} where {agree} {used:02X}")
            }
            Mistake::Doubled { .. } | Mistake::Dropped { .. } | Mistake::Inserted { .. } => {
                self.shifted(f)
            }
        }
    }
}

/// The positions of an octet's two digits.
const fn of_octet(at: u8) -> [u8; 2] {
    let second = at.saturating_mul(2);
    [second.saturating_sub(1), second]
}

fn written(unit: Unit, value: u8) -> String {
    match unit {
        Unit::Digit => format!("{value:X}"),
        Unit::Octet => format!("{value:02X}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_by_places_has_no_digit_of_a_key() {
        let digit = |at| Digit { at, claimed: 0xB, used: 0xE };
        for (mistake, said) in [
            (Mistake::OneDigit(digit(14)), "with another digit 14"),
            (Mistake::TwoDigits([digit(3), digit(9)]), "with other digits 3, 9"),
            (Mistake::OneDigitReversed(digit(7)), "with its bytes reversed and another digit 7"),
            (Mistake::OneOctet { at: 4, claimed: 0xAB, used: 0xCD }, "with another byte 4"),
            (
                Mistake::Substituted { claimed: 0xB, used: 0xE },
                "with one digit replaced by another throughout",
            ),
        ] {
            let expected = format!("the frames agree with the record's AppKey {said}");
            assert_eq!(mistake.of_key_by_places("the record's AppKey"), expected);
        }
    }

    #[test]
    fn a_sentence_says_which_digit_and_what_the_frames_agree_with() {
        let digit = Digit { at: 14, claimed: 0xB, used: 8 };
        assert_eq!(
            Mistake::OneDigit(digit).of_key("the record's AppKey"),
            "digit 14: the record's AppKey has B where the frames agree with 8"
        );
        let second = Digit { at: 20, claimed: 0xD, used: 0 };
        assert_eq!(
            Mistake::TwoDigits([digit, second]).of_eui("the record's DevEUI"),
            "digit 14: the record's DevEUI has B where the node sends 8; digit 20: D, and 0"
        );
    }
}
