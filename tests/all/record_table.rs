//! Records read from a table: headers of every kind, damage told by line and column.

use handfast::{
    frame::MacVersion,
    roster::{
        Activation, Class,
        table::{TableFaultKind, parse},
    },
};
use proptest::prelude::*;

const RECORDS: &str = include_str!("../../vectors/compare/records.csv");
const KEY: &str = "5A0C11D2E37F4B8896A1C0DEFACE0147";

#[test]
fn a_table_is_read_by_the_names_of_its_columns() {
    let table = parse(RECORDS);
    assert_eq!((&table.faults[..], table.rows.len()), (&[][..], 3));
    assert_eq!(table.unknown_columns, ["Row in the orchard"]);
    let pear = &table.rows[0];
    assert_eq!((pear.name.as_deref(), pear.line), (Some("pear-row-3"), 2));
    assert_eq!(pear.claim.dev_eui.unwrap().hex(), "020000fffe001207");
    assert_eq!(pear.claim.join_eui.unwrap().hex(), "020000fffe00ffff");
    assert_eq!(pear.claim.app_key.as_ref().unwrap().key().revealed().to_uppercase(), KEY);
    assert_eq!(pear.claim.region.unwrap().name, "EU868");
    assert_eq!(pear.claim.mac_version, Some(MacVersion::V1_0_4));
    assert_eq!((pear.claim.class, pear.claim.activation), (Some(Class::A), Some(Activation::Otaa)));
}

#[test]
fn names_of_columns_are_free_in_case_and_separators() {
    for name in ["DevEUI", "dev_eui", "Device EUI", "DEV-EUI", "\"dev eui\"", " deveui "] {
        let table = parse(&format!("\u{feff}{name}\r\n020000fffe001207\r\n"));
        assert_eq!(table.rows[0].claim.dev_eui.unwrap().hex(), "020000fffe001207", "{name}");
    }
    let table = parse(
        "DevAddr,NwkSKey,App_S_Key,GenAppKey,NwkKey,class,sub-band\n\
         0201BBDA,11111111111111111111111111111111,,33333333333333333333333333333333,\
         44444444444444444444444444444444,Class C,2\n",
    );
    assert_eq!(table.faults, []);
    let claim = &table.rows[0].claim;
    assert!(claim.nwk_s_key.is_some() && claim.app_s_key.is_none() && claim.nwk_key.is_some());
    assert_eq!((claim.class, claim.sub_band), (Some(Class::C), Some(2)));
}

#[test]
fn a_fault_names_line_and_column_and_no_digit_of_a_key() {
    for (text, shown) in [
        ("DevEUI\n020000fffe00120\n", "line 2, column DevEUI: 15 hex digits, 16 expected"),
        (
            "DevEUI,App Key\n,\n\n020000fffe001207,5A0C11D2E37F4B8896A1C0DEFACE014G\n",
            "line 4, column App Key: character 32 of the key is not a hex digit",
        ),
        ("DevEUI,AppKey\n1\n", "line 2: 1 field, 2 expected as in the header"),
        ("DevEUI,class\n020000fffe001207,D\n", "line 2, column class: one of A, B, C expected"),
        (
            "DevEUI,region\n020000fffe001207,MOON1\n",
            "line 2, column region: no region of that name; a common name of RP002 such as EU868 \
             or US915 expected",
        ),
        (
            "DevEUI,dev_eui\n020000fffe001207,020000fffe001208\n",
            "line 2, column dev_eui: another value than `DevEUI` has, which is for the same",
        ),
        ("DevEUI\n\"0200", "line 2: a quoted field has no end"),
        ("", "no header line with names of columns such as DevEUI, JoinEUI, AppKey"),
        (
            "5A0C11D2E37F4B8896A1C0DEFACE0147,x\n",
            "line 1: no column is known: names such as DevEUI, JoinEUI, AppKey expected",
        ),
    ] {
        let table = parse(text);
        let told = table.faults.first().map(ToString::to_string);
        assert_eq!(told.as_deref(), Some(shown), "{text}");
    }
    let headless = parse(&format!("{KEY},x\n"));
    assert!(!format!("{headless:?}").contains("5A0C"), "{headless:?}");
}

#[test]
fn a_table_cut_anywhere_never_panics_nor_invents() {
    let whole = parse(RECORDS);
    for cut in 0..RECORDS.len() {
        let Some(part) = RECORDS.get(..cut) else { continue };
        for row in parse(part).rows {
            let same = |dev_eui| whole.rows.iter().any(|row| row.claim.dev_eui == Some(dev_eui));
            assert!(row.claim.dev_eui.is_none_or(same), "{cut}");
        }
    }
}

#[test]
fn faults_are_told_fifty_at_most() {
    let text = format!("DevEUI\n{}", "x\n".repeat(100_000));
    let table = parse(&text);
    assert_eq!(table.faults.len(), 50);
    assert!(matches!(table.faults[0].kind, TableFaultKind::Id(_)));
}

proptest! {
    #[test]
    fn no_text_panics(text in "[\\PC\n\r\t\";,]*") {
        let _ = parse(&text);
        let _ = parse(&format!("DevEUI,AppKey\n{text}"));
    }
}
