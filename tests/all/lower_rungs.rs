//! The lower rungs of the join ladder in worlds made by hand: where one sign alone would mislead.

use handfast::{
    frame::{Frame, JoinRequest},
    id::DevNonce,
    intake::{Event, What, When},
    key::AppKey,
    ladder::{Certainty, Diagnosis, Options, Outcome, State, Verdict, diagnose, join::Rung},
    radio::Modulation,
    roster::{self, Roster},
};

use crate::common::*;

/// A roster of one node: what its record has beside the EUIs and a key, and what follows.
fn listed(key: &[u8; 16], record: &str, rest: &str) -> Roster {
    let text = format!(
        "[[node]]\nname = 'probe-01'\n[node.record]\ndev-eui = '{}'\njoin-eui = '{}'\napp-key = '{}'\n\
         {record}\n{rest}",
        dev_eui().hex(),
        join_eui().hex(),
        hex::encode(key)
    );
    roster::parse(&text, None).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

fn told(roster: &Roster, events: &[Event]) -> Diagnosis {
    diagnose(&trace(roster, events), roster, Options::default()).remove(0)
}

fn ids(diagnosis: &Diagnosis) -> Vec<&'static str> {
    diagnosis.causes.iter().map(|v| v.cause.id.name()).collect()
}

fn verdict<'d>(diagnosis: &'d Diagnosis, id: &str) -> &'d Verdict {
    let found = diagnosis.causes.iter().find(|v| v.cause.id.name() == id);
    found.unwrap_or_else(|| panic!("{id} is not told: {:?}", ids(diagnosis)))
}

/// A request under another key than the one on record.
fn signed(key: [u8; 16], nonce: u16) -> Vec<u8> {
    let mut request = JoinRequest::new(join_eui(), dev_eui(), DevNonce(nonce));
    request.mic = handfast::crypto::mic::join_request(&AppKey::from(key), &request);
    Frame::JoinRequest(request).build()
}

const EU868_1_0_3: &str = "region = 'EU868'\nmac-version = '1.0.3'";

fn gateways(listens: &[(handfast::id::Eui64, &str)]) -> String {
    let one = |(eui, members): &(handfast::id::Eui64, &str)| {
        format!("[[gateway]]\neui = '{}'\n{members}\n", eui.hex())
    };
    listens.iter().map(one).collect()
}

// --- one channel --------------------------------------------------------------------------

/// A session of which every third frame comes, on one channel; the last one through a second gateway.
fn every_third(second: Option<handfast::id::Eui64>) -> Vec<Event> {
    let key = session(0x0201_0001, 7);
    let mut all = vec![
        heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
        sent(2, Some(200_000), Some(GATEWAY), When::Counter(5_000_000), &accept(0x0201_0001)),
        // A stranger: the second gateway works.
        heard(3, Some(3_000_000), Some(OTHER), Some(9), &[0x40, 1, 2, 3, 4, 0, 0, 0, 5, 6, 7, 8]),
    ];
    all.extend((0..6).map(|n| later(4 + u64::from(n), &data(&key, 0x0201_0001, 3 * n))));
    let last = data(&key, 0x0201_0001, 18);
    all.extend(second.map(|gateway| heard(12, Some(120_000_000), Some(gateway), Some(0), &last)));
    all
}

#[test]
fn a_gateway_of_one_channel_is_told_beside_full_ones_that_hear_nothing_of_the_node() {
    let full = "listens = [868100000, 868300000, 868500000, 867100000]";
    let gateways = gateways(&[(GATEWAY, "listens = [868100000]"), (OTHER, full)]);
    let roster = listed(&ROOT, EU868_1_0_3, &gateways);
    assert_eq!(ids(&told(&roster, &every_third(None))), ["one-channel-gateway"]);
    // A full gateway that hears it makes up for it.
    assert_eq!(ids(&told(&roster, &every_third(Some(OTHER)))), [""; 0]);
}

