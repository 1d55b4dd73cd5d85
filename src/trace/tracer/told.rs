//! Words: put with the node or the gateway that they are about.

use super::{Arrival, STRANGERS, Tracer};
use crate::{
    id::{DevAddr, DevEui},
    intake::{Said, Statement, Subject},
    trace::{Moment, NodeTrace, told::Told},
};

impl Tracer<'_> {
    pub(super) fn said(&mut self, from: Arrival, said: Said) {
        let moment = Moment { line: from.line, at: from.at };
        if Told::is_of_a_gateway(&said) {
            // What a counter's restart means is told already.
            if said.what != Statement::CounterRestarted {
                let gateway = self.trace.gateways.entry(from.gateway).or_default();
                gateway.told.push(Told { moment, said });
            }
            return;
        }
        if !Told::names_a_node(&said) {
            if self.unnamed.len() < UNNAMED {
                self.unnamed.push(Told { moment, said });
            }
            return;
        }
        let index = match &said.about {
            Some(Subject::DevEui(dev_eui)) => self.spoken_of(*dev_eui),
            Some(Subject::DevAddr(addr)) => self.addressed(*addr),
            Some(Subject::Name(name)) => {
                self.roster.nodes.iter().position(|node| node.name == *name)
            }
            _ => None,
        };
        let Some(index) = index else {
            self.trace.strangers_more += 1;
            return;
        };
        if let Statement::Accepted { dev_addr: Some(addr) }
        | Statement::Joined { dev_addr: Some(addr) } = said.what
            && self.told_addrs.len() < STRANGERS
        {
            self.told_addrs.insert(addr, index);
        }
        if let Some(node) = self.node(index) {
            node.told.push(Told { moment, said });
            self.weigh(1);
        }
    }

    /// The node of a DevEUI that somebody names.
    fn spoken_of(&mut self, dev_eui: DevEui) -> Option<usize> {
        if let Some(index) = self.names.of_dev_eui(dev_eui).first() {
            return Some(*index);
        }
        if let Some(index) = self.named_as.get(&dev_eui) {
            return Some(*index);
        }
        let index = self.stranger(dev_eui)?;
        if let Some(node) = self.node(index) {
            node.dev_eui.get_or_insert(dev_eui);
        }
        Some(index)
    }

    /// The node of an address that somebody names.
    fn addressed(&mut self, addr: DevAddr) -> Option<usize> {
        let claimed = |tracer: &Self| {
            let has = |node: &crate::roster::Node| {
                node.claims().any(|(_, claim)| claim.dev_addr == Some(addr))
            };
            tracer.roster.nodes.iter().position(has)
        };
        let session =
            self.sessions.get(&addr).and_then(|places| places.last()).map(|(index, _)| *index);
        if let Some(index) =
            self.told_addrs.get(&addr).copied().or(session).or_else(|| claimed(self))
        {
            return Some(index);
        }
        if self.told_addrs.len() >= STRANGERS {
            return None;
        }
        self.trace.nodes.push(NodeTrace { dev_addr: Some(addr), ..NodeTrace::default() });
        let index = self.trace.nodes.len() - 1;
        self.told_addrs.insert(addr, index);
        Some(index)
    }

    /// Words that name no node mean the only one there is.
    pub(super) fn settle_words(&mut self) {
        let unnamed = std::mem::take(&mut self.unnamed);
        if let ([only], 1) = (&mut self.trace.nodes[..], self.roster.nodes.len()) {
            for told in unnamed {
                only.told.push(told);
            }
        }
    }
}

/// Words without a node that are kept.
const UNNAMED: usize = 256;
