//! Every number of `vectors/regions.toml` against the tables of the library.
//!
//! The test walks the file key by key. A key that it does not know fails it, so that nothing in
//! the file can go unread.

use std::{collections::BTreeSet, sync::OnceLock};

use handfast::{
    frame::Direction::{Downlink, Uplink},
    radio::Modulation,
    region::{
        ChMaskCntl, ChannelMask, DataRate, DefaultChannels, FixedList, Hop, JoinChannels, LIST_800,
        LIST_900, Legacy, MasksOver, PayloadLimit, Plan, PlanKind, Revision, Rx1Channel, Rx1Row,
        SOURCES,
    },
};
use toml::{Table, Value};

/// A table of the file whose keys are ticked off as they are compared.
struct Keys<'a> {
    at: String,
    table: &'a Table,
    seen: BTreeSet<String>,
}

impl<'a> Keys<'a> {
    fn new(at: impl Into<String>, table: &'a Table) -> Self {
        Self { at: at.into(), table, seen: BTreeSet::new() }
    }

    fn get(&mut self, key: &str) -> Option<&'a Value> {
        self.seen.insert(key.to_owned());
        self.table.get(key)
    }

    fn must(&mut self, key: &str) -> &'a Value {
        self.get(key).unwrap_or_else(|| panic!("{} has no {key}", self.at))
    }

    fn int(&mut self, key: &str) -> i64 {
        self.must(key).as_integer().unwrap_or_else(|| panic!("{}.{key} is not a number", self.at))
    }

    /// A text as the program says it.
    fn text(&mut self, key: &str) -> &'a str {
        shown(self.must(key).as_str().unwrap_or_else(|| panic!("{}.{key} is not a text", self.at)))
    }

    fn optional_text(&mut self, key: &str) -> Option<&'a str> {
        self.get(key).map(|v| shown(v.as_str().unwrap_or_else(|| panic!("{}.{key}", self.at))))
    }

    fn flag(&mut self, key: &str) -> bool {
        self.must(key).as_bool().unwrap_or_else(|| panic!("{}.{key} is not a truth", self.at))
    }

    fn float(&mut self, key: &str) -> f64 {
        self.must(key).as_float().unwrap_or_else(|| panic!("{}.{key} is not a number", self.at))
    }

    fn ints(&mut self, key: &str) -> Vec<i64> {
        ints(self.must(key))
    }

    fn rows(&mut self, key: &str) -> Vec<Self> {
        let at = format!("{}.{key}", self.at);
        rows(&at, self.must(key))
    }

    /// Everything in the table was compared.
    fn done(self) {
        for key in self.table.keys() {
            assert!(self.seen.contains(key), "{}.{key} was not compared", self.at);
        }
    }
}

fn ints(value: &Value) -> Vec<i64> {
    value.as_array().unwrap().iter().map(|v| v.as_integer().unwrap()).collect()
}

fn rows<'a>(at: &str, value: &'a Value) -> Vec<Keys<'a>> {
    let array = value.as_array().unwrap_or_else(|| panic!("{at} is not a list"));
    array
        .iter()
        .enumerate()
        .map(|(i, row)| Keys::new(format!("{at}[{i}]"), row.as_table().unwrap()))
        .collect()
}

fn file() -> Table {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/vectors/regions.toml");
    std::fs::read_to_string(path).unwrap().parse().unwrap()
}

/// A text of the file without the names that the program does not say: `[shown]` of the file.
fn shown(text: &str) -> &str {
    static SHOWN: OnceLock<Table> = OnceLock::new();
    let table = SHOWN.get_or_init(|| file()["shown"].as_table().unwrap().clone());
    table.get(text).map_or(text, |said| said.as_str().unwrap())
}

/// The names of the file's sections: `CN470_20A`, `AS923_1`.
fn plan(section: &str) -> &'static Plan {
    Plan::by_name(section).unwrap_or_else(|| panic!("no plan {section}"))
}

#[test]
fn every_section_of_the_file_is_known() {
    let file = file();
    let mut keys = Keys::new("file", &file);
    // `meta` is about the file itself, `phy` belongs to another room; the rest is compared below.
    for section in [
        "meta",
        "phy",
        "sources",
        "sources_not_named",
        "shown",
        "shown_of_disputes",
        "channel_plan_id",
        "defaults",
        "cflist",
        "beacon",
        "eu868_sub_band",
        "cn470_common_join",
        "plan",
    ] {
        keys.must(section);
    }
    keys.done();
}

#[test]
fn the_sources_are_those_of_the_file() {
    let file = file();
    let sources = file["sources"].as_table().unwrap();
    assert_eq!(sources.len(), SOURCES.len());
    for (key, title) in SOURCES {
        assert_eq!(sources[*key].as_str(), Some(*title), "{key}");
    }
}

#[test]
fn what_is_said_in_place_of_a_name_is_said_somewhere() {
    let file = file();
    let mut said = String::new();
    for p in Plan::all() {
        handfast::show::plan::text(p, &mut said).unwrap();
    }
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for section in ["shown", "shown_of_disputes"] {
        for (exact, words) in file[section].as_table().unwrap() {
            let words = words.as_str().unwrap();
            assert!(said.contains(words), "{section}: {exact}: {words}");
        }
    }
}

