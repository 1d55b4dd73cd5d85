//! Beacons and ping slots against published values.

use handfast::{
    frame::{
        MacVersion,
        beacon::{self, Info, Periodicity},
    },
    gps::GpsTime,
    id::DevAddr,
    show::beacon::fields,
};
use proptest::{prelude::*, test_runner::FileFailurePersistence};
use serde_json::Value as Json;

fn items(path: &str) -> Vec<Json> {
    let text = std::fs::read_to_string(format!("{}/vectors/{path}", env!("CARGO_MANIFEST_DIR")));
    let file: Json = serde_json::from_str(&text.unwrap()).unwrap();
    file["items"].as_array().unwrap().clone()
}

fn octets(item: &Json) -> Vec<u8> {
    hex::decode(item.as_str().unwrap()).unwrap()
}

fn time(item: &Json) -> GpsTime {
    GpsTime::from_seconds(u32::try_from(item.as_u64().unwrap()).unwrap())
}

fn addr(item: &Json) -> DevAddr {
    item["DevAddr"].as_str().unwrap().parse().unwrap()
}

fn periodicity(item: &Json) -> Periodicity {
    let period = item["pingPeriod"].as_u64().unwrap();
    (0..8).filter_map(Periodicity::new).find(|p| u64::from(p.ping_period()) == period).unwrap()
}

#[test]
fn published_beacons_decode_to_what_their_authors_say() {
    for item in items("beacon/published-beacons.json") {
        let version = MacVersion::by_name(item["mac_version"].as_str().unwrap());
        let beacon = beacon::decode(&octets(&item["beacon_hex"]), version).unwrap();
        let shown = fields(&beacon);
        for (name, want) in item["expect"].as_object().unwrap() {
            if name == "GwSpecific" {
                for (name, want) in want.as_object().unwrap() {
                    assert_eq!(shown["GwSpecific"][name], *want, "{} {name}", item["id"]);
                }
            } else {
                assert_eq!(shown[name], *want, "{} {name}", item["id"]);
            }
        }
        assert_eq!(beacon.faults(), []);
        let end = beacon.parts().last().unwrap().1.end;
        assert_eq!(end, beacon.octets.len());
    }
}

#[test]
fn published_crcs_hold() {
    for item in items("beacon/beacon-crc16.json") {
        let crc = beacon::crc16(&octets(&item["octets"]));
        assert_eq!(format!("{crc:04x}"), item["crc"].as_str().unwrap(), "{}", item["id"]);
    }
}

#[test]
fn published_ping_offsets_and_slots_are_found() {
    for item in items("beacon/ping-slot.json").iter().chain(&items("beacon/ping-slot-time.json")) {
        let offset = beacon::ping_offset(time(&item["beacon_time"]), addr(item), periodicity(item));
        assert_eq!(u64::from(offset), item["pingOffset"].as_u64().unwrap(), "{}", item["id"]);
    }
    for item in items("beacon/ping-slot-time.json") {
        let at = periodicity(&item);
        let slots: Vec<_> =
            beacon::ping_slots(time(&item["beacon_time"]), addr(&item), at).collect();
        let want = item["first_slot_seconds_after_beacon"].as_f64().unwrap();
        assert!((slots[0].as_secs_f64() - want).abs() < 1e-9, "{}", item["id"]);
        assert_eq!(slots.len() as u64, item["pingNb"].as_u64().unwrap());
    }
    for item in items("beacon/ping-slot-frequency.json") {
        let channel = beacon::ping_channel(addr(&item), time(&item["beacon_time"]), 8);
        assert_eq!(u64::from(channel), item["channel"].as_u64().unwrap(), "{}", item["id"]);
    }
}

/// Puts a beacon together: RFU and Param, Time, GwSpecific, RFU.
fn make(head: &[u8], time: u32, specific: [u8; 7], tail: &[u8]) -> Vec<u8> {
    let mut octets = [head, &time.to_le_bytes()].concat();
    octets.extend(beacon::crc16(&octets).to_le_bytes());
    let second = [&specific[..], tail].concat();
    octets.extend_from_slice(&second);
    octets.extend(beacon::crc16(&second).to_le_bytes());
    octets
}

