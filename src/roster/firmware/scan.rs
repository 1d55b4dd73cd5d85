//! Declarations and macros of a source, and the conditions that they are under.

use std::collections::HashMap;

use super::{
    branch::{Branches, condition, constant, opposite},
    lexer::{Token, TokenKind},
    value::{Definition, Definitions},
};

/// A name with an initialiser.
#[derive(Clone, Copy, Debug)]
pub(super) struct Declaration<'t> {
    pub(super) name: &'t str,
    /// The token of the name.
    pub(super) name_at: usize,
    /// Its initialiser's tokens.
    pub(super) start: usize,
    pub(super) end: usize,
    pub(super) branch: usize,
    /// The struct that the variable is of, where the source defines it.
    pub(super) type_name: Option<&'t str>,
    pub(super) is_macro: bool,
}

/// What a source declares.
#[derive(Debug, Default)]
pub(super) struct Scan<'t> {
    pub(super) declarations: Vec<Declaration<'t>>,
    /// The fields of each struct, in order.
    pub(super) structs: HashMap<&'t str, Vec<&'t str>>,
}

/// One `#if` that is open.
struct Open {
    outer: usize,
    group: usize,
    label: String,
    /// An arm before was certain, so that the rest is dead.
    taken: bool,
}

/// Finds what a source declares.
pub(super) fn scan<'t>(
    tokens: &[Token<'t>],
    file: usize,
    branches: &mut Branches,
    definitions: &mut Definitions<'t>,
) -> Scan<'t> {
    let mut scanner =
        Scanner { tokens, file, branches, definitions, open: Vec::new(), branch: 0, at: 0 };
    let mut scan = Scan::default();
    while scanner.at < tokens.len() {
        scanner.step(&mut scan);
    }
    scan
}

struct Scanner<'a, 't> {
    tokens: &'a [Token<'t>],
    file: usize,
    branches: &'a mut Branches,
    definitions: &'a mut Definitions<'t>,
    open: Vec<Open>,
    branch: usize,
    at: usize,
}

