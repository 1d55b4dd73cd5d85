//! The explorer of sessions against frames made by hand.

use super::{
    super::{
        Family, Role, rows,
        world::{Noise, Sent, World, frames, pairs, row, signed_mic},
    },
    *,
};
use crate::{
    crypto::{
        block::UplinkContext,
        cipher::{self, AcceptKey},
        derive::{self, SessionKeys},
        mic,
    },
    frame::{Frame, Mic, decode},
    key::{AppKey, NwkKey},
};

const RULES: [Rule; 2] = [Rule::V1_0, Rule::V1_1];

fn explored(world: &World, frames: &[Heard<'_>]) -> Answer {
    let [root, others @ ..] = &world.known();
    explore_session(&SessionCase {
        root: *root,
        others,
        accept: &world.accept,
        accept_rule: world.rule,
        join_eui: world.join_eui,
        dev_eui: world.dev_eui,
        dev_nonce: world.asked[0].nonce,
        other_nonces: &world.other_nonces,
        other_joins: &world.other_joins,
        frames,
    })
}

fn all(sent: &[Sent]) -> Vec<Heard<'_>> {
    sent.iter().map(Sent::heard).collect()
}

fn named(finding: &Finding, wanted: &[&'static Row]) -> bool {
    finding.readings().any(|reading| reading == wanted)
}

fn mics(sent: &[Sent]) -> Vec<Mic> {
    sent.iter().map(|sent| sent.frame.mic).collect()
}

fn subjects() -> impl Iterator<Item = &'static Row> {
    rows().filter(|row| matches!(row.subject, Subject::Keys | Subject::DataMic))
}

#[test]
fn every_mistake_in_a_session_is_named_with_its_side() {
    for (seed, row) in (0..).zip(subjects()) {
        let mut shown = 0;
        for rule in RULES {
            for (direction, side) in
                [(Direction::Uplink, Side::Node), (Direction::Downlink, Side::Server)]
            {
                let world = World::new(seed, rule);
                let sent = frames(&world, direction, &[row.id]);
                let healthy = frames(&world, direction, &[]);
                let answer = explored(&world, &all(&sent));
                if mics(&sent) == mics(&healthy) {
                    assert!(matches!(answer, Answer::StandardHolds), "{}", row.id);
                    continue;
                }
                shown += 1;
                let [finding] = answer.findings() else { panic!("{}: {answer:?}", row.id) };
                assert!(named(finding, &[row]), "{}: {finding:?}", row.id);
                assert!(finding.held == 4 && finding.odds < 1e-2, "{}: {finding:?}", row.id);
                assert_eq!(finding.side, side);
            }
        }
        assert!(shown > 0, "{} is never seen", row.id);
    }
}

#[test]
fn a_mistake_is_named_without_the_channel_too() {
    for (seed, row) in (0..).zip(subjects()) {
        let world = World::new(seed, Rule::V1_1);
        let sent = frames(&world, Direction::Uplink, &[row.id]);
        let heard: Vec<_> = sent.iter().map(Sent::heard_by_a_gateway).collect();
        let answer = explored(&world, &heard);
        // Whoever leaves TxCh out looks like a node on channel 0.
        let unseen = row.id == "tx-ch-left-out"
            || mics(&sent) == mics(&frames(&world, Direction::Uplink, &[]));
        if unseen {
            assert!(matches!(answer, Answer::StandardHolds), "{}", row.id);
        } else {
            let [finding] = answer.findings() else { panic!("{}: {answer:?}", row.id) };
            assert!(named(finding, &[row]), "{}: {finding:?}", row.id);
        }
    }
}

