//! What the channel plans say about frequencies, against published answers and by property.

use handfast::{
    frame::Direction::{Downlink, Uplink},
    id::DevAddr,
    radio::Modulation,
    region::{CfListFit, ChannelMask, JoinFit, Plan, Revision, Role, plans_at, plans_joining_at},
};
use proptest::prelude::*;
use serde::Deserialize;

const fn lora(sf: u8, bw_khz: u16) -> Modulation {
    Modulation::Lora { sf, bw_khz }
}

fn plan(name: &str) -> &'static Plan {
    Plan::by_name(name).unwrap_or_else(|| panic!("no plan {name}"))
}

fn vector(name: &str) -> String {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/vectors/region/");
    std::fs::read_to_string(format!("{folder}{name}")).unwrap()
}

#[test]
fn the_limits_of_airtime_stand_in_the_words_of_the_plan() {
    for plan in Plan::all() {
        let words = plan.duty_cycle;
        for rule in plan.duty_rules {
            let percent = format!("below {}%", rule.permille / 10);
            assert!(words.contains(&percent), "{}: {words}", plan.name);
            let channels = words.contains("default channels") || words.contains("join channels");
            assert!(!rule.default_channels || channels, "{}: {words}", plan.name);
        }
        let (ms, s) = (plan.longest_ms, plan.longest_ms / 1000);
        let said = words.contains(&format!("{ms} ms")) || words.contains(&format!("{s} s"));
        assert!(ms == 0 || said, "{}: {words}", plan.name);
        let names_one = words.contains("a transmission");
        assert_eq!(names_one, ms > 0, "{}: {words}", plan.name);
    }
}

#[test]
fn a_frequency_is_in_one_sub_band_at_most() {
    let eu868 = plan("EU868");
    let letters = |hz| -> Vec<u16> {
        eu868.duty_bands().filter(|band| band.covers(eu868, hz)).map(|b| b.permille()).collect()
    };
    assert_eq!(letters(865_000_000), [10]);
    assert_eq!(letters(868_100_000), [10]);
    assert!(letters(868_650_000).is_empty());
    assert_eq!(letters(869_525_000), [100]);
    let eu433 = plan("EU433");
    let shares: Vec<u16> = eu433
        .duty_bands()
        .filter(|band| band.covers(eu433, 433_175_000))
        .map(|band| band.permille())
        .collect();
    assert_eq!(shares, [100, 10]);
}

