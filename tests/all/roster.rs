//! The roster through its public door: rosters good, damaged and hostile.

use std::{fmt::Write, path::Path};

use handfast::{
    frame::MacVersion,
    id::DevAddr,
    roster::{
        Activation, ClaimKind, Class, FaultKind, Position, Roster, RosterError, RosterWarning,
        parse, read_file, readable_by_all,
    },
};
use proptest::prelude::*;

const ORCHARD: &str = include_str!("../../vectors/intake/orchard-roster.toml");
const KEY: &str = "5A0C11D2E37F4B8896A1C0DEFACE0147";

fn good(text: &str) -> Roster {
    parse(text, None).unwrap_or_else(|e| panic!("{e}"))
}

fn bad(text: &str) -> RosterError {
    parse(text, None).expect_err(text)
}

/// The first node's firmware with these members.
fn firmware(members: &str) -> String {
    format!("[[node]]\nname = \"pear\"\n[node.firmware]\n{members}\n")
}

fn only_fault(text: &str) -> (Position, String, FaultKind) {
    let error = bad(text);
    assert_eq!(error.faults.len(), 1, "{error}");
    let fault = error.faults[0].clone();
    (fault.position.unwrap(), fault.member, fault.kind)
}

#[test]
fn every_member_of_the_contract_is_read() {
    let roster = good(ORCHARD);
    assert_eq!(roster.warnings, []);
    assert_eq!(roster.region.map(|plan| plan.name), Some("EU868"));
    assert_eq!(roster.nodes.len(), 3);
    let pear = &roster.nodes[0];
    assert_eq!(pear.name, "pear-row-3");
    assert_eq!(
        pear.claims().map(|(kind, _)| kind.name()).collect::<Vec<_>>(),
        ["firmware", "record", "label"]
    );
    let firmware = pear.firmware.as_ref().unwrap();
    assert_eq!(firmware.dev_eui.unwrap().hex(), "020000fffe001207");
    assert_eq!(firmware.join_eui.unwrap().hex(), "020000fffe00ffff");
    assert_eq!(firmware.app_key.as_ref().unwrap().key().revealed(), KEY.to_lowercase());
    assert!(firmware.nwk_key.is_some() && firmware.gen_app_key.is_some());
    assert_eq!(firmware.mac_version, Some(MacVersion::V1_1));
    assert_eq!((firmware.activation, firmware.class), (Some(Activation::Otaa), Some(Class::A)));
    assert_eq!(firmware.channel_mask.as_deref(), Some(&[0xFF00, 0, 0, 0, 2][..]));
    assert_eq!((firmware.last_join_nonce, firmware.last_fcnt_down), (Some(41), Some(131)));
    assert_eq!(firmware.log, ["join sent", "no accept"]);
    let record = pear.record.as_ref().unwrap();
    assert_eq!(record.net_id.unwrap().get(), 1);
    assert_eq!(record.gateways, [roster.gateways[0].eui]);
    assert_eq!(record.last_dev_nonce, Some(17));
    assert_eq!(record.used_dev_nonces, [3150, 30625]);
    assert_eq!((record.next_join_nonce, record.last_fcnt_up), (Some(39), Some(4180)));
    assert_eq!((record.next_fcnt_down, record.fcnt_bits), (Some(4), Some(32)));
    assert_eq!((record.rx1_delay, record.rx1_dr_offset), (Some(1), Some(0)));
    assert_eq!((record.rx2_data_rate, record.rx2_frequency), (Some(0), Some(869_525_000)));
    assert_eq!(record.downlink_dwell, Some(false));
    assert!(record.dev_addr_prefix.unwrap().contains(DevAddr(0x03FF_FFFF)));
    assert_eq!(record.regional_parameters.as_deref(), Some("RP002-1.0.4"));
    let label = pear.label.as_ref().unwrap();
    assert_eq!((label.dev_eui, label.join_eui), (firmware.dev_eui, firmware.join_eui));
    let quince = roster.nodes[1].record.as_ref().unwrap();
    assert_eq!((quince.activation, quince.class), (Some(Activation::Abp), Some(Class::C)));
    assert_eq!(quince.dev_addr, Some(DevAddr(0x020C_76CA)));
    assert!(quince.nwk_s_key.is_some() && quince.app_s_key.is_some());
    assert_eq!(roster.nodes[2].name, "02-00-00-FF-FE-00-12-0A", "a node without a name");
    let last = roster.nodes[2].firmware.as_ref().unwrap();
    assert!(last.f_nwk_s_int_key.is_some() && last.s_nwk_s_int_key.is_some());
    assert!(last.nwk_s_enc_key.is_some());
    assert_eq!(last.sub_band, Some(2));
    assert_eq!(roster.gateways[0].listens, [868_100_000, 868_300_000]);
    assert_eq!(roster.gateways[1].name.as_deref(), Some("tool shed"));
    assert_eq!(roster.gateways[1].sub_band, Some(8));
}

