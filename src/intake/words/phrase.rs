//! What words say together: a subject, what is said of it, and whether that is denied.

use super::token::{Line, Token};

/// A phrase that was found: its first and its last part.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) struct Span {
    pub(super) from: usize,
    pub(super) to: usize,
}

/// Whether a line tells what happened. One that asks, supposes, teaches, or states a setting does not.
pub(super) fn is_told(line: &Line) -> bool {
    let supposes = |(at, token): (usize, &Token)| match token {
        Token::Mark('?') => true,
        Token::Word(word) => match word.as_str() {
            "could" => line.word(at + 1) != Some("not"),
            // The letter of a level is no person.
            "i" => line.word(at + 1).is_some(),
            word => SUPPOSES.contains(&word) || SETS.contains(&word),
        },
        _ => false,
    };
    !line.tokens.iter().enumerate().any(supposes)
}

/// Looks for the words of each set in turn, near one another, none of them denied.
pub(super) fn find(line: &Line, sets: &[&[&str]], gap: usize) -> Option<Span> {
    all(line, sets, gap).find(|found| !is_denied(line, *found))
}

/// The same where the phrase says by itself that something is not.
pub(super) fn find_any(line: &Line, sets: &[&[&str]], gap: usize) -> Option<Span> {
    all(line, sets, gap).find(|found| !is_zero(line, *found))
}

fn all(line: &Line, sets: &[&[&str]], gap: usize) -> impl Iterator<Item = Span> {
    let starts = 0..line.tokens.len();
    starts.filter_map(move |from| {
        let (first, rest) = sets.split_first()?;
        line.word(from).filter(|word| first.contains(word))?;
        let mut to = from;
        for set in rest {
            let near = (to + 1..=to + 1 + gap)
                .find(|at| line.word(*at).is_some_and(|word| set.contains(&word)));
            to = near?;
        }
        Some(Span { from, to })
    })
}

/// Whether a word near the phrase denies it.
fn is_denied(line: &Line, Span { from, to }: Span) -> bool {
    let clause = |at: &usize| !matches!(line.tokens.get(*at), Some(Token::Mark(',' | ';' | '|')));
    let before = (0..from).rev().take_while(clause).take(3);
    let denies = |at: usize| line.word(at).is_some_and(|word| DENIES.contains(&word));
    before.chain(from..to).any(denies) || is_zero(line, Span { from, to })
}

/// `=0`, `: no`, `false` behind it: a flag, or a count of them.
fn is_zero(line: &Line, Span { to, .. }: Span) -> bool {
    match (line.tokens.get(to + 1), line.tokens.get(to + 2)) {
        (Some(Token::Mark('=' | ':')), Some(Token::Word(word))) => {
            matches!(word.as_str(), "no" | "false" | "off" | "none" | "null" | "never" | "ok")
        }
        (Some(Token::Mark('=')), Some(Token::Number(_))) => true,
        (Some(Token::Mark(':')), Some(Token::Number(number))) => *number == 0.0,
        _ => false,
    }
}

const DENIES: &[&str] = &[
    "not", "no", "never", "without", "isn", "wasn", "hasn", "don", "doesn", "didn", "cannot",
    "nor", "neither", "non", "unused",
];
/// Words of a question, a guess, a lesson, a talk.
const SUPPOSES: &[&str] = &[
    "if",
    "would",
    "might",
    "maybe",
    "perhaps",
    "whether",
    "should",
    "mean",
    "means",
    "meant",
    "my",
    "me",
    "we",
    "our",
    "you",
    "your",
    "someone",
    "somebody",
    "anybody",
    "anyone",
    "they",
    "thread",
    "forum",
    "please",
    "example",
    "docs",
    "documentation",
    "manual",
    "why",
    "suppose",
    "unless",
    "usually",
    "typically",
    "often",
];
/// Words of a setting.
const SETS: &[&str] = &[
    "config",
    "configuration",
    "configured",
    "setting",
    "settings",
    "option",
    "options",
    "enabled",
    "disabled",
    "enable",
    "disable",
    "default",
    "defaults",
    "policy",
    "deny",
    "allow",
    "allowed",
    "allows",
    "tolerated",
];
