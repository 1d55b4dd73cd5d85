//! `read`: frames by hand, every field, with whatever keys are at hand.

use std::{
    io::IsTerminal,
    path::{Path, PathBuf},
};

use super::{
    Failure, Screen, UsageError,
    claims::{self, ClaimArgs},
    frame_file::FrameFile,
    frame_keys::{FrameKeys, bunch},
    frames::{Frames, InputFrame, Met},
    key_options::{KEYS_HELP, KeyOptions},
    mistyped, output, rosters,
    selection::{Gateways, Selection, Who},
    signals::{self, Phase},
    values,
};
use crate::{
    frame::{Decoded, MacVersion},
    id::{DevEui, DevNonce, JoinEui},
    intake::Holdings,
    reading::{Context, CounterHint, KeyRing, MicVerdict, Reading, Sessions, Why, why},
    show::{Secrets, csv, json, text},
    words::{Count, Visible},
    working,
};

/// Arguments of `read`.
#[derive(Debug, clap::Args)]
#[command(after_help = format!("{EXAMPLES}\n\n{KEYS_HELP}\n\n{EXIT_HELP}"))]
#[expect(clippy::struct_excessive_bools, reason = "each is a switch of its own")]
pub struct ReadArgs {
    /// Frames in hex or base64; a capture or a file of frames, one a line; `-` for standard input
    #[arg(value_name = "FRAME")]
    pub frames: Vec<String>,
    /// Read a capture or a file of frames, one a line
    #[arg(long = "file", value_name = "PATH")]
    pub files: Vec<PathBuf>,
    /// Use all keys of a roster; data of the joins that are seen is read, too
    #[arg(long, value_name = "PATH", help_heading = "Keys")]
    pub roster: Option<PathBuf>,
    /// Where claims are besides.
    #[command(flatten)]
    pub claims: ClaimArgs,
    /// Print one line a frame; a `?` after its number says that it was guessed to be one
    #[arg(long, conflicts_with = "json")]
    pub brief: bool,
    /// Show every computation step by step, keys included, as one would do it on paper
    #[arg(long, conflicts_with_all = ["brief", "csv"])]
    pub working: bool,
    /// Print one JSON object a frame
    #[arg(long)]
    pub json: bool,
    /// Print a table (CSV), one row a frame
    #[arg(long, conflicts_with_all = ["brief", "json"])]
    pub csv: bool,
    /// Take only capture formats and bare frames; look for no frames hidden in other text
    #[arg(long)]
    pub strict: bool,
    /// Write the frames to a file of packets, too (pcap, LoRaTap version 1)
    #[arg(long, value_name = "FILE")]
    pub pcap: Option<PathBuf>,
    /// Replace a file of packets that holds something else
    #[arg(long, requires = "pcap")]
    pub force: bool,
    /// Keep reading a file that grows, until interrupted
    #[arg(long)]
    pub follow: bool,
    /// Which frames.
    #[command(flatten)]
    pub selection: Selection,
    /// Keys.
    #[command(flatten)]
    pub keys: KeyOptions<FrameKeys>,
    /// LoRaWAN version of the node: 1.0.0 to 1.0.4, 1.1
    #[arg(long, value_name = "VERSION", value_parser = values::mac_version, help_heading = WHAT)]
    pub mac_version: Option<MacVersion>,
    /// Frame counter: all of it, or the upper half that the frame lacks
    #[arg(long, value_name = "COUNTER", value_parser = values::counter, help_heading = WHAT)]
    pub fcnt: Option<CounterHint>,
    /// DevNonce of the request that a Join-Accept answers, or its RJcount
    #[arg(long, value_name = "NUMBER", value_parser = values::dev_nonce, help_heading = WHAT)]
    pub dev_nonce: Option<DevNonce>,
    /// JoinEUI of the request that a Join-Accept answers
    #[arg(long, value_name = "EUI", value_parser = values::join_eui, help_heading = WHAT)]
    pub join_eui: Option<JoinEui>,
    /// DevEUI of the node that a Join-Accept answers
    #[arg(long, value_name = "EUI", value_parser = values::dev_eui, help_heading = WHAT)]
    pub dev_eui: Option<DevEui>,
    /// FCnt of the confirmed frame that a 1.1 frame acknowledges
    #[arg(long, value_name = "FCNT", value_parser = values::sixteen_bits, help_heading = WHAT)]
    pub conf_fcnt: Option<u16>,
    /// Data rate index of a 1.1 uplink; searched for when not given
    #[arg(long, value_name = "DR", value_parser = clap::value_parser!(u8).range(0..=15), help_heading = WHAT)]
    pub tx_dr: Option<u8>,
    /// Channel index of a 1.1 uplink; searched for when not given
    #[arg(long, value_name = "CHANNEL", help_heading = WHAT)]
    pub tx_ch: Option<u8>,
    /// Do not search around the keys when a MIC fails
    #[arg(long)]
    pub no_search: bool,
}

