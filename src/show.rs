//! Screens: reports become text or JSON. No decisions, clock, terminal or printing in here.
//!
//! Every renderer takes a report and a [`fmt::Write`]; width and colour are
//! arguments. `text` and `json` do not know each other, and JSON has types of its own, so that a
//! field renamed in the library cannot change what scripts rely on.

pub mod airtime;
pub mod explain;
pub mod id;
pub mod json;
pub mod plan;
pub mod text;

use std::fmt;

/// Where a frame was found, as a report names it.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Input<'a> {
    /// The name of the input: `argument`, `stdin`, a file.
    pub name: &'a str,
    /// The place of the frame in that input, from 0.
    pub index: usize,
}

impl fmt::Display for Input<'_> {
    /// Prints `argument 1`, `trace.txt, frame 1`: people count from 1.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let between = if self.name == "argument" { " " } else { ", frame " };
        write!(f, "{}{between}{}", self.name, self.index + 1)
    }
}

/// How text is laid out.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Style {
    /// Columns.
    pub width: usize,
    /// Whether to paint. Nothing is told by colour alone.
    pub colour: bool,
}

impl Style {
    /// Text without colour, 80 columns wide.
    pub const PLAIN: Self = Self { width: 80, colour: false };
}
