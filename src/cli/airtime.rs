//! `handfast airtime`: how long a frame is on the air, and every sender of a capture.

use std::{fmt::Write as _, path::PathBuf};

use clap::{ArgGroup, Args};

use super::{Failure, Screen, captures, rosters, values};
use crate::{
    airtime::{AirtimeError, AirtimeQuery, AirtimeReport, Meter, Rate},
    frame::Direction,
    radio::{DutyCycle, Modulation},
    region::Plan,
    roster::Roster,
    show,
};

/// Say how long a frame is on the air, and what dwell time, duty cycle and range make of it
///
/// The data rate is given as SF7BW125 or FSK50000, or as a number with --region and --dr. The size is
/// that of the complete PHYPayload (a Join-Request has 23 bytes, a Join-Accept 17 or 33), or of the
/// FRMPayload alone, to which 13 bytes of frame are added.
///
/// With --capture: how long each node and each gateway was on the air, and which limits of the region
/// that passes. Local rules decide what is allowed.
#[derive(Args, Clone, Debug)]
#[command(
    group(ArgGroup::new("rate").required(true).args(["data_rate", "dr", "captures"])),
    group(ArgGroup::new("length").required(true).args(["size", "payload", "captures"])),
    override_usage = "handfast airtime <DATA_RATE> --size <BYTES> [OPTIONS]
       handfast airtime --region <NAME> --dr <NUMBER> --size <BYTES> [OPTIONS]
       handfast airtime --capture <FILE>... [OPTIONS]",
    after_help = "Examples:
  handfast airtime SF12BW125 --size 23
  handfast airtime SF9BW125 --payload 12 --snr -8.5 --duty 1%
  handfast airtime SF10BW500 --region AU915 --size 33 --down
  handfast airtime --region EU868 --dr 5 --size 33 --down --json
  handfast airtime --capture gateway.ndjson --roster orchard.toml
  handfast airtime --capture gateway.ndjson --region EU868 --json

