//! `diagnose`: captures and a roster in, a verdict for every gateway and every node out.

use std::{
    collections::HashMap,
    io::{self, IsTerminal, Read},
    path::{Path, PathBuf},
    sync::atomic::{AtomicBool, Ordering},
};

use super::{
    Failure, Screen, UsageError, captures,
    claims::{self, ClaimArgs},
    console::Console,
    gateway_configs,
    growing::Growing,
    mistyped,
    read::WORKING_CAUTION,
    report_file::{self, Form},
    rosters,
    selection::{Gateways, Selection, Since, Who},
    values,
};
use crate::{
    demo,
    explore::near_miss::Effort,
    intake::{CaptureOptions, Event, Lost, Position, What},
    ladder::{self, Diagnosis, Findings, GatewayDiagnosis},
    region::Plan,
    report::{self, Report},
    roster::{self, Roster},
    show::{Secrets, json, text},
    trace::{ClockApart, Trace, Tracer},
    words::Count,
    working::{self, Sheet},
};

/// Options of `diagnose`.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
#[command(group = clap::ArgGroup::new("shown").args(["report", "working"]).multiple(true))]
#[expect(clippy::struct_excessive_bools, reason = "each is a switch of its own")]
pub struct DiagnoseArgs {
    /// Captures: lines of text or recorded packets, packed or not; `-` is standard input
    #[arg(value_name = "CAPTURE", required_unless_present = "demo")]
    captures: Vec<PathBuf>,
    /// Nodes and gateways with their credentials (TOML)
    #[arg(long, value_name = "FILE")]
    roster: Option<PathBuf>,
    /// What a node's own console said, by the node's name on the roster; may be repeated
    #[arg(long = "console", value_name = "NAME=FILE", value_parser = Console::parse)]
    consoles: Vec<Console>,
    /// A gateway's own configuration (JSON, comments allowed); a second file overrides the first
    #[arg(long, value_name = "FILE")]
    gateway_config: Vec<PathBuf>,
    /// Where claims are besides.
    #[command(flatten)]
    claims: ClaimArgs,
    /// Channel plan where the roster states none, such as EU868
    #[arg(long, value_name = "NAME", value_parser = values::plan)]
    region: Option<&'static Plan>,
    /// Run on an embedded capture of an orchard's soil probes
    #[arg(long, conflicts_with_all = ["captures", "roster", "firmware", "records", "label"])]
    #[arg(conflicts_with = "gateway_config")]
    demo: bool,
    /// How many wrong digits of a key to search for: 1, 2 or 3
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u8).range(1..=3))]
    digits: u8,
    /// Also write a report to be sent on: .html is a page, .md is for issue trackers
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Show the computations that decide each verdict, step by step; keys only with --show-keys
    #[arg(long)]
    working: bool,
    /// Show the roster's keys in report and working: whoever has them can then forge frames
    #[arg(long, requires = "shown")]
    show_keys: bool,
    /// Print one JSON object a gateway, then one a node
    #[arg(long)]
    json: bool,
    /// Judge only what was since then: so long before the last frame (90m, 2h, 3d), or a time
    #[arg(long, value_name = "SPAN", value_parser = Since::parse, help_heading = "Which of them")]
    since: Option<Since>,
    /// Which nodes and frames.
    #[command(flatten)]
    selection: Selection,
    /// Take only capture formats and bare frames; look for no frames hidden in other text
    #[arg(long)]
    strict: bool,
    /// Keep watching a capture that grows: print each node anew whose verdict changes
    #[arg(long, conflicts_with_all = ["demo", "report"])]
    follow: bool,
}

const EXAMPLES: &str = "\
Examples:
  handfast diagnose --demo
  handfast diagnose gateway.ndjson --roster orchard.toml
  handfast diagnose monday.ndjson tuesday.ndjson --roster orchard.toml --json
  cat gateway.ndjson | handfast diagnose - --region EU868
  tcpdump -i any -s 0 -w - udp | handfast diagnose - --roster orchard.toml
  handfast diagnose gateway.ndjson --roster orchard.toml --report orchard.html
  handfast diagnose server.log --roster orchard.toml --console probe-07=usb.log
  handfast diagnose gateway.ndjson --firmware probes.h --records export.json
  handfast diagnose gateway.ndjson --roster orchard.toml \\
    --gateway-config gateway.json

