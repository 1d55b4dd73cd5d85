//! `read` through the binary: arguments, standard input, streams, exit status, JSON.

use assert_cmd::Command;
use serde_json::{Value, json};

const REQUEST: &str = "0001000bfeff0000023c2b1afeff00000202012e269cf5";
const APP_KEY: &str = "2B7E151628AED2A6ABF7158809CF4F3C";
const NWK_KEY: &str = "00112233445566778899AABBCCDDEEFF";
const SESSION_1_0: &[&str] = &[
    "--nwk-s-key",
    "4BFD96BCE7BDA8054D563C80486C0390",
    "--app-s-key",
    "4C4ADDCE1783C8B89B98C1B43AD17E09",
];
const SESSION_1_1: &[&str] = &[
    "--f-nwk-s-int-key",
    "D7CBEEC26F99D59820EBB411DD1E4EEC",
    "--s-nwk-s-int-key",
    "AC70BCE4F43A128378AEB3702AEED5DD",
    "--nwk-s-enc-key",
    "FAEBAE13DA4F4D4C1B1393C7A7A34C81",
    "--app-s-key",
    "24EC05F37545D6566A7B28941A197B3F",
];

fn handfast() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_handfast"));
    command.env_remove("NO_COLOR").env_remove("CLICOLOR_FORCE");
    command
}

fn json_of(args: &[&str]) -> (Value, i32) {
    let output = handfast().args(["read", "--json"]).args(args).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(text.lines().count(), 1, "{text}");
    (serde_json::from_str(&text).unwrap(), output.status.code().unwrap())
}

/// Compares member by member; what is expected must be there, and `fields` must be no more.
fn assert_members(args: &[&str], expected: &Value) {
    let (found, status) = json_of(args);
    for (name, value) in expected.as_object().unwrap() {
        if name == "mic" {
            for (name, value) in value.as_object().unwrap() {
                assert_eq!(&found["mic"][name], value, "mic.{name} of {found}");
            }
        } else {
            assert_eq!(&found[name], value, "{name} of {found}");
        }
    }
    assert_eq!(status, 0, "{found}");
    assert_eq!(found["problems"], json!([]));
}

#[test]
fn the_contract_s_own_example_is_kept() {
    assert_members(
        &[REQUEST, "--app-key", APP_KEY],
        &json!({"schema": 2, "input": {"name": "argument", "index": 0}, "PHYPayload": REQUEST,
            "message": "join-request", "direction": "up",
            "fields": {"MHDR": "00", "JoinEUI": "020000fffe0b0001", "DevEUI": "020000fffe1a2b3c",
                "DevNonce": 258, "MIC": "2e269cf5"},
            "mic": {"state": "holds", "key": "AppKey"}}),
    );
}

#[test]
fn a_join_accept_without_a_key_shows_mhdr_alone() {
    assert_members(
        &["20D94ACFD06540984F241461506659C3AAADB5152AAFF250202FBA28E71693051D"],
        &json!({"message": "join-accept", "direction": "down", "fields": {"MHDR": "20"},
            "mic": {"state": "unchecked"}}),
    );
}

#[test]
fn a_join_accept_with_its_key_shows_every_field() {
    assert_members(
        &[
            "20D94ACFD06540984F241461506659C3AAADB5152AAFF250202FBA28E71693051D",
            "--app-key",
            APP_KEY,
        ],
        &json!({"message": "join-accept", "direction": "down",
            "fields": {"MHDR": "20", "JoinNonce": 41394, "NetID": "000001", "DevAddr": "0201bbda",
                "DLSettings": {"OptNeg": false, "RX1DROffset": 0, "RX2DataRate": 3}, "RxDelay": 1,
                "CFList": {"type": 0, "frequencies":
                    [867_100_000, 867_300_000, 867_500_000, 867_700_000, 867_900_000]},
                "MIC": "9cdb46f3"},
            "mic": {"state": "holds", "key": "AppKey", "rule": "1.0"}}),
    );
    assert_members(
        &["20F0D8C267F0B6FAD6BF86B96A1617A9EB", "--app-key", APP_KEY],
        &json!({"fields": {"MHDR": "20", "JoinNonce": 41394, "NetID": "000001",
            "DevAddr": "0201bbda", "RxDelay": 1, "MIC": "2efd784c",
            "DLSettings": {"OptNeg": false, "RX1DROffset": 0, "RX2DataRate": 3}}}),
    );
}

