//! Blocks of data that the network sends in fragments (TS004), to the node alone or to its groups.

use super::{Case, Story, groups, packages::Said};
use crate::{
    fact::Cite,
    frame::{
        Direction,
        command::{
            Command,
            package::{self, FRAGMENTATION_PORT},
        },
    },
    trace::Line,
};

/// Draws for a row, for each fragment of the block, before the search for its bits is given up.
const DRAWS: usize = 64;
/// Missing fragments up to which rows are solved.
const SOLVED: usize = 512;

/// A block, and its fragments as they were sent.
#[derive(Debug)]
pub(in crate::ladder) struct Block<'s> {
    pub(in crate::ladder) index: i64,
    pub(in crate::ladder) asked: &'s Said,
    /// The last answer to the setup.
    pub(in crate::ladder) answer: Option<&'s Said>,
    /// NbFrag.
    pub(in crate::ladder) count: usize,
    pub(in crate::ladder) rows: Rows,
    pub(in crate::ladder) fragments: Vec<Fragment>,
    /// The last that the node said of it.
    pub(in crate::ladder) status: Option<&'s Said>,
    /// Where the network ended it.
    pub(in crate::ladder) deleted: Option<&'s Said>,
    /// Where the network asked how it stands, or ended it, after the last fragment.
    pub(in crate::ladder) closed: Option<&'s Said>,
}

/// A fragment that was sent.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Fragment {
    /// N, from 1.
    pub(in crate::ladder) n: usize,
    pub(in crate::ladder) octets: Vec<u8>,
    pub(in crate::ladder) line: Line,
    pub(in crate::ladder) cite: Cite,
    /// When it was captured, microseconds since 1970.
    pub(in crate::ladder) at_us: Option<i64>,
}

/// By which version coded fragments are made.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Rows {
    /// TS004 1.0.0: a bit that is drawn twice counts twice.
    V1,
    /// TS004 2.0.0: it counts once.
    V2,
}

impl Rows {
    pub(in crate::ladder) const fn name(self) -> &'static str {
        match self {
            Self::V1 => "1",
            Self::V2 => "2",
        }
    }

    pub(in crate::ladder) const fn other(self) -> Self {
        match self {
            Self::V1 => Self::V2,
            Self::V2 => Self::V1,
        }
    }

    /// Returns the fragments, from 0, that the coded fragment of that number, from 1, is the sum of, in a
    /// block of `count` (TS004 2.0.0, p. 31-32; the draw of 1.0.0 as device stacks have it).
    pub(in crate::ladder) fn row(self, number: usize, count: usize) -> Option<Vec<bool>> {
        let mut row = vec![false; count];
        let modulus = count + usize::from(count.is_power_of_two());
        let mut x = 1_usize.checked_add(number.checked_mul(1_001)?)?;
        let mut set = 0;
        for _ in 0..count.saturating_mul(DRAWS) + DRAWS {
            if set >= count / 2 {
                return Some(row);
            }
            x = (x >> 1) + (((x & 1) ^ (x >> 5 & 1)) << 22);
            let Some(bit) = row.get_mut(x % modulus) else { continue };
            if self == Self::V1 || !*bit {
                set += 1;
            }
            *bit = true;
        }
        None
    }
}