#[test]
fn pairs_of_mistakes_in_a_session_are_named() {
    let mut noise = Noise::new(1);
    for rule in RULES {
        let pairs = pairs(&[Subject::Keys, Subject::DataMic], rule);
        let mut exact = 0;
        for seed in 0..150 {
            let pair = pairs[noise.below(pairs.len())];
            let ids = pair.map(|row| row.id);
            let direction = [Direction::Uplink, Direction::Downlink][noise.below(2)];
            let world = World::new(seed, rule);
            let sent = frames(&world, direction, &ids);
            let answer = explored(&world, &all(&sent));
            if mics(&sent) == mics(&frames(&world, direction, &[])) {
                assert!(matches!(answer, Answer::StandardHolds), "{ids:?}");
                continue;
            }
            let Some(finding) = answer.findings().first() else { panic!("{ids:?}: {answer:?}") };
            if finding.mistakes.len() == 1 {
                // A nearer reading must come to the same octets.
                let nearer = frames(&world, direction, &[finding.mistakes[0].id]);
                assert_eq!(mics(&nearer), mics(&sent), "{ids:?}: {finding:?}");
            } else {
                assert!(named(finding, &pair), "{ids:?}: {finding:?}");
                exact += 1;
            }
        }
        assert!(exact > 50, "{exact}");
    }
}

#[test]
fn healthy_frames_and_foreign_keys_give_no_finding() {
    for seed in 0..30 {
        for rule in RULES {
            let world = World::new(seed, rule);
            let mut sent = frames(&world, Direction::Uplink, &[]);
            sent.extend(frames(&world, Direction::Downlink, &[]));
            assert!(matches!(explored(&world, &all(&sent)), Answer::StandardHolds));
            let heard: Vec<_> = sent.iter().map(Sent::heard_by_a_gateway).collect();
            assert!(matches!(explored(&world, &heard), Answer::StandardHolds));
            let stranger = World { accept: world.accept.clone(), ..World::new(seed + 500, rule) };
            let answer = explored(&stranger, &all(&sent));
            assert!(matches!(answer, Answer::NotFound { tried: 1000.. }), "{answer:?}");
        }
    }
}

#[test]
fn half_a_mic_of_one_frame_is_too_little() {
    // The data rate is not known: 16 bits, against a thousand candidates and more.
    for seed in 0..20 {
        let world = World::new(seed, Rule::V1_1);
        let sent =
            frames(&world, Direction::Uplink, &["octets-01-and-02-exchanged", "block-left-out"]);
        let heard = Heard { tx_dr: None, ..sent[1].heard() };
        let answer = explored(&world, &[heard]);
        assert!(matches!(answer, Answer::CannotTell { .. }), "{answer:?}");
    }
}

#[test]
fn a_mistake_that_both_sides_make_is_nobodys() {
    let world = World::new(4, Rule::V1_0);
    let mut sent = frames(&world, Direction::Uplink, &["dev-nonce-turned-in-session-keys"]);
    sent.extend(frames(&world, Direction::Downlink, &["dev-nonce-turned-in-session-keys"]));
    let answer = explored(&world, &all(&sent));
    let [finding] = answer.findings() else { panic!("{answer:?}") };
    assert!(matches!(finding.side, Side::CannotTell { .. }));
    assert_eq!(finding.held, 8);
}

#[test]
fn each_side_may_make_a_mistake_of_its_own() {
    let world = World::new(4, Rule::V1_0);
    let mut sent = frames(&world, Direction::Uplink, &["net-id-turned-in-session-keys"]);
    sent.extend(frames(&world, Direction::Downlink, &["dir-inverted-in-block"]));
    let answer = explored(&world, &all(&sent));
    let [up, down] = answer.findings() else { panic!("{answer:?}") };
    assert_eq!((up.mistakes[0], up.side), (row("net-id-turned-in-session-keys"), Side::Node));
    assert_eq!((down.mistakes[0], down.side), (row("dir-inverted-in-block"), Side::Server));
}

