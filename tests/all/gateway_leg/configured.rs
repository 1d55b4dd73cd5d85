//! Causes that only the gateway's own configuration shows, or shows as well as a capture.

use handfast::scenario::{Acks, Leg};

use super::{Given, Pair, of_plan, one, pair, plan};

pub(super) fn pairs() -> Vec<Pair> {
    let right = Config::default();
    let of = |config: &Config| alone("EU868", config);
    vec![
        pair(
            "gateway-runs-with-another-configuration",
            with(one(|_| {}), &right.with("gateway_ID", "\"020000FFFE5C3D94\"")),
            [with_own(&right), of(&right.with("gateway_ID", "\"020000FFFE5C3D94\""))],
        ),
        pair(
            "gateway-set-to-another-server",
            of(&right.with("server_address", "\"lns.0rchard.example\"")),
            // The same name; an address, which may be its own; and a capture that shows that it works.
            [
                of(&right.with("server_address", "\"LNS.Orchard.Example.\"")),
                of(&right.with("server_address", "\"198.51.100.7\"")),
                with(named(one(|_| {})), &right.with("server_address", "\"lns.0rchard.example\"")),
            ],
        ),
        pair(
            "gateway-set-to-another-port",
            with(named(unanswered()), &right.with("serv_port_up", "1680")),
            [
                of(&right),
                with(named(one(|_| {})), &right.with("serv_port_up", "1680")),
                // The roster states no port.
                with(unanswered(), &right.with("serv_port_up", "1680")),
            ],
        ),
        pair(
            "gateway-radio-does-not-reach-a-channel",
            of(&right.channel(7, 1, 900_000)),
            [of(&right), of(&right.channel(7, 1, 400_000))],
        ),
        pair(
            "gateway-lacks-channels-of-its-plan",
            // Two chains on one frequency, and none on 868.5 MHz.
            of(&right.channel(2, 1, -200_000)),
            // A file that leaves a chain to another one; a channel that no node needs to join.
            [of(&right), of(&right.without_channel(2)), of(&right.channel(7, 0, 200_000))],
        ),
        pair(
            "gateway-set-to-another-region",
            of(&Config::us915(0)),
            [alone("US915", &Config::us915(8)), of(&right)],
        ),
        pair(
            "gateway-set-to-another-sub-band",
            alone("US915", &Config::us915(0)),
            [alone("US915", &Config::us915(8))],
        ),
    ]
}

/// A configuration: members of `gateway_conf`, the radios' centres, the chains.
#[derive(Clone, Debug)]
struct Config {
    members: Vec<(&'static str, String)>,
    radios: [u32; 2],
    chains: Vec<(usize, i32)>,
}

impl Default for Config {
    /// The eight usual channels of EU868, 868.1 MHz to 867.9 MHz.
    fn default() -> Self {
        let members = [
            ("server_address", "\"lns.orchard.example\""),
            ("serv_port_up", "1700"),
            ("serv_port_down", "1700"),
        ];
        let chains = [(1, -400_000), (1, -200_000), (1, 0)].into_iter();
        let added = [-400_000, -200_000, 0, 200_000, 400_000].map(|hz| (0, hz));
        Self {
            members: members.map(|(name, value)| (name, value.to_owned())).to_vec(),
            radios: [867_500_000, 868_500_000],
            chains: chains.chain(added).collect(),
        }
    }
}

impl Config {
    /// The eight channels of US915 from one on.
    fn us915(first: u32) -> Self {
        let centre = 902_700_000 + 200_000 * first;
        let low = [-400_000, -200_000, 0, 200_000].map(|hz| (0, hz));
        let high = [-400_000, -200_000, 0, 200_000].map(|hz| (1, hz));
        Self {
            radios: [centre, centre + 800_000],
            chains: low.into_iter().chain(high).collect(),
            ..Self::default()
        }
    }

    fn with(&self, name: &'static str, value: &str) -> Self {
        let mut new = self.clone();
        new.members.retain(|(own, _)| *own != name);
        new.members.push((name, value.to_owned()));
        new
    }

    fn channel(&self, place: usize, radio: usize, offset_hz: i32) -> Self {
        let mut new = self.clone();
        new.chains[place] = (radio, offset_hz);
        new
    }

    fn without_channel(&self, place: usize) -> Self {
        let mut new = self.clone();
        new.chains.remove(place);
        new
    }

    fn text(&self) -> String {
        let radios = self.radios.iter().enumerate().map(|(n, hz)| {
            format!("\"radio_{n}\": {{ \"enable\": true, \"freq\": {hz} }}, // its centre")
        });
        let chains = self.chains.iter().enumerate().map(|(n, (radio, hz))| {
            format!(
                "\"chan_multiSF_{n}\": {{ \"enable\": true, \"radio\": {radio}, \"if\": {hz} }},"
            )
        });
        let air: Vec<String> = radios.chain(chains).collect();
        let members = self.members.iter().map(|(name, value)| format!("\"{name}\": {value},"));
        format!(
            "{{ \"radio_conf\": {{\n{}\n}},\n\"gateway_conf\": {{\n{}\n}} }}",
            air.join("\n"),
            members.collect::<Vec<_>>().join("\n")
        )
    }
}

fn with(given: Given, config: &Config) -> Given {
    Given { config: Some(config.text()), ..given }
}

/// A gateway that sends under its file's EUI.
fn with_own(config: &Config) -> Given {
    let mut own = String::new();
    let given = one(|side| own = format!("\"{}\"", side.eui.hex()));
    with(given, &config.with("gateway_ID", &own))
}

/// The file and the roster, without any capture.
fn alone(name: &str, config: &Config) -> Given {
    let given = named(of_plan(name, |_| {}));
    with(Given { capture: Vec::new(), ..given }, config)
}

/// The roster with the server's name and ports.
fn named(mut given: Given) -> Given {
    given.roster += "server = \"lns.orchard.example\"\nuplink-port = 1700\ndownlink-port = 1700\n";
    given
}

/// A gateway whose uplinks nobody acknowledges.
fn unanswered() -> Given {
    let mut leg = Leg::new(2026, plan("EU868"));
    leg.sides[0].push_acks = Acks::None;
    leg.sides[0].downlinks.every = 0;
    super::played(&leg)
}