#[test]
fn data_of_1_0_is_proven_and_opened() {
    let args = |frame| [&[frame], SESSION_1_0].concat();
    assert_members(
        &args("40DABB0102800200022721029DAEAF9EE9"),
        &json!({"message": "unconfirmed-data-up", "direction": "up",
            "fields": {"MHDR": "40", "DevAddr": "0201bbda",
                "FCtrl": {"ADR": true, "ADRACKReq": false, "ACK": false, "ClassB": false,
                    "FOptsLen": 0},
                "FCnt": 2, "FOpts": "", "FPort": 2, "FRMPayload": "2721029d", "MIC": "aeaf9ee9"},
            "mic": {"state": "holds", "key": "NwkSKey"}, "fcnt32": 65538,
            "plaintext": {"FRMPayload": "016700e1"}}),
    );
    assert_members(
        &args("60DABB0102A00500007EFC0F41FE4BD10617"),
        &json!({"message": "unconfirmed-data-down", "direction": "down",
            "fields": {"MHDR": "60", "DevAddr": "0201bbda",
                "FCtrl": {"ADR": true, "ACK": true, "FPending": false, "FOptsLen": 0},
                "FCnt": 5, "FOpts": "", "FPort": 0, "FRMPayload": "7efc0f41fe", "MIC": "4bd10617"},
            "mic": {"state": "holds", "key": "NwkSKey"}, "fcnt32": 5,
            "plaintext": {"FRMPayload": "0350070001"}}),
    );
}

#[test]
fn a_join_of_1_1_is_proven_and_opened() {
    assert_members(
        &["0001000BFEFF0000023C2B1AFEFF00000202018AFBF774", "--nwk-key", NWK_KEY],
        &json!({"mic": {"state": "holds", "key": "NwkKey"}}),
    );
    let who = ["--dev-eui", "02-00-00-FF-FE-1A-2B-3C", "--join-eui", "020000fffe0b0001"];
    let accept = ["2052AF301BCA7BE931C662CDDA61CB6739", "--nwk-key", NWK_KEY, "--dev-nonce", "258"];
    assert_members(
        &[&accept[..], &who].concat(),
        &json!({"fields": {"MHDR": "20", "JoinNonce": 41394, "NetID": "000001",
                "DevAddr": "0201bbda", "RxDelay": 1, "MIC": "3ccf1e13",
                "DLSettings": {"OptNeg": true, "RX1DROffset": 0, "RX2DataRate": 3}},
            "mic": {"state": "holds", "key": "JSIntKey", "rule": "1.1"},
            "decrypted_with": "NwkKey",
            "context": {"join_req_type": "ff", "join_eui": "020000fffe0b0001",
                "dev_eui": "020000fffe1a2b3c", "dev_nonce": 258}}),
    );
    let accept = ["208DB08CAB02D8DEDD56A23FEA6EA304BC", "--nwk-key", NWK_KEY, "--dev-nonce", "1"];
    assert_members(
        &[&accept[..], &who].concat(),
        &json!({"mic": {"state": "holds", "key": "JSIntKey"}, "decrypted_with": "JSEncKey",
            "context": {"join_req_type": "00", "join_eui": "020000fffe0b0001",
                "dev_eui": "020000fffe1a2b3c", "dev_nonce": 1}}),
    );
}

#[test]
fn data_of_1_1_is_proven_and_opened() {
    assert_members(
        &[&["40DABB0102220100ED41023B6C5DDA8CDC0AEF"], SESSION_1_1, &["--conf-fcnt", "7"]].concat(),
        &json!({"fields": {"MHDR": "40", "DevAddr": "0201bbda",
                "FCtrl": {"ADR": false, "ADRACKReq": false, "ACK": true, "ClassB": false,
                    "FOptsLen": 2},
                "FCnt": 1, "FOpts": "ed41", "FPort": 2, "FRMPayload": "3b6c5dda",
                "MIC": "8cdc0aef"},
            "mic": {"state": "holds", "key": "SNwkSIntKey+FNwkSIntKey", "rule": "1.1"},
            "plaintext": {"FRMPayload": "016700e1", "FOpts": "0b01", "fopts_rule": "erratum"},
            "context": {"conf_fcnt": 7, "tx_dr": 5, "tx_ch": 2}, "fcnt32": 1}),
    );
    assert_members(
        &[&["60DABB0102020000AE01D0EA01DE"], SESSION_1_1].concat(),
        &json!({"fields": {"MHDR": "60", "DevAddr": "0201bbda",
                "FCtrl": {"ADR": false, "ACK": false, "FPending": false, "FOptsLen": 2},
                "FCnt": 0, "FOpts": "ae01", "MIC": "d0ea01de"},
            "mic": {"state": "holds", "key": "SNwkSIntKey"}}),
    );
    assert_members(
        &[&["60DABB010221090014029A08496394"], SESSION_1_1, &["--conf-fcnt", "1"]].concat(),
        &json!({"mic": {"state": "holds", "key": "SNwkSIntKey"}, "context": {"conf_fcnt": 1},
            "plaintext": {"FRMPayload": "aa", "FOpts": "06", "fopts_rule": "erratum"}}),
    );
}

