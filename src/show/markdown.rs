//! A report as Markdown, for issue trackers: what the page says, less its drawings.
//!
//! Whatever comes from a roster or a capture is escaped, so that it is neither markup nor HTML, and
//! calls nobody by name.

mod escape;
mod gateway;
mod node;

use std::fmt;

use self::escape::{code, plain};
use crate::{report::Report, words::Count};

/// Writes the report as Markdown.
///
/// # Errors
/// Whatever the writer says.
pub fn report(report: &Report<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    writeln!(out, "# Join report\n")?;
    captured(report, out)?;
    if report.shows_keys {
        writeln!(
            out,
            "**This file holds keys.** Anyone who has it can read and forge the frames of these nodes.\n"
        )?;
    }
    if report.nodes.len() > 1 {
        list(report, out)?;
    }
    for one in report.gateways.iter().take(MOST_GATEWAYS) {
        gateway::page(one, out)?;
    }
    for page in &report.nodes {
        node::page(page, out)?;
    }
    strangers(report, out)?;
    gateways(report, out)?;
    writeln!(out, "Made by Handfast {}.", env!("CARGO_PKG_VERSION"))
}

fn captured(report: &Report<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    let about = &report.about;
    let mut parts = Vec::new();
    if let Some((from, to)) = about.span {
        let form = "%Y-%m-%d %H:%M:%SZ";
        parts.push(format!("captured {} to {}", from.strftime(form), to.strftime(form)));
    }
    parts.push(format!("{} frames read", about.frames));
    if about.crc_bad > 0 {
        parts.push(format!("{} receptions with a bad CRC passed over", about.crc_bad));
    }
    if about.stray_accepts > 0 {
        let accepts = Count(about.stray_accepts, "Join-Accept");
        parts.push(format!("{accepts} that answer no request in the capture"));
    }
    writeln!(out, "{}\n", crate::words::sentence(&parts.join("; ")))
}

fn list(report: &Report<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    writeln!(out, "| Node | Outcome | Why |")?;
    writeln!(out, "|---|---|---|")?;
    let told = report.nodes.iter().map(|node| (&node.name, node.diagnosis));
    let listed = report.listed.iter().map(|(name, diagnosis)| (name, *diagnosis));
    for (name, diagnosis) in told.chain(listed).take(MOST_LISTED) {
        let why = match (diagnosis.causes.first(), diagnosis.first_broken()) {
            (Some(verdict), _) => code(verdict.cause.id.name()),
            (None, Some(rung)) => format!("broken at rung {}, {}", rung.number(), rung.rung()),
            (None, None) => String::new(),
        };
        writeln!(out, "| {} | {} | {why} |", code(name), diagnosis.outcome.words())?;
    }
    writeln!(out)?;
    if !report.listed.is_empty() {
        let (told, more) = (report.nodes.len(), report.listed.len());
        writeln!(
            out,
            "{told} nodes are below, those with a fault first; {more} more are not: \
             `handfast diagnose` prints all.\n"
        )?;
    }
    Ok(())
}

fn strangers(report: &Report<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    if report.strangers.is_empty() && report.foreign.is_empty() {
        return Ok(());
    }
    writeln!(out, "## Heard, and on no roster\n")?;
    if !report.strangers.is_empty() {
        writeln!(out, "| DevEUI | JoinEUI | Requests | Answered | Strongest |")?;
        writeln!(out, "|---|---|---|---|---|")?;
        for one in report.strangers.iter().take(MOST) {
            let eui = one.dev_eui.map(|e| e.to_string()).unwrap_or_default();
            let join = one.join_eui.map(|e| e.to_string()).unwrap_or_default();
            let rssi = one.rssi.map(|r| format!("{r} dBm")).unwrap_or_default();
            writeln!(out, "| {eui} | {join} | {} | {} | {rssi} |", one.attempts, one.answered)?;
        }
        more(report.strangers.len(), out)?;
        writeln!(out)?;
    }
    if !report.foreign.is_empty() {
        writeln!(out, "| DevAddr that no key at hand belongs to | Data frames |")?;
        writeln!(out, "|---|---|")?;
        for (addr, n) in report.foreign.iter().take(MOST) {
            writeln!(out, "| {addr} | {n} |")?;
        }
        more(report.foreign.len(), out)?;
        writeln!(out)?;
    }
    if let (requests, frames) = report.unlisted
        && requests + frames > 0
    {
        writeln!(out, "Too many to list: {requests} requests and {frames} data frames more.\n")?;
    }
    Ok(())
}

fn more(total: usize, out: &mut dyn fmt::Write) -> fmt::Result {
    match total.checked_sub(MOST) {
        Some(n @ 1..) => writeln!(out, "\nAnd {n} more."),
        _ => Ok(()),
    }
}

fn gateways(report: &Report<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    let all = &report.about.gateways;
    if all.is_empty() {
        return Ok(());
    }
    writeln!(out, "## Gateways\n")?;
    writeln!(out, "| Gateway | Name | Frames heard | Bad CRC | Counter began again |")?;
    writeln!(out, "|---|---|---|---|---|")?;
    for one in all.iter().take(MOST) {
        let eui = one.eui.map_or_else(|| "none".into(), |eui| eui.to_string());
        let name = one.name.as_deref().map(plain).unwrap_or_default();
        let (frames, bad) = (one.frames, one.crc_bad);
        writeln!(out, "| {eui} | {name} | {frames} | {bad} | {} |", Count(one.restarts, "time"))?;
    }
    more(all.len(), out)?;
    writeln!(out)
}

/// Gateways that are told of in full.
const MOST_GATEWAYS: usize = 50;
/// Rows of a table that people still read.
const MOST: usize = 200;
/// Lines of a list that people still read.
const MOST_LISTED: usize = 1_200;
