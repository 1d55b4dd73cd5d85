//! What a data frame hides: FRMPayload, FOpts of 1.1, and the MAC commands in either.

use super::{Hit, place};
use crate::{
    crypto::{
        block::FOptsRule,
        cipher::{self, PayloadKey},
    },
    frame::{DataFrame, Direction, Field, MacVersion},
    key::{AppSKey, McAppSKey, McNwkSKey, NwkSEncKey, NwkSKey},
    reading::{Bunch, Context, Found, Plain, PlainFOpts, Problem, Wrong, mac_commands},
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

/// Decrypts FOpts of 1.1 by the text under which they split into commands: erratum first.
pub(super) fn open_fopts(
    frame: &DataFrame,
    key: &NwkSEncKey,
    fcnt: u32,
    context: &Context,
    problems: &mut Vec<Problem>,
) -> PlainFOpts {
    let direction = frame.direction();
    let app_counter = direction == Direction::Downlink && frame.port().is_some_and(|port| port > 0);
    let amended = if app_counter { FOptsRule::ErratumAppCounter } else { FOptsRule::Erratum };
    let open = |rule| cipher::fopts(key, &place(frame, fcnt), rule, frame.fopts.octets());
    let version = context.mac_version.or(Some(MacVersion::V1_1));
    let is_whole = |octets: &[u8]| mac_commands(octets, direction, version).is_whole();
    for rule in [amended, FOptsRule::AsPublished] {
        let octets = open(rule);
        if is_whole(&octets) {
            return PlainFOpts { octets, rule: Some(rule) };
        }
    }
    problems.push(Problem { offset: 8, field: Field::FOpts, what: Wrong::FOptsNoise });
    PlainFOpts { octets: open(amended), rule: Some(amended) }
}

/// Reads the MAC commands: FOpts, or the payload of port 0.
pub(super) fn commands(frame: &DataFrame, version: Option<MacVersion>, found: &mut Found) {
    let in_clear = version != Some(MacVersion::V1_1) && !frame.fopts.is_empty();
    let octets = match (&found.fopts, &found.payload) {
        (Some(fopts), _) => Some(fopts.octets.as_slice()),
        // Nothing tells that this is a 1.1 session, and 1.0.x sends FOpts in clear.
        (None, _) if in_clear => Some(frame.fopts.octets()),
        (None, Some(plain)) if frame.port() == Some(0) => Some(plain.octets.as_slice()),
        (None, _) => None,
    };
    found.commands = octets.map(|octets| mac_commands(octets, frame.direction(), version));
}
