//! Labels as people give them: strings one a line, lists of EUIs, or the names and values that are
//! printed.

use zeroize::Zeroizing;

use super::{Label, LabelError, form};
use crate::{
    id::{DevEui, Eui64, IdError, JoinEui},
    key::KeyError,
    roster::claim::Claim,
};

/// What a text says of labels.
#[derive(Clone, Debug, Default)]
pub struct Labels {
    /// The labels, in order.
    pub found: Vec<PrintedLabel>,
    /// What is wrong; everything else is intact.
    pub faults: Vec<LabelFault>,
}

/// One label.
#[derive(Clone, Debug)]
pub struct PrintedLabel {
    /// Its first line, from 1.
    pub line: usize,
    /// What it says.
    pub claim: Claim,
    /// What it was taken for: `identification string`, `DevEUI alone`, `names and values`.
    pub form: &'static str,
}

/// A line that is no label. Never holds a digit of a value.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("line {line}: {kind}")]
pub struct LabelFault {
    /// The line, from 1.
    pub line: usize,
    /// What is wrong.
    pub kind: LabelFaultKind,
}

/// What is wrong with a line.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LabelFaultKind {
    /// No identification string, though it starts like one.
    #[error("{0}")]
    String(LabelError),
    /// No EUI behind the name of one.
    #[error("{name}: {error}")]
    Eui {
        /// The name.
        name: &'static str,
        /// What is wrong.
        error: IdError,
    },
    /// No key behind the name of one.
    #[error("{name}: {error}")]
    Key {
        /// The name.
        name: &'static str,
        /// What is wrong.
        error: KeyError,
    },
    /// Nothing that a label has.
    #[error(
        "looked for LW:D0:<JoinEUI>:<DevEUI>:<ProfileID> (TR005), URN:DEV:LW:..., a DevEUI of 16 hex \
         digits, or names and values such as `DevEUI: 02-00-00-FF-FE-00-12-07`"
    )]
    Nothing,
}

/// Reads a text of one label or many. An EUI alone is a DevEUI; which EUI is which is never guessed
/// otherwise.
pub fn read(text: &str) -> Labels {
    let mut labels = Labels::default();
    let mut open: Option<PrintedLabel> = None;
    for (index, line) in text.strip_prefix('\u{feff}').unwrap_or(text).lines().enumerate() {
        let number = index + 1;
        let line = line.trim().trim_matches(['"', '\'']).trim();
        if line.is_empty() {
            labels.found.extend(open.take());
            continue;
        }
        if line.starts_with('#') {
            continue;
        }
        if labels.faults.len() >= MOST_FAULTS {
            break;
        }
        if let Some(start) = string_in(line) {
            labels.found.extend(open.take());
            string(start, number, &mut labels);
        } else if let Some(pairs) = named(line) {
            values(&pairs, number, &mut open, &mut labels);
        } else {
            labels.found.extend(open.take());
            euis(line, number, &mut labels);
        }
    }
    labels.found.extend(open);
    labels
}

/// Returns the identification string in a line, perhaps behind other words.
fn string_in(line: &str) -> Option<&str> {
    line.char_indices().find_map(|(at, c)| {
        let rest = line.get(at..).filter(|_| matches!(c, 'l' | 'L' | 'u' | 'U'))?;
        form(rest)?;
        let end = |c: char| c.is_whitespace() || matches!(c, '"' | ',' | ';');
        Some(rest.split(end).next().unwrap_or(rest))
    })
}

fn string(text: &str, line: usize, labels: &mut Labels) {
    match text.parse::<Label>() {
        Ok(label) => {
            let claim = Claim {
                dev_eui: label.dev_eui,
                join_eui: label.join_eui,
                qr: Some(text.to_owned()),
                ..Claim::default()
            };
            labels.found.push(PrintedLabel { line, claim, form: "identification string" });
        }
        Err(error) => {
            labels.faults.push(LabelFault { line, kind: LabelFaultKind::String(error) });
        }
    }
}

