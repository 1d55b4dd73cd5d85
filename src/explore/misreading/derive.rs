//! Session keys and the join server's keys, by a recipe.

use super::{
    recipe::{AppRoot, FieldOrder, KeyRecipe, Middle, Rule, Slot, Source},
    search::Hit,
};
use crate::{
    crypto::{decrypt_block, encrypt_block},
    id::{DevEui, DevNonce, JoinEui, JoinNonce, NetId},
    key::Aes128Key,
};

/// One join exchange, as far as session keys depend on it.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Join {
    /// JoinNonce of the accept.
    pub join_nonce: JoinNonce,
    /// NetID of the accept.
    pub net_id: NetId,
    /// DevNonce of the request, or the RJcount that was answered.
    pub dev_nonce: DevNonce,
}

/// The keys of a session; AppSKey where its root is known.
#[derive(Debug)]
pub(super) struct Keys {
    network: [Aes128Key; 3],
    app: Option<Aes128Key>,
}

impl Keys {
    pub(super) fn slot(&self, slot: Slot) -> Option<&Aes128Key> {
        let [forwarding, serving, network_enc] = &self.network;
        match slot {
            Slot::Forwarding => Some(forwarding),
            Slot::Serving => Some(serving),
            Slot::NetworkEnc => Some(network_enc),
            Slot::App => self.app.as_ref(),
        }
    }
}

/// What the values of a join are, beside its two EUIs, for one trial of a recipe.
#[derive(Clone, Copy, Debug)]
pub(super) struct Choice<'a> {
    pub(super) network_root: &'a Aes128Key,
    pub(super) app_root: Option<&'a Aes128Key>,
    pub(super) join: Join,
    pub(super) app_join: Join,
}

/// All that keys can come from.
#[derive(Clone, Debug)]
pub(super) struct Sources<'a> {
    pub(super) root: &'a super::Root<'a>,
    pub(super) others: &'a [super::Root<'a>],
    pub(super) join: Join,
    pub(super) join_eui: JoinEui,
    pub(super) dev_eui: DevEui,
    pub(super) other_nonces: Vec<DevNonce>,
    pub(super) other_joins: Vec<Join>,
}