#[test]
fn every_plan_of_the_file_is_ours_and_the_other_way_round() {
    let file = file();
    let sections = file["plan"].as_table().unwrap();
    assert_eq!(sections.len(), Plan::all().len());
    let names: BTreeSet<_> = sections.keys().map(|s| plan(s).name).collect();
    assert_eq!(names.len(), sections.len(), "two sections name one plan");
}

#[test]
fn channel_plan_ids_go_by_the_common_names() {
    let file = file();
    let ids = file["channel_plan_id"].as_table().unwrap();
    for (name, id) in ids {
        let id = id.as_integer().unwrap();
        assert_eq!(i64::from(plan(name).plan_id), id, "{name}");
    }
    for p in Plan::all() {
        let common = if p.common_name == "AS923" { "AS923-1" } else { p.common_name };
        assert_eq!(ids[common].as_integer(), Some(i64::from(p.plan_id)), "{}", p.name);
    }
}

#[test]
fn every_number_of_every_plan_is_that_of_the_file() {
    let file = file();
    for (section, table) in file["plan"].as_table().unwrap() {
        let mut keys = Keys::new(section, table.as_table().unwrap());
        let p = plan(section);
        general(&mut keys, p);
        channels(&mut keys, p);
        data_rates(&mut keys, p);
        receive_windows(&mut keys, p);
        power(&mut keys, p);
        cflist(&mut keys, p);
        ch_mask_cntl(&mut keys, p);
        payloads(&mut keys, p);
        class_b(&mut keys, p);
        particulars(&mut keys, p);
        legacy(&mut keys, p);
        notes(&mut keys, p);
        keys.done();
    }
}

fn general(keys: &mut Keys, p: &Plan) {
    assert_eq!(keys.text("name"), p.title);
    assert_eq!(keys.int("plan_id"), i64::from(p.plan_id));
    assert_eq!(keys.text("kind"), p.kind.name());
    assert_eq!(keys.text("baseline"), p.baseline);
    assert_eq!(keys.text("src"), p.source);
    assert_eq!(keys.int("freq_min_hz"), i64::from(p.range_hz.0));
    assert_eq!(keys.int("freq_max_hz"), i64::from(p.range_hz.1));
    let centre = (keys.get("channel_centre_min_hz"), keys.get("channel_centre_max_hz"));
    let centre = (centre.0.and_then(Value::as_integer), centre.1.and_then(Value::as_integer));
    assert_eq!(centre.0, p.centre_range_hz.map(|c| i64::from(c.0)), "{}", p.name);
    assert_eq!(centre.1, p.centre_range_hz.map(|c| i64::from(c.1)), "{}", p.name);
    let offset = keys.get("freq_offset_hz").map(|v| v.as_integer().unwrap());
    assert_eq!(offset, p.frequency_offset_hz.map(i64::from));
    let raw = keys.get("freq_offset_raw").map(|v| v.as_integer().unwrap());
    assert_eq!(raw.map(|r| r * 100), offset, "AS923_FREQ_OFFSET counts 100 Hz");
    assert_eq!(keys.int("receive_delay1_s"), i64::from(p.delays.receive_1_s));
    assert_eq!(keys.int("receive_delay2_s"), i64::from(p.delays.receive_2_s));
    assert_eq!(keys.int("join_accept_delay1_s"), i64::from(p.delays.join_accept_1_s));
    assert_eq!(keys.int("join_accept_delay2_s"), i64::from(p.delays.join_accept_2_s));
    assert_eq!(keys.flag("tx_param_setup"), p.dwell.tx_param_setup);
    assert_eq!(keys.int("uplink_dwell_ms"), i64::from(p.dwell.uplink_ms));
    assert_eq!(keys.int("downlink_dwell_ms"), i64::from(p.dwell.downlink_ms));
    assert_eq!(keys.optional_text("dwell_default"), p.dwell.default);
    assert_eq!(keys.text("duty_cycle"), p.duty_cycle);
}

fn same_channels(rows: Vec<Keys>, ours: &[handfast::region::Channel]) {
    assert_eq!(rows.len(), ours.len());
    for (mut row, c) in rows.into_iter().zip(ours) {
        assert_eq!(row.int("n"), i64::from(c.number), "{}", row.at);
        assert_eq!(row.int("freq_hz"), i64::from(c.freq_hz), "{}", row.at);
        assert_eq!(row.int("dr_min"), i64::from(c.dr_min), "{}", row.at);
        assert_eq!(row.int("dr_max"), i64::from(c.dr_max), "{}", row.at);
        row.done();
    }
}

