//! A fleet's summary, as text and as JSON.

use std::fmt;

use super::{Style, json::SCHEMA, text::Tone};
use crate::{
    id::{DevAddr, DevEui, Eui64},
    ladder::{Diagnosis, GatewayDiagnosis, Summary, Verdict},
    words::Count,
};

/// Writes a summary on one page.
///
/// # Errors
/// Whatever the writer says.
pub fn text(summary: &Summary<'_>, style: Style, out: &mut dyn fmt::Write) -> fmt::Result {
    let title = |words: &str| style.paint(Tone::Title, words).to_string();
    if summary.gateways > 0 {
        writeln!(out, "{}", title(&Count(summary.gateways, "gateway").to_string()))?;
        for (outcome, count) in &summary.gateway_outcomes {
            writeln!(out, "  {count:>8}  {}", outcome.words())?;
        }
        writeln!(out)?;
    }
    let mut nodes = Count(summary.nodes, "node").to_string();
    if summary.strangers > 0 {
        nodes = format!("{nodes}, {} of them not on the roster", summary.strangers);
    }
    writeln!(out, "{}", title(&nodes))?;
    for (outcome, count) in &summary.outcomes {
        writeln!(out, "  {count:>8}  {}", outcome.words())?;
    }
    writeln!(out, "\n{}", title("Causes"))?;
    if summary.causes.is_empty() {
        writeln!(out, "  none found")?;
    } else {
        writeln!(out, "  {:>8} {:>8} {:>8}", "nodes", "gateways", "certain")?;
    }
    for of in &summary.causes {
        writeln!(out, "  {:>8} {:>8} {:>8}  {}", of.nodes, of.gateways, of.certain, of.cause)?;
    }
    if !summary.worst_gateways.is_empty() {
        writeln!(out, "\n{}", title("Gateways with most against them"))?;
        for gateway in &summary.worst_gateways {
            let why = first(&gateway.causes).unwrap_or("no cause found");
            writeln!(out, "  {}  {}: {why}", gateway_name(gateway), gateway.outcome.words())?;
        }
    }
    if !summary.worst_nodes.is_empty() {
        writeln!(out, "\n{}", title("Nodes with most against them"))?;
        for node in &summary.worst_nodes {
            let why = first(&node.causes).unwrap_or("no cause found");
            writeln!(out, "  {}  {}: {why}", node_name(node), node.outcome.words())?;
        }
        writeln!(out, "\nhandfast diagnose ... --node NAME shows one of them.")?;
    }
    Ok(())
}

/// Writes a summary as one JSON object on one line.
///
/// # Errors
/// Whatever the writer says.
pub fn json(summary: &Summary<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    let gateway_outcomes: serde_json::Map<_, _> = summary
        .gateway_outcomes
        .iter()
        .map(|(outcome, count)| (outcome.name().to_owned(), (*count).into()))
        .collect();
    let outcomes: serde_json::Map<_, _> = summary
        .outcomes
        .iter()
        .map(|(outcome, count)| (outcome.name().to_owned(), (*count).into()))
        .collect();
    let causes = summary.causes.iter().map(|of| {
        serde_json::json!({
            "id": of.cause.name(), "nodes": of.nodes, "gateways": of.gateways,
            "certain": of.certain,
        })
    });
    let causes: Vec<_> = causes.collect();
    let gateways = summary.worst_gateways.iter().map(|one| {
        serde_json::json!({
            "name": one.name, "eui": one.eui.map(Eui64::hex),
            "outcome": one.outcome.name(), "causes": ids(&one.causes),
        })
    });
    let gateways: Vec<_> = gateways.collect();
    let nodes = summary.worst_nodes.iter().map(|one| {
        serde_json::json!({
            "name": one.name, "dev_eui": one.dev_eui.map(DevEui::hex),
            "dev_addr": one.dev_addr.map(DevAddr::hex),
            "outcome": one.outcome.name(), "causes": ids(&one.causes),
        })
    });
    let nodes: Vec<_> = nodes.collect();
    let object = serde_json::json!({
        "schema": SCHEMA,
        "summary": {
            "gateways": {"count": summary.gateways, "outcomes": gateway_outcomes, "worst": gateways},
            "nodes": {
                "count": summary.nodes, "strangers": summary.strangers, "outcomes": outcomes,
                "worst": nodes,
            },
            "causes": causes,
        },
    });
    writeln!(out, "{object}")
}

fn first(causes: &[Verdict]) -> Option<&'static str> {
    causes.first().map(|verdict| verdict.cause.id.name())
}

fn ids(causes: &[Verdict]) -> Vec<&'static str> {
    causes.iter().map(|verdict| verdict.cause.id.name()).collect()
}

fn gateway_name(gateway: &GatewayDiagnosis) -> String {
    match (&gateway.name, gateway.eui) {
        (Some(name), _) => name.clone(),
        (None, Some(eui)) => eui.to_string(),
        (None, None) => "a gateway without EUI".to_owned(),
    }
}

fn node_name(node: &Diagnosis) -> String {
    match (&node.name, node.dev_eui, node.dev_addr) {
        (Some(name), ..) => name.clone(),
        (None, Some(eui), _) => eui.to_string(),
        (None, None, Some(addr)) => addr.to_string(),
        (None, None, None) => "a node without EUI".to_owned(),
    }
}
