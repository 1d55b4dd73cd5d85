//! Cause `cflist-type-does-not-fit-the-region`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Value, fact},
    frame::CfListType,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            acceptable::{MOST_TOLD, opened_and_refused, terms::cflist_fault},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CflistTypeDoesNotFitTheRegion,
    what: "the CFList's type is not one of the region",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let wrong: Vec<_> = opened_and_refused(case)
        .into_iter()
        .filter_map(|(_, answer, opening)| {
            Some((answer, opening, cflist_fault(case, &opening.opened.accept)?))
        })
        .collect();
    let (_, opening, (fault, certainty)) = wrong.first()?;
    let plan = case.plan?;
    let mut finding = Finding::new(
        *certainty,
        fact!(
            "the accept opens and authenticates, but carries a {fault}; nodes may drop all of it",
            fault = fault.clone()
        ),
        fact!(
            "send no CFList, or one that {region} allows: set the server's region and revision to \
             the node's",
            region = plan.name
        ),
    );
    if let Some(list) = opening.opened.accept.cf_list {
        finding.add(if list.kind() == CfListType::Frequencies {
            fact!(
                "the list: {frequencies}",
                frequencies =
                    Value::list(list.frequencies().filter(|hz| *hz > 0).map(Value::Frequency))
            )
        } else {
            fact!("the list: {cf_list}", cf_list = Value::Bytes(list.0.to_vec()))
        });
    }
    for (answer, _, (fault, _)) in wrong.iter().take(MOST_TOLD) {
        finding.add(fact!("{accept}: {fault}", accept = &answer.sending, fault = fault.clone()));
    }
    Some(finding)
}

const PAGE: &str = r#"# cflist-type-does-not-fit-the-region
The accept carries a CFList of a type that the node's region or revision
does not know.

## What is seen
At the server: accept sent. At the gateway: sent in time. At the node: the
accept authenticates and is dropped, or the list is ignored and the node
keeps its default channels.

## Why it happens
CFList type 0 holds five frequencies and belongs to dynamic plans. Type 1
holds channel masks and belongs to fixed plans (US915, AU915, CN470); later
revisions allow it in some dynamic plans with a fixed list. A server built
from another region's template sends the wrong one. Before the regional
parameters 1.0.3 the fixed plans had no CFList at all.

## How to be sure
Open the accept: 33 bytes, last byte of CFList = CFListType. Compare with
the plan: type 0 in a fixed plan is wrong in every revision. Type 1 in a
dynamic plan depends on the revision: nodes up to RP002-1.0.3 do not take
it. EU433 and CN779 know type 0 only.

What the node does is not settled: some drop the complete accept, others skip
the list. So "the list is wrong" is certain, "the node refuses the accept
for it" is likely when rungs 1 to 8 hold and it asks again. An absent CFList
is never a fault. In old nodes byte 15 was RFU and could be anything.

## What to do
1. In US915, AU915 and CN470 send type 1 or none.
2. In dynamic plans send type 0 or none, unless the node's revision allows
   type 1.
3. Set the region of the device profile, not only of the gateway.
4. Check the frequencies or masks at the same time, against what is allowed
   at the place.

## Example
US915. Accept for probe-07, opened: CFList 184F84 E85684 B85E84 886684
586E84 00. That is type 0: 867.1, 867.3, 867.5, 867.7, 867.9 MHz, channels
of a European template. The probe asks again; without CFList it joins.

## Source
RP002-1.0.4, 2.3.1-2.3.2; RP002-1.0.5, 3.3.1; RP002-1.0.1, 2.5.4, 2.8.4.
"#;