#[test]
fn an_empty_roster_is_a_roster() {
    for text in
        ["", "\n", "# nothing yet\n", "\u{feff}", "[[node]]\n", "[[node]]\r\n[node.label]\r\n"]
    {
        let roster = good(text);
        assert!(roster.nodes.len() < 2, "{text:?}");
    }
    assert_eq!(good("[[node]]\n[[node]]\n").nodes[1].name, "node 2");
}

#[test]
fn the_plan_is_the_record_s_else_the_firmware_s_else_the_roster_s_else_the_gateways() {
    let plan = |text: &str| {
        let roster = good(text);
        roster.plan_for(&roster.nodes[0]).map(|plan| plan.name)
    };
    let gateway = "[[gateway]]\neui = \"020000fffea09442\"\nregion = \"EU868\"\n";
    assert_eq!(plan("[[node]]\n"), None);
    assert_eq!(plan(&format!("[[node]]\n{gateway}")), Some("EU868"));
    assert_eq!(plan("region = \"EU868\"\n[[node]]\n"), Some("EU868"));
    assert_eq!(plan("[[node]]\n[node.record]\nregion = \"EU868\"\n"), Some("EU868"));
    assert_eq!(plan("[[node]]\n[node.firmware]\nregion = \"EU868\"\n"), Some("EU868"));
}

#[test]
fn a_fault_names_line_column_member_and_what_is_right() {
    let error = bad(&firmware("dev-eui = \"020000fffe0012\"\n"));
    assert_eq!(
        error.to_string(),
        "roster:4:11: node[0].firmware.dev-eui: 14 hex digits, 16 expected; \
         16 hex digits in quotes such as \"020000fffe001207\" expected"
    );
    let error = bad(&firmware("app_key = \"00\"\n"));
    assert_eq!(
        error.to_string(),
        "roster:4:1: node[0].firmware.app_key: no such member; did you mean `app-key`?"
    );
    let error = bad("[[gateway]]\neui = \"020000fffea09442\"\nlistens = [868100000, 868.3]\n");
    assert_eq!(
        error.to_string(),
        "roster:3:23: gateway[0].listens[1]: a whole number of hertz such as 869525000 expected, \
         found a number with a decimal point"
    );
}

