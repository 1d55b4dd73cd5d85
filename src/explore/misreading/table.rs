//! The table of mistakes: one row each, in one file for each subject.
//!
//! A row says what it changes of a [`Recipe`](super::Recipe), and nothing else in the program
//! knows it. A new mistake is a new row; should the recipe have no field for it, one more there.

use super::Row;

/// Rows of one subject: id, family, where the standard says otherwise, what the side does, what a
/// user sees, and the change.
macro_rules! rows {
    ($subject:ident $maker:ident;
     $($id:literal $family:ident $standard:literal $what:literal $seen:literal $apply:expr;)*) => {
        pub(super) static ROWS: &[crate::explore::misreading::Row] = &[$(
            crate::explore::misreading::Row {
                id: $id,
                what: $what,
                seen: $seen,
                standard: $standard,
                family: crate::explore::misreading::Family::$family,
                subject: crate::explore::misreading::Subject::$subject,
                maker: crate::explore::misreading::Maker::$maker,
                apply: $apply,
            },
        )*];
    };
}

mod accept;
mod data;
mod fopts;
mod keys;
mod payload;
mod request;

/// Returns every mistake that the explorers know.
pub fn rows() -> impl Iterator<Item = &'static Row> {
    [request::ROWS, accept::ROWS, keys::ROWS, data::ROWS, payload::ROWS, fopts::ROWS]
        .into_iter()
        .flatten()
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::*;
    use crate::explore::misreading::{Recipe, Rule};

    #[test]
    fn every_row_has_an_id_of_its_own_and_tells_all() {
        let mut ids = HashSet::new();
        for row in rows() {
            assert!(ids.insert(row.id), "{} twice", row.id);
            assert!(row.id.chars().all(|c| c.is_ascii_lowercase() || "-.0123456789".contains(c)));
            for text in [row.what, row.seen, row.standard] {
                assert!(!text.is_empty() && !text.ends_with('.'), "{}", row.id);
            }
            assert!(row.what.starts_with(|c: char| c.is_ascii_lowercase()), "{}", row.id);
        }
    }

    #[test]
    fn every_row_changes_the_recipe_in_a_way_of_its_own() {
        for rule in [Rule::V1_0, Rule::V1_1] {
            let mut seen = vec![Recipe::standard(rule)];
            for row in rows() {
                let mut recipe = Recipe::standard(rule);
                row.apply(&mut recipe);
                // Taking the rule in force anyway is no mistake.
                let in_force = match rule {
                    Rule::V1_0 => ["rule-of-1.0-", "data-mic-of-1.0-"],
                    Rule::V1_1 => ["rule-of-1.1-", "data-mic-of-1.1-"],
                };
                let takes_this_rule = in_force.iter().any(|id| row.id.starts_with(id));
                assert_eq!(seen.contains(&recipe), takes_this_rule, "{}", row.id);
                seen.push(recipe);
            }
        }
    }
}
