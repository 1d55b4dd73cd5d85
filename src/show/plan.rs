//! A channel plan, a frequency, a channel mask: as text of 80 columns and as JSON.

mod at;
mod json;
mod mask;
mod page;

use std::fmt::{self, Write};

use crate::{
    frame::Direction::{self, Downlink, Uplink},
    radio::{self, Modulation},
    region::{
        ChMaskCntl, ChannelMask, DataRate, DefaultChannels, JoinChannels, Legacy, MasksOver,
        Megahertz, Payloads, Plan, PlanKind, Revision, Rx1Channel, Rx1Row, SOURCES,
    },
};

pub use at::{json as at_json, text as at_text};
pub use json::json;
pub use mask::{json as mask_json, text as mask_text};
use page::Page;

/// Writes all plans, a line each.
///
/// # Errors
/// When `out` does not take it.
pub fn list(out: &mut dyn Write) -> fmt::Result {
    for p in Plan::all() {
        let (low, high) = (Megahertz(p.range_hz.0), Megahertz(p.range_hz.1));
        let band = format!("{low}-{high} MHz");
        writeln!(out, "{:<10} {:<8} {band:<18} {}", p.name, p.kind.name(), p.title)?;
    }
    Ok(())
}

/// Writes a plan as people read it, in lines of up to 80 columns.
///
/// # Errors
/// When `out` does not take it.
pub fn text(plan: &Plan, out: &mut dyn Write) -> fmt::Result {
    let mut body = String::new();
    let mut page = Page::new(&mut body);
    head(plan, &mut page)?;
    channels(plan, &mut page)?;
    data_rates(plan, &mut page)?;
    join(plan, &mut page)?;
    rx1(plan, &mut page)?;
    cflist(plan, &mut page)?;
    ch_mask_cntl(plan, &mut page)?;
    payloads(&plan.payloads, &mut page)?;
    limits(plan, &mut page)?;
    class_b(plan, &mut page)?;
    history(plan, &mut page)?;
    doubts(plan, &mut page)?;
    page.section("Sources")?;
    let mentioned: Vec<_> = SOURCES.iter().filter(|(key, _)| mentions(&body, key)).collect();
    let mut page = Page::new(&mut body);
    for (key, title) in mentioned {
        page.field(key, title)?;
    }
    out.write_str(&body)
}

fn head(plan: &Plan, page: &mut Page) -> fmt::Result {
    page.line(&format!("{}: {}", plan.name, plan.title))?;
    let (low, high) = plan.range_hz;
    let id = plan.plan_id;
    page.field("plan", &format!("channel plan {id}, {}", plan.kind.name()))?;
    let mut band = format!("{}-{} MHz", Megahertz(low), Megahertz(high));
    if let Some((low, high)) = plan.centre_range_hz {
        let _ = write!(band, ", channel centres {}-{} MHz", Megahertz(low), Megahertz(high));
    }
    page.field("band", &band)?;
    if let Some(offset) = plan.frequency_offset_hz {
        let khz = offset / 1000;
        page.field(
            "offset",
            &format!("{khz} kHz from group 1 (AS923_FREQ_OFFSET {})", offset / 100),
        )?;
    }
    page.field("revision", &format!("{} [{}]", plan.baseline, plan.source))?;
    let namesakes: Vec<_> = plan.namesakes().map(|p| p.name).collect();
    if !namesakes.is_empty() {
        let others = namesakes.join(", ");
        page.field("namesakes", &format!("{} is also {others}", plan.common_name))?;
    }
    Ok(())
}

