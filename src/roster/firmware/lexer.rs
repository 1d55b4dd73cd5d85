//! C, C++ or Rust source as tokens, comments apart.
//!
//! Only what values are made of is told apart: this is no compiler, and a source that no compiler
//! would take still gives the tokens that it has. Where the languages differ (lifetimes, raw texts,
//! attributes) each is known by its own shape.

use super::{super::error::Position, SourceFaultKind};

/// A token and where it starts.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) struct Token<'t> {
    pub(super) kind: TokenKind<'t>,
    pub(super) at: Position,
}

/// What a token is. Texts and characters keep their escapes, without the quotes.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum TokenKind<'t> {
    Word(&'t str),
    Number(&'t str),
    Text(&'t str),
    Character(&'t str),
    Punct(char),
    /// `#` as the first token of a line.
    Directive,
    /// The end of a directive's line.
    End,
}

/// A comment and the lines it covers.
#[derive(Clone, Copy, Debug)]
pub(super) struct Comment<'t> {
    pub(super) text: &'t str,
    pub(super) first_line: usize,
    pub(super) last_line: usize,
    /// Whether nothing stands before it on its line.
    pub(super) alone: bool,
}

/// A source, split.
#[derive(Debug, Default)]
pub(super) struct Lexed<'t> {
    pub(super) tokens: Vec<Token<'t>>,
    /// In order of their lines.
    pub(super) comments: Vec<Comment<'t>>,
    pub(super) faults: Vec<(Position, SourceFaultKind)>,
}

/// Splits a source.
pub(super) fn lex(text: &str) -> Lexed<'_> {
    let mut lexer = Lexer {
        text,
        at: 0,
        position: Position { line: 1, column: 1 },
        fresh_line: true,
        directive: false,
        lexed: Lexed::default(),
    };
    while lexer.step() {}
    if lexer.directive {
        lexer.push(TokenKind::End, lexer.position);
    }
    lexer.lexed
}

struct Lexer<'t> {
    text: &'t str,
    at: usize,
    position: Position,
    /// No token on this line yet.
    fresh_line: bool,
    /// Within a directive.
    directive: bool,
    lexed: Lexed<'t>,
}

