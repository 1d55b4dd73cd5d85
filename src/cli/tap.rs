//! `tap`: at the gateway's UDP port, or between gateway and server.

mod stage;
mod waiting;

use std::{
    net::{SocketAddr, ToSocketAddrs as _},
    ops::ControlFlow,
    path::PathBuf,
    time::Duration,
};

use self::stage::Stage;
use super::{
    Failure, Screen,
    claims::{self, ClaimArgs},
    output,
    signals::{self, Phase, STOP},
    values,
};
use crate::{
    id::Eui64,
    live::{Board, Config, Counters, Notice, Recording, RecordingWord, Tap},
    region::Plan,
    roster::Roster,
    show::live as show,
};

/// Options of `tap`.
#[derive(Debug, clap::Args)]
#[command(after_help = HELP)]
pub struct TapArgs {
    /// Where gateways send to; twice where they have two ports; port 0 takes a free one
    #[arg(long, value_name = "ADDR:PORT", default_value = "127.0.0.1:1700")]
    listen: Vec<SocketAddr>,
    /// Forward to this server, and its answers to the gateways, unchanged
    #[arg(long, value_name = "HOST:PORT")]
    relay: Option<String>,
    /// Listen to this gateway alone (its EUI can be forged); may be given several times
    #[arg(long, value_name = "EUI", value_parser = values::gateway)]
    allow: Vec<Eui64>,
    /// Nodes and gateways with their credentials (TOML)
    #[arg(long, value_name = "FILE")]
    roster: Option<PathBuf>,
    /// Where claims are besides.
    #[command(flatten)]
    claims: ClaimArgs,
    /// Channel plan where the roster states none, such as EU868
    #[arg(long, value_name = "NAME", value_parser = values::plan)]
    region: Option<&'static Plan>,
    /// Add what passes to this file, for `diagnose`
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    /// Rotate a file that exists already and is not a recording
    #[arg(long, requires = "record")]
    force: bool,
    /// Rotate the file at this size, to FILE.1, FILE.2 ...: the highest is the latest
    #[arg(long, value_name = "SIZE", requires = "record", value_parser = values::size)]
    rotate: Option<u64>,
    /// End after this time: 90s, 10m, 2h
    #[arg(long = "for", value_name = "TIME", value_parser = values::duration)]
    run_for: Option<Duration>,
    /// End after so many datagrams at the port
    #[arg(long, value_name = "N")]
    count: Option<u64>,
    /// Print lines on a terminal, too, instead of a view that stays in place
    #[arg(long, conflicts_with = "json")]
    lines: bool,
    /// Print one JSON object an event
    #[arg(long)]
    json: bool,
}

const HELP: &str = "\
Examples:
  handfast tap --roster orchard.toml
  handfast tap --listen 192.0.2.7:1700 --allow 02-00-00-FF-FE-A0-94-42
  handfast tap --listen 192.0.2.7:1700 --listen 192.0.2.7:1701
  handfast tap --relay server.example:1700 --roster orchard.toml \\
    --record gateway.ndjson --rotate 100M

Without --relay the tap acknowledges what gateways push and answers nothing: it
shows what nodes send, and no join gets an accept. With --relay it forwards
every datagram as it is, both ways, acknowledges nothing itself, and sees whole
joins.

A line a frame: time (UTC), the gateway's last four digits, way, MHz, data rate,
dBm/dB, what it is. Ctrl-C ends with a summary, and a second one immediately.
Objects of --json have an `event`: frame (with the members of `read`), ladder
(those of `diagnose`, and `before`), gateway-ladder (likewise, of a gateway),
gateway, stat, tx-ack, server, recording, and at last summary.

Exit status: 1 when a MIC fails or a rung of a node's or gateway's ladder is
broken, 2 when address, server, roster or recording cannot be had or the usage is wrong.

The protocol has no authentication: anyone who reaches the port can send frames in
any gateway's name. Keep it off the open net. The tap transmits nothing itself,
but a server behind it lets gateways transmit: an antenna belongs on every port
that does, and local rules on airtime apply.";

/// Runs `tap`.
///
/// # Errors
/// [`Failure`] when the address, the server's name, the roster or the recording is not to be had, or standard
/// output does not take what is written.
pub fn run(args: &TapArgs, screen: &mut Screen) -> Result<(), Failure> {
    let config = config(args)?;
    let roster = claims::roster(args.roster.as_deref(), &args.claims, false, args.region, screen)?;
    if let Some(path) = &args.record {
        let mut inputs: Vec<PathBuf> = args.roster.iter().cloned().collect();
        inputs.extend(args.claims.files().chain(output::files_of(&roster)));
        output::refuse_inputs("--record", path, &inputs)?;
    }
    let tap = Tap::open(config).map_err(|error| Failure::Report(error.to_string()))?;
    signals::phase(Phase::Closes);
    let head = head(&tap, args.relay.as_deref());
    cautions(args, &tap, &head, screen);
    let waiting = waiting::words(&tap.locals().collect::<Vec<_>>(), &roster);
    for words in &waiting {
        screen.word("note", words);
    }
    let mut run =
        Run { args, roster: &roster, board: Board::default(), failure: None, stage: None };
    run.stage = Stage::set(args, screen, head, &waiting);
    let ran = tap.run(&roster, &STOP, &mut |notice, counters| run.take(notice, counters, screen));
    let words = run.stage.take().map(|stage| stage.clear(screen)).transpose()?;
    for (kind, text) in words.into_iter().flatten() {
        screen.word(kind, &text);
    }
    let counters = ran.map_err(|error| Failure::Report(format!("the tap broke: {error}")))?;
    if let Some(failure) = run.failure {
        return Err(failure);
    }
    run.end(&counters, screen)
}

