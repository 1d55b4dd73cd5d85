//! `handfast beacon`: a Class B beacon, and the ping slots that follow from it.

use clap::Args;

use super::{Failure, Screen, values};
use crate::{
    frame::{
        MacVersion,
        beacon::{self, BeaconError, Periodicity},
    },
    id::DevAddr,
    intake::{TextError, frame_text},
    region::{BeaconOnPlan, PingSlots, Plan},
    show::beacon::{Report, json, text},
};

/// Decode a Class B beacon: check both CRCs, show its time and place, compute ping slots
///
/// A beacon is not a PHYPayload: a sniffer shows its 17, 19 or 23 bytes without header. With --dev-addr
/// and --periodicity the ping slots of a node or of a multicast group in this beacon period are
/// computed, with --region also where they are.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub struct BeaconArgs {
    /// The bytes in hex or base64
    #[arg(value_name = "BEACON")]
    pub beacon: String,
    /// Channel plan, such as EU868
    #[arg(long, value_name = "NAME", value_parser = values::plan)]
    pub region: Option<&'static Plan>,
    /// Link layer version, where it changes what bytes mean: 1.0.2, 1.0.3, 1.0.4, 1.1
    #[arg(long, value_name = "VERSION", value_parser = values::mac_version)]
    pub mac_version: Option<MacVersion>,
    /// DevAddr, or McAddr of a multicast group, whose ping slots are asked for
    #[arg(long, value_name = "ADDR", value_parser = values::dev_addr, requires = "periodicity")]
    pub dev_addr: Option<DevAddr>,
    /// Periodicity of PingSlotInfoReq, 0 to 7: a slot every 2^N seconds
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(0..=7))]
    #[arg(requires = "dev_addr")]
    pub periodicity: Option<u8>,
    /// Index of the common join channel, which picks the channels in some plans of CN470
    #[arg(long, value_name = "INDEX", value_parser = clap::value_parser!(u8).range(0..=19))]
    #[arg(requires = "region")]
    pub join_channel: Option<u8>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Why there is no report.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BeaconArgsError {
    /// The text holds no bytes.
    #[error(transparent)]
    Text(#[from] TextError),
    /// The bytes are not a beacon.
    #[error(transparent)]
    Beacon(#[from] BeaconError),
}

/// Runs `beacon`.
///
/// # Errors
///
/// [`Failure`] when the bytes are not a beacon, or standard output does not take the report.
pub fn run(args: &BeaconArgs, screen: &mut Screen) -> Result<(), Failure> {
    let report = report(args).map_err(|error| Failure::Report(error.to_string()))?;
    if report.has_fault() {
        screen.fault_found();
    }
    let mut out = String::new();
    if args.json {
        out = format!("{}\n", json(&report));
    } else {
        // Writing into a String cannot fail.
        let _ = text(&report, screen.style(), &mut out);
    }
    screen.data(&out)
}

/// Returns what the arguments ask for.
///
/// # Errors
///
/// When the bytes are not a beacon.
pub fn report(args: &BeaconArgs) -> Result<Report, BeaconArgsError> {
    let octets = frame_text(&args.beacon)?.octets;
    let plan = args.region;
    let beacon = beacon::decode(&octets, args.mac_version)?;
    let periodicity = args.periodicity.and_then(Periodicity::new);
    let ping = args.dev_addr.zip(periodicity).map(|(address, periodicity)| {
        PingSlots::new(beacon.time, address, periodicity, plan, args.join_channel)
    });
    let on_plan = plan.map(|plan| BeaconOnPlan::new(&beacon, plan, args.join_channel));
    Ok(Report { beacon, on_plan, ping })
}

const EXAMPLES: &str = "Examples:
  handfast beacon 0000000002cca27e00012000008103de55
  handfast beacon 0000000002cca27e00012000008103de55 --region EU868 \\
    --dev-addr 0201BBDA --periodicity 4
  handfast beacon 000000000002cca27e000120000081030050d4 \\
    --mac-version 1.0.3 --json

Exit status: 1 where a CRC fails, Time is none of a beacon, or the size is
another region's; 2 where the bytes are not a beacon or the usage is wrong.";

#[cfg(test)]
mod tests {
    use clap::{CommandFactory, Parser};

    use super::*;

    #[derive(Debug, Parser)]
    struct Line {
        #[command(flatten)]
        args: BeaconArgs,
    }

    fn run(line: &str) -> Result<Report, BeaconArgsError> {
        report(&Line::try_parse_from(line.split(' ')).unwrap().args)
    }

    #[test]
    fn every_example_of_the_help_runs_and_finds_no_fault() {
        let help = Line::command().render_long_help().to_string();
        let examples = EXAMPLES.replace("\\\n    ", "");
        let lines = examples.lines().filter_map(|l| l.trim().strip_prefix("handfast "));
        assert_eq!(lines.clone().count(), 3, "{help}");
        for line in lines {
            assert!(!run(line).unwrap().has_fault(), "{line}");
        }
    }

    #[test]
    fn the_options_fit_together() {
        Line::command().debug_assert();
        for line in [
            "beacon 00 --dev-addr 0201BBDA",
            "beacon 00 --periodicity 4",
            "beacon 00 --dev-addr 0201BBDA --periodicity 8",
            "beacon 00 --join-channel 3",
            "beacon 00 --mac-version 2",
            "beacon 00 --region XX1",
        ] {
            assert!(Line::try_parse_from(line.split(' ')).is_err(), "{line}");
        }
    }

    #[test]
    fn what_is_no_beacon_says_why() {
        let tell = |line| run(line).unwrap_err().to_string();
        assert_eq!(tell("beacon 0000"), "2 bytes: beacons have 17, 19, 21 or 23");
        assert!(tell("beacon ?").contains("character 1"));
    }
}