A capture holds the datagrams of a gateway's UDP protocol in order of arrival:
one JSON object a line, or packets as tcpdump records them (pcap, pcapng), or
frames as a receiver heard them (LoRaTap); or messages of the websocket station
protocol; gzip or zstd may be around it. In any other log frames are looked for,
unless --strict. Without a roster the report says what can be said without keys.
Keys near those on the roster are searched for typing slips; no other key is
ever tried.

What firmware, records and labels state may also come straight from where it is:
--firmware, --records, --label; `handfast roster` writes a roster from them.

A roster holds keys: keep it readable by yourself alone.

Exit status: 1 when a rung is broken or a cause is found, 2 when a capture or
the roster is not intact (everything intact is still judged) or the usage is
wrong.";

/// Set by Ctrl-C: the search around keys stops and says what it had covered.
static STOP: AtomicBool = AtomicBool::new(false);

/// Runs `diagnose`.
///
/// # Errors
/// [`Failure`] when the roster cannot be read or standard output does not take the report. Damaged
/// lines of a capture are told and passed over.
pub fn run(args: &DiagnoseArgs, screen: &mut Screen) -> Result<(), Failure> {
    // A name that says no form is told before the work, not after it.
    let form = args.report.as_deref().map(Form::of).transpose()?;
    if let Some(path) = mistyped::roster_among(args.captures.iter().map(PathBuf::as_path)) {
        return Err(UsageError::RosterAsCapture { path, other: args.roster.is_some() }.into());
    }
    let mut roster = roster(args, screen)?;
    for console in &args.consoles {
        console.add(&mut roster, screen)?;
    }
    let who = args.selection.who(Some(&roster))?;
    if args.digits == 3 {
        // Without a handler Ctrl-C ends the program, which is as well.
        let _ = ctrlc::set_handler(interrupted);
    }
    let gateways = args.selection.gateways(Some(&roster))?;
    let job = Job { args, roster: &roster, who: &who, gateways: &gateways };
    if args.working {
        let (kind, text) = if args.show_keys {
            ("caution", WORKING_CAUTION)
        } else {
            ("note", "keys and what tells of them are hidden; --show-keys shows them")
        };
        screen.word(kind, text);
    }
    if args.follow {
        return job.follow(screen);
    }
    let Some((trace, all, none)) = job.judge(screen) else { return Ok(()) };
    job.tell_clocks(&trace.clocks, screen);
    let printed = report(args, &all, none, &|one| job.worked(one, &trace), screen);
    if let (Some(file), Some(form)) = (&args.report, form) {
        let options = report::Options { show_keys: args.show_keys };
        let report = Report::new(&all.nodes, &trace, &roster, options).with_gateways(&all.gateways);
        // Whoever closes the pipe early wants the file all the same.
        report_file::write(&report, form, file, screen)?;
    }
    printed
}

/// What Ctrl-C does: the first time it stops a search, the second time the program.
fn interrupted() {
    if STOP.swap(true, Ordering::Relaxed) {
        std::process::exit(130);
    }
}

/// Why there is no node: nothing at all, or nothing that tells whose it is.
const NO_FRAME: &str = "the capture holds no frame of one";
const CUT: &str = "every frame in the capture is cut short (`handfast read` shows where it ends)";
const FOREIGN_DATA: &str =
    "the capture holds data frames, and no Join-Request or key that tells whose";

/// One reading of the captures.
struct Job<'a> {
    args: &'a DiagnoseArgs,
    roster: &'a Roster,
    who: &'a Who,
    gateways: &'a Gateways,
}

