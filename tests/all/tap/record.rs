//! What is recorded reads back to the same verdict, in whole lines, whatever becomes of disk and tap.

use std::{
    collections::BTreeMap,
    fs,
    net::{SocketAddr, UdpSocket},
    path::{Path, PathBuf},
    process::Command,
};

use handfast::{
    explore::near_miss::Effort,
    intake::{Capture, Event, Item},
    ladder::{Options, diagnose},
    roster::{self, Roster},
    trace::Tracer,
};
use jiff::{SignedDuration, Timestamp};
use serde_json::Value;

use super::stage::{
    EUI, PULL_DATA, PUSH_ACK, PUSH_DATA, TX_ACK, Tap, from_gateway, from_server, heard, receive,
    socket,
};

/// A folder that is removed at the end.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("handfast-tap-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str) -> String {
        self.0.join(name).to_str().unwrap().to_owned()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn events(path: &Path) -> Vec<Event> {
    Capture::new(fs::File::open(path).unwrap())
        .map(|item| match item.unwrap() {
            Item::Event(event) if event.gap().is_none() => event,
            other => panic!("{}: {other:?}", path.display()),
        })
        .collect()
}

/// The tokens of the datagrams.
fn tokens(path: &Path) -> Vec<u16> {
    let events = events(path).into_iter().filter(|event| event.place.index == 0);
    events.map(|event| event.wire.token.unwrap()).collect()
}

/// For every node: how it ended, where it broke, why.
type Verdict = Vec<(String, Option<&'static str>, Vec<&'static str>)>;

fn verdict(events: &[Event], roster: &Roster) -> Verdict {
    let mut tracer = Tracer::new(roster);
    events.iter().cloned().for_each(|event| tracer.push(event));
    let effort = Effort { max_digits: 1, ..Effort::default() };
    let all = diagnose(&tracer.finish(), roster, Options { plan: None, effort });
    let of = |d: &handfast::ladder::Diagnosis| {
        let broken = d.first_broken().map(handfast::ladder::Place::rung);
        (d.outcome.name().to_owned(), broken, d.causes.iter().map(|v| v.cause.id.name()).collect())
    };
    all.iter().map(of).collect()
}

/// Plays a capture through a tap: each line is sent by its side, and met unchanged at the other.
fn play(capture: &str, tap: &Tap, server: &UdpSocket) {
    let mut gateways: BTreeMap<String, (UdpSocket, Option<SocketAddr>)> = BTreeMap::new();
    for line in capture.lines() {
        let line: Value = serde_json::from_str(line).unwrap();
        let eui: [u8; 8] =
            hex::decode(line["gateway"].as_str().unwrap()).unwrap().try_into().unwrap();
        let (gateway, peer) = gateways.entry(hex::encode(eui)).or_insert_with(|| (socket(), None));
        let token = line["token"].as_str().unwrap_or("0000");
        let token = u16::from_str_radix(token, 16).unwrap();
        let json = match &line["datagram"] {
            Value::Null => String::new(),
            body => body.to_string(),
        };
        let kind = match line["kind"].as_str().unwrap() {
            "PUSH_DATA" => PUSH_DATA,
            "PULL_DATA" => PULL_DATA,
            "TX_ACK" => TX_ACK,
            "PUSH_ACK" => PUSH_ACK,
            "PULL_RESP" => 3,
            _ => 4,
        };
        if [PUSH_DATA, PULL_DATA, TX_ACK].contains(&kind) {
            let octets = from_gateway(kind, token, eui, &json);
            gateway.send_to(&octets, tap.port).unwrap();
            let (got, from) = receive(server);
            assert_eq!(got, octets);
            *peer = Some(from);
            continue;
        }
        if peer.is_none() {
            // A server knows a gateway by what it sent; here that is before the capture.
            let octets = from_gateway(PULL_DATA, 0, eui, "");
            gateway.send_to(&octets, tap.port).unwrap();
            *peer = Some(receive(server).1);
        }
        let octets = from_server(kind, token, &json);
        server.send_to(&octets, peer.unwrap()).unwrap();
        assert_eq!(receive(gateway).0, octets);
    }
}

