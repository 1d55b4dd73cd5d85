//! `handfast roster`: a roster from sources of firmware, exports of servers, labels.

use std::{
    fs,
    io::Write as _,
    path::{Path, PathBuf},
};

use clap::Args;
use zeroize::Zeroizing;

use super::{
    Failure, Screen,
    claims::{self, ClaimArgs},
    values,
};
use crate::{
    region::Plan,
    roster::written::{self, KeyAt},
    words::{Count, Reason},
};

/// Write a roster from firmware sources, server exports and labels
///
/// What was taken from where is said on standard error. A byte order that nothing says is not guessed:
/// the value is left out, and --byte-order says it. The roster holds keys, in itself or in files of
/// their own (--key-files): all of them are for their owner alone, and no file is replaced.
#[derive(Args, Clone, Debug)]
#[command(after_help = "Examples:
  handfast roster --firmware probes.h --records all.json --output new.toml
  handfast roster --records all.csv --key-files keys --output new.toml

Exit status: 2 when an input is not intact (everything intact is still written)
or the usage is wrong, else 0.")]
pub struct RosterArgs {
    /// Where claims are.
    #[command(flatten)]
    pub claims: ClaimArgs,
    /// The roster's region, such as EU868
    #[arg(long, value_name = "NAME", value_parser = values::plan)]
    pub region: Option<&'static Plan>,
    /// The roster to write (TOML); it must not exist
    #[arg(long, value_name = "FILE")]
    pub output: PathBuf,
    /// Write each key into a file of its own in this directory; the roster names the file
    #[arg(long, value_name = "DIR")]
    pub key_files: Option<PathBuf>,
}

/// Runs `roster`.
///
/// # Errors
/// [`Failure`] when nothing was taken, or a file cannot be written.
pub fn run(args: &RosterArgs, screen: &mut Screen) -> Result<(), Failure> {
    if args.claims.is_empty() {
        let words = "nothing to take claims from: --firmware, --records or --label expected";
        return Err(Failure::Report(words.into()));
    }
    let roster = claims::roster(None, &args.claims, false, args.region, screen)?;
    if roster.nodes.is_empty() {
        return Err(Failure::Report("no source names a node: nothing was written".into()));
    }
    let mut made = Made::default();
    let written = made.roster(args, &roster.nodes);
    if let Err(words) = written {
        made.undo();
        return Err(Failure::Report(words));
    }
    let keys = made.files.len().saturating_sub(1);
    let keys_in = |directory: &Path| format!(", {} in {}", Count(keys, "key"), directory.display());
    let mut words = format!("{} in {}", Count(roster.nodes.len(), "node"), args.output.display());
    if let Some(directory) = args.key_files.as_deref().filter(|_| keys > 0) {
        words += &keys_in(directory);
    }
    screen.word("note", &words);
    Ok(())
}

/// The files that this run made.
#[derive(Debug, Default)]
struct Made {
    files: Vec<PathBuf>,
    directory: Option<PathBuf>,
}

impl Made {
    fn roster(&mut self, args: &RosterArgs, nodes: &[crate::roster::Node]) -> Result<(), String> {
        // Before any key is written it is known that the roster can be.
        let mut out = self.create(&args.output)?;
        let directory = match &args.key_files {
            Some(path) => Some(self.directory(path, &args.output)?),
            None => None,
        };
        let text = written::toml(args.region, nodes, |at| match &directory {
            Some((path, from_roster)) => self.key(path, from_roster, at).map(Some),
            None => Ok(None),
        })?;
        let cannot = |error| cannot_write(&args.output, &error);
        out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(cannot)
    }

    /// Makes the directory of keys; returns it, and how the roster names it.
    fn directory(&mut self, path: &Path, output: &Path) -> Result<(PathBuf, String), String> {
        let cannot = |error| cannot_write(path, &error);
        if !path.is_dir() {
            create_directory(path).map_err(cannot)?;
            self.directory = Some(path.to_owned());
        }
        let whole = fs::canonicalize(path).map_err(cannot)?;
        let beside = output.parent().filter(|parent| !parent.as_os_str().is_empty());
        let beside = fs::canonicalize(beside.unwrap_or(Path::new("."))).map_err(cannot)?;
        let named = whole.strip_prefix(&beside).unwrap_or(&whole);
        let Some(named) = named.to_str() else {
            return Err(format!("{}: its name is not UTF-8", path.display()));
        };
        Ok((whole.clone(), named.to_owned()))
    }

    /// Writes a key into its file; returns how the roster names it.
    fn key(&mut self, directory: &Path, named: &str, at: KeyAt<'_>) -> Result<String, String> {
        let KeyAt { index, node, kind, member, key } = at;
        let plain = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
        let node: String = node.chars().take(MOST_NAME).map(plain).collect();
        let name = format!("{}-{node}-{}-{member}.key", index + 1, kind.name());
        let path = directory.join(&name);
        let digits = Zeroizing::new(key.revealed());
        let mut out = self.create(&path)?;
        let written = out.write_all(digits.as_bytes()).and_then(|()| out.write_all(b"\n"));
        written.map_err(|error| cannot_write(&path, &error))?;
        Ok(Path::new(named).join(&name).to_string_lossy().into_owned())
    }

    /// Creates a file for its owner alone; one that is there stays.
    fn create(&mut self, path: &Path) -> Result<fs::File, String> {
        let mut options = fs::OpenOptions::new();
        options.write(true).create_new(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let file = options.open(path).map_err(|error| cannot_write(path, &error))?;
        self.files.push(path.to_owned());
        Ok(file)
    }

    /// Takes away what was made: half a roster is none.
    fn undo(&self) {
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

fn cannot_write(path: &Path, error: &std::io::Error) -> String {
    if error.kind() == std::io::ErrorKind::AlreadyExists {
        return format!("{} is there already; it was not replaced", path.display());
    }
    format!("{} cannot be written: {}", path.display(), Reason(error.kind()))
}

/// Letters of a node's name in the name of a file.
const MOST_NAME: usize = 40;