fn channels(keys: &mut Keys, p: &Plan) {
    match (keys.must("default_channels"), p.default_channels) {
        (Value::String(rule), DefaultChannels::AllUplink(ours)) => assert_eq!(rule, ours),
        (Value::Array(_), DefaultChannels::Listed(ours)) => {
            same_channels(keys.rows("default_channels"), ours);
        }
        other => panic!("{}: {other:?}", p.name),
    }
    match (keys.must("join_channels"), p.join.channels) {
        (
            Value::String(rule),
            JoinChannels::AnyUplink(ours) | JoinChannels::Common { rule: ours, .. },
        ) => assert_eq!(rule, ours),
        (Value::Array(_), JoinChannels::Listed(ours)) => {
            same_channels(keys.rows("join_channels"), ours);
        }
        other => panic!("{}: {other:?}", p.name),
    }
    let join_dr: Vec<i64> = p.join.data_rates.iter().map(|d| i64::from(*d)).collect();
    assert_eq!(keys.ints("join_dr"), join_dr, "{}", p.name);
    assert_eq!(keys.optional_text("join_src"), p.join.source);
    for (key, ours) in [("uplink_blocks", p.uplink_blocks), ("downlink_blocks", p.downlink_blocks)]
    {
        if keys.get(key).is_none() {
            assert!(ours.is_empty(), "{} has {key}", p.name);
            continue;
        }
        let rows = keys.rows(key);
        assert_eq!(rows.len(), ours.len());
        for (mut row, b) in rows.into_iter().zip(ours) {
            assert_eq!(row.int("first"), i64::from(b.first));
            assert_eq!(row.int("count"), i64::from(b.count));
            assert_eq!(row.int("start_hz"), i64::from(b.start_hz));
            assert_eq!(row.int("step_hz"), i64::from(b.step_hz));
            assert_eq!(row.int("bw_khz"), i64::from(b.bw_khz));
            assert_eq!(row.int("dr_min"), i64::from(b.dr_min));
            assert_eq!(row.int("dr_max"), i64::from(b.dr_max));
            row.done();
        }
    }
    sub_bands(keys, p);
}

fn sub_bands(keys: &mut Keys, p: &Plan) {
    if keys.get("sub_bands").is_none() {
        assert!([0, 12].contains(&p.sub_bands), "{}", p.name);
        return;
    }
    let rows = keys.rows("sub_bands");
    assert_eq!(rows.len(), usize::from(p.sub_bands));
    for mut row in rows {
        let number = u8::try_from(row.int("sub_band")).unwrap();
        let (first, last) = (channel(row.int("ch_first")), channel(row.int("ch_last")));
        let wide = channel(row.int("ch_500"));
        let mut expected: Vec<u16> = (first..=last).collect();
        expected.push(wide);
        assert_eq!(p.sub_band_channels(number), expected, "{} sub-band {number}", p.name);
        let hz = |c| p.channel_frequency(c).map(i64::from);
        assert_eq!(hz(first), Some(row.int("freq_first_hz")));
        assert_eq!(hz(last), Some(row.int("freq_last_hz")));
        assert_eq!(hz(wide), Some(row.int("freq_500_hz")));
        row.done();
    }
}

fn channel(n: i64) -> u16 {
    u16::try_from(n).unwrap()
}

fn same_rates(rows: Vec<Keys>, ours: &[DataRate]) {
    assert_eq!(rows.len(), ours.len());
    for (mut row, rate) in rows.into_iter().zip(ours) {
        assert_eq!(row.int("dr"), i64::from(rate.dr), "{}", row.at);
        assert_eq!(row.int("bitrate"), i64::from(rate.bit_rate), "{}", row.at);
        let modulation = match row.text("mod") {
            "LORA" => Modulation::Lora {
                sf: u8::try_from(row.int("sf")).unwrap(),
                bw_khz: channel(row.int("bw_khz")),
            },
            "FSK" => Modulation::Fsk { bit_rate: u32::try_from(row.int("bitrate")).unwrap() },
            "LR-FHSS" => Modulation::LrFhss {
                cr_thirds: match row.text("cr") {
                    "1/3" => 1,
                    "2/3" => 2,
                    other => panic!("{}: cr {other}", row.at),
                },
                ocw_khz: channel(row.int("ocw_khz")),
            },
            other => panic!("{}: mod {other}", row.at),
        };
        assert_eq!(rate.modulation, modulation, "{}", row.at);
        let since = row.optional_text("since").unwrap_or("");
        assert_eq!(rate.since.to_string(), since, "{}", row.at);
        row.done();
    }
}

fn data_rates(keys: &mut Keys, p: &Plan) {
    same_rates(keys.rows("uplink_dr"), p.data_rates.uplink);
    match keys.must("downlink_dr") {
        Value::String(same) => {
            assert_eq!(same, "same as uplink_dr");
            assert!(p.data_rates.downlink.is_none());
        }
        _ => same_rates(keys.rows("downlink_dr"), p.data_rates.downlink.unwrap()),
    }
    assert_eq!(keys.text("dr_src"), p.data_rates.source);
    for direction in [Uplink, Downlink] {
        for rate in p.rates(direction) {
            let lr_fhss = matches!(rate.modulation, Modulation::LrFhss { .. });
            let goes = direction == Uplink || !lr_fhss;
            assert_eq!(p.dr(direction, rate.dr), goes.then_some(rate.modulation));
            assert_eq!(p.dr_of(direction, rate.modulation), goes.then_some(rate.dr), "{}", p.name);
        }
    }
}