#[test]
fn a_frame_that_the_standard_explains_is_no_evidence() {
    // Only the frames with ACK show that ConfFCnt is missing.
    let world = World::new(9, Rule::V1_1);
    let sent = frames(&world, Direction::Downlink, &["conf-fcnt-left-out"]);
    let answer = explored(&world, &all(&sent));
    let [finding] = answer.findings() else { panic!("{answer:?}") };
    assert_eq!((finding.held, finding.decided_by), (4, 2));
    // One frame damaged beside them is explained by nothing.
    let mut sent = frames(&world, Direction::Downlink, &[]);
    sent[1].frame.mic.0[0] ^= 1;
    assert!(matches!(explored(&world, &all(&sent)), Answer::NotFound { .. }));
}

#[test]
fn a_1_0_node_under_a_server_that_sets_opt_neg_is_the_servers_fault() {
    let world = World::new(3, Rule::V1_1);
    let sent = frames(&world, Direction::Uplink, &["rule-of-1.0-though-opt-neg-is-set"]);
    let heard = all(&sent);
    let [root, others @ ..] = &world.known();
    let mut case = SessionCase {
        root: *root,
        others,
        accept: &world.accept,
        accept_rule: Rule::V1_0,
        join_eui: world.join_eui,
        dev_eui: world.dev_eui,
        dev_nonce: world.asked[0].nonce,
        other_nonces: &[],
        other_joins: &[],
        frames: &heard,
    };
    let answer = explore_session(&case);
    assert_eq!(answer.findings()[0].side, Side::Server);
    assert_eq!(answer.findings()[0].families(), [Family::VersionOverstated]);
    // With an accept that is signed by 1.1 the node knew better.
    case.accept_rule = Rule::V1_1;
    assert_eq!(explore_session(&case).findings()[0].side, Side::Node);
    // A key that is claimed in both roles, by two claims, is one candidate.
    let twice = [Known { label: "record AppKey", role: Role::App, ..*root }];
    case.others = &twice;
    let answer = explore_session(&case);
    assert_eq!(answer.findings()[0].roots, ["firmware NwkKey", "record AppKey"]);
}

/// A frame signed with the functions of `crypto` alone, under keys that `derive` made.
fn signed(world: &World, keys: &SessionKeys, direction: Direction) -> Sent {
    let mut sent = frames(world, direction, &[]).remove(0);
    let frame = &mut sent.frame;
    frame.mic = match keys {
        SessionKeys::V1_0 { nwk_s_key, .. } => mic::data_1_0(nwk_s_key, frame, sent.fcnt),
        SessionKeys::V1_1 { f_nwk_s_int_key, s_nwk_s_int_key, .. } => {
            let context = UplinkContext { conf_fcnt: sent.conf, tx_dr: sent.dr, tx_ch: sent.ch };
            match direction {
                Direction::Uplink => {
                    mic::data_up_1_1(s_nwk_s_int_key, f_nwk_s_int_key, frame, sent.fcnt, &context)
                }
                Direction::Downlink => {
                    mic::data_down_1_1(s_nwk_s_int_key, frame, sent.fcnt, sent.conf)
                }
            }
        }
    };
    sent
}

#[test]
fn frames_that_the_crypto_room_makes_agree_with_hand_and_explorer() {
    for rule in RULES {
        for direction in [Direction::Uplink, Direction::Downlink] {
            let mut world = World::new(77, rule);
            let (nwk, app) = (NwkKey::from(world.nwk.clone()), AppKey::from(world.app.clone()));
            let JoinAccept { join_nonce, net_id, .. } = world.accept;
            let nonce = world.asked[0].nonce;
            let of_1_0 = derive::session_1_0(&nwk, join_nonce, net_id, nonce);
            let of_1_1 = derive::session_1_1(&nwk, Some(&app), join_nonce, world.join_eui, nonce);
            let (own, other) = match rule {
                Rule::V1_0 => (of_1_0, of_1_1),
                Rule::V1_1 => (of_1_1, of_1_0),
            };
            let sent = signed(&world, &own, direction);
            assert_eq!(sent.frame.mic.0, signed_mic(&world, &sent, &[]));
            assert!(matches!(explored(&world, &[sent.heard()]), Answer::StandardHolds));

            let sent = signed(&world, &other, direction);
            let answer = explored(&world, &[sent.heard()]);
            let wanted = match rule {
                Rule::V1_0 => "rule-of-1.1-though-opt-neg-is-clear",
                Rule::V1_1 => "rule-of-1.0-though-opt-neg-is-set",
            };
            assert!(named(&answer.findings()[0], &[row(wanted)]), "{answer:?}");

            // The DevNonce of a later retry.
            world.asked.rotate_left(1);
            world.other_nonces = vec![nonce];
            let sent = signed(&world, &own, direction);
            let answer = explored(&world, &[sent.heard()]);
            assert_eq!(answer.findings()[0].mistakes, [row("dev-nonce-of-another-attempt")]);
            assert_eq!(answer.findings()[0].nonce, Some(nonce));
        }
    }
}

