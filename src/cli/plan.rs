//! `plan`: show a channel plan, what a frequency is for, what a channel mask names.

use clap::Args;

use crate::{
    region::{ChannelMask, MaskError, NoFrequency, Plan, parse_frequency},
    show,
};

/// The arguments of `plan`.
#[derive(Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub struct PlanArgs {
    /// The channel plan: EU868, US915, AS923-2, CN470-20A, ...; without it all are listed
    #[arg(value_name = "REGION")]
    pub region: Option<String>,

    /// Say what a frequency is for in every plan: channel, sub-band, windows, beacon
    #[arg(long, value_name = "FREQUENCY", conflicts_with_all = ["region", "mask"])]
    pub at: Option<String>,

    /// Turn ChMask words into channels, or a list of channels such as 8-15,65 into words
    #[arg(long, value_name = "WORDS")]
    pub mask: Option<String>,

    /// Print one JSON object instead of text
    #[arg(long)]
    pub json: bool,
}

/// Why there is no report.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// A name that no plan has.
    #[error("no channel plan is called {name:?} (there are {known})")]
    NoSuchPlan {
        /// The name.
        name: String,
        /// The names there are.
        known: String,
    },
    /// The text after `--at`.
    #[error(transparent)]
    Frequency(#[from] NoFrequency),
    /// The text after `--mask`.
    #[error("--mask: {0}")]
    Mask(#[from] MaskError),
}

/// Returns the report, as text or JSON.
///
/// # Errors
/// When the region, the frequency or the mask cannot be read.
pub fn report(args: &PlanArgs) -> Result<String, PlanError> {
    let plan = args.region.as_deref().map(named).transpose()?;
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = if let Some(at) = &args.at {
        let hz = parse_frequency(at)?;
        if args.json {
            show::plan::at_json(hz, &mut out)
        } else {
            show::plan::at_text(hz, &mut out)
        }
    } else if let Some(mask) = &args.mask {
        let mask = read_mask(mask)?;
        if args.json {
            show::plan::mask_json(&mask, plan, &mut out)
        } else {
            show::plan::mask_text(&mask, plan, &mut out)
        }
    } else if let Some(plan) = plan {
        if args.json { show::plan::json(plan, &mut out) } else { show::plan::text(plan, &mut out) }
    } else if args.json {
        Plan::all().iter().try_for_each(|p| show::plan::json(p, &mut out))
    } else {
        show::plan::list(&mut out)
    };
    Ok(out)
}

fn named(name: &str) -> Result<&'static Plan, PlanError> {
    Plan::by_name(name).ok_or_else(|| PlanError::NoSuchPlan {
        name: name.to_owned(),
        known: Plan::all().iter().map(|p| p.name).collect::<Vec<_>>().join(" "),
    })
}

/// A list of channels has a comma or a range, or is a lone number of one to three digits; words
/// have four digits each. `8 9` is neither: words that short are always written out in full.
fn read_mask(text: &str) -> Result<ChannelMask, MaskError> {
    let text = text.trim();
    let short = text.len() < 4 && text.bytes().all(|b| b.is_ascii_digit());
    let words = text.split([',', ' ']).all(|w| {
        let w = w.strip_prefix("0x").unwrap_or(w);
        w.len() >= 4 && w.bytes().all(|b| b.is_ascii_hexdigit())
    });
    if short || text.contains('-') || (text.contains(',') && !words) {
        ChannelMask::from_list(text)
    } else {
        text.parse()
    }
}

const EXAMPLES: &str = "\
Examples:
  handfast plan                                     all plans, a line each
  handfast plan EU868                               one complete plan
  handfast plan --at 903.9                          what 903.9 MHz is for
  handfast plan US915 --mask 'FF00 0000 0000 0000 0002'
  handfast plan AU915 --mask 8-15,65                the words of sub-band 2

Exit status: 2 when the usage is wrong, else 0.";

#[cfg(test)]
mod tests {
    use super::*;

    fn args(region: Option<&str>, at: Option<&str>, mask: Option<&str>, json: bool) -> PlanArgs {
        let own = |t: Option<&str>| t.map(str::to_owned);
        PlanArgs { region: own(region), at: own(at), mask: own(mask), json }
    }

    #[test]
    fn words_and_lists_are_told_apart() {
        for text in ["FF00 0000 0000 0000 0002", "FF00,0000,0000,0000,0002", "8-15,65"] {
            assert_eq!(read_mask(text).unwrap().list(), "8-15, 65", "{text}");
        }
        assert_eq!(read_mask("7").unwrap().list(), "7");
        assert_eq!(read_mask("0007").unwrap().list(), "0-2");
        assert_eq!(read_mask("8,9").unwrap().list(), "8-9");
    }

    #[test]
    fn a_wrong_name_is_answered_with_the_right_ones() {
        let error = report(&args(Some("EU686"), None, None, false)).unwrap_err();
        assert!(error.to_string().contains("\"EU686\"") && error.to_string().contains("EU868"));
        assert!(report(&args(None, Some("nowhere"), None, false)).is_err());
        assert!(report(&args(None, None, Some("xyz!"), false)).is_err());
    }

    #[test]
    fn every_report_is_whole_in_both_forms() {
        for p in Plan::all() {
            let text = report(&args(Some(p.name), None, None, false)).unwrap();
            assert!(text.contains(p.title));
            let json = report(&args(Some(p.name), None, None, true)).unwrap();
            let value: serde_json::Value = serde_json::from_str(&json).unwrap();
            assert_eq!(value["plan"], p.name);
        }
        assert_eq!(report(&args(None, None, None, false)).unwrap().lines().count(), 17);
        assert_eq!(report(&args(None, None, None, true)).unwrap().lines().count(), 17);
    }
}
