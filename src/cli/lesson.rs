//! `lesson`: exercises for a class, and the marking of answers.

use std::{
    fs,
    io::{self, Read},
    path::{Path, PathBuf},
};

use zeroize::Zeroizing;

use super::{
    Failure, Screen,
    output::{Destination, FileKind},
    rosters,
};
use crate::{
    lesson::{Lesson, Level, Mark, Order, Sheet, SheetError, mark},
    show::lesson::{self as shown, Side},
    words::{Reason, Visible},
};

/// Make exercises for a class from a seed, and mark what learners wrote
///
/// The same seed makes the same sheet on every machine. Nodes, numbers and keys are invented; every
/// answer is computed from the frames shown. Level 1 is about fields and their order, level 2 about
/// windows, rules and radio, level 3 about keys and why a join failed; keys are shown at level 3.
///
/// To answer, write after each `answer:` of the sheet; --check marks it and says what went wrong.
/// Exit status of --check: 0 all right, 1 something wrong or not answered, 2 the file was not
/// understood.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct LessonArgs {
    /// Random seed
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// How hard: 1, 2 or 3
    #[arg(long, value_name = "N", default_value_t = 1)]
    #[arg(value_parser = clap::value_parser!(u8).range(1..=3))]
    level: u8,
    /// How many exercises, 1 to 60
    #[arg(long, value_name = "N", default_value_t = 5)]
    #[arg(value_parser = clap::value_parser!(u8).range(1..=Order::MOST.into()))]
    count: u8,
    /// Show the answers and the working of each, instead of the exercises
    #[arg(long)]
    answers: bool,
    /// Write a page to print into this file (- for standard output)
    #[arg(long, value_name = "FILE", conflicts_with = "json")]
    html: Option<PathBuf>,
    /// Replace a file that is not a page of this program
    #[arg(long, requires = "html")]
    force: bool,
    /// Mark a sheet that was filled in (- for standard input); it says itself which lesson it is
    #[arg(long, value_name = "FILE", conflicts_with_all = ["seed", "level", "count", "answers", "html"])]
    check: Option<PathBuf>,
    /// Print JSON, one object an exercise, or one a question with --check
    #[arg(long)]
    json: bool,
}

const EXAMPLES: &str = "\
Examples:
  handfast lesson                                    five exercises of level 1
  handfast lesson --seed 7 --level 2 > sheet.txt     a sheet to fill in
  handfast lesson --check sheet.txt                  what is wrong, and why
  handfast lesson --seed 7 --level 2 --answers       for the teacher
  handfast lesson --seed 7 --level 3 --html sheet.html";

/// The largest sheet that is read.
const MOST_OCTETS: u64 = 1 << 20;

/// Runs `lesson`.
///
/// # Errors
/// [`Failure::Report`] when a file cannot be read or written or a sheet is none,
/// [`Failure::Write`] when standard output does not take what is written.
pub fn run(args: &LessonArgs, screen: &mut Screen) -> Result<(), Failure> {
    if let Some(path) = &args.check {
        return check(path, args.json, screen);
    }
    let level = Level::new(args.level);
    // clap has seen to the ranges.
    let Some(order) = level.and_then(|level| Order::new(args.seed, level, args.count)) else {
        return Err(Failure::Report("level 1 to 3, count 1 to 60".into()));
    };
    let lesson = Lesson::new(order);
    let side = if args.answers { Side::Answers } else { Side::Exercises };
    if lesson.shows_keys() {
        screen.word("caution", CAUTION);
    }
    if let Some(path) = &args.html {
        return page(path, &shown::html(&lesson, side), args.force, screen);
    }
    let mut out = String::new();
    // Writing into a String cannot fail.
    let _ = if args.json {
        shown::json(&lesson, side, &mut out)
    } else {
        shown::text(&lesson, side, screen.style(), &mut out)
    };
    screen.data(&out)
}

const CAUTION: &str =
    "this sheet shows keys, all of them invented; never put a real key into an exercise";

fn page(path: &Path, page: &str, force: bool, screen: &mut Screen) -> Result<(), Failure> {
    if path == Path::new("-") {
        return screen.data(page);
    }
    let (option, kind) = ("--html", FileKind::Page);
    Destination { option, path, kind, force, secret: false }.write(&[], page)?;
    screen.word("note", &format!("written: {}", Visible::path(path)));
    Ok(())
}

fn check(path: &Path, json: bool, screen: &mut Screen) -> Result<(), Failure> {
    let text = read(path)?;
    let sheet: Sheet = match text.parse() {
        Ok(sheet) => sheet,
        Err(error) => return tell(path, &error, screen),
    };
    let lesson = Lesson::new(sheet.order);
    let faults = sheet.faults(&lesson);
    for fault in &faults {
        tell(path, fault, screen)?;
    }
    if faults.contains(&SheetError::OtherLesson) {
        return Ok(());
    }
    let marked = mark(&lesson, &sheet);
    if marked.iter().any(|m| m.mark != Mark::Right) {
        screen.fault_found();
    }
    let mut out = String::new();
    // Writing into a String cannot fail.
    let _ = if json {
        shown::marked_json(&marked, &mut out)
    } else {
        shown::marked(&lesson, &marked, screen.style(), &mut out)
    };
    screen.data(&out)
}

#[expect(clippy::unnecessary_wraps, reason = "the caller ends or goes on with it")]
fn tell(path: &Path, error: &SheetError, screen: &mut Screen) -> Result<(), Failure> {
    screen.bad_input(&format!("{}: {error}", Visible::path(path)), Some(error.hint()));
    Ok(())
}

fn read(path: &Path) -> Result<Zeroizing<String>, Failure> {
    let name = Visible::path(path);
    let told = |error: io::Error| match error.kind() {
        io::ErrorKind::FileTooLarge => {
            Failure::Report(format!("{name}: too large for a sheet: over a mebibyte"))
        }
        why => Failure::Report(format!("{name}: {}", Reason(why))),
    };
    let input: Box<dyn Read> = if path == Path::new("-") {
        Box::new(io::stdin().lock())
    } else {
        Box::new(fs::File::open(path).map_err(told)?)
    };
    rosters::text_from(input, MOST_OCTETS).map_err(told)
}
