//! `handfast airtime`: how long a frame is on the air.

use std::fmt::Write as _;

use clap::{ArgGroup, Args};

use crate::{
    frame::Direction,
    radio::{AirtimeError, AirtimeQuery, AirtimeReport, DutyCycle, Modulation, Rate},
    region::Plan,
    show,
};

/// Tell how long a frame is on the air, and what dwell time, duty cycle and range make of it
///
/// The data rate is given as SF7BW125 or FSK50000, or as a number with --region and --dr. The size is
/// that of the whole PHYPayload (a Join-Request has 23 octets, a Join-Accept 17 or 33), or of the
/// FRMPayload alone, to which 13 octets of frame are added.
#[derive(Args, Clone, Debug)]
#[command(
    group(ArgGroup::new("rate").required(true).args(["data_rate", "dr"])),
    group(ArgGroup::new("length").required(true).args(["size", "payload"])),
    after_help = "Examples:
  handfast airtime SF12BW125 --size 23
  handfast airtime SF9BW125 --payload 12 --snr -8.5 --duty 1%
  handfast airtime --region EU868 --dr 5 --size 33 --down --json"
)]
pub struct AirtimeArgs {
    /// Data rate, such as SF7BW125
    #[arg(value_name = "DATA_RATE")]
    pub data_rate: Option<Modulation>,
    /// Data rate as a number of the region
    #[arg(long, value_name = "NUMBER", requires = "region")]
    pub dr: Option<u8>,
    /// Region whose data rates and limits count, such as EU868
    #[arg(long, value_name = "NAME", requires = "dr")]
    pub region: Option<String>,
    /// Octets of the whole PHYPayload
    #[arg(long, value_name = "OCTETS")]
    pub size: Option<usize>,
    /// Octets of the FRMPayload of a data frame without FOpts
    #[arg(long, value_name = "OCTETS")]
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

/// Why `airtime` has nothing to tell.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AirtimeArgsError {
    /// No such region.
    #[error("no region is called {name}")]
    NoRegion {
        /// The name.
        name: String,
    },
    /// Neither a data rate nor its number.
    #[error("a data rate such as SF7BW125 is wanted, or --region and --dr")]
    NoRate,
    /// Neither of the two sizes.
    #[error("--size or --payload is wanted")]
    NoSize,
    /// No time on air.
    #[error(transparent)]
    Airtime(#[from] AirtimeError),
}

/// Returns what `handfast airtime` prints.
///
/// # Errors
///
/// When the region or its data rate is unknown, the frame too long, or no formula is at hand.
pub fn report(args: &AirtimeArgs) -> Result<String, AirtimeArgsError> {
    let rate = match (args.data_rate, &args.region, args.dr) {
        (Some(modulation), ..) => Rate::Modulation(modulation),
        (None, Some(name), Some(dr)) => {
            let no_region = || AirtimeArgsError::NoRegion { name: name.clone() };
            Rate::Number { plan: Plan::by_name(name).ok_or_else(no_region)?, dr }
        }
        _ => return Err(AirtimeArgsError::NoRate),
    };
    let phy_len = match (args.size, args.payload) {
        (Some(size), _) => size,
        (None, Some(payload)) => payload.saturating_add(FRAME),
        (None, None) => return Err(AirtimeArgsError::NoSize),
    };
    let direction = if args.down { Direction::Downlink } else { Direction::Uplink };
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

/// Reads decibels; f32 alone would take `inf` and `nan` too.
fn decibels(text: &str) -> Result<f32, &'static str> {
    text.parse().ok().filter(|x: &f32| x.is_finite()).ok_or("no number of decibels")
}

/// Octets of a data frame around its FRMPayload: MHDR 1, FHDR 7, FPort 1, MIC 4.
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
        ] {
            assert!(Line::try_parse_from(line.split(' ')).is_err(), "{line}");
        }
    }

    #[test]
    fn every_example_of_the_help_runs() {
        let help = Line::command().render_long_help().to_string();
        let examples: Vec<_> =
            help.lines().filter_map(|l| l.trim().strip_prefix("handfast ")).collect();
        assert_eq!(examples.len(), 3, "{help}");
        for line in examples {
            run(line).unwrap();
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
    fn an_unknown_region_is_named() {
        let error = run("airtime --region XX1 --dr 0 --size 23").unwrap_err();
        assert_eq!(error.to_string(), "no region is called XX1");
    }
}
