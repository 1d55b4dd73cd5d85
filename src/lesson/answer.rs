//! Answers: the right one, how it may be spelt, and the wrong ones that tell what went wrong.

use super::quantity::Quantity;

/// What a question is answered by.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Value {
    /// Octets, in the order in which they are to be written.
    Octets(Vec<u8>),
    /// A whole number, in decimal, or in hex with `0x` before it.
    Number(u64),
    /// A number with a unit.
    Quantity(Quantity),
    /// A word, and other spellings of it.
    Word {
        /// As it is printed.
        word: String,
        /// What is taken for it as well.
        also: Vec<String>,
    },
    /// Words in this order; no words are `none`.
    List(Vec<String>),
    /// Words in any order; no words are `none`.
    Set(Vec<String>),
}

/// A wrong answer that tells how it came about.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Slip {
    /// The wrong answer.
    pub value: Value,
    /// What was done.
    pub why: String,
}

/// The right answer to a question, and what is known about wrong ones.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Answer {
    /// The right one.
    pub right: Value,
    /// Wrong ones that somebody comes to who slips.
    pub slips: Vec<Slip>,
}

/// What there is to say about a learner's answer.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Mark {
    /// It is right.
    Right,
    /// It is wrong; why, where that can be told.
    Wrong(Option<String>),
    /// There is none.
    Missing,
}

impl Value {
    /// Returns a word that has no other spelling.
    pub fn word(word: impl Into<String>) -> Self {
        Self::Word { word: word.into(), also: Vec::new() }
    }

    /// Returns `yes` or `no`.
    pub fn yes(yes: bool) -> Self {
        let (word, also) = if yes { ("yes", ["y", "true"]) } else { ("no", ["n", "false"]) };
        Self::Word { word: word.into(), also: also.map(str::to_owned).to_vec() }
    }

    /// Returns the value as the answer sheet prints it.
    pub fn text(&self) -> String {
        match self {
            Self::Octets(octets) => hex::encode_upper(octets),
            Self::Number(number) => number.to_string(),
            Self::Quantity(quantity) => quantity.to_string(),
            Self::Word { word, .. } => word.clone(),
            Self::List(words) | Self::Set(words) if words.is_empty() => "none".to_owned(),
            Self::List(words) | Self::Set(words) => words.join(", "),
        }
    }

    /// Whether a learner's text says this value.
    fn is_said_by(&self, text: &str) -> bool {
        match self {
            Self::Octets(octets) => octets_of(text).as_ref() == Ok(octets),
            Self::Number(number) => number_of(text) == Some(*number),
            Self::Quantity(quantity) => quantity.is_said_by(text),
            Self::Word { word, also } => {
                let said = bare(text);
                std::iter::once(word).chain(also).any(|spelling| bare(spelling) == said)
            }
            Self::List(words) | Self::Set(words) if words.is_empty() => {
                matches!(bare(text).as_str(), "none" | "no" | "nothing")
            }
            Self::List(words) => words_of(text) == bared(words),
            Self::Set(words) => {
                let (mut said, mut own) = (words_of(text), bared(words));
                said.sort();
                own.sort();
                said == own
            }
        }
    }
}

impl Answer {
    /// Returns an answer about whose wrong ones nothing is known.
    pub const fn new(right: Value) -> Self {
        Self { right, slips: Vec::new() }
    }

    /// Returns an identifier's answer: `octets` as people write them, which travel in reverse.
    pub fn reversed(name: &str, octets: &[u8]) -> Self {
        let sent: Vec<u8> = octets.iter().rev().copied().collect();
        Self::new(Value::Octets(octets.to_vec())).unless(
            Value::Octets(sent),
            format!("you read {name} as sent; it travels least significant byte first"),
        )
    }

    /// Adds a wrong answer and what it shows; one that is right after all is left out.
    pub fn unless(mut self, value: Value, why: impl Into<String>) -> Self {
        let is_right = self.right.is_said_by(&value.text());
        if !is_right && self.slips.iter().all(|slip| slip.value != value) {
            self.slips.push(Slip { value, why: why.into() });
        }
        self
    }

