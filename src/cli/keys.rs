//! `keys`: every key of a join, of a rejoin, of a multicast group, of a key envelope.

use super::{
    Failure, Screen, UsageError,
    key_options::{KEYS_HELP, KeyOption, KeyOptions, KeySet, key_options},
    usage::Missing,
    values,
};
use crate::{
    crypto::{Block, mic::JoinReqType},
    frame::{Frame, JoinAccept, RejoinBody, decode},
    id::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId},
    intake::frame_text,
    key::{AppKey, NwkKey, SNwkSIntKey},
    key_sheet::{Join10, Join11, KeySheet, Multicast, Nonce},
    reading::{Context, Key, KeyRing, MicRule, MicVerdict, Reading, Source, Unchecked, read},
    show::{Secrets, json, text},
    working::{self, Sheet},
};

/// Arguments of `keys`.
#[derive(Debug, clap::Args)]
#[command(after_help = format!("{EXAMPLES}\n\n{KEYS_HELP}"))]
pub struct KeysArgs {
    /// The Join-Request
    #[arg(long, value_name = "FRAME", help_heading = FRAMES, conflicts_with = "rejoin")]
    pub request: Option<String>,
    /// The Rejoin-Request
    #[arg(long, value_name = "FRAME", help_heading = FRAMES)]
    pub rejoin: Option<String>,
    /// The Join-Accept that answers it
    #[arg(long, value_name = "FRAME", help_heading = FRAMES)]
    pub accept: Option<String>,
    /// JoinNonce: a number, or hex with 0x
    #[arg(long, value_name = "NUMBER", value_parser = values::join_nonce, help_heading = VALUES)]
    pub join_nonce: Option<JoinNonce>,
    /// NetID (1.0.x, and 1.1 on a 1.0 server)
    #[arg(long, value_name = "NETID", value_parser = values::net_id, help_heading = VALUES)]
    pub net_id: Option<NetId>,
    /// DevNonce: a number, or hex with 0x
    #[arg(long, value_name = "NUMBER", value_parser = values::dev_nonce, help_heading = VALUES)]
    pub dev_nonce: Option<DevNonce>,
    /// RJcount of the Rejoin-Request, in DevNonce's place
    #[arg(long, value_name = "NUMBER", value_parser = values::dev_nonce, help_heading = VALUES,
        conflicts_with = "dev_nonce")]
    pub rj_count: Option<DevNonce>,
    /// JoinEUI (1.1)
    #[arg(long, value_name = "EUI", value_parser = values::join_eui, help_heading = VALUES)]
    pub join_eui: Option<JoinEui>,
    /// DevEUI (1.1: JSIntKey and JSEncKey)
    #[arg(long, value_name = "EUI", value_parser = values::dev_eui, help_heading = VALUES)]
    pub dev_eui: Option<DevEui>,
    /// OptNeg of the Join-Accept under NwkKey: 0 a 1.0 server, 1 a 1.1 server
    #[arg(long, value_name = "BIT", value_parser = clap::value_parser!(u8).range(0..=1),
        default_value_t = 1, help_heading = VALUES)]
    pub opt_neg: u8,
    /// McKey as it travels, 16 bytes
    #[arg(long, value_name = "HEX", help_heading = GROUP)]
    pub mc_key_encrypted: Option<String>,
    /// Address of the group
    #[arg(long, value_name = "ADDR", value_parser = values::dev_addr, help_heading = GROUP)]
    pub mc_addr: Option<DevAddr>,
    /// A wrapped key, 24 bytes, to be opened under --kek
    #[arg(long, value_name = "HEX", requires = "kek", help_heading = "Key envelope (RFC 3394)")]
    pub wrapped: Option<String>,
    /// Keys.
    #[command(flatten)]
    pub keys: KeyOptions<KeysKeys>,
    /// Show every computation step by step, as one would do it on paper
    #[arg(long)]
    pub working: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

const FRAMES: &str = "A join from its frames";
const VALUES: &str = "A join from its values";
const GROUP: &str = "Multicast (TS005)";

const EXAMPLES: &str = "\
Examples:
  handfast keys --app-key-env ORCHARD_KEY \\
    --request 0001000BFEFF0000023C2B1AFEFF00000202012E269CF5 \\
    --accept 20F0D8C267F0B6FAD6BF86B96A1617A9EB

Exit status: 1 when a MIC does not hold or a frame says what the standard
forbids, 2 when an input is incomplete or the usage is wrong.";

