//! The reports on channel plans, as `plan` prints them.

use handfast::{
    region::{ChannelMask, Plan},
    show::plan as show,
};
use serde_json::Value;

fn text(p: &Plan) -> String {
    let mut out = String::new();
    show::text(p, &mut out).unwrap();
    out
}

fn json(p: &Plan) -> Value {
    let mut out = String::new();
    show::json(p, &mut out).unwrap();
    assert_eq!(out.lines().count(), 1, "one object a line");
    serde_json::from_str(&out).unwrap()
}

fn at(hz: u32) -> (String, Value) {
    let (mut text, mut json) = (String::new(), String::new());
    show::at_text(hz, &mut text).unwrap();
    show::at_json(hz, &mut json).unwrap();
    (text, serde_json::from_str(&json).unwrap())
}

fn mask(mask: &str, plan: Option<&str>) -> (String, Value) {
    let mask = ChannelMask::from_list(mask).unwrap();
    let plan = plan.and_then(Plan::by_name);
    let (mut text, mut json) = (String::new(), String::new());
    show::mask_text(&mask, plan, &mut text).unwrap();
    show::mask_json(&mask, plan, &mut json).unwrap();
    (text, serde_json::from_str(&json).unwrap())
}

#[test]
fn no_line_is_wider_than_80_columns() {
    for p in Plan::all() {
        for line in text(p).lines() {
            assert!(line.chars().count() <= 80, "{}: {line}", p.name);
            assert_eq!(line, line.trim_end(), "{}", p.name);
        }
    }
    for hz in (430_000_000..930_000_000).step_by(1_234_567) {
        assert!(at(hz).0.lines().all(|l| l.chars().count() <= 80), "{hz}");
    }
}

#[test]
fn a_report_keeps_back_no_note_and_no_doubt() {
    for p in Plan::all() {
        let words: String = text(p).split_whitespace().collect();
        let squeezed = |t: &str| t.split_whitespace().collect::<String>();
        let notes = p.notes.iter().flat_map(|n| [n.change, n.bites_when]);
        let disputes = p.disputes.iter().flat_map(|d| [d.one, d.other, d.taken]);
        for said in notes.chain(disputes).chain(p.doubts.iter().copied()).filter(|t| *t != "-") {
            assert!(words.contains(&squeezed(said)), "{}: {said}", p.name);
        }
    }
}

#[test]
fn json_has_the_channels_and_the_windows() {
    let us = json(Plan::by_name("US915").unwrap());
    assert_eq!(us["schema"], 2);
    assert_eq!(us["uplink_channels"].as_array().unwrap().len(), 72);
    assert_eq!(us["sub_bands"][1]["masks"][0], "ff00");
    assert_eq!(us["join"]["rx1"][0]["data_rate"], "SF10BW500");
    assert_eq!(us["join"]["rx2"]["frequency"], 923_300_000);
    assert_eq!(us["data_rates"][0]["join_request_us"], 370_688);
    let cn = json(Plan::by_name("CN470-20B").unwrap());
    assert_eq!(cn["join"]["common_channels"].as_array().unwrap().len(), 20);
    let eu = json(Plan::by_name("EU868").unwrap());
    assert_eq!(eu["data_rates"][8]["direction"], "up", "LR-FHSS");
    assert_eq!(eu["regulator_bands"][4]["letter"], "P");
}

#[test]
fn every_source_a_report_names_is_explained() {
    for p in Plan::all() {
        let sources = json(p)["sources"].as_array().unwrap().clone();
        let keys: Vec<&str> = sources.iter().map(|s| s["key"].as_str().unwrap()).collect();
        let first = p.source.split([',', ' ']).next().unwrap();
        assert!(keys.contains(&first), "{}: {first}", p.name);
        assert!(text(p).contains("\nSources\n"));
    }
}

#[test]
fn a_frequency_is_placed() {
    let (text, json) = at(903_900_000);
    assert!(text.contains("channel 8, 125 kHz, sub-band 2, for joins too"), "{text}");
    assert_eq!(json["plans"][0]["roles"][0]["rx1_frequency"], 923_300_000);
    let (text, json) = at(902_350_000);
    assert!(text.contains("no channel; 50.0 kHz above channel 0 at 902.3 MHz"), "{text}");
    assert_eq!(json["plans"][0]["nearest_uplink"]["offset"], 50_000);
    assert!(at(1_000_000).0.contains("in the band of no plan"));
}

#[test]
fn a_mask_is_told_in_words_channels_and_sub_bands() {
    let (text, json) = mask("8-15,65", Some("US915"));
    for line in ["FF00 0000 0000 0000 0002", "sub-band 2    whole", "ChMaskCntl 7, ChMask 0002"] {
        assert!(text.contains(line), "{text}");
    }
    assert_eq!(json["masks"][0], "ff00");
    assert_eq!(json["sub_bands"][0]["sub_band"], 2);
    let (text, json) = mask("72", Some("AU915"));
    assert!(text.contains("not in plan   72"), "{text}");
    assert_eq!(json["not_in_plan"][0], 72);
    assert_eq!(mask("0", None).1["masks"].as_array().unwrap().len(), 1);
}

#[test]
fn a_frequency_is_told_with_the_share_of_the_air_that_it_counts_in() {
    let (text, json) = at(868_100_000);
    assert!(text.contains("  duty cycle    M 868.0-868.6 MHz: 1%\n"), "{text}");
    assert_eq!(json["plans"][0]["duty_cycle"][0]["per_mille"], 10);
    let (text, _) = at(868_650_000);
    assert!(text.contains("  duty cycle    in no sub-band of the regulator\n"), "{text}");
    let (text, json) = at(923_300_000);
    assert!(text.contains("an allowed centre frequency, up to 14 dBm EIRP"), "{text}");
    let plans = json["plans"].as_array().unwrap();
    let of = |name| plans.iter().find(|plan| plan["plan"] == name).unwrap();
    assert_eq!(of("KR920")["max_eirp_dbm"], 14);
    assert_eq!(of("US915")["max_eirp_dbm"], Value::Null);
}
