//! What servers, gateways and consoles say in words, through the whole program.

use assert_cmd::Command;

/// Returns the JSON lines of `diagnose` of a log, without a roster.
fn diagnose(log: &str) -> Vec<serde_json::Value> {
    let output = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(["diagnose", "-", "--region", "EU868", "--json"])
        .write_stdin(log)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn causes(objects: &[serde_json::Value]) -> Vec<(String, String)> {
    let of = |object: &serde_json::Value| object["causes"].as_array().cloned().unwrap_or_default();
    let word = |cause: &serde_json::Value, member: &str| cause[member].as_str().unwrap().to_owned();
    objects
        .iter()
        .flat_map(of)
        .map(|cause| (word(&cause, "id"), word(&cause, "certainty")))
        .collect()
}

#[test]
fn a_node_that_only_a_server_names_has_a_verdict() {
    let told = diagnose("2026-03-02T08:00:00Z unknown device 020000fffe001207, request dropped\n");
    assert_eq!(causes(&told), [("identity-not-on-record".to_owned(), "likely".to_owned())]);
    assert_eq!(told[0]["node"]["dev_eui"], "020000fffe001207");
    assert_eq!(told[0]["outcome"], "never-joined");
    assert_eq!(told[0]["causes"][0]["evidence"][0]["said_by"], "server");
    assert_eq!(told[0]["causes"][0]["evidence"][0]["at"][0]["line"], 1);
}

#[test]
fn words_that_leave_it_open_are_possible_at_most() {
    let told = diagnose("2026-03-02T08:00:00Z 020000fffe001207 join refused: invalid MIC\n");
    assert!(causes(&told).iter().all(|(_, certainty)| certainty == "possible"), "{told:?}");
    assert!(!told[0]["next"].as_array().unwrap().is_empty());
}

#[test]
fn near_misses_are_no_fault() {
    for line in [
        "2026-03-02T08:00:00Z 020000fffe001207 MIC is valid",
        "2026-03-02T08:00:00Z 020000fffe001207 DevNonce 7 is new, not used before",
        "2026-03-02T08:00:00Z device 020000fffe001207 is known and registered",
        "2026-03-02T08:00:00Z config: refuse unknown device 020000fffe001207",
        "Could it be that device 020000fffe001207 is unknown?",
    ] {
        assert_eq!(causes(&diagnose(&format!("{line}\n"))).len(), 0, "{line}");
    }
}

#[test]
fn a_node_that_an_address_alone_names_is_listed() {
    let log = "2026-03-02T08:00:00Z dev_addr=029c59c8 uplink refused: FCnt too low, got 0, last 3658\n\
               2026-03-02T08:01:00Z dev_addr=029c59c8 uplink refused: FCnt too low, got 1, last 3658\n";
    let told = diagnose(log);
    assert_eq!(told[0]["node"]["dev_addr"], "029c59c8");
    assert_eq!(told[0]["outcome"], "session-broken");
    assert_eq!(causes(&told), [("abp-counter-restarted".to_owned(), "possible".to_owned())]);
}

#[test]
fn a_downlink_that_the_gateway_calls_early_is_late_by_its_counters() {
    let log = |counter: u32, word: &str| {
        format!(
            "10:00:00 gateway 020000fffea09442 starts\n\
             10:00:05 downlink wanted at 361473295 us, len 17; counter is {counter}\n\
             10:00:05 downlink refused: {word}\n"
        )
    };
    let late = ("downlink-reached-the-gateway-too-late".to_owned(), "likely".to_owned());
    assert_eq!(causes(&diagnose(&log(361_540_853, "TOO_EARLY"))), std::slice::from_ref(&late));
    assert_eq!(causes(&diagnose(&log(361_540_853, "TOO_LATE"))), [late]);
    // The slot is still to come: what is said is so.
    assert_eq!(causes(&diagnose(&log(300_000_000, "TOO_EARLY"))).len(), 0);
    assert_eq!(causes(&diagnose(&log(361_540_853, "TX_POWER"))).len(), 0);
}
