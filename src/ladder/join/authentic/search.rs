//! What turned the key on record into the one that signs: the search, widening.

use std::cell::Cell;

use crate::{
    explore::{
        misreading,
        near_miss::{self, Clues, Effort, Known, KnownKind, Nature, Target, is_placeholder},
    },
    fact::{Secret, fact},
    frame::MacVersion,
    key::Aes128Key,
    ladder::{
        join::{
            Case,
            authentic::{OTHER_NODES, TARGETS, other_role_of},
            why::{FirmwareKey, Instead, KeyHit, Scope},
        },
        subject::{LabelledRoot, signing_role},
    },
    roster::{Claim, ClaimKind},
    trace::{Attempt, KeyRef, Role},
};

/// A key of the roster with the words that name it.
#[derive(Clone)]
pub(in crate::ladder) struct Labelled<'a> {
    pub(in crate::ladder) label: String,
    pub(in crate::ladder) key: &'a Aes128Key,
    pub(in crate::ladder) kind: KnownKind,
    /// Its root role; none for session keys.
    pub(in crate::ladder) role: Option<Role>,
}

pub(in crate::ladder) fn claim_keys<'a>(
    kind: ClaimKind,
    claim: &'a Claim,
    signs: Option<Role>,
    prefix: &str,
) -> Vec<Labelled<'a>> {
    let mut out = Vec::new();
    let mut add = |name: &str, key: Option<&'a Aes128Key>, known, role| {
        // What only fills a field is no key that a mistake could have changed.
        out.extend(key.filter(|key| !is_placeholder(key)).map(|key| Labelled {
            label: format!("{prefix}the {}'s {name}", kind.name()),
            key,
            kind: known,
            role,
        }));
    };
    for role in [Role::AppKey, Role::NwkKey] {
        let key = match role {
            Role::AppKey => claim.app_key.as_ref().map(crate::key::AppKey::key),
            Role::NwkKey => claim.nwk_key.as_ref().map(crate::key::NwkKey::key),
        };
        let known = if signs == Some(role) { KnownKind::Claimed } else { KnownKind::OtherRole };
        add(role.name(), key, known, Some(role));
    }
    let session = KnownKind::Session;
    add("NwkSKey", claim.nwk_s_key.as_ref().map(crate::key::NwkSKey::key), session, None);
    add("AppSKey", claim.app_s_key.as_ref().map(crate::key::AppSKey::key), session, None);
    let key = claim.f_nwk_s_int_key.as_ref().map(crate::key::FNwkSIntKey::key);
    add("FNwkSIntKey", key, session, None);
    let key = claim.s_nwk_s_int_key.as_ref().map(crate::key::SNwkSIntKey::key);
    add("SNwkSIntKey", key, session, None);
    let key = claim.nwk_s_enc_key.as_ref().map(crate::key::NwkSEncKey::key);
    add("NwkSEncKey", key, session, None);
    out
}

pub(in crate::ladder) struct Search<'a, 'c> {
    pub(in crate::ladder) case: &'c Case<'a>,
    pub(in crate::ladder) targets: &'c [Target],
    pub(in crate::ladder) attempt: &'a Attempt,
    pub(in crate::ladder) effort: Effort<'a>,
    /// Candidates tried so far.
    pub(in crate::ladder) tried: Cell<u64>,
    /// Whether somebody stopped a search.
    pub(in crate::ladder) interrupted: Cell<bool>,
}

