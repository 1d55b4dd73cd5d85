//! The explorer of FOpts against options encrypted by hand.

use super::{
    super::{
        rows,
        world::{Sent, World, derived, frames, row},
    },
    *,
};
use crate::{
    crypto::{block::FOptsRule, cipher},
    frame::{FOpts, Payload},
};

/// A small table of commands: identifier and octets after it, up and down.
fn parses(octets: &[u8], direction: Direction) -> bool {
    let mut rest = octets;
    while let [cid, after @ ..] = rest {
        let len = match (cid, direction) {
            (2, Direction::Uplink) | (4 | 8, _) | (6, Direction::Downlink) => 0,
            (3 | 5 | 7, Direction::Uplink) | (0x0B, _) => 1,
            (6, Direction::Uplink) | (2, Direction::Downlink) => 2,
            (3 | 5, Direction::Downlink) => 4,
            _ => return false,
        };
        let Some(after) = after.get(len..) else { return false };
        rest = after;
    }
    true
}

const PLAIN: [(Direction, [&[u8]; 4]); 2] = [
    (Direction::Uplink, [&[0x0B, 1], &[3, 7, 6, 0xF6, 6], &[2, 0x0B, 1], &[5, 7]]),
    (Direction::Downlink, [&[0x0B, 1], &[2, 20, 1, 6], &[3, 0x51, 7, 0, 1], &[6]]),
];

fn sent(world: &World, direction: Direction, ids: &[&str]) -> Vec<Sent> {
    let has = |id: &str| ids.contains(&id);
    let [forwarding, _, enc, _] = derived(world, &[]);
    let key = if has("fopts-under-f-nwk-s-int-key") { &forwarding } else { &enc };
    let mut sent = frames(world, direction, &[]);
    let (_, plains) = PLAIN[usize::from(direction.octet())];
    for (i, (sent, plain)) in sent.iter_mut().zip(plains).enumerate() {
        // Half of them with an application payload.
        sent.frame.payload = (i % 2 == 1).then(|| Payload { port: 9, frm: vec![1, 2] });
        let mut constant = if direction == Direction::Downlink && i % 2 == 1 {
            [0, 0, 0, 2]
        } else {
            [0, 0, 0, 1]
        };
        let mut last = 1;
        if has("fopts-as-first-published") {
            (constant, last) = ([0; 4], 0);
        }
        if has("fopts-constant-1-beside-the-application-counter") {
            constant = [0, 0, 0, 1];
        }
        if has("fopts-constant-left-out") {
            constant = [0; 4];
        }
        if has("fopts-constant-turned") {
            constant.reverse();
        }
        if has("fopts-block-ends-with-0") {
            last = 0;
        }
        let counter = sent.fcnt.to_le_bytes();
        let addr = sent.frame.dev_addr.to_wire();
        let a = [&[1][..], &constant, &[direction.octet()], &addr, &counter, &[0, last]].concat();
        let mut octets = plain.to_vec();
        if !has("fopts-in-clear") {
            let stream = encrypt_block(key, a.try_into().unwrap());
            octets.iter_mut().zip(stream).for_each(|(octet, key)| *octet ^= key);
        }
        sent.frame.fopts = FOpts::new(octets).unwrap();
    }
    sent
}

fn explored(world: &World, sent: &[Sent]) -> Answer {
    let [forwarding, serving, enc, _] = derived(world, &[]);
    explore_fopts(&FOptsCase {
        nwk_s_enc_key: &enc,
        integrity_keys: Some([&forwarding, &serving]),
        frames: &sent.iter().map(Sent::heard).collect::<Vec<_>>(),
        parses: &parses,
    })
}

#[test]
fn every_mistake_in_fopts_is_named_with_its_side() {
    for (seed, row) in (100..).zip(rows().filter(|row| row.subject == Subject::FOpts)) {
        for (direction, side) in
            [(Direction::Uplink, Side::Node), (Direction::Downlink, Side::Server)]
        {
            let world = World::new(seed, Rule::V1_1);
            let answer = explored(&world, &sent(&world, direction, &[row.id]));
            if row.id == "fopts-constant-1-beside-the-application-counter"
                && direction == Direction::Uplink
            {
                assert!(matches!(answer, Answer::StandardHolds));
                continue;
            }
            let [finding] = answer.findings() else { panic!("{}: {answer:?}", row.id) };
            assert!(finding.readings().any(|reading| reading == [row]), "{finding:?}");
            assert_eq!((finding.side, finding.held), (side, 4));
            assert!(finding.odds < 0.01);
        }
    }
}

#[test]
fn a_rule_that_both_sides_follow_is_no_fault_of_either() {
    let world = World::new(5, Rule::V1_1);
    let mut both = sent(&world, Direction::Uplink, &["fopts-as-first-published"]);
    both.extend(sent(&world, Direction::Downlink, &["fopts-as-first-published"]));
    let answer = explored(&world, &both);
    let [finding] = answer.findings() else { panic!("{answer:?}") };
    assert!(matches!(finding.side, Side::CannotTell { .. }));
    let mut one = sent(&world, Direction::Uplink, &["fopts-as-first-published"]);
    one.extend(sent(&world, Direction::Downlink, &[]));
    assert_eq!(explored(&world, &one).findings()[0].side, Side::Node);
}

#[test]
fn one_short_field_decides_nothing() {
    let world = World::new(6, Rule::V1_1);
    let uplinks = sent(&world, Direction::Uplink, &["fopts-as-first-published"]);
    let answer = explored(&world, &uplinks[..1]);
    assert!(matches!(answer, Answer::CannotTell { .. }), "{answer:?}");
}

#[test]
fn the_worked_example_of_both_rules_is_told() {
    // DevAddr 0201BBDA, FCntUp 1, plain 0B01: ED41 with the erratum, 65EE without.
    let key: Aes128Key = "faebae13da4f4d4c1b1393c7a7a34c81".parse().unwrap();
    let mut world = World::new(1, Rule::V1_1);
    world.accept.dev_addr.0 = 0x0201_BBDA;
    for (hex, rule) in [("ed41", FOptsRule::Erratum), ("65ee", FOptsRule::AsPublished)] {
        let mut uplink = sent(&world, Direction::Uplink, &[]).remove(0);
        (uplink.fcnt, uplink.frame.fcnt) = (1, 1);
        uplink.frame.fopts = FOpts::new(hex::decode(hex).unwrap()).unwrap();
        let heard = uplink.heard();
        let mut recipe = Recipe::standard(Rule::V1_1);
        if rule == FOptsRule::AsPublished {
            row("fopts-as-first-published").apply(&mut recipe);
        }
        assert_eq!(turned(recipe.fopts, &key, &heard), [0x0B, 1]);
        let place =
            BlockFields { direction: Direction::Uplink, dev_addr: uplink.frame.dev_addr, fcnt: 1 };
        let by_crypto =
            cipher::encrypt_fopts(&key.clone().into(), &place, rule, heard.frame.fopts.octets());
        assert_eq!(by_crypto, [0x0B, 1]);
    }
}

#[test]
fn healthy_options_give_no_finding() {
    let world = World::new(7, Rule::V1_1);
    let mut both = sent(&world, Direction::Uplink, &[]);
    both.extend(sent(&world, Direction::Downlink, &[]));
    assert!(matches!(explored(&world, &both), Answer::StandardHolds));
    assert!(matches!(explored(&world, &[]), Answer::CannotTell { .. }));
}