#[test]
fn every_wrong_value_is_a_fault_of_its_own_member() {
    for (members, member) in [
        ("dev-eui = 7", "dev-eui"),
        ("dev-eui = \"\"", "dev-eui"),
        ("join-eui = \"020000fffe00fffg\"", "join-eui"),
        ("app-key = 5", "app-key"),
        ("app-key = \"\"", "app-key"),
        ("nwk-key = \"00\"", "nwk-key"),
        ("mac-version = \"1.2\"", "mac-version"),
        ("mac-version = 1.1", "mac-version"),
        ("activation = \"JOIN\"", "activation"),
        ("class = \"D\"", "class"),
        ("region = \"MOON1\"", "region"),
        ("sub-band = 0", "sub-band"),
        // CN470 has the most: twelve.
        ("sub-band = 13", "sub-band"),
        ("channel-mask = \"\"", "channel-mask"),
        ("channel-mask = \"FF00 1\"", "channel-mask"),
        ("channel-mask = \"0 0 0 0\"", "channel-mask"),
        ("channel-mask = \"FFFF FFFF FFFF FFFF FFFF FFFF FFFF\"", "channel-mask"),
        ("last-join-nonce = 16777216", "last-join-nonce"),
        ("last-fcnt-down = -1", "last-fcnt-down"),
        ("last-fcnt-up = 4294967296", "last-fcnt-up"),
        ("log = \"line\"", "log"),
        ("log = [1]", "log[0]"),
        ("net-id = \"0001\"", "net-id"),
        ("gateways = [\"020000fffea09442\", \"02\"]", "gateways[1]"),
        ("last-dev-nonce = 65536", "last-dev-nonce"),
        ("used-dev-nonces = [1, 2, 65536]", "used-dev-nonces[2]"),
        ("fcnt-bits = 24", "fcnt-bits"),
        ("rx1-delay = 16", "rx1-delay"),
        ("rx1-dr-offset = 8", "rx1-dr-offset"),
        ("rx2-data-rate = 16", "rx2-data-rate"),
        ("rx2-frequency = 869.525", "rx2-frequency"),
        ("rx2-frequency = 869525", "rx2-frequency"),
        ("downlink-dwell = \"no\"", "downlink-dwell"),
        ("dev-addr-prefix = \"02000000\"", "dev-addr-prefix"),
        ("dev-addr-prefix = \"02000000/33\"", "dev-addr-prefix"),
        ("regional-parameters = 1979-05-27", "regional-parameters"),
        ("qr = \"LW:D0:02\"", "qr"),
        ("dev-addr = \"02\"", "dev-addr"),
        ("dev-addr = {}", "dev-addr"),
        ("app-key-file = \"no such file\"", "app-key-file"),
        ("app-key-file = \".\"", "app-key-file"),
        ("app-key-env = \"HANDFAST_NO_SUCH_VARIABLE\"", "app-key-env"),
        ("app-key-env = \"\"", "app-key-env"),
        ("app-key-env = \"A=B\"", "app-key-env"),
        ("colour = \"green\"", "colour"),
    ] {
        let (position, found, kind) = only_fault(&firmware(members));
        assert_eq!(found, format!("node[0].firmware.{member}"), "{members}");
        assert_eq!(position.line, 4, "{members}");
        assert!(!kind.to_string().is_empty());
    }
    for (text, member) in [
        ("colour = 1", "colour"),
        ("region = 1", "region"),
        ("sub-band = \"2\"", "sub-band"),
        ("node = 5", "node"),
        ("node = [5]", "node[0]"),
        ("[node]\nname = \"pear\"", "node"),
        ("[[node]]\nname = 5", "node[0].name"),
        ("[[node]]\nname = \"a\\u001Bb\"", "node[0].name"),
        ("[[node]]\nfirmware = 5", "node[0].firmware"),
        ("[[node]]\nfirmwear.dev-eui = \"\"", "node[0].firmwear"),
        ("[[gateway]]\n", "gateway[0]"),
        ("[[gateway]]\neui = \"02\"", "gateway[0].eui"),
        ("[[gateway]]\neui = \"020000fffea09442\"\nlisten = []", "gateway[0].listen"),
    ] {
        assert_eq!(only_fault(text).1, member, "{text}");
    }
}

#[test]
fn every_fault_is_told_of_at_once() {
    let error =
        bad("regoin = \"EU868\"\n[[node]]\n[node.firmware]\ndev-eui = \"x\"\nclass = \"Z\"\n\
         [node.record]\nappkey = \"\"\nrx1-delay = 99\n[[gateway]]\neui = 5\n");
    let members: Vec<_> = error.faults.iter().map(|fault| fault.member.as_str()).collect();
    assert_eq!(
        members,
        [
            "regoin",
            "node[0].firmware.dev-eui",
            "node[0].firmware.class",
            "node[0].record.appkey",
            "node[0].record.rx1-delay",
            "gateway[0].eui"
        ]
    );
    assert_eq!(error.to_string().lines().count(), 6);
}

