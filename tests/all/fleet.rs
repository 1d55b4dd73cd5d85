//! A fleet's capture: the same bytes for any number of threads, a page of counts, a status for pipelines.

use std::fmt::Write as _;

use assert_cmd::Command;
use base64::{Engine, engine::general_purpose::STANDARD};
use handfast::{
    crypto::mic,
    frame::{Frame, JoinRequest},
    id::{DevEui, DevNonce, Eui64, JoinEui},
    key::AppKey,
};
use serde_json::Value;

const NODES: u64 = 48;

/// Requests of many probes, of which every third has a digit of its key wrong on record, and their roster.
fn fleet() -> (String, String) {
    let (mut capture, mut roster) = (String::new(), "region = 'EU868'\n".to_owned());
    for n in 0..NODES {
        let mut key = [0x5C; 16];
        key[..8].copy_from_slice(&(n.wrapping_mul(0x9E37_79B9_7F4A_7C15)).to_be_bytes());
        let root = AppKey::from(key);
        // Far apart, so that none is taken for another's typing error.
        let eui = 0x0200_0000_0000_0000 | n.wrapping_mul(0x0000_9E37_79B9_7F4B) & 0xFFFF_FFFF_FFFF;
        let dev_eui = DevEui(Eui64::new(eui.to_be_bytes()));
        let join_eui = JoinEui("020000FFFE0B0001".parse().unwrap());
        for nonce in [7, 8] {
            let mut request = JoinRequest::new(join_eui, dev_eui, DevNonce(nonce));
            request.mic = mic::join_request(&root, &request);
            let octets = Frame::JoinRequest(request).build();
            let second = n + u64::from(nonce - 7) * 100;
            writeln!(
                capture,
                r#"{{"at":"2026-03-02T08:{:02}:{:02}Z","gateway":"020000fffea00001","kind":"PUSH_DATA","token":"0001","datagram":{{"rxpk":[{{"tmst":{},"freq":868.1,"stat":1,"modu":"LORA","datr":"SF7BW125","codr":"4/5","rssi":-84,"lsnr":7.5,"size":23,"data":"{}"}}]}}}}"#,
                second / 60,
                second % 60,
                second * 1_000_000,
                STANDARD.encode(&octets)
            )
            .unwrap();
        }
        if n % 3 == 0 {
            key[15] ^= 0x10;
        }
        writeln!(
            roster,
            "[[node]]\nname = 'probe-{n:02}'\n[node.record]\ndev-eui = '{}'\njoin-eui = \
             '020000fffe0b0001'\napp-key = '{}'\nmac-version = '1.0.3'",
            dev_eui.hex(),
            hex::encode(key)
        )
        .unwrap();
    }
    (capture, roster)
}

/// Returns status and standard output of `diagnose` of the fleet.
fn diagnose(args: &[&str]) -> (Option<i32>, String) {
    let (capture, roster) = fleet();
    let name = format!("handfast-fleet-{}-{}.toml", std::process::id(), args.concat());
    let file = std::env::temp_dir().join(name);
    std::fs::write(&file, roster).unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(["diagnose", "-", "--digits", "1", "--roster"])
        .arg(&file)
        .args(args)
        .write_stdin(capture)
        .output()
        .unwrap();
    std::fs::remove_file(&file).unwrap();
    (run.status.code(), String::from_utf8(run.stdout).unwrap())
}

#[test]
fn any_number_of_threads_says_the_same() {
    for form in [&["--json"][..], &[], &["--full"], &["--summary"]] {
        let with = |threads: &str| diagnose(&[form, &["--threads", threads]].concat());
        let one = with("1");
        assert_eq!(one.0, Some(1));
        assert!(one.1.len() > 200);
        assert_eq!(with("2"), one, "{form:?}");
        assert_eq!(with("16"), one, "{form:?}");
    }
}

#[test]
fn a_summary_counts_outcomes_and_causes_and_names_the_worst() {
    let (status, text) = diagnose(&["--summary", "--json"]);
    assert_eq!((status, text.lines().count()), (Some(1), 1));
    let all: Value = serde_json::from_str(&text).unwrap();
    let summary = &all["summary"];
    assert_eq!(summary["nodes"]["count"], 48);
    assert_eq!(summary["nodes"]["outcomes"]["never-joined"], 16);
    let typed = summary["causes"].as_array().unwrap().iter();
    let typed: Vec<&Value> = typed.filter(|of| of["id"] == "app-key-typed-wrong").collect();
    assert_eq!((typed[0]["nodes"].as_u64(), typed[0]["certain"].as_u64()), (Some(16), Some(16)));
    let worst = summary["nodes"]["worst"].as_array().unwrap();
    assert_eq!(worst.len(), 10);
    assert!(worst.iter().all(|node| node["causes"][0] == "app-key-typed-wrong"), "{worst:?}");
    // Every node is counted once, and the outcomes are those of the ladders.
    let (_, ladders) = diagnose(&["--json"]);
    let outcomes: Vec<String> = ladders
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).unwrap())
        .filter(|object| object.get("node").is_some())
        .map(|object| object["outcome"].as_str().unwrap().to_owned())
        .collect();
    for (outcome, count) in summary["nodes"]["outcomes"].as_object().unwrap() {
        let found = outcomes.iter().filter(|one| *one == outcome).count();
        assert_eq!(count.as_u64(), Some(found as u64), "{outcome}");
    }
    assert_eq!(outcomes.len(), 48);
}

#[test]
fn a_pipeline_may_ask_for_status_0_where_a_fault_is_found() {
    let (plain, text) = diagnose(&["--json"]);
    let (zero, same) = diagnose(&["--json", "--exit-zero"]);
    assert_eq!((plain, zero), (Some(1), Some(0)));
    assert_eq!(text, same);
    // What is wrong with an input is not a fault that was found.
    let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(["diagnose", "no-such-file.ndjson", "--exit-zero"])
        .output()
        .unwrap();
    assert_eq!(run.status.code(), Some(2));
}
