//! Credentials read from C sources: every way to write them, and sources that are cut or hostile.

use std::fmt::Write as _;

use handfast::{
    frame::MacVersion,
    id::{DevEui, JoinEui},
    roster::{
        Activation, Class,
        firmware::{
            ByteOrder, Firmware, LeftOutWhy, OrderFrom, SourceFaultKind, SourceText, parse,
        },
    },
};
use proptest::prelude::*;

use crate::support::cost;

const KEY: &str = "5a0c11d2e37f4b8896a1c0deface0147";
const KEY_LIST: &str =
    "0x5A,0x0C,0x11,0xD2,0xE3,0x7F,0x4B,0x88,0x96,0xA1,0xC0,0xDE,0xFA,0xCE,0x01,0x47";
const EUI: &str = "020000fffe001207";
const EUI_LIST: &str = "0x02, 0x00, 0x00, 0xFF, 0xFE, 0x00, 0x12, 0x07";

fn read(text: &str) -> Firmware {
    parse(&[SourceText::new("probe.h", text)])
}

fn euis(firmware: &Firmware) -> Vec<String> {
    firmware.nodes.iter().map(|n| n.claim.dev_eui.map_or(String::new(), DevEui::hex)).collect()
}

fn app_key(firmware: &Firmware, node: usize) -> String {
    firmware.nodes[node].claim.app_key.as_ref().map_or(String::new(), |k| k.key().revealed())
}

#[test]
fn an_eui_is_read_however_it_is_written() {
    for text in [
        format!("#define DEV_EUI {{ {EUI_LIST} }}"),
        format!("#define DEV_EUI {EUI_LIST}\nstatic const uint8_t dev_eui[8] = {{ DEV_EUI }};"),
        format!("const uint8_t dev_eui[8] = {{{EUI_LIST},}};"),
        format!("uint8_t DevEui[] IN_FLASH = {{{EUI_LIST}}};"),
        format!("uint8_t DevEui[8] __attribute__((section(\".ids\"))) = {{{EUI_LIST}}};"),
        format!("uint8_t DevEui[8] __attribute__((aligned(4))) IN_FLASH = {{{EUI_LIST}}};"),
        format!("std::array<uint8_t, 8> devEui{{{EUI_LIST}}};"),
        format!("uint8_t dev_eui[8]{{{EUI_LIST}}};"),
        "#define DEVEUI 0x020000FFFE001207ULL".into(),
        "constexpr uint64_t dev_eui = 0x0200'00FF'FE00'1207;".into(),
        "#define DEVEUI \"020000FFFE001207\"".into(),
        "char devEui[] = \"02-00-00-ff-fe-00-12-07\";".into(),
        "const char* device_eui = \"02:00:00:FF:FE:00:12:07\";".into(),
        "#define DEVEUI \"0x02, 0x00, 0x00, 0xFF, 0xFE, 0x00, 0x12, 0x07\"".into(),
        "#define DEVEUI \"020000FF\" /* ours */ \\\n  \"FE001207\"".into(),
        "#define OUI \"020000\"\n#define DEVEUI OUI \"FFFE001207\"".into(),
        "#define DEVEUI \"020000\" TAIL\n#define TAIL \"FFFE001207\"".into(),
        r#"#define DEVEUI "\x02\x00\x00\xFF\xFE\x00\x12\x07""#.into(),
        "#define OUI 0x02, 0, 0, 0xFF, 0xFE\nuint8_t dev_eui[8] = { OUI, 0, 18, 07 };".into(),
        format!("#define X {{{EUI_LIST}}}\n#define Y X\nuint8_t dev_eui[8] = Y;"),
        format!("if (x) dev_eui = {{{EUI_LIST}}};"),
        format!("p.dev_eui = (const uint8_t[8]){{{EUI_LIST}}};"),
        "uint8_t dev_eui[8] = {(uint8_t)0x02, (0x00), 0, 0xFF, 0xFE, 0, 0x12, 0x07};".into(),
        "char dev_eui[16] = {'0','2','0','0','0','0','f','f','f','e','0','0','1','2','0','7'};".into(),
        "uint8_t dev_eui[8] = { [0] = 0x02, 0, 0, 0xFF, 0xFE, 0, [6] = 0x12, 0x07 };".into(),
        format!("struct otaa o = {{ .dev_eui = {{ {EUI_LIST} }} }};"),
        format!("struct otaa o = {{ dev_eui: {{ {EUI_LIST} }} }};"),
        "// #define DEV_EUI \"0000000000000000\"\n/* uint8_t dev_eui[8] = {0}; */\n\
         #define DEV_EUI \"020000FFFE001207\""
            .into(),
        "#if 0\n#define DEV_EUI \"1111111111111111\"\n#else\n#define DEV_EUI \"020000FFFE001207\"\n#endif"
            .into(),
        "#ifndef DEV_EUI\n#define DEV_EUI \"020000FFFE001207\"\n#endif".into(),
        "#ifndef EUI_H\n#define EUI_H\n#define DEV_EUI \"020000FFFE001207\"\n#endif".into(),
        "\u{feff}#define DEV_EUI \"020000FFFE001207\"\r\n".into(),
    ] {
        let firmware = read(&text);
        assert_eq!(euis(&firmware), [EUI], "{text}\n{firmware:?}");
        assert_eq!(firmware.faults, [], "{text}");
        assert_eq!(firmware.left_out, [], "{text}");
    }
}

