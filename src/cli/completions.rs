//! `completions`: what a shell needs to complete commands and options.

use clap_complete::{Shell, generate};

use super::{Failure, Screen, definition};

/// Print completions for a shell
///
/// The script goes to standard output; the shell's own manual says where it looks for such files.
#[derive(Clone, Copy, Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct CompletionsArgs {
    /// The shell
    shell: Shell,
}

const EXAMPLES: &str = "\
Examples:
  handfast completions bash > ~/.local/share/bash-completion/completions/handfast
  handfast completions fish > ~/.config/fish/completions/handfast.fish
  handfast completions zsh > ~/.zfunc/_handfast     with ~/.zfunc in fpath
  eval \"$(handfast completions bash)\"              for this shell only

Exit status: 2 when the usage is wrong, else 0.";

/// Runs `completions`.
///
/// # Errors
/// [`Failure::Write`] when standard output does not take the script.
#[expect(clippy::trivially_copy_pass_by_ref, reason = "every command takes its options so")]
pub fn run(args: &CompletionsArgs, screen: &mut Screen) -> Result<(), Failure> {
    let mut script = Vec::new();
    generate(args.shell, &mut definition(), "handfast", &mut script);
    screen.data(&String::from_utf8_lossy(&script))
}
