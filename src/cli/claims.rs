//! Claims straight from where they are: sources of firmware, exports of servers, labels.

use std::{
    io::{self},
    path::{Path, PathBuf},
};

use clap::Args;
use zeroize::Zeroizing;

use super::{Screen, UsageError, rosters};
use crate::{
    compare::{self, Gathered, Sources, Subject},
    region::Plan,
    roster::{
        ClaimKind, Roster,
        firmware::{self, ByteOrder, Firmware, SourceText},
        label::{self, PrintedLabel},
        table::{self, Table},
    },
    words::{Count, Reason, Visible},
};

const HEAD: &str = "Claims straight from where they are";

/// Options that name where claims are.
#[derive(Args, Clone, Debug, Default)]
pub struct ClaimArgs {
    /// C, C++ or Rust source with what is built into nodes; may be repeated
    #[arg(long, value_name = "FILE", help_heading = HEAD)]
    pub firmware: Vec<PathBuf>,
    /// Records of nodes as a server exports them: CSV with a header line, or JSON; may be repeated
    #[arg(long, value_name = "FILE", help_heading = HEAD)]
    pub records: Vec<PathBuf>,
    /// Label of a node: TR005 string, EUI, or a file of them; may be repeated
    #[arg(long, value_name = "LABEL", help_heading = HEAD)]
    pub label: Vec<String>,
    /// Byte order of EUIs in sources that do not say it: msb (as printed) or lsb
    #[arg(long, value_name = "ORDER", value_parser = order, help_heading = HEAD)]
    #[arg(requires = "firmware")]
    pub byte_order: Option<ByteOrder>,
}

pub(super) fn order(text: &str) -> Result<ByteOrder, String> {
    match text.to_ascii_lowercase().as_str() {
        "msb" => Ok(ByteOrder::Printed),
        "lsb" => Ok(ByteOrder::Reversed),
        _ => Err("msb (most significant byte first, as printed) or lsb".into()),
    }
}

/// What the places say, before it is brought together.
#[derive(Debug, Default)]
pub(super) struct Claims {
    pub(super) firmware: Firmware,
    pub(super) tables: Vec<(String, Table)>,
    pub(super) labels: Vec<(String, PrintedLabel)>,
    /// What is wrong with them.
    pub(super) faults: Vec<String>,
}

impl ClaimArgs {
    /// Returns whether there is none.
    pub(super) fn is_empty(&self) -> bool {
        self.firmware.is_empty() && self.records.is_empty() && self.label.is_empty()
    }

    /// Returns the files that they may be in.
    pub(super) fn files(&self) -> impl Iterator<Item = PathBuf> {
        let paths = self.firmware.iter().chain(&self.records).cloned();
        paths.chain(self.label.iter().map(PathBuf::from))
    }

    /// Returns how many of them are standard input.
    pub(super) fn stdins(&self) -> usize {
        let files = self.firmware.iter().chain(&self.records).filter(|path| is_stdin(path));
        files.count() + self.label.iter().filter(|label| *label == "-").count()
    }

    /// Reads them all; what is wrong is in [`Claims::faults`].
    pub(super) fn read(&self) -> Claims {
        let mut claims = Claims::default();
        self.read_firmware(&mut claims);
        for path in &self.records {
            read_records(path, &mut claims);
        }
        for (i, label) in self.label.iter().enumerate() {
            read_label(i + 1, label, &mut claims);
        }
        claims
    }

