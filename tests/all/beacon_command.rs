//! `handfast beacon` through the binary: streams, JSON, exit status.

use serde_json::{Value as Json, json};

/// LoRaWAN 1.0.4, 13.4 (vectors/beacon/published-beacons.json).
const PUBLISHED: &str = "0000000002cca27e00012000008103de55";

fn handfast(args: &[&str]) -> (Option<i32>, String, String) {
    let mut command = assert_cmd::Command::cargo_bin("handfast").unwrap();
    let output = command.arg("beacon").args(args).output().unwrap();
    let text = |octets: Vec<u8>| String::from_utf8(octets).unwrap();
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_exit_status_says_whether_the_beacon_is_right() {
    let (exit, shown, words) = handfast(&[PUBLISHED]);
    assert_eq!((exit, words.as_str()), (Some(0), ""));
    assert!(shown.starts_with("Class B beacon, 17 bytes\n"), "{shown}");
    let (exit, shown, _) = handfast(&[&PUBLISHED.replace("de55", "de54")]);
    assert_eq!(exit, Some(1));
    assert!(shown.contains("wrong: byte 15: the second CRC fails: "), "{shown}");
    let (exit, shown, words) = handfast(&["00"]);
    assert_eq!((exit, shown.as_str()), (Some(2), ""));
    assert_eq!(words, "error: 1 byte: beacons have 17, 19, 21 or 23\n");
}

#[test]
fn ping_slots_are_those_of_the_library_and_of_the_region() {
    let args = ["--region", "AU915", "--dev-addr", "0201BBDA", "--periodicity", "6", "--json"];
    // SF12: 23 octets, made of the published Time and place
    let beacon = "00000000000000 02cc".replace(' ', "");
    let mut octets = hex::decode(beacon).unwrap();
    octets.extend(handfast::frame::beacon::crc16(&octets).to_le_bytes());
    let specific = hex::decode("00012000008103000000").unwrap();
    octets.extend_from_slice(&specific);
    octets.extend(handfast::frame::beacon::crc16(&specific).to_le_bytes());
    let (exit, shown, _) = handfast(&[&[hex::encode(&octets).as_str()], &args[..]].concat());
    let object: Json = serde_json::from_str(&shown).unwrap();
    assert_eq!(exit, Some(0), "{shown}");
    assert_eq!(object["problems"], json!([]));
    assert_eq!(object["fields"]["Time"], 3_422_683_136_u32);
    // 3422683136 / 128 = 26739712, a multiple of 8: the first of eight channels
    assert_eq!(object["region"]["frequency"], 923_300_000);
    // and 0201BBDA ends in 2 modulo 8: the third
    assert_eq!(object["ping_slots"]["frequency"], 924_500_000);
    assert_eq!(object["ping_slots"]["ping_nb"], 2);
    let opens = object["ping_slots"]["opens_ms"].as_array().unwrap();
    assert_eq!(opens.len(), 2);
    let offset = object["ping_slots"]["ping_offset"].as_u64().unwrap();
    assert_eq!(opens[0].as_u64().unwrap(), 2120 + 30 * offset);
    assert_eq!(opens[1].as_u64().unwrap() - opens[0].as_u64().unwrap(), 30 * 2048);
}
