//! How fast a long capture of many nodes is read and diagnosed, beside reading the file alone and
//! parsing its JSON alone, and in how much memory.
//!
//! `cargo bench --bench long`; `HANDFAST_BENCH_FRAMES` and `HANDFAST_BENCH_NODES` say how many
//! (1,000,000 and 10,000 when not set). The capture is written to the folder for temporary files.
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

use std::{
    fs::{self, File},
    io::{self, BufRead, BufReader, BufWriter, Read, Write},
    path::Path,
    process::{Command, Stdio},
    time::{Duration, Instant},
};

use base64::{Engine, engine::general_purpose::STANDARD};
use handfast::{
    crypto::{
        cipher::{AcceptKey, seal_join_accept},
        derive::{self, SessionKeys},
        mic,
    },
    frame::{
        DataFrame, DlSettings, FType, Frame, JoinAccept, JoinRequest, Mhdr, Mic, Payload, RxDelay,
    },
    id::{DevAddr, DevEui, DevNonce, Eui64, JoinEui, JoinNonce, NetId},
    key::{AppKey, NwkSKey},
};
use serde::Deserialize;

const GATEWAY: &str = "020000fffea00001";

struct Node {
    dev_eui: DevEui,
    root: [u8; 16],
    dev_addr: DevAddr,
    session: NwkSKey,
    accept: Vec<u8>,
    request: Vec<u8>,
}

fn eui(high: u64, n: u32) -> Eui64 {
    Eui64::new((high << 32 | u64::from(n)).to_be_bytes())
}

fn node(n: u32) -> Node {
    let mut key = [0x2B; 16];
    for (octet, of) in key.iter_mut().zip(n.to_be_bytes()) {
        *octet ^= of;
    }
    let root = AppKey::from(key);
    let (dev_eui, join_eui) = (DevEui(eui(0x0200_00FF, n)), JoinEui(eui(0x0200_00FE, 1)));
    let mut request = JoinRequest::new(join_eui, dev_eui, DevNonce(7));
    request.mic = mic::join_request(&root, &request);
    let mut accept = JoinAccept {
        mhdr: Mhdr::new(FType::JoinAccept),
        join_nonce: JoinNonce::new(1).expect("24 bits"),
        net_id: NetId::new(1).expect("24 bits"),
        dev_addr: DevAddr(0x0200_0000 | n),
        dl_settings: DlSettings(0),
        rx_delay: RxDelay(1),
        cf_list: None,
        mic: Mic([0; 4]),
    };
    accept.mic = mic::join_accept_1_0(&root, &accept);
    let keys = derive::session_1_0(&root, accept.join_nonce, accept.net_id, DevNonce(7));
    let SessionKeys::V1_0 { nwk_s_key: session, .. } = keys else { unreachable!("1.0.x") };
    let sealed = seal_join_accept(AcceptKey::join(&root), &accept);
    Node {
        dev_eui,
        root: key,
        dev_addr: accept.dev_addr,
        session,
        accept: Frame::JoinAccept(sealed).build(),
        request: Frame::JoinRequest(request).build(),
    }
}

fn data(node: &Node, fcnt: u32) -> Vec<u8> {
    let low = u16::try_from(fcnt & 0xFFFF).expect("16 bits");
    let mut frame = DataFrame::new(FType::UnconfirmedDataUp, node.dev_addr, low);
    frame.payload = Some(Payload { port: 2, frm: vec![1, 2, 3, 4, 5, 6, 7, 8] });
    frame.mic = mic::data_1_0(&node.session, &frame, fcnt);
    Frame::Data(frame).build()
}