/// Returns the blocks of a session, in order.
pub(in crate::ladder) fn of<'s>(case: &Case<'_>, story: &'s Story<'_>) -> Vec<Block<'s>> {
    let said = || story.packages.iter().filter(|said| said.port == FRAGMENTATION_PORT);
    let setups: Vec<&Said> =
        said().filter(|said| said.command.name() == "FragSessionSetupReq").collect();
    if setups.is_empty() {
        return Vec::new();
    }
    let sent = sent(case, story);
    let mut out: Vec<Block<'s>> = Vec::new();
    for asked in setups.iter().copied() {
        let index = asked.number("FragIndex");
        let again = |said: &&&Said| {
            said.line > asked.line
                && said.number("FragIndex") == index
                && said.command != asked.command
        };
        let ends = setups.iter().find(again).map(|said| said.line);
        if out.last().is_some_and(|own: &Block<'_>| own.asked.command == asked.command) {
            continue;
        }
        let within = |line: Line| line > asked.line && ends.is_none_or(|ends| line < ends);
        let own = |said: &&Said| within(said.line) && said.number("FragIndex") == index;
        let named =
            |name: &'static str| said().filter(own).filter(move |said| said.command.name() == name);
        let deleted = named("FragSessionDeleteReq").next();
        let until = |line: Line| within(line) && deleted.is_none_or(|own| line < own.line);
        let fragments: Vec<Fragment> = sent
            .iter()
            .filter(|(of, fragment)| *of == index && until(fragment.line))
            .map(|(_, fragment)| fragment.clone())
            .collect();
        let last = fragments.iter().map(|fragment| fragment.line).max();
        let after = |said: &&Said| last.is_some_and(|last| said.line > last);
        let closed = named("FragSessionStatusReq").find(after).or(deleted);
        // An answer that reports a session that is not there has no index.
        let status = said().rfind(|said| {
            let of_it = said.number("FragIndex") == index;
            let is_status = said.command.name() == "FragSessionStatusAns";
            within(said.line) && said.up && is_status && of_it
        });
        out.push(Block {
            index,
            asked,
            answer: named("FragSessionSetupAns").next_back(),
            count: usize::try_from(asked.number("NbFrag")).unwrap_or_default(),
            rows: if asked.command.field("SessionCnt").is_some() { Rows::V2 } else { Rows::V1 },
            fragments,
            status,
            deleted,
            closed,
        });
    }
    out
}

/// Every fragment that went out, with its FragIndex, in order.
fn sent(case: &Case<'_>, story: &Story<'_>) -> Vec<(i64, Fragment)> {
    let fragment = |command: &Command, line: Line, cite: Cite, at_us: Option<i64>| {
        if command.name() != "DataFragment" {
            return None;
        }
        let n = usize::try_from(command.number("N")?).ok()?;
        let octets = command.payload().get(2..)?.to_vec();
        Some((command.number("FragIndex")?, Fragment { n, octets, line, cite, at_us }))
    };
    let own = story.packages.iter().filter(|said| said.port == FRAGMENTATION_PORT && !said.up);
    let mut out: Vec<(i64, Fragment)> = own
        .filter(|said| story.went_out(said.place))
        .filter_map(|said| {
            fragment(&said.command, said.line, said.cite(story), said.time_us(story))
        })
        .collect();
    for group in groups::of(case, story) {
        for sent in group.frames(case) {
            let Some(clear) = group.clear(&sent) else { continue };
            if sent.frame.port() != Some(FRAGMENTATION_PORT) {
                continue;
            }
            let list = package::decode(FRAGMENTATION_PORT, &clear, Direction::Downlink, None);
            let commands = list.map(|list| list.commands).unwrap_or_default();
            let at_us = sent.sending.at.map(jiff::Timestamp::as_microsecond);
            let found = commands.iter();
            let line = sent.sending.line;
            out.extend(found.filter_map(|one| fragment(one, line, sent.cite(), at_us)));
        }
    }
    out.sort_by_key(|(_, fragment)| fragment.line);
    out
}

