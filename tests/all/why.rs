//! Why a MIC fails under a key that was given: what the explorers say of one frame.

use handfast::{
    explore::near_miss::Certainty,
    frame::decode,
    id::DevNonce,
    key::Aes128Key,
    ladder::CauseId,
    reading::{Context, CounterHint, KeyRing, KeyRole, Source, Why, read, why},
};

/// The key in use everywhere here; each frame below was signed with it by another program.
const USED: &str = "D2306C9B9A5F83016208103F7E8A07A3";
const ONE_DIGIT: &str = "D2306C9B9A5F88016208103F7E8A07A3";
const TWO_DIGITS: &str = "D2306C9B9A5F88016208103F7E8B07A3";
const REVERSED: &str = "A3078A7E3F10086201835F9A9B6C30D2";
const STRANGER: &str = "5C19E07F3B62D48A917E04C6B52D8F31";

const REQUEST: &str = "00672f0bfeff000002ae66e4feff00000233c6c8865ce9";
const REQUEST_OVER_TURNED_DEV_EUI: &str = "00672f0bfeff000002ae66e4feff00000233c6620cc451";
const ACCEPT: &str = "20cc6455ee307aa7350d655baf944636a9";
const ENCRYPTED_ACCEPT: &str = "20e93f2fdd3b67d7fc7bec00122301ff9c";
const UPLINK: &str = "40dabb0102800200022721029d8fc7082b";
const UPLINK_OF_COUNTER_32768002: &str = "40dabb0102800200022721029d1b24a5cd";
const REJOIN: &str = "c0000100003c2b1afeff00000201001a567149";

const UPLINK_1_1: &str = "40dabb0102800200022721029de467bd43";
const F_NWK_S_INT: &str = "D7CBEEC26F99D59820EBB411DD1E4EEC";
const S_NWK_S_INT: &str = "AC70BCE4F43A128378AEB3702AEED5DD";

fn ring(keys: &[(KeyRole, &str)]) -> KeyRing {
    let mut ring = KeyRing::default();
    for (role, key) in keys {
        ring.push(Source::default(), role.of(key.parse::<Aes128Key>().unwrap()));
    }
    ring
}

fn found_with(frame: &str, ring: &KeyRing, context: &Context) -> Option<Why> {
    let octets = hex::decode(frame).unwrap();
    let why = why(&read(decode(&octets), ring, context), ring, context);
    if let Some(why) = &why {
        assert!(why.odds > 0.0 && why.certainty >= Certainty::of_probability(why.odds), "{why:?}");
    }
    why
}

fn found(frame: &str, keys: &[(KeyRole, &str)]) -> Option<Why> {
    found_with(frame, &ring(keys), &Context::default())
}

fn assert_found(frame: &str, keys: &[(KeyRole, &str)], what: &str, cause: Option<&str>) -> Why {
    let why = found(frame, keys).unwrap_or_else(|| panic!("nothing found: {what}"));
    assert_eq!((why.what.as_str(), why.cause.map(CauseId::name)), (what, cause));
    why
}

#[test]
fn one_wrong_digit_of_a_root_key_is_named_with_both_its_values() {
    let why = assert_found(
        REQUEST,
        &[(KeyRole::App, ONE_DIGIT)],
        "digit 14: the AppKey given has 8 where the frame agrees with 3",
        Some("app-key-typed-wrong"),
    );
    assert_eq!(why.certainty, Certainty::Certain);
    assert!((1e-8..1e-6).contains(&why.odds) && (400..2_000).contains(&why.tried), "{why:?}");
    assert_found(
        REQUEST,
        &[(KeyRole::Nwk, ONE_DIGIT), (KeyRole::App, STRANGER)],
        "digit 14: the NwkKey given has 8 where the frame agrees with 3",
        Some("nwk-key-typed-wrong"),
    );
}

#[test]
fn two_wrong_digits_of_one_frame_are_no_more_than_likely() {
    let why = assert_found(
        REQUEST,
        &[(KeyRole::App, TWO_DIGITS)],
        "digit 14: the AppKey given has 8 where the frame agrees with 3; digit 28: B, and A",
        Some("app-key-typed-wrong"),
    );
    assert_eq!(why.certainty, Certainty::Likely);
    assert!(why.tried > 100_000, "{why:?}");
}

