//! One gateway.

use std::fmt;

use super::escape::{code, plain};
use crate::{
    ladder::{GatewayDiagnosis, GatewayOutcome, RungView},
    words::sentence,
};

pub(super) fn page(gateway: &GatewayDiagnosis, out: &mut dyn fmt::Write) -> fmt::Result {
    let eui = gateway.eui.map(|eui| eui.to_string());
    let name = gateway.name.as_deref().or(eui.as_deref()).unwrap_or("without a name");
    writeln!(out, "## Gateway {}: {}\n", code(name), gateway.outcome.words())?;
    if let (Some(eui), Some(_)) = (&eui, &gateway.name) {
        writeln!(out, "EUI {eui}.\n")?;
    }
    for (i, verdict) in gateway.causes.iter().enumerate() {
        let said = |words: String| plain(&sentence(&words));
        writeln!(out, "### {}\n", if i == 0 { "Why" } else { "And" })?;
        writeln!(out, "**{}**\n", said(verdict.summary.to_string()))?;
        let chance = verdict.false_match.filter(|p| *p > 0.0);
        let chance =
            chance.map(|p| format!(", false-match probability {p:.0e}")).unwrap_or_default();
        writeln!(
            out,
            "{}, {}{chance}.\n",
            code(verdict.cause.id.name()),
            verdict.certainty.name()
        )?;
        writeln!(out, "**What to do.** {}\n", said(verdict.remedy.to_string()))?;
        for line in &verdict.evidence {
            writeln!(out, "- {}", plain(&line.to_string()))?;
        }
        writeln!(out)?;
    }
    if !gateway.next.is_empty() {
        writeln!(out, "### What would decide\n")?;
        for step in &gateway.next {
            writeln!(out, "- {}", plain(&sentence(&step.to_string())))?;
        }
        writeln!(out)?;
    }
    // Of a gateway that is not in the capture there is one thing to say.
    let is_absent = gateway.outcome == GatewayOutcome::Silent && gateway.causes.is_empty();
    writeln!(out, "### The gateway's ladder\n")?;
    writeln!(out, "| # | Rung | State | Evidence |\n|---|---|---|---|")?;
    for RungView { number, name, judgement, .. } in
        gateway.ladder.view().take(if is_absent { 1 } else { usize::MAX })
    {
        let evidence: Vec<String> =
            judgement.evidence.iter().map(|fact| plain(&fact.to_string())).collect();
        let state = judgement.state.name();
        writeln!(out, "| {number} | {name} | {state} | {} |", evidence.join("<br>"))?;
    }
    writeln!(out)
}
