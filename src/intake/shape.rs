//! The shape of JSON over several lines: where it ends, and whether it can still be JSON at all.
//!
//! One pass, a few octets of memory a level. What is within it is read by others.

/// What has been read so far is.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Step {
    /// The beginning of JSON.
    Open,
    /// JSON, with so many octets of the last line.
    Closed(usize),
    /// No JSON, whatever comes.
    Bad,
}

/// JSON up to here.
#[derive(Debug)]
pub(super) struct Shape {
    /// The objects and lists that are open: whether it is an object.
    open: Vec<bool>,
    want: Want,
    within: Within,
    /// Line ends within one string: a mail breaks lines, and then a few of them.
    breaks: u8,
}

#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Want {
    Value,
    /// A value, or the end of a list.
    Element,
    /// A name, or the end of an object.
    FirstName,
    Name,
    Colon,
    /// A comma, or the end.
    After,
}

#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Within {
    Nothing,
    String { name: bool, escaped: bool },
    Word,
}

impl Shape {
    pub(super) const fn new() -> Self {
        Self { open: Vec::new(), want: Want::Value, within: Within::Nothing, breaks: 0 }
    }

    /// Returns whether a string goes on in the next line.
    pub(super) const fn is_in_string(&self) -> bool {
        matches!(self.within, Within::String { .. })
    }

    /// Reads one line.
    pub(super) fn line(&mut self, text: &str) -> Step {
        for (at, c) in text.char_indices() {
            match self.character(c) {
                Step::Closed(_) => return Step::Closed(at + c.len_utf8()),
                Step::Bad => return Step::Bad,
                Step::Open => {}
            }
        }
        if self.is_in_string() {
            self.breaks += 1;
            if self.breaks > MOST_BREAKS {
                return Step::Bad;
            }
        } else {
            let _ = self.character(' ');
        }
        Step::Open
    }

    fn character(&mut self, c: char) -> Step {
        if let Within::String { name, escaped } = self.within {
            self.within = match c {
                _ if escaped => Within::String { name, escaped: false },
                '\\' => Within::String { name, escaped: true },
                '"' => {
                    self.breaks = 0;
                    self.want = if name { Want::Colon } else { Want::After };
                    Within::Nothing
                }
                _ => return Step::Open,
            };
            return Step::Open;
        }
        if self.within == Within::Word {
            if c.is_ascii_alphanumeric() || matches!(c, '+' | '-' | '.') {
                return Step::Open;
            }
            (self.within, self.want) = (Within::Nothing, Want::After);
        }
        let top = self.open.last().copied();
        match (self.want, c) {
            (_, c) if c.is_whitespace() => {}
            (Want::Value | Want::Element, '{' | '[') if self.open.len() < DEEPEST => {
                self.open.push(c == '{');
                self.want = if c == '{' { Want::FirstName } else { Want::Element };
            }
            (Want::Value | Want::Element, '"') => {
                self.within = Within::String { name: false, escaped: false };
            }
            (Want::Value | Want::Element, '-' | '0'..='9' | 't' | 'f' | 'n') => {
                self.within = Within::Word;
            }
            (Want::FirstName | Want::Name, '"') => {
                self.within = Within::String { name: true, escaped: false };
            }
            (Want::Colon, ':') => self.want = Want::Value,
            (Want::After, ',') => {
                self.want = if top == Some(true) { Want::Name } else { Want::Value };
            }
            (Want::After | Want::FirstName, '}') if top == Some(true) => return self.close(),
            (Want::After | Want::Element, ']') if top == Some(false) => return self.close(),
            _ => return Step::Bad,
        }
        Step::Open
    }

    fn close(&mut self) -> Step {
        self.open.pop();
        self.want = Want::After;
        if self.open.is_empty() { Step::Closed(0) } else { Step::Open }
    }
}

/// Returns where JSON begins that goes on after the line, and its shape so far.
pub(super) fn begins(text: &str) -> Option<(usize, Shape)> {
    let mut from = 0;
    for _ in 0..MOST_BEGINNINGS {
        let at = from + text.get(from..)?.find(['{', '['])?;
        let rest = text.get(at..)?;
        let inner = rest.get(1..)?.trim_start();
        from = at + 1;
        let may = if rest.starts_with('{') {
            inner.is_empty() || inner.starts_with('"')
        } else {
            inner.starts_with('{')
        };
        if !may {
            continue;
        }
        let mut shape = Shape::new();
        match shape.line(rest) {
            Step::Open => return Some((at, shape)),
            Step::Closed(len) => from = at + len,
            Step::Bad => {}
        }
    }
    None
}

/// Deeper is nobody's message.
const DEEPEST: usize = 64;
/// Lines over which one string goes.
const MOST_BREAKS: u8 = 4;
/// Places in a line at which JSON may begin.
const MOST_BEGINNINGS: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Step {
        let mut shape = Shape::new();
        text.lines()
            .map(|line| shape.line(line))
            .find(|step| *step != Step::Open)
            .unwrap_or(Step::Open)
    }

    #[test]
    fn json_ends_where_it_ends() {
        assert_eq!(
            read("{\n \"a\": [1, -2.5e3, true,\n null, {}],\n \"b\": \"}\\\"\"\n}, x"),
            Step::Closed(1)
        );
        assert_eq!(read("[{\"a\":{}}\n,{\"b\":[]}\n]"), Step::Closed(1));
        // A mail broke the line within a string.
        assert_eq!(read("{\"da\nta\":\"QN\nq7\"}"), Step::Closed(4));
    }

    #[test]
    fn what_is_no_json_is_told_at_once() {
        for text in [
            "{ 0x40, 0x71,",
            "{\"a\":5,\n{\"b\":6}",
            "{\"a\":5,\nMar 2 08:00:00 shed",
            "{\"a\":nothing here",
            "{\"a\" 5}",
            "{\"a\":[1}",
            "[{},]x",
            "{\"a\":\"\n\n\n\n\n\"}",
        ] {
            assert_eq!(read(text), Step::Bad, "{text}");
        }
        assert_eq!(read(&"[".repeat(1_000)), Step::Bad);
        assert_eq!(read("{\"a\":[1,"), Step::Open);
    }

    #[test]
    fn it_begins_behind_words() {
        assert_eq!(begins("up {\"rxpk\":[").map(|(at, _)| at), Some(3));
        assert_eq!(begins("phy[22] = {").map(|(at, _)| at), Some(10));
        assert_eq!(begins("{\"a\":1} and {\"b\":").map(|(at, _)| at), Some(12));
        for text in ["", "{\"a\":1}", "[7] x {} y", "{ 0x40, 0x71,", "[40, da,", "a {b"] {
            assert!(begins(text).is_none(), "{text}");
        }
    }
}