#[test]
fn syntax_errors_are_told_of_by_line() {
    let error = bad("region = \n[[node]\nname = \"pear\"\n");
    let lines: Vec<_> = error.faults.iter().map(|fault| fault.position.unwrap().line).collect();
    assert_eq!(lines, [1, 2], "{error}");
    assert!(matches!(error.faults[0].kind, FaultKind::Syntax { .. }));
    let error = bad("[[node]]\nname = \"a\"\nname = \"b\"\n");
    assert_eq!(error.faults[0].position, Some(Position { line: 3, column: 1 }), "{error}");
}

/// Every run of four or more digits of the key that the text holds.
fn leaks(text: &str, key: &str) -> bool {
    let text = text.to_lowercase();
    let key = key.to_lowercase();
    (0..=key.len() - 4).any(|at| text.contains(&key[at..at + 4]))
}

#[test]
fn no_message_holds_a_digit_of_a_key_wherever_it_was_put() {
    let spaced: String = KEY.as_bytes().chunks(2).fold(String::new(), |mut out, pair| {
        let _ = write!(out, "{} ", std::str::from_utf8(pair).unwrap());
        out
    });
    for text in [
        firmware(&format!("app-key = \"{}\"", &KEY[..30])),
        firmware(&format!("app-key = \"{KEY}0\"")),
        firmware(&format!("app-key = \"{}zz\"", &KEY[..30])),
        firmware(&format!("app-key = {KEY}")),
        firmware(&format!("app-key = '{KEY}")),
        firmware(&format!("app-key = \"{KEY}")),
        firmware(&format!("app-key \"{KEY}\"")),
        firmware(&format!("app-key = \"\\x{KEY}\"")),
        firmware(&format!("{KEY} = \"app-key\"")),
        firmware(&format!("\"{spaced}\" = \"app-key\"")),
        firmware(&format!("{KEY}.{KEY}.x = 1\n{KEY}.{KEY} = 2")),
        firmware(&format!("{KEY} = 1\n{KEY} = 2")),
        firmware(&format!("dev-eui = \"{KEY}\"")),
        firmware(&format!("mac-version = \"{KEY}\"")),
        firmware(&format!("class = \"{KEY}\"")),
        firmware(&format!("region = \"{KEY}\"")),
        firmware(&format!("channel-mask = \"{KEY}\"")),
        firmware(&format!("channel-mask = \"{spaced}\"")),
        firmware(&format!("dev-addr-prefix = \"{KEY}\"")),
        firmware(&format!("qr = \"LW:D0:{KEY}\"")),
        firmware(&format!("app-key-file = \"{KEY}\"")),
        firmware(&format!("app-key-env = \"{KEY}\"")),
        firmware(&format!("app-key-ev = \"{KEY}\"")),
        firmware(&format!("app-key = \"{KEY}\"\nclass = \"Z\"")),
        format!("[{KEY}]\n[{KEY}]\n"),
        KEY.to_owned(),
        format!("[[node]]\n{KEY} = 1\n"),
        format!("node = \"{KEY}\""),
        format!("[[gateway]]\neui = \"{KEY}\"\n{KEY} = 5"),
    ] {
        let error = bad(&text);
        for shown in [error.to_string(), format!("{error:?}")] {
            assert!(!leaks(&shown, KEY), "{text}\n{shown}");
        }
    }
    // nor does a roster that is right
    assert!(!leaks(&format!("{:?}", good(ORCHARD)), KEY));
}

