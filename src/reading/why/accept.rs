//! Join-Accepts: each candidate opens another one.

use super::{
    Why,
    pool::{Pool, accept_cause},
    request::part_of_root,
};
use crate::{
    crypto::{
        cipher::{AcceptKey, open_join_accept},
        derive,
        mic::{self, JoinReqType},
    },
    explore::{
        misreading::{AcceptCase, Asked, explore_accept},
        near_miss::{MistakeClass, search_by_trial},
    },
    frame::SealedJoinAccept,
    id::{DevEui, JoinEui},
    key::{Aes128Key, AppKey, NwkKey},
    reading::{Context, KeyRing, Source},
};

/// The farthest kind of mistake: without two wrong digits, each of which would have to be opened.
const FARTHEST: MistakeClass = MistakeClass::OneOctet;

/// Around the root keys, by the rules of 1.0 and 1.1; then rules misread by the server.
pub(super) fn accept(sealed: &SealedJoinAccept, ring: &KeyRing, context: &Context) -> Option<Why> {
    let sources = || ring.nearest(context.dev_eui, context.join_eui).map(|bunch| &bunch.source);
    let own = |source: &&Source| source.dev_eui.is_none() || source.dev_eui == context.dev_eui;
    let dev_eui = context.dev_eui.or_else(|| sources().filter(own).find_map(|s| s.dev_eui));
    let join_eui = context.join_eui.or_else(|| sources().filter(own).find_map(|s| s.join_eui));
    let bunches = ring.nearest(context.dev_eui, context.join_eui);
    let part = |source: &Source, role| part_of_root(source, role, context.dev_eui);
    let mut pool = Pool::new(bunches, part).with_euis(dev_eui, join_eui);

    let bound = dev_eui.zip(join_eui).zip(context.dev_nonce);
    let by_1_1 = |key: &Aes128Key| {
        let ((dev_eui, join_eui), nonce) = bound?;
        let root = NwkKey::from(key.clone());
        let opened = open_join_accept(AcceptKey::join(&root), sealed)?.accept;
        let signer = derive::js_int_key(&root, dev_eui);
        let join = JoinReqType::Join;
        Some(mic::join_accept_1_1(&signer, join, join_eui, nonce, &opened) == opened.mic)
    };
    let by_1_0 = |key: &Aes128Key| {
        let root = AppKey::from(key.clone());
        let opened = open_join_accept(AcceptKey::join(&root), sealed)?.accept;
        Some(mic::join_accept_1_0(&root, &opened) == opened.mic)
    };
    let report = search_by_trial(&pool.clues, FARTHEST, |key| {
        by_1_0(key) == Some(true) || by_1_1(key) == Some(true)
    });
    // Two rules are two chances.
    pool.beside = report.tried() * (1 + u64::from(bound.is_some()));
    if !report.hits.is_empty() {
        return pool.explain(&report.hits, accept_cause);
    }
    let asked: Vec<_> = context
        .dev_nonce
        .map(|nonce| Asked { kind: JoinReqType::Join, nonce })
        .into_iter()
        .collect();
    let answer = explore_accept(&AcceptCase {
        sealed,
        asked: &asked,
        roots: &pool.roots(),
        // Where they are not known a reading that takes them cannot fit.
        dev_eui: dev_eui.unwrap_or(DevEui::from_wire([0; 8])),
        join_eui: join_eui.unwrap_or(JoinEui::from_wire([0; 8])),
    });
    pool.beside += answer.tried();
    answer.findings().first().map(|finding| pool.misread(finding, "server"))
}
