//! `read` and `diagnose` say the same of every frame: whether its MIC holds, with which counter, under
//! which keys. Both search by one rule, and this holds them to it.

use std::{
    collections::BTreeMap,
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
    process::Command,
};

use crate::common::{GATEWAY, later, sent};
use handfast::{
    crypto::{block::UplinkContext, mic},
    frame::{DataFrame, Direction, FCtrl, FType, Frame, Payload, decode},
    id::DevAddr,
    intake::{Capture, Crc, Event, Item, When},
    reading::{Context, CounterHint, KeyRing, MicVerdict, Reading, Sessions},
    roster::{self, Roster},
    trace::{Data, Trace, Tracer},
};
use serde_json::Value;

/// What is said of a data frame whose MIC holds: its counter, and the integrity keys by their names.
type Said = (u32, Vec<String>);

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A roster of one node whose record states a session.
fn roster_of(dev_addr: DevAddr, keys: &serde_json::Map<String, Value>) -> Option<Roster> {
    let names = [
        ("NwkSKey", "nwk-s-key"),
        ("AppSKey", "app-s-key"),
        ("FNwkSIntKey", "f-nwk-s-int-key"),
        ("SNwkSIntKey", "s-nwk-s-int-key"),
        ("NwkSEncKey", "nwk-s-enc-key"),
    ];
    let mut text = format!(
        "region = 'EU868'\n[[node]]\nname = 'probe-01'\n[node.record]\nactivation = 'ABP'\n\
         dev-addr = '{dev_addr}'\n"
    );
    for (name, member) in names {
        if let Some(key) = keys.get(name).and_then(Value::as_str) {
            writeln!(text, "{member} = '{key}'").unwrap();
        }
    }
    let whole_1_1 = ["FNwkSIntKey", "SNwkSIntKey", "NwkSEncKey"].map(|key| keys.contains_key(key));
    let states = keys.contains_key("NwkSKey") || whole_1_1 == [true; 3];
    states.then(|| roster::parse(&text, None).unwrap())
}

/// What `read` says of a data frame.
fn read_says(reading: &Reading) -> Option<Said> {
    let MicVerdict::Holds(proof) = &reading.found.mic else { return None };
    let keys = proof.key.split('+').map(str::to_owned).collect();
    Some((reading.found.fcnt32?, keys))
}

/// What `diagnose` rests on, by the octets of the frame.
fn trace_says(trace: &Trace) -> BTreeMap<Vec<u8>, Said> {
    let mut out = BTreeMap::new();
    for session in trace.nodes.iter().flat_map(|node| node.sessions.iter()) {
        for seen in session.frames.iter().filter(|seen| !seen.held.half) {
            let octets = match &seen.data {
                Data::Up { heard, .. } => heard.octets.to_vec(),
                Data::Down { sending, .. } => sending.octets.to_vec(),
            };
            let verified = seen.verified().expect("the proof is of this frame");
            let keys = verified.proof().by().name().split('+').map(str::to_owned).collect();
            out.insert(octets, (seen.held.fcnt, keys));
        }
    }
    out
}

fn event_of(octets: &[u8], direction: Direction) -> Event {
    match direction {
        Direction::Uplink => later(1, octets),
        Direction::Downlink => sent(1, Some(0), Some(GATEWAY), When::Counter(5_000_000), octets),
    }
}

/// Reads one frame both ways; whether its MIC holds.
fn assert_agree(name: &str, octets: &[u8], roster: &Roster) -> Option<Said> {
    let decoded = decode(octets);
    let Some(Frame::Data(frame)) = &decoded.frame else { panic!("{name}: data") };
    let direction = frame.direction();
    let mut ring = KeyRing::default();
    ring.add_roster(roster);
    let event = event_of(octets, direction);
    let modulation = event.heard().and_then(|heard| heard.modulation);
    let context = Context { modulation, ..Context::default() };
    let read = Sessions::default().read(decoded, &ring, &context);
    let alone = handfast::reading::read(decode(octets), &ring, &context);
    let mut tracer = Tracer::new(roster);
    tracer.push(event);
    let followed = trace_says(&tracer.finish()).remove(octets);
    assert_eq!(read_says(&read), followed, "{name}: read, and diagnose");
    assert_eq!(read_says(&alone), followed, "{name}: one frame alone, and diagnose");
    followed
}

