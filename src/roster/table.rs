//! Records of nodes as a server exports them, or as people keep them: CSV or JSON.
//!
//! A table's first line names the columns by the names of the trade, in any case and with any separators
//! (`DevEUI`, `dev_eui`, `Device EUI`); every further line is a node's record. Commas, semicolons
//! or tabs separate; a field may be quoted, a quote within it is doubled.
//!
//! In JSON an object with a DevEUI or a DevAddr is a node's record, at any depth, with the members of
//! the objects in it; names of members are those of columns. Keys and EUIs are hex, base64 or lists of
//! bytes.
//!
//! ```
//! let table = handfast::roster::table::parse("DevEUI;AppEUI\n020000fffe001207;020000fffe00ffff\n");
//! assert_eq!(table.rows[0].claim.dev_eui.map(|eui| eui.hex()).as_deref(), Some("020000fffe001207"));
//! ```

mod columns;
mod csv;
mod json;
mod values;

use std::{
    fmt,
    fs::File,
    io::{self, Read},
    path::Path,
};

use zeroize::Zeroizing;

use self::columns::{Column, Filled};
use super::claim::Claim;
use crate::{
    id::IdError,
    intake::file_text,
    key::KeyError,
    words::{Count, Reason},
};

/// What a table says.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// The rows that are intact, in order.
    pub rows: Vec<Row>,
    /// Columns, or members, whose names say nothing.
    pub unknown_columns: Vec<String>,
    /// What is wrong; everything else is intact.
    pub faults: Vec<TableFault>,
}

/// A node's record.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// What the table calls the node.
    pub name: Option<String>,
    /// What else it calls it: an id next to the name.
    pub id: Option<String>,
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
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TableFaultKind {
    /// The file cannot be read.
    #[error("cannot be read: {}", Reason(*.0))]
    Unreadable(io::ErrorKind),
    /// A file too large to be a table of nodes.
    #[error("longer than {cap} bytes: no table of nodes is")]
    TooLarge {
        /// Bytes that a table may have.
        cap: u64,
    },
    /// Bytes that are not UTF-8.
    #[error("not UTF-8 text")]
    NotUtf8,
    /// No line at all.
    #[error("no header line with names of columns such as DevEUI, JoinEUI, AppKey")]
    Empty,
    /// No column has a name that is known.
    #[error("no column is known: names such as DevEUI, JoinEUI, AppKey expected")]
    NoColumn,
    /// Two columns for one member that do not say the same.
    #[error("another value than `{first}` has, which is for the same")]
    Contradicts {
        /// The column that was taken.
        first: String,
    },
    /// A quote that nothing closes.
    #[error("a quoted field has no end")]
    OpenQuote,
    /// Something behind a closing quote.
    #[error("field {field}: something follows its closing quote")]
    BehindQuote {
        /// Which field of the line, from 1.
        field: usize,
    },
    /// Another number of fields than the header has.
    #[error("{}, {wanted} expected as in the header", Count(*.found, "field"))]
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
    /// A name that may be a key.
    #[error("a name expected, and this has the shape of a key: it is not shown")]
    KeyAsName,
    /// A number that has another range, or is none.
    #[error("a number from 0 to {most} expected")]
    Number {
        /// The most that is right.
        most: u32,
    },
    /// No JSON.
    #[error("column {column}: {wanted}")]
    Json {
        /// Column, from 1.
        column: usize,
        /// What was expected.
        wanted: &'static str,
    },
    /// JSON without a node in it.
    #[error(
        "nothing taken: looked for objects with members such as devEUI, joinEUI, appKey, devAddr, at \
         any depth"
    )]
    NoNode,
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
    let text = file_text(&octets).map_err(|e| {
        let before = octets.get(..e.valid_up_to()).unwrap_or_default();
        let line = before.split(|octet| *octet == b'\n').count();
        TableFault { line, ..whole(TableFaultKind::NotUtf8) }
    })?;
    Ok(parse(&text))
}

/// Returns what a table says, or JSON.
pub fn parse(text: &str) -> Table {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut table = Table::default();
    if text.trim_start().starts_with(['{', '[']) {
        json::read(text, &mut table);
    } else {
        lines(text, &mut table);
    }
    table.faults.truncate(MOST_FAULTS);
    table.unknown_columns.truncate(MOST_FAULTS);
    table
}

fn lines(text: &str, table: &mut Table) {
    let mut lines = csv::Lines::of(text);
    let Some(header) = lines.next_whole(&mut table.faults) else {
        if table.faults.is_empty() {
            table.faults.push(whole(TableFaultKind::Empty));
        }
        return;
    };
    let columns: Vec<(String, Option<&Column>)> = header
        .fields
        .iter()
        // A header line may be missing, and then keys are here.
        .map(|field| (super::secret::redacted(field.trim()), columns::named(field)))
        .collect();
    let unknown = columns.iter().filter(|(name, column)| column.is_none() && !name.is_empty());
    table.unknown_columns.extend(unknown.map(|(name, _)| name.clone()).take(MOST_FAULTS));
    if columns.iter().all(|(_, column)| column.is_none()) {
        table.faults.push(TableFault { line: header.line, ..whole(TableFaultKind::NoColumn) });
        return;
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
        let mut row = Filled::at(line.line);
        for ((name, column), field) in columns.iter().zip(&line.fields) {
            if let Some(column) = column {
                row.fill(column, name, field.trim(), line.line, &mut table.faults);
            }
        }
        table.rows.push(row.finish());
    }
}

fn whole(kind: TableFaultKind) -> TableFault {
    TableFault { line: 0, column: String::new(), kind }
}

/// Bytes that a table may have.
const SIZE_CAP: u64 = 16 << 20;
/// Faults reported together.
const MOST_FAULTS: usize = 50;
