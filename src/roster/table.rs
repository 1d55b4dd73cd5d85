//! Records as a table: the CSV that a network server exports or that people keep.
//!
//! The first line names the columns by the names of the trade, in any case and with any separators
//! (`DevEUI`, `dev_eui`, `Device EUI`); every further line is a node's record. Commas, semicolons
//! or tabs separate; a field may be quoted, a quote within it is doubled.
//!
//! ```
//! let table = handfast::roster::table::parse("DevEUI;AppEUI\n020000fffe001207;020000fffe00ffff\n");
//! assert_eq!(table.rows[0].claim.dev_eui.map(|eui| eui.hex()).as_deref(), Some("020000fffe001207"));
//! ```

mod csv;

use std::{
    fmt,
    fs::File,
    io::{self, Read},
    path::Path,
};

use zeroize::Zeroizing;

use super::claim::{Activation, Claim, Class};
use crate::{frame::MacVersion, id::IdError, key::KeyError, region::Plan, words::Reason};

/// What a table says.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// The rows that are whole, in order.
    pub rows: Vec<Row>,
    /// Columns whose names say nothing.
    pub unknown_columns: Vec<String>,
    /// What is wrong; everything else is whole.
    pub faults: Vec<TableFault>,
}

/// A node's record.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// What the table calls the node.
    pub name: Option<String>,
    /// Its line, from 1.
    pub line: usize,
    /// The record.
    pub claim: Claim,
}

/// Something wrong with a table. Never holds a digit of a value.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct TableFault {
    /// The line, from 1; 0 for the whole file.
    pub line: usize,
    /// The column's name as the table spells it; empty where it is the whole line.
    pub column: String,
    /// What is wrong.
    pub kind: TableFaultKind,
}

impl fmt::Display for TableFault {
    /// Prints `line 7, column AppKey: ...`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.line, self.column.as_str()) {
            (0, _) => self.kind.fmt(f),
            (line, "") => write!(f, "line {line}: {}", self.kind),
            (line, column) => write!(f, "line {line}, column {column}: {}", self.kind),
        }
    }
}

impl std::error::Error for TableFault {}

/// What is wrong with a table.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TableFaultKind {
    /// The file cannot be read.
    #[error("cannot be read: {}", Reason(*.0))]
    Unreadable(io::ErrorKind),
    /// A file too large to be a table of nodes.
    #[error("longer than {cap} octets: no table of nodes is")]
    TooLarge {
        /// Octets that a table may have.
        cap: u64,
    },
    /// Octets that are not UTF-8.
    #[error("not UTF-8 text")]
    NotUtf8,
    /// No line at all.
    #[error("no header line with names of columns such as DevEUI, JoinEUI, AppKey")]
    Empty,
    /// No column has a name that is known.
    #[error("no column is known: names such as DevEUI, JoinEUI, AppKey expected")]
    NoColumn,
    /// Two columns for one member.
    #[error("a column before it says the same")]
    ColumnTwice,
    /// A quote that nothing closes.
    #[error("a quoted field has no end")]
    OpenQuote,
    /// Something behind a closing quote.
    #[error("field {field}: something stands behind its closing quote")]
    BehindQuote {
        /// Which field of the line, from 1.
        field: usize,
    },
    /// Another number of fields than the header has.
    #[error("{found} fields, {wanted} wanted as in the header")]
    Fields {
        /// How many there are.
        found: usize,
        /// How many there should be.
        wanted: usize,
    },
    /// No identifier.
    #[error("{0}")]
    Id(IdError),
    /// No key.
    #[error("{0}")]
    Key(KeyError),
    /// A word that has no meaning here.
    #[error("one of {choices} expected")]
    NotOneOf {
        /// All that have one.
        choices: &'static str,
    },
    /// No region of that name.
    #[error("no region of that name; a common name of RP002 such as EU868 or US915 expected")]
    NoRegion,
    /// Control characters in a name.
    #[error("control characters do not belong in a name")]
    ControlCharacter,
}

