//! Walks `vectors/`: every file, every item, and fails on any that it does not understand.
//!
//! A file is an object of `what` and `items`; an item has `id`, `kind` and, if its file has none,
//! `source`. The kind says which check reads the rest, and a member that the check does not know
//! is an error. Folders that another test walks are named in [`ELSEWHERE`].

mod crypto;
mod frames;
mod fuzz;
mod published;

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
};

use serde::{
    Deserialize,
    de::{DeserializeOwned, IgnoredAny},
};
use serde_json::{Map, Value};

/// Why an item does not hold.
type Outcome = Result<(), String>;

/// Folders and files of `vectors/` that another test walks, and that test.
const ELSEWHERE: &[(&str, &str)] = &[
    ("beacon", "tests/all/beacon.rs"),
    ("captures", "tests/all/captures.rs"),
    ("compare", "tests/all/compare.rs"),
    ("commands", "tests/all/commands.rs"),
    ("intake", "tests/all/intake.rs"),
    ("join", "tests/all/join_cases.rs"),
    ("radio", "tests/all/radio.rs"),
    ("region", "tests/all/region_rules.rs"),
    ("regions.toml", "tests/all/region_tables.rs"),
];

/// Items that are left out, each by its name and with the reason.
const SKIPPED: &[(&str, &str)] = &[
    ("kw-rfc3394-4.2", "a KEK of 192 bits; LoRaWAN key envelopes wrap under AES-128"),
    ("kw-rfc3394-4.3", "a KEK of 256 bits; LoRaWAN key envelopes wrap under AES-128"),
    ("kw-rfc3394-4.4", "a KEK of 192 bits; LoRaWAN key envelopes wrap under AES-128"),
    ("kw-rfc3394-4.5", "a KEK of 256 bits; LoRaWAN key envelopes wrap under AES-128"),
    ("kw-rfc3394-4.6", "a KEK of 256 bits; LoRaWAN key envelopes wrap under AES-128"),
];

/// One file of vectors.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    what: String,
    source: Option<Source>,
    #[serde(rename = "licence")]
    _licence: Option<String>,
    items: Vec<Map<String, Value>>,
}

/// Where a value was published, or how it was made.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Source {
    title: String,
    #[serde(rename = "url")]
    _url: Option<String>,
}

#[test]
#[expect(clippy::print_stdout, reason = "the count of each kind, shown by --nocapture")]
fn every_vector_holds() {
    let mut walk = Walk::default();
    for entry in entries(&crate_root().join("vectors")) {
        let name = name_of(&entry);
        match name.as_str() {
            // Run by .ci/run.
            "recompute.py" | "pcaps.py" | "check_working.py" => {}
            "crypto" | "frames" | "published" => walk.folder(&entry),
            "fuzz" => walk.fuzz(&entry),
            _ => match ELSEWHERE.iter().find(|(theirs, _)| *theirs == name) {
                Some((_, test)) if crate_root().join(test).is_file() => {}
                Some((_, test)) => walk.failures.push(format!("vectors/{name}: no {test}")),
                None => walk.failures.push(format!("vectors/{name}: no test walks this")),
            },
        }
    }
    for (kind, count) in &walk.held {
        println!("{count:5} {kind}");
    }
    for (id, reason) in SKIPPED {
        println!("skipped {id}: {reason}");
        if !walk.skipped.contains(id) {
            walk.failures.push(format!("{id} is on the list of skipped items and is not there"));
        }
    }
    for kind in KINDS.iter().filter(|kind| !walk.held.contains_key(**kind)) {
        walk.failures.push(format!("no vector of kind {kind}"));
    }
    assert!(walk.failures.is_empty(), "\n{}", walk.failures.join("\n"));
}

fn crate_root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let read = fs::read_dir(folder).expect("the folder is there");
    let mut out: Vec<_> = read.map(|entry| entry.expect("an entry").path()).collect();
    out.sort();
    out
}

fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

#[derive(Default)]
struct Walk {
    held: BTreeMap<String, usize>,
    skipped: BTreeSet<&'static str>,
    failures: Vec<String>,
}

impl Walk {
    fn folder(&mut self, folder: &Path) {
        for path in entries(folder) {
            if path.extension().is_some_and(|extension| extension == "json") {
                self.file(&path);
            } else {
                self.failures.push(format!("{}: not a file of vectors", path.display()));
            }
        }
    }

    fn file(&mut self, path: &Path) {
        let name = name_of(path);
        let text = fs::read_to_string(path).expect("a readable file");
        let file: File = match serde_json::from_str(&text) {
            Ok(file) => file,
            Err(error) => return self.failures.push(format!("{name}: {error}")),
        };
        if file.what.is_empty() || file.items.is_empty() {
            self.failures.push(format!("{name}: says nothing"));
        }
        let mut ids = BTreeSet::new();
        for mut item in file.items {
            let id = text_of(&mut item, "id");
            let kind = text_of(&mut item, "kind");
            let source = item.remove("source").map(serde_json::from_value::<Source>);
            item.remove("seen_in");
            item.remove("note");
            let sourced = match source {
                None => file.source.as_ref().is_some_and(|source| !source.title.is_empty()),
                Some(source) => source.is_ok_and(|source| !source.title.is_empty()),
            };
            if id.is_empty() || !ids.insert(id.clone()) || !sourced {
                self.failures.push(format!("{name}: {id}: needs an id of its own and a source"));
            }
            if let Some((skipped, _)) = SKIPPED.iter().find(|(skipped, _)| *skipped == id) {
                self.skipped.insert(skipped);
                continue;
            }
            match check(&kind, item) {
                Ok(()) => *self.held.entry(kind).or_default() += 1,
                Err(why) => self.failures.push(format!("{name}: {id} ({kind}): {why}")),
            }
        }
    }

