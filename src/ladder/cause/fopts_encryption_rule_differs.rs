//! Cause `fopts-encryption-rule-differs`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::session;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::FoptsEncryptionRuleDiffers,
    what: "node and server encrypt FOpts by different rules",
    places: &[Place::Session(session::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Session(session::commands::fopts_rule)],
    page: PAGE,
};

const PAGE: &str = r#"# fopts-encryption-rule-differs
In a 1.1 session node and server encrypt FOpts by different rules, so MAC
commands turn into noise.

## What is seen
At the server: join and payload good; unknown MAC commands, ADR that does
not settle, RekeyInd never seen. At the node: the same the other way. Frames
without FOpts are fine.

## Why it happens
1.1 encrypts FOpts with NwkSEncKey and one block. The text of October 2017
and the erratum of January 2018 build the block differently: octet 4 is 00
before; with the erratum 01 (FCntUp or NFCntDwn) or 02 (AFCntDwn), and octet
15 is 01 in place of 00. Downlinks with FPort > 0 use AFCntDwn by the
erratum. One stack can do either, by its configured version.

## How to be sure
Decrypt FOpts by each layout. The right one yields commands that are known,
of the right direction and length, to the last octet, in every frame. FOpts
is short: two octets of noise look like a command now and then, so require
several frames before you call it certain.

The MIC is over the encrypted octets and holds by both sides' view: it
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
