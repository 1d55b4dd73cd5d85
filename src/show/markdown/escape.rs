//! Text of others in Markdown: nothing of it is markup, and nothing is hidden.

use crate::words::is_hidden;

/// Returns a text that reads as it stands, in a paragraph or a cell of a table.
pub(super) fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    let mut rest = text.chars();
    while let Some(c) = rest.next() {
        match c {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            // An entity is no pipe to a table, and calls nobody and no issue.
            '|' => out.push_str("&#124;"),
            '@' => out.push_str("&#64;&#8203;"),
            '#' => out.push_str("&#35;&#8203;"),
            // Nor does an address become a link by itself.
            ':' if rest.as_str().starts_with("//") => out.push_str("&#58;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '~' | '$' | '!' => {
                out.push('\\');
                out.push(c);
            }
            '\n' | '\r' | '\t' => out.push(' '),
            // The page of an issue tracker takes one backslash away.
            c if is_hidden(c) => out.extend(['\\'].into_iter().chain(c.escape_default())),
            c => out.push(c),
        }
    }
    out
}

/// Returns a text as code: `probe-03`.
pub(super) fn code(text: &str) -> String {
    let mut inside = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '`' => inside.push('\''),
            // A pipe ends a cell of a table, even within code.
            '|' => inside.push('\u{a6}'),
            '\n' | '\r' | '\t' => inside.push(' '),
            c if is_hidden(c) => inside.extend(c.escape_default()),
            c => inside.push(c),
        }
    }
    let inside = inside.trim();
    if inside.is_empty() { "` `".into() } else { format!("`{inside}`") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_markup() {
        assert_eq!(plain("<b>*x*</b>"), "&lt;b&gt;\\*x\\*&lt;/b&gt;");
        assert_eq!(plain("a|b\nc"), "a&#124;b c");
        assert_eq!(plain("[x](http://y)"), "\\[x\\](http&#58;//y)");
        assert!(!plain("@row").contains("@row"));
        assert_eq!(code("a`b|c\u{202e}\n"), "`a'b\u{a6}c\\u{202e}`");
        assert_eq!(plain("a\u{202e}b\x1b"), "a\\\\u{202e}b\\\\u{1b}");
        assert_eq!(code(""), "` `");
    }
}
