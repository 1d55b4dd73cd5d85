//! Lessons: the sheet, the answer sheet, and a sheet that was marked.

#[cfg(feature = "page")]
mod html;
mod json;
mod text;

#[cfg(feature = "page")]
pub use html::html;
pub use json::{json, marked_json};
pub use text::{marked, text};

/// Which side of a lesson is shown.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Side {
    /// The exercises, with room for answers.
    Exercises,
    /// The answers, and how one comes to them.
    Answers,
}

/// What stands under the head of a sheet.
const PREFACE: [&str; 2] = [
    "Write each answer after its `answer:` and leave the line above as it is.",
    "The orchard and all its numbers are invented.",
];

/// What to mind where a sheet shows keys.
const KEYS: &str = "The keys on this sheet are invented and are here because the exercises are \
                    about keys. Never write a real one into an exercise, a mail or a ticket.";
