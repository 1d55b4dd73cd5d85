//! The explorer of payloads against payloads encrypted by hand.

use super::{
    super::{
        Family, Row, Rule, rows,
        world::{Sent, World, derived, frames, row},
    },
    *,
};
use crate::crypto::cipher::encrypt_payload;

/// A thermometer's shape: channel, 67, two octets; channel, 68, one octet.
const SHAPE: Criterion<'_> = Criterion::ChannelTypeValue(&[(0x67, 2), (0x68, 1)]);
const PLAIN: [u8; 7] = [0x01, 0x67, 0x01, 0x10, 0x02, 0x68, 0x60];

/// Uplinks whose payloads, all on application ports, are encrypted with these mistakes.
fn sent(world: &World, plain: &[u8], ids: &[&str]) -> Vec<Sent> {
    let has = |id: &str| ids.contains(&id);
    let [_, _, enc, app] = derived(world, ids);
    let key = if has("payload-under-the-network-key") { &enc } else { &app };
    let mut sent = frames(world, Direction::Uplink, &[]);
    for sent in &mut sent {
        let mut dir = 0;
        let mut counter = sent.fcnt.to_le_bytes();
        if has("payload-dir-inverted") {
            dir = 1;
        }
        if has("payload-counter-upper-half-lost") {
            counter[2..].fill(0);
        }
        let mut frm = plain.to_vec();
        let first = u8::from(!has("payload-blocks-count-from-0"));
        for (i, chunk) in (first..).zip(frm.chunks_mut(16)) {
            let addr = sent.frame.dev_addr.to_wire();
            let a = [&[1, 0, 0, 0, 0, dir][..], &addr, &counter, &[0, i]].concat();
            let stream = encrypt_block(key, a.try_into().unwrap());
            if !has("payload-in-clear") {
                chunk.iter_mut().zip(stream).for_each(|(octet, key)| *octet ^= key);
            }
        }
        let payload = sent.frame.payload.as_mut().unwrap();
        (payload.port, payload.frm) = (2, frm);
    }
    sent
}

fn explored(
    world: &World,
    sent: &[Sent],
    at_hand: Option<&Aes128Key>,
    criterion: Criterion<'_>,
) -> Answer {
    let [root, others @ ..] = &world.known();
    let frames: Vec<_> = sent.iter().map(Sent::heard).collect();
    let at_hand = at_hand.cloned().map(AppSKey::from);
    explore_payload(&PayloadCase {
        session: SessionCase {
            root: *root,
            others,
            accept: &world.accept,
            accept_rule: world.rule,
            join_eui: world.join_eui,
            dev_eui: world.dev_eui,
            dev_nonce: world.asked[0].nonce,
            other_nonces: &world.other_nonces,
            other_joins: &world.other_joins,
            frames: &frames,
        },
        at_hand: at_hand.as_ref(),
        criterion,
    })
}

fn named(answer: &Answer, row: &'static Row) -> bool {
    answer.findings().iter().any(|finding| finding.readings().any(|reading| reading == [row]))
}

#[test]
fn every_mistake_in_a_payload_is_named_and_is_the_nodes() {
    let mistakes = rows().filter(|row| matches!(row.subject, Subject::Keys | Subject::Payload));
    for (seed, row) in (0..).zip(mistakes) {
        let mut shown = 0;
        for rule in [Rule::V1_0, Rule::V1_1] {
            let world = World::new(seed, rule);
            let [.., right] = derived(&world, &[]);
            let sent_so = sent(&world, &PLAIN, &[row.id]);
            let answer = explored(&world, &sent_so, Some(&right), SHAPE);
            let frm = |sent: &[Sent]| sent[0].frame.payload.clone();
            if frm(&sent_so) == frm(&sent(&world, &PLAIN, &[])) {
                assert!(matches!(answer, Answer::StandardHolds), "{}", row.id);
                continue;
            }
            shown += 1;
            assert!(named(&answer, row), "{}: {answer:?}", row.id);
            let finding = &answer.findings()[0];
            assert_eq!((finding.side, finding.held), (Side::Node, 4), "{}", row.id);
            assert!(finding.odds < 1e-6);
        }
        // A key of nowhere is what stands on record; no node can be caught with it.
        let never = ["app-s-key-of-another-time", "octets-01-and-03-exchanged"];
        let never = never.contains(&row.id) || row.id == "octets-03-and-04-exchanged";
        assert!(shown > 0 || never, "{} is never seen", row.id);
    }
}

