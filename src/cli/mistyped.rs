//! What somebody meant who typed something else: a file or a frame without a command, a roster among
//! the captures, `help` as a command.

use std::{
    ffi::OsString,
    fs::File,
    io::Read as _,
    path::{Path, PathBuf},
};

use clap::error::{ContextKind, ContextValue, ErrorKind};

use crate::{
    frame::{DataFrame, decode},
    intake::{Encoding, frame_text},
};

/// Returns the arguments with `help COMMAND` as `COMMAND --help`: many programs have both.
pub(super) fn with_help_as_option(mut args: Vec<OsString>) -> Vec<OsString> {
    if args.get(1).is_some_and(|word| word == "help") {
        args.remove(1);
        args.push("--help".into());
    }
    args
}

/// An error in our own words, and its hint.
#[derive(Debug, Eq, PartialEq)]
pub(super) struct Instead {
    pub(super) error: Option<String>,
    pub(super) hint: String,
}

/// Returns what to say of a command line that cannot be read; `None` where nothing is known to be meant.
pub(super) fn instead(error: &clap::Error, args: &[OsString]) -> Option<Instead> {
    match error.kind() {
        ErrorKind::InvalidSubcommand => match error.get(ContextKind::InvalidSubcommand)? {
            ContextValue::String(word) => no_command(word),
            _ => None,
        },
        ErrorKind::MissingRequiredArgument
            if args.get(1).is_some_and(|command| command == "diagnose") =>
        {
            let hint = "handfast diagnose CAPTURE --roster FILE; `handfast diagnose --demo` shows \
                        it on an embedded example";
            Some(Instead { error: None, hint: hint.to_owned() })
        }
        _ => None,
    }
}

/// A word where a command is expected.
fn no_command(word: &str) -> Option<Instead> {
    let path = Path::new(word);
    if path.is_file() {
        let hint = if is_roster(path) {
            format!("did you mean `handfast diagnose CAPTURE --roster {word}`?")
        } else {
            format!("did you mean `handfast read {word}` or `handfast diagnose {word}`?")
        };
        return Some(Instead { error: Some(format!("{word} is a file, not a command")), hint });
    }
    if is_frame(word) {
        // The word is not repeated: it may be a key.
        let error = Some("bytes where a command is expected".to_owned());
        return Some(Instead { error, hint: "did you mean `handfast read FRAME`?".to_owned() });
    }
    names_a_file(word).then(|| Instead {
        error: Some(format!("{word} is not a command, and there is no such file")),
        hint: "`handfast --help` lists all commands".to_owned(),
    })
}

/// Whether a word is bytes of a frame's length; base64 must also split, since words are base64 as well.
fn is_frame(word: &str) -> bool {
    let Ok(text) = frame_text(word) else { return false };
    let splits = || {
        let decoded = decode(&text.octets);
        decoded.frame.is_some() && decoded.stopped.is_none()
    };
    text.octets.len() >= DataFrame::MIN_LEN && (text.encoding == Encoding::Hex || splits())
}

/// Whether a word has the form of a file's name: an extension that hex digits do not make.
pub(super) fn names_a_file(word: &str) -> bool {
    let Some((_, extension)) = word.rsplit_once('.') else { return false };
    word.chars().all(|c| !c.is_control() && !c.is_whitespace())
        && (1..=8).contains(&extension.len())
        && extension.bytes().all(|c| c.is_ascii_alphanumeric())
        && extension.bytes().any(|c| c.is_ascii_alphabetic() && !c.is_ascii_hexdigit())
}

/// Returns the first of these that is a roster.
pub(super) fn roster_among<'p>(mut paths: impl Iterator<Item = &'p Path>) -> Option<PathBuf> {
    paths.find(|path| is_roster(path)).map(Path::to_path_buf)
}

/// Whether a file has the headings of a roster. Pipes are not looked into: what is read there is gone.
fn is_roster(path: &Path) -> bool {
    if !path.is_file() {
        return false;
    }
    let mut head = Vec::new();
    let read = File::open(path).and_then(|file| file.take(LOOKED_AT).read_to_end(&mut head));
    read.is_ok() && has_headings(&String::from_utf8_lossy(&head))
}

fn has_headings(text: &str) -> bool {
    let is_heading = |line: &str| matches!(line, "[[node]]" | "[[gateway]]");
    let first = text.lines().map(str::trim).find(|line| !line.is_empty() && !line.starts_with('#'));
    // A log that quotes a roster begins with something else: a roster with a member or a heading.
    let begins = first.is_some_and(|line| {
        is_heading(line) || line.starts_with("region") || line.starts_with("sub-band")
    });
    begins && text.lines().map(str::trim).any(is_heading)
}

/// Bytes of a file in which headings are looked for: a roster has the first one near its beginning.
const LOOKED_AT: u64 = 1 << 16;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn help_is_an_option_wherever_it_is_typed() {
        let args = |words: &[&str]| words.iter().map(OsString::from).collect::<Vec<_>>();
        for (typed, meant) in [
            (&["handfast", "help"][..], &["handfast", "--help"][..]),
            (&["handfast", "help", "read"], &["handfast", "read", "--help"]),
            (&["handfast", "help", "roster", "new"], &["handfast", "roster", "new", "--help"]),
            (&["handfast", "read", "help"], &["handfast", "read", "help"]),
        ] {
            assert_eq!(with_help_as_option(args(typed)), args(meant));
        }
    }

    #[test]
    fn a_name_of_a_file_is_not_hex_between_points() {
        for word in ["log.txt", "a/b.ndjson", "usb.log", "x.pcapng"] {
            assert!(names_a_file(word), "{word}");
        }
        for word in ["40.da.bb", "read", "40DABB", "a log.", "1.0", "x.abc"] {
            assert!(!names_a_file(word), "{word}");
        }
    }

    #[test]
    fn a_roster_has_headings_and_begins_like_one() {
        for text in ["[[node]]\nname = \"a\"\n", "# mine\n\nregion = \"EU868\"\n[[gateway]]\n"] {
            assert!(has_headings(text), "{text}");
        }
        for text in ["", "region = \"EU868\"\n", "this is my roster:\n[[node]]\n", "{\n[[node]]\n"]
        {
            assert!(!has_headings(text), "{text}");
        }
    }
}
