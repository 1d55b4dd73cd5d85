//! Screens: reports become text, JSON, Markdown or a page. No decisions, clock, terminal or printing in here.
//!
//! Every renderer takes a report and a [`std::fmt::Write`]; width and colour are
//! arguments. `text` and `json` do not know each other, and JSON has types of its own, so that a
//! field renamed in the library cannot change what scripts rely on.

pub mod airtime;
pub mod beacon;
pub mod compare;
pub mod csv;
pub mod explain;
mod fact;
pub(crate) mod headline;
#[cfg(feature = "page")]
pub mod html;
pub mod id;
pub mod json;
pub mod lesson;
#[cfg(feature = "live")]
pub mod live;
#[cfg(feature = "page")]
pub mod markdown;
pub mod plan;
pub mod summary;
pub mod text;

mod input;

pub use crate::fact::Secrets;
pub use input::{Input, Radio};

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
