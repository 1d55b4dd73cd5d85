//! The explorer of near-miss keys, on Join-Requests signed with keys that a mistake made.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use handfast::{
    crypto::mic,
    explore::near_miss::{
        Certainty, Clues, Digit, Effort, Known, KnownKind, Mistake, MistakeClass, Report, Target,
        odds, search,
    },
    frame::{Frame, JoinRequest, decode},
    id::DevNonce,
    key::{Aes128Key, AppKey},
};
use proptest::prelude::*;

/// No palindrome, few doubles, look-alikes in it.
const CLAIMED: &str = "D2306C9B9A5F88016208103F7E8A07A6";
const DEV_EUI: &str = "020000FFFEE466AE";
const JOIN_EUI: &str = "020000FFFE0B2F67";

fn key(text: &str) -> Aes128Key {
    text.parse().unwrap()
}

/// Join-Requests with these DevNonces, signed with that key.
fn requests(used: &Aes128Key, nonces: &[u16]) -> Vec<Target> {
    let app_key = AppKey::from(used.clone());
    let request = |&nonce| {
        let mut request =
            JoinRequest::new(JOIN_EUI.parse().unwrap(), DEV_EUI.parse().unwrap(), DevNonce(nonce));
        request.mic = mic::join_request(&app_key, &request);
        Target::from(&request)
    };
    nonces.iter().map(request).collect()
}

fn known<'a>(label: &str, key: &'a Aes128Key, kind: KnownKind) -> Known<'a> {
    Known { label: label.into(), key, kind }
}

