//! Nonces: one that is the last is not above it.

use handfast::{
    intake::{Event, When},
    ladder::{Certainty, State, join::Rung},
};

use super::{causes, claims, names, state, verdict};
use crate::common::{GATEWAY, accept, later, request, sent};

fn asked(nonces: &[u16]) -> Vec<Event> {
    (1..).zip(nonces).map(|(line, nonce)| later(line, &request(*nonce))).collect()
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
        let told = verdict(&claims("EU868", "", &record), &asked(nonces));
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
