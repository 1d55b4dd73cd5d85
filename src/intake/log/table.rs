//! A table in text: a head that names the columns, and rows of as many cells.

use serde_json::{Map, Value};

use super::{
    likely::Label,
    words::{is_secret, meaning},
};

/// The head of a table with a column of octets.
#[derive(Clone, Debug, Eq, PartialEq)]
pub(super) struct Table {
    names: Vec<String>,
    separator: char,
}

impl Table {
    /// Returns the table that a line is the head of: names, several of which are known, one of octets.
    pub(super) fn head(line: &str) -> Option<Self> {
        let separator = [',', ';', '\t'].into_iter().max_by_key(|c| line.matches(*c).count())?;
        let names: Vec<_> = line.split(separator).take(MOST + 1).map(cell).collect();
        let is_name = |name: &&str| {
            name.starts_with(|c: char| c.is_ascii_alphabetic())
                && name.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '.'))
        };
        let known = names.iter().filter(|name| meaning(name).is_some()).count();
        let octets = names.iter().any(|name| Label::of(name) > Label::None);
        let is_head = (KNOWN..=MOST).contains(&names.len())
            && names.iter().all(is_name)
            && known >= KNOWN
            && octets;
        let names = names.into_iter().map(str::to_owned).collect();
        is_head.then_some(Self { names, separator })
    }

    /// Returns a row as an object.
    pub(super) fn row(&self, line: &str) -> Option<Value> {
        let cells: Vec<_> = line.split(self.separator).take(MOST + 1).map(cell).collect();
        if cells.len() != self.names.len() {
            return None;
        }
        let members = self.names.iter().zip(cells).filter(|(name, _)| !is_secret(name));
        Some(
            members
                .map(|(name, cell)| (name.clone(), Value::from(cell)))
                .collect::<Map<_, _>>()
                .into(),
        )
    }
}

fn cell(text: &str) -> &str {
    text.trim().trim_matches('"')
}

/// Columns whose names are known.
const KNOWN: usize = 3;
/// Columns.
const MOST: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_head_names_octets_and_more() {
        let table = Table::head("gw,time,freq_hz,rssi,\"hex\"").unwrap();
        let row = table.row("a,b,868100000,-64,40da").unwrap();
        assert_eq!(
            (row["hex"].as_str(), row["freq_hz"].as_str()),
            (Some("40da"), Some("868100000"))
        );
        assert_eq!(table.row("a,b,c,d"), None);
        for line in [
            "time,device,counter,port,rssi,snr,moisture",
            "rx, data, and then something, rssi",
            "rssi,snr",
            "gw,868.1,rssi,hex",
            "",
        ] {
            assert_eq!(Table::head(line), None, "{line}");
        }
    }
}
