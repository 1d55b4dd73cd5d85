//! The view on a terminal: drawn in place, cleared at the end.

use std::{
    collections::VecDeque,
    io::{self, IsTerminal as _, Write as _},
    time::{Duration, Instant},
};

use jiff::Timestamp;
use terminal_size::{Height, Width, terminal_size};

use super::TapArgs;
use crate::{
    cli::{Failure, Screen},
    live::{Board, Counters, Notice},
    show::{Style, live as show},
    words::without_keys,
};

/// A terminal that the view has to itself.
pub(super) struct Stage {
    head: String,
    latest: VecDeque<String>,
    /// Words about the run, told again when the view is gone.
    words: VecDeque<(&'static str, String)>,
    drawn: Option<Instant>,
}

impl Stage {
    /// Takes the terminal, if standard output is one that can be drawn on, and lines are not asked for.
    pub(super) fn set(
        args: &TapArgs,
        screen: &mut Screen,
        head: String,
        waiting: &[String],
    ) -> Option<Self> {
        let dumb = std::env::var_os("TERM").is_none_or(|term| term == "dumb");
        if args.json || args.lines || dumb || !io::stdout().is_terminal() {
            return None;
        }
        screen.draw(ENTER, "", "", "").ok()?;
        let latest = waiting.iter().cloned().collect();
        Some(Self { head, latest, words: VecDeque::new(), drawn: None })
    }

    /// Takes what happened, and draws when it is time.
    pub(super) fn take(
        &mut self,
        notice: &Notice<'_>,
        board: &Board,
        counters: &Counters,
        screen: &mut Screen,
    ) -> Result<(), Failure> {
        if let Some(text) = show::line(notice, screen.style()) {
            self.latest.extend(text.lines().map(str::to_owned));
            let over = self.latest.len().saturating_sub(LATEST);
            self.latest.drain(..over);
        }
        if self.drawn.is_some_and(|drawn| drawn.elapsed() < PAUSE) {
            return Ok(());
        }
        self.drawn = Some(Instant::now());
        let (width, rows) = terminal_size()
            .map_or((80, 24), |(Width(w), Height(h))| (usize::from(w), usize::from(h)));
        let style = Style { width: width.max(20), ..screen.style() };
        let latest = self.latest.iter().map(String::as_str);
        let now = Timestamp::now();
        // The last row stays free, so that its line end moves nothing.
        let rows = rows.saturating_sub(1);
        let page = show::view(&self.head, board, counters, latest, now, style, rows);
        screen.draw(HOME, &page, REST, BELOW)
    }

    /// Shows words about the run among the latest lines, and keeps them for the end.
    pub(super) fn word(&mut self, kind: &'static str, text: String) {
        self.latest.push_back(without_keys(&format!("{kind}: {text}")).into_owned());
        self.words.push_back((kind, text));
        if self.words.len() > WORDS {
            self.words.pop_front();
        }
    }

    /// Gives the terminal back; returns the words about the run.
    pub(super) fn clear(
        mut self,
        screen: &mut Screen,
    ) -> Result<VecDeque<(&'static str, String)>, Failure> {
        screen.flush()?;
        Ok(std::mem::take(&mut self.words))
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        // However the run ends, the terminal is as it was.
        let mut out = io::stdout();
        let _ = out.write_all(LEAVE.as_bytes()).and_then(|()| out.flush());
    }
}

/// The other screen of the terminal, without a cursor; what is too wide is cut, not wrapped.
const ENTER: &str = "\x1b[?1049h\x1b[?25l\x1b[?7l";
/// The cursor, and the screen that was there before.
const LEAVE: &str = "\x1b[?7h\x1b[?25h\x1b[?1049l";
/// To the first column of the first row.
const HOME: &str = "\x1b[H";
/// Clears what an earlier line left after this one, and goes on in the next.
const REST: &str = "\x1b[K\r\n";
/// Clears what is below.
const BELOW: &str = "\x1b[J";
/// The view is drawn no more often.
const PAUSE: Duration = Duration::from_millis(200);
/// Lines that are kept for terminals of any height.
const LATEST: usize = 200;
/// Words that are told again at the end.
const WORDS: usize = 100;