fn clues(known: Vec<Known<'_>>) -> Clues<'_> {
    Clues {
        known,
        dev_eui: Some(DEV_EUI.parse().unwrap()),
        join_eui: Some(JOIN_EUI.parse().unwrap()),
    }
}

/// Two Join-Requests of a node whose label has a 3 where its record has an 8.
const HEARD: [&str; 2] = [
    "00672f0bfeff000002ae66e4feff00000233c6cbf62ad7",
    "00672f0bfeff000002ae66e4feff000002977e306ef6f5",
];

#[test]
fn a_digit_typed_wrong_is_found_in_frames_that_were_heard() {
    let record = key(CLAIMED);
    let clues = clues(vec![known("the record's AppKey", &record, KnownKind::Claimed)]);
    let targets = HEARD.map(|frame| {
        let octets: Vec<u8> =
            (0..23).map(|i| u8::from_str_radix(&frame[2 * i..2 * i + 2], 16).unwrap()).collect();
        let Some(Frame::JoinRequest(request)) = decode(&octets).frame else { panic!("{frame}") };
        Target::from(&request)
    });
    let report = search(&clues, &targets, &Effort::default());
    assert_eq!(report.hits.len(), 1);
    assert_eq!(
        report.hits[0].sentence(&clues),
        "digit 14: the record's AppKey has 8 where the frames agree with 3"
    );
    assert_eq!((report.hits[0].frames, report.hits[0].certainty), (2, Certainty::Certain));
}

/// Searches around [`CLAIMED`] for the key that signed frames with these DevNonces.
fn look(used: &str, nonces: &[u16], max_digits: u8) -> (Report, Vec<String>) {
    let claimed = key(CLAIMED);
    let clues = clues(vec![known("the record's AppKey", &claimed, KnownKind::Claimed)]);
    let used = key(used);
    let effort = Effort { max_digits, ..Effort::default() };
    let report = search(&clues, &requests(&used, nonces), &effort);
    for hit in &report.hits {
        assert!(hit.key.same_as(&used));
        assert_eq!(hit.frames, nonces.len());
    }
    let sentences = report.hits.iter().map(|hit| hit.sentence(&clues)).collect();
    (report, sentences)
}

const fn ascii(text: &[u8; 16]) -> u128 {
    u128::from_be_bytes(*text)
}

#[test]
fn every_mistake_is_found_and_named() {
    let text_first = format!("{:032X}", ascii(b"D2306C9B9A5F8801"));
    let text_last = format!("{:032X}", ascii(b"6208103f7e8a07a6"));
    let text_ended = format!("{:032X}", ascii(b"d2306c9b9a5f880\0"));
    let text_prefixed = format!("{:032X}", ascii(b"0xD2306C9B9A5F88"));
    let text_dashes = format!("{:032X}", ascii(b"d2-30-6c-9b-9a-5"));
    let text_eui = format!("{:032X}", ascii(b"020000fffee466ae"));
    let cases: &[(&str, &str, &str)] = &[
        ("A6078A7E3F1008620188 5F9A9B6C30D2", "bytes-reversed", "with its bytes reversed"),
        ("6208103F7E8A07A6D2306C9B9A5F8801", "halves-exchanged", "its two halves swapped"),
        ("7E8A07A66208103F9A5F8801D2306C9B", "32-bit-words-reversed", "in reverse order"),
        ("9B6C30D201885F9A3F100862A6078A7E", "octets-of-32-bit-words-reversed", "32-bit word"),
        ("01885F9A9B6C30D2A6078A7E3F100862", "octets-of-64-bit-words-reversed", "64-bit word"),
        ("07A67E8A103F620888019A5F6C9BD230", "16-bit-words-reversed", "16-bit words"),
        ("30D29B6C5F9A018808623F108A7EA607", "octets-of-16-bit-words-exchanged", "16-bit"),
        ("2D03C6B9A9F588102680 01F3E7A8706A", "nibbles-exchanged", "digits of every byte"),
        ("6A70A8E7F301802610 88F5A9B9C6032D", "digits-reversed", "digits read from the end"),
        ("2306C9B9A5F88016208103F7E8A07A6D", "rotated", "to the left by 1"),
        (&text_first, "text-as-bytes", "the first 16 characters of the text"),
        (
            &text_last,
            "text-as-bytes",
            "the last 16 characters of the text of the record's AppKey (lower",
        ),
        (&text_ended, "text-as-bytes", "and a zero"),
        (&text_prefixed, "text-as-bytes", "0x and the first 14"),
        (&text_dashes, "text-as-bytes", "'-' between bytes"),
        ("020000FFFEE466AE020000FFFEE466AE", "made-of-an-eui", "the DevEUI, twice, as printed"),
        ("AE66E4FEFF000002672F0BFEFF000002", "made-of-an-eui", "then the JoinEUI, as sent"),
        ("020000FFFE0B2F670000000000000000", "made-of-an-eui", "the JoinEUI, then zeros"),
        ("0000000000000000020000FFFE0B2F67", "made-of-an-eui", "zeros, then the JoinEUI"),
        (&text_eui, "made-of-an-eui", "the text of the DevEUI (lower-case letters)"),
        ("2B7E151628AED2A6ABF7158809CF4F3C", "sample-key", "RFC 4493"),
        ("00000000000000000000000000000000", "sample-key", "all zeros"),
        ("01010101010101010101010101010101", "sample-key", "the byte 01 sixteen times"),
        (
            "D2306C9B9A5F83016208103F7E8A07A6",
            "one-digit",
            "digit 14: the record's AppKey has 8 where the frames agree with 3",
        ),
        ("D2306CB99A5F88016208103F7E8A07A6", "neighbours-exchanged", "digits 7 and 8"),
        ("A6078A7E3F10086201885F9A9B6C30D7", "one-digit-and-bytes-reversed", "digit 2: 2, and 7"),
        ("D2306C9BAA5F88016208103F7E8A0796", "digits-exchanged", "digits 9 and 31 swapped"),
        ("D2306C9B9A5F88017E08103F628A07A6", "octets-exchanged", "bytes 9 and 13 swapped"),
        ("02306C9B9A5F8801620810 3F7E8AD7A6", "digits-exchanged", "digits 1 and 29"),
        ("D2406C9B9A5F88016208104F7E8A07A6", "substituted", "with 4 for every 3"),
        (
            "D2306C9B9AF88016208103F7E8A07A6E",
            "digit-dropped",
            "without its digit 11, and E as last",
        ),
        (
            "4D2306C9B9A5F8801620810F7E8A07A6",
            "digit-dropped",
            "without its digit 23, and 4 as first",
        ),
        ("D2306C9B9A5F88801620 8103F7E8A07A", "digit-doubled", "with digit 13 twice and its last"),
        ("2306C9B9A5F88016208103F7E88A07A6", "digit-doubled", "and its first digit pushed out"),
        ("D2306C9B9A5F5880162081 03F7E8A07A", "digit-inserted", "with 5 put in as digit 13"),
        ("D2306C9B9A5F88C56208103F7E8A07A6", "one-octet", "byte 8: the record's AppKey has 01"),
        ("D2306C9B9A5F8801 08103F7E8A07A600", "octet-dropped", "byte 9, and 00 as last byte"),
        ("D2306C9B9A5FA788016208103F7E8A07", "octet-inserted", "with A7 put in as byte 7"),
        ("D2306C9B9A5F8801626208103F7E8A07", "octet-doubled", "with byte 9 twice"),
        ("D23D6C989A5F88D16208103F7E8A07A6", "look-alikes", "(digits that look alike)"),
        // five look-alikes of two pairs are no mistake any more
        ("D2306C9B9A5F8BD1620B1D3F7E8AD7A6", "", ""),
        (
            "D2306F9B9A5F88016208103F7E2A07A6",
            "two-digits",
            "digit 6: the record's AppKey has C where the frames agree with F; digit 27: 8, and 2",
        ),
    ];
    for (used, name, sentence) in cases {
        let (report, sentences) = look(used, &[50739, 32407], 2);
        let names: Vec<_> = report.hits.iter().map(|hit| hit.mistake.name()).collect();
        let wanted: &[&str] = if name.is_empty() { &[] } else { &[name] };
        assert_eq!(names, wanted, "{used}: {sentences:?}");
        assert!(sentences.iter().all(|s| s.contains(sentence)), "{sentences:?}: {sentence}");
        assert!(report.hits.iter().all(|hit| hit.certainty == Certainty::Certain));
    }
}

#[test]
fn several_look_alikes_of_one_pair_are_found() {
    // every 8 of the record that was a B on the label, but one
    let (report, sentences) = look("D2306C9B9A5FBB01620B103F7E8A07A6", &[1], 2);
    assert_eq!(report.hits[0].mistake.name(), "look-alikes");
    assert!(sentences[0].starts_with(
        "digit 13: the record's AppKey has 8 where the frames agree with B; digit 14: 8, and B"
    ));
    // four at once
    let (report, _) =
        look("D2306C8B9A5FBB01620B103F7E8A07A6".replace("C8B", "C98").as_str(), &[1], 2);
    assert_eq!(report.hits[0].mistake.digits(), vec![8, 13, 14, 20]);
}

#[test]
fn three_wrong_digits_are_found_only_when_asked_for() {
    let used = "D2506C9B9A5F88016208F03F7E8A07AA";
    let (report, _) = look(used, &[50739], 2);
    assert!(report.hits.is_empty() && !report.interrupted);
    assert!(report.covered.iter().all(|c| c.class != MistakeClass::ThreeDigits));

    let (report, sentences) = look(used, &[50739], 3);
    assert_eq!(
        sentences,
        ["digit 3: the record's AppKey has 3 where the frames agree with 5; \
          digit 21: 1, and F; digit 32: 6, and A"]
    );
    // one frame among seventeen million candidates proves nothing yet
    assert_eq!(report.hits[0].certainty, Certainty::Possible);
    assert!((3e-3..5e-3).contains(&report.hits[0].odds));
}

#[test]
fn the_odds_follow_from_candidates_and_frames() {
    assert!((odds(480, 1) - 1.117_587e-7).abs() < 1e-12);
    assert!((odds(16_740_000, 1) - 3.897_6e-3).abs() < 1e-6);
    assert!(odds(16_740_000, 2) < 1e-12);
    assert_eq!(Certainty::of_probability(odds(480, 1)), Certainty::Certain);
    assert_eq!(Certainty::of_probability(odds(111_600, 1)), Certainty::Likely);
    assert_eq!(Certainty::of_probability(odds(16_740_000, 1)), Certainty::Possible);
    // a million frames leave no chance at all, and no overflow
    assert!(odds(u64::MAX, usize::MAX) < f64::MIN_POSITIVE);
}

#[test]
fn one_digit_is_certain_with_one_frame_and_two_digits_with_two() {
    let (report, _) = look("D2306C9B9A5F83016208103F7E8A07A6", &[50739], 2);
    assert_eq!(report.hits[0].certainty, Certainty::Certain);
    let two = "D2306F9B9A5F88016208103F7E2A07A6";
    assert_eq!(look(two, &[1], 2).0.hits[0].certainty, Certainty::Likely);
    assert_eq!(look(two, &[1, 2], 2).0.hits[0].certainty, Certainty::Certain);
    // the same frame heard twice is one witness
    assert_eq!(look_copies(two), (1, Certainty::Likely));
}

fn look_copies(used: &str) -> (usize, Certainty) {
    let claimed = key(CLAIMED);
    let clues = clues(vec![known("the record's AppKey", &claimed, KnownKind::Claimed)]);
    let report = search(&clues, &requests(&key(used), &[1, 1, 1]), &Effort::default());
    (report.hits[0].frames, report.hits[0].certainty)
}

#[test]
fn a_key_must_explain_every_frame() {
    let claimed = key(CLAIMED);
    let clues = clues(vec![known("the record's AppKey", &claimed, KnownKind::Claimed)]);
    let mut targets = requests(&key("D2306C9B9A5F83016208103F7E8A07A6"), &[1]);
    targets.extend(requests(&key("D2306C9B9A5F85016208103F7E8A07A6"), &[2]));
    assert!(search(&clues, &targets, &Effort::default()).hits.is_empty());
    assert!(search(&clues, &[], &Effort::default()).covered.is_empty());
}

#[test]
fn another_known_key_is_nearer_than_any_slip() {
    let [claimed, session, other] =
        [CLAIMED, "11223344AABBCCDD0099887766554433", "0F1E2D3C4B5A69788796A5B4C3D2E1F1"].map(key);
    let clues = clues(vec![
        known("probe-03: the record's AppKey", &other, KnownKind::OtherNode),
        known("the record's AppKey", &claimed, KnownKind::Claimed),
        known("the record's NwkSKey", &session, KnownKind::Session),
    ]);
    for (used, sentence) in [
        (&session, "the frames agree with the record's NwkSKey as it is"),
        (&other, "the frames agree with probe-03: the record's AppKey as it is"),
    ] {
        let report = search(&clues, &requests(used, &[9]), &Effort::default());
        assert_eq!(report.hits.len(), 1);
        assert_eq!(report.hits[0].sentence(&clues), sentence);
        assert_eq!(report.tried(), 3);
    }
    // around another node's key nobody types wrong into this one
    let typed = key("0F1E2D3C4B5A69788796A5B4C3D2E1F0");
    assert!(search(&clues, &requests(&typed, &[9]), &Effort::default()).hits.is_empty());
}

#[test]
fn a_claim_that_is_text_leads_to_what_it_spells() {
    let claimed = Aes128Key::new(*b"D2306C9B9A5F8801");
    let clues = clues(vec![known("the record's AppKey", &claimed, KnownKind::Claimed)]);
    let used = key("D2306C9B9A5F8801D2306C9B9A5F8801");
    let report = search(&clues, &requests(&used, &[9]), &Effort::default());
    assert_eq!(
        report.hits[0].sentence(&clues),
        "the frames agree with the bytes that the characters of the record's AppKey spell, twice"
    );
}

#[test]
fn a_key_never_prints_in_a_report() {
    let (report, _) = look("D23D6C989A5F88D16208103F7E8A07A6", &[50739], 2);
    let shown = format!("{report:?}").to_uppercase();
    assert!(shown.contains("AES128KEY(..)"), "{shown}");
    for secret in [CLAIMED, "D23D6C989A5F88D16208103F7E8A07A6"] {
        let octets: [u8; 16] =
            std::array::from_fn(|i| u8::from_str_radix(&secret[2 * i..2 * i + 2], 16).unwrap());
        assert!(!shown.contains(&secret[..8]) && !shown.contains(&secret[24..]));
        assert!(!shown.contains(&u128::from_be_bytes(octets).to_string()));
        assert!(!shown.contains(&format!("{octets:?}")[1..20]));
    }
}

#[test]
fn a_search_that_is_stopped_says_what_it_had_covered() {
    let claimed = key(CLAIMED);
    let clues = clues(vec![known("the record's AppKey", &claimed, KnownKind::Claimed)]);
    let targets = requests(&key("00112233445566778899AABBCCDDEEFE"), &[1]);

    let stop = AtomicBool::new(true);
    let report = search(&clues, &targets, &Effort { max_digits: 3, stop: &stop, progress: None });
    assert!(report.interrupted);
    assert_eq!(report.tried(), 0);

    // stopped while three digits are tried: all before is whole, and it ends at once
    let stop = AtomicBool::new(false);
    let most = AtomicU64::new(0);
    let progress = |done: u64, total: u64| {
        assert!(done <= total);
        most.fetch_max(done, Ordering::Relaxed);
        if done > 400_000 {
            stop.store(true, Ordering::Relaxed);
        }
    };
    let effort = Effort { max_digits: 3, stop: &stop, progress: Some(&progress) };
    let report = search(&clues, &targets, &effort);
    assert!(report.interrupted && report.hits.is_empty());
    let (last, whole) = report.covered.split_last().unwrap();
    assert!(whole.iter().all(|covered| covered.tried == covered.total));
    assert_eq!(last.class, MistakeClass::ThreeDigits);
    assert_eq!(last.total, 16_740_000);
    assert!(last.tried < last.total / 4);
    assert_eq!(report.tried(), most.load(Ordering::Relaxed));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn nothing_is_found_around_an_unrelated_key(
        claimed in any::<[u8; 16]>(),
        used in any::<[u8; 16]>(),
        nonces in prop::collection::hash_set(any::<u16>(), 2..4),
    ) {
        let [claimed, used] = [claimed, used].map(Aes128Key::new);
        let clues = clues(vec![known("the record's AppKey", &claimed, KnownKind::Claimed)]);
        let nonces: Vec<u16> = nonces.into_iter().collect();
        let report = search(&clues, &requests(&used, &nonces), &Effort::default());
        prop_assert!(report.hits.is_empty());
        prop_assert!(!report.interrupted);
    }

    #[test]
    fn whichever_digit_is_wrong_is_the_one_that_is_named(
        claimed in any::<[u8; 16]>(),
        at in 1u8..=32,
        flip in 1u8..16,
    ) {
        let low = at % 2 == 0;
        let place = usize::from((at - 1) / 2);
        let mut used = claimed;
        used[place] ^= if low { flip } else { flip << 4 };
        let digit = |octets: &[u8; 16]| if low { octets[place] & 15 } else { octets[place] >> 4 };
        let wanted = Digit { at, claimed: digit(&claimed), used: digit(&used) };

        let [claimed, used] = [claimed, used].map(Aes128Key::new);
        let clues = clues(vec![known("the record's AppKey", &claimed, KnownKind::Claimed)]);
        let report = search(&clues, &requests(&used, &[1, 2]), &Effort::default());
        prop_assert_eq!(report.hits.len(), 1);
        prop_assert_eq!(&report.hits[0].mistake, &Mistake::OneDigit(wanted));
    }
}
