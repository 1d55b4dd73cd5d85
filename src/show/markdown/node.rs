//! One node.

use std::fmt;

use super::escape::{code, plain};
use crate::{
    ladder::{RungView, Verdict},
    region::Megahertz,
    report::{
        BitsView, Channels, Exchange, FrameOctets, FrameView, Member, NodePage, ShownValue, Signal,
    },
    show::headline,
    words::{Count, sentence},
};

pub(super) fn page(node: &NodePage<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    head(node, out)?;
    for (i, verdict) in node.diagnosis.causes.iter().enumerate() {
        cause(i, verdict, node, out)?;
    }
    if !node.diagnosis.next.is_empty() {
        writeln!(out, "### What would decide\n")?;
        for step in &node.diagnosis.next {
            writeln!(out, "- {}", plain(&sentence(&node.words(step))))?;
        }
        writeln!(out)?;
    }
    writeln!(out, "### For the ticket\n\n> {}\n", plain(&node.ticket))?;
    ladder(node, out)?;
    claims(&node.members, out)?;
    exchanges(node, out)?;
    session(node, out)?;
    if let Some(used) = &node.channels {
        channels(used, out)?;
    }
    signal(&node.signal, out)?;
    frames(node, out)
}

fn head(node: &NodePage<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    let diagnosis = node.diagnosis;
    writeln!(out, "## {}: {}\n", code(&node.name), diagnosis.outcome.words())?;
    let mut facts = Vec::new();
    facts.extend(diagnosis.dev_eui.map(|eui| format!("DevEUI {eui}")));
    facts.extend(diagnosis.join_eui.map(|eui| format!("JoinEUI {eui}")));
    facts.extend(diagnosis.plan.map(|plan| plan.name.to_owned()));
    facts.push(format!("{} to join", Count(diagnosis.attempts, "attempt")));
    facts.push(format!("{} authenticated", Count(diagnosis.data, "data frame")));
    if let Some(words) = node.forgotten() {
        facts.push(words);
    }
    writeln!(out, "{}.\n", facts.join(", "))?;
    if let Some(words) = headline::of_node(diagnosis) {
        writeln!(out, "{words}\n")?;
    }
    Ok(())
}

fn cause(
    place: usize,
    verdict: &Verdict,
    node: &NodePage<'_>,
    out: &mut dyn fmt::Write,
) -> fmt::Result {
    writeln!(out, "### {}\n", if place == 0 { "Why" } else { "And" })?;
    writeln!(out, "**{}**\n", plain(&sentence(&node.words(&verdict.summary))))?;
    let chance = verdict.false_match.filter(|p| *p > 0.0);
    let chance = chance.map(|p| format!(", false-match probability {p:.0e}")).unwrap_or_default();
    writeln!(out, "{}, {}{chance}.\n", code(verdict.cause.id.name()), verdict.certainty.name())?;
    writeln!(out, "**What to do.** {}\n", plain(&sentence(&node.words(&verdict.remedy))))?;
    for line in &verdict.evidence {
        writeln!(out, "- {}", plain(&node.words(line)))?;
    }
    if verdict.evidence.is_empty() { Ok(()) } else { writeln!(out) }
}

fn ladder(node: &NodePage<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    if let Some(join) = &node.diagnosis.join {
        rungs("The join ladder", join.view(), node, out)?;
    }
    if let Some(session) = &node.diagnosis.session {
        let title = format!("The session ladder, DevAddr {}", session.dev_addr);
        rungs(&title, session.ladder.view(), node, out)?;
    }
    Ok(())
}

fn rungs<'a>(
    title: &str,
    ladder: impl Iterator<Item = RungView<'a>>,
    node: &NodePage<'_>,
    out: &mut dyn fmt::Write,
) -> fmt::Result {
    writeln!(out, "### {title}\n")?;
    writeln!(out, "| # | Rung | State | Evidence |\n|---|---|---|---|")?;
    for RungView { number, name, judgement, .. } in ladder {
        let evidence: Vec<String> =
            judgement.evidence.iter().map(|fact| plain(&node.words(fact))).collect();
        let state = judgement.state.name();
        writeln!(out, "| {number} | {name} | {state} | {} |", evidence.join("<br>"))?;
    }
    writeln!(out)
}

