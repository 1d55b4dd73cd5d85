//! `diagnose`: captures and a roster in, a verdict for every gateway and every node out.

use std::{
    collections::HashMap,
    io::{self, IsTerminal, Read},
    path::{Path, PathBuf},
};

use super::{
    Failure, Screen, UsageError, captures,
    claims::{self, ClaimArgs},
    console::Console,
    gateway_configs,
    growing::Growing,
    mistyped, output,
    read::WORKING_CAUTION,
    report_file::{self, Form},
    rosters,
    selection::{Gateways, Selection, Since, Who},
    signals::{self, Phase, STOP},
    values,
};
use crate::{
    demo,
    explore::near_miss::Effort,
    frame::DataFrame,
    intake::{CaptureOptions, Event, Lost, Position, What},
    ladder::{self, Diagnosis, Findings, GatewayDiagnosis, GatewayOutcome, Summary},
    parallel,
    region::Plan,
    report::{self, Report},
    roster::{self, Roster},
    show::{Secrets, Style, json, summary as summary_page, text},
    trace::{ClockApart, Trace, Tracer},
    words::{Count, Visible},
    working::{self, Sheet},
};

/// Options of `diagnose`.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
#[command(group = clap::ArgGroup::new("shown").args(["report", "working"]).multiple(true))]
#[expect(clippy::struct_excessive_bools, reason = "each is a switch of its own")]
pub struct DiagnoseArgs {
    /// Captures: lines of text or recorded packets, packed or not; `-` is standard input
    #[arg(value_name = "CAPTURE", required_unless_present_any = ["demo", "consoles"])]
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
    /// Also write a report to be sent on: .html is a page, .md is for issue trackers; `-` prints the
    /// page, and nothing else
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Replace a report's file that holds something else
    #[arg(long, requires = "report")]
    force: bool,
    /// Show the computations that decide each verdict, step by step; keys only with --show-keys
    #[arg(long)]
    working: bool,
    /// Show the roster's keys in report and working: anyone who has them can then forge frames
    #[arg(long, requires = "shown")]
    show_keys: bool,
    /// Say what shows each rung, of healthy gateways and nodes, too
    #[arg(long, conflicts_with = "json")]
    full: bool,
    /// Print one JSON object a gateway, then one a node
    #[arg(long)]
    json: bool,
    /// Print one page of counts by outcome and cause with the worst ten, instead of every ladder
    #[arg(long, conflicts_with_all = ["full", "working", "follow"])]
    summary: bool,
    /// How many threads judge nodes and search keys; all cores where not given
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Judge only what was since then: so long before the last frame (90m, 2h, 3d), or a time
    #[arg(long, value_name = "SPAN", value_parser = Since::parse, help_heading = "Filters")]
    since: Option<Since>,
    /// Which nodes and frames.
    #[command(flatten)]
    selection: Selection,
    /// Take only capture formats and bare frames; look for no frames hidden in other text
    #[arg(long)]
    strict: bool,
    /// Keep watching a capture that grows: print each node again whose verdict changes
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
  handfast diagnose fleet.ndjson --roster fleet.toml --summary
  handfast diagnose server.log --roster orchard.toml --console probe-07=usb.log
  handfast diagnose gateway.ndjson --firmware probes.h --records export.json
  handfast diagnose gateway.ndjson --roster orchard.toml \\
    --gateway-config gateway.json

A capture holds the datagrams of a gateway's UDP protocol in order of arrival:
one JSON object a line, or packets as tcpdump records them (pcap, pcapng), or
frames as a receiver heard them (LoRaTap); or messages of the websocket station
protocol; gzip or zstd may be around it. In any other log frames are looked for,
unless --strict. Without a roster the report says what can be said without keys.
Keys near those on the roster are searched for typing errors; no other key is
ever tried.

What firmware, records and labels state may also come straight from where it is:
--firmware, --records, --label; `handfast roster` writes a roster from them.

A roster holds keys: keep it readable by yourself alone.

Exit status: 1 when a rung is broken or a cause is found, 2 when a capture or
the roster is not intact (everything intact is still judged) or the usage is
wrong.";

/// Runs `diagnose`.
///
/// # Errors
/// [`Failure`] when the roster cannot be read or standard output does not take the report. Damaged
/// lines of a capture are reported and skipped.
pub fn run(args: &DiagnoseArgs, screen: &mut Screen) -> Result<(), Failure> {
    // A name that says no form is told before the work, not after it.
    let form = args.report.as_deref().map(Form::of).transpose()?;
    let prints_page = args.report.as_deref().is_some_and(report_file::is_stdout);
    if prints_page && (args.json || args.working || args.summary) {
        let words = "--report - prints the page alone: name a file, or leave out --json, --working and --summary";
        return Err(Failure::Report(words.to_owned()));
    }
    if let Some(path) = mistyped::roster_among(args.captures.iter().map(PathBuf::as_path)) {
        return Err(UsageError::RosterAsCapture { path, other: args.roster.is_some() }.into());
    }
    use_threads(args.threads);
    let mut roster = roster(args, screen)?;
    let mut said = Vec::new();
    for (place, console) in args.consoles.iter().enumerate() {
        let source = u16::try_from(args.captures.len() + place).unwrap_or(u16::MAX);
        said.extend(console.add(&mut roster, source, screen)?);
    }
    let who = args.selection.who(Some(&roster))?;
    let gateways = args.selection.gateways(Some(&roster))?;
    let inputs = inputs(args, &roster);
    let place = args
        .report
        .as_deref()
        .filter(|_| !prints_page)
        .zip(form)
        .map(|(path, form)| (form, report_file::place(form, path, args.force, args.show_keys)));
    if let Some((_, place)) = place {
        place.check(&inputs)?;
    }
    let job = Job { args, roster: &roster, who: &who, gateways: &gateways, said: &said };
    if args.working {
        let (kind, text) = if args.show_keys {
            ("caution", WORKING_CAUTION)
        } else {
            ("note", "keys and what reveals them are hidden; --show-keys shows them")
        };
        screen.word(kind, text);
    }
    if args.follow {
        return job.follow(screen);
    }
    let Some((trace, all, none)) = job.judge(screen) else { return Ok(()) };
    job.tell_clocks(&trace.clocks, screen);
    if all.gateways.is_empty() {
        tell_names(&trace, screen);
    }
    let options = report::Options { show_keys: args.show_keys };
    let made = || Report::new(&all.nodes, &trace, &roster, options).with_gateways(&all.gateways);
    if prints_page {
        return screen.data(&report_file::text(&made(), Form::Html));
    }
    let printed = report(args, &all, none, &|one| job.worked(one, &trace), screen);
    if let Some((form, place)) = place {
        let report = made();
        // Whoever closes the pipe early wants the file all the same.
        report_file::write(&report, form, place, &inputs, screen)?;
    }
    printed
}

/// Sets how many threads the work on nodes and keys has: once a run, for all of it.
fn use_threads(threads: Option<u16>) {
    #[cfg(feature = "parallel")]
    if let Some(threads) = threads {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads.into());
        // It fails where there is a pool already: none was asked for before this.
        let _ = pool.build_global();
    }
    #[cfg(not(feature = "parallel"))]
    let _ = threads;
}