fn channels(plan: &Plan, page: &mut Page) -> fmt::Result {
    page.section("Channels")?;
    match plan.default_channels {
        DefaultChannels::Listed(channels) => {
            for c in channels {
                let mhz = Megahertz(c.freq_hz);
                let rates = range("DR", c.dr_min.into(), c.dr_max.into());
                let what = format!("{:>2}  {mhz} MHz  {rates}", c.number);
                page.field("default", &what)?;
            }
        }
        DefaultChannels::AllUplink(rule) => page.field("default", rule)?,
    }
    for (label, blocks) in [("uplink", plan.uplink_blocks), ("downlink", plan.downlink_blocks)] {
        for b in blocks {
            let last = b.first + b.count.saturating_sub(1);
            let span = format!("{}-{last}", b.first);
            let end = b.frequency(last).unwrap_or(b.start_hz);
            let rates = range("DR", b.dr_min.into(), b.dr_max.into());
            let (start, end, step) = (Megahertz(b.start_hz), Megahertz(end), Megahertz(b.step_hz));
            let bw = b.bw_khz;
            page.field(
                label,
                &format!("{span:<6} {start}-{end} MHz, {step} apart, {bw} kHz, {rates}"),
            )?;
        }
    }
    for c in plan.legal_channels {
        let mhz = Megahertz(c.freq_hz);
        page.field("allowed", &format!("{mhz} MHz, node up to {} dBm EIRP", c.max_eirp_dbm))?;
    }
    if plan.sub_bands > 0 {
        page.blank()?;
        page.row("sub-band  channels  MHz                ChMask words")?;
        for n in 1..=plan.sub_bands {
            let channels = plan.sub_band_channels(n);
            let mask = ChannelMask::from_channels(channels.iter().copied());
            let mhz = sub_band_mhz(plan, &channels);
            let words = mask.padded(plan.mask_words());
            page.row(&format!("{n:>8}  {:<9} {mhz:<18} {words}", mask.list().replace(", ", " ")))?;
        }
    }
    Ok(())
}

/// `903.9-905.3, 904.6`: the eight channels, and the wide one beside them.
fn sub_band_mhz(plan: &Plan, channels: &[u16]) -> String {
    let hz: Vec<u32> = channels.iter().filter_map(|c| plan.channel_frequency(*c)).collect();
    let narrow = hz.get(..8).unwrap_or(&hz);
    let (Some(first), Some(last)) = (narrow.first(), narrow.last()) else { return String::new() };
    let wide = hz.get(8).map(|f| format!(", {}", Megahertz(*f))).unwrap_or_default();
    format!("{}-{}{wide}", Megahertz(*first), Megahertz(*last))
}

fn data_rates(plan: &Plan, page: &mut Page) -> fmt::Result {
    page.section("Data rates")?;
    let two = plan.data_rates.downlink.is_some();
    for direction in [Uplink, Downlink] {
        if direction == Downlink && !two {
            break;
        }
        let name = match (two, direction) {
            (false, _) => "both ways",
            (true, Uplink) => "uplink",
            (true, Downlink) => "downlink",
        };
        page.row(&format!(
            "{:>4}  {:<18} {:>6}  {:>6}  {:>11}  {}",
            "DR", name, "bit/s", "floor", "23 bytes", "since"
        ))?;
        for rate in plan.rates(direction) {
            page.row(&rate_row(rate, direction))?;
        }
    }
    page.field(
        "",
        &format!(
            "floor: SNR needed, dB; 23 bytes: a Join-Request's time on air [{}]",
            plan.data_rates.source
        ),
    )
}

fn rate_row(rate: &DataRate, direction: Direction) -> String {
    let floor = floor(rate.modulation).map_or_else(|| "-".into(), |f| format!("{f:.1}"));
    // A downlink of 23 octets would be no Join-Request.
    let air = match join_request_us(rate.modulation).filter(|_| direction == Uplink) {
        Some(us) => format!("{}.{} ms", (us + 50) / 1000, (us + 50) % 1000 / 100),
        None if rate.goes(Downlink) => "-".into(),
        None => "uplink only".into(),
    };
    let modulation = rate.modulation.to_string();
    let row = format!(
        "{:>4}  {modulation:<18} {:>6}  {floor:>6}  {air:>11}  {}",
        rate.dr, rate.bit_rate, rate.since
    );
    row.trim_end().to_owned()
}

