//! `handfast compare`: firmware, record and label held against each other, and a gateway's configuration
//! against its record.

use std::path::PathBuf;

use clap::Args;

use super::{Failure, Screen, UsageError, claims::ClaimArgs, gateway_configs, rosters, values};
use crate::{
    compare::{NodeReport, Sources, compare, gather},
    ladder::{self, GatewayDiagnosis},
    region::Plan,
    roster::Roster,
    show::{self, Style},
};

/// Hold firmware, record and label of nodes against each other, without any capture
///
/// What each place says comes from a roster, a source of the firmware, labels, or a server's export of
/// records. Sources are matched to nodes by DevEUI in either byte order, by
/// name, or as the only one left. A key is never shown: a typing error is reported by the digits that
/// differ. With --gateway-config a gateway's own file is held against its entry on the roster: server,
/// ports, EUI, and the channels against the region.
#[derive(Args, Clone, Debug, Default)]
#[command(after_help = "Examples:
  handfast compare --roster orchard.toml
  handfast compare --firmware probes.h --records records.csv
  handfast compare --firmware src/credentials.rs --byte-order lsb \\
    --records export.json
  handfast compare --firmware probe.h \\
    --label LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D
  handfast compare --roster orchard.toml --firmware probe.h \\
    --node pear-row-3 --json
  handfast compare --roster orchard.toml --gateway-config gateway.json

Exit status: 1 when a fault is found, 2 when a source is not intact (everything
intact is still compared) or the usage is wrong.")]
#[command(mut_arg("firmware", |arg| arg.num_args(1..)))]
#[command(mut_arg("records", |arg| arg.num_args(1..)))]
#[command(mut_arg("label", |arg| arg.num_args(1..)))]
pub struct CompareArgs {
    /// Roster of nodes and gateways (TOML); - is standard input, here and below
    #[arg(long, value_name = "FILE")]
    pub roster: Option<PathBuf>,
    /// Where claims are besides.
    #[command(flatten)]
    pub claims: ClaimArgs,
    /// A gateway's own configuration (JSON, comments allowed); a second file overrides the first
    #[arg(long, value_name = "FILE")]
    pub gateway_config: Vec<PathBuf>,
    /// Report this node alone; a lone source of another kind is taken for its
    #[arg(long, value_name = "NAME")]
    pub node: Option<String>,
    /// Region of records and gateways that name none, such as EU868
    #[arg(long, value_name = "NAME", value_parser = values::plan)]
    pub region: Option<&'static Plan>,
    /// Print JSON, one object a gateway, then one a node
    #[arg(long)]
    pub json: bool,
}

/// Why `compare` has nothing to say.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CompareError {
    /// No source at all.
    #[error(
        "nothing to compare: --roster, --firmware, --records, --label or --gateway-config expected"
    )]
    NoSource,
    /// No such node.
    #[error("no node is called {name:?}")]
    NoNode {
        /// The name.
        name: String,
    },
}

/// What was compared.
#[derive(Clone, Debug, Default)]
pub struct Compared {
    /// The report of everything intact.
    pub shown: String,
    /// Whether a fault was found.
    pub fault: bool,
    /// What is wrong with the sources.
    pub faults: Vec<String>,
}

/// Runs `compare`.
///
/// # Errors
/// [`Failure`] when there is nothing to compare, or standard output does not take the report.
pub fn run(args: &CompareArgs, screen: &mut Screen) -> Result<(), Failure> {
    let none = args.roster.is_none() && args.claims.is_empty() && args.gateway_config.is_empty();
    if none {
        return Err(Failure::Report(CompareError::NoSource.to_string()));
    }
    let roster_is_stdin = args.roster.as_ref().is_some_and(|path| path.as_os_str() == "-");
    if args.claims.stdins() + usize::from(roster_is_stdin) > 1 {
        return Err(UsageError::StdinTwice.into());
    }
    let roster = match &args.roster {
        Some(path) => Some(rosters::read(path, false, screen)?),
        None => None,
    };
    let compared =
        report(args, roster, screen.style()).map_err(|error| Failure::Report(error.to_string()))?;
    if compared.fault {
        screen.fault_found();
    }
    screen.data(&compared.shown)?;
    for fault in &compared.faults {
        screen.bad_input(fault, None);
    }
    Ok(())
}

