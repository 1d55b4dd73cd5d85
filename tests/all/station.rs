//! The websocket station protocol through intake's door: frames put together again, downlinks with
//! their windows, reports, the gateway's plan.

use handfast::{
    crypto::{
        cipher::{self, AcceptKey},
        mic,
    },
    frame::{Frame, JoinRequest, decode},
    id::{DevAddr, DevEui, DevNonce, JoinEui},
    intake::{
        Capture, Event, GatewayPlan, HowFound, Item, Lost, Setup, Speaker, Statement, What, When,
    },
    key::{Aes128Key, AppKey, NwkKey},
    ladder::{Options, State, diagnose, join::Rung},
    radio::Modulation,
    roster,
    trace::Tracer,
};
use proptest::prelude::*;
use serde_json::{Value, json};

use crate::common;

use crate::support::{scene, written};

fn items(text: &str) -> Vec<Item> {
    Capture::new(text.as_bytes()).map(Result::unwrap).collect()
}

fn events(text: &str) -> Vec<Event> {
    let event = |item| match item {
        Item::Event(event) => event,
        other @ Item::PassedOver(_) => panic!("{text}: {other:?}"),
    };
    items(text).into_iter().map(event).collect()
}

/// The frames of messages, in hex.
fn frames(messages: &[Value]) -> Vec<String> {
    let events = events(&lines(messages));
    let frames = events.iter().filter_map(Event::frame);
    frames.map(|frame| hex::encode(&frame.octets)).collect()
}

fn plan(event: &Event) -> &GatewayPlan {
    match &event.what {
        What::Setup(setup) => match &**setup {
            Setup::Plan(plan) => plan,
            other => panic!("{other:?}"),
        },
        other => panic!("{other:?}"),
    }
}

fn lines(messages: &[Value]) -> String {
    messages.iter().fold(String::new(), |out, message| out + &message.to_string() + "\n")
}

fn said(event: &Event) -> Vec<String> {
    event.notes.iter().map(ToString::to_string).collect()
}

/// DRs of EU868: SF12 to SF7 at 125 kHz, SF7 at 250 kHz, FSK.
fn router_config() -> Value {
    let undefined = json!([-1, 0, 0]);
    let mut rates: Vec<Value> = (7..=12).rev().map(|sf| json!([sf, 125, 0])).collect();
    rates.extend([json!([7, 250, 0]), json!([0, 0, 0])]);
    rates.resize(16, undefined);
    json!({"msgtype": "router_config", "NetID": [1], "region": "EU863",
        "JoinEui": [["02-00-00-FF-FE-0B-00-00", "02-00-00-FF-FE-0B-00-FF"]],
        "freq_range": [863_000_000, 870_000_000], "DRs": rates,
        "upchannels": [[868_100_000, 0, 5], [868_300_000, 0, 5]], "MuxTime": 1.5})
}

fn upinfo(xtime: u64) -> Value {
    json!({"rctx": 0, "xtime": xtime, "gpstime": 1_456_500_022_000_000u64, "fts": -1,
        "rssi": -84, "snr": 7.5, "rxtime": 1_772_438_403.25})
}

const SESSION: u64 = 1 << 48;

