//! What somebody said in words, and when.

use super::Moment;
use crate::intake::{Said, Speaker, Statement, Subject};

/// A statement, and where it stands.
#[derive(Clone, Debug)]
pub struct Told {
    /// Where, and when.
    pub moment: Moment,
    /// What.
    pub said: Said,
}

/// Statements in their order. Of many the first and the last are kept.
#[derive(Clone, Debug, Default)]
pub struct Telling(Vec<Told>);

impl std::ops::Deref for Telling {
    type Target = [Told];

    fn deref(&self) -> &[Told] {
        &self.0
    }
}

impl Telling {
    pub(super) fn push(&mut self, told: Told) {
        if self.0.len() >= MOST {
            self.0.remove(MOST / 2);
        }
        self.0.push(told);
    }

    /// Returns what somebody says, where it is what is looked for.
    pub fn of<'t, T>(
        &'t self,
        by: Speaker,
        find: impl Fn(&Statement) -> Option<T> + 't,
    ) -> impl Iterator<Item = (&'t Told, T)> {
        self.0
            .iter()
            .filter(move |told| told.said.by == by)
            .filter_map(move |told| Some((told, find(&told.said.what)?)))
    }
}

impl Told {
    /// Returns whether it speaks of a gateway, and of no node.
    pub(super) const fn is_of_a_gateway(said: &Said) -> bool {
        matches!(
            said.what,
            Statement::CounterRestarted
                | Statement::NotSent { .. }
                | Statement::NoDownlinkPath
                | Statement::UnknownGateway
                | Statement::OneChannel { .. }
                | Statement::Counted(_)
        )
    }

    /// Returns whether it names its node.
    pub(super) const fn names_a_node(said: &Said) -> bool {
        matches!(said.about, Some(Subject::DevEui(_) | Subject::DevAddr(_) | Subject::Name(_)))
    }
}

/// Statements of one node, or of one gateway, that are kept.
const MOST: usize = 256;