#[test]
fn read_and_diagnose_agree_on_every_frame_of_the_vectors() {
    let (mut held, mut all) = (0, 0);
    for folder in ["vectors/frames", "vectors/published"] {
        let mut files: Vec<PathBuf> =
            fs::read_dir(root().join(folder)).unwrap().map(|entry| entry.unwrap().path()).collect();
        files.sort();
        for file in files {
            let Ok(file) = serde_json::from_slice::<Value>(&fs::read(file).unwrap()) else {
                continue;
            };
            for item in file["items"].as_array().unwrap() {
                let Some(keys) = item["keys"].as_object() else { continue };
                let octets = hex::decode(item["phy_hex"].as_str().unwrap()).unwrap();
                let Some(Frame::Data(frame)) = decode(&octets).frame else { continue };
                let Some(roster) = roster_of(frame.dev_addr, keys) else { continue };
                let name = item["id"].as_str().unwrap();
                all += 1;
                held += usize::from(assert_agree(name, &octets, &roster).is_some());
            }
        }
    }
    assert!(all > 300 && held * 10 > all * 9, "{held} of {all} hold");
}

#[test]
fn read_and_diagnose_agree_on_every_frame_of_the_captures() {
    let mut held = 0;
    for folder in fs::read_dir(root().join("vectors/join")).unwrap() {
        let folder = folder.unwrap().path();
        if !folder.is_dir() {
            continue;
        }
        let roster = roster::read_file(&folder.join("roster.toml")).unwrap();
        let mut ring = KeyRing::default();
        ring.add_roster(&roster);
        let mut tracer = Tracer::new(&roster);
        let mut sessions = Sessions::default();
        let mut read = BTreeMap::new();
        for item in Capture::new(fs::File::open(folder.join("capture.ndjson")).unwrap()) {
            let Item::Event(event) = item.unwrap() else { continue };
            let is_bad = event.heard().is_some_and(|heard| heard.crc == Crc::Bad);
            if let Some(frame) = event.frame().filter(|_| !is_bad) {
                let context = Context {
                    direction: event.direction(),
                    modulation: event.heard().and_then(|heard| heard.modulation),
                    ..Context::default()
                };
                let reading = sessions.read(frame.clone(), &ring, &context);
                let is_data = matches!(reading.decoded.frame, Some(Frame::Data(_)));
                if let Some(said) = read_says(&reading).filter(|_| is_data) {
                    read.insert(reading.decoded.octets.clone(), said);
                }
            }
            tracer.push(event);
        }
        let followed = trace_says(&tracer.finish());
        held += followed.len();
        for (octets, said) in &followed {
            // What no standard derives is a mistake that diagnose looks for; read knows the standard's.
            if let Some(read) = read.get(octets) {
                assert_eq!(read, said, "{}: {}", folder.display(), hex::encode(octets));
            }
        }
        for (octets, said) in &read {
            let also = followed.get(octets);
            assert_eq!(also, Some(said), "{}: {}", folder.display(), hex::encode(octets));
        }
    }
    assert!(held > 40, "{held} frames hold");
}

const KEY: &str = "5a1fe2c4907b3d86e1f20c9b74ad3851";

fn far_frame(fcnt: u32) -> (Vec<u8>, Roster) {
    let dev_addr = DevAddr(0x0200_0B17);
    let mut frame = DataFrame::new(FType::UnconfirmedDataUp, dev_addr, (fcnt & 0xFFFF) as u16);
    frame.payload = Some(Payload { port: 2, frm: vec![0x17, 0x2A, 0x01] });
    frame.mic = mic::data_1_0(&KEY.parse().unwrap(), &frame, fcnt);
    let keys = [("NwkSKey".to_owned(), Value::from(KEY))].into_iter().collect();
    (Frame::Data(frame).build(), roster_of(dev_addr, &keys).unwrap())
}

#[test]
fn a_counter_of_years_is_found_by_both() {
    for fcnt in [0, 0x0001_FFFF, 0x0010_0001, 0x0100_0001, 19_660_801, u32::MAX] {
        let (octets, roster) = far_frame(fcnt);
        let said = assert_agree(&fcnt.to_string(), &octets, &roster);
        assert_eq!(said, Some((fcnt, vec!["NwkSKey".to_owned()])));
    }
}

#[test]
fn keys_of_another_are_refused_by_both() {
    let (octets, _) = far_frame(19_660_801);
    let other = "5a1fe2c4907b3d86e1f20c9b74ad3852";
    let keys = [("NwkSKey".to_owned(), Value::from(other))].into_iter().collect();
    let roster = roster_of(DevAddr(0x0200_0B17), &keys).unwrap();
    assert_eq!(assert_agree("another key", &octets, &roster), None);
}

