//! Lines of up to 80 columns.

use std::fmt::{self, Write};

/// A text in sections, fields and tables.
pub(super) struct Page<'a> {
    out: &'a mut dyn Write,
    label: String,
}

impl<'a> Page<'a> {
    pub(super) fn new(out: &'a mut dyn Write) -> Self {
        Self { out, label: String::new() }
    }

    pub(super) fn line(&mut self, text: &str) -> fmt::Result {
        self.wrapped("", "", text)
    }

    pub(super) fn blank(&mut self) -> fmt::Result {
        self.out.write_char('\n')
    }

    pub(super) fn section(&mut self, title: &str) -> fmt::Result {
        self.label.clear();
        self.blank()?;
        self.wrapped("", "  ", title)
    }

    /// A label and what it stands for; a label that is repeated is not printed again.
    pub(super) fn field(&mut self, label: &str, text: &str) -> fmt::Result {
        let shown = if label == self.label { "" } else { label };
        let first = format!("  {shown:<13} ");
        if !label.is_empty() {
            label.clone_into(&mut self.label);
        }
        self.wrapped(&first, &" ".repeat(16), text)
    }

    /// A line of a table.
    pub(super) fn row(&mut self, text: &str) -> fmt::Result {
        writeln!(self.out, "  {}", text.trim_end())
    }

    pub(super) fn paragraph(&mut self, text: &str) -> fmt::Result {
        self.wrapped("  ", "    ", text)
    }

    pub(super) fn indented(&mut self, text: &str) -> fmt::Result {
        self.wrapped("    ", "    ", text)
    }

    fn wrapped(&mut self, first: &str, hanging: &str, text: &str) -> fmt::Result {
        let mut line = first.to_owned();
        let mut empty = true;
        for word in text.split(' ') {
            let room = line.chars().count() + word.chars().count() + usize::from(!empty);
            if !empty && room > COLUMNS {
                writeln!(self.out, "{}", line.trim_end())?;
                hanging.clone_into(&mut line);
                empty = true;
            }
            if !empty {
                line.push(' ');
            }
            line.push_str(word);
            empty = false;
        }
        writeln!(self.out, "{}", line.trim_end())
    }
}

const COLUMNS: usize = 80;
