//! The same five exchanges in every format lead to the same verdict.
//!
//! The exchanges are folders of `vectors/join`, each capture written anew in a format of the table below by the
//! library's writers or octet by octet, and read back through the one door for captures.

use std::{
    fs,
    path::{Path, PathBuf},
};

use handfast::{
    frame::Direction,
    intake::{
        Capture, DatagramKind, Event, Item, LoraTap, PassedOver, Position, Remark, Unit, Wire,
    },
    ladder::{Options, State, diagnose, join::Rung},
    radio::time_on_air,
    record::{CaptureLineWriter, DatagramPcap, FramePcap},
    roster,
    trace::Tracer,
};

use jiff::{SignedDuration, Timestamp};

use crate::support::{scene, written};

use crate::support::recording::{LINKS, Ng, Order, Shot, gzip, pcap, shots, zstd};

/// One healthy exchange, and four that stop at rungs of their own.
const EXCHANGES: [(&str, Option<&str>); 5] = [
    ("jf-02", None),
    ("jf-05", Some("identified")),
    ("jf-08", Some("authentic")),
    ("jf-19", Some("timely")),
    ("jf-23", Some("sent")),
];

/// A format: how a capture is written in it.
struct Format {
    name: &'static str,
    write: fn(&str) -> Vec<u8>,
    /// Exchanges that it cannot carry to the same verdict, and why.
    cannot: &'static [(&'static str, &'static str)],
}

const fn format(name: &'static str, write: fn(&str) -> Vec<u8>) -> Format {
    Format { name, write, cannot: &[] }
}

/// LoRaTap carries frames alone.
const NO_ACK: (&str, &str) = ("jf-23", "the gateway's refusal is not a frame");

/// The station protocol has no word for a downlink that is not sent.
const NO_REFUSAL: (&str, &str) = ("jf-23", "a station is silent about what it does not send");

const FORMATS: [Format; 22] = [
    format("capture lines", |text| text.as_bytes().to_vec()),
    format("capture lines written again", lines),
    format("capture lines in gzip", |text| gzip(text.as_bytes())),
    format("capture lines in zstd", |text| zstd(text.as_bytes())),
    format("recorded datagrams", |text| datagrams(text, false)),
    format("recorded datagrams, IPv6", |text| datagrams(text, true)),
    format("recorded datagrams in gzip", |text| gzip(&datagrams(text, false))),
    format("recorded datagrams in zstd", |text| zstd(&datagrams(text, false))),
    format("Ethernet, microseconds, little-endian", |text| link(text, "Ethernet", Order::Little)),
    format("Ethernet with two tags, big-endian", |text| link(text, "VLAN in VLAN", Order::Big)),
    format("Linux cooked", |text| link(text, "Linux cooked", Order::Little)),
    format("Linux cooked 2", |text| link(text, "Linux cooked 2", Order::Big)),
    format("loopback", |text| link(text, "null", Order::Little)),
    format("pcapng, little-endian", |text| blocks(text, Order::Little, Some(9))),
    format("pcapng, big-endian, powers of two", |text| blocks(text, Order::Big, Some(0xA0))),
    format("a forwarder's log", |text| written::forwarder_log(text, written::head).into_bytes()),
    format("a forwarder's log in local time", |text| {
        written::forwarder_log(text, written::local_head).into_bytes()
    }),
    format("a server's events", |text| written::events(text).into_bytes()),
    Format {
        name: "station messages",
        write: |text| written::station(text, |_| String::new()).into_bytes(),
        cannot: &[NO_REFUSAL],
    },
    Format {
        name: "station messages in a log",
        write: |text| written::station(text, written::head).into_bytes(),
        cannot: &[NO_REFUSAL],
    },
    Format { name: "LoRaTap", write: |text| frames(text, LoraTap::SCHEDULED), cannot: &[NO_ACK] },
    Format {
        name: "LoRaTap in gzip",
        write: |text| gzip(&frames(text, LoraTap::SCHEDULED)),
        cannot: &[NO_ACK],
    },
];

