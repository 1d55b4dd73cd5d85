//! An own look, and nobody's names: what a user sees draws bits our way, has examples of our own, and
//! names no device stack, server, operator or vendor.
//!
//! The words that must not be said are kept as hashes, so that this list names nobody either. Of a
//! word in small letters, the first 8 octets of its SHA-256:
//!
//!     printf %s WORD | sha256sum | cut -c 1-16
//!
//! `vectors/` is not looked at: there each check has its exact source beside it.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::Path,
    process::Command,
};

use handfast::{lesson, program as cli, region::Plan};
use sha2::{Digest, Sha256};

const HERE: &str = env!("CARGO_MANIFEST_DIR");

/// Words of device stacks, servers, operators and vendors, and numbers of theirs.
const NAMES: &str = "\
    023c5bd50a89fc79 067a4b10bf0adf4f 08b730eeb6bbafe8 1047164ec6b4fdd1 1122bf137f82f8d4 \
    12fd2565668fd04d 139fa54e770c2f59 149f9f38252ba8bf 17eb7c2b354b5eb1 197471ce0c5a23e4 \
    1b4cfe6960500608 1d1ca9824353611d 1ec9b0947e3e7df6 1f1f9077e71aec76 217d0bcfa71ebcbb \
    2548fa4a8678def1 28662759fcf7454b 29a4ee71e3c86f7f 2a68a6469246fb0e 2c03544180efdc68 \
    2ceb6177a143cf41 2fff4b466938c0a7 3040749fac35b0a8 317e938a489b10da 32c0807fcd8ac77b \
    338ed5a22f7b623f 357e739aa8790980 3620245e5e747014 3632ccec4cf576ce 3985207a659d7cbf \
    3a1954d7adb331d9 3aa0e3d27d47e00c 3ca3ea7565b80acf 3df48554aa5765b8 409c77d4a7662741 \
    4133c8155f89b25a 41b47eeed2d67c47 42959035d30c82e1 446d9ac1aedb1458 460f95f863cec8f1 \
    47ab74ad560d0957 47f849b4b77cf41c 4ad259ee02094999 4def811627c563d9 5310b6ab840785a8 \
    5ae83b529dea735d 5b9ccce4a61b7239 5c0c32ca7b93d7ee 5d266eae3023ecfe 5df1413ceae65019 \
    5e988b47a5edae7a 65100ed227dffbae 65c4e1df6c15fce3 684b352dd45cbb4d 6bb3f30a8898d0ff \
    6e017f646ed8df9d 701622b799ff9dbb 738ee440e9dfbfb7 75885c6d0628882c 75acee422eb4a05b \
    775e9f944188a7bc 7770ec7eb3bb670d 786bf58f3a1aa1b3 79b449943c16e0ec 79f43c3b9c23fbdf \
    7c7ed790b0ebe0bd 7d96cf49060a8ba2 80c46e7b430328df 80d58f040ff9091a 82e2dd8a2f9c3dbc \
    837d72d29914b5da 84f24521c63d0499 888df5d984be1a40 897c7166b765212e 8c3b117cf51779f9 \
    91d7655bc8180257 93378447ced05b50 99631cf4144cc7ce 9d43a0047f15b422 9ec3b64e68181688 \
    a2115e6be8c838ea a25695657081d3de a47f9b7b5922ecb6 a57622dfd567fa9a a66e7109d7cf60d8 \
    a6f53ecb8bd87ffc a758fe13a4b8d479 a877304bffdd491a ab751320136bf9e4 abd8d365844245a6 \
    ac6a924e6ed6a3d0 af3bfba80e49f535 af4239e70197e2a7 b86b4abb17ed51ec bccc4278f07b60e7 \
    be6a191e7f02cf3c c3fbeb9951edd403 c69f857d9badcf9d c6d7f7c6c160d9fb c6e8baca12b9d1de \
    c7d5be30248d505e c9a3a98a885a0337 cac77afa6447276c cbc62794911ff31b cdd4734051f99669 \
    ce2bc188502c1858 ce328671f5bd6b5b cfcbd158d4be0063 d04353506133f5c4 d17f765442743125 \
    d2c7de1d24f23195 d4237f983a65c2d2 d47c40bea34483aa d55a99445d116ca6 d7d33bb3e3be1aeb \
    d8af63d645d1f5c2 dab7641b7e7e4ee3 dc534d37d3141870 ddf485ee800076c4 defa9e621756a8b3 \
    df309b73b485c939 df9e68e1f3c3172a dfd24b9e276bc41b e0bd6f0c9a1ac4a9 e1922093bc5756d8 \
    e22fdf3809704b84 e2952694dec272e5 e3bd69bfc5802dd7 e4621c091f49d345 e73b79a0b10f8cdb \
    e9feb5124f6fbc2a ea43de53dc947fdf eb10a5494db913e4 ecc787c14978e242 ecc92309c5c60556 \
    ee3c4f1919852aa4 f0ece703585e96b8 f56f493465a85dd4 f6484ee876148a67 f66a3c3ef50f24f8 \
    f6d7ecc09c75f716 f76cb2b19f5c4473 fa082e22b1eee4ef fb137a2bba5d3ffb fbc998cff158e129 \
    fc1997e4d80e81f6 fccda8faefebb2ec ffd89c0593221172";

