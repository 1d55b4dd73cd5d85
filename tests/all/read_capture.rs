//! `read` on a capture with a roster, through the binary: radio data, sessions, damage.

use std::path::PathBuf;

use assert_cmd::Command;
use base64::{Engine, engine::general_purpose::STANDARD};
use serde_json::{Value, json};

use crate::support::words::unfolded;

const REQUEST: &str = "0001000bfeff0000023c2b1afeff00000202012e269cf5";
const ACCEPT: &str = "20d94acfd06540984f241461506659c3aaadb5152aaff250202fba28e71693051d";
const UPLINK: &str = "40dabb0102800200022721029daeaf9ee9";
const DOWNLINK: &str = "60dabb0102a00500007efc0f41fe4bd10617";
const ROSTER: &str = r#"
[[node]]
name = "pear-row-3"

[node.firmware]
dev-eui = "020000fffe1a2b3c"
join-eui = "020000fffe0b0001"
app-key = "2B7E151628AED2A6ABF7158809CF4F3C"

[[node]]
name = "quince-gate"

[node.record]
dev-addr = "020C76CA"
nwk-s-key = "3E9A7741C0B2D5F6081A4C6E90B2D4F8"
"#;

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("handfast-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str, text: &str) -> String {
        let path = self.0.join(name);
        std::fs::write(&path, text).unwrap();
        path.display().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn base64(frame: &str) -> String {
    STANDARD.encode(hex::decode(frame).unwrap())
}

fn heard(frame: &str) -> String {
    let data = base64(frame);
    format!(
        r#"{{"at":"2026-04-18T06:10:03.210692Z","gateway":"020000FFFEA09442","kind":"PUSH_DATA","token":"353C","datagram":{{"rxpk":[{{"tmst":369601898,"freq":868.3,"stat":1,"modu":"LORA","datr":"SF9BW125","rssi":-84,"lsnr":7.5,"data":"{data}"}}]}}}}"#
    )
}

fn sent(frame: &str) -> String {
    let data = base64(frame);
    format!(
        r#"{{"txpk":{{"tmst":374601898,"freq":868.3,"powe":14,"modu":"LORA","datr":"SF9BW125","ipol":true,"data":"{data}"}}}}"#
    )
}

struct Run {
    frames: Vec<Value>,
    words: String,
    status: i32,
}

fn read(args: &[&str]) -> Run {
    let output = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(["read", "--json"])
        .args(args)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    Run {
        frames: text.lines().map(|line| serde_json::from_str(line).unwrap()).collect(),
        words: unfolded(&String::from_utf8(output.stderr).unwrap()),
        status: output.status.code().unwrap(),
    }
}

#[test]
fn the_data_of_a_join_that_was_seen_is_proven_and_opened() {
    let folder = Folder::new("joined");
    let roster = folder.file("roster.toml", ROSTER);
    let lines = [heard(REQUEST), sent(ACCEPT), UPLINK.into(), sent(DOWNLINK)].join("\n");
    let capture = folder.file("capture.ndjson", &lines);
    let run = read(&[&capture, "--roster", &roster]);
    assert_eq!(run.status, 0, "{}", run.words);
    let [request, accept, uplink, downlink] = run.frames.as_slice() else { panic!() };
    assert_eq!(request["mic"]["claim"], "firmware");
    assert_eq!(request["mic"]["node"], "pear-row-3");
    assert_eq!(accept["fields"]["DevAddr"], "0201bbda");
    assert_eq!(uplink["plaintext"]["FRMPayload"], "016700e1");
    assert_eq!(uplink["mic"]["node"], "pear-row-3");
    assert_eq!(uplink["fcnt32"], 65538);
    assert_eq!(
        downlink["commands"],
        json!([{"cid": 3, "name": "LinkADRReq", "fields":
            {"DataRate": 5, "TXPower": 0, "ChMask": "0007", "ChMaskCntl": 0, "NbTrans": 1}}])
    );
    // without the join nothing is known of the session
    let data = folder.file("data.txt", UPLINK);
    let run = read(&[&data, "--roster", &roster]);
    assert_eq!((run.status, &run.frames[0]["mic"]["state"]), (0, &json!("unchecked")));
}

#[test]
fn a_frame_of_a_capture_says_where_and_how_it_was_heard() {
    let folder = Folder::new("radio");
    let lines = format!("{}\n\n{}\n{UPLINK}\n", heard(REQUEST), sent(ACCEPT));
    let capture = folder.file("capture.ndjson", &lines);
    let run = read(&[&capture]);
    assert_eq!(run.frames[0]["input"], json!({"name": capture, "index": 0, "line": 1}));
    assert_eq!(
        run.frames[0]["radio"],
        json!({"gateway": "020000fffea09442", "time": "2026-04-18T06:10:03.210692Z",
            "frequency": 868_300_000, "data_rate": "SF9BW125", "rssi": -84.0, "snr": 7.5,
            "crc": "ok"})
    );
    assert_eq!(run.frames[1]["input"], json!({"name": capture, "index": 1, "line": 3}));
    assert_eq!(
        run.frames[1]["radio"],
        json!({"frequency": 868_300_000, "data_rate": "SF9BW125", "power": 14.0})
    );
    assert_eq!(run.frames[2].get("radio"), None);
    let output =
        Command::new(env!("CARGO_BIN_EXE_handfast")).args(["read", &capture]).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(
        text.contains(
            "\n  gateway 02-00-00-FF-FE-A0-94-42, 2026-04-18T06:10:03.210692Z, 868.3 MHz,\n  \
             SF9BW125, RSSI -84 dBm, SNR 7.5 dB\n"
        ),
        "{text}"
    );
    assert!(text.contains("line 3, frame 2: Join-Accept"), "{text}");
}

#[test]
fn damaged_lines_are_told_by_number_and_all_that_is_whole_is_shown() {
    let folder = Folder::new("damage");
    let lines = format!("{}\n{{\"rxpk\":[{{\"da\nQNq7AQKAAgACJyECna6vnuk\n", heard(REQUEST));
    let capture = folder.file("capture.ndjson", &lines);
    let run = read(&[&capture]);
    assert_eq!((run.frames.len(), run.status), (2, 2));
    assert_eq!(run.frames[1]["PHYPayload"], UPLINK);
    let words = &run.words;
    assert!(words.contains("line 2: column 13: the line ends before its JSON does"), "{words}");
    assert!(words.contains("line 3: base64 without its padding; it was taken"), "{words}");
}

#[test]
fn a_roster_with_a_fault_is_told_with_its_place() {
    let folder = Folder::new("bad-roster");
    let roster = folder.file("roster.toml", "[[node]]\n[node.firmware]\ndev-eu = 7\n");
    let run = read(&[REQUEST, "--roster", &roster]);
    // The frame is whole all the same.
    assert_eq!((run.frames.len(), run.status), (1, 2));
    assert!(run.words.contains("roster.toml:3:1: "), "{}", run.words);
}

#[test]
fn rfu_bits_are_a_remark_and_what_the_standard_forbids_is_a_fault() {
    let rfu = read(&["60bb880602c0000001aa49a0ff65"]);
    assert_eq!((rfu.status, &rfu.frames[0]["problems"][0]["remark"]), (0, &json!(true)));
    let forbidden = read(&["40bb8806028200000307006049a0ff65"]);
    assert_eq!((forbidden.status, forbidden.frames[0]["problems"][0].get("remark")), (1, None));
}

#[test]
fn commands_that_do_not_end_are_told_at_their_octet() {
    // LinkCheckReq, then a command that nobody knows; 1.0.x sends FOpts in clear
    let frame = "40bb8806028300000247aa49a0ff65";
    let run = read(&[frame, "--mac-version", "1.0.4"]);
    assert_eq!(run.status, 1);
    assert_eq!(
        run.frames[0]["commands"],
        json!([{"cid": 2, "name": "LinkCheckReq", "fields": {}},
            {"cid": 71, "name": null, "octets": "47aa"}])
    );
    assert_eq!(
        run.frames[0]["problems"],
        json!([{"offset": 9, "field": "FOpts",
            "what": "CID 47 is unknown, and so is its length: 2 bytes cannot be read"}])
    );
    // in 1.1 these octets may be encrypted
    let run = read(&[frame]);
    assert_eq!((run.status, &run.frames[0]["problems"][0]["remark"]), (0, &json!(true)));
}

fn read_text(args: &[&str]) -> (String, String, i32) {
    let output =
        Command::new(env!("CARGO_BIN_EXE_handfast")).arg("read").args(args).output().unwrap();
    let text = |octets| String::from_utf8(octets).unwrap();
    (text(output.stdout), unfolded(&text(output.stderr)), output.status.code().unwrap())
}

#[test]
fn in_brief_a_frame_is_one_line_under_the_name_of_its_input() {
    let folder = Folder::new("brief");
    let roster = folder.file("roster.toml", ROSTER);
    let lines = [heard(REQUEST), sent(ACCEPT), "40dabb".into(), UPLINK.into()].join("\n");
    let first = folder.file("first.ndjson", &lines);
    let second = folder.file("second.ndjson", &heard(REQUEST));
    let (text, words, status) = read_text(&[&first, &second, "--roster", &roster, "--brief"]);
    let expected = format!(
        "{first}:
    1 up   Join-Request MIC holds     02-00-00-FF-FE-1A-2B-3C DevNonce 258
    2 down Join-Accept  MIC holds     0201BBDA JoinNonce 41394 pear-row-3
    3 up   data         MIC unchecked cut short 3 bytes
    4 up   data         MIC holds     0201BBDA FCnt 65538 FPort 2 pear-row-3
{second}:
    1 up   Join-Request MIC holds     02-00-00-FF-FE-1A-2B-3C DevNonce 258
"
    );
    assert_eq!((text, status), (expected, 2), "{words}");
    let (_, words, status) = read_text(&[UPLINK, "--brief", "--json"]);
    assert!(status == 2 && words.contains("cannot be used with"), "{words}");
}

#[test]
fn a_downlink_with_two_windows_is_one_frame() {
    let folder = Folder::new("windows");
    // Lines of the websocket station protocol; the downlink has RX1 and RX2 to choose from.
    let config = json!({"msgtype": "router_config", "region": "EU863",
        "DRs": [[12, 125, 0], [11, 125, 0], [10, 125, 0], [9, 125, 0], [8, 125, 0], [7, 125, 0]]});
    let down = json!({"msgtype": "dnmsg", "DevEui": "02-00-00-FF-FE-1A-2B-3C", "dC": 0, "diid": 9,
        "pdu": ACCEPT, "RxDelay": 5, "RX1DR": 3, "RX1Freq": 868_300_000, "RX2DR": 0,
        "RX2Freq": 869_525_000, "priority": 0, "xtime": 1_407_374_887_553_280_u64, "rctx": 0});
    let capture = folder.file("station.ndjson", &format!("{config}\n{down}\n"));
    // One order, and one transmission: RX2 is used where RX1 is not.
    let (text, words, _) = read_text(&[&capture, "--brief"]);
    assert_eq!(text, "    2 down Join-Accept  MIC unchecked 33 bytes\n", "{words}");
    let (json, ..) = read_text(&[&capture, "--json"]);
    assert!(json.lines().count() == 1 && json.contains("868300000"), "{json}");
}

#[test]
fn a_guess_is_marked_in_every_form() {
    let folder = Folder::new("guessed");
    let guessed = folder.file("console.log", &format!("heard at noon: {REQUEST}\n"));
    let whole = folder.file("whole.ndjson", &heard(REQUEST));
    for (file, mark) in [(&guessed, true), (&whole, false)] {
        let (text, ..) = read_text(&[file]);
        assert_eq!(text.contains("(guessed)"), mark, "{text}");
        let (brief, ..) = read_text(&[file, "--brief"]);
        let wanted = if mark { "    1?up   Join-Request" } else { "    1 up   Join-Request" };
        assert!(brief.starts_with(wanted), "{brief}");
        let (csv, ..) = read_text(&[file, "--csv"]);
        let rows: Vec<Vec<&str>> = csv.lines().map(|row| row.split(',').collect()).collect();
        assert_eq!(rows[0].last(), Some(&"guessed"));
        assert_eq!(rows[1].last(), Some(&if mark { "true" } else { "false" }));
        assert_eq!(read(&[file]).frames[0]["input"]["guessed"] == true, mark);
    }
}

#[test]
fn two_forms_of_output_at_once_are_refused() {
    for pair in [
        ["--csv", "--brief"],
        ["--json", "--csv"],
        ["--json", "--brief"],
        ["--working", "--csv"],
        ["--working", "--brief"],
    ] {
        let (text, words, status) = read_text(&[&[UPLINK], &pair[..]].concat());
        assert_eq!((text.as_str(), status), ("", 2), "{pair:?}");
        assert!(words.contains("cannot be used with"), "{words}");
    }
}

#[test]
fn many_frames_octet_by_octet_hint_at_the_shorter_way() {
    let folder = Folder::new("many");
    let few = folder.file("few.txt", &format!("{UPLINK}\n").repeat(20));
    let many = folder.file("many.txt", &format!("{UPLINK}\n").repeat(21));
    let hint = "--brief prints one line each";
    assert!(!read_text(&[&few]).1.contains(hint));
    assert!(read_text(&[&many]).1.contains(hint));
    assert!(!read_text(&[&many, "--brief"]).1.contains(hint));
    assert!(!read_text(&[&many, "--json"]).1.contains(hint));
}