fn lines(text: &str) -> Vec<u8> {
    let mut out = CaptureLineWriter::new(Vec::new());
    for line in text.lines() {
        let line: serde_json::Value = serde_json::from_str(line).unwrap();
        let text = |name: &str| line[name].as_str().unwrap();
        let json =
            if line["datagram"].is_null() { String::new() } else { line["datagram"].to_string() };
        out.write(
            Some(text("at").parse().unwrap()),
            Some(text("gateway").parse().unwrap()),
            DatagramKind::by_name(text("kind")).unwrap(),
            u16::from_str_radix(text("token"), 16).ok(),
            json.as_bytes(),
        )
        .unwrap();
    }
    out.into_inner()
}

fn datagrams(text: &str, v6: bool) -> Vec<u8> {
    let mut out = DatagramPcap::new(Vec::new()).unwrap();
    for Shot { at, from, to, payload } in shots(text, v6) {
        out.write(at, from, to, &payload).unwrap();
    }
    out.into_inner()
}

fn link(text: &str, name: &str, order: Order) -> Vec<u8> {
    let link = LINKS.iter().find(|link| link.name == name).unwrap();
    let packets: Vec<_> =
        shots(text, false).iter().map(|shot| (shot.at, link.packet(&shot.ip()))).collect();
    pcap(order, false, link.number, &packets)
}

fn blocks(text: &str, order: Order, resolution: Option<u8>) -> Vec<u8> {
    let mut out = Ng::new(order);
    out.interface(1, resolution, 0);
    for shot in shots(text, false) {
        out.packet(0, shot.at, &LINKS[0].packet(&shot.ip()));
    }
    out.out
}

/// The events of a capture.
fn read(file: &[u8]) -> impl Iterator<Item = Event> {
    Capture::new(file).filter_map(|item| match item.unwrap() {
        Item::Event(event) => Some(event),
        Item::PassedOver(PassedOver::Lines { .. }) => None,
        other @ Item::PassedOver(_) => panic!("{other:?}"),
    })
}

fn frames(text: &str, tag: u16) -> Vec<u8> {
    let mut out = FramePcap::new(Vec::new()).unwrap();
    for event in read(text.as_bytes()) {
        let Some(frame) = event.frame() else { continue };
        let header = LoraTap { tag, ..LoraTap::of(&event) };
        out.write(event.time, &header, &frame.octets).unwrap();
    }
    out.into_inner()
}

fn folder(exchange: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/join").join(exchange)
}

fn capture(exchange: &str) -> String {
    fs::read_to_string(folder(exchange).join("capture.ndjson")).unwrap()
}

/// What is said of a node.
#[derive(Debug, Eq, PartialEq)]
struct Verdict {
    outcome: &'static str,
    broken: Option<&'static str>,
    causes: Vec<&'static str>,
    data: usize,
}

fn verdicts(exchange: &str, file: &[u8]) -> Vec<Verdict> {
    let roster = roster::read_file(&folder(exchange).join("roster.toml")).unwrap();
    let mut tracer = Tracer::new(&roster);
    for event in read(file) {
        let odd = event.notes.iter().find(|note| note.remark != Remark::NoZone);
        assert_eq!((odd, event.gap()), (None, None), "{exchange}");
        tracer.push(event);
    }
    let all = diagnose(&tracer.finish(), &roster, Options::default());
    let verdict = |d: &handfast::ladder::Diagnosis| Verdict {
        outcome: d.outcome.name(),
        broken: d.first_broken().map(handfast::ladder::Place::rung),
        causes: d.causes.iter().map(|v| v.cause.id.name()).collect(),
        data: d.data,
    };
    all.iter().map(verdict).collect()
}

#[test]
fn every_format_carries_the_same_five_exchanges_to_the_same_verdict() {
    for (exchange, broken) in EXCHANGES {
        let text = capture(exchange);
        let wanted = verdicts(exchange, text.as_bytes());
        assert_eq!(wanted[0].broken, broken, "{exchange}");
        for format in &FORMATS {
            let file = (format.write)(&text);
            match format.cannot.iter().find(|(id, _)| *id == exchange) {
                None => {
                    assert_eq!(verdicts(exchange, &file), wanted, "{exchange}: {}", format.name);
                }
                // What it lacks must not be made up.
                Some((_, why)) => assert_ne!(
                    verdicts(exchange, &file),
                    wanted,
                    "{exchange}: {} carries it after all ({why})",
                    format.name
                ),
            }
        }
    }
}

