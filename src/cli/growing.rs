//! Captures that grow while they are read: `diagnose --follow`.

use std::{
    io,
    path::{Path, PathBuf},
    sync::atomic::{AtomicBool, Ordering},
    thread,
    time::{Duration, Instant},
};

use super::{
    Screen,
    captures::Teller,
    feed::{Fed, Feed},
    follow::{Follow, Renewal, Replaced},
};
use crate::{
    intake::{CaptureOptions, Event},
    words::{Reason, Visible},
};

/// Some captures, each read on a thread of its own.
#[derive(Debug)]
pub(super) struct Growing {
    parts: Vec<Part>,
    strict: bool,
}

/// One of them.
#[derive(Debug)]
struct Part {
    source: u16,
    /// `None` for standard input, which ends.
    path: Option<PathBuf>,
    renewal: Renewal,
    /// It was replaced, and its successor is not there yet.
    gone: bool,
    feed: Feed,
    teller: Teller,
}

impl Growing {
    /// Begins to read; what cannot be opened is told.
    pub(super) fn open(paths: &[PathBuf], strict: bool, screen: &mut Screen) -> Self {
        let mut parts = Vec::new();
        for (source, path) in (0..).zip(paths) {
            if path == Path::new("-") {
                let feed =
                    Feed::new(vec![Box::new(io::stdin())], CaptureOptions { strict, source });
                let teller = Teller::new("standard input".to_owned());
                let renewal = Renewal::default();
                parts.push(Part { source, path: None, renewal, gone: false, feed, teller });
                continue;
            }
            let name = Visible::path(path).to_string();
            match followed(path, CaptureOptions { strict, source }) {
                Ok((feed, renewal)) => {
                    let (teller, path) = (Teller::new(name), Some(path.clone()));
                    parts.push(Part { source, path, renewal, gone: false, feed, teller });
                }
                Err(error) => screen.bad_input(&format!("{name}: {}", Reason(error.kind())), None),
            }
        }
        Self { parts, strict }
    }

    /// Returns whether nothing more can come.
    pub(super) const fn is_over(&self) -> bool {
        self.parts.is_empty()
    }

    /// Hands on all there is, the earliest first, until nothing has come for a while or `stop` is
    /// set; returns whether anything came.
    pub(super) fn take(
        &mut self,
        stop: &AtomicBool,
        screen: &mut Screen,
        take: &mut dyn FnMut(Event),
    ) -> bool {
        let mut came = false;
        let mut last = Instant::now();
        while !stop.load(Ordering::Relaxed) {
            let filled = self.parts.iter_mut().filter_map(|p| (!p.feed.is_idle()).then_some(p));
            if let Some(part) = filled.min_by_key(|part| part.feed.next_at()) {
                let Some(Fed { item, .. }) = part.feed.next() else { continue };
                if let Some(event) = part.teller.take(item, screen) {
                    take(event);
                }
                (came, last) = (true, Instant::now());
                continue;
            }
            self.renew(screen);
            if last.elapsed() > QUIET || self.is_over() {
                break;
            }
            thread::sleep(NAP);
        }
        self.parts.iter_mut().for_each(|part| part.teller.sum_up(screen));
        came
    }

    /// A file that was cut or replaced is read from its beginning; what has ended for good is left.
    fn renew(&mut self, screen: &mut Screen) {
        let strict = self.strict;
        self.parts.retain_mut(|part| {
            let options = CaptureOptions { strict, source: part.source };
            if !part.feed.is_over() {
                return true;
            }
            if !part.gone {
                part.teller.sum_up(screen);
                let Some(how) = part.renewal.take() else {
                    part.teller.end(screen);
                    return false;
                };
                part.told(how, screen);
                part.gone = true;
            }
            match part.path.as_ref().map(|path| followed(path, options)) {
                None => false,
                Some(Ok((feed, renewal))) => {
                    (part.feed, part.renewal, part.gone) = (feed, renewal, false);
                    true
                }
                // It was moved aside: its successor is not there yet.
                Some(Err(error)) => error.kind() == io::ErrorKind::NotFound,
            }
        });
    }
}

impl Part {
    /// Says that its file was replaced.
    fn told(&self, how: Replaced, screen: &mut Screen) {
        if let Some(path) = &self.path {
            let name = Visible::path(path);
            screen.word("note", &format!("{name}: {how}: it is read from its start"));
        }
    }
}

fn followed(path: &Path, options: CaptureOptions) -> io::Result<(Feed, Renewal)> {
    let (stream, renewal) = Follow::open(path.to_owned())?;
    Ok((Feed::new(vec![Box::new(stream)], options), renewal))
}

/// After so long without an item all that was written is read.
const QUIET: Duration = Duration::from_millis(300);
/// Between two looks.
const NAP: Duration = Duration::from_millis(10);
