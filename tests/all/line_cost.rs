//! What a line costs goes by its length, however it is made.

use handfast::intake::{Capture, Item};

use crate::support::cost;

const UPLINK: &str = "40dabb0102800200022721029daeaf9ee9";
/// Octets of each line: about the most in which frames are looked for.
const LENGTH: usize = 60_000;

fn items(line: &str) -> Vec<Item> {
    Capture::new(line.as_bytes()).map(Result::unwrap).collect()
}

/// As many of these as fit, with commas between.
fn many(item: &str) -> String {
    vec![item; LENGTH / (item.len() + 1)].join(",")
}

/// A list within so many objects, each with a text before it.
fn deep(depth: usize, before: &str, list: &str) -> String {
    format!("{}[{list}]{}", format!("{{{before}\"a\":").repeat(depth), "}".repeat(depth))
}

#[test]
fn no_line_costs_many_times_what_a_plain_one_does() {
    let plain = format!("{{\"l\":[{}]}}", many("{\"time\":\"at noon\",\"data\":7}"));
    let bad = format!("{{\"data\":\"{}\"}}", "40ff".repeat(20));
    let names = (0..600).map(|n| format!("\"phy{}payload\":\"{UPLINK}\"", "-".repeat(n % 40)));
    let names: Vec<_> = names.collect();
    for (what, line) in [
        ("deep objects", deep(110, "", &many("{\"x\":1}"))),
        ("deep members", deep(110, "", &many(&bad))),
        ("deep times", deep(110, "\"time\":\"2026-03-02T08:00:00Z\",", &many("{\"time\":1}"))),
        ("deep fates", deep(110, "\"id\":1,", &many("{\"status\":\"OK\"}"))),
        ("a long word at every depth", {
            let word = format!("\"status\":\"{}\",", "s".repeat(LENGTH / 2));
            format!("{{{word}{}}}", &deep(100, "", &many("{}")[..LENGTH / 3])[1..])
        }),
        ("many names of one frame", format!("{{{}}}", names.join(","))),
        ("half of JSON", format!("x {}{}", "[1,".repeat(8), many("\"aaaa\""))),
        ("labels joined by what base64 has", format!("x: {}", "rx/".repeat(LENGTH / 3))),
        ("frames after a key", format!("key {}", many(UPLINK))),
        ("spaces after half a byte", format!("4{}", " ".repeat(LENGTH))),
    ] {
        cost::at_most(40, what, || items(&plain), || items(&line));
    }
}

#[test]
fn what_a_line_yields_is_bounded() {
    let octets = |n: usize| format!("{}{n:08x}", &UPLINK[..UPLINK.len() - 8]);
    let heard = vec!["{\"rssi\":-80}"; 64].join(",");
    let named = (0..400).map(|n| {
        let name = format!("phy{}payload{}", "-".repeat(n % 40), "_".repeat(n / 40));
        format!("\"{name}\":\"{}\"", octets(n))
    });
    let named: Vec<_> = named.collect();
    let items = items(&format!("{{\"heard\":[{heard}],{}}}", named.join(",")));
    assert!((64..=512).contains(&items.len()), "{}", items.len());
}