    fn read_firmware(&self, claims: &mut Claims) {
        let mut texts = Vec::new();
        let mut names = Vec::new();
        for path in &self.firmware {
            let read = if is_stdin(path) {
                stdin().map(|text| SourceText::new(STDIN, text.as_str()))
            } else {
                SourceText::read_file(path).map_err(|fault| fault.to_string())
            };
            match read {
                Ok(text) => {
                    texts.push(text);
                    names.push(name(path));
                }
                Err(fault) => claims.faults.push(fault),
            }
        }
        let mut firmware = firmware::parse(&texts);
        if let Some(order) = self.byte_order {
            firmware.settle(order);
        }
        claims.faults.extend(firmware.faults.iter().map(ToString::to_string));
        for name in names {
            let taken = firmware.nodes.iter().flat_map(|node| &node.taken);
            let is_used = taken.map(|taken| &taken.file).any(|file| *file == name)
                || firmware.left_out.iter().any(|left| left.file == name)
                || firmware.faults.iter().any(|fault| fault.file == name);
            // A header of macros may only be used by the others.
            if !is_used && firmware.nodes.is_empty() {
                claims.faults.push(format!("{name}: {NO_VALUE}"));
            }
        }
        claims.firmware = firmware;
    }
}

const NO_VALUE: &str = "nothing taken: looked for arrays, texts and numbers under names such as DevEUI, \
    JoinEUI or AppEUI, AppKey, NwkKey, DevAddr, NwkSKey, AppSKey";

fn read_records(path: &Path, claims: &mut Claims) {
    let name = name(path);
    let table = if is_stdin(path) {
        match stdin() {
            Ok(text) => table::parse(&text),
            Err(fault) => return claims.faults.push(fault),
        }
    } else {
        match table::read_file(path) {
            Ok(table) => table,
            Err(fault) => return claims.faults.push(format!("{name}: {fault}")),
        }
    };
    claims.faults.extend(table.faults.iter().map(|fault| format!("{name}: {fault}")));
    if table.rows.is_empty() && table.faults.is_empty() {
        claims.faults.push(format!("{name}: nothing taken: no line after the header"));
    }
    claims.tables.push((name, table));
}

/// Reads a label: a text of one or several, else a file of them.
fn read_label(position: usize, text: &str, claims: &mut Claims) {
    let (name, labels) = if text == "-" {
        match stdin() {
            Ok(text) => (STDIN.to_owned(), label::read(&text)),
            Err(fault) => return claims.faults.push(fault),
        }
    } else {
        let labels = label::read(text);
        let path = Path::new(text);
        if labels.found.is_empty() && path.is_file() {
            match rosters::text_of(path) {
                Ok(text) => (text_name(path), label::read(&text)),
                Err(error) => {
                    let why = Reason(error.kind());
                    return claims.faults.push(format!("{text}: cannot be read: {why}"));
                }
            }
        } else {
            (format!("label {position}"), labels)
        }
    };
    let one = name.starts_with("label ");
    for fault in &labels.faults {
        let words = if one { fault.kind.to_string() } else { fault.to_string() };
        claims.faults.push(format!("{name}: {words}"));
    }
    if labels.found.is_empty() && labels.faults.is_empty() {
        let nothing = label::LabelFaultKind::Nothing;
        claims.faults.push(format!("{name}: nothing taken: {nothing}"));
    }
    for found in labels.found {
        let at = if one { name.clone() } else { format!("{name} line {}", found.line) };
        claims.labels.push((at, found));
    }
}

/// Returns a roster with all that the other places say; says what was taken from where.
///
/// # Errors
/// [`UsageError`] when the roster cannot be read, or standard input is asked for twice.
pub(super) fn roster(
    path: Option<&Path>,
    claims: &ClaimArgs,
    busy: bool,
    region: Option<&'static Plan>,
    screen: &mut Screen,
) -> Result<Roster, UsageError> {
    let roster_is_stdin = path.is_some_and(is_stdin);
    if claims.stdins() + usize::from(busy) + usize::from(roster_is_stdin) > 1 {
        return Err(UsageError::StdinTwice);
    }
    let mut roster = match path {
        Some(path) => rosters::read(path, busy, screen)?,
        None => Roster::default(),
    };
    if claims.is_empty() {
        return Ok(roster);
    }
    let read = claims.read();
    for fault in &read.faults {
        screen.bad_input(fault, None);
    }
    let mut gathered = compare::gather(Sources {
        roster: Some(Roster { nodes: std::mem::take(&mut roster.nodes), ..Roster::default() }),
        firmware: read.firmware,
        tables: read.tables,
        labels: read.labels,
        node: None,
        region,
    });
    for open in compare::settle_orders(&mut gathered.subjects) {
        let taken = &open.taken;
        let words = format!(
            "{}:{}: {}: nothing says in which order its bytes are: {} of {} was not taken",
            taken.file, taken.at, taken.identifier, taken.member, open.node
        );
        screen.bad_input(&words, Some(ORDER_HINT));
    }
    told(&gathered, screen);
    roster.nodes = gathered.subjects.into_iter().map(|subject| subject.node).collect();
    Ok(roster)
}

