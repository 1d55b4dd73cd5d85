//! `handfast roster`: a roster from sources of firmware, exports of servers, labels.

mod made;
mod new;

use std::{
    fs,
    path::{Path, PathBuf},
};

use clap::Args;
use zeroize::Zeroizing;

use self::made::{Made, cannot_write, plain};
use super::{
    Failure, Screen,
    claims::{self, ClaimArgs},
    values,
};
use crate::{
    region::Plan,
    roster::written::{self, KeyAt},
    words::{Count, Visible},
};

/// Write a roster from firmware sources, server exports and labels
///
/// What was taken from where is said on standard error. A byte order that nothing says is not guessed:
/// the value is left out, and --byte-order says it. The roster holds keys, in itself or in files of
/// their own (--key-files): all of them are for their owner alone, and no file is replaced.
#[derive(Args, Clone, Debug)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
#[command(after_help = "Examples:
  handfast roster --firmware probes.h --records all.json --output new.toml
  handfast roster --records all.csv --key-files keys --output new.toml
  handfast roster new probe-09 --output probe-09

Exit status: 2 when an input is not intact (everything intact is still written)
or the usage is wrong, else 0.")]
pub struct RosterArgs {
    /// Make credentials instead.
    #[command(subcommand)]
    command: Option<RosterCommand>,
    /// Where claims are.
    #[command(flatten)]
    pub claims: ClaimArgs,
    /// The roster's region, such as EU868
    #[arg(long, value_name = "NAME", value_parser = values::plan)]
    pub region: Option<&'static Plan>,
    /// The roster to write (TOML); it must not exist
    #[arg(long, value_name = "FILE", required = true)]
    pub output: Option<PathBuf>,
    /// Write each key into a file of its own in this directory; the roster names the file
    #[arg(long, value_name = "DIR")]
    pub key_files: Option<PathBuf>,
}

#[derive(clap::Subcommand, Clone, Debug)]
enum RosterCommand {
    New(new::NewArgs),
}

/// Runs `roster`.
///
/// # Errors
/// [`Failure`] when nothing was taken, or a file cannot be written.
pub fn run(args: &RosterArgs, screen: &mut Screen) -> Result<(), Failure> {
    if let Some(RosterCommand::New(args)) = &args.command {
        return new::run(args, screen);
    }
    let Some(output) = &args.output else {
        return Err(Failure::Report("--output FILE expected".into()));
    };
    if args.claims.is_empty() {
        let words = "nothing to take claims from: --firmware, --records or --label expected";
        return Err(Failure::Report(words.into()));
    }
    let roster = claims::roster(None, &args.claims, false, args.region, screen)?;
    if roster.nodes.is_empty() {
        return Err(Failure::Report("no source names a node: nothing was written".into()));
    }
    let mut made = Made::default();
    if let Err(words) = write(args, output, &roster.nodes, &mut made) {
        made.undo();
        return Err(Failure::Report(words));
    }
    let keys = made.count().saturating_sub(1);
    let keys_in =
        |directory: &Path| format!(", {} in {}", Count(keys, "key"), Visible::path(directory));
    let mut words = format!("{} in {}", Count(roster.nodes.len(), "node"), Visible::path(output));
    if let Some(directory) = args.key_files.as_deref().filter(|_| keys > 0) {
        words += &keys_in(directory);
    }
    screen.word("note", &words);
    Ok(())
}

fn write(
    args: &RosterArgs,
    output: &Path,
    nodes: &[crate::roster::Node],
    made: &mut Made,
) -> Result<(), String> {
    // Before any key is written it is known that the roster can be.
    let out = Made::begin(output)?;
    let directory = match &args.key_files {
        Some(path) => Some(key_directory(path, output, made)?),
        None => None,
    };
    let text = written::toml(args.region, nodes, |at| match &directory {
        Some((path, from_roster)) => write_key(path, from_roster, at, made).map(Some),
        None => Ok(None),
    })?;
    made.finish(output, out, &text)
}

/// Makes the directory of keys; returns it, and how the roster names it.
fn key_directory(path: &Path, output: &Path, made: &mut Made) -> Result<(PathBuf, String), String> {
    let cannot = |error| cannot_write(path, &error);
    made.directory(path)?;
    let whole = fs::canonicalize(path).map_err(cannot)?;
    let beside = output.parent().filter(|parent| !parent.as_os_str().is_empty());
    let beside = fs::canonicalize(beside.unwrap_or(Path::new("."))).map_err(cannot)?;
    let named = whole.strip_prefix(&beside).unwrap_or(&whole);
    let Some(named) = named.to_str() else {
        return Err(format!("{}: its name is not UTF-8", Visible::path(path)));
    };
    Ok((whole.clone(), named.to_owned()))
}

/// Writes a key into its file; returns how the roster names it.
fn write_key(
    directory: &Path,
    named: &str,
    at: KeyAt<'_>,
    made: &mut Made,
) -> Result<String, String> {
    let KeyAt { index, node, kind, member, key } = at;
    let name = format!("{}-{}-{}-{member}.key", index + 1, plain(node), kind.name());
    let mut digits = Zeroizing::new(String::with_capacity(33));
    digits.push_str(&Zeroizing::new(key.revealed()));
    digits.push('\n');
    made.write(&directory.join(&name), &digits)?;
    Ok(Path::new(named).join(&name).to_string_lossy().into_owned())
}
