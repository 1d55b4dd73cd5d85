//! Recorded packets through the binary: files and pipes in, `read --pcap` out, notes and exit status.

use std::path::PathBuf;

use assert_cmd::Command;
use serde_json::Value;

use crate::support::recording::{LINKS, Order, gzip, pcap, shots, zstd};
use crate::support::words::unfolded;

const CAPTURE: &str = include_str!("../../vectors/join/jf-01/capture.ndjson");

fn roster() -> String {
    format!("{}/vectors/join/jf-01/roster.toml", env!("CARGO_MANIFEST_DIR"))
}

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("handfast-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str, octets: &[u8]) -> String {
        let path = self.path(name);
        std::fs::write(&path, octets).unwrap();
        path
    }

    fn path(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

struct Run {
    out: String,
    words: String,
    status: i32,
}

fn run(args: &[&str], stdin: &[u8]) -> Run {
    let output = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(args)
        .env("NO_COLOR", "1")
        .write_stdin(stdin)
        .output()
        .unwrap();
    Run {
        out: String::from_utf8(output.stdout).unwrap(),
        words: unfolded(&String::from_utf8(output.stderr).unwrap()),
        status: output.status.code().unwrap(),
    }
}

fn file() -> Vec<u8> {
    let link = LINKS[0];
    let packets: Vec<_> =
        shots(CAPTURE, false).iter().map(|shot| (shot.at, link.packet(&shot.ip()))).collect();
    pcap(Order::Little, false, link.number, &packets)
}

#[test]
fn diagnose_takes_a_recording_from_a_file_and_from_a_pipe() {
    let folder = Folder::new("recording");
    let roster = roster();
    for (name, octets) in
        [("a.pcap", file()), ("a.pcap.gz", gzip(&file())), ("a.pcap.zst", zstd(&file()))]
    {
        let path = folder.file(name, &octets);
        let from_file = run(&["diagnose", "--full", &path, "--roster", &roster], b"");
        let from_pipe = run(&["diagnose", "--full", "-", "--roster", &roster], &octets);
        assert_eq!((from_file.status, from_pipe.status), (0, 0), "{}", from_file.words);
        assert_eq!(from_file.out, from_pipe.out);
        assert!(from_file.out.contains("packet 1 "), "{}", from_file.out);
        assert!(!from_file.out.contains("line "), "{}", from_file.out);
    }
}

#[test]
fn a_recording_that_was_cut_is_used_as_far_as_it_goes() {
    let whole = file();
    let cut = run(&["diagnose", "-", "--roster", &roster()], &whole[..whole.len() - 30]);
    assert_eq!(cut.status, 2);
    assert!(cut.words.contains("standard input, packet 8: byte "), "{}", cut.words);
    assert!(cut.words.contains("the capture ends within its packet"), "{}", cut.words);
    assert!(cut.out.contains("joined"), "{}", cut.out);
}

#[test]
fn what_is_passed_over_is_noted_and_changes_no_status() {
    let mut packets: Vec<_> =
        shots(CAPTURE, false).iter().map(|shot| (shot.at, LINKS[0].packet(&shot.ip()))).collect();
    packets.insert(0, (packets[0].0, vec![0xFF; 60]));
    packets.insert(2, packets[1].clone());
    let octets = pcap(Order::Big, true, 1, &packets);
    for command in
        [&["diagnose", "-", "--roster", &roster()][..], &["read", "-", "--roster", &roster()]]
    {
        let run = run(command, &octets);
        assert_eq!(run.status, 0, "{}", run.words);
        assert!(
            run.words.contains("1 of 10 packets passed over: other protocols"),
            "{}",
            run.words
        );
        assert!(
            run.words.contains("1 of 10 packets passed over: datagrams recorded a second time")
        );
    }
}

fn frames(run: &Run) -> Vec<Value> {
    let frames = run.out.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    frames
        .map(|mut frame| {
            // where it stands is another matter
            frame["input"] = Value::Null;
            frame
        })
        .collect()
}

#[test]
fn frames_written_to_a_file_of_packets_are_read_from_it_alike() {
    let folder = Folder::new("read-pcap");
    let capture = folder.file("capture.ndjson", CAPTURE.as_bytes());
    let path = folder.path("frames.pcap");
    let roster = roster();
    let first = run(&["read", &capture, "--json", "--roster", &roster, "--pcap", &path], b"");
    assert_eq!(first.status, 0, "{}", first.words);
    assert!(first.words.contains(&format!("6 frames written to {path}")), "{}", first.words);
    let again = run(&["read", &path, "--json", "--roster", &roster], b"");
    let words: Vec<_> = again.words.lines().filter(|line| !line.starts_with("caution: ")).collect();
    assert_eq!((again.status, words), (0, vec![]));
    // LoRaTap has no power to send with, and tells SNR in quarters of a decibel.
    let mut wanted = frames(&first);
    for frame in &mut wanted {
        let radio = frame["radio"].as_object_mut().unwrap();
        radio.remove("power");
        if let Some(snr) = radio.get("snr").and_then(Value::as_f64) {
            radio["snr"] = ((snr * 4.0).round() / 4.0).into();
        }
    }
    assert_eq!(frames(&again), wanted);
    let diagnosed = run(&["diagnose", &path, "--roster", &roster], b"");
    assert!(diagnosed.out.contains("joined"), "{}", diagnosed.out);
}

#[test]
fn frames_by_hand_have_no_time_and_an_input_is_never_written_over() {
    let folder = Folder::new("by-hand");
    let path = folder.path("frames.pcap");
    let written = run(&["read", "40DABB0102800200022721029DAEAF9EE9", "--pcap", &path], b"");
    assert_eq!(written.status, 0);
    assert!(written.words.contains("1 frame without a time"), "{}", written.words);
    let over = run(&["read", &path, "--pcap", &path], b"");
    assert_eq!(over.status, 2);
    assert!(over.words.contains("is read, and cannot be written"), "{}", over.words);
    assert_eq!(run(&["read", &path], b"").status, 0, "the file is still whole");
    let nowhere =
        run(&["read", "40DABB0102800200022721029DAEAF9EE9", "--pcap", "/nowhere/a.pcap"], b"");
    assert_eq!(nowhere.status, 2);
    assert!(
        nowhere.words.contains("--pcap: /nowhere/a.pcap cannot be written"),
        "{}",
        nowhere.words
    );
}