#[test]
fn a_key_turned_round_and_a_key_of_another_role_are_told() {
    assert_found(
        REQUEST,
        &[(KeyRole::App, REVERSED)],
        "the frame agrees with the AppKey given with its bytes reversed",
        Some("app-key-bytes-reversed"),
    );
    assert_found(
        REQUEST,
        &[(KeyRole::App, STRANGER), (KeyRole::NwkS, USED)],
        "the MIC holds under the NwkSKey given, which is not the key for such a frame",
        Some("session-key-entered-as-root-key"),
    );
}

#[test]
fn a_published_key_is_told_whatever_key_was_given() {
    // the worked example, signed under the key of FIPS 197
    let why = found(
        "0001000bfeff0000023c2b1afeff00000202012e269cf5",
        &[(KeyRole::App, "00112233445566778899AABBCCDDEE00")],
    )
    .unwrap();
    assert_eq!(why.cause.map(CauseId::name), Some("firmware-still-uses-a-sample-key"));
    assert!(why.what.starts_with("the frame agrees with a published value: "), "{why:?}");
}

#[test]
fn a_key_of_a_roster_is_called_by_its_claim_and_node() {
    let source = |name, dev_eui: &str| Source {
        dev_eui: Some(dev_eui.parse().unwrap()),
        ..Source::new(name, "record")
    };
    let add = |ring: &mut KeyRing, source, key: &str| {
        ring.push(source, KeyRole::App.of(key.parse::<Aes128Key>().unwrap()));
    };
    let mut ring = KeyRing::default();
    add(&mut ring, source("probe-07", "020000FFFEE466AE"), ONE_DIGIT);
    let why = found_with(REQUEST, &ring, &Context::default()).unwrap();
    let what = "digit 14: the record's AppKey of probe-07 has 8 where the frame agrees with 3";
    assert_eq!(why.what, what);

    let mut ring = KeyRing::default();
    add(&mut ring, source("probe-07", "020000FFFEE466AE"), STRANGER);
    add(&mut ring, source("probe-08", "020000FFFEE466AF"), REVERSED);
    let why = found_with(REQUEST, &ring, &Context::default()).unwrap();
    assert_eq!(why.cause.map(CauseId::name), Some("key-of-another-node"));
    // nobody mistypes the key of another node
    let mut ring = KeyRing::default();
    add(&mut ring, source("probe-07", "020000FFFEE466AE"), STRANGER);
    add(&mut ring, source("probe-08", "020000FFFEE466AF"), ONE_DIGIT);
    assert_eq!(found_with(REQUEST, &ring, &Context::default()), None);
}

#[test]
fn a_rule_misread_by_the_node_is_told() {
    assert_found(
        REQUEST_OVER_TURNED_DEV_EUI,
        &[(KeyRole::App, USED)],
        "the MIC holds under the AppKey given if the node signs DevEUI in one byte order and sends \
         it in the other",
        Some("join-request-signed-by-another-rule"),
    );
}

#[test]
fn a_join_accept_is_opened_under_keys_near_the_given_one() {
    assert_found(
        ACCEPT,
        &[(KeyRole::App, ONE_DIGIT)],
        "digit 14: the AppKey given has 8 where the frame agrees with 3",
        Some("app-key-typed-wrong"),
    );
    assert_found(
        ACCEPT,
        &[(KeyRole::App, REVERSED)],
        "the frame agrees with the AppKey given with its bytes reversed",
        Some("app-key-bytes-reversed"),
    );
    let why = found(ENCRYPTED_ACCEPT, &[(KeyRole::App, USED)]).unwrap();
    assert_eq!(why.cause.map(CauseId::name), Some("accept-made-by-another-rule"));
    assert!(why.what.contains("if the server encrypts the Join-Accept by AES encryption"));
}

#[test]
fn a_join_accept_of_1_1_is_searched_by_its_own_rule() {
    // the worked example, opened under a NwkKey with one wrong digit
    let context = Context {
        dev_nonce: Some(DevNonce(0x0102)),
        join_eui: Some("020000FFFE0B0001".parse().unwrap()),
        dev_eui: Some("020000FFFE1A2B3C".parse().unwrap()),
        ..Context::default()
    };
    let keys = ring(&[(KeyRole::Nwk, "00112233445566778899AABBCCDDEEF7")]);
    let why = found_with("2052af301bca7be931c662cdda61cb6739", &keys, &context).unwrap();
    // the key in use there is itself a published value, which stands nearer than a wrong digit
    assert!(why.what.starts_with("the frame agrees with a published value: "), "{why:?}");
    assert_eq!(why.cause.map(CauseId::name), Some("accept-for-another-key"));
    assert_eq!(found_with("2052af301bca7be931c662cdda61cb6739", &keys, &Context::default()), None);
}