// --- short requests -----------------------------------------------------------------------

#[test]
fn a_request_that_lacks_a_byte_of_its_dev_eui_is_its_nodes() {
    let roster = listed(&ROOT, EU868_1_0_3, "");
    let mut short = request(7);
    // DevEUI begins at byte 9, its last printed byte first.
    short.remove(10);
    let diagnosis = told(&roster, &[heard(1, Some(0), Some(GATEWAY), Some(0), &short)]);
    let found = verdict(&diagnosis, "join-request-has-the-wrong-length");
    assert!(found.summary.to_string().contains("byte 7 of the DevEUI is missing"), "{found:?}");
    assert_eq!(found.certainty, Certainty::Certain, "the MIC is of the complete frame");
    assert_eq!(diagnosis.join_rung(Rung::Heard).unwrap().state, State::Broken);
    // Without a MIC that holds the likeness is all there is.
    *short.last_mut().unwrap() ^= 1;
    let diagnosis = told(&roster, &[heard(1, Some(0), Some(GATEWAY), Some(0), &short)]);
    assert_eq!(
        verdict(&diagnosis, "join-request-has-the-wrong-length").certainty,
        Certainty::Likely
    );
    // Two bytes less, or another JoinEUI: it is nobody's.
    let mut shorter = request(7);
    shorter.drain(10..12);
    let mut other = request(7);
    other.remove(10);
    other[2] ^= 1;
    for octets in [shorter, other] {
        let diagnosis = told(&roster, &[heard(1, Some(0), Some(GATEWAY), Some(0), &octets)]);
        assert_eq!(ids(&diagnosis), [""; 0], "{}", hex::encode(octets));
    }
}

// --- keys -----------------------------------------------------------------------------------

#[test]
fn a_key_changed_throughout_is_told_as_what_it_is() {
    let roster = listed(&ROOT, EU868_1_0_3, "");
    let told_of = |key: [u8; 16]| {
        let frames = [1, 2].map(|nonce| later(u64::from(nonce), &signed(key, nonce)));
        let diagnosis = told(&roster, &frames);
        let lead = &diagnosis.causes[0];
        assert_eq!(lead.certainty, Certainty::Certain);
        (lead.cause.id.name(), lead.summary.to_string())
    };
    let (id, words) = told_of(ROOT.map(|byte| !byte));
    assert_eq!(id, "root-key-transformed");
    assert!(words.ends_with("with every bit inverted"), "{words}");
    let mut rotated = ROOT;
    rotated.rotate_left(3);
    let (id, words) = told_of(rotated);
    assert_eq!(id, "root-key-transformed");
    assert!(words.ends_with("with its digits rotated to the left by 6"), "{words}");
    let (id, _) = told_of(ROOT.map(u8::reverse_bits));
    assert_eq!(id, "root-key-transformed");
    let mut reversed = ROOT;
    reversed.reverse();
    assert_eq!(told_of(reversed).0, "app-key-bytes-reversed");
}

#[test]
fn a_placeholder_on_record_is_no_key() {
    for filler in [0, 0xFF] {
        let roster = listed(&[filler; 16], EU868_1_0_3, "");
        let requests = [1, 2].map(|nonce| later(u64::from(nonce), &request(nonce)));
        let diagnosis = told(&roster, &requests);
        assert_eq!(ids(&diagnosis), ["root-key-on-record-is-a-placeholder"], "{filler:02x}");
        assert_eq!(diagnosis.causes[0].certainty, Certainty::Certain);
    }
    // Any other byte may be a key, if a bad one.
    let roster = listed(&[0x5A; 16], EU868_1_0_3, "");
    let requests = [1, 2].map(|nonce| later(u64::from(nonce), &request(nonce)));
    assert_eq!(ids(&told(&roster, &requests)), ["root-key-unrelated"]);
}