/// Returns what `handfast compare` prints.
///
/// # Errors
///
/// When there is nothing to compare.
pub fn report(
    args: &CompareArgs,
    roster: Option<Roster>,
    style: Style,
) -> Result<Compared, CompareError> {
    let read = args.claims.read();
    let mut faults = read.faults;
    let mut roster = roster;
    let gateways = gateways(args, roster.get_or_insert_default(), &mut faults);
    let mut gathered = gather(Sources {
        roster,
        firmware: read.firmware,
        tables: read.tables,
        labels: read.labels,
        node: args.node.clone(),
        region: args.region,
    });
    if let Some(name) = &args.node
        && let [only] = gathered.subjects.as_mut_slice()
        && args.roster.is_none()
        && args.claims.records.is_empty()
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
    if nodes.is_empty() && gateways.is_empty() && faults.is_empty() {
        faults.push("no source names a node: nothing was compared".into());
    }
    let mut shown = String::new();
    // Writing into a String cannot fail.
    let _ = if args.json {
        gateways
            .iter()
            .try_for_each(|gateway| show::json::gateway(gateway, &mut shown))
            .and_then(|()| show::compare::json(&nodes, &gathered, &mut shown))
    } else {
        for gateway in &gateways {
            let gap = if shown.is_empty() { "" } else { "\n" };
            shown.push_str(gap);
            let _ = show::text::gateway(gateway, style, show::text::Depth::Full, &mut shown);
        }
        if !gateways.is_empty() && !nodes.is_empty() {
            shown.push('\n');
        }
        show::compare::text(&nodes, &gathered, &mut shown)
    };
    let fault =
        nodes.iter().any(NodeReport::has_fault) || gateways.iter().any(GatewayDiagnosis::has_fault);
    Ok(Compared { shown, fault, faults })
}

/// Climbs the ladders of the gateways whose own configuration is at hand, unless one node alone is asked for.
fn gateways(
    args: &CompareArgs,
    roster: &mut Roster,
    faults: &mut Vec<String>,
) -> Vec<GatewayDiagnosis> {
    faults.extend(gateway_configs::attach(&args.gateway_config, roster));
    if args.node.is_some() && args.gateway_config.is_empty() {
        return Vec::new();
    }
    ladder::configured(roster, args.region)
}

#[cfg(test)]
mod tests {
    use clap::{CommandFactory, Parser};

    use super::*;

    #[derive(Debug, Parser)]
    struct Line {
        #[command(flatten)]
        args: CompareArgs,
    }

    fn args(words: &[&str]) -> CompareArgs {
        Line::try_parse_from(["compare"].iter().chain(words)).unwrap().args
    }

    fn run(words: &[&str]) -> Result<Compared, CompareError> {
        report(&args(words), None, Style { width: 80, colour: false })
    }

    const HEADER: &str = "vectors/compare/probes.h";
    const RECORDS: &str = "vectors/compare/records.csv";
    const LABEL: &str = "LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D";

    #[test]
    fn the_options_fit_together() {
        Line::command().debug_assert();
        assert_eq!(args(&["--firmware", "-", "--records", "-"]).claims.stdins(), 2);
        let compared = run(&["--label", "LW:D0:02"]).unwrap();
        assert_eq!(compared.faults, ["label 1: JoinEUI at character 7 is not 16 hex digits"]);
        let error = Line::try_parse_from(["compare", "--records", RECORDS, "--region", "MOON1"]);
        assert!(error.unwrap_err().to_string().contains("there are EU868, US915"));
        let error = run(&["--records", RECORDS, "--node", "fig"]).unwrap_err();
        assert_eq!(error.to_string(), "no node is called \"fig\"");
    }

    #[test]
    fn every_kind_of_source_is_read() {
        let compared =
            run(&["--firmware", HEADER, "--records", RECORDS, "--label", LABEL]).unwrap();
        assert!(!compared.fault && compared.faults.is_empty(), "{compared:?}");
        let shown = compared.shown;
        assert_eq!(shown.matches(": no difference").count(), 3, "{shown}");
        let words = ["--firmware", HEADER, "--records", RECORDS, "--node", "pear-row-3", "--json"];
        let shown = run(&words).unwrap().shown;
        assert_eq!(shown.lines().count(), 1, "{shown}");
    }

    #[test]
    fn a_source_of_which_nothing_is_taken_is_no_clean_bill() {
        let compared = run(&["--firmware", "src/lib.rs"]).unwrap();
        let [fault] = compared.faults.as_slice() else { panic!("{compared:?}") };
        assert!(fault.starts_with("src/lib.rs: nothing taken: looked for"), "{fault}");
        let compared = run(&["--label", "hello"]).unwrap();
        assert!(compared.faults[0].starts_with("label 1: looked for LW:D0:"), "{compared:?}");
    }

    #[test]
    fn everything_intact_is_shown_with_the_faults() {
        let compared = run(&["--firmware", HEADER, "--records", "no/such/file.csv"]).unwrap();
        assert!(compared.shown.contains("pear-row-3"), "{compared:?}");
        assert_eq!(compared.faults, ["no/such/file.csv: cannot be read: no such file"]);
    }
}
