//! The keys that frames are read and composed with, as options.

use super::{
    UsageError,
    key_options::{KeyOption, KeyOptions, KeySet, key_options},
};
use crate::{
    key::Aes128Key,
    reading::{Bunch, KeyRole},
};

/// The keys of `read` and `compose`.
#[derive(Clone, Copy, Debug)]
pub struct FrameKeys;

impl KeySet for FrameKeys {
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

/// Returns the keys that were given, as one source without a name.
///
/// # Errors
/// [`UsageError`] when a key, its file or its variable is none.
pub(super) fn bunch(keys: &KeyOptions<FrameKeys>) -> Result<Bunch, UsageError> {
    let mut bunch = Bunch::default();
    for (long, role) in ROLES {
        if let Some(key) = keys.key::<Aes128Key>(long)? {
            bunch.put(role.of(key));
        }
    }
    Ok(bunch)
}