#[test]
fn a_join_request_is_put_together_octet_for_octet() {
    // gateway reference, section 4: the MIC of wire 2E 26 9C F5 is printed as -174315986
    let text = lines(&[
        json!({"router": "::2"}),
        router_config(),
        json!({"msgtype": "jreq", "MHdr": 0, "JoinEui": "02-00-00-FF-FE-0B-00-01",
            "DevEui": "02-00-00-FF-FE-1A-2B-3C", "DevNonce": 258, "MIC": -174_315_986,
            "RefTime": 0.0, "DR": 3, "Freq": 868_300_000, "upinfo": upinfo(SESSION + 5_369_601_898)}),
    ]);
    let read = events(&text);
    // What the gateway is told of its server, its channels, and the request.
    assert_eq!(read.len(), 3);
    let plan = plan(&read[1]);
    assert_eq!(plan.channels().unwrap().name, "EU868");
    assert_eq!(plan.rates[7], Some(Modulation::Fsk { bit_rate: 50_000 }));
    assert_eq!((plan.rates[8], plan.uplinks.len()), (None, 2));
    assert_eq!(plan.range_hz, Some((863_000_000, 870_000_000)));
    let request = &read[2];
    assert_eq!(request.gateway, Some("0000000000000002".parse().unwrap()));
    assert_eq!((request.place.number, request.found), (3, HowFound::Whole));
    assert_eq!(said(request), Vec::<String>::new());
    let up = request.heard().unwrap();
    assert_eq!(hex::encode(up.octets()), "0001000bfeff0000023c2b1afeff00000202012e269cf5");
    assert_eq!(up.modulation, Some(Modulation::Lora { sf: 9, bw_khz: 125 }));
    assert_eq!((up.freq_hz, up.rssi, up.snr), (Some(868_300_000), Some(-84.0), Some(7.5)));
    // bits 31 to 0 of the microseconds
    assert_eq!(up.tmst, Some(1_074_634_602));
    assert_eq!(up.tmms, Some(1_456_500_022_000));
    assert_eq!(up.time, Some("2026-03-02T08:00:03.25Z".parse().unwrap()));
}

#[test]
fn data_comes_back_with_its_port_or_without_and_its_mic_holds() {
    // Frames of vectors/frames with every kind of content, taken apart by the test and put together by the reader.
    for frame in [
        "40dabb0102800200022721029daeaf9ee9",
        "60dabb0102a00500007efc0f41fe4bd10617",
        "8053bf000080ab0008449ddc0a1c",
        "40dabb01020001000118ad52e0c4917f3b",
        "40010000e083000003070101020304",
        "20d94acfd06540984f241461506659c3aaadb5152aaff250202fba28e71693051d",
        "e0010203",
    ] {
        let octets = hex::decode(frame).unwrap();
        let mut message = written::taken_apart(&octets);
        message["upinfo"] = upinfo(SESSION);
        let read = events(&lines(&[message.clone()]));
        let up = read[0].heard().unwrap();
        assert_eq!(hex::encode(up.octets()), frame, "{message}");
        assert_eq!(up.modulation, None, "without a table a number is not a data rate");
    }
    let key = "2b7e151628aed2a6abf7158809cf4f3c".parse().unwrap();
    let message = json!({"msgtype": "updf", "MHdr": 128, "DevAddr": 48979, "FCtrl": 128,
        "FCnt": 171, "FOpts": "", "FPort": 8, "FRMPayload": "44", "MIC": 470_473_885});
    let read = events(&lines(&[message]));
    let frame = read[0].frame().unwrap();
    let wanted = "8053bf000080ab0008449ddc0a1c";
    assert_eq!(hex::encode(&frame.octets), wanted, "line 1 of radio-log-1.jsonl");
    let Some(Frame::Data(data)) = &frame.frame else { panic!() };
    assert!(mic::data_1_0(&key, data, 171) == data.mic);
    // gateway reference, section 4: E0000001 is printed as -536870911
    let message = json!({"msgtype": "updf", "MHdr": 64, "DevAddr": -536_870_911, "FCtrl": 0,
        "FCnt": 1, "FOpts": "", "FPort": -1, "FRMPayload": "", "MIC": -1});
    assert_eq!(frames(&[message]), ["40010000e0000100ffffffff"]);
}

#[test]
fn both_spellings_of_the_members_are_read() {
    let message = json!({"msgtype": "jreq", "MHdr": 0, "JoinEUI": "2:ff:fe0b:1",
        "DevEUI": 144_116_287_555_644_220u64, "DevNonce": 1, "MIC": 1});
    assert_eq!(frames(&[message]), ["0001000bfeff0002003c2b1afeff000002010001000000"]);
}

