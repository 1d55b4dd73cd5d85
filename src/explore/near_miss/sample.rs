//! Keys that are nobody's: values of published standards, and what a hand types to fill a field.

use super::{digits::Digits, mistake::Mistake, sink::Sink};
use crate::key::Aes128Key;

/// A value that is in use as a key although anybody knows it.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Sample {
    /// One octet 16 times.
    Repeated(u8),
    /// A known value, by its name.
    Named(&'static str),
}

impl Sample {
    /// Returns what the value is.
    pub fn text(self) -> String {
        match self {
            Self::Repeated(0) => "all zeros".into(),
            Self::Repeated(0xFF) => "all ones (FF)".into(),
            Self::Repeated(octet) => format!("the byte {octet:02X} sixteen times"),
            Self::Named(name) => name.into(),
        }
    }
}

/// Returns what sample a key is, if it is one.
pub fn sample(key: &Aes128Key) -> Option<Sample> {
    let value = u128::from_be_bytes(*key.expose());
    all().find(|(sample, _)| *sample == value).map(|(_, sample)| sample)
}

/// Returns whether a key only fills its field until somebody enters one: all zeros, or all FF.
pub fn is_placeholder(key: &Aes128Key) -> bool {
    matches!(sample(key), Some(Sample::Repeated(0 | 0xFF)))
}

/// Offers every sample.
pub(super) fn offer(sink: &mut impl Sink) {
    for (value, sample) in all() {
        sink.offer(value, || Mistake::Sample(sample));
    }
}

fn all() -> impl Iterator<Item = (u128, Sample)> {
    let repeated =
        (0..=u8::MAX).map(|octet| (Digits::number(&[octet; 16]), Sample::Repeated(octet)));
    NAMED.into_iter().map(|(value, name)| (value, Sample::Named(name))).chain(repeated)
}

const NAMED: [(u128, &str); 22] = [
    (
        0x2B7E_1516_28AE_D2A6_ABF7_1588_09CF_4F3C,
        "the sample key of FIPS 197, SP 800-38A and RFC 4493",
    ),
    (
        0x0001_0203_0405_0607_0809_0A0B_0C0D_0E0F,
        "00 01 02 and so on to 0F, the sample key of FIPS 197, appendix C",
    ),
    (0x0102_0304_0506_0708_090A_0B0C_0D0E_0F10, "01 02 03 and so on to 10"),
    (0x0F0E_0D0C_0B0A_0908_0706_0504_0302_0100, "0F 0E 0D and so on down to 00"),
    (0x100F_0E0D_0C0B_0A09_0807_0605_0403_0201, "10 0F 0E and so on down to 01"),
    (0x1011_1213_1415_1617_1819_1A1B_1C1D_1E1F, "10 11 12 and so on to 1F"),
    (0xA0A1_A2A3_A4A5_A6A7_A8A9_AAAB_ACAD_AEAF, "A0 A1 A2 and so on to AF"),
    (
        0xC0C1_C2C3_C4C5_C6C7_C8C9_CACB_CCCD_CECF,
        "C0 C1 C2 and so on to CF, the sample key of RFC 3610",
    ),
    (0x0011_2233_4455_6677_8899_AABB_CCDD_EEFF, "00 11 22 and so on to FF"),
    (0xFFEE_DDCC_BBAA_9988_7766_5544_3322_1100, "FF EE DD and so on down to 00"),
    (0x0123_4567_89AB_CDEF_0123_4567_89AB_CDEF, "the digits 0 to F, twice"),
    (0xFEDC_BA98_7654_3210_FEDC_BA98_7654_3210, "the digits F to 0, twice"),
    (0x0123_4567_89AB_CDEF_FEDC_BA98_7654_3210, "the digits 0 to F and back"),
    (0x1234_5678_90AB_CDEF_1234_5678_90AB_CDEF, "the digits 1 to 9, 0, A to F, twice"),
    (0x1234_5678_1234_5678_1234_5678_1234_5678, "12345678 four times"),
    (0x1234_5678_9012_3456_7890_1234_5678_9012, "the digits 1 to 9 and 0, over and over"),
    (0xDEAD_BEEF_DEAD_BEEF_DEAD_BEEF_DEAD_BEEF, "DEADBEEF four times"),
    (0xCAFE_BABE_CAFE_BABE_CAFE_BABE_CAFE_BABE, "CAFEBABE four times"),
    (1, "zeros and a 1 at the end"),
    (1 << 120, "a 1 in the first byte and zeros"),
    (u128::from_be_bytes(*b"0123456789ABCDEF"), "the characters 0 to F"),
    (u128::from_be_bytes(*b"1234567890123456"), "the characters 1 to 9, 0, 1 to 6"),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_sample_stands_twice() {
        let mut values: Vec<u128> = all().map(|(value, _)| value).collect();
        values.sort_unstable();
        values.dedup();
        assert_eq!(values.len(), all().count());
    }

    #[test]
    fn a_sample_key_is_known_by_what_it_is() {
        let key = |text: &str| text.parse::<Aes128Key>().unwrap();
        let text = |key: Aes128Key| sample(&key).map(Sample::text);
        assert_eq!(text(Aes128Key::new([0; 16])).as_deref(), Some("all zeros"));
        assert_eq!(text(Aes128Key::new([0x11; 16])).as_deref(), Some("the byte 11 sixteen times"));
        assert_eq!(
            text(key("2b7e151628aed2a6abf7158809cf4f3c")).as_deref(),
            Some("the sample key of FIPS 197, SP 800-38A and RFC 4493")
        );
        assert_eq!(text(key("d2306c9b9a5f83016208103f7e8a07a6")), None);
        let fills = [0, 1, 0xFF].map(|octet| is_placeholder(&Aes128Key::new([octet; 16])));
        assert_eq!(fills, [true, false, true]);
    }
}