/// Returns the demodulation floor of LoRa; other modulations have none in the reference.
fn floor(modulation: Modulation) -> Option<f32> {
    match modulation {
        Modulation::Lora { sf, .. } => radio::demodulation_floor(sf),
        Modulation::Fsk { .. } | Modulation::LrFhss { .. } => None,
    }
}

/// Returns the time on air of a Join-Request in microseconds, where the reference has a formula:
/// not for LR-FHSS, nor for SF5 and SF6.
fn join_request_us(modulation: Modulation) -> Option<u128> {
    Some(radio::time_on_air(modulation, JOIN_REQUEST_OCTETS, Uplink)?.as_micros())
}

fn join(plan: &Plan, page: &mut Page) -> fmt::Result {
    page.section("Join")?;
    match plan.join.channels {
        JoinChannels::Listed(channels) => {
            let list: Vec<_> = channels.iter().map(|c| Megahertz(c.freq_hz).to_string()).collect();
            page.field("channels", &format!("{} MHz", list.join(", ")))?;
        }
        JoinChannels::AnyUplink(rule) => page.field("channels", rule)?,
        JoinChannels::Common { .. } => {
            page.field(
                "channels",
                "any of the 20 that the antenna plans share; it picks the plan",
            )?;
        }
    }
    let delays = plan.delays;
    for dr in plan.join.data_rates {
        let Some(uplink) = plan.dr(Uplink, *dr) else { continue };
        let Some(rx1_dr) = plan.rx1_dr(*dr, 0, false) else { continue };
        let Some(rx1) = plan.dr(Downlink, rx1_dr) else { continue };
        page.field(
            &format!("DR{dr}"),
            &format!("{uplink}: RX1 after {} s at DR{rx1_dr} {rx1}", delays.join_accept_1_s),
        )?;
    }
    page.field("RX1 channel", &rx1_channel(plan, true))?;
    let rx2 = plan.rx2();
    let after = delays.join_accept_2_s;
    match plan.rx2_default.note {
        None => {
            page.field("RX2", &format!("after {after} s: {rx2}"))?;
        }
        Some(_) => {
            page.field("RX2", &format!("after {after} s at DR{} {}", rx2.dr, rx2.modulation))?;
        }
    }
    page.field("", "both count from the end of the Join-Request, whatever RxDelay says")?;
    if let Some(source) = plan.join.source {
        page.field("", &format!("[{source}]"))?;
    }
    if let JoinChannels::Common { table, .. } = plan.join.channels {
        page.blank()?;
        page.row("join  request  RX1    RX2    plan")?;
        for c in table {
            let [up, rx1, rx2] =
                [c.uplink_hz, c.join_accept_hz, c.rx2_hz].map(|f| Megahertz(f).to_string());
            let own = if c.plan == plan.name { "  *" } else { "" };
            page.row(&format!("{:>4}  {up:<7}  {rx1:<5}  {rx2:<5}  {}{own}", c.index, c.plan))?;
        }
    }
    Ok(())
}

/// Returns where RX1 is, in words and numbers.
fn rx1_channel(plan: &Plan, join: bool) -> String {
    if join && matches!(plan.join.channels, JoinChannels::Common { .. }) {
        return "the frequency paired with the join channel, see below".into();
    }
    match (plan.rx1_rule.channel, plan.downlink_blocks) {
        (Rx1Channel::Modulo(m), [b]) => {
            format!("{} MHz + {} x (channel mod {m})", Megahertz(b.start_hz), Megahertz(b.step_hz))
        }
        _ => plan.rx1_rule.rule.into(),
    }
}