#[test]
fn a_tracker_that_never_falls_back_is_told_by_three_uplinks() {
    // The frames of a join case: OptNeg 0, and uplinks by the rule of 1.1 on channels untold.
    let nwk: NwkKey = "6b732de4f53550472057806b18be8061".parse().unwrap();
    let app = "457752a0690e224e5c1294de5573015e".parse().unwrap();
    let decoded = |text| decode(&hex::decode(text).unwrap()).frame.unwrap();
    let sealed = "204474d49ad3c5c49901a9deb33214e611788a7c3ad90a2229d32da4ec84c8e122";
    let Frame::JoinAccept(sealed) = decoded(sealed) else { panic!() };
    let opened = cipher::open_join_accept(AcceptKey::join(&nwk), &sealed).unwrap();
    let uplinks = [
        "40f06e0f02820000871a042f88fc3551",
        "40f06e0f028201006b7804da7a37aad1",
        "40f06e0f028202009615045c575c2905",
    ];
    let uplinks = uplinks.map(|text| {
        let Frame::Data(frame) = decoded(text) else { panic!() };
        frame
    });
    let heard = uplinks.each_ref().map(|frame| Heard {
        frame,
        fcnt: frame.fcnt.into(),
        conf_fcnt: None,
        tx_dr: Some(5),
        tx_ch: None,
    });
    let answer = explore_session(&SessionCase {
        root: Known { label: "record AppKey", key: nwk.key(), role: Role::App },
        others: &[
            Known { label: "firmware NwkKey", key: nwk.key(), role: Role::Nwk },
            Known { label: "firmware AppKey", key: &app, role: Role::App },
        ],
        accept: &opened.accept,
        accept_rule: Rule::V1_0,
        join_eui: "020000fffe0bb5f2".parse().unwrap(),
        dev_eui: "020000fffeaedd72".parse().unwrap(),
        dev_nonce: DevNonce(5),
        other_nonces: &[],
        other_joins: &[],
        frames: &heard,
    });
    let [finding] = answer.findings() else { panic!("{answer:?}") };
    assert_eq!(finding.mistakes, [row("rule-of-1.1-though-opt-neg-is-clear")]);
    assert_eq!(finding.families(), [Family::FallbackIgnored]);
    assert_eq!((finding.side, finding.decided_by), (Side::Node, 3));
    assert!(finding.odds < 1e-18);
}

#[test]
fn a_search_stays_small_however_many_attempts_there_were() {
    // Each candidate costs a microsecond or less: a hundredth of a second in all.
    for rule in RULES {
        let mut world = World::new(1, rule);
        for seed in 100..200 {
            let other = World::new(seed, rule);
            world.other_nonces.extend(&other.other_nonces);
            world.other_joins.extend(&other.other_joins);
        }
        let sent = frames(&World::new(2, rule), Direction::Uplink, &[]);
        let answer = explored(&world, &all(&sent));
        assert!(matches!(answer, Answer::NotFound { tried: 5000..20_000 }), "{answer:?}");
    }
}
