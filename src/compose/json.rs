//! A recipe out of the JSON that `read --json` prints, edited or not.
//!
//! `fields` say what the frame says; `PHYPayload` keeps what they leave out, such as RFU bits and
//! octets beyond the layout. What was edited is found by comparing with what `PHYPayload` itself
//! says. Plaintext goes before ciphertext where its key is at hand and the ciphertext was not edited.
//! A MIC that was edited stays; any other is computed anew where it held and the keys are at hand,
//! and kept as long as nothing before it changed.

mod data;
mod error;
mod join;
mod sheet;

pub use error::{JsonError, JsonFault, Remark};

use serde_json::{Map, Value};

use super::{Recipe, Signature};
use crate::{
    frame::{FType, Frame, JoinAccept, Mhdr, Mic, Proprietary, decode},
    reading::{Bunch, Context, CounterHint, KeyRing, read},
    show::{Input, json},
};
use sheet::{Sheet, hex_octets, id, number, text};

/// A recipe, and what was not taken from the JSON.
#[derive(Clone, Debug)]
pub struct Draft {
    /// The recipe.
    pub recipe: Recipe,
    /// What was left aside, and why.
    pub remarks: Vec<Remark>,
}

/// Returns the recipe of one object that `read --json` printed, or that was written in its manner.
///
/// ```
/// use handfast::{compose::from_json, reading::Bunch};
///
/// let frame = serde_json::json!({"message": "proprietary", "PHYPayload": "e00102"});
/// let draft = from_json(&frame, &Bunch::default())?;
/// assert_eq!(draft.recipe.compose(&Bunch::default()), Ok(vec![0xE0, 1, 2]));
/// # Ok::<(), handfast::compose::JsonError>(())
/// ```
///
/// # Errors
/// [`JsonError`] with the member that is missing, is something else, or contradicts another.
pub fn from_json(object: &Value, keys: &Bunch) -> Result<Draft, JsonError> {
    let given = Given::of(object)?;
    let base = Base::of(&given, keys)?;
    let empty = Map::new();
    let has_base = base.is_some();
    let shown = base.as_ref().map_or(&empty, |base| &base.fields);
    let sheet = Sheet { given: given.fields, base: shown, has_base };
    let mhdr = mhdr(&given, &sheet, base.as_ref())?;
    let message = Message { given: &given, sheet, base: base.as_ref(), mhdr, keys };
    match mhdr.ftype() {
        FType::JoinRequest => message.join_request(),
        FType::JoinAccept => message.join_accept(),
        FType::RejoinRequest => message.rejoin_request(),
        FType::Proprietary => {
            let payload = match base.as_ref().map(|base| &base.frame) {
                Some(Frame::Proprietary(frame)) => frame.payload.clone(),
                _ => return Err(JsonError::new("PHYPayload", JsonFault::Missing)),
            };
            Ok(Draft::whole(Recipe::Proprietary(Proprietary { mhdr, payload })))
        }
        FType::UnconfirmedDataUp
        | FType::UnconfirmedDataDown
        | FType::ConfirmedDataUp
        | FType::ConfirmedDataDown => message.data(),
    }
}

impl Draft {
    const fn whole(recipe: Recipe) -> Self {
        Self { recipe, remarks: Vec::new() }
    }
}

/// One object and its parts.
struct Given<'a> {
    object: &'a Map<String, Value>,
    fields: &'a Map<String, Value>,
}

impl<'a> Given<'a> {
    fn of(object: &'a Value) -> Result<Self, JsonError> {
        static EMPTY: std::sync::LazyLock<Map<String, Value>> = std::sync::LazyLock::new(Map::new);
        let object =
            object.as_object().ok_or_else(|| JsonError::new("", JsonFault::Wrong(AN_OBJECT)))?;
        let fields = match object.get("fields") {
            None | Some(Value::Null) => &EMPTY,
            Some(fields) => fields
                .as_object()
                .ok_or_else(|| JsonError::new("fields", JsonFault::Wrong(AN_OBJECT)))?,
        };
        Ok(Self { object, fields })
    }

    /// Returns a member of the object, or of an object in it: `context.tx_dr`.
    fn member(&self, path: &str) -> Option<&'a Value> {
        let (first, rest) = path.split_once('.').unwrap_or((path, ""));
        let member = self.object.get(first).filter(|value| !value.is_null())?;
        if rest.is_empty() { Some(member) } else { member.get(rest).filter(|v| !v.is_null()) }
    }

    /// Returns a member, read, if it is there.
    fn read<T>(
        &self,
        path: &str,
        wanted: &'static str,
        read: impl Fn(&Value) -> Option<T>,
    ) -> Result<Option<T>, JsonError> {
        let Some(member) = self.member(path) else { return Ok(None) };
        let wrong = || JsonError::new(path, JsonFault::Wrong(wanted));
        read(member).map(Some).ok_or_else(wrong)
    }

    /// Returns what the frame was, or would be, read with.
    fn context(&self) -> Result<Context, JsonError> {
        Ok(Context {
            fcnt: self.read("fcnt32", A_COUNTER, number)?.map(CounterHint),
            dev_nonce: self
                .read("context.dev_nonce", SIXTEEN_BITS, number)?
                .map(crate::id::DevNonce),
            join_eui: self.read("context.join_eui", AN_EUI, id)?,
            dev_eui: self.read("context.dev_eui", AN_EUI, id)?,
            conf_fcnt: self.read("context.conf_fcnt", SIXTEEN_BITS, number)?,
            ..Context::default()
        })
    }
}