impl Block<'_> {
    /// Returns a fragment sent in clear, by its place from 0.
    fn plain(&self, place: usize) -> Option<&Fragment> {
        self.fragments.iter().find(|fragment| fragment.n == place + 1)
    }

    /// Returns the coded fragments.
    pub(in crate::ladder) fn coded(&self) -> impl Iterator<Item = &Fragment> {
        self.fragments.iter().filter(|fragment| fragment.n > self.count)
    }

    /// Solves what was not sent in clear out of the coded fragments, by the rows of a version; `None` where
    /// that is too much to compute.
    pub(in crate::ladder) fn solve(&self, rows: Rows) -> Option<Solution<'_>> {
        let missing: Vec<usize> =
            (0..self.count).filter(|place| self.plain(*place).is_none()).collect();
        let mut coded: Vec<&Fragment> = self.coded().collect();
        coded.sort_by_key(|fragment| fragment.n);
        coded.dedup_by_key(|fragment| fragment.n);
        if missing.len() > SOLVED || coded.len() > 2 * SOLVED {
            return None;
        }
        let mut solution = Solution { lacks: 0, agree: 0, contradict: Vec::new() };
        // Equations of what is missing, each brought below those with the same first bit.
        let mut solved: Vec<Option<Equation>> = missing.iter().map(|_| None).collect();
        for fragment in coded {
            let whole = rows.row(fragment.n - self.count, self.count)?;
            let Some(mut own) = self.equation(fragment, &whole, &missing) else { continue };
            while let Some(first) = own.bits.iter().position(|bit| *bit) {
                match solved.get_mut(first)? {
                    Some(held) => own.add(held),
                    slot => {
                        *slot = Some(own.take());
                        break;
                    }
                }
            }
            // What is left of an equation that brings nothing new is 0, or something is wrong.
            match (own.is_used, own.sum.iter().all(|octet| *octet == 0)) {
                (true, _) => {}
                (false, true) => solution.agree += 1,
                (false, false) => solution.contradict.push(fragment),
            }
        }
        solution.lacks = solved.iter().filter(|held| held.is_none()).count();
        Some(solution)
    }

    /// What a coded fragment says of those that are missing.
    fn equation(&self, coded: &Fragment, row: &[bool], missing: &[usize]) -> Option<Equation> {
        let mut sum = coded.octets.clone();
        for place in row.iter().enumerate().filter(|(_, is_in)| **is_in).map(|(place, _)| place) {
            let Some(plain) = self.plain(place) else { continue };
            if plain.octets.len() != sum.len() {
                return None;
            }
            sum.iter_mut().zip(&plain.octets).for_each(|(sum, octet)| *sum ^= octet);
        }
        let bits = missing.iter().map(|place| row.get(*place) == Some(&true)).collect();
        Some(Equation { bits, sum, is_used: false })
    }
}

/// What the fragments that were sent come to.
#[derive(Debug)]
pub(in crate::ladder) struct Solution<'b> {
    /// How many fragments a node that got all that was sent still lacks.
    pub(in crate::ladder) lacks: usize,
    /// Coded fragments that bring nothing new, and agree with the rest.
    pub(in crate::ladder) agree: usize,
    /// Those that do not agree.
    pub(in crate::ladder) contradict: Vec<&'b Fragment>,
}

/// A sum of missing fragments.
#[derive(Debug)]
struct Equation {
    bits: Vec<bool>,
    sum: Vec<u8>,
    /// Whether it brought something new.
    is_used: bool,
}

impl Equation {
    fn add(&mut self, other: &Self) {
        self.bits.iter_mut().zip(&other.bits).for_each(|(own, bit)| *own ^= bit);
        self.sum.iter_mut().zip(&other.sum).for_each(|(own, octet)| *own ^= octet);
    }

    /// Takes it into the solution.
    fn take(&mut self) -> Self {
        self.is_used = true;
        let (bits, sum) = (std::mem::take(&mut self.bits), std::mem::take(&mut self.sum));
        Self { bits, sum, is_used: true }
    }
}

#[cfg(test)]
mod tests {
    use super::Rows;

    /// The bits of a row.
    fn bits(rows: Rows, number: usize, count: usize) -> Vec<usize> {
        let row = rows.row(number, count).expect("a row");
        row.iter().enumerate().filter(|(_, bit)| **bit).map(|(at, _)| at).collect()
    }

    #[test]
    fn rows_are_those_of_both_versions() {
        assert_eq!(bits(Rows::V1, 1, 8), [0, 1, 4, 6]);
        assert_eq!(bits(Rows::V2, 1, 8), [0, 1, 4, 6]);
        assert_eq!(bits(Rows::V1, 2, 8), [0, 4, 7]);
        assert_eq!(bits(Rows::V2, 2, 8), [0, 3, 4, 7]);
        assert_eq!(bits(Rows::V1, 1, 10), [2, 5]);
        assert_eq!(bits(Rows::V2, 1, 10), [1, 2, 3, 5, 9]);
        assert_eq!(bits(Rows::V1, 2, 26), [5, 9, 10, 14, 15, 17, 20, 21, 22, 23, 24, 25]);
        assert_eq!(bits(Rows::V2, 2, 26), [5, 9, 10, 14, 15, 17, 18, 20, 21, 22, 23, 24, 25]);
    }

    #[test]
    fn no_block_has_no_row_and_no_endless_search() {
        assert_eq!(bits(Rows::V2, 1, 1), [0_usize; 0]);
        assert_eq!(Rows::V2.row(1, 0), Some(Vec::new()));
        assert_eq!(Rows::V2.row(usize::MAX, 8), None);
    }
}
