//! What turned the key on record into the one that signs: the search, widening.

use std::cell::Cell;

use crate::{
    explore::{
        misreading,
        near_miss::{self, Clues, Effort, Hit, Known, KnownKind, Mistake, Target},
    },
    fact::{Certainty, Secret, fact},
    frame::MacVersion,
    key::Aes128Key,
    ladder::{
        finding::Finding,
        join::{
            Case,
            authentic::{OTHER_NODES, Why, is_slip, other_role_of},
        },
        subject::{LabelledRoot, signing_role},
        words::count,
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
        out.extend(key.map(|key| Labelled {
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

/// Whether the keys searched around are those that the server goes by.
#[derive(Clone, Copy, Eq, PartialEq)]
pub(in crate::ladder) enum Scope {
    Reference,
    Beyond,
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
    pub(in crate::ladder) fn around(&self, keys: &[Labelled<'_>], scope: Scope) -> Option<Why> {
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
        let hit = report.hits.first()?;
        let known = hit.known.and_then(|i| keys.get(i));
        let digits = Secret::new(hit.sentence(&clues), hit.sentence_by_places(&clues));
        let mut why = self.explain(hit, &digits, known, scope)?;
        if !is_slip(why.id) {
            why.finding.evidence.insert(0, digits.into());
        }
        why.finding.false_match = Some(hit.odds);
        why.finding.certainty = hit.certainty;
        why.finding.add(format!(
            "it holds for {}; {} candidates were tried, an accident has odds of {:.0e}",
            count(hit.frames, "request"),
            hit.tried,
            hit.odds
        ));
        // Which side the frames agree with; who erred they do not say.
        if scope == Scope::Reference && self.agrees_with_firmware() {
            why.finding.add("the frames agree with the firmware's key".to_owned());
        }
        if is_slip(why.id) && self.firmware_states_another() {
            why.finding.add(
                "the firmware's key as the roster states it does not sign these frames: what the \
                 roster says of the firmware is not what is in the node"
                    .to_owned(),
            );
        }
        Some(why)
    }

    /// Whether the roster states a key of the firmware, and the node signs with another.
    pub(in crate::ladder) fn firmware_states_another(&self) -> bool {
        let stated = self.case.firmware().and_then(|f| signing_role(f).or(other_role_of(f)));
        stated.is_some() && !self.agrees_with_firmware()
    }

    /// What to do about a slip: which side is to get which key.
    pub(in crate::ladder) fn mend_slip(&self, name: &str) -> String {
        let on_record = self.case.reference().is_some_and(|(kind, _)| kind == ClaimKind::Record);
        if on_record && self.agrees_with_firmware() {
            format!(
                "enter on record the firmware's {name}, which the frames agree with, and check it \
                 against its source digit by digit"
            )
        } else {
            let place = if on_record { "on record" } else { "on the roster" };
            format!(
                "give the node the {name} that stands {place}, or enter {place} the one that the \
                 node signs with; check it against its source digit by digit"
            )
        }
    }

    pub(in crate::ladder) fn agrees_with_firmware(&self) -> bool {
        let firmware = |key: &KeyRef| self.case.is_own(key) && key.claim == ClaimKind::Firmware;
        self.attempt.holds_under.iter().any(firmware)
    }

    pub(in crate::ladder) fn explain(
        &self,
        hit: &Hit,
        digits: &Secret,
        known: Option<&Labelled<'_>>,
        scope: Scope,
    ) -> Option<Why> {
        let label = known.map_or("the key", |k| k.label.as_str());
        let role = known.and_then(|k| k.role).unwrap_or(Role::AppKey);
        let on_network = self.case.node_version() == Some(MacVersion::V1_1);
        let name = role.name();
        let make = |id, summary: String, remedy: &'static str| {
            Some(Why { id, finding: Finding::new(Certainty::Certain, summary, remedy) })
        };
        match &hit.mistake {
            Mistake::Same => self.same(known?, scope),
            Mistake::OctetsReversed | Mistake::Reordered(_) | Mistake::Rotated { .. } => {
                if known.is_some_and(|k| k.kind == KnownKind::OtherNode) {
                    return self.same(known?, scope);
                }
                let id = match role {
                    Role::AppKey => "app-key-bytes-reversed",
                    Role::NwkKey => "nwk-key-bytes-reversed",
                };
                make(
                    id,
                    format!("the MIC fails under {label} and holds under it in another byte order"),
                    "enter the key in the order printed, most significant byte first; keys are byte \
                     strings and are never reversed",
                )
            }
            Mistake::TextAsOctets { .. } => make(
                "app-key-text-taken-as-bytes",
                format!("the node's key is the text of {label}, not its value"),
                "give the node the key as 16 octets: two hex digits make one octet",
            ),
            Mistake::Sample(_) | Mistake::FromEui { .. } => make(
                "firmware-still-uses-a-sample-key",
                "the node signs with a value that anybody can guess".into(),
                "give the node a key of its own and enter the same on record; a published value \
                 protects nothing",
            ),
            _ => {
                let id = match role {
                    Role::NwkKey if on_network || scope == Scope::Reference => {
                        "nwk-key-typed-wrong"
                    }
                    _ => "app-key-typed-wrong",
                };
                let summary = fact!(
                    "the {name} is a typing error away from the one that signs: {digits}",
                    name,
                    digits = digits.clone()
                );
                let finding = Finding::new(Certainty::Certain, summary, self.mend_slip(name));
                Some(Why { id, finding })
            }
        }
    }

    /// A known key as it stands: under another name, of another session, of another node.
    pub(in crate::ladder) fn same(&self, known: &Labelled<'_>, scope: Scope) -> Option<Why> {
        let label = &known.label;
        let make = |id, summary: String, remedy: String| {
            Some(Why { id, finding: Finding::new(Certainty::Certain, summary, remedy) })
        };
        match (known.kind, known.role) {
            (KnownKind::OtherNode, _) => make(
                "key-of-another-node",
                format!("the MIC holds under the key of another node ({label})"),
                "give each node its own key: two labels or two lines of a list were exchanged".into(),
            ),
            (KnownKind::Session, _) => make(
                "session-key-entered-as-root-key",
                format!("the MIC holds under {label}, a session key, where the root key belongs"),
                "enter the root key (AppKey, or NwkKey in 1.1) where the session key stands; session \
                 keys are for ABP"
                    .into(),
            ),
            (KnownKind::OtherRole, Some(role)) => {
                let version = self.case.node_version().or(self.case.record_version());
                let older = version.is_none_or(|v| v < MacVersion::V1_1);
                make(
                    "root-key-in-the-wrong-slot",
                    format!(
                        "the MIC holds under {label}, which {} does not use for it",
                        version.map_or("this version".to_owned(), |v| v.name().to_owned())
                    ),
                    if older && role == Role::NwkKey {
                        "put the 1.0.x root key, the record's AppKey, into the field that the stack \
                         calls NwkKey (and into AppKey too, if it asks for both)"
                            .into()
                    } else {
                        "put each root key into the field of its own name on both sides".into()
                    },
                )
            }
            // The record's root key is a session key of the node's own claims.
            _ if self.record_holds_session_key() => make(
                "session-key-entered-as-root-key",
                "a session key of the node stands on record where the root key belongs".into(),
                "enter the root key on record; session keys are for ABP".into(),
            ),
            _ if self.other_owner(known.key).is_some() || self.owner_of_record().is_some() => {
                let name = self.other_owner(known.key).or(self.owner_of_record()).unwrap_or("");
                make(
                    "key-of-another-node",
                    format!(
                        "the MIC holds under {label}; a key of {name} stands where one of this \
                         node's belongs"
                    ),
                    "give each node its own key: two labels or two lines of a list were exchanged"
                        .into(),
                )
            }
            _ if scope == Scope::Beyond => make(
                "root-key-unrelated",
                format!(
                    "the MIC holds under {label}; the key on record is another, and no slip turns \
                     the one into the other"
                ),
                "enter the node's key on record, or give the node the key on record: one of the two \
                 is stale, which one the frames do not say"
                    .into(),
            ),
            _ => None,
        }
    }

    /// Another node that claims this key as a root key of its own.
    pub(in crate::ladder) fn other_owner(&self, key: &Aes128Key) -> Option<&str> {
        let nodes = self.case.roster.nodes.iter().enumerate().take(OTHER_NODES);
        nodes.filter(|(index, _)| Some(*index) != self.case.node.index).find_map(|(index, node)| {
            let own = crate::trace::root_keys(index, node);
            own.iter().any(|(_, root)| root.key().same_as(key)).then_some(node.name.as_str())
        })
    }

    /// Another node whose root key the server has for this one.
    pub(in crate::ladder) fn owner_of_record(&self) -> Option<&str> {
        let (kind, claim) = self.case.reference()?;
        let role = signing_role(claim).or(other_role_of(claim))?;
        let node = self.case.node.index?;
        let at = KeyRef { node, claim: kind, role };
        self.other_owner(at.resolve(self.case.roster)?.key())
    }

    pub(in crate::ladder) fn record_holds_session_key(&self) -> bool {
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

    /// The key is right and its use is not.
    pub(in crate::ladder) fn misread(&self, failing: &[&Attempt]) -> Option<Why> {
        let requests: Vec<_> = failing.iter().filter_map(|a| a.ask.join()).take(16).collect();
        let roots = self.case.known_roots();
        let roots: Vec<_> = roots.iter().map(LabelledRoot::as_known).collect();
        let answer = misreading::explore_request(&requests, &roots);
        let found = answer.findings().first()?;
        let what: Vec<&str> = found.mistakes.iter().map(|row| row.what).collect();
        let mut finding = Finding::new(
            Certainty::of_probability(found.odds),
            format!(
                "the MIC holds under {} if the node {}",
                found.roots.join(" or "),
                what.join(", and ")
            ),
            "mend the computation of the MIC in the node's stack: AES-CMAC over MHDR, JoinEUI, \
             DevEUI and DevNonce as sent; the first four octets in their order",
        );
        for row in &found.mistakes {
            finding.add(format!("the standard: {}", row.standard));
        }
        finding.add(format!(
            "it holds for {}; {} ways tried",
            count(found.held, "request"),
            found.tried
        ));
        finding.false_match = Some(found.odds);
        Some(Why { id: "join-request-signed-by-another-rule", finding })
    }

    pub(in crate::ladder) fn unrelated(&self) -> Why {
        let far = self.effort.max_digits;
        let mut finding = Finding::new(
            Certainty::Possible,
            "the MIC holds under no claimed key and under nothing near one",
            "compare the key in the node with the one on record at their source; if the node was \
             flashed anew, read back what it holds",
        );
        finding.add(format!(
            "searched around every claim: byte, word and nibble order, roles, session keys, other \
             nodes, sample values, the key's text, up to {far} wrong digits; {} candidates against {}",
            self.tried.get(),
            count(self.targets.len(), "request")
        ));
        if self.interrupted.get() {
            finding.add("the search was interrupted before it had covered all of that".to_owned());
        } else if far < 3 {
            finding.add("`--digits 3` searches further, for this node alone".to_owned());
        }
        if self.targets.len() == 1 {
            finding
                .add("one frame alone: a damaged frame cannot be told from a wrong key".to_owned());
        }
        Why { id: "root-key-unrelated", finding }
    }
}
