//! What a gateway receives, on which channels, and what it sends.

use handfast::scenario::StationWays;

use super::{Pair, long, of_plan, one, pair, plan, station};

pub(super) fn pairs() -> Vec<Pair> {
    let refuses = |word| one(|side| (side.downlinks.every, side.downlinks.word) = (3, Some(word)));
    let silent_from = |every_s, until_s, nodes| {
        long(40, |side| {
            (side.uplinks.every_s, side.uplinks.until_s) = (every_s, until_s);
            side.uplinks.nodes = nodes;
        })
    };
    let heard_on = |name, channels: &[u32]| {
        of_plan(name, |side| {
            side.uplinks.channels = channels.to_vec();
            side.uplinks.every_s = 10;
        })
    };
    let sub_band =
        |first: u32| (0..8).map(|n| 902_300_000 + 200_000 * (first + n)).collect::<Vec<_>>();
    let crc = |stat, forwarded| {
        one(|side| (side.uplinks.stat, side.uplinks.forwarded) = (stat, forwarded))
    };
    let orders = |every, word| {
        long(60, |side| {
            side.uplinks.every_s = 10;
            (side.downlinks.every, side.downlinks.word) = (every, Some(word));
            (side.downlinks.slow, side.downlinks.octets) = (true, 51);
        })
    };
    let says_nothing = |sent| one(|side| (side.downlinks.word, side.downlinks.sent) = (None, sent));
    let ways = StationWays::default();
    vec![
        pair(
            "gateway-hears-nothing",
            silent_from(15, Some(600), 12),
            // A quiet place; two nodes that were switched off.
            [silent_from(0, None, 12), silent_from(15, Some(600), 2)],
        ),
        pair("gateway-forwards-nothing", crc(1, false), [crc(-1, false), crc(1, true)]),
        pair("gateway-heard-only-bad-crc", crc(-1, true), [crc(1, true), crc(1, false)]),
        pair(
            "gateway-set-to-another-region",
            heard_on("EU868", &[923_200_000, 923_400_000]),
            // Channels that the network gave, in the region's band.
            [heard_on("EU868", &[867_100_000, 867_300_000, 867_500_000])],
        ),
        pair(
            "gateway-set-to-another-sub-band",
            heard_on("US915", &sub_band(0)),
            [heard_on("US915", &sub_band(8)), heard_on("US915", &sub_band(4))],
        ),
        pair(
            "one-channel-gateway",
            heard_on("EU868", &[868_100_000]),
            [
                heard_on("EU868", &[868_100_000, 868_300_000]),
                one(|side| {
                    side.uplinks.channels = vec![868_100_000];
                    side.uplinks.nodes = 1;
                }),
            ],
        ),
        pair(
            "gateway-reports-an-inexact-frequency",
            one(|side| side.uplinks.off_hz = 12),
            // The nodes are off, or the gateway's crystal: no step of a synthesiser.
            [one(|side| side.uplinks.off_hz = 0), one(|side| side.uplinks.off_hz = 1_100)],
        ),
        pair(
            "router-config-of-another-region",
            station(StationWays { set_to: Some(plan("US915")), ..ways }),
            [station(ways), station(StationWays { set_to: Some(plan("EU868")), ..ways })],
        ),
        // Every 10 s; and now and then, or refused: then they are not sent.
        pair(
            "gateway-airtime-over-the-limit",
            orders(1, "NONE"),
            [orders(60, "NONE"), orders(1, "TX_FREQ")],
        ),
        pair("gateway-does-not-transmit", says_nothing(false), [says_nothing(true)]),
        pair("gateway-refuses-the-frequency", refuses("TX_FREQ"), [refuses("TX_POWER")]),
        pair("gateway-refuses-the-power-asked-for", refuses("TX_POWER"), [refuses("TX_FREQ")]),
        pair(
            "gateway-has-no-gps-time",
            one(|side| {
                (side.downlinks.every, side.downlinks.by_gps) = (3, true);
                side.downlinks.word = Some("GPS_UNLOCKED");
            }),
            [one(|side| (side.downlinks.every, side.downlinks.by_gps) = (3, true))],
        ),
    ]
}