fn asked_and_told(class: u8) -> Vec<Value> {
    vec![
        router_config(),
        json!({"msgtype": "jreq", "MHdr": 0, "JoinEui": "02-00-00-FF-FE-0B-00-01",
            "DevEui": "02-00-00-FF-FE-1A-2B-3C", "DevNonce": 258, "MIC": -174_315_986,
            "DR": 3, "Freq": 868_300_000, "upinfo": upinfo(SESSION + 1_000)}),
        json!({"msgtype": "dnmsg", "DevEui": "02-00-00-FF-FE-1A-2B-3C", "dC": class, "diid": 9,
            "pdu": "20d94acfd06540984f241461506659c3aaadb5152aaff250202fba28e71693051d",
            "RxDelay": 5, "RX1DR": 3, "RX1Freq": 868_300_000, "RX2DR": 0, "RX2Freq": 869_525_000,
            "priority": 0, "xtime": SESSION + 1_000, "rctx": 0, "MuxTime": 2.5}),
    ]
}

#[test]
fn a_downlink_has_two_windows_and_a_report_says_which_was_used() {
    for (report, used) in [
        (json!({"msgtype": "dntxed", "diid": 9, "DR": 3, "Freq": 868_300_000}), 0),
        (json!({"msgtype": "dntxed", "diid": 9, "DR": 0, "Freq": 869_525_000}), 1),
        (json!({"msgtype": "dntxed", "diid": 9, "xtime": SESSION + 6_001_000}), 1),
        (json!({"msgtype": "dntxed", "seqno": 9, "xtime": SESSION + 5_001_020}), 0),
    ] {
        let mut messages = asked_and_told(0);
        messages.push(report);
        let read = events(&lines(&messages));
        let [_, _, rx1, rx2, report] = &read[..] else { panic!("{read:?}") };
        let (first, second) = (rx1.ordered().unwrap(), rx2.ordered().unwrap());
        assert_eq!((first.when, second.when), (When::Counter(5_001_000), When::Counter(6_001_000)));
        assert_eq!((first.alternative, second.alternative), (false, true));
        assert_eq!(second.modulation, Some(Modulation::Lora { sf: 12, bw_khz: 125 }));
        assert_eq!(report.outcome().unwrap().number, [first.number, second.number][used]);
    }
    // A report of what was asked before the log began is of none of these.
    let mut messages = asked_and_told(0);
    messages.push(json!({"msgtype": "dntxed", "diid": 8, "DR": 3, "Freq": 868_300_000}));
    let read = events(&lines(&messages));
    let number = read[4].outcome().unwrap().number;
    assert!(read[2..4].iter().all(|order| order.ordered().unwrap().number != number));
    // Class C is sent to at once where RX1 is not taken.
    let read = events(&lines(&asked_and_told(2)));
    assert_eq!(read[3].ordered().unwrap().when, When::Immediate);
}

#[test]
fn a_schedule_says_when_in_three_ways() {
    let pdu = "60dabb0102a00500007efc0f41fe4bd10617";
    let entry =
        |name: &str, value: u64| json!({"DR": 0, "Freq": 869_525_000, "pdu": pdu, name: value});
    let schedule = [
        entry("xtime", SESSION + 77),
        entry("gpstime", 1_456_500_022_000_000),
        entry("ontime", 1_772_438_403),
    ];
    let read = events(&lines(&[json!({"msgtype": "dnsched", "schedule": schedule})]));
    let when: Vec<_> = read.iter().map(|event| event.ordered().unwrap().when).collect();
    assert_eq!(when, [When::Counter(77), When::Gps(1_456_500_022_000), When::Unsaid]);
    assert!(read.iter().all(|event| !event.ordered().unwrap().alternative));
}

