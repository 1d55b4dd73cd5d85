//! The report of `beacon`: its parts with their octets, both CRCs, the plan, ping slots.

use std::fmt;

use serde_json::{Value, json};

use super::{
    Style,
    text::{Tone, paragraph, spaced},
};
use crate::{
    frame::beacon::{Beacon, BeaconCrc, Info},
    region::{BeaconOnPlan, Megahertz, PingSlots},
};

/// A beacon and what follows from it.
#[derive(Clone, Debug)]
pub struct Report {
    /// The beacon.
    pub beacon: Beacon,
    /// The beacon on a plan, if one is known.
    pub on_plan: Option<BeaconOnPlan>,
    /// A node's ping slots, if they are asked for.
    pub ping: Option<PingSlots>,
}

impl Report {
    /// Returns whether anything is wrong with the beacon.
    pub fn has_fault(&self) -> bool {
        !self.beacon.faults().is_empty() || self.on_plan.is_some_and(|on| !on.fits)
    }
}

/// Writes the report for people.
///
/// # Errors
///
/// Only those of `out`.
pub fn text(report: &Report, style: Style, out: &mut dyn fmt::Write) -> fmt::Result {
    let beacon = &report.beacon;
    let count = beacon.octets.len();
    writeln!(out, "{}", style.paint(Tone::Title, &format!("Class B beacon, {count} bytes")))?;
    let split = format!("divided as for {}", beacon.layout.used_by);
    paragraph(out, style, "  ", Tone::Plain, &split)?;
    writeln!(out)?;
    let mut crcs = [beacon.first_crc, beacon.second_crc].into_iter();
    for (name, at) in beacon.parts() {
        let octets = spaced(beacon.octets.get(at.clone()).unwrap_or_default());
        let place = if at.len() == 1 {
            at.start.to_string()
        } else {
            format!("{}-{}", at.start, at.end - 1)
        };
        let (tone, words) = match name {
            "CRC" => crcs.next().map_or((Tone::Plain, String::new()), crc_words),
            "Param" => (Tone::Plain, param_words(beacon)),
            "Time" => {
                let seconds = beacon.time.seconds();
                (Tone::Plain, format!("{seconds} s of GPS time, {}", beacon.time))
            }
            "GwSpecific" => (Tone::Plain, info_words(beacon)),
            _ => (Tone::Plain, String::new()),
        };
        let first = format!("  {place:<6} {name:<11} {octets:<21} ");
        if words.is_empty() {
            writeln!(out, "{}", first.trim_end())?;
        } else {
            paragraph(out, style, &first, tone, &words)?;
        }
    }
    let faults = beacon.faults();
    if !faults.is_empty() {
        writeln!(out)?;
    }
    for fault in &faults {
        let text = format!("byte {}: {fault}", fault.at.start);
        paragraph(out, style, "  wrong: ", Tone::Bad, &text)?;
    }
    if let Some(on_plan) = report.on_plan {
        plan(&on_plan, count, style, out)?;
    }
    if let Some(slots) = &report.ping {
        ping(slots, beacon.first_crc, style, out)?;
    }
    Ok(())
}

fn crc_words(crc: BeaconCrc) -> (Tone, String) {
    if crc.holds() { (Tone::Good, "holds".into()) } else { (Tone::Bad, format!("fails: {crc}")) }
}

fn param_words(beacon: &Beacon) -> String {
    beacon.param.map_or_else(String::new, |param| {
        let (prec, micros) = (param.prec(), param.precision_us());
        format!("Prec {prec}: Time is exact to {micros} us")
    })
}

fn info_words(beacon: &Beacon) -> String {
    let desc = beacon.info_desc;
    let degrees = |(lat, lng): (f64, f64)| {
        let (ns, ew) = (if lat < 0.0 { 'S' } else { 'N' }, if lng < 0.0 { 'W' } else { 'E' });
        format!("{:.5} {ns}, {:.5} {ew}", lat.abs(), lng.abs())
    };
    match beacon.info {
        Info::Antenna { antenna, .. } => {
            let here = beacon.info.degrees().map(degrees).unwrap_or_default();
            let swapped = beacon.info.degrees_if_swapped().map(degrees).unwrap_or_default();
            format!(
                "InfoDesc {desc}: antenna {antenna} at {here}, or at {swapped} if the gateway sends \
                 longitude first"
            )
        }
        Info::Gateway { net_id, gateway_id } => {
            format!("InfoDesc {desc}: gateway {gateway_id:06X} of NetID {net_id}")
        }
        Info::Rfu(_) => format!("InfoDesc {desc}: RFU"),
        Info::Network(_) => format!("InfoDesc {desc}: the network's own"),
    }
}

