//! `handfast id`: all that a number can be.

use std::fmt::Write as _;

use clap::Args;

use crate::{
    id::{IdentifyError, identify},
    show,
};

/// Say all that a DevAddr, NetID, EUI or DevNonce can say
///
/// What a number can be follows from its hex digits: 8 a DevAddr, 6 a NetID, 16 an EUI, 12 an EUI-48
/// (a MAC address), 4 a DevNonce. Every number is also read backwards, since LoRaWAN sends its bytes in
/// reverse and logs print them either way. 32 digits may be a key and are not repeated.
#[derive(Args, Clone, Debug)]
#[command(after_help = "Examples:
  handfast id 0201BBDA
  handfast id 02-00-00-FF-FE-1A-2B-3C
  handfast id 000001 0201BBDA --json

Exit status: 2 when it is not an identifier or the usage is wrong, else 0.")]
pub struct IdArgs {
    /// Numbers in hex; -, : and spaces may be between bytes
    #[arg(required = true, value_name = "NUMBER")]
    pub numbers: Vec<String>,
    /// Print JSON, one object a line
    #[arg(long)]
    pub json: bool,
}

/// Why `id` has nothing to say. Holds no digit of the number, which may be a key.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("number {position}: {source}")]
pub struct IdArgsError {
    /// Which of the numbers, from 1.
    pub position: usize,
    /// What is wrong with it.
    pub source: IdentifyError,
}

/// Returns what `handfast id` prints.
///
/// # Errors
///
/// When a number is none that LoRaWAN has.
pub fn report(args: &IdArgs) -> Result<String, IdArgsError> {
    let mut out = String::new();
    for (i, number) in args.numbers.iter().enumerate() {
        let report = identify(number).map_err(|source| IdArgsError { position: i + 1, source })?;
        // Writing into a String cannot fail.
        if args.json {
            let _ = writeln!(out, "{}", show::id::json(&report));
        } else {
            let gap = if i == 0 { "" } else { "\n" };
            let _ = out.write_str(gap).and_then(|()| show::id::text(&report, &mut out));
        }
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        args: IdArgs,
    }

    fn run(words: &[&str]) -> Result<String, IdArgsError> {
        let words = ["id"].iter().chain(words);
        report(&Line::try_parse_from(words).unwrap().args)
    }

    #[test]
    fn several_numbers_are_told_one_after_the_other() {
        let shown = run(&["0201BBDA", "000001"]).unwrap();
        assert!(shown.contains("\n\nNetID 000001\n"), "{shown}");
        let lines = run(&["--json", "0201BBDA", "000001"]).unwrap();
        assert_eq!(lines.lines().count(), 2);
        assert!(lines.lines().all(|l| serde_json::from_str::<serde_json::Value>(l).is_ok()));
    }

    #[test]
    fn an_error_names_the_place_and_no_digit() {
        let error = run(&["0201BBDA", "2B7E151628AED2A6ABF7158809CF4F3"]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "number 2: 31 hex digits: 4, 6, 8, 12, 16 or 32 are expected"
        );
    }
}
