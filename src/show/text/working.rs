//! `--working`: each computation step by step, regular enough to be read back.
//!
//! ```text
//!   name  = what is done           name  = octets that are given
//!     part    octets  what it is
//!         = octets
//!         (what it is)
//! ```

use std::fmt;

use super::{Tone, paragraph, spaced, wrap};
use crate::{
    show::{Secrets, Style},
    working::{Op, Part, Sheet, Step},
};

/// Octets in one line: a block.
const OCTETS_A_LINE: usize = 16;

/// What the signs mean, once under all sheets.
const SIGNS: &str = "AES(K, b): the block b encrypted under the key K (FIPS 197). a | b: a, then \
     b. a xor b: bit by bit, as long as the shorter one. double(a): a shifted left by one bit; if a \
     1 fell out, the last byte xor 87. pad(a): a, then 80, then zeros, to 16 bytes. a[i..j]: \
     bytes i to j of a, counted from 0.";

/// Writes sheets of working, with keys or without.
///
/// # Errors
/// When the writer fails.
pub fn working(
    out: &mut dyn fmt::Write,
    sheets: &[Sheet],
    secrets: Secrets,
    style: Style,
) -> fmt::Result {
    for sheet in sheets {
        writeln!(out)?;
        paragraph(out, style, "Working: ", Tone::Title, &sheet.title)?;
        let columns = Columns::of(sheet, secrets, style);
        for step in &sheet.steps {
            columns.step(out, step)?;
        }
        paragraph(out, style, "  ", Tone::Plain, &sheet.end)?;
    }
    if !sheets.is_empty() {
        writeln!(out)?;
        paragraph(out, style, "  Signs: ", Tone::Quiet, SIGNS)?;
    }
    Ok(())
}

struct Columns {
    name: usize,
    secrets: Secrets,
    style: Style,
}

impl Columns {
    fn of(sheet: &Sheet, secrets: Secrets, style: Style) -> Self {
        let part = |part: &Part| part.name.len() + 2;
        let widest = |step: &Step| match &step.op {
            Op::Join(parts) => parts.iter().map(part).max().unwrap_or_default(),
            _ => 0,
        };
        let name = sheet.steps.iter().map(|step| step.name.len().max(widest(step))).max();
        Self { name: name.unwrap_or_default(), secrets, style }
    }

    /// Columns before octets.
    const fn indent(&self) -> usize {
        2 + self.name + 3
    }

    fn step(&self, out: &mut dyn fmt::Write, step: &Step) -> fmt::Result {
        let (name, width) = (&step.name, self.name);
        let output = if step.secret && self.secrets == Secrets::Hidden {
            vec!["(hidden)".to_owned()]
        } else {
            lines(step.output.revealed())
        };
        let named = self.style.paint(Tone::Title, name);
        let gap = width - name.len();
        if step.op == Op::Given {
            self.head(out, &format!("  {named}{:gap$} = ", ""), &output)?;
        } else {
            let formula = formula(&step.op, self.style.width.saturating_sub(self.indent()));
            self.head(out, &format!("  {named}{:gap$} = ", ""), &formula)?;
            if let Op::Join(parts) = &step.op {
                for part in parts {
                    self.part(out, part)?;
                }
            }
            self.head(out, &format!("  {:width$} = ", ""), &output)?;
        }
        self.note(out, &step.note)
    }

    fn head(&self, out: &mut dyn fmt::Write, first: &str, lines: &[String]) -> fmt::Result {
        for (i, line) in lines.iter().enumerate() {
            if i == 0 {
                writeln!(out, "{first}{line}")?;
            } else {
                writeln!(out, "{:w$}{line}", "", w = self.indent())?;
            }
        }
        Ok(())
    }

    fn part(&self, out: &mut dyn fmt::Write, part: &Part) -> fmt::Result {
        let mut octets = lines(&part.octets);
        let last = octets.last_mut();
        let room = self.style.width.saturating_sub(self.indent());
        let mut below = String::new();
        if let Some(last) = last.filter(|_| !part.note.is_empty()) {
            if last.len() + 2 + part.note.chars().count() <= room {
                last.push_str("  ");
                last.push_str(&self.style.paint(Tone::Quiet, &part.note));
            } else {
                below.clone_from(&part.note);
            }
        }
        let first = format!("    {:w$}   ", part.name, w = self.name.saturating_sub(2));
        self.head(out, &first, &octets)?;
        self.note(out, &below)
    }

    fn note(&self, out: &mut dyn fmt::Write, note: &str) -> fmt::Result {
        if note.is_empty() {
            return Ok(());
        }
        for line in wrap(&format!("({note})"), self.style.width.saturating_sub(self.indent())) {
            let line = self.style.paint(Tone::Quiet, &line);
            writeln!(out, "{:w$}{line}", "", w = self.indent())?;
        }
        Ok(())
    }
}

fn lines(octets: &[u8]) -> Vec<String> {
    if octets.is_empty() {
        return vec!["(nothing)".to_owned()];
    }
    octets.chunks(OCTETS_A_LINE).map(spaced).collect()
}

/// A formula, broken in front of the sign that joins.
fn formula(op: &Op, width: usize) -> Vec<String> {
    let whole = op.formula();
    let mut lines = Vec::new();
    let mut line = String::new();
    for (i, piece) in whole.split(" | ").enumerate() {
        let piece = if i == 0 { piece.to_owned() } else { format!("| {piece}") };
        if !line.is_empty() && line.len() + 1 + piece.len() > width {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(&piece);
    }
    lines.push(line);
    lines
}
