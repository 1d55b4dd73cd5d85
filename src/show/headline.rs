//! The sentence that opens a report where no cause says more.
//!
//! "Nothing wrong found" is said of what was looked at and proven, and of nothing else: not above a
//! broken rung, not of a node that was not heard, not over attempts that came to nothing.

use crate::{
    ladder::{Diagnosis, Outcome},
    words::Count,
};

/// Returns the sentence for one node; nothing where its causes speak.
pub(crate) fn of_node(diagnosis: &Diagnosis) -> Option<String> {
    if !diagnosis.causes.is_empty() {
        return None;
    }
    let attempts = Count(diagnosis.attempts, "attempt");
    let data = Count(diagnosis.data, "data frame");
    if diagnosis.is_fine() {
        return Some(match diagnosis.attempts {
            0 => format!("Nothing wrong found: {data} authenticated."),
            _ => format!("Nothing wrong found: {attempts}, {data} authenticated."),
        });
    }
    if let Some(rung) = diagnosis.first_broken().filter(|_| !diagnosis.stranger) {
        let (number, rung) = (rung.number(), rung.rung());
        return Some(format!("It stops at rung {number}, {rung}; the capture does not show why."));
    }
    Some(match diagnosis.outcome {
        Outcome::Joined => format!(
            "It joined, but {} came to nothing, and no cause was found.",
            Count(diagnosis.in_vain, "attempt")
        ),
        Outcome::NotHeard => "Nothing of this node was heard in the capture.".to_owned(),
        Outcome::AcceptedUnproven => {
            "A good accept was sent; no data shows yet that the node took it.".to_owned()
        }
        Outcome::CannotTell => "The capture does not decide.".to_owned(),
        _ => return None,
    })
}

/// Returns the sentence for all nodes of a report; `is_empty` says that nothing at all was captured.
#[cfg(feature = "page")]
pub(super) fn of_all<'a>(all: impl Iterator<Item = &'a Diagnosis>, is_empty: bool) -> String {
    let all: Vec<&Diagnosis> = all.collect();
    let fine = all.iter().filter(|diagnosis| diagnosis.is_fine()).count();
    let faulty = all.iter().filter(|diagnosis| diagnosis.has_fault()).count();
    let open = all.len() - fine - faulty;
    let words = match (all.as_slice(), faulty, open) {
        ([], ..) if is_empty => "No node: the roster has none.".to_owned(),
        ([], ..) => "No node: the capture holds no frame of one, and the roster none.".to_owned(),
        ([_], 1, _) => "One node, and something is wrong with it.".to_owned(),
        ([one], _, 1) => format!("One node. {}", of_node(one).unwrap_or_default()),
        ([_], ..) => "One node, and nothing wrong found.".to_owned(),
        (all, 0, 0) => format!("{} nodes, and nothing wrong found.", all.len()),
        (all, 0, open) if open == all.len() => {
            format!("{open} nodes; the capture does not decide about any of them.")
        }
        (all, 0, open) => format!(
            "{} nodes; nothing wrong found with {fine}, and the capture does not decide about {open}.",
            all.len()
        ),
        (all, faulty, _) if faulty == all.len() => {
            format!("{faulty} nodes, and something is wrong with every one.")
        }
        (all, faulty, 0) => format!("{} nodes; something is wrong with {faulty}.", all.len()),
        (all, faulty, open) => format!(
            "{} nodes; something is wrong with {faulty}, and the capture does not decide about {open}.",
            all.len()
        ),
    };
    if is_empty { format!("The capture is empty. {words}") } else { words }
}
