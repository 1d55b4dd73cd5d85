//! The sheet that a learner filled in: its head, and an answer behind each question's id.

use std::{collections::BTreeMap, str::FromStr};

use super::{Head, Lesson, Level, Mark, Order, Question};
use crate::words::Count;

/// A sheet, as far as it was understood.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Sheet {
    /// What its lesson is made from.
    pub order: Order,
    print: [u8; 4],
    answers: BTreeMap<String, String>,
    /// Questions that are answered twice, differently.
    twice: Vec<String>,
}

/// Why a sheet cannot be marked.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SheetError {
    /// There is no head.
    #[error("there is no line that begins with `handfast lesson: seed`")]
    NoHead,
    /// The head is damaged.
    #[error("line {line}: {what}")]
    Head {
        /// Its line, from 1.
        line: usize,
        /// What is wrong with it.
        what: &'static str,
    },
    /// The sheet shows another lesson.
    #[error("the sheet shows other exercises than this version of handfast makes")]
    OtherLesson,
    /// Answers to questions that the lesson does not have.
    #[error("there is no question {}", .0.join(", "))]
    NoSuchQuestion(Vec<String>),
    /// Questions with two answers.
    #[error("{} answered twice, differently", .0.join(", "))]
    Twice(Vec<String>),
}

impl SheetError {
    /// Returns what a right one looks like.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::NoHead | Self::Head { .. } => {
                "keep the first line of the sheet as `handfast lesson` prints it"
            }
            Self::OtherLesson => {
                "print the lesson again with this version, or mark with the version that printed it"
            }
            Self::NoSuchQuestion(_) => "an id such as [1a] is before each question of the sheet",
            Self::Twice(_) => "leave one `answer:` for each question",
        }
    }
}

/// A question and what became of it.
#[derive(Clone, Debug)]
pub struct Marked<'a> {
    /// The question.
    pub question: &'a Question,
    /// What the learner wrote; empty where nothing.
    pub given: String,
    /// What there is to say.
    pub mark: Mark,
}

impl Sheet {
    /// Returns what is wrong with the sheet as a whole, all of it; what is whole can be marked.
    pub fn faults(&self, lesson: &Lesson) -> Vec<SheetError> {
        let mut out = Vec::new();
        if lesson.print() != self.print {
            out.push(SheetError::OtherLesson);
        }
        let known = |id: &&String| !lesson.questions().any(|q| q.id == **id);
        let strange: Vec<String> = self.answers.keys().filter(known).cloned().collect();
        if !strange.is_empty() {
            out.push(SheetError::NoSuchQuestion(strange));
        }
        if !self.twice.is_empty() {
            out.push(SheetError::Twice(self.twice.clone()));
        }
        out
    }

    fn take(&mut self, id: &str, answer: &str) {
        let answer = answer.trim().trim_matches('_').trim();
        let kept = self.answers.entry(id.to_owned()).or_default();
        if kept.is_empty() {
            answer.clone_into(kept);
        } else if !answer.is_empty() && *kept != answer && !self.twice.iter().any(|t| t == id) {
            self.twice.push(id.to_owned());
        }
    }
}

/// Marks a sheet: every question of its lesson, in order.
pub fn mark<'a>(lesson: &'a Lesson, sheet: &Sheet) -> Vec<Marked<'a>> {
    let of = |question: &'a Question| {
        let given = sheet.answers.get(&question.id).cloned().unwrap_or_default();
        let mark = question.answer.mark(&given);
        Marked { question, given, mark }
    };
    lesson.questions().map(of).collect()
}

impl FromStr for Sheet {
    type Err = SheetError;

    /// Reads a sheet: its head, and `[1a] ... answer: ...` or `1a: ...` wherever they stand.
    fn from_str(text: &str) -> Result<Self, SheetError> {
        let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
        let mut heads = text.lines().zip(1..).map(|(line, number)| (unquoted(line), number));
        let (head, line) =
            heads.find(|(line, _)| line.starts_with(HEAD)).ok_or(SheetError::NoHead)?;
        let Head { order, print } =
            read_head(head).map_err(|what| SheetError::Head { line, what })?;
        let mut sheet = Self { order, print, answers: BTreeMap::new(), twice: Vec::new() };
        let mut current: Option<String> = None;
        for line in text.lines().map(unquoted) {
            let (id, rest) = id_of(line);
            if let Some(id) = &id {
                current = Some(id.clone());
            }
            let answer = after_word(rest, "answer").or_else(|| after_word(rest, "answers"));
            // `1a: 0201BBDA`, for who writes answers alone.
            let short = || id.as_ref().and_then(|_| rest.strip_prefix([':', '=']));
            if let (Some(current), Some(answer)) = (&current, answer.or_else(short)) {
                sheet.take(&current.clone(), answer);
            }
        }
        Ok(sheet)
    }
}

/// A line without what mail programs and lists put before it.
fn unquoted(line: &str) -> &str {
    line.trim_start_matches(|c: char| c.is_whitespace() || matches!(c, '>' | '*' | '#' | '|'))
}

