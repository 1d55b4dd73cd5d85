//! Keys on the command line: each as `--app-key KEY`, `--app-key-env NAME` or `--app-key-file PATH`.

use std::{
    collections::BTreeMap,
    fmt,
    fs::File,
    io::{self, Read},
    marker::PhantomData,
    path::{Path, PathBuf},
};

use clap::{Arg, ArgMatches, Command};
use zeroize::Zeroizing;

use super::UsageError;
use crate::{intake::file_text, key::Aes128Key, words::Visible};

/// One key that a command takes.
#[derive(Clone, Copy, Debug)]
pub struct KeyOption {
    /// The option without its dashes: `app-key`.
    pub long: &'static str,
    /// What the key is, in a few words.
    pub help: &'static str,
    /// The names of its two other forms.
    pub others: [&'static str; 2],
}

/// Makes the options of keys out of their names.
macro_rules! key_options {
    ($($long:literal $help:literal;)*) => {
        &[$($crate::cli::key_options::KeyOption {
            long: $long,
            help: $help,
            others: [concat!($long, "-env"), concat!($long, "-file")],
        },)*]
    };
}
pub(super) use key_options;

/// The keys that a command takes.
pub trait KeySet {
    /// Its options.
    const OPTIONS: &'static [KeyOption];
}

/// What stands under the heading of keys in a command's help.
pub const KEYS_HELP: &str = "\
Keys: other users of this machine can see command lines, and a shell keeps them.
Instead of --app-key KEY there are --app-key-env NAME, an environment variable,
and --app-key-file PATH, a file with the key on its first line; likewise for
every other key.";

enum Given {
    Text(Zeroizing<String>),
    Variable(String),
    File(PathBuf),
}

/// The keys that were given, still as text.
pub struct KeyOptions<S> {
    given: BTreeMap<&'static str, Given>,
    set: PhantomData<S>,
}

impl<S> fmt::Debug for KeyOptions<S> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(self.given.keys()).finish()
    }
}

impl<S> KeyOptions<S> {
    /// Returns the key of that option in its role, if it was given.
    ///
    /// # Errors
    /// [`UsageError`] when the key, its file or its variable is none.
    pub fn key<K: From<Aes128Key>>(&self, long: &str) -> Result<Option<K>, UsageError> {
        let Some((&long, given)) = self.given.get_key_value(long) else { return Ok(None) };
        let (place, text) = match given {
            Given::Text(text) => (format!("--{long}"), text.clone()),
            Given::Variable(name) => match std::env::var(name) {
                Ok(text) => (format!("--{long}-env {name}"), Zeroizing::new(text)),
                Err(_) => {
                    return Err(UsageError::NoVariable { option: long, name: name.clone() });
                }
            },
            Given::File(path) => {
                let text = first_line(path)
                    .map_err(|error| UsageError::File { path: path.clone(), error })?;
                (Visible::path(path).to_string(), text)
            }
        };
        let key = text.trim().parse::<Aes128Key>();
        Ok(Some(key.map_err(|error| UsageError::Key { place, error })?.into()))
    }

    /// Returns whether the key of that option was given.
    pub fn has(&self, long: &str) -> bool {
        self.given.contains_key(long)
    }

    /// Returns the files that keys are read from.
    pub(super) fn files(&self) -> impl Iterator<Item = &Path> {
        self.given.values().filter_map(|given| match given {
            Given::File(path) => Some(path.as_path()),
            Given::Text(_) | Given::Variable(_) => None,
        })
    }

    /// Returns whether no key was given.
    pub fn is_empty(&self) -> bool {
        self.given.is_empty()
    }
}

/// Returns the first line of a file, of standard input for `-`; of a longer one the beginning, which is
/// no key either.
fn first_line(path: &Path) -> io::Result<Zeroizing<String>> {
    let source: Box<dyn Read> =
        if path.as_os_str() == "-" { Box::new(io::stdin()) } else { Box::new(File::open(path)?) };
    // The buffer never grows, so that no copy of a key is left behind.
    let mut octets = Zeroizing::new(Vec::with_capacity(KEY_FILE_CAP));
    source.take(KEY_FILE_CAP as u64).read_to_end(&mut octets)?;
    let text = file_text(&octets).map_err(|_| io::ErrorKind::InvalidData)?;
    Ok(Zeroizing::new(text.lines().next().unwrap_or_default().to_owned()))
}

/// A key has 32 digits, perhaps with separators and spaces around.
const KEY_FILE_CAP: usize = 1024;

impl<S: KeySet> clap::FromArgMatches for KeyOptions<S> {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let mut given = BTreeMap::new();
        for option in S::OPTIONS {
            let [variable, file] = option.others;
            let value = |name| matches.get_one::<String>(name).cloned();
            let one = (value(option.long).map(|text| Given::Text(Zeroizing::new(text))))
                .or_else(|| value(variable).map(Given::Variable))
                .or_else(|| value(file).map(|path| Given::File(path.into())));
            given.extend(one.map(|one| (option.long, one)));
        }
        Ok(Self { given, set: PhantomData })
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

impl<S: KeySet> clap::Args for KeyOptions<S> {
    fn augment_args(command: Command) -> Command {
        S::OPTIONS.iter().fold(command, |command, option| {
            let [variable, file] = option.others;
            let arg = |name: &'static str| Arg::new(name).long(name).help_heading("Keys");
            command
                .arg(arg(option.long).value_name("KEY").help(option.help))
                .arg(arg(variable).value_name("NAME").hide(true).conflicts_with(option.long))
                .arg(
                    arg(file)
                        .value_name("PATH")
                        .hide(true)
                        .conflicts_with_all([option.long, variable]),
                )
        })
    }

    fn augment_args_for_update(command: Command) -> Command {
        Self::augment_args(command)
    }
}
