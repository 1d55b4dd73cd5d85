//! Cause `fopts-encryption-rule-differs`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    crypto::derive::SessionKeys,
    explore::misreading::{self, FOptsCase, Heard, Side},
    fact::{Certainty, Value, fact},
    frame::{Direction, command},
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
    },
    trace::DataSeen,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::FoptsEncryptionRuleDiffers,
    what: "FOpts are encrypted by different texts of 1.1",
    places: &[Place::Session(session::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Frames that the explorer is given.
const FRAMES: usize = 16;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let session = story.session;
    let key_of = |seen: &DataSeen| match &session.candidate_of(seen)?.keys {
        SessionKeys::V1_1 { nwk_s_enc_key, .. } => Some(nwk_s_enc_key.clone()),
        SessionKeys::V1_0 { .. } => None,
    };
    let with: Vec<(&DataSeen, _)> = session
        .frames
        .iter()
        .filter(|seen| !seen.data.frame().fopts.is_empty())
        .filter_map(|seen| Some((seen, key_of(seen)?)))
        .collect();
    let (_, key) = with.first()?;
    let frames: Vec<Heard<'_>> = with
        .iter()
        .take(FRAMES)
        .map(|(seen, _)| Heard {
            frame: seen.data.frame(),
            fcnt: seen.held.fcnt,
            conf_fcnt: seen.held.context.map(|c| c.conf_fcnt),
            tx_dr: seen.held.context.map(|c| c.tx_dr),
            tx_ch: seen.held.context.map(|c| c.tx_ch),
        })
        .collect();
    let parses = |octets: &[u8], direction: Direction| {
        let list = command::decode(octets, direction, None);
        list.trailing.is_none() && !list.commands.is_empty() && list.faults().is_empty()
    };
    let answer = misreading::explore_fopts(&FOptsCase {
        nwk_s_enc_key: key.key(),
        integrity_keys: None,
        frames: &frames,
        parses: &parses,
    });
    let found = answer.findings().first()?;
    let what: Vec<&'static str> = found.mistakes.iter().map(|row| row.what).collect();
    let who = match found.side {
        Side::Node => "the node",
        Side::Server => "the server",
        // Where both sides follow the older text they agree, and nothing is lost.
        Side::CannotTell { .. } => return None,
    };
    let mut finding = Finding::new(
        Certainty::of_probability(found.odds),
        fact!(
            "FOpts parse as MAC commands only if {who} {what}",
            who,
            what = Value::List(what.into_iter().map(Value::from).collect(), ", and ")
        ),
        "bring node and server to the same text: LoRaWAN 1.1 with the erratum on FOpts encryption of \
         January 2018",
    )
    .and(fact!("{frames} with FOpts, MIC good", frames = Value::Count(found.held as u64, "frame")));
    finding.false_match = Some(found.odds);
    Some(finding)
}

const PAGE: &str = r#"# fopts-encryption-rule-differs
In a 1.1 session node and server encrypt FOpts by different rules, so MAC
commands turn into noise.

## What is seen
At the server: join and payload good; unknown MAC commands, ADR that does
not settle, RekeyInd never seen. At the node: the same the other way. Frames
without FOpts are fine.

## Why it happens
1.1 encrypts FOpts with NwkSEncKey and one block. The text of October 2017
and the erratum of January 2018 build the block differently: byte 4 is 00
before; with the erratum 01 (FCntUp or NFCntDwn) or 02 (AFCntDwn), and byte
15 is 01 in place of 00. Downlinks with FPort > 0 use AFCntDwn by the
erratum. One stack can do either, by its configured version.

## How to be sure
Decrypt FOpts by each layout. The right one yields commands that are known,
of the right direction and length, to the last byte, in every frame. FOpts
is short: two bytes of noise look like a command now and then, so require
several frames before you call it certain.

The MIC is over the encrypted bytes and holds by both sides' view: it
proves session and counter, not the rule. So "key wrong" is refuted. If the
payload fails too, look at the counters first. A 1.0.x session (OptNeg 0)
does not encrypt FOpts at all: readable commands in a 1.1 session mean that
one side skipped it.

## What to do
1. Use the erratum on both sides; update the older.
2. Until then let both use port 0 for commands, if they can be told to.
3. Join again after the change.

## Example
DevAddr 0201BBDA, FCntUp 1, invented keys; plain FOpts 0B01 is RekeyInd,
minor 1. With the erratum the frame carries ED41, by the first text 65EE. A
server that opens 65EE by the erratum gets 83AE: no command it knows. It
never sends RekeyConf.

## Source
LoRaWAN 1.1, 4.3.1.6; erratum on 1.1, "FOpts Encryption, Usage of FCntDwn",
26 January 2018.
"#;
