//! Nonces: one that is the last is not above it.

use handfast::{
    crypto::{
        cipher::{AcceptKey, seal_join_accept},
        mic,
    },
    frame::{DlSettings, Frame},
    intake::{Event, Leg, When},
    key::AppKey,
    ladder::{Certainty, State, join::Rung},
};

use super::{causes, claims, names, state, verdict};
use crate::common::{
    GATEWAY, ROOT, accept, acknowledged, later, plain_accept, pull, request, sent,
};

fn asked(nonces: &[u16]) -> Vec<Event> {
    (1..).zip(nonces).map(|(line, nonce)| later(line, &request(*nonce))).collect()
}

/// The same in a capture that shows that nothing was answered.
fn asked_in_vain(nonces: &[u16]) -> Vec<Event> {
    let mut all = vec![pull(1, -2_000_000), acknowledged(2, -1_900_000, Leg::Pull)];
    all.extend((3..).zip(nonces).map(|(line, nonce)| later(line, &request(*nonce))));
    all.push(pull(90, 900_000_000));
    all
}

const NOT_KEPT: &str = "dev-nonce-not-kept-across-power-loss";

#[test]
fn a_dev_nonce_that_is_the_last_accepted_is_refused_and_the_next_is_not() {
    let told = |last: u16| {
        let record = format!("mac-version = '1.0.4'\nlast-dev-nonce = {last}");
        verdict(&claims("EU868", "", &record), &asked(&[40, 41]))
    };
    // Below, at and above the first of both.
    let fine = told(39);
    assert_eq!(
        (state(&fine, Rung::Fresh), names(&fine).contains(&NOT_KEPT)),
        (State::Proven, false)
    );
    for last in [40, 1_000] {
        let refused = told(last);
        assert_eq!(state(&refused, Rung::Fresh), State::Broken, "{last}");
        assert!(names(&refused).contains(&NOT_KEPT), "{last}: {:?}", causes(&refused));
    }
    // The last is the capture's last: the record was read afterwards.
    assert_eq!(state(&told(41), Rung::Fresh), State::Proven);
}

#[test]
fn a_dev_nonce_on_the_used_list_is_refused() {
    let told = |version: &str, used: &str, nonces: &[u16]| {
        let record = format!("mac-version = '{version}'\nused-dev-nonces = [{used}]");
        let told = verdict(&claims("EU868", "", &record), &asked_in_vain(nonces));
        (state(&told, Rung::Fresh), names(&told))
    };
    // Drawn at random: the very nonce is used up.
    let (fresh, found) = told("1.0.3", "3, 40", &[40]);
    assert_eq!((fresh, found[0]), (State::Broken, "dev-nonce-repeated-after-reset"));
    assert_eq!(told("1.0.3", "39, 41", &[40]).0, State::Proven);
    // Counted: the highest of the list is the last.
    let (fresh, found) = told("1.0.4", "3, 40", &[40, 41]);
    assert_eq!((fresh, found.contains(&NOT_KEPT)), (State::Broken, true));
    assert_eq!(told("1.0.4", "3, 39", &[40, 41]).0, State::Proven);
}

#[test]
fn a_join_nonce_that_is_the_node_s_last_is_refused_and_the_next_is_not() {
    // The JoinNonce of the accept is 0xA1B2.
    let told = |last: u32| {
        let firmware = format!("mac-version = '1.0.4'\nlast-join-nonce = {last}");
        let exchange = [
            later(1, &request(7)),
            sent(
                2,
                Some(10_200_000),
                Some(GATEWAY),
                When::Counter(15_000_000),
                &accept(0x0201_0001),
            ),
        ];
        verdict(&claims("EU868", &firmware, "mac-version = '1.0.4'"), &exchange)
    };
    let fine = told(0xA1B1);
    assert_eq!((state(&fine, Rung::Acceptable), names(&fine)), (State::Proven, vec![]));
    let same = told(0xA1B2);
    assert_eq!(state(&same, Rung::Acceptable), State::Broken);
    assert_eq!(causes(&same), [("join-nonce-went-back", Certainty::Certain)]);
    // That it goes back is 1.0.4's to allow or not.
    assert_eq!(causes(&told(0xA1B3)), [("join-nonce-went-back", Certainty::Likely)]);
}

#[test]
fn nonces_that_rise_by_up_to_64_count_and_by_more_are_drawn() {
    let told = |nonces: &[u16]| {
        let record = "mac-version = '1.0.4'\nlast-dev-nonce = 1000";
        names(&verdict(&claims("EU868", "", record), &asked(nonces)))[0]
    };
    assert_eq!(told(&[100, 164, 228]), NOT_KEPT);
    assert_eq!(told(&[100, 165, 230]), "random-nonce-against-a-counting-server");
}

#[test]
fn receive_parameters_end_where_the_region_s_do() {
    // EU868: RX1DROffset 0 to 5, downlink data rates 0 to 7 (RP002-1.0.4, 2.5).
    let told = |settings: u8| {
        let key = AppKey::from(ROOT);
        let mut accept = plain_accept(0x0201_0001);
        accept.dl_settings = DlSettings(settings);
        accept.mic = mic::join_accept_1_0(&key, &accept);
        let accept = Frame::JoinAccept(seal_join_accept(AcceptKey::join(&key), &accept)).build();
        let exchange = [
            later(1, &request(7)),
            sent(2, Some(10_200_000), Some(GATEWAY), When::Counter(15_000_000), &accept),
        ];
        names(&verdict(&claims("EU868", "", "mac-version = '1.0.3'"), &exchange))
    };
    for settings in [0x00, 0x50, 0x05] {
        assert_eq!(told(settings), [""; 0], "{settings:02X}");
    }
    for settings in [0x60, 0x0F] {
        assert_eq!(told(settings), ["rx-parameters-out-of-range"], "{settings:02X}");
    }
}

#[test]
fn two_steps_of_a_counter_are_sure_and_one_is_likely() {
    // What the server sends is captured: it dropped the requests.
    let told = |nonces: &[u16]| {
        let mut all = vec![pull(1, 1_000_000), acknowledged(2, 1_100_000, Leg::Pull)];
        all.extend((3..).zip(nonces).map(|(line, nonce)| later(line, &request(*nonce))));
        let record = "mac-version = '1.0.4'\nlast-dev-nonce = 1000";
        causes(&verdict(&claims("EU868", "", record), &all))[0]
    };
    assert_eq!(told(&[100, 101]), (NOT_KEPT, Certainty::Likely));
    assert_eq!(told(&[100, 101, 102]), (NOT_KEPT, Certainty::Certain));
}
