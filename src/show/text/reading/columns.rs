//! The rows of a frame in columns.
//!
//! | columns | octets from the start | octets as sent, or bits | field | value, meaning, place in the standard |
//!
//! The rows are made first and laid out afterwards, so that every column is as wide as this frame
//! needs and no wider.

use std::{fmt, ops::Range};

use crate::{
    octet_rows::{Item, Row, Shown, State},
    show::{
        Style,
        text::{Tone, paragraph, spaced, wrap},
    },
};

/// Octets in one line of a row.
const OCTETS_A_LINE: usize = 8;

const AT: &str = "byte";
const SENT: &str = "as sent";
const NAME: &str = "field";
const TEXT: &str = "what it says [TS001-1.0.4; 1.1]";
/// Beside octets that are counted in tens of thousands.
const SHORT_TEXT: &str = "what it says";

/// Writes the rows under a line that names the columns.
pub(super) fn write(out: &mut dyn fmt::Write, items: &[Item], style: Style) -> fmt::Result {
    let rows =
        || items.iter().filter_map(|item| if let Item::Row(row) = item { Some(row) } else { None });
    if rows().next().is_none() {
        return Ok(());
    }
    let columns = Columns::of(rows, style);
    columns.head(out)?;
    for item in items {
        match item {
            Item::Row(row) => columns.row(out, row)?,
            Item::Words(words) => paragraph(out, style, "  ", Tone::Plain, words)?,
        }
    }
    Ok(())
}

fn range(at: &Range<usize>) -> String {
    let last = at.end.saturating_sub(1);
    if last <= at.start { at.start.to_string() } else { format!("{}-{last}", at.start) }
}

/// The lines of octets or bits; `place` is the width of what names the bits.
fn shown(row: &Row, place: usize) -> Vec<String> {
    match &row.shown {
        Shown::Octets(octets) => octets.chunks(OCTETS_A_LINE).map(spaced).collect(),
        Shown::Bits(runs) => {
            runs.iter().map(|bits| format!("{:place$}  {}", bits.place(), bits.digits())).collect()
        }
    }
}

fn widest_place(row: &Row) -> usize {
    let Shown::Bits(runs) = &row.shown else { return 0 };
    runs.iter().map(|bits| bits.place().len()).max().unwrap_or_default()
}

const fn tone(state: State) -> Tone {
    match state {
        State::Plain => Tone::Plain,
        State::Good => Tone::Good,
        State::Bad => Tone::Bad,
        State::Open => Tone::Open,
    }
}

struct Columns {
    style: Style,
    at: usize,
    /// What names the bits, in the column of octets.
    place: usize,
    shown: usize,
    name: usize,
    text: usize,
}

impl Columns {
    fn of<'a, I: Iterator<Item = &'a Row>>(rows: impl Fn() -> I, style: Style) -> Self {
        let widest = |of: fn(&Row) -> usize| rows().map(of).max().unwrap_or_default();
        let place = widest(widest_place);
        let at = widest(|row| row.at.as_ref().map_or(0, |at| range(at).len())).max(AT.len());
        let shown = rows().flat_map(|row| shown(row, place)).map(|line| line.len()).max();
        let shown = shown.unwrap_or_default().max(SENT.len());
        let name = widest(|row| row.name.len()).max(NAME.len());
        let text = style.width.saturating_sub(1 + at + 2 + shown + 2 + name + 2);
        Self { style, at, place, shown, name, text }
    }

    fn left(&self, at: &str, shown: &str, name: &str) -> String {
        let (w0, w1, w2) = (self.at, self.shown, self.name);
        format!(" {at:>w0$}  {shown:w1$}  {name:w2$}  ")
    }

    fn head(&self, out: &mut dyn fmt::Write) -> fmt::Result {
        let left = self.left(AT, SENT, NAME);
        let text = if TEXT.len() <= self.text { TEXT } else { SHORT_TEXT };
        writeln!(out, "{}", self.style.paint(Tone::Quiet, &format!("{left}{text}")))
    }

    fn row(&self, out: &mut dyn fmt::Write, row: &Row) -> fmt::Result {
        let shown = shown(row, self.place);
        let texts = self.texts(row);
        let at = row.at.as_ref().map(range).unwrap_or_default();
        for i in 0..shown.len().max(texts.len()).max(1) {
            let (at, name) = if i == 0 { (at.as_str(), row.name.as_str()) } else { ("", "") };
            let left = self.left(at, shown.get(i).map_or("", String::as_str), name);
            match texts.get(i) {
                Some(text) => writeln!(out, "{left}{text}")?,
                None => writeln!(out, "{}", left.trim_end())?,
            }
        }
        Ok(())
    }

    /// Value, note and source in one line as far as they fit, the rest below.
    fn texts(&self, row: &Row) -> Vec<String> {
        let source =
            if row.source.is_empty() { String::new() } else { format!("[{}]", row.source) };
        let pieces =
            [(tone(row.state), &row.value), (Tone::Quiet, &row.note), (Tone::Quiet, &source)];
        let mut lines = Vec::new();
        let mut line = String::new();
        let mut used = 0;
        for (tone, piece) in pieces.into_iter().filter(|(_, piece)| !piece.is_empty()) {
            let width = piece.chars().count();
            if used > 0 && used + 2 + width <= self.text {
                line.push_str("  ");
                line.push_str(&self.style.paint(tone, piece));
                used += 2 + width;
                continue;
            }
            if used > 0 {
                lines.push(std::mem::take(&mut line));
            }
            let mut wrapped = wrap(piece, self.text);
            let last = wrapped.pop().unwrap_or_default();
            lines.extend(wrapped.iter().map(|part| self.style.paint(tone, part).into_owned()));
            used = last.chars().count();
            line = self.style.paint(tone, &last).into_owned();
        }
        if used > 0 {
            lines.push(line);
        }
        lines
    }
}
