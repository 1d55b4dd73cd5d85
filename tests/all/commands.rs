//! The table of MAC commands against known answers, row by row.

use handfast::{
    frame::{
        Direction, MacVersion,
        command::{self, FieldValue, ROWS, Role, Why, Wrong},
    },
    show::{Secrets, json},
};
use proptest::{prelude::*, test_runner::FileFailurePersistence};
use serde_json::{Value as Json, json};

fn items(path: &str) -> Vec<Json> {
    let text = std::fs::read_to_string(format!("{}/vectors/{path}", env!("CARGO_MANIFEST_DIR")));
    let file: Json = serde_json::from_str(&text.unwrap()).unwrap();
    file["items"].as_array().unwrap().clone()
}

fn direction(name: &Json) -> Direction {
    match name.as_str().unwrap() {
        "up" => Direction::Uplink,
        "down" => Direction::Downlink,
        other => panic!("no direction: {other}"),
    }
}

fn version(item: &Json) -> Option<MacVersion> {
    item.as_str().and_then(MacVersion::by_name)
}

fn octets(item: &Json) -> Vec<u8> {
    hex::decode(item.as_str().unwrap()).unwrap()
}

#[test]
fn every_published_command_decodes_to_its_published_fields() {
    let items = items("commands/published-commands.json");
    assert_eq!(items.len(), 32);
    for item in items {
        let expect = &item["expect"];
        let list = command::decode(
            &octets(&item["command_hex"]),
            direction(&expect["direction"]),
            version(&item["mac_version"]),
        );
        assert_eq!(list.trailing, None, "{item}");
        let [only] = &list.commands[..] else { panic!("{item}: {list:?}") };
        let want =
            json!({"cid": expect["cid"], "name": expect["name"], "fields": expect["fields"]});
        assert_eq!(json::command(only, Secrets::Shown), want, "{}", item["id"]);
    }
}

#[test]
fn every_row_has_a_vector_and_every_vector_goes_both_ways() {
    let items = items("commands/own-commands.json");
    for row in ROWS {
        let of_row = |i: &&Json| {
            i["name"] == row.name
                && direction(&i["direction"]) == row.direction
                && command::row(row.cid, row.direction, version(&i["version"])) == Some(row)
        };
        assert_eq!(items.iter().filter(of_row).count(), 1, "vectors of {}", row.name);
    }
    for item in &items {
        let name = item["name"].as_str().unwrap();
        let (wire, version) = (octets(&item["octets"]), version(&item["version"]));
        let list = command::decode(&wire, direction(&item["direction"]), version);
        assert_eq!((&list.trailing, list.faults()), (&None, vec![]), "{name}");
        let [only] = &list.commands[..] else { panic!("{item}: {list:?}") };
        assert_eq!(json::command(only, Secrets::Shown)["fields"], item["fields"], "{name}");
        assert_eq!(only.name(), name);
        assert_eq!(list.encode(), wire, "{name}");
        let composed = json::command_from(name, version, item["fields"].as_object().unwrap());
        assert_eq!(composed.as_ref(), Ok(only), "{name}");
    }
}

#[test]
fn a_command_cut_anywhere_is_a_fault_that_says_how_much_is_missing() {
    for item in items("commands/own-commands.json") {
        let wire = octets(&item["octets"]);
        for cut in 1..wire.len() {
            let mut sent = vec![0x06];
            let way = direction(&item["direction"]);
            if way == Direction::Uplink {
                sent = vec![0x02];
            }
            sent.extend_from_slice(&wire[..cut]);
            let list = command::decode(&sent, way, version(&item["version"]));
            assert_eq!(list.commands.len(), 1, "{item} cut at {cut}");
            let trailing = list.trailing.as_ref().unwrap();
            assert_eq!(trailing.at, 1..sent.len());
            let Why::Cut { row, needed, left } = trailing.why else { panic!("{trailing:?}") };
            assert_eq!((row.name, left), (item["name"].as_str().unwrap(), cut - 1));
            assert!(needed > left);
            assert_eq!(list.faults().len(), 1);
            assert_eq!(list.encode(), sent);
        }
    }
}

