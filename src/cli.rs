//! The command line: one file a command, one row a command in the table below.
//!
//! Data goes to standard output, words about the run to standard error. Whoever reads the data may
//! close the pipe early; that is no error. The exit status is an [`Exit`].

pub mod airtime;
pub mod beacon;
mod captures;
pub mod claims;
pub mod compare;
pub mod completions;
pub mod compose;
mod console;
pub mod diagnose;
pub mod explain;
mod feed;
mod fold;
mod follow;
mod frame_file;
mod frame_keys;
pub mod frames;
mod gateway_configs;
mod growing;
pub mod id;
pub mod key_options;
pub mod keys;
pub mod lesson;
pub mod man;
mod mistyped;
mod output;
pub mod plan;
mod progress;
pub mod read;
mod report_file;
pub mod roster;
mod rosters;
mod screen;
pub mod selection;
mod signals;
pub mod tap;
mod usage;
mod values;
mod version;

use std::{ffi::OsString, io::Write as _};

use clap::{CommandFactory, Parser};

pub use screen::{Failure, Screen};
pub use usage::UsageError;

/// How a run ended. The worse one wins: a run that meets several ends with the highest.
#[derive(Clone, Copy, Debug, Default, Eq, Ord, PartialEq, PartialOrd)]
pub enum Exit {
    /// 0: nothing wrong was found.
    #[default]
    Fine = 0,
    /// 1: a fault was found, such as a MIC that fails.
    FaultFound = 1,
    /// 2: an input or the usage is wrong; what is whole was still shown.
    BadInput = 2,
    /// 129: SIGHUP ended the run, and there was nothing else to report; likewise the next two.
    HungUp = 129,
    /// 130: Ctrl-C.
    Interrupted = 130,
    /// 143: SIGTERM.
    Terminated = 143,
}

impl From<Exit> for std::process::ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit as u8)
    }
}

/// Decode LoRaWAN frames and say why a node does not join
#[derive(Debug, Parser)]
#[command(name = "handfast", version, long_version = version::LONG.as_str())]
#[command(after_help = EXIT_HELP, disable_help_subcommand = true)]
#[command(max_term_width = 80)]
struct Program {
    /// Colour the text: auto, always or never
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto")]
    #[arg(hide_possible_values = true, hide_default_value = true)]
    color: When,
    /// End with status 0 where a fault was found, for pipelines; 2 stays 2
    #[arg(long, global = true)]
    exit_zero: bool,
    #[command(subcommand)]
    command: Option<Command>,
}

/// When to colour.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum When {
    /// On a terminal, unless NO_COLOR is set
    Auto,
    /// Even into a pipe
    Always,
    /// Not at all
    Never,
}

const EXIT_HELP: &str = "\
Exit status:
  0  nothing wrong was found
  1  a fault was found, such as a MIC that fails
  2  an input or the usage is wrong; what is intact is still shown
  --exit-zero makes 1 a 0, for pipelines
  130 after Ctrl-C, 143 after SIGTERM, where there is nothing else to report";

const SHORT_HELP: &str = "\
handfast decodes LoRaWAN frames and says why a node does not join.

  handfast diagnose CAPTURE --roster FILE
      Say for every node how far its join climbed, where it broke, and why.
      `handfast diagnose --demo` does so on an embedded example.

  handfast read FRAME --app-key KEY
      Show every field of a frame, check its MIC and decrypt it.
      FRAME is hex or base64; without keys all that travels in clear is shown.

  handfast keys --request FRAME --accept FRAME --app-key KEY
      Derive the session keys of a join.

`handfast --help` lists all commands, `handfast help read` explains one.
";

