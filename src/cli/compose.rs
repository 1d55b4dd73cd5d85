//! `compose`: a frame from options, or from the JSON that `read` prints.

mod error;
mod fields;

pub use error::CannotCompose;

use std::{
    fs::File,
    io::{BufRead, BufReader, IsTerminal},
    path::PathBuf,
};

use base64::{Engine, engine::general_purpose::STANDARD};

use super::{
    Failure, Screen, UsageError,
    frame_keys::{FrameKeys, bunch},
    key_options::{KEYS_HELP, KeyOptions},
    values::{self, OctetsArg},
};
use crate::{
    compose::{Recipe, from_json},
    frame::{FType, MacVersion, Mic, decode},
    id::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId},
    intake::{LINE_CAP, Lines, Raw},
    reading::{Bunch, KeyRing, read},
    show::{Input, json},
};

/// Arguments of `compose`.
#[derive(Debug, clap::Args)]
#[expect(clippy::struct_excessive_bools, reason = "options are there or not")]
#[command(after_help = format!("{EXAMPLES}\n\n{COMMANDS_HELP}\n\n{KEYS_HELP}\n\n{CAUTION}"))]
pub struct ComposeArgs {
    /// A message, such as join-request or unconfirmed-data-up; or a file of the JSON that `read`
    /// prints, `-` for standard input
    #[arg(value_name = "WHAT")]
    pub what: Option<String>,
    /// Print base64 instead of hex
    #[arg(long, conflicts_with = "json")]
    pub base64: bool,
    /// Print what `read --json` would
    #[arg(long)]
    pub json: bool,
    /// Keys.
    #[command(flatten)]
    pub keys: KeyOptions<FrameKeys>,
    /// LoRaWAN version of the node: 1.0.0 to 1.0.4, 1.1
    #[arg(long, value_name = "VERSION", value_parser = values::mac_version)]
    pub mac_version: Option<MacVersion>,
    /// MHDR, where RFU bits or another Major are needed
    #[arg(long, value_name = "HEX", value_parser = values::octets)]
    pub mhdr: Option<OctetsArg>,
    /// MIC as it is to be, right or wrong, instead of the computed one
    #[arg(long, value_name = "HEX", value_parser = values::octets)]
    pub mic: Option<OctetsArg>,

    /// JoinEUI; of a Join-Accept: that of the request
    #[arg(long, value_name = "EUI", value_parser = values::join_eui, help_heading = JOIN)]
    pub join_eui: Option<JoinEui>,
    /// DevEUI; of a Join-Accept: that of the node
    #[arg(long, value_name = "EUI", value_parser = values::dev_eui, help_heading = JOIN)]
    pub dev_eui: Option<DevEui>,
    /// DevNonce or RJcount; of a Join-Accept: that of the request
    #[arg(long, value_name = "NUMBER", value_parser = values::dev_nonce, help_heading = JOIN)]
    pub dev_nonce: Option<DevNonce>,
    /// JoinNonce
    #[arg(long, value_name = "NUMBER", value_parser = values::join_nonce, help_heading = JOIN)]
    pub join_nonce: Option<JoinNonce>,
    /// NetID
    #[arg(long, value_name = "ID", value_parser = values::net_id, help_heading = JOIN)]
    pub net_id: Option<NetId>,
    /// Set OptNeg: the server speaks 1.1
    #[arg(long, help_heading = JOIN)]
    pub opt_neg: bool,
    /// RX1DROffset
    #[arg(long, value_name = "0..7", help_heading = JOIN)]
    #[arg(value_parser = clap::value_parser!(u8).range(0..=7))]
    pub rx1_dr_offset: Option<u8>,
    /// RX2DataRate
    #[arg(long, value_name = "DR", help_heading = JOIN)]
    #[arg(value_parser = clap::value_parser!(u8).range(0..=15))]
    pub rx2_data_rate: Option<u8>,
    /// RxDelay, seconds
    #[arg(long, value_name = "0..15", help_heading = JOIN)]
    #[arg(value_parser = clap::value_parser!(u8).range(0..=15))]
    pub rx_delay: Option<u8>,
    /// CFList of frequencies, hertz, up to five
    #[arg(long, value_name = "HZ,..", value_delimiter = ',', help_heading = JOIN)]
    pub frequencies: Vec<u32>,
    /// CFList of ChMask words in hex, the first for channels 0 to 15, up to seven
    #[arg(long, value_name = "MASK,..", value_delimiter = ',', help_heading = JOIN)]
    #[arg(value_parser = values::mask)]
    pub masks: Vec<u16>,
    /// What a Join-Accept answers: join, rejoin-0, rejoin-1, rejoin-2
    #[arg(long, value_name = "WHAT", value_parser = fields::answers, help_heading = JOIN)]
    pub answers: Option<crate::crypto::mic::JoinReqType>,
    /// Type of a Rejoin-Request: 0, 1 or 2
    #[arg(long, value_name = "TYPE", help_heading = JOIN)]
    #[arg(value_parser = clap::value_parser!(u8).range(0..=2))]
    pub rejoin_type: Option<u8>,

