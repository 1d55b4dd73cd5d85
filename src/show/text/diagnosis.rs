//! A diagnosis as people read it: the outcome, why, what to do, and the ladder that shows it.

use std::fmt;

use super::{Tone, wrap};
use crate::{
    fact::{Fact, text},
    ladder::{
        Diagnosis, GatewayDiagnosis, GatewayOutcome, Ladder, Outcome, RungView, Rungs, State,
        Verdict,
    },
    show::{Secrets, Style, headline},
    words::Count,
    words::sentence,
};

/// How much of a ladder is told.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Depth {
    /// A mark a rung, and what is said of those that are broken; where none is, of what is not decided.
    Marks,
    /// What is said of every rung.
    Full,
}

/// Returns what the marks of [`Depth::Marks`] mean.
pub fn legend(style: Style) -> String {
    let words = "Ladders: + proven, X broken, ? not decided. --full says what shows each rung.";
    format!("{}\n", style.paint(Tone::Quiet, words))
}

/// Columns before the words of an entry.
const INDENT: usize = 4;

/// Writes one node's diagnosis.
///
/// # Errors
/// Whatever the writer says.
pub fn diagnosis(
    diagnosis: &Diagnosis,
    style: Style,
    secrets: Secrets,
    depth: Depth,
    out: &mut dyn fmt::Write,
) -> fmt::Result {
    let page = Page { style, secrets, depth };
    page.title(diagnosis, out)?;
    for (i, verdict) in diagnosis.causes.iter().enumerate() {
        page.cause(verdict, i, out)?;
    }
    if let Some(words) = headline::of_node(diagnosis) {
        page.paragraph(Tone::Plain, "", &words, 2, out)?;
    }
    writeln!(out)?;
    let is_open = diagnosis.outcome == Outcome::CannotTell;
    if let Some(ladder) = &diagnosis.join {
        page.ladder("Join", ladder, is_open, out)?;
    }
    if let Some(session) = &diagnosis.session {
        if depth == Depth::Full {
            writeln!(out, "\n  {} {}", style.paint(Tone::Title, "Session"), session.dev_addr)?;
        }
        page.ladder("Session", &session.ladder, is_open, out)?;
    }
    page.next(&diagnosis.next, out)
}

/// Writes one gateway's diagnosis.
///
/// # Errors
/// Whatever the writer says.
pub fn gateway(
    diagnosis: &GatewayDiagnosis,
    style: Style,
    depth: Depth,
    out: &mut dyn fmt::Write,
) -> fmt::Result {
    let page = Page { style, secrets: Secrets::Hidden, depth };
    let name = gateway_name(diagnosis);
    let title = style.paint(Tone::Title, &name);
    let outcome = style.paint(gateway_tone(diagnosis), diagnosis.outcome.words());
    writeln!(out, "{title}: {outcome}")?;
    if let (Some(eui), Some(_)) = (diagnosis.eui, &diagnosis.name) {
        page.paragraph(Tone::Quiet, "", &format!("EUI {eui}"), 2, out)?;
    }
    for (i, verdict) in diagnosis.causes.iter().enumerate() {
        page.cause(verdict, i, out)?;
    }
    // Of a gateway that is not in the capture there is one thing to say.
    let is_absent = diagnosis.outcome == GatewayOutcome::Silent && diagnosis.causes.is_empty();
    if is_absent {
        let said = diagnosis.ladder.view().next().map(|rung| &rung.judgement.evidence);
        for fact in said.into_iter().flatten() {
            page.paragraph(Tone::Plain, "", &sentence(&page.words(fact)), 2, out)?;
        }
    } else {
        writeln!(out)?;
        let is_open = diagnosis.outcome == GatewayOutcome::CannotTell;
        page.ladder("Gateway", &diagnosis.ladder, is_open, out)?;
    }
    page.next(&diagnosis.next, out)
}

/// Writes the gateways of a capture on one line each.
///
/// # Errors
/// Whatever the writer says.
pub fn gateways(all: &[GatewayDiagnosis], style: Style, out: &mut dyn fmt::Write) -> fmt::Result {
    writeln!(out, "{}", style.paint(Tone::Title, "All gateways"))?;
    let wide = widest(all.iter().map(gateway_name));
    for diagnosis in all {
        let why = match (diagnosis.causes.first(), diagnosis.ladder.first_broken()) {
            (Some(verdict), _) => verdict.cause.id.name().to_owned(),
            (None, Some(rung)) => format!("broken at {}", rung.name()),
            (None, None) => String::new(),
        };
        let outcome = (diagnosis.outcome.words(), gateway_tone(diagnosis));
        line((&gateway_name(diagnosis), wide), outcome, &why, style, out)?;
    }
    Ok(())
}

fn gateway_name(diagnosis: &GatewayDiagnosis) -> String {
    match (&diagnosis.name, diagnosis.eui) {
        (Some(name), _) => format!("Gateway {name}"),
        (None, Some(eui)) => format!("Gateway {eui}"),
        (None, None) => "A gateway without a name".into(),
    }
}

