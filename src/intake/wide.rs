//! Text of two octets a character, as redirections on some systems write it: UTF-16 becomes UTF-8.

use std::{
    collections::VecDeque,
    io::{self, Read},
    str::Utf8Error,
};

use zeroize::Zeroizing;

/// Which octet of a character comes first.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Order {
    Little,
    Big,
}

/// Returns the order of UTF-16 by how it begins: its mark, or some characters with one octet zero.
pub(super) fn order(head: &[u8]) -> Option<Order> {
    match head {
        // That is UTF-32.
        [0xFF, 0xFE, 0, 0, ..] => None,
        [0xFF, 0xFE, ..] => Some(Order::Little),
        [0xFE, 0xFF, ..] => Some(Order::Big),
        _ => {
            let pairs = head.as_chunks::<2>().0.get(..UNMARKED)?;
            let is_text = |c: u8| matches!(c, b'\t' | b'\n' | b'\r' | b' '..=b'~');
            if pairs.iter().all(|[low, high]| is_text(*low) && *high == 0) {
                Some(Order::Little)
            } else if pairs.iter().all(|[high, low]| is_text(*low) && *high == 0) {
                Some(Order::Big)
            } else {
                None
            }
        }
    }
}

/// Returns the text of a file that is read as one piece: UTF-8, or UTF-16 as a capture may be, without its mark.
///
/// Such files hold keys: the text is wiped, and so large from the start that no copy of it is left behind.
pub(crate) fn text(octets: &[u8]) -> Result<Zeroizing<String>, Utf8Error> {
    let Some(order) = order(octets) else {
        let text = std::str::from_utf8(octets)?;
        return Ok(Zeroizing::new(text.strip_prefix(MARK).unwrap_or(text).to_owned()));
    };
    let (pairs, odd) = octets.as_chunks::<2>();
    let units = pairs.iter().map(|pair| match order {
        Order::Little => u16::from_le_bytes(*pair),
        Order::Big => u16::from_be_bytes(*pair),
    });
    // A unit becomes three bytes at most; one more for what is left of a cut character.
    let mut text = Zeroizing::new(String::with_capacity(3 * (pairs.len() + 1)));
    let read = char::decode_utf16(units).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER));
    text.extend(read.enumerate().filter(|found| *found != (0, MARK)).map(|(_, c)| c));
    if !odd.is_empty() {
        text.push(char::REPLACEMENT_CHARACTER);
    }
    Ok(text)
}

/// A stream of UTF-16 as UTF-8. What is no character becomes U+FFFD.
pub(super) struct Narrow<R> {
    inner: R,
    order: Order,
    out: VecDeque<u8>,
    /// The first octet of a unit whose second is not here yet.
    odd: Option<u8>,
    /// The first unit of a pair.
    high: Option<u16>,
}

impl<R> Narrow<R> {
    pub(super) const fn new(inner: R, order: Order) -> Self {
        Self { inner, order, out: VecDeque::new(), odd: None, high: None }
    }

    fn octet(&mut self, octet: u8) {
        let Some(first) = self.odd.take() else {
            self.odd = Some(octet);
            return;
        };
        let unit = match self.order {
            Order::Little => u16::from_le_bytes([first, octet]),
            Order::Big => u16::from_be_bytes([first, octet]),
        };
        let units = self.high.take().into_iter().chain([unit]);
        let mut read = char::decode_utf16(units).peekable();
        while let Some(found) = read.next() {
            match found {
                Ok(c) => self.character(c),
                // Only the last one may be the first of a pair.
                Err(_) if read.peek().is_none() && (0xD800..0xDC00).contains(&unit) => {
                    self.high = Some(unit);
                }
                Err(_) => self.character(char::REPLACEMENT_CHARACTER),
            }
        }
    }

    fn character(&mut self, c: char) {
        self.out.extend(c.encode_utf8(&mut [0; 4]).as_bytes());
    }
}

impl<R: Read> Read for Narrow<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut raw = [0; 4_096];
        while self.out.is_empty() {
            let present = self.inner.read(&mut raw)?;
            if present == 0 {
                if self.odd.take().is_none() & self.high.take().is_none() {
                    return Ok(0);
                }
                self.character(char::REPLACEMENT_CHARACTER);
                break;
            }
            raw.get(..present).unwrap_or_default().iter().for_each(|octet| self.octet(*octet));
        }
        self.out.read(buffer)
    }
}

/// The byte order mark.
const MARK: char = '\u{FEFF}';
/// Characters that tell UTF-16 without its mark.
const UNMARKED: usize = 4;

#[cfg(test)]
mod tests {
    use super::*;

    fn narrowed(units: impl Iterator<Item = u16>, order: Order) -> String {
        let octets: Vec<u8> = units
            .flat_map(|unit| match order {
                Order::Little => unit.to_le_bytes(),
                Order::Big => unit.to_be_bytes(),
            })
            .collect();
        let mut out = String::new();
        Narrow::new(&octets[..], order).read_to_string(&mut out).unwrap();
        out
    }

    #[test]
    fn both_orders_and_pairs_are_read() {
        let text = "rx 40 \u{1F333} é\r\n".repeat(2_000);
        for order in [Order::Little, Order::Big] {
            assert_eq!(narrowed(text.encode_utf16(), order), text);
        }
        // Units of a pair without the other one.
        let lone = [0xD83C, 0x61, 0xDF33, 0xD83C, 0xD83C, 0xDF33, 0xD83C];
        assert_eq!(
            narrowed(lone.into_iter(), Order::Big),
            "\u{FFFD}a\u{FFFD}\u{FFFD}\u{1F333}\u{FFFD}"
        );
    }

    #[test]
    fn a_text_file_is_the_same_in_every_encoding() {
        let plain = "[[node]]\r\nname = \"Birke \u{1F333} \u{e9}\"\n";
        let marked = format!("\u{FEFF}{plain}");
        for written in [plain, &*marked] {
            let little = written.encode_utf16().flat_map(u16::to_le_bytes).collect();
            let big = written.encode_utf16().flat_map(u16::to_be_bytes).collect();
            for octets in [written.as_bytes().to_vec(), little, big] {
                assert_eq!(text(&octets).unwrap().as_str(), plain, "{octets:?}");
            }
        }
        assert_eq!(text(b"\xFF\xFEr\0x").unwrap().as_str(), "r\u{FFFD}");
        assert_eq!(text(b"").unwrap().as_str(), "");
        assert_eq!(text(b"name = \xFF").unwrap_err().valid_up_to(), 7);
    }

    #[test]
    fn it_is_told_by_how_it_begins() {
        assert_eq!(order(b"\xFF\xFEr\0"), Some(Order::Little));
        assert_eq!(order(b"\xFE\xFF\0r"), Some(Order::Big));
        assert_eq!(order(b"r\0x\0 \x004\0"), Some(Order::Little));
        assert_eq!(order(b"\0r\0x\0 \x004"), Some(Order::Big));
        for other in
            [&b"rx 40 da"[..], b"r\0x\0", b"", b"\xFF\xFE\0\0", b"\0\0\0\0\0\0\0\0", b"\0r\0x\0 44"]
        {
            assert_eq!(order(other), None, "{other:?}");
        }
    }
}