    /// DevAddr
    #[arg(long, value_name = "ADDR", value_parser = values::dev_addr, help_heading = DATA)]
    pub dev_addr: Option<DevAddr>,
    /// The full frame counter; its low half is sent
    #[arg(long, value_name = "COUNTER", value_parser = values::whole_counter, help_heading = DATA)]
    pub fcnt: Option<u32>,
    /// Set ADR
    #[arg(long, help_heading = DATA)]
    pub adr: bool,
    /// Set ADRACKReq (up)
    #[arg(long, help_heading = DATA)]
    pub adr_ack_req: bool,
    /// Set ACK
    #[arg(long, help_heading = DATA)]
    pub ack: bool,
    /// Set ClassB (up)
    #[arg(long, help_heading = DATA)]
    pub class_b: bool,
    /// Set FPending (down)
    #[arg(long, help_heading = DATA)]
    pub f_pending: bool,
    /// A MAC command, in FOpts or, with --port 0, in the payload; may be given again
    #[arg(long = "command", value_name = "COMMAND", help_heading = DATA)]
    pub commands: Vec<String>,
    /// FOpts in clear
    #[arg(long, value_name = "HEX", value_parser = values::octets, help_heading = DATA)]
    pub fopts: Option<OctetsArg>,
    /// FPort
    #[arg(long, value_name = "PORT", help_heading = DATA)]
    pub port: Option<u8>,
    /// FRMPayload in clear; of a proprietary frame: all after the MHDR
    #[arg(long, value_name = "HEX", value_parser = values::octets, help_heading = DATA)]
    pub payload: Option<OctetsArg>,
    /// FCnt of the confirmed frame that a 1.1 frame acknowledges
    #[arg(long, value_name = "FCNT", value_parser = values::sixteen_bits, help_heading = DATA)]
    pub conf_fcnt: Option<u16>,
    /// Data rate index of a 1.1 uplink
    #[arg(long, value_name = "DR", help_heading = DATA)]
    #[arg(value_parser = clap::value_parser!(u8).range(0..=15))]
    pub tx_dr: Option<u8>,
    /// Channel index of a 1.1 uplink
    #[arg(long, value_name = "CHANNEL", help_heading = DATA)]
    pub tx_ch: Option<u8>,
    /// Encrypt FOpts as LoRaWAN 1.1 was first published, without the erratum of 2018
    #[arg(long, help_heading = DATA)]
    pub fopts_as_published: bool,
}

const JOIN: &str = "Fields of a join";
const DATA: &str = "Fields of data";

const EXAMPLES: &str = "\
Examples:
  handfast compose join-request --join-eui 020000FFFE0B0001 \\
    --dev-eui 020000FFFE1A2B3C --dev-nonce 258 --app-key-env ORCHARD_KEY
  handfast compose unconfirmed-data-down --dev-addr 0201BBDA --fcnt 5 --port 0 \\
    --command 'DutyCycleReq MaxDCycle=7' --nwk-s-key-env ORCHARD_NWK_S_KEY
  handfast read --json capture.ndjson | handfast compose

What `read --json` printed comes back byte for byte. A member of `fields`,
`plaintext` or `commands` may be edited: with the keys given, the frame is
encrypted and signed again.";

const COMMANDS_HELP: &str = "\
A command is its name and a value for each of its fields, as the standard spells
them: 'LinkADRReq DataRate=5 TXPower=0 ChMask=00ff ChMaskCntl=0 NbTrans=1'.
Frequencies are hertz, flags yes or no, ChMask is four hex digits.";

const CAUTION: &str = "\
This writes bytes and transmits nothing. Anyone who puts them on the air answers
for it: on a shielded bench, or with nodes, a network and a licence of their
own. A frame that a network takes uses up its counter or DevNonce, and the
node's own next frames may be refused.

Exit status: 2 when no frame can be made of what is given (what is intact is
still composed) or the usage is wrong, else 0.";

