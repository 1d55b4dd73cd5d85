//! The words of everything that a user reads: short and of the trade, none that a reader has to look up.
//!
//! Names of things keep their words: ids of causes and of mistakes, members of JSON, options. They are told
//! by what is next to them: a hyphen, an underscore, a quotation mark.

use crate::own_look::{printed, repository};

/// What is not written, and what is written instead.
const WORDS: &[(&str, &str)] = &[
    ("octet", "byte"),
    ("octets", "bytes"),
    ("lawful", "valid, allowed"),
    ("unlawful", "invalid, not allowed"),
    ("exchanged", "swapped"),
    ("mend", "fix"),
    ("mends", "fixes"),
    ("mended", "fixed"),
    ("anew", "again"),
    ("beside", "next to, with"),
    ("what is whole", "what is intact"),
    ("is not whole", "is incomplete"),
    ("typing slip", "typing error"),
    ("a slip", "a typing error"),
    ("odds", "probability, false-match probability"),
    ("at once", "immediately; together; at the same time"),
    ("in the place of", "instead of"),
    ("knows of no", "has no"),
    ("hand on", "forward"),
    ("hands on", "forwards"),
    ("hand over", "pass"),
    ("put aside", "rotate"),
    ("puts aside", "rotates"),
    ("sets right", "corrects"),
    ("set right", "corrected"),
    ("which of them", "filters; which"),
    ("where chance comes from", "random seed"),
    ("how one comes to them", "with derivations"),
    ("believes in", "keeps forwarding"),
    ("one and the same", "the same"),
    ("thus", "so"),
    ("whoever", "anyone who"),
    ("thereof", "-"),
    ("stands in", "is in"),
    ("as it stands", "as it is"),
];

/// Where a word is found that is part of no name.
fn finds(line: &str, word: &str) -> bool {
    let line = line.to_lowercase();
    let part_of_a_name = |c: char| c.is_alphanumeric() || "-_\"`#/.:".contains(c);
    line.match_indices(word).any(|(at, _)| {
        let before = line.get(..at).and_then(|before| before.chars().next_back());
        let after = line.get(at + word.len()..).unwrap_or_default();
        let mut after = after.chars();
        let (next, over) = (after.next(), after.next());
        // A full stop or a colon ends a sentence, unless a name goes on behind it.
        let goes_on = next.is_some_and(|c| match c {
            '.' | ':' | '/' => over.is_some_and(char::is_alphanumeric),
            c => part_of_a_name(c),
        });
        !before.is_some_and(part_of_a_name) && !goes_on
    })
}

#[test]
fn a_word_is_found_where_it_is_said_and_not_in_a_name() {
    assert!(finds("12 octets.", "octets") && finds("Octets of", "octets"));
    assert!(finds("an octet: it", "octet"));
    for name in
        ["octets-exchanged", "\"octets\":", "dev-eui-and-join-eui-exchanged", "#octets", "octets"]
    {
        assert!(!finds(name, "octet"), "{name}");
    }
    assert!(!finds("handfast explain dev-eui-and-join-eui-exchanged", "exchanged"));
}

#[test]
fn what_a_user_reads_is_in_plain_words() {
    let mut texts = printed();
    texts.insert("README.md".to_owned(), repository("README.md"));
    let mut found = Vec::new();
    for (place, text) in &texts {
        for (number, line) in (1..).zip(text.lines()) {
            for (word, instead) in WORDS {
                if finds(line, word) {
                    let shown: String = line.trim().chars().take(200).collect();
                    found.push(format!("{place}:{number}: {word:?}, write {instead}: {shown}"));
                }
            }
        }
    }
    assert!(found.is_empty(), "{} words:\n{}", found.len(), found.join("\n"));
}
