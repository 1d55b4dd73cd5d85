//! The keys at hand, each with the place that states it.

use std::{collections::HashMap, fmt, sync::Arc};

use crate::{
    crypto::{EncryptionKeys, IntegrityKeys, Scheme},
    frame::MacVersion,
    id::{DevAddr, DevEui, JoinEui},
    key::{
        Aes128Key, AppKey, AppSKey, FNwkSIntKey, JsEncKey, JsIntKey, McAppSKey, McNwkSKey, NwkKey,
        NwkSEncKey, NwkSKey, SNwkSIntKey,
    },
    region::Plan,
    trace::Counters,
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
    /// The version that the claim states.
    pub mac_version: Option<MacVersion>,
}

impl Source {
    /// Returns a source of that node and claim, without identifiers.
    pub fn new(node: &str, claim: &str) -> Self {
        Self { node: Some(node.into()), claim: Some(claim.into()), ..Self::default() }
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
            /// From where the counters of their session go on, as the source states it.
            pub counters: Counters,
            /// The channel plan of its node, which numbers data rates.
            pub plan: Option<&'static Plan>,
            $($(#[$doc])* pub $field: Option<$role>,)*
        }

        impl Bunch {
            /// Returns whether the bunch has a key of that role.
            pub const fn has(&self, role: KeyRole) -> bool {
                match role { $(KeyRole::$variant => self.$field.is_some(),)* }
            }

            /// Returns the key of that role, without its role.
            pub fn key(&self, role: KeyRole) -> Option<&Aes128Key> {
                match role { $(KeyRole::$variant => self.$field.as_ref().map($role::key),)* }
            }

            /// Adds a key; a second one of the same role takes the place of the first.
            pub fn put(&mut self, key: Key) {
                match key { $(Key::$variant(key) => self.$field = Some(key),)* }
            }
        }
    };
}

impl Bunch {
    /// Returns the keys that may sign data, in the order in which they are tried: by the rule of 1.0.x,
    /// of 1.1, of a 1.1 node on a 1.0.x server, of multicast.
    pub fn integrity_keys(&self) -> impl Iterator<Item = IntegrityKeys<'_>> {
        let (forwarding, serving) = (self.f_nwk_s_int_key.as_ref(), self.s_nwk_s_int_key.as_ref());
        let by_1_1 = IntegrityKeys::V1_1 { forwarding, serving };
        let network = self.nwk_s_key.as_ref().map(IntegrityKeys::V1_0);
        let on_1_0 = forwarding.map(IntegrityKeys::V1_1OnV1_0);
        let group = self.mc_nwk_s_key.as_ref().map(IntegrityKeys::Multicast);
        [network, Some(by_1_1), on_1_0, group].into_iter().flatten()
    }

    /// Returns how the session is signed and encrypted that the keys are made for, if they are of one.
    pub const fn scheme(&self) -> Option<Scheme> {
        if self.nwk_s_key.is_some() {
            Some(Scheme::V1_0)
        } else if self.s_nwk_s_int_key.is_some()
            || self.f_nwk_s_int_key.is_some()
            || self.nwk_s_enc_key.is_some()
        {
            Some(Scheme::V1_1)
        } else if self.mc_nwk_s_key.is_some() || self.mc_app_s_key.is_some() {
            Some(Scheme::Multicast)
        } else {
            None
        }
    }

    /// Returns the keys that encrypt data.
    pub const fn encryption_keys(&self) -> EncryptionKeys<'_> {
        EncryptionKeys {
            app_s_key: self.app_s_key.as_ref(),
            nwk_s_key: self.nwk_s_key.as_ref(),
            nwk_s_enc_key: self.nwk_s_enc_key.as_ref(),
            mc_app_s_key: self.mc_app_s_key.as_ref(),
        }
    }
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
/// let app_key = "8a4c19e2d75b03f6619ec8270db3f45a".parse().unwrap();
/// ring.push(Source::new("probe-07", "firmware"), Key::App(app_key));
/// assert!(!ring.is_empty());
/// ```
#[derive(Clone, Debug, Default)]
pub struct KeyRing {
    bunches: Vec<Bunch>,
    places: HashMap<Source, usize>,
    /// Which bunches state that DevEUI, or none.
    of_nodes: HashMap<Option<DevEui>, Vec<usize>>,
    /// Which bunches hold session keys of that DevAddr, or of an unnamed one.
    of_sessions: HashMap<Option<DevAddr>, Vec<usize>>,
}