impl<'t> Scanner<'_, 't> {
    fn kind(&self, at: usize) -> Option<TokenKind<'t>> {
        self.tokens.get(at).map(|token| token.kind)
    }

    fn punct(&self, at: usize, c: char) -> bool {
        self.kind(at) == Some(TokenKind::Punct(c))
    }

    fn step(&mut self, scan: &mut Scan<'t>) {
        match self.kind(self.at) {
            Some(TokenKind::Directive) => self.directive(scan),
            Some(TokenKind::Word("struct")) => self.structure(scan),
            Some(TokenKind::Punct('=')) => self.assignment(scan),
            Some(TokenKind::Punct('{')) => self.brace(scan),
            _ => self.at += 1,
        }
    }

    fn directive(&mut self, scan: &mut Scan<'t>) {
        let start = self.at + 1;
        let length = self
            .tokens
            .get(start..)
            .and_then(|rest| rest.iter().position(|token| token.kind == TokenKind::End));
        let end = length.map_or(self.tokens.len(), |length| start + length);
        let line = self.tokens.get(start..end).unwrap_or_default();
        self.at = end + 1;
        let Some(TokenKind::Word(command)) = line.first().map(|token| token.kind) else { return };
        match command {
            "define" => self.define(scan, start + 1, end),
            "if" | "ifdef" | "ifndef" => {
                let guard = command == "ifndef" && self.is_guard(line.get(1), end);
                let label = if guard { String::new() } else { condition(command, line) };
                self.branches.groups += 1;
                let group = self.branches.groups;
                let known = constant(command, line);
                let outer = self.branch;
                self.branch = self.branches.open(outer, group, label.clone(), known == Some(false));
                self.open.push(Open { outer, group, label, taken: known == Some(true) });
            }
            "elif" | "elifdef" | "elifndef" | "else" => {
                let Some(open) = self.open.last_mut() else { return };
                let label = match command {
                    "else" if open.label.is_empty() => String::new(),
                    "else" => opposite(&open.label),
                    _ => condition(command.strip_prefix("el").unwrap_or(command), line),
                };
                let known = if command == "else" { None } else { constant("if", line) };
                let dead = open.taken || known == Some(false);
                open.taken |= known == Some(true);
                self.branch = self.branches.open(open.outer, open.group, label, dead);
            }
            "endif" => {
                if let Some(open) = self.open.pop() {
                    self.branch = open.outer;
                }
            }
            _ => {}
        }
    }

    /// Returns whether `#ifndef NAME` is followed by `#define NAME` without a value.
    fn is_guard(&self, name: Option<&Token<'_>>, end: usize) -> bool {
        let Some(name) = name else { return false };
        self.kind(end + 1) == Some(TokenKind::Directive)
            && self.kind(end + 2) == Some(TokenKind::Word("define"))
            && self.kind(end + 3) == Some(name.kind)
            && self.kind(end + 4) == Some(TokenKind::End)
    }

    fn define(&mut self, scan: &mut Scan<'t>, name_at: usize, end: usize) {
        let Some(Token { kind: TokenKind::Word(name), at }) = self.tokens.get(name_at).copied()
        else {
            return;
        };
        let with_arguments = self.tokens.get(name_at + 1).is_some_and(|next| {
            next.kind == TokenKind::Punct('(')
                && next.at.line == at.line
                && next.at.column == at.column + name.chars().count()
        });
        if with_arguments || self.branches.is_dead(self.branch) {
            return;
        }
        self.declare(
            scan,
            Declaration {
                name,
                name_at,
                start: name_at + 1,
                end,
                branch: self.branch,
                type_name: None,
                is_macro: true,
            },
        );
    }

    fn declare(&mut self, scan: &mut Scan<'t>, declaration: Declaration<'t>) {
        let Declaration { name, start, end, branch, .. } = declaration;
        // a body that is the name itself would lead nowhere
        if start < end {
            let definition = Definition { start, end, branch, file: self.file };
            let all = self.definitions.entry(name).or_default();
            if all.len() < MOST_DEFINITIONS {
                all.push(definition);
            }
        }
        scan.declarations.push(declaration);
    }

    /// `... name[8] = value`, `name = value`.
    fn assignment(&mut self, scan: &mut Scan<'t>) {
        let at = self.at;
        self.at += 1;
        if self.punct(at + 1, '=') {
            self.at += 1;
            return;
        }
        let operator = at.checked_sub(1).and_then(|before| self.kind(before));
        if matches!(operator, Some(TokenKind::Punct(c)) if !matches!(c, ']' | ')' | '>')) {
            return;
        }
        let name_at = self.annotated(at).or_else(|| self.name_before(self.before_attributes(at)));
        let Some(name_at) = name_at else { return };
        self.variable(scan, name_at, at + 1);
    }

    /// `const name: [u8; 8] = value` of Rust: returns the name, which is before its type.
    fn annotated(&self, at: usize) -> Option<usize> {
        let mut depth = 0usize;
        let mut colon = at;
        for _ in 0..LONGEST_TYPE {
            colon = colon.checked_sub(1)?;
            match self.kind(colon)? {
                TokenKind::Punct(']' | ')' | '>') => depth += 1,
                TokenKind::Punct('[' | '(' | '<') => depth = depth.checked_sub(1)?,
                TokenKind::Punct(':') if self.punct(colon.checked_sub(1)?, ':') => {
                    // `heapless::Vec` is a path
                    colon -= 1;
                }
                TokenKind::Punct(':') if depth == 0 => {
                    let name_at = colon.checked_sub(1)?;
                    let declares = match self.kind(name_at.checked_sub(1)?)? {
                        TokenKind::Word(word) => matches!(word, "const" | "static" | "let" | "mut"),
                        _ => false,
                    };
                    let named = matches!(self.kind(name_at), Some(TokenKind::Word(_)));
                    return (named && declares).then_some(name_at);
                }
                TokenKind::Punct(';' | '{' | '}' | ',') if depth == 0 => return None,
                _ => {}
            }
        }
        None
    }

    /// `name[8] {value}` of C++; every other brace opens what is looked into.
    fn brace(&mut self, scan: &mut Scan<'t>) {
        let at = self.at;
        self.at += 1;
        let bracket = at.checked_sub(1).is_some_and(|before| self.punct(before, ']'));
        let named = |at: usize| match self.kind(at) {
            Some(TokenKind::Word(name)) => super::names::meaning(name).is_some(),
            _ => false,
        };
        let Some(name_at) = self.name_before(at) else { return };
        let aggregate = name_at.checked_sub(1).and_then(|before| self.kind(before));
        let is_type =
            matches!(aggregate, Some(TokenKind::Word("struct" | "enum" | "union" | "class")));
        if bracket || (named(name_at) && !is_type) {
            self.variable(scan, name_at, at);
        }
    }

    /// Takes a variable whose initialiser starts there, and goes on behind it.
    fn variable(&mut self, scan: &mut Scan<'t>, name_at: usize, start: usize) {
        let end = self.end_of_initialiser(start);
        self.at = end.max(self.at);
        let Some(TokenKind::Word(name)) = self.kind(name_at) else { return };
        if self.branches.is_dead(self.branch) {
            return;
        }
        let type_name = (name_at.saturating_sub(LONGEST_TYPE)..name_at)
            .rev()
            .map_while(|at| match self.kind(at) {
                Some(TokenKind::Word(word)) => Some(word),
                Some(TokenKind::Punct('*')) => Some(""),
                _ => None,
            })
            .find(|word| scan.structs.contains_key(word));
        self.declare(
            scan,
            Declaration {
                name,
                name_at,
                start,
                end,
                branch: self.branch,
                type_name,
                is_macro: false,
            },
        );
    }

    /// Returns where the words between an array's brackets and its `=` begin: how it is kept.
    fn before_attributes(&self, at: usize) -> usize {
        let mut start = at;
        for _ in 0..MOST_ATTRIBUTES {
            let Some(before) = start.checked_sub(1) else { break };
            match self.kind(before) {
                Some(TokenKind::Punct(']')) => return start,
                Some(TokenKind::Word(_)) => start = before,
                Some(TokenKind::Punct(')')) => {
                    let Some(opens) = self.opening(before) else { break };
                    start = opens.saturating_sub(1);
                }
                _ => break,
            }
        }
        at
    }

    fn opening(&self, closes: usize) -> Option<usize> {
        let first = closes.saturating_sub(LONGEST_TYPE);
        let mut depth = 0usize;
        (first..=closes).rev().find(|at| {
            depth += usize::from(self.punct(*at, ')'));
            depth -= usize::from(self.punct(*at, '('));
            depth == 0
        })
    }

    /// Returns the word before a token, past `[8]` and the like.
    fn name_before(&self, at: usize) -> Option<usize> {
        let mut at = at.checked_sub(1)?;
        let mut budget = LONGEST_TYPE;
        while self.punct(at, ']') {
            while !self.punct(at, '[') {
                budget = budget.checked_sub(1)?;
                at = at.checked_sub(1)?;
            }
            at = at.checked_sub(1)?;
        }
        matches!(self.kind(at), Some(TokenKind::Word(_))).then_some(at)
    }

    fn end_of_initialiser(&self, start: usize) -> usize {
        let mut depth = 0usize;
        let mut at = start;
        while let Some(kind) = self.kind(at) {
            match kind {
                TokenKind::Punct('{' | '(' | '[') => depth += 1,
                TokenKind::Punct('}' | ')' | ']' | ',' | ';') if depth == 0 => break,
                TokenKind::Punct('}' | ')' | ']') => {
                    depth -= 1;
                    if depth == 0 && self.punct(at, '}') {
                        return at + 1;
                    }
                }
                // conditions within an initialiser are too doubtful to be read through
                TokenKind::Directive => break,
                _ => {}
            }
            at += 1;
        }
        at
    }

    /// `struct name { type field; ... } alias;`: notes the fields in order.
    fn structure(&mut self, scan: &mut Scan<'t>) {
        let mut at = self.at + 1;
        self.at += 1;
        let mut names = Vec::new();
        if let Some(TokenKind::Word(name)) = self.kind(at) {
            names.push(name);
            at += 1;
        }
        if !self.punct(at, '{') {
            return;
        }
        at += 1;
        let mut fields = Vec::new();
        let mut last = None;
        while let Some(kind) = self.kind(at) {
            match kind {
                TokenKind::Word(word) => last = Some(word),
                TokenKind::Punct(';' | ',') => fields.extend(last.take()),
                // `[SIZE]` is no field, and a struct within is more than is read here
                TokenKind::Punct('[') => {
                    while self.kind(at).is_some() && !self.punct(at, ']') {
                        at += 1;
                    }
                }
                TokenKind::Punct('{') | TokenKind::Directive => return,
                TokenKind::Punct('}') => break,
                _ => {}
            }
            at += 1;
        }
        if let Some(TokenKind::Word(alias)) = self.kind(at + 1) {
            names.push(alias);
        }
        self.at = at;
        for name in names {
            scan.structs.insert(name, fields.clone());
        }
    }
}

/// Definitions of one name that are kept apart; a source with more of them means none of them.
const MOST_DEFINITIONS: usize = 64;
const MOST_ATTRIBUTES: usize = 4;
const LONGEST_TYPE: usize = 12;