/// Why there is no node: nothing at all, or nothing that says whose it is.
const NO_FRAME: &str = "the capture holds no frame of one";
const CUT: &str = "every frame in the capture is cut short (`handfast read` shows where it ends)";
const FOREIGN_DATA: &str =
    "the capture holds data frames, and no Join-Request or key that says whose";

/// Names that nobody resolves, where no gateway is known whose they may be.
fn tell_names(trace: &Trace, screen: &mut Screen) {
    for asker in trace.askers.all() {
        for name in asker.names.iter().filter(|name| name.resolved == 0 && name.no_such_name > 0) {
            let words = format!(
                "{} asks {} times for {}, and the resolver says that there is no such name; if that is a gateway's \
                 server, correct the name there",
                asker.address, name.asked, name.name
            );
            screen.word("note", &words);
        }
    }
}

/// One reading of the captures.
struct Job<'a> {
    args: &'a DiagnoseArgs,
    roster: &'a Roster,
    who: &'a Who,
    gateways: &'a Gateways,
    /// What consoles say.
    said: &'a [Event],
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
        } else if !args.captures.is_empty() {
            let unread = captures::read_all(&args.captures, args.strict, screen, &mut take);
            if unread.len() == args.captures.len() {
                return None;
            }
            if !unread.is_empty() {
                let words = format!("the verdicts are without {}", unread.join(", "));
                screen.word("caution", &words);
            }
        }
        for event in self.said {
            taking.take(event.clone());
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
        let before = signals::phase(Phase::Searches);
        let options = ladder::Options { plan: args.region, effort };
        let mut all = ladder::judge(&trace, self.roster, options);
        signals::phase(before);
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
            Some(path) => Visible::path(path).to_string(),
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

    /// Reads on as the captures grow, until interrupted or standard input ends; judges again whenever
    /// something came and then nothing for a moment.
    fn follow(&self, screen: &mut Screen) -> Result<(), Failure> {
        signals::phase(Phase::Stops);
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
                        screen.data(&gateway_page(self.args, gateway, screen.style()))?;
                    }
                }
                for diagnosis in &all.nodes {
                    let mut now = String::new();
                    // Writing to a string does not fail.
                    let _ = json::diagnosis(diagnosis, Secrets::Hidden, &mut now);
                    let key = format!("{:?} {:?}", diagnosis.name, diagnosis.dev_eui);
                    if told.get(&key) != Some(&now) {
                        told.insert(key, now);
                        let sheets = self.worked(diagnosis, &trace);
                        screen.data(&node_page(self.args, diagnosis, &sheets, screen.style()))?;
                    }
                }
                screen.flush()?;
            }
            if growing.is_over() || signals::is_stopped() {
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
        self.intact |= frame.stopped.is_none() || frame.octets.len() < DataFrame::MIN_LEN;
        self.all = !self.intact;
    }
}

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

