//! `handfast compare`: firmware, record and label held against each other.

use std::{
    io::{self, Read},
    path::{Path, PathBuf},
};

use clap::Args;
use zeroize::Zeroizing;

use super::{Failure, Screen, values};
use crate::{
    compare::{LabelText, Sources, compare, gather},
    region::Plan,
    roster::{
        self, LabelError, Roster, RosterError,
        firmware::{self, Firmware, SourceText},
        table::{self, Table},
    },
    show,
};

/// Hold firmware, record and label of nodes against each other, without any capture
///
/// What each place says comes from a roster, a C source, an identification string of a label, or a
/// CSV of records with a header line. Sources are matched to nodes by DevEUI in either byte order, by
/// name, or as the only one left. A key is never shown: a slip is told by the digits that differ.
#[derive(Args, Clone, Debug, Default)]
#[command(after_help = "Examples:
  handfast compare --roster orchard.toml
  handfast compare --firmware probes.h --records records.csv
  handfast compare --firmware probe.h \\
    --label LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D
  handfast compare --roster orchard.toml --firmware probe.h \\
    --node pear-row-3 --json

Exit status: 1 when a fault is found, 2 when a source is not whole (what is
whole is still compared) or the usage is wrong.")]
pub struct CompareArgs {
    /// Roster of nodes (TOML); - is standard input, here and below
    #[arg(long, value_name = "FILE")]
    pub roster: Option<PathBuf>,
    /// C header or source with what is built into nodes; may be repeated
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub firmware: Vec<PathBuf>,
    /// Records of nodes (CSV with a header line)
    #[arg(long, value_name = "FILE")]
    pub records: Option<PathBuf>,
    /// Identification string of a label (TR005); may be repeated
    #[arg(long, value_name = "STRING", num_args = 1..)]
    pub label: Vec<String>,
    /// Report this node alone; a lone source of another kind is taken for its
    #[arg(long, value_name = "NAME")]
    pub node: Option<String>,
    /// Region of records that name none, such as EU868
    #[arg(long, value_name = "NAME", value_parser = values::plan)]
    pub region: Option<&'static Plan>,
    /// Print JSON, one object a node
    #[arg(long)]
    pub json: bool,
}

/// Why `compare` has nothing to tell, or not everything.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CompareError {
    /// No source at all.
    #[error("nothing to compare: --roster, --firmware, --records or --label is wanted")]
    NoSource,
    /// No such node.
    #[error("no node is called {name:?}")]
    NoNode {
        /// The name.
        name: String,
    },
    /// Standard input twice.
    #[error("standard input can be read for one source only")]
    StdinTwice,
    /// Standard input that cannot be read, or is no text.
    #[error("standard input cannot be read: {0}")]
    Stdin(io::ErrorKind),
    /// A roster that cannot be used.
    #[error(transparent)]
    Roster(#[from] RosterError),
    /// A label that is no identification string.
    #[error("label {position}: {source}")]
    Label {
        /// Which label, from 1.
        position: usize,
        /// What is wrong with it.
        source: LabelError,
    },
    /// Sources are damaged; what is whole was compared.
    #[error("{}", faults.join("\n"))]
    Damaged {
        /// The report of what is whole, for standard output.
        shown: String,
        /// Every fault of the sources, a line each.
        faults: Vec<String>,
    },
}

/// Runs `compare`.
///
/// # Errors
/// [`Failure`] when there is nothing to compare, or standard output does not take the report.
pub fn run(args: &CompareArgs, screen: &mut Screen) -> Result<(), Failure> {
    let mut cautions = Vec::new();
    let compared = report(args, &mut cautions);
    for caution in &cautions {
        screen.word("caution", caution);
    }
    match compared {
        Ok((shown, fault)) => {
            if fault {
                screen.fault_found();
            }
            screen.data(&shown)
        }
        Err(CompareError::Damaged { shown, faults }) => {
            screen.data(&shown)?;
            for fault in &faults {
                screen.bad_input(fault, None);
            }
            Ok(())
        }
        Err(error) => Err(Failure::Report(error.to_string())),
    }
}

