//! Firmware, record and label held against each other: every kind of difference, and beside each
//! a near miss that must not trip it.

use std::{collections::BTreeSet, fmt::Write as _};

use handfast::{
    compare::{DifferenceKind, Gathered, NodeReport, Severity, Sources, compare as hold, gather},
    ladder::CauseId,
    roster::{
        self, ClaimKind,
        firmware::{self, SourceText},
        label, table,
    },
    show,
};
use proptest::prelude::*;

use crate::support::cost;

const EUI: &str = "020000fffe001207";
const JOIN: &str = "020000fffe00ffff";
const KEY: &str = "5a0c11d2e37f4b8896a1c0deface0147";
const OTHER: &str = "771b029cd4e83f60a54d182e9bc7f033";

/// What a row expects: kind, severity, cause.
type Told = (DifferenceKind, Severity, Option<&'static str>);

fn run(sources: Sources) -> (Vec<NodeReport>, Gathered) {
    let gathered = gather(sources);
    (hold(&gathered.subjects, &gathered.context), gathered)
}

fn roster(text: &str) -> Sources {
    let roster = roster::parse(text, None).unwrap_or_else(|e| panic!("{e}\n{text}"));
    Sources { roster: Some(roster), ..Sources::default() }
}

fn node(firmware: &str, record: &str, label: &str) -> String {
    let mut text = String::from("[[node]]\nname = \"pear\"\n");
    for (place, members) in [("firmware", firmware), ("record", record), ("label", label)] {
        if !members.is_empty() {
            let _ = writeln!(text, "[node.{place}]\n{}", members.replace(';', "\n"));
        }
    }
    text
}

fn told(report: &NodeReport) -> Vec<Told> {
    report.differences.iter().map(|d| (d.kind, d.severity, d.cause.map(CauseId::name))).collect()
}

fn faults(report: &NodeReport) -> Vec<Told> {
    told(report).into_iter().filter(|told| told.1 == Severity::Fault).collect()
}

fn text_of(sources: Sources) -> String {
    let (nodes, gathered) = run(sources);
    let mut shown = String::new();
    show::compare::text(&nodes, &gathered, &mut shown).unwrap();
    shown
}

/// DevEUI, JoinEUI and AppKey of one place.
fn place(dev: &str, join: &str, key: &str) -> String {
    let mut members = Vec::new();
    for (name, value) in [("dev-eui", dev), ("join-eui", join), ("app-key", key)] {
        if !value.is_empty() {
            members.push(format!("{name} = \"{value}\""));
        }
    }
    members.join(";")
}

const FAULT: Severity = Severity::Fault;
const DOUBT: Severity = Severity::Doubt;
const NOTE: Severity = Severity::Note;

/// One case of `vectors/compare`.
struct Case {
    what: String,
    firmware: String,
    record: String,
    label: String,
    expect: Vec<String>,
}

/// Every case of the files; one that a file spells wrong fails here.
fn cases() -> Vec<Case> {
    let mut cases = Vec::new();
    let folder = std::fs::read_dir("vectors/compare").unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<_> =
        folder.filter(|path| path.extension().is_some_and(|e| e == "toml")).collect();
    files.sort();
    for path in files {
        let file: toml::Table = std::fs::read_to_string(&path).unwrap().parse().unwrap();
        assert_eq!(file.keys().collect::<Vec<_>>(), ["case"]);
        for case in file["case"].as_array().unwrap() {
            let case = case.as_table().unwrap();
            let members = |place: &str| {
                let members = case.get(place).map(|m| m.as_table().unwrap().clone());
                let line = |(name, value): (&String, &toml::Value)| match value {
                    toml::Value::String(text) => format!("{name} = {text:?}"),
                    toml::Value::Integer(number) => format!("{name} = {number}"),
                    other => panic!("{other:?}"),
                };
                members.iter().flatten().map(line).collect::<Vec<_>>().join("\n")
            };
            let known = ["what", "firmware", "record", "label", "expect"];
            assert!(case.keys().all(|key| known.contains(&key.as_str())), "{case:?}");
            cases.push(Case {
                what: case["what"].as_str().unwrap().to_owned(),
                firmware: members("firmware"),
                record: members("record"),
                label: members("label"),
                expect: case["expect"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .map(|told| told.as_str().unwrap().to_owned())
                    .collect(),
            });
        }
    }
    cases
}

/// All that is told, as the files spell it.
fn spelt(report: &NodeReport) -> Vec<String> {
    let spell = |(kind, severity, cause): Told| {
        let told = format!("{} {} {}", severity.name(), kind.name(), cause.unwrap_or_default());
        told.trim().to_owned()
    };
    let mut all: Vec<String> = told(report).into_iter().map(spell).collect();
    all.sort();
    all
}

#[test]
fn every_difference_is_told_and_nothing_else() {
    let mut wrong = Vec::new();
    for case in cases() {
        let (nodes, _) = run(roster(&node(&case.firmware, &case.record, &case.label)));
        let found = spelt(&nodes[0]);
        let mut want = case.expect;
        want.sort();
        if found != want {
            wrong.push(format!("{}:\n  found {found:?}\n  want  {want:?}", case.what));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_difference_is_the_same_from_either_side() {
    // what is wrong between two places is wrong whichever of them has it
    let symmetric = [
        "eui-reversed",
        "eui-typed-wrong",
        "key-reversed",
        "key-typed-wrong",
        "key-differs",
        "euis-exchanged",
        "key-text-as-octets",
    ];
    for case in cases().iter().filter(|case| case.label.is_empty()) {
        let faults = |all: &[String]| -> Vec<String> {
            all.iter().filter(|told| told.starts_with("fault")).cloned().collect()
        };
        let wanted = faults(&case.expect);
        if wanted.iter().any(|told| symmetric.iter().any(|kind| told.contains(kind))) {
            let (nodes, _) = run(roster(&node(&case.record, &case.firmware, "")));
            assert_eq!(faults(&spelt(&nodes[0])), wanted, "{}", case.what);
        }
    }
}

#[test]
fn nodes_are_held_against_each_other() {
    let two = |a: &str, b: &str, c: &str| {
        format!(
            "[[node]]\nname = \"pear\"\n[node.firmware]\n{a}\n[node.record]\n{b}\n\
             [[node]]\nname = \"plum\"\n[node.record]\n{c}\n"
        )
        .replace(';', "\n")
    };
    let second = place("020000fffe001208", JOIN, OTHER);
    let first = |text: &str| told(&run(roster(text)).0[0]);
    let whole = place(EUI, JOIN, KEY);
    assert_eq!(first(&two(&whole, &whole, &second)), []);
    assert_eq!(
        first(&two(&place(EUI, JOIN, OTHER), &whole, &second)),
        [(DifferenceKind::KeyOfAnotherNode, FAULT, Some("key-of-another-node"))]
    );
    // one digit from its own, and yet another node's: no slip of typing
    assert_eq!(
        first(&two(&place("020000fffe001208", JOIN, KEY), &whole, &second)),
        [(DifferenceKind::EuiOfAnotherNode, FAULT, None)]
    );
    assert_eq!(
        first(&two(&whole, &whole, &place(EUI, JOIN, OTHER))),
        [(DifferenceKind::DevEuiShared, FAULT, Some("two-nodes-share-one-identity"))]
    );
    assert_eq!(
        first(&two(&whole, &whole, &place("020000fffe001208", JOIN, KEY))),
        [(DifferenceKind::KeyShared, NOTE, None)]
    );
    let session = |eui: &str, addr: &str, key: &str| {
        format!(
            "dev-eui = \"{eui}\";activation = \"ABP\";dev-addr = \"{addr}\";nwk-s-key = \"{key}\";\
             app-s-key = \"{KEY}\""
        )
    };
    let a = session(EUI, "02000001", OTHER);
    let b = session("020000fffe001208", "02000001", OTHER);
    let c = session("020000fffe001208", "02000001", "33445566778899aabbccddeeff102030");
    assert_eq!(
        first(&two(&a, &a, &b)),
        [(DifferenceKind::DevAddrShared, FAULT, Some("two-nodes-share-one-identity"))]
    );
    assert_eq!(first(&two(&a, &a, &c)), [(DifferenceKind::DevAddrShared, NOTE, None)]);
    assert_eq!(first(&two(&a, &a, &session("020000fffe001208", "02000002", OTHER))), []);
}

#[test]
fn a_sample_key_is_told_whichever_side_has_it() {
    // The sample key of FIPS 197 and RFC 4493, and the one that counts up.
    let (sample, other) = ("2b7e151628aed2a6abf7158809cf4f3c", "000102030405060708090a0b0c0d0e0f");
    let told_of = |firmware: &str, record: &str| {
        let text = node(&place(EUI, JOIN, firmware), &place(EUI, JOIN, record), "");
        let report = run(roster(&text)).0.remove(0);
        let sides: Vec<_> =
            report.differences.iter().flat_map(|d| &d.sides).map(|side| side.claim).collect();
        (told(&report), sides)
    };
    let fault = |cause| vec![(DifferenceKind::KeyIsSample, FAULT, cause)];
    assert_eq!(told_of(sample, KEY).0, fault(Some("firmware-still-uses-a-sample-key")));
    assert_eq!(told_of(KEY, sample).0, fault(None));
    // It may work where both have it.
    let (both, sides) = told_of(sample, sample);
    assert_eq!(
        both,
        [(DifferenceKind::KeyIsSample, DOUBT, Some("firmware-still-uses-a-sample-key"))]
    );
    assert_eq!(sides, [ClaimKind::Firmware, ClaimKind::Record]);
    assert_eq!(told_of(sample, other).0[0].0, DifferenceKind::KeyIsSample);
    assert_eq!(told_of(KEY, KEY).0, []);
}

fn files(header: &str, records: &str, labels: &[&str]) -> Sources {
    let firmware = firmware::parse(&[SourceText::new("probe.h", header)]);
    assert_eq!(firmware.faults, [], "{header}");
    let mut tables = Vec::new();
    if !records.is_empty() {
        let table = table::parse(records);
        assert_eq!(table.faults, [], "{records}");
        tables.push(("records.csv".to_owned(), table));
    }
    let mut printed = Vec::new();
    for (i, text) in labels.iter().enumerate() {
        let read = label::read(text);
        assert_eq!(read.faults, [], "{text}");
        printed.extend(read.found.into_iter().map(|found| (format!("label {}", i + 1), found)));
    }
    Sources { firmware, tables, labels: printed, ..Sources::default() }
}

fn array(hex: &str) -> String {
    let octets: Vec<String> =
        hex::decode(hex).unwrap().iter().map(|octet| format!("0x{octet:02X}")).collect();
    format!("{{ {} }}", octets.join(", "))
}

fn back(hex: &str) -> String {
    let mut octets = hex::decode(hex).unwrap();
    octets.reverse();
    hex::encode(octets)
}

#[test]
fn byte_orders_of_a_source_are_judged_by_what_it_says() {
    let records = format!("DevEUI,JoinEUI,AppKey\n{EUI},{JOIN},{KEY}\n");
    let lsb = "// least significant byte first\n";
    let of = |dev: String, join: String| {
        let header = format!("{dev}\n\n{join}\n\n#define APP_KEY \"{KEY}\"\n");
        told(&run(files(&header, &records, &[])).0[0])
    };
    let dev = |mark: &str, hex: &str| format!("{mark}uint8_t dev_eui[8] = {};", array(hex));
    let join = |mark: &str, hex: &str| format!("{mark}uint8_t join_eui[8] = {};", array(hex));
    let dev_fault = (DifferenceKind::EuiReversed, FAULT, Some("dev-eui-bytes-reversed"));
    let join_fault = (DifferenceKind::EuiReversed, FAULT, Some("join-eui-bytes-reversed"));
    // as printed, in an order that nothing tells
    assert_eq!(of(dev("", EUI), join("", JOIN)), []);
    // marked, and as marked
    assert_eq!(of(dev(lsb, &back(EUI)), join(lsb, &back(JOIN))), []);
    assert_eq!(of(dev("// MSB\n", EUI), join(lsb, &back(JOIN))), []);
    // marked, and not as marked
    assert_eq!(of(dev(lsb, EUI), join(lsb, &back(JOIN))), [dev_fault]);
    assert_eq!(of(dev("// MSB\n", &back(EUI)), join("", JOIN)), [dev_fault]);
    // one of two stands the other way round
    assert_eq!(of(dev("", &back(EUI)), join("", JOIN)), [dev_fault]);
    assert_eq!(of(dev("", EUI), join("", &back(JOIN))), [join_fault]);
    // both stand backwards: the stack may want just that
    assert_eq!(
        of(dev("", &back(EUI)), join("", &back(JOIN))),
        [
            (DifferenceKind::EuiOrderUnknown, NOTE, None),
            (DifferenceKind::EuiOrderUnknown, NOTE, None)
        ]
    );
    // a text is read from its first digit
    assert_eq!(of(format!("char dev_eui[] = \"{}\";", back(EUI)), join("", JOIN)), [dev_fault]);
    // a slip within an array that stands backwards is still that slip
    assert_eq!(
        of(dev("", &back("020000fffe001217")), join("", &back(JOIN))),
        [
            (DifferenceKind::EuiTypedWrong, FAULT, Some("dev-eui-typed-wrong")),
            (DifferenceKind::EuiOrderUnknown, DOUBT, None)
        ]
    );
}

#[test]
fn sources_find_their_nodes_by_what_they_have() {
    let header = format!(
        "#define DEV_EUI_PEAR {}\n#define APP_KEY_PEAR \"{KEY}\"\n\
         #define DEV_EUI_PLUM \"020000fffe001208\"\n#define APP_KEY_PLUM \"{OTHER}\"\n",
        array(&back(EUI))
    );
    let records = format!(
        "name;DevEUI;AppKey\nthe plum;020000fffe001208;{OTHER}\nthe pear;{EUI};{KEY}\n\
         the fig;020000fffe00a000;{}\n",
        "5c".repeat(15) + "5d"
    );
    let label = format!("LW:D0:{JOIN}:020000FFFE001208:0A0B0C0D");
    let (nodes, gathered) = run(files(&header, &records, &[&label]));
    let names: Vec<_> = nodes.iter().map(|n| n.subject.node.name.as_str()).collect();
    assert_eq!(names, ["the plum", "the pear", "the fig"]);
    assert_eq!(nodes[0].subject.matched, ["label by its DevEUI", "firmware by its DevEUI"]);
    assert_eq!(nodes[1].subject.matched, ["firmware by its DevEUI, backwards"]);
    assert!(nodes.iter().all(|node| !node.has_fault()), "{nodes:#?}");
    assert_eq!(gathered.loose, []);

    let called = files(
        "#define NODE_NAME \"The-Pear\"\n#define DEV_EUI \"020000fffe00ab12\"",
        &records,
        &[],
    );
    let (nodes, _) = run(called);
    assert_eq!(nodes[1].subject.matched, ["firmware by its name"]);
    assert_eq!(
        faults(&nodes[1]),
        [(DifferenceKind::EuiDiffers, FAULT, Some("identity-not-on-record"))]
    );

    let by_key = files(
        &format!("#define DEV_EUI \"020000fffe00ab12\"\n#define APP_KEY \"{KEY}\""),
        &records,
        &[],
    );
    assert_eq!(run(by_key).0[1].subject.matched, ["firmware by its root key"]);

    let stranger = files("#define DEV_EUI \"020000fffe00ab12\"", &records, &[]);
    let (nodes, gathered) = run(stranger);
    assert_eq!((nodes.len(), gathered.loose.len()), (4, 1));
    assert!(!nodes.iter().any(NodeReport::has_fault), "nothing says that it is one of these");
}

#[test]
fn a_likeness_alone_makes_no_fault_of_two_nodes() {
    // the label of a neighbour that is not registered
    let label = format!("LW:D0:{JOIN}:020000FFFE001208:0A0B0C0D");
    let records = format!("DevEUI,JoinEUI\n{EUI},{JOIN}\n");
    let (nodes, _) = run(files("", &records, &[&label]));
    assert_eq!(
        told(&nodes[0]),
        [(DifferenceKind::EuiTypedWrong, DOUBT, Some("dev-eui-typed-wrong"))]
    );
    // with the same key on both sides it is one node
    let records = format!("DevEUI,JoinEUI,AppKey\n020000fffe001208,{JOIN},{KEY}\n");
    let header = format!(
        "#define DEV_EUI \"{EUI}\"\n#define APP_KEY \"{KEY}\"\n#define JOIN_EUI \"{JOIN}\""
    );
    let (nodes, _) = run(files(&header, &records, &[]));
    assert_eq!(
        told(&nodes[0]),
        [(DifferenceKind::EuiTypedWrong, FAULT, Some("dev-eui-typed-wrong"))]
    );
}

#[test]
fn the_orchard_s_files_agree() {
    let sources = files(
        include_str!("../../vectors/compare/probes.h"),
        include_str!("../../vectors/compare/records.csv"),
        &[],
    );
    let (nodes, gathered) = run(sources);
    assert_eq!(nodes.len(), 3);
    for node in &nodes {
        assert_eq!(told(node), [], "{}", node.subject.node.name);
    }
    assert_eq!((gathered.loose, gathered.left_out), (vec![], vec![]));
}

#[test]
fn digits_that_differ_are_marked_one_above_the_other() {
    let header = format!(
        "/* as printed, MSB */\n#define DEV_EUI {}\n#define JOIN_EUI \"{JOIN}\"\n\
         #define APP_KEY \"{}\"\nuint8_t blob[8] = {{9, 99, 9, 99, 9, 99, 9, 98}};\n",
        array("020000fffe001270"),
        KEY.replace("face", "fabe")
    );
    let records = format!("name,DevEUI,JoinEUI,AppKey,colour\npear,{EUI},{JOIN},{KEY},red\n");
    let mut sources = files(&header, &records, &[]);
    sources.node = Some("pear".into());
    assert_eq!(
        text_of(sources),
        "\
pear: 2 faults
    compared  firmware, record
    matched   firmware as asked for
    taken     dev-eui from DEV_EUI in probe.h:2, most significant byte first: a
              comment says so
    taken     join-eui from JOIN_EUI in probe.h:3, most significant byte first:
              as texts and numbers are
    taken     app-key from APP_KEY in probe.h:4

  fault: the DevEUI of the firmware and of the record are a typing error apart:
    digits 15 and 16 of 16 are swapped: the firmware has 70, the record 07
    firmware  02-00-00-FF-FE-00-12-70 (probe.h:2 DEV_EUI)
    record    02-00-00-FF-FE-00-12-07 (records.csv line 2)
                                   ^^
    do        look at the node or its label, and fix the one that is wrong
    cause     dev-eui-typed-wrong

  fault: the AppKey of the firmware and of the record are a typing error apart:
    digit 27 of 32 differs: the firmware has B, the record C
    firmware  app-key (probe.h:4 APP_KEY)
    record    app-key (records.csv line 2)
    do        look up where the key came from, and fix the side that is wrong
    cause     app-key-typed-wrong

not taken: probe.h:5:9: blob: 8 bytes under a name that says nothing
not taken: column colour: no name of a member
"
    );
}

#[test]
fn json_is_one_object_a_node() {
    let (nodes, gathered) =
        run(roster(&node(&place("020000fffe001217", JOIN, KEY), &place(EUI, JOIN, KEY), "")));
    let mut shown = String::new();
    show::compare::json(&nodes, &gathered, &mut shown).unwrap();
    assert_eq!(shown.lines().count(), 1);
    let object: serde_json::Value = serde_json::from_str(&shown).unwrap();
    assert_eq!((&object["schema"], &object["node"]["name"]), (&2.into(), &"pear".into()));
    assert_eq!(object["node"]["dev_eui"], EUI);
    let difference = &object["differences"][0];
    assert_eq!(difference["kind"], "eui-typed-wrong");
    assert_eq!(difference["cause"], "dev-eui-typed-wrong");
    assert_eq!(difference["severity"], "fault");
    assert_eq!(difference["claims"][0]["value"], "020000fffe001217");
    assert_eq!(
        difference["digits"][0],
        serde_json::json!({"position":15,"first":"1","second":"0"})
    );
}

#[test]
fn every_kind_is_met_above_and_named_once() {
    let names: BTreeSet<_> = DifferenceKind::ALL.iter().map(|kind| kind.name()).collect();
    assert_eq!(names.len(), DifferenceKind::ALL.len());
    let met: Vec<String> = cases().into_iter().flat_map(|case| case.expect).collect();
    let in_cases: BTreeSet<DifferenceKind> = DifferenceKind::ALL
        .iter()
        .copied()
        .filter(|kind| met.iter().any(|told| told.split(' ').nth(1) == Some(kind.name())))
        .collect();
    let elsewhere = BTreeSet::from([
        DifferenceKind::EuiOfAnotherNode,
        DifferenceKind::EuiOrderUnknown,
        DifferenceKind::KeyOfAnotherNode,
        DifferenceKind::KeyShared,
        DifferenceKind::DevEuiShared,
        DifferenceKind::DevAddrShared,
    ]);
    let all: BTreeSet<DifferenceKind> = DifferenceKind::ALL.iter().copied().collect();
    assert_eq!(in_cases.union(&elsewhere).copied().collect::<BTreeSet<_>>(), all);
}

#[test]
fn lines_have_80_columns_and_no_key_is_shown() {
    for Case { what, firmware, record, label, .. } in cases() {
        let text = node(&firmware, &record, &label);
        let (nodes, gathered) = run(roster(&text));
        let mut shown = text_of(roster(&text));
        assert!(shown.lines().all(|line| line.chars().count() <= 80), "{what}\n{shown}");
        show::compare::json(&nodes, &gathered, &mut shown).unwrap();
        let _ = write!(shown, "{nodes:?}");
        let bare: String = shown.to_lowercase().chars().filter(char::is_ascii_hexdigit).collect();
        for key in [KEY, OTHER, &back(KEY), &back(OTHER)] {
            for start in 0..=key.len() - 8 {
                assert!(!bare.contains(&key[start..start + 8]), "{what}\n{shown}");
            }
        }
    }
}

#[test]
fn many_nodes_alike_take_no_square_of_time() {
    let compared = |count: usize| {
        let row = format!("{EUI},02000001,{KEY},{OTHER}\n");
        let records = format!("DevEUI,DevAddr,AppKey,NwkSKey\n{}", row.repeat(count));
        let (nodes, _) = run(files("", &records, &[]));
        assert!(nodes.len() == count && nodes.iter().all(NodeReport::has_fault));
    };
    // A square would be a hundred times.
    cost::at_most(30, "ten times the nodes", || compared(2_000), || compared(20_000));
}

proptest! {
    #[test]
    fn any_two_keys_are_compared_without_showing_them(a: [u8; 16], b: [u8; 16], flip in 0usize..32) {
        let mut near = a;
        near[flip / 2] ^= if flip % 2 == 0 { 0x30 } else { 0x03 };
        for other in [b, near, a] {
            let (a, other) = (hex::encode(a), hex::encode(other));
            let text = node(&place(EUI, JOIN, &a), &place(EUI, JOIN, &other), "");
            let shown = text_of(roster(&text)).to_lowercase();
            prop_assert!(!shown.contains(&a[..8]) && !shown.contains(&other[..8]), "{}", shown);
            prop_assert_eq!(faults(&run(roster(&text)).0[0]).is_empty(), a == other, "{}", shown);
        }
    }

    #[test]
    fn any_two_euis_are_compared(a: [u8; 8], b: [u8; 8]) {
        let (a, b) = (hex::encode(a), hex::encode(b));
        let text = node(&place(&a, &b, KEY), &place(&b, &a, KEY), &place(&a, &a, ""));
        let _ = text_of(roster(&text));
    }
}