fn heard(out: &mut impl Write, us: u64, octets: &[u8]) -> io::Result<()> {
    let (s, micros) = (us / 1_000_000, us % 1_000_000);
    let (day, hour, minute, second) = (s / 86_400, s / 3600 % 24, s / 60 % 60, s % 60);
    let tmst = us & 0xFFFF_FFFF;
    writeln!(
        out,
        r#"{{"at":"2026-03-{:02}T{hour:02}:{minute:02}:{second:02}.{micros:06}Z","gateway":"{GATEWAY}","kind":"PUSH_DATA","token":"353c","datagram":{{"rxpk":[{{"tmst":{tmst},"freq":868.1,"chan":0,"rfch":0,"stat":1,"modu":"LORA","datr":"SF7BW125","codr":"4/5","rssi":-84,"lsnr":7.5,"size":{},"data":"{}"}}]}}}}"#,
        day + 1,
        octets.len(),
        STANDARD.encode(octets)
    )
}

fn sent(out: &mut impl Write, us: u64, slot: u64, octets: &[u8]) -> io::Result<()> {
    let (s, micros) = (us / 1_000_000, us % 1_000_000);
    let (day, hour, minute, second) = (s / 86_400, s / 3600 % 24, s / 60 % 60, s % 60);
    let tmst = slot & 0xFFFF_FFFF;
    writeln!(
        out,
        r#"{{"at":"2026-03-{:02}T{hour:02}:{minute:02}:{second:02}.{micros:06}Z","gateway":"{GATEWAY}","kind":"PULL_RESP","token":"a1b2","datagram":{{"txpk":{{"imme":false,"tmst":{tmst},"freq":868.1,"rfch":0,"powe":14,"modu":"LORA","datr":"SF7BW125","codr":"4/5","ipol":true,"size":{},"data":"{}"}}}}}}"#,
        day + 1,
        octets.len(),
        STANDARD.encode(octets)
    )
}

fn write_capture(path: &Path, nodes: &[Node], frames: u64) -> io::Result<()> {
    let mut out = BufWriter::with_capacity(1 << 20, File::create(path)?);
    // Spread over three weeks, whatever their number.
    let step = 1_800_000_000_000 / frames.max(1);
    let mut us = 0;
    for node in nodes {
        heard(&mut out, us, &node.request)?;
        sent(&mut out, us + step / 4, us + 5_000_000, &node.accept)?;
        us += step;
    }
    let mut left = frames.saturating_sub(2 * u64::try_from(nodes.len()).expect("few"));
    for fcnt in 0.. {
        for node in nodes {
            if left == 0 {
                return out.flush();
            }
            heard(&mut out, us, &data(node, fcnt))?;
            us += step;
            left -= 1;
        }
    }
    Ok(())
}

fn write_roster(path: &Path, nodes: &[Node]) -> io::Result<()> {
    let mut out = BufWriter::new(File::create(path)?);
    writeln!(out, "region = \"EU868\"")?;
    for (n, node) in nodes.iter().enumerate() {
        writeln!(
            out,
            "[[node]]\nname = \"probe-{n:05}\"\n[node.record]\ndev-eui = \"{}\"\n\
             join-eui = \"020000fe00000001\"\napp-key = \"{}\"\nmac-version = \"1.0.3\"",
            node.dev_eui.hex(),
            hex::encode(node.root)
        )?;
    }
    out.flush()
}

/// The members of a line as a reader takes them that checks nothing and copies nothing.
#[derive(Deserialize)]
struct Line<'a> {
    at: Option<&'a str>,
    #[serde(borrow)]
    datagram: Bare<'a>,
}

#[derive(Deserialize)]
struct Bare<'a> {
    #[serde(borrow, default)]
    rxpk: Vec<Packet<'a>>,
    #[serde(borrow)]
    txpk: Option<Packet<'a>>,
}

#[derive(Deserialize)]
struct Packet<'a> {
    tmst: Option<u32>,
    freq: Option<f64>,
    datr: Option<&'a str>,
    data: Option<&'a str>,
}

