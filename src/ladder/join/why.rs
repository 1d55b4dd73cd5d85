//! Why the MIC fails under the key on record: what a search around the keys of the roster found.
//!
//! The search is in [`super::authentic`]; what it means, and what to do, each cause says.

use crate::{
    crypto::mic,
    explore::{
        misreading,
        near_miss::{Hit, KnownKind, Nature},
    },
    fact::{Certainty, Fact, Secret, Value, fact},
    frame::JoinRequest,
    key::AppKey,
    ladder::finding::Finding,
    trace::Role,
};

/// Why the MIC fails under the key on record.
#[derive(Clone, Debug)]
pub(in crate::ladder) enum Why {
    /// Another key signs: one that is known, or that a mistake made of a known one.
    Key(Box<KeyHit>),
    /// The key is right, and the MIC is made by a misread rule.
    Misread(Box<misreading::Finding>),
    /// Nothing that was tried fits.
    Nothing(Searched),
}

/// A key that signs, and where it comes from.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct KeyHit {
    pub(in crate::ladder) hit: Hit,
    /// What was done to the known key, with its digits.
    pub(in crate::ladder) digits: Secret,
    /// The known key: `the record's AppKey`.
    pub(in crate::ladder) label: String,
    /// The name under which a claim keeps it: AppKey or NwkKey.
    pub(in crate::ladder) name: &'static str,
    /// What the known key is to the node.
    pub(in crate::ladder) kind: KnownKind,
    /// Which root key of the node it stands for.
    pub(in crate::ladder) role: Role,
    pub(in crate::ladder) scope: Scope,
    /// What is on record instead, where the key that signs is claimed as it is.
    pub(in crate::ladder) instead: Option<Instead>,
    pub(in crate::ladder) firmware: FirmwareKey,
    /// Whether the key that the MIC was checked under is the record's.
    pub(in crate::ladder) on_record: bool,
}

/// Whether the keys searched around are those that the server goes by.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Scope {
    Reference,
    Beyond,
}

/// What is on record where the node's root key belongs.
#[derive(Clone, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Instead {
    /// A session key of the node.
    SessionKey,
    /// A key of another node, by its name.
    KeyOf(String),
}

/// What the roster says of the key in the firmware.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum FirmwareKey {
    /// It signs the requests.
    Signs,
    /// It is stated, and does not sign them.
    Differs,
    Unstated,
}

/// How far a search went that found nothing.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Searched {
    pub(in crate::ladder) tried: u64,
    /// Wrong digits at the most.
    pub(in crate::ladder) digits: u8,
    pub(in crate::ladder) interrupted: bool,
    /// Requests that had to fit.
    pub(in crate::ladder) requests: usize,
}

impl Why {
    /// Whether the key that was found signs a request, beyond a false match.
    pub(in crate::ladder) fn signs(&self, request: &JoinRequest) -> bool {
        let Self::Key(found) = self else { return false };
        found.hit.certainty == Certainty::Certain
            && mic::join_request(&AppKey::from(found.hit.key.clone()), request) == request.mic
    }
}

impl KeyHit {
    /// What kind of mistake made it.
    pub(in crate::ladder) fn nature(&self) -> Nature {
        self.hit.mistake.nature()
    }

    /// A finding, with what every cause of this kind shows.
    pub(in crate::ladder) fn finding(
        &self,
        summary: impl Into<Fact>,
        remedy: impl Into<Fact>,
    ) -> Finding {
        let mut finding = Finding::new(self.hit.certainty, summary, remedy);
        finding.false_match = Some(self.hit.odds);
        // A typing error has its digits in the summary.
        let typed = self.nature() == Nature::Typed;
        if !typed {
            finding.add(self.digits.clone());
        }
        finding.add(fact!(
            "it holds for {requests}; {tried} were tried, the false-match probability is {probability}",
            requests = Value::count(self.hit.frames, "request"),
            tried = Value::Count(self.hit.tried, "candidate"),
            probability = Value::Probability(self.hit.odds)
        ));
        // Which side the frames agree with; who erred they do not say.
        if self.scope == Scope::Reference && self.firmware == FirmwareKey::Signs {
            finding.add("the frames agree with the firmware's key");
        }
        if typed && self.firmware == FirmwareKey::Differs {
            finding.add(
                "the firmware's key as the roster states it does not sign these frames: what the \
                 roster says of the firmware is not what is in the node",
            );
        }
        finding
    }

    /// What is wrong where the key is a typing error away.
    pub(in crate::ladder) fn typed(&self) -> Finding {
        let key = self.name;
        let remedy = if self.on_record && self.firmware == FirmwareKey::Signs {
            fact!(
                "enter on record the firmware's {key}, which the frames agree with, and check it \
                 against its source digit by digit",
                key
            )
        } else {
            fact!(
                "give the node the {key} that is {place}, or enter {place} the one that the node \
                 signs with; check it against its source digit by digit",
                key,
                place = if self.on_record { "on record" } else { "on the roster" }
            )
        };
        let digits = self.digits.clone();
        self.finding(
            fact!(
                "the {key} is a typing error away from the one that signs: {digits}",
                key,
                digits
            ),
            remedy,
        )
    }

    /// What is wrong where the bytes are in another order.
    pub(in crate::ladder) fn reversed(&self) -> Finding {
        self.finding(
            fact!(
                "the MIC fails under {key} and holds under it in another byte order",
                key = self.label.clone()
            ),
            "enter the key in the order printed, most significant byte first; keys are byte strings \
             and are never reversed",
        )
    }
}
