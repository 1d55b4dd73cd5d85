//! Cause `accept-answers-another-attempt`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptAnswersAnotherAttempt,
    what: "the accept is made for an earlier request's DevNonce",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::acceptable::another_attempt)],
    page: PAGE,
};

const PAGE: &str = r#"# accept-answers-another-attempt
The accept's MIC holds only with the DevNonce of an earlier request than the
last one before it.

## What is seen
At the server: accept sent. At the gateway: sent, in a window of the newest
request. At the node (LoRaWAN 1.1): a frame arrives, its MIC fails, the node
asks again.

## Why it happens
In 1.1 the accept's MIC covers JoinReqType, JoinEUI and DevNonce. The server
worked so long on attempt n that attempt n + 1 had been sent; the answer to
n was then put into the window of n + 1. Or the server reused a stored
answer, or sorted two requests wrongly.

## How to be sure
Open the accept under the NwkKey; the fields are sound and OptNeg is 1.
Compute the MIC under JSIntKey with the DevNonce of each request seen from
this node. If it fails with the latest and holds with an earlier one, it is
certain: odds of accident are 1 in 4 294 967 296 for each nonce tried.

By the 1.0 rule the MIC does not cover DevNonce. There the node takes such
an accept and derives keys with its own latest DevNonce, the server with the
older: the join seems good, and no data frame authenticates. That shows as
session-keys-derived-by-another-rule, with the older nonce as the variation.

If no nonce fits, it is accept-for-another-key or the wrong MIC rule. After
a rejoin RJcount stands in DevNonce's place; try it, too.

## What to do
1. Let the server drop an answer when a newer request of the node has come.
2. Find out why it took longer than the node's pause between attempts.
3. Let the node wait longer: at least until both windows are over, plus a
   random time.

## Example
JoinEUI ...-00-01, DevEUI ...-21-07, invented NwkKey A0A1...AF. Requests:
DevNonce 5, then 6. The accept (JoinNonce 42, DevAddr 020C2107,
DLSettings 80, RxDelay 1) ends with MIC 04A31116. With DevNonce 6 it should
be FAF7F7A9; with 5 it is 04A31116.

## Source
LoRaWAN 1.1, 6.2.3; for the 1.0 rule: LoRaWAN 1.0.4, p. 46.
"#;
