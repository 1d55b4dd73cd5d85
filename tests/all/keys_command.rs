//! `keys` through the binary: the worked joins of both versions, multicast, envelopes, refusals.

use assert_cmd::Command;
use serde_json::{Value, json};

use crate::support::words::unfolded;

const APP_KEY: &str = "2B7E151628AED2A6ABF7158809CF4F3C";
const NWK_KEY: &str = "00112233445566778899AABBCCDDEEFF";
const REQUEST: &str = "0001000BFEFF0000023C2B1AFEFF00000202012E269CF5";
const REQUEST_1_1: &str = "0001000BFEFF0000023C2B1AFEFF00000202018AFBF774";

fn run(args: &[&str]) -> (String, String, i32) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_handfast"));
    let output = command.arg("keys").args(args).output().unwrap();
    let text = |octets| String::from_utf8(octets).unwrap();
    (text(output.stdout), unfolded(&text(output.stderr)), output.status.code().unwrap())
}

fn keys(args: &[&str]) -> Value {
    let (text, words, status) = run(&[args, &["--json"]].concat());
    assert_eq!(status, 0, "{words}");
    assert!(words.contains("caution: these keys are secret"), "{words}");
    let value: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(value["schema"], 2);
    value["keys"].clone()
}

#[test]
fn a_join_of_1_0_gives_its_session_from_frames_and_from_values() {
    let expected = json!({"NwkSKey": "4bfd96bce7bda8054d563c80486c0390",
        "AppSKey": "4c4addce1783c8b89b98c1b43ad17e09"});
    let accept = "20D94ACFD06540984F241461506659C3AAADB5152AAFF250202FBA28E71693051D";
    let frames = ["--app-key", APP_KEY, "--request", REQUEST, "--accept", accept];
    assert_eq!(keys(&frames), expected);
    let values = ["--app-key", APP_KEY, "--join-nonce", "0xA1B2", "--net-id", "000001"];
    assert_eq!(keys(&[&values[..], &["--dev-nonce", "258"]].concat()), expected);
}

#[test]
fn a_join_of_1_1_gives_four_session_keys_and_two_for_life() {
    let accept = "2052AF301BCA7BE931C662CDDA61CB6739";
    let roots = ["--app-key", APP_KEY, "--nwk-key", NWK_KEY];
    let expected = json!({"FNwkSIntKey": "d7cbeec26f99d59820ebb411dd1e4eec",
        "SNwkSIntKey": "ac70bce4f43a128378aeb3702aeed5dd",
        "NwkSEncKey": "faebae13da4f4d4c1b1393c7a7a34c81",
        "AppSKey": "24ec05f37545d6566a7b28941a197b3f",
        "JSIntKey": "ee12a327383698a2efa2624bd6ad75b5",
        "JSEncKey": "002a01ceda47cbf45b6c8d49c02c93b0"});
    let frames = ["--request", REQUEST_1_1, "--accept", accept];
    assert_eq!(keys(&[&roots[..], &frames].concat()), expected);
    let values = ["--join-nonce", "41394", "--dev-nonce", "0x0102", "--join-eui"];
    let euis = ["020000FFFE0B0001", "--dev-eui", "02:00:00:FF:FE:1A:2B:3C"];
    assert_eq!(keys(&[&roots[..], &values, &euis].concat()), expected);
}

#[test]
fn a_1_1_node_on_a_1_0_server_has_one_network_key() {
    let values = ["--nwk-key", NWK_KEY, "--opt-neg", "0", "--join-nonce", "00A1B2"];
    let found = keys(&[&values[..], &["--net-id", "000001", "--dev-nonce", "258"]].concat());
    let network = "075e7c6e8ef7046ddebe270a5b18186e";
    assert_eq!(
        found,
        json!({"FNwkSIntKey": network, "SNwkSIntKey": network, "NwkSEncKey": network,
            "AppSKey": "b8731e0bc3fb1f8046db7fa072bdd49f"})
    );
}

#[test]
fn a_rejoin_puts_its_count_in_the_place_of_devnonce() {
    let common = ["--nwk-key", NWK_KEY, "--join-eui", "020000FFFE0B0001"];
    let rejoin = "C0000100003C2B1AFEFF0000020100623EFA5B";
    let frames = ["--rejoin", rejoin, "--accept", "208DB08CAB02D8DEDD56A23FEA6EA304BC"];
    let from_frames = keys(&[&common[..], &frames].concat());
    let values = ["--rj-count", "1", "--join-nonce", "0xA1B2", "--dev-eui", "020000FFFE1A2B3C"];
    assert_eq!(keys(&[&common[..], &values].concat()), from_frames);
    let (text, ..) = run(&[&common[..], &values].concat());
    assert!(text.contains("from JoinNonce 41394, JoinEUI 020000FFFE0B0001, RJcount 1"), "{text}");
}

