//! Cause `server-closes-the-connection`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, uplink_acknowledged::LEAST_CLOSED},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerClosesTheConnection,
    what: "connection after connection of the station ends within a minute",
    places: &[Place::Gateway(Rung::UplinkAcknowledged)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard.filter(|_| case.is_station())?;
    let connections = &heard.connections;
    if connections.short.1 < LEAST_CLOSED {
        return None;
    }
    let closed = connections.ended.iter().find_map(|ended| ended.closed.as_ref());
    let code = closed.and_then(|closed| closed.code);
    let certainty = if closed.is_some() { Certainty::Certain } else { Certainty::Likely };
    let remedy = match code {
        Some(1008) => {
            "check the gateway's token, certificate and registration: code 1008 says that the server's policy does not \
             allow it"
        }
        Some(1011) => "read the server's log: code 1011 says that the server failed",
        _ => {
            "read the server's log at these times, and check the gateway's token, certificate and registration"
        }
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{connections} of {gateway} in a row end within a minute",
            connections = Value::Count(connections.short.1, "connection"),
            gateway = case.title()
        ),
        remedy,
    );
    for ended in connections.ended.iter().take(MOST_TOLD) {
        let (begun, end) = ended.span;
        let time = Value::About(end.since(begun).unwrap_or_default());
        finding.add(if let Some(closed) = &ended.closed {
            fact!(
                "{end}: closed after {time}, code {code}{reason}",
                end,
                time,
                code = closed.code.map_or_else(|| "unknown".to_owned(), |code| code.to_string()),
                reason =
                    closed.reason.as_ref().map(|reason| format!(", {reason}")).unwrap_or_default()
            )
        } else {
            fact!("{end}: the next one begins, after {time}", end, time)
        });
    }
    Some(finding)
}

/// Connections that are named.
const MOST_TOLD: usize = 3;

const PAGE: &str = r"# server-closes-the-connection
The gateway connects by the station protocol, and the connection ends after
seconds, again and again.

## What is seen
At the gateway: connected, set up, disconnected, in a circle. At the server:
the gateway flickers. At the nodes: now and then an answer, mostly none.

## Why it happens
The server ends it, and its code says why: 1008 is a matter of policy (token,
certificate, registration, another gateway under the same EUI), 1011 a failure
of the server, 1001 a server that goes away, as at a restart. Without a code a
box in between may have ended it.

## How to be sure
Three connections in a row that end within a minute. A line of the recorder
with the code makes it certain. Without one, a `version` message again and
again says the same, and is likely.

One connection a day that begins again is normal. So is one end with code
1001.

## What to do
1. Code 1008: check token, certificate and registration. Look for a second
   gateway under this EUI.
2. Code 1011: read the server's log.
3. No code: look at what is in between (proxy, address translation).

## Example
Five connections of 6 s, each ended with code 1008. The gateway's token had
run out on the first of the month.

## Source
RFC 6455, 7.4.1 (codes); the station protocol.
";