impl Job<'_> {
    /// Returns the verdicts, too, and why there are none, should there be none; nothing where no capture
    /// could be read, of which the errors speak.
    fn judge(&self, screen: &mut Screen) -> Option<(Trace, Findings, &'static str)> {
        let args = self.args;
        let mut taking = Taking::new(self);
        let mut take = |event| taking.take(event);
        if args.demo {
            let demo: (String, Box<dyn Read + Send>) =
                ("demo".to_owned(), Box::new(demo::CAPTURE.as_bytes()));
            captures::read(vec![demo], None, CaptureOptions::default(), screen, &mut take);
        } else {
            let unread = captures::read_all(&args.captures, args.strict, screen, &mut take);
            if unread.len() == args.captures.len() {
                return None;
            }
            if !unread.is_empty() {
                let words = format!("the verdicts are without {}", unread.join(", "));
                screen.word("caution", &words);
            }
        }
        taking.tell(screen);
        let none = self.why_none(&taking);
        let cut = taking.cut;
        let (trace, all) = self.verdicts(taking.tracer, screen);
        let none = match none {
            NO_FRAME if cut.all => CUT,
            NO_FRAME if !trace.foreign_data.is_empty() => FOREIGN_DATA,
            none => none,
        };
        Some((trace, all, none))
    }

    /// Why there is no node, where there is none.
    fn why_none(&self, taking: &Taking<'_>) -> &'static str {
        let named = !self.args.selection.nodes.is_empty();
        match (named, taking.taken, taking.left_out) {
            (_, 0, 0) => "nothing was read that could hold a frame of one",
            (true, ..) => "none of those that --node names is in the capture or on the roster",
            (_, 0, _) => "all of the capture was left out as not asked for",
            (.., 1..) => "what was not left out of the capture holds no frame of one",
            _ if self.roster.nodes.is_empty() => NO_FRAME,
            _ => "the capture holds no frame of one, and the roster none",
        }
    }

    fn verdicts(&self, tracer: Tracer<'_>, screen: &mut Screen) -> (Trace, Findings) {
        let args = self.args;
        let trace = tracer.finish_since(|end| Some(args.since?.time(end)));
        let bar = args.digits == 3 && io::stderr().is_terminal();
        let progress = Progress::new(bar);
        let show = |done, total| progress.show(done, total);
        let effort = Effort { max_digits: args.digits, stop: &STOP, progress: Some(&show) };
        let options = ladder::Options { plan: args.region, effort };
        let mut all = ladder::judge(&trace, self.roster, options);
        progress.end();
        all.nodes.retain(|diagnosis| {
            let node = trace.nodes.get(diagnosis.place);
            node.is_some_and(|node| self.who.is(diagnosis.name.as_deref(), node))
        });
        all.gateways.retain(|gateway| self.tells_of(gateway));
        let faulty = all.nodes.iter().any(Diagnosis::has_fault)
            || all.gateways.iter().any(GatewayDiagnosis::has_fault);
        if faulty {
            screen.fault_found();
        }
        (trace, all)
    }

    /// Whether a gateway is wanted, and nothing that it did was left out.
    fn tells_of(&self, gateway: &GatewayDiagnosis) -> bool {
        let Selection { nodes, messages, .. } = &self.args.selection;
        nodes.is_empty() && messages.is_empty() && self.gateways.keep(gateway.eui)
    }

    /// Tells the clocks that were set right.
    fn tell_clocks(&self, clocks: &[ClockApart], screen: &mut Screen) {
        let name = |source: u16| match self.args.captures.get(usize::from(source)) {
            Some(path) if path == Path::new("-") => "standard input".to_owned(),
            Some(path) => path.display().to_string(),
            None => format!("capture {}", source + 1),
        };
        for ClockApart { source, against, ahead, frames } in clocks {
            let side = if ahead.is_negative() { "behind" } else { "ahead" };
            let words = format!(
                "{}: its clock seems {:#} {side}, by {} that {} has as well: its times are \
                 corrected by that; give it alone if it was recorded later",
                name(*source),
                ahead.abs(),
                Count(*frames, "frame"),
                name(*against),
            );
            screen.word("caution", &words);
        }
    }

    /// The computations that decide, where they are asked for.
    fn worked(&self, one: &Diagnosis, trace: &Trace) -> Vec<Sheet> {
        if self.args.working { working::of_node(one, trace, self.roster) } else { Vec::new() }
    }

    /// Reads on as the captures grow, until interrupted or standard input ends; judges anew whenever
    /// something came and then nothing for a moment.
    fn follow(&self, screen: &mut Screen) -> Result<(), Failure> {
        let mut growing = Growing::open(&self.args.captures, self.args.strict, screen);
        let mut taking = Taking::new(self);
        let mut told: HashMap<String, String> = HashMap::new();
        let (mut first, mut clocks) = (true, Vec::new());
        loop {
            let mut take = |event| taking.take(event);
            let came = growing.take(&STOP, screen, &mut take);
            if came || std::mem::take(&mut first) {
                let (trace, all) = self.verdicts(taking.tracer.clone(), screen);
                if clocks != trace.clocks {
                    self.tell_clocks(&trace.clocks, screen);
                    clocks.clone_from(&trace.clocks);
                }
                for gateway in &all.gateways {
                    let mut now = String::new();
                    // Writing to a string does not fail.
                    let _ = json::gateway(gateway, &mut now);
                    let key = format!("{:?} {:?}", gateway.name, gateway.eui);
                    if told.get(&key) != Some(&now) {
                        told.insert(key, now);
                        let gateways = vec![gateway.clone()];
                        let one = Findings { gateways, nodes: Vec::new() };
                        report_gateways(self.args, &one, screen)?;
                    }
                }
                for diagnosis in &all.nodes {
                    let mut now = String::new();
                    // Writing to a string does not fail.
                    let _ = json::diagnosis(diagnosis, Secrets::Hidden, &mut now);
                    let key = format!("{:?} {:?}", diagnosis.name, diagnosis.dev_eui);
                    if told.get(&key) != Some(&now) {
                        told.insert(key, now);
                        let worked = |one: &Diagnosis| self.worked(one, &trace);
                        let one = std::slice::from_ref(diagnosis);
                        report_nodes(self.args, one, "", &worked, screen)?;
                    }
                }
                screen.flush()?;
            }
            if growing.is_over() || STOP.load(Ordering::Relaxed) {
                taking.tell(screen);
                return Ok(());
            }
        }
    }
}

