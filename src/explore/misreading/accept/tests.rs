//! The explorer of Join-Accepts against accepts made by hand.

use super::super::{
    Finding, Role, Row, rows,
    world::{World, pairs, sealed_accept},
};
use super::*;
use crate::{
    crypto::{cipher, cipher::AcceptKey, derive::js_enc_key, mic},
    frame::{FType, JoinAccept, Mhdr},
    key::NwkKey,
};

fn explored(world: &World, sealed: &SealedJoinAccept) -> Answer {
    explore_accept(&AcceptCase {
        sealed,
        asked: &world.asked,
        roots: &world.known(),
        dev_eui: world.dev_eui,
        join_eui: world.join_eui,
    })
}

fn named(finding: &Finding, wanted: &[&'static Row]) -> bool {
    finding.readings().any(|reading| reading == wanted)
}

/// Answers to a Join-Request and to a Rejoin-Request, with a CFList and without.
fn worlds(seed: u64) -> Vec<World> {
    let mut worlds = Vec::new();
    for (i, rule) in (0..).zip([Rule::V1_0, Rule::V1_1, Rule::V1_1]) {
        for with_list in [true, false] {
            let mut world = World::new(8 * seed + 2 * i + u64::from(with_list), rule);
            if i == 2 {
                world.asked[0].kind = JoinReqType::Rejoin(0);
            }
            if !with_list {
                world.accept.cf_list = None;
            }
            worlds.push(world);
        }
    }
    worlds
}

#[test]
fn every_mistake_in_an_accept_is_named_and_is_the_servers() {
    for (seed, row) in (0..).zip(rows().filter(|row| row.subject == Subject::Accept)) {
        let mut shown = 0;
        for world in worlds(seed) {
            let sealed = sealed_accept(&world, &[row.id]);
            let answer = explored(&world, &sealed);
            // All of an answer to a Rejoin-Request comes from the root of the join server's keys:
            // with another root it is a good accept of that other root.
            let other_root = row.id == "js-keys-from-the-other-root-key"
                && world.asked[0].kind != JoinReqType::Join;
            if other_root || sealed == sealed_accept(&world, &[]) {
                assert!(matches!(answer, Answer::StandardHolds), "{}", row.id);
                continue;
            }
            shown += 1;
            let [finding] = answer.findings() else { panic!("{}: {answer:?}", row.id) };
            assert!(named(finding, &[row]), "{}: {finding:?}", row.id);
            assert_eq!(finding.side, Side::Server);
            assert_eq!(finding.roots, ["firmware NwkKey"]);
            assert!(finding.odds < 1e-6);
        }
        assert!(shown > 0, "{} is never seen", row.id);
    }
}

#[test]
fn pairs_of_mistakes_in_an_accept_are_named() {
    for rule in [Rule::V1_0, Rule::V1_1] {
        // A sample: every seventh pair.
        for (seed, pair) in (0..).zip(pairs(&[Subject::Accept], rule)).step_by(7) {
            let world = World::new(seed, rule);
            let ids = pair.map(|row| row.id);
            let sealed = sealed_accept(&world, &ids);
            let answer = explored(&world, &sealed);
            if sealed == sealed_accept(&world, &[]) {
                assert!(matches!(answer, Answer::StandardHolds), "{ids:?}");
                continue;
            }
            let [finding] = answer.findings() else { panic!("{ids:?}: {answer:?}") };
            let nearer = finding.mistakes.len() == 1;
            assert!(nearer || named(finding, &pair), "{ids:?}: {finding:?}");
        }
    }
}

#[test]
fn a_foreign_key_and_a_healthy_accept_give_no_finding() {
    for seed in 0..20 {
        for world in worlds(seed) {
            let sealed = sealed_accept(&world, &[]);
            assert!(matches!(explored(&world, &sealed), Answer::StandardHolds));
            let stranger = World { asked: world.asked, ..World::new(seed + 999, world.rule) };
            assert!(matches!(explored(&stranger, &sealed), Answer::NotFound { .. }));
        }
    }
}

#[test]
fn opt_neg_beside_a_mic_of_1_0_is_told() {
    // A published accept of a 1.0.3 test: OptNeg set, MIC by the rule of 1.0.
    let key = "42ffffffffffffffffffffffffffffff".parse().unwrap();
    let octets = hex::decode("9643b75f006d5db5c113aeb02498d516").unwrap();
    let sealed = SealedJoinAccept { mhdr: Mhdr::new(FType::JoinAccept), sealed: octets };
    let case = AcceptCase {
        sealed: &sealed,
        asked: &[Asked { kind: JoinReqType::Join, nonce: DevNonce(1) }],
        roots: &[Known { label: "AppKey", key: &key, role: Role::App }],
        dev_eui: "4242ffffffffffff".parse().unwrap(),
        join_eui: "42ffffffffffffff".parse().unwrap(),
    };
    let answer = explore_accept(&case);
    let [finding] = answer.findings() else { panic!("{answer:?}") };
    assert_eq!(finding.mistakes[0].id, "mic-rule-of-1.0-though-opt-neg-is-set");
    assert_eq!(finding.side, Side::Server);
}

/// The accept of an emulator's test file: it answers a Rejoin-Request of type 0.
fn emulated(key: impl Fn(&NwkKey, DevEui) -> Vec<u8>) -> (NwkKey, SealedJoinAccept) {
    let nwk: NwkKey = "ee000000000000000000000000000000".parse().unwrap();
    let sealed = key(&nwk, "d000000000000000".parse().unwrap());
    (nwk, SealedJoinAccept { mhdr: Mhdr::new(FType::JoinAccept), sealed })
}

fn opened() -> JoinAccept {
    let text = "200c00000000005bdfb3018001184f84e85684b85e84886684586e84004cc63b75";
    JoinAccept::read_opened(&hex::decode(text).unwrap()).unwrap().accept
}

fn asks(nwk: &NwkKey, sealed: &SealedJoinAccept, asked: &[Asked]) -> Answer {
    explore_accept(&AcceptCase {
        sealed,
        asked,
        roots: &[Known { label: "NwkKey", key: nwk.key(), role: Role::Nwk }],
        dev_eui: "d000000000000000".parse().unwrap(),
        join_eui: "a000000000000000".parse().unwrap(),
    })
}

#[test]
fn an_accept_that_answers_a_rejoin_is_told_from_one_that_answers_a_join() {
    let (nwk, sealed) = emulated(|nwk, dev_eui| {
        let key = js_enc_key(nwk, dev_eui);
        cipher::seal_join_accept(AcceptKey::rejoin(&key), &opened()).sealed
    });
    let join = Asked { kind: JoinReqType::Join, nonce: DevNonce(14) };
    let rejoin = Asked { kind: JoinReqType::Rejoin(0), nonce: DevNonce(0) };
    assert!(matches!(asks(&nwk, &sealed, &[rejoin, join]), Answer::StandardHolds));
    let answer = asks(&nwk, &sealed, &[join, rejoin]);
    assert_eq!(answer.findings()[0].mistakes[0].id, "answers-another-request");
    assert_eq!(answer.findings()[0].nonce, Some(DevNonce(0)));
    assert!(matches!(asks(&nwk, &sealed, &[join]), Answer::NotFound { .. }));
}

#[test]
fn a_rejoin_answered_under_the_root_key_is_told() {
    let (nwk, sealed) =
        emulated(|nwk, _| cipher::seal_join_accept(AcceptKey::join(nwk), &opened()).sealed);
    let rejoin = Asked { kind: JoinReqType::Rejoin(0), nonce: DevNonce(0) };
    let answer = asks(&nwk, &sealed, &[rejoin]);
    let [finding] = answer.findings() else { panic!("{answer:?}") };
    assert_eq!(finding.mistakes[0].id, "accept-encrypted-under-the-wrong-kind-of-key");
}

#[test]
fn an_accept_encrypted_by_encryption_is_told_from_bytes_made_with_the_plain_cipher() {
    let world = World::new(5, Rule::V1_0);
    let mut accept = world.accept.clone();
    accept.cf_list = None;
    let root = NwkKey::from(world.nwk.clone());
    accept.mic = mic::join_accept_1_0(&root, &accept);
    let octets = accept.octets();
    let block: Block = octets[1..].try_into().unwrap();
    let sealed = encrypt_block(&world.nwk, block).to_vec();
    let sealed = SealedJoinAccept { mhdr: accept.mhdr, sealed };
    let answer = explored(&world, &sealed);
    let [finding] = answer.findings() else { panic!("{answer:?}") };
    assert_eq!(finding.mistakes[0].id, "accept-encrypted-by-aes-encryption");
    // One block does not show whether blocks are chained.
    assert_eq!(finding.alike[0][0].id, "accept-chained-by-aes-encryption");
    assert!(finding.is_of_one_family());
}