#[test]
fn a_key_is_read_however_it_is_written() {
    for text in [
        format!("#define APP_KEY {{ {KEY_LIST} }}"),
        format!("static const uint8_t IN_FLASH APPKEY[16] = {{ {KEY_LIST} }};"),
        format!("#define APPKEY \"{KEY}\""),
        format!("String appKey = \"{}\";", KEY.to_uppercase()),
        "#define APPKEY \"5a0c11d2e37f4b88\" \"96a1c0deface0147\"".into(),
        r#"#define APPKEY "\x5A\x0C\x11\xD2\xE3\x7F\x4B\x88\x96\xA1\xC0\xDE\xFA\xCE\x01\x47""#
            .into(),
        format!("#define APPKEY_LSB {{ {} }}", KEY_LIST.rsplit(',').collect::<Vec<_>>().join(",")),
    ] {
        let firmware = read(&text);
        assert_eq!(app_key(&firmware, 0), KEY, "{text}\n{firmware:?}");
        assert_eq!((&firmware.faults[..], firmware.nodes.len()), (&[][..], 1), "{text}");
        assert!(!format!("{firmware:?}").to_lowercase().contains("11d2"), "{firmware:?}");
    }
    // sixteen characters that are no digits are the octets themselves
    let text = read("char app_key[] = \"orchard-probe-07\";");
    assert_eq!(app_key(&text, 0), hex::encode("orchard-probe-07"));
}

