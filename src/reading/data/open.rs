//! What a data frame hides: FRMPayload, FOpts of 1.1, and the MAC commands in either.

use crate::{
    crypto::{
        Verified,
        block::{FOptsRule, FOptsText},
        cipher,
    },
    frame::{
        DataFrame, Field, MacVersion,
        command::{self, package},
    },
    key::{Aes128Key, AppSKey, McAppSKey, NwkSEncKey, NwkSKey},
    reading::{
        Bunch, CommandList, KeyFindings, MicVerdict, Plain, PlainFOpts, Problem, Wrong,
        commands::{Fit, fit},
    },
};

/// The payload of a frame whose MIC holds.
pub(super) fn plain(verified: &Verified<&DataFrame>, bunch: &Bunch) -> Option<Plain> {
    let plain = cipher::payload(verified, &bunch.encryption_keys())?;
    let (octets, key) = (plain.octets, plain.role.name());
    (!octets.is_empty()).then_some(Plain { octets, key, proven: true })
}

/// Returns whatever key the bunch has for the port of a frame that nothing proves.
pub(super) fn likely_key<'a>(
    frame: &DataFrame,
    bunch: &'a Bunch,
) -> Option<(&'static str, &'a Aes128Key)> {
    let app = || bunch.app_s_key.as_ref().map(|key| (AppSKey::NAME, key.key()));
    let group = || bunch.mc_app_s_key.as_ref().map(|key| (McAppSKey::NAME, key.key()));
    let enc = || bunch.nwk_s_enc_key.as_ref().map(|key| (NwkSEncKey::NAME, key.key()));
    let network = || bunch.nwk_s_key.as_ref().map(|key| (NwkSKey::NAME, key.key()));
    match frame.port()? {
        0 => enc().or_else(network),
        1.. => app().or_else(group),
    }
}

/// The payload of a frame whose MIC nobody can check with the keys at hand: it is told as unproven.
pub(super) fn unproven_plain(
    frame: &DataFrame,
    fcnt: u32,
    name: &'static str,
    key: &Aes128Key,
) -> Option<Plain> {
    let octets = cipher::decrypt_unproven(frame, key, fcnt);
    (!octets.is_empty()).then_some(Plain { octets, key: name, proven: false })
}

/// Decrypts FOpts of 1.1 by the text under which they fit a list of commands better: erratum first.
pub(super) fn open_fopts(
    verified: &Verified<&DataFrame>,
    bunch: &Bunch,
    problems: &mut Vec<Problem>,
) -> Option<PlainFOpts> {
    let (direction, port) = (verified.frame().direction(), verified.frame().port());
    let open = |text| {
        let octets = cipher::fopts(verified, &bunch.encryption_keys(), text)?.into_owned();
        let fits = fit(&octets, direction, Some(MacVersion::V1_1));
        let rule = Some(FOptsRule::of(text, direction, port));
        Some((PlainFOpts { octets, rule }, fits))
    };
    let (amended, amended_fit) = open(FOptsText::Amended)?;
    let (published, published_fit) = open(FOptsText::AsPublished)?;
    if published_fit > amended_fit {
        return Some(published);
    }
    if amended_fit == Fit::Noise {
        problems.push(Problem { offset: FOPTS_AT, field: Field::FOpts, what: Wrong::FOptsNoise });
    }
    Some(amended)
}

/// Reads the MAC commands: FOpts, or the payload of port 0.
pub(super) fn commands(frame: &DataFrame, version: Option<MacVersion>, found: &mut KeyFindings) {
    if found.problems.iter().any(|problem| problem.what == Wrong::FOptsNoise) {
        return;
    }
    let holds = matches!(found.mic, MicVerdict::Holds(_));
    let before_1_1 = version.is_some_and(|version| version < MacVersion::V1_1);
    let in_clear = version != Some(MacVersion::V1_1) && !frame.fopts.is_empty();
    let payload_at = FOPTS_AT + usize::from(frame.fopts.len()) + 1;
    let (octets, field, at, certain) = match (&found.fopts, &found.payload) {
        (Some(fopts), _) => (fopts.octets.as_slice(), Field::FOpts, FOPTS_AT, holds),
        // Nothing tells that this is a 1.1 session, and 1.0.x sends FOpts in clear.
        (None, _) if in_clear => (frame.fopts.octets(), Field::FOpts, FOPTS_AT, before_1_1),
        (None, Some(plain)) if frame.port() == Some(0) => {
            (plain.octets.as_slice(), Field::FrmPayload, payload_at, plain.proven)
        }
        (None, _) => return,
    };
    let commands = command::decode(octets, frame.direction(), version);
    let list = CommandList { at, field, certain, commands };
    found.problems.extend(list.problems());
    found.commands = Some(list);
}

/// Reads the payload as commands of an application package, where its FPort is one's.
pub(super) fn package_commands(frame: &DataFrame, found: &mut KeyFindings) {
    let (Some(port), Some(plain)) = (frame.port(), &found.payload) else { return };
    let commands = package::decode(port, &plain.octets, frame.direction(), None);
    let at = FOPTS_AT + usize::from(frame.fopts.len()) + 1;
    let list = |commands| CommandList { at, field: Field::FrmPayload, certain: false, commands };
    found.package = commands.filter(|_| plain.proven).map(list);
}

/// The octet at which FOpts begins, or FPort where there are no FOpts.
const FOPTS_AT: usize = 8;