    /// Marks what a learner wrote.
    pub fn mark(&self, text: &str) -> Mark {
        let text = text.trim();
        if text.is_empty() {
            return Mark::Missing;
        }
        if self.right.is_said_by(text) {
            return Mark::Right;
        }
        let as_hex = u64::from_str_radix(text, 16).ok();
        let is_hex = |value: &Value| matches!(value, Value::Number(n) if Some(*n) == as_hex);
        let slip = self.slips.iter().find(|slip| slip.value.is_said_by(text));
        // The digits of a slip in hex, for which nobody writes 0x; not where they say the right one.
        let slip = slip
            .or_else(|| self.slips.iter().find(|slip| is_hex(&slip.value) && !is_hex(&self.right)));
        Mark::Wrong(slip.map(|slip| slip.why.clone()).or_else(|| self.guess(text)))
    }

    /// What can be told about a wrong answer that nobody foresaw.
    fn guess(&self, text: &str) -> Option<String> {
        match &self.right {
            Value::Octets(right) => guess_octets(right, text),
            Value::Number(right) => guess_number(*right, text),
            Value::Quantity(right) => right.guess(text),
            Value::List(words) => {
                let (mut said, mut own) = (words_of(text), bared(words));
                said.sort();
                own.sort();
                (said == own).then(|| "the right names in another order".to_owned())
            }
            Value::Word { .. } | Value::Set(_) => None,
        }
    }
}

fn guess_octets(right: &[u8], text: &str) -> Option<String> {
    let said = match octets_of(text) {
        Ok(said) => said,
        Err(why) => return Some(why),
    };
    let digits = hex::encode(&said);
    let turned: String = hex::encode(right).chars().rev().collect();
    let swapped: Vec<u8> = right.iter().map(|octet| octet.rotate_left(4)).collect();
    if digits == turned || said == swapped {
        return Some(
            "you turned the digits round; it is the bytes that turn, two digits at a time".into(),
        );
    }
    if said.iter().rev().eq(right) {
        return Some("the right bytes in the opposite order".into());
    }
    if said.len() != right.len() {
        let (found, wanted) = (crate::words::Count(said.len(), "byte"), right.len());
        return Some(format!("{found}, {wanted} expected: the field begins or ends elsewhere"));
    }
    let wrong = digits.bytes().zip(hex::encode(right).bytes()).filter(|(a, b)| a != b).count();
    (wrong <= 2)
        .then(|| format!("{} of {} wrong", wrong, crate::words::Count(digits.len(), "digit")))
}

fn guess_number(right: u64, text: &str) -> Option<String> {
    let Some(said) = number_of(text) else {
        let bare = text.trim_end_matches(['h', 'H']);
        let as_hex = u64::from_str_radix(bare, 16).ok();
        return Some(match as_hex {
            Some(hex) if hex == right => format!("in hex it is right: write 0x{bare}, or {right}"),
            _ => "no number: write decimal digits, or hex with 0x in front".to_owned(),
        });
    };
    let is_hex_digits = u64::from_str_radix(text, 16) == Ok(right);
    if is_hex_digits {
        return Some(format!("these are its hex digits: 0x{text} is {right} in decimal"));
    }
    let swapped = |bits: u32| right.checked_shr(bits).unwrap_or(0) == 0;
    let [.., c, d] = right.to_be_bytes();
    let low = u64::from(u16::from_be_bytes([d, c]));
    let wide = u32::try_from(right).map(|n| u64::from(n.swap_bytes()));
    if swapped(16) && said == low || wide == Ok(said) {
        return Some(
            "you read the bytes in the order sent; the least significant one comes first".into(),
        );
    }
    None
}

/// Octets in hex, with whatever people put between and around them.
fn octets_of(text: &str) -> Result<Vec<u8>, String> {
    let text = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")).unwrap_or(text);
    let between = |c: &char| matches!(c, ' ' | '-' | ':' | '.' | ',' | '_' | '\t');
    let digits: String = text.chars().filter(|c| !between(c)).collect();
    if let Some(odd) = digits.chars().find(|c| !c.is_ascii_hexdigit()) {
        return Err(format!("{odd:?} is not hex digit"));
    }
    hex::decode(&digits).map_err(|_| {
        format!("{} make no whole bytes", crate::words::Count(digits.len(), "hex digit"))
    })
}