/// The id at the beginning of a line, and what follows it.
fn id_of(line: &str) -> (Option<String>, &str) {
    let (bracketed, inside) = match line.strip_prefix('[') {
        Some(inside) => (true, inside),
        None => (false, line),
    };
    let digits = inside.bytes().take_while(u8::is_ascii_digit).count();
    let (number, rest) = inside.split_at(digits);
    let mut chars = rest.chars();
    let (Some(letter), false) = (chars.next(), number.is_empty() || number.len() > 3) else {
        return (None, line);
    };
    let rest = chars.as_str();
    let closed = if bracketed { rest.strip_prefix(']') } else { Some(rest) };
    let Some(rest) = closed.filter(|_| letter.is_ascii_alphabetic()) else { return (None, line) };
    let rest = rest.trim_start();
    // Without brackets only `1a:` and `1a answer:` are ids: `12a` may begin anything else.
    if !bracketed && !rest.starts_with([':', '=']) && after_word(rest, "answer").is_none() {
        return (None, line);
    }
    (Some(format!("{number}{}", letter.to_ascii_lowercase())), rest)
}

/// What stands after a word and a colon, letters of any case.
fn after_word<'a>(line: &'a str, word: &str) -> Option<&'a str> {
    let (before, rest) = line.split_at_checked(word.len())?;
    let rest = before.eq_ignore_ascii_case(word).then_some(rest)?;
    rest.trim_start().strip_prefix([':', '='])
}

fn read_head(head: &str) -> Result<Head, &'static str> {
    let rest = head.strip_prefix(HEAD).unwrap_or_default();
    let mut words = rest.split(',').map(str::trim);
    let seed = words.next().and_then(|word| word.parse().ok());
    let mut member = |name: &str| {
        words.next().and_then(|word| word.strip_prefix(name)).map(|value| value.trim().to_owned())
    };
    let level = member("level").and_then(|n| Level::new(n.parse().ok()?));
    let count = member("count").and_then(|n| n.parse().ok());
    let print = member("sheet").and_then(|hex| hex::decode(hex).ok()?.try_into().ok());
    let seed = seed.ok_or("the seed is not a number")?;
    let level = level.ok_or("the level is none of 1, 2, 3")?;
    let count = count.and_then(|count| Order::new(seed, level, count));
    let order = count.ok_or("the count is not a number from 1 to 60")?;
    Ok(Head { order, print: print.ok_or("the sheet's own number is not 8 hex digits")? })
}

/// Says how many are right, wrong and missing.
pub(crate) fn tally(marked: &[Marked<'_>]) -> String {
    let count = |wanted: fn(&Mark) -> bool| marked.iter().filter(|m| wanted(&m.mark)).count();
    let right = count(|m| *m == Mark::Right);
    let wrong = count(|m| matches!(m, Mark::Wrong(_)));
    let missing = count(|m| *m == Mark::Missing);
    format!(
        "{right} of {} right, {wrong} wrong, {missing} not answered",
        Count(marked.len(), "answer")
    )
}

const HEAD: &str = "handfast lesson: seed";

#[cfg(test)]
mod tests {
    use super::*;

    fn lesson() -> Lesson {
        Lesson::new(Order::new(3, Level::Fields, 1).unwrap())
    }

    fn given(text: &str) -> Vec<(String, String)> {
        let lesson = lesson();
        let sheet: Sheet = format!("{}\n{text}", lesson.head()).parse().unwrap();
        let marked = mark(&lesson, &sheet);
        let given = marked.into_iter().filter(|m| !m.given.is_empty());
        given.map(|m| (m.question.id.clone(), m.given)).collect()
    }

    #[test]
    fn an_answer_stands_behind_its_id_in_several_forms() {
        let one = vec![("1a".to_owned(), "x".to_owned())];
        for text in [
            "[1a] Which?\n     answer: x",
            "> [1a] Which?\r\n> Answer : x\r\n",
            "[1A] answer: x",
            "1a: x",
            "1a answer: x",
            "* 1a = x",
            "[1a] Which?\n answer:\n[1a] answer: x",
            "[1a] answer: __x__",
        ] {
            assert_eq!(given(text), one, "{text}");
        }
        for text in ["", "answer: x", "1a x", "[1a x", "1abc: x", "aa: x", "[1a] answer:"] {
            assert_eq!(given(text), [], "{text}");
        }
    }

    #[test]
    fn a_head_that_is_none_is_named_by_its_line() {
        let parse = |text: &str| text.parse::<Sheet>().unwrap_err().to_string();
        assert!(parse("").starts_with("there is no line"));
        assert_eq!(parse("\nhandfast lesson: seed x, level 1"), "line 2: the seed is not a number");
        for (head, what) in [
            ("handfast lesson: seed 1, level 4, count 1, sheet 00000000", "level"),
            ("handfast lesson: seed 1, level 1, count 0, sheet 00000000", "count"),
            ("handfast lesson: seed 1, level 1, count 61, sheet 00000000", "count"),
            ("handfast lesson: seed 1, level 1, count 1, sheet 00", "8 hex digits"),
            ("handfast lesson: seed 1, level 1", "count"),
        ] {
            assert!(parse(head).contains(what), "{head}");
        }
    }

    #[test]
    fn what_does_not_fit_the_lesson_is_told() {
        let lesson = lesson();
        let head = lesson.head();
        let text = format!("{head}\n9z: 1\n[1a] answer: x\n[1a] answer: y\n");
        let faults = text.parse::<Sheet>().unwrap().faults(&lesson);
        assert_eq!(
            faults,
            [SheetError::NoSuchQuestion(vec!["9z".into()]), SheetError::Twice(vec!["1a".into()])]
        );
        let (start, _) = head.rsplit_once(' ').unwrap();
        let other: Sheet = format!("{start} 00000000").parse().unwrap();
        assert_eq!(other.faults(&lesson), [SheetError::OtherLesson]);
    }
}