fn same_rx1(rows: Vec<Keys>, ours: &[Rx1Row], offset_max: u8) {
    assert_eq!(rows.len(), ours.len());
    for (mut row, r) in rows.into_iter().zip(ours) {
        assert_eq!(row.int("ul"), i64::from(r.uplink), "{}", row.at);
        let dl: Vec<i64> = r.downlink.iter().map(|d| i64::from(*d)).collect();
        assert_eq!(row.ints("dl"), dl, "{}", row.at);
        assert_eq!(dl.len(), usize::from(offset_max) + 1, "{}", row.at);
        row.done();
    }
}

fn receive_windows(keys: &mut Keys, p: &Plan) {
    assert_eq!(keys.text("rx1_channel"), p.rx1_rule.rule);
    match p.rx1_rule.channel {
        Rx1Channel::SameFrequency => assert!(keys.get("rx1_modulus").is_none()),
        Rx1Channel::Modulo(m) => assert_eq!(keys.int("rx1_modulus"), i64::from(m)),
    }
    if let Some(start) = keys.get("rx1_freq_start_hz") {
        let block = p.downlink_blocks[0];
        assert_eq!(start.as_integer(), Some(i64::from(block.start_hz)));
        assert_eq!(keys.int("rx1_freq_step_hz"), i64::from(block.step_hz));
    }
    assert_eq!(keys.int("rx1_offset_max"), i64::from(p.rx1_offset_max));
    same_rx1(keys.rows("rx1"), p.rx1_rule.table, p.rx1_offset_max);
    match p.rx1_rule.dwell_table {
        Some(table) => same_rx1(keys.rows("rx1_dwell"), table, p.rx1_offset_max),
        None => assert!(keys.get("rx1_dwell").is_none()),
    }
    assert_eq!(keys.text("rx1_src"), p.rx1_rule.source);
    assert_eq!(keys.int("rx2_freq_hz"), i64::from(p.rx2_default.freq_hz));
    assert_eq!(keys.int("rx2_dr"), i64::from(p.rx2_default.dr));
    assert_eq!(keys.optional_text("rx2_freq_note"), p.rx2_default.note);

    let rx1 = keys.rows("join_accept_rx1");
    assert_eq!(rx1.len(), p.join.data_rates.len());
    for (mut row, join_dr) in rx1.into_iter().zip(p.join.data_rates) {
        assert_eq!(row.int("ul_dr"), i64::from(*join_dr));
        let uplink = p.dr(Uplink, *join_dr).unwrap();
        let uplink_hz = join_frequency(p, uplink);
        let window = p.join_rx1(uplink_hz, uplink).unwrap();
        assert_eq!(i64::from(window.dr), row.int("rx1_dr"), "{}", row.at);
        assert_eq!(window.modulation, lora(&mut row), "{}", row.at);
        row.done();
    }
    let mut rx2 = Keys::new("join_accept_rx2", keys.must("join_accept_rx2").as_table().unwrap());
    assert_eq!(rx2.int("freq_hz"), i64::from(p.rx2().freq_hz));
    assert_eq!(rx2.int("dr"), i64::from(p.rx2().dr));
    assert_eq!(lora(&mut rx2), p.rx2().modulation);
    assert_eq!(p.dr(Downlink, p.rx2().dr), Some(p.rx2().modulation), "{}", p.name);
    if let Some(note) = rx2.optional_text("freq_note") {
        assert_eq!(note, "per join channel, see cn470_common_join");
        assert!(matches!(p.join.channels, JoinChannels::Common { .. }));
    }
    rx2.done();
}

/// Some frequency on which a Join-Request of this modulation fits the plan.
fn join_frequency(p: &Plan, modulation: Modulation) -> u32 {
    let candidates = match p.join.channels {
        JoinChannels::Listed(c) => c.iter().map(|c| c.freq_hz).collect(),
        JoinChannels::Common { table, .. } => table.iter().map(|c| c.uplink_hz).collect(),
        JoinChannels::AnyUplink(_) => {
            p.channels().iter().map(|c| p.channel_frequency(*c).unwrap()).collect::<Vec<_>>()
        }
    };
    candidates.into_iter().find(|hz| p.join_fit(*hz, modulation).is_fit()).unwrap()
}

fn lora(row: &mut Keys) -> Modulation {
    Modulation::Lora {
        sf: u8::try_from(row.int("sf")).unwrap(),
        bw_khz: channel(row.int("bw_khz")),
    }
}

fn same_number(ours: f32, theirs: f64) {
    assert!((f64::from(ours) - theirs).abs() < 1e-5, "{ours} is not {theirs}");
}