impl Sources<'_> {
    /// Calls `each` with the keys of every choice that a recipe leaves, and a hit to fill.
    pub(super) fn each(&self, recipe: &KeyRecipe, mut each: impl FnMut(&Keys, Hit)) {
        self.choices(recipe, |choice, hit| each(&self.keys(recipe, choice), hit()));
    }

    /// Calls `each` with one key of every choice that a recipe leaves, and what makes a hit to fill.
    ///
    /// Most choices are none: neither the other keys nor the hit are made for them.
    pub(super) fn each_in(
        &self,
        recipe: &KeyRecipe,
        slot: Slot,
        mut each: impl FnMut(Option<&Aes128Key>, &dyn Fn() -> Hit),
    ) {
        self.choices(recipe, |choice, hit| {
            each(self.key_in(recipe, choice, slot).as_ref(), hit);
        });
    }

    fn choices(&self, recipe: &KeyRecipe, mut each: impl FnMut(&Choice<'_>, &dyn Fn() -> Hit)) {
        for (join, noted) in self.joins(recipe) {
            for root in self.roots(recipe.network_root) {
                let this = [join];
                let app_joins: &[Join] = match recipe.app_join {
                    Source::Other => &self.other_joins,
                    Source::This | Source::Nowhere => &this,
                };
                for &app_join in app_joins {
                    for app_root in self.app_roots(recipe, root.key) {
                        let choice = Choice { network_root: root.key, app_root, join, app_join };
                        let hit = || {
                            let mut hit = Hit { roots: root.labels(), ..noted.clone() };
                            if recipe.app_join == Source::Other {
                                hit.join_nonce = Some(app_join.join_nonce);
                            }
                            hit
                        };
                        each(&choice, &hit);
                    }
                }
            }
        }
    }

    fn roots(&self, source: Source) -> &[super::Root<'_>] {
        match source {
            Source::Other => self.others,
            Source::This | Source::Nowhere => std::slice::from_ref(self.root),
        }
    }

    fn app_roots<'k>(
        &'k self,
        recipe: &KeyRecipe,
        network: &'k Aes128Key,
    ) -> Vec<Option<&'k Aes128Key>> {
        match recipe.app_root {
            AppRoot::ByRule if recipe.rule == Rule::V1_0 => vec![Some(network)],
            AppRoot::ByRule => {
                let claimed = [self.root].into_iter().chain(self.others);
                let keys: Vec<_> =
                    claimed.filter(|root| root.is_app).map(|root| Some(root.key)).collect();
                // The network session keys can be told without an AppKey.
                if keys.is_empty() { vec![None] } else { keys }
            }
            AppRoot::Network => vec![Some(network)],
            AppRoot::Other => self.others.iter().map(|root| Some(root.key)).collect(),
            AppRoot::Zero => vec![Some(&ZERO)],
            AppRoot::Elsewhere => vec![None],
        }
    }

    fn joins(&self, recipe: &KeyRecipe) -> Vec<(Join, Hit)> {
        let mut joins = vec![(self.join, Hit::default())];
        if recipe.join == Source::Other {
            joins = self.other_joins.iter().map(|&join| (join, noting(join))).collect();
        }
        if recipe.join_nonce_from == Source::Other {
            let with = |join: Join, other: &Join| Join { join_nonce: other.join_nonce, ..join };
            joins = joins
                .iter()
                .flat_map(|(join, _)| {
                    self.other_joins.iter().map(|other| (with(*join, other), noting(*other)))
                })
                .collect();
        }
        if recipe.dev_nonce_from == Source::Other {
            let with = |join: Join, dev_nonce| Join { dev_nonce, ..join };
            joins = joins
                .iter()
                .flat_map(|(join, hit)| {
                    self.other_nonces.iter().map(|&nonce| {
                        (with(*join, nonce), Hit { nonce: Some(nonce), ..hit.clone() })
                    })
                })
                .collect();
        }
        joins
    }

    fn keys(&self, recipe: &KeyRecipe, choice: &Choice<'_>) -> Keys {
        let of = |slot| self.network_key(recipe, choice, slot);
        let forwarding = of(Slot::Forwarding);
        let network = match recipe.rule {
            Rule::V1_0 => [forwarding.clone(), forwarding.clone(), forwarding],
            Rule::V1_1 => [forwarding, of(Slot::Serving), of(Slot::NetworkEnc)],
        };
        Keys { network, app: self.key_in(recipe, choice, Slot::App) }
    }

    /// Returns one key of a session; none where its root is not known.
    fn key_in(&self, recipe: &KeyRecipe, choice: &Choice<'_>, slot: Slot) -> Option<Aes128Key> {
        match slot {
            Slot::App => {
                let [.., octet] = recipe.octets;
                choice.app_root.map(|root| self.derived(recipe, root, octet, choice.app_join))
            }
            network => Some(self.network_key(recipe, choice, network)),
        }
    }

    /// Returns a network session key; in 1.0 there is one, whatever the slot.
    fn network_key(&self, recipe: &KeyRecipe, choice: &Choice<'_>, slot: Slot) -> Aes128Key {
        let [f, s, e, _] = recipe.octets;
        let octet = match (recipe.rule, slot) {
            (Rule::V1_1, Slot::Serving) => s,
            (Rule::V1_1, Slot::NetworkEnc) => e,
            _ => f,
        };
        self.derived(recipe, choice.network_root, octet, choice.join)
    }

    fn derived(&self, recipe: &KeyRecipe, root: &Aes128Key, octet: u8, join: Join) -> Aes128Key {
        let join_nonce = recipe.join_nonce.of(join.join_nonce.to_wire());
        let dev_nonce = recipe.dev_nonce.of(join.dev_nonce.to_wire());
        let net_id = recipe.net_id.of(join.net_id.to_wire());
        let join_eui = recipe.eui.of(self.join_eui.to_wire());
        let dev_eui = recipe.eui.of(self.dev_eui.to_wire());
        let id: &[u8] = match (recipe.middle, recipe.rule) {
            (Middle::NetId, _) | (Middle::ByRule, Rule::V1_0) => &net_id,
            (Middle::JoinEui, _) | (Middle::ByRule, Rule::V1_1) => &join_eui,
            (Middle::DevEui, _) => &dev_eui,
        };
        let parts: [&[u8]; 3] = match recipe.field_order {
            FieldOrder::Standard => [&join_nonce, id, &dev_nonce],
            FieldOrder::NoncesExchanged => [&dev_nonce, id, &join_nonce],
            FieldOrder::IdFirst => [id, &join_nonce, &dev_nonce],
        };
        let used = 1 + parts.iter().map(|part| part.len()).sum::<usize>();
        let pad = if recipe.pkcs7 { u8::try_from(16 - used.min(16)).unwrap_or(0) } else { 0 };
        let mut block = [pad; 16];
        let octets = [octet].into_iter().chain(parts.into_iter().flatten().copied());
        block.iter_mut().zip(octets).for_each(|(out, octet)| *out = octet);
        let turn = if recipe.decrypts { decrypt_block } else { encrypt_block };
        Aes128Key::new(turn(root, block))
    }
}

fn noting(join: Join) -> Hit {
    Hit { join_nonce: Some(join.join_nonce), nonce: Some(join.dev_nonce), ..Hit::default() }
}

/// Returns JSIntKey (06) or JSEncKey (05), whatever octets stand for DevEUI.
pub(super) fn js_key(root: &Aes128Key, octet: u8, eui: &[u8]) -> Aes128Key {
    let mut block = [0; 16];
    let octets = [octet].into_iter().chain(eui.iter().copied());
    block.iter_mut().zip(octets).for_each(|(out, octet)| *out = octet);
    Aes128Key::new(encrypt_block(root, block))
}

static ZERO: Aes128Key = Aes128Key::new([0; 16]);
