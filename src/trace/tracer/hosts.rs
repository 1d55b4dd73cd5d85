//! Who speaks under an address that is another's.
//!
//! A recording of packets has link-layer addresses. Where two send from one IP address, and what is sent to that
//! address goes to one of them only, the other is another host: whoever has an address gets its answers. What
//! speaks against it: an answer that goes to the other, a second IP address behind it (a router), or a token that
//! only the one who got the question can know.

use std::{collections::HashMap, net::IpAddr};

use crate::{
    id::Eui64,
    intake::{Event, Leg, TxError, What},
    trace::{Line, Moment, OtherFrame, OtherHost},
};

type Link = [u8; 6];

/// Events that are held until it is clear whose they are.
const HELD: usize = 8_192;
/// Frames of one host that are kept.
const FRAMES: usize = 1_024;
/// Hosts that are told apart.
const HOSTS: usize = 64;
/// IP addresses of one link-layer address, and the other way round, that are remembered: more make no difference.
const FEW: usize = 4;
/// Addresses, and tokens, that are remembered.
const REMEMBERED: usize = 65_536;

/// What is to be done with an event.
pub(super) enum Sorted {
    /// It is what it seems.
    Own,
    /// It is another host's, or an answer to that.
    Aside,
    /// It shows that what was held is what it seemed: all of that comes first.
    Back(Vec<Event>),
}

/// By what an answer finds its question.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
enum Asked {
    Leg(Leg),
    Order,
}

type Question = (Option<Eui64>, Asked, u16);

/// A host set aside, and what it sent.
#[derive(Clone, Debug)]
struct Aside {
    host: OtherHost,
    held: Vec<Event>,
    /// It is no other host after all.
    cleared: bool,
}

/// The link-layer addresses of a capture.
#[derive(Clone, Debug, Default)]
pub(super) struct Hosts {
    /// Where datagrams to an address go.
    receives: HashMap<IpAddr, Vec<Link>>,
    /// The addresses that a link-layer address sends from.
    sends: HashMap<Link, Vec<IpAddr>>,
    asides: Vec<Aside>,
    held: usize,
    /// Open questions, and the place in `asides` of the host that asked.
    questions: HashMap<Question, Option<usize>>,
}

impl Hosts {
    pub(super) fn sort(&mut self, event: &Event, line: Line) -> Sorted {
        let Some(ends) = &event.wire.ends else { return Sorted::Own };
        let Some([from, to]) = ends.link.filter(|links| links.iter().all(is_of_one)) else {
            return Sorted::Own;
        };
        let (sender, receiver) = (ends.from.ip(), ends.to.ip());
        if self.receives.len() < REMEMBERED && self.sends.len() < REMEMBERED {
            remember(self.receives.entry(receiver).or_default(), to);
            remember(self.sends.entry(from).or_default(), sender);
        }
        let mut back = self.clear(|host| host.link == to && host.address == receiver);
        if self.is_router(from) {
            back.extend(self.clear(|host| host.link == from));
        }
        let own_link = self.own_link(sender, from);
        let answers = self.answered(event);
        // Who answers a question got it.
        if let Some(None) = answers {
            back.extend(self.clear(|host| host.link == from && host.address == sender));
        }
        let aside = own_link.and_then(|own| self.aside(event, line, from, own, sender));
        self.ask(event, aside);
        match (aside, answers) {
            (Some(at), None | Some(Some(_))) => {
                self.hold(at, event, line);
                Sorted::Aside
            }
            // An answer to what another host asked is none to the gateway's own.
            (None, Some(Some(at))) => {
                self.count_answer(at, event);
                Sorted::Aside
            }
            _ if back.is_empty() => Sorted::Own,
            _ => Sorted::Back(back),
        }
    }

    /// The hosts that remain.
    pub(super) fn finish(self) -> Vec<OtherHost> {
        let open = self.asides.into_iter().filter(|aside| !aside.cleared);
        open.map(|aside| aside.host)
            .filter(|host| host.pushes + host.pulls + host.orders > 0)
            .collect()
    }

    fn is_router(&self, link: Link) -> bool {
        self.sends.get(&link).is_some_and(|addresses| addresses.len() > 1)
    }