/// What `PHYPayload` says, read with the same keys.
struct Base {
    frame: Frame,
    fields: Map<String, Value>,
    plaintext: Map<String, Value>,
    opened: Option<JoinAccept>,
}

impl Base {
    fn of(given: &Given<'_>, keys: &Bunch) -> Result<Option<Self>, JsonError> {
        let Some(octets) = given.read("PHYPayload", HEX, hex_octets)? else { return Ok(None) };
        let decoded = decode(&octets);
        if let Some(stopped) = decoded.stopped {
            return Err(JsonError::new("PHYPayload", JsonFault::Cut(stopped)));
        }
        let mut ring = KeyRing::default();
        ring.add(keys.clone());
        let reading = read(decoded, &ring, &given.context()?);
        let mut shown = String::new();
        let written = json::reading(&mut shown, &Input::default(), &reading);
        debug_assert!(written.is_ok(), "a String takes everything");
        let mut shown: Value = serde_json::from_str(&shown).unwrap_or_default();
        let mut object = |name| match shown.get_mut(name).map(Value::take) {
            Some(Value::Object(object)) => object,
            _ => Map::new(),
        };
        let (fields, plaintext) = (object("fields"), object("plaintext"));
        let opened = reading.found.accept.map(|opened| opened.accept.accept);
        Ok(reading.decoded.frame.map(|frame| Self { frame, fields, plaintext, opened }))
    }
}

/// Brings `message`, `fields.MHDR` and `PHYPayload` together.
fn mhdr(given: &Given<'_>, sheet: &Sheet<'_>, base: Option<&Base>) -> Result<Mhdr, JsonError> {
    let message = given.read("message", A_MESSAGE, |value| {
        FType::ALL.into_iter().find(|ftype| Some(ftype.name()) == value.as_str())
    })?;
    let edited = sheet.changed("MHDR").is_some();
    let was = base.map(|base| base.frame.mhdr());
    let octet = sheet.field("MHDR", ONE_OCTET, sheet::octet, was.map(|mhdr| mhdr.0));
    match (octet.ok().map(Mhdr), message) {
        (Some(mhdr), Some(ftype)) if mhdr.ftype() == ftype => Ok(mhdr),
        (Some(mhdr), None) => Ok(mhdr),
        // One of the two was edited, and the other one is as it was.
        (Some(mhdr), Some(ftype)) if was.map(Mhdr::ftype) == Some(ftype) => Ok(mhdr),
        (Some(mhdr), Some(ftype)) if !edited => Ok(Mhdr(mhdr.0 & 0x1F | Mhdr::new(ftype).0)),
        (Some(_), Some(_)) => Err(JsonError::new("fields.MHDR", JsonFault::Contradicts("message"))),
        (None, Some(ftype)) if !edited => Ok(Mhdr::new(ftype)),
        (None, Some(_)) => Err(JsonError::new("fields.MHDR", JsonFault::Wrong(ONE_OCTET))),
        (None, None) => Err(JsonError::new("message", JsonFault::Missing)),
    }
}

/// All that a message is made of.
struct Message<'a> {
    given: &'a Given<'a>,
    sheet: Sheet<'a>,
    base: Option<&'a Base>,
    mhdr: Mhdr,
    keys: &'a Bunch,
}

impl Message<'_> {
    /// Returns where the MIC comes from. `was` is what the frame was: its MIC and what stood before.
    fn signature(&self, was: Option<(Mic, Vec<u8>)>) -> Result<Signature, JsonError> {
        let given = self.sheet.read("MIC", "eight hex digits", |value| {
            hex_octets(value).and_then(|octets| octets.try_into().ok()).map(Mic)
        })?;
        let held = self.given.member("mic.state").and_then(Value::as_str) == Some("holds");
        Ok(match (given, was) {
            // Without the frame that it was nobody knows what was edited.
            (Some(mic), None) => Signature::Kept { mic, with: None, renew: held },
            (Some(mic), Some((was, _))) if mic != was => Signature::Given(mic),
            (_, Some((mic, with))) => Signature::Kept { mic, with: Some(with), renew: held },
            (None, None) => Signature::Computed,
        })
    }

    /// Returns the name of the key that the MIC held under.
    fn signer(&self) -> Option<&str> {
        let held = self.given.member("mic.state").and_then(Value::as_str) == Some("holds");
        text(self.given.member("mic.key").filter(|_| held)?)
    }
}

const AN_OBJECT: &str = "an object";
const HEX: &str = "hex digits in quotes";
const A_COUNTER: &str = "a number up to 4294967295";
const SIXTEEN_BITS: &str = "a number up to 65535";
const AN_EUI: &str = "16 hex digits in quotes";
const ONE_OCTET: &str = "two hex digits in quotes";
const A_MESSAGE: &str = "a message such as \"join-request\" or \"unconfirmed-data-up\"";
