//! The keys at hand, each with the place that states it.

use std::{collections::HashMap, fmt, sync::Arc};

use crate::{
    id::{DevAddr, DevEui, JoinEui},
    key::{
        Aes128Key, AppKey, AppSKey, FNwkSIntKey, JsEncKey, JsIntKey, McAppSKey, McNwkSKey, NwkKey,
        NwkSEncKey, NwkSKey, SNwkSIntKey,
    },
};

/// Where keys come from: a claim of a node, or a command line, which has neither name.
///
/// The identifiers that the claim states stand beside the names, so that the keys of one node are
/// not held against the frames of another.
#[derive(Clone, Debug, Default, Eq, Hash, PartialEq)]
pub struct Source {
    /// The node's name in the roster.
    pub node: Option<Arc<str>>,
    /// The claim: `firmware`, `record`, `label`.
    pub claim: Option<Arc<str>>,
    /// DevEUI as the claim states it.
    pub dev_eui: Option<DevEui>,
    /// JoinEUI as the claim states it.
    pub join_eui: Option<JoinEui>,
    /// DevAddr as the claim states it.
    pub dev_addr: Option<DevAddr>,
}

impl Source {
    /// Returns a source of that node and claim, without identifiers.
    pub fn new(node: &str, claim: &str) -> Self {
        Self { node: Some(node.into()), claim: Some(claim.into()), ..Self::default() }
    }

    /// Returns whether a frame of this DevAddr may be signed by the session keys of this source.
    pub(super) fn may_hold(&self, dev_addr: DevAddr) -> bool {
        self.dev_addr.is_none_or(|own| own == dev_addr)
    }

    /// Returns how far a source stands from a node: the keys of its own claims are tried first.
    pub(super) fn distance(&self, dev_eui: Option<DevEui>, join_eui: Option<JoinEui>) -> u8 {
        let one = |own_known: bool, same: bool| match (own_known, same) {
            (true, true) => 0,
            (false, _) => 1,
            (true, false) => 2,
        };
        one(self.dev_eui.is_some(), self.dev_eui == dev_eui) * 3
            + one(self.join_eui.is_some(), self.join_eui == join_eui)
    }
}

impl fmt::Display for Source {
    /// Prints `firmware of probe-07`; nothing where neither is known.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.claim, &self.node) {
            (Some(claim), Some(node)) => write!(f, "{claim} of {node}"),
            (Some(one), None) | (None, Some(one)) => f.write_str(one),
            (None, None) => Ok(()),
        }
    }
}