#[test]
fn every_member_is_known_by_its_trade_names() {
    let key = |c: &str| format!("\"{}\"", c.repeat(16));
    let firmware = read(&format!(
        "#define LORAWAN_DEV_EUI \"020000fffe001207\"\n\
         #define LORAWAN_APP_EUI \"020000fffe00ffff\"\n\
         #define APP_KEY {}\n#define NWK_KEY {}\n#define GEN_APP_KEY {}\n\
         #define NWK_S_KEY {}\n#define APP_S_KEY {}\n#define F_NWK_S_INT_KEY {}\n\
         #define S_NWK_S_INT_KEY {}\n#define NWK_S_ENC_KEY {}\n\
         static const uint32_t DEVADDR = 0x0201BBDA;\n#define NET_ID 0x000001\n\
         #define LORAWAN_REGION LORAWAN_REGION_EU868\n#define LORAWAN_VERSION \"1.0.4\"\n\
         #define LORAWAN_CLASS CLASS_C\n#define USE_ABP 1\n#define SUB_BAND 2\n\
         uint16_t channelsMask[6] = {{0xFF00, 0, 0, 0, 2, 0}};\n",
        key("11"),
        key("22"),
        key("33"),
        key("44"),
        key("55"),
        key("66"),
        key("77"),
        key("88"),
    ));
    assert_eq!((&firmware.faults[..], &firmware.left_out[..]), (&[][..], &[][..]));
    let claim = &firmware.nodes[0].claim;
    assert_eq!(claim.dev_eui.unwrap().hex(), EUI);
    assert_eq!(claim.join_eui.unwrap().hex(), "020000fffe00ffff");
    let keys = [
        claim.app_key.as_ref().unwrap().key(),
        claim.nwk_key.as_ref().unwrap().key(),
        claim.gen_app_key.as_ref().unwrap().key(),
        claim.nwk_s_key.as_ref().unwrap().key(),
        claim.app_s_key.as_ref().unwrap().key(),
        claim.f_nwk_s_int_key.as_ref().unwrap().key(),
        claim.s_nwk_s_int_key.as_ref().unwrap().key(),
        claim.nwk_s_enc_key.as_ref().unwrap().key(),
    ];
    let first: String = keys.iter().map(|key| key.revealed()[..1].to_owned()).collect();
    assert_eq!(first, "12345678");
    assert_eq!(claim.dev_addr.unwrap().hex(), "0201bbda");
    assert_eq!(claim.net_id.unwrap().get(), 1);
    assert_eq!(claim.region.unwrap().name, "EU868");
    assert_eq!(claim.mac_version, Some(MacVersion::V1_0_4));
    assert_eq!((claim.class, claim.activation), (Some(Class::C), Some(Activation::Abp)));
    assert_eq!(claim.sub_band, Some(2));
    assert_eq!(claim.channel_mask.as_deref(), Some(&[0xFF00, 0, 0, 0, 2, 0][..]));
}

#[test]
fn settings_are_read_in_their_many_forms() {
    let claim = |text: &str| read(text).nodes.first().map(|n| n.claim.clone()).unwrap_or_default();
    for (text, version) in [
        ("#define LORAWAN_VERSION 1.0.3", Some(MacVersion::V1_0_3)),
        ("#define LORAWAN_MAC_VERSION 0x01000400", Some(MacVersion::V1_0_4)),
        ("#define MAC_VERSION VERSION_1_1", Some(MacVersion::V1_1)),
        ("#define LORAWAN_VERSION V1_1_0", Some(MacVersion::V1_1)),
        ("#define LORAWAN_VERSION 7", None),
    ] {
        let found = claim(text).mac_version;
        assert_eq!(found, version, "{text}");
    }
    for (text, region) in [
        ("#define LORAWAN_REGION_EU868", Some("EU868")),
        ("#define REGION_US915 1", Some("US915")),
        ("#define REGION_US915 0", None),
        ("#define CONFIG_LORAWAN_REGION \"AS923-2\"", Some("AS923-2")),
        ("#define REGION AS923_2", Some("AS923-2")),
        ("#define LORA_REGION 5", None),
    ] {
        assert_eq!(claim(text).region.map(|plan| plan.name), region, "{text}");
    }
    for (text, activation) in [
        ("#define LORAWAN_ACTIVATION OTAA", Some(Activation::Otaa)),
        ("bool overTheAirActivation = true;", Some(Activation::Otaa)),
        ("bool overTheAirActivation = false;", Some(Activation::Abp)),
        ("#define USE_OTAA", Some(Activation::Otaa)),
        ("#define USE_ABP 0", Some(Activation::Otaa)),
        ("#define ACTIVATION_TYPE ACTIVATION_TYPE_ABP", Some(Activation::Abp)),
        ("#define ACTIVATION 1", None),
    ] {
        assert_eq!(claim(text).activation, activation, "{text}");
    }
    assert_eq!(claim("DeviceClass deviceClass = 'A';").class, Some(Class::A));
}