#[test]
fn a_node_that_joins_with_a_published_key_is_warned_of_and_nothing_is_broken() {
    let key: [u8; 16] = std::array::from_fn(|n| u8::try_from(n).unwrap());
    let roster = listed(&key, EU868_1_0_3, "");
    let diagnosis = told(&roster, &[later(1, &signed(key, 7))]);
    let found = verdict(&diagnosis, "firmware-still-uses-a-sample-key");
    assert!(found.caution && found.certainty == Certainty::Certain);
    assert_eq!(diagnosis.first_broken(), None);
    assert!(diagnosis.has_fault());
    // A key of its own, one digit apart.
    let mut own = key;
    own[15] ^= 1;
    let roster = listed(&own, EU868_1_0_3, "");
    assert_eq!(ids(&told(&roster, &[later(1, &signed(own, 7))])), [""; 0]);
}

// --- nonces -----------------------------------------------------------------------------------

const COUNTING: &str = "region = 'EU868'\nmac-version = '1.0.4'";

#[test]
fn a_nonce_is_judged_under_the_key_that_was_found() {
    let mut typed = ROOT;
    typed[4] ^= 0x30;
    let roster = listed(&typed, &format!("{COUNTING}\nlast-dev-nonce = 100"), "");
    let of = |nonces: [u16; 3]| {
        let frames = nonces.map(|nonce| later(u64::from(nonce), &request(nonce)));
        told(&roster, &frames)
    };
    let diagnosis = of([1, 2, 3]);
    assert_eq!(ids(&diagnosis), ["app-key-typed-wrong", "dev-nonce-not-kept-across-power-loss"]);
    let fresh = diagnosis.join_rung(Rung::Fresh).unwrap();
    assert_eq!(fresh.state, State::Broken);
    // Nothing of it says that the key on record is right.
    let words = verdict(&diagnosis, "dev-nonce-not-kept-across-power-loss").evidence[0].to_string();
    assert!(words.contains("under the key that was found"), "{words}");
    assert_eq!(ids(&of([101, 102, 103])), ["app-key-typed-wrong"]);
}

#[test]
fn a_list_of_used_nonces_that_was_read_after_the_capture_proves_nothing() {
    let of = |used: &str, more: &[Event]| {
        let record = format!("{EU868_1_0_3}\nused-dev-nonces = {used}");
        let mut all = vec![
            heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
            later(2, &request(9)),
            sent(
                3,
                Some(20_200_000),
                Some(GATEWAY),
                When::Counter(25_000_000),
                &accept(0x0201_0001),
            ),
        ];
        all.extend_from_slice(more);
        told(&listed(&ROOT, &record, ""), &all)
    };
    // The answered request's nonce is on it.
    assert_eq!(ids(&of("[3, 7, 9]", &[])), [""; 0]);
    // It is not: what is on it was used before.
    assert_eq!(ids(&of("[3, 7]", &[])), ["dev-nonce-repeated-after-reset"]);
    // What the capture itself shows to be repeated stays so.
    assert_eq!(ids(&of("[3, 7, 9]", &[later(9, &request(9))])), ["dev-nonce-repeated-after-reset"]);
}

#[test]
fn a_last_nonce_that_is_a_later_requests_proves_nothing() {
    let of = |last: u16| {
        let record = format!("{COUNTING}\nlast-dev-nonce = {last}");
        let all = [
            heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
            later(2, &request(9)),
            sent(
                3,
                Some(20_200_000),
                Some(GATEWAY),
                When::Counter(25_000_000),
                &accept(0x0201_0001),
            ),
            later(4, &request(10)),
        ];
        ids(&told(&listed(&ROOT, &record, ""), &all))
    };
    let nonce = |ids: &[&str]| ids.contains(&"dev-nonce-not-kept-across-power-loss");
    assert!(!nonce(&of(9)), "it was read after the second request");
    assert!(nonce(&of(8)), "it was read before, and 7 is not above it");
    assert!(!nonce(&of(6)));
}

// --- regions ----------------------------------------------------------------------------------

