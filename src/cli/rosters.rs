//! A roster as commands read it: from a file, or from standard input for `-`.

use std::{
    fs::File,
    io::{self, Read as _},
    path::{Path, PathBuf},
};

use zeroize::Zeroizing;

use super::{Screen, UsageError};
use crate::roster::{self, Roster};

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
    let mut text = Zeroizing::new(String::new());
    let bytes = File::open(path)?.take(CAP + 1).read_to_string(&mut text)?;
    if bytes as u64 > CAP {
        return Err(io::ErrorKind::FileTooLarge.into());
    }
    Ok(text)
}

fn stdin() -> Result<Zeroizing<String>, UsageError> {
    let mut text = Zeroizing::new(String::new());
    let cannot = |error| UsageError::File { path: "standard input".into(), error };
    let octets = io::stdin().lock().take(CAP + 1).read_to_string(&mut text).map_err(cannot)?;
    if octets as u64 > CAP {
        return Err(cannot(io::ErrorKind::FileTooLarge.into()));
    }
    Ok(text)
}

/// Bytes that a roster may have.
const CAP: u64 = 16 << 20;
