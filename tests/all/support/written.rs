//! Capture lines written anew as messages of the station protocol, and as lines of logs.

use std::fmt::Write;

use handfast::{
    frame::{Direction, Frame, decode},
    id::Eui64,
    intake::{Capture, Event, Item, TxError, What, When},
    radio::Modulation,
    region::Plan,
};
use serde_json::{Value, json};

/// The events of a capture.
fn read(text: &str) -> Vec<Event> {
    Capture::new(text.as_bytes())
        .map(|item| match item.unwrap() {
            Item::Event(event) => event,
            other @ Item::PassedOver(_) => panic!("{other:?}"),
        })
        .collect()
}

/// Writes a capture as messages of the station protocol, one a line, each behind what `head` gives.
pub(crate) fn station(text: &str, head: fn(&Event) -> String) -> String {
    let all = read(text);
    let hertz = all.iter().find_map(|event| event.heard()?.freq_hz).unwrap();
    let plan = match hertz / 1_000_000 {
        868 => "EU868",
        902..=914 => "US915",
        _ => "AS923",
    };
    let plan = Plan::by_name(plan).unwrap();
    let gateway = all[0].gateway.unwrap();
    let mut out = String::new();
    let mut line = |event: &Event, message: Value| {
        writeln!(out, "{}{message}", head(event)).unwrap();
    };
    line(&all[0], json!({"router": gateway.to_string()}));
    let rates: Vec<Value> = (0..16).map(|dr| rate(plan, dr)).collect();
    line(
        &all[0],
        json!({"msgtype": "router_config", "NetID": null, "JoinEui": null,
        "region": plan.name, "DRs": rates, "freq_range": [100_000_000, 1_000_000_000]}),
    );
    let mut asked = 0u32;
    let mut sent = 0;
    for event in &all {
        match &event.what {
            What::Heard(up) => {
                asked = up.tmst.unwrap();
                let mut message = taken_apart(up.octets());
                let m = message.as_object_mut().unwrap();
                m.insert("DR".into(), json!(index(plan, up.modulation.unwrap())));
                m.insert("Freq".into(), json!(up.freq_hz));
                m.insert("RefTime".into(), json!(0.0));
                m.insert(
                    "upinfo".into(),
                    json!({"rctx": 0, "xtime": xtime(asked), "gpstime": 0,
                    "rssi": up.rssi, "snr": up.snr, "rxtime": 0.0}),
                );
                line(event, message);
            }
            What::Ordered(down) => {
                let When::Counter(slot) = down.when else { panic!("{down:?}") };
                let delay = slot.wrapping_sub(asked);
                assert_eq!(delay % 1_000_000, 0, "whole seconds are all that RxDelay has");
                sent += 1;
                line(
                    event,
                    json!({"msgtype": "dnmsg", "DevEui": "00-00-00-00-00-00-00-00", "dC": 0,
                    "diid": sent, "pdu": hex::encode(down.octets()), "RxDelay": delay / 1_000_000,
                    "RX1DR": index(plan, down.modulation.unwrap()), "RX1Freq": down.freq_hz,
                    "xtime": xtime(asked), "rctx": 0, "priority": 0, "MuxTime": 0.0}),
                );
            }
            What::Outcome(outcome) if outcome.error == TxError::None => {
                line(
                    event,
                    json!({"msgtype": "dntxed", "diid": sent, "DevEui": "::0",
                    "rctx": 0, "xtime": xtime(asked), "txtime": 0.0, "gpstime": 0}),
                );
            }
            _ => {}
        }
    }
    out
}

/// The counter in session 1 of radio unit 0.
fn xtime(counter: u32) -> u64 {
    1 << 48 | u64::from(counter)
}

/// The protocol has one table for both directions, as regions had before SF5 and SF6 came in.
fn modulation(plan: &Plan, dr: u8) -> Option<(Modulation, bool)> {
    let old = |m: &Modulation| !matches!(m, Modulation::Lora { sf: ..7, .. });
    let up = plan.dr(Direction::Uplink, dr).filter(old).map(|up| (up, false));
    up.or_else(|| Some((plan.dr(Direction::Downlink, dr).filter(old)?, true)))
}

fn rate(plan: &Plan, dr: u8) -> Value {
    match modulation(plan, dr) {
        Some((Modulation::Lora { sf, bw_khz }, down)) => json!([sf, bw_khz, u8::from(down)]),
        Some((Modulation::Fsk { .. }, _)) => json!([0, 0, 0]),
        _ => json!([-1, 0, 0]),
    }
}

