//! Cause `gateway-refuses-the-power-asked-for`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    intake::TxError,
    ladder::{
        finding::Finding,
        gateway,
        join::{Case, sent},
        session,
    },
    trace::Sending,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayRefusesThePowerAskedFor,
    what: "the gateway refuses the power asked for",
    places: &[Place::Gateway(gateway::Rung::Sends), Place::Session(session::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[
        Check::Gateway(gateway::sends::refuses_power),
        Check::Join(of_node),
        Check::Session(session::sent::power),
    ],
    page: PAGE,
};

/// Evidence of one kind is told of this many downlinks.
const MOST_TOLD: usize = 4;

/// A node whose accepts are refused.
fn of_node(case: &Case<'_>) -> Option<Finding> {
    let refused = sent::refusals(case, |error| *error == TxError::TxPower);
    let refused: Vec<&Sending> = refused.into_iter().map(|(_, answer)| &answer.sending).collect();
    of(&refused)
}

fn of(refused: &[&Sending]) -> Option<Finding> {
    let first = refused.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!("the gateway refuses the downlink: it cannot send {power}", power = power(first)),
        "choose a power that the gateway's table has (mind the antenna gain that is taken off), or \
         add the row to the table; local rules limit the power that may be radiated",
    );
    for sending in refused.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{downlink}: {power}: TX_POWER",
            downlink = *sending,
            power = power(sending)
        ));
    }
    Some(finding)
}

fn power(sending: &Sending) -> Fact {
    match sending.power_dbm {
        Some(power) => fact!("{power}", power = Value::dbm(power)),
        None => Fact::from("the power asked for"),
    }
}

const PAGE: &str = r"# gateway-refuses-the-power-asked-for
The gateway does not send the accept, because its power table has no row for
the power asked for.

## What is seen
At the gateway: TX_ACK with TX_POWER; nothing goes on the air. At the
server: a failed downlink, if it reads acknowledgements. At the node:
windows empty, at every attempt.

## Why it happens
A gateway can set certain powers only, listed in its table. Older forwarders
look for an exact row (after subtracting the antenna gain) and refuse
otherwise. Newer ones take the next lower row and merely warn with the power
used. The table may be empty, or made for another region.

## How to be sure
TX_ACK says TX_POWER as `error`, for a frequency and time that are right.
Compare `powe`, less the antenna gain, with the table: no equal row confirms
it. As `warn` the frame was sent, at the power in `value`: then this is no
cause, though a much lower power may be worth a look.

The refusal is certain evidence that nothing went out. It is not lateness,
and the node cannot be judged: it was never answered.

## What to do
1. Let the server ask for a power that the table has, or
2. add the missing row to the gateway's table, calibrated for its hardware.
3. Enter the antenna gain truly: radiated power is what the rules limit.
   Never set the gain to zero to get more power.
4. Check the power allowed in the band of RX1 and of RX2; they can differ.

## Example
EU868. The server asks for powe 16. Antenna gain 3 dB, so 13 is needed; the
table has 6, 10, 12, 14. TX_POWER, five times. With powe 15, that is 12, the
accept goes out, 1 dB weaker, and probe-09 joins.

## Source
The gateway packet-forwarder protocol, `txpk_ack` (document 1.5: power as a
warning); RP002-1.0.1, 2.4 (power); sub-band limits by local rules.
";