/// Two words that are a name together.
const PAIRS: &str = "\
    2d52044b415489af 319518d801f9a940 3c9e81fe9c17c180 78a1590eebeb612f abb224ab7bd18df5 \
    e70494ee4cef3144 ecabcc5b04dac302";

/// Beginnings of three letters of words that one stack alone says.
const BEGINNINGS: &str = "5dcd61d038c3c871";

/// Initials that are sources of the regional tables and something else elsewhere.
const INITIALS: &str = "30fc9e3356c21227 599af8b0b1a3ddc2 5aef96240bca5582 b831b33e0c05b45e";

/// Frames that are known from elsewhere, as hex without separators and as base64.
const SAMPLES: [&str; 2] = [concat!("40f1", "7d"), concat!("QP", "F9")];

/// Texts by where they are from.
pub(crate) type Texts = BTreeMap<String, String>;

/// Whether a list has the hash of a word.
fn has(list: &str, word: &str) -> bool {
    let hash: String = hex::encode(Sha256::digest(word.as_bytes())).chars().take(16).collect();
    list.split(' ').any(|known| known == hash)
}

/// The words of a text in small letters, `_` and points within them kept.
fn words(text: &str) -> impl Iterator<Item = String> {
    text.split(|c: char| !(c.is_ascii_alphanumeric() || matches!(c, '_' | '.')))
        .map(|word| word.trim_matches('.').to_ascii_lowercase())
        .filter(|word| !word.is_empty())
}

/// The words, and the parts of those that have parts.
fn all_words(text: &str) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    for word in words(text) {
        all.extend(word.split(['_', '.']).map(str::to_owned));
        all.insert(word);
    }
    all
}

/// Words that are names, told where they stand: the failure of this test may name them.
fn names(texts: &Texts, beside: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut known: BTreeMap<String, bool> = BTreeMap::new();
    for (place, text) in texts {
        for word in all_words(text) {
            let is_name = *known.entry(word.clone()).or_insert_with(|| {
                let begins = word.get(..3).is_some_and(|head| has(BEGINNINGS, head));
                begins || has(NAMES, &word) || has(beside, &word)
            });
            if is_name {
                found.push(format!("{place}: {word}"));
            }
        }
        let pairs: BTreeSet<(String, String)> = words(text).zip(words(text).skip(1)).collect();
        let named = pairs.iter().map(|(a, b)| format!("{a} {b}"));
        let named = named.filter(|pair| has(PAIRS, pair));
        found.extend(named.map(|pair| format!("{place}: {pair}")));
    }
    found
}

/// Whether a line has a row of bits with points for the bits of other fields.
fn is_dotted(line: &str) -> bool {
    let is_bit = |c: char| matches!(c, '0' | '1' | '.');
    let is_dotted =
        |bits: &str| bits.chars().all(is_bit) && bits.contains('.') && bits.contains(['0', '1']);
    let words: Vec<&str> = line.split(|c: char| !(c.is_ascii_alphanumeric() || c == '.')).collect();
    let in_fours = words
        .windows(2)
        .any(|pair| pair.iter().all(|word| word.len() == 4) && is_dotted(&pair.concat()));
    let in_one = words.iter().any(|w| w.len() == 8 && w.contains("...") && is_dotted(w));
    in_fours || in_one
}

/// The text without what people write between octets.
fn bare(text: &str) -> String {
    let text = text.replace("0x", "").replace("\\x", "");
    let kept = text.chars().filter(|c| !matches!(c, ' ' | '-' | ':' | ',' | ';' | '.'));
    kept.collect()
}

fn samples(text: &str) -> bool {
    let [hex, base64] = SAMPLES;
    text.lines().any(|line| {
        let bare = bare(line);
        bare.contains(base64) || bare.to_ascii_lowercase().contains(hex)
    })
}

fn read(texts: &mut Texts, folder: &str, of: &[&str]) {
    for entry in fs::read_dir(Path::new(HERE).join(folder)).unwrap() {
        let entry = entry.unwrap();
        let name = format!("{folder}/{}", entry.file_name().to_str().unwrap());
        if entry.file_type().unwrap().is_dir() {
            read(texts, &name, of);
        } else if of.iter().any(|end| name.ends_with(end)) {
            texts.insert(name, fs::read_to_string(entry.path()).unwrap());
        }
    }
}

fn handfast(texts: &mut Texts, args: &[&str]) {
    let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(args)
        .current_dir(HERE)
        .env("NO_COLOR", "1")
        .output()
        .unwrap();
    assert!(matches!(run.status.code(), Some(0 | 1)), "{args:?}: {:?}", run.status);
    let text = [run.stdout, run.stderr].concat();
    assert!(!text.is_empty(), "{args:?}");
    texts.insert(args.join(" "), String::from_utf8(text).unwrap());
}

