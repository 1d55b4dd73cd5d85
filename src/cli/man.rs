//! `man`: manual pages, made from the same definition as the help.

use std::{
    fs,
    io::{self, Write},
    path::{Path, PathBuf},
};

use clap::Command;
use clap_mangen::Man;

use super::{
    Failure, Screen, UsageError, definition,
    output::{Destination, FileKind},
};
use crate::words::Visible;

/// Print a manual page, or write all of them
///
/// A page is made from the same words as --help. With --dir every page is written into a folder,
/// which is made if need be: handfast.1, and handfast-read.1 and its fellows, a page a command.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct ManArgs {
    /// The command; without one the page of the program itself
    #[arg(conflicts_with = "dir")]
    command: Option<String>,
    /// Write all pages into this folder
    #[arg(long, value_name = "DIR")]
    dir: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  handfast man | man -l -                            the program's page
  handfast man diagnose | man -l -                   a command's page
  handfast man --dir ~/.local/share/man/man1         all pages, for `man handfast-read`

Exit status: 2 when a page cannot be had or written or the usage is wrong,
else 0.";

/// Runs `man`.
///
/// # Errors
/// [`Failure::Report`] when there is no such command, [`Failure::Usage`] when a page cannot be
/// written, [`Failure::Write`] when standard output does not take the page.
pub fn run(args: &ManArgs, screen: &mut Screen) -> Result<(), Failure> {
    let all = pages();
    if let Some(dir) = &args.dir {
        for (name, page) in &all {
            write(dir, &format!("{name}.1"), page)?;
        }
        screen.word("note", &format!("{} pages written into {}", all.len(), Visible::path(dir)));
        return Ok(());
    }
    let name = args.command.as_ref().map_or_else(|| PROGRAM.into(), |c| format!("{PROGRAM}-{c}"));
    if let Some((_, page)) = all.iter().find(|(own, _)| *own == name) {
        return screen.data(page);
    }
    let known: Vec<&str> =
        all.iter().filter_map(|(own, _)| own.strip_prefix("handfast-")).collect();
    let asked = args.command.as_deref().unwrap_or_default();
    Err(Failure::Report(format!("there is no command {asked:?}: {}", known.join(", "))))
}

fn write(dir: &Path, name: &str, page: &str) -> Result<(), Failure> {
    let path = dir.join(name);
    fs::create_dir_all(dir).map_err(|error| UsageError::File { path: path.clone(), error })?;
    let (option, kind) = ("--dir", FileKind::Manual);
    Destination { option, path: &path, kind, force: false, secret: false }.write(&[], page)
}

/// Returns every page with its name, the program's first.
fn pages() -> Vec<(String, String)> {
    let mut program = definition();
    program.build();
    let commands = program.get_subcommands().filter(|command| !command.is_hide_set());
    let mut pages = vec![(PROGRAM.to_owned(), page(&program))];
    for command in commands {
        let name = format!("{PROGRAM}-{}", command.get_name());
        // The page is named after the command as `man` finds it; its usage stays as it is typed.
        let own = command.clone().version(env!("CARGO_PKG_VERSION"));
        pages.push((name.clone(), page(&own.display_name(name))));
    }
    pages
}

fn page(command: &Command) -> String {
    let mut octets = Vec::new();
    // Writing into memory does not fail.
    let _ = render(command, &mut octets);
    String::from_utf8_lossy(&octets).into_owned()
}

/// Renders a page; what `--help` says at its end keeps its lines.
fn render(command: &Command, out: &mut Vec<u8>) -> io::Result<()> {
    let name = command.get_display_name().unwrap_or(command.get_name());
    let man = Man::new(command.clone())
        .title(name.to_owned())
        .source(concat!("handfast ", env!("CARGO_PKG_VERSION")));
    man.render_title(out)?;
    man.render_name_section(out)?;
    man.render_synopsis_section(out)?;
    man.render_description_section(out)?;
    if command.get_arguments().any(|argument| !argument.is_hide_set()) {
        man.render_options_section(out)?;
    }
    if command.has_subcommands() {
        man.render_subcommands_section(out)?;
    }
    if let Some(help) = command.get_after_help() {
        let help = help.to_string();
        let (title, lines) = help.split_once(":\n").unwrap_or(("Notes", &help));
        writeln!(out, ".SH {}\n.nf", title.to_uppercase())?;
        for line in lines.lines() {
            // A line must not begin with a control character of roff.
            let line = line.replace('\\', "\\e").replace('-', "\\-");
            let guard = if line.starts_with(['.', '\'']) { "\\&" } else { "" };
            writeln!(out, "{guard}{line}")?;
        }
        writeln!(out, ".fi")?;
    }
    man.render_version_section(out)
}

const PROGRAM: &str = "handfast";