#[test]
fn what_a_station_drops_is_told() {
    let request = |xtime: u64, join_eui: &str| {
        json!({"msgtype": "jreq", "MHdr": 0, "JoinEui": join_eui,
            "DevEui": "02-00-00-FF-FE-1A-2B-3C", "DevNonce": 1, "MIC": 1, "upinfo": upinfo(xtime)})
    };
    let data = |dev_addr: i64| {
        json!({"msgtype": "updf", "MHdr": 64, "DevAddr": dev_addr, "FCtrl": 0, "FCnt": 1,
            "FOpts": "", "FPort": -1, "FRMPayload": "", "MIC": 1})
    };
    let read = events(&lines(&[
        router_config(),
        request(SESSION + 5, "02-00-00-FF-FE-0B-00-01"),
        request(SESSION + 6, "02-00-00-FF-FE-0C-00-01"),
        data(0x0201_BBDA),
        data(0x0401_BBDA),
        request(2 * SESSION + 7, "02-00-00-FF-FE-0B-00-01"),
        json!({"msgtype": "dnmsg", "pdu": "60dabb0102a00500007efc0f41fe4bd10617", "dC": 0,
            "RxDelay": 1, "RX1DR": 3, "RX1Freq": 868_300_000, "xtime": SESSION + 5}),
    ]));
    let told: Vec<usize> = read.iter().map(|event| said(event).len()).collect();
    assert_eq!(told, [0, 0, 1, 0, 1, 0, 0, 1]);
    assert!(said(&read[2])[0].contains("JoinEui of router_config"), "{:?}", said(&read[2]));
    assert!(said(&read[4])[0].contains("NetID of router_config"));
    assert!(said(&read[7])[0].contains("began again"));
    let What::Said(statement) = &read[5].what else { panic!("{read:?}") };
    assert_eq!((statement.by, &statement.what), (Speaker::Gateway, &Statement::CounterRestarted));
    let said = read.iter().filter(|event| matches!(event.what, What::Said(_)));
    assert_eq!(said.count(), 1);
    assert_eq!((read[5].place.number, read[6].place.index), (6, 1));
    let plan = plan(&read[0]);
    assert!(plan.passes_join(JoinEui("020000fffe0b00ff".parse().unwrap())));
    assert!(!plan.passes_join(JoinEui("020000fffe0b0100".parse().unwrap())));
    assert!(plan.passes_data(DevAddr(0x03FF_FFFF)) && !plan.passes_data(DevAddr(0)));
}

/// What is said of the only node of a roster, and the state of a rung.
fn told_of(roster: &str, messages: &[Value], rung: Rung) -> (Vec<&'static str>, State, String) {
    let roster = roster::parse(roster, None).unwrap();
    let mut tracer = Tracer::new(&roster);
    for event in events(&lines(messages)) {
        tracer.push(event);
    }
    let all = diagnose(&tracer.finish(), &roster, Options::default());
    let judged = all[0].join_rung(rung).unwrap();
    let causes = all[0].causes.iter().map(|verdict| verdict.cause.id.name()).collect();
    (causes, judged.state, scene::words(&judged.evidence))
}

#[test]
fn the_channels_of_router_config_are_those_that_the_gateway_receives() {
    let roster = "[[node]]\nname = \"pear-row-3\"\n[node.firmware]\ndev-eui = \"020000fffe001207\"\n\
                  sub-band = 1\nlog = [\"tx join\"]\n";
    // US915: sub-band 2 is channels 8 to 15, 903.9 to 905.3 MHz (regions reference).
    let channels: Vec<_> = (0..8).map(|n| json!([903_900_000 + n * 200_000, 0, 3])).collect();
    let config = |channels: Vec<Value>| {
        json!({"msgtype": "router_config", "NetID": null, "JoinEui": null, "region": "US902",
            "freq_range": [902_000_000, 928_000_000], "upchannels": channels})
    };
    let heard = json!({"msgtype": "updf", "MHdr": 64, "DevAddr": 1, "FCtrl": 0, "FCnt": 1,
        "FOpts": "", "FPort": -1, "FRMPayload": "", "MIC": 1, "DR": 0, "Freq": 903_900_000,
        "upinfo": upinfo(SESSION)});
    let (causes, state, words) =
        told_of(roster, &[json!({"router": "::2"}), config(channels), heard.clone()], Rung::Heard);
    assert_eq!((causes.as_slice(), state), (&["channel-plans-do-not-overlap"][..], State::Broken));
    assert!(words.contains("channels 8-15"), "{words}");
    // A server that leaves its gateway's channels unsaid tells nothing of them.
    let (causes, ..) =
        told_of(roster, &[json!({"router": "::2"}), config(vec![]), heard], Rung::Heard);
    assert_eq!(causes, ["node-silent"]);
}

