//! Selection of frames and nodes, CSV, and files that grow: through the binary, on the embedded
//! demonstration.

use std::{io::Write, path::PathBuf, process::Stdio};

use assert_cmd::{Command, cargo::cargo_bin};
use handfast::demo;
use serde_json::Value;

struct Files(PathBuf);

impl Files {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("handfast-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        std::fs::write(path.join("orchard.ndjson"), demo::CAPTURE).unwrap();
        std::fs::write(path.join("orchard.toml"), demo::ROSTER).unwrap();
        Self(path)
    }

    fn path(&self, name: &str) -> String {
        self.0.join(name).to_str().unwrap().to_owned()
    }

    /// Runs a command on the demo's files; returns its output, its words, its exit status.
    fn run(&self, args: &[&str]) -> (String, String, i32) {
        let mut command = Command::cargo_bin("handfast").unwrap();
        let out =
            command.args(args).args(["--roster", &self.path("orchard.toml")]).output().unwrap();
        (
            String::from_utf8(out.stdout).unwrap(),
            String::from_utf8(out.stderr).unwrap(),
            out.status.code().unwrap(),
        )
    }

    fn read(&self, more: &[&str]) -> Vec<Value> {
        let capture = self.path("orchard.ndjson");
        let (out, ..) = self.run(&[&["read", "--json", "--no-search", &capture], more].concat());
        out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    fn nodes(&self, more: &[&str]) -> Vec<Value> {
        let capture = self.path("orchard.ndjson");
        let (out, ..) = self.run(&[&["diagnose", "--json", &capture], more].concat());
        let all = out.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
        all.filter(|object| object.get("node").is_some()).collect()
    }
}

impl Drop for Files {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

#[test]
fn each_option_keeps_what_it_names_and_no_more() {
    let files = Files::new("selection");
    let all = files.read(&[]);
    let kept = |more: &[&str], wanted: &dyn Fn(&Value) -> bool| {
        let got = files.read(more);
        let by_hand: Vec<_> = all.iter().filter(|frame| wanted(frame)).cloned().collect();
        assert!(!got.is_empty() && got.len() < all.len(), "{more:?}: {}", got.len());
        assert_eq!(got, by_hand, "{more:?}");
    };
    kept(&["--message", "join-request"], &|f| f["message"] == "join-request");
    kept(&["--message", "join-request", "--message", "join-accept"], &|f| {
        f["message"] == "join-request" || f["message"] == "join-accept"
    });
    let gateway = all[0]["radio"]["gateway"].as_str().unwrap().to_owned();
    kept(&["--gateway", &gateway], &|f| f["radio"]["gateway"] == gateway.as_str());
    // The roster's name for 02-00-00-FF-FE-EA-88-FC.
    kept(&["--gateway", "barn"], &|f| f["radio"]["gateway"] == "020000fffeea88fc");
    let barn = files.nodes(&["--gateway", "barn"]);
    assert_eq!(barn, files.nodes(&["--gateway", "02-00-00-FF-FE-EA-88-FC"]));
    assert_ne!(barn, files.nodes(&[]));
    let times: Vec<&str> = all.iter().map(|f| f["radio"]["time"].as_str().unwrap()).collect();
    let (from, to) = (times[all.len() / 4], times[all.len() / 2]);
    let instant =
        |f: &Value| f["radio"]["time"].as_str().unwrap().parse::<jiff::Timestamp>().unwrap();
    let (first, last): (jiff::Timestamp, jiff::Timestamp) =
        (from.parse().unwrap(), to.parse().unwrap());
    kept(&["--from", from], &|f| instant(f) >= first);
    kept(&["--from", from, "--to", to], &|f| (first..last).contains(&instant(f)));
    kept(&["--node", "probe-01"], &|f| f["mic"]["node"] == "probe-01");
    let addr = all.iter().find_map(|f| f["fields"]["DevAddr"].as_str()).unwrap();
    kept(&["--node", addr], &|f| f["fields"]["DevAddr"] == addr);
}

#[test]
fn a_node_is_diagnosed_alone_as_among_the_others() {
    let files = Files::new("one-node");
    let all = files.nodes(&[]);
    for node in &all {
        let name = node["node"]["name"].as_str().or(node["node"]["dev_eui"].as_str()).unwrap();
        assert_eq!(files.nodes(&["--node", name]), std::slice::from_ref(node), "{name}");
    }
}

#[test]
fn a_name_that_nobody_has_is_an_error_with_the_nearest() {
    let files = Files::new("no-node");
    let capture = files.path("orchard.ndjson");
    for command in ["read", "diagnose"] {
        let (out, err, status) = files.run(&[command, &capture, "--node", "prob-01"]);
        assert_eq!((out.as_str(), status), ("", 2));
        assert!(err.contains("did you mean probe-01?"), "{err}");
        let (out, err, status) = files.run(&[command, &capture, "--gateway", "brn"]);
        assert_eq!((out.as_str(), status), ("", 2));
        assert!(err.contains("did you mean barn?"), "{err}");
        let span = ["--from", "2026-04-12", "--to", "2026-04-11"];
        let (out, err, status) = files.run(&[&[command, &capture], &span[..]].concat());
        assert_eq!((out.as_str(), status), ("", 2));
        assert!(err.contains("error: --from 2026-04-12T00:00:00Z is not before --to "), "{err}");
        let (_, err, status) = files.run(&[command, &capture, "--from", "noon"]);
        assert_eq!(status, 2);
        let words = err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains("a time is 2026-03-02T08:00:00Z"), "{err}");
    }
}

#[test]
fn what_was_before_is_left_out_of_the_judgement() {
    let files = Files::new("since");
    let joined = |nodes: &[Value]| nodes.iter().filter(|n| n["outcome"] == "joined").count();
    let all = files.nodes(&[]);
    // From the first frame on, nothing changes.
    assert_eq!(files.nodes(&["--since", "2026-04-01"]), all);
    assert_eq!(files.nodes(&["--since", "1d"]), all);
    // A session in use keeps the join that began it.
    let later = files.nodes(&["--since", "2026-04-11T06:32:00"]);
    assert!(joined(&later) >= 1 && joined(&later) <= joined(&all));
    let probe = later.iter().find(|n| n["node"]["name"] == "probe-01").unwrap();
    assert_eq!(probe["outcome"], "joined");
    assert!(probe["counted_only"]["data_frames"].as_u64().unwrap() > 0, "{probe}");
    let none = files.nodes(&["--since", "2026-05-01"]);
    assert_eq!(joined(&none), 0);
}

// RFC 4180: the same number of cells in every row, CR LF, quotes doubled.
#[test]
fn a_table_has_a_row_a_frame_and_the_values_of_json() {
    let files = Files::new("csv");
    let capture = files.path("orchard.ndjson");
    let frames = files.read(&[]);
    let (out, ..) = files.run(&["read", "--csv", "--no-search", &capture]);
    let rows: Vec<Vec<String>> = out.split_terminator("\r\n").map(cells).collect();
    let (head, rows) = rows.split_first().unwrap();
    assert_eq!(rows.len(), frames.len());
    let column = |name: &str| head.iter().position(|column| column == name).unwrap();
    for (row, frame) in rows.iter().zip(&frames) {
        assert_eq!(row.len(), head.len(), "{row:?}");
        let same = |name: &str, value: &Value| {
            let cell = row[column(name)].as_str();
            match value {
                Value::Null => assert_eq!(cell, "", "{name}"),
                Value::String(text) => assert_eq!(cell, text, "{name}"),
                other => assert_eq!(cell, other.to_string(), "{name}"),
            }
        };
        same("PHYPayload", &frame["PHYPayload"]);
        same("message", &frame["message"]);
        same("mic", &frame["mic"]["state"]);
        same("node", &frame["mic"]["node"]);
        same("gateway", &frame["radio"]["gateway"]);
        same("frequency_hz", &frame["radio"]["frequency"]);
        same("dev_eui", &frame["fields"]["DevEUI"]);
        same("dev_addr", &frame["fields"]["DevAddr"]);
        same("dev_nonce", &frame["fields"]["DevNonce"]);
        same("fcnt32", &frame["fcnt32"]);
        same("line", &frame["input"]["line"]);
    }
}

fn cells(row: &str) -> Vec<String> {
    let mut cells = vec![String::new()];
    let mut quoted = false;
    for c in row.chars() {
        match c {
            '"' => quoted = !quoted,
            ',' if !quoted => cells.push(String::new()),
            c => cells.last_mut().unwrap().push(c),
        }
    }
    cells
}

#[test]
fn a_file_that_grows_is_read_on() {
    use std::io::{BufRead, BufReader};
    let files = Files::new("follow");
    let growing = files.path("growing.txt");
    let request = "0001000BFEFF0000023C2B1AFEFF00000202012E269CF5\n";
    std::fs::write(&growing, request).unwrap();
    let mut child = std::process::Command::new(cargo_bin("handfast"))
        .args(["read", "--json", "--follow", "--file", &growing])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map(Result::unwrap);
    assert!(lines.next().unwrap().contains("\"line\":1"));
    std::fs::File::options()
        .append(true)
        .open(&growing)
        .unwrap()
        .write_all(request.as_bytes())
        .unwrap();
    assert!(lines.next().unwrap().contains("\"line\":2"));
    child.kill().unwrap();
    child.wait().unwrap();
}

/// `diagnose --follow` of one node, its objects as they come.
struct Watch(std::process::Child, std::sync::mpsc::Receiver<String>);

impl Watch {
    fn new(files: &Files, stdin: Stdio, captures: &[&str]) -> Self {
        use std::io::{BufRead, BufReader};
        let mut child = std::process::Command::new(cargo_bin("handfast"))
            .args(["diagnose", "--json", "--follow", "--digits", "1", "--node", "probe-01"])
            .args(["--roster", &files.path("orchard.toml")])
            .args(captures)
            .stdin(stdin)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let (give, take) = std::sync::mpsc::channel();
        std::thread::spawn(move || lines.for_each(|line| give.send(line.unwrap()).unwrap()));
        Self(child, take)
    }