/// Returns what `handfast compare` prints, and whether a fault was found; `cautions` takes what is
/// to be said beside it.
///
/// # Errors
///
/// When there is nothing to compare, or a source is wrong; [`CompareError::Damaged`] has the report of
/// all that is whole.
pub fn report(
    args: &CompareArgs,
    cautions: &mut Vec<String>,
) -> Result<(String, bool), CompareError> {
    let mut faults = Vec::new();
    let sources = read(args, &mut faults)?;
    let warnings = sources.roster.iter().flat_map(|roster| &roster.warnings);
    cautions.extend(warnings.map(ToString::to_string));
    let mut gathered = gather(sources);
    if let Some(name) = &args.node
        && let [only] = gathered.subjects.as_mut_slice()
        && args.roster.is_none()
        && args.records.is_none()
    {
        // nothing else gives it a name
        only.node.name.clone_from(name);
    }
    let mut nodes = compare(&gathered.subjects, &gathered.context);
    if let Some(name) = &args.node {
        nodes.retain(|report| report.subject.node.name == *name);
        gathered.loose.retain(|loose| loose.node == *name);
        if nodes.is_empty() && faults.is_empty() {
            return Err(CompareError::NoNode { name: name.clone() });
        }
    }
    if nodes.is_empty() && faults.is_empty() {
        faults.push("no source names a node: nothing was compared".into());
    }
    let mut shown = String::new();
    // Writing into a String cannot fail.
    let _ = if args.json {
        show::compare::json(&nodes, &gathered, &mut shown)
    } else {
        show::compare::text(&nodes, &gathered, &mut shown)
    };
    if !faults.is_empty() {
        return Err(CompareError::Damaged { shown, faults });
    }
    Ok((shown, nodes.iter().any(crate::compare::NodeReport::has_fault)))
}

fn read(args: &CompareArgs, faults: &mut Vec<String>) -> Result<Sources, CompareError> {
    let files = args.roster.iter().chain(&args.firmware).chain(&args.records);
    match files.filter(|path| is_stdin(path)).count() {
        0 | 1 => {}
        _ => return Err(CompareError::StdinTwice),
    }
    let none = args.roster.is_none() && args.firmware.is_empty() && args.records.is_none();
    if none && args.label.is_empty() {
        return Err(CompareError::NoSource);
    }
    let mut labels = Vec::new();
    for (i, text) in args.label.iter().enumerate() {
        let text = text.trim();
        let label =
            text.parse().map_err(|source| CompareError::Label { position: i + 1, source })?;
        labels.push(LabelText { text: text.to_owned(), label });
    }
    Ok(Sources {
        roster: args.roster.as_deref().map(read_roster).transpose()?,
        firmware: read_firmware(&args.firmware, faults)?,
        table: args.records.as_deref().map(|path| read_table(path, faults)).transpose()?,
        labels,
        node: args.node.clone(),
        region: args.region,
    })
}

fn read_roster(path: &Path) -> Result<Roster, CompareError> {
    Ok(if is_stdin(path) { roster::parse(&stdin()?, None)? } else { roster::read_file(path)? })
}

fn read_firmware(paths: &[PathBuf], faults: &mut Vec<String>) -> Result<Firmware, CompareError> {
    let mut texts = Vec::new();
    for path in paths {
        if is_stdin(path) {
            texts.push(SourceText::new("standard input", stdin()?.as_str()));
            continue;
        }
        match SourceText::read_file(path) {
            Ok(text) => texts.push(text),
            Err(fault) => faults.push(fault.to_string()),
        }
    }
    let firmware = firmware::parse(&texts);
    faults.extend(firmware.faults.iter().map(ToString::to_string));
    Ok(firmware)
}

