//! A report into a file, in the form that the file's name says.

use std::{
    ffi::OsStr,
    path::{Path, PathBuf},
};

use super::{
    Failure, Screen,
    output::{Destination, FileKind},
};
use crate::{
    report::Report,
    show::{html, markdown},
    words::Visible,
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
        if is_stdout(file) {
            return Ok(Self::Html);
        }
        let end = file.extension().and_then(OsStr::to_str).map(str::to_ascii_lowercase);
        match end.as_deref() {
            Some("html" | "htm") => Ok(Self::Html),
            Some("md" | "markdown") => Ok(Self::Markdown),
            _ => Err(Failure::Report(format!(
                "--report: {} ends neither in .html nor in .md",
                Visible::path(file)
            ))),
        }
    }
}

/// Whether the report is to go to standard output, as a page.
pub(super) fn is_stdout(file: &Path) -> bool {
    file == Path::new("-")
}

/// Returns where a report is written, by the options of a command.
pub(super) const fn place(form: Form, path: &Path, force: bool, secret: bool) -> Destination<'_> {
    let kind = match form {
        Form::Html => FileKind::Page,
        Form::Markdown => FileKind::Markdown,
    };
    Destination { option: "--report", path, kind, force, secret }
}

/// Returns a report's text.
pub(super) fn text(report: &Report<'_>, form: Form) -> String {
    let mut text = String::new();
    let laid_out = match form {
        Form::Html => html::report(report, &mut text),
        Form::Markdown => markdown::report(report, &mut text),
    };
    // Writing to a string does not fail.
    debug_assert!(laid_out.is_ok());
    text
}

/// Writes a report and says where it is.
pub(super) fn write(
    report: &Report<'_>,
    form: Form,
    place: Destination<'_>,
    inputs: &[PathBuf],
    screen: &mut Screen,
) -> Result<(), Failure> {
    place.write(inputs, &text(report, form))?;
    let name = Visible::path(place.path);
    if report.shows_keys {
        screen.word("caution", &format!("{name} holds keys: keep it as you would keep them"));
    }
    screen.word("note", &format!("the report is in {name}"));
    Ok(())
}