/// Events on their way into a trace.
struct Taking<'a> {
    selection: &'a Selection,
    gateways: &'a Gateways,
    tracer: Tracer<'a>,
    taken: usize,
    /// Lines and packets of which something was left out, and the last of them.
    left_out: usize,
    last_left: Option<Position>,
    cut: Cut,
}

/// Whether frames were met that are cut short.
#[derive(Clone, Copy, Debug, Default)]
struct Cut {
    /// Whether there is a frame, and every one is cut short.
    all: bool,
    /// Whether there is one that is not.
    intact: bool,
}

impl Cut {
    fn see(&mut self, event: &Event) {
        let Some(frame) = event.frame() else { return };
        self.intact |= frame.stopped.is_none() || frame.octets.len() < SHORTEST;
        self.all = !self.intact;
    }
}

/// Bytes of the shortest frame that has a MIC: fewer are not called a frame that was cut.
const SHORTEST: usize = 12;

impl<'a> Taking<'a> {
    fn new(job: &Job<'a>) -> Self {
        let tracer = Tracer::new(job.roster);
        let (selection, gateways) = (&job.args.selection, job.gateways);
        Self {
            selection,
            gateways,
            tracer,
            taken: 0,
            left_out: 0,
            last_left: None,
            cut: Cut::default(),
        }
    }

    fn take(&mut self, event: Event) {
        let damaged = event.gap().is_some_and(|gap| gap.lost == Lost::Anything);
        if damaged || self.selection.keeps_event(self.gateways, &event) {
            self.taken += usize::from(!damaged);
            self.cut.see(&event);
            return self.tracer.push(event);
        }
        // What was before or after answers nothing of what is asked for.
        let in_time = self.selection.keeps_time(event.time);
        match event.what {
            What::Heard(_) => self.tracer.leave_out(1, 0),
            What::Ordered(_) if in_time => self.tracer.leave_out(0, 1),
            _ => {}
        }
        if !self.last_left.replace(event.place).is_some_and(|last| last.is_with(event.place)) {
            self.left_out += 1;
        }
    }

