//! A root key with one digit too few, one too many, or one that cannot be read.
//!
//! Such a key is no key, and nothing is checked under it. But little is missing: all that it may have
//! been can be tried on frames.

use std::fmt;

use zeroize::Zeroizing;

/// What is wrong with the digits of a key.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum KeyDamage {
    /// 31 digits.
    OneTooFew,
    /// 33 digits.
    OneTooMany,
    /// 32 characters, one of which is not a hex digit.
    OneUnreadable {
        /// Which, from 1, separators not counted.
        position: usize,
    },
}

/// A key that a roster states with one damaged digit. Mute in `Debug`.
#[derive(Clone)]
pub struct DamagedKey {
    /// The member, as the roster spells it: `app-key`.
    pub member: &'static str,
    /// What is wrong.
    pub damage: KeyDamage,
    digits: Zeroizing<Vec<Option<u8>>>,
}

impl DamagedKey {
    /// Returns the key of a text that is no key for one digit's sake.
    pub(super) fn of(member: &'static str, text: &str) -> Option<Self> {
        let text = text.trim();
        let text = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")).unwrap_or(text);
        let written = text.chars().filter(|c| !matches!(c, '-' | ':' | ' '));
        let read = |c: char| c.to_digit(16).and_then(|digit| u8::try_from(digit).ok());
        // One more than can be of use is read, and no more kept.
        let digits: Zeroizing<Vec<Option<u8>>> =
            Zeroizing::new(written.map(read).take(DIGITS + 2).collect());
        let mut unreadable =
            digits.iter().enumerate().filter(|(_, digit)| digit.is_none()).map(|(i, _)| i + 1);
        let damage = match (digits.len(), unreadable.next(), unreadable.next()) {
            (len, None, _) if len + 1 == DIGITS => KeyDamage::OneTooFew,
            (len, None, _) if len == DIGITS + 1 => KeyDamage::OneTooMany,
            (DIGITS, Some(position), None) => KeyDamage::OneUnreadable { position },
            _ => return None,
        };
        Some(Self { member, damage, digits })
    }

    /// Returns the digits in order, each 0 to 15; `None` is the one that cannot be read.
    pub fn digits(&self) -> &[Option<u8>] {
        &self.digits
    }
}

impl fmt::Debug for DamagedKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("DamagedKey")
            .field("member", &self.member)
            .field("damage", &self.damage)
            .finish_non_exhaustive()
    }
}

/// Hex digits of a key.
const DIGITS: usize = 32;

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: &str = "5a0c11d2e37f4b8896a1c0deface0147";

    fn damage(text: &str) -> Option<KeyDamage> {
        DamagedKey::of("app-key", text).map(|key| key.damage)
    }

    #[test]
    fn one_damaged_digit_is_kept_and_two_are_not() {
        assert_eq!(damage(&KEY[1..]), Some(KeyDamage::OneTooFew));
        assert_eq!(damage(&format!("{KEY}0")), Some(KeyDamage::OneTooMany));
        assert_eq!(damage("5a-0c-11-d2-e3-7f-4b-88-96-a1-cO-de-fa-ce-01-47"), {
            Some(KeyDamage::OneUnreadable { position: 22 })
        });
        for text in [KEY, &KEY[2..], &format!("{KEY}00"), &format!("O{}O", &KEY[2..]), "", "x"] {
            assert_eq!(damage(text), None, "{text}");
        }
        assert_eq!(damage(&"0".repeat(1_000_000)), None);
    }

    #[test]
    fn a_damaged_key_is_mute() {
        let key = DamagedKey::of("app-key", &KEY[1..]).unwrap();
        assert_eq!(key.digits().len(), 31);
        assert!(!format!("{key:?}").contains("10"), "{key:?}");
    }
}