#[test]
fn a_downlink_outside_the_range_of_router_config_is_not_sent() {
    let key = "0f1e2d3c4b5a69788796a5b4c3d2e1f0";
    let roster = format!(
        "[[node]]\nname = \"pear-row-3\"\n[node.record]\ndev-eui = \"020000fffe1a2b3c\"\n\
         join-eui = \"020000fffe0b0001\"\napp-key = \"{key}\"\n"
    );
    let with = |range: Value, rx2: bool| {
        let mut messages = asked_and_told(0);
        messages[0]["freq_range"] = range;
        if !rx2 {
            messages[2]["RX2Freq"] = json!(0);
        }
        told_of(&roster, &messages, Rung::Sent)
    };
    // 868.3 MHz is the request's own channel, and RX1's by rule.
    let (_, state, words) = with(json!([863_000_000, 868_000_000]), false);
    assert_eq!(state, State::Broken, "{words}");
    assert!(words.contains("868.3 MHz is outside of what router_config lets the gateway send on"));
    let (_, state, _) = with(json!([863_000_000, 870_000_000]), false);
    assert_eq!(state, State::Unknown);
    // RX2 at 869.525 MHz is left.
    let (_, state, _) = with(json!([869_000_000, 870_000_000]), true);
    assert_eq!(state, State::Unknown);
    let mut messages = asked_and_told(0);
    messages[0]["freq_range"] = json!([863_000_000, 868_000_000]);
    messages[2]["RX2Freq"] = json!(0);
    let roster = roster::parse(&roster, None).unwrap();
    let mut tracer = Tracer::new(&roster);
    for event in events(&lines(&messages)) {
        tracer.push(event);
    }
    let all = diagnose(&tracer.finish(), &roster, Options::default());
    let cause = all[0].causes.iter().find(|v| v.cause.id.name() == "gateway-refuses-the-frequency");
    let evidence = &cause.expect("the cause").evidence;
    assert_eq!(evidence[0].to_string().matches("868.3 MHz").count(), 1, "{evidence:?}");
}

#[test]
fn requests_that_the_gateway_drops_are_told() {
    let roster = |join_eui: &str| {
        format!(
            "[[node]]\nname = \"pear-row-3\"\n[node.firmware]\ndev-eui = \"020000fffe001207\"\n\
             join-eui = \"{join_eui}\"\nlog = [\"0 ms tx done\"]\n"
        )
    };
    let messages = [
        router_config(),
        json!({"msgtype": "jreq", "MHdr": 0, "JoinEui": "02-00-00-FF-FE-0B-00-01",
            "DevEui": "02-00-00-FF-FE-1A-2B-3C", "DevNonce": 1, "MIC": 1, "upinfo": upinfo(SESSION)}),
    ];
    let (causes, state, words) = told_of(&roster("020000fffe0c0001"), &messages, Rung::Heard);
    assert_eq!((causes.as_slice(), state), (&["gateway-filters-the-join-eui"][..], State::Broken));
    assert!(words.contains("drops every request"), "{words}");
    // The last of the range passes: then it is silent for another reason.
    let (causes, ..) = told_of(&roster("020000fffe0b00ff"), &messages, Rung::Heard);
    assert_eq!(causes, ["node-silent"]);
}

const ROOT: &str = "0f1e2d3c4b5a69788796a5b4c3d2e1f0";