    /// `vectors/fuzz/<target>/*`: inputs that once broke a target.
    fn fuzz(&mut self, folder: &Path) {
        for target in entries(folder) {
            let name = name_of(&target);
            for path in entries(&target) {
                let octets = fs::read(&path).expect("a readable file");
                match fuzz::replay(&name, &octets) {
                    Ok(()) => *self.held.entry(format!("fuzz {name}")).or_default() += 1,
                    Err(why) => self.failures.push(format!("{}: {why}", path.display())),
                }
            }
        }
    }
}

fn text_of(item: &mut Map<String, Value>, member: &str) -> String {
    match item.remove(member) {
        Some(Value::String(text)) => text,
        _ => String::new(),
    }
}

/// A check: an item is read into it whole, and then holds or says why not.
trait Check: DeserializeOwned {
    fn check(self) -> Outcome;
}

fn run<C: Check>(item: Map<String, Value>) -> Outcome {
    serde_json::from_value::<C>(Value::Object(item)).map_err(|error| error.to_string())?.check()
}

macro_rules! kinds {
    ($($kind:literal => $check:ty,)*) => {
        /// Every kind of item there is.
        const KINDS: &[&str] = &[$($kind,)*];

        fn check(kind: &str, item: Map<String, Value>) -> Outcome {
            match kind {
                $($kind => run::<$check>(item),)*
                _ => Err("a kind that this test does not know".into()),
            }
        }
    };
}

kinds! {
    "aes-ecb" => crypto::Ecb,
    "aes-ctr" => crypto::Ctr,
    "blocks" => crypto::Blocks,
    "cmac" => crypto::Cmac,
    "cmac-subkeys" => crypto::Subkeys,
    "fopts" => crypto::FOpts,
    "frm-payload" => crypto::FrmPayload,
    "join-accept-mic-1.1" => crypto::AcceptMic,
    "join-server-keys" => crypto::JoinServerKeys,
    "key-wrap" => crypto::KeyWrap,
    "mic-input" => crypto::MicInput,
    "mic-up-1.1" => crypto::MicUp,
    "multicast-keys" => crypto::Multicast,
    "ping-offset" => crypto::PingOffset,
    "relay-key" => crypto::RelayKey,
    "session-keys-1.0" => crypto::Session10,
    "session-keys-1.1" => crypto::Session11,
    "wycheproof-cmac" => crypto::WycheproofCmac,
    "wycheproof-key-wrap" => crypto::WycheproofWrap,
    "cflist" => frames::CfListItem,
    "damaged" => frames::Damaged,
    "data-down" => frames::Whole,
    "data-up" => frames::Whole,
    "fctrl" => frames::FCtrlItem,
    "join-accept" => frames::Whole,
    "join-request" => frames::Whole,
    "multicast-down" => frames::Whole,
    "opened-join-accept" => frames::Opened,
    "proprietary" => frames::Whole,
    "rejoin-request" => frames::Whole,
    "published-frame" => published::Published,
}

/// Octets, written as hex.
#[derive(Clone, Debug, Default, Eq, PartialEq, Deserialize)]
#[serde(try_from = "String")]
struct Hex(Vec<u8>);

impl TryFrom<String> for Hex {
    type Error = hex::FromHexError;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        hex::decode(text).map(Self)
    }
}

impl Hex {
    fn array<const N: usize>(&self) -> Result<[u8; N], String> {
        let found = self.0.len();
        self.0.as_slice().try_into().map_err(|_| format!("{found} bytes where {N} belong"))
    }
}

/// A key, an address or another value that reads itself from text.
#[derive(Clone, Debug, Deserialize)]
#[serde(try_from = "String", bound = "T: std::str::FromStr, T::Err: std::fmt::Display")]
struct Text<T>(T);

impl<T: std::str::FromStr> TryFrom<String> for Text<T>
where
    T::Err: std::fmt::Display,
{
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse().map(Self).map_err(|error: T::Err| error.to_string())
    }
}

/// A member that informs the reader and is checked nowhere.
type Remark = Option<IgnoredAny>;

fn same(what: &str, ours: impl AsRef<[u8]>, theirs: impl AsRef<[u8]>) -> Outcome {
    equal(what, hex::encode(ours), hex::encode(theirs))
}

#[expect(clippy::needless_pass_by_value, reason = "both are made at the call")]
fn equal<T: PartialEq + std::fmt::Debug>(what: &str, ours: T, theirs: T) -> Outcome {
    if ours == theirs { Ok(()) } else { Err(format!("{what}: ours {ours:?}, given {theirs:?}")) }
}

fn holds(what: &str, holds: bool) -> Outcome {
    if holds { Ok(()) } else { Err(format!("{what} does not hold")) }
}