const WHAT: &str = "What the frame alone does not say";

const EXAMPLES: &str = "\
Examples:
  handfast read --app-key-env ORCHARD_KEY \\
    0001000BFEFF0000023C2B1AFEFF00000202012E269CF5
  handfast read capture.ndjson --roster orchard.toml --brief";

const EXIT_HELP: &str = "\
Exit status: 1 when a MIC fails or a frame says what the standard forbids, 2
when an input is incomplete or the usage is wrong. RFU bits that are set, which
receivers ignore, are listed as remarks and change nothing.";

impl ReadArgs {
    fn ring(&self, screen: &mut Screen) -> Result<Ring, UsageError> {
        let mut ring = KeyRing::default();
        if !self.keys.is_empty() {
            ring.add(bunch(&self.keys)?);
        }
        let mut inputs = Vec::new();
        let (mut who, mut gateways) = (self.selection.who(None), self.selection.gateways(None));
        if self.roster.is_some() || !self.claims.is_empty() {
            let alone = self.frames.is_empty() && self.files.is_empty();
            let busy = alone
                || self.frames.iter().any(|frame| frame == "-")
                || rosters::takes_stdin(&self.files);
            let path = self.roster.as_deref();
            let roster = claims::roster(path, &self.claims, busy, None, screen)?;
            ring.add_roster(&roster);
            who = self.selection.who(Some(&roster));
            gateways = self.selection.gateways(Some(&roster));
            inputs.extend(output::files_of(&roster));
        }
        Ok(Ring { keys: ring, who: who?, gateways: gateways?, inputs })
    }

    fn file(&self, mut inputs: Vec<PathBuf>) -> Result<Option<FrameFile>, Failure> {
        let Some(path) = &self.pcap else { return Ok(None) };
        inputs.extend(self.frames.iter().map(PathBuf::from));
        inputs.extend(self.files.iter().chain(&self.roster).cloned());
        inputs.extend(self.claims.files());
        inputs.extend(self.keys.files().map(Path::to_path_buf));
        FrameFile::create(path, &inputs, self.force, self.follow).map(Some)
    }

    const fn context(&self) -> Context {
        Context {
            direction: None,
            modulation: None,
            mac_version: self.mac_version,
            fcnt: self.fcnt,
            dev_nonce: self.dev_nonce,
            join_eui: self.join_eui,
            dev_eui: self.dev_eui,
            conf_fcnt: self.conf_fcnt,
            tx_dr: self.tx_dr,
            tx_ch: self.tx_ch,
        }
    }
}