/// A whole number: decimal, or hex after `0x`.
fn number_of(text: &str) -> Option<u64> {
    let text: String = text.chars().filter(|c| !matches!(c, ' ' | '_')).collect();
    match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
        Some(digits) => u64::from_str_radix(digits, 16).ok(),
        None => text.parse().ok(),
    }
}

/// A word without case and without what is no letter or digit.
fn bare(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

fn bared(words: &[String]) -> Vec<String> {
    words.iter().map(|word| bare(word)).collect()
}

fn words_of(text: &str) -> Vec<String> {
    let parts = text.split([',', ';', ' ', '+', '/', '\t']).map(bare);
    parts.filter(|word| !matches!(word.as_str(), "" | "and")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn why(answer: &Answer, text: &str) -> String {
        match answer.mark(text) {
            Mark::Wrong(Some(why)) => why,
            other => panic!("{text}: {other:?}"),
        }
    }

    #[test]
    fn hex_is_taken_as_people_write_it() {
        let answer = Answer::reversed("the DevAddr", &[0x02, 0x01, 0xBB, 0xDA]);
        for text in ["0201BBDA", "0201bbda", "02-01-BB-DA", "02:01:bb:da", " 0x0201 BBDA "] {
            assert_eq!(answer.mark(text), Mark::Right, "{text}");
        }
        assert_eq!(answer.mark("  "), Mark::Missing);
    }

    #[test]
    fn a_wrong_order_is_told_as_such() {
        let answer = Answer::reversed("the DevAddr", &[0x02, 0x01, 0xBB, 0xDA]);
        assert_eq!(
            why(&answer, "DABB0102"),
            "you read the DevAddr as sent; it travels least significant byte first"
        );
        assert!(why(&answer, "ADBB1020").contains("turned the digits"));
        assert!(why(&answer, "2010BBAD").contains("turned the digits"));
        assert!(why(&answer, "0201BB").contains("3 bytes, 4 expected"));
        assert!(why(&answer, "0201BBDB").contains("1 of 8 digits wrong"));
        assert!(why(&answer, "0201BBG0").contains("'G' is not hex digit"));
        assert!(why(&answer, "0201BBD").contains("7 hex digits make no whole bytes"));
        assert_eq!(answer.mark("11223344"), Mark::Wrong(None));
    }

    #[test]
    fn numbers_are_decimal_or_say_that_they_are_hex() {
        let answer = Answer::new(Value::Number(0x1234));
        assert_eq!(answer.mark("4660"), Mark::Right);
        assert_eq!(answer.mark("0x1234"), Mark::Right);
        assert!(why(&answer, "1234").contains("0x1234 is 4660"));
        assert!(why(&answer, "13330").contains("in the order sent"));
        assert!(why(&answer, "many").contains("no number"));
        assert!(why(&Answer::new(Value::Number(0xAB)), "ABh").contains("write 0xAB, or 171"));
    }

    #[test]
    fn words_know_neither_case_nor_hyphens() {
        let answer = Answer::new(Value::word("Join-Request"));
        for text in ["join request", "JoinRequest", "JOIN-REQUEST."] {
            assert_eq!(answer.mark(text), Mark::Right, "{text}");
        }
        assert_eq!(Answer::new(Value::yes(true)).mark("Y"), Mark::Right);
        let set = Answer::new(Value::Set(vec!["ADR".into(), "ACK".into()]));
        assert_eq!(set.mark("ack and adr"), Mark::Right);
        assert_eq!(set.mark("ack"), Mark::Wrong(None));
        let none = Answer::new(Value::Set(Vec::new()));
        assert_eq!(none.mark("None."), Mark::Right);
        assert_eq!(none.mark("?"), Mark::Wrong(None));
        let list = Answer::new(Value::List(vec!["LinkCheckReq".into(), "DevStatusAns".into()]));
        assert!(why(&list, "DevStatusAns, LinkCheckReq").contains("another order"));
    }

    #[test]
    fn a_slip_that_is_right_is_no_slip() {
        let answer = Answer::reversed("the DevAddr", &[1, 1]);
        assert!(answer.slips.is_empty());
        assert_eq!(answer.mark("0101"), Mark::Right);
    }
}