#[test]
fn a_downlink_heard_on_the_air_was_sent_and_tells_nothing_of_a_server() {
    // Heard as a receiver beside the node hears it: what goes down comes with the counter of its end, at that time.
    let text = capture("jf-02");
    let mut out = FramePcap::new(Vec::new()).unwrap();
    let mut asked = (Timestamp::UNIX_EPOCH, 0);
    for event in read(text.as_bytes()) {
        let Some(frame) = event.frame() else { continue };
        let mut header = LoraTap { tag: 0, ..LoraTap::of(&event) };
        let (mut at, mut counter) = (event.time.unwrap(), header.counter.unwrap());
        if event.direction() == Some(Direction::Downlink) {
            let length = frame.octets.len();
            let air = time_on_air(header.modulation.unwrap(), length, Direction::Downlink);
            counter += u32::try_from(air.unwrap().as_micros()).unwrap();
            let later = SignedDuration::from_micros(i64::from(counter - asked.1));
            at = asked.0.checked_add(later).unwrap();
        } else {
            asked = (at, counter);
        }
        header.counter = Some(counter);
        out.write(Some(at), &header, &frame.octets).unwrap();
    }
    let roster = roster::read_file(&folder("jf-02").join("roster.toml")).unwrap();
    let mut tracer = Tracer::new(&roster);
    read(&out.into_inner()).for_each(|event| tracer.push(event));
    let trace = tracer.finish();
    assert!(trace.gateways.values().all(|gateway| !gateway.hears_downlinks()));
    let all = diagnose(&trace, &roster, Options::default());
    assert_eq!(all[0].outcome.name(), "joined");
    assert!(all[0].causes.is_empty(), "{:?}", all[0].causes);
    for (rung, words) in [(Rung::Timely, "RX2, 6.000000 s after"), (Rung::Sent, "heard on the air")]
    {
        let judged = all[0].join_rung(rung).unwrap();
        assert_eq!(judged.state, State::Proven, "{judged:?}");
        assert!(scene::words(&judged.evidence).contains(words), "{judged:?}");
    }
}

// --- recorded packets by another hand ------------------------------------------------------------

/// The folder that `vectors/pcaps.py write` filled.
fn pcaps(exchange: &str) -> PathBuf {
    let folder: PathBuf = std::env::var_os("HANDFAST_PCAPS").expect("HANDFAST_PCAPS").into();
    folder.join(exchange)
}

/// What a capture says, whatever carried it.
fn said(file: &[u8]) -> Vec<Event> {
    let alike = |event: Event| {
        let wire = Wire { token: event.wire.token, ..Wire::default() };
        let place = Position { unit: Unit::Packet, ..event.place };
        Event { place, wire, ..event }
    };
    read(file).map(alike).collect()
}

#[test]
#[ignore = "needs packets that vectors/pcaps.py wrote: set HANDFAST_PCAPS"]
fn packets_of_a_general_purpose_library_read_to_the_same_events() {
    for (exchange, _) in EXCHANGES {
        let text = capture(exchange);
        let wanted = said(text.as_bytes());
        assert_eq!(said(&datagrams(&text, false)), wanted, "our own");
        let mut files = 0;
        for file in fs::read_dir(pcaps(exchange)).unwrap() {
            let path = file.unwrap().path();
            let name = path.display().to_string();
            assert_eq!(said(&fs::read(&path).unwrap()), wanted, "{name}");
            files += 1;
        }
        // seven link layers, two families, four kinds of pcap, pcapng, and that in gzip
        assert!(files >= 7 * 2 * 6, "{files} files of {exchange}");
    }
}

/// What a network says of datagrams that do not arrive: ICMP (RFC 792, RFC 4443) and DNS (RFC 1035), as a
/// general-purpose library writes them.
#[test]
#[ignore = "needs packets that vectors/pcaps.py wrote: set HANDFAST_PCAPS"]
fn what_the_network_says_is_read_from_packets_of_a_general_purpose_library() {
    let mut read = 0;
    let folder = pcaps("network").parent().unwrap().join("network.toml");
    fs::write(
        &folder,
        "region = \"EU868\"\n[[gateway]]\neui = \"020000fffeea0051\"\nserver = \"lns.orchard.example\"\n",
    )
    .unwrap();
    let roster = folder.to_str().unwrap();
    for file in fs::read_dir(pcaps("network")).unwrap() {
        let path = file.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let output = assert_cmd::Command::cargo_bin("handfast")
            .unwrap()
            .args(["diagnose", "--json", path.to_str().unwrap(), "--roster", roster])
            .output()
            .unwrap();
        let out = String::from_utf8(output.stdout).unwrap();
        let wanted = match name.split_once('-').unwrap().0 {
            "port" => "server-port-closed",
            "host" => "server-unreachable",
            _ => "server-name-not-resolved",
        };
        assert!(out.contains(&format!("\"id\":\"{wanted}\"")), "{name}: {out}");
        read += 1;
    }
    assert_eq!(read, 6);
}

