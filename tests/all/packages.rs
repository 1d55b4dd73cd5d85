//! Application packages and relays in worlds made by hand: multicast groups, fragments, the clock,
//! images. Each cause beside what looks like it.

use handfast::{
    crypto::{
        PayloadKey,
        block::BlockFields,
        cipher::encrypt_payload,
        derive::{self, SessionKeys},
        mic,
    },
    frame::{DataFrame, Direction, FCtrl, FType, Frame, Payload},
    id::{DevAddr, DevNonce},
    intake::{Event, Ordered, What, When},
    key::{AppKey, AppSKey, GenAppKey, McAppSKey, McKey, McNwkSKey, NwkSKey},
    ladder::{Certainty, Options, diagnose},
    radio::Modulation,
    roster::{self, Roster},
};

use crate::common::*;

const DEV_ADDR: u32 = 0x0201_0001;
const MC_ADDR: u32 = 0x11A1_0001;
const MC_KEY: [u8; 16] = *b"\x51\x0e\x92\x7d\xc8\x33\x06\xfa\xb4\x29\x6e\xd1\x80\x5f\x17\xe3";
/// GPS second of the captures' start, 1 January 2026 00:00:00 UTC.
const GPS_START: u32 = 1_451_260_818;
/// DR3 of EU868.
const DR3: Modulation = Modulation::Lora { sf: 9, bw_khz: 125 };
const DR0: Modulation = Modulation::Lora { sf: 12, bw_khz: 125 };
const GROUP_HZ: u32 = 869_525_000;

/// A node of class C that joined, and what goes on after.
struct World {
    events: Vec<Event>,
    seconds: u32,
    up: u16,
    down: u16,
    network: NwkSKey,
    app: AppSKey,
    group: (McNwkSKey, McAppSKey),
}

impl World {
    fn new() -> Self {
        let accepted = plain_accept(DEV_ADDR);
        let root = AppKey::from(ROOT);
        let keys = derive::session_1_0(&root, accepted.join_nonce, accepted.net_id, DevNonce(7));
        let SessionKeys::V1_0 { nwk_s_key, app_s_key: Some(app) } = keys else { unreachable!() };
        let mut world = Self {
            events: vec![
                heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
                sent(2, Some(200_000), Some(GATEWAY), When::Counter(5_000_000), &accept(DEV_ADDR)),
            ],
            seconds: 0,
            up: 0,
            down: 0,
            network: nwk_s_key,
            app,
            group: group_keys(MC_KEY, MC_ADDR),
        };
        world.up(2, &[1, 2, 3]);
        world
    }

    fn line(&self) -> u64 {
        self.events.len() as u64 + 1
    }

    fn micros(&self) -> i64 {
        i64::from(self.seconds) * 1_000_000
    }

    fn gps(&self) -> u32 {
        GPS_START + self.seconds
    }