/// A data rate that AS923 and AU915 have for joins.
const SF10: Modulation = Modulation::Lora { sf: 10, bw_khz: 125 };

/// Requests on these frequencies, in MHz.
fn asked(mhz: &[f64]) -> Vec<Event> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "frequencies")]
    let at = |line: u64, mhz: f64| {
        let mut event = later(line, &request(u16::try_from(line).unwrap()));
        let What::Heard(heard) = &mut event.what else { unreachable!() };
        heard.modulation = Some(SF10);
        heard.freq_hz = Some((mhz * 1e6).round() as u32);
        event
    };
    (1..).zip(mhz).map(|(line, mhz)| at(line, *mhz)).collect()
}

const REGION: &str = "node-transmits-in-another-region";

#[test]
fn the_side_that_stands_alone_is_named() {
    let of = |record: &str, rest: &str| {
        let roster = listed(&ROOT, &format!("{record}\nmac-version = '1.0.3'"), rest);
        let diagnosis = told(&roster, &asked(&[923.2, 923.4]));
        let found = verdict(&diagnosis, REGION);
        (found.summary.to_string(), found.remedy.to_string())
    };
    let eu868 = "region = 'EU868'";
    let (summary, remedy) = of(eu868, &gateways(&[(GATEWAY, "region = 'EU868'")]));
    assert!(summary.ends_with("the node is the odd one out"), "{summary}");
    assert!(remedy.starts_with("set the node to EU868"), "{remedy}");
    let firmware = "[node.firmware]\nregion = 'AS923-1'\n";
    let gateway = gateways(&[(GATEWAY, "region = 'AS923-1'")]);
    let (summary, remedy) = of(eu868, &format!("{firmware}{gateway}"));
    assert!(summary.ends_with("the record is the odd one out"), "{summary}");
    assert!(remedy.starts_with("set the record to AS923"), "{remedy}");
    // With two sides nobody stands alone.
    let (summary, remedy) = of(eu868, "");
    assert!(!summary.contains("odd one"), "{summary}");
    assert!(remedy.starts_with("set the same region"), "{remedy}");
    // What the gateway does not have is not said of it.
    assert!(!summary.contains("gateway"), "{summary}");
}

#[test]
fn another_group_comes_before_another_region() {
    let of = |region: &str, mhz: &[f64]| {
        let roster = listed(&ROOT, &format!("region = '{region}'\nmac-version = '1.0.3'"), "");
        verdict(&told(&roster, &asked(mhz)), REGION).summary.to_string()
    };
    // Channels of AU915, too.
    let summary = of("AS923-1", &[916.6, 916.8]);
    assert!(summary.contains("join channels of AS923-3, not of"), "{summary}");
    let summary = of("EU868", &[916.6, 916.8]);
    assert!(summary.contains("AU915") && summary.contains("AS923-3"), "{summary}");
}

#[test]
fn a_server_that_answers_by_the_nodes_region_shows_that_the_roster_is_wrong() {
    let roster = listed(&ROOT, "region = 'EU868'\nmac-version = '1.0.3'", "");
    let mut all = asked(&[923.2]);
    let mut answer =
        sent(3, Some(10_200_000), Some(GATEWAY), When::Counter(15_000_000), &accept(0x0201_0001));
    let What::Ordered(down) = &mut answer.what else { unreachable!() };
    (down.freq_hz, down.modulation) = (Some(923_200_000), Some(SF10));
    all.push(answer);
    let diagnosis = told(&roster, &all);
    assert_eq!(ids(&diagnosis), [""; 0]);
    assert_ne!(diagnosis.outcome, Outcome::NeverJoined);
    let on_plan = diagnosis.join_rung(Rung::OnPlan).unwrap();
    assert_eq!(on_plan.state, State::Proven);
    assert!(on_plan.evidence[1].to_string().starts_with("the region stated is EU868"));
    assert_eq!(diagnosis.join_rung(Rung::Timely).unwrap().state, State::Proven);
}
