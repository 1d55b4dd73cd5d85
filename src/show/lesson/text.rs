//! Lessons as text: what a learner fills in, and what a teacher reads.

use std::fmt::{self, Write};

use super::{KEYS, PREFACE, Side};
use crate::{
    lesson::{Given, Lesson, Mark, Marked, Question, tally},
    show::{
        Style,
        text::{Tone, paragraph, spaced},
    },
};

/// Writes a lesson.
///
/// # Errors
/// Whatever the writer says.
pub fn text(lesson: &Lesson, side: Side, style: Style, out: &mut dyn Write) -> fmt::Result {
    writeln!(out, "{}", style.paint(Tone::Title, &lesson.head()))?;
    match side {
        Side::Exercises => {
            paragraph(out, style, "", Tone::Quiet, &PREFACE.join(" "))?;
            paragraph(out, style, "", Tone::Quiet, "`handfast lesson --check FILE` marks them.")?;
        }
        Side::Answers => {
            paragraph(out, style, "", Tone::Quiet, "The answers, and the working of each.")?;
        }
    }
    if lesson.shows_keys() {
        paragraph(out, style, "", Tone::Quiet, KEYS)?;
    }
    for exercise in &lesson.exercises {
        let title = format!("Exercise {}: {}", exercise.number, exercise.title);
        writeln!(out, "\n{}", style.paint(Tone::Title, &title))?;
        if side == Side::Exercises {
            for given in &exercise.given {
                write_given(given, style, out)?;
            }
        }
        let mut before: &[String] = &[];
        for question in &exercise.questions {
            writeln!(out)?;
            write_question(question, side, before, style, out)?;
            before = &question.among;
        }
    }
    Ok(())
}

/// Writes a sheet that was marked.
///
/// # Errors
/// Whatever the writer says.
pub fn marked(
    lesson: &Lesson,
    all: &[Marked<'_>],
    style: Style,
    out: &mut dyn Write,
) -> fmt::Result {
    let order = lesson.order;
    let level = order.level.number();
    writeln!(out, "seed {}, level {level}: {}", order.seed, tally(all))?;
    for Marked { question, given, mark } in all {
        let (tone, verdict) = match mark {
            Mark::Right => (Tone::Good, "right"),
            Mark::Wrong(_) => (Tone::Bad, "wrong"),
            Mark::Missing => (Tone::Open, "not answered"),
        };
        let shown = if given.is_empty() { String::new() } else { format!(": {}", short(given)) };
        writeln!(out, "{} {}{shown}", label(question), style.paint(tone, verdict))?;
        let Mark::Wrong(why) = mark else { continue };
        if let Some(why) = why {
            paragraph(out, style, INDENT, Tone::Plain, why)?;
        }
        let right = format!("right is {}", question.answer.right.text());
        paragraph(out, style, INDENT, Tone::Plain, &right)?;
        write_working(question, style, out)?;
    }
    Ok(())
}

fn write_given(given: &Given, style: Style, out: &mut dyn Write) -> fmt::Result {
    match given {
        Given::Words(words) => paragraph(out, style, "  ", Tone::Plain, words),
        Given::Octets(octets) => paragraph(out, style, "    ", Tone::Plain, &spaced(octets)),
        Given::Value { name, value, .. } => {
            paragraph(out, style, &format!("    {name}: "), Tone::Plain, value)
        }
    }
}

/// Writes a question; choices that stand above it already are not repeated.
fn write_question(
    question: &Question,
    side: Side,
    before: &[String],
    style: Style,
    out: &mut dyn Write,
) -> fmt::Result {
    paragraph(out, style, &format!("{} ", label(question)), Tone::Plain, &question.ask)?;
    if side == Side::Answers {
        paragraph(
            out,
            style,
            &format!("{INDENT}answer: "),
            Tone::Plain,
            &question.answer.right.text(),
        )?;
        return write_working(question, style, out);
    }
    if question.among == before {
        return writeln!(out, "{INDENT}answer:");
    }
    if question.among.iter().any(|choice| choice.len() > 24) {
        for choice in &question.among {
            paragraph(out, style, &format!("{INDENT}  "), Tone::Plain, choice)?;
        }
    } else if !question.among.is_empty() {
        paragraph(out, style, INDENT, Tone::Quiet, &question.among.join(" | "))?;
    }
    writeln!(out, "{INDENT}answer:")
}

fn write_working(question: &Question, style: Style, out: &mut dyn Write) -> fmt::Result {
    question
        .working
        .iter()
        .try_for_each(|line| paragraph(out, style, "       - ", Tone::Quiet, line))
}

/// The id, as wide as those of the longest sheet's.
fn label(question: &Question) -> String {
    format!("{:<5}", format!("[{}]", question.id))
}

/// A learner's answer, cut where it would fill the screen, control characters escaped.
fn short(given: &str) -> String {
    let mut shown: String = given.chars().take(50).flat_map(char::escape_debug).collect();
    if given.chars().count() > 50 {
        shown.push_str(" ...");
    }
    shown
}

const INDENT: &str = "      ";
