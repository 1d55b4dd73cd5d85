//! The pages of the causes, as text and as JSON.

use std::fmt;

use super::json::SCHEMA;
use crate::ladder::{CANNOT_TELL, Cause, Place, Rungs, gateway, join, session};

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

/// Writes the page of the answer that is not a cause, as one JSON object on one line.
///
/// # Errors
/// Whatever the writer says.
pub fn cannot_tell_json(out: &mut dyn fmt::Write) -> fmt::Result {
    let what = CANNOT_TELL.lines().nth(1).unwrap_or_default();
    let object = serde_json::json!({
        "schema": SCHEMA, "id": "cannot-tell", "places": [], "what": what, "page": CANNOT_TELL,
    });
    writeln!(out, "{object}")
}

/// Returns the causes that all of some words are about: first those that have them in the id, in the
/// sentence that says what is wrong, or in the name of a rung, then those that have them on the page.
///
/// A word is found at the beginning of a word, in either case: `join` finds `joined`.
pub fn about<'c>(causes: &'c [Cause], words: &[String]) -> Vec<&'c Cause> {
    let words: Vec<String> = words.iter().map(|word| word.to_lowercase()).collect();
    if words.iter().all(|word| word.trim().is_empty()) {
        return Vec::new();
    }
    let mut found: Vec<(u8, &Cause)> = causes
        .iter()
        .filter_map(|cause| {
            let ranks: Option<Vec<u8>> = words.iter().map(|word| rank(cause, word)).collect();
            Some((ranks?.into_iter().max()?, cause))
        })
        .collect();
    found.sort_by_key(|(rank, _)| *rank);
    found.into_iter().map(|(_, cause)| cause).collect()
}

/// Returns how far from a cause's name a word is found: in its id, its sentence, its rungs, its page.
fn rank(cause: &Cause, word: &str) -> Option<u8> {
    let has = |text: &str| {
        let text = text.to_lowercase();
        text.match_indices(word).any(|(at, _)| {
            let before = text.get(..at).and_then(|before| before.chars().next_back());
            before.is_none_or(|c| !c.is_alphanumeric())
        })
    };
    [
        has(cause.id.name()),
        has(cause.what),
        cause.places.iter().any(|place| has(place.rung()) || has(place.ladder().name())),
        has(cause.page),
    ]
    .into_iter()
    .position(|found| found)
    .and_then(|rank| u8::try_from(rank).ok())
}

/// Writes causes that were found by their words.
///
/// # Errors
/// Whatever the writer says.
pub fn found(causes: &[&Cause], words: &[String], out: &mut dyn fmt::Write) -> fmt::Result {
    let words = words.join(" ");
    let count = match causes.len() {
        1 => "1 cause".to_owned(),
        n => format!("{n} causes"),
    };
    writeln!(out, "{count} found for {words:?}, the nearest first\n")?;
    for cause in causes {
        writeln!(out, "  {}", cause.id)?;
        for line in super::text::wrap(cause.what, 74) {
            writeln!(out, "      {line}")?;
        }
    }
    let first = causes.first().map(|cause| cause.id.name()).unwrap_or_default();
    writeln!(out, "\nhandfast explain {first} shows the first page.")
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
    fn words_find_causes_the_nearest_first() {
        let ids = |words: &[&str]| {
            let words: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
            about(CAUSES, &words).iter().map(|cause| cause.id.name()).collect::<Vec<_>>()
        };
        assert_eq!(ids(&["NONCE", "power"]).first(), Some(&"dev-nonce-not-kept-across-power-loss"));
        let keys = ids(&["key"]);
        let own = keys.iter().take_while(|id| id.contains("key")).count();
        assert!(own > 10 && keys.len() > own, "{keys:?}");
        // Every word counts; a word is found at its beginning.
        assert!(ids(&["key", "zeppelin"]).is_empty());
        assert!(ids(&["oined"]).is_empty());
        assert!(ids(&["join"]).contains(&"node-joins-over-the-air-record-is-abp"));
        assert!(ids(&[]).is_empty() && ids(&[""]).is_empty());
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
