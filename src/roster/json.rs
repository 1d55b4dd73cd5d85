//! JSON with the places of its values, and with what people add to it: comments, a comma at the end.
//!
//! A claim names the line that it was read from, and a configuration of a gateway has comments; the
//! general reader of JSON keeps no places and takes no comments.

use zeroize::Zeroizing;

use super::error::Position;

/// A value and where it starts.
#[derive(Clone, Debug)]
pub(super) struct Json {
    pub(super) at: Position,
    pub(super) value: JsonValue,
}

/// A value. Texts and numbers are wiped when dropped: they may be keys.
#[derive(Clone, Debug)]
pub(super) enum JsonValue {
    Null,
    Bool(bool),
    /// As written.
    Number(Zeroizing<String>),
    Text(Zeroizing<String>),
    List(Vec<Json>),
    /// In the order written; a name may be there twice.
    Object(Vec<(String, Json)>),
}

impl Json {
    /// Returns the members, if this is an object.
    pub(super) fn members(&self) -> &[(String, Self)] {
        match &self.value {
            JsonValue::Object(members) => members,
            _ => &[],
        }
    }

    /// Returns the elements, if this is a list.
    pub(super) fn elements(&self) -> &[Self] {
        match &self.value {
            JsonValue::List(elements) => elements,
            _ => &[],
        }
    }
}

/// What is no JSON, and where. Never holds a part of the text.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{at}: {wanted}")]
pub(super) struct JsonError {
    pub(super) at: Position,
    pub(super) wanted: &'static str,
}

/// Reads a text with one value in it.
pub(super) fn parse(text: &str) -> Result<Json, JsonError> {
    let mut reader = NestedReader::new(text);
    reader.blank()?;
    let value = reader.value(0)?;
    reader.blank()?;
    match reader.peek() {
        None => Ok(value),
        Some(_) => Err(reader.wants("only comments expected after the value")),
    }
}

/// Reads a text with any number of values in it, one after the other.
pub(super) fn parse_all(text: &str) -> (Vec<Json>, Option<JsonError>) {
    let mut reader = NestedReader::new(text);
    let mut values = Vec::new();
    loop {
        if let Err(error) = reader.blank() {
            return (values, Some(error));
        }
        match reader.peek() {
            None => return (values, None),
            // A list without its brackets.
            Some(',') => reader.step(),
            Some(_) => match reader.value(0) {
                Ok(value) => values.push(value),
                Err(error) => return (values, Some(error)),
            },
        }
    }
}

struct NestedReader<'t> {
    rest: &'t str,
    at: Position,
}

impl<'t> NestedReader<'t> {
    fn new(text: &'t str) -> Self {
        // Some editors put a mark in front.
        let rest = text.strip_prefix('\u{feff}').unwrap_or(text);
        Self { rest, at: Position { line: 1, column: 1 } }
    }

    fn peek(&self) -> Option<char> {
        self.rest.chars().next()
    }

    fn step(&mut self) {
        let mut chars = self.rest.chars();
        match chars.next() {
            Some('\n') => self.at = Position { line: self.at.line + 1, column: 1 },
            Some(_) => self.at.column += 1,
            None => {}
        }
        self.rest = chars.as_str();
    }

    fn take(&mut self, c: char) -> bool {
        let found = self.peek() == Some(c);
        if found {
            self.step();
        }
        found
    }

    const fn wants(&self, wanted: &'static str) -> JsonError {
        JsonError { at: self.at, wanted }
    }

    /// Passes white space and comments.
    fn blank(&mut self) -> Result<(), JsonError> {
        loop {
            if self.rest.starts_with("//") {
                while self.peek().is_some_and(|c| c != '\n') {
                    self.step();
                }
            } else if self.rest.starts_with("/*") {
                let open = self.wants("the comment that starts here has no end");
                self.step();
                self.step();
                while !self.rest.starts_with("*/") {
                    if self.peek().is_none() {
                        return Err(open);
                    }
                    self.step();
                }
                self.step();
                self.step();
            } else if self.peek().is_some_and(char::is_whitespace) {
                self.step();
            } else {
                return Ok(());
            }
        }
    }

    fn value(&mut self, depth: usize) -> Result<Json, JsonError> {
        if depth > DEEPEST {
            return Err(self.wants("nested too deeply"));
        }
        let at = self.at;
        let value = match self.peek() {
            Some('{') => self.object(depth)?,
            Some('[') => self.list(depth)?,
            Some('"') => JsonValue::Text(self.text()?),
            Some(c) if c == '-' || c.is_ascii_digit() => {
                JsonValue::Number(Zeroizing::new(self.word().to_owned()))
            }
            _ => {
                let word =
                    self.wants("a value expected: text in quotes, number, true, false, null");
                match self.word() {
                    "true" => JsonValue::Bool(true),
                    "false" => JsonValue::Bool(false),
                    "null" => JsonValue::Null,
                    _ => return Err(word),
                }
            }
        };
        Ok(Json { at, value })
    }

