//! Rung 5, readable: the payload decrypts under the AppSKey on record.

use super::{
    Case, keys,
    payloads::{self, Reads},
};
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
};

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    if let Some(wrong) = keys::app_key(case, story) {
        return Judgement::broken(wrong.words());
    }
    if payloads::out_of_step(case, story).is_some() {
        return Judgement::broken(
            "the AppSKey on record is not the one of this session: payloads come out as noise",
        );
    }
    let frames = payloads::of(story);
    let Some(key) = payloads::own_key(story) else {
        return Judgement::unknown("no AppSKey of the session is at hand");
    };
    match payloads::reads(&frames, key) {
        Reads::Text(octets) => Judgement::proven(fact!(
            "{payloads} read as text, {octets} bytes in all",
            payloads = Value::Count(frames.len() as u64, "payload"),
            octets
        )),
        Reads::Head(octets) => Judgement::proven(fact!(
            "{payloads} begin with the same {octets} bytes under the session's AppSKey: a message format",
            payloads = Value::Count(frames.len() as u64, "payload"),
            octets
        )),
        Reads::Nothing => Judgement::unknown(
            "nothing in the payloads shows whether they decrypt rightly: no text, no common beginning",
        ),
    }
}