/// Returns the table in that file.
///
/// # Errors
///
/// [`TableFault`] when the file cannot be read at all; faults of its lines are in the [`Table`].
pub fn read_file(path: &Path) -> Result<Table, TableFault> {
    let file = File::open(path).map_err(|e| whole(TableFaultKind::Unreadable(e.kind())))?;
    let mut octets = Zeroizing::new(Vec::new());
    file.take(SIZE_CAP + 1)
        .read_to_end(&mut octets)
        .map_err(|e| whole(TableFaultKind::Unreadable(e.kind())))?;
    if octets.len() as u64 > SIZE_CAP {
        return Err(whole(TableFaultKind::TooLarge { cap: SIZE_CAP }));
    }
    let text = std::str::from_utf8(&octets).map_err(|e| {
        let before = octets.get(..e.valid_up_to()).unwrap_or_default();
        let line = before.split(|octet| *octet == b'\n').count();
        TableFault { line, ..whole(TableFaultKind::NotUtf8) }
    })?;
    Ok(parse(text))
}

/// Returns what a table says.
pub fn parse(text: &str) -> Table {
    let mut table = Table::default();
    let mut lines = csv::Lines::of(text.strip_prefix('\u{feff}').unwrap_or(text));
    let Some(header) = lines.next_whole(&mut table.faults) else {
        if table.faults.is_empty() {
            table.faults.push(whole(TableFaultKind::Empty));
        }
        return table;
    };
    let columns = columns(&header, &mut table);
    if columns.iter().all(|(_, reader)| reader.is_none()) {
        table.faults.push(TableFault { line: header.line, ..whole(TableFaultKind::NoColumn) });
        return table;
    }
    while let Some(line) = lines.next_whole(&mut table.faults) {
        if table.faults.len() >= MOST_FAULTS {
            break;
        }
        if line.fields.len() != columns.len() {
            let (found, wanted) = (line.fields.len(), columns.len());
            let kind = TableFaultKind::Fields { found, wanted };
            table.faults.push(TableFault { line: line.line, ..whole(kind) });
            continue;
        }
        let mut row = Row { line: line.line, ..Row::default() };
        for ((column, reader), field) in columns.iter().zip(&line.fields) {
            let text = field.trim();
            let Some(reader) = reader.filter(|_| !text.is_empty()) else { continue };
            if let Err(kind) = (reader.read)(&mut row, text) {
                let column = column.clone();
                table.faults.push(TableFault { line: line.line, column, kind });
            }
        }
        table.rows.push(row);
    }
    table
}

type Columns = Vec<(String, Option<&'static Reader>)>;

fn columns(header: &csv::Line, table: &mut Table) -> Columns {
    let mut columns = Columns::new();
    let mut seen = Vec::new();
    for field in &header.fields {
        // a header line may be missing, and then keys stand here
        let name = super::secret::redacted(field.trim());
        let bare: String = field
            .chars()
            .filter(char::is_ascii_alphanumeric)
            .map(|c| c.to_ascii_lowercase())
            .collect();
        let reader = READERS.iter().find(|reader| reader.names.contains(&bare.as_str()));
        let twice = reader.is_some_and(|reader| seen.contains(&reader.names));
        if let Some(reader) = reader.filter(|_| !twice) {
            seen.push(reader.names);
        }
        if twice && table.faults.len() < MOST_FAULTS {
            let kind = TableFaultKind::ColumnTwice;
            table.faults.push(TableFault { line: header.line, column: name.clone(), kind });
        }
        if reader.is_none() && !name.is_empty() && table.unknown_columns.len() < MOST_FAULTS {
            table.unknown_columns.push(name.clone());
        }
        columns.push((name, reader.filter(|_| !twice)));
    }
    columns
}

fn whole(kind: TableFaultKind) -> TableFault {
    TableFault { line: 0, column: String::new(), kind }
}

/// A column: its names without case and separators, and how a field is read.
struct Reader {
    names: &'static [&'static str],
    read: fn(&mut Row, &str) -> Result<(), TableFaultKind>,
}