#[test]
fn a_key_comes_from_the_roster_a_file_or_the_environment_but_from_one_only() {
    let folder = Folder::new("key-sources");
    folder.write("pear.key", &format!(" {KEY}\r\n"));
    folder.write("two.key", &format!("{KEY}\n{KEY}\n"));
    folder.write("short.key", &KEY[..30]);
    folder.write("empty.key", "");
    folder.write("long.key", &"0".repeat(5000));
    let read = |members: &str| parse(&firmware(members), Some(&folder.0));
    let roster = read("app-key-file = \"pear.key\"").unwrap();
    let key = roster.nodes[0].firmware.as_ref().unwrap().app_key.as_ref().unwrap();
    assert_eq!(key.key().revealed(), KEY.to_lowercase());
    let kind = |members: &str| read(members).unwrap_err().faults[0].kind.clone();
    assert_eq!(kind("app-key-file = \"two.key\""), FaultKind::KeyFileForm);
    assert_eq!(kind("app-key-file = \"empty.key\""), FaultKind::KeyFileForm);
    assert_eq!(kind("app-key-file = \"long.key\""), FaultKind::KeyFileForm);
    assert!(matches!(kind("app-key-file = \"short.key\""), FaultKind::Key(_)));
    assert!(matches!(kind("app-key-file = \"gone.key\""), FaultKind::KeyFile(_)));
    // no test may set a variable, but one that is always there is no key
    assert!(matches!(kind("app-key-env = \"PATH\""), FaultKind::Key(_)));
    let twice = format!("app-key = \"{KEY}\"\napp-key-file = \"pear.key\"");
    assert_eq!(kind(&twice), FaultKind::KeyTwice { other: "app-key".into() });
    let twice = format!("nwk-key-env = \"PATH\"\nnwk-key = \"{KEY}\"");
    let error = read(&twice).unwrap_err();
    assert!(error.faults.iter().any(|f| f.member == "node[0].firmware.nwk-key"), "{error}");
}

#[test]
fn a_file_is_named_in_its_faults() {
    let folder = Folder::new("named");
    folder.write("orchard.toml", "region = 5\n");
    let path = folder.0.join("orchard.toml");
    let error = read_file(&path).unwrap_err();
    assert_eq!(error.file.as_deref(), Some(path.as_path()));
    assert!(error.to_string().contains("orchard.toml:1:10: region: "), "{error}");
    let error = read_file(&folder.0.join("gone.toml")).unwrap_err();
    assert!(error.to_string().ends_with("gone.toml: cannot be read: no such file"), "{error}");
    assert!(read_file(&folder.0).is_err());
    std::fs::write(&path, b"region = \"EU868\"\n# \xFF").unwrap();
    let error = read_file(&path).unwrap_err();
    assert!(error.to_string().ends_with("line 2, column 3: not UTF-8 text"), "{error}");
}

#[cfg(unix)]
#[test]
fn a_file_with_keys_that_all_may_read_gives_a_warning() {
    use std::os::unix::fs::PermissionsExt;
    let folder = Folder::new("permissions");
    folder.write("orchard.toml", ORCHARD);
    let path = folder.0.join("orchard.toml");
    let mode = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    mode(&path, 0o644);
    assert!(readable_by_all(&path));
    let warning = RosterWarning::ReadableByAll { path: path.clone() };
    assert_eq!(read_file(&path).unwrap().warnings, [warning]);
    mode(&path, 0o640);
    assert!(!readable_by_all(&path));
    assert_eq!(read_file(&path).unwrap().warnings, []);
    // no key in it, no warning; but the key file counts by itself
    folder.write("pear.key", KEY);
    folder.write("orchard.toml", &firmware("app-key-file = \"pear.key\""));
    mode(&path, 0o644);
    let key = folder.0.join("pear.key");
    mode(&key, 0o600);
    assert_eq!(read_file(&path).unwrap().warnings, []);
    mode(&key, 0o604);
    let warning = RosterWarning::ReadableByAll { path: key };
    assert_eq!(read_file(&path).unwrap().warnings, [warning]);
    assert!(!readable_by_all(&folder.0.join("gone")));
}

#[test]
fn twins_give_warnings() {
    let node = "[[node]]\nname = \"pear\"\n[node.record]\ndev-eui = \"020000fffe001207\"\n";
    let other = "[[node]]\nname = \"plum\"\n[node.firmware]\ndev-eui = \"020000fffe001207\"\n";
    let gateway = "[[gateway]]\neui = \"020000fffea09442\"\n";
    let roster = good(&format!("{node}{other}{node}{gateway}{gateway}"));
    assert_eq!(
        roster.warnings,
        [
            RosterWarning::SameName { name: "pear".into(), first: 0, second: 2 },
            RosterWarning::SameDevEui {
                claim: ClaimKind::Record,
                first: "pear".into(),
                second: "pear".into()
            },
            RosterWarning::SameGateway { first: 0, second: 1 },
        ]
    );
}