#[test]
fn after_a_far_counter_the_next_ones_are_near() {
    let mut ring = KeyRing::default();
    let mut sessions = Sessions::default();
    let mut tracer_events = Vec::new();
    let mut read = Vec::new();
    let (_, roster) = far_frame(0);
    ring.add_roster(&roster);
    for (line, fcnt) in (1..).zip(19_660_801..19_660_821) {
        let (octets, _) = far_frame(fcnt);
        let reading = sessions.read(decode(&octets), &ring, &Context::default());
        read.push(read_says(&reading).map(|(fcnt, _)| fcnt));
        tracer_events.push(later(line, &octets));
    }
    let wanted: Vec<_> = (19_660_801..19_660_821).map(Some).collect();
    assert_eq!(read, wanted);
    let trace = crate::common::trace(&roster, &tracer_events);
    assert_eq!(trace_says(&trace).len(), wanted.len());
}

/// A 1.1 uplink and a roster of its session.
fn modern(fcnt: u32, tx_dr: u8) -> (Vec<u8>, Roster) {
    let dev_addr = DevAddr(0x0200_0B18);
    let [forwarding, serving] = [KEY, "81d3a6f05c2b947e1f60d8c3b5a29e74"];
    let mut frame = DataFrame::new(FType::UnconfirmedDataUp, dev_addr, (fcnt & 0xFFFF) as u16);
    frame.payload = Some(Payload { port: 2, frm: vec![0x17, 0x2A, 0x01] });
    let uplink = UplinkContext { conf_fcnt: 0, tx_dr, tx_ch: 1 };
    let (f, s) = (forwarding.parse().unwrap(), serving.parse().unwrap());
    frame.mic = mic::data_up_1_1(&s, &f, &frame, fcnt, &uplink);
    let keys = [("FNwkSIntKey", forwarding), ("SNwkSIntKey", serving), ("NwkSEncKey", KEY)];
    let keys = keys.map(|(name, key)| (name.to_owned(), Value::from(key))).into_iter().collect();
    (Frame::Data(frame).build(), roster_of(dev_addr, &keys).unwrap())
}

#[test]
fn a_counter_of_1_1_is_searched_as_far_by_both() {
    // SF9 in EU868 is DR3. Beyond 256 upper halves two keys of 16 bits each would fit by accident.
    for (fcnt, found) in [(1, true), (0x0005_0001, true), (0x00FF_0001, true), (0x0100_0001, false)]
    {
        let (octets, roster) = modern(fcnt, 3);
        let said = assert_agree(&fcnt.to_string(), &octets, &roster);
        assert_eq!(said.map(|(fcnt, _)| fcnt), found.then_some(fcnt));
    }
}

#[test]
fn a_data_rate_other_than_the_one_received_at_is_refused_by_both_and_read_says_so() {
    let (octets, roster) = modern(7, 0);
    assert_eq!(assert_agree("TxDr 0", &octets, &roster), None);
    let mut ring = KeyRing::default();
    ring.add_roster(&roster);
    let modulation = "SF9BW125".parse().ok();
    let context = Context { modulation, ..Context::default() };
    let reading = handfast::reading::read(decode(&octets), &ring, &context);
    let MicVerdict::Unchecked(why) = &reading.found.mic else { panic!("{:?}", reading.found.mic) };
    assert!(why.to_string().contains("TxDr"), "{why}");
    // Where nobody says how it was received, the data rate is found.
    let alone = handfast::reading::read(decode(&octets), &ring, &Context::default());
    assert_eq!(read_says(&alone).map(|(fcnt, _)| fcnt), Some(7));
}

