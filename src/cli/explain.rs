//! `explain`: a cause's page, or the causes that some words are about.

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
    /// A cause's id as `diagnose` prints it, or words to look for; without any, all causes are listed
    #[arg(value_name = "CAUSE|WORD")]
    words: Vec<String>,
    /// Print JSON, one object a cause
    #[arg(long)]
    json: bool,
}

const EXAMPLES: &str = "\
Examples:
  handfast explain
  handfast explain app-key-typed-wrong
  handfast explain nonce reset        causes that both words are about
  handfast explain cannot-tell

Exit status: 2 when nothing has that id or those words or the usage is wrong, else 0.";

/// Runs `explain`.
///
/// # Errors
/// [`Failure::Report`] when there is no such cause; [`Failure::Write`] when standard output does not
/// take the page.
pub fn run(args: &ExplainArgs, screen: &mut Screen) -> Result<(), Failure> {
    let mut page = String::new();
    let written = match args.words.as_slice() {
        [] if args.json => CAUSES
            .iter()
            .try_for_each(|cause| explain::json(cause, &mut page))
            .and_then(|()| explain::cannot_tell_json(&mut page)),
        [] => explain::list(CAUSES, &mut page),
        [id] if id == "cannot-tell" && args.json => explain::cannot_tell_json(&mut page),
        [id] if id == "cannot-tell" => {
            page.push_str(CANNOT_TELL);
            Ok(())
        }
        words => match (words, words.first().and_then(|id| Cause::by_id(id))) {
            ([_], Some(cause)) if args.json => explain::json(cause, &mut page),
            ([_], Some(cause)) => explain::text(cause, &mut page),
            _ => {
                let found = explain::about(CAUSES, words);
                if found.is_empty() {
                    return Err(unknown(words));
                }
                if args.json {
                    found.iter().try_for_each(|cause| explain::json(cause, &mut page))
                } else {
                    explain::found(&found, words, &mut page)
                }
            }
        },
    };
    // Writing to a string does not fail.
    debug_assert!(written.is_ok());
    screen.data(&page)
}

fn unknown(words: &[String]) -> Failure {
    let words = words.join(" ");
    let ids = CAUSES.iter().map(|cause| cause.id.name()).chain(["cannot-tell"]);
    let near = nearest(&words.replace(' ', "-"), ids).map(|near| format!("; did you mean {near}?"));
    Failure::Report(format!(
        "no cause has the id {words:?}, and no page has these words{}\n\
         `handfast explain` lists all causes",
        near.unwrap_or_default()
    ))
}
