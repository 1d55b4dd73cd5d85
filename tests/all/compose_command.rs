//! `compose` through the binary: options, JSON lines, streams, exit status.

use assert_cmd::Command;
use serde_json::{Value, json};

use crate::support::words::unfolded;

const APP_KEY: &[&str] = &["--app-key", "2B7E151628AED2A6ABF7158809CF4F3C"];
const NWK_KEY: &[&str] = &["--nwk-key", "00112233445566778899AABBCCDDEEFF"];
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
const REQUEST: &str = "0001000bfeff0000023c2b1afeff00000202012e269cf5";

struct Run {
    out: String,
    words: String,
    status: i32,
}

fn run(command: &str, args: &[&str], keys: &[&str], stdin: &str) -> Run {
    let output = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .arg(command)
        .args(args)
        .args(keys)
        .write_stdin(stdin)
        .output()
        .unwrap();
    Run {
        out: String::from_utf8(output.stdout).unwrap(),
        words: unfolded(&String::from_utf8(output.stderr).unwrap()),
        status: output.status.code().unwrap(),
    }
}

fn compose(text: &str, keys: &[&str]) -> Run {
    let args: Vec<_> = text.split_whitespace().collect();
    run("compose", &args, keys, "")
}

fn frame(text: &str, keys: &[&str]) -> String {
    let run = compose(text, keys);
    assert_eq!((run.status, run.words.as_str()), (0, ""), "{}", run.out);
    run.out.trim_end().to_owned()
}

#[test]
fn joins_are_composed_from_options() {
    let who = "--join-eui 020000FFFE0B0001 --dev-eui 02-00-00-FF-FE-1A-2B-3C";
    assert_eq!(frame(&format!("join-request {who} --dev-nonce 258"), APP_KEY), REQUEST);
    let accept = "join-accept --join-nonce 41394 --net-id 000001 --dev-addr 0201BBDA \
                  --rx2-data-rate 3";
    let list = "--frequencies 867100000,867300000,867500000,867700000,867900000";
    assert_eq!(
        frame(&format!("{accept} {list}"), APP_KEY),
        "20d94acfd06540984f241461506659c3aaadb5152aaff250202fba28e71693051d"
    );
    assert_eq!(
        frame(&format!("{accept} --opt-neg {who} --dev-nonce 0x0102"), NWK_KEY),
        "2052af301bca7be931c662cdda61cb6739"
    );
    assert_eq!(
        frame(&format!("{accept} --opt-neg {who} --dev-nonce 1 --answers rejoin-0"), NWK_KEY),
        "208db08cab02d8dedd56a23fea6ea304bc"
    );
    assert_eq!(
        frame(
            "rejoin-request --rejoin-type 0 --net-id 000001 --dev-eui 020000FFFE1A2B3C \
             --dev-nonce 1",
            SESSION_1_1
        ),
        "c0000100003c2b1afeff0000020100623efa5b"
    );
}

#[test]
fn data_is_composed_from_options() {
    let up = "unconfirmed-data-up --dev-addr 0201BBDA";
    let plain = format!("{up} --adr --fcnt 65538 --port 2 --payload 016700E1");
    assert_eq!(frame(&plain, SESSION_1_0), "40dabb0102800200022721029daeaf9ee9");
    assert_eq!(frame(&format!("{plain} --base64"), SESSION_1_0), "QNq7AQKAAgACJyECna6vnuk=");
    let args = [
        "unconfirmed-data-down",
        "--dev-addr",
        "0201BBDA",
        "--adr",
        "--ack",
        "--fcnt",
        "5",
        "--port",
        "0",
        "--command",
        "LinkADRReq DataRate=5 TXPower=0 ChMask=0007 ChMaskCntl=0 NbTrans=1",
    ];
    let down = run("compose", &args, SESSION_1_0, "");
    assert_eq!(down.out, "60dabb0102a00500007efc0f41fe4bd10617\n");
    let modern = format!(
        "{up} --ack --fcnt 1 --fopts 0B01 --port 2 --payload 016700E1 --conf-fcnt 7 --tx-dr 5 \
         --tx-ch 2"
    );
    assert_eq!(frame(&modern, SESSION_1_1), "40dabb0102220100ed41023b6c5dda8cdc0aef");
    let shown = frame(&format!("{modern} --json"), SESSION_1_1);
    let shown: Value = serde_json::from_str(&shown).unwrap();
    assert_eq!(shown["mic"]["state"], "holds");
    assert_eq!(shown["plaintext"]["FRMPayload"], "016700e1");
    assert_eq!(frame("proprietary --payload 0102", &[]), "e00102");
    let wrong = format!("{plain} --mic 00000000 --mhdr 5C");
    assert!(frame(&wrong, SESSION_1_0).starts_with("5cdabb01"));
    assert!(frame(&wrong, SESSION_1_0).ends_with("00000000"));
}