fn config(args: &TapArgs) -> Result<Config, Failure> {
    let wrong = Failure::Report;
    let relay = args.relay.as_deref().map(|server| {
        let found = server.to_socket_addrs();
        found.ok().and_then(|mut found| found.next()).ok_or_else(|| {
            wrong(format!("--relay: {server:?} is not a server that can be found; write HOST:PORT"))
        })
    });
    let relay = relay.transpose()?;
    let (listen, listen_too) = match args.listen.as_slice() {
        [listen] => (*listen, None),
        [listen, too] => (*listen, Some(*too)),
        _ => {
            return Err(wrong(
                "--listen: one address, or two for gateways with two ports".to_owned(),
            ));
        }
    };
    Ok(Config {
        relay,
        allow: args.allow.iter().copied().collect(),
        recording: args.record.clone().map(|path| Recording {
            path,
            rotate: args.rotate,
            force: args.force,
        }),
        plan: args.region,
        run_for: args.run_for,
        count: args.count,
        listen_too,
        ..Config::new(listen)
    })
}

fn head(tap: &Tap, relay: Option<&str>) -> String {
    let local = tap.locals().map(|local| local.to_string()).collect::<Vec<_>>().join(" and ");
    match relay {
        Some(server) => format!("tap at {local}, handing on to {server}"),
        None => format!("tap at {local}, acknowledging"),
    }
}

fn cautions(args: &TapArgs, tap: &Tap, head: &str, screen: &mut Screen) {
    screen.word("note", head);
    if args.listen.iter().any(|own| !own.ip().is_loopback()) {
        let text = "the protocol has no authentication: anyone who reaches this address can send \
                    frames in any gateway's name; keep it off the open net";
        screen.word("caution", text);
    }
    if !args.allow.is_empty() {
        let text = "--allow keeps strangers out of the way, not enemies: a gateway's EUI is not secret, and \
                    anybody who reaches this address can send in its name";
        screen.word("caution", text);
    }
    if args.relay.is_none() && (args.roster.is_some() || !args.claims.is_empty()) {
        let text = "without --relay no server answers: a join gets no accept, and its ladder ends \
                    at `fresh`";
        screen.word("note", text);
    }
    if let Some(octets) = tap.capped_buffer() {
        let text = format!(
            "the system keeps {} KiB of unread datagrams and no more; where it allows more \
             (net.core.rmem_max on Linux), bursts are safer",
            octets >> 10
        );
        screen.word("note", &text);
    }
}

struct Run<'a> {
    args: &'a TapArgs,
    roster: &'a Roster,
    board: Board,
    failure: Option<Failure>,
    stage: Option<Stage>,
}

impl Run<'_> {
    fn take(
        &mut self,
        notice: &Notice<'_>,
        counters: &Counters,
        screen: &mut Screen,
    ) -> ControlFlow<()> {
        self.board.take(notice);
        if let Notice::Recording(word) = notice {
            self.recording(word, screen);
        }
        if let Notice::Gateway { gateway, .. } = notice
            && let Some(text) = waiting::near(*gateway, self.roster)
        {
            match &mut self.stage {
                Some(stage) => stage.word("caution", text),
                None => screen.word("caution", &text),
            }
        }
        let shown = match &mut self.stage {
            Some(stage) => stage.take(notice, &self.board, counters, screen),
            None => self.print(notice, screen),
        };
        match shown {
            Ok(()) => ControlFlow::Continue(()),
            Err(failure) => {
                self.failure.get_or_insert(failure);
                ControlFlow::Break(())
            }
        }
    }

    fn print(&self, notice: &Notice<'_>, screen: &mut Screen) -> Result<(), Failure> {
        if matches!(notice, Notice::Idle) {
            return screen.flush();
        }
        let mut text = String::new();
        if self.args.json {
            let written = show::json(notice, &mut text);
            debug_assert!(written.is_ok(), "a String takes everything");
        } else if let Some(line) = show::line(notice, screen.style()) {
            text = line + "\n";
        }
        screen.put(&text)
    }

    fn recording(&mut self, word: &RecordingWord, screen: &mut Screen) {
        let path = self.args.record.as_ref().map(|path| path.display().to_string());
        let (text, is_error) = show::recording(word, &path.unwrap_or_default());
        match &mut self.stage {
            Some(stage) => {
                if is_error {
                    screen.ends_badly();
                }
                stage.word(if is_error { "error" } else { "note" }, text);
            }
            None if is_error => screen.bad_input(&text, None),
            None => screen.word("note", &text),
        }
    }

    fn end(&self, counters: &Counters, screen: &mut Screen) -> Result<(), Failure> {
        if self.board.has_fault() {
            screen.fault_found();
        }
        if let Some(text) = waiting::not_heard(&self.board, self.roster) {
            screen.word("note", &text);
        }
        if self.args.json {
            let mut text = String::new();
            let written = show::summary_json(&self.board, counters, &mut text);
            debug_assert!(written.is_ok(), "a String takes everything");
            return screen.data(&text);
        }
        screen.data(&show::summary(&self.board, counters))
    }
}