fn parse_alone(path: &Path) -> io::Result<usize> {
    let mut lines = BufReader::with_capacity(1 << 20, File::open(path)?);
    let (mut text, mut seen) = (String::new(), 0);
    while lines.read_line(&mut text)? > 0 {
        if let Ok(line) = serde_json::from_str::<Line<'_>>(&text) {
            for packet in line.datagram.rxpk.iter().chain(&line.datagram.txpk) {
                let there = [packet.datr, packet.data, line.at].iter().flatten().count();
                seen +=
                    there + usize::from(packet.tmst.is_some()) + usize::from(packet.freq.is_some());
            }
        }
        text.clear();
    }
    Ok(seen)
}

fn read_alone(path: &Path) -> io::Result<usize> {
    let mut file = File::open(path)?;
    let mut buffer = vec![0; 1 << 20];
    let mut octets = 0;
    loop {
        match file.read(&mut buffer)? {
            0 => return Ok(octets),
            n => octets += n,
        }
    }
}

/// Runs the program and returns the most memory it had, in KiB, where the system tells.
fn run(args: &[&str]) -> Option<u64> {
    let mut child = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(args)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program is built");
    let status = format!("/proc/{}/status", child.id());
    let mut most = None;
    while child.try_wait().expect("it is ours").is_none() {
        let text = fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        most = most.max(line.and_then(|line| line.trim().strip_suffix(" kB")?.parse().ok()));
        std::thread::sleep(Duration::from_millis(20));
    }
    most
}

fn main() {
    let number = |name: &str, usual: u64| {
        std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
    };
    let frames = number("HANDFAST_BENCH_FRAMES", 1_000_000);
    let nodes = number("HANDFAST_BENCH_NODES", 10_000);
    let folder = std::env::temp_dir().join(format!("handfast-long-{}", std::process::id()));
    fs::create_dir_all(&folder).expect("a folder for temporary files");
    let (capture, roster) = (folder.join("long.ndjson"), folder.join("long.toml"));
    let nodes: Vec<Node> = (0..u32::try_from(nodes).expect("few")).map(node).collect();
    write_capture(&capture, &nodes, frames).expect("room for the capture");
    write_roster(&roster, &nodes).expect("room for the roster");
    let octets = fs::metadata(&capture).expect("just written").len();
    println!("{} nodes, {frames} frames, {octets} octets", nodes.len());
    let text = |path: &Path| path.to_str().expect("plain letters").to_owned();
    let (capture_text, roster_text) = (text(&capture), text(&roster));
    let mut parsing = 0.0;
    let mut tell = |what: &str, work: &dyn Fn() -> Option<u64>| {
        let start = Instant::now();
        let memory = work();
        let seconds = start.elapsed().as_secs_f64();
        #[expect(clippy::cast_precision_loss, reason = "counts are small")]
        let (megabytes, rate) = (octets as f64 / seconds / 1e6, frames as f64 / seconds);
        let memory = memory.map(|kib| format!(", {} MiB", kib / 1024)).unwrap_or_default();
        if parsing == 0.0 && what.starts_with("JSON") {
            parsing = seconds;
        }
        let beside = if parsing > 0.0 {
            format!(", {:.2} of the JSON rate", parsing / seconds)
        } else {
            String::new()
        };
        println!("{what:34} {megabytes:7.1} MB/s, {rate:9.0} frames/s{beside}{memory}");
    };
    tell("the file alone", &|| read_alone(&capture).ok().map(|_| 0).filter(|n| *n > 0));
    tell("JSON alone, typed and borrowed", &|| {
        parse_alone(&capture).ok().map(|_| 0).filter(|n| *n > 0)
    });
    tell("read --json", &|| run(&["read", "--json", "--file", &capture_text]));
    tell("read --json --roster", &|| {
        run(&["read", "--json", "--file", &capture_text, "--roster", &roster_text])
    });
    tell("diagnose --json --roster", &|| {
        run(&["diagnose", "--json", &capture_text, "--roster", &roster_text])
    });
    if std::env::var_os("HANDFAST_BENCH_KEEP").is_none() {
        fs::remove_dir_all(&folder).expect("it is ours");
    }
}
