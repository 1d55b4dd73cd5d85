//! How far a long capture is read: on standard error, and only where that is a terminal.

use std::{
    io::{self, IsTerminal},
    time::{Duration, Instant},
};

use indicatif::{ProgressBar, ProgressStyle};

use super::feed::Feed;

/// Items between two looks at the clock.
const STRIDE: u64 = 1_024;
/// What is read sooner needs no bar.
const PATIENCE: Duration = Duration::from_millis(700);

/// A bar with rate and remaining time.
pub(super) struct Progress {
    octets: Option<u64>,
    begun: Instant,
    items: u64,
    bar: Option<ProgressBar>,
    shown: bool,
}

impl Progress {
    /// Returns a bar that is not shown yet; `bytes` is how many there are to read, where known.
    pub(super) fn new(octets: Option<u64>) -> Self {
        let shown = io::stderr().is_terminal();
        Self { octets, begun: Instant::now(), items: 0, bar: None, shown }
    }

    /// Counts an item.
    pub(super) fn step(&mut self, feed: &Feed) {
        self.items += 1;
        if !self.shown || !self.items.is_multiple_of(STRIDE) || self.begun.elapsed() < PATIENCE {
            return;
        }
        let octets = self.octets;
        let bar = self.bar.get_or_insert_with(|| bar(octets));
        bar.set_position(feed.octets());
        let rate = u128::from(self.items) * 1000 / self.begun.elapsed().as_millis().max(1);
        bar.set_message(format!("{} items, {rate}/s", self.items));
    }

    /// Takes the bar away.
    pub(super) fn end(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

fn bar(octets: Option<u64>) -> ProgressBar {
    let (bar, template) = match octets {
        Some(octets) => (
            ProgressBar::new(octets),
            "{bytes} of {total_bytes}, {bytes_per_sec}, {msg}, {eta} left",
        ),
        None => (ProgressBar::no_length(), "{bytes}, {bytes_per_sec}, {msg}"),
    };
    // The template is ours, and right.
    match ProgressStyle::with_template(template) {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}
