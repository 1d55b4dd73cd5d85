//! Cause `gateway-reports-an-inexact-frequency`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::Speaker,
    ladder::{
        finding::Finding,
        gateway,
        join::{Case, Rung, on_plan::heard_at},
        rung::State,
    },
    region::JoinFit,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayReportsAnInexactFrequency,
    what: "the gateway reports a frequency off the grid by a synthesiser step",
    places: &[
        Place::Gateway(gateway::Rung::OnPlan),
        Place::Join(Rung::OnPlan),
        Place::Join(Rung::Answered),
    ],
    kind: Kind::Exact,
    checks: &[Check::Gateway(gateway::on_plan::inexact), Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let inexact: Vec<_> = heard_at(case)
        .filter_map(|(attempt, hz, m)| match plan.join_fit(hz, m) {
            JoinFit::Inexact { channel, offset_hz } => Some((attempt, hz, channel, offset_hz)),
            _ => None,
        })
        .collect();
    let (_, hz, channel, offset_hz) = *inexact.first()?;
    if inexact.iter().any(|(attempt, ..)| !attempt.answers.is_empty()) {
        return None;
    }
    let good = (0..case.ladders.len()).all(|i| {
        [Rung::Identified, Rung::Authentic].iter().all(|r| case.state(i, *r) != State::Broken)
    });
    if !good {
        return None;
    }
    let log: Vec<&String> = case
        .record()
        .map(|record| record.log.iter().filter(|line| speaks_of_channels(line)).collect())
        .unwrap_or_default();
    let certainty = if log.is_empty() { Certainty::Likely } else { Certainty::Certain };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the gateway reports {frequency}, {offset} channel {channel} of {region}; a server that \
             compares exactly drops the frame",
            frequency = Value::Frequency(hz),
            offset = Value::Offset(offset_hz),
            channel,
            region = plan.name
        ),
        "round the frequency to the channel grid in the gateway's forwarder (or in the server's \
         intake)",
    );
    finding.add(fact!(
        "{requests} unanswered, each off the grid by less than 1 kHz: the node is on its channel",
        requests = Value::count(inexact.len(), "request")
    ));
    for line in log {
        finding.add(fact!("server's log: {line}", line = line.clone()).said_by(Speaker::Server));
    }
    Some(finding)
}

/// Whether a line of the server's log is about where a frame was received.
fn speaks_of_channels(line: &str) -> bool {
    let line = line.to_lowercase();
    line.contains("channel") || line.contains("frequency")
}

const PAGE: &str = r"# gateway-reports-an-inexact-frequency
The frequency that the gateway reports is a few hertz off the channel grid,
and the server compares exactly.

## What is seen
At the gateway: Join-Requests arrive with good CRC, and `freq` reads like
903.900024 instead of 903.9. At the server: the frame is dropped, or logged
with an unknown channel; no accept. At the node: attempts without answer.
Identity, key and nonce are good.

## Why it happens
A radio can be tuned only in steps, and some forwarders report the value of
the nearest step instead of the channel asked for. Others convert between
binary and decimal carelessly. The difference is far below 1 kHz. The air is
in order: a LoRa receiver takes much larger offsets. Only a server that
compares numbers without tolerance stumbles.

## How to be sure
Take the distance of each reported frequency to the nearest channel. If
every one is below 1 kHz and not zero, and the same for the same channel
each time, it is the reporting. Confirm that an accept would have been due:
the MIC holds, DevNonce is fresh. Confirm that nothing was answered, though
the downlink side is in the capture.

It is not an off-plan node: such a node is tens or hundreds of kilohertz
away. It is not the drift of the node's crystal: drift differs from node to
node and with temperature, and gateways report it apart (`foff`). If the
server does answer, the inexact number is harmless.

## What to do
1. Round the frequency to the channel in the gateway's forwarder (to 100 Hz
   is enough: that is the unit of every frequency in the protocol).
2. Or let the server take the nearest channel within a tolerance.
3. Leave the node alone.

## Example
US915, orchard gateway. Reported: 903.900024, 904.300018, 904.900024 MHz.
The nearest channels are 8 (903.9), 10 (904.3) and 13 (904.9); the offsets
are 24, 18 and 24 Hz. The same probe next to another gateway, which reports
903.9, is answered immediately.

## Source
RP002-1.0.1, 2.5 (channel formula); the gateway packet-forwarder protocol,
`freq` and `foff`. The tolerance is common practice.
";
