//! The pages of the causes, as text and as JSON.

use std::fmt;

use crate::ladder::{Cause, Rung};

/// Writes every cause with what is wrong, by the rung that it breaks.
///
/// # Errors
/// Whatever the writer says.
pub fn list(causes: &[Cause], out: &mut dyn fmt::Write) -> fmt::Result {
    for rung in Rung::ALL {
        let of_rung = causes.iter().filter(|c| c.rungs.first() == Some(&rung));
        section(&format!("{} {}: {}", rung.number(), rung.name(), rung.statement()), of_rung, out)?;
    }
    section("after the join", causes.iter().filter(|c| c.rungs.is_empty()), out)
}

fn section<'a>(
    title: &str,
    causes: impl Iterator<Item = &'a Cause>,
    out: &mut dyn fmt::Write,
) -> fmt::Result {
    let causes: Vec<&Cause> = causes.collect();
    if causes.is_empty() {
        return Ok(());
    }
    writeln!(out, "{title}")?;
    for cause in causes {
        writeln!(out, "  {}", cause.id)?;
        writeln!(out, "      {}", cause.what)?;
    }
    writeln!(out)
}

/// Writes a cause's page.
///
/// # Errors
/// Whatever the writer says.
pub fn text(cause: &Cause, out: &mut dyn fmt::Write) -> fmt::Result {
    out.write_str(cause.page)?;
    if cause.page.ends_with('\n') { Ok(()) } else { writeln!(out) }
}

/// Writes a cause as one JSON object on one line.
///
/// # Errors
/// Whatever the writer says.
pub fn json(cause: &Cause, out: &mut dyn fmt::Write) -> fmt::Result {
    let rungs: Vec<&str> = cause.rungs.iter().map(|rung| rung.name()).collect();
    let object = serde_json::json!({
        "schema": 1, "id": cause.id, "rungs": rungs, "what": cause.what, "page": cause.page,
    });
    writeln!(out, "{object}")
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::ladder::CAUSES;

    #[test]
    fn every_page_is_whole_and_fits_the_screen() {
        let mut ids = BTreeSet::new();
        for cause in CAUSES {
            assert!(ids.insert(cause.id), "{} twice", cause.id);
            assert!(cause.page.starts_with(&format!("# {}\n", cause.id)), "{}", cause.id);
            for part in [
                "What is seen",
                "Why it happens",
                "How to be sure",
                "What to do",
                "Example",
                "Source",
            ] {
                assert!(cause.page.contains(&format!("\n## {part}\n")), "{}: {part}", cause.id);
            }
            for line in cause.page.lines() {
                assert!(line.chars().count() <= 80, "{}: {line}", cause.id);
            }
        }
    }

    #[test]
    fn every_page_there_is_belongs_to_a_cause() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/ladder/cause");
        for file in std::fs::read_dir(folder).unwrap() {
            let name = file.unwrap().file_name().into_string().unwrap();
            let id = name.strip_suffix(".md").unwrap();
            let known = id == "cannot-tell" || CAUSES.iter().any(|cause| cause.id == id);
            assert!(known, "{id} is in no table");
        }
    }

    #[test]
    fn the_list_names_every_cause_once() {
        let mut out = String::new();
        list(CAUSES, &mut out).unwrap();
        for cause in CAUSES {
            let line = format!("  {}\n", cause.id);
            assert_eq!(out.matches(&line).count(), 1, "{}", cause.id);
        }
    }
}
