//! Octets over several lines: the rows of a dump, or of a list that was broken.

use super::{
    event::Position,
    log::{is_lawful_octets, speaks_of_a_secret, stated_size},
    octets::{list, row},
};

/// Rows that belong together.
#[derive(Debug)]
pub(super) struct Rows {
    /// Their lines, as they came.
    pub(super) lines: Vec<(Position, String)>,
    pub(super) octets: Vec<u8>,
    /// Octets of the first line that stand before its octets.
    prefix: usize,
    /// Whether each says its place.
    placed: bool,
    first: usize,
    last: usize,
}

impl Rows {
    /// Returns the rows that begin with a line; `before` are the words before it.
    ///
    /// A dump begins at 0. A list goes on in the next line where it is no frame by itself, or where
    /// the words state a size that it does not have.
    pub(super) fn begin(text: &str, place: Position, before: &str) -> Option<Self> {
        let at = starts(text).find(|at| {
            let rest = text.get(*at..).unwrap_or_default();
            row(rest).is_some_and(|row| row.follows(0) && row.octets.len() >= FEWEST)
                || list(rest).is_some_and(|octets| octets.len() >= FEWEST)
        })?;
        let (prefix, rest) = text.split_at_checked(at)?;
        let placed = row(rest).filter(|row| row.follows(0));
        let (octets, placed) = match placed {
            Some(row) => (row.octets, true),
            None => (list(rest)?, false),
        };
        let size = stated_size(prefix).or_else(|| stated_size(before));
        let is_whole = is_lawful_octets(&octets) && size.is_none_or(|size| size <= octets.len());
        if !placed && is_whole || speaks_of_a_secret(prefix) {
            return None;
        }
        let (first, lines) = (octets.len(), vec![(place, text.to_owned())]);
        Some(Self { lines, octets, prefix: at, placed, first, last: first })
    }

    /// Takes one more row; returns whether the line is one.
    pub(super) fn take(&mut self, text: &str, place: Position) -> bool {
        let rest = self.behind(text);
        let octets = if self.placed {
            row(rest).filter(|row| row.follows(self.octets.len())).map(|row| row.octets)
        } else {
            list(rest)
        };
        // Only the last row is shorter.
        let fits = |octets: &Vec<u8>| self.last == self.first && octets.len() <= self.first;
        let Some(octets) = octets.filter(|octets| fits(octets) && self.lines.len() < MOST) else {
            return false;
        };
        self.last = octets.len();
        self.octets.extend(octets);
        self.lines.push((place, text.to_owned()));
        true
    }

    /// Returns the words before the octets of the first line.
    pub(super) fn label(&self) -> &str {
        self.lines.first().and_then(|(_, text)| text.get(..self.prefix)).unwrap_or_default()
    }

    /// Returns the payload of the UDP datagram that the octets are, if they begin with a header of IPv4.
    pub(super) fn udp(&self) -> Option<&[u8]> {
        let octets = &self.octets;
        let (first, protocol) = (*octets.first()?, *octets.get(9)?);
        let udp = usize::from(first & 0x0F) * 4;
        if first >> 4 != 4 || protocol != 17 || udp < 20 {
            return None;
        }
        let len = u16::from_be_bytes([*octets.get(udp + 4)?, *octets.get(udp + 5)?]);
        octets.get(udp + 8..(udp + usize::from(len)).min(octets.len()))
    }

    /// Returns a line without what it has in common with the words before the first row: a time that
    /// goes on has the same form.
    fn behind<'t>(&self, text: &'t str) -> &'t str {
        let alike = |(a, b): &(char, char)| a == b || a.is_ascii_digit() && b.is_ascii_digit();
        let pairs = text.chars().zip(self.label().chars()).take_while(alike);
        let len = pairs.map(|(c, _)| c.len_utf8()).sum::<usize>();
        text.get(len..).unwrap_or_default().trim_start()
    }
}

/// The places at which a row may begin: behind some words at the most.
fn starts(text: &str) -> impl Iterator<Item = usize> + '_ {
    let mut blank = true;
    let begins = move |(at, c): (usize, char)| {
        let was = std::mem::replace(&mut blank, c.is_whitespace());
        (was && !c.is_whitespace()).then_some(at)
    };
    text.char_indices().filter_map(begins).take(WORDS)
}

/// Octets of a row.
const FEWEST: usize = 4;
/// Rows of one datagram.
const MOST: usize = 512;
/// Words before a row.
const WORDS: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;

    fn joined(lines: &[&str], before: &str) -> Option<usize> {
        let mut rows = Rows::begin(lines[0], Position::line(1), before)?;
        lines[1..]
            .iter()
            .all(|line| rows.take(line, Position::line(2)))
            .then_some(rows.octets.len())
    }

    #[test]
    fn rows_are_joined_behind_times_that_go_on() {
        for (lines, len) in [
            (["12:42:22.307 | 0000  00 1f ef e5 fe ff c4 00", "12:42:22.309 | 0008  02 3f"], 10),
            (["0000 : 00 CA FD C7 FE FF F3 00  02 6D E6 C0 FE FF 4F 00 ", "0016 : 02"], 17),
            (["\\x00\\x54\\x44\\xfb", "\\x02\\x23"], 6),
            (["    0x40, 0x71, 0xEB, 0x5B,", "    0x02, };"], 5),
        ] {
            assert_eq!(joined(&lines, ""), Some(len), "{lines:?}");
        }
    }

    #[test]
    fn what_is_whole_or_secret_or_does_not_fit_is_no_row() {
        let frame = "40 da bb 01 02 80 02 00 02 27 21 02 9d ae af 9e e9";
        for lines in [
            // A frame by itself; a key; a second row that is longer; a dump that skips.
            [frame, "00 01"],
            ["AppKey: 40-da-bb-01", "02-80"],
            ["40 da bb 01", "02 80 02 00 02"],
            ["0000  00 1f ef e5", "0010  02 3f"],
            ["40 da", "bb 01"],
            ["the words 40 da bb 01 rx", "02"],
        ] {
            assert_eq!(joined(&lines, ""), None, "{lines:?}");
        }
        // Words before it say that it goes on.
        assert_eq!(joined(&[frame, "00 01"], "uplink of 19 bytes"), Some(19));
    }
}
