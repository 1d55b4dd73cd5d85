//! Values of members, out of what a source declares.

use std::{
    collections::{HashMap, HashSet},
    fmt::Write as _,
};

use zeroize::Zeroizing;

use super::{
    ByteOrder, LeftOut, LeftOutWhy, MOST_TOLD, OrderFrom, SourceFault, Taken,
    branch::Branches,
    lexer::{Comment, Token, lex},
    member::Member,
    names::{Meaning, meaning, order_in, order_word, tag_of, words},
    octets::{Problem, Said, candidate_octets, said},
    scan::{Declaration, Scan, scan},
    value::{Cursor, Definitions, Entry, Literal, ValueReader},
};

/// A value and where it belongs.
#[derive(Clone, Debug)]
pub(super) struct FoundValue {
    pub(super) member: Member,
    pub(super) said: Said,
    pub(super) taken: Taken,
    pub(super) place: Owner,
}

/// What tells one node's values from another's.
#[derive(Clone, Debug, Eq, Hash, PartialEq)]
pub(super) struct Owner {
    pub(super) file: usize,
    pub(super) branch: usize,
    /// Words of the name that are no member's.
    pub(super) tag: String,
    /// Places in arrays, outermost first: `0` or `0.1`.
    pub(super) index: String,
    /// How many values of this member stood at this place before.
    pub(super) again: usize,
}

/// All that sources say.
#[derive(Debug)]
pub(super) struct Harvest {
    pub(super) found: Vec<FoundValue>,
    pub(super) left_out: Vec<LeftOut>,
    pub(super) faults: Vec<SourceFault>,
    pub(super) branches: Branches,
}

/// Reads every declaration of all sources.
pub(super) fn take(sources: &[(&str, &str)]) -> Harvest {
    let mut branches = Branches::new();
    let mut definitions = Definitions::new();
    let mut faults = Vec::new();
    let mut files = Vec::new();
    let mut comments = Vec::new();
    for (name, text) in sources {
        let lexed = lex(text);
        faults.extend(lexed.faults.into_iter().take(MOST_TOLD).map(|(at, kind)| SourceFault {
            file: (*name).to_owned(),
            at: Some(at),
            identifier: None,
            kind,
        }));
        files.push(lexed.tokens);
        comments.push(lexed.comments);
    }
    let scans: Vec<Scan<'_>> = files
        .iter()
        .enumerate()
        .map(|(file, tokens)| scan(tokens, file, &mut branches, &mut definitions))
        .collect();
    let budget = files.iter().map(Vec::len).sum::<usize>() + LEAST_BUDGET;
    let mut taker = Taker {
        reader: ValueReader {
            files: &files,
            definitions: &definitions,
            budget,
            expanded: Vec::new(),
        },
        found: Vec::new(),
        left_out: Vec::new(),
        faults,
        structs: scans.iter().flat_map(|scan| scan.structs.clone()).collect(),
        seen: HashMap::new(),
        resolved: HashSet::new(),
    };
    for (file, scan) in scans.iter().enumerate() {
        let name = sources.get(file).map_or("", |(name, _)| name);
        let comments = comments.get(file).map_or(&[][..], Vec::as_slice);
        for declaration in &scan.declarations {
            taker.declaration(&File { number: file, name, comments }, declaration);
        }
    }
    let Taker { found, mut left_out, mut faults, resolved, .. } = taker;
    left_out.retain(|left: &LeftOut| {
        let unknown = matches!(left.why, LeftOutWhy::UnknownName { .. });
        !(unknown && resolved.contains(left.identifier.as_str()))
    });
    left_out.truncate(MOST_TOLD);
    faults.truncate(MOST_TOLD);
    Harvest { found, left_out, faults, branches }
}

struct File<'a, 't> {
    number: usize,
    name: &'a str,
    comments: &'a [Comment<'t>],
}

struct Taker<'a, 't> {
    reader: ValueReader<'a, 't>,
    found: Vec<FoundValue>,
    left_out: Vec<LeftOut>,
    faults: Vec<SourceFault>,
    structs: HashMap<&'t str, Vec<&'t str>>,
    seen: HashMap<(Member, Owner), usize>,
    /// Names without meaning that stand behind values with one.
    resolved: HashSet<&'t str>,
}

/// A value on its way: its name, where it stands, and in which lines comments count for it.
struct Spot<'s> {
    identifier: String,
    at: super::super::error::Position,
    lines: (usize, usize),
    branch: usize,
    tag: &'s str,
    index: &'s str,
    /// Whether it is worth telling that there is no value: statements of a program have none.
    is_macro: bool,
}