macro_rules! roles {
    ($($(#[$doc:meta])* $variant:ident($role:ident) $field:ident;)*) => {
        /// A key of any role that a frame can be read with.
        #[derive(Clone, Debug)]
        pub enum Key {
            $($(#[$doc])* $variant($role),)*
        }

        /// The role of a key, without the key.
        #[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
        pub enum KeyRole {
            $($(#[$doc])* $variant,)*
        }

        impl KeyRole {
            /// Every role there is.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Returns the name as the standard spells it.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $role::NAME,)* }
            }

            /// Returns that key in this role.
            pub fn of(self, key: Aes128Key) -> Key {
                match self { $(Self::$variant => Key::$variant(key.into()),)* }
            }
        }

        /// The keys of one source.
        #[derive(Clone, Debug, Default)]
        pub struct Bunch {
            /// Where they come from.
            pub source: Source,
            $($(#[$doc])* pub $field: Option<$role>,)*
        }

        impl Bunch {
            /// Adds a key; a second one of the same role takes the place of the first.
            pub fn put(&mut self, key: Key) {
                match key { $(Key::$variant(key) => self.$field = Some(key),)* }
            }
        }
    };
}

roles! {
    /// AppKey.
    App(AppKey) app_key;
    /// NwkKey.
    Nwk(NwkKey) nwk_key;
    /// NwkSKey.
    NwkS(NwkSKey) nwk_s_key;
    /// AppSKey.
    AppS(AppSKey) app_s_key;
    /// FNwkSIntKey.
    FNwkSInt(FNwkSIntKey) f_nwk_s_int_key;
    /// SNwkSIntKey.
    SNwkSInt(SNwkSIntKey) s_nwk_s_int_key;
    /// NwkSEncKey.
    NwkSEnc(NwkSEncKey) nwk_s_enc_key;
    /// JSIntKey, where it is given and not derived.
    JsInt(JsIntKey) js_int_key;
    /// JSEncKey, where it is given and not derived.
    JsEnc(JsEncKey) js_enc_key;
    /// McNwkSKey.
    McNwkS(McNwkSKey) mc_nwk_s_key;
    /// McAppSKey.
    McAppS(McAppSKey) mc_app_s_key;
}

/// Every key at hand, in bunches of one source each.
///
/// ```
/// use handfast::reading::{Key, KeyRing, Source};
///
/// let mut ring = KeyRing::default();
/// let app_key = "2b7e151628aed2a6abf7158809cf4f3c".parse().unwrap();
/// ring.push(Source::new("probe-07", "firmware"), Key::App(app_key));
/// assert!(!ring.is_empty());
/// ```
#[derive(Clone, Debug, Default)]
pub struct KeyRing {
    bunches: Vec<Bunch>,
    places: HashMap<Source, usize>,
}

impl KeyRing {
    /// Adds a key under its source.
    pub fn push(&mut self, source: Source, key: Key) {
        let place = *self.places.entry(source).or_insert_with_key(|source| {
            self.bunches.push(Bunch { source: source.clone(), ..Bunch::default() });
            self.bunches.len() - 1
        });
        if let Some(bunch) = self.bunches.get_mut(place) {
            bunch.put(key);
        }
    }

    /// Returns whether there is no key at all.
    pub fn is_empty(&self) -> bool {
        self.bunches.is_empty()
    }

    /// Returns the bunches, in the order in which their first keys came.
    pub fn bunches(&self) -> &[Bunch] {
        &self.bunches
    }

    /// Returns the bunches, those that name this node first.
    pub(super) fn nearest(
        &self,
        dev_eui: Option<DevEui>,
        join_eui: Option<JoinEui>,
    ) -> Vec<&Bunch> {
        let mut bunches: Vec<_> = self.bunches.iter().collect();
        bunches.sort_by_key(|bunch| bunch.source.distance(dev_eui, join_eui));
        bunches
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_of_one_source_hang_together() {
        let mut ring = KeyRing::default();
        ring.push(Source::new("probe-07", "firmware"), Key::App([1; 16].into()));
        ring.push(Source::new("probe-08", "firmware"), Key::App([2; 16].into()));
        ring.push(Source::new("probe-07", "firmware"), Key::Nwk([3; 16].into()));
        let counts: Vec<_> =
            ring.bunches().iter().map(|b| (b.app_key.is_some(), b.nwk_key.is_some())).collect();
        assert_eq!(counts, [(true, true), (true, false)]);
    }

    #[test]
    fn the_claims_of_the_node_itself_come_first() {
        let eui: DevEui = "020000fffe1a2b3c".parse().unwrap();
        let other: DevEui = "020000fffe00ffff".parse().unwrap();
        let mut ring = KeyRing::default();
        for (name, dev_eui) in [("far", Some(other)), ("free", None), ("own", Some(eui))] {
            let source = Source { dev_eui, ..Source::new(name, "record") };
            ring.push(source, Key::App([1; 16].into()));
        }
        let order = ring.nearest(Some(eui), None);
        let order: Vec<_> = order.iter().map(|b| b.source.node.as_deref().unwrap()).collect();
        assert_eq!(order, ["own", "free", "far"]);
    }

    #[test]
    fn a_ring_never_prints_a_key() {
        let mut ring = KeyRing::default();
        ring.push(Source::default(), Key::App([0xAB; 16].into()));
        let shown = format!("{ring:?}").to_lowercase();
        assert!(!shown.contains("abab") && !shown.contains("171"), "{shown}");
    }
}