fn power(keys: &mut Keys, p: &Plan) {
    same_number(p.power.max_dbm, keys.float("max_power_dbm"));
    assert_eq!(keys.text("power_reference"), p.power.reference);
    assert_eq!(keys.int("txpower_step_db"), i64::from(p.power.step_db));
    assert_eq!(keys.int("txpower_max_index"), i64::from(p.power.max_index));
    assert_eq!(keys.text("tx_src"), p.power.source);
    if let Some(older) = keys.get("max_power_dbm_until_1_0_4") {
        let ours = p.power.older.unwrap();
        same_number(ours.max_dbm, older.as_float().unwrap());
        assert_eq!(ours.until, Revision::Rp002_1_0_4);
        assert_eq!(keys.int("txpower_max_index_older"), i64::from(ours.max_index));
    } else if let Some(ours) = p.power.older {
        // Told by a note of the plan: TXPower 0 to 10 only, the maximum as today.
        assert_eq!((p.name, ours.until, ours.max_index), ("US915", Revision::Rp1_0_2B, 10));
        same_number(ours.max_dbm, keys.float("max_power_dbm"));
    }
}

fn cflist(keys: &mut Keys, p: &Plan) {
    let types = keys.ints("cflist_types");
    for t in 0..=255u8 {
        assert_eq!(p.accepts_cflist_type(t), types.contains(&i64::from(t)), "{} {t}", p.name);
    }
    let first = p.cflist.frequencies.map(|f| i64::from(f.first_channel));
    let theirs = keys.get("cflist_type0_first_channel").map(|v| v.as_integer().unwrap());
    assert_eq!(theirs, first);
    if let Some(first) = first {
        assert_eq!(usize::try_from(first).unwrap(), p.channels().len(), "after the defaults");
    }
    let (words, list) = match p.cflist.masks.map(|m| m.over) {
        Some(MasksOver::Channels { words }) => (Some(i64::from(words)), None),
        Some(MasksOver::List(list)) => (None, Some(list.name.replace(' ', "_"))),
        None => (None, None),
    };
    assert_eq!(keys.get("cflist_type1_masks").map(|v| v.as_integer().unwrap()), words);
    assert_eq!(keys.optional_text("cflist_type1_list").map(str::to_owned), list);
    assert_eq!(keys.optional_text("cflist_note"), p.cflist.note);
    assert_eq!(keys.optional_text("cflist_src"), p.cflist.source);
}

fn meaning(text: &str) -> ChMaskCntl {
    match text {
        "RFU" => ChMaskCntl::Rfu,
        "banks of 8: mask bit b = channels 8b..8b+7, b=0..9" => ChMaskCntl::Banks,
        "banks: bit b (b=0..7) = channels 8b..8b+7 and channel 64+b; other bits RFU" => {
            ChMaskCntl::SubBands
        }
        "all defined channels ON, ChMask ignored" | "all channels enabled" => ChMaskCntl::AllOn,
        "all channels disabled (must be followed by a LinkADRReq that enables one)" => {
            ChMaskCntl::AllOff
        }
        "all 125 kHz ON, ChMask sets channels 64-71" => ChMaskCntl::NarrowOn,
        "all 125 kHz OFF, ChMask sets channels 64-71" => ChMaskCntl::NarrowOff,
        group => {
            let (first, last) = group
                .strip_prefix("channels ")
                .and_then(|r| r.split_once('-'))
                .unwrap_or_else(|| panic!("ChMaskCntl {group} is unknown"));
            ChMaskCntl::Group { first: first.parse().unwrap(), last: last.parse().unwrap() }
        }
    }
}

fn ch_mask_cntl(keys: &mut Keys, p: &Plan) {
    let meanings = |value: &Value| -> Vec<ChMaskCntl> {
        value.as_array().unwrap().iter().map(|v| meaning(v.as_str().unwrap())).collect()
    };
    let of =
        |revision| -> Vec<ChMaskCntl> { (0..8).map(|c| p.ch_mask_cntl(revision, c)).collect() };
    let current = meanings(keys.must("chmaskcntl"));
    assert_eq!(of(Revision::LATEST), current, "{}", p.name);
    assert_eq!(p.ch_mask_cntl(Revision::LATEST, 8), ChMaskCntl::Rfu);
    if let Some(older) = keys.get("chmaskcntl_until_1_0_3") {
        assert_eq!(of(Revision::Rp002_1_0_3), meanings(older), "{}", p.name);
        assert_eq!(of(Revision::Rp002_1_0_4), current, "{}", p.name);
    } else if p.ch_mask_cntl.older.is_empty() {
        assert_eq!(of(Revision::Lorawan1_0_1), current);
    } else {
        // Told by a note of the two plans: ChMaskCntl 5 was RFU up to 1.0.2rB.
        assert_eq!(p.sub_bands, 8, "{}", p.name);
        let mut old = current.clone();
        old[5] = ChMaskCntl::Rfu;
        assert_eq!(of(Revision::Rp1_0_2B), old, "{}", p.name);
        assert_eq!(of(Revision::Rp1_0_3A), current, "{}", p.name);
    }
    assert_eq!(keys.text("chmask_src"), p.ch_mask_cntl.source);
}

