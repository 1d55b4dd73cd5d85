//! Cause `server-name-not-resolved`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, identity::link_layer, voice::Speaks},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerNameNotResolved,
    what: "the gateway's host asks for its server's name and gets no address",
    places: &[Place::Gateway(Rung::Speaks)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Speaks::Unresolved(unresolved) = &case.speaks else { return None };
    let name = unresolved.name;
    let answer = match (name.no_such_name, name.failed + name.empty) {
        (0, 0) => fact!("and no answer comes"),
        (0, _) => fact!("and the resolver gives no address"),
        _ => fact!("and the resolver says that there is no such name"),
    };
    let mut finding = Finding::new(
        unresolved.certainty,
        fact!(
            "{gateway} has nowhere to send: its host asks {times} for {name}, {answer}",
            gateway = case.title(),
            times = Value::Count(name.asked, "time"),
            name = name.name.clone(),
            answer
        ),
        "compare server_address in the gateway's configuration with the server's name, letter by letter; ask the \
         resolver by hand from the gateway; give the gateway a resolver that answers",
    );
    finding.add(fact!(
        "NXDOMAIN {no_such_name}, other errors {failed}, no address {empty}, resolved {resolved}",
        no_such_name = name.no_such_name,
        failed = name.failed,
        empty = name.empty,
        resolved = name.resolved;
        at: name.span.0, name.span.1
    ));
    finding.add("no datagram of the gateway's protocol is in the capture");
    let host = unresolved.asker;
    match host.link {
        Some(link) if unresolved.is_own => finding.add(fact!(
            "the host that asks has link-layer address {link}, of which this EUI is made",
            link = link_layer(link)
        )),
        _ => finding.add(fact!(
            "the host that asks is {host}; whether it is this gateway the capture does not say",
            host = host.address.to_string()
        )),
    }
    Some(finding)
}

const PAGE: &str = r"# server-name-not-resolved
The gateway's host asks the DNS for the name of its server, and gets no
address. It has nowhere to send.

## What is seen
At the gateway: the forwarder runs and reports nothing, or an error about its
server's name. In a recording of packets: queries for one name, again and
again, and not one datagram of the gateway's protocol. At the server: the
gateway was never seen, or not since some day. At the nodes: no answer.

## Why it happens
`server_address` has a typing error, or a name that exists no longer. Or the
name is right and the host has no resolver that answers: a network that
blocks port 53, a resolver inside a VPN that is down, a gateway without the
address of a resolver.

## How to be sure
Each query is there, and each answer says NXDOMAIN (there is no such name) or
SERVFAIL (the resolver failed), or no answer comes to three queries or more.
One failure and then an address is nothing: names are looked up at every
start. If the name is resolved and nothing follows, this is not the cause.

The queries must be those of the gateway's host. Its link-layer address is
inside most gateway EUIs, with FF-FE in the middle. Queries of another host in
the same recording say nothing.

## What to do
1. Compare `server_address` with the server's name, letter by letter: 0 and O,
   1 and l, a hyphen too many, the wrong ending.
2. Ask the resolver by hand, from the gateway.
3. Give the gateway a resolver that answers, or, as a test, the server's
   address instead of its name.

## Example
The gateway in the north shed asks seven times in 75 s for
lns.orchard.example. Every answer is NXDOMAIN. The name had been
lns.orchards.example until the server moved.

## Source
RFC 1035, 4.1.1 (RCODE). EUI made from a link-layer address: common practice.
";