#[test]
fn network_session_keys_are_searched_around_too() {
    assert_found(
        UPLINK,
        &[(KeyRole::NwkS, ONE_DIGIT)],
        "digit 14: the NwkSKey given has 8 where the frame agrees with 3",
        None,
    );
    assert_found(
        UPLINK,
        &[(KeyRole::NwkS, STRANGER), (KeyRole::AppS, USED)],
        "the MIC holds under the AppSKey given, which is not the key for such a frame",
        None,
    );
}

#[test]
fn the_counter_that_was_given_is_searched_with() {
    let keys = ring(&[(KeyRole::NwkS, ONE_DIGIT)]);
    let context = Context { fcnt: Some(CounterHint(32_768_002)), ..Context::default() };
    let why = found_with(UPLINK_OF_COUNTER_32768002, &keys, &context).unwrap();
    assert!(why.what.ends_with("agrees with 3, with counter 32768002"), "{why:?}");
    assert_eq!(found_with(UPLINK_OF_COUNTER_32768002, &keys, &Context::default()), None);
}

#[test]
fn of_a_1_1_uplink_the_half_that_holds_is_told() {
    let healthy = [(KeyRole::FNwkSInt, F_NWK_S_INT), (KeyRole::SNwkSInt, S_NWK_S_INT)];
    assert_eq!(found(UPLINK_1_1, &healthy), None);

    let serving_wrong = [(KeyRole::FNwkSInt, F_NWK_S_INT), (KeyRole::SNwkSInt, STRANGER)];
    let why = found(UPLINK_1_1, &serving_wrong).unwrap();
    assert!(
        why.what.starts_with(
            "bytes 3 and 4 of the MIC hold under the FNwkSIntKey given (counter 2), bytes 1 and 2 \
             do not under SNwkSIntKey"
        ),
        "{why:?}"
    );
    assert_eq!(why.certainty, Certainty::Likely);

    let exchanged = [(KeyRole::FNwkSInt, S_NWK_S_INT), (KeyRole::SNwkSInt, F_NWK_S_INT)];
    let why = found(UPLINK_1_1, &exchanged).unwrap();
    assert_eq!(
        why.what,
        "by the rule of 1.1, bytes 3 and 4 of the MIC hold under the SNwkSIntKey given (counter \
         2), bytes 1 and 2 under the FNwkSIntKey given (TxDr 5, TxCh 2)"
    );
    assert_eq!(why.certainty, Certainty::Likely);

    let forwarding_wrong = [(KeyRole::FNwkSInt, STRANGER), (KeyRole::SNwkSInt, S_NWK_S_INT)];
    // 1536 contexts on 16 bits say nothing
    assert_eq!(found(UPLINK_1_1, &forwarding_wrong), None);
    let context = Context { tx_dr: Some(5), tx_ch: Some(2), ..Context::default() };
    let why = found_with(UPLINK_1_1, &ring(&forwarding_wrong), &context).unwrap();
    assert!(why.what.contains("FNwkSIntKey is another"), "{why:?}");
}

#[test]
fn a_rejoin_request_is_held_against_the_other_keys_at_hand() {
    assert_found(
        REJOIN,
        &[(KeyRole::SNwkSInt, STRANGER), (KeyRole::NwkSEnc, USED)],
        "the MIC holds under the NwkSEncKey given, which is not the key for such a frame",
        None,
    );
    assert_eq!(found(REJOIN, &[(KeyRole::SNwkSInt, ONE_DIGIT)]), None);
}

#[test]
fn a_mic_that_holds_and_one_that_nothing_checks_have_no_why() {
    for (frame, role) in [(REQUEST, KeyRole::App), (ACCEPT, KeyRole::App), (UPLINK, KeyRole::NwkS)]
    {
        assert_eq!(found(frame, &[(role, USED)]), None);
        assert_eq!(found(frame, &[]), None);
    }
}

