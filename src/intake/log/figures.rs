//! A gateway's statistics in words: `rxnb=12 rxok=11 rxfw=11 ackr=100.0 dwnb=2 txnb=2`.
//!
//! The names are the protocol's. Whatever joins a name to its number, and in whatever order they are, three of
//! them in one line are a report.

use crate::intake::event::Stat;

/// Names in one line by which it is a report and not a sentence about one.
const LEAST: usize = 3;

/// Returns the statistics that a line of text has.
pub(super) fn stat(text: &str) -> Option<Stat> {
    let mut stat = Stat::default();
    let mut found = 0;
    let cut = |c: char| !c.is_ascii_alphanumeric() && !matches!(c, '.' | '_');
    let mut words = text.split(cut).filter(|word| !word.is_empty()).peekable();
    while let Some(word) = words.next() {
        let Some(number) = words.peek() else { break };
        let whole = || number.parse::<u64>().ok();
        let name = word.to_ascii_lowercase();
        let taken = match name.as_str() {
            "rxnb" => put(&mut stat.rxnb, whole()),
            "rxok" => put(&mut stat.rxok, whole()),
            "rxfw" => put(&mut stat.rxfw, whole()),
            "dwnb" => put(&mut stat.dwnb, whole()),
            "txnb" => put(&mut stat.txnb, whole()),
            "ackr" => {
                let share = number.parse().ok().filter(|share| (0.0..=100.0).contains(share));
                put(&mut stat.ackr, share)
            }
            _ => continue,
        };
        found += usize::from(taken);
    }
    (found >= LEAST).then_some(stat)
}

/// Takes a value that was not there before.
fn put<T>(place: &mut Option<T>, value: Option<T>) -> bool {
    let is_new = place.is_none() && value.is_some();
    if is_new {
        *place = value;
    }
    is_new
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_report_is_read_however_its_figures_are_joined() {
        let wanted = Stat {
            rxnb: Some(12),
            rxok: Some(11),
            rxfw: Some(11),
            ackr: Some(62.5),
            dwnb: Some(2),
            txnb: Some(0),
            ..Stat::default()
        };
        for text in [
            "10:17 stat rxnb=12 rxok=11 rxfw=11 ackr=62.5 dwnb=2 txnb=0",
            "rxnb: 12, rxok: 11, rxfw: 11, ackr: 62.5%, dwnb: 2, txnb: 0",
            "[RXNB 12] [RXOK 11] [RXFW 11] [ACKR 62.5] [DWNB 2] [TXNB 0]",
        ] {
            assert_eq!(stat(text), Some(wanted.clone()), "{text}");
        }
        for text in
            ["rxnb=12 rxok=11", "rxnb, rxok and rxfw are counters", "ackr=900 dwnb=1 txnb=1"]
        {
            assert_eq!(stat(text), None, "{text}");
        }
    }
}
