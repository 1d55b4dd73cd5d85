//! Lessons as JSON: an exercise a line, or a marked question a line.

use std::fmt::{self, Write};

use serde::Serialize;

use super::Side;
use crate::lesson::{Exercise, Given, Lesson, Mark, Marked, Question};

#[derive(Serialize)]
struct ExerciseJson<'a> {
    schema: u32,
    seed: u64,
    level: u8,
    count: u8,
    sheet: String,
    exercise: usize,
    kind: &'a str,
    title: &'a str,
    given: Vec<GivenJson<'a>>,
    questions: Vec<QuestionJson<'a>>,
}

#[derive(Serialize)]
#[serde(rename_all = "snake_case")]
enum GivenJson<'a> {
    Words(&'a str),
    Octets(String),
    Value { name: &'a str, value: &'a str },
}

#[derive(Serialize)]
struct QuestionJson<'a> {
    id: &'a str,
    ask: &'a str,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    among: &'a [String],
    #[serde(skip_serializing_if = "Option::is_none")]
    answer: Option<String>,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    working: &'a [String],
}

#[derive(Serialize)]
struct MarkedJson<'a> {
    schema: u32,
    id: &'a str,
    state: &'static str,
    given: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<&'a str>,
    answer: String,
    working: &'a [String],
}

/// Writes an exercise a line; its answers only on their side.
///
/// # Errors
/// Whatever the writer says.
pub fn json(lesson: &Lesson, side: Side, out: &mut dyn Write) -> fmt::Result {
    let sheet = hex::encode(lesson.print());
    lesson.exercises.iter().try_for_each(|exercise| {
        let object = ExerciseJson {
            schema: crate::show::json::SCHEMA,
            seed: lesson.order.seed,
            level: lesson.order.level.number(),
            count: lesson.order.count(),
            sheet: sheet.clone(),
            exercise: exercise.number,
            kind: exercise.kind,
            title: exercise.title,
            given: exercise.given.iter().map(given_json).collect(),
            questions: questions(exercise, side),
        };
        writeln!(out, "{}", line(&object))
    })
}

/// Writes a marked question a line.
///
/// # Errors
/// Whatever the writer says.
pub fn marked_json(all: &[Marked<'_>], out: &mut dyn Write) -> fmt::Result {
    all.iter().try_for_each(|Marked { question, given, mark }| {
        let (state, why) = match mark {
            Mark::Right => ("right", None),
            Mark::Wrong(why) => ("wrong", why.as_deref()),
            Mark::Missing => ("missing", None),
        };
        let Question { id, answer, working, .. } = question;
        let answer = answer.right.text();
        writeln!(
            out,
            "{}",
            line(&MarkedJson {
                schema: crate::show::json::SCHEMA,
                id,
                state,
                given,
                why,
                answer,
                working
            })
        )
    })
}

fn line(object: &impl Serialize) -> String {
    // Numbers and texts always become JSON.
    crate::show::json::object(object).unwrap_or_default()
}

fn given_json(given: &Given) -> GivenJson<'_> {
    match given {
        Given::Words(words) => GivenJson::Words(words),
        Given::Octets(octets) => GivenJson::Octets(hex::encode(octets)),
        Given::Value { name, value, .. } => GivenJson::Value { name, value },
    }
}

fn questions(exercise: &Exercise, side: Side) -> Vec<QuestionJson<'_>> {
    let of = |question: &'_ Question| (side == Side::Answers).then(|| question.answer.right.text());
    let questions = exercise.questions.iter().map(|question| QuestionJson {
        id: &question.id,
        ask: &question.ask,
        among: &question.among,
        answer: of(question),
        working: if side == Side::Answers { &question.working } else { &[] },
    });
    questions.collect()
}