/// A join by [`ROOT`] as station messages: its request, an accept of that address, and the roster.
fn joins(dev_addr: u32) -> (Vec<Value>, String) {
    let root: AppKey = ROOT.parse::<Aes128Key>().unwrap().into();
    let (join_eui, dev_eui) = ("020000fffe0b0001", "020000fffe1a2b3c");
    let mut request = JoinRequest::new(
        JoinEui(join_eui.parse().unwrap()),
        DevEui(dev_eui.parse().unwrap()),
        DevNonce(258),
    );
    request.mic = mic::join_request(&root, &request);
    let mut accept = common::plain_accept(dev_addr);
    let as_nwk = NwkKey::from(root.key().clone());
    accept.mic = mic::join_accept_1_0(&as_nwk, &accept);
    let sealed = cipher::seal_join_accept(AcceptKey::join(&as_nwk), &accept);
    let mut asked = written::taken_apart(&Frame::JoinRequest(request).build());
    asked["DR"] = json!(3);
    asked["Freq"] = json!(868_300_000);
    asked["upinfo"] = upinfo(SESSION + 1_000);
    let told = json!({"msgtype": "dnmsg", "DevEui": "02-00-00-FF-FE-1A-2B-3C", "dC": 0, "diid": 9,
        "pdu": hex::encode(Frame::JoinAccept(sealed).build()), "RxDelay": 5, "RX1DR": 3,
        "RX1Freq": 868_300_000, "RX2DR": 0, "RX2Freq": 869_525_000, "priority": 0,
        "xtime": SESSION + 1_000, "rctx": 0});
    let claim = format!(
        "dev-eui = \"{dev_eui}\"\njoin-eui = \"{join_eui}\"\napp-key = \"{ROOT}\"\n\
         mac-version = \"1.0.3\"\n"
    );
    let roster =
        format!("[[node]]\nname = \"pear-row-3\"\n[node.firmware]\n{claim}[node.record]\n{claim}");
    (vec![json!({"router": "::2"}), router_config(), asked, told], roster)
}

fn sent(dr: u8, freq_hz: u32, xtime: u64) -> Value {
    json!({"msgtype": "dntxed", "diid": 9, "DR": dr, "Freq": freq_hz, "xtime": xtime})
}

#[test]
fn data_that_the_gateway_drops_is_told() {
    // NetID is [1]: DevAddr 02000000 to 03FFFFFF pass.
    let (mut messages, roster) = joins(0x0001_7A3C);
    messages.push(sent(3, 868_300_000, SESSION + 5_001_000));
    let (causes, state, words) = told_of(&roster, &messages, Rung::Proven);
    assert_eq!((causes.as_slice(), state), (&["gateway-filters-the-address"][..], State::Broken));
    assert!(words.contains("drops all data of DevAddr 00017A3C"), "{words}");
    let (mut messages, roster) = joins(0x0201_7A3C);
    messages.push(sent(3, 868_300_000, SESSION + 5_001_000));
    let (causes, state, _) = told_of(&roster, &messages, Rung::Proven);
    assert_eq!((causes.len(), state), (0, State::Unknown));
}

#[test]
fn the_window_that_was_used_is_judged_and_not_the_other() {
    let with = |rx1: u32, report: Option<Value>| {
        let (mut messages, roster) = joins(0x0201_7A3C);
        messages[3]["RX1Freq"] = json!(rx1);
        messages.extend(report);
        told_of(&roster, &messages, Rung::Timely)
    };
    // RX1 is on 868.3 MHz, the request's own channel (regions reference, EU868).
    let (causes, state, words) = with(868_500_000, Some(sent(3, 868_500_000, SESSION + 5_001_000)));
    assert_eq!(state, State::Broken, "{words}");
    assert_eq!(causes, ["accept-sent-on-the-wrong-rx1-frequency"]);
    let (_, state, words) = with(868_500_000, Some(sent(0, 869_525_000, SESSION + 6_001_000)));
    assert_eq!(state, State::Proven, "{words}");
    assert!(words.contains("RX2, 6.000000 s"), "{words}");
    // Without a report it may have been either.
    let (causes, state, words) = with(868_500_000, None);
    assert_eq!((causes.len(), state), (0, State::Unknown), "{words}");
    assert!(words.contains("the capture does not show which of them was sent"), "{words}");
    let (_, state, words) = with(868_300_000, None);
    assert_eq!(state, State::Proven, "{words}");
}