/// What says the order of bytes.
pub(super) const ORDER_HINT: &str = "--byte-order msb (most significant byte first, as printed) or lsb says \
    it for all such values; so does a comment such as `// lsb first`, or a name that ends in _LSB";

/// Says what was taken from where.
fn told(gathered: &Gathered, screen: &mut Screen) {
    let mut lines: Vec<(&str, String)> = Vec::new();
    for subject in &gathered.subjects {
        let from = taken(subject);
        if from.is_empty() {
            continue;
        }
        let mut words = format!("{}: {}", subject.node.name, from.join("; "));
        if !subject.matched.is_empty() {
            words.push_str(" (");
            words.push_str(&subject.matched.join(", "));
            words.push(')');
        }
        if subject.loosely_matched {
            words.push_str(": it may be another node's");
        }
        lines.push((if subject.loosely_matched { "caution" } else { "note" }, words));
    }
    let more = lines.len().saturating_sub(MOST_TOLD);
    for (kind, words) in lines.iter().take(MOST_TOLD) {
        screen.word(kind, words);
    }
    if more > 0 {
        screen.word("note", &format!("and {}", Count(more, "more node")));
    }
    for left in gathered.left_out.iter().take(MOST_TOLD) {
        let words =
            format!("not taken: {}:{}: {}: {}", left.file, left.at, left.identifier, left.why);
        screen.word("note", &words);
    }
}

/// Returns what was taken for a node, place by place.
pub(super) fn taken(subject: &Subject) -> Vec<String> {
    let mut from = Vec::new();
    let mut values: Vec<(&str, Vec<String>)> = Vec::new();
    for taken in &subject.taken {
        let order = match taken.order {
            ByteOrder::Reversed => format!(", lsb first: {}", taken.order_from),
            ByteOrder::Printed if taken.member.ends_with("-eui") => {
                format!(", msb first: {}", taken.order_from)
            }
            _ => String::new(),
        };
        let words =
            format!("{} ({} line {}{order})", taken.member, taken.identifier, taken.at.line);
        match values.iter_mut().find(|(file, _)| *file == taken.file) {
            Some((_, all)) => all.push(words),
            None => values.push((&taken.file, vec![words])),
        }
    }
    from.extend(values.into_iter().map(|(file, all)| format!("{file}: {}", all.join(", "))));
    let named = |kind: ClaimKind, at: &Option<String>| {
        at.as_ref().map(|at| format!("{} from {at}", kind.name()))
    };
    from.extend(named(ClaimKind::Record, &subject.record_at));
    from.extend(named(ClaimKind::Label, &subject.label_at));
    from
}

fn name(path: &Path) -> String {
    if is_stdin(path) { STDIN.to_owned() } else { text_name(path) }
}

fn text_name(path: &Path) -> String {
    Visible::path(path).to_string()
}

fn is_stdin(path: &Path) -> bool {
    path.as_os_str() == "-"
}

fn stdin() -> Result<Zeroizing<String>, String> {
    rosters::text_from(io::stdin().lock(), STDIN_CAP).map_err(|error| match error.kind() {
        io::ErrorKind::FileTooLarge => format!("{STDIN}: longer than {STDIN_CAP} bytes"),
        why => format!("{STDIN}: cannot be read: {}", Reason(why)),
    })
}

const STDIN: &str = "standard input";
/// Bytes that are read of standard input.
const STDIN_CAP: u64 = 16 << 20;
/// Nodes of which it is said what was taken.
const MOST_TOLD: usize = 20;
