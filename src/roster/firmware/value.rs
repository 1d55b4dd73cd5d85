//! Initialisers: a number, a text, a word, or a list of them, with macros put in their place, and out of
//! the types and functions that they are handed to.

use std::collections::HashMap;

use zeroize::Zeroizing;

use super::{
    super::error::Position,
    lexer::{Token, TokenKind},
    literal::{number, unescaped},
};

/// What stands behind a name.
#[derive(Clone, Debug)]
pub(super) enum Literal<'t> {
    /// A number as written.
    Number(&'t str),
    /// A character.
    Character(u8),
    /// Texts side by side, their escapes resolved; whether there were any with a number in them.
    Text { octets: Zeroizing<Vec<u8>>, escaped: bool },
    /// A name that the source does not define.
    Word(&'t str),
    /// What stands between braces, or between commas in a macro.
    List(Vec<Entry<'t>>),
    /// A brace that nothing closes: the source was cut.
    Open,
    /// Anything else.
    Other,
}

/// An element of a list.
#[derive(Clone, Debug)]
pub(super) struct Entry<'t> {
    /// The field that it is for, where the source names it.
    pub(super) field: Option<&'t str>,
    pub(super) at: Position,
    pub(super) value: Literal<'t>,
    /// The macro or variable that the whole element is.
    pub(super) alias: Option<&'t str>,
    /// The function or macro that it is handed to: `from_le_bytes`.
    pub(super) call: Option<&'t str>,
}

impl<'t> Entry<'t> {
    const fn new(at: Position, value: Literal<'t>) -> Self {
        Self { field: None, at, value, alias: None, call: None }
    }
}

/// Where the tokens of a definition stand, and within which condition.
#[derive(Clone, Copy, Debug)]
pub(super) struct Definition {
    pub(super) start: usize,
    pub(super) end: usize,
    pub(super) branch: usize,
    pub(super) file: usize,
}

/// The definitions of all sources, by name.
pub(super) type Definitions<'t> = HashMap<&'t str, Vec<Definition>>;

/// Reads initialisers. The budget bounds how much macros may blow up.
pub(super) struct ValueReader<'a, 't> {
    pub(super) files: &'a [Vec<Token<'t>>],
    pub(super) definitions: &'a Definitions<'t>,
    pub(super) budget: usize,
    /// Names that were put in their place since this was last cleared.
    pub(super) expanded: Vec<&'t str>,
}

/// A place in one file's tokens, up to an end.
#[derive(Clone, Copy)]
pub(super) struct Cursor {
    pub(super) file: usize,
    pub(super) at: usize,
    pub(super) end: usize,
    pub(super) branch: usize,
}

