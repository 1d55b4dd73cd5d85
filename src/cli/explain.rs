//! `explain`: a cause's page.

use super::{Failure, Screen};
use crate::{
    ladder::{CANNOT_TELL, CAUSES, Cause},
    nearest::nearest,
    show::explain,
};

/// Options of `explain`.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct ExplainArgs {
    /// The cause's id, as `diagnose` prints it; without one all causes are listed
    cause: Option<String>,
    /// Print JSON, one object a cause
    #[arg(long)]
    json: bool,
}

const EXAMPLES: &str = "\
Examples:
  handfast explain
  handfast explain app-key-typed-wrong
  handfast explain cannot-tell

Exit status: 2 when no cause has that id or the usage is wrong, else 0.";

/// Runs `explain`.
///
/// # Errors
/// [`Failure::Report`] when there is no such cause; [`Failure::Write`] when standard output does not
/// take the page.
pub fn run(args: &ExplainArgs, screen: &mut Screen) -> Result<(), Failure> {
    let mut page = String::new();
    let written = match &args.cause {
        None if args.json => CAUSES.iter().try_for_each(|cause| explain::json(cause, &mut page)),
        None => explain::list(CAUSES, &mut page),
        Some(id) if id == "cannot-tell" && !args.json => {
            page.push_str(CANNOT_TELL);
            Ok(())
        }
        Some(id) => {
            let cause = Cause::by_id(id).ok_or_else(|| unknown(id))?;
            if args.json {
                explain::json(cause, &mut page)
            } else {
                explain::text(cause, &mut page)
            }
        }
    };
    // Writing to a string does not fail.
    debug_assert!(written.is_ok());
    screen.data(&page)
}

fn unknown(id: &str) -> Failure {
    let ids = CAUSES.iter().map(|cause| cause.id.name());
    let near = nearest(id, ids).map(|near| format!("; did you mean {near}?"));
    Failure::Report(format!(
        "there is no cause {id:?}{}\n`handfast explain` lists them all",
        near.unwrap_or_default()
    ))
}