/// The keys that `keys` takes.
#[derive(Clone, Copy, Debug)]
pub struct KeysKeys;

impl KeySet for KeysKeys {
    const OPTIONS: &'static [KeyOption] = key_options! {
        "app-key" "Root key of 1.0.x; application root key of 1.1";
        "nwk-key" "Network root key of 1.1";
        "s-nwk-s-int-key" "To check a Rejoin-Request of type 0 or 2";
        "gen-app-key" "Root of a 1.0.x node's multicast keys";
        "mc-key" "McKey, where it is at hand in clear";
        "kek" "Key encryption key of an envelope";
    };
}

/// Runs `keys`.
///
/// # Errors
/// [`Failure`] when a value is missing or wrong.
pub fn run(args: &KeysArgs, screen: &mut Screen) -> Result<(), Failure> {
    let mut sheet = KeySheet::default();
    let app_key = args.keys.key::<AppKey>("app-key")?;
    let nwk_key = args.keys.key::<NwkKey>("nwk-key")?;
    let roots = Roots { app: app_key.as_ref(), nwk: nwk_key.as_ref() };
    let mut dev_eui = args.dev_eui;
    let mut frames = Vec::new();
    if args.request.is_some() || args.rejoin.is_some() || args.accept.is_some() {
        if !from_frames(args, roots, &mut sheet, &mut dev_eui, &mut frames, screen)? {
            return Ok(());
        }
    } else if args.has_join_value() {
        from_values(args, roots, &mut sheet)?;
    }
    if let (Some(key), Some(dev_eui)) = (&nwk_key, dev_eui) {
        sheet.add_join_server_keys(key, dev_eui);
    }
    multicast(args, app_key.as_ref(), &mut sheet)?;
    if let (Some(kek), Some(wrapped)) = (args.keys.key("kek")?, &args.wrapped) {
        let octets = hex_of("--wrapped", wrapped)?;
        sheet.add_wrapped(&kek, &octets).map_err(UsageError::Wrapped)?;
    }
    if sheet.parts.is_empty() {
        return Err(UsageError::NothingToDerive.into());
    }
    let mut out = String::new();
    let style = screen.style();
    let written = match (args.json, args.working) {
        (true, true) => json::key_sheet_worked(&mut out, &sheet, &worked(frames, &sheet)),
        (true, false) => json::key_sheet(&mut out, &sheet),
        (false, true) => text::key_sheet(&mut out, &sheet, style)
            .and_then(|()| text::working(&mut out, &worked(frames, &sheet), Secrets::Shown, style)),
        (false, false) => text::key_sheet(&mut out, &sheet, style),
    };
    debug_assert!(written.is_ok(), "a String takes everything");
    screen
        .word("caution", "these keys are secret: who has them reads and forges the node's frames");
    screen.data(&out)
}

/// The working of the frames, and of the keys that they do not derive themselves.
fn worked(mut frames: Vec<Sheet>, sheet: &KeySheet) -> Vec<Sheet> {
    for made in sheet.parts.iter().filter_map(|part| part.working.as_ref()) {
        frames.retain(|sheet| sheet.title != made.title);
        frames.push(made.clone());
    }
    frames
}

#[derive(Clone, Copy)]
struct Roots<'a> {
    app: Option<&'a AppKey>,
    nwk: Option<&'a NwkKey>,
}

impl KeysArgs {
    fn has_join_value(&self) -> bool {
        self.join_nonce.is_some()
            || self.net_id.is_some()
            || self.nonce().is_some()
            || (self.join_eui.is_some() && self.dev_eui.is_none())
    }

    fn nonce(&self) -> Option<DevNonce> {
        self.dev_nonce.or(self.rj_count)
    }
}

fn hex_of(option: &'static str, text: &str) -> Result<Vec<u8>, UsageError> {
    let text = frame_text(text).map_err(|error| UsageError::Frame { option, error })?;
    Ok(text.octets)
}

