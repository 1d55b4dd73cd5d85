//! Lines and fields of a table (RFC 4180, with other separators).

use zeroize::Zeroizing;

use super::{TableFault, TableFaultKind, whole};

/// A line: where it starts, and its fields.
#[derive(Debug)]
pub(super) struct Line {
    pub(super) line: usize,
    pub(super) fields: Vec<Zeroizing<String>>,
}

/// The lines of a text; a quoted field may go over several.
pub(super) struct Lines<'t> {
    rest: &'t str,
    line: usize,
    separator: char,
}

impl<'t> Lines<'t> {
    pub(super) fn of(text: &'t str) -> Self {
        Self { rest: text, line: 1, separator: separator(text) }
    }

    /// Returns the next line that is whole and not empty; faults of those before it are noted.
    pub(super) fn next_whole(&mut self, faults: &mut Vec<TableFault>) -> Option<Line> {
        while !self.rest.is_empty() {
            let start = self.line;
            match self.take_line() {
                Ok(fields) if fields.iter().all(|field| field.trim().is_empty()) => {}
                Ok(fields) => return Some(Line { line: start, fields }),
                Err(kind) => {
                    faults.push(TableFault { line: start, ..whole(kind) });
                    if faults.len() >= super::MOST_FAULTS {
                        return None;
                    }
                }
            }
        }
        None
    }

    fn take_line(&mut self) -> Result<Vec<Zeroizing<String>>, TableFaultKind> {
        let mut fields = Vec::new();
        loop {
            let quoted = self.rest.starts_with('"');
            let field = if quoted { self.quoted()? } else { self.plain() };
            fields.push(field);
            if let Some(rest) = self.rest.strip_prefix(self.separator) {
                self.rest = rest;
                continue;
            }
            let clean = self.rest.is_empty() || self.rest.starts_with(['\r', '\n']);
            self.end_line();
            return if clean {
                Ok(fields)
            } else {
                Err(TableFaultKind::BehindQuote { field: fields.len() })
            };
        }
    }

    fn plain(&mut self) -> Zeroizing<String> {
        let end = self.rest.find([self.separator, '\n']).unwrap_or(self.rest.len());
        let (field, rest) = self.rest.split_at_checked(end).unwrap_or((self.rest, ""));
        self.rest = rest;
        Zeroizing::new(field.trim_end_matches('\r').to_owned())
    }

    fn quoted(&mut self) -> Result<Zeroizing<String>, TableFaultKind> {
        self.rest = self.rest.strip_prefix('"').unwrap_or(self.rest);
        let mut field = Zeroizing::new(String::new());
        loop {
            let Some((part, rest)) = self.rest.split_once('"') else {
                // the rest of the text is one open field: nothing in it is sure
                self.rest = "";
                return Err(TableFaultKind::OpenQuote);
            };
            field.push_str(part);
            self.line += part.matches('\n').count();
            self.rest = rest;
            let Some(rest) = rest.strip_prefix('"') else { return Ok(field) };
            field.push('"');
            self.rest = rest;
        }
    }

    fn end_line(&mut self) {
        self.rest = self.rest.split_once('\n').map_or("", |(_, rest)| rest);
        self.line += 1;
    }
}

/// Returns the separator that the first line has most of, outside quotes; a comma where none.
fn separator(text: &str) -> char {
    let mut counts = [(',', 0usize), (';', 0), ('\t', 0)];
    let mut quoted = false;
    let first = text.trim_start_matches(['\r', '\n']).lines().next().unwrap_or_default();
    for c in first.chars() {
        quoted ^= c == '"';
        for (separator, count) in &mut counts {
            *count += usize::from(!quoted && c == *separator);
        }
    }
    let mut best = (',', 0);
    for count in counts {
        if count.1 > best.1 {
            best = count;
        }
    }
    best.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str) -> (Vec<(usize, Vec<String>)>, Vec<TableFaultKind>) {
        let mut all = Lines::of(text);
        let (mut found, mut faults) = (Vec::new(), Vec::new());
        while let Some(line) = all.next_whole(&mut faults) {
            let fields = line.fields.iter().map(|field| field.to_string()).collect();
            found.push((line.line, fields));
        }
        (found, faults.into_iter().map(|fault| fault.kind).collect())
    }

    #[test]
    fn quotes_keep_separators_quotes_and_lines() {
        let (found, faults) = lines("a,\"b,\"\"c\"\"\nd\",e\r\n\r\nf,,\"\"\n");
        let row = |fields: [&str; 3]| fields.map(str::to_owned).to_vec();
        assert_eq!(found, [(1, row(["a", "b,\"c\"\nd", "e"])), (4, row(["f", "", ""]))]);
        assert_eq!(faults, []);
    }

    #[test]
    fn the_separator_is_the_one_the_header_has() {
        for text in ["a,b\n1,2", "a;b\n1;2", "a\tb\n1\t2", "\"a,,,\";b\n\"1\";2"] {
            assert!(lines(text).0.iter().all(|(_, fields)| fields.len() == 2), "{text}");
        }
        assert_eq!(separator("alone"), ',');
    }

    #[test]
    fn damage_is_told_by_its_line_and_the_rest_is_whole() {
        let (found, faults) = lines("a,b\n\"1\"x,2\n3,4\n5,\"6\n7,8\n");
        assert_eq!(found.len(), 2);
        assert_eq!(faults, [TableFaultKind::BehindQuote { field: 1 }, TableFaultKind::OpenQuote]);
    }
}