#[test]
fn every_vector_of_the_folder_is_read() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/vectors/region");
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["join-windows.toml", "published-channels.json"]);
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Published {
    why: String,
    channel_plan_note: String,
    channel_plan_examples: Vec<PublishedChannel>,
    ping_slot_frequency: Vec<PublishedPing>,
    cflist: Vec<PublishedCfList>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Source {
    title: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PublishedChannel {
    id: String,
    region: String,
    channel: u16,
    uplink_frequency: u32,
    dr_min: u8,
    dr_max: u8,
    rx1_frequency: Option<u32>,
    source: Source,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PublishedPing {
    id: String,
    region: String,
    #[serde(rename = "DevAddr")]
    dev_addr: String,
    beacon_time: u32,
    channel: usize,
    frequency: u32,
    note: Option<String>,
    source: Source,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PublishedCfList {
    id: String,
    octets: String,
    r#type: u8,
    masks: Option<Vec<String>>,
    frequencies: Option<Vec<u32>>,
    source: Source,
}

fn published() -> Published {
    serde_json::from_str(&vector("published-channels.json")).unwrap()
}

#[test]
fn published_channels_and_their_rx1_agree() {
    let published = published();
    assert!(!published.why.is_empty() && !published.channel_plan_note.is_empty());
    for v in published.channel_plan_examples {
        assert!(!v.source.title.is_empty(), "{}", v.id);
        let p = plan(&v.region);
        assert_eq!(p.channel_frequency(v.channel), Some(v.uplink_frequency), "{}", v.id);
        let hit = p.nearest_uplink(v.uplink_frequency, None).unwrap();
        assert_eq!((hit.channel, hit.offset_hz), (v.channel, 0), "{}", v.id);
        for dr in v.dr_min..=v.dr_max {
            let modulation = p.dr(Uplink, dr).unwrap();
            let rx1 = p.rx1(v.uplink_frequency, modulation, 0, false).unwrap();
            if let Some(expected) = v.rx1_frequency {
                assert_eq!(rx1.freq_hz, expected, "{} DR{dr}", v.id);
            }
        }
    }
}

#[test]
fn published_ping_slots_agree() {
    for v in published().ping_slot_frequency {
        assert!(!v.source.title.is_empty() && v.note.is_none_or(|n| !n.is_empty()), "{}", v.id);
        let p = plan(&v.region);
        let dev_addr: DevAddr = v.dev_addr.parse().unwrap();
        let found = p.ping_slot_frequency(dev_addr, v.beacon_time, None);
        assert_eq!(found, Some(v.frequency), "{}", v.id);
        assert_eq!(p.ping.frequencies_hz[v.channel], v.frequency, "{}", v.id);
    }
}

#[test]
fn published_cflists_agree() {
    for v in published().cflist {
        assert!(!v.source.title.is_empty(), "{}", v.id);
        let octets: Vec<u8> =
            (0..16).map(|i| u8::from_str_radix(&v.octets[2 * i..2 * i + 2], 16).unwrap()).collect();
        assert_eq!(octets[15], v.r#type, "{}", v.id);
        let taker = if v.r#type == 0 { "EU868" } else { "US915" };
        assert!(plan(taker).accepts_cflist_type(v.r#type));
        if let Some(masks) = v.masks {
            let words: Vec<u16> = octets[..2 * masks.len()]
                .chunks(2)
                .map(|o| u16::from_le_bytes([o[0], o[1]]))
                .collect();
            let text: ChannelMask = masks.join(" ").parse().unwrap();
            assert_eq!(text, ChannelMask::from_words(&words), "{}", v.id);
        }
        for (o, hz) in octets.chunks(3).zip(v.frequencies.unwrap_or_default()) {
            assert_eq!(u32::from_le_bytes([o[0], o[1], o[2], 0]) * 100, hz, "{}", v.id);
            assert!(plan("EU868").in_band(hz));
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Windows {
    source: String,
    why: String,
    window: Vec<ExpectedWindow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct ExpectedWindow {
    plan: String,
    join_request: String,
    rx1: String,
    rx2: String,
}

/// The frequencies on which a join at this data rate leads into the plan.
fn join_frequencies(p: &Plan, modulation: Modulation) -> Vec<u32> {
    let listed = p.channels().into_iter().filter_map(|c| p.channel_frequency(c));
    listed
        .filter(|hz| p.join_fit(*hz, modulation).is_fit())
        .filter(|hz| p.common_join(*hz).is_none_or(|c| c.plan == p.name))
        .collect()
}

#[test]
fn join_windows_are_those_of_the_reference() {
    let windows: Windows = toml::from_str(&vector("join-windows.toml")).unwrap();
    assert!(!windows.source.is_empty() && !windows.why.is_empty());
    assert_eq!(windows.window.len(), Plan::all().len());
    for w in &windows.window {
        let p = plan(&w.plan);
        let rates: Vec<(u8, Modulation)> =
            p.join.data_rates.iter().map(|dr| (*dr, p.dr(Uplink, *dr).unwrap())).collect();
        // "DR0-DR5", or "DR0 SF10/125; DR4 SF8/500"
        let (low, high) = (rates.iter().min().unwrap(), rates.iter().max().unwrap());
        let stated = if w.join_request.contains(';') {
            rates
                .iter()
                .map(|(dr, m)| format!("DR{dr} {}", slash(*m)))
                .collect::<Vec<_>>()
                .join("; ")
        } else {
            format!("DR{}-DR{}", low.0, high.0)
        };
        assert_eq!(w.join_request, stated, "{}", w.plan);
        for (dr, modulation) in &rates {
            let frequencies = join_frequencies(p, *modulation);
            assert!(!frequencies.is_empty(), "{} DR{dr}", w.plan);
            for hz in frequencies {
                let rx1 = p.join_rx1(hz, *modulation).unwrap();
                check_rx1(w, p, hz, *modulation, rx1);
                check_rx2(w, p, hz);
            }
        }
    }
}

fn slash(m: Modulation) -> String {
    match m {
        Modulation::Lora { sf, bw_khz } => format!("SF{sf}/{bw_khz}"),
        other => panic!("{other}"),
    }
}

fn check_rx1(
    w: &ExpectedWindow,
    p: &Plan,
    hz: u32,
    uplink: Modulation,
    rx1: handfast::region::Window,
) {
    let rate = format!("DR{} {}", rx1.dr, slash(rx1.modulation));
    match w.rx1.as_str() {
        "same frequency, same DR" => {
            assert_eq!((rx1.freq_hz, rx1.modulation), (hz, uplink), "{}", w.plan);
        }
        "DR10 SF10/500; DR13 SF7/500 on 923.3 + 0.6 (ch mod 8)" => {
            let channel = p.nearest_uplink(hz, None).unwrap().channel;
            assert_eq!(rx1.freq_hz, 923_300_000 + 600_000 * u32::from(channel % 8), "{}", w.plan);
            let expected = if uplink == lora(10, 125) { "DR10 SF10/500" } else { "DR13 SF7/500" };
            assert_eq!(rate, expected, "{}", w.plan);
        }
        "same DR on the paired frequency of section 7.1" => {
            assert_eq!(rx1.modulation, uplink, "{}", w.plan);
            assert_eq!(rx1.freq_hz, p.common_join(hz).unwrap().join_accept_hz, "{}", w.plan);
        }
        "same DR on 500.3 + 0.2 (ch mod 48)" => {
            let channel = p.nearest_uplink(hz, None).unwrap().channel;
            assert_eq!(rx1.freq_hz, 500_300_000 + 200_000 * u32::from(channel % 48));
            assert_eq!(rx1.modulation, uplink, "{}", w.plan);
        }
        other => panic!("{}: {other}", w.plan),
    }
}

fn check_rx2(w: &ExpectedWindow, p: &Plan, hz: u32) {
    let rx2 = p.join_rx2(hz);
    let rate = format!("DR{} {}", rx2.dr, slash(rx2.modulation));
    let expected = if let Some(stated) = w.rx2.strip_prefix("table 7.1 ") {
        assert_eq!(rx2.freq_hz, p.common_join(hz).unwrap().rx2_hz);
        stated
    } else {
        let (frequency, stated) = w.rx2.split_once(" MHz ").unwrap();
        assert_eq!(handfast::region::parse_frequency(frequency), Ok(rx2.freq_hz), "{}", w.plan);
        stated
    };
    assert_eq!(rate, expected, "{}", w.plan);
}

#[test]
fn names_are_found_in_the_spellings_people_use() {
    for (text, name) in [
        ("eu868", "EU868"),
        ("EU863-870", "EU868"),
        ("EU_863_870", "EU868"),
        ("us902-928", "US915"),
        ("AS923", "AS923"),
        ("as923-1", "AS923"),
        ("AS923_1", "AS923"),
        ("AS923-2", "AS923-2"),
        ("as923_4", "AS923-4"),
        ("CN470", "CN470-96"),
        ("CN470-510", "CN470-96"),
        ("CN470_20A", "CN470-20A"),
        ("cn470-26b", "CN470-26B"),
    ] {
        assert_eq!(Plan::by_name(text).map(|p| p.name), Some(name), "{text}");
    }
    for text in ["", "-", "AS923-5", "EU", "915"] {
        assert!(Plan::by_name(text).is_none(), "{text}");
    }
}

#[test]
fn a_join_request_is_on_a_join_channel_or_it_is_said_why_not() {
    let (eu, us, au) = (plan("EU868"), plan("US915"), plan("AU915"));
    assert_eq!(eu.join_fit(868_100_000, lora(7, 125)), JoinFit::Fits { channel: 0 });
    assert_eq!(
        eu.join_fit(868_299_988, lora(12, 125)),
        JoinFit::Inexact { channel: 1, offset_hz: -12 }
    );
    assert_eq!(eu.join_fit(868_300_000, lora(7, 250)), JoinFit::WrongRate { channel: 1 });
    assert_eq!(
        eu.join_fit(868_301_000, lora(7, 125)),
        JoinFit::OffGrid { nearest: 1, offset_hz: 1000 }
    );
    assert_eq!(
        eu.join_fit(867_100_000, lora(7, 125)),
        JoinFit::OffGrid { nearest: 0, offset_hz: -1_000_000 }
    );
    assert_eq!(eu.join_fit(902_300_000, lora(10, 125)), JoinFit::OutOfBand);
    // A 500 kHz channel, and a narrow request on it.
    assert_eq!(us.join_fit(903_000_000, lora(8, 500)), JoinFit::Fits { channel: 64 });
    assert_eq!(us.join_fit(903_000_000, lora(10, 125)), JoinFit::WrongRate { channel: 64 });
    assert_eq!(us.join_fit(902_300_000, lora(7, 125)), JoinFit::WrongRate { channel: 0 });
    // SF12 was the join rate of AU915 until 1.0.2rB.
    assert_eq!(au.join_fit(915_200_000, lora(12, 125)), JoinFit::WrongRate { channel: 0 });
    assert_eq!(au.join_data_rates(Revision::Rp1_0_2B), [0, 6]);
    assert_eq!(au.join_data_rates(Revision::Rp1_0_3A), [2, 6]);
    assert_eq!(
        plan("CN470-20A").join_fit(470_300_000, lora(12, 125)),
        JoinFit::WrongRate { channel: 0 }
    );
    assert_eq!(
        plan("CN470-20A").join_fit(470_500_000, lora(10, 125)),
        JoinFit::NotAJoinChannel { channel: 1 }
    );
    assert_eq!(
        plan("AS923").join_fit(923_200_000, lora(12, 125)),
        JoinFit::WrongRate { channel: 0 }
    );
}

#[test]
fn a_frequency_leads_to_the_plans_that_join_there() {
    let names = |hz, m| plans_joining_at(hz, m).iter().map(|p| p.name).collect::<Vec<_>>();
    assert_eq!(names(868_100_000, lora(7, 125)), ["EU868"]);
    assert_eq!(names(868_900_000, lora(7, 125)), ["RU864"]);
    assert_eq!(names(923_200_000, lora(10, 125)), ["AU915", "AS923"]);
    assert_eq!(names(923_200_000, lora(9, 125)), ["AS923"]);
    assert_eq!(names(479_900_000, lora(10, 125)), ["CN470-20B", "CN470-96"]);
    assert_eq!(names(504_100_000, lora(10, 125)), ["CN470-20A"]);
    assert!(names(100_000_000, lora(10, 125)).is_empty());
}

#[test]
fn the_join_accept_of_cn470_is_not_where_the_data_rule_would_have_it() {
    let a = plan("CN470-26A");
    // Join channel 11: the join table says 492.5 MHz, uplink channel 10 mod 24 would be 492.1.
    let join = a.join_rx1(472_300_000, lora(10, 125)).unwrap();
    let data = a.rx1(472_300_000, lora(10, 125), 0, false).unwrap();
    assert_eq!((join.freq_hz, data.freq_hz), (492_500_000, 492_100_000));
}

#[test]
fn rx1_of_as923_is_lifted_while_downlinks_have_a_dwell_limit() {
    let p = plan("AS923");
    let free = p.rx1(923_200_000, lora(12, 125), 0, false).unwrap();
    let dwell = p.rx1(923_200_000, lora(12, 125), 0, true).unwrap();
    assert_eq!((free.dr, dwell.dr), (0, 2));
    // Up to 1.0.3revA a formula with a ceiling of DR5 stood where the table is now.
    assert_eq!(p.rx1_dr(7, 0, false), Some(7));
    assert_eq!(p.rx1_dr_in(Revision::Rp1_0_3A, 7, 0, false), Some(5));
    assert_eq!(p.rx1_dr_in(Revision::Rp1_0_3A, 4, 7, false), Some(5));
    assert_eq!(p.rx1_dr_in(Revision::Rp1_0_3A, 0, 3, true), Some(2));
    assert_eq!(plan("IN865").rx1_dr_in(Revision::Rp1_0_2B, 5, 7, true), Some(5));
    assert_eq!(plan("AU915").rx1_dr_in(Revision::Rp1_0, 0, 0, false), Some(10));
}

#[test]
fn an_offset_or_a_rate_that_is_rfu_has_no_rx1() {
    assert_eq!(plan("US915").rx1(902_300_000, lora(10, 125), 4, false), None);
    assert_eq!(plan("EU868").rx1(868_100_000, lora(10, 125), 6, false), None);
    assert_eq!(plan("KR920").rx1(922_100_000, lora(7, 250), 0, false), None);
    assert_eq!(plan("US915").rx1(902_350_000, lora(10, 125), 0, false), None, "off the grid");
}

#[test]
fn an_old_node_has_no_cflist_of_type_1() {
    let us = plan("US915");
    let since = Revision::Rp1_0_3A;
    assert_eq!(us.cflist_fit(1, Revision::Rp1_0_2B), CfListFit::NotYet { since });
    assert_eq!(us.cflist_fit(1, Revision::Rp1_0_3A), CfListFit::Accepted);
    assert_eq!(us.cflist_fit(0, Revision::LATEST), CfListFit::Never);
    let eu = plan("EU868");
    assert_eq!(eu.cflist_fit(0, Revision::Lorawan1_0_1), CfListFit::Accepted);
    assert_eq!(
        eu.cflist_fit(1, Revision::Rp002_1_0_3),
        CfListFit::NotYet { since: Revision::Rp002_1_0_4 }
    );
    assert_eq!(plan("EU433").cflist_fit(1, Revision::LATEST), CfListFit::Never);
    assert_eq!(
        plan("CN470").cflist_fit_of_version(1, handfast::frame::MacVersion::V1_0_2),
        CfListFit::NotYet { since }
    );
}

#[test]
fn payload_limits_know_dwell_and_repeaters() {
    let p = plan("AS923");
    assert_eq!(p.max_payload(Uplink, 2, false, false), Some((123, 115)));
    assert_eq!(p.max_payload(Uplink, 2, true, false), Some((19, 11)));
    assert_eq!(p.max_payload(Uplink, 0, true, false), None, "no payload fits");
    assert_eq!(p.max_payload(Downlink, 2, true, false), Some((123, 115)));
    assert_eq!(plan("US915").max_payload(Downlink, 8, false, true), Some((61, 53)));
    assert_eq!(plan("EU868").max_payload(Uplink, 5, false, true), Some((230, 222)));
    assert_eq!(plan("EU868").max_payload(Uplink, 14, false, true), None);
}

#[test]
fn beacons_of_cn470_depend_on_the_join_channel() {
    let (a, b) = (plan("CN470-20A"), plan("CN470-20B"));
    assert_eq!(a.beacon_frequency(0, Some(0)), Some(483_900_000));
    assert_eq!(a.beacon_frequency(128, Some(1)), Some(485_700_000));
    assert_eq!(a.beacon_frequency(0, None), None);
    assert_eq!(b.beacon_frequency(128, Some(8)), Some(481_500_000));
    assert_eq!(b.beacon_frequency(0, Some(9)), Some(501_500_000));
    assert_eq!(b.ping_slot_frequency(DevAddr(0), 0, Some(9)), Some(496_900_000));
    assert_eq!(plan("US915").beacon_frequency(128 * 9, None), Some(923_900_000));
}

#[test]
fn a_frequency_is_told_all_that_it_is_for() {
    let places = plans_at(869_525_000);
    let eu = places.iter().find(|p| p.plan.name == "EU868").unwrap();
    assert_eq!(eu.roles, [Role::Rx2, Role::Beacon, Role::PingSlot]);
    let places = plans_at(923_300_000);
    let us = places.iter().find(|p| p.plan.name == "US915").unwrap();
    assert!(us.roles.contains(&Role::Downlink { channel: 0 }));
    assert!(plans_at(100_000_000).is_empty());
}

proptest! {
    #[test]
    fn no_frequency_makes_a_plan_panic(hz: u32, sf in 5u8..=12, wide: bool, offset: u8, dwell: bool) {
        let m = lora(sf, if wide { 500 } else { 125 });
        plans_at(hz);
        plans_joining_at(hz, m);
        for p in Plan::all() {
            p.join_fit(hz, m);
            p.join_rx1(hz, m);
            p.join_rx2(hz);
            p.rx1(hz, m, offset, dwell);
            p.max_payload(Uplink, offset, dwell, wide);
            p.nearest_downlink(hz);
            let nearest = p.nearest_uplink(hz, None).unwrap();
            for c in p.channels() {
                let distance = p.channel_frequency(c).unwrap().abs_diff(hz);
                prop_assert!(nearest.offset_hz.unsigned_abs() <= u64::from(distance), "{}", p.name);
            }
        }
    }

    #[test]
    fn a_join_fit_is_right_about_the_channel_it_names(index in 0usize..17, hz in 430_000_000u32..930_000_000, sf in 7u8..=12) {
        let p = Plan::all()[index];
        if let JoinFit::Inexact { channel, offset_hz } = p.join_fit(hz, lora(sf, 125)) {
            prop_assert!(offset_hz != 0 && offset_hz.abs() < 1000);
            if p.common_join(hz).is_none() {
                let exact = i64::from(p.channel_frequency(channel).unwrap());
                prop_assert_eq!(exact + offset_hz, i64::from(hz));
            }
        }
    }

    #[test]
    fn words_and_text_and_channels_are_one_mask(words in prop::collection::vec(any::<u16>(), 1..=16)) {
        let mask = ChannelMask::from_words(&words);
        prop_assert_eq!(mask.words(), &words[..]);
        prop_assert_eq!(&mask.to_string().parse::<ChannelMask>().unwrap(), &mask);
        let again = ChannelMask::from_channels(mask.channels());
        prop_assert_eq!(again.padded(words.len()), mask.clone());
        if !mask.is_empty() {
            let list = ChannelMask::from_list(&mask.list()).unwrap();
            prop_assert_eq!(list.padded(words.len()), mask);
        }
    }

    #[test]
    fn no_text_makes_a_mask_panic(text in "\\PC{0,40}") {
        let _ = text.parse::<ChannelMask>();
        let _ = ChannelMask::from_list(&text);
        let _ = handfast::region::parse_frequency(&text);
        let _ = Plan::by_name(&text);
        let _ = Revision::by_name(&text);
    }

    #[test]
    fn no_link_adr_leaves_the_plan(index in 0usize..17, revision in 0usize..10, cntl: u8, ch_mask: u16) {
        let p = Plan::all()[index];
        let all = ChannelMask::of_plan(p);
        if let Ok(after) = p.link_adr(Revision::ALL[revision], &all, &all, cntl, ch_mask) {
            for c in after.channels() {
                prop_assert!(all.contains(c), "{} {}", p.name, c);
            }
        }
    }
}
