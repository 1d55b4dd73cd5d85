//! What a data frame hides: FRMPayload, FOpts of 1.1, and the MAC commands in either.

use super::{Hit, place};
use crate::{
    crypto::{
        block::FOptsRule,
        cipher::{self, PayloadKey},
    },
    frame::{DataFrame, Direction, Field, MacVersion, command},
    key::{AppSKey, McAppSKey, McNwkSKey, NwkSEncKey, NwkSKey},
    reading::{
        Bunch, CommandList, Found, MicVerdict, Plain, PlainFOpts, Problem, Wrong,
        commands::{Fit, fit},
    },
};

type NamedKey<'a> = (&'static str, PayloadKey<'a>);

/// Returns the key of the payload; without a hit, whatever the bunch has for the port.
pub(super) fn payload_key<'a>(
    frame: &DataFrame,
    bunch: &'a Bunch,
    hit: Option<&Hit<'_>>,
) -> Option<NamedKey<'a>> {
    let app = |key| (AppSKey::NAME, PayloadKey::App(key));
    let network = |key| (NwkSKey::NAME, PayloadKey::Network(key));
    let network_enc = |key| (NwkSEncKey::NAME, PayloadKey::NetworkEnc(key));
    let group = |key| (McAppSKey::NAME, PayloadKey::Group(key));
    match (frame.port()?, hit.map(|hit| hit.key)) {
        (_, Some(McNwkSKey::NAME)) => bunch.mc_app_s_key.as_ref().map(group),
        (0, Some(NwkSKey::NAME)) => bunch.nwk_s_key.as_ref().map(network),
        (0, Some(_)) => bunch.nwk_s_enc_key.as_ref().map(network_enc),
        (0, None) => {
            let enc = bunch.nwk_s_enc_key.as_ref().map(network_enc);
            enc.or_else(|| bunch.nwk_s_key.as_ref().map(network))
        }
        (_, Some(_)) => bunch.app_s_key.as_ref().map(app),
        (_, None) => {
            let app = bunch.app_s_key.as_ref().map(app);
            app.or_else(|| bunch.mc_app_s_key.as_ref().map(group))
        }
    }
}

pub(super) fn plain(
    frame: &DataFrame,
    fcnt: u32,
    name: &'static str,
    key: PayloadKey<'_>,
    proven: bool,
) -> Option<Plain> {
    // The proof is the hit that a search found, not a `Verified`: that one holds for one counter.
    let octets = cipher::payload_unverified(frame, key, fcnt);
    (!octets.is_empty()).then_some(Plain { octets, key: name, proven })
}

/// Decrypts FOpts of 1.1 by the text under which they fit a list of commands better: erratum first.
pub(super) fn open_fopts(
    frame: &DataFrame,
    key: &NwkSEncKey,
    fcnt: u32,
    problems: &mut Vec<Problem>,
) -> PlainFOpts {
    let direction = frame.direction();
    let app_counter = direction == Direction::Downlink && frame.port().is_some_and(|port| port > 0);
    let amended = if app_counter { FOptsRule::ErratumAppCounter } else { FOptsRule::Erratum };
    let open = |rule| cipher::fopts(key, &place(frame, fcnt), rule, frame.fopts.octets());
    let fits = |octets: &[u8]| fit(octets, direction, Some(MacVersion::V1_1));
    let (by_erratum, as_published) = (open(amended), open(FOptsRule::AsPublished));
    let (amended_fit, published_fit) = (fits(&by_erratum), fits(&as_published));
    if published_fit > amended_fit {
        return PlainFOpts { octets: as_published, rule: Some(FOptsRule::AsPublished) };
    }
    if amended_fit == Fit::Noise {
        problems.push(Problem { offset: FOPTS_AT, field: Field::FOpts, what: Wrong::FOptsNoise });
    }
    PlainFOpts { octets: by_erratum, rule: Some(amended) }
}

/// Reads the MAC commands: FOpts, or the payload of port 0.
pub(super) fn commands(frame: &DataFrame, version: Option<MacVersion>, found: &mut Found) {
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

/// The octet at which FOpts begins, or FPort where there are no FOpts.
const FOPTS_AT: usize = 8;