/// The places one above the other: in code, so that digits stand in columns.
fn claims(members: &[Member], out: &mut dyn fmt::Write) -> fmt::Result {
    if members.is_empty() {
        return Ok(());
    }
    writeln!(out, "### What each place states\n")?;
    writeln!(out, "| Member | Place | Value | |\n|---|---|---|---|")?;
    for member in members {
        for (i, (place, value)) in member.lines.iter().enumerate() {
            let (name, standing) =
                if i == 0 { (member.name, member.standing.words()) } else { ("", "") };
            writeln!(out, "| {name} | {place} | {} | {standing} |", value_cell(value))?;
        }
        if let Some(words) = &member.words {
            writeln!(out, "| | | {} | |", plain(words))?;
        }
    }
    writeln!(out)
}

fn value_cell(value: &ShownValue) -> String {
    match value {
        ShownValue::Text(text) => plain(text),
        ShownValue::Digits { digits, marks } => {
            let octets: Vec<String> = digits
                .as_bytes()
                .chunks(2)
                .map(|octet| String::from_utf8_lossy(octet).to_ascii_uppercase())
                .collect();
            format!("`{}`{}", octets.join(" "), places(marks))
        }
        ShownValue::Masked { marks } => format!("a key, not shown{}", places(marks)),
    }
}

fn places(marks: &[usize]) -> String {
    match marks {
        [] => String::new(),
        [one] => format!(", digit {one} differs"),
        all if all.len() > 4 => format!(", {} digits differ", all.len()),
        all => {
            let all: Vec<String> = all.iter().map(ToString::to_string).collect();
            format!(", digits {} differ", all.join(", "))
        }
    }
}

fn exchanges(node: &NodePage<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    if node.exchanges.is_empty() {
        return Ok(());
    }
    writeln!(out, "### The exchange in time\n")?;
    for exchange in &node.exchanges {
        timeline(exchange, out)?;
    }
    if node.more_attempts > 0 {
        writeln!(out, "Not shown: {}.\n", Count(node.more_attempts, "more attempt"))?;
    }
    Ok(())
}

fn session(node: &NodePage<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    let Some(session) = &node.session else { return Ok(()) };
    if !session.settings.is_empty() {
        writeln!(out, "### The settings of both sides\n")?;
        writeln!(
            out,
            "| Setting | In force | Set by | The server's last downlink |\n|---|---|---|---|"
        )?;
        for one in &session.settings {
            let differs = if one.differs { " **another value**" } else { "" };
            writeln!(
                out,
                "| {} | {} | {} | {}{differs} |",
                one.name,
                plain(&one.in_force),
                plain(&one.set_by),
                plain(&one.server)
            )?;
        }
        writeln!(out)?;
    }
    if !session.downlinks.is_empty() {
        writeln!(out, "### The downlinks in time\n")?;
        for downlink in &session.downlinks {
            timeline(downlink, out)?;
        }
        if session.more > 0 {
            writeln!(out, "Not shown: {}.\n", Count(session.more, "more downlink"))?;
        }
    }
    Ok(())
}

fn timeline(exchange: &Exchange, out: &mut dyn fmt::Write) -> fmt::Result {
    let told = if exchange.told { " (the ladder is about this one)" } else { "" };
    writeln!(out, "{}{told}; times are after the end of the uplink.\n", plain(&exchange.title))?;
    writeln!(out, "| What | When and where | |\n|---|---|---|")?;
    for bar in &exchange.bars {
        let verdict = match bar.fit.words() {
            "outside" => format!("**outside**: {}", plain(&bar.wrong.join("; "))),
            words => words.to_owned(),
        };
        writeln!(out, "| {} | {} | {verdict} |", plain(&bar.label), plain(&bar.detail))?;
    }
    writeln!(out)?;
    for note in &exchange.notes {
        writeln!(out, "{}\n", plain(note))?;
    }
    Ok(())
}