    /// An uplink, ten seconds after what came before.
    fn up(&mut self, port: u8, clear: &[u8]) {
        self.seconds += 10;
        let mut frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(DEV_ADDR), self.up);
        let place = place(Direction::Uplink, DEV_ADDR, self.up);
        let frm = encrypt_payload(PayloadKey::from(&self.app), &place, clear);
        frame.payload = Some(Payload { port, frm });
        frame.mic = mic::data_1_0(&self.network, &frame, u32::from(self.up));
        self.up += 1;
        let octets = Frame::Data(frame).build();
        let at = (Some(self.micros()), Some(self.seconds * 1_000_000));
        self.events.push(heard(self.line(), at.0, Some(GATEWAY), at.1, &octets));
    }

    /// A downlink in RX1 of the last uplink.
    fn down(&mut self, port: u8, clear: &[u8]) {
        let mut frame = DataFrame::new(FType::UnconfirmedDataDown, DevAddr(DEV_ADDR), self.down);
        let place = place(Direction::Downlink, DEV_ADDR, self.down);
        let frm = encrypt_payload(PayloadKey::from(&self.app), &place, clear);
        frame.payload = Some(Payload { port, frm });
        frame.mic = mic::data_1_0(&self.network, &frame, u32::from(self.down));
        self.down += 1;
        let octets = Frame::Data(frame).build();
        let when = When::Counter(self.seconds * 1_000_000 + 1_000_000);
        let at = Some(self.micros() + 100_000);
        self.events.push(sent(self.line(), at, Some(GATEWAY), when, &octets));
    }

    /// A frame for the group, as it should be.
    fn mc_frame(&self, fcnt: u16, port: u8, clear: &[u8]) -> DataFrame {
        let mut frame = DataFrame::new(FType::UnconfirmedDataDown, DevAddr(MC_ADDR), fcnt);
        let place = place(Direction::Downlink, MC_ADDR, fcnt);
        let frm = encrypt_payload(PayloadKey::from(&self.group.1), &place, clear);
        frame.payload = Some(Payload { port, frm });
        frame
    }

    /// Signs a frame with the group's key and sends it, a second after what came before.
    fn cast(&mut self, mut frame: DataFrame, hz: u32, rate: Modulation) {
        self.seconds += 1;
        frame.mic = mic::multicast(&self.group.0, &frame, u32::from(frame.fcnt));
        let octets = Frame::Data(frame).build();
        let ordered = Ordered {
            when: When::Immediate,
            freq_hz: Some(hz),
            modulation: Some(rate),
            inverted: Some(true),
            ..Ordered::new(&octets)
        };
        let what = What::Ordered(Box::new(ordered));
        self.events.push(event(self.line(), Some(self.micros()), Some(GATEWAY), what));
    }

    /// Four frames for the group.
    fn cast_all(&mut self, hz: u32, rate: Modulation, change: impl Fn(&mut DataFrame)) {
        for fcnt in 0..4 {
            let mut frame = self.mc_frame(fcnt, 10, b"orchard");
            change(&mut frame);
            self.cast(frame, hz, rate);
        }
    }

    /// The group is set up, and the node takes it.
    fn set_up(&mut self) {
        let kek = derive::mc_ke_key(&derive::mc_root_key_1_0(&GenAppKey::from(ROOT)));
        let mut octets = vec![0x02, 0x00];
        octets.extend(MC_ADDR.to_le_bytes());
        octets.extend(derive::mc_key_encrypted(&kek, &McKey::from(MC_KEY)));
        octets.extend(0_u32.to_le_bytes());
        octets.extend(100_u32.to_le_bytes());
        self.down(200, &octets);
        self.up(200, &[0x02, 0x00]);
    }

    /// A session of class C from so many seconds on, 256 s long.
    fn listen(&mut self, wait: u32, answer: &[u8]) {
        let starts = self.gps() + 10 + wait;
        let mut octets = vec![0x04, 0x00];
        octets.extend(starts.to_le_bytes());
        octets.push(8);
        octets.extend(&(GROUP_HZ / 100).to_le_bytes()[..3]);
        octets.push(3);
        self.down(200, &octets);
        self.up(200, answer);
    }

    /// A session that the node takes, now open.
    fn open(&mut self) {
        self.set_up();
        self.listen(5, &[0x04, 0x00, 5, 0, 0]);
        self.seconds += 10;
    }

    /// The causes that are told, with their certainty.
    fn told(&self, roster: &Roster) -> Vec<(&'static str, Certainty)> {
        let diagnosis = diagnose(&trace(roster, &self.events), roster, Options::default());
        let node = diagnosis.first().expect("the roster's node");
        node.causes.iter().map(|v| (v.cause.id.name(), v.certainty)).collect()
    }
}

fn place(direction: Direction, dev_addr: u32, fcnt: u16) -> BlockFields {
    BlockFields { direction, dev_addr: DevAddr(dev_addr), fcnt: u32::from(fcnt) }
}

fn group_keys(key: [u8; 16], mc_addr: u32) -> (McNwkSKey, McAppSKey) {
    let (key, addr) = (McKey::from(key), DevAddr(mc_addr));
    (derive::mc_nwk_s_key(&key, addr), derive::mc_app_s_key(&key, addr))
}