macro_rules! readers {
    ($($names:expr => $field:ident = $read:expr;)*) => {
        &[
            Reader {
                names: &["name", "id", "nodename", "devicename", "deviceid", "devid", "node", "device"],
                read: |row, text| {
                    if text.chars().any(char::is_control) {
                        return Err(TableFaultKind::ControlCharacter);
                    }
                    row.name = Some(text.to_owned());
                    Ok(())
                },
            },
            $(Reader {
                names: &$names,
                read: |row, text| {
                    let read: fn(&str) -> Result<_, TableFaultKind> = $read;
                    row.claim.$field = Some(read(text)?);
                    Ok(())
                },
            },)*
        ]
    };
}

static READERS: &[Reader] = readers! {
    ["deveui", "deviceeui", "enddeviceeui"] => dev_eui = |t| t.parse().map_err(TableFaultKind::Id);
    ["joineui", "appeui", "applicationeui"] => join_eui = |t| t.parse().map_err(TableFaultKind::Id);
    ["appkey", "applicationkey"] => app_key = |t| t.parse().map_err(TableFaultKind::Key);
    ["nwkkey", "networkkey"] => nwk_key = |t| t.parse().map_err(TableFaultKind::Key);
    ["genappkey"] => gen_app_key = |t| t.parse().map_err(TableFaultKind::Key);
    ["devaddr", "deviceaddress", "devaddress"] => dev_addr = |t| t.parse().map_err(TableFaultKind::Id);
    ["netid", "networkid"] => net_id = |t| t.parse().map_err(TableFaultKind::Id);
    ["nwkskey", "networksessionkey", "nwksessionkey"] => nwk_s_key = |t| {
        t.parse().map_err(TableFaultKind::Key)
    };
    ["appskey", "applicationsessionkey", "appsessionkey"] => app_s_key = |t| {
        t.parse().map_err(TableFaultKind::Key)
    };
    ["fnwksintkey"] => f_nwk_s_int_key = |t| t.parse().map_err(TableFaultKind::Key);
    ["snwksintkey"] => s_nwk_s_int_key = |t| t.parse().map_err(TableFaultKind::Key);
    ["nwksenckey"] => nwk_s_enc_key = |t| t.parse().map_err(TableFaultKind::Key);
    ["region", "band", "frequencyplan", "regionname"] => region = |t| {
        Plan::by_name(t).ok_or(TableFaultKind::NoRegion)
    };
    ["macversion", "lorawanversion", "lorawanmacversion", "version"] => mac_version = |t| {
        let bare = t.trim_start_matches(|c: char| !c.is_ascii_digit());
        let choices = "1.0.0, 1.0.1, 1.0.2, 1.0.3, 1.0.4, 1.1";
        MacVersion::by_name(bare).ok_or(TableFaultKind::NotOneOf { choices })
    };
    ["class", "deviceclass"] => class = |t| {
        let last = t.rsplit([' ', '_']).next().unwrap_or_default();
        let found = Class::ALL.into_iter().find(|class| class.name().eq_ignore_ascii_case(last));
        found.ok_or(TableFaultKind::NotOneOf { choices: "A, B, C" })
    };
    ["activation", "activationmode", "activationtype", "joinmode"] => activation = |t| {
        let found = Activation::ALL.into_iter().find(|a| a.name().eq_ignore_ascii_case(t));
        found.ok_or(TableFaultKind::NotOneOf { choices: "OTAA, ABP" })
    };
    ["subband"] => sub_band = |t| {
        let found = t.parse().ok().filter(|n| (1..=8).contains(n));
        found.ok_or(TableFaultKind::NotOneOf { choices: "1 to 8" })
    };
    ["channelmask"] => channel_mask = |t| {
        let mask: Result<crate::region::ChannelMask, _> = t.parse();
        mask.map(|mask| mask.words().to_vec())
            .map_err(|_| TableFaultKind::NotOneOf { choices: "ChMask words such as FF00 0000" })
    };
};

/// Octets that a table may have.
const SIZE_CAP: u64 = 16 << 20;
/// Faults told of at once.
const MOST_FAULTS: usize = 50;