impl<'t> Lexer<'t> {
    fn rest(&self) -> &'t str {
        self.text.get(self.at..).unwrap_or_default()
    }

    fn bump(&mut self) -> Option<char> {
        let c = self.rest().chars().next()?;
        self.at += c.len_utf8();
        if c == '\n' {
            self.position.line += 1;
            self.position.column = 1;
        } else {
            self.position.column += 1;
        }
        Some(c)
    }

    /// Takes characters as long as they fit and returns them.
    fn take_while(&mut self, fits: impl Fn(char) -> bool) -> &'t str {
        let start = self.at;
        while self.rest().starts_with(&fits) {
            self.bump();
        }
        self.text.get(start..self.at).unwrap_or_default()
    }

    fn push(&mut self, kind: TokenKind<'t>, at: Position) {
        self.lexed.tokens.push(Token { kind, at });
        self.fresh_line = false;
    }

    /// Takes one token, comment or piece of white space; false at the end.
    fn step(&mut self) -> bool {
        let at = self.position;
        let rest = self.rest();
        let Some(c) = rest.chars().next() else { return false };
        if rest.starts_with("\\\n") || rest.starts_with("\\\r\n") {
            // the line goes on: neither a directive nor its fresh line ends
            while self.bump().is_some_and(|c| c != '\n') {}
        } else if c == '\n' {
            self.bump();
            if self.directive {
                self.push(TokenKind::End, at);
                self.directive = false;
            }
            self.fresh_line = true;
        } else if rest.starts_with("//") || rest.starts_with("/*") {
            self.comment(rest.starts_with("/*"));
        } else if self.prefixed_text() {
            // `b"..."` and the like are texts.
        } else if c.is_alphabetic() || c == '_' || c == '$' {
            let word = self.take_while(|c| c.is_alphanumeric() || c == '_' || c == '$');
            self.push(TokenKind::Word(word), at);
        } else if c.is_ascii_digit() {
            let number = self.number();
            self.push(TokenKind::Number(number), at);
        } else if c == '\'' && is_lifetime(rest) {
            self.bump();
            self.take_while(|c| c.is_alphanumeric() || c == '_');
        } else if c == '"' || c == '\'' {
            self.quoted(c);
        } else {
            self.bump();
            // `#[...]` and `#![...]` are attributes of Rust.
            let attribute = self.rest().starts_with(['[', '!']);
            if c == '#' && self.fresh_line && !attribute {
                self.directive = true;
                self.push(TokenKind::Directive, at);
            } else if !c.is_whitespace() {
                self.push(TokenKind::Punct(c), at);
            }
        }
        true
    }

    /// Takes a text that has letters in front: what they say of its type makes no difference here, but
    /// that a raw text has no escapes and may hold quotes.
    fn prefixed_text(&mut self) -> bool {
        let rest = self.rest();
        let Some(prefix) = PREFIXES.iter().find(|prefix| {
            rest.strip_prefix(**prefix).is_some_and(|text| text.starts_with(['"', '#']))
        }) else {
            return false;
        };
        let body = rest.get(prefix.len()..).unwrap_or_default();
        let marks = body.chars().take_while(|c| *c == '#').count();
        if marks > 0 && (!prefix.ends_with('r') || !body.trim_start_matches('#').starts_with('"')) {
            return false;
        }
        let at = self.position;
        for _ in 0..prefix.len() + marks {
            self.bump();
        }
        if marks == 0 {
            self.quoted('"');
            return true;
        }
        self.bump();
        let start = self.at;
        let close = format!("\"{}", "#".repeat(marks));
        let Some(length) = self.rest().find(&close) else {
            self.lexed.faults.push((at, SourceFaultKind::OpenText));
            while self.bump().is_some() {}
            return true;
        };
        while self.at < start + length + close.len() && self.bump().is_some() {}
        let text = self.text.get(start..start + length).unwrap_or_default();
        self.push(TokenKind::Text(text), at);
        true
    }

    fn number(&mut self) -> &'t str {
        let start = self.at;
        loop {
            self.take_while(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '_'));
            // C++ and C23 put a quote between digits
            let mut next = self.rest().chars();
            let separator =
                next.next() == Some('\'') && next.next().is_some_and(|c| c.is_ascii_hexdigit());
            if !separator {
                return self.text.get(start..self.at).unwrap_or_default();
            }
            self.bump();
        }
    }

    fn comment(&mut self, block: bool) {
        let start = self.at;
        let at = self.position;
        if block {
            self.bump();
            self.bump();
            loop {
                if self.rest().starts_with("*/") {
                    self.bump();
                    self.bump();
                    break;
                }
                if self.bump().is_none() {
                    self.lexed.faults.push((at, SourceFaultKind::OpenComment));
                    break;
                }
            }
        } else {
            while !self.rest().is_empty() && !self.rest().starts_with('\n') {
                let continues =
                    self.rest().starts_with("\\\n") || self.rest().starts_with("\\\r\n");
                self.bump();
                if continues {
                    while self.bump().is_some_and(|c| c != '\n') {}
                }
            }
        }
        self.lexed.comments.push(Comment {
            text: self.text.get(start..self.at).unwrap_or_default(),
            first_line: at.line,
            last_line: self.position.line,
            alone: self.fresh_line,
        });
    }

    /// Takes a text or a character. One that its line does not close is a fault, except that an
    /// apostrophe may be part of an `#error` or of assembly.
    fn quoted(&mut self, quote: char) {
        let at = self.position;
        self.bump();
        let start = self.at;
        loop {
            let end = self.at;
            match self.rest().chars().next() {
                Some(c) if c == quote => {
                    self.bump();
                    let body = self.text.get(start..end).unwrap_or_default();
                    let kind = if quote == '"' {
                        TokenKind::Text(body)
                    } else {
                        TokenKind::Character(body)
                    };
                    return self.push(kind, at);
                }
                None | Some('\n') => {
                    if quote == '"' {
                        self.lexed.faults.push((at, SourceFaultKind::OpenText));
                    }
                    return;
                }
                Some('\\') => {
                    self.bump();
                    // the escaped character, be it a quote or the end of a line
                    if self.rest().starts_with('\r') {
                        self.bump();
                    }
                    self.bump();
                }
                Some(_) => {
                    self.bump();
                }
            }
        }
    }
}

