//! `read`: frames by hand, every field, with whatever keys are at hand.

use std::{io::IsTerminal, path::PathBuf};

use super::{
    Failure, Screen, UsageError,
    frames::{FRAME_HINT, Frames, InputFrame},
    key_options::{KEYS_HELP, KeyOption, KeyOptions, KeySet, key_options},
    values,
};
use crate::{
    frame::{MacVersion, decode},
    id::{DevEui, DevNonce, JoinEui},
    key::Aes128Key,
    reading::{Context, CounterHint, KeyRing, KeyRole, Source, read},
    show::{Input, json, text},
};

/// Arguments of `read`.
#[derive(Debug, clap::Args)]
#[command(after_help = format!("{EXAMPLES}\n\n{KEYS_HELP}"))]
pub struct ReadArgs {
    /// Frames in hex or base64; a file of them, one a line; `-` for standard input
    #[arg(value_name = "FRAME")]
    pub frames: Vec<String>,
    /// Read a file of frames, one a line
    #[arg(long = "file", value_name = "PATH")]
    pub files: Vec<PathBuf>,
    /// Print one JSON object a frame
    #[arg(long)]
    pub json: bool,
    /// Keys.
    #[command(flatten)]
    pub keys: KeyOptions<ReadKeys>,
    /// LoRaWAN version of the node: 1.0.0 to 1.0.4, 1.1
    #[arg(long, value_name = "VERSION", value_parser = values::mac_version, help_heading = WHAT)]
    pub mac_version: Option<MacVersion>,
    /// Frame counter: the whole of it, or the upper half that the frame lacks
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
}

const WHAT: &str = "What the frame alone cannot tell";

const EXAMPLES: &str = "\
Example:
  handfast read --app-key-env ORCHARD_KEY \\
    0001000BFEFF0000023C2B1AFEFF00000202012E269CF5";

/// The keys that `read` takes.
#[derive(Clone, Copy, Debug)]
pub struct ReadKeys;

impl KeySet for ReadKeys {
    const OPTIONS: &'static [KeyOption] = key_options! {
        "app-key" "Root key of 1.0.x; application root key of 1.1";
        "nwk-key" "Network root key of 1.1";
        "nwk-s-key" "Network session key of 1.0.x";
        "app-s-key" "Application session key";
        "f-nwk-s-int-key" "Session key of 1.1: forwarding half of an uplink's MIC";
        "s-nwk-s-int-key" "Session key of 1.1: serving half, and downlinks";
        "nwk-s-enc-key" "Session key of 1.1: FOpts and port 0";
        "js-int-key" "Join key of 1.1, where NwkKey is not at hand";
        "js-enc-key" "Join key of 1.1, where NwkKey is not at hand";
        "mc-nwk-s-key" "Network session key of a multicast group";
        "mc-app-s-key" "Application session key of a multicast group";
    };
}

/// The option of each role.
const ROLES: &[(&str, KeyRole)] = &[
    ("app-key", KeyRole::App),
    ("nwk-key", KeyRole::Nwk),
    ("nwk-s-key", KeyRole::NwkS),
    ("app-s-key", KeyRole::AppS),
    ("f-nwk-s-int-key", KeyRole::FNwkSInt),
    ("s-nwk-s-int-key", KeyRole::SNwkSInt),
    ("nwk-s-enc-key", KeyRole::NwkSEnc),
    ("js-int-key", KeyRole::JsInt),
    ("js-enc-key", KeyRole::JsEnc),
    ("mc-nwk-s-key", KeyRole::McNwkS),
    ("mc-app-s-key", KeyRole::McAppS),
];

impl ReadArgs {
    // MERGE POINT: `--roster FILE` pushes the claims of its nodes here, each under its own `Source`.
    fn ring(&self) -> Result<KeyRing, UsageError> {
        let mut ring = KeyRing::default();
        for (long, role) in ROLES {
            if let Some(key) = self.keys.key::<Aes128Key>(long)? {
                ring.push(Source::default(), role.of(key));
            }
        }
        Ok(ring)
    }

    const fn context(&self) -> Context {
        Context {
            direction: None,
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
    let ring = args.ring()?;
    let mut context = args.context();
    let mut texts = args.frames.clone();
    if texts.is_empty() && args.files.is_empty() {
        if std::io::stdin().is_terminal() {
            return Err(UsageError::NoFrame.into());
        }
        texts.push("-".into());
    }
    let frames = Frames::new(&texts, &args.files);
    let single = frames.is_single();
    let mut seen = 0u64;
    let mut first = true;
    for frame in frames {
        seen += 1;
        let frame = match frame {
            Ok(frame) => frame,
            Err(error) => {
                screen.bad_input(&error, error.hint().as_deref());
                continue;
            }
        };
        let octets = match &frame.octets {
            Ok(octets) => octets,
            Err(error) => {
                screen.bad_input(&format!("{}: {error}", place(&frame)), Some(FRAME_HINT));
                continue;
            }
        };
        context.direction = frame.direction;
        let reading = read(decode(octets), &ring, &context);
        let input = Input { name: &frame.name, index: frame.index };
        let mut block = String::new();
        let style = screen.style();
        let heading = if single { text::Heading::None } else { text::Heading::Of(input) };
        let written = if args.json {
            json::reading(&mut block, &input, &reading)
        } else {
            let between = if first { "" } else { "\n" };
            block.push_str(between);
            text::reading(&mut block, heading, &reading, style)
        };
        debug_assert!(written.is_ok(), "a String takes everything");
        first = false;
        screen.data(&block)?;
        if reading.is_cut() {
            screen.bad_input(&format!("{}: the frame is cut short", place(&frame)), None);
        } else if reading.is_faulty() {
            screen.fault_found();
        }
    }
    if seen == 0 {
        return Err(UsageError::NoFrame.into());
    }
    Ok(())
}

fn place(frame: &InputFrame) -> String {
    match frame.line {
        Some(line) => format!("{}, line {line}", frame.name),
        None => format!("{} {}", frame.name, frame.index + 1),
    }
}
