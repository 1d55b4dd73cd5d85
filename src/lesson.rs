//! Lessons: exercises for a class, made from a seed, and the marking of what a learner wrote.
//!
//! An [`Exercise`] shows something of an invented orchard and asks about it. Nothing is stored but
//! the questions: the scene is played by [`crate::scenario`], and every answer is computed from its
//! octets by the rooms that read real captures. So are the wrong answers that tell what went wrong,
//! such as a DevAddr read in the order sent.
//!
//! ```
//! use handfast::lesson::{Lesson, Level, Mark, Order, Sheet, mark};
//!
//! let level = Level::new(1).ok_or("no such level")?;
//! let order = Order::new(7, level, 2).ok_or("too many")?;
//! let lesson = Lesson::new(order);
//! assert_eq!(lesson, Lesson::new(order));
//!
//! let filled = format!("{}\n[1a] answer: I do not know\n", lesson.head());
//! let sheet: Sheet = filled.parse()?;
//! let marked = mark(&lesson, &sheet);
//! assert!(matches!(marked[0].mark, Mark::Wrong(_)));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! | file | part |
//! |------|------|
//! | `kind` | the table of kinds of exercise |
//! | `stage` | a scene that was played, and what stands in it |
//! | `frames`, `windows`, `budget`, `nonce`, `keys`, `why` | the kinds themselves |
//! | `answer`, `quantity` | right answers, wrong ones, and marks |
//! | `sheet` | the sheet that a learner filled in |

mod answer;
mod budget;
mod frames;
mod keys;
mod kind;
mod nonce;
mod quantity;
mod sheet;
mod stage;
mod why;
mod windows;

use std::fmt;

pub use answer::{Answer, Mark, Slip, Value};
pub use quantity::{Quantity, Unit};
pub(crate) use sheet::tally;
pub use sheet::{Marked, Sheet, SheetError, mark};

use crate::{crypto::mic, key::Aes128Key, scenario::Dice};

/// How hard a lesson is.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub enum Level {
    /// 1: fields and their order.
    Fields,
    /// 2: windows, rules and radio.
    Rules,
    /// 3: keys, and why a join failed.
    Keys,
}

impl Level {
    /// Every level, the easiest first.
    pub const ALL: [Self; 3] = [Self::Fields, Self::Rules, Self::Keys];

    /// Returns the level of that number, from 1.
    pub fn new(number: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|level| level.number() == number)
    }

    /// Returns its number, from 1.
    pub const fn number(self) -> u8 {
        self as u8 + 1
    }

    /// Returns what it is about.
    pub const fn about(self) -> &'static str {
        match self {
            Self::Fields => "fields and their order",
            Self::Rules => "windows, rules and radio",
            Self::Keys => "keys, and why a join failed",
        }
    }
}

/// What a lesson is made from: the same order makes the same lesson, everywhere.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Order {
    /// Where chance comes from.
    pub seed: u64,
    /// How hard it is.
    pub level: Level,
    count: u8,
}

impl Order {
    /// The most exercises that a sheet has.
    pub const MOST: u8 = 60;

    /// Returns an order of 1 to [`Self::MOST`] exercises.
    pub fn new(seed: u64, level: Level, count: u8) -> Option<Self> {
        (1..=Self::MOST).contains(&count).then_some(Self { seed, level, count })
    }

    /// Returns how many exercises there are to be.
    pub const fn count(self) -> u8 {
        self.count
    }
}

/// Exercises, and where they come from.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Lesson {
    /// What it was made from.
    pub order: Order,
    /// The exercises, in order.
    pub exercises: Vec<Exercise>,
}

/// Something that is shown, and what is asked about it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Exercise {
    /// Its number, from 1.
    pub number: usize,
    /// The kind's name, for scripts.
    pub kind: &'static str,
    /// The kind's title, for people.
    pub title: &'static str,
    /// What is shown.
    pub given: Vec<Given>,
    /// What is asked.
    pub questions: Vec<Question>,
}

/// A piece of what an exercise shows.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Given {
    /// A sentence.
    Words(String),
    /// Octets in the order sent.
    Octets(Vec<u8>),
    /// A value with its name.
    Value {
        /// Its name.
        name: String,
        /// The value, as people write it.
        value: String,
        /// Whether it is a key: invented, and shown because the exercise is about keys.
        is_key: bool,
    },
}

