//! The layout of `read`, octet by octet, held against every frame of `vectors/frames`.

use std::{fs, path::Path};

use handfast::{
    frame::decode,
    key::Aes128Key,
    octet_rows::{Item, Row, Shown, rows},
    reading::{Context, KeyRing, KeyRole, Reading, Source, read},
    show::{
        Input, Secrets, Style,
        text::{Heading, brief, reading, working},
    },
    working::of_reading,
};
use serde_json::Value;

/// Every frame of the vectors, with its keys and without any.
fn all() -> Vec<(String, Reading)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/frames");
    let mut files: Vec<_> =
        fs::read_dir(folder).unwrap().map(|file| file.unwrap().path()).collect();
    files.sort();
    let mut out = Vec::new();
    for file in files {
        let text: Value = serde_json::from_slice(&fs::read(file).unwrap()).unwrap();
        for item in text["items"].as_array().unwrap() {
            let Some(digits) = item["phy_hex"].as_str() else { continue };
            let decoded = decode(&hex::decode(digits).unwrap());
            let id = item["id"].as_str().unwrap();
            let number =
                |name: &str| item["context"][name].as_u64().and_then(|n| n.try_into().ok());
            let context = Context {
                dev_nonce: number("DevNonce").map(handfast::id::DevNonce),
                conf_fcnt: number("ConfFCnt"),
                ..Context::default()
            };
            let ring = ring(&item["keys"]);
            out.push((id.to_owned(), read(decoded.clone(), &ring, &context)));
            out.push((format!("{id}, no key"), read(decoded, &KeyRing::default(), &context)));
        }
    }
    assert!(out.len() > 250, "{} frames", out.len());
    out
}

fn ring(keys: &Value) -> KeyRing {
    let mut ring = KeyRing::default();
    for (name, digits) in keys.as_object().into_iter().flatten() {
        let role = KeyRole::ALL.iter().find(|role| role.name() == name);
        let key = digits.as_str().and_then(|digits| digits.parse::<Aes128Key>().ok());
        if let (Some(role), Some(key)) = (role, key) {
            ring.push(Source::new("probe-07", "firmware"), role.of(key));
        }
    }
    ring
}

fn shown(found: &Reading, style: Style) -> String {
    let mut out = String::new();
    reading(&mut out, Heading::None, found, style).unwrap();
    out
}

fn line(found: &Reading, style: Style) -> String {
    let mut out = String::new();
    brief(&mut out, Input { name: "orchard.txt", index: 99_998, ..Input::default() }, found, style)
        .unwrap();
    out
}

fn worked(found: &Reading, style: Style) -> String {
    let mut out = String::new();
    working(&mut out, &of_reading(found), Secrets::Shown, style).unwrap();
    out
}

fn worked_without_keys(found: &Reading, style: Style) -> String {
    let mut out = String::new();
    working(&mut out, &of_reading(found), Secrets::Hidden, style).unwrap();
    out
}

fn without_colour(text: &str) -> String {
    let mut parts = text.split("\x1b[");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |all, part| all + part.split_once('m').unwrap().1)
}

#[test]
fn every_frame_fits_80_columns_with_and_without_colour() {
    for (id, found) in all() {
        for shown in [shown, line, worked, worked_without_keys] {
            let plain = shown(&found, Style::PLAIN);
            for line in plain.lines() {
                let fits = line.chars().count() <= 80 && line == line.trim_end();
                assert!(fits && !line.contains('\x1b'), "{id}: {line:?}");
            }
            let colour = shown(&found, Style { colour: true, ..Style::PLAIN });
            assert_eq!(without_colour(&colour), plain, "{id}");
        }
        assert_eq!(line(&found, Style::PLAIN).lines().count(), 1, "{id}");
    }
}

fn of(items: Vec<Item>) -> Vec<Row> {
    let row = |item| if let Item::Row(row) = item { Some(row) } else { None };
    items.into_iter().filter_map(row).collect()
}

#[test]
fn every_octet_of_every_frame_stands_in_one_field() {
    for (id, found) in all() {
        let decoded = &found.decoded;
        let mut next = 0;
        for row in of(rows(&found)) {
            let Some(at) = row.at.filter(|at| at.start == next && next < decoded.octets.len())
            else {
                continue;
            };
            let Shown::Octets(sent) = row.shown else { panic!("{id}: {at:?} is not bytes") };
            assert_eq!(sent, decoded.octets[at.clone()], "{id}: {at:?}");
            next = at.end;
        }
        assert_eq!(next, decoded.octets.len(), "{id}");
    }
}

#[test]
fn what_travels_reversed_is_shown_as_sent_and_as_written() {
    let mut seen = 0;
    for (id, found) in all() {
        let rows = of(rows(&found));
        for (i, row) in rows.iter().enumerate().filter(|(_, row)| row.name == "written") {
            let (Shown::Octets(written), Shown::Octets(sent)) = (&row.shown, &rows[i - 1].shown)
            else {
                panic!("{id}: {row:?}")
            };
            assert!(sent.iter().rev().eq(written), "{id}: {row:?}");
            // these have hex digits for a value: those of the octets as written
            if ["JoinEUI", "DevEUI", "DevAddr", "NetID"].contains(&rows[i - 1].name.as_str()) {
                let value = rows[i - 1].value.replace('-', "").to_lowercase();
                assert_eq!(value, hex::encode(written), "{id}");
            }
            seen += 1;
        }
    }
    assert!(seen > 300, "{seen} rows");
}

#[test]
fn a_line_in_brief_says_what_tells_frames_apart() {
    let lines: Vec<_> = all().iter().map(|(_, found)| line(found, Style::PLAIN)).collect();
    let has = |text: &str| lines.iter().any(|line| line.contains(text));
    assert!(has("99999 up   Join-Request MIC holds     "));
    assert!(has("99999 down Join-Accept  MIC unchecked "));
    assert!(has("99999 up   data         MIC "));
    assert!(has("99999 up   Rejoin-Req.  MIC holds     "));
    assert!(has("cut short"));
}