/// Runs `compose`.
///
/// # Errors
/// [`Failure`] when the options do not make a frame. A line of JSON that makes none only raises the
/// exit status.
pub fn run(args: &ComposeArgs, screen: &mut Screen) -> Result<(), Failure> {
    let keys = bunch(&args.keys)?;
    let what = match &args.what {
        Some(what) => what.as_str(),
        None if std::io::stdin().is_terminal() => {
            return Err(UsageError::from(CannotCompose::NoMessage).into());
        }
        None => "-",
    };
    if let Some(ftype) = FType::ALL.into_iter().find(|ftype| ftype.name() == what) {
        let recipe = fields::recipe(args, ftype, &keys).map_err(UsageError::from)?;
        let octets = recipe.compose(&keys).map_err(|e| UsageError::from(CannotCompose::from(e)))?;
        let input = Input { name: "argument", ..Input::default() };
        return screen.data(&shown(args, &octets, &recipe, &keys, &input));
    }
    if let Some(option) = fields::given(args) {
        return Err(UsageError::from(CannotCompose::FieldsBesideJson { option }).into());
    }
    let (name, stream): (_, Box<dyn BufRead>) = if what == "-" {
        ("stdin", Box::new(BufReader::new(std::io::stdin())))
    } else {
        let path = PathBuf::from(what);
        match File::open(&path) {
            Ok(file) => (what, Box::new(BufReader::new(file))),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                let text = what.to_owned();
                return Err(UsageError::from(CannotCompose::NoSuchMessage { text }).into());
            }
            Err(error) => return Err(UsageError::File { path, error }.into()),
        }
    };
    lines(args, name, Lines::new(stream), &keys, screen)
}

/// Composes the frame of each line.
fn lines(
    args: &ComposeArgs,
    name: &str,
    mut lines: Lines<Box<dyn BufRead>>,
    keys: &Bunch,
    screen: &mut Screen,
) -> Result<(), Failure> {
    let (mut index, mut damaged) = (0, false);
    loop {
        let raw = match lines.advance() {
            Ok(Some(raw)) => raw,
            Ok(None) if index == 0 && !damaged => {
                return Err(UsageError::NoFrameIn { input: name.into() }.into());
            }
            Ok(None) => return Ok(()),
            Err(error) => return Err(UsageError::File { path: name.into(), error }.into()),
        };
        let place = format!("{name}, line {}", lines.number());
        if matches!(raw, Raw::TooLong) {
            damaged = true;
            screen.bad_input(&format!("{place}: longer than {LINE_CAP} bytes"), None);
            continue;
        }
        if lines.text().trim_ascii().is_empty() {
            continue;
        }
        let input = Input { name, index, line: Some(lines.number()), ..Input::default() };
        index += 1;
        match line(args, lines.text(), keys, &input, screen, &place) {
            Ok(text) => screen.data(&text)?,
            Err(error) => {
                screen.bad_input(&format!("{place}: {error}"), error.hint().as_deref());
            }
        }
    }
}

fn line(
    args: &ComposeArgs,
    text: &[u8],
    keys: &Bunch,
    input: &Input<'_>,
    screen: &mut Screen,
    place: &str,
) -> Result<String, CannotCompose> {
    let object = serde_json::from_slice(text)
        .map_err(|error| CannotCompose::NotJson { column: error.column().max(1) })?;
    let draft = from_json(&object, keys)?;
    let octets = draft.recipe.compose(keys)?;
    for remark in &draft.remarks {
        screen.word("note", &format!("{place}: {remark}"));
    }
    Ok(shown(args, &octets, &draft.recipe, keys, input))
}

fn shown(
    args: &ComposeArgs,
    octets: &[u8],
    recipe: &Recipe,
    keys: &Bunch,
    input: &Input<'_>,
) -> String {
    if args.base64 {
        return STANDARD.encode(octets) + "\n";
    }
    if !args.json {
        return hex::encode(octets) + "\n";
    }
    let mut ring = KeyRing::default();
    ring.add(keys.clone());
    let context = crate::reading::Context { mac_version: args.mac_version, ..recipe.context() };
    let mut out = String::new();
    let written = json::reading(&mut out, input, &read(decode(octets), &ring, &context));
    debug_assert!(written.is_ok(), "a String takes everything");
    out
}

impl ComposeArgs {
    /// Returns the MIC that was given, if it has the right length.
    fn mic(&self) -> Result<Option<Mic>, CannotCompose> {
        let Some(OctetsArg(octets)) = &self.mic else { return Ok(None) };
        match octets.as_slice().try_into() {
            Ok(mic) => Ok(Some(Mic(mic))),
            Err(_) => Err(CannotCompose::Length { option: "--mic", octets: 4 }),
        }
    }
}