fn rx1(plan: &Plan, page: &mut Page) -> fmt::Result {
    page.section("Data windows")?;
    let delays = plan.delays;
    page.field(
        "RX1",
        &format!(
            "after {} s unless RxDelay says otherwise; {}",
            delays.receive_1_s,
            rx1_channel(plan, false)
        ),
    )?;
    page.field("RX2", &format!("1 s after RX1; default {}", plan.rx2()))?;
    if let Some(note) = plan.rx2_default.note {
        page.field("", note)?;
    }
    rx1_table("downlink DR by uplink DR and RX1DROffset", plan.rx1_rule.table, page)?;
    if let Some(table) = plan.rx1_rule.dwell_table {
        rx1_table("the same while DownlinkDwellTime is 1", table, page)?;
    }
    page.field("", &format!("[{}]", plan.rx1_rule.source))?;
    if let Some(f) = plan.rx1_formula {
        let offsets: Vec<_> = f.effective_offsets.iter().map(ToString::to_string).collect();
        page.field(
            "",
            &format!(
                "until {}: min({}, max(low, uplink DR - e)), e = {} for RX1DROffset 0, 1, ..., \
                 low = {} (dwell: {}) [{}]",
                f.until,
                f.max,
                offsets.join(", "),
                f.min,
                f.min_dwell,
                f.source
            ),
        )?;
    }
    Ok(())
}

fn rx1_table(title: &str, table: &[Rx1Row], page: &mut Page) -> fmt::Result {
    page.row(title)?;
    let columns = table.iter().map(|r| r.downlink.len()).max().unwrap_or(0);
    let mut line = format!("{:>8}", "DR");
    for offset in 0..columns {
        write!(line, "{offset:>4}")?;
    }
    page.row(&line)?;
    for r in table {
        line = format!("{:>8}", r.uplink);
        for dr in r.downlink {
            write!(line, "{dr:>4}")?;
        }
        page.row(&line)?;
    }
    Ok(())
}

fn cflist(plan: &Plan, page: &mut Page) -> fmt::Result {
    page.section("CFList")?;
    match plan.cflist.frequencies {
        Some(f) => {
            let (a, b) = (f.first_channel, f.first_channel + 4);
            page.field("type 0", &format!("five frequencies: channels {a}-{b}"))?;
        }
        None => page.field("type 0", "not in this plan")?,
    }
    match plan.cflist.masks {
        None => page.field("type 1", "not in this plan")?,
        Some(m) => {
            let what = match m.over {
                MasksOver::Channels { words } => format!("{words} ChMask words"),
                MasksOver::List(l) => {
                    format!("numbers of {} (0-{})", l.name, l.iter().count().saturating_sub(1))
                }
            };
            page.field("type 1", &format!("{what}, since {}", m.since))?;
        }
    }
    if let Some(list) = plan.fixed_list() {
        let own: Vec<_> = plan
            .listed_channels()
            .iter()
            .filter_map(|c| list.number(c.freq_hz))
            .map(|n| n.to_string())
            .collect();
        page.field(
            "",
            &format!("default channels are numbers {} [{}]", own.join(", "), list.source),
        )?;
    }
    if let Some(note) = plan.cflist.note {
        page.field("", note)?;
    }
    Ok(())
}

fn ch_mask_cntl(plan: &Plan, page: &mut Page) -> fmt::Result {
    page.section("ChMaskCntl")?;
    let meanings = |page: &mut Page, table: &[ChMaskCntl; 8]| -> fmt::Result {
        for (cntl, meaning) in table.iter().enumerate() {
            page.field(&cntl.to_string(), &meaning.to_string())?;
        }
        Ok(())
    };
    meanings(page, plan.ch_mask_cntl.current)?;
    for (until, table) in plan.ch_mask_cntl.older {
        page.row(&format!("until {until}"))?;
        let differs = table.iter().zip(plan.ch_mask_cntl.current).enumerate();
        for (cntl, (old, _)) in differs.filter(|(_, (old, new))| old != new) {
            page.field(&cntl.to_string(), &old.to_string())?;
        }
    }
    page.field("", &format!("[{}]", plan.ch_mask_cntl.source))
}

