//! Texts and numbers as C, C++ and Rust spell them.

use zeroize::Zeroizing;

/// Resolves the escapes of a text; says whether one of them was a number.
pub(super) fn unescaped(text: &str) -> (Zeroizing<Vec<u8>>, bool) {
    let mut octets = Zeroizing::new(Vec::with_capacity(text.len()));
    let mut escaped = false;
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        rest = rest.get(c.len_utf8()..).unwrap_or_default();
        if c != '\\' {
            octets.extend_from_slice(c.encode_utf8(&mut [0; 4]).as_bytes());
            continue;
        }
        let (radix, start, most) = match rest.chars().next() {
            // a compiler takes more than two digits and then complains
            Some('x' | 'X') => (16, 1, 2),
            Some('0'..='7') => (8, 0, 3),
            _ => {
                let Some(next) = rest.chars().next() else { break };
                rest = rest.get(next.len_utf8()..).unwrap_or_default();
                match next {
                    'n' => octets.push(b'\n'),
                    'r' => octets.push(b'\r'),
                    't' => octets.push(b'\t'),
                    '\n' => {}
                    '\r' => rest = rest.strip_prefix('\n').unwrap_or(rest),
                    _ => octets.extend_from_slice(next.encode_utf8(&mut [0; 4]).as_bytes()),
                }
                continue;
            }
        };
        let digits = rest.get(start..).unwrap_or_default();
        let length = digits.chars().take(most).take_while(|c| c.is_digit(radix)).count();
        let number = digits.get(..length).unwrap_or_default();
        octets.push(u8::try_from(u32::from_str_radix(number, radix).unwrap_or(0)).unwrap_or(0xFF));
        rest = digits.get(length..).unwrap_or_default();
        escaped = true;
    }
    (octets, escaped)
}

/// Returns the value of a number as written: `0x70u`, `0b1`, `017`, `1'000UL`, `0x70_u8`.
pub(super) fn number(text: &str) -> Option<u64> {
    let (digits, radix) = digits(text);
    u64::from_str_radix(&digits, radix).ok()
}

/// Returns the digits of a number without prefix, separators and type, and their base.
pub(super) fn digits(text: &str) -> (Zeroizing<String>, u32) {
    let kept = text.chars().filter(|c| !matches!(c, '\'' | '_'));
    let text: Zeroizing<String> = Zeroizing::new(kept.map(|c| c.to_ascii_lowercase()).collect());
    let (digits, radix) = if let Some(hex) = text.strip_prefix("0x") {
        (hex, 16)
    } else if let Some(binary) = text.strip_prefix("0b") {
        (binary, 2)
    } else if let Some(octal) = text.strip_prefix("0o") {
        (octal, 8)
    } else if text.len() > 1 && text.starts_with('0') {
        (text.as_str(), 8)
    } else {
        (text.as_str(), 10)
    };
    let digits = RUST_TYPES
        .iter()
        .find_map(|name| digits.strip_suffix(name))
        .unwrap_or_else(|| digits.trim_end_matches(['u', 'l', 'z']));
    (Zeroizing::new(digits.to_owned()), radix)
}

/// Types that Rust writes behind a number.
const RUST_TYPES: [&str; 10] =
    ["u8", "u16", "u32", "u64", "usize", "i8", "i16", "i32", "i64", "isize"];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escapes_are_resolved() {
        let (octets, escaped) = unescaped(r"\x70\xB3\0A\n\101\\");
        assert_eq!((octets.as_slice(), escaped), (&b"\x70\xB3\0A\nA\\"[..], true));
        assert!(!unescaped("70B3").1);
        assert_eq!(unescaped("\\").0.as_slice(), b"");
    }

    #[test]
    fn numbers_are_read_as_c_does() {
        for (text, value) in [
            ("0x70", Some(0x70)),
            ("0X7Fu", Some(0x7F)),
            ("112", Some(112)),
            ("017", Some(15)),
            ("0b101", Some(5)),
            ("0", Some(0)),
            ("0x70_u8", Some(0x70)),
            ("112u8", Some(112)),
            ("0x0200_00FF_FE00_1207_u64", Some(0x0200_00FF_FE00_1207)),
            ("0x0200'00FF'FE00'1207ULL", Some(0x0200_00FF_FE00_1207)),
            ("1.0.4", None),
            ("09", None),
            ("0x10000000000000000", None),
        ] {
            assert_eq!(number(text), value, "{text}");
        }
    }
}
