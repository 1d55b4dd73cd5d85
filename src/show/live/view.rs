//! The view: gateways, nodes and the latest frames, in as many rows as there are.

use std::fmt::Write as _;

use jiff::Timestamp;

use super::{clock, cut, gateway_standing, gateway_tone, standing, tone};
use crate::{
    live::{Board, Counters},
    show::{Style, text::Tone},
};

/// Returns a page of at most so many rows, each of at most the style's width. `head` says where the tap
/// stands, `latest` are lines, the latest last.
pub fn view<'a>(
    head: &str,
    board: &Board,
    counters: &Counters,
    latest: impl DoubleEndedIterator<Item = &'a str> + ExactSizeIterator,
    now: Timestamp,
    style: Style,
    rows: usize,
) -> String {
    let mut page = Page { out: String::new(), style, left: rows };
    let server = match board.server_answers {
        Some(false) => ", THE SERVER DOES NOT ANSWER",
        _ => "",
    };
    page.row(Tone::Title, &format!("{} {head}{server}", clock(now)));
    let all = counters.all();
    let (good, odd): (Vec<_>, Vec<_>) = all.into_iter().partition(|(name, ..)| GOOD.contains(name));
    let words = |counts: &[(&str, &str, u64)]| {
        let told = counts.iter().filter(|(.., n)| *n > 0);
        told.map(|(_, words, n)| format!("{n} {words}")).collect::<Vec<_>>().join(", ")
    };
    for (tone, words) in [(Tone::Plain, words(&good)), (Tone::Open, words(&odd))] {
        for line in super::super::text::wrap(&words, style.width) {
            page.row(tone, &line);
        }
    }
    let room = page.left;
    page.title(&format!("Gateways: {}", board.gateway_count()));
    for (gateway, row) in board.gateways().take((room / 5).max(1)) {
        let since = ago(now, row.last);
        let (tone, standing) = match row.diagnosis.as_deref() {
            Some(diagnosis) => (gateway_tone(diagnosis), gateway_standing(diagnosis)),
            None => (Tone::Plain, format!("from {}", row.peer)),
        };
        let (up, down) = (row.heard, row.sent);
        page.row(tone, &format!("  {gateway} {since:>10}  {up} up, {down} down  {standing}"));
    }
    page.title(&format!("Nodes: {}", board.node_count()));
    for row in board.nodes().take((room / 3).max(1)) {
        let (name, words) = standing(&row.diagnosis);
        page.row(tone(&row.diagnosis), &format!("  {} {words}", cut(&name, 23)));
    }
    page.title("Latest");
    let room = page.left.saturating_sub(1);
    let skipped = latest.len().saturating_sub(room);
    for line in latest.skip(skipped) {
        page.painted(line);
    }
    page.row(Tone::Quiet, "Ctrl-C ends");
    page.out
}

struct Page {
    out: String,
    style: Style,
    left: usize,
}

impl Page {
    fn title(&mut self, text: &str) {
        self.row(Tone::Title, text);
    }

    fn row(&mut self, tone: Tone, text: &str) {
        let text = cut(text, self.style.width);
        let painted = self.style.paint(tone, &text).into_owned();
        self.painted(&painted);
    }

    /// Writes a row that is laid out already.
    fn painted(&mut self, row: &str) {
        if self.left > 0 {
            self.left -= 1;
            let _ = writeln!(self.out, "{row}");
        }
    }
}

/// Counts that are no oddity.
const GOOD: [&str; 7] = [
    "received",
    "acknowledged",
    "relayed_up",
    "relayed_down",
    "frames_up",
    "frames_down",
    "recorded",
];

fn ago(now: Timestamp, then: Timestamp) -> String {
    let seconds = now.duration_since(then).as_secs().max(0);
    match seconds {
        0..120 => format!("{seconds} s ago"),
        120..7_200 => format!("{} min ago", seconds / 60),
        _ => format!("{} h ago", seconds / 3_600),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        id::Eui64,
        intake::Header,
        live::{Caught, Notice},
    };

    #[test]
    fn the_view_keeps_to_its_rows_and_columns() {
        let (mut board, counters) = (Board::default(), Counters::default());
        let at: Timestamp = "2026-03-02T08:00:03Z".parse().unwrap();
        let header = Header::read(&[2, 0, 0, 2, 0, 0, 0, 0, 0, 0, 0, 0]).unwrap();
        for last in 0..40 {
            let peer = "[2001:db8:ffff:ffff:ffff:ffff:ffff:ffff]:65535".parse().unwrap();
            let gateway = Some(Eui64::new([2, 0, 0, 0, 0, 0, 0, last]));
            let caught = Caught { at, peer, port: peer, header, gateway, octets: Box::default() };
            board.take(&Notice::Datagram(&caught));
        }
        let lines = ["one", "two", "three"];
        for rows in [0, 1, 5, 10, 23, 60] {
            for width in [20, 80] {
                let style = Style { width, colour: false };
                let latest = lines.iter().copied();
                let page =
                    view("tap at 127.0.0.1:1700", &board, &counters, latest, at, style, rows);
                assert!(page.lines().count() <= rows, "{rows}: {page}");
                assert!(page.lines().all(|line| line.chars().count() <= width), "{page}");
                if rows >= 23 {
                    assert!(
                        page.contains("three\nCtrl-C ends"),
                        "the latest line stands last: {page}"
                    );
                }
            }
        }
    }
}