impl Search<'_, '_> {
    /// The key that signs, if it is among these or near one of them.
    pub(in crate::ladder) fn around(&self, keys: &[Labelled<'_>], scope: Scope) -> Option<KeyHit> {
        let clues = Clues {
            known: keys
                .iter()
                .map(|k| Known { label: k.label.clone(), key: k.key, kind: k.kind })
                .collect(),
            dev_eui: self.attempt.ask.dev_eui(),
            join_eui: self.attempt.ask.join_eui(),
        };
        let report = near_miss::search(&clues, self.targets, &self.effort);
        self.tried.set(self.tried.get() + report.tried());
        self.interrupted.set(self.interrupted.get() || report.interrupted);
        let hit = report.hits.into_iter().next()?;
        let known = hit.known.and_then(|i| keys.get(i));
        let digits = Secret::new(
            fact!("{how}", how = hit.sentence(&clues)),
            fact!("{how}", how = hit.sentence_by_places(&clues)),
        );
        let claimed = known.filter(|known| known.kind == KnownKind::Claimed);
        let instead = claimed
            .filter(|_| hit.mistake.nature() == Nature::Same)
            .and_then(|known| self.instead(known.key));
        let kind = match &instead {
            Some(Instead::SessionKey) => KnownKind::Session,
            Some(Instead::KeyOf(_)) => KnownKind::OtherNode,
            None => known.map_or(KnownKind::Claimed, |known| known.kind),
        };
        let role = known.and_then(|known| known.role).unwrap_or(Role::AppKey);
        Some(KeyHit {
            digits,
            label: known.map_or_else(|| "the key".to_owned(), |known| known.label.clone()),
            name: role.name(),
            kind,
            role: self.root_of(role, scope),
            scope,
            instead,
            firmware: self.firmware_key(),
            on_record: self.case.reference().is_some_and(|(kind, _)| kind == ClaimKind::Record),
            hit,
        })
    }

    /// Which root key of the node a key is under that name: a node of 1.0.x has AppKey alone,
    /// whatever its stack calls it.
    fn root_of(&self, role: Role, scope: Scope) -> Role {
        let of_1_1 = self.case.node_version() == Some(MacVersion::V1_1);
        if of_1_1 || scope == Scope::Reference { role } else { Role::AppKey }
    }

    /// What the roster says of the firmware's key.
    fn firmware_key(&self) -> FirmwareKey {
        let firmware = |key: &KeyRef| self.case.is_own(key) && key.claim == ClaimKind::Firmware;
        let stated = || self.case.firmware().and_then(|f| signing_role(f).or(other_role_of(f)));
        if self.attempt.holds_under.iter().any(firmware) {
            FirmwareKey::Signs
        } else if stated().is_some() {
            FirmwareKey::Differs
        } else {
            FirmwareKey::Unstated
        }
    }

    /// What is on record where this key belongs.
    fn instead(&self, key: &Aes128Key) -> Option<Instead> {
        if self.record_holds_session_key() {
            return Some(Instead::SessionKey);
        }
        let owner = self.other_owner(key).or_else(|| self.owner_of_record())?;
        Some(Instead::KeyOf(owner.to_owned()))
    }

    /// Another node that claims this key as a root key of its own.
    fn other_owner(&self, key: &Aes128Key) -> Option<&str> {
        let nodes = self.case.roster.nodes.iter().enumerate().take(OTHER_NODES);
        nodes.filter(|(index, _)| Some(*index) != self.case.node.index).find_map(|(index, node)| {
            let own = crate::trace::root_keys(index, node);
            own.iter().any(|(_, root)| root.key().same_as(key)).then_some(node.name.as_str())
        })
    }

    /// Another node whose root key the server has for this one.
    fn owner_of_record(&self) -> Option<&str> {
        let (kind, claim) = self.case.reference()?;
        let role = signing_role(claim).or(other_role_of(claim))?;
        let node = self.case.node.index?;
        let at = KeyRef { node, claim: kind, role };
        self.other_owner(at.resolve(self.case.roster)?.key())
    }

    fn record_holds_session_key(&self) -> bool {
        let Some((kind, reference)) = self.case.reference() else { return false };
        let roots = claim_keys(kind, reference, None, "");
        let Some(entry) = self.case.entry else { return false };
        entry.claims().any(|(k, claim)| {
            claim_keys(k, claim, None, "")
                .iter()
                .filter(|s| s.role.is_none())
                .any(|session| roots.iter().any(|r| r.role.is_some() && r.key.same_as(session.key)))
        })
    }

    /// The rule under which a key that is right makes these MICs.
    pub(in crate::ladder) fn misread(&self, failing: &[&Attempt]) -> Option<misreading::Finding> {
        let requests: Vec<_> = failing.iter().filter_map(|a| a.ask.join()).take(TARGETS).collect();
        let roots = self.case.known_roots();
        let roots: Vec<_> = roots.iter().map(LabelledRoot::as_known).collect();
        misreading::explore_request(&requests, &roots).findings().first().cloned()
    }
}
