//! Times on air against published values, and what follows from them.

use std::time::Duration;

use handfast::{
    frame::Direction,
    radio::{self, Airtime, CodingRate, DutyCycle, LowDataRate, Modulation},
};
use proptest::prelude::*;
use serde_json::Value as Json;

fn items(path: &str) -> Vec<Json> {
    let text = std::fs::read_to_string(format!("{}/vectors/{path}", env!("CARGO_MANIFEST_DIR")));
    let file: Json = serde_json::from_str(&text.unwrap()).unwrap();
    file["items"].as_array().unwrap().clone()
}

fn number<T: TryFrom<u64>>(item: &Json) -> T {
    T::try_from(item.as_u64().unwrap()).ok().unwrap()
}

fn micros(time: Duration) -> u64 {
    u64::try_from(time.as_micros()).unwrap()
}

#[test]
fn published_lora_airtimes_are_met_to_the_microsecond() {
    let items = items("radio/time-on-air.json");
    assert_eq!(items.len(), 33);
    for item in items {
        let bits = item["coding_rate"].as_str().unwrap()[2..].parse().unwrap();
        let slow = item["low_data_rate_optimize"] == true;
        let setup = Airtime {
            preamble_symbols: number(&item["preamble_symbols"]),
            explicit_header: item["implicit_header"] == false,
            crc: item["crc"] == true,
            coding_rate: CodingRate::of_bits(bits).unwrap(),
            low_data_rate: if slow { LowDataRate::On } else { LowDataRate::Off },
        };
        let khz = u16::try_from(item["bandwidth_hz"].as_u64().unwrap() / 1000).unwrap();
        let time = setup.lora(number(&item["sf"]), khz, number(&item["payload_octets"])).unwrap();
        assert_eq!(micros(time), item["microseconds"].as_u64().unwrap(), "{}", item["id"]);
    }
}

#[test]
fn published_fsk_airtimes_are_met() {
    for item in items("radio/time-on-air-fsk.json") {
        let time =
            radio::fsk_time_on_air(number(&item["bit_rate"]), number(&item["payload_octets"]))
                .unwrap();
        assert_eq!(micros(time), item["microseconds"].as_u64().unwrap());
    }
}

#[test]
fn lorawan_defaults_give_the_airtimes_of_whole_frames() {
    let items = items("radio/lorawan-airtimes.json");
    assert_eq!(items.len(), 21);
    for item in items {
        let modulation: Modulation = item["data_rate"].as_str().unwrap().parse().unwrap();
        let way = if item["direction"] == "up" { Direction::Uplink } else { Direction::Downlink };
        let time = radio::time_on_air(modulation, number(&item["phy_len"]), way).unwrap();
        assert_eq!(micros(time), item["microseconds"].as_u64().unwrap(), "{}", item["id"]);
    }
}

#[test]
fn low_data_rate_optimisation_comes_with_symbols_above_16_ms() {
    let auto = Airtime::lorawan(Direction::Uplink);
    let on = Airtime { low_data_rate: LowDataRate::On, ..auto };
    for (sf, khz, slow) in [
        (10, 125, false),
        (11, 125, true),
        (12, 125, true),
        (11, 250, false),
        (12, 250, true),
        (12, 500, false),
    ] {
        assert_eq!(auto.lora(sf, khz, 100) == on.lora(sf, khz, 100), slow, "SF{sf}BW{khz}");
    }
}

#[test]
fn what_has_no_formula_has_no_time() {
    let up = Direction::Uplink;
    for text in ["SF5BW125", "SF6BW500", "LR-FHSS-1/3-137", "FSK0", "SF7BW0"] {
        assert_eq!(radio::time_on_air(text.parse().unwrap(), 23, up), None, "{text}");
    }
    assert_eq!(radio::time_on_air("SF7BW125".parse().unwrap(), 256, up), None);
}

#[test]
fn a_margin_is_the_snr_above_the_floor() {
    assert_eq!(radio::link_margin(-1.0, 9), Some(11.5));
    assert_eq!(radio::link_margin(-22.0, 12), Some(-2.0));
    assert_eq!(radio::demodulation_floor(5), None);
}

#[test]
fn a_duty_cycle_silences_a_node() {
    let join = radio::time_on_air("SF12BW125".parse().unwrap(), 23, Direction::Uplink).unwrap();
    let one_percent: DutyCycle = "1%".parse().unwrap();
    // the reference: after a 1.48 s Join-Request a strict node is silent for about 147 s
    assert_eq!(radio::duty_cycle_wait(join, one_percent).as_secs(), 146);
    assert_eq!(radio::messages_per_hour(join, one_percent), Some(24));
    assert_eq!("0.1".parse::<DutyCycle>().unwrap().per_mille(), 1);
    assert_eq!("10 %".parse::<DutyCycle>().unwrap().to_string(), "10%");
    for text in ["", "0", "101%", "1.25%", "x", "-1", "+1", "1.", "99999"] {
        assert!(text.parse::<DutyCycle>().is_err(), "{text}");
    }
}

#[test]
fn the_join_back_off_has_three_spans() {
    let hours = |h: u64| radio::join_back_off(Duration::from_secs(h * 3600)).airtime.as_millis();
    assert_eq!(
        [hours(0), hours(1), hours(10), hours(11), hours(500)],
        [36_000, 36_000, 36_000, 8_700, 8_700]
    );
    let join = Duration::from_micros(1_482_752);
    assert_eq!(radio::JOIN_BACK_OFF.map(|span| span.requests(join)), [Some(24), Some(24), Some(5)]);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn more_octets_never_take_less_time(sf in 0u8..20, khz in any::<u16>(), len in 0usize..400) {
        let setup = Airtime::lorawan(Direction::Uplink);
        if let (Some(short), Some(long)) = (setup.lora(sf, khz, len), setup.lora(sf, khz, len + 1)) {
            prop_assert!(long >= short);
        }
    }
}
