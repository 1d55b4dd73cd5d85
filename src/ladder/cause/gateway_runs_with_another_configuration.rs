//! Cause `gateway-runs-with-another-configuration`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::gateway::{self, misconfigured};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayRunsWithAnotherConfiguration,
    what: "the configuration file given is not the one in force on the gateway",
    places: &[Place::Gateway(gateway::Rung::Speaks)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(misconfigured::runs_with_another_configuration)],
    page: PAGE,
};

const PAGE: &str = r"# gateway-runs-with-another-configuration
The gateway sends under its registered EUI, but the configuration file at
hand has another one: the gateway does not run with this file.

## What is seen
In the capture: datagrams with the EUI that the roster has, and none with
the gateway_ID of the file. Whatever else the file says (server, ports,
channels) may not hold for this gateway either.

## Why it happens
A forwarder often reads two files, and the second overrides members of the
first: the EUI is typically in the second. Or the file was changed and the
forwarder not restarted, or the file was copied from another gateway, or it
is the file that the gateway was shipped with.

## How to be sure
That the file is not in force is certain: its EUI is not the one sent. Why
is open. Nothing else in the file is compared, since it may all be another
gateway's. If the file's EUI is sent and the roster has another one, it is
gateway-registered-under-another-eui instead. Upper and lower case of the
digits make no difference.

## What to do
1. Look for a second file next to it, and give both, in the order in which
   the forwarder reads them: `--gateway-config FIRST --gateway-config SECOND`.
2. Restart the forwarder, if the file was changed.
3. Fetch the file from the gateway itself.

## Example
The orchard's gateway sends as 02-00-00-FF-FE-0C-F0-01, which the roster
has. The file from the laptop has gateway_ID 020000FFFE0CF002: it is the one
of the gateway in the south shed.

## Source
Two files of which one overrides the other: common practice.
";