#[test]
fn rejoin_requests_have_their_own_fields() {
    assert_members(
        &[&["C0000100003C2B1AFEFF0000020100623EFA5B"], SESSION_1_1].concat(),
        &json!({"message": "rejoin-request", "direction": "up",
            "fields": {"MHDR": "c0", "RejoinType": 0, "NetID": "000001",
                "DevEUI": "020000fffe1a2b3c", "RJcount0": 1, "MIC": "623efa5b"},
            "mic": {"state": "holds", "key": "SNwkSIntKey"}}),
    );
    let frame = "C00101000BFEFF0000023C2B1AFEFF00000201003A1DAE15";
    assert_members(
        &[frame, "--nwk-key", NWK_KEY],
        &json!({"fields": {"MHDR": "c0", "RejoinType": 1, "JoinEUI": "020000fffe0b0001",
                "DevEUI": "020000fffe1a2b3c", "RJcount1": 1, "MIC": "3a1dae15"},
            "mic": {"state": "holds", "key": "JSIntKey"}}),
    );
}

#[test]
fn a_mic_that_fails_is_a_fault_and_shows_what_was_expected() {
    let (found, status) = json_of(&[REQUEST, "--app-key", NWK_KEY]);
    assert_eq!(status, 1);
    assert_eq!(found["mic"]["state"], "fails");
    assert_eq!(found["mic"]["expected"], "8afbf774");
    assert_eq!(found["mic"]["key"], "AppKey");
}

#[test]
fn a_frame_cut_short_keeps_its_beginning_and_ends_with_2() {
    let (found, status) = json_of(&["0001000bfeff0000023c2b"]);
    assert_eq!(status, 2);
    assert_eq!(found["message"], "join-request");
    assert_eq!(found["fields"], json!({"MHDR": "00", "JoinEUI": "020000fffe0b0001"}));
    assert_eq!(
        found["problems"],
        json!([{"offset": 9, "field": "DevEUI",
            "what": "cut short: 8 bytes needed (by the layout of the message), 2 left"}])
    );
    assert_eq!(found["mic"]["state"], "unchecked");
}

#[test]
fn one_damaged_line_does_not_hide_the_others_and_the_worst_status_wins() {
    let lines =
        format!("# an orchard\n{REQUEST}\n\nnot a frame\n20F0D8C267F0B6FAD6BF86B96A1617A9EB\n");
    let output = handfast()
        .args(["read", "--json", "--app-key", NWK_KEY, "-"])
        .write_stdin(lines)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let frames: Vec<Value> = text.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(frames.len(), 2);
    assert_eq!(frames[0]["input"], json!({"name": "stdin", "index": 0, "line": 2}));
    assert_eq!(frames[1]["message"], "join-accept");
    assert_eq!(output.status.code(), Some(2));
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.starts_with("error: stdin, line 4: "), "{words}");
}

#[test]
fn octets_whose_quotes_were_forgotten_are_one_frame() {
    let octets = REQUEST.as_bytes().chunks(2);
    let texts: Vec<_> = octets.map(|octet| std::str::from_utf8(octet).unwrap()).collect();
    assert_eq!(json_of(&texts).0["message"], "join-request");
}

#[test]
fn what_is_not_quite_right_is_told_before_the_frame() {
    let output = handfast().args(["read", "--brief", "QNq7AA", "40da!b"]).output().unwrap();
    let words = String::from_utf8(output.stderr).unwrap();
    let told: Vec<_> = words.lines().filter(|line| line.contains("argument")).collect();
    let [note, _, damage] = told[..] else { panic!("{words}") };
    assert_eq!(note, "note: argument 1: base64 without its padding; it was taken");
    assert!(damage.starts_with("error: argument 2: character 5 "), "{words}");
}

