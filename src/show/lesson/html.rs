//! Lessons as a page to print: one file, nothing to fetch, no script.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{KEYS, PREFACE, Side};
use crate::{
    lesson::{Exercise, Given, Lesson, Question},
    show::text::spaced,
};

/// Returns a lesson as an HTML page.
pub fn html(lesson: &Lesson, side: Side) -> String {
    let order = lesson.order;
    let (level, about) = (order.level.number(), order.level.about());
    let title = match side {
        Side::Exercises => format!("Exercises, level {level}"),
        Side::Answers => format!("Answers, level {level}"),
    };
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content={ "Handfast " (env!("CARGO_PKG_VERSION")) };
                title { (title) ", seed " (order.seed) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header {
                    h1 { (title) ": " (about) }
                    p.head { (lesson.head()) }
                    @if side == Side::Exercises {
                        p.name { "Name: " span.blank {} }
                        p { (PREFACE[1]) }
                    }
                    @if lesson.shows_keys() { p { (KEYS) } }
                }
                main {
                    @for exercise in &lesson.exercises { (section(exercise, side)) }
                }
            }
        }
    };
    page.into_string()
}

fn section(exercise: &Exercise, side: Side) -> Markup {
    html! {
        section {
            h2 { "Exercise " (exercise.number) ": " (exercise.title) }
            @if side == Side::Exercises {
                @for given in &exercise.given { (given_html(given)) }
            }
            dl {
                @for question in &exercise.questions { (question_html(question, side)) }
            }
        }
    }
}

fn given_html(given: &Given) -> Markup {
    html! {
        @match given {
            Given::Words(words) => p { (words) },
            Given::Octets(octets) => p.octets { (spaced(octets)) },
            Given::Value { name, value, .. } => p.value { (name) ": " span.mono { (value) } },
        }
    }
}

fn question_html(question: &Question, side: Side) -> Markup {
    html! {
        dt { b { "[" (question.id) "] " } (question.ask) }
        dd {
            @if side == Side::Answers {
                p.mono { (question.answer.right.text()) }
                @for line in &question.working { p.working { (line) } }
            } @else {
                @if question.among.iter().any(|choice| choice.len() > 24) {
                    ul { @for choice in &question.among { li { (choice) } } }
                } @else if !question.among.is_empty() {
                    p.among { (question.among.join(" | ")) }
                }
                p.blank {}
            }
        }
    }
}

const STYLE: &str = "
:root { color-scheme: light dark; --ink: #1c1c1c; --paper: #fff; --quiet: #555; --line: #888; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #ececec; --paper: #181818; --quiet: #b4b4b4; --line: #888; }
}
body { font: 11pt/1.45 system-ui, sans-serif; color: var(--ink); background: var(--paper);
  max-width: 46rem; margin: 1.5rem auto; padding: 0 1rem; }
h1 { font-size: 1.35rem; margin: 0; }
h2 { font-size: 1.1rem; margin: 1.6rem 0 .3rem; }
p { margin: .25rem 0; }
section, dd { break-inside: avoid; }
h2, dt { break-after: avoid; }
.head, .among, .working { color: var(--quiet); }
.head, .octets, .mono { font-family: ui-monospace, monospace; overflow-wrap: anywhere; }
.octets { padding: .3rem .6rem; border-left: 3px solid var(--line); }
.working::before { content: '\\2013\\00a0'; }
dt { margin-top: .7rem; }
dd { margin-left: 1.5rem; }
p.blank { height: 1.7rem; border-bottom: 1px solid var(--line); }
span.blank { display: inline-block; width: 18rem; border-bottom: 1px solid var(--line); }
@media print {
  :root { --ink: #000; --paper: #fff; --quiet: #444; --line: #666; }
  body { margin: 0; max-width: none; }
}
";