    /// The next verdict; one that never comes fails the test.
    fn next(&mut self) -> Value {
        let line = self.1.recv_timeout(std::time::Duration::from_secs(60)).unwrap();
        serde_json::from_str(&line).unwrap()
    }

    /// The next that has this outcome: a file may be seen half written.
    fn until(&mut self, outcome: &str) -> Value {
        std::iter::repeat_with(|| self.next()).find(|node| node["outcome"] == outcome).unwrap()
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// The demonstration up to the first request, and the rest.
fn in_two() -> (String, String) {
    let all: Vec<_> = demo::CAPTURE.split_inclusive('\n').collect();
    let (first, rest) = all.split_at(6);
    (first.concat(), rest.concat())
}

#[test]
fn a_capture_that_grows_is_diagnosed_anew() {
    let files = Files::new("follow-capture");
    let growing = files.path("growing.ndjson");
    let (first, rest) = in_two();
    std::fs::write(&growing, &first).unwrap();
    let mut watch = Watch::new(&files, Stdio::null(), &[&growing]);
    let before = watch.next();
    assert_ne!(before["outcome"], "joined");
    let mut file = std::fs::File::options().append(true).open(&growing).unwrap();
    file.write_all(rest.as_bytes()).unwrap();
    let after = watch.next();
    assert_eq!(after["outcome"], "joined");
    // Nothing is counted again: it is the verdict of the whole file.
    let whole = files.nodes(&["--digits", "1", "--node", "probe-01"]);
    assert_eq!(after, whole[0]);
}

#[test]
fn two_captures_grow_side_by_side_and_one_may_be_replaced() {
    let files = Files::new("follow-two");
    let (quiet, growing) = (files.path("quiet.ndjson"), files.path("growing.ndjson"));
    let (first, _) = in_two();
    std::fs::write(&quiet, "").unwrap();
    std::fs::write(&growing, first + &"# filled up\n".repeat(10_000)).unwrap();
    let mut watch = Watch::new(&files, Stdio::null(), &[&quiet, &growing]);
    assert_ne!(watch.next()["outcome"], "joined");
    // Shorter than what was read: a recorder began anew.
    assert!(demo::CAPTURE.len() < 120_000);
    std::fs::write(&growing, demo::CAPTURE).unwrap();
    watch.until("joined");
}

#[test]
fn what_comes_through_a_pipe_is_diagnosed_as_it_comes() {
    let files = Files::new("follow-pipe");
    let mut watch = Watch::new(&files, Stdio::piped(), &["-"]);
    let mut pipe = watch.0.stdin.take().unwrap();
    let (first, rest) = in_two();
    pipe.write_all(first.as_bytes()).unwrap();
    watch.until("cannot-tell");
    pipe.write_all(rest.as_bytes()).unwrap();
    watch.until("joined");
    drop(pipe);
    assert_eq!(watch.0.wait().unwrap().code(), Some(0));
}

#[test]
fn a_capture_given_twice_says_what_it_says_once() {
    let files = Files::new("twice");
    let capture = files.path("orchard.ndjson");
    let one = files.run(&["diagnose", "--json", "--digits", "1", &capture]).0;
    let two = files.run(&["diagnose", "--json", "--digits", "1", &capture, &capture]).0;
    assert_eq!(one, two);
}

#[test]
fn what_the_options_leave_out_is_no_fault_of_the_node() {
    let files = Files::new("left-out");
    let capture = files.path("orchard.ndjson");
    let probe = ["diagnose", "--json", "--digits", "1", "--node", "probe-01", &capture];
    let whole = files.run(&probe);
    assert!(whole.0.contains("\"outcome\":\"joined\""), "{}", whole.0);
    let accept = demo::CAPTURE.lines().find(|line| line.contains("txpk")).unwrap();
    let accept: Value = serde_json::from_str(accept).unwrap();
    let sends = accept["gateway"].as_str().unwrap();
    let other = demo::CAPTURE
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).unwrap())
        .find_map(|line| Some(line["gateway"].as_str()?.to_owned()).filter(|eui| eui != sends))
        .unwrap();
    // The second gateway hears the request, and the accept leaves through the first.
    for options in [["--message", "join-request"], ["--gateway", &other]] {
        let (out, words, status) = files.run(&[&probe[..], &options].concat());
        let node: Value = serde_json::from_str(&out).unwrap();
        let answered = &node["rungs"][5];
        assert_eq!(answered["state"], "unknown", "{options:?} {node}");
        // What else is said of the other gateway is no matter of this test.
        let said: Vec<&str> = answered["evidence"]
            .as_array()
            .unwrap()
            .iter()
            .map(|fact| fact["text"].as_str().unwrap())
            .collect();
        assert!(said.iter().any(|text| text.contains("left out")), "{answered}");
        assert_eq!((&node["causes"], status), (&serde_json::json!([]), 0));
        assert!(words.contains("left out as not asked for"), "{words}");
    }
    // All of it was before.
    let (out, ..) = files.run(&[&probe[..], &["--from", "2027-01-01"]].concat());
    let node: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(node["outcome"], "not-heard");
    let words = node["rungs"][0]["evidence"][0]["text"].as_str().unwrap();
    assert!(words.contains("in what was asked for"), "{words}");
    assert!(node["next"][0].as_str().unwrap().contains("ask for the complete capture"), "{node}");
}

#[test]
fn captures_with_clocks_apart_are_set_right_with_a_word() {
    let files = Files::new("apart");
    let (first, second) = (files.path("orchard.ndjson"), files.path("second.ndjson"));
    // A second recorder at the second gateway, an hour ahead: what it hears the first one's hears as well.
    let moved = demo::CAPTURE.lines().filter(|line| line.contains("rxpk")).map(|line| {
        let mut line: Value = serde_json::from_str(line).unwrap();
        let at: jiff::Timestamp = line["at"].as_str().unwrap().parse().unwrap();
        line["at"] = (at + jiff::SignedDuration::from_hours(1)).to_string().into();
        line["gateway"] = "020000fffea0ffff".into();
        line.to_string() + "\n"
    });
    std::fs::write(&second, moved.collect::<String>()).unwrap();
    let probe = ["diagnose", "--json", "--digits", "1", "--node", "probe-01"];
    let (out, words, status) = files.run(&[&probe[..], &[&first, &second]].concat());
    let node: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((&node["outcome"], &node["causes"]), (&"joined".into(), &serde_json::json!([])));
    assert_eq!(status, 0);
    let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("second.ndjson: its clock seems 1h ahead, by"), "{words}");
}
