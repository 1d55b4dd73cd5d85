//! What another host sends in a node's name, or to it: apart from the node's own attempts.

use super::Case;
use crate::{
    crypto::mic,
    fact::{Fact, Value, fact},
    frame::{Frame, JoinRequest, SealedJoinAccept, decode},
    intake::Sender,
    key::AppKey,
    ladder::subject::Subject,
    trace::{Attempt, OtherFrame, OtherHost},
};

pub(in crate::ladder) use crate::ladder::gateway::hosts::introduce;

/// Join-Requests of one host under a node's DevEUI.
#[derive(Debug)]
pub(in crate::ladder) struct Requests<'a> {
    pub(in crate::ladder) host: &'a OtherHost,
    /// Octets that the node itself sent before, each with the node's own.
    pub(in crate::ladder) replayed: Vec<(&'a OtherFrame, &'a Attempt)>,
    /// Those whose MIC no key of the node makes.
    pub(in crate::ladder) forged: Vec<&'a OtherFrame>,
    /// Those whose MIC holds, and which the node did not send in this capture.
    pub(in crate::ladder) others: Vec<&'a OtherFrame>,
}

impl<'a> Requests<'a> {
    /// Requests that were the node's: those that it sent before, or one that is signed and comes again and again.
    pub(in crate::ladder) fn repeated(&self) -> Option<Vec<&'a OtherFrame>> {
        if !self.replayed.is_empty() {
            return Some(self.replayed.iter().map(|(frame, _)| *frame).collect());
        }
        let first = self.others.first().filter(|_| self.forged.is_empty())?;
        let same = self.others.iter().filter(|frame| frame.octets == first.octets);
        let frames: Vec<_> = same.copied().collect();
        (frames.len() > 1).then_some(frames)
    }
}

/// Returns what other hosts send under the DevEUI of a node.
pub(in crate::ladder) fn requests<'a>(case: &Case<'a>) -> Vec<Requests<'a>> {
    let up = case.trace.other_hosts.iter().filter(|host| host.sender == Sender::Gateway);
    up.filter_map(|host| sorted(case, host)).collect()
}

fn sorted<'a>(case: &Case<'a>, host: &'a OtherHost) -> Option<Requests<'a>> {
    let dev_eui = case.node.dev_eui?;
    let mut requests = Requests { host, replayed: vec![], forged: vec![], others: vec![] };
    for frame in &host.frames {
        let Some(Frame::JoinRequest(request)) = decode(&frame.octets).frame else { continue };
        if request.dev_eui != dev_eui {
            continue;
        }
        let own = case.node.attempts.iter().find(|own| own.heard.octets == frame.octets);
        match own.filter(|own| own.line() < frame.moment.line) {
            Some(own) => requests.replayed.push((frame, own)),
            None if holds(case, &request) => requests.others.push(frame),
            None => requests.forged.push(frame),
        }
    }
    let any = requests.replayed.len() + requests.forged.len() + requests.others.len() > 0;
    any.then_some(requests)
}

/// Whether a root key of the node signs a request.
fn holds(case: &Subject<'_>, request: &JoinRequest) -> bool {
    case.known_roots().iter().any(|root| {
        mic::join_request(&AppKey::from(root.as_known().key.clone()), request) == request.mic
    })
}

/// Join-Accepts that another host hands to a gateway, and that a key of the node opens.
#[derive(Debug)]
pub(in crate::ladder) struct Accepts<'a> {
    pub(in crate::ladder) host: &'a OtherHost,
    pub(in crate::ladder) frames: Vec<&'a OtherFrame>,
    /// How many of them differ.
    pub(in crate::ladder) different: usize,
}

/// Accepts of one host that are opened: replays are few and many times the same.
const OPENED: usize = 32;
/// Requests as whose answers each is tried.
const TRIED: usize = 64;

pub(in crate::ladder) fn accepts<'a>(case: &Case<'a>) -> Vec<Accepts<'a>> {
    let down = case.trace.other_hosts.iter().filter(|host| host.sender == Sender::Server);
    let of = |host: &'a OtherHost| {
        let mut known: Vec<(&[u8], bool)> = Vec::new();
        let mut frames = Vec::new();
        for frame in &host.frames {
            let Some(Frame::JoinAccept(sealed)) = decode(&frame.octets).frame else { continue };
            let opens = match known.iter().find(|(octets, _)| **octets == *frame.octets) {
                Some((_, opens)) => *opens,
                None if known.len() == OPENED => false,
                None => {
                    let opens = is_for(case, &sealed);
                    known.push((&frame.octets, opens));
                    opens
                }
            };
            if opens {
                frames.push(frame);
            }
        }
        let different = known.iter().filter(|(_, opens)| *opens).count();
        (different > 0).then_some(Accepts { host, frames, different })
    };
    down.filter_map(of).collect()
}

fn is_for(case: &Case<'_>, sealed: &SealedJoinAccept) -> bool {
    case.node.attempts.iter().take(TRIED).any(|own| case.opens_as_answer_to(own, sealed))
}

/// The first and the last of it.
pub(in crate::ladder) fn told(frames: &[&OtherFrame]) -> Option<Fact> {
    let (first, last) = (frames.first()?, frames.last()?);
    Some(if frames.len() == 1 {
        fact!("at {first}", first = first.moment)
    } else {
        fact!(
            "{frames}, from {first} to {last}",
            frames = Value::count(frames.len(), "frame"),
            first = first.moment,
            last = last.moment
        )
    })
}
