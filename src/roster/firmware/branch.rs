//! Conditions of a source: which values can never be compiled together.

use std::collections::BTreeMap;

use super::lexer::{Token, TokenKind};

/// An arm of an `#if`.
#[derive(Clone, Debug, Default)]
pub(super) struct Branch {
    pub(super) parent: usize,
    /// Arms of one `#if` have the same group.
    pub(super) group: usize,
    /// What the condition says; empty for the whole file.
    pub(super) label: String,
    /// Never compiled: `#if 0`.
    pub(super) dead: bool,
}

/// The conditions of all sources; the first is that there is none.
#[derive(Debug)]
pub(super) struct Branches {
    pub(super) all: Vec<Branch>,
    pub(super) groups: usize,
}

impl Branches {
    pub(super) fn new() -> Self {
        Self { all: vec![Branch::default()], groups: 0 }
    }

    pub(super) fn open(&mut self, parent: usize, group: usize, label: String, dead: bool) -> usize {
        let dead = dead || self.all.get(parent).is_some_and(|parent| parent.dead);
        self.all.push(Branch { parent, group, label, dead });
        self.all.len() - 1
    }

    pub(super) fn is_dead(&self, branch: usize) -> bool {
        self.all.get(branch).is_some_and(|branch| branch.dead)
    }

    /// Returns a branch and all around it, innermost first.
    pub(super) fn path(&self, branch: usize) -> impl Iterator<Item = usize> {
        let mut next = Some(branch);
        std::iter::from_fn(move || {
            let now = next?;
            next = (now != 0).then(|| self.all.get(now).map_or(0, |branch| branch.parent));
            Some(now)
        })
        .take(DEEPEST_PATH)
    }

    /// Returns whether the two can never be compiled together.
    pub(super) fn exclude(&self, a: usize, b: usize) -> bool {
        if a == b || a == 0 || b == 0 {
            return false;
        }
        let groups = |branch| -> BTreeMap<usize, usize> {
            self.path(branch).filter_map(|b| Some((self.all.get(b)?.group, b))).collect()
        };
        let others = groups(b);
        groups(a)
            .iter()
            .any(|(group, arm)| *group != 0 && others.get(group).is_some_and(|other| other != arm))
    }

    /// Returns what the conditions around a value say.
    pub(super) fn label(&self, branch: usize) -> String {
        let mut labels: Vec<&str> = self
            .path(branch)
            .filter_map(|branch| self.all.get(branch).map(|branch| branch.label.as_str()))
            .filter(|label| !label.is_empty())
            .collect();
        labels.reverse();
        labels.join(", ")
    }
}

/// Returns a condition in words: `NODE_A`, `not NODE_A`, `NODE == 1`.
pub(super) fn condition(command: &str, line: &[Token<'_>]) -> String {
    let mut label = String::from(if command == "ifndef" { "not " } else { "" });
    for token in line.iter().skip(1) {
        match token.kind {
            TokenKind::Word("defined") | TokenKind::Punct('(' | ')') => {}
            TokenKind::Word(word) | TokenKind::Number(word) => {
                if label.ends_with(|c: char| c.is_alphanumeric()) {
                    label.push(' ');
                }
                label.push_str(word);
            }
            TokenKind::Punct('!') => label.push_str("not "),
            TokenKind::Punct(c) if !c.is_control() => {
                if label.ends_with(|c: char| c.is_alphanumeric()) {
                    label.push(' ');
                }
                label.push(c);
            }
            _ => {}
        }
        if label.len() > LONGEST_LABEL {
            break;
        }
    }
    label.replace("==", "== ").chars().take(LONGEST_LABEL).collect()
}

pub(super) fn opposite(label: &str) -> String {
    label.strip_prefix("not ").map_or_else(|| format!("not {label}"), str::to_owned)
}

/// Returns what a condition that is a lone number comes to.
pub(super) fn constant(command: &str, line: &[Token<'_>]) -> Option<bool> {
    match line {
        [_, Token { kind: TokenKind::Number(number), .. }] if command == "if" => {
            super::literal::number(number).map(|number| number != 0)
        }
        _ => None,
    }
}

const DEEPEST_PATH: usize = 64;
const LONGEST_LABEL: usize = 48;