fn payloads(p: &Payloads, page: &mut Page) -> fmt::Result {
    page.section("Largest payload, MACPayload/FRMPayload bytes")?;
    let tables = [
        (if p.downlink.is_some() { "uplink" } else { "both ways" }, Some(p.uplink)),
        ("uplink under dwell limit", p.uplink_dwell),
        ("downlink", p.downlink),
    ];
    for (title, table) in tables {
        let Some(table) = table else { continue };
        page.row(&format!("{:>4}  {title:<24}  through a repeater", "DR"))?;
        for l in table {
            let pair = |m: u8| format!("{m}/{}", m.saturating_sub(8));
            page.row(&format!("{:>4}  {:<24}  {}", l.dr, pair(l.direct), pair(l.repeater)))?;
        }
    }
    page.field("", &format!("[{}]", p.source))
}

fn limits(plan: &Plan, page: &mut Page) -> fmt::Result {
    page.section("Limits")?;
    let dwell = |ms: u16| if ms == 0 { "none".into() } else { format!("{ms} ms") };
    let (up, down) = (dwell(plan.dwell.uplink_ms), dwell(plan.dwell.downlink_ms));
    page.field("dwell", &format!("uplink {up}, downlink {down}"))?;
    if let Some(default) = plan.dwell.default {
        page.field("", default)?;
    }
    let setup = if plan.dwell.tx_param_setup { "implemented" } else { "not implemented" };
    page.field("TxParamSetup", setup)?;
    page.field("duty cycle", plan.duty_words())?;
    let p = &plan.power;
    page.field("power", &format!("{} dBm {}", p.max_dbm, p.reference))?;
    page.field(
        "TXPower",
        &format!("0-{}, {} dB a step down [{}]", p.max_index, p.step_db, p.source),
    )?;
    if let Some(old) = p.older {
        let (dbm, last) = (old.max_dbm, old.max_index);
        page.field("", &format!("until {}: {dbm} dBm, TXPower 0-{last}", old.until))?;
    }
    if !plan.regulator_bands.is_empty() {
        page.row("band     MHz             duty     ERP             EC 2017/1483")?;
    }
    for b in plan.regulator_bands {
        let mhz = format!("{}-{}", Megahertz(b.low_hz), Megahertz(b.high_hz));
        let duty = format!("{}.{}%", b.duty_permille / 10, b.duty_permille % 10);
        let erp = format!("{} dBm ({} mW)", b.max_erp_dbm, b.max_erp_mw);
        let name = format!("{} ({})", b.letter, b.older_name);
        page.row(&format!("{name:<8} {mhz:<15} {duty:<8} {erp:<15} {}", b.ec_2017_1483))?;
    }
    Ok(())
}

fn class_b(plan: &Plan, page: &mut Page) -> fmt::Result {
    page.section("Class B and relay")?;
    let mhz = |list: &[u32]| -> String {
        let list: Vec<_> = list.iter().map(|f| Megahertz(*f).to_string()).collect();
        format!("{} MHz", list.join(", "))
    };
    let b = &plan.beacon;
    let (sf, bw, octets) = (b.sf, b.bw_khz, b.octets);
    let list = mhz(b.frequencies_hz);
    page.field("beacon", &format!("{list}, DR{} SF{sf}BW{bw}, {octets} bytes", b.dr))?;
    if let Some(rule) = b.rule {
        page.field("", rule)?;
    }
    page.field("ping slot", &format!("{}, DR{}", mhz(plan.ping.frequencies_hz), plan.ping.dr))?;
    if let Some(rule) = plan.ping.rule {
        page.field("", rule)?;
    }
    for r in plan.relay {
        let (wor, ack) = (Megahertz(r.wor_hz), Megahertz(r.ack_hz));
        page.field(
            "relay",
            &format!("wake-on-radio {wor} MHz, acknowledgement {ack} MHz, DR{}", r.dr),
        )?;
    }
    Ok(())
}