fn read_table(path: &Path, faults: &mut Vec<String>) -> Result<(String, Table), CompareError> {
    let name = if is_stdin(path) { "standard input".into() } else { path.display().to_string() };
    let table = if is_stdin(path) { Ok(table::parse(&stdin()?)) } else { table::read_file(path) };
    let table = table.unwrap_or_else(|fault| {
        faults.push(format!("{name}: {fault}"));
        Table::default()
    });
    faults.extend(table.faults.iter().map(|fault| format!("{name}: {fault}")));
    Ok((name, table))
}

fn is_stdin(path: &Path) -> bool {
    path.as_os_str() == "-"
}

fn stdin() -> Result<Zeroizing<String>, CompareError> {
    let mut text = Zeroizing::new(String::new());
    let read = io::stdin().lock().take(STDIN_CAP + 1).read_to_string(&mut text);
    match read {
        Ok(octets) if octets as u64 > STDIN_CAP => {
            Err(CompareError::Stdin(io::ErrorKind::FileTooLarge))
        }
        Ok(_) => Ok(text),
        Err(error) => Err(CompareError::Stdin(error.kind())),
    }
}

/// Octets that are read of standard input.
const STDIN_CAP: u64 = 4 << 20;

#[cfg(test)]
mod tests {
    use clap::{CommandFactory, Parser};

    use super::*;

    #[derive(Debug, Parser)]
    struct Line {
        #[command(flatten)]
        args: CompareArgs,
    }

    fn run(words: &[&str]) -> Result<(String, bool), CompareError> {
        let words = ["compare"].iter().chain(words);
        report(&Line::try_parse_from(words).unwrap().args, &mut Vec::new())
    }

    const HEADER: &str = "vectors/compare/probes.h";
    const RECORDS: &str = "vectors/compare/records.csv";
    const LABEL: &str = "LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D";

    #[test]
    fn the_options_fit_together() {
        Line::command().debug_assert();
        assert_eq!(run(&[]).unwrap_err(), CompareError::NoSource);
        assert_eq!(
            run(&["--firmware", "-", "--records", "-"]).unwrap_err(),
            CompareError::StdinTwice
        );
        let error = run(&["--label", "LW:D1:"]).unwrap_err();
        assert_eq!(error.to_string(), "label 1: the string does not start with LW:D0:");
        let error = Line::try_parse_from(["compare", "--records", RECORDS, "--region", "MOON1"]);
        assert!(error.unwrap_err().to_string().contains("there are EU868, US915"));
        let error = run(&["--records", RECORDS, "--node", "fig"]).unwrap_err();
        assert_eq!(error.to_string(), "no node is called \"fig\"");
    }

    #[test]
    fn every_kind_of_source_is_read() {
        let (shown, fault) =
            run(&["--firmware", HEADER, "--records", RECORDS, "--label", LABEL]).unwrap();
        assert!(!fault, "{shown}");
        assert_eq!(shown.matches(": no difference").count(), 3, "{shown}");
        let (shown, _) =
            run(&["--firmware", HEADER, "--records", RECORDS, "--node", "pear-row-3", "--json"])
                .unwrap();
        assert_eq!(shown.lines().count(), 1, "{shown}");
    }

    #[test]
    fn a_source_without_a_node_is_no_clean_bill() {
        let error = run(&["--firmware", "src/lib.rs"]).unwrap_err();
        assert_eq!(error.to_string(), "no source names a node: nothing was compared");
    }

    #[test]
    fn what_is_whole_is_shown_beside_the_faults() {
        let error = run(&["--firmware", HEADER, "--records", "no/such/file.csv"]).unwrap_err();
        let CompareError::Damaged { shown, faults } = error else { panic!("{error}") };
        assert!(shown.contains("pear-row-3"), "{shown}");
        assert_eq!(faults, ["no/such/file.csv: cannot be read: no such file"]);
    }
}