/// How many nodes' pages are made before they are printed.
const PAGES_AT_A_TIME: usize = 1_024;

fn report(
    args: &DiagnoseArgs,
    all: &Findings,
    none: &str,
    worked: &(dyn Fn(&Diagnosis) -> Vec<Sheet> + Sync),
    screen: &mut Screen,
) -> Result<(), Failure> {
    let style = screen.style();
    if args.summary {
        let (summary, mut page) = (Summary::of(all), String::new());
        written(if args.json {
            summary_page::json(&summary, &mut page)
        } else {
            summary_page::text(&summary, style, &mut page)
        });
        return screen.data(&page);
    }
    let mut pages = Pages { json: args.json, begun: false };
    // A long report begins with what there is; of those with which all is well it says no more.
    let listed = !args.json && all.gateways.len() + all.nodes.len() > 2;
    let brief = listed && !args.full && !args.working;
    if listed && !all.gateways.is_empty() {
        let mut page = String::new();
        written(text::gateways(&all.gateways, style, &mut page));
        pages.put(&page, screen)?;
    }
    if listed && !all.nodes.is_empty() {
        let mut page = String::new();
        written(text::overview(&all.nodes, style, &mut page));
        pages.put(&page, screen)?;
    }
    let works = |gateway: &GatewayDiagnosis| gateway.outcome == GatewayOutcome::Working;
    for gateway in all.gateways.iter().filter(|one| !brief || one.has_fault() || !works(one)) {
        pages.put(&gateway_page(args, gateway, style), screen)?;
    }
    // Of a neighbour's node without a cause there is no more to say than that it was heard.
    let is_plain = |one: &Diagnosis| one.is_fine() || one.stranger && one.causes.is_empty();
    let shown: Vec<&Diagnosis> = all.nodes.iter().filter(|one| !brief || !is_plain(one)).collect();
    // Pages are made on all cores, some at a time: a fleet's are not all held in memory.
    for some in shown.chunks(PAGES_AT_A_TIME) {
        let made = parallel::in_order(some, |_, one| node_page(args, one, &worked(one), style));
        for page in &made {
            pages.put(page, screen)?;
        }
    }
    if args.json {
        return Ok(());
    }
    let has_ladders = !all.gateways.is_empty() || !all.nodes.is_empty();
    if has_ladders && !args.full {
        pages.put(&text::legend(style), screen)?;
    }
    if all.nodes.is_empty() {
        pages.put(&format!("No node: {none}.\n"), screen)?;
    }
    Ok(())
}

/// What is printed one below the other: texts with a line between them, objects without.
struct Pages {
    json: bool,
    begun: bool,
}

impl Pages {
    fn put(&mut self, page: &str, screen: &mut Screen) -> Result<(), Failure> {
        if self.begun && !self.json {
            screen.data("\n")?;
        }
        self.begun = true;
        screen.data(page)
    }
}

fn gateway_page(args: &DiagnoseArgs, gateway: &GatewayDiagnosis, style: Style) -> String {
    let mut page = String::new();
    written(if args.json {
        json::gateway(gateway, &mut page)
    } else {
        text::gateway(gateway, style, depth(args), &mut page)
    });
    page
}

fn node_page(args: &DiagnoseArgs, diagnosis: &Diagnosis, sheets: &[Sheet], style: Style) -> String {
    let secrets = if args.show_keys { Secrets::Shown } else { Secrets::Hidden };
    let mut page = String::new();
    written(if args.json && args.working {
        json::diagnosis_worked(diagnosis, sheets, secrets, &mut page)
    } else if args.json {
        json::diagnosis(diagnosis, secrets, &mut page)
    } else {
        text::diagnosis(diagnosis, style, secrets, depth(args), &mut page)
            .and_then(|()| text::working(&mut page, sheets, secrets, style))
    });
    page
}

const fn depth(args: &DiagnoseArgs) -> text::Depth {
    if args.full { text::Depth::Full } else { text::Depth::Marks }
}

/// Writing to a string does not fail.
fn written(result: std::fmt::Result) {
    debug_assert!(result.is_ok());
}

/// Returns the files that are read, none of which is written.
fn inputs(args: &DiagnoseArgs, roster: &Roster) -> Vec<PathBuf> {
    let mut inputs: Vec<PathBuf> = args.captures.clone();
    inputs.extend(args.roster.iter().chain(&args.gateway_config).cloned());
    inputs.extend(args.consoles.iter().map(|console| console.path().to_owned()));
    inputs.extend(args.claims.files());
    inputs.extend(output::files_of(roster));
    inputs
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