/// Takes each EUI of a line for a DevEUI.
fn euis(line: &str, number: usize, labels: &mut Labels) {
    let alone = |eui: Eui64| PrintedLabel {
        line: number,
        claim: Claim { dev_eui: Some(DevEui(eui)), ..Claim::default() },
        form: "DevEUI alone",
    };
    if let Ok(eui) = line.parse() {
        labels.found.push(alone(eui));
        return;
    }
    let words = line.split([',', ';', '\t', ' ']).map(str::trim).filter(|word| !word.is_empty());
    let read: Result<Vec<Eui64>, IdError> = words.map(str::parse).collect();
    match read {
        Ok(all) if !all.is_empty() => labels.found.extend(all.into_iter().map(alone)),
        _ => labels.faults.push(LabelFault { line: number, kind: LabelFaultKind::Nothing }),
    }
}

/// What is printed behind a name.
#[derive(Clone, Copy, Eq, PartialEq)]
enum Printed {
    DevEui,
    JoinEui,
    AppKey,
    NwkKey,
}

const NAMES: [(&str, Printed, &str); 8] = [
    ("deveui", Printed::DevEui, "DevEUI"),
    ("deviceeui", Printed::DevEui, "DevEUI"),
    ("joineui", Printed::JoinEui, "JoinEUI"),
    ("appeui", Printed::JoinEui, "AppEUI"),
    ("applicationeui", Printed::JoinEui, "AppEUI"),
    ("appkey", Printed::AppKey, "AppKey"),
    ("applicationkey", Printed::AppKey, "AppKey"),
    ("nwkkey", Printed::NwkKey, "NwkKey"),
];

