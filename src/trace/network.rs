//! What the network says: errors for a gateway's datagrams, and the names that hosts ask for.

use std::net::{IpAddr, SocketAddr};

use super::Moment;
use crate::intake::{Network, Unreachable, Wire};

/// Kinds of error that are told apart for one gateway.
const MOST_ERRORS: usize = 16;
/// Hosts whose questions are kept, and names that one asks for.
const MOST_HOSTS: usize = 64;
const MOST_NAMES: usize = 16;

/// ICMP errors of one kind.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct NetworkError {
    /// Who says it.
    pub by: IpAddr,
    /// What cannot be reached.
    pub what: Unreachable,
    /// Address and port that sent the datagrams.
    pub from: SocketAddr,
    /// Address and port that they were sent to.
    pub to: SocketAddr,
    /// How many there were.
    pub times: u64,
    /// The first, and the last.
    pub span: (Moment, Moment),
}

/// ICMP errors of one gateway.
#[derive(Clone, Debug, Default)]
pub struct NetworkErrors(Vec<NetworkError>);

impl NetworkErrors {
    /// Returns them, in the order met.
    pub fn all(&self) -> &[NetworkError] {
        &self.0
    }

    pub(super) fn take(&mut self, moment: Moment, network: &Network) {
        let Network::Unreachable { by, what, from, to } = *network else { return };
        let same = |known: &&mut NetworkError| {
            (known.by, known.what, known.from, known.to) == (by, what, from, to)
        };
        if let Some(known) = self.0.iter_mut().find(same) {
            known.times += 1;
            known.span.1 = moment;
        } else if self.0.len() < MOST_ERRORS {
            self.0.push(NetworkError { by, what, from, to, times: 1, span: (moment, moment) });
        }
    }
}

/// A host that asks for names.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Asker {
    /// Its link-layer address, where the recording has it.
    pub link: Option<[u8; 6]>,
    /// Its address.
    pub address: IpAddr,
    /// The names that it asks for.
    pub names: Vec<NameAsked>,
}

/// A name that a host asks for.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct NameAsked {
    /// The name.
    pub name: String,
    /// How often it asks.
    pub asked: u64,
    /// Answers with an address.
    pub resolved: u64,
    /// Answers that say that there is no such name (NXDOMAIN).
    pub no_such_name: u64,
    /// Answers that say that the resolver failed (SERVFAIL), or another error.
    pub failed: u64,
    /// Answers without an error and without an address.
    pub empty: u64,
    /// The first question or answer, and the last.
    pub span: (Moment, Moment),
}

/// The hosts that ask for names.
#[derive(Clone, Debug, Default)]
pub struct Askers(Vec<Asker>);

impl Askers {
    /// Returns them, in the order met.
    pub fn all(&self) -> &[Asker] {
        &self.0
    }

    pub(super) fn take(&mut self, moment: Moment, wire: &Wire, network: &Network) {
        let Some(ends) = &wire.ends else { return };
        let (name, host, link) = match network {
            Network::Asked { name } => (name, ends.from, ends.link.map(|[from, _]| from)),
            Network::Resolved { name, .. } => (name, ends.to, ends.link.map(|[_, to]| to)),
            Network::Unreachable { .. } => return,
        };
        let known = self.0.iter().position(|asker| asker.address == host.ip());
        let place = match known {
            Some(place) => place,
            None if self.0.len() < MOST_HOSTS => {
                self.0.push(Asker { link, address: host.ip(), names: Vec::new() });
                self.0.len() - 1
            }
            None => return,
        };
        let Some(asker) = self.0.get_mut(place) else { return };
        let place = match asker.names.iter().position(|known| known.name == *name) {
            Some(place) => place,
            None if asker.names.len() < MOST_NAMES => {
                asker.names.push(NameAsked::new(name.clone(), moment));
                asker.names.len() - 1
            }
            None => return,
        };
        let Some(known) = asker.names.get_mut(place) else { return };
        known.span.1 = moment;
        match network {
            Network::Asked { .. } => known.asked += 1,
            Network::Resolved { rcode: 0, addresses, .. } if addresses.is_empty() => {
                known.empty += 1;
            }
            Network::Resolved { rcode: 0, .. } => known.resolved += 1,
            Network::Resolved { rcode: 3, .. } => known.no_such_name += 1,
            Network::Resolved { .. } => known.failed += 1,
            Network::Unreachable { .. } => {}
        }
    }
}

impl NameAsked {
    const fn new(name: String, moment: Moment) -> Self {
        let (asked, resolved, no_such_name, failed, empty) = (0, 0, 0, 0, 0);
        Self { name, asked, resolved, no_such_name, failed, empty, span: (moment, moment) }
    }
}