    /// The link-layer address that gets what is sent to an IP address, and sends from it, where this one does not.
    fn own_link(&self, address: IpAddr, link: Link) -> Option<Link> {
        let links = self.receives.get(&address)?;
        if links.contains(&link) || self.is_router(link) {
            return None;
        }
        let sends = |own: &&Link| self.sends.get(*own).is_some_and(|all| **all == [address]);
        links.iter().find(sends).copied()
    }

    /// Takes back what was held of a host that is what it seems.
    fn clear(&mut self, is_cleared: impl Fn(&OtherHost) -> bool) -> Vec<Event> {
        let mut back = Vec::new();
        for aside in
            self.asides.iter_mut().filter(|aside| !aside.cleared && is_cleared(&aside.host))
        {
            aside.cleared = true;
            self.held -= aside.held.len();
            back.append(&mut aside.held);
        }
        back
    }

    /// The question that an event answers, taken off the list: who asked it.
    fn answered(&mut self, event: &Event) -> Option<Option<usize>> {
        let asked = match event.what {
            What::Acknowledged(leg) => Asked::Leg(leg),
            What::Outcome(_) => Asked::Order,
            _ => return None,
        };
        let question = (event.gateway, asked, event.wire.token?);
        let who = self.questions.remove(&question)?;
        Some(who.filter(|at| self.asides.get(*at).is_some_and(|aside| !aside.cleared)))
    }

    fn ask(&mut self, event: &Event, who: Option<usize>) {
        let asked = match event.what {
            What::Asked(leg) => Asked::Leg(leg),
            What::Ordered(_) => Asked::Order,
            _ => return,
        };
        let Some(token) = event.wire.token else { return };
        if self.questions.len() >= REMEMBERED {
            self.questions.clear();
        }
        self.questions.insert((event.gateway, asked, token), who);
    }

    /// The place of the host, which is new where it was not met before.
    fn aside(
        &mut self,
        event: &Event,
        line: Line,
        link: Link,
        own_link: Link,
        address: IpAddr,
    ) -> Option<usize> {
        let sender = event.wire.sender?;
        let is_it = |aside: &Aside| {
            let host = &aside.host;
            (host.link, host.address, host.sender, host.gateway)
                == (link, address, sender, event.gateway)
        };
        if let Some(at) = self.asides.iter().position(is_it) {
            return self.asides.get(at).is_some_and(|aside| !aside.cleared).then_some(at);
        }
        if self.asides.len() == HOSTS {
            return None;
        }
        let moment = Moment { line, at: event.time };
        let host = OtherHost {
            link,
            own_link,
            address,
            sender,
            gateway: event.gateway,
            pushes: 0,
            pulls: 0,
            orders: 0,
            acknowledged: 0,
            taken: 0,
            span: (moment, moment),
            frames: Vec::new(),
        };
        self.asides.push(Aside { host, held: Vec::new(), cleared: false });
        Some(self.asides.len() - 1)
    }

    fn hold(&mut self, at: usize, event: &Event, line: Line) {
        let Some(aside) = self.asides.get_mut(at) else { return };
        let host = &mut aside.host;
        let moment = Moment { line, at: event.time };
        host.span.1 = moment;
        match &event.what {
            What::Asked(Leg::Push) => host.pushes += 1,
            What::Asked(Leg::Pull) => host.pulls += 1,
            What::Ordered(_) => host.orders += 1,
            _ => {}
        }
        if let Some(frame) = event.frame()
            && host.frames.len() < FRAMES
        {
            host.frames.push(OtherFrame { moment, octets: frame.octets.as_slice().into() });
        }
        if self.held < HELD {
            self.held += 1;
            aside.held.push(event.clone());
        }
    }

    fn count_answer(&mut self, at: usize, event: &Event) {
        let Some(aside) = self.asides.get_mut(at) else { return };
        match &event.what {
            What::Acknowledged(_) => aside.host.acknowledged += 1,
            What::Outcome(outcome) if outcome.error == TxError::None => {
                aside.host.taken += 1;
            }
            _ => {}
        }
    }
}

/// Whether a link-layer address is that of one host: loopback has none, and others are for groups.
fn is_of_one(link: &Link) -> bool {
    *link != [0; 6] && link[0] & 1 == 0
}

fn remember<T: PartialEq>(known: &mut Vec<T>, new: T) {
    if known.len() < FEW && !known.contains(&new) {
        known.push(new);
    }
}