fn plan(on: &BeaconOnPlan, count: usize, style: Style, out: &mut dyn fmt::Write) -> fmt::Result {
    writeln!(out, "\n{}", style.paint(Tone::Title, on.plan.name))?;
    let at = on.freq_hz.map_or_else(
        || "on the channel that the join picks (--join-channel)".to_owned(),
        |hz| format!("at {} MHz", Megahertz(hz)),
    );
    let text = format!("sent {at}, {}, {} bytes", on.modulation, on.octets);
    paragraph(out, style, "  ", Tone::Plain, &text)?;
    if on.fits {
        return Ok(());
    }
    let text = format!("{count} bytes are not a beacon of {}", on.plan.name);
    paragraph(out, style, "  wrong: ", Tone::Bad, &text)
}

fn ping(slots: &PingSlots, crc: BeaconCrc, style: Style, out: &mut dyn fmt::Write) -> fmt::Result {
    let (n, nb, period) =
        (slots.periodicity.get(), slots.periodicity.ping_nb(), slots.periodicity.ping_period());
    let title = format!("Ping slots of {}, periodicity {n}", slots.address);
    writeln!(out, "\n{}", style.paint(Tone::Title, &title))?;
    let line =
        |out: &mut dyn fmt::Write, text: &str| paragraph(out, style, "  ", Tone::Plain, text);
    line(out, &format!("{nb} in this beacon period, one every {period} slots of 30 ms"))?;
    line(out, &format!("pingOffset {}", slots.offset))?;
    let at: Vec<String> =
        slots.opens.iter().take(SHOWN).map(|at| format!("{:.2}", at.as_secs_f64())).collect();
    let more = if slots.opens.len() > SHOWN { ", ..." } else { "" };
    line(out, &format!("open {}{more} s after the beacon's Time", at.join(", ")))?;
    match (slots.freq_hz, slots.modulation) {
        (Some(hz), Some(modulation)) => {
            line(out, &format!("at {} MHz, {modulation}, until told otherwise", Megahertz(hz)))?;
        }
        (None, Some(modulation)) => line(
            out,
            &format!("{modulation}, on the channel that the join picks (--join-channel)"),
        )?,
        _ => line(out, "where: with --region")?,
    }
    if crc.holds() {
        return Ok(());
    }
    let text = "all of this rests on Time, whose CRC fails";
    paragraph(out, style, "  caution: ", Tone::Bad, text)
}

/// Returns the report as JSON: one object.
pub fn json(report: &Report) -> Value {
    let beacon = &report.beacon;
    let faults = beacon.faults().into_iter();
    let mut problems: Vec<_> = faults
        .map(|f| json!({"offset": f.at.start, "octets": f.at.len(), "what": f.what}))
        .collect();
    if let Some(on) = report.on_plan.filter(|on| !on.fits) {
        let what = format!("{} bytes are not a beacon of {}", beacon.octets.len(), on.plan.name);
        problems.push(json!({"offset": 0, "octets": beacon.octets.len(), "what": what}));
    }
    json!({
        "schema": crate::show::json::SCHEMA,
        "beacon": hex::encode(&beacon.octets),
        "layout": beacon.layout.used_by,
        "fields": fields(beacon),
        "region": report.on_plan.map(|on| json!({
            "name": on.plan.name,
            "frequency": on.freq_hz,
            "data_rate": on.modulation.to_string(),
            "octets": on.octets,
        })),
        "ping_slots": report.ping.as_ref().map(|slots| json!({
            "dev_addr": slots.address.hex(),
            "periodicity": slots.periodicity.get(),
            "ping_nb": slots.periodicity.ping_nb(),
            "ping_period": slots.periodicity.ping_period(),
            "ping_offset": slots.offset,
            "opens_ms": slots.opens.iter().map(|at| at.as_millis().try_into().unwrap_or(u64::MAX))
                .collect::<Vec<u64>>(),
            "frequency": slots.freq_hz,
            "data_rate": slots.modulation.map(|m| m.to_string()),
        })),
        "problems": problems,
    })
}