impl<'t> ValueReader<'_, 't> {
    fn peek(&self, cursor: Cursor) -> Option<Token<'t>> {
        if cursor.at >= cursor.end {
            return None;
        }
        self.files.get(cursor.file)?.get(cursor.at).copied()
    }

    /// Reads the initialiser at the cursor and leaves the cursor behind it.
    pub(super) fn initialiser(&mut self, cursor: &mut Cursor) -> Entry<'t> {
        let at = self.peek(*cursor).map_or(Position { line: 1, column: 1 }, |token| token.at);
        let mut read = self.element(cursor, 0);
        match (read.len(), read.pop()) {
            (1, Some(entry)) => entry,
            (_, Some(last)) => {
                read.push(last);
                Entry::new(at, Literal::List(read))
            }
            (_, None) => Entry::new(at, Literal::Other),
        }
    }

    /// Reads a macro's body: one value, or several with commas between.
    pub(super) fn body(&mut self, mut cursor: Cursor) -> Entry<'t> {
        let at = self.peek(cursor).map_or(Position { line: 1, column: 1 }, |token| token.at);
        let mut entries = self.elements(&mut cursor, 0, '}');
        match (entries.len(), entries.pop()) {
            (1, Some(entry)) => entry,
            (_, Some(last)) => {
                entries.push(last);
                Entry::new(at, Literal::List(entries))
            }
            (_, None) => Entry::new(at, Literal::Other),
        }
    }

    /// Reads elements up to what closes them, or to the end.
    fn elements(&mut self, cursor: &mut Cursor, depth: usize, close: char) -> Vec<Entry<'t>> {
        let mut entries = Vec::new();
        while let Some(token) = self.peek(*cursor) {
            match token.kind {
                TokenKind::Punct(c) if c == close => break,
                TokenKind::Punct('}') => break,
                TokenKind::Punct(',') => cursor.at += 1,
                TokenKind::Punct(';') if close == ']' => self.repeat(cursor, &mut entries),
                _ => {
                    let before = cursor.at;
                    entries.append(&mut self.element(cursor, depth));
                    // what no element can start with
                    if cursor.at == before {
                        cursor.at += 1;
                    }
                }
            }
        }
        entries
    }

    /// `[0; 8]`: the element as many times as the number says.
    fn repeat(&self, cursor: &mut Cursor, entries: &mut Vec<Entry<'t>>) {
        cursor.at += 1;
        let Some(TokenKind::Number(text)) = self.peek(*cursor).map(|token| token.kind) else {
            return;
        };
        cursor.at += 1;
        let count = number(text).and_then(|count| usize::try_from(count).ok()).unwrap_or(0);
        if let ([only], true) = (entries.as_slice(), count <= MOST_REPEATED) {
            *entries = vec![only.clone(); count];
        }
    }

    /// Reads one element; a macro that is a list without braces gives several.
    fn element(&mut self, cursor: &mut Cursor, depth: usize) -> Vec<Entry<'t>> {
        let field = self.designator(cursor);
        let Some(token) = self.peek(*cursor) else { return Vec::new() };
        let entry = |value| Entry { field, ..Entry::new(token.at, value) };
        if depth >= DEEPEST || self.budget == 0 {
            self.skip(cursor, 0);
            return vec![entry(Literal::Other)];
        }
        self.budget -= 1;
        let opened = self.pass_cast(cursor);
        // a reference of Rust is its value
        cursor.at += usize::from(self.is_at(*cursor, '&'));
        let path = self.path(*cursor);
        let Some(first) = self.peek(*cursor) else { return vec![entry(Literal::Other)] };
        let mut read = match first.kind {
            _ if path.is_some() => self.handed(path, cursor, depth, &entry),
            TokenKind::Punct('{') => self.list(cursor, depth, '}', &entry),
            TokenKind::Punct('[') => self.list(cursor, depth, ']', &entry),
            TokenKind::Number(text) => {
                cursor.at += 1;
                vec![entry(Literal::Number(text))]
            }
            TokenKind::Character(text) => {
                cursor.at += 1;
                let (octets, _) = unescaped(text);
                let value =
                    octets.first().map_or(Literal::Other, |octet| Literal::Character(*octet));
                vec![entry(value)]
            }
            TokenKind::Text(_) => vec![entry(self.texts(cursor, depth))],
            TokenKind::Word(_) if self.is_text_or_word(cursor.at + 1, *cursor) => {
                vec![entry(self.texts(cursor, depth))]
            }
            TokenKind::Word(word) => {
                cursor.at += 1;
                self.word(word, *cursor, depth, &entry)
            }
            _ => vec![entry(Literal::Other)],
        };
        if !self.closes(cursor, opened) {
            // an expression: its value is the compiler's to know
            self.skip(cursor, opened);
            read = vec![entry(Literal::Other)];
        }
        read
    }

    /// Reads what is between braces or brackets.
    fn list(
        &mut self,
        cursor: &mut Cursor,
        depth: usize,
        close: char,
        entry: &dyn Fn(Literal<'t>) -> Entry<'t>,
    ) -> Vec<Entry<'t>> {
        cursor.at += 1;
        let entries = self.elements(cursor, depth + 1, close);
        if self.peek(*cursor).is_none() {
            return vec![entry(Literal::Open)];
        }
        cursor.at += 1;
        vec![entry(Literal::List(entries))]
    }

    /// Looks for names before a parenthesis or a brace: `DevEui::from(`, `hex!(`, `Credentials {`.
    fn path(&self, cursor: Cursor) -> Option<Path<'t>> {
        let kind = |at: usize| self.peek(Cursor { at, ..cursor }).map(|token| token.kind);
        let mut at = cursor.at;
        let mut last = None;
        for _ in 0..DEEPEST {
            let Some(TokenKind::Word(word)) = kind(at) else { return None };
            last = Some(word);
            at += 1;
            match (kind(at), kind(at + 1)) {
                (Some(TokenKind::Punct(':')), Some(TokenKind::Punct(':'))) => at += 2,
                _ => break,
            }
        }
        at += usize::from(kind(at) == Some(TokenKind::Punct('!')));
        let Some(TokenKind::Punct(open @ ('(' | '{'))) = kind(at) else { return None };
        Some(Path { last: last?, open, at })
    }

    /// Reads a value that is handed to a function, a macro or a type: one alone is the value itself.
    fn handed(
        &mut self,
        path: Option<Path<'t>>,
        cursor: &mut Cursor,
        depth: usize,
        entry: &dyn Fn(Literal<'t>) -> Entry<'t>,
    ) -> Vec<Entry<'t>> {
        let Some(Path { last, open, at }) = path else { return Vec::new() };
        cursor.at = at;
        if open == '{' {
            return self.list(cursor, depth, '}', entry);
        }
        cursor.at += 1;
        let mut handed = self.elements(cursor, depth + 1, ')');
        if self.peek(*cursor).is_none() {
            return vec![entry(Literal::Open)];
        }
        cursor.at += 1;
        self.pass_unwrapping(cursor);
        match (handed.len(), handed.pop()) {
            (
                1,
                Some(Entry {
                    value: value @ (Literal::List(_) | Literal::Text { .. }), call, ..
                }),
            ) => {
                vec![Entry { call: call.or(Some(last)), ..entry(value) }]
            }
            _ => vec![entry(Literal::Other)],
        }
    }

    /// Passes `.unwrap()`, `.into()` and `?`, which change nothing.
    fn pass_unwrapping(&self, cursor: &mut Cursor) {
        let kind = |at: usize| self.peek(Cursor { at, ..*cursor }).map(|token| token.kind);
        let mut at = cursor.at;
        loop {
            at += match (kind(at), kind(at + 1), kind(at + 2), kind(at + 3)) {
                (Some(TokenKind::Punct('?')), ..) => 1,
                (
                    Some(TokenKind::Punct('.')),
                    Some(TokenKind::Word("unwrap" | "into" | "clone")),
                    Some(TokenKind::Punct('(')),
                    Some(TokenKind::Punct(')')),
                ) => 4,
                _ => break,
            };
        }
        cursor.at = at;
    }

    fn word(
        &mut self,
        word: &'t str,
        cursor: Cursor,
        depth: usize,
        entry: &dyn Fn(Literal<'t>) -> Entry<'t>,
    ) -> Vec<Entry<'t>> {
        let Some(definition) = self.definition(word, cursor) else {
            return vec![entry(Literal::Word(word))];
        };
        self.expanded.push(word);
        let mut inner = Cursor {
            file: definition.file,
            at: definition.start,
            end: definition.end,
            branch: definition.branch,
        };
        let mut entries = self.elements(&mut inner, depth + 1, '}');
        match (entries.len(), entries.pop()) {
            (1, Some(only)) => {
                // where a macro leads to another, the last name is the one nearest to the value
                vec![Entry { alias: Some(only.alias.unwrap_or(word)), ..entry(only.value) }]
            }
            (_, Some(last)) => {
                entries.push(last);
                entries
            }
            (_, None) => vec![entry(Literal::Word(word))],
        }
    }

    /// Returns the definition that counts here: of the same condition, else the only one.
    fn definition(&self, word: &str, cursor: Cursor) -> Option<Definition> {
        let all = self.definitions.get(word)?;
        let here = all.iter().find(|d| d.file == cursor.file && d.branch == cursor.branch).copied();
        here.or(match all.as_slice() {
            [only] => Some(*only),
            _ => None,
        })
    }

    fn is_text_or_word(&self, at: usize, cursor: Cursor) -> bool {
        let next = self.peek(Cursor { at, ..cursor }).map(|token| token.kind);
        matches!(next, Some(TokenKind::Text(_) | TokenKind::Word(_)))
    }

    /// Reads texts side by side, and macros among them.
    fn texts(&mut self, cursor: &mut Cursor, depth: usize) -> Literal<'t> {
        let mut all = Zeroizing::new(Vec::new());
        let mut any_escaped = false;
        loop {
            match self.peek(*cursor).map(|token| token.kind) {
                Some(TokenKind::Text(text)) => {
                    cursor.at += 1;
                    let (octets, escaped) = unescaped(text);
                    all.extend_from_slice(&octets);
                    any_escaped |= escaped;
                }
                Some(TokenKind::Word(word)) if depth < DEEPEST && self.budget > 0 => {
                    // C++ says by letters behind a text of which type it is.
                    if matches!(word, "s" | "sv") && !all.is_empty() {
                        cursor.at += 1;
                        continue;
                    }
                    let Some(definition) = self.definition(word, *cursor) else {
                        return Literal::Other;
                    };
                    cursor.at += 1;
                    self.budget -= 1;
                    self.expanded.push(word);
                    let mut inner = Cursor {
                        file: definition.file,
                        at: definition.start,
                        end: definition.end,
                        branch: definition.branch,
                    };
                    let Literal::Text { octets, escaped } = self.texts(&mut inner, depth + 1)
                    else {
                        return Literal::Other;
                    };
                    // each expansion is paid for with what it yields
                    self.budget = self.budget.saturating_sub(octets.len());
                    all.extend_from_slice(&octets);
                    any_escaped |= escaped;
                }
                _ => return Literal::Text { octets: all, escaped: any_escaped },
            }
        }
    }

    /// Passes `.field =` and `[3] =`.
    fn designator(&self, cursor: &mut Cursor) -> Option<&'t str> {
        let kind = |ahead: usize| {
            self.peek(Cursor { at: cursor.at + ahead, ..*cursor }).map(|token| token.kind)
        };
        match (kind(0), kind(1), kind(2)) {
            (
                Some(TokenKind::Punct('.')),
                Some(TokenKind::Word(field)),
                Some(TokenKind::Punct('=')),
            ) => {
                cursor.at += 3;
                Some(field)
            }
            (
                Some(TokenKind::Word(_)),
                Some(TokenKind::Punct(':')),
                Some(TokenKind::Punct(':')),
            ) => None,
            (Some(TokenKind::Word(field)), Some(TokenKind::Punct(':')), _) => {
                cursor.at += 2;
                Some(field)
            }
            (Some(TokenKind::Punct('[')), Some(_), Some(TokenKind::Punct(']')))
                if kind(3) == Some(TokenKind::Punct('=')) =>
            {
                cursor.at += 4;
                None
            }
            _ => None,
        }
    }

    fn is_at(&self, cursor: Cursor, c: char) -> bool {
        self.peek(cursor).map(|token| token.kind) == Some(TokenKind::Punct(c))
    }

    /// Passes what is in parentheses if a value follows; opens them where none does. Returns how many
    /// it opened.
    fn pass_cast(&self, cursor: &mut Cursor) -> usize {
        let mut opened = 0;
        // each pair is looked through once, and few are enough
        for _ in 0..DEEPEST {
            if !self.is_at(*cursor, '(') {
                break;
            }
            let mut ahead = *cursor;
            let mut depth = 0usize;
            let limit = ahead.at + LONGEST_CAST;
            while let Some(token) = self.peek(ahead) {
                match token.kind {
                    TokenKind::Punct('(') => depth += 1,
                    TokenKind::Punct(')') => depth = depth.saturating_sub(1),
                    _ => {}
                }
                ahead.at += 1;
                if depth == 0 || ahead.at > limit {
                    break;
                }
            }
            let value_follows = depth == 0
                && self.peek(ahead).is_some_and(|token| {
                    !matches!(token.kind, TokenKind::Punct(c) if c != '{' && c != '(')
                        && !matches!(token.kind, TokenKind::End | TokenKind::Directive)
                });
            if value_follows {
                cursor.at = ahead.at;
            } else {
                cursor.at += 1;
                opened += 1;
            }
        }
        opened
    }

    /// Passes the parentheses that `pass_cast` opened; says whether the element ends there.
    fn closes(&self, cursor: &mut Cursor, opened: usize) -> bool {
        for _ in 0..opened {
            cursor.at += usize::from(self.is_at(*cursor, ')'));
        }
        self.peek(*cursor).is_none_or(|token| {
            matches!(token.kind, TokenKind::Punct(',' | '}' | ']' | ')' | ';') | TokenKind::End)
                || token.kind == TokenKind::Directive
        })
    }

    /// Passes the rest of an element.
    fn skip(&self, cursor: &mut Cursor, opened: usize) {
        let mut depth = opened;
        while let Some(token) = self.peek(*cursor) {
            match token.kind {
                TokenKind::Punct('{' | '(' | '[') => depth += 1,
                TokenKind::Punct('}' | ']' | ')' | ',' | ';') if depth == 0 => return,
                // parentheses that were never closed end with what is around them
                TokenKind::Punct(',' | ';' | '}') if depth == opened => return,
                TokenKind::End | TokenKind::Directive => return,
                TokenKind::Punct('}' | ')' | ']') => depth = depth.saturating_sub(1),
                _ => {}
            }
            cursor.at += 1;
        }
    }
}

/// Names before what a value is handed to.
#[derive(Clone, Copy, Debug)]
struct Path<'t> {
    /// The last of them.
    last: &'t str,
    /// What opens behind it, and where.
    open: char,
    at: usize,
}

/// Braces, parentheses and macros within one another.
const DEEPEST: usize = 16;
/// Elements that `[0; 16]` may stand for: keys have 16.
const MOST_REPEATED: usize = 64;
/// Tokens of a cast: `(const volatile struct eui *)` has six.
const LONGEST_CAST: usize = 16;