/// A node of class C; what its record has more.
fn node(more: &str) -> Roster {
    let claim = format!(
        "dev-eui = '{}'\njoin-eui = '{}'\napp-key = '{}'\nmac-version = '1.0.3'\nclass = 'C'\n{more}",
        dev_eui().hex(),
        join_eui().hex(),
        hex::encode(ROOT)
    );
    let text = format!(
        "region = 'EU868'\n[[node]]\nname = 'probe-01'\n[node.firmware]\n{claim}\n[node.record]\n{claim}"
    );
    roster::parse(&text, None).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

const NOTHING: [(&str, Certainty); 0] = [];

#[test]
fn a_group_that_works_accuses_nobody() {
    let mut world = World::new();
    world.open();
    world.cast_all(GROUP_HZ, DR3, |_| {});
    assert_eq!(world.told(&node("")), NOTHING);
    assert_eq!(world.told(&node(&format!("gen-app-key = '{}'", hex::encode(ROOT)))), NOTHING);
}

#[test]
fn frames_off_the_sessions_frequency_or_rate_are_told() {
    for (hz, rate) in [(868_800_000, DR3), (GROUP_HZ, Modulation::Lora { sf: 10, bw_khz: 125 })] {
        let mut world = World::new();
        world.open();
        world.cast_all(hz, rate, |_| {});
        let id = "multicast-downlink-at-the-wrong-rate";
        assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
        // Right since then: it is over.
        world.cast_all(GROUP_HZ, DR3, |frame| frame.fcnt += 4);
        assert_eq!(world.told(&node("")), NOTHING);
    }
    // The node did not answer: nobody knows where it listens.
    let mut world = World::new();
    world.set_up();
    world.listen(5, &[0x01]);
    world.cast_all(868_800_000, DR3, |_| {});
    assert_eq!(world.told(&node("")), NOTHING);
}

#[test]
fn frames_before_and_after_the_session_are_told() {
    let id = "multicast-outside-its-session";
    let mut early = World::new();
    early.set_up();
    early.listen(600, &[0x04, 0x00, 0x58, 0x02, 0]);
    early.cast_all(GROUP_HZ, DR3, |_| {});
    assert_eq!(early.told(&node("")), [(id, Certainty::Certain)]);
    let mut late = World::new();
    late.open();
    late.seconds += 600;
    late.cast_all(GROUP_HZ, DR3, |_| {});
    assert_eq!(late.told(&node("")), [(id, Certainty::Certain)]);
    // On RX2 a node of class C hears at any time.
    let mut world = World::new();
    world.set_up();
    world.listen(600, &[0x04, 0x00, 0x58, 0x02, 0]);
    world.cast_all(869_525_000, DR0, |_| {});
    assert_eq!(world.told(&node("")), NOTHING);
    // The node's clock is another than the capture's.
    let mut world = World::new();
    world.set_up();
    world.listen(600, &[0x04, 0x00, 0x05, 0, 0]);
    world.cast_all(GROUP_HZ, DR3, |_| {});
    assert_eq!(world.told(&node("")), NOTHING);
}

#[test]
fn frames_to_another_address_are_the_groups_by_their_key() {
    let mut world = World::new();
    world.open();
    world.cast_all(GROUP_HZ, DR3, |frame| frame.dev_addr = DevAddr(MC_ADDR ^ 0x10));
    let id = "multicast-to-another-address";
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
    // Another group's, by its own key.
    let mut world = World::new();
    world.open();
    world.group = group_keys(ROOT, MC_ADDR ^ 0x10);
    world.cast_all(GROUP_HZ, DR3, |frame| frame.dev_addr = DevAddr(MC_ADDR ^ 0x10));
    assert_eq!(world.told(&node("")), NOTHING);
}

#[test]
fn a_group_gets_no_confirmed_frames_and_no_commands() {
    let id = "multicast-frame-of-a-forbidden-kind";
    let mut world = World::new();
    world.open();
    world.cast_all(GROUP_HZ, DR3, |frame| {
        frame.mhdr = handfast::frame::Mhdr::new(FType::ConfirmedDataDown);
    });
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
    let mut world = World::new();
    world.open();
    world.cast_all(GROUP_HZ, DR3, |frame| frame.fctrl = FCtrl::new(0x20));
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
    // FPending announces more, and is lawful.
    let mut world = World::new();
    world.open();
    world.cast_all(GROUP_HZ, DR3, |frame| frame.fctrl = FCtrl::new(0x10));
    assert_eq!(world.told(&node("")), NOTHING);
}

#[test]
fn a_groups_counter_has_an_end() {
    let id = "multicast-counter-outside-the-range";
    let mut world = World::new();
    world.open();
    world.cast_all(GROUP_HZ, DR3, |frame| frame.fcnt += 100);
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
    let mut world = World::new();
    world.open();
    world.cast_all(GROUP_HZ, DR3, |frame| frame.fcnt += 96);
    assert_eq!(world.told(&node("")), NOTHING);
}

#[test]
fn a_groups_key_is_another_only_where_the_root_key_is_stated() {
    let mut world = World::new();
    world.open();
    world.group = group_keys(ROOT, MC_ADDR);
    world.cast_all(GROUP_HZ, DR3, |_| {});
    let stated = node(&format!("gen-app-key = '{}'", hex::encode(ROOT)));
    assert_eq!(world.told(&stated), [("multicast-keys-differ", Certainty::Certain)]);
    // AppKey in the place of GenAppKey is a guess.
    assert_eq!(world.told(&node("")), NOTHING);
}

#[test]
fn a_session_that_is_refused_is_told_where_frames_follow() {
    let id = "multicast-session-refused";
    let mut world = World::new();
    world.set_up();
    world.listen(5, &[0x04, 0x08]);
    assert_eq!(world.told(&node("")), NOTHING, "nothing was sent");
    world.seconds += 10;
    world.cast_all(GROUP_HZ, DR3, |_| {});
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
    // A session that was taken before goes on.
    let mut world = World::new();
    world.open();
    world.up(2, &[1, 2, 3]);
    world.listen(600, &[0x04, 0x08]);
    world.cast_all(GROUP_HZ, DR3, |_| {});
    assert_eq!(world.told(&node("")), NOTHING);
    let mut world = World::new();
    world.set_up();
    world.listen(5, &[0x04, 0x08]);
    world.seconds += 10;
    world.cast_all(GROUP_HZ, DR3, |_| {});
    // Asked again, and taken.
    world.up(2, &[1, 2, 3]);
    world.listen(5, &[0x04, 0x00, 5, 0, 0]);
    assert_eq!(world.told(&node("")), NOTHING);
}

// --- fragments ----------------------------------------------------------------------------

/// The row of a coded fragment in a block of ten: from the package's text and from device stacks.
const ROW_1: [[usize; 5]; 2] = [[2, 5, 10, 10, 10], [1, 2, 3, 5, 9]];

impl World {
    /// A block of ten fragments of eight octets is set up.
    fn block(&mut self, answer: &[u8]) {
        self.down(201, &[0x02, 0, 10, 0, 8, 0, 0, 1, 2, 3, 4, 1, 0, 0xAA, 0xBB, 0xCC, 0xDD]);
        self.up(201, answer);
    }

    fn fragment(&mut self, n: u8, octets: &[u8]) {
        self.down(201, &[&[0x08, n, 0], octets].concat());
        self.up(2, &[1, 2, 3]);
    }
}

fn plain(n: usize) -> [u8; 8] {
    std::array::from_fn(|i| u8::try_from((37 * n + 11 * i * i + n * n * i) % 251).unwrap())
}

fn coded(row: &[usize]) -> [u8; 8] {
    let mut sum = [0; 8];
    for n in row.iter().filter(|n| **n < 10) {
        sum.iter_mut().zip(plain(*n)).for_each(|(sum, octet)| *sum ^= octet);
    }
    sum
}

#[test]
fn a_block_that_is_refused_is_told_where_fragments_follow() {
    let mut world = World::new();
    world.block(&[0x02, 0x02]);
    assert_eq!(world.told(&node("")), NOTHING);
    world.fragment(1, &plain(0));
    let id = "fragmentation-session-refused";
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
}

#[test]
fn rows_of_another_version_are_told_by_the_sums() {
    let mut world = World::new();
    world.block(&[0x02, 0x00]);
    (1..=10).for_each(|n| world.fragment(n, &plain(usize::from(n) - 1)));
    let mut right = World::new();
    right.block(&[0x02, 0x00]);
    (1..=10).for_each(|n| right.fragment(n, &plain(usize::from(n) - 1)));
    world.fragment(11, &coded(&ROW_1[0]));
    let id = "fragment-parity-of-another-version";
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
    right.fragment(11, &coded(&ROW_1[1]));
    assert_eq!(right.told(&node("")), NOTHING);
    // One that was damaged agrees by neither version.
    let mut damaged = coded(&ROW_1[0]);
    damaged[3] ^= 1;
    let mut world = World::new();
    world.block(&[0x02, 0x00]);
    (1..=10).for_each(|n| world.fragment(n, &plain(usize::from(n) - 1)));
    world.fragment(11, &damaged);
    assert_eq!(world.told(&node("")), NOTHING);
}

#[test]
fn a_block_is_lost_when_the_server_is_done_and_the_node_lacks_some() {
    let id = "fragmented-block-cannot-be-rebuilt";
    let mut world = World::new();
    world.block(&[0x02, 0x00]);
    (1..=8).for_each(|n| world.fragment(n, &plain(usize::from(n) - 1)));
    // It goes on.
    assert_eq!(world.told(&node("")), NOTHING);
    world.down(201, &[0x01, 0x01]);
    world.up(201, &[0x01, 0x00, 8, 0, 2]);
    assert_eq!(world.told(&node("")), NOTHING, "the server may send more");
    let mut more = World::new();
    more.events.clone_from(&world.events);
    (more.seconds, more.up, more.down) = (world.seconds, world.up, world.down);
    more.fragment(9, &plain(8));
    more.fragment(10, &plain(9));
    assert_eq!(more.told(&node("")), NOTHING);
    world.down(201, &[0x03, 0x00]);
    world.up(201, &[0x03, 0x00]);
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
}

// --- clock and image ----------------------------------------------------------------------

impl World {
    /// The node asks for the time, with its own being so much behind; the answer.
    fn ask_time(&mut self, behind: u32, token: u8, correction: i32, answer: u8) {
        let device = GPS_START + self.seconds + 10 - behind;
        self.up(202, &[&[0x01][..], &device.to_le_bytes(), &[0x10 | token]].concat());
        self.down(202, &[&[0x01][..], &correction.to_le_bytes(), &[answer]].concat());
    }
}

#[test]
fn tokens_of_the_clock_package_are_compared() {
    let id = "clock-answer-does-not-match";
    let mut world = World::new();
    world.ask_time(3, 1, 3, 5);
    world.ask_time(3, 2, 3, 6);
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
    // Corrected since.
    world.ask_time(3, 3, 3, 3);
    assert_eq!(world.told(&node("")), NOTHING);
    // The answer to the request before.
    let mut world = World::new();
    world.ask_time(3, 1, 3, 1);
    world.ask_time(3, 2, 3, 1);
    assert_eq!(world.told(&node("")), NOTHING);
}

#[test]
fn a_correction_counts_from_1980() {
    let id = "clock-correction-in-the-wrong-epoch";
    let mut world = World::new();
    world.ask_time(3, 1, 315_964_782 + 3, 1);
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
    // A node without the time is right to be corrected by decades.
    let mut world = World::new();
    world.ask_time(GPS_START, 1, i32::try_from(GPS_START).unwrap(), 1);
    assert_eq!(world.told(&node("")), NOTHING);
}

#[test]
fn an_image_is_refused_by_the_nodes_word() {
    let id = "firmware-image-refused";
    // Unasked it is the application's own payload.
    let mut world = World::new();
    world.up(203, &[0x04, 1]);
    assert_eq!(world.told(&node("")), NOTHING);
    for (status, told) in [(1, true), (2, true), (0, false)] {
        let mut world = World::new();
        world.down(203, &[0x04]);
        world.up(203, &[0x04, status]);
        let want: &[_] = if told { &[(id, Certainty::Certain)] } else { &[] };
        assert_eq!(world.told(&node("")), want, "status {status}");
        // Another image came, which is valid.
        world.up(203, &[0x04, 3, 1, 0, 0, 0]);
        assert_eq!(world.told(&node("")), NOTHING);
    }
}

// --- relays ---------------------------------------------------------------------------------

impl World {
    /// A command of the network in FOpts, and the node's answer.
    fn exchange(&mut self, asks: &[u8], answers: &[u8]) {
        let mut frame = DataFrame::new(FType::UnconfirmedDataDown, DevAddr(DEV_ADDR), self.down);
        frame.fopts = handfast::frame::FOpts::new(asks).unwrap();
        frame.mic = mic::data_1_0(&self.network, &frame, u32::from(self.down));
        self.down += 1;
        let when = When::Counter(self.seconds * 1_000_000 + 1_000_000);
        let at = Some(self.micros() + 100_000);
        let octets = Frame::Data(frame).build();
        self.events.push(sent(self.line(), at, Some(GATEWAY), when, &octets));
        self.seconds += 10;
        let mut frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(DEV_ADDR), self.up);
        frame.fopts = handfast::frame::FOpts::new(answers).unwrap();
        frame.mic = mic::data_1_0(&self.network, &frame, u32::from(self.up));
        self.up += 1;
        let octets = Frame::Data(frame).build();
        let at = (Some(self.micros()), Some(self.seconds * 1_000_000));
        self.events.push(heard(self.line(), at.0, Some(GATEWAY), at.1, &octets));
    }
}