/// Whether a quote begins the name of a lifetime of Rust, and not a character: nothing closes it.
fn is_lifetime(rest: &str) -> bool {
    let mut chars = rest.chars().skip(1);
    let fits = |c: &char| c.is_alphanumeric() || *c == '_';
    let starts = chars.next().is_some_and(|c| c.is_alphabetic() || c == '_');
    starts && chars.find(|c| !fits(c)) != Some('\'')
}

/// What may be in front of a text: its type in Rust (b, r, br, c) and C++ (u8, L, u, U).
const PREFIXES: [&str; 8] = ["br", "b", "r", "cr", "c", "u8", "L", "u"];

#[cfg(test)]
mod tests {
    use super::*;

    fn kinds(text: &str) -> Vec<TokenKind<'_>> {
        lex(text).tokens.into_iter().map(|token| token.kind).collect()
    }

    #[test]
    fn a_directive_ends_with_its_line_unless_that_goes_on() {
        let wanted = [
            TokenKind::Directive,
            TokenKind::Word("define"),
            TokenKind::Word("A"),
            TokenKind::Number("0x1'2u"),
            TokenKind::End,
            TokenKind::Word("b"),
        ];
        assert_eq!(kinds("#define A \\\n 0x1'2u // c\nb"), wanted);
        assert_eq!(kinds("  # define A \\\r\n 0x1'2u /* c\n */\r\nb"), wanted);
    }

    #[test]
    fn what_is_rust_alone_is_told_by_its_shape() {
        let wanted = [
            TokenKind::Word("const"),
            TokenKind::Word("A"),
            TokenKind::Punct(':'),
            TokenKind::Punct('&'),
            TokenKind::Word("str"),
            TokenKind::Punct('='),
            TokenKind::Text("02"),
            TokenKind::Punct(';'),
        ];
        assert_eq!(kinds("const A: &'static str = \"02\";"), wanted);
        assert_eq!(
            kinds("r#\"a\"b\"# b\"\\x70\" 'a' '_'"),
            [
                TokenKind::Text("a\"b"),
                TokenKind::Text("\\x70"),
                TokenKind::Character("a"),
                TokenKind::Character("_")
            ]
        );
        assert!(!kinds("#[cfg(x)] const A").contains(&TokenKind::Directive));
        assert!(kinds("#![no_std]\n#define A").contains(&TokenKind::Directive));
        assert_eq!(lex("r#\"open").faults.len(), 1);
    }

    #[test]
    fn a_quote_within_a_text_is_escaped() {
        assert_eq!(
            kinds(r#""a\"b" 'c' '\''"#),
            [TokenKind::Text(r#"a\"b"#), TokenKind::Character("c"), TokenKind::Character(r"\'")]
        );
    }

    #[test]
    fn what_is_not_closed_is_told_by_its_start() {
        let fault = |text| lex(text).faults;
        let at = |line, column| Position { line, column };
        assert_eq!(fault("a\n \"b\nc"), [(at(2, 2), SourceFaultKind::OpenText)]);
        assert_eq!(fault("/* b\nc"), [(at(1, 1), SourceFaultKind::OpenComment)]);
        assert_eq!(fault("#error don't\n"), []);
    }

    #[test]
    fn a_comment_knows_whether_it_stands_alone() {
        let lexed = lex("// one\nint a; // two\n /* three\n */ int b;");
        let told: Vec<_> =
            lexed.comments.iter().map(|c| (c.first_line, c.last_line, c.alone)).collect();
        assert_eq!(told, [(1, 1, true), (2, 2, false), (3, 4, true)]);
    }
}
