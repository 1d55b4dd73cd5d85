//! A file that grows while it is read.

use std::{
    fmt,
    fs::{self, File, Metadata},
    io::{self, Read, Seek, SeekFrom},
    path::PathBuf,
    sync::{Arc, Mutex, PoisonError},
    thread,
    time::{Duration, SystemTime},
};

use super::signals;
use crate::record::Identity;

/// Between two looks at the file's end: a frame that was written shows as soon as anyone looks.
const PAUSE: Duration = Duration::from_millis(50);
/// Bytes of the beginning, and of what was read last, that tell a file from another one in its place.
const SAMPLE: usize = 4096;

/// How a file was replaced while it was read.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Replaced {
    /// Another file has its name.
    Moved,
    /// It is shorter than what was read.
    Cut,
    /// What was read is no longer in it.
    Rewritten,
}

impl fmt::Display for Replaced {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Moved => "another file has its name now",
            Self::Cut => "it was cut",
            Self::Rewritten => "it was written again from its start",
        })
    }
}

/// Where a reader on another thread says that its file was replaced.
#[derive(Clone, Debug, Default)]
pub(super) struct Renewal(Arc<Mutex<Option<Replaced>>>);

impl Renewal {
    /// Returns how the file was replaced, if it was; once.
    pub(super) fn take(&self) -> Option<Replaced> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).take()
    }

    fn set(&self, how: Replaced) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(how);
    }
}

/// Reads a file and, at its end, waits for more. Ends where it was replaced, and says so.
#[derive(Debug)]
pub(super) struct Follow {
    path: PathBuf,
    file: File,
    identity: Option<Identity>,
    /// Bytes that were read.
    read: u64,
    head: Vec<u8>,
    tail: Vec<u8>,
    /// Whether the end was met: what is there after that may be another file's.
    at_end: bool,
    /// When the file was changed, and its length, as of the last look.
    seen: Option<(SystemTime, u64)>,
    renewal: Renewal,
}

impl Follow {
    /// Begins at the file's first byte.
    pub(super) fn open(path: PathBuf) -> io::Result<(Self, Renewal)> {
        let file = File::open(&path)?;
        let identity = Identity::of_file(&file, &path);
        let renewal = Renewal::default();
        let (head, tail) = (Vec::new(), Vec::new());
        let own = renewal.clone();
        let follow =
            Self { path, file, identity, read: 0, head, tail, at_end: false, seen: None, renewal };
        Ok((follow, own))
    }

    /// Returns how the file under the path differs from the one that is read.
    fn replaced(&mut self) -> Option<Replaced> {
        self.identity.as_ref()?;
        // Where it is gone for now, what is still written to it is read.
        let there: Metadata = fs::metadata(&self.path).ok()?;
        if Identity::of(&self.path) != self.identity {
            return Some(Replaced::Moved);
        }
        if there.len() < self.read {
            return Some(Replaced::Cut);
        }
        let now = (there.modified().unwrap_or(SystemTime::UNIX_EPOCH), there.len());
        if self.seen.replace(now) == Some(now) || self.is_still_there() {
            return None;
        }
        Some(Replaced::Rewritten)
    }

    /// Whether the file still holds what was read of it.
    fn is_still_there(&self) -> bool {
        let Ok(mut file) = File::open(&self.path) else { return true };
        let mut holds = |at: u64, sample: &[u8]| {
            let mut found = vec![0; sample.len()];
            let read = file.seek(SeekFrom::Start(at)).and_then(|_| file.read_exact(&mut found));
            read.is_ok() && found == sample
        };
        holds(0, &self.head) && holds(self.read - self.tail.len() as u64, &self.tail)
    }

    fn remember(&mut self, octets: &[u8]) {
        self.read += octets.len() as u64;
        let more = SAMPLE.saturating_sub(self.head.len()).min(octets.len());
        self.head.extend_from_slice(octets.get(..more).unwrap_or_default());
        let last = octets.get(octets.len().saturating_sub(SAMPLE)..).unwrap_or_default();
        self.tail.extend_from_slice(last);
        self.tail.drain(..self.tail.len().saturating_sub(SAMPLE));
    }
}

impl Read for Follow {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if into.is_empty() {
            return Ok(0);
        }
        loop {
            if signals::is_stopped() {
                return Ok(0);
            }
            let replaced = if self.at_end { self.replaced() } else { None };
            // What was written to the file before it was moved is read to its end.
            let n = match replaced {
                None | Some(Replaced::Moved) => self.file.read(into)?,
                Some(Replaced::Cut | Replaced::Rewritten) => 0,
            };
            if n > 0 {
                self.remember(into.get(..n).unwrap_or_default());
                return Ok(n);
            }
            if let Some(how) = replaced {
                self.renewal.set(how);
                return Ok(0);
            }
            self.at_end = true;
            thread::sleep(PAUSE);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    /// Reads what is there, changes the file, reads on to the end; returns what came, and how it ended.
    fn follow(name: &str, change: impl FnOnce(&std::path::Path)) -> (String, Option<Replaced>) {
        let path =
            std::env::temp_dir().join(format!("handfast-follow-{name}-{}", std::process::id()));
        fs::write(&path, "one\ntwo\n").unwrap();
        let (mut follow, renewal) = Follow::open(path.clone()).unwrap();
        let mut first = [0; 8];
        follow.read_exact(&mut first).unwrap();
        // The end is met before the change, as when a log is watched.
        follow.at_end = true;
        assert_eq!(follow.replaced(), None);
        change(&path);
        let mut rest = String::new();
        follow.read_to_string(&mut rest).unwrap();
        let _ = fs::remove_file(&path);
        let _ = fs::remove_file(path.with_extension("1"));
        (rest, renewal.take())
    }

    #[test]
    fn every_way_to_replace_a_file_is_noticed() {
        let moved = follow("moved", |path| {
            let mut old = File::options().append(true).open(path).unwrap();
            fs::rename(path, path.with_extension("1")).unwrap();
            fs::write(path, "another, and longer than what was read\n").unwrap();
            old.write_all(b"three\n").unwrap();
        });
        assert_eq!(moved, ("three\n".to_owned(), Some(Replaced::Moved)));
        assert_eq!(follow("cut", |path| fs::write(path, "1\n").unwrap()).1, Some(Replaced::Cut));
        for (name, text) in [("same", "ONE\nTWO\n"), ("longer", "ONE\nTWO\nTHREE\n")] {
            let ended = follow(name, |path| fs::write(path, text).unwrap());
            assert_eq!(ended, (String::new(), Some(Replaced::Rewritten)), "{name}");
        }
    }

    #[test]
    fn what_is_added_comes_and_is_no_replacement() {
        let path = std::env::temp_dir().join(format!("handfast-follow-{}", std::process::id()));
        fs::write(&path, "one\n").unwrap();
        let (mut follow, renewal) = Follow::open(path.clone()).unwrap();
        let mut text = [0; 4];
        follow.read_exact(&mut text).unwrap();
        follow.at_end = true;
        File::options().append(true).open(&path).unwrap().write_all(b"two\n").unwrap();
        follow.read_exact(&mut text).unwrap();
        assert_eq!((&text, renewal.take()), (b"two\n", None));
        fs::remove_file(&path).unwrap();
    }
}