/// Runs `read`.
///
/// # Errors
/// [`Failure`] when a key is wrong or nothing is given. Damaged frames only raise the exit status.
pub fn run(args: &ReadArgs, screen: &mut Screen) -> Result<(), Failure> {
    let given = args.frames.iter().map(Path::new).chain(args.files.iter().map(PathBuf::as_path));
    if let Some(path) = mistyped::roster_among(given) {
        return Err(UsageError::RosterAsCapture { path, other: args.roster.is_some() }.into());
    }
    let Ring { keys: ring, who, gateways, inputs } = args.ring(screen)?;
    let mut texts = args.frames.clone();
    if texts.is_empty() && args.files.is_empty() {
        if std::io::stdin().is_terminal() {
            return Err(UsageError::NoFrame.into());
        }
        texts.push("-".into());
    }
    let mut frames = Frames::new(&texts, &args.files);
    frames.follow(args.follow);
    frames.strict(args.strict);
    let single = frames.is_single();
    let mut run = Run {
        args,
        ring,
        who,
        gateways,
        memory: Sessions::default(),
        single,
        met: 0,
        shown: 0,
        searched: 0,
        left_out: 0,
        input: None,
        cautioned: false,
        file: args.file(inputs)?,
    };
    if args.csv {
        let mut head = String::new();
        let written = csv::head(&mut head);
        debug_assert!(written.is_ok(), "a String takes everything");
        screen.put(&head)?;
    }
    signals::phase(Phase::Stops);
    let shown = run.all(&mut frames, screen);
    // Whoever closes the pipe early wants the file all the same.
    if let (Ok(()) | Err(Failure::Write(_)), Some(file)) = (&shown, run.file.take()) {
        file.end(screen)?;
    }
    shown?;
    if run.left_out > 0 {
        let text = format!("{} left out as not asked for", Count(run.left_out, "frame"));
        screen.word("note", &text);
    }
    if args.working && !run.cautioned && run.shown > 0 {
        screen.word("note", "--working: nothing to compute: no key at hand is for such a frame");
    }
    if run.shown > MANY && !args.brief && !args.json && !args.csv {
        screen.word("note", "every frame was laid out byte by byte; --brief prints one line each");
    }
    if run.met == 0 && !frames.holdings().is_empty() {
        return run.holdings(frames.holdings(), screen);
    }
    if frames.is_empty() && !signals::is_stopped() {
        let files = args.files.iter().map(|path| Visible::path(path).to_string());
        let mut inputs: Vec<_> = args.frames.iter().cloned().chain(files).collect();
        inputs.retain(|input| input != "-");
        return Err(match inputs.join(", ") {
            input if input.is_empty() => UsageError::NoFrame.into(),
            input => UsageError::NoFrameIn { input }.into(),
        });
    }
    Ok(())
}

/// What a run reads with, and the files that it was read from.
struct Ring {
    keys: KeyRing,
    who: Who,
    gateways: Gateways,
    inputs: Vec<PathBuf>,
}

struct Run<'a> {
    args: &'a ReadArgs,
    ring: KeyRing,
    who: Who,
    gateways: Gateways,
    memory: Sessions,
    single: bool,
    /// Frames that were met, whether or not they are asked for.
    met: usize,
    /// Frames that were shown.
    shown: usize,
    /// Frames whose MIC fails, as far as they were searched.
    searched: usize,
    /// Frames that are not asked for.
    left_out: usize,
    /// The input of the last frame in brief.
    input: Option<String>,
    /// Whether it was said that keys are shown.
    cautioned: bool,
    file: Option<FrameFile>,
}

/// What is said before keys stand on a screen.
pub(super) const WORKING_CAUTION: &str =
    "the working shows keys: anyone who has them reads and forges the node's frames";

/// Frames laid out byte by byte after which a shorter way is hinted at.
const MANY: usize = 20;

/// Frames of one run around whose keys is searched: each takes a blink, thousands do not.
const MOST_SEARCHED: usize = 16;

