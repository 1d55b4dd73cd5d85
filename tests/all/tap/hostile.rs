//! Octets of no good will: counters change, and nothing else.

use std::fs;

use handfast::intake::{Capture, Item, Sender};

use super::stage::{
    EUI, PULL_ACK, PULL_DATA, PUSH_ACK, PUSH_DATA, Tap, from_gateway, heard, receive, socket,
};

/// Numbers that look random and are the same in every run.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: usize) -> usize {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % below
    }
}

fn bombs() -> Vec<String> {
    vec![
        "[".repeat(60_000),
        format!("{{\"rxpk\":{}{}}}", "[".repeat(30_000), "]".repeat(30_000)),
        // As deep as JSON may be by itself, and one too deep for a line around it.
        format!("{{\"x\":{}{}}}", "[".repeat(126), "]".repeat(126)),
        format!("{{\"rxpk\":[{}]}}", "{},".repeat(15_000) + "{}"),
        format!("{{\"rxpk\":[{{\"data\":\"{}\",\"size\":1e999}}]}}", "A".repeat(60_000)),
        format!("{{\"stat\":{{\"rxnb\":-1,\"ackr\":1e308,\"time\":\"{}\"}}}}", "9".repeat(1_000)),
        "{\"rxpk\":[]},\"kind\":\"PULL_RESP\",\"x\":{}".to_owned(),
        "{\"stat\":{}}\n{\"kind\":\"PUSH_ACK\"}".to_owned(),
        "\u{0}".repeat(100),
        "{\"rxpk\":\"\\ud800\"}".to_owned(),
    ]
}

#[test]
fn hostile_octets_change_nothing_but_a_counter() {
    let folder = std::env::temp_dir().join(format!("handfast-tap-hostile-{}", std::process::id()));
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir(&folder).unwrap();
    let file = folder.join("gateway.ndjson");
    let tap = Tap::start(&["--json", "--record", file.to_str().unwrap()]);
    let (attacker, gateway) = (socket(), socket());
    let good = from_gateway(PUSH_DATA, 0x0101, EUI, &heard(1));
    let mut dice = Dice(7);
    let mut sent = 0;
    for round in 0..2_000 {
        let octets: Vec<u8> = match round % 4 {
            0 => (0..dice.roll(80)).map(|_| u8::try_from(dice.roll(256)).unwrap()).collect(),
            1 => good[..dice.roll(good.len())].to_vec(),
            2 => {
                let mut bent = good.clone();
                let place = dice.roll(bent.len());
                bent[place] ^= 1 << dice.roll(8);
                bent
            }
            _ => {
                let eui = [2, 0, 0, 0xFF, 0xFE, 9, u8::try_from(dice.roll(256)).unwrap(), 9];
                from_gateway(u8::try_from(dice.roll(6)).unwrap(), 3, eui, "{\"rxpk\":[")
            }
        };
        attacker.send_to(&octets, tap.port).unwrap();
        sent += 1;
        if round % 50 == 0 {
            // Real traffic between it; its answer also says that all before it was read.
            gateway.send_to(&good, tap.port).unwrap();
            assert_eq!(receive(&gateway).0, [2, 1, 1, PUSH_ACK]);
            sent += 1;
        }
    }
    for bomb in bombs() {
        attacker.send_to(&from_gateway(PUSH_DATA, 4, EUI, &bomb), tap.port).unwrap();
        sent += 1;
    }
    gateway.send_to(&from_gateway(PULL_DATA, 0x0202, EUI, ""), tap.port).unwrap();
    assert_eq!(receive(&gateway).0, [2, 2, 2, PULL_ACK]);
    let ended = tap.interrupt();
    assert!(ended.exit.is_some_and(|exit| exit < 2 || exit == 130), "{:?}", ended.err);
    assert_eq!(ended.count("received"), sent + 1);
    let odd = ["malformed", "misdirected", "unreadable"].map(|name| ended.count(name));
    assert!(odd.iter().all(|n| *n > 0), "{odd:?}");
    assert_eq!(ended.count("not_decoded"), 0);
    assert!(ended.out.iter().all(|line| serde_json::from_str::<serde_json::Value>(line).is_ok()));
    // What was recorded reads back line by line, and none of it says what no gateway can say.
    let recorded = fs::read(&file).unwrap();
    let mut lines = 0;
    for item in Capture::new(recorded.as_slice()) {
        let Item::Event(event) = item.unwrap() else { panic!() };
        assert_eq!(event.wire.sender, Some(Sender::Gateway), "{event:?}");
        lines += u64::from(event.place.index == 0);
    }
    assert_eq!(lines, ended.count("recorded"));
    fs::remove_dir_all(&folder).unwrap();
}