impl<'t> Taker<'_, 't> {
    fn token(&self, file: usize, at: usize) -> Option<Token<'t>> {
        self.reader.files.get(file)?.get(at).copied()
    }

    fn declaration(&mut self, file: &File<'_, 't>, declared: &Declaration<'t>) {
        let Some(name) = self.token(file.number, declared.name_at) else { return };
        let last = declared.end.checked_sub(1).and_then(|end| self.token(file.number, end));
        let last_line = last.map_or(name.at.line, |last| last.at.line.max(name.at.line));
        let mut cursor = Cursor {
            file: file.number,
            at: declared.start,
            end: declared.end,
            branch: declared.branch,
        };
        self.reader.expanded.clear();
        let entry = if declared.is_macro {
            self.reader.body(cursor)
        } else {
            self.reader.initialiser(&mut cursor)
        };
        let spot = Spot {
            identifier: declared.name.to_owned(),
            at: name.at,
            lines: (name.at.line, last_line),
            branch: declared.branch,
            tag: "",
            index: "",
            is_macro: declared.is_macro,
        };
        if let Some(meaning) = meaning(declared.name) {
            return self.named(file, &meaning, &entry, &spot);
        }
        let tag = tag_of(declared.name);
        let is_array = self
            .token(file.number, declared.name_at + 1)
            .is_some_and(|token| token.kind == super::lexer::TokenKind::Punct('['));
        let fields = declared.type_name.and_then(|name| self.structs.get(name).cloned());
        let spot = Spot { tag: &tag, ..spot };
        match &entry.value {
            Literal::List(entries) if is_array && candidate_octets(&entry.value).is_none() => {
                for (i, entry) in entries.iter().enumerate() {
                    let identifier = format!("{}[{i}]", spot.identifier);
                    let index = i.to_string();
                    let spot = Spot {
                        identifier,
                        at: entry.at,
                        lines: (entry.at.line, entry.at.line),
                        index: &index,
                        ..spot
                    };
                    self.structure(file, entry, fields.as_deref(), &spot, 0);
                }
            }
            _ => self.structure(file, &entry, fields.as_deref(), &spot, 0),
        }
    }

    /// Takes a value whose name is a member's: one, or an array with one for each node.
    fn named(
        &mut self,
        file: &File<'_, 't>,
        meaning: &Meaning,
        entry: &Entry<'t>,
        spot: &Spot<'_>,
    ) {
        let elements = match &entry.value {
            Literal::List(entries)
                if meaning.member.is_credential()
                    && entries.len() > 1
                    && entries
                        .iter()
                        .all(|e| matches!(e.value, Literal::List(_) | Literal::Text { .. })) =>
            {
                entries
            }
            _ => return self.one(file, meaning, entry, spot),
        };
        for (i, element) in elements.iter().enumerate() {
            let mut index = spot.index.to_owned();
            let dot = if index.is_empty() { "" } else { "." };
            let _ = write!(index, "{dot}{i}");
            let spot = Spot {
                identifier: format!("{}[{i}]", spot.identifier),
                at: element.at,
                lines: spot.lines,
                branch: spot.branch,
                tag: spot.tag,
                index: &index,
                is_macro: spot.is_macro,
            };
            self.one(file, meaning, element, &spot);
        }
    }

    /// Looks for members among the fields of a struct.
    fn structure(
        &mut self,
        file: &File<'_, 't>,
        entry: &Entry<'t>,
        fields: Option<&[&'t str]>,
        spot: &Spot<'_>,
        depth: usize,
    ) {
        if let Some(octets) = candidate_octets(&entry.value) {
            return self.leave_out(file, spot, LeftOutWhy::UnknownName { octets });
        }
        let Literal::List(entries) = &entry.value else { return };
        if depth > DEEPEST {
            return;
        }
        for (i, element) in entries.iter().enumerate() {
            let field = element.field.or_else(|| fields?.get(i).copied());
            let identifier = match field {
                Some(field) => format!("{}.{field}", spot.identifier),
                None => format!("{}[{i}]", spot.identifier),
            };
            let inner = Spot {
                identifier,
                at: element.at,
                lines: (element.at.line, element.at.line),
                ..*spot
            };
            match field.and_then(meaning) {
                Some(meaning) => self.named(file, &meaning, element, &inner),
                None => self.structure(file, element, None, &inner, depth + 1),
            }
        }
    }

    fn one(&mut self, file: &File<'_, 't>, meaning: &Meaning, entry: &Entry<'t>, spot: &Spot<'_>) {
        // a value that another name of the same member holds was taken there
        let alias = entry.alias.or(match &entry.value {
            Literal::List(entries) => match entries.as_slice() {
                [only] => only.alias,
                _ => None,
            },
            _ => None,
        });
        let twice = alias.and_then(super::names::meaning);
        if twice.is_some_and(|other| other.member == meaning.member) {
            return;
        }
        if self.found.len() >= MOST_VALUES {
            return self.leave_out(file, spot, LeftOutWhy::TooMany);
        }
        let (order, order_from) = order(file, meaning, entry, spot);
        let said = match said(meaning, &entry.value, order, &spot.identifier) {
            Ok(said) => said,
            Err(Problem::NoValue) => {
                let is_number = matches!(entry.value, Literal::Number(_));
                if meaning.member.is_credential() && spot.is_macro && !is_number {
                    self.leave_out(file, spot, LeftOutWhy::NoValue);
                }
                return;
            }
            Err(Problem::Fault(kind)) => {
                if self.faults.len() < MOST_TOLD {
                    self.faults.push(SourceFault {
                        file: file.name.to_owned(),
                        at: Some(entry.at),
                        identifier: Some(spot.identifier.clone()),
                        kind,
                    });
                }
                return;
            }
        };
        let tag = [spot.tag, meaning.tag.as_str()];
        let tag = tag.iter().filter(|t| !t.is_empty()).copied().collect::<Vec<_>>().join(" ");
        let mut place = Owner {
            file: file.number,
            branch: spot.branch,
            tag: if meaning.member == Member::Region { String::new() } else { tag },
            index: spot.index.to_owned(),
            again: 0,
        };
        let seen = self.seen.entry((meaning.member, place.clone())).or_default();
        place.again = *seen;
        *seen += 1;
        let taken = Taken {
            member: meaning.member.name(),
            identifier: spot.identifier.clone(),
            file: file.name.to_owned(),
            at: spot.at,
            order,
            order_from,
        };
        self.found.push(FoundValue { member: meaning.member, said, taken, place });
        self.resolved.extend(self.reader.expanded.drain(..));
    }

    fn leave_out(&mut self, file: &File<'_, 't>, spot: &Spot<'_>, why: LeftOutWhy) {
        if self.left_out.len() < MOST_TOLD {
            let (identifier, file) = (spot.identifier.clone(), file.name.to_owned());
            self.left_out.push(LeftOut { identifier, file, at: spot.at, why });
        }
    }
}