#[test]
fn a_multicast_group_is_derived_to_its_end() {
    // published set-up command and session keys; the steps between computed from TS005
    let args = ["--gen-app-key", "000102030405060708090a0b0c0d0e0f", "--mc-addr", "01ffffff"];
    let expected = json!({"McRootKey": "c6a13b37878f5b826f4f8162a1c8d879",
        "McKEKey": "2c578f7927a949d3b511ae8fb69145c6",
        "McKey": "0102030405060708090a0b0c0d0e0f10",
        "McAppSKey": "c3f6c39b6b6496c29629f7e7e9b0cd29",
        "McNwkSKey": "bb75c362588f5d65fcc61c080b76dba3"});
    let encrypted = ["--mc-key-encrypted", "015e85f4b99dc0b944066cd07498330b"];
    assert_eq!(keys(&[&args[..], &encrypted].concat()), expected);
    let clear = ["--mc-key", "0102030405060708090a0b0c0d0e0f10"];
    assert_eq!(keys(&[&args[..], &clear].concat()), expected);
    let root_1_1 = ["--app-key", "0202030405060708090a0b0c0d0e0f10"];
    let found = keys(&[&root_1_1[..], &["--mc-addr", "01020304"], &clear].concat());
    assert_eq!(found["McRootKey"], "264fd859583fcc670241ac071cc9f5bb");
    assert_eq!(found["McAppSKey"], "95cb4518ee375606735bbacbdce837fa");
}

#[test]
fn an_envelope_opens_under_its_kek_alone() {
    // RFC 3394, 4.1
    let wrapped = "1FA68B0A8112B447AEF34BD8FB5A7B829D3E862371D2CFE5";
    let found = keys(&["--kek", "000102030405060708090A0B0C0D0E0F", "--wrapped", wrapped]);
    assert_eq!(found, json!({"unwrapped": "00112233445566778899aabbccddeeff"}));
    let (text, words, status) = run(&["--kek", APP_KEY, "--wrapped", wrapped]);
    assert_eq!((text.as_str(), status), ("", 2));
    assert!(words.starts_with("error: --wrapped: "), "{words}");
}

#[test]
fn frames_whose_mic_fails_give_no_key_and_a_fault() {
    let accept = "20F0D8C267F0B6FAD6BF86B96A1617A9EB";
    let (text, words, status) =
        run(&["--app-key", NWK_KEY, "--request", REQUEST, "--accept", accept]);
    assert_eq!((text.as_str(), status), ("", 1));
    assert!(words.contains("received 2E 26 9C F5, expected 8A FB F7 74"), "{words}");
    // a Join-Accept of another node
    let other = "2052AF301BCA7BE931C662CDDA61CB6739";
    let (text, words, status) =
        run(&["--app-key", APP_KEY, "--request", REQUEST, "--accept", other]);
    assert_eq!((text.as_str(), status), ("", 1));
    assert!(words.contains("--accept: the MIC fails under AppKey"), "{words}");
}

#[test]
fn missing_values_are_named_with_the_place_where_they_stand() {
    let (_, words, status) = run(&["--app-key", APP_KEY, "--join-nonce", "0xA1B2"]);
    assert_eq!(status, 2);
    assert_eq!(
        words,
        "error: missing: --dev-nonce, --net-id\n\
         hint: --dev-nonce: bytes 17-18 of the Join-Request; \
         --net-id: bytes 4-6 of the Join-Accept, decrypted\n"
    );
    assert_eq!(run(&["--app-key", APP_KEY, "--accept", REQUEST]).2, 2);
    assert_eq!(run(&[]).2, 2);
}

#[test]
fn a_number_that_could_be_decimal_or_hex_is_refused() {
    let (_, words, status) = run(&["--app-key", APP_KEY, "--dev-nonce", "0102"]);
    assert_eq!(status, 2);
    assert!(words.contains("decimal or hex? write 102 or 0x0102"), "{words}");
}

#[test]
fn the_text_fits_80_columns() {
    let args = ["--app-key", APP_KEY, "--nwk-key", NWK_KEY, "--request", REQUEST_1_1];
    let accept = ["--accept", "2052AF301BCA7BE931C662CDDA61CB6739"];
    let (text, _, status) = run(&[&args[..], &accept].concat());
    assert_eq!(status, 0);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    assert!(text.contains("\n  SNwkSIntKey  AC70BCE4F43A128378AEB3702AEED5DD\n"), "{text}");
}