    fn tell(&self, screen: &mut Screen) {
        if self.left_out > 0 {
            let words = format!("{} left out as not asked for", Count(self.left_out, "datagram"));
            screen.word("note", &words);
        }
    }
}

fn report(
    args: &DiagnoseArgs,
    all: &Findings,
    none: &str,
    worked: &dyn Fn(&Diagnosis) -> Vec<Sheet>,
    screen: &mut Screen,
) -> Result<(), Failure> {
    report_gateways(args, all, screen)?;
    if !args.json && !all.gateways.is_empty() {
        screen.data("\n")?;
    }
    report_nodes(args, &all.nodes, none, worked, screen)
}

fn report_gateways(
    args: &DiagnoseArgs,
    all: &Findings,
    screen: &mut Screen,
) -> Result<(), Failure> {
    let style = screen.style();
    for (i, gateway) in all.gateways.iter().enumerate() {
        let mut page = String::new();
        let written = if args.json {
            json::gateway(gateway, &mut page)
        } else {
            if i > 0 {
                page.push('\n');
            }
            text::gateway(gateway, style, &mut page)
        };
        // Writing to a string does not fail.
        debug_assert!(written.is_ok());
        screen.data(&page)?;
    }
    if !args.json && all.gateways.len() > 1 {
        let mut page = "\n".to_owned();
        let written = text::gateways(&all.gateways, style, &mut page);
        debug_assert!(written.is_ok());
        screen.data(&page)?;
    }
    Ok(())
}

fn report_nodes(
    args: &DiagnoseArgs,
    all: &[Diagnosis],
    none: &str,
    worked: &dyn Fn(&Diagnosis) -> Vec<Sheet>,
    screen: &mut Screen,
) -> Result<(), Failure> {
    let style = screen.style();
    let secrets = if args.show_keys { Secrets::Shown } else { Secrets::Hidden };
    for (i, diagnosis) in all.iter().enumerate() {
        let mut page = String::new();
        let sheets = worked(diagnosis);
        let written = if args.json && args.working {
            json::diagnosis_worked(diagnosis, &sheets, secrets, &mut page)
        } else if args.json {
            json::diagnosis(diagnosis, secrets, &mut page)
        } else {
            if i > 0 {
                page.push('\n');
            }
            text::diagnosis(diagnosis, style, secrets, &mut page)
                .and_then(|()| text::working(&mut page, &sheets, secrets, style))
        };
        // Writing to a string does not fail.
        debug_assert!(written.is_ok());
        screen.data(&page)?;
    }
    if args.json {
        return Ok(());
    }
    if all.is_empty() {
        return screen.data(&format!("No node: {none}.\n"));
    }
    if all.len() > 1 {
        let mut page = "\n".to_owned();
        let written = text::overview(all, style, &mut page);
        debug_assert!(written.is_ok());
        screen.data(&page)?;
    }
    Ok(())
}

fn roster(args: &DiagnoseArgs, screen: &mut Screen) -> Result<Roster, Failure> {
    if args.demo {
        return roster::parse(demo::ROSTER, None)
            .map_err(|error| Failure::Report(error.to_string()));
    }
    let busy = rosters::takes_stdin(&args.captures);
    let mut roster =
        claims::roster(args.roster.as_deref(), &args.claims, busy, args.region, screen)?;
    for fault in gateway_configs::attach(&args.gateway_config, &mut roster) {
        screen.bad_input(&fault, None);
    }
    Ok(roster)
}

/// A bar on standard error while keys three digits away are tried.
struct Progress(Option<indicatif::ProgressBar>);

impl Progress {
    fn new(shown: bool) -> Self {
        Self(shown.then(|| indicatif::ProgressBar::new(0)))
    }

    fn show(&self, done: u64, total: u64) {
        if let Some(bar) = &self.0 {
            bar.set_length(total);
            bar.set_position(done);
        }
    }

    fn end(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}
