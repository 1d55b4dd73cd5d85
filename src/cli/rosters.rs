//! A roster as commands read it: from a file, or from standard input for `-`.

use std::{
    fs::File,
    io::{self, Read},
    path::{Path, PathBuf},
};

use zeroize::Zeroizing;

use super::{Screen, UsageError};
use crate::{
    intake::file_text,
    roster::{self, Roster},
};

/// Reads everything intact of a roster; the faults of the rest are errors, after which the run goes on.
/// `busy` says that something else is read from standard input.
///
/// # Errors
/// [`UsageError`] when nothing of it can be read.
pub(super) fn read(path: &Path, busy: bool, screen: &mut Screen) -> Result<Roster, UsageError> {
    let intact = if path.as_os_str() == "-" {
        if busy {
            return Err(UsageError::StdinTwice);
        }
        roster::parse_intact(&stdin()?, None)?
    } else {
        roster::read_file_intact(path)?
    };
    if let Some(error) = intact.error() {
        screen.bad_input(&error, None);
    }
    let roster = intact.roster;
    for warning in &roster.warnings {
        screen.word("caution", &warning.to_string());
    }
    Ok(roster)
}

/// Returns whether one of these is standard input.
pub(super) fn takes_stdin(paths: &[PathBuf]) -> bool {
    paths.iter().any(|path| path.as_os_str() == "-")
}

/// Returns the text of a file.
pub(super) fn text_of(path: &Path) -> io::Result<Zeroizing<String>> {
    text_from(File::open(path)?, CAP)
}

/// Returns the text of a stream that has `cap` bytes at most, in any encoding that a capture may have.
pub(super) fn text_from(stream: impl Read, cap: u64) -> io::Result<Zeroizing<String>> {
    let mut octets = Zeroizing::new(Vec::new());
    stream.take(cap + 1).read_to_end(&mut octets)?;
    if octets.len() as u64 > cap {
        return Err(io::ErrorKind::FileTooLarge.into());
    }
    file_text(&octets).map_err(|_| io::ErrorKind::InvalidData.into())
}

fn stdin() -> Result<Zeroizing<String>, UsageError> {
    let cannot = |error| UsageError::File { path: "standard input".into(), error };
    text_from(io::stdin().lock(), CAP).map_err(cannot)
}

/// Bytes that a roster may have.
const CAP: u64 = 16 << 20;
