//! Octets written one by one, in a line or in rows of a dump.

/// Octets at the beginning of a text: two hex digits each, all written in one way.
///
/// Each may have `0x` or `\x` in front. Between them is a dash, a colon, a comma or a semicolon, or
/// spaces; behind `\x` nothing is needed. Returns them with the length taken.
pub(super) fn run(text: &str) -> Option<(Vec<u8>, usize)> {
    let mark = ["0x", "0X", "\\x"].into_iter().find(|mark| text.starts_with(mark)).unwrap_or("");
    let mut octets = Vec::new();
    let (mut at, mut taken, mut between) = (0, 0, None);
    while octets.len() < MOST {
        let Some(rest) = text.get(at..).and_then(|rest| rest.strip_prefix(mark)) else { break };
        let Some(octet) = octet(rest) else { break };
        octets.push(octet);
        taken = at + mark.len() + 2;
        let rest = text.get(taken..).unwrap_or_default();
        let gap = rest.len() - rest.trim_start_matches([' ', '\t', ',', ';', ':', '-']).len();
        let separator = Separator::of(rest.get(..gap).unwrap_or_default());
        let known = *between.get_or_insert(separator);
        let usable = separator.is_some() || mark == "\\x" && gap == 0;
        if known != separator || !usable {
            break;
        }
        at = taken + gap;
    }
    (!octets.is_empty()).then_some((octets, taken))
}

/// Returns the octets of a text that has nothing else, but for brackets around them and a comma at
/// the end; they must be written one by one.
pub(super) fn list(text: &str) -> Option<Vec<u8>> {
    let bare = text.trim().trim_start_matches(['[', '{', '(', '<', '"']).trim_start();
    let (octets, len) = run(bare)?;
    let rest = bare.get(len..)?;
    rest.chars()
        .all(|c| c.is_whitespace() || matches!(c, ',' | ';' | ']' | '}' | ')' | '>' | '"'))
        .then_some(octets)
}

/// Numbers from 0 to 255 at the beginning of a text, a comma or a space between them.
pub(super) fn decimals(text: &str) -> Option<(Vec<u8>, usize)> {
    let mut octets = Vec::new();
    let (mut at, mut taken) = (0, 0);
    while octets.len() < MOST {
        let rest = text.get(at..).unwrap_or_default();
        let len = rest.bytes().take(4).take_while(u8::is_ascii_digit).count();
        let after = rest.as_bytes().get(len);
        // A decimal point, or a letter, makes it something else.
        let ends =
            after.is_none_or(|c| matches!(c, b',' | b' ' | b']' | b'}' | b')' | b';' | b'"'));
        let Some(octet) = rest.get(..len).and_then(|n| n.parse::<u8>().ok()).filter(|_| ends)
        else {
            break;
        };
        octets.push(octet);
        taken = at + len;
        let rest = text.get(taken..).unwrap_or_default();
        let body = rest.strip_prefix(',').unwrap_or(rest);
        let body = body.strip_prefix(' ').unwrap_or(body);
        if body.len() == rest.len() {
            break;
        }
        at = taken + rest.len() - body.len();
    }
    (!octets.is_empty()).then_some((octets, taken))
}

/// Returns whether groups of digits are written in several ways: some with `0x` and others, behind the
/// first, without; or octets with a colon or a dash between some of them only. They are numbers, names
/// or addresses, and nobody's frame.
pub(super) fn is_mixed(text: &str) -> bool {
    let cut = |c: char| !c.is_ascii_alphanumeric();
    let mut groups = text.split(cut).filter(|group| !group.is_empty());
    let singly = text.contains([':', '-']) && groups.clone().all(|group| group.len() == 2);
    if singly && list(text).is_none() {
        return true;
    }
    let is_marked = |group: &str| group.starts_with("0x") || group.starts_with("0X");
    let first = groups.next().is_some_and(is_marked);
    let (mut marked, mut bare) = (false, false);
    groups.for_each(|group| if is_marked(group) { marked = true } else { bare = true });
    marked && (bare || !first)
}

/// A row of a dump: how many octets are before it, and its own.
#[derive(Debug, Eq, PartialEq)]
pub(super) struct Row<'t> {
    /// As written: it may be hex or decimal.
    offset: &'t str,
    pub(super) octets: Vec<u8>,
}

impl Row<'_> {
    /// Returns whether so many octets are before it.
    pub(super) fn follows(&self, octets: usize) -> bool {
        let hex = usize::from_str_radix(self.offset, 16);
        hex == Ok(octets) || self.offset.parse() == Ok(octets)
    }
}

/// Returns the row that a text is: a place of four digits or more, octets in twos or fours, and
/// perhaps the same as characters.
pub(super) fn row(text: &str) -> Option<Row<'_>> {
    let text = text.trim_start();
    let text = text.strip_prefix("0x").unwrap_or(text);
    let len = text.bytes().take(9).take_while(u8::is_ascii_hexdigit).count();
    let offset = text.get(..len).filter(|_| (4..=8).contains(&len))?;
    let behind = text.get(len..)?;
    let body = behind.trim_start();
    let body = body.strip_prefix(':').unwrap_or(body);
    let rest = body.trim_start();
    if rest.len() == behind.len() {
        return None;
    }
    let (octets, characters) = groups(rest)?;
    // A character for each, and a bar on each side.
    (characters.trim().chars().count() <= octets.len() + 2).then_some(Row { offset, octets })
}

