//! Whose request it is, in a fleet of which the roster lists one node.
//!
//! The frames are made in `common.rs`.

use handfast::{
    crypto::mic,
    frame::{Frame, JoinRequest},
    id::{DevEui, DevNonce, Eui64},
    intake::{Event, When},
    key::AppKey,
    trace::Trace,
};

use crate::common::*;

/// The key of a node that is not on the roster.
const ANOTHER: [u8; 16] = [0x5C; 16];

/// A DevEUI one digit from the listed node's.
fn sibling(by: u8) -> DevEui {
    let mut octets = dev_eui().0.octets();
    octets[7] ^= by;
    DevEui(Eui64::new(octets))
}

fn asks(line: u64, who: DevEui, key: [u8; 16], nonce: u16) -> Event {
    let mut request = JoinRequest::new(join_eui(), who, DevNonce(nonce));
    request.mic = mic::join_request(&AppKey::from(key), &request);
    later(line, &Frame::JoinRequest(request).build())
}

/// An accept for the request of the line before.
fn answered(line: u64, dev_addr: u32) -> Event {
    let before = i64::try_from(line - 1).unwrap() * 10_000_000;
    let slot = When::Counter(u32::try_from(before).unwrap() + 5_000_000);
    sent(line, Some(before + 200_000), Some(GATEWAY), slot, &accept(dev_addr))
}

/// DevEUI, requests and sessions of each node, and how many requests are forgotten.
fn nodes(trace: &Trace) -> Vec<(Option<DevEui>, usize, usize, usize)> {
    let of = |node: &handfast::trace::NodeTrace| {
        let requests = node.attempts.total();
        (node.dev_eui, requests, node.sessions.len(), node.attempts.forgotten())
    };
    trace.nodes.iter().map(of).collect()
}

#[test]
fn siblings_are_nodes_of_their_own_where_the_listed_one_speaks() {
    let roster = roster();
    let all = [
        asks(1, sibling(1), ANOTHER, 1),
        later(2, &request(7)),
        asks(3, sibling(2), ANOTHER, 2),
        asks(4, sibling(1), ANOTHER, 3),
    ];
    let trace = trace(&roster, &all);
    let wanted =
        [(Some(dev_eui()), 1, 0, 0), (Some(sibling(2)), 1, 0, 0), (Some(sibling(1)), 2, 0, 0)];
    let mut found = nodes(&trace);
    assert_eq!(trace.nodes[0].index, Some(0));
    assert!(trace.nodes[1..].iter().all(|node| node.index.is_none()));
    found.sort_unstable();
    let mut wanted = wanted.to_vec();
    wanted.sort_unstable();
    assert_eq!(found, wanted);
}

#[test]
fn a_session_goes_with_its_request_where_a_fleet_shares_one_key() {
    let roster = roster();
    let first = 0x0201_0001;
    let key = session(first, 7);
    let all = [
        later(1, &request(7)),
        answered(2, first),
        later(3, &data(&key, first, 0)),
        asks(4, sibling(1), ROOT, 8),
        answered(5, 0x0201_0002),
    ];
    let trace = trace(&roster, &all);
    let wanted = [(Some(dev_eui()), 1, 1, 0), (Some(sibling(1)), 1, 1, 0)];
    assert_eq!(nodes(&trace), wanted);
    for (node, frames) in trace.nodes.iter().zip([1, 0]) {
        let own = &node.sessions[0];
        assert_eq!(own.frames.len(), frames);
        let handfast::trace::Origin::Accept { attempt, .. } = own.origin else { panic!("{own:?}") };
        assert_eq!(attempt, 0);
    }
}

#[test]
fn one_that_is_alike_is_the_node_where_nothing_speaks_against_it() {
    let roster = roster();
    // Alone, unanswered, and the listed node is not heard: a digit may be typed wrong.
    for key in [ROOT, ANOTHER] {
        let trace = trace(&roster, &[asks(1, sibling(1), key, 1), asks(2, sibling(1), key, 2)]);
        assert_eq!(nodes(&trace), [(Some(sibling(1)), 2, 0, 0)]);
    }
    // The server answers it: it is registered as what it says it is.
    let trace = trace(&roster, &[asks(1, sibling(1), ROOT, 8), answered(2, 0x0201_0002)]);
    assert_eq!(nodes(&trace), [(Some(dev_eui()), 0, 0, 0), (Some(sibling(1)), 1, 1, 0)]);
}