Exit status: 1 when a sender of a capture passes a limit of its region, 2 when
an input is incomplete (what is intact still counts) or the usage is wrong."
)]
pub struct AirtimeArgs {
    /// Data rate, such as SF7BW125
    #[arg(value_name = "DATA_RATE")]
    pub data_rate: Option<Modulation>,
    /// Take only capture formats and bare frames; look for no frames hidden in other text
    #[arg(long, requires = "captures")]
    pub strict: bool,
    /// Data rate as a number of the region
    #[arg(long, value_name = "NUMBER", requires = "region")]
    pub dr: Option<u8>,
    /// Region whose data rates and limits count, such as EU868; of a capture where the roster states none
    #[arg(long, value_name = "NAME", value_parser = values::plan)]
    pub region: Option<&'static Plan>,
    /// Captures to add up: one JSON object a line; `-` is standard input
    #[arg(long = "capture", value_name = "FILE", num_args = 1..)]
    #[arg(conflicts_with_all = ["down", "duty", "snr"])]
    pub captures: Vec<PathBuf>,
    /// Nodes and gateways by name, with their regions (TOML)
    #[arg(long, value_name = "FILE", requires = "captures")]
    #[arg(conflicts_with_all = ["size", "payload"])]
    pub roster: Option<PathBuf>,
    /// Bytes of the complete PHYPayload
    #[arg(long, value_name = "BYTES")]
    pub size: Option<usize>,
    /// Bytes of the FRMPayload of a data frame without FOpts
    #[arg(long, value_name = "BYTES")]
    pub payload: Option<usize>,
    /// Take it for a downlink, which carries no CRC
    #[arg(long)]
    pub down: bool,
    /// Duty cycle of the band; without it 0.1%, 1% and 10% are shown
    #[arg(long, value_name = "PERCENT")]
    pub duty: Option<DutyCycle>,
    /// SNR in dB at the receiver, for the margin
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = decibels)]
    pub snr: Option<f32>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Why `airtime` has nothing to say.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AirtimeArgsError {
    /// A data rate that the region does not have.
    #[error("{plan} has no {modulation} in the {way}link direction; there are {known}")]
    NotInRegion {
        /// The region.
        plan: &'static str,
        /// The data rate.
        modulation: Modulation,
        /// The direction, `up` or `down`.
        way: &'static str,
        /// The data rates there are.
        known: String,
    },
    /// Neither a data rate nor its number.
    #[error("a data rate such as SF7BW125 is needed, or --region and --dr")]
    NoRate,
    /// Neither of the two sizes.
    #[error("--size or --payload is needed")]
    NoSize,
    /// No time on air.
    #[error(transparent)]
    Airtime(#[from] AirtimeError),
}

/// Runs `airtime`.
///
/// # Errors
///
/// [`Failure`] when the region or the roster cannot be taken or standard output does not take the
/// report. Damaged lines of a capture are reported and skipped.
pub fn run(args: &AirtimeArgs, screen: &mut Screen) -> Result<(), Failure> {
    if args.captures.is_empty() {
        return screen.report(report(args));
    }
    let roster = match &args.roster {
        Some(path) => rosters::read(path, rosters::takes_stdin(&args.captures), screen)?,
        None => Roster::default(),
    };
    let mut meter = Meter::new(&roster, args.region);
    captures::read_all(&args.captures, args.strict, screen, &mut |event| {
        meter.push(&event);
    });
    let report = meter.finish();
    if report.passes_a_limit() {
        screen.fault_found();
    }
    let mut out = String::new();
    // Writing into a String cannot fail.
    let _ = if args.json {
        show::airtime::capture::json(&report, &mut out)
    } else {
        show::airtime::capture::text(&report, screen.style(), &mut out)
    };
    screen.data(&out)
}

/// Returns what `handfast airtime` prints of a single frame.
///
/// # Errors
///
/// When the region or its data rate is unknown, the frame too long, or no formula is at hand.
pub fn report(args: &AirtimeArgs) -> Result<String, AirtimeArgsError> {
    let direction = if args.down { Direction::Downlink } else { Direction::Uplink };
    let rate = match (args.data_rate, args.region, args.dr) {
        (Some(modulation), None, _) => Rate::Modulation(modulation),
        (Some(modulation), Some(plan), _) => in_region(modulation, plan, direction)?,
        (None, Some(plan), Some(dr)) => Rate::Number { plan, dr },
        _ => return Err(AirtimeArgsError::NoRate),
    };
    let phy_len = match (args.size, args.payload) {
        (Some(size), _) => size,
        (None, Some(payload)) => payload.saturating_add(FRAME),
        (None, None) => return Err(AirtimeArgsError::NoSize),
    };
    let query = AirtimeQuery { phy_len, direction, rate, duty: args.duty, snr: args.snr };
    let report = AirtimeReport::new(query)?;
    let mut out = String::new();
    // Writing into a String cannot fail.
    let _ = if args.json {
        writeln!(out, "{}", show::airtime::json(&report))
    } else {
        show::airtime::text(&report, &mut out)
    };
    Ok(out)
}

/// Returns a data rate as the region has it.
fn in_region(
    modulation: Modulation,
    plan: &'static Plan,
    direction: Direction,
) -> Result<Rate, AirtimeArgsError> {
    if let Some(dr) = plan.dr_of(direction, modulation) {
        return Ok(Rate::Number { plan, dr });
    }
    let known =
        (0..16).filter_map(|dr| plan.dr(direction, dr).map(|rate| format!("{rate} (DR{dr})")));
    let known = known.collect::<Vec<_>>().join(", ");
    let (plan, way) = (plan.name, direction.name());
    Err(AirtimeArgsError::NotInRegion { plan, modulation, way, known })
}

/// Reads decibels; f32 alone would take `inf` and `nan` too.
fn decibels(text: &str) -> Result<f32, &'static str> {
    text.parse().ok().filter(|x: &f32| x.is_finite()).ok_or("no number of decibels")
}

