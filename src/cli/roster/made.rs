//! The files that a run makes: for their owner alone, none replaced, and none left behind by half a run.

use std::{
    fs,
    io::Write as _,
    path::{Path, PathBuf},
};

use crate::{
    cli::output::Output,
    words::{Reason, Visible},
};

/// The files that this run made.
#[derive(Debug, Default)]
pub(super) struct Made {
    files: Vec<PathBuf>,
    directory: Option<PathBuf>,
}

impl Made {
    /// Returns how many files were made.
    pub(super) fn count(&self) -> usize {
        self.files.len()
    }

    /// Makes a directory for its owner alone, unless it is there.
    pub(super) fn directory(&mut self, path: &Path) -> Result<(), String> {
        if !path.is_dir() {
            create_directory(path).map_err(|error| cannot_write(path, &error))?;
            self.directory = Some(path.to_owned());
        }
        Ok(())
    }

    /// Begins a file for its owner alone; one that is there stays. It is not there before [`Self::finish`].
    pub(super) fn begin(path: &Path) -> Result<Output, String> {
        Output::fresh(path).map_err(|error| cannot_write(path, &error))
    }

    /// Writes a file that was begun, and puts it into its place.
    pub(super) fn finish(
        &mut self,
        path: &Path,
        mut out: Output,
        text: &str,
    ) -> Result<(), String> {
        let written = out.write_all(text.as_bytes()).and_then(|()| out.place_fresh());
        written.map_err(|error| cannot_write(path, &error))?;
        self.files.push(path.to_owned());
        Ok(())
    }

    /// Creates a file with that text.
    pub(super) fn write(&mut self, path: &Path, text: &str) -> Result<(), String> {
        let out = Self::begin(path)?;
        self.finish(path, out, text)
    }

    /// Takes away what was made: half of it is nothing.
    pub(super) fn undo(&self) {
        // What cannot be taken away stays; the error that led here is the one to tell.
        for file in &self.files {
            let _ = fs::remove_file(file);
        }
        if let Some(directory) = &self.directory {
            let _ = fs::remove_dir(directory);
        }
    }
}

fn create_directory(path: &Path) -> std::io::Result<()> {
    #[cfg_attr(not(unix), expect(unused_mut, reason = "only a mode changes it"))]
    let mut builder = fs::DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

pub(super) fn cannot_write(path: &Path, error: &std::io::Error) -> String {
    if error.kind() == std::io::ErrorKind::AlreadyExists {
        return format!("{} is there already; it was not replaced", Visible::path(path));
    }
    format!("{} cannot be written: {}", Visible::path(path), Reason(error.kind()))
}

/// Returns a name as a part of a file's name.
pub(super) fn plain(name: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    name.chars().take(MOST_NAME).map(plain).collect()
}

/// Letters of a node's name in the name of a file.
const MOST_NAME: usize = 40;