#[test]
fn a_record_that_is_out_of_step_is_the_servers() {
    for rule in [Rule::V1_0, Rule::V1_1] {
        let world = World::new(8, rule);
        let sent = sent(&world, &PLAIN, &[]);
        for (at_hand, wanted) in [
            (derived(&world, &["app-s-key-of-another-join"]), "app-s-key-of-another-join"),
            (derived(&World::new(9, rule), &[]), "app-s-key-of-another-time"),
            (
                derived(&world, &["app-s-key-from-a-zero-root-key"]),
                "app-s-key-from-a-zero-root-key",
            ),
        ] {
            let [.., at_hand] = at_hand;
            let answer = explored(&world, &sent, Some(&at_hand), SHAPE);
            assert!(named(&answer, row(wanted)), "{wanted}: {answer:?}");
            assert_eq!(answer.findings()[0].side, Side::Server);
        }
        let answer = explored(&world, &sent, None, SHAPE);
        assert!(matches!(answer, Answer::StandardHolds));
    }
}

#[test]
fn a_single_octet_of_text_tells_nothing() {
    let world = World::new(8, Rule::V1_0);
    let [.., at_hand] = derived(&World::new(9, Rule::V1_0), &[]);
    let sent = sent(&world, b"A", &[]);
    for n in 1..=2 {
        // Noise is text with odds of 3 in 8 for each octet.
        match explored(&world, &sent[..n], Some(&at_hand), Criterion::PrintableAscii) {
            Answer::CannotTell { .. } | Answer::StandardHolds => {}
            other => panic!("{other:?}"),
        }
    }
    let known: [&[u8]; 1] = [b"A"];
    let answer = explored(&world, &sent[..1], Some(&at_hand), Criterion::Known(&known));
    assert_eq!(answer.findings()[0].families(), [Family::OtherJoin]);
}

#[test]
fn payloads_of_the_crypto_room_agree_with_the_explorer() {
    let world = World::new(21, Rule::V1_1);
    let text = b"21.5 C, and all is well in the cold store";
    let mut frames = frames(&world, Direction::Downlink, &[]);
    let zero = [0; 16].into();
    let crate::crypto::derive::SessionKeys::V1_1 { app_s_key: Some(wrong), .. } =
        crate::crypto::derive::session_1_1(
            &world.nwk.clone().into(),
            Some(&zero),
            world.accept.join_nonce,
            world.join_eui,
            world.asked[0].nonce,
        )
    else {
        panic!()
    };
    for sent in &mut frames {
        let place = BlockFields {
            direction: Direction::Downlink,
            dev_addr: sent.frame.dev_addr,
            fcnt: sent.fcnt,
        };
        let payload = sent.frame.payload.as_mut().unwrap();
        (payload.port, payload.frm) = (9, encrypt_payload((&wrong).into(), &place, text));
    }
    let [.., right] = derived(&world, &[]);
    let answer = explored(&world, &frames, Some(&right), Criterion::PrintableAscii);
    assert_eq!(answer.findings()[0].mistakes, [row("app-s-key-from-a-zero-root-key")]);
    assert_eq!(answer.findings()[0].side, Side::Server);
}

#[test]
fn the_shape_says_how_often_noise_has_it() {
    // Four octets: channel, 67 and its two octets. One of 256 has the type.
    assert!((SHAPE.bits(4) - 8.0).abs() < 1e-9);
    assert!((SHAPE.bits(7) - 15.0).abs() < 1e-9, "either comes first");
    assert!(SHAPE.bits(5).is_infinite(), "nothing of five bytes has the shape");
    assert!(SHAPE.is_sound(0, &PLAIN) && !SHAPE.is_sound(0, &PLAIN[..6]));
}