#[test]
fn the_identification_string_fills_in_what_is_absent_and_never_overrules() {
    let qr = "qr = \"LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D\"\n";
    let label = |more: &str| good(&format!("[[node]]\nname = \"pear\"\n[node.label]\n{more}{qr}"));
    let roster = label("dev-eui = \"020000fffe001207\"\n");
    let claim = roster.nodes[0].label.as_ref().unwrap();
    assert_eq!(claim.join_eui.unwrap().hex(), "020000fffe00ffff");
    assert_eq!(roster.warnings, []);
    let roster = label("dev-eui = \"020000fffe00ffff\"\n");
    let claim = roster.nodes[0].label.as_ref().unwrap();
    assert_eq!(claim.dev_eui.unwrap().hex(), "020000fffe00ffff");
    assert_eq!(
        roster.warnings,
        [RosterWarning::QrDiffers {
            claim: ClaimKind::Label,
            node: "pear".into(),
            member: "dev-eui"
        }]
    );
    let roster = good(&format!("[[node]]\n[node.label]\n{qr}"));
    assert_eq!(roster.nodes[0].name, "02-00-00-FF-FE-00-12-07");
}

#[test]
fn a_roster_cut_at_any_octet_is_read_or_refused_and_keeps_its_keys() {
    for cut in 0..ORCHARD.len() {
        if let Err(error) = parse(&ORCHARD[..cut], None) {
            assert!(!leaks(&error.to_string(), KEY), "cut at {cut}: {error}");
            assert!(!error.faults.is_empty());
        }
    }
}

#[test]
fn depth_bombs_and_floods_do_not_crash() {
    for text in [
        format!("a = {}", "[".repeat(200_000)),
        format!("a = {}", "{a=".repeat(200_000)),
        format!("{}x = 1", "a.".repeat(200_000)),
        format!("[{}x]", "a.".repeat(200_000)),
        format!("region = \"{}\"", "x".repeat(1_000_000)),
        format!("{} = 1", "x".repeat(1_000_000)),
        (0..20_000).fold(String::new(), |mut out, i| {
            let _ = writeln!(out, "x{i} = 1");
            out
        }),
    ] {
        let error = bad(&text);
        assert!(error.faults.len() <= 50);
        assert!(error.to_string().len() < 50_000);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text_is_a_roster_or_an_error(text in any::<String>()) {
        let _ = parse(&text, None);
    }

    #[test]
    fn any_value_for_any_member_is_read_or_a_fault(
        member in prop::sample::select(vec![
            "dev-eui", "app-key", "qr", "dev-addr-prefix", "channel-mask", "net-id", "listens",
            "used-dev-nonces", "region", "log", "app-key-env", "mac-version",
        ]),
        value in r#"[0-9a-fA-F"'{}\[\],./:LWD =x-]{0,40}"#,
    ) {
        let _ = parse(&firmware(&format!("{member} = {value}")), None);
        let _ = parse(&firmware(&format!("{member} = '{}'", value.replace('\'', ""))), None);
    }

    #[test]
    fn a_roster_with_one_octet_changed_never_shows_its_key(
        at in 0..ORCHARD.len(), octet in 0x20u8..0x7F
    ) {
        let mut octets = ORCHARD.as_bytes().to_vec();
        octets[at] = octet;
        if let Err(error) = parse(std::str::from_utf8(&octets).unwrap(), None) {
            prop_assert!(!leaks(&error.to_string(), KEY), "{}", error);
        }
    }
}

/// A folder of one test, gone with it.
struct Folder(std::path::PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn write(&self, name: &str, text: &str) {
        std::fs::write(self.0.join(name), text).unwrap();
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