#[test]
fn the_table_keeps_its_own_rules() {
    for (i, row) in ROWS.iter().enumerate() {
        let name = row.name;
        assert!(
            !row.versions.is_empty() && !row.what.is_empty() && !row.source.is_empty(),
            "{name}"
        );
        assert!(!row.what.ends_with('.'), "{name}");
        let same = |r: &&command::Row| r.cid == row.cid && r.direction == row.direction;
        for other in ROWS[i + 1..].iter().filter(same) {
            let both = row.versions.iter().find(|v| other.versions.contains(v));
            assert_eq!(both, None, "{name} has two layouts in one version");
        }
        // the name says the role
        let asks = name.ends_with("Req") || name.ends_with("Ind");
        assert_eq!(asks, row.role == Role::Request, "{name}");
        // fields stay inside the payload and apart from one another
        let mut taken = vec![0u8; row.length.least()];
        for field in row.fields.iter().filter(|f| f.width > 0) {
            assert!(usize::from(field.at + field.width) <= taken.len(), "{name} {}", field.name);
            for bit in field.lo..=field.hi {
                let octet = &mut taken[usize::from(field.at + bit / 8)];
                assert_eq!(*octet >> (bit % 8) & 1, 0, "{name} {} overlaps", field.name);
                *octet |= 1 << (bit % 8);
            }
            for about in field.refusal.map_or(&[][..], |r| r.about) {
                let request = command::request_of(row).unwrap();
                assert!(request.fields.iter().any(|f| f.name == *about), "{name} {about}");
            }
        }
    }
}

#[test]
fn requests_and_answers_are_pairs() {
    for row in ROWS {
        match row.role {
            Role::Request => {
                let alone = ["ForceRejoinReq", "NotifyNewEndDeviceReq"].contains(&row.name);
                assert_eq!(command::answer_to(row).is_none(), alone, "{}", row.name);
                assert_eq!(command::request_of(row), None);
            }
            Role::Answer => {
                let request = command::request_of(row).unwrap();
                assert!(command::answer_to(request).is_some());
                assert_eq!(command::answer_to(row), None);
            }
        }
    }
    let old = command::row(0x11, Direction::Downlink, Some(MacVersion::V1_0_2)).unwrap();
    assert_eq!(command::answer_to(old).unwrap().name, "PingSlotFreqAns");
}

#[test]
fn a_refused_request_is_explained_bit_by_bit() {
    let ask = command::decode(&[0x03, 0x52, 0x04, 0x02, 0x11], Direction::Downlink, None);
    let answer = command::decode(&[0x03, 0x02], Direction::Uplink, None);
    let bits = command::explain_refusal(&ask.commands[0], &answer.commands[0]);
    let named: Vec<_> = bits.iter().map(|b| (b.bit, b.name)).collect();
    assert_eq!(named, [(2, "PowerACK"), (0, "ChannelMaskACK")]);
    assert!(bits[0].meaning.starts_with("TXPower 2"), "{}", bits[0].meaning);
    assert!(bits[1].meaning.contains("ChMask 0204"), "{}", bits[1].meaning);
    let agreed = command::decode(&[0x03, 0x07], Direction::Uplink, None);
    assert_eq!(command::explain_refusal(&ask.commands[0], &agreed.commands[0]), []);
    let other = command::decode(&[0x05, 0x00], Direction::Uplink, None);
    assert_eq!(command::explain_refusal(&ask.commands[0], &other.commands[0]), []);
}

#[test]
fn the_direction_decides_the_length() {
    let wire = [0x05, 0x07, 0x02];
    let up = command::decode(&wire, Direction::Uplink, None);
    assert_eq!(
        up.commands.iter().map(command::Command::name).collect::<Vec<_>>(),
        ["RXParamSetupAns", "LinkCheckReq"]
    );
    let down = command::decode(&wire, Direction::Downlink, None);
    assert!(matches!(down.trailing.unwrap().why, Why::Cut { needed: 4, left: 2, .. }));
}