/// A question about what is given.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Question {
    /// What stands before it on the sheet: the exercise's number and a letter.
    pub id: String,
    /// What is asked.
    pub ask: String,
    /// What there is to choose from, where one is to choose.
    pub among: Vec<String>,
    /// The answer.
    pub answer: Answer,
    /// How one comes to the answer.
    pub working: Vec<String>,
}

/// What a kind of exercise makes, before it has its number.
struct Made {
    given: Vec<Given>,
    questions: Vec<Question>,
}

impl Lesson {
    /// Makes a lesson.
    pub fn new(order: Order) -> Self {
        let kinds = kind::in_turn(order);
        let exercises = kinds.zip(1..=usize::from(order.count)).filter_map(|(kind, number)| {
            // A scene of which nothing can be asked is played again with other dice.
            let made = (0..TRIES).find_map(|attempt| {
                let part = format!("{}/{number}/{attempt}", kind.id);
                (kind.make)(&mut Dice::of(order.seed, &part))
            })?;
            Some(Exercise::new(number, kind, made))
        });
        Self { order, exercises: exercises.collect() }
    }

    /// Returns the questions of all exercises.
    pub fn questions(&self) -> impl Iterator<Item = &Question> {
        self.exercises.iter().flat_map(|exercise| &exercise.questions)
    }

    /// Returns whether keys are shown.
    pub fn shows_keys(&self) -> bool {
        let is_key = |given: &Given| matches!(given, Given::Value { is_key: true, .. });
        self.exercises.iter().flat_map(|e| &e.given).any(is_key)
    }

    /// Returns the line by which [`Sheet`] knows the lesson again.
    pub fn head(&self) -> String {
        Head { order: self.order, print: self.print() }.to_string()
    }

    /// Returns four octets that tell whether a sheet shows this lesson: another version of this
    /// program may make another one from the same order.
    pub fn print(&self) -> [u8; 4] {
        let mut text = String::new();
        for exercise in &self.exercises {
            text.extend(exercise.given.iter().map(Given::text));
            for Question { id, ask, answer, .. } in &exercise.questions {
                text.extend([id.as_str(), ask.as_str(), &answer.right.text()]);
            }
        }
        mic::Signer::new(&Aes128Key::new([0; 16])).mic(&[text.as_bytes()]).0
    }
}

/// The line at the head of a sheet.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
struct Head {
    order: Order,
    print: [u8; 4],
}

impl fmt::Display for Head {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { order: Order { seed, level, count }, print } = *self;
        let print = hex::encode(print);
        write!(
            f,
            "handfast lesson: seed {seed}, level {}, count {count}, sheet {print}",
            level.number()
        )
    }
}

impl Exercise {
    fn new(number: usize, kind: &kind::ExerciseKind, made: Made) -> Self {
        let Made { given, mut questions } = made;
        for (question, letter) in questions.iter_mut().zip('a'..='z') {
            question.id = format!("{number}{letter}");
        }
        Self { number, kind: kind.id, title: kind.title, given, questions }
    }
}

impl Given {
    fn text(&self) -> String {
        match self {
            Self::Words(words) => words.clone(),
            Self::Octets(octets) => hex::encode(octets),
            Self::Value { name, value, .. } => format!("{name}={value}"),
        }
    }

    fn words(words: impl Into<String>) -> Self {
        Self::Words(words.into())
    }

    fn value(name: impl Into<String>, value: impl Into<String>) -> Self {
        Self::Value { name: name.into(), value: value.into(), is_key: false }
    }

    fn key(name: impl Into<String>, key: &Aes128Key) -> Self {
        Self::Value { name: name.into(), value: key.revealed().to_uppercase(), is_key: true }
    }
}

impl Question {
    fn new(ask: impl Into<String>, answer: Answer) -> Self {
        let (id, among, working) = (String::new(), Vec::new(), Vec::new());
        Self { id, ask: ask.into(), among, answer, working }
    }

    fn among(mut self, words: impl IntoIterator<Item = String>) -> Self {
        self.among = words.into_iter().collect();
        self
    }

    fn because(mut self, line: impl Into<String>) -> Self {
        self.working.push(line.into());
        self
    }
}

/// How often a kind is tried before its exercise is left out.
const TRIES: u32 = 40;