#[test]
fn no_argument_reads_standard_input_and_nothing_there_is_an_error() {
    handfast().arg("read").write_stdin(REQUEST).assert().success();
    let output = handfast().arg("read").write_stdin("").output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8(output.stderr).unwrap().starts_with("error: no frame given\nhint: "));
}

#[test]
fn a_key_comes_from_a_variable_or_a_file_too() {
    let folder = std::env::temp_dir().join(format!("handfast-read-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("app.key");
    std::fs::write(&path, format!("{APP_KEY}\n")).unwrap();
    handfast().args(["read", REQUEST, "--app-key-file"]).arg(&path).assert().success();
    std::fs::remove_dir_all(&folder).unwrap();
    let mut command = handfast();
    command.env("ORCHARD_KEY", NWK_KEY).args(["read", REQUEST, "--app-key-env", "ORCHARD_KEY"]);
    command.assert().code(1);
    handfast().args(["read", REQUEST, "--app-key-env", "NO_SUCH_ORCHARD"]).assert().code(2);
}

#[test]
fn a_wrong_key_is_told_without_the_key() {
    let output = handfast().args(["read", REQUEST, "--app-key", "2B7E15zz"]).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    let words = String::from_utf8(output.stderr).unwrap();
    assert_eq!(
        words,
        "error: --app-key: character 7 of the key is not a hex digit\n\
         hint: a key is 32 hex digits, such as 8A4C19E2D75B03F6619EC8270DB3F45A\n"
    );
    assert!(output.stdout.is_empty());
}

#[test]
fn read_never_prints_a_key() {
    for json in [&[][..], &["--json"]] {
        let args = [&["read", "40DABB0102800200022721029DAEAF9EE9"], SESSION_1_0, json].concat();
        let output = handfast().args(args).output().unwrap();
        let text = String::from_utf8(output.stdout).unwrap().to_uppercase().replace(' ', "");
        assert!(!text.contains("4BFD96BC") && !text.contains("4C4ADDCE"), "{text}");
    }
}

#[test]
fn a_closed_pipe_is_no_error() {
    let frames = format!("{REQUEST}\n").repeat(2000);
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(["read", "-"])
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let mut stdin = child.stdin.take().unwrap();
    // The program may be gone before it has read all.
    let _ = std::io::Write::write_all(&mut stdin, frames.as_bytes());
    drop(stdin);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(String::from_utf8(output.stderr).unwrap(), "");
}

#[test]
fn colour_is_for_terminals_and_for_those_who_ask() {
    let read = |args: &[&str]| {
        let output = handfast().args(["read", REQUEST]).args(args).output().unwrap();
        String::from_utf8(output.stdout).unwrap().contains('\x1b')
    };
    assert!(!read(&[]) && !read(&["--color", "never"]) && read(&["--color", "always"]));
}

#[test]
fn the_program_alone_prints_a_short_help() {
    let output = handfast().output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success() && text.lines().count() < 15, "{text}");
    assert!(text.contains("handfast read FRAME") && text.contains("handfast keys"));
}

#[test]
fn an_unknown_option_or_command_ends_with_2() {
    handfast().args(["read", "--no-such-option"]).assert().code(2);
    handfast().arg("raed").assert().code(2);
    handfast().arg("--help").assert().code(0);
}

#[test]
fn the_working_shows_keys_with_a_word_of_caution_and_changes_no_other_member() {
    let args = [REQUEST, "--app-key", APP_KEY];
    let plain = json_of(&args).0;
    let output = handfast().args(["read", "--json", "--working"]).args(args).output().unwrap();
    let mut worked: Value = serde_json::from_slice(&output.stdout).unwrap();
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.contains("caution: the working shows keys"), "{words}");
    let working = worked.as_object_mut().unwrap().remove("working").unwrap();
    assert_eq!(worked, plain);
    let steps = working[0]["steps"].as_array().unwrap();
    assert_eq!(steps.last().unwrap()["output"], "2e269cf5");
    assert!(steps.iter().any(|step| step["output"] == APP_KEY.to_lowercase()));
    // without a key there is nothing to compute, and that is said
    let output = handfast().args(["read", "--working", REQUEST]).output().unwrap();
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.contains("nothing to compute") && !words.contains("caution"), "{words}");
}
