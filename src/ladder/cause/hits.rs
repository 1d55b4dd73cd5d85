//! What a hit of an explorer means: the one map to causes, for the ladders, for `read`, for `compare`.
//!
//! Explorers know keys and frames, and no causes.

use super::CauseId;
use crate::{
    explore::{
        misreading::Family,
        near_miss::{EuiName, KnownKind, Nature},
    },
    ladder::join::{
        Case, authentic,
        why::{KeyHit, Why},
    },
    trace::Role,
};

/// Returns the cause that a mistake in a root key means.
///
/// `kind` and `role` say what the known key is of which the mistake made the one in use.
pub(crate) const fn root_key(nature: Nature, kind: KnownKind, role: Role) -> CauseId {
    match (nature, kind) {
        (Nature::Guessable, _) => CauseId::FirmwareStillUsesASampleKey,
        (_, KnownKind::OtherNode) => CauseId::KeyOfAnotherNode,
        (_, KnownKind::Session) => CauseId::SessionKeyEnteredAsRootKey,
        (Nature::Same, KnownKind::OtherRole) => CauseId::RootKeyInTheWrongSlot,
        (Nature::Same, KnownKind::Claimed) => CauseId::RootKeyUnrelated,
        (Nature::Text, _) => CauseId::AppKeyTextTakenAsBytes,
        (Nature::Transformed, _) => CauseId::RootKeyTransformed,
        (Nature::Turned, _) => match role {
            Role::AppKey => CauseId::AppKeyBytesReversed,
            Role::NwkKey => CauseId::NwkKeyBytesReversed,
        },
        (Nature::Typed, _) => match role {
            Role::AppKey => CauseId::AppKeyTypedWrong,
            Role::NwkKey => CauseId::NwkKeyTypedWrong,
        },
    }
}

/// Returns the cause that a mistake in the key of a Join-Accept means.
pub(crate) const fn accept_key(nature: Nature, kind: KnownKind, role: Role) -> CauseId {
    match (nature, kind) {
        // The server makes it: whose key it is the node's firmware does not say.
        (Nature::Guessable, _) | (_, KnownKind::OtherNode) => CauseId::AcceptForAnotherKey,
        _ => root_key(nature, kind, role),
    }
}

/// Returns the cause that a mistake in an identifier means.
pub(crate) const fn eui(nature: Nature, name: EuiName) -> Option<CauseId> {
    Some(match (nature, name) {
        (Nature::Turned, EuiName::DevEui) => CauseId::DevEuiBytesReversed,
        (Nature::Turned, EuiName::JoinEui) => CauseId::JoinEuiBytesReversed,
        (Nature::Typed, EuiName::DevEui) => CauseId::DevEuiTypedWrong,
        (Nature::Typed, EuiName::JoinEui) => CauseId::JoinEuiTypedWrong,
        (Nature::Same | Nature::Transformed | Nature::Text | Nature::Guessable, _) => return None,
    })
}

/// Returns the cause that a misread rule means.
pub(crate) const fn misreading(family: Family) -> CauseId {
    match family {
        Family::RequestMic => CauseId::JoinRequestSignedByAnotherRule,
        Family::AcceptSealing => CauseId::AcceptMadeByAnotherRule,
        Family::AcceptOfAnotherRequest => CauseId::AcceptAnswersAnotherAttempt,
        Family::AcceptVersion => CauseId::AcceptRuleAndOptNegDisagree,
        Family::SessionKeys => CauseId::SessionKeysDerivedByAnotherRule,
        Family::FallbackIgnored => CauseId::NodeIgnores10Fallback,
        Family::VersionOverstated => CauseId::ServerSays11NodeIs10,
        Family::DataMic => CauseId::DataSignedByAnotherRule,
        Family::UpperHalf => CauseId::CounterUpperHalfLostAtRollover,
        Family::OtherJoin => CauseId::ApplicationKeyOutOfStep,
        Family::PayloadCipher => CauseId::PayloadEncryptedByAnotherRule,
        Family::FOptsCipher => CauseId::FoptsEncryptionRuleDiffers,
    }
}

/// The key that signs a node's requests instead of the one on record, where it means this cause.
pub(super) fn key_hit<'c>(case: &'c Case<'_>, id: CauseId) -> Option<&'c KeyHit> {
    let Some(Why::Key(hit)) = authentic::why(case) else { return None };
    (root_key(hit.nature(), hit.kind, hit.role) == id).then_some(hit)
}