#[test]
fn a_slot_of_a_session_that_is_gone_is_not_sent() {
    let (mut messages, roster) = joins(0x0201_7A3C);
    let other = json!({"msgtype": "updf", "MHdr": 64, "DevAddr": 1, "FCtrl": 0, "FCnt": 1,
        "FOpts": "", "FPort": -1, "FRMPayload": "", "MIC": 1, "upinfo": upinfo(2 * SESSION + 7)});
    messages.insert(3, other);
    let (causes, state, words) = told_of(&roster, &messages, Rung::Sent);
    assert_eq!(state, State::Broken, "{words}");
    assert_eq!(causes, ["gateway-counter-restarted-between-request-and-accept"]);
}

#[test]
fn another_radio_unit_is_no_other_session() {
    // gateway reference, section 4: bits 62 to 56 are the radio unit, 55 to 48 the session.
    let unit = 1u64 << 56;
    let (mut messages, roster) = joins(0x0201_7A3C);
    let other = json!({"msgtype": "updf", "MHdr": 64, "DevAddr": 1, "FCtrl": 0, "FCnt": 1,
        "FOpts": "", "FPort": -1, "FRMPayload": "", "MIC": 1, "upinfo": upinfo(unit | SESSION | 7)});
    messages.insert(3, other);
    let (causes, state, words) = told_of(&roster, &messages, Rung::Sent);
    assert_eq!((causes.len(), state), (0, State::Unknown), "{words}");
}

#[test]
fn a_scheduled_downlink_of_a_session_that_is_gone_is_told() {
    let heard = |xtime: u64| {
        json!({"msgtype": "updf", "MHdr": 64, "DevAddr": 1, "FCtrl": 0, "FCnt": 1,
            "FOpts": "", "FPort": -1, "FRMPayload": "", "MIC": 1, "upinfo": upinfo(xtime)})
    };
    let entry = |xtime: u64| {
        json!({"DR": 0, "Freq": 869_525_000, "pdu": "60dabb0102a00500007efc0f41fe4bd10617",
            "xtime": xtime})
    };
    let schedule = [entry(SESSION + 5), entry(2 * SESSION + 5)];
    let read = events(&lines(&[
        heard(2 * SESSION + 1),
        json!({"msgtype": "dnsched", "schedule": schedule}),
    ]));
    let gone: Vec<bool> = read[1..].iter().map(|event| event.ordered().unwrap().gone).collect();
    assert_eq!(gone, [true, false]);
}

#[test]
fn a_later_setting_says_nothing_of_what_was_before() {
    let (mut messages, roster) = joins(0x0201_7A3C);
    let mut narrow = router_config();
    narrow["freq_range"] = json!([863_000_000, 868_000_000]);
    messages.push(narrow.clone());
    let (_, state, words) = told_of(&roster, &messages, Rung::Sent);
    assert_eq!(state, State::Unknown, "{words}");
    messages.pop();
    messages.insert(2, narrow);
    messages[4]["RX2Freq"] = json!(0);
    let (_, state, words) = told_of(&roster, &messages, Rung::Sent);
    assert_eq!(state, State::Broken, "{words}");
}

#[test]
fn a_log_that_ends_at_the_request_lacks_no_answer() {
    let (mut messages, roster) = joins(0x0201_7A3C);
    messages.truncate(3);
    let (causes, state, words) = told_of(&roster, &messages, Rung::Answered);
    assert_eq!((causes.len(), state), (0, State::Unknown), "{words}");
    // The gateway's counter goes on: nothing came until 7 s after it.
    let later = json!({"msgtype": "updf", "MHdr": 64, "DevAddr": 1, "FCtrl": 0, "FCnt": 1,
        "FOpts": "", "FPort": -1, "FRMPayload": "", "MIC": 1, "upinfo": upinfo(SESSION + 7_001_000)});
    messages.push(later);
    let (causes, state, _) = told_of(&roster, &messages, Rung::Answered);
    assert_eq!((causes.as_slice(), state), (&["no-answer-from-the-server"][..], State::Broken));
}