/// Returns the order of a value's octets and what tells it.
fn order(
    file: &File<'_, '_>,
    meaning: &Meaning,
    entry: &Entry<'_>,
    spot: &Spot<'_>,
) -> (ByteOrder, OrderFrom) {
    if let Some(order) = meaning.order {
        return (order, OrderFrom::Name);
    }
    if let Some(order) = order_of_comments(file.comments, spot.lines) {
        return (order, OrderFrom::Comment);
    }
    let call = entry.call.into_iter().chain(match &entry.value {
        Literal::List(entries) => {
            entries.first().filter(|_| entries.len() == 1).and_then(|e| e.call)
        }
        _ => None,
    });
    if let Some(order) = call.flat_map(words).find_map(|word| order_word(&word)) {
        return (order, OrderFrom::Name);
    }
    let raw = match &entry.value {
        Literal::List(entries) => !matches!(
            entries.as_slice(),
            [Entry { value: Literal::Text { escaped: false, .. }, .. }]
        ),
        Literal::Text { escaped, .. } => *escaped,
        _ => false,
    };
    if raw {
        (ByteOrder::Unknown, OrderFrom::Nothing)
    } else {
        (ByteOrder::Printed, OrderFrom::Form)
    }
}

/// Returns the order that the comments in these lines tell, or else those directly above.
fn order_of_comments(comments: &[Comment<'_>], (first, last): (usize, usize)) -> Option<ByteOrder> {
    let start = comments.partition_point(|comment| comment.last_line < first);
    let within = comments
        .iter()
        .skip(start)
        .take(MOST_COMMENTS)
        .take_while(|comment| comment.first_line <= last)
        .map(|comment| comment.text);
    let within: Zeroizing<String> = Zeroizing::new(within.collect::<Vec<_>>().join("\n"));
    order_in(&within).or_else(|| {
        let mut line = first;
        let mut above: Vec<&str> = comments
            .get(..start)
            .unwrap_or_default()
            .iter()
            .rev()
            .take(MOST_COMMENTS)
            .take_while(|comment| {
                let touches = comment.alone && comment.last_line + 1 == line;
                line = comment.first_line;
                touches
            })
            .map(|comment| comment.text)
            .collect();
        above.reverse();
        order_in(&above.join("\n"))
    })
}

/// What macros may blow up a small source to, in elements.
const LEAST_BUDGET: usize = 1 << 16;
/// Values of one set of sources: nodes by the thousand come from a table of records, not from C.
const MOST_VALUES: usize = 1 << 14;
/// Structs within structs.
const DEEPEST: usize = 8;
/// Comments looked at for one value.
const MOST_COMMENTS: usize = 16;