fn same_payloads(rows: Vec<Keys>, ours: &[PayloadLimit]) {
    assert_eq!(rows.len(), ours.len());
    for (mut row, limit) in rows.into_iter().zip(ours) {
        assert_eq!(row.int("dr"), i64::from(limit.dr), "{}", row.at);
        assert_eq!(row.int("m_repeater"), i64::from(limit.repeater), "{}", row.at);
        assert_eq!(row.int("m"), i64::from(limit.direct), "{}", row.at);
        assert_eq!(row.int("n_repeater"), i64::from(limit.repeater) - 8, "{}", row.at);
        assert_eq!(row.int("n"), i64::from(limit.direct) - 8, "{}", row.at);
        row.done();
    }
}

fn payloads(keys: &mut Keys, p: &Plan) {
    let ours = &p.payloads;
    if keys.get("payload").is_some() {
        same_payloads(keys.rows("payload"), ours.uplink);
        assert!(ours.downlink.is_none());
    } else {
        same_payloads(keys.rows("payload_uplink"), ours.uplink);
        same_payloads(keys.rows("payload_downlink"), ours.downlink.unwrap());
    }
    for key in ["payload_dwell", "payload_uplink_dwell"] {
        if keys.get(key).is_some() {
            same_payloads(keys.rows(key), ours.uplink_dwell.unwrap());
        }
    }
    let has_dwell =
        ["payload_dwell", "payload_uplink_dwell"].iter().any(|k| keys.table.contains_key(*k));
    assert_eq!(has_dwell, ours.uplink_dwell.is_some());
    assert_eq!(keys.text("payload_src"), ours.source);
}

fn hertz(list: &[u32]) -> Vec<i64> {
    list.iter().map(|f| i64::from(*f)).collect()
}

fn class_b(keys: &mut Keys, p: &Plan) {
    let beacon = &p.beacon;
    assert_eq!(keys.ints("beacon_freq_hz"), hertz(beacon.frequencies_hz));
    let hops = matches!(beacon.hop, Hop::OverList | Hop::OverJoinGroup);
    assert_eq!(keys.flag("beacon_hopping"), hops, "{}", p.name);
    assert_eq!(keys.int("beacon_dr"), i64::from(beacon.dr));
    assert_eq!(keys.int("beacon_sf"), i64::from(beacon.sf));
    assert_eq!(keys.int("beacon_bw_khz"), i64::from(beacon.bw_khz));
    assert_eq!(keys.int("beacon_bytes"), i64::from(beacon.octets));
    let modulation = Modulation::Lora { sf: beacon.sf, bw_khz: beacon.bw_khz };
    assert_eq!(p.dr(Downlink, beacon.dr), Some(modulation), "{}", p.name);
    assert_eq!(keys.optional_text("beacon_rule"), beacon.rule);
    assert_eq!(keys.ints("ping_freq_hz"), hertz(p.ping.frequencies_hz));
    assert_eq!(keys.int("ping_dr"), i64::from(p.ping.dr));
    assert_eq!(keys.optional_text("ping_rule"), p.ping.rule);
}

fn particulars(keys: &mut Keys, p: &Plan) {
    if keys.get("relay").is_some() {
        let rows = keys.rows("relay");
        assert_eq!(rows.len(), p.relay.len());
        for (mut row, r) in rows.into_iter().zip(p.relay) {
            assert_eq!(row.int("wor_hz"), i64::from(r.wor_hz));
            assert_eq!(row.int("ack_hz"), i64::from(r.ack_hz));
            assert_eq!(row.int("dr"), i64::from(r.dr));
            row.done();
        }
    } else {
        assert!(p.relay.is_empty(), "{}", p.name);
    }
    if keys.get("legal_channels").is_some() {
        let rows = keys.rows("legal_channels");
        assert_eq!(rows.len(), p.legal_channels.len());
        for (mut row, c) in rows.into_iter().zip(p.legal_channels) {
            assert_eq!(row.int("freq_hz"), i64::from(c.freq_hz));
            assert_eq!(row.int("max_eirp_dbm"), i64::from(c.max_eirp_dbm));
            row.done();
        }
    } else {
        assert!(p.legal_channels.is_empty(), "{}", p.name);
    }
}