#[test]
fn the_order_is_told_by_name_comment_or_form_and_else_unknown() {
    let turned = "0x07, 0x12, 0x00, 0xFE, 0xFF, 0x00, 0x00, 0x02";
    let unknown = "0712 00fe ff00 0002".replace(' ', "");
    for (text, order, from, eui) in [
        (format!("#define DEV_EUI_LSB {{{turned}}}"), ByteOrder::Reversed, OrderFrom::Name, EUI),
        (format!("#define DEVEUI_MSB {{{EUI_LIST}}}"), ByteOrder::Printed, OrderFrom::Name, EUI),
        (format!("uint8_t devEuiLE[8] = {{{turned}}};"), ByteOrder::Reversed, OrderFrom::Name, EUI),
        (
            format!("// lsb first\nuint8_t dev_eui[8] = {{{turned}}};"),
            ByteOrder::Reversed,
            OrderFrom::Comment,
            EUI,
        ),
        (
            format!(
                "/* bytes in\n * little-endian\n * order */\n\
                     // and so on\nuint8_t dev_eui[8] = {{{turned}}};"
            ),
            ByteOrder::Reversed,
            OrderFrom::Comment,
            EUI,
        ),
        (
            format!("uint8_t dev_eui[8] = {{\n{turned} // LSB\n}};"),
            ByteOrder::Reversed,
            OrderFrom::Comment,
            EUI,
        ),
        (
            format!("uint8_t dev_eui[8] = {{{EUI_LIST}}}; // big endian"),
            ByteOrder::Printed,
            OrderFrom::Comment,
            EUI,
        ),
        // another value's comment, and one that stands apart, say nothing
        (
            format!("int a; // lsb\n\nuint8_t dev_eui[8] = {{{turned}}};"),
            ByteOrder::Unknown,
            OrderFrom::Nothing,
            unknown.as_str(),
        ),
        (
            format!("int a; // lsb\nuint8_t dev_eui[8] = {{{turned}}};"),
            ByteOrder::Unknown,
            OrderFrom::Nothing,
            unknown.as_str(),
        ),
        (
            r#"#define DEV_EUI "\x07\x12\x00\xFE\xFF\x00\x00\x02""#.into(),
            ByteOrder::Unknown,
            OrderFrom::Nothing,
            unknown.as_str(),
        ),
        ("#define DEV_EUI \"020000fffe001207\"".into(), ByteOrder::Printed, OrderFrom::Form, EUI),
    ] {
        let firmware = read(&text);
        assert_eq!(euis(&firmware), [eui], "{text}");
        let taken = &firmware.nodes[0].taken[0];
        assert_eq!((taken.order, taken.order_from), (order, from), "{text}");
    }
}

