//! Words for standard error, folded to the width of a screen.

/// Folds text at blanks into lines of at most `width` columns; lines that were broken go on `hang`
/// columns further in than they begin.
///
/// What has no blank in it, such as a path or a frame, is never broken: it is there to be copied. The
/// text's own line ends stay, and escapes that colour it take no room.
pub(super) fn fold(text: &str, hang: usize, width: usize) -> String {
    let lines: Vec<String> = text.split('\n').map(|line| fold_line(line, hang, width)).collect();
    lines.join("\n")
}

fn fold_line(line: &str, hang: usize, width: usize) -> String {
    if columns(line) <= width {
        return line.to_owned();
    }
    let lead = line.len() - line.trim_start_matches(' ').len();
    let (mut out, mut used) = (String::new(), 0);
    // Several blanks in a row are kept where they stand within a line.
    for part in line.get(lead..).unwrap_or_default().split_inclusive(' ') {
        let word = part.trim_end_matches(' ');
        if used == 0 {
            out.push_str(line.get(..lead).unwrap_or_default());
            used = lead;
        } else if !word.is_empty() && used > lead + hang && used + columns(word) > width {
            out.truncate(out.trim_end_matches(' ').len());
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', lead + hang));
            used = lead + hang;
        }
        out.push_str(part);
        used += columns(part);
    }
    out.truncate(out.trim_end_matches(' ').len());
    out
}

/// Columns of a text, without the escapes that colour it.
fn columns(text: &str) -> usize {
    let mut parts = text.split('\x1b');
    let first = parts.next().unwrap_or_default().chars().count();
    let rest = parts.map(|part| part.split_once('m').map_or(part, |(_, rest)| rest));
    first + rest.map(|rest| rest.chars().count()).sum::<usize>()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_at_blanks_and_go_on_further_in() {
        assert_eq!(fold("note: a bee sees", 6, 12), "note: a bee\n      sees");
        assert_eq!(fold("a bee sees", 2, 10), "a bee sees");
        assert_eq!(fold("one\ntwo three", 2, 7), "one\ntwo\n  three");
        assert_eq!(fold("  ab cd ef", 2, 7), "  ab cd\n    ef");
    }

    #[test]
    fn what_has_no_blank_stays_whole() {
        assert_eq!(fold("error: /a/long/path: no", 7, 12), "error: /a/long/path:\n       no");
        assert_eq!(fold("0123456789", 2, 4), "0123456789");
        assert_eq!(fold("ab 0123456789 b", 2, 6), "ab\n  0123456789\n  b");
        // A break that gains no room is none.
        assert_eq!(fold("a 0123456789 b", 2, 6), "a 0123456789\n  b");
    }

    #[test]
    fn blanks_within_a_line_stay_and_none_is_left_at_an_end() {
        assert_eq!(fold("a  b  c", 1, 5), "a  b\n c");
        assert_eq!(fold("abc   ", 1, 4), "abc");
        assert_eq!(fold("", 1, 4), "");
    }

    #[test]
    fn escapes_take_no_room() {
        assert_eq!(fold("\x1b[1mno\x1b[0m bee", 2, 6), "\x1b[1mno\x1b[0m bee");
    }
}
