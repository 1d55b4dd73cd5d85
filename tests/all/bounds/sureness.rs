//! How sure a verdict is: by its odds, and at the limits of certain, likely and possible.

use handfast::{
    crypto::mic,
    frame::{DataFrame, FType, Frame, JoinRequest, Payload},
    id::{DevAddr, DevNonce},
    intake::{Event, When},
    key::AppKey,
    ladder::{Certainty, Outcome, Verdict},
    region::Plan,
    scenario::{Mistake, Scene},
};

use super::{claims, verdict};
use crate::{
    common::{self, GATEWAY, ROOT, accept, dev_eui, join_eui, later, request, sent, session},
    support::scene,
};

/// Less than one accident in a million is certain, less than one in a thousand likely.
fn by_odds(verdict: &Verdict) -> Certainty {
    match verdict.false_match.unwrap() {
        odds if odds < 1e-6 => Certainty::Certain,
        odds if odds < 1e-3 => Certainty::Likely,
        _ => Certainty::Possible,
    }
}

/// A session whose payloads are text in clear, of so many octets.
fn in_clear(octets: usize) -> Vec<Event> {
    let addr = 0x0201_0001;
    let key = session(addr, 7);
    let mut frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(addr), 0);
    let text = b"moist=41 temp=17 wind=03 rain=00 sun=7 cell=3";
    frame.payload = Some(Payload { port: 2, frm: text[..octets].to_vec() });
    frame.mic = mic::data_1_0(&key, &frame, 0);
    vec![
        later(1, &request(7)),
        sent(2, Some(10_200_000), Some(GATEWAY), When::Counter(15_000_000), &accept(addr)),
        later(3, &Frame::Data(frame).build()),
    ]
}

#[test]
fn how_sure_a_misreading_is_goes_by_its_odds() {
    let mut seen = Vec::new();
    for octets in 12..=45 {
        let told = verdict(&common::roster(), &in_clear(octets));
        for cause in
            told.causes.iter().filter(|v| v.cause.id.name() == "payload-encrypted-by-another-rule")
        {
            assert_eq!(cause.certainty, by_odds(cause), "{octets} bytes: {:?}", cause.false_match);
            seen.push((cause.certainty, cause.false_match.unwrap()));
        }
    }
    // Odds between one in ten thousand and one in a million are met, and so are less.
    let is_met = |from: f64, to: f64| seen.iter().any(|(_, odds)| (from..to).contains(odds));
    assert!(is_met(1e-6, 1e-4) && is_met(0.0, 1e-6), "{seen:?}");
}

#[test]
fn how_sure_a_key_is_goes_by_the_digits_and_the_frames() {
    // Two digits wrong: some 170,000 candidates, which one frame of 32 bits leaves at 4e-5.
    let told = |wrong: &[usize], frames: u16| {
        let mut root = ROOT;
        for place in wrong {
            root[*place] ^= 0x40;
        }
        let key = AppKey::from(root);
        let signed = |nonce: u16| {
            let mut request = JoinRequest::new(join_eui(), dev_eui(), DevNonce(nonce));
            request.mic = mic::join_request(&key, &request);
            Frame::JoinRequest(request).build()
        };
        let frames: Vec<_> = (1..=frames).map(|n| later(n.into(), &signed(n))).collect();
        let record = "mac-version = '1.0.3'";
        let roster = claims("EU868", "", record);
        let found = verdict(&roster, &frames).causes;
        let cause = found.into_iter().find(|v| v.cause.id.name() == "app-key-typed-wrong").unwrap();
        assert_eq!(cause.certainty, by_odds(&cause), "{:?}", cause.false_match);
        (cause.certainty, cause.false_match.unwrap())
    };
    assert_eq!(told(&[3], 1).0, Certainty::Certain);
    let (certainty, odds) = told(&[3, 9], 1);
    assert!(certainty == Certainty::Likely && (1e-6..1e-4).contains(&odds), "{odds}");
    assert_eq!(told(&[3, 9], 2).0, Certainty::Certain);
}

#[test]
fn a_node_that_was_led_away_took_its_accept() {
    let outcome = |mistake| {
        let plan = Plan::by_name("US915").unwrap();
        let played = Scene::new(2026, plan).with(|probe| probe.mistakes = vec![mistake]).play();
        scene::of(&scene::climb(&played), "probe-01").outcome
    };
    assert_eq!(outcome(Mistake::CfListChannels), Outcome::AcceptedUnproven);
    assert_eq!(outcome(Mistake::Deaf), Outcome::NeverJoined);
}
