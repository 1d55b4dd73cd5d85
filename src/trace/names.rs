//! Whose name is whose: the identifiers that the claims of a roster state.

use std::collections::HashMap;

use crate::{
    id::{DevAddr, DevEui},
    roster::Roster,
};

/// The nodes of a roster by the identifiers that their claims state.
#[derive(Clone, Debug, Default)]
pub(crate) struct Names {
    by_dev_eui: HashMap<DevEui, Vec<usize>>,
    by_dev_addr: HashMap<DevAddr, usize>,
}

impl Names {
    pub(crate) fn of(roster: &Roster) -> Self {
        let mut names = Self::default();
        for (index, node) in roster.nodes.iter().enumerate() {
            for (_, claim) in node.claims() {
                if let Some(dev_eui) = claim.dev_eui {
                    let places = names.by_dev_eui.entry(dev_eui).or_default();
                    if !places.contains(&index) {
                        places.push(index);
                    }
                }
                if let Some(dev_addr) = claim.dev_addr {
                    names.by_dev_addr.entry(dev_addr).or_insert(index);
                }
            }
        }
        names
    }

    /// Returns the nodes with a claim of that DevEUI, in the order of the roster.
    pub(crate) fn of_dev_eui(&self, dev_eui: DevEui) -> &[usize] {
        self.by_dev_eui.get(&dev_eui).map_or(&[], Vec::as_slice)
    }

    /// Returns the first node that has that DevAddr, as claims state it or a join gave it.
    pub(crate) fn of_dev_addr(&self, dev_addr: DevAddr) -> Option<usize> {
        self.by_dev_addr.get(&dev_addr).copied()
    }

    /// Returns the addresses with their nodes.
    #[cfg(feature = "live")]
    pub(crate) fn dev_addrs(&self) -> impl Iterator<Item = (DevAddr, usize)> {
        self.by_dev_addr.iter().map(|(dev_addr, index)| (*dev_addr, *index))
    }

    /// Learns the address that a join gave a node.
    pub(crate) fn learn(&mut self, dev_addr: DevAddr, index: usize) {
        self.by_dev_addr.insert(dev_addr, index);
    }
}