/// Returns the beacon's fields as JSON; octets as sent, the time also as UTC.
pub fn fields(beacon: &Beacon) -> Value {
    let mut specific = json!({"InfoDesc": beacon.info_desc});
    let mut add = |name: &str, value: Value| {
        if let Some(object) = specific.as_object_mut() {
            object.insert(name.to_owned(), value);
        }
    };
    match beacon.info {
        Info::Antenna { lat_raw, lng_raw, .. } => {
            add("Lat_raw", lat_raw.into());
            add("Lng_raw", lng_raw.into());
            if let Some((lat, lng)) = beacon.info.degrees() {
                add("Lat", lat.into());
                add("Lng", lng.into());
            }
        }
        Info::Gateway { net_id, gateway_id } => {
            add("NetID", net_id.hex().into());
            add("GatewayID", gateway_id.into());
        }
        Info::Rfu(octets) | Info::Network(octets) => add("Info", hex::encode(octets).into()),
    }
    let crc = |crc: BeaconCrc, octets: u8| {
        let octets = usize::from(octets);
        hex::encode(crc.received.to_le_bytes().get(..octets).unwrap_or_default())
    };
    json!({
        "first_octets": hex::encode(&beacon.head),
        "Param": beacon.param.map(|p| json!({"Prec": p.prec()})),
        "Time": beacon.time.seconds(),
        "utc": beacon.time.utc().map(|t| t.to_string()),
        "CRC1": crc(beacon.first_crc, beacon.layout.first_crc),
        "CRC1_ok": beacon.first_crc.holds(),
        "GwSpecific": specific,
        "CRC2": crc(beacon.second_crc, 2),
        "CRC2_ok": beacon.second_crc.holds(),
    })
}

/// Ping slots that text shows one by one.
const SHOWN: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        frame::{
            MacVersion,
            beacon::{Periodicity, decode},
        },
        region::Plan,
    };

    /// LoRaWAN 1.0.4, 13.4: the beacon that the specification prints.
    const PUBLISHED: &str = "0000000002cca27e00012000008103de55";

    fn report(hex: &str, region: Option<&str>) -> Report {
        let octets = hex::decode(hex).unwrap();
        let beacon = decode(&octets, Some(MacVersion::V1_0_4)).unwrap();
        let plan = region.map(|name| Plan::by_name(name).unwrap());
        let address = "0201BBDA".parse().unwrap();
        let ping = PingSlots::new(beacon.time, address, Periodicity::new(5).unwrap(), plan, None);
        let on_plan = plan.map(|plan| BeaconOnPlan::new(&beacon, plan, None));
        Report { beacon, on_plan, ping: Some(ping) }
    }

    fn shown(report: &Report) -> String {
        let mut out = String::new();
        text(report, Style::PLAIN, &mut out).unwrap();
        assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
        out
    }

    #[test]
    fn the_published_beacon_is_told_part_by_part() {
        let report = report(PUBLISHED, Some("EU868"));
        assert!(!report.has_fault());
        let shown = shown(&report);
        for line in [
            "Class B beacon, 17 bytes\n",
            "  2-5    Time        00 00 02 CC           3422683136 s of GPS time,\n",
            "  6-7    CRC         A2 7E                 holds\n",
            "  15-16  CRC         DE 55                 holds\n",
            "  sent at 869.525 MHz, SF9BW125, 17 bytes\n",
            "  4 in this beacon period, one every 1024 slots of 30 ms\n",
            "  at 869.525 MHz, SF9BW125, until told otherwise\n",
        ] {
            assert!(shown.contains(line.trim_end()), "{line}{shown}");
        }
    }

    #[test]
    fn a_beacon_of_another_region_is_a_fault() {
        let report = report(PUBLISHED, Some("US915"));
        assert!(report.has_fault());
        assert!(shown(&report).contains("wrong: 17 bytes are not a beacon of US915\n"));
        assert_eq!(json(&report)["problems"][0]["what"], "17 bytes are not a beacon of US915");
    }

    #[test]
    fn slots_that_rest_on_a_damaged_time_say_so() {
        let report = report(&PUBLISHED.replace("02cc", "03cc"), None);
        let shown = shown(&report);
        assert!(shown.contains("caution: all of this rests on Time, whose CRC fails"), "{shown}");
        assert!(shown.contains("where: with --region"), "{shown}");
        assert_eq!(json(&report)["fields"]["CRC1_ok"], false);
    }
}