/// Bytes of a data frame around its FRMPayload: MHDR 1, FHDR 7, FPort 1, MIC 4.
const FRAME: usize = 13;

#[cfg(test)]
mod tests {
    use clap::{CommandFactory, Parser};

    use super::*;

    #[derive(Debug, Parser)]
    struct Line {
        #[command(flatten)]
        args: AirtimeArgs,
    }

    fn run(line: &str) -> Result<String, AirtimeArgsError> {
        report(&Line::try_parse_from(line.split(' ')).unwrap().args)
    }

    #[test]
    fn the_options_fit_together() {
        Line::command().debug_assert();
        for line in [
            "airtime SF7BW125",
            "airtime --size 23",
            "airtime --dr 5 --size 23",
            "airtime SF7BW125 --dr 5 --region EU868 --size 23",
            "airtime SF7BW125 --size 23 --payload 1",
            "airtime SF7 --size 23",
            "airtime SF7BW125 --size 23 --duty 0",
            "airtime SF7BW125 --size 23 --snr nan",
            "airtime SF7BW125 --size 23 --roster r.toml",
            "airtime --capture c.ndjson --size 23",
            "airtime --capture c.ndjson --dr 5",
            "airtime --capture c.ndjson --snr 3",
        ] {
            assert!(Line::try_parse_from(line.split(' ')).is_err(), "{line}");
        }
    }

    #[test]
    fn every_example_of_the_help_runs() {
        let help = Line::command().render_long_help().to_string();
        let (_, after) = help.split_once("Examples:").unwrap();
        let examples: Vec<_> =
            after.lines().filter_map(|l| l.trim().strip_prefix("handfast ")).collect();
        assert_eq!(examples.len(), 6, "{help}");
        for line in examples {
            let args = Line::try_parse_from(line.split(' ')).unwrap().args;
            // Those of captures want files; tests/all/airtime.rs runs the like.
            if args.captures.is_empty() {
                report(&args).unwrap();
            }
        }
    }

    #[test]
    fn a_payload_is_counted_with_its_frame() {
        assert_eq!(run("airtime SF9BW125 --payload 0"), run("airtime SF9BW125 --size 13"));
        assert!(run("airtime SF9BW125 --payload 0").unwrap().contains(": 164.864 ms on the air"));
    }

    #[test]
    fn a_negative_snr_is_a_number() {
        let shown = run("airtime SF7BW125 --size 23 --snr -3.5").unwrap();
        assert!(shown.contains("SNR -3.5 dB is 4 dB above the floor of -7.5 dB"), "{shown}");
    }

    #[test]
    fn a_data_rate_counts_as_its_region_has_it() {
        assert_eq!(
            run("airtime SF10BW125 --region US915 --size 20"),
            run("airtime --dr 0 --region US915 --size 20")
        );
        // RP002-1.0.5, US915: uplinks have DR0 to DR6, of which 500 kHz is SF8 alone.
        let error = run("airtime SF12BW125 --region US915 --size 20").unwrap_err().to_string();
        assert!(error.starts_with("US915 has no SF12BW125 in the uplink direction; "), "{error}");
        assert!(error.contains("SF10BW125 (DR0)") && error.contains("SF8BW500 (DR4)"), "{error}");
        assert!(!error.contains("SF12BW500"), "{error}");
        let error = run("airtime SF12BW125 --region US915 --size 20 --down").unwrap_err();
        assert!(error.to_string().contains("SF12BW500 (DR8)"), "{error}");
    }

    #[test]
    fn an_unknown_region_is_answered_with_those_there_are() {
        let error = Line::try_parse_from("airtime --region XX1 --dr 0 --size 23".split(' '));
        let error = error.unwrap_err().to_string();
        for plan in Plan::all() {
            assert!(error.contains(plan.name), "{error}");
        }
    }
}
