//! The pages of the causes, as text and as JSON.

use std::fmt;

use super::json::SCHEMA;
use crate::ladder::{Cause, Place, Rungs, gateway, join, session};

/// Writes every cause with what is wrong, by the rung that it breaks.
///
/// # Errors
/// Whatever the writer says.
pub fn list(causes: &[Cause], out: &mut dyn fmt::Write) -> fmt::Result {
    ladder(causes, Place::Gateway as fn(gateway::Rung) -> Place, out)?;
    ladder(causes, Place::Join as fn(join::Rung) -> Place, out)?;
    ladder(causes, Place::Session as fn(session::Rung) -> Place, out)
}

/// Writes the causes that break a rung of one ladder before any other.
fn ladder<R: Rungs>(
    causes: &[Cause],
    place: fn(R) -> Place,
    out: &mut dyn fmt::Write,
) -> fmt::Result {
    for rung in R::ALL {
        let own = causes.iter().filter(|cause| cause.places.first() == Some(&place(*rung)));
        let title =
            format!("{} {} {}: {}", R::LADDER.name(), rung.number(), rung.name(), rung.statement());
        section(&title, own, out)?;
    }
    Ok(())
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
        for line in super::text::wrap(cause.what, 74) {
            writeln!(out, "      {line}")?;
        }
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
    let place =
        |place: &Place| serde_json::json!({"ladder": place.ladder().name(), "rung": place.rung()});
    let places: Vec<_> = cause.places.iter().map(place).collect();
    let object = serde_json::json!({
        "schema": SCHEMA, "id": cause.id.name(), "places": places, "what": cause.what,
        "page": cause.page,
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
    fn the_list_names_every_cause_once() {
        let mut out = String::new();
        list(CAUSES, &mut out).unwrap();
        for cause in CAUSES {
            let line = format!("  {}\n", cause.id);
            assert_eq!(out.matches(&line).count(), 1, "{}", cause.id);
        }
    }
}
