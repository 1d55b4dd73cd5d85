//! A report into a file, in the form that the file's name says.

use std::{ffi::OsStr, fs, io::Write, path::Path};

use super::{Failure, Screen};
use crate::{
    report::Report,
    show::{html, markdown},
    words::Reason,
};

/// The forms of a report.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Form {
    /// A page.
    Html,
    /// Markdown.
    Markdown,
}

impl Form {
    /// Returns the form that the end of a file's name says.
    pub(super) fn of(file: &Path) -> Result<Self, Failure> {
        let end = file.extension().and_then(OsStr::to_str).map(str::to_ascii_lowercase);
        match end.as_deref() {
            Some("html" | "htm") => Ok(Self::Html),
            Some("md" | "markdown") => Ok(Self::Markdown),
            _ => Err(Failure::Report(format!(
                "--report: {} ends neither in .html nor in .md",
                file.display()
            ))),
        }
    }
}

/// Writes a report and says where it is.
pub(super) fn write(
    report: &Report<'_>,
    form: Form,
    file: &Path,
    screen: &mut Screen,
) -> Result<(), Failure> {
    let mut text = String::new();
    let laid_out = match form {
        Form::Html => html::report(report, &mut text),
        Form::Markdown => markdown::report(report, &mut text),
    };
    // Writing to a string does not fail.
    debug_assert!(laid_out.is_ok());
    let cannot = |error: std::io::Error| {
        let why = Reason(error.kind());
        Failure::Report(format!("--report: {} cannot be written: {why}", file.display()))
    };
    let mut out = create(file, report.shows_keys).map_err(cannot)?;
    out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(cannot)?;
    if report.shows_keys {
        let words = format!("{} holds keys: keep it as you would keep them", file.display());
        screen.word("caution", &words);
    }
    screen.word("note", &format!("the report is in {}", file.display()));
    Ok(())
}

/// Creates the file; where it is to hold keys, for its owner alone.
fn create(file: &Path, secret: bool) -> std::io::Result<fs::File> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    if secret {
        use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
        let out = options.mode(0o600).open(file)?;
        // A file that was there keeps its mode; a pipe or a device has none to set.
        if out.metadata()?.is_file() {
            out.set_permissions(fs::Permissions::from_mode(0o600))?;
        }
        return Ok(out);
    }
    #[cfg(not(unix))]
    let _ = secret;
    options.open(file)
}