fn channels(channels: &Channels, out: &mut dyn fmt::Write) -> fmt::Result {
    writeln!(out, "### Channels\n")?;
    writeln!(out, "| MHz | Requests | Data | Plan |\n|---|---|---|---|")?;
    for used in channels.uses.iter().take(MOST) {
        let off = if used.off_plan { "**off the plan**: " } else { "" };
        writeln!(
            out,
            "| {} | {} | {} | {off}{} |",
            Megahertz(used.freq_hz),
            used.requests,
            used.data,
            plain(&used.words)
        )?;
    }
    writeln!(out)
}

fn signal(signal: &Signal, out: &mut dyn fmt::Write) -> fmt::Result {
    if signal.points.is_empty() {
        return Ok(());
    }
    writeln!(out, "### Signal\n")?;
    writeln!(out, "| Where | What | Gateway | Data rate | RSSI | SNR | Floor | Margin |")?;
    writeln!(out, "|---|---|---|---|---|---|---|---|")?;
    let number = |value: Option<f32>| value.map(|v| format!("{v:.1}")).unwrap_or_default();
    for point in &signal.points {
        writeln!(
            out,
            "| {} | {} | {} | {} | {} | {} | {} | {} |",
            plain(&point.place),
            point.what,
            point.gateway.map(|eui| eui.to_string()).unwrap_or_default(),
            point.modulation.map(|m| m.to_string()).unwrap_or_default(),
            number(point.rssi),
            number(point.snr),
            number(point.floor),
            number(point.margin())
        )?;
    }
    if signal.earlier > 0 {
        writeln!(out, "\n{} earlier receptions are not shown.", signal.earlier)?;
    }
    writeln!(out)
}

fn frames(node: &NodePage<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    if node.frames.is_empty() {
        return Ok(());
    }
    writeln!(out, "### Frames, byte by byte\n")?;
    for frame in &node.frames {
        one_frame(frame, out)?;
    }
    if node.more_frames > 0 {
        writeln!(out, "Not shown: {}.\n", Count(node.more_frames, "more frame"))?;
    }
    Ok(())
}

fn one_frame(frame: &FrameView, out: &mut dyn fmt::Write) -> fmt::Result {
    writeln!(out, "**{}**, {}: {}\n", frame.title, plain(&frame.place), plain(&frame.mic))?;
    for part in &frame.parts {
        fields(part, out)?;
    }
    for problem in &frame.problems {
        writeln!(out, "- {}", plain(problem))?;
    }
    if frame.problems.is_empty() { Ok(()) } else { writeln!(out) }
}

fn fields(part: &FrameOctets, out: &mut dyn fmt::Write) -> fmt::Result {
    writeln!(out, "| {} | Field | Value | Meaning |\n|---|---|---|---|", part.label)?;
    for field in &part.fields {
        let octets: Vec<String> = field
            .at
            .clone()
            .map(|at| match part.all.get(at).copied().flatten() {
                Some(octet) => format!("{octet:02X}"),
                None => "\u{2022}\u{2022}".into(),
            })
            .collect();
        let octets = octets.join(" ");
        let octets = if octets.is_empty() { octets } else { format!("`{octets}`") };
        let (value, meaning) = (plain(&field.value), plain(&field.meaning));
        writeln!(out, "| {octets} | {} | {value} | {meaning} |", field.name)?;
        for BitsView { place, name, digits, meaning } in &field.bits {
            writeln!(out, "| {place} | {name} | {digits} | {meaning} |")?;
        }
    }
    writeln!(out)
}

/// Rows of a table that people still read.
const MOST: usize = 100;
