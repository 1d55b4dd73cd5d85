//! A line as it was before a mail, a page or a terminal put its own marks into it.

use std::borrow::Cow;

use super::text::without_colours;

/// Returns a line without the marks of quotation, colours, entities of a page and typographic quotes.
///
/// Entities and quotes are replaced only where the line has no plain quote: else they are meant.
pub(super) fn plain(text: &str) -> Cow<'_, str> {
    let mut text = match without_colours(text) {
        Cow::Borrowed(text) => Cow::Borrowed(unquoted(text)),
        Cow::Owned(text) => Cow::Owned(unquoted(&text).to_owned()),
    };
    if text.contains('"') {
        return text;
    }
    if ENTITIES.iter().any(|(entity, sign)| *sign == "\"" && text.contains(entity)) {
        for (entity, sign) in ENTITIES {
            text = text.replace(entity, sign).into();
        }
    }
    if text.contains(TYPOGRAPHIC) {
        text = text.replace(TYPOGRAPHIC, "\"").into();
    }
    text
}

/// A mail marks each line that it quotes, once for every reply.
fn unquoted(text: &str) -> &str {
    let mut rest = text;
    while let Some(inner) = rest.trim_start().strip_prefix('>') {
        rest = inner.strip_prefix(' ').unwrap_or(inner);
    }
    rest
}

/// Of a page that shows text; the last one must come last.
const ENTITIES: [(&str, &str); 8] = [
    ("&quot;", "\""),
    ("&#34;", "\""),
    ("&#x22;", "\""),
    ("&#39;", "'"),
    ("&apos;", "'"),
    ("&lt;", "<"),
    ("&gt;", ">"),
    ("&amp;", "&"),
];
const TYPOGRAPHIC: [char; 3] = ['\u{201C}', '\u{201D}', '\u{201E}'];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_of_others_are_taken_off() {
        for (text, wanted) in [
            ("> > rx 40", "rx 40"),
            (">>rx", "rx"),
            (" > rx", "rx"),
            ("rx > 40", "rx > 40"),
            ("{&quot;a&quot;:1} &amp;amp; &lt;b&gt;", "{\"a\":1} &amp; <b>"),
            ("{\u{201C}a\u{201D}: 1}", "{\"a\": 1}"),
            // They are meant.
            ("{\"a\":\"\u{201C}&quot;\u{201D}\"}", "{\"a\":\"\u{201C}&quot;\u{201D}\"}"),
            ("a &amp; b", "a &amp; b"),
            ("\u{1b}[32mrx\u{1b}[0m", "rx"),
        ] {
            assert_eq!(plain(text), wanted, "{text}");
        }
    }
}
