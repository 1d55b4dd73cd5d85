//! A gateway of the station protocol.

use super::{Leg, SECOND, Side};
use crate::{
    region::Plan,
    scenario::tape::{Tape, clock},
};

/// How a station and its server get on.
#[derive(Clone, Copy, Debug, Default)]
pub struct StationWays {
    /// Whether the server refuses it.
    pub refused: bool,
    /// The channel plan that the server sets; the leg's where it is `None`.
    pub set_to: Option<&'static Plan>,
    /// Whether the server sets it up at all.
    pub unconfigured: bool,
    /// After how many seconds the server ends each connection.
    pub closed_after_s: Option<u32>,
    /// The code with which it does.
    pub code: Option<u16>,
}

pub(super) fn play(leg: &Leg, side: &Side, ways: StationWays, tape: &mut Tape) {
    let ends = u64::from(leg.minutes) * 60 * SECOND;
    let every = match ways {
        StationWays { refused: true, .. } | StationWays { unconfigured: true, .. } => 20 * SECOND,
        StationWays { closed_after_s: Some(seconds), .. } => u64::from(seconds + 15) * SECOND,
        _ => ends,
    };
    let eui = side.eui;
    let mut at = SECOND;
    while at < ends {
        let mut say = |after: u64, members: String| {
            tape.raw(at + after, format!("{{\"at\":\"{}\",{members}}}", clock(at + after)));
        };
        say(0, format!("\"router\":\"{eui}\""));
        if ways.refused {
            say(80_000, format!("\"router\":\"{eui}\",\"error\":\"router not registered\""));
        } else {
            let uri = format!("wss://lns.orchard.example:8887/router-{}", eui.hex());
            say(80_000, format!("\"router\":\"{eui}\",\"muxs\":\"::1\",\"uri\":\"{uri}\""));
            say(
                400_000,
                "\"msgtype\":\"version\",\"station\":\"1.0\",\"protocol\":2,\"features\":\"gps\""
                    .into(),
            );
            if !ways.unconfigured {
                say(600_000, router_config(ways.set_to.unwrap_or(leg.plan), leg.sub_band));
            }
            if let Some(seconds) = ways.closed_after_s {
                let gateway = eui.hex();
                let code = ways.code.map(|code| format!(",\"code\":{code}")).unwrap_or_default();
                if ways.code.is_some() {
                    say(
                        u64::from(seconds) * SECOND,
                        format!("\"gateway\":\"{gateway}\",\"kind\":\"close\"{code}"),
                    );
                }
            }
        }
        at += every;
    }
    // What it hears on a connection that stays open.
    if every == ends && side.uplinks.every_s > 0 {
        let mut at = 20 * SECOND;
        let mut n = 0_u64;
        while at < ends {
            n += 1;
            let hz = side.uplinks.channels.first().copied().unwrap_or(868_100_000);
            let xtime = (42 << 48) + at;
            let line = format!(
                "{{\"at\":\"{}\",\"msgtype\":\"updf\",\"MHdr\":64,\"DevAddr\":{},\"FCtrl\":0,\"FCnt\":{n},\
                 \"FOpts\":\"\",\"FPort\":2,\"FRMPayload\":\"0102\",\"MIC\":{},\"DR\":5,\"Freq\":{hz},\
                 \"upinfo\":{{\"rctx\":0,\"xtime\":{xtime},\"gpstime\":0,\"rssi\":-83,\"snr\":7.25}}}}",
                clock(at),
                0x0203_0000 + n % 7,
                n * 7919,
            );
            tape.raw(at, line);
            at += u64::from(side.uplinks.every_s) * SECOND;
        }
    }
}

fn router_config(plan: &'static Plan, sub_band: Option<u8>) -> String {
    let region = match plan.name {
        "EU868" => "EU863",
        "US915" => "US902",
        other => other,
    };
    let channels: Vec<String> = crate::scenario::listens(
        plan,
        sub_band.filter(|_| plan.sub_bands > 1).or((plan.sub_bands > 1).then_some(2)),
    )
    .iter()
    .map(|hz| format!("[{hz},0,5]"))
    .collect();
    let (low, high) = plan.range_hz;
    format!(
        "\"msgtype\":\"router_config\",\"NetID\":null,\"JoinEui\":null,\"region\":\"{region}\",\
         \"freq_range\":[{low},{high}],\"upchannels\":[{}]",
        channels.join(",")
    )
}