#[test]
fn several_nodes_stand_in_one_source_in_many_ways() {
    let two = ["020000fffe001207", "020000fffe001208"];
    let pair = |a: &str, b: &str| {
        format!(
            "#define DEV_EUI{a} \"{}\"\n#define APP_KEY{a} \"{}\"\n\
             #define DEV_EUI{b} \"{}\"\n#define APP_KEY{b} \"{}\"\n#define APP_EUI \"020000fffe00ffff\"",
            two[0],
            "A1".repeat(16),
            two[1],
            "B2".repeat(16)
        )
    };
    for text in [
        pair("_1", "_2"),
        pair("", "_2"),
        pair("_PEAR", "_PLUM"),
        pair("1", "2"),
        pair("", ""),
        format!(
            "#define APP_EUI \"020000fffe00ffff\"\n#ifdef NODE_A\n#define DEV_EUI \"{}\"\n\
             #define APP_KEY \"{}\"\n#else\n#define DEV_EUI \"{}\"\n#define APP_KEY \"{}\"\n#endif",
            two[0],
            "A1".repeat(16),
            two[1],
            "B2".repeat(16)
        ),
        format!(
            "#if NODE == 1\n#define DEV_EUI \"{}\"\n#define APP_KEY \"{}\"\n#elif NODE == 2\n\
             #define DEV_EUI \"{}\"\n#define APP_KEY \"{}\"\n#endif\n\
             #define JOIN_EUI \"020000fffe00ffff\"",
            two[0],
            "A1".repeat(16),
            two[1],
            "B2".repeat(16)
        ),
        format!(
            "const uint8_t dev_euis[2][8] = {{ {{{EUI_LIST}}}, {{{}}} }};\n\
             const char *app_keys[] = {{ \"{}\", \"{}\" }};\nchar *app_eui = \"020000fffe00ffff\";",
            EUI_LIST.replace("0x07", "0x08"),
            "A1".repeat(16),
            "B2".repeat(16)
        ),
        format!(
            "struct probe nodes[] = {{\n\
             {{ .name = \"pear\", .dev_eui = {{{EUI_LIST}}}, .app_key = \"{}\" }},\n\
             {{ .name = \"plum\", .dev_eui = {{{}}}, .app_key = \"{}\" }},\n}};\n\
             #define JOIN_EUI \"020000fffe00ffff\"",
            "A1".repeat(16),
            EUI_LIST.replace("0x07", "0x08"),
            "B2".repeat(16)
        ),
        format!(
            "typedef struct {{ const char *name; uint8_t dev_eui[8]; char app_key[33]; }} probe_t;\n\
             static const probe_t probes[2] = {{ {{ \"pear\", {{{EUI_LIST}}}, \"{}\" }},\n\
             {{ \"plum\", {{{}}}, \"{}\" }} }};\n#define JOIN_EUI \"020000fffe00ffff\"",
            "A1".repeat(16),
            EUI_LIST.replace("0x07", "0x08"),
            "B2".repeat(16)
        ),
    ] {
        let firmware = read(&text);
        assert_eq!(euis(&firmware), two, "{text}\n{firmware:#?}");
        assert_eq!(app_key(&firmware, 0), "a1".repeat(16), "{text}");
        assert_eq!(app_key(&firmware, 1), "b2".repeat(16), "{text}");
        for node in &firmware.nodes {
            assert_eq!(node.claim.join_eui.map(JoinEui::hex).as_deref(), Some("020000fffe00ffff"));
        }
        assert_eq!(firmware.faults, [], "{text}");
    }
}

#[test]
fn nodes_are_called_as_the_source_calls_them() {
    let names = |text: &str| -> Vec<_> {
        read(text).nodes.into_iter().map(|n| n.name.unwrap_or_default()).collect()
    };
    let eui = |n: u8| format!("\"020000fffe00120{n}\"");
    assert_eq!(
        names(&format!("#define DEV_EUI_PEAR {}\n#define DEV_EUI_PLUM {}", eui(1), eui(2))),
        ["pear", "plum"]
    );
    assert_eq!(
        names(&format!(
            "#ifdef NODE_A\n#define DEV_EUI {}\n#else\n#define DEV_EUI {}\n#endif",
            eui(1),
            eui(2)
        )),
        ["NODE_A", "not NODE_A"]
    );
    assert_eq!(
        names(&format!("#define DEVICE_NAME \"pear-row-3\"\n#define DEV_EUI {}", eui(1))),
        ["pear-row-3"]
    );
}