#[test]
fn an_unknown_cid_ends_the_reading_and_is_kept() {
    let list = command::decode(&[0x02, 0x47, 0x01, 0x02], Direction::Uplink, None);
    let trailing = list.trailing.clone().unwrap();
    assert_eq!((trailing.at, trailing.why), (1..4, Why::Unknown));
    assert_eq!(list.faults()[0].what, Wrong::Unknown { cid: 0x47, unread: 3 });
    assert_eq!(
        json::commands(&list),
        json!([{"cid": 2, "name": "LinkCheckReq", "fields": {}},
               {"cid": 0x47, "name": null, "octets": "470102"}])
    );
    // a maker's own command is no fault
    let list = command::decode(&[0x80, 0x01], Direction::Uplink, None);
    assert_eq!(list.trailing.as_ref().unwrap().why, Why::Proprietary);
    assert_eq!(list.faults(), []);
}

#[test]
fn a_command_of_another_version_is_read_and_remarked_on() {
    let in_version = |wire: &[u8], version| {
        let list = command::decode(wire, Direction::Uplink, Some(version));
        (list.commands.len(), list.faults().len())
    };
    assert_eq!(in_version(&[0x0B, 0x01], MacVersion::V1_1), (1, 0));
    for wire in [&[0x0B, 0x01][..], &[0x0C], &[0x0F, 0x01]] {
        assert_eq!(in_version(wire, MacVersion::V1_0_4), (1, 1), "{wire:?}");
    }
    assert_eq!(in_version(&[0x0D], MacVersion::V1_0_2), (1, 1));
    let list = command::decode(&[0x0E, 0x1C, 0x25], Direction::Downlink, Some(MacVersion::V1_0_4));
    assert_eq!(
        list.faults()[0].to_string(),
        "ForceRejoinReq is not a command of LoRaWAN 1.0.4: a receiver of that version stops reading here"
    );
}

#[test]
fn rfu_bits_and_reserved_values_are_faults_at_their_octet() {
    let list = command::decode(&[0x06, 0x03, 0xF8], Direction::Uplink, None);
    // DevStatusAns takes two octets: Battery 03, Margin with RFU bits 7 and 6
    let faults = list.faults();
    assert_eq!(faults.len(), 1);
    assert_eq!((faults[0].at.clone(), list.commands[0].rfu()), (2..3, vec![0, 0xC0]));
    let list = command::decode(&[0x02, 0xFF, 0x01], Direction::Downlink, None);
    assert_eq!(list.faults()[0].to_string(), "LinkCheckAns: Margin 255 is reserved");
    assert_eq!(list.faults()[0].at, 1..2);
}

#[test]
fn repetitions_mean_what_the_version_says() {
    let wire = [0x03, 0x00, 0x07, 0x00, 0x00];
    let meaning = |version| {
        let list = command::decode(&wire, Direction::Downlink, version);
        list.commands[0].field("NbTrans").unwrap().meaning().unwrap()
    };
    assert_eq!(meaning(Some(MacVersion::V1_0_3)), "default, 1 transmission");
    assert_eq!(meaning(Some(MacVersion::V1_1)), "keep the current one");
}

#[test]
fn a_root_wor_s_key_is_never_shown_unasked() {
    let item = items("commands/own-commands.json")
        .into_iter()
        .find(|i| i["name"] == "UpdateUplinkListReq")
        .unwrap();
    let wire = octets(&item["octets"]);
    let key = item["fields"]["RootWorSKey"].as_str().unwrap();
    let list = command::decode(&wire, Direction::Downlink, None);
    let cut = command::decode(&wire[..26], Direction::Downlink, None);
    for shown in [
        format!("{list} {list:?} {}", json::commands(&list)),
        format!("{cut} {cut:?} {:?} {}", cut.faults(), json::commands(&cut)),
    ] {
        assert!(!shown.contains(&key[..16]) && !shown.contains("0, 1, 2, 3, 4, 5"), "{shown}");
    }
    assert_eq!(json::commands(&list)[0]["fields"]["RootWorSKey"], Json::Null);
}

