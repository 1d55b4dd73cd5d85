//! What a user of `compose` can get wrong, and what a right one looks like.

use crate::{
    compose::{ComposeError, JsonError},
    frame::{
        FType,
        command::{self, BuildError},
    },
    words::Count,
};

/// Why a frame cannot be composed. Never part of a key.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CannotCompose {
    /// Nothing to compose.
    #[error("no message given")]
    NoMessage,
    /// Neither a message nor a file.
    #[error("{text} is neither a message nor a file")]
    NoSuchMessage {
        /// As given.
        text: String,
    },
    /// An option without which there is no such message.
    #[error("{message} needs {option}")]
    Needs {
        /// The message.
        message: &'static str,
        /// The option.
        option: &'static str,
    },
    /// An option that says nothing of this message.
    #[error("{option} has no place in {message}")]
    NoPlace {
        /// The message.
        message: &'static str,
        /// The option.
        option: &'static str,
    },
    /// An option for a field, where the fields come from JSON.
    #[error("{option}: the fields come from the JSON; edit them there")]
    FieldsBesideJson {
        /// The option.
        option: &'static str,
    },
    /// Two options that cannot both be.
    #[error("{one} and {other} in one frame: give one of the two")]
    Both {
        /// One.
        one: &'static str,
        /// The other.
        other: &'static str,
    },
    /// Another number of bytes than the field has.
    #[error("{option}: {} expected", Count(*.octets, "byte"))]
    Length {
        /// The option.
        option: &'static str,
        /// How many there are to be.
        octets: usize,
    },
    /// An MHDR of another message.
    #[error("--mhdr: its FType is that of {found}, not of {message}")]
    OtherType {
        /// The message.
        message: &'static str,
        /// What the MHDR says.
        found: &'static str,
    },
    /// A frequency that a CFList cannot hold.
    #[error("--frequencies: {hz} is not a multiple of 100 Hz below 1677721600")]
    Frequency {
        /// As given.
        hz: u32,
    },
    /// More values than a CFList holds.
    #[error("{option}: {most} at the most")]
    TooMany {
        /// The option.
        option: &'static str,
        /// As many as there may be.
        most: usize,
    },
    /// A MAC command that is none.
    #[error("--command: {0}")]
    Command(#[from] BuildError),
    /// A MAC command that travels the other way.
    #[error("--command: {command} travels {way}, and {message} does not")]
    OtherWay {
        /// The command.
        command: &'static str,
        /// Up or down.
        way: &'static str,
        /// The message.
        message: &'static str,
    },
    /// A key or a value is missing, or FOpts are too long.
    #[error(transparent)]
    Compose(#[from] ComposeError),
    /// A line that is not JSON.
    #[error("column {column}: no JSON")]
    NotJson {
        /// Where.
        column: usize,
    },
    /// JSON that makes no frame.
    #[error(transparent)]
    Json(#[from] JsonError),
}

impl CannotCompose {
    /// Returns what a right one looks like.
    pub fn hint(&self) -> Option<String> {
        match self {
            Self::NoMessage | Self::NoSuchMessage { .. } => {
                let names: Vec<_> = FType::ALL.into_iter().map(FType::name).collect();
                Some(format!("a message is one of {}", names.join(", ")))
            }
            Self::NotJson { .. } => {
                Some("one object a line, as `handfast read --json` prints it".into())
            }
            Self::Command(error) => command_hint(error),
            Self::Compose(ComposeError::Missing { wanted, .. }) => options(wanted),
            _ => None,
        }
    }
}

/// Names the fields of the command that was meant.
fn command_hint(error: &BuildError) -> Option<String> {
    let name = match error {
        BuildError::NoSuchCommand { .. } => {
            return Some("`handfast compose --help` shows how a command is written".into());
        }
        BuildError::NoSuchField { command, .. }
        | BuildError::Missing { command, .. }
        | BuildError::WrongKind { command, .. }
        | BuildError::OutOfRange { command, .. } => *command,
    };
    let row = command::row_by_name(name, None)?;
    let fields: Vec<_> = row.fields.iter().map(|field| format!("{}=..", field.name)).collect();
    Some(match fields.as_slice() {
        [] => format!("{name} has no fields"),
        fields => format!("{name} {}", fields.join(" ")),
    })
}

/// Names the options that give what is missing.
fn options(wanted: &[&str]) -> Option<String> {
    let words = wanted.iter().flat_map(|text| text.split(|c: char| !c.is_ascii_alphanumeric()));
    let options: Vec<_> = words
        .filter_map(|word| OPTIONS.iter().find(|(name, _)| *name == word))
        .map(|(name, option)| format!("{name}: {option}"))
        .collect();
    (!options.is_empty()).then(|| options.join("; "))
}

const OPTIONS: &[(&str, &str)] = &[
    ("AppKey", "--app-key"),
    ("NwkKey", "--nwk-key"),
    ("NwkSKey", "--nwk-s-key"),
    ("AppSKey", "--app-s-key"),
    ("FNwkSIntKey", "--f-nwk-s-int-key"),
    ("SNwkSIntKey", "--s-nwk-s-int-key"),
    ("NwkSEncKey", "--nwk-s-enc-key"),
    ("JSIntKey", "--js-int-key"),
    ("JSEncKey", "--js-enc-key"),
    ("McNwkSKey", "--mc-nwk-s-key"),
    ("McAppSKey", "--mc-app-s-key"),
    ("JoinEUI", "--join-eui"),
    ("DevEUI", "--dev-eui"),
    ("DevNonce", "--dev-nonce"),
];