#[test]
fn several_files_may_be_one_node_or_many() {
    let parse2 = |a: &str, b: &str| parse(&[SourceText::new("a.h", a), SourceText::new("b.h", b)]);
    let one = parse2(
        "#define PEAR { 2, 0, 0, 0xFF, 0xFE, 0, 0x12, 7 }\n",
        &format!("uint8_t dev_eui[] = PEAR;\n#define APP_KEY \"{KEY}\""),
    );
    assert_eq!((euis(&one), app_key(&one, 0)), (vec![EUI.to_owned()], KEY.to_owned()));
    let two = parse2(
        "#define DEV_EUI \"020000fffe001207\"\n#define APP_KEY \"11111111111111111111111111111111\"",
        "#define DEV_EUI \"020000fffe001208\"\n#define APP_KEY \"22222222222222222222222222222222\"",
    );
    assert_eq!(euis(&two).len(), 2);
    assert_eq!((&app_key(&two, 0)[..2], &app_key(&two, 1)[..2]), ("11", "22"));
}

#[test]
fn what_is_not_known_is_listed_and_not_guessed() {
    let firmware = read(&format!(
        "#define DEV_EUI \"{EUI}\"\nstatic const uint8_t secret_blob[16] = {{{KEY_LIST}}};\n\
         uint8_t other[] = {{{EUI_LIST}}};\nuint8_t app_key[16];\n#define NWK_KEY load_key()\n\
         static const uint8_t small[8] = {{0,1,2,3,4,5,6,7}};\n#define DEV_EUI_SIZE 8\n\
         #define APP_KEY_INDEX 3\nint deveui = 1;\n"
    ));
    let told: Vec<_> =
        firmware.left_out.iter().map(|l| (l.identifier.as_str(), l.at.line, l.why)).collect();
    assert_eq!(
        told,
        [
            ("secret_blob", 2, LeftOutWhy::UnknownName { octets: 16 }),
            ("other", 3, LeftOutWhy::UnknownName { octets: 8 }),
            ("NWK_KEY", 5, LeftOutWhy::NoValue),
        ]
    );
    assert_eq!(euis(&firmware), [EUI]);
    assert!(firmware.nodes[0].claim.app_key.is_none() && firmware.faults.is_empty());
}

#[test]
fn a_wrong_value_is_told_by_file_line_and_column_and_no_digit() {
    for (text, shown) in [
        (
            "\n#define DEV_EUI \"020000FFFE00120\"",
            "probe.h:2:17: DEV_EUI: 15 hex digits, 16 expected",
        ),
        (
            "#define APP_KEY \"5A0C11D2E37F4B8896A1C0DEFACE014G\"",
            "probe.h:1:17: APP_KEY: character 32 of the text is not a hex digit",
        ),
        ("uint8_t dev_eui[8] = {1,2,3,4,5,6,7};", "probe.h:1:22: dev_eui: 7 bytes, 8 expected"),
        (
            "uint8_t dev_eui[8] = {1,2,3,4,5,6,7,0x1FF};",
            "probe.h:1:22: dev_eui: element 8 is more than one byte",
        ),
        (
            "#define DEV_ADDR 0x10201BBDA",
            "probe.h:1:18: DEV_ADDR: the number has more than 32 bits",
        ),
        ("#define APPKEY \"00", "probe.h:1:16: the text that starts here has no end on its line"),
        (" /* x", "probe.h:1:2: the comment that starts here has no end"),
    ] {
        let firmware = read(text);
        assert_eq!(firmware.faults[0].to_string(), shown, "{text}");
    }
    let faults = read("#define DEV_EUI \"02\"").faults;
    assert_eq!(faults[0].kind, SourceFaultKind::Digits { found: 2, wanted: 16 });
}