fn legacy(keys: &mut Keys, p: &Plan) {
    let mut ours = p.legacy.iter();
    for key in ["legacy_v1_0", "legacy_v1_0_2rb"] {
        let Some(table) = keys.get(key) else { continue };
        let mut old = Keys::new(key, table.as_table().unwrap());
        let l: &Legacy = ours.next().unwrap();
        assert_eq!(old.text("valid"), l.valid);
        assert_eq!(old.text("src"), l.source);
        let joins: Vec<i64> = l.join_data_rates.iter().map(|d| i64::from(*d)).collect();
        assert_eq!(old.ints("join_dr"), joins);
        match l.uplink {
            Some(rates) => same_rates(old.rows("uplink_dr"), rates),
            None => assert!(old.get("uplink_dr").is_none()),
        }
        match (l.rx1, l.rx1_offset_max) {
            (Some(table), Some(max)) => {
                assert_eq!(old.int("rx1_offset_max"), i64::from(max));
                same_rx1(old.rows("rx1"), table, max);
            }
            _ => assert!(old.get("rx1").is_none()),
        }
        if let Some((dr, sf, octets)) = l.beacon {
            assert_eq!(old.int("beacon_dr"), i64::from(dr));
            assert_eq!(old.int("beacon_sf"), i64::from(sf));
            assert_eq!(old.int("beacon_bytes"), i64::from(octets));
        }
        if let Some(types) = l.cflist_types {
            let types: Vec<i64> = types.iter().map(|t| i64::from(*t)).collect();
            assert_eq!(old.ints("cflist_types"), types);
        }
        if let Some(setup) = l.tx_param_setup {
            assert_eq!(old.flag("tx_param_setup"), setup);
        }
        if let Some(highest) = l.power_max_index {
            assert_eq!(old.int("txpower_max_index"), i64::from(highest));
        }
        old.done();
    }
    assert!(ours.next().is_none(), "{}: a legacy table that the file does not have", p.name);
}

fn notes(keys: &mut Keys, p: &Plan) {
    if keys.get("note").is_none() {
        assert!(p.notes.is_empty(), "{}", p.name);
        return;
    }
    let rows = keys.rows("note");
    assert_eq!(rows.len(), p.notes.len());
    for (mut row, note) in rows.into_iter().zip(p.notes) {
        assert_eq!(row.text("rev"), note.revision);
        assert_eq!(row.text("change"), note.change);
        assert_eq!(row.text("bites_when"), note.bites_when);
        assert_eq!(row.text("src"), note.source);
        row.done();
    }
}

#[test]
fn the_default_delays_are_those_of_the_file() {
    let file = file();
    let mut keys = Keys::new("defaults", file["defaults"].as_table().unwrap());
    let ours = handfast::region::Delays::DEFAULT;
    assert_eq!(keys.int("receive_delay1_s"), i64::from(ours.receive_1_s));
    assert_eq!(keys.int("receive_delay2_s"), i64::from(ours.receive_2_s));
    assert_eq!(keys.int("join_accept_delay1_s"), i64::from(ours.join_accept_1_s));
    assert_eq!(keys.int("join_accept_delay2_s"), i64::from(ours.join_accept_2_s));
    // The counters and time-outs beside them are not this room's.
}

#[test]
fn the_cflist_section_agrees() {
    let file = file();
    let mut keys = Keys::new("cflist", file["cflist"].as_table().unwrap());
    assert_eq!((keys.int("length"), keys.int("type_octet_index")), (16, 15));
    for prose in ["type0", "type1", "type0_only_until"] {
        keys.text(prose);
    }
    for (section, words) in keys.must("type1_masks_used").as_table().unwrap() {
        let p = plan(section);
        let Some(MasksOver::Channels { words: ours }) = p.cflist.masks.map(|m| m.over) else {
            panic!("{section} has no masks");
        };
        assert_eq!(words.as_integer(), Some(i64::from(ours)), "{section}");
        assert_eq!(p.mask_words(), usize::from(ours), "{section}");
    }
    let frequencies = octets(keys.text("example_type0_eu868_867_1_to_867_9"));
    let read: Vec<u32> = frequencies[..15]
        .chunks(3)
        .map(|o| u32::from_le_bytes([o[0], o[1], o[2], 0]) * 100)
        .collect();
    assert_eq!(read, [867_100_000, 867_300_000, 867_500_000, 867_700_000, 867_900_000]);
    assert!(plan("EU868").accepts_cflist_type(frequencies[15]));
    let masks = octets(keys.text("example_type1_us915_sub_band_2"));
    let us = plan("US915");
    let mask = words(&masks[..10]);
    assert_eq!(mask.channels().collect::<Vec<_>>(), us.sub_band_channels(2));
    assert!(us.accepts_cflist_type(masks[15]));
    for (key, ours) in [("list_800", &LIST_800), ("list_900", &LIST_900)] {
        same_list(Keys::new(key, keys.must(key).as_table().unwrap()), ours);
    }
    keys.done();
}

fn same_list(mut keys: Keys, ours: &FixedList) {
    let mut regular = Keys::new("regular", keys.must("regular").as_table().unwrap());
    assert_eq!(regular.int("first"), 0);
    assert_eq!(regular.int("count"), i64::from(ours.regular));
    assert_eq!(regular.int("start_hz"), i64::from(ours.start_hz));
    assert_eq!(regular.int("step_hz"), i64::from(ours.step_hz));
    regular.done();
    let mut extra = 0;
    if keys.get("extra").is_some() {
        for mut row in keys.rows("extra") {
            let hz = ours.frequency(channel(row.int("n"))).map(i64::from);
            assert_eq!(hz, Some(row.int("freq_hz")));
            extra += 1;
            row.done();
        }
    }
    assert_eq!(extra, ours.extra_hz.len());
    assert_eq!(ours.frequency(ours.regular + u16::try_from(extra).unwrap()), None);
    let mut users = 0;
    for (section, numbers) in keys.must("default_channel_numbers").as_table().unwrap() {
        let p = plan(section);
        assert_eq!(p.fixed_list().map(|l| l.name), Some(ours.name), "{section}");
        let found: Vec<i64> = p
            .listed_channels()
            .iter()
            .map(|c| i64::from(ours.number(c.freq_hz).unwrap()))
            .collect();
        assert_eq!(ints(numbers), found, "{section}");
        users += 1;
    }
    let ours_too =
        Plan::all().iter().filter(|p| p.fixed_list().is_some_and(|l| l.name == ours.name));
    assert_eq!(ours_too.count(), users);
    keys.done();
}

