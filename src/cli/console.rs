//! Consoles of nodes: `diagnose --console NAME=FILE`.

use std::{
    fs::File,
    io::{self, BufReader, Read},
    path::PathBuf,
};

use super::{Screen, UsageError};
use crate::{
    intake::{
        Event, HowFound, Lines, Position, Raw, Said, Speaker, Subject, What, console,
        without_colours,
    },
    key::Aes128Key,
    nearest::nearest,
    roster::{ClaimKind, Node, Roster},
    words::{Count, Visible},
};

/// A node's name and the file that its console was written to.
#[derive(Clone, Debug)]
pub(super) struct Console {
    name: String,
    path: PathBuf,
}

impl Console {
    /// Reads `NAME=FILE`.
    pub(super) fn parse(text: &str) -> Result<Self, String> {
        match text.split_once('=') {
            Some((name, path)) if !name.is_empty() && !path.is_empty() => {
                Ok(Self { name: name.to_owned(), path: path.into() })
            }
            _ => {
                Err("a node's name on the roster and a file, such as probe-07=probe-07.log".into())
            }
        }
    }

    /// Returns the file.
    pub(super) fn path(&self) -> &std::path::Path {
        &self.path
    }

    /// Adds what the console says to what the node's firmware claims.
    ///
    /// # Errors
    /// [`UsageError`] for a name that is on no roster, and a file that cannot be read.
    pub(super) fn add(
        &self,
        roster: &mut Roster,
        source: u16,
        screen: &mut Screen,
    ) -> Result<Vec<Event>, UsageError> {
        let known = || roster.nodes.iter().map(|node| node.name.as_str());
        let Some(index) = known().position(|name| name == self.name) else {
            let near = nearest(&self.name, known()).map(str::to_owned);
            return Err(UsageError::NoConsoleNode { name: self.name.clone(), near });
        };
        let cannot = |error| UsageError::File { path: self.path.clone(), error };
        let stream: Box<dyn Read> = if self.path.as_os_str() == "-" {
            Box::new(io::stdin())
        } else {
            Box::new(File::open(&self.path).map_err(cannot)?)
        };
        let mut lines = Lines::new(BufReader::new(stream));
        let mut heard: Vec<(u64, String)> = Vec::new();
        let (mut told, mut all, mut more) = (Vec::new(), 0usize, 0usize);
        let mut wide = false;
        while let Some(raw) = lines.advance().map_err(cannot)? {
            all += 1;
            wide |= all == 1 && matches!(lines.text(), [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..]);
            let text = String::from_utf8_lossy(lines.text());
            let text: String = without_colours(&text).chars().take(LONGEST).collect();
            if raw == Raw::TooLong || is_noise(&text) {
                continue;
            }
            if heard.len() < MOST {
                heard.push((lines.number(), text.clone()));
            }
            if !console::is_told(&text) {
                continue;
            }
            if told.len() < MOST {
                told.push(text);
            } else {
                more += 1;
            }
        }
        let path = Visible::path(&self.path);
        if wide {
            screen.word("note", &format!("{path}: UTF-16 text, not read; save it again as UTF-8"));
        } else if !console::tells_a_window(&told) && console::statements(&heard).is_empty() {
            let all = Count(all, "line");
            let words = format!(
                "{path}: no receive window in {all}; expected are lines with a time and words such as \
                 `tx done`, and after it `rx1`"
            );
            screen.word("note", &words);
        }
        if more > 0 {
            let words = format!("{path}: the first {MOST} lines of use are taken, {more} more not");
            screen.word("note", &words);
        }
        if let Some(node) = roster.nodes.get_mut(index) {
            node.add_console(told.iter().map(String::as_str));
            settings(node, &heard);
        }
        let event = |(number, what, words)| {
            let place = Position { source, ..Position::line(number) };
            let about = Some(Subject::Name(self.name.clone()));
            let said = Said { by: Speaker::Node, about, what, words: Some(words) };
            Event { found: HowFound::Guessed, ..Event::new(place, What::Said(Box::new(said))) }
        };
        Ok(console::statements(&heard).into_iter().map(event).collect())
    }
}

/// Takes the DevEUI and the root key that commands of a dialogue set, where the roster states none.
fn settings(node: &mut Node, lines: &[(u64, String)]) {
    for (_, line) in lines {
        let Some((name, value)) = console::setting(line) else { continue };
        let claim = node.claim_mut(ClaimKind::Firmware).get_or_insert_default();
        match name {
            console::Setting::DevEui if claim.dev_eui.is_none() => {
                claim.dev_eui = value.parse().ok();
            }
            console::Setting::AppKey if claim.app_key.is_none() => {
                claim.app_key = value.parse::<Aes128Key>().ok().map(Into::into);
            }
            _ => {}
        }
    }
}

/// Whether a line is what a wrong baud rate or a reset leaves, in which any word may stand.
fn is_noise(text: &str) -> bool {
    let odd = |c: char| c == char::REPLACEMENT_CHARACTER || c.is_control() && c != '\t';
    8 * text.chars().filter(|c| odd(*c)).count() > text.chars().count()
}

/// Lines of one console that are kept: some thousand joins.
const MOST: usize = 20_000;
/// Characters of a line that are kept.
const LONGEST: usize = 400;