/// Derives from values, or says which are missing and where they stand.
fn from_values(args: &KeysArgs, roots: Roots<'_>, sheet: &mut KeySheet) -> Result<(), UsageError> {
    let mut missing = Vec::new();
    let mut need = |has: bool, what| {
        if !has {
            missing.push(what);
        }
    };
    need(args.join_nonce.is_some(), Missing::JoinNonce);
    need(args.nonce().is_some(), Missing::DevNonce);
    let by_1_1 = roots.nwk.is_some() && args.opt_neg == 1;
    if by_1_1 {
        need(args.join_eui.is_some(), Missing::JoinEui);
    } else {
        need(args.net_id.is_some(), Missing::NetId);
        need(roots.app.is_some() || roots.nwk.is_some(), Missing::RootKey);
    }
    let (Some(join_nonce), Some(nonce)) = (args.join_nonce, args.nonce()) else {
        return Err(UsageError::Missing(missing));
    };
    let join_10 = args.net_id.map(|net_id| Join10 { join_nonce, net_id, dev_nonce: nonce });
    let nonce = if args.rj_count.is_some() { Nonce::RjCount(nonce) } else { Nonce::Dev(nonce) };
    let join_11 = args.join_eui.map(|join_eui| Join11 { join_nonce, join_eui, nonce });
    match (roots, join_10, join_11) {
        (Roots { nwk: Some(nwk), app }, _, Some(join)) if by_1_1 => sheet.add_1_1(nwk, app, join),
        (Roots { nwk: Some(nwk), .. }, Some(join), _) if !by_1_1 => sheet.add_1_1_on_1_0(nwk, join),
        (Roots { nwk: None, app: Some(app) }, Some(join), _) => sheet.add_1_0(app, join),
        _ => return Err(UsageError::Missing(missing)),
    }
    Ok(())
}

/// Checks both MICs, then derives. Returns whether both hold; if not, all has been said.
fn from_frames(
    args: &KeysArgs,
    roots: Roots<'_>,
    sheet: &mut KeySheet,
    dev_eui: &mut Option<DevEui>,
    worked: &mut Vec<Sheet>,
    screen: &mut Screen,
) -> Result<bool, UsageError> {
    let mut missing = Vec::new();
    if args.request.is_none() && args.rejoin.is_none() {
        missing.push(Missing::Request);
    }
    if args.accept.is_none() {
        missing.push(Missing::Accept);
    }
    if roots.app.is_none() && roots.nwk.is_none() {
        missing.push(Missing::RootKey);
    }
    let Some(accept) = args.accept.as_deref().filter(|_| missing.is_empty()) else {
        return Err(UsageError::Missing(missing));
    };
    let mut ring = KeyRing::default();
    let mut push = |key: Option<Key>| {
        if let Some(key) = key {
            ring.push(Source::default(), key);
        }
    };
    push(roots.app.cloned().map(Key::App));
    push(roots.nwk.cloned().map(Key::Nwk));
    push(args.keys.key::<SNwkSIntKey>("s-nwk-s-int-key")?.map(Key::SNwkSInt));

    let mut context = Context {
        dev_eui: args.dev_eui,
        join_eui: args.join_eui,
        dev_nonce: args.nonce(),
        ..Context::default()
    };
    if let Some(text) = args.request.as_deref() {
        let reading = frame_of("--request", text, &ring, &context)?;
        let Some(Frame::JoinRequest(request)) = &reading.decoded.frame else {
            return Err(UsageError::OtherMessage { option: "--request", wanted: "Join-Request" });
        };
        worked.extend(working::of_reading(&reading));
        context.dev_nonce = Some(request.dev_nonce);
        context.dev_eui = Some(request.dev_eui);
        context.join_eui = Some(request.join_eui);
        if !holds("--request", &reading, screen) {
            return Ok(false);
        }
    } else if let Some(text) = args.rejoin.as_deref() {
        let reading = frame_of("--rejoin", text, &ring, &context)?;
        let Some(Frame::RejoinRequest(request)) = &reading.decoded.frame else {
            return Err(UsageError::OtherMessage { option: "--rejoin", wanted: "Rejoin-Request" });
        };
        worked.extend(working::of_reading(&reading));
        context.dev_nonce = request.body.count();
        context.dev_eui = request.body.dev_eui();
        if let RejoinBody::JoinServer { join_eui, .. } = request.body {
            context.join_eui = Some(join_eui);
        }
        if let MicVerdict::Unchecked(Unchecked::NoKey { wanted }) = &reading.found.mic {
            screen.word("note", &format!("--rejoin: the MIC is unchecked; it needs {wanted}"));
        } else if !holds("--rejoin", &reading, screen) {
            return Ok(false);
        }
    }
    *dev_eui = dev_eui.or(context.dev_eui);
    let reading = frame_of("--accept", accept, &ring, &context)?;
    if !matches!(reading.decoded.frame, Some(Frame::JoinAccept(_))) {
        return Err(UsageError::OtherMessage { option: "--accept", wanted: "Join-Accept" });
    }
    worked.extend(working::of_reading(&reading));
    if let MicVerdict::Unchecked(Unchecked::NoValue { missing, .. }) = &reading.found.mic
        && missing.contains(&"JoinEUI")
    {
        return Err(UsageError::Missing(vec![Missing::JoinEui]));
    }
    if !holds("--accept", &reading, screen) {
        return Ok(false);
    }
    for problem in &reading.problems {
        screen.fault_found();
        let place = format!("--accept, byte {}, {}", problem.offset, problem.field);
        screen.word("fault", &format!("{place}: {}", problem.what));
    }
    derive(&reading, roots, &context, sheet);
    Ok(true)
}