fn gateway_tone(diagnosis: &GatewayDiagnosis) -> Tone {
    match diagnosis.outcome {
        GatewayOutcome::Working if !diagnosis.has_fault() => Tone::Good,
        GatewayOutcome::CannotTell | GatewayOutcome::Silent if !diagnosis.has_fault() => Tone::Open,
        _ => Tone::Bad,
    }
}

/// Writes the nodes of a capture on one line each, for the head of a long report.
///
/// # Errors
/// Whatever the writer says.
pub fn overview(all: &[Diagnosis], style: Style, out: &mut dyn fmt::Write) -> fmt::Result {
    writeln!(out, "{}", style.paint(Tone::Title, "All nodes"))?;
    let wide = widest(all.iter().map(name));
    for diagnosis in all {
        let name = name(diagnosis);
        let cause = match (diagnosis.causes.first(), diagnosis.first_broken()) {
            (Some(verdict), _) => verdict.cause.id.name().to_owned(),
            // What a neighbour's node lacks is no fault.
            (None, _) if diagnosis.stranger => "on no roster".to_owned(),
            (None, Some(rung)) => format!("broken at {}", rung.rung()),
            (None, None) => String::new(),
        };
        let outcome = (diagnosis.outcome.words(), tone(diagnosis));
        line((&name, wide), outcome, &cause, style, out)?;
    }
    Ok(())
}

/// The column of names: as wide as the widest, but for one that is very wide.
fn widest(names: impl Iterator<Item = String>) -> usize {
    names.map(|name| name.chars().count()).max().unwrap_or_default().min(24)
}

/// A line of an overview: who, how it ended, why.
fn line(
    (name, wide): (&str, usize),
    (words, tone): (&str, Tone),
    cause: &str,
    style: Style,
    out: &mut dyn fmt::Write,
) -> fmt::Result {
    let outcome = style.paint(tone, words);
    let used = 3 + name.chars().count().max(wide) + 18;
    write!(out, "  {name:<wide$} {outcome}")?;
    if cause.is_empty() {
        writeln!(out)
    } else if used + 1 + cause.len() <= style.width {
        writeln!(out, "{:1$} {cause}", "", 18usize.saturating_sub(words.len()))
    } else {
        writeln!(out, "\n      {cause}")
    }
}

fn name(diagnosis: &Diagnosis) -> String {
    match (&diagnosis.name, diagnosis.dev_eui) {
        (Some(name), _) => name.clone(),
        (None, Some(eui)) => eui.to_string(),
        (None, None) => "a stranger".into(),
    }
}

fn tone(diagnosis: &Diagnosis) -> Tone {
    match diagnosis.outcome {
        _ if diagnosis.is_fine() => Tone::Good,
        Outcome::Joined | Outcome::Session if !diagnosis.has_fault() => Tone::Open,
        Outcome::CannotTell | Outcome::AcceptedUnproven | Outcome::NotHeard => Tone::Open,
        _ => Tone::Bad,
    }
}

/// A rung's state: its mark, its word, and how it is painted.
const fn shown(state: State) -> (&'static str, &'static str, Tone) {
    match state {
        State::Proven => ("+", "proven ", Tone::Good),
        State::Broken => ("X", "BROKEN ", Tone::Bad),
        State::Unknown => ("?", "unknown", Tone::Open),
    }
}

struct Page {
    style: Style,
    secrets: Secrets,
    depth: Depth,
}

impl Page {
    fn words(&self, fact: &Fact) -> String {
        text(fact, self.secrets)
    }

    fn title(&self, diagnosis: &Diagnosis, out: &mut dyn fmt::Write) -> fmt::Result {
        let name = name(diagnosis);
        let outcome = diagnosis.outcome.words();
        writeln!(
            out,
            "{}: {}",
            self.style.paint(Tone::Title, &name),
            self.style.paint(tone(diagnosis), outcome)
        )?;
        let mut words = Vec::new();
        if let (Some(eui), Some(_)) = (diagnosis.dev_eui, &diagnosis.name) {
            words.push(format!("DevEUI {eui}"));
        }
        if diagnosis.name.is_none() {
            words.push("on no roster".into());
        }
        words.extend(diagnosis.join_eui.map(|eui| format!("JoinEUI {eui}")));
        if let Some(plan) = diagnosis.plan {
            words.push(plan.name.to_owned());
        }
        if !words.is_empty() {
            self.paragraph(Tone::Quiet, "", &words.join(", "), 2, out)?;
        }
        let (attempts, frames) = diagnosis.forgotten;
        if attempts + frames > 0 {
            let (requests, frames) = (Count(attempts, "request"), Count(frames, "data frame"));
            let words = match diagnosis.before {
                Some(time) => format!(
                    "{requests} and {frames} before {time}, or many and alike, are counted; the rest \
                     was judged one by one"
                ),
                None => format!(
                    "{requests} and {frames} that were many and alike are counted, the rest was judged \
                     one by one"
                ),
            };
            self.paragraph(Tone::Quiet, "", &words, 2, out)?;
        }
        Ok(())
    }