#[test]
#[ignore = "writes packets for vectors/pcaps.py: set HANDFAST_PCAPS"]
fn our_packets_are_written_for_a_general_purpose_library() {
    let folder = pcaps("own");
    fs::create_dir_all(&folder).unwrap();
    for (exchange, _) in EXCHANGES {
        let file = folder.join(format!("{exchange}.pcap"));
        fs::write(file, datagrams(&capture(exchange), false)).unwrap();
    }
}

/// The files of `src/intake/` that read a format of their own: its rows in [`FORMATS`], and its fuzz target.
const READERS: [(&str, &[&str], &str); 6] = [
    ("forwarder", &["capture lines", "recorded datagrams"], "intake"),
    ("log", &["a forwarder's log", "a server's events"], "log"),
    ("loratap", &["LoRaTap"], "loratap"),
    ("packet", &["Linux cooked", "loopback"], "pcap"),
    ("pcap", &["recorded datagrams", "pcapng, little-endian"], "pcap"),
    ("station", &["station messages", "station messages in a log"], "station"),
];

/// The files that are a part of several, or stand around them.
const PARTS: [&str; 25] = [
    "capture",
    "console",
    "dns",
    "envelope",
    "error",
    "event",
    "header",
    "holdings",
    "item",
    "json",
    "lines",
    "member",
    "note",
    "octets",
    "plain",
    "rows",
    "shape",
    "stamp",
    "text",
    "text_capture",
    "texts",
    "time",
    "unpack",
    "wide",
    "words",
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The names of the files of a folder that end in `.rs`.
fn files(folder: &str) -> Vec<String> {
    let read = fs::read_dir(root().join(folder)).unwrap();
    let paths = read.map(|entry| entry.unwrap().path());
    let rust = paths.filter(|path| path.extension().is_some_and(|end| end == "rs"));
    let mut names: Vec<_> =
        rust.map(|path| path.file_stem().unwrap().to_str().unwrap().to_owned()).collect();
    names.sort();
    names
}

#[test]
fn every_reader_of_a_format_has_its_rows_and_its_fuzz_target() {
    let targets = files("fuzz/fuzz_targets");
    for file in files("src/intake") {
        let reader = READERS.iter().find(|(name, ..)| *name == file);
        assert!(
            reader.is_some() != PARTS.contains(&file.as_str()),
            "src/intake/{file}.rs: a format? give it a row here and a fuzz target"
        );
        let Some((_, rows, target)) = reader else { continue };
        for row in *rows {
            assert!(FORMATS.iter().any(|format| format.name == *row), "{file}: no row {row}");
        }
        assert!(targets.iter().any(|name| name == target), "{file}: no fuzz target {target}");
    }
}

#[test]
fn every_fuzz_target_runs_has_seeds_and_is_asked_again() {
    let text = |path: &str| fs::read_to_string(root().join(path)).unwrap();
    let (manifest, run) = (text("fuzz/Cargo.toml"), text("fuzz/run-short"));
    let (seeds, again) = (text("fuzz/seeds.py"), text("tests/all/vectors/fuzz.rs"));
    for target in files("fuzz/fuzz_targets") {
        assert!(manifest.contains(&format!("name = \"{target}\"")), "{target}: fuzz/Cargo.toml");
        let runs = run.split(|c: char| !c.is_alphanumeric()).any(|word| word == target);
        assert!(runs, "{target}: fuzz/run-short");
        assert!(seeds.contains(&format!("target == \"{target}\"")), "{target}: fuzz/seeds.py");
        assert!(again.contains(&format!("\"{target}\" =>")), "{target}: tests/all/vectors/fuzz.rs");
    }
}