fn groups(text: &str) -> Option<(Vec<u8>, &str)> {
    let mut octets = Vec::new();
    let mut rest = text;
    loop {
        let len = rest.bytes().take(9).take_while(u8::is_ascii_hexdigit).count();
        let after = rest.as_bytes().get(len);
        if !matches!(len, 2 | 4 | 8) || after.is_some_and(|c| !matches!(c, b' ' | b'\t' | b'|')) {
            break;
        }
        octets.extend(hex::decode(rest.get(..len)?).ok()?);
        let behind = rest.get(len..)?;
        let body = behind.trim_start();
        // Two spaces divide a row of sixteen; what stands farther off are the characters.
        let gap = behind.len() - body.len();
        rest = body;
        if gap > 2 || gap == 2 && octets.len() != HALF || octets.len() >= WIDEST {
            break;
        }
    }
    (!octets.is_empty()).then_some((octets, rest))
}

fn octet(text: &str) -> Option<u8> {
    let digits = text.get(..2)?;
    let ends = text.as_bytes().get(2).is_none_or(|c| !c.is_ascii_alphanumeric());
    if !ends || !digits.bytes().all(|c| c.is_ascii_hexdigit()) {
        return None;
    }
    u8::from_str_radix(digits, 16).ok()
}

/// What stands between two octets.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Separator {
    Spaces,
    Sign(char),
}

impl Separator {
    fn of(text: &str) -> Option<Self> {
        let sign = text.trim();
        match sign.chars().next() {
            None => (!text.is_empty() && text.len() <= WIDE).then_some(Self::Spaces),
            Some(c) if sign.len() == 1 && (text.len() == 1 || matches!(c, ',' | ';')) => {
                Some(Self::Sign(c))
            }
            Some(_) => None,
        }
    }
}

/// Octets of one frame.
const MOST: usize = 255;
/// Spaces between two octets.
const WIDE: usize = 12;
/// Octets of a row of a dump, and of a half of one.
const WIDEST: usize = 32;
const HALF: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn octets_one_by_one_in_every_way() {
        for (text, taken) in [
            ("40 DA BB", 8),
            ("40   DA BB x", 10),
            ("40-DA-BB", 8),
            ("40:da:bb:zz", 8),
            ("40, da,bb]", 9),
            ("0x40, 0xDA, 0xBB }", 16),
            ("\\x40\\xda\\xbb", 12),
            ("\\x40 \\xda \\xbb\"", 14),
            // Another way begins: it is something else.
            ("40 da bb:00", 8),
            ("40-da-bb 00", 8),
        ] {
            assert_eq!(run(text), Some((vec![0x40, 0xDA, 0xBB], taken)), "{text}");
        }
        for text in ["", "4", "40da", "x40", "-40", "4 0"] {
            assert_eq!(run(text), None, "{text}");
        }
    }

    #[test]
    fn a_list_has_nothing_else() {
        for text in ["{0x40, 0xDA,", " [40, da]; ", "(40 da)", "\\x40\\xda"] {
            assert_eq!(list(text), Some(vec![0x40, 0xDA]), "{text}");
        }
        for text in ["40 da rx", "OK", "40 da (2 bytes)", "5 boots"] {
            assert_eq!(list(text), None, "{text}");
        }
    }

    #[test]
    fn decimal_numbers_are_octets_up_to_255() {
        assert_eq!(decimals("128,139, 5 x"), Some((vec![128, 139, 5], 10)));
        assert_eq!(decimals("128 256 5"), Some((vec![128], 3)));
        assert_eq!(decimals("1.5,2"), None);
        assert_eq!(decimals("x"), None);
    }

    #[test]
    fn names_and_numbers_are_no_octets() {
        assert!(is_mixed("A0 : 0xe57687a8  A1 : 0x64ff8932"));
        assert!(is_mixed("0x40 DA 0xBB"));
        assert!(is_mixed("40:00:cc:fc:42:b5 40:00:d4:15:00:fb"));
        assert!(!is_mixed("40:00:cc:fc:42:b5"));
        for text in ["0x40 DA BB", "0x40 0xDA", "40 DA", "0x40DA", "{0x40, 0xDA}", "\\x40\\xDA", ""]
        {
            assert!(!is_mixed(text), "{text}");
        }
    }

    #[test]
    fn a_row_has_a_place_and_octets() {
        let octets = |text: &str| row(text).map(|row| row.octets.len());
        for (text, len) in [
            ("0000  00 1f ef e5 fe ff c4 00 02 c0 6d 67 fe ff 4e 00  |..........mg..N.|", 16),
            ("00000010: 02 48 b0 80 90 35 42                             .H...5B", 7),
            ("0000 : 00 CA FD C7 FE FF F3 00  02 6D E6 C0 FE FF 4F 00 ", 16),
            ("0x0010:  0a00 03c8 a112 06a4 00d0 0000 0211 2200  ..............\".", 16),
            ("0010  a5                                               |.|", 1),
            // Characters that look like octets.
            ("0000  41 42 43 44 45 46 47 48 49 4a 4b 4c 4d 4e 4f 50  aa bb cc dd ee ff", 16),
        ] {
            assert_eq!(octets(text), Some(len), "{text}");
        }
        for text in [
            "000 40 da",
            "0000",
            "0000 x",
            "2026-03-02 08:00:00",
            "0000 40 da and so on and so on",
            "123456789 40",
        ] {
            assert_eq!(octets(text), None, "{text}");
        }
        let row = row("0016 : B0").unwrap();
        assert!(row.follows(16) && row.follows(22) && !row.follows(0));
    }
}