#[test]
fn hostile_sources_cost_what_their_length_does() {
    type Made = fn(usize) -> String;
    // Nested and referring things, about so many octets of each.
    let sources: [(&str, Made); 21] = [
        ("braces", |n| "{".repeat(n)),
        ("parentheses", |n| "(".repeat(n)),
        ("places", |n| "a[".repeat(n / 2)),
        ("initialisers", |n| "x={".repeat(n / 3)),
        ("expressions", |n| "x=(".repeat(n / 3)),
        ("conditions", |n| "#if A\n".repeat(n / 6)),
        ("alternatives", |n| "#else\n".repeat(n / 6)),
        ("definitions", |n| "#define DEV_EUI \"020000fffe001207\"\n".repeat(n / 35)),
        ("structures", |n| "struct a{int b".repeat(n / 14)),
        ("notes of order", |n| "#define D 1 // lsb\n".repeat(n / 19)),
        ("notes on a line", |n| "int a=1;/*lsb*/".repeat(n / 15)),
        ("folded lines", |n| "\\\n".repeat(n / 2)),
        ("a text without end", |n| "\"\\".repeat(n / 2)),
        ("quotes", |n| "'".repeat(n)),
        ("equal signs", |n| "=".repeat(n)),
        ("calls", |n| "a(1)".repeat(n / 4) + "=1"),
        ("places assigned", |n| "b[1]c=".repeat(n / 6)),
        ("nodes under conditions", |n| {
            (0..n / 50).fold(String::new(), |mut out, i| {
                let _ =
                    write!(out, "#ifdef N{i}\n#define DEV_EUI \"020000fffe00{i:04x}\"\n#endif\n");
                out
            })
        }),
        ("a name of itself", |n| {
            format!("#define A A\nuint8_t dev_eui[8] = {{{}}};", "A,".repeat(n / 2))
        }),
        ("names of each other", |n| {
            format!("#define A B\n#define B A\nuint8_t dev_eui[8] = {{{}}};", "A,".repeat(n / 2))
        }),
        ("texts of themselves", |n| {
            format!("#define A \"1\" A\nchar dev_eui[] = {};", "A ".repeat(n / 2))
        }),
    ];
    for (what, made) in sources {
        let (short, long) = (made(20_000), made(320_000));
        // A square would be 256 times.
        cost::at_most(80, what, || read(&short), || read(&long));
    }
}

#[test]
fn names_that_multiply_cost_no_more_for_more_levels() {
    let lists = |levels: usize| {
        let mut out = String::from("#define L0 1,1,1,1,1,1,1,1,1,1\n");
        for i in 1..levels {
            let _ = writeln!(out, "#define L{i} {}", vec![format!("L{}", i - 1); 10].join(","));
        }
        out + &format!("uint8_t dev_eui[8] = {{ L{} }};", levels - 1)
    };
    let texts = |levels: usize| {
        let mut out = String::from("#define T0 \"11111111\"\n");
        for i in 1..levels {
            let _ = writeln!(out, "#define T{i} {}", vec![format!("T{}", i - 1); 10].join(" "));
        }
        out + &format!("char dev_eui[] = \"\" T{};", levels - 1)
    };
    for (what, made) in [("lists", &lists as &dyn Fn(usize) -> String), ("texts", &texts)] {
        // Each level is ten times the one before.
        let (few, many) = (made(6), made(16));
        cost::at_most(100, what, || read(&few), || read(&many));
    }
}

#[test]
fn a_source_cut_anywhere_never_panics_nor_invents() {
    let text = include_str!("../../vectors/compare/probes.h");
    let whole = euis(&read(text));
    assert_eq!(whole.len(), 3);
    for cut in 0..text.len() {
        let Some(part) = text.get(..cut) else { continue };
        for eui in euis(&read(part)) {
            assert!(eui.is_empty() || whole.contains(&eui), "{cut}: {eui}");
        }
    }
}

proptest! {
    #[test]
    fn no_text_panics(text in "\\PC*") {
        let _ = read(&text);
    }

    #[test]
    fn no_run_of_c_panics(parts in prop::collection::vec(prop::sample::select(vec![
        "#define ", "#ifdef A\n", "#else\n", "#endif\n", "DEV_EUI", "app_key", " ", "\n", "=", "{",
        "}", "[", "]", "(", ")", ",", ";", "\"", "'", "\\", "0x12", "7", "/*", "*/", "//", "struct ",
        ".", "\"020000fffe001207\"", "lsb", "ß",
    ]), 0..60)) {
        let _ = read(&parts.concat());
    }
}
