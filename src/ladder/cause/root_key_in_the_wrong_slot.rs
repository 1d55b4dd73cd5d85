//! Cause `root-key-in-the-wrong-slot`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::{
    fact::fact,
    frame::MacVersion,
    ladder::{
        finding::Finding,
        join::{self, Case, why::Scope},
    },
    trace::Role,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RootKeyInTheWrongSlot,
    what: "the key that signs is kept under the other root key's name",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let hit = hits::key_hit(case, CauseId::RootKeyInTheWrongSlot)?;
    // Of the claim that keeps the key: the two sides may differ.
    let version = match hit.scope {
        Scope::Reference => case.reference().and_then(|(_, claim)| claim.mac_version),
        Scope::Beyond => case.node_version().or(case.record_version()),
    };
    let is_1_1 = version == Some(MacVersion::V1_1);
    let remedy = match hit.name {
        name if is_1_1 && name == Role::AppKey.name() => {
            "1.1 signs with NwkKey: put each root key into the field of its own name on both sides; \
             or, if the node is 1.0.x, set the record to that version"
        }
        name if !is_1_1 && name == Role::NwkKey.name() => {
            "put the 1.0.x root key, the record's AppKey, into the field that the stack calls \
             NwkKey (and into AppKey too, if it asks for both)"
        }
        _ => "put each root key into the field of its own name on both sides",
    };
    Some(hit.finding(
        fact!(
            "the MIC holds under {key}, which {version} does not use for it",
            key = hit.label.clone(),
            version = version.map_or("this version", MacVersion::name)
        ),
        remedy,
    ))
}

const PAGE: &str = r#"# root-key-in-the-wrong-slot
The MIC holds under a key that one side keeps under the other root key's
name.

## What is seen
At the server: wrong MIC. At the node: attempts without answer. Both sides
show the same AppKey, and no digit differs.

## Why it happens
LoRaWAN 1.0.x has one root key, AppKey. 1.1 has two, and the one that signs
the Join-Request is NwkKey. Several stacks use the 1.1 names for both
versions: the AppKey of a 1.0.x registration belongs in their field NwkKey,
and their field AppKey holds something else, such as the root for multicast
keys. Who fills only the field called AppKey leaves the signing key at a
sample or zero value. Servers can have the same trap in their forms.

## How to be sure
Compute the MIC under all four: the node's NwkKey and AppKey, the server's
NwkKey and AppKey. This cause is proven when it holds under a value that one
side holds in one slot while the other side expects it in the other. Each
trial adds 1 in 4 294 967 296 for one frame.

Two false verdicts are common: "the key is unknown", as the two AppKey
fields agree; and "the node is 1.1", because it has a field NwkKey. The
frame shows no version. Setting the server to 1.1 so that names match makes
the next fault: server-says-1.1-node-is-1.0.

## What to do
1. For a 1.0.x node put the registered AppKey into the field that its stack
   signs with, usually NwkKey.
2. If the stack asks for both, fill both alike, unless you use package keys
   that need their own root.
3. Leave the server's MAC version at the node's true version.
4. Note it in the build instructions; the next person falls into it again.

## Example
A 1.0.3 probe: field AppKey = the record's AppKey, field NwkKey = sixteen
zero bytes, never filled. The request's MIC fails under the record and
holds under all zero. After the key was copied to the field NwkKey the first
attempt is answered.

## Source
LoRaWAN 1.0.4, 6.1 and p. 45; 1.1, 6.1.1.3 and 6.2.2. The naming of fields
is the stacks', not the standard's.
"#;