#[test]
fn an_acknowledgement_of_1_1_is_checked_with_the_counter_of_the_last_confirmed_uplink() {
    let [forwarding, serving] = [KEY, "81d3a6f05c2b947e1f60d8c3b5a29e74"];
    let (f, s) = (forwarding.parse().unwrap(), serving.parse().unwrap());
    let (_, roster) = modern(1, 3);
    let mut ring = KeyRing::default();
    ring.add_roster(&roster);
    let (mut sessions, mut tracer) = (Sessions::default(), Tracer::new(&roster));
    let context = Context { modulation: "SF9BW125".parse().ok(), ..Context::default() };
    let mut held = Vec::new();
    for (line, fcnt) in [(1, 21), (3, 22)] {
        let mut up = DataFrame::new(FType::ConfirmedDataUp, DevAddr(0x0200_0B18), fcnt);
        up.payload = Some(Payload { port: 2, frm: vec![1] });
        let uplink = UplinkContext { conf_fcnt: 0, tx_dr: 3, tx_ch: 1 };
        up.mic = mic::data_up_1_1(&s, &f, &up, fcnt.into(), &uplink);
        let mut down = DataFrame::new(FType::UnconfirmedDataDown, up.dev_addr, fcnt);
        down.fctrl = FCtrl::new(0x20);
        down.mic = mic::data_down_1_1(&s, &down, fcnt.into(), fcnt);
        for (frame, is_up) in [(up, true), (down, false)] {
            let octets = Frame::Data(frame).build();
            let reading = sessions.read(decode(&octets), &ring, &context);
            held.push(read_says(&reading).is_some());
            let micros = 10_000_000 * i64::try_from(line).unwrap() + 200_000;
            let slot = When::Counter(10_000_000 * u32::try_from(line).unwrap() + 1_000_000);
            tracer.push(if is_up {
                later(line, &octets)
            } else {
                sent(line + 1, Some(micros), Some(GATEWAY), slot, &octets)
            });
        }
    }
    assert_eq!(held, [true; 4]);
    assert_eq!(trace_says(&tracer.finish()).len(), 4);
}

#[test]
fn keys_that_explain_nothing_are_not_searched_for_ever() {
    let (_, roster) = far_frame(0);
    let mut ring = KeyRing::default();
    ring.add_roster(&roster);
    let mut sessions = Sessions::default();
    // Three frames of another node with the same address use up what may be searched.
    for n in 0..3 {
        let mut other = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(0x0200_0B17), n);
        other.payload = Some(Payload { port: 2, frm: vec![1] });
        let octets = Frame::Data(other).build();
        let reading = sessions.read(decode(&octets), &ring, &Context::default());
        assert!(matches!(reading.found.mic, MicVerdict::Fails(_)));
    }
    let reading = sessions.read(decode(&far_frame(19_660_801).0), &ring, &Context::default());
    assert_eq!(read_says(&reading), None);
    // It does not say more than was tried: only counters near the last one, and how to try another.
    let MicVerdict::Fails(tried) = &reading.found.mic else { panic!("{:?}", reading.found.mic) };
    assert!(tried.iter().all(|one| one.near_only));
    let near = sessions.read(decode(&far_frame(65_537).0), &ring, &Context::default());
    assert_eq!(read_says(&near).map(|(fcnt, _)| fcnt), Some(65_537));
    let given = Context { fcnt: Some(CounterHint(300)), ..Context::default() };
    let reading = sessions.read(decode(&far_frame(19_660_801).0), &ring, &given);
    assert_eq!(read_says(&reading).map(|(fcnt, _)| fcnt), Some(19_660_801));
}

#[test]
fn the_program_says_the_same_by_both_commands() {
    let fcnt = 19_660_801;
    let (octets, _) = far_frame(fcnt);
    let folder = std::env::temp_dir().join(format!("handfast-agree-{}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    let (roster, capture) = (folder.join("r.toml"), folder.join("c.txt"));
    let text = format!(
        "region = 'EU868'\n[[node]]\nname = 'probe-01'\n[node.record]\nactivation = 'ABP'\n\
         dev-eui = '020000FFFE0A0001'\nmac-version = '1.0.3'\ndev-addr = '02000B17'\n\
         nwk-s-key = '{KEY}'\n"
    );
    fs::write(&roster, text).unwrap();
    fs::write(&capture, format!("{}\n", hex::encode(&octets))).unwrap();
    let run = |command: &str| {
        let output = Command::new(env!("CARGO_BIN_EXE_handfast"))
            .arg(command)
            .arg(&capture)
            .args(["--json", "--roster"])
            .arg(&roster)
            .output()
            .unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    let read: Value = serde_json::from_str(run("read").lines().next().unwrap()).unwrap();
    assert_eq!(read["mic"]["state"], "holds", "{read}");
    assert_eq!(read["fcnt32"], fcnt, "{read}");
    let diagnosed = run("diagnose");
    let is_proven = |line: &str| {
        let node: Value = serde_json::from_str(line).unwrap();
        let rungs = node["session"]["rungs"].as_array().cloned().unwrap_or_default();
        rungs.iter().any(|rung| rung["rung"] == "authentic" && rung["state"] == "proven")
    };
    assert!(diagnosed.lines().any(is_proven), "{diagnosed}");
}