/// What the program prints: help, pages, causes, lessons, the report.
pub(crate) fn printed() -> Texts {
    let mut texts = Texts::new();
    handfast(&mut texts, &["--help"]);
    for command in cli::definition().get_subcommands() {
        handfast(&mut texts, &[command.get_name(), "--help"]);
        handfast(&mut texts, &["man", command.get_name()]);
    }
    handfast(&mut texts, &["explain"]);
    handfast(&mut texts, &["explain", "--json"]);
    for cause in handfast::ladder::CAUSES {
        handfast(&mut texts, &["explain", cause.id.name()]);
    }
    for level in 1..=lesson::Level::ALL.len() {
        for seed in 0..8 {
            let (level, seed) = (level.to_string(), seed.to_string());
            let sheet = ["lesson", "--count", "12", "--level", &level, "--seed", &seed];
            for way in [&["--answers"][..], &["--json"], &["--html", "-"]] {
                handfast(&mut texts, &[&sheet, way].concat());
            }
        }
    }
    handfast(&mut texts, &["diagnose", "--demo", "--json"]);
    handfast(&mut texts, &["diagnose", "--demo", "--working"]);
    handfast(&mut texts, &["read", "src/demo/orchard.ndjson", "--roster", "src/demo/orchard.toml"]);
    let folder = std::env::temp_dir().join(format!("handfast-own-look-{}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    for name in ["report.html", "report.md"] {
        let file = folder.join(name);
        handfast(&mut texts, &["diagnose", "--demo", "--report", file.to_str().unwrap()]);
        texts.insert(name.to_owned(), fs::read_to_string(file).unwrap());
    }
    fs::remove_dir_all(folder).unwrap();
    texts
}

/// Returns a file of the repository.
pub(crate) fn repository(file: &str) -> String {
    fs::read_to_string(Path::new(HERE).join(file)).unwrap()
}

/// What the regional tables say, by the command and in their source.
fn regions() -> Texts {
    let mut texts = Texts::new();
    for plan in Plan::all() {
        handfast(&mut texts, &["plan", plan.name]);
        handfast(&mut texts, &["plan", plan.name, "--json"]);
    }
    read(&mut texts, "src/region", &[".rs"]);
    texts
}

/// What is written: documents, snapshots, the source with its comments, tests.
fn written() -> Texts {
    let mut texts = Texts::new();
    for folder in ["src", "tests", "benches", "fuzz/fuzz_targets"] {
        read(
            &mut texts,
            folder,
            &[".rs", ".md", ".snap", ".txt", ".css", ".js", ".toml", ".ndjson"],
        );
    }
    for file in ["README.md", "DEVELOPERS.md", "Cargo.toml", "fuzz/seeds.py"] {
        texts.insert(file.to_owned(), repository(file));
    }
    assert!(texts.len() > 300, "{}", texts.len());
    texts
}

fn look(texts: &Texts, beside: &str) {
    let mut found = names(texts, beside);
    for (place, text) in texts {
        let lines = (1..).zip(text.lines()).filter(|(_, line)| is_dotted(line));
        found.extend(
            lines.map(|(number, line)| format!("{place}:{number}: bits in points: {line}")),
        );
        if samples(text) {
            found.push(format!("{place}: a frame known from elsewhere"));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn what_is_printed_has_an_own_look() {
    look(&printed(), "");
}

#[test]
fn plans_name_documents_of_the_standard_alone() {
    look(&regions(), INITIALS);
}

#[test]
fn what_is_written_has_an_own_look() {
    look(&written(), "");
}

#[test]
fn this_test_sees_what_it_looks_for() {
    for line in [
        concat!("        000", ". ....                FType     0"),
        concat!("<td>.... ", "..10</td>"),
        concat!("1.", "......  ADR"),
    ] {
        assert!(is_dotted(line), "{line}");
    }
    for line in [
        "0000 1111",
        "RP V1.0 .. 1.0.3",
        "bits 7-5  000  FType",
        "... 1.0.4 ...",
        "and so on ...",
        "911.0 0000 0000 FF00 0000",
    ] {
        assert!(!is_dotted(line), "{line}");
    }
    let [hex, base64] = SAMPLES;
    let spaced = format!("{} {}-{}", &hex[..2], &hex[2..4], hex[4..].to_uppercase());
    for text in [hex.to_uppercase(), spaced, format!("{{\"data\":\"{base64}vg==\"}}")] {
        assert!(samples(&text), "{text}");
    }
    assert!(!samples("40 DA BB 01 02, QNq7AQI"));
    let said = |text: &str| names(&Texts::from([(String::new(), text.to_owned())]), INITIALS);
    let event = format!("(2205) mac: {}{}", concat!("E", "V_"), "JOINING_NOW");
    let initials = format!("[T5, {}{} v0.0]", "M", "N");
    for text in
        [event, initials, format!("R1, {}{}", "T", "D"), format!("a {1} {0}", "Station", "Basic")]
    {
        assert!(!said(&text).is_empty(), "{text}");
    }
    assert_eq!(said("T5 Table 10, a public device stack, 000001"), [""; 0]);
}