    /// Takes letters, digits and what a number may have among them.
    fn word(&mut self) -> &'t str {
        let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '+' | '.');
        let length = self.rest.find(|c| !fits(c)).unwrap_or(self.rest.len());
        let (word, rest) = self.rest.split_at_checked(length).unwrap_or(("", self.rest));
        self.rest = rest;
        self.at.column += length;
        word
    }

    fn object(&mut self, depth: usize) -> Result<JsonValue, JsonError> {
        let open = self.wants("the brace that opens here is never closed");
        self.step();
        let mut members = Vec::new();
        loop {
            self.blank()?;
            if self.take('}') {
                return Ok(JsonValue::Object(members));
            }
            match self.peek() {
                Some('"') => {}
                None => return Err(open),
                Some(_) => return Err(self.wants("a member's name in quotes expected")),
            }
            let name = self.text()?;
            self.blank()?;
            if !self.take(':') {
                return Err(self.wants("a colon expected after the member's name"));
            }
            self.blank()?;
            members.push((name.as_str().to_owned(), self.value(depth + 1)?));
            self.blank()?;
            if !self.take(',') && !matches!(self.peek(), None | Some('}')) {
                return Err(self.wants("a comma or a closing brace expected"));
            }
        }
    }

    fn list(&mut self, depth: usize) -> Result<JsonValue, JsonError> {
        let open = self.wants("the bracket that opens here is never closed");
        self.step();
        let mut elements = Vec::new();
        loop {
            self.blank()?;
            if self.take(']') {
                return Ok(JsonValue::List(elements));
            }
            if self.peek().is_none() {
                return Err(open);
            }
            elements.push(self.value(depth + 1)?);
            self.blank()?;
            if !self.take(',') && !matches!(self.peek(), None | Some(']')) {
                return Err(self.wants("a comma or a closing bracket expected"));
            }
        }
    }

    fn text(&mut self) -> Result<Zeroizing<String>, JsonError> {
        let open = self.wants("the text that starts here has no end on its line");
        self.step();
        let mut text = Zeroizing::new(String::new());
        loop {
            let Some(c) = self.peek().filter(|c| *c != '\n') else { return Err(open) };
            match c {
                '"' => {
                    self.step();
                    return Ok(text);
                }
                '\\' => text.push(self.escape()?),
                _ => {
                    text.push(c);
                    self.step();
                }
            }
        }
    }

    fn escape(&mut self) -> Result<char, JsonError> {
        let wrong = self.wants("no escape of JSON");
        self.step();
        let c = self.peek().ok_or(wrong)?;
        self.step();
        Ok(match c {
            '"' | '\\' | '/' => c,
            'b' => '\u{8}',
            'f' => '\u{c}',
            'n' => '\n',
            'r' => '\r',
            't' => '\t',
            'u' => {
                let first = self.four_digits().ok_or(wrong)?;
                let code = match first {
                    0xD800..0xDC00 => {
                        let second =
                            (self.take('\\') && self.take('u')).then(|| self.four_digits());
                        let second =
                            second.flatten().filter(|code| (0xDC00..0xE000).contains(code));
                        0x1_0000 + ((first - 0xD800) << 10) + (second.ok_or(wrong)? - 0xDC00)
                    }
                    _ => first,
                };
                char::from_u32(code).ok_or(wrong)?
            }
            _ => return Err(wrong),
        })
    }

    fn four_digits(&mut self) -> Option<u32> {
        let (digits, rest) = self.rest.split_at_checked(4)?;
        let code = u32::from_str_radix(digits, 16).ok()?;
        self.rest = rest;
        self.at.column += 4;
        Some(code)
    }
}

/// Objects and lists within one another: configurations and exports have a handful.
const DEEPEST: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

    fn error(text: &str) -> String {
        parse(text).unwrap_err().to_string()
    }

    #[test]
    fn comments_and_a_last_comma_are_passed() {
        let json =
            parse("/* a */ { // b\n \"c\": [1, -2.5e3, /* d */ true,], \"e\": \"\\u0041\\n\", }")
                .unwrap();
        let [(c, list), (e, text)] = json.members() else { panic!("{json:?}") };
        assert_eq!((c.as_str(), e.as_str()), ("c", "e"));
        assert_eq!(list.elements().len(), 3);
        assert_eq!(list.at, Position { line: 2, column: 7 });
        assert!(matches!(&text.value, JsonValue::Text(text) if text.as_str() == "A\n"));
    }

    #[test]
    fn an_error_says_where_and_what_was_expected() {
        for (text, wanted) in [
            ("{\n \"a\" 1}", "2:6: a colon expected after the member's name"),
            ("{\"a\": 1", "1:1: the brace that opens here is never closed"),
            ("[1 2]", "1:4: a comma or a closing bracket expected"),
            ("{\"a\": \"b\n\"}", "1:7: the text that starts here has no end on its line"),
            ("{\"a\": /* b", "1:7: the comment that starts here has no end"),
            ("{a: 1}", "1:2: a member's name in quotes expected"),
            ("yes", "1:1: a value expected: text in quotes, number, true, false, null"),
            ("\"\\ud800\"", "1:2: no escape of JSON"),
            ("1 2", "1:3: only comments expected after the value"),
        ] {
            assert_eq!(error(text), wanted, "{text}");
        }
    }

    #[test]
    fn values_one_after_the_other_are_all_read() {
        let (values, error) = parse_all("{\"a\":1}\n{\"a\":2},\n{\"a\":");
        assert_eq!((values.len(), error.map(|error| error.at.line)), (2, Some(3)));
        assert!(matches!(values[1].members(), [(name, _)] if name == "a"));
    }

    #[test]
    fn depth_is_bounded() {
        assert!(error(&"[".repeat(100_000)).contains("nested too deeply"));
    }
}