/// How each node stood at last, by the events that were told.
fn standings(out: &[String]) -> BTreeMap<String, (String, Option<String>)> {
    let mut standings = BTreeMap::new();
    for line in out {
        let told: Value = serde_json::from_str(line).unwrap();
        if told["event"] == "ladder" {
            // The join ladder before the session's; a node of ABP has no join ladder.
            let ladders = [&told["rungs"], &told["session"]["rungs"]];
            let rungs = ladders.into_iter().filter_map(Value::as_array).flatten();
            let broken = rungs.into_iter().find(|rung| rung["state"] == "broken");
            let broken = broken.map(|rung| rung["rung"].as_str().unwrap().to_owned());
            let outcome = told["outcome"].as_str().unwrap().to_owned();
            let name = told["node"]["name"].as_str().unwrap_or_default().to_owned();
            standings.insert(name, (outcome, broken));
        }
    }
    standings
}

#[test]
fn a_recorded_relay_gets_the_verdict_of_its_source() {
    let folder = Folder::new("verdict");
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/join");
    let mut folders: Vec<PathBuf> =
        fs::read_dir(root).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_dir()).collect();
    folders.sort();
    let (mut same, mut wrong) = (0, Vec::new());
    for case in &folders {
        let name = case.file_name().unwrap().to_str().unwrap();
        let source = case.join("capture.ndjson");
        let roster = roster::read_file(&case.join("roster.toml")).unwrap();
        let record = folder.file(&format!("{name}.ndjson"));
        let server = socket();
        let at = server.local_addr().unwrap().to_string();
        let file = case.join("roster.toml");
        let tap = Tap::start(&[
            "--relay",
            &at,
            "--record",
            &record,
            "--json",
            "--roster",
            file.to_str().unwrap(),
        ]);
        play(&fs::read_to_string(&source).unwrap(), &tap, &server);
        let live = standings(&tap.interrupt().out);
        let recorded = verdict(&events(Path::new(&record)), &roster);
        // The play takes milliseconds where the capture took minutes: the same lines with such times
        // are what the recording must equal; where the times decide nothing that is the source's verdict.
        let mut source = events(&source);
        let in_truth = verdict(&source, &roster);
        let begin = Timestamp::now();
        let mut ms = -1;
        for event in &mut source {
            ms += i64::from(event.place.index == 0);
            event.time = Some(begin + SignedDuration::from_millis(ms));
        }
        let hurried = verdict(&source, &roster);
        if recorded != hurried {
            wrong.push(format!("{name}: {recorded:?} instead of {hurried:?}"));
        }
        same += usize::from(hurried == in_truth);
        for (node, (outcome, broken, _)) in roster.nodes.iter().zip(&recorded) {
            // Of a node that is not heard nothing is told, and that no accept came is told when it cannot come
            // any more.
            if outcome != "not-heard" && *broken != Some("answered") {
                let wanted = Some((outcome.clone(), broken.map(str::to_owned)));
                let told = live.get(&node.name).cloned();
                if told != wanted {
                    wrong.push(format!("{name}: told {told:?} instead of {wanted:?}"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(same >= 25, "the verdict of only {same} of {} holds without times", folders.len());
}

#[test]
fn that_no_accept_came_is_told_once_both_windows_are_over() {
    let case = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/join/jf-38");
    let (server, roster) = (socket(), case.join("roster.toml"));
    let at = server.local_addr().unwrap().to_string();
    let mut tap = Tap::start(&["--relay", &at, "--json", "--roster", roster.to_str().unwrap()]);
    play(&fs::read_to_string(case.join("capture.ndjson")).unwrap(), &tap, &server);
    let told = tap.out_line(|line| {
        line.contains("\"event\":\"ladder\"")
            && line.contains("gateway-registered-under-another-eui")
    });
    // By the tap's own clock; a slow machine tells later.
    let at = |line: &str| -> Timestamp {
        let told: Value = serde_json::from_str(line).unwrap();
        let at = if told["event"] == "frame" { &told["radio"]["time"] } else { &told["at"] };
        at.as_str().unwrap().parse().unwrap()
    };
    let asked = tap.out_lines.iter().rev().find(|line| line.contains("\"join-request\"")).unwrap();
    let waited = at(&told).duration_since(at(asked));
    assert!(waited >= SignedDuration::from_secs(6), "an accept may come until then: {waited}");
    assert_eq!(tap.interrupt().exit, Some(1));
}

#[test]
fn a_screen_that_stands_still_stops_neither_gateways_nor_the_recording() {
    let folder = Folder::new("still");
    let file = folder.file("gateway.ndjson");
    let mut tap = Tap::start_unread(&["--json", "--record", &file]);
    let gateway = socket();
    // What is told of the first fills the pipe, and the screen stands still. The others fill the queue.
    let frame = &heard(1)[9..heard(1).len() - 2];
    let frames = vec![frame; 300].join(",");
    let json = format!("{{\"rxpk\":[{frames}],\"x\":\"{}\"}}", "a".repeat(3_000));
    for token in 0..800 {
        gateway.send_to(&from_gateway(PUSH_DATA, token, EUI, &json), tap.port).unwrap();
        assert_eq!(receive(&gateway).0, from_server(PUSH_ACK, token, ""));
    }
    tap.read();
    let ended = tap.interrupt();
    let passed_over = ended.count("not_decoded");
    assert!(passed_over > 100, "{passed_over} were not read");
    assert_eq!(ended.count("frames_up"), (800 - passed_over) * 300);
    assert_eq!((ended.count("recorded"), ended.count("not_recorded")), (800, 0));
    assert_eq!(tokens(Path::new(&file)).len(), 800);
}

#[test]
fn a_file_that_is_no_recording_is_left_alone() {
    let folder = Folder::new("no-recording");
    let roster = "# the orchard\n\nregion = \"EU868\"\n";
    let file = folder.file("orchard.toml");
    fs::write(&file, roster).unwrap();
    let refused = |args: &[&str], part: &str| {
        let args = [&["tap", "--listen", "127.0.0.1:0", "--for", "20s"], args].concat();
        let run = Command::new(env!("CARGO_BIN_EXE_handfast")).args(args).output().unwrap();
        let said = String::from_utf8(run.stderr).unwrap();
        assert_eq!(run.status.code(), Some(2), "{said}");
        assert!(said.split_whitespace().collect::<Vec<_>>().join(" ").contains(part), "{said}");
    };
    refused(&["--record", &file], "it is there already and is not a recording");
    // By another name, too.
    let other = folder.file("./orchard.toml");
    refused(&["--roster", &file, "--record", &other], "is read, and cannot be written");
    assert_eq!(fs::read_to_string(&file).unwrap(), roster);
    for text in ["{\"gateways\": []}\n", "# nothing but a comment\n", "\u{0}\u{1}\n", "{\n"] {
        fs::write(&file, text).unwrap();
        refused(&["--record", &file], "it is there already and is not a recording");
        assert_eq!(fs::read_to_string(&file).unwrap(), text);
    }
}

#[test]
fn a_recording_is_gone_on_with_after_a_crash_and_after_comments() {
    let folder = Folder::new("goes-on");
    let line = "{\"kind\":\"PULL_DATA\",\"token\":\"0001\"}\n";
    for (name, text) in [
        ("blank", "\n".to_owned()),
        ("comment", format!("# row 3\n{line}")),
        ("cut", "{\"at\":\"2026-03-02T08:0".to_owned()),
    ] {
        let file = folder.file(name);
        fs::write(&file, &text).unwrap();
        let tap = Tap::start(&["--json", "--record", &file]);
        let gateway = socket();
        gateway.send_to(&from_gateway(PULL_DATA, 2, EUI, ""), tap.port).unwrap();
        receive(&gateway);
        tap.interrupt();
        let now = fs::read_to_string(&file).unwrap();
        assert!(now.starts_with(&text) && now.contains("\"token\":\"0002\""), "{now}");
    }
}

#[test]
fn files_are_put_aside_by_size_and_no_line_is_cut_or_lost() {
    let folder = Folder::new("rotate");
    let file = folder.file("gateway.ndjson");
    fs::write(folder.file("gateway.ndjson.7"), "kept\n").unwrap();
    let tap = Tap::start(&["--json", "--record", &file, "--rotate", "2k"]);
    let gateway = socket();
    for token in 0..100 {
        let octets = from_gateway(PUSH_DATA, token, EUI, &heard(u32::from(token)));
        gateway.send_to(&octets, tap.port).unwrap();
        receive(&gateway);
    }
    let ended = tap.interrupt();
    assert_eq!((ended.exit, ended.count("recorded")), (Some(130), 100));
    assert_eq!(fs::read_to_string(folder.file("gateway.ndjson.7")).unwrap(), "kept\n");
    let mut all = Vec::new();
    let mut number = 8;
    loop {
        let aside = folder.file(&format!("gateway.ndjson.{number}"));
        if !Path::new(&aside).exists() {
            break;
        }
        let size = fs::metadata(&aside).unwrap().len();
        assert!((2_000..2_600).contains(&size), "{aside}: {size} bytes");
        all.extend(tokens(Path::new(&aside)));
        number += 1;
    }
    assert!(number > 10, "the last is .{}", number - 1);
    all.extend(tokens(Path::new(&file)));
    assert!(all.iter().copied().eq(0..100), "{all:?}");
}

#[test]
fn what_is_there_stays_and_a_last_line_cut_by_a_crash_is_ended() {
    let folder = Folder::new("append");
    let file = folder.file("gateway.ndjson");
    fs::write(&file, "{\"kind\":\"PULL_ACK\"}\n{\"kind\":\"PU").unwrap();
    let tap = Tap::start(&["--record", &file, "--count", "1"]);
    socket().send_to(&from_gateway(PULL_DATA, 1, EUI, ""), tap.port).unwrap();
    assert_eq!(tap.end().exit, Some(0));
    let text = fs::read_to_string(&file).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines[..2], ["{\"kind\":\"PULL_ACK\"}", "{\"kind\":\"PU"]);
    assert!(lines[2].contains("\"kind\":\"PULL_DATA\"") && lines.len() == 3, "{text}");
}

/// A packet of a pcap file of raw IPv4: ports from and to, and what UDP carries.
type Packet = (u16, u16, Vec<u8>);

/// Reads such a file as pcap-savefile(5) (a1b23c4d: nanoseconds), RFC 791 and RFC 768 lay it out.
fn packets(path: &str) -> Vec<Packet> {
    let file = fs::read(path).unwrap();
    let word = |at: usize| u32::from_le_bytes(file[at..at + 4].try_into().unwrap());
    assert_eq!((word(0), word(4), word(20)), (0xA1B2_3C4D, 0x0004_0002, 101));
    let (mut at, mut out) = (24, Vec::new());
    while at < file.len() {
        let length = word(at + 8) as usize;
        assert_eq!(word(at + 12) as usize, length, "no packet is cut");
        let ip = &file[at + 16..at + 16 + length];
        let half = |at: usize| u16::from_be_bytes([ip[at], ip[at + 1]]);
        assert_eq!((ip[0], ip[9], usize::from(half(2))), (0x45, 17, length));
        assert_eq!(usize::from(half(24)), length - 20);
        out.push((half(20), half(22), ip[28..].to_vec()));
        at += 16 + length;
    }
    out
}

#[test]
fn a_pcap_holds_both_ways_octet_for_octet_in_every_file() {
    let folder = Folder::new("pcap");
    let file = folder.file("gateway.pcap");
    fs::write(&file, "of somebody else").unwrap();
    let (server, gateway) = (socket(), socket());
    let at = server.local_addr().unwrap().to_string();
    let tap = Tap::start(&["--relay", &at, "--record", &file, "--rotate", "1k"]);
    let (here, there) = (gateway.local_addr().unwrap().port(), tap.port.port());
    let mut wanted = Vec::new();
    for token in 0..20 {
        // JSON that no line can hold has its place in a pcap.
        let json = if token % 5 == 0 { "{\"rxpk\":[".to_owned() } else { heard(u32::from(token)) };
        let up = from_gateway(PUSH_DATA, token, EUI, &json);
        gateway.send_to(&up, tap.port).unwrap();
        let (_, peer) = receive(&server);
        let down = from_server(PUSH_ACK, token, "");
        server.send_to(&down, peer).unwrap();
        receive(&gateway);
        wanted.extend([(here, there, up), (there, here, down)]);
    }
    assert_eq!(tap.signal("-TERM").exit, Some(143), "a service that is stopped ends in order, too");
    assert_eq!(fs::read_to_string(folder.file("gateway.pcap.1")).unwrap(), "of somebody else");
    let mut got = Vec::new();
    let mut number = 2;
    while Path::new(&folder.file(&format!("gateway.pcap.{number}"))).exists() {
        got.extend(packets(&folder.file(&format!("gateway.pcap.{number}"))));
        number += 1;
    }
    assert!(number > 3);
    got.extend(packets(&file));
    assert_eq!(got, wanted);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said_at_once_and_the_tap_goes_on() {
    let mut tap = Tap::start(&["--json", "--record", "/dev/full"]);
    let gateway = socket();
    gateway.send_to(&from_gateway(PUSH_DATA, 1, EUI, &heard(1)), tap.port).unwrap();
    receive(&gateway);
    let said = tap.err_line(|line| line.starts_with("error: /dev/full: recording ended"));
    // Its second line.
    let said = said + " " + tap.err_line(|line| line.starts_with("  ")).trim();
    assert!(said.ends_with("the tap goes on without it"), "{said}");
    for token in 2..12 {
        gateway.send_to(&from_gateway(PUSH_DATA, token, EUI, &heard(2)), tap.port).unwrap();
        assert_eq!(receive(&gateway).0, from_server(PUSH_ACK, token, ""));
    }
    let ended = tap.interrupt();
    assert_eq!(ended.exit, Some(2), "what was asked for could not be done");
    assert_eq!((ended.count("recorded"), ended.count("not_recorded")), (0, 11));
    assert_eq!(ended.count("frames_up"), 11);
}

#[cfg(unix)]
#[test]
fn a_recording_that_was_moved_or_removed_begins_again_and_says_so() {
    let folder = Folder::new("moved");
    let (file, moved) = (folder.file("gateway.ndjson"), folder.file("monday.ndjson"));
    let mut tap = Tap::start(&["--record", &file, "--json"]);
    let gateway = socket();
    let send = |token: u16, tap: &Tap| {
        gateway.send_to(&from_gateway(PUSH_DATA, token, EUI, &heard(1)), tap.port).unwrap();
        receive(&gateway);
    };
    let kept = |path: &str, count: usize| {
        let path = Path::new(path);
        let begun = std::time::Instant::now();
        while !fs::read_to_string(path).is_ok_and(|text| text.lines().count() >= count) {
            assert!(begun.elapsed().as_secs() < 60, "{}", path.display());
            std::thread::sleep(std::time::Duration::from_millis(10));
        }
    };
    send(1, &tap);
    kept(&file, 1);
    fs::rename(&file, &moved).unwrap();
    tap.err_line(|line| line.starts_with("note: ") && line.contains("gateway.ndjson"));
    send(2, &tap);
    kept(&file, 1);
    fs::remove_file(&file).unwrap();
    tap.err_line(|line| line.starts_with("note: ") && line.contains("gateway.ndjson"));
    send(3, &tap);
    kept(&file, 1);
    let ended = tap.interrupt();
    assert_eq!((ended.count("recorded"), ended.count("not_recorded")), (3, 0));
    assert_eq!((tokens(Path::new(&moved)), tokens(Path::new(&file))), (vec![1], vec![3]));
}

#[cfg(unix)]
#[test]
fn a_recording_killed_a_hundred_times_is_torn_nowhere_but_where_it_was_killed() {
    let folder = Folder::new("killed");
    let file = folder.file("gateway.ndjson");
    let gateway = socket();
    for turn in 0..100u16 {
        let tap = Tap::start(&["--record", &file, "--json"]);
        for token in 0..20 {
            gateway
                .send_to(&from_gateway(PUSH_DATA, 100 * turn + token, EUI, &heard(1)), tap.port)
                .unwrap();
        }
        std::thread::sleep(std::time::Duration::from_micros(u64::from(turn % 20) * 200));
        // Killed where it stands.
        drop(tap);
        let text = fs::read_to_string(&file).unwrap();
        let torn = text.split('\n').filter(|line| !line.is_empty());
        let torn: Vec<_> =
            torn.filter(|line| serde_json::from_str::<Value>(line).is_err()).collect();
        assert!(torn.len() <= usize::from(turn) + 1, "{torn:?}");
        for line in text.lines().filter(|line| !torn.contains(line)) {
            assert!(line.starts_with("{\"at\":"), "{line}");
        }
    }
    // What was torn was closed off: after it whole lines go on.
    let tap = Tap::start(&["--record", &file, "--json"]);
    gateway.send_to(&from_gateway(PUSH_DATA, 9, EUI, &heard(1)), tap.port).unwrap();
    receive_all(&gateway);
    tap.interrupt();
    let text = fs::read_to_string(&file).unwrap();
    assert!(serde_json::from_str::<Value>(text.lines().last().unwrap()).is_ok());
}

/// Takes what waits.
fn receive_all(socket: &UdpSocket) {
    receive(socket);
    while !super::stage::is_silent(socket) {}
}

#[cfg(unix)]
#[test]
fn a_file_that_is_no_recording_is_put_aside_by_force() {
    let folder = Folder::new("force");
    let file = folder.file("thesis.txt");
    fs::write(&file, "three years of work\n").unwrap();
    let tap = Tap::start(&["--record", &file, "--force", "--json"]);
    tap.interrupt();
    assert_eq!(fs::read_to_string(folder.file("thesis.txt.1")).unwrap(), "three years of work\n");
}