fn index(plan: &Plan, wanted: Modulation) -> Option<u8> {
    (0..16).find(|dr| modulation(plan, *dr).is_some_and(|(m, _)| m == wanted))
}

/// The fields of a frame as the protocol names and prints them.
pub(crate) fn taken_apart(octets: &[u8]) -> Value {
    let signed = |octets: [u8; 4]| i32::from_le_bytes(octets);
    match decode(octets).frame.unwrap() {
        Frame::JoinRequest(f) => json!({"msgtype": "jreq", "MHdr": f.mhdr.0,
            "JoinEui": f.join_eui.to_string(), "DevEui": f.dev_eui.to_string(),
            "DevNonce": f.dev_nonce.0, "MIC": signed(f.mic.0)}),
        Frame::Data(f) => {
            let rest = 8 + usize::from(octets[5] & 0x0F);
            let end = octets.len() - 4;
            let port = octets[rest..end].first();
            json!({"msgtype": "updf", "MHdr": octets[0], "DevAddr": signed(f.dev_addr.to_wire()),
                "FCtrl": octets[5], "FCnt": f.fcnt, "FOpts": hex::encode(&octets[8..rest]),
                "FPort": port.map_or(-1, |port| i32::from(*port)),
                "FRMPayload": hex::encode(octets.get(rest + 1..end).unwrap_or_default()),
                "MIC": signed(f.mic.0)})
        }
        _ => json!({"msgtype": "propdf", "FRMPayload": hex::encode(octets)}),
    }
}

/// What a line of a log says first.
pub(crate) fn head(event: &Event) -> String {
    let gateway = event.gateway.map(Eui64::hex).unwrap_or_default();
    format!("{} shed forwarder[7]: gateway {gateway}: ", event.time.unwrap())
}

/// The same without a zone, in the clock of a place an hour ahead.
pub(crate) fn local_head(event: &Event) -> String {
    let at = event.time.unwrap() + jiff::SignedDuration::from_hours(1);
    let at = at.to_string().replace('T', " ").replace('.', ",");
    let gateway = event.gateway.map(Eui64::hex).unwrap_or_default();
    format!("[{}] INFO gw={gateway} ", at.trim_end_matches('Z'))
}

/// Writes a capture as the log of a forwarder: its JSON behind a time and words.
pub(crate) fn forwarder_log(text: &str, head: fn(&Event) -> String) -> String {
    let mut out = "forwarder 3.2 started\nconcentrator ready\n".to_owned();
    let events = read(text);
    let firsts = events.iter().filter(|event| event.place.index == 0);
    for (event, line) in firsts.zip(text.lines()) {
        let line: Value = serde_json::from_str(line).unwrap();
        let json =
            if line["datagram"].is_null() { String::new() } else { line["datagram"].to_string() };
        writeln!(out, "{}{} {json}", head(event), line["kind"].as_str().unwrap()).unwrap();
        out += "heap 17 kB free\n";
    }
    out
}

/// Writes a capture as events of a server, in names of no protocol.
pub(crate) fn events(text: &str) -> String {
    let mut out = String::new();
    for event in read(text) {
        let gateway = event.gateway.map(Eui64::hex);
        let token = event.wire.token;
        let mut line = json!({"level": "info", "timestamp": event.time.unwrap().to_string()});
        let radio = |freq_hz: Option<u32>, modulation: Option<Modulation>| {
            let Some(Modulation::Lora { sf, bw_khz }) = modulation else { panic!() };
            json!({"frequency": freq_hz, "lora": {"spreadingFactor": sf,
                "bandwidth": u32::from(bw_khz) * 1_000}})
        };
        match &event.what {
            What::Heard(up) => {
                line["event"] = json!({"phyPayload": hex::encode(up.octets()),
                    "radio": radio(up.freq_hz, up.modulation),
                    "receptions": [{"gatewayId": gateway, "rssi": up.rssi, "snr": up.snr,
                        "tmst": up.tmst}]});
            }
            What::Ordered(down) => {
                let When::Counter(slot) = down.when else { panic!() };
                line["command"] = json!({"downlinkId": token, "gatewayId": gateway, "items": [
                    {"phyPayload": hex::encode(down.octets()), "tmst": slot,
                     "power": down.power_dbm, "polarizationInversion": down.inverted,
                     "radio": radio(down.freq_hz, down.modulation)}]});
            }
            What::Outcome(outcome) => {
                let word = match &outcome.error {
                    TxError::None => "OK",
                    error => error.name(),
                };
                line["event"] = json!({"downlinkId": token, "gatewayId": gateway,
                    "items": [{"status": word}]});
            }
            _ => continue,
        }
        writeln!(out, "{line}").unwrap();
    }
    out
}