    fn cause(&self, verdict: &Verdict, place: usize, out: &mut dyn fmt::Write) -> fmt::Result {
        writeln!(out)?;
        let head = if place == 0 { "Why" } else { "And" };
        let sure = match verdict.false_match {
            Some(p) if p > 0.0 => {
                format!("{}, false-match probability {p:.0e}", verdict.certainty.name())
            }
            _ => verdict.certainty.name().to_owned(),
        };
        writeln!(
            out,
            "  {} {}",
            self.style.paint(Tone::Title, head),
            self.style.paint(Tone::Bad, verdict.cause.id.name())
        )?;
        self.paragraph(Tone::Quiet, "", &format!("({sure})"), INDENT, out)?;
        self.paragraph(Tone::Plain, "", &sentence(&self.words(&verdict.summary)), INDENT, out)?;
        for evidence in &verdict.evidence {
            self.paragraph(Tone::Plain, "- ", &self.words(evidence), INDENT, out)?;
        }
        self.paragraph(
            Tone::Plain,
            "What to do: ",
            &sentence(&self.words(&verdict.remedy)),
            INDENT,
            out,
        )
    }

    fn next(&self, steps: &[Fact], out: &mut dyn fmt::Write) -> fmt::Result {
        if steps.is_empty() {
            return Ok(());
        }
        writeln!(out, "\n  {}", self.style.paint(Tone::Title, "What would decide"))?;
        for step in steps {
            self.paragraph(Tone::Plain, "- ", &self.words(step), INDENT, out)?;
        }
        Ok(())
    }

    fn ladder<R: Rungs>(
        &self,
        name: &str,
        ladder: &Ladder<R>,
        is_open: bool,
        out: &mut dyn fmt::Write,
    ) -> fmt::Result {
        if self.depth == Depth::Marks {
            return self.marks(name, ladder, is_open, out);
        }
        let widest = ladder.view().map(|rung| rung.name.len()).max().unwrap_or_default();
        for rung in ladder.view() {
            self.rung(rung, (widest + 1).max(11), out)?;
        }
        Ok(())
    }

    /// A mark a rung, in groups of five, and the rungs on which all hangs: those that are broken, or else what is
    /// not decided, all of it where the verdict `is_open`.
    fn marks<R: Rungs>(
        &self,
        name: &str,
        ladder: &Ladder<R>,
        is_open: bool,
        out: &mut dyn fmt::Write,
    ) -> fmt::Result {
        write!(out, "  {name:<8} ")?;
        for (i, rung) in ladder.view().enumerate() {
            let (mark, _, tone) = shown(rung.judgement.state);
            let gap = if i > 0 && i % 5 == 0 { " " } else { "" };
            write!(out, "{gap}{}", self.style.paint(tone, mark))?;
        }
        writeln!(out)?;
        let state = |rung: &RungView<'_>| rung.judgement.state;
        let broken: Vec<_> = ladder.view().filter(|r| state(r) == State::Broken).collect();
        let told = if broken.is_empty() {
            let most = if is_open { usize::MAX } else { 1 };
            ladder.view().filter(|rung| state(rung) == State::Unknown).take(most).collect()
        } else {
            broken
        };
        let widest = told.iter().map(|rung: &RungView<'_>| rung.name.len()).max();
        for rung in told {
            self.rung(rung, (widest.unwrap_or_default() + 1).max(11), out)?;
        }
        Ok(())
    }

    fn rung(&self, rung: RungView<'_>, wide: usize, out: &mut dyn fmt::Write) -> fmt::Result {
        let (_, word, tone) = shown(rung.judgement.state);
        let head = format!("  {:>2} {:<wide$}", rung.number, rung.name);
        let room = self.style.width.saturating_sub(head.len() + word.len() + 2);
        let mut first = true;
        for evidence in &rung.judgement.evidence {
            for line in wrap(&self.words(evidence), room) {
                if first {
                    writeln!(out, "{head}{}  {line}", self.style.paint(tone, word))?;
                    first = false;
                } else {
                    writeln!(out, "{:1$}{line}", "", head.len() + word.len() + 2)?;
                }
            }
        }
        if first {
            writeln!(out, "{head}{}", self.style.paint(tone, word.trim_end()))?;
        }
        Ok(())
    }

    /// Writes wrapped words behind a lead; further lines stand under the first word.
    fn paragraph(
        &self,
        tone: Tone,
        lead: &str,
        words: &str,
        indent: usize,
        out: &mut dyn fmt::Write,
    ) -> fmt::Result {
        let hang = if lead.len() > 4 { 0 } else { lead.len() };
        let room = self.style.width.saturating_sub(indent + hang);
        // A long lead is part of the text, a short one hangs before it.
        let text = if hang == 0 { format!("{lead}{words}") } else { words.to_owned() };
        for (i, line) in wrap(&text, room).iter().enumerate() {
            let lead = if i == 0 && hang > 0 { lead } else { "" };
            writeln!(out, "{:indent$}{lead:hang$}{}", "", self.style.paint(tone, line))?;
        }
        Ok(())
    }
}