#[test]
fn a_relays_settings_are_refused_for_good_after_three_times() {
    let id = "relay-configuration-refused";
    let request = [0x40, 0, 0x20, 0, 0, 0];
    let mut world = World::new();
    world.exchange(&request, &[0x40, 0x3B]);
    world.exchange(&request, &[0x40, 0x3B]);
    assert_eq!(world.told(&node("")), NOTHING);
    world.exchange(&request, &[0x40, 0x3B]);
    assert_eq!(world.told(&node("")), [(id, Certainty::Certain)]);
    // Taken since.
    world.exchange(&request, &[0x40, 0x3F]);
    assert_eq!(world.told(&node("")), NOTHING);
}

/// The clock package's request in a data frame: read as text and as JSON, field by field.
#[test]
fn an_application_package_is_read_in_json_too() {
    let (nwk, app) = ("a1".repeat(16), "b2".repeat(16));
    let keys = ["--nwk-s-key", &nwk, "--app-s-key", &app];
    let run = |args: &[&str]| {
        let run = assert_cmd::Command::new(env!("CARGO_BIN_EXE_handfast"))
            .args([args, &keys].concat())
            .output()
            .unwrap();
        String::from_utf8(run.stdout).unwrap()
    };
    let data = ["compose", "unconfirmed-data-up", "--dev-addr", "0279CEFA", "--fcnt", "5"];
    let frame = run(&[&data[..], &["--port", "202", "--payload", "010000000015"]].concat());
    let text = run(&["read", "--json", frame.trim()]);
    let read: serde_json::Value = serde_json::from_str(&text).unwrap();
    // TS003: DeviceTime in 4 bytes, then AnsRequired and TokenReq in one.
    let fields = serde_json::json!({"DeviceTime": 0, "AnsRequired": true, "TokenReq": 5});
    let command = serde_json::json!({"cid": 1, "name": "AppTimeReq", "fields": fields});
    assert_eq!(
        read["payload"],
        serde_json::json!({
            "package": "clock synchronisation", "source": "TS003", "commands": [command]
        })
    );
    // On a port of no package, and where the bytes do not split, it is the application's own.
    for (port, payload) in [("2", "010000000015"), ("202", "0100")] {
        let frame = run(&[&data[..], &["--port", port, "--payload", payload]].concat());
        let text = run(&["read", "--json", frame.trim()]);
        let read: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(read.get("payload"), None, "{text}");
    }
}
