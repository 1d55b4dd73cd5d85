//! Requests and their answers, and what a refusal says.

use alloc::{
    borrow::ToOwned,
    format,
    string::{String, ToString},
    vec::Vec,
};

use super::{Command, FieldValue, ROWS, Role, Row};

/// One bit of a status octet with which a node refuses a request.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct RefusedBit {
    /// The bit of the status octet, 0 the least significant.
    pub bit: u8,
    /// Its name.
    pub name: &'static str,
    /// Why the node refuses, with what it was asked to take.
    pub meaning: String,
}

/// Returns the row that answers a request, or none: ForceRejoinReq is answered by a Rejoin-Request.
pub fn answer_to(request: &Row) -> Option<&'static Row> {
    partner(request, Role::Request)
}

/// Returns the row that an answer belongs to.
pub fn request_of(answer: &Row) -> Option<&'static Row> {
    partner(answer, Role::Answer)
}

/// Returns every bit by which `answer` refuses `request`; none where it agrees.
///
/// One bit of 0 refuses the command as a whole, and the node stays as it was. RejoinParamSetupAns is
/// the exception: TimeOK of 0 takes the count and refuses the time.
pub fn explain_refusal(request: &Command, answer: &Command) -> Vec<RefusedBit> {
    if answer_to(request.row).is_none_or(|row| row.cid != answer.cid()) {
        return Vec::new();
    }
    let refused = answer.fields.iter().filter(|f| f.value == FieldValue::Flag(false));
    refused
        .filter_map(|field| {
            let refusal = field.spec.refusal?;
            let asked: Vec<String> = refusal
                .about
                .iter()
                .filter_map(|name| request.field(name))
                .map(ToString::to_string)
                .collect();
            let meaning = if asked.is_empty() {
                refusal.meaning.to_owned()
            } else {
                format!("{}: {}", asked.join(", "), refusal.meaning)
            };
            Some(RefusedBit { bit: field.spec.lo, name: field.spec.name, meaning })
        })
        .collect()
}

fn partner(row: &Row, role: Role) -> Option<&'static Row> {
    let fits = |r: &&Row| {
        r.cid == row.cid && r.direction != row.direction && r.role != row.role && row.role == role
    };
    let same_age = |r: &&Row| r.versions.iter().any(|v| row.versions.contains(v));
    ROWS.iter().filter(fits).find(same_age)
}