#[test]
fn keys_that_have_nothing_to_do_with_a_frame_explain_nothing() {
    for octet in 1u8..=8 {
        // far from each other, from the key in use and from what is published
        let key: Vec<u8> = (0..16u8)
            .map(|i| i.wrapping_mul(0x3D) ^ octet.wrapping_mul(0x9B) ^ i.rotate_left(3))
            .collect();
        let key = hex::encode(key);
        for (frame, role) in
            [(REQUEST, KeyRole::App), (ACCEPT, KeyRole::App), (UPLINK, KeyRole::NwkS)]
        {
            assert_eq!(found(frame, &[(role, &key)]), None);
        }
    }
}

mod command {
    use assert_cmd::Command;
    use serde_json::{Value, json};

    use super::*;

    fn read(args: &[&str], input: &str) -> (String, String, Option<i32>) {
        let output = Command::new(env!("CARGO_BIN_EXE_handfast"))
            .env_remove("CLICOLOR_FORCE")
            .arg("read")
            .args(args)
            .write_stdin(input)
            .output()
            .unwrap();
        let text = |octets| String::from_utf8(octets).unwrap();
        (text(output.stdout), text(output.stderr), output.status.code())
    }

    #[test]
    fn json_says_beside_expected_what_was_found() {
        let (text, _, status) = read(&[REQUEST, "--json", "--app-key", ONE_DIGIT], "");
        let frame: Value = serde_json::from_str(&text).unwrap();
        assert_eq!((&frame["mic"]["state"], status), (&json!("fails"), Some(1)));
        let found = &frame["mic"]["found"];
        assert_eq!(found["cause"], "app-key-typed-wrong");
        assert_eq!(found["certainty"], "certain");
        assert!(found["false_match_probability"].as_f64().unwrap() < 1e-6);
        assert!(found["tried"].as_u64().unwrap() > 400);
        let what = "digit 14: the AppKey given has 8 where the frame agrees with 3";
        assert_eq!(found["what"], what);
    }

    #[test]
    fn text_says_under_the_mic_what_was_found() {
        let (text, _, _) = read(&[REQUEST, "--app-key", ONE_DIGIT], "");
        let (_, under) = text.split_once("expected").unwrap();
        let lines: Vec<_> = under.lines().skip(1).collect();
        assert!(
            lines[0].starts_with("  ? digit 14: the AppKey given has 8 where the frame agrees"),
            "{text}"
        );
        let said = lines.concat();
        assert!(said.contains("false-match probability") && said.contains("candidates tried"));
        assert!(text.ends_with("    See: handfast explain app-key-typed-wrong\n"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    }

    #[test]
    fn of_a_key_only_the_digits_that_differ_are_printed() {
        for given in [ONE_DIGIT, TWO_DIGITS, REVERSED, STRANGER] {
            for json in [&[][..], &["--json"]] {
                let args = [&[REQUEST, "--app-key", given][..], json].concat();
                let (text, words, _) = read(&args, "");
                let shown = (text + &words).to_uppercase().replace([' ', '-', ':'], "");
                for key in [given, USED] {
                    for at in 0..=key.len() - 6 {
                        assert!(!shown.contains(&key[at..at + 6]), "{shown}");
                    }
                }
            }
        }
    }

    #[test]
    fn nothing_is_searched_when_nobody_wants_it_or_nothing_fails() {
        let found = |args: &[&str]| {
            let (text, _, _) = read(&[&[REQUEST, "--json"], args].concat(), "");
            serde_json::from_str::<Value>(&text).unwrap()["mic"]["found"].clone()
        };
        assert!(!found(&["--app-key", ONE_DIGIT]).is_null());
        assert!(found(&["--app-key", ONE_DIGIT, "--no-search"]).is_null());
        assert!(found(&["--app-key", USED]).is_null() && found(&[]).is_null());
    }

    #[test]
    fn of_many_frames_that_fail_the_first_sixteen_are_searched() {
        let input = format!("{REQUEST}\n").repeat(20);
        let (text, words, _) = read(&["-", "--json", "--app-key", ONE_DIGIT], &input);
        let frames = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
        let found: Vec<_> = frames.map(|frame| !frame["mic"]["found"].is_null()).collect();
        assert_eq!(found, [[true; 16].as_slice(), &[false; 4]].concat());
        assert_eq!(words.matches("note: ").count(), 1, "{words}");
    }
}