#[test]
fn composing_refuses_what_does_not_fit() {
    let refuse = |name: &str, fields: Json| {
        json::command_from(name, None, fields.as_object().unwrap()).unwrap_err().to_string()
    };
    assert_eq!(refuse("NoSuchReq", json!({})), "no MAC command is called NoSuchReq");
    assert_eq!(refuse("RekeyInd", json!({})), "RekeyInd: Minor is missing");
    assert_eq!(refuse("RekeyInd", json!({"Minor": 16})), "RekeyInd: Minor does not fit its 4 bits");
    assert_eq!(refuse("RekeyInd", json!({"Minor": -1})), "RekeyInd: Minor does not fit its 4 bits");
    assert_eq!(
        refuse("RekeyInd", json!({"Minor": true})),
        "RekeyInd: Minor takes another kind of value"
    );
    assert_eq!(refuse("RekeyInd", json!({"Minor": 1, "X": 1})), "RekeyInd has no field X");
    for hz in [868_100_050, 1_677_721_600, -100] {
        let text = refuse("BeaconFreqReq", json!({"Frequency": hz}));
        assert_eq!(text, "BeaconFreqReq: Frequency does not fit its 24 bits");
    }
    for margin in [-33, 32] {
        let text = refuse("DevStatusAns", json!({"Battery": 0, "Margin": margin}));
        assert_eq!(text, "DevStatusAns: Margin does not fit its 6 bits");
    }
}

/// Octets of which most are CIDs, so that lists grow long.
fn octet() -> impl Strategy<Value = u8> {
    prop_oneof![3 => 0x01..0x14u8, 1 => any::<u8>()]
}

fn config() -> ProptestConfig {
    let failures = FileFailurePersistence::WithSource("failures");
    ProptestConfig { failure_persistence: Some(Box::new(failures)), ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn any_octets_decode_and_encode_back(
        octets in prop::collection::vec(octet(), 0..300),
        up in any::<bool>(),
        version in prop::option::of(prop::sample::select(&MacVersion::ALL[..])),
    ) {
        let way = if up { Direction::Uplink } else { Direction::Downlink };
        let list = command::decode(&octets, way, version);
        prop_assert_eq!(list.encode(), octets.clone());
        // whatever it is, it can be shown
        let _ = (list.faults(), json::commands(&list), list.to_string(), format!("{list:?}"));
    }

    #[test]
    fn any_payload_of_any_row_is_its_fields_and_its_rfu_bits(
        row in prop::sample::select(ROWS.iter().collect::<Vec<_>>()),
        noise in prop::collection::vec(any::<u8>(), 64),
    ) {
        let needed = row.length.needed(&noise);
        let mut octets = vec![row.cid];
        octets.extend_from_slice(&noise[..needed]);
        let version = row.versions.last().copied();
        let list = command::decode(&octets, row.direction, version);
        prop_assert_eq!(list.commands.len(), 1);
        let command = &list.commands[0];
        prop_assert_eq!(command.row, row);
        let values: Vec<(&str, FieldValue)> =
            command.fields.iter().map(|f| (f.name(), f.value.clone())).collect();
        let composed = command::compose(row, &values, version).unwrap();
        let with_rfu: Vec<u8> =
            composed.payload().iter().zip(command.rfu()).map(|(a, b)| a | b).collect();
        prop_assert_eq!(&with_rfu[..], command.payload());
        // composed commands have no RFU bits, so they come back as they are
        let again = command::decode(&composed.octets, row.direction, version);
        prop_assert_eq!(&again.commands[0], &composed);
        let json = json::command(command, Secrets::Shown);
        let from_json = json::command_from(row.name, version, json["fields"].as_object().unwrap());
        prop_assert_eq!(from_json.unwrap(), composed);
    }
}