impl Run<'_> {
    fn all(&mut self, frames: &mut Frames, screen: &mut Screen) -> Result<(), Failure> {
        while let Some(met) = frames.next(screen) {
            match met {
                Met::Frame(met) => self.frame(&met.0, met.1, screen)?,
                // The reader of a pipe may wait for this very frame.
                Met::Idle => {
                    screen.flush()?;
                    self.file.as_mut().map_or(Ok(()), FrameFile::flush)?;
                }
            }
        }
        Ok(())
    }

    fn why(&mut self, reading: &Reading, context: &Context, screen: &mut Screen) -> Option<Why> {
        if self.args.no_search || !matches!(reading.found.mic, MicVerdict::Fails(_)) {
            return None;
        }
        self.searched += 1;
        if self.searched > MOST_SEARCHED {
            if self.searched == MOST_SEARCHED + 1 {
                let text = format!(
                    "a near miss of the keys is looked for in the first {MOST_SEARCHED} frames \
                     whose MIC fails; read others on their own"
                );
                screen.word("note", &text);
            }
            return None;
        }
        why(reading, &self.ring, context)
    }

    /// The name of an input in front of its frames, where there are several inputs.
    fn name(&mut self, name: &str) -> String {
        let inputs = self.args.frames.len() + self.args.files.len();
        if inputs < 2 || name == "argument" || self.input.as_deref() == Some(name) {
            return String::new();
        }
        self.input = Some(name.to_owned());
        format!("{}:\n", Visible::text(name))
    }

    /// A capture may be intact and have no frame: then what it holds is said.
    fn holdings(&self, holdings: &Holdings, screen: &mut Screen) -> Result<(), Failure> {
        let mut block = String::new();
        let written = if self.args.json {
            json::holdings(&mut block, holdings)
        } else if self.args.csv {
            Ok(())
        } else {
            text::holdings(holdings, screen.style(), &mut block)
        };
        debug_assert!(written.is_ok(), "a String takes everything");
        screen.put(&block)?;
        if !self.args.json {
            screen.word("note", "`handfast diagnose` says how its gateways are");
        }
        Ok(())
    }

    fn frame(
        &mut self,
        met: &InputFrame,
        frame: Decoded,
        screen: &mut Screen,
    ) -> Result<(), Failure> {
        self.met += 1;
        let modulation = met.radio.as_ref().and_then(|radio| radio.data_rate);
        let context = Context { direction: met.direction, modulation, ..self.args.context() };
        let mut reading = self.memory.read(frame, &self.ring, &context);
        // What is not asked for was read all the same: a join makes the keys of later frames.
        let selection = &self.args.selection;
        let asked = selection.keeps(&self.gateways, met.radio.as_ref(), &reading.decoded.octets);
        if !asked || !self.who.has_sent(&reading) {
            self.left_out += 1;
            return Ok(());
        }
        if let Some(file) = &mut self.file {
            file.put(met, &reading.decoded.octets)?;
        }
        reading.why = self.why(&reading, &context, screen);
        let input = met.input();
        let mut block = String::new();
        let heading = if self.single { text::Heading::None } else { text::Heading::Of(input) };
        let sheets = if self.args.working { working::of_reading(&reading) } else { Vec::new() };
        let written = if self.args.json && self.args.working {
            json::reading_worked(&mut block, &input, &reading, &sheets)
        } else if self.args.json {
            json::reading(&mut block, &input, &reading)
        } else if self.args.csv {
            csv::reading(&mut block, &input, &reading)
        } else if self.args.brief {
            block.push_str(&self.name(input.name));
            text::brief(&mut block, input, &reading, screen.style())
        } else {
            block.push_str(if self.shown == 0 { "" } else { "\n" });
            let style = screen.style();
            text::reading(&mut block, heading, &reading, style)
                .and_then(|()| text::working(&mut block, &sheets, Secrets::Shown, style))
        };
        debug_assert!(written.is_ok(), "a String takes everything");
        if !sheets.is_empty() && !self.cautioned {
            self.cautioned = true;
            screen.word("caution", WORKING_CAUTION);
        }
        self.shown += 1;
        screen.put(&block)?;
        if reading.is_cut() {
            screen.bad_input(&format!("{}: the frame is cut short", met.place()), None);
        } else if reading.is_faulty() {
            screen.fault_found();
        }
        Ok(())
    }
}