fn frame_of(
    option: &'static str,
    text: &str,
    ring: &KeyRing,
    context: &Context,
) -> Result<Reading, UsageError> {
    let reading = read(decode(&hex_of(option, text)?), ring, context);
    match &reading.decoded.stopped {
        Some(error) => Err(UsageError::Cut { option, error: *error }),
        None => Ok(reading),
    }
}

/// Says why a MIC does not hold, if it does not.
fn holds(option: &str, reading: &Reading, screen: &mut Screen) -> bool {
    match &reading.found.mic {
        MicVerdict::Holds(_) => return true,
        MicVerdict::Fails(tried) => {
            for one in tried {
                let (received, expected) = (one.received, one.expected);
                let text = format!(
                    "{option}: the MIC fails under {}: received {received}, expected {expected}",
                    one.key
                );
                screen.word("fault", &text);
            }
        }
        MicVerdict::Unchecked(why) => {
            screen.word("fault", &format!("{option}: the MIC cannot be checked: {why}"));
        }
    }
    screen.fault_found();
    screen.word("note", "no session key is derived from frames that do not belong together");
    false
}

fn derive(reading: &Reading, roots: Roots<'_>, context: &Context, sheet: &mut KeySheet) {
    let (Some(opened), MicVerdict::Holds(proof)) = (&reading.found.accept, &reading.found.mic)
    else {
        return;
    };
    let accept: &JoinAccept = &opened.accept.accept;
    let (Some(nonce), join_nonce) = (context.dev_nonce, accept.join_nonce) else { return };
    let join_10 = Join10 { join_nonce, net_id: accept.net_id, dev_nonce: nonce };
    let by_1_1 =
        proof.rule == Some(MicRule::V1_1) || matches!(opened.answers, Some(JoinReqType::Rejoin(_)));
    match (roots, context.join_eui) {
        (Roots { nwk: Some(nwk), app }, Some(join_eui)) if by_1_1 => {
            let nonce = match opened.answers {
                Some(JoinReqType::Rejoin(_)) => Nonce::RjCount(nonce),
                _ => Nonce::Dev(nonce),
            };
            sheet.add_1_1(nwk, app, Join11 { join_nonce, join_eui, nonce });
        }
        (Roots { nwk: Some(nwk), .. }, _) if opened.key == NwkKey::NAME => {
            sheet.add_1_1_on_1_0(nwk, join_10);
        }
        (Roots { app: Some(app), .. }, _) => sheet.add_1_0(app, join_10),
        _ => {}
    }
}

fn multicast(
    args: &KeysArgs,
    app_key: Option<&AppKey>,
    sheet: &mut KeySheet,
) -> Result<(), UsageError> {
    let asked = args.keys.has("gen-app-key")
        || args.keys.has("mc-key")
        || args.mc_key_encrypted.is_some()
        || args.mc_addr.is_some();
    if !asked {
        return Ok(());
    }
    let mc_key_encrypted = match &args.mc_key_encrypted {
        Some(text) => {
            let octets = hex_of("--mc-key-encrypted", text)?;
            let found = octets.len();
            let block = Block::try_from(octets)
                .map_err(|_| UsageError::NotABlock { option: "--mc-key-encrypted", found })?;
            Some(block)
        }
        None => None,
    };
    let from = Multicast {
        gen_app_key: args.keys.key("gen-app-key")?,
        app_key: app_key.cloned(),
        mc_key_encrypted,
        mc_key: args.keys.key("mc-key")?,
        mc_addr: args.mc_addr,
    };
    let has_root = from.gen_app_key.is_some() || from.app_key.is_some();
    if from.mc_key.is_none() && !has_root {
        return Err(UsageError::Missing(vec![Missing::GroupKey]));
    }
    if from.mc_key.is_none() && from.mc_key_encrypted.is_none() && from.mc_addr.is_some() {
        return Err(UsageError::Missing(vec![Missing::McKey]));
    }
    sheet.add_multicast(&from);
    Ok(())
}