fn history(plan: &Plan, page: &mut Page) -> fmt::Result {
    for old in plan.legacy {
        page.section(&format!("Then: {}", old.valid))?;
        legacy(old, page)?;
    }
    if !plan.notes.is_empty() {
        page.section("Changes")?;
    }
    for n in plan.notes {
        page.paragraph(&format!("{}: {} [{}]", n.revision, n.change, n.source))?;
        if n.bites_when != "-" {
            page.indented(&format!("bites when: {}", n.bites_when))?;
        }
    }
    Ok(())
}

fn legacy(old: &Legacy, page: &mut Page) -> fmt::Result {
    let list = |l: &[u8]| l.iter().map(|d| format!("DR{d}")).collect::<Vec<_>>().join(", ");
    page.field("join", &list(old.join_data_rates))?;
    for rate in old.uplink.unwrap_or_default() {
        page.row(&rate_row(rate, Uplink))?;
    }
    if let Some(table) = old.rx1 {
        rx1_table("downlink DR by uplink DR and RX1DROffset", table, page)?;
    }
    if let Some((dr, sf, octets)) = old.beacon {
        page.field("beacon", &format!("DR{dr} (SF{sf}), {octets} bytes"))?;
    }
    if old.cflist_types.is_some_and(<[u8]>::is_empty) {
        page.field("CFList", "none")?;
    }
    if old.tx_param_setup == Some(false) {
        page.field("TxParamSetup", "not implemented")?;
    }
    if let Some(highest) = old.power_max_index {
        page.field("TXPower", &format!("0-{highest}"))?;
    }
    page.field("", &format!("[{}]", old.source))
}

fn doubts(plan: &Plan, page: &mut Page) -> fmt::Result {
    if !plan.disputes.is_empty() {
        page.section("Where sources disagree")?;
    }
    for d in plan.disputes {
        page.paragraph(&format!("{}: {}; {}", d.what, d.one, d.other))?;
        page.indented(&format!("taken here: {}", d.taken))?;
    }
    if !plan.doubts.is_empty() {
        page.section("Uncertain")?;
    }
    for d in plan.doubts {
        page.paragraph(d)?;
    }
    Ok(())
}

fn range(prefix: &str, low: u16, high: u16) -> String {
    if low == high { format!("{prefix}{low}") } else { format!("{prefix}{low}-{high}") }
}

/// Returns whether a text names a source by its key.
fn mentions(text: &str, key: &str) -> bool {
    text.split(|c: char| !c.is_ascii_alphanumeric()).any(|word| word == key)
}

/// Returns the channels that are off in a plan's mask, and those that it does not have.
fn outside(plan: &Plan, mask: &ChannelMask) -> ChannelMask {
    let own = ChannelMask::of_plan(plan);
    match plan.kind {
        PlanKind::Fixed => {
            ChannelMask::from_channels(mask.channels().filter(|c| !own.contains(*c)))
        }
        // What a node was given beyond its default channels is not the plan's to know.
        PlanKind::Dynamic => ChannelMask::default(),
    }
}

/// Returns the ChMaskCntl commands that leave a fixed plan's node with exactly these channels.
fn commands(plan: &Plan, mask: &ChannelMask) -> Vec<(u8, u16)> {
    let all = ChannelMask::of_plan(plan);
    let mut found = Vec::new();
    let mut now = all.clone();
    let off = (0..8u8).find(|c| plan.ch_mask_cntl(Revision::LATEST, *c) == ChMaskCntl::NarrowOff);
    let wide = mask.words().get(4).copied().unwrap_or(0);
    if let Some(cntl) = off {
        found.push((cntl, wide));
        now = plan.link_adr(Revision::LATEST, &now, &all, cntl, wide).unwrap_or(now);
    }
    for (cntl, word) in (0u8..).zip(mask.padded(plan.mask_words()).words()) {
        if now.words().get(usize::from(cntl)).copied().unwrap_or(0) != *word {
            found.push((cntl, *word));
        }
    }
    found
}

const JOIN_REQUEST_OCTETS: usize = 23;