impl KeyRing {
    /// Adds a key under its source.
    pub fn push(&mut self, source: Source, key: Key) {
        let place = match self.places.get(&source) {
            Some(place) => *place,
            None => self.add(Bunch { source: source.clone(), ..Bunch::default() }),
        };
        self.places.insert(source, place);
        if let Some(bunch) = self.bunches.get_mut(place) {
            bunch.put(key);
        }
        self.index_session(place);
    }

    /// Adds the keys of a source of their own, whatever other sources may be called; returns where.
    pub fn add(&mut self, bunch: Bunch) -> usize {
        let place = self.bunches.len();
        self.of_nodes.entry(bunch.source.dev_eui).or_default().push(place);
        self.bunches.push(bunch);
        self.index_session(place);
        place
    }

    fn index_session(&mut self, place: usize) {
        let Some(bunch) = self.bunches.get(place) else { return };
        if KeyRole::ALL.iter().any(|role| role.is_of_session() && bunch.has(*role)) {
            let places = self.of_sessions.entry(bunch.source.dev_addr).or_default();
            if places.last() != Some(&place) {
                places.push(place);
            }
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

    fn at<'a>(&'a self, places: Option<&'a Vec<usize>>) -> impl Iterator<Item = &'a Bunch> {
        places.into_iter().flatten().filter_map(|place| self.bunches.get(*place))
    }

    /// Returns the bunches of that node, and then those that name no node.
    pub(super) fn of_node(&self, dev_eui: DevEui) -> impl Iterator<Item = &Bunch> {
        let own = self.at(self.of_nodes.get(&Some(dev_eui)));
        own.chain(self.at(self.of_nodes.get(&None)))
    }

    /// Returns the bunches with session keys that frames of this DevAddr may be signed with.
    pub(super) fn sessions(&self, dev_addr: DevAddr) -> impl Iterator<Item = &Bunch> {
        self.session_places(dev_addr).filter_map(|place| self.bunches.get(place))
    }

    /// Returns the places of those bunches.
    pub(super) fn session_places(&self, dev_addr: DevAddr) -> impl Iterator<Item = usize> {
        let own = self.of_sessions.get(&Some(dev_addr));
        own.into_iter().chain(self.of_sessions.get(&None)).flatten().copied()
    }

    /// Returns the bunches: those that name this node, those that name none, those of other nodes.
    pub(super) fn nearest(
        &self,
        dev_eui: Option<DevEui>,
        join_eui: Option<JoinEui>,
    ) -> impl Iterator<Item = &Bunch> {
        let place = |bunch: &&Bunch| match bunch.source.join_eui {
            Some(own) if Some(own) == join_eui => 0,
            None => 1,
            Some(_) => 2,
        };
        let mut own: Vec<_> = self.at(dev_eui.and_then(|e| self.of_nodes.get(&Some(e)))).collect();
        own.sort_by_key(place);
        let mut free: Vec<_> = self.at(self.of_nodes.get(&None)).collect();
        free.sort_by_key(place);
        let others = self
            .bunches
            .iter()
            .filter(move |bunch| bunch.source.dev_eui.is_some() && bunch.source.dev_eui != dev_eui);
        own.into_iter().chain(free).chain(others)
    }
}

impl KeyRole {
    /// Returns whether keys of this role sign or encrypt data.
    pub(super) const fn is_of_session(self) -> bool {
        !matches!(self, Self::App | Self::Nwk | Self::JsInt | Self::JsEnc)
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
        let order: Vec<_> = order.map(|b| b.source.node.as_deref().unwrap()).collect();
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