#[test]
fn every_size_is_split_where_its_crcs_hold() {
    let specific = [0, 0xFF, 0xFF, 0xBF, 0, 0, 0x40];
    for (head, tail) in [(2, 0), (3, 1), (1, 3), (4, 2), (5, 3)] {
        let octets = make(&vec![0; head], 1_139_322_240, specific, &vec![0; tail]);
        let beacon = beacon::decode(&octets, Some(MacVersion::V1_0_4)).unwrap();
        assert_eq!((beacon.layout.head as usize, beacon.layout.tail as usize), (head, tail));
        assert_eq!(beacon.faults(), []);
        let (lat, lng) = beacon.info.degrees().unwrap();
        assert!((lat + 45.0).abs() < 1e-4 && (lng - 90.0).abs() < 1e-4, "{lat} {lng}");
        // the same octets with longitude first would be another place
        let (lat, lng) = beacon.info.degrees_if_swapped().unwrap();
        assert!((lat - 45.0).abs() < 1e-4 && (lng + 90.0).abs() < 1e-4, "{lat} {lng}");
    }
    assert_eq!(
        beacon::decode(&[0; 18], None).unwrap_err().to_string(),
        "18 bytes: beacons have 17, 19, 21 or 23"
    );
}

#[test]
fn a_beacon_of_1_0_2_begins_with_its_net_id() {
    // LoRaWAN 1.0.2: NetID AABBCC, Time CC020000, and of the CRC C87E only 7E
    let mut octets = hex::decode("aabbcc000002cc7e").unwrap();
    octets.extend(hex::decode("00012000008103de55").unwrap());
    let beacon = beacon::decode(&octets, None).unwrap();
    assert_eq!((beacon.layout.first_crc, &beacon.head[..]), (1, &[0xAA, 0xBB, 0xCC][..]));
    assert_eq!(beacon.faults(), []);
}

#[test]
fn every_fault_of_a_beacon_is_named_at_its_octets() {
    let mut octets = make(&[1, 0x0C], 129, [77, 1, 2, 3, 4, 5, 6], &[]);
    octets[16] ^= 1;
    octets[6] ^= 1;
    let beacon = beacon::decode(&octets, Some(MacVersion::V1_0_4)).unwrap();
    let at: Vec<_> = beacon.faults().into_iter().map(|f| f.at).collect();
    assert_eq!(at, [0..1, 1..2, 2..6, 6..8, 8..9, 15..17]);
    assert_eq!(beacon.param.unwrap().precision_us(), 1);
}

#[test]
fn info_desc_3_names_the_gateway_from_1_0_3_on() {
    let octets = make(&[0, 0], 128, [3, 1, 0, 0, 7, 0, 0], &[]);
    let info = |version| beacon::decode(&octets, version).unwrap().info;
    let gateway = Info::Gateway { net_id: "000001".parse().unwrap(), gateway_id: 7 };
    assert_eq!(info(Some(MacVersion::V1_0_3)), gateway);
    assert_eq!(info(Some(MacVersion::V1_1)), Info::Rfu([1, 0, 0, 7, 0, 0]));
}

fn config() -> ProptestConfig {
    let failures = FileFailurePersistence::WithSource("failures");
    ProptestConfig { failure_persistence: Some(Box::new(failures)), ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn any_octets_are_split_without_panic(octets in prop::collection::vec(any::<u8>(), 0..40)) {
        if let Ok(beacon) = beacon::decode(&octets, None) {
            prop_assert_eq!(&beacon.octets, &octets);
            let parts = beacon.parts();
            prop_assert_eq!(parts.iter().map(|(_, at)| at.len()).sum::<usize>(), octets.len());
            let _ = (fields(&beacon), beacon.faults());
        }
    }

    #[test]
    fn one_flipped_bit_breaks_a_crc(bit in 0usize..17 * 8) {
        let mut octets = make(&[0, 0], 128, [0, 1, 2, 3, 4, 5, 6], &[]);
        octets[bit / 8] ^= 1 << (bit % 8);
        let beacon = beacon::decode(&octets, Some(MacVersion::V1_0_4)).unwrap();
        prop_assert!(!(beacon.first_crc.holds() && beacon.second_crc.holds()));
    }
}