fn octets(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|i| u8::from_str_radix(&hex[i..i + 2], 16).unwrap()).collect()
}

fn words(octets: &[u8]) -> ChannelMask {
    let words: Vec<u16> = octets.chunks(2).map(|o| u16::from_le_bytes([o[0], o[1]])).collect();
    ChannelMask::from_words(&words)
}

#[test]
fn beacons_are_as_long_as_their_spreading_factor_says() {
    let file = file();
    let mut keys = Keys::new("beacon", file["beacon"].as_table().unwrap());
    let mut checked = 0;
    for mut row in keys.rows("layout") {
        let (sf, octets) = (row.int("sf"), row.int("bytes"));
        for p in Plan::all().iter().filter(|p| i64::from(p.beacon.sf) == sf) {
            assert_eq!(i64::from(p.beacon.octets), octets, "{}", p.name);
            checked += 1;
        }
    }
    assert_eq!(checked, Plan::all().len());
    assert_eq!(keys.int("period_s"), 128);
}

#[test]
fn the_regulator_bands_of_eu868_agree() {
    let file = file();
    let ours = plan("EU868").regulator_bands;
    let rows = rows("eu868_sub_band", &file["eu868_sub_band"]);
    assert_eq!(rows.len(), ours.len());
    for (mut row, b) in rows.into_iter().zip(ours) {
        assert_eq!(row.text("letter"), b.letter.to_string());
        assert_eq!(row.text("g_name"), b.older_name);
        assert_eq!(row.int("low_hz"), i64::from(b.low_hz));
        assert_eq!(row.int("high_hz"), i64::from(b.high_hz));
        assert_eq!(row.int("duty_permille"), i64::from(b.duty_permille));
        assert_eq!(row.int("max_erp_dbm"), i64::from(b.max_erp_dbm));
        assert_eq!(row.int("max_erp_mw"), i64::from(b.max_erp_mw));
        assert_eq!(row.text("ec_2017_1483"), b.ec_2017_1483);
        row.done();
    }
}

#[test]
fn the_common_join_channels_of_cn470_agree() {
    let file = file();
    let mut keys = Keys::new("cn470_common_join", file["cn470_common_join"].as_table().unwrap());
    let rows = keys.rows("channel");
    assert_eq!(rows.len(), 20);
    for mut row in rows {
        let uplink = u32::try_from(row.int("uplink_hz")).unwrap();
        let activated = plan(row.text("plan"));
        let sf10 = Modulation::Lora { sf: 10, bw_khz: 125 };
        // Whichever of the four plans a node was set up for.
        for name in ["CN470-20A", "CN470-20B", "CN470-26A", "CN470-26B"] {
            let p = plan(name);
            let common = p.common_join(uplink).unwrap();
            assert_eq!((i64::from(common.index), common.uplink_hz), (row.int("idx"), uplink));
            assert_eq!(common.plan, activated.name);
            let rx1 = p.join_rx1(uplink, sf10).unwrap();
            assert_eq!(i64::from(rx1.freq_hz), row.int("join_accept_hz"), "{}", row.at);
            assert_eq!(i64::from(p.join_rx2(uplink).freq_hz), row.int("rx2_hz"), "{}", row.at);
            assert!(p.join_fit(uplink, sf10).is_fit(), "{name} {uplink}");
        }
        let joining: Vec<_> = handfast::region::plans_joining_at(uplink, sf10)
            .iter()
            .map(|p| p.name)
            .filter(|n| *n != "CN470-96")
            .collect();
        assert_eq!(joining, [activated.name]);
        row.done();
    }
    keys.done();
}

#[test]
fn every_plan_is_whole() {
    for p in Plan::all() {
        for text in [p.name, p.common_name, p.title, p.baseline, p.source, p.duty_cycle] {
            assert!(!text.is_empty(), "{}", p.name);
        }
        assert!(p.range_hz.0 < p.range_hz.1);
        assert_eq!(p.kind == PlanKind::Fixed, !p.uplink_blocks.is_empty(), "{}", p.name);
        for name in [p.name, p.title].iter().chain(p.aliases) {
            assert_eq!(Plan::by_name(name).map(|p| p.name), Some(p.name), "{name}");
        }
        for dispute in p.disputes {
            assert!(!dispute.one.is_empty() && !dispute.other.is_empty());
        }
    }
}