macro_rules! commands {
    ($($(#[$doc:meta])* $name:ident($args:ty) = $run:expr;)*) => {
        #[derive(Debug, clap::Subcommand)]
        enum Command {
            $($(#[$doc])* $name($args),)*
        }

        impl Command {
            fn run(&self, screen: &mut Screen) -> Result<(), Failure> {
                match self {
                    $(Self::$name(args) => {
                        let run: fn(&$args, &mut Screen) -> Result<(), Failure> = $run;
                        run(args, screen)
                    })*
                }
            }
        }
    };
}

// One row a command: its name, its arguments, what runs it. A command that only makes a text is
// A command's words of help are its arguments' own, unless they stand in its row.
// `Plan(plan::PlanArgs) = |args, screen| screen.report(plan::report(args));`
commands! {
    /// Say for every node of a capture how far its join climbed, where it broke, and why
    Diagnose(diagnose::DiagnoseArgs) = diagnose::run;
    /// Print a cause's page: what is seen, why, how to be sure, what to do
    Explain(explain::ExplainArgs) = explain::run;
    /// Decode frames: every field, byte by byte
    Read(read::ReadArgs) = read::run;
    /// Listen on a gateway's UDP port, or relay between it and its server, and monitor
    Tap(tap::TapArgs) = tap::run;
    /// Build a frame from its fields and keys, or from the JSON of `read`
    Compose(compose::ComposeArgs) = compose::run;
    Compare(compare::CompareArgs) = compare::run;
    Roster(roster::RosterArgs) = roster::run;
    /// Derive every key of a join, a rejoin, a multicast group
    Keys(keys::KeysArgs) = keys::run;
    /// Show a region's channels, data rates and windows
    Plan(plan::PlanArgs) = |args, screen| screen.report(plan::report(args));
    Airtime(airtime::AirtimeArgs) = airtime::run;
    Beacon(beacon::BeaconArgs) = beacon::run;
    Id(id::IdArgs) = |args, screen| screen.report(id::report(args));
    Lesson(lesson::LessonArgs) = lesson::run;
    Completions(completions::CompletionsArgs) = completions::run;
    Man(man::ManArgs) = man::run;
}

/// Runs the program with these arguments, the program's own name first.
pub fn run(args: impl IntoIterator<Item = OsString>) -> Exit {
    let args = mistyped::with_help_as_option(args.into_iter().collect());
    let program = match Program::try_parse_from(&args) {
        Ok(program) => program,
        Err(error) => {
            // Help and version come as errors, too, and are none. Nobody is left to tell of a
            // failure to print.
            if !error.use_stderr() {
                let _ = error.print();
                return Exit::Fine;
            }
            let meant = mistyped::instead(&error, &args);
            let (own, hint) = meant.map_or((None, None), |meant| (meant.error, Some(meant.hint)));
            if let Some(own) = own {
                Screen::new(anstream::ColorChoice::Auto).bad_input(&own, hint.as_deref());
                return Exit::BadInput;
            }
            let words = screen::guarded_usage(&error.render().ansi().to_string());
            let words = fold::fold(&words, 2, screen::WIDTH);
            // Takes the colours away where the screen has none.
            let _ = write!(anstream::stderr(), "{words}");
            if let Some(hint) = hint {
                Screen::new(anstream::ColorChoice::Auto).word("hint", &hint);
            }
            return Exit::BadInput;
        }
    };
    signals::watch();
    let mut screen = Screen::new(program.color.into());
    let ran = match &program.command {
        Some(command) => command.run(&mut screen),
        None => screen.data(SHORT_HELP),
    };
    match (screen.end(ran), signals::status()) {
        (Exit::FaultFound, None) if program.exit_zero => Exit::Fine,
        (Exit::Fine, Some(signal)) => signal,
        (exit, _) => exit,
    }
}

impl From<When> for anstream::ColorChoice {
    fn from(when: When) -> Self {
        match when {
            When::Auto => Self::Auto,
            When::Always => Self::Always,
            When::Never => Self::Never,
        }
    }
}

/// Returns the whole command line as clap knows it, for help pages and completions.
pub fn definition() -> clap::Command {
    Program::command()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_definition_is_sound() {
        definition().debug_assert();
    }

    #[test]
    fn the_worse_exit_wins() {
        assert_eq!(Exit::Fine.max(Exit::FaultFound), Exit::FaultFound);
        assert_eq!(Exit::BadInput.max(Exit::FaultFound), Exit::BadInput);
        assert_eq!([Exit::Fine as u8, Exit::FaultFound as u8, Exit::BadInput as u8], [0, 1, 2]);
    }
}