#[test]
fn what_read_prints_comes_back_line_by_line() {
    let frames = format!("{REQUEST}\n40dabb0102800200022721029daeaf9ee9\ne00102\n");
    let shown = run("read", &["--json", "-"], SESSION_1_0, &frames);
    let with_keys = run("compose", &["-"], SESSION_1_0, &shown.out);
    assert_eq!((with_keys.out, with_keys.status), (frames.clone(), 0));
    let without = run("compose", &[], &[], &shown.out);
    assert_eq!((without.out, without.status), (frames, 0));
    assert!(without.words.starts_with("note: stdin, line 2: plaintext.FRMPayload is not used"));
}

#[test]
fn a_damaged_line_is_told_by_number_and_the_others_are_composed() {
    let lines = format!(
        "{}\n{{\"message\":\n{}\n",
        json!({"message": "proprietary", "PHYPayload": "e001"}),
        json!({"message": "join-request", "fields": {"JoinEUI": "020000fffe0b0001"}})
    );
    let run = run("compose", &[], APP_KEY, &lines);
    assert_eq!((run.out.as_str(), run.status), ("e001\n", 2));
    assert!(run.words.contains("error: stdin, line 2: column 11: no JSON\n"), "{}", run.words);
    assert!(run.words.contains("error: stdin, line 3: fields.DevEUI: missing\n"), "{}", run.words);
}

#[test]
fn errors_say_what_is_wrong_and_what_a_right_one_looks_like() {
    for (args, words) in [
        (
            "join-reqest",
            "error: join-reqest is neither a message nor a file\nhint: a message is one of join-request,",
        ),
        ("join-request --fcnt 3", "error: --fcnt has no place in join-request\n"),
        ("join-request --dev-nonce 3", "error: join-request needs --join-eui\n"),
        (
            "confirmed-data-up --dev-addr 0201BBDA --fcnt 1",
            "error: the MIC needs NwkSKey (1.0.x), or SNwkSIntKey and FNwkSIntKey (1.1)\nhint: NwkSKey: --nwk-s-key; SNwkSIntKey: --s-nwk-s-int-key; FNwkSIntKey: --f-nwk-s-int-key\n",
        ),
        (
            "confirmed-data-up --dev-addr 0201BBDA --fcnt 1 --command DutyCycleReq",
            "error: --command: DutyCycleReq: MaxDCycle is missing\nhint: DutyCycleReq MaxDCycle=..\n",
        ),
        (
            "confirmed-data-up --dev-addr 0201BBDA --fcnt 1 --command DevStatusReq",
            "error: --command: DevStatusReq travels down, and confirmed-data-up does not\n",
        ),
        (
            "confirmed-data-up --dev-addr 0201BBDA --fcnt 1 --payload 00",
            "error: --payload needs --port\n",
        ),
        ("- --fcnt 3", "error: --fcnt: the fields come from the JSON; edit them there\n"),
    ] {
        let run = compose(args, &[]);
        assert_eq!((run.status, run.out.as_str()), (2, ""), "{args}");
        assert!(run.words.starts_with(words), "{args}: {}", run.words);
    }
}

#[test]
fn the_help_says_that_nothing_is_sent() {
    let run = compose("--help", &[]);
    assert_eq!(run.status, 0);
    assert!(run.out.contains("writes bytes and transmits nothing"), "{}", run.out);
}
