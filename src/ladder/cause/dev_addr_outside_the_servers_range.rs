//! Cause `dev-addr-outside-the-servers-range`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    id::DevAddr,
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DevAddrOutsideTheServersRange,
    what: "the DevAddr belongs to another network",
    places: &[Place::Session(session::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let record = case.record()?;
    let claimed = case.firmware().and_then(|f| f.dev_addr);
    let used = story.session.uplinks().next().is_some();
    let by_accept = case.accept_of(story.session).is_some();
    let given = (used || by_accept).then_some(story.session.dev_addr);
    let is_foreign = |addr: &DevAddr| match (&record.dev_addr_prefix, record.net_id) {
        (Some(prefix), _) => !prefix.contains(*addr),
        (None, Some(net_id)) => !net_id.is_experimental() && net_id.owns(*addr).is_none(),
        (None, None) => false,
    };
    let addr = given.into_iter().chain(claimed).find(is_foreign)?;
    let range = match (&record.dev_addr_prefix, record.net_id) {
        (Some(prefix), _) => fact!(
            "the server serves {prefix}/{bits}",
            prefix = DevAddr(prefix.value()),
            bits = prefix.bits()
        ),
        (None, Some(net_id)) => fact!("NetID {net_id} does not own it", net_id),
        (None, None) => return None,
    };
    let certainty =
        if record.dev_addr_prefix.is_some() { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "DevAddr {dev_addr} is outside the server's range: its data is taken for another network's",
            dev_addr = addr
        ),
        "give the node a DevAddr of the server's own range, or let it join over the air",
    )
    .and(range);
    let owners: Vec<Value> = addr.net_ids().take(3).map(Value::NetId).collect();
    if !owners.is_empty() {
        finding.add(fact!("the address belongs to NetID {owners}", owners = Value::list(owners)));
    }
    Some(finding)
}

const PAGE: &str = r"# dev-addr-outside-the-servers-range
The DevAddr of the frames belongs to another NetID than the server's.

## What is seen
At the server: data frames do not appear, or are handed to another network.
At the gateway: received; some gateways filter by NetID and drop them. At
the node: it sends, no downlink comes.

## Why it happens
The first bits of DevAddr are made from the NetID. An ABP node was given an
invented DevAddr, a session was moved from another network, or a server
gives addresses of a NetID that is not its own. A session is fetched by its
prefix, so it is looked for elsewhere.

## How to be sure
Split the DevAddr. Leading zeros and ones give the type: 0 type 0, 10 type
1, 110 type 2, up to type 7; then NwkID. For type 0: bits 31 to 25 are 0 and
the 6 low bits of the NetID. Compare with the record's NetID or prefix.
Different is certain as arithmetic; that the frames are lost for it is
likely only if the gateway or server filters.

Before the backend interface text, 1.0.x said that NwkID is the 7 low bits
of the NetID: accept both readings of old sessions of types 1 to 7. Several
NetIDs of the larger types share one prefix. 00000000 to 03FFFFFF is for
private use and experiments, so a prefix there says nothing about the owner.
Roaming may be wanted.

## What to do
1. Give the session a DevAddr from the server's own range; with OTAA by a
   new join.
2. Correct the NetID in the server's configuration.
3. Check the NetID filter of the gateway.
4. Leave foreign frames alone: they are other people's.

## Example
Server NetID 000000: prefix 00000000/7, that is 00000000 to 01FFFFFF. The
gauge's DevAddr is 020C2120: first seven bits 0000001, NetID 000001. The
gateway's filter passes NwkID 0 only, and drops it. With 000C2120 the frames
arrive.

## Source
Backend Interfaces (TS002) and its erratum, p. 3 and 5; LoRaWAN 1.0.4,
p. 43; 1.0.3, p. 36.
";