/// Returns the names of a line, each with what is behind it; nothing where it has none.
fn named(line: &str) -> Option<Vec<(Printed, &'static str, &str)>> {
    let mut found: Vec<(Printed, &'static str, usize, usize)> = Vec::new();
    let mut at = 0;
    while let Some(rest) = line.get(at..).filter(|rest| !rest.is_empty()) {
        let starts = line.get(..at).is_none_or(|before| {
            !before.ends_with(|c: char| c.is_ascii_alphanumeric() || c == '_')
        });
        let hit = NAMES
            .iter()
            .filter(|_| starts)
            .find_map(|(bare, printed, name)| Some((*printed, *name, name_length(rest, bare)?)));
        match hit {
            Some((printed, name, length)) => {
                found.push((printed, name, at, at + length));
                at += length;
            }
            None => at += rest.chars().next().map_or(1, char::len_utf8),
        }
    }
    let ends = found.iter().skip(1).map(|(.., start, _)| *start).chain([line.len()]);
    let pairs = found.iter().zip(ends).map(|((printed, name, _, start), end)| {
        let value = line.get(*start..end).unwrap_or_default();
        (*printed, *name, value.trim_matches(|c: char| !c.is_ascii_alphanumeric()))
    });
    let pairs: Vec<_> = pairs.collect();
    (!pairs.is_empty()).then_some(pairs)
}

/// Returns how long a name is that is written here with any separators: `Dev EUI`, `dev_eui`.
fn name_length(text: &str, bare: &str) -> Option<usize> {
    let mut wanted = bare.chars();
    let mut next = wanted.next();
    for (at, c) in text.char_indices() {
        match next {
            None => return (!c.is_ascii_alphanumeric()).then_some(at),
            Some(letter) if c.eq_ignore_ascii_case(&letter) => next = wanted.next(),
            Some(_) if at > 0 && matches!(c, ' ' | '_' | '-') => {}
            Some(_) => return None,
        }
    }
    next.is_none().then_some(text.len())
}

/// Adds values to the label that is open; a name that it has already begins the next one.
fn values(
    pairs: &[(Printed, &'static str, &str)],
    line: usize,
    open: &mut Option<PrintedLabel>,
    labels: &mut Labels,
) {
    for (printed, name, text) in pairs {
        // A name alone, as in the first line of a table, says nothing.
        if text.is_empty() {
            continue;
        }
        let has = |claim: &Claim| match printed {
            Printed::DevEui => claim.dev_eui.is_some(),
            Printed::JoinEui => claim.join_eui.is_some(),
            Printed::AppKey => claim.app_key.is_some(),
            Printed::NwkKey => claim.nwk_key.is_some(),
        };
        if open.as_ref().is_some_and(|label| has(&label.claim)) {
            labels.found.extend(open.take());
        }
        let text = Zeroizing::new((*text).to_owned());
        let eui = || text.parse::<Eui64>().map_err(|error| LabelFaultKind::Eui { name, error });
        let mut claim = open.as_ref().map(|label| label.claim.clone()).unwrap_or_default();
        let key = |error| LabelFaultKind::Key { name, error };
        let read = match printed {
            Printed::DevEui => eui().map(|eui| claim.dev_eui = Some(DevEui(eui))),
            Printed::JoinEui => eui().map(|eui| claim.join_eui = Some(JoinEui(eui))),
            Printed::AppKey => text.parse().map(|read| claim.app_key = Some(read)).map_err(key),
            Printed::NwkKey => text.parse().map(|read| claim.nwk_key = Some(read)).map_err(key),
        };
        match read {
            Ok(()) => {
                let line = open.as_ref().map_or(line, |label| label.line);
                *open = Some(PrintedLabel { line, claim, form: "names and values" });
            }
            Err(kind) => labels.faults.push(LabelFault { line, kind }),
        }
    }
}

/// Faults reported together.
const MOST_FAULTS: usize = 50;

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str) -> Vec<(usize, Option<String>, Option<String>)> {
        let labels = read(text);
        assert_eq!(labels.faults, [], "{text}");
        let hex = |label: PrintedLabel| {
            let claim = label.claim;
            (label.line, claim.dev_eui.map(DevEui::hex), claim.join_eui.map(JoinEui::hex))
        };
        labels.found.into_iter().map(hex).collect()
    }

    const DEV: &str = "020000fffe001207";
    const JOIN: &str = "020000fffe00ffff";

    fn both(line: usize) -> (usize, Option<String>, Option<String>) {
        (line, Some(DEV.into()), Some(JOIN.into()))
    }

    #[test]
    fn every_form_of_a_label_is_read() {
        for text in [
            "LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D",
            "label 7: \"urn:dev:lw:020000fffe00ffff_020000fffe001207_0a0b0c0d\"",
            "DevEUI: 02-00-00-FF-FE-00-12-07, AppEUI: 02-00-00-FF-FE-00-FF-FF",
            "JoinEUI=020000FFFE00FFFF DEV_EUI=020000FFFE001207",
            "Dev EUI 02:00:00:FF:FE:00:12:07\nApp EUI 02:00:00:FF:FE:00:FF:FF\n",
        ] {
            assert_eq!(told(text), [both(1)], "{text}");
        }
    }

    #[test]
    fn an_eui_alone_is_a_dev_eui() {
        let one = |line, eui: &str| (line, Some(eui.to_owned()), None);
        assert_eq!(told("02 00 00 FF FE 00 12 07"), [one(1, DEV)]);
        assert_eq!(
            told("# shed\n020000FFFE001207,\n\n02-00-00-ff-fe-00-12-08"),
            [one(2, DEV), one(4, "020000fffe001208")]
        );
        assert_eq!(told("020000FFFE001207; 020000FFFE001208").len(), 2);
    }

    #[test]
    fn labels_one_after_the_other_are_told_apart() {
        let text = "DevEUI: 020000FFFE001207\nJoinEUI: 020000FFFE00FFFF\nDevEUI: 020000FFFE001208\n\
                    JoinEUI: 020000FFFE00FFFF\nAppKey: 5A0C11D2E37F4B8896A1C0DEFACE0147\n";
        let labels = read(text);
        let lines: Vec<_> = labels.found.iter().map(|label| label.line).collect();
        assert_eq!(lines, [1, 3]);
        assert!(labels.found[1].claim.app_key.is_some());
    }

    #[test]
    fn what_is_no_label_is_named_by_its_line() {
        let faults = |text: &str| -> Vec<String> {
            read(text).faults.iter().map(ToString::to_string).collect()
        };
        assert_eq!(faults("\nLW:D0:02"), ["line 2: JoinEUI at character 7 is not 16 hex digits"]);
        assert_eq!(faults("DevEUI: 0200"), ["line 1: DevEUI: 4 hex digits, 16 expected"]);
        assert!(faults("hello")[0].starts_with("line 1: looked for LW:D0:"));
        assert_eq!(faults(&"x\n".repeat(1000)).len(), 50);
    }
}