#[test]
fn damaged_members_are_named_and_the_rest_is_kept() {
    for (member, value, loses) in [
        ("MIC", json!("x"), true),
        ("MIC", json!(null), true),
        ("MIC", json!(4_294_967_296u64), true),
        ("DevAddr", json!([]), true),
        ("FCnt", json!(65_536), true),
        ("FOpts", json!("0"), false),
        ("FRMPayload", json!(7), false),
        ("FPort", json!(256), true),
        ("DR", json!(-1), false),
        ("Freq", json!("868.1"), false),
        ("upinfo", json!(7), false),
    ] {
        let mut message =
            written::taken_apart(&hex::decode("40dabb0102800200022721029daeaf9ee9").unwrap());
        message["upinfo"] = upinfo(SESSION);
        message[member] = value.clone();
        let read = events(&lines(&[message]));
        let event = &read[0];
        assert_eq!(event.heard().is_none(), loses, "{member} {value}");
        let gap = event.gap().map(|gap| (gap.lost, gap.damage.to_string()));
        let told = format!("updf.{member}: ");
        let noted = match &gap {
            Some((lost, damage)) => *lost == Lost::Uplink && damage.starts_with(&told),
            None => event.notes.iter().any(|note| note.member == member),
        };
        assert!(noted || member == "upinfo" || value.is_null(), "{member} {value}");
        assert_eq!((read.len(), gap.is_some()), (1, loses), "{member} {value}");
    }
}

#[test]
fn what_a_recorder_adds_to_a_message_is_read() {
    let (at, gateway) = ("2026-07-15T17:18:29Z", "020000fffe4b070a");
    for at in [json!(at), json!(1_784_135_909), json!(1_784_135_909.0)] {
        let mut messages = asked_and_told(0);
        messages.insert(0, json!({"at": at, "router": "::2"}));
        for message in &mut messages[1..] {
            message["at"] = at.clone();
            message["gateway"] = json!(gateway);
        }
        // The first is what the gateway says of itself.
        for event in events(&lines(&messages)).into_iter().skip(1) {
            assert_eq!(event.time, Some("2026-07-15T17:18:29Z".parse().unwrap()), "{event:?}");
            assert_eq!(event.gateway, Some(gateway.parse().unwrap()), "{event:?}");
        }
    }
}

#[test]
fn messages_without_frames_say_nothing_and_are_no_damage() {
    let text = lines(&[
        json!({"msgtype": "version", "station": "1", "firmware": "2", "protocol": 2}),
        json!({"msgtype": "timesync", "txtime": 5}),
        json!({"router": "0:0:0:1", "muxs": "::2", "uri": "wss://orchard.invalid"}),
        json!({"msgtype": "runcmd", "command": "ls", "arguments": []}),
    ]);
    let [version, discovery] = events(&text).try_into().unwrap();
    assert!(
        matches!(&discovery.what, What::Setup(setup) if matches!(**setup, Setup::Discovery(_)))
    );
    let What::Setup(setup) = &version.what else { panic!("{version:?}") };
    let Setup::Version(version) = &**setup else { panic!("{setup:?}") };
    assert_eq!((version.protocol, version.station.as_deref()), (Some(2), Some("1")));
    // Another thing by the name of a message is none of ours.
    for text in ["{\"msgtype\":\"hello\"}", "{\"router\":\"::1\",\"x\":1}"] {
        let [event] = events(text).try_into().unwrap();
        assert_eq!(event.gap().unwrap().lost, Lost::Anything, "{text}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_message_cut_or_with_an_octet_changed_is_read_without_panic(
        cut in 0usize..1_000, at in 0usize..1_000, octet in any::<u8>()
    ) {
        for message in asked_and_told(0) {
            let text = message.to_string();
            let mut octets = text.into_bytes();
            let place = at % octets.len();
            octets[place] = octet;
            octets.truncate(cut.max(1));
            Capture::new(octets.as_slice()).for_each(drop);
        }
    }

    #[test]
    fn any_frame_taken_apart_comes_back(
        first in prop::sample::select(vec![0x40u8, 0x60, 0x80, 0xA0]),
        rest in prop::collection::vec(any::<u8>(), 11..120),
    ) {
        let octets = [vec![first], rest].concat();
        if decode(&octets).stopped.is_none() {
            let frame = hex::encode(&octets);
            prop_assert_eq!(frames(&[written::taken_apart(&octets)]), [frame]);
        }
    }
}
