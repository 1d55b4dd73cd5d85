//! What each place states of a node, one above the other, and what was heard of it.
//!
//! Identifiers and addresses travel in the open and are shown with the digits that differ marked.
//! Of keys the report says which digits differ, never what they are, unless asked.

use super::{Options, Subject};
use crate::{
    compare::key_likeness,
    key::Aes128Key,
    region::Megahertz,
    roster::{Claim, ClaimKind},
};

/// One member of the claims.
#[derive(Debug)]
pub(crate) struct Member {
    /// Its name as the standard spells it.
    pub(crate) name: &'static str,
    /// What each place has, in the order of [`ClaimKind`], and what was heard last.
    pub(crate) lines: Vec<(&'static str, ShownValue)>,
    pub(crate) standing: Standing,
    /// What differs, in words.
    pub(crate) words: Option<String>,
}

/// What a place has.
#[derive(Debug)]
pub(crate) enum ShownValue {
    /// Hex digits, and which of them to mark, from 1.
    Digits {
        digits: String,
        marks: Vec<usize>,
    },
    /// A key that is not shown, and which digits to mark, from 1.
    Masked {
        marks: Vec<usize>,
    },
    Text(String),
}

/// How the places stand to each other.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Standing {
    Alike,
    Differ,
    /// One place alone says something.
    Alone,
}

impl Standing {
    /// Returns it as one word or two.
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::Alike => "alike",
            Self::Differ => "differ",
            Self::Alone => "one place only",
        }
    }
}

/// What was heard stands under this name.
const ON_THE_AIR: &str = "on the air";

pub(super) fn of(subject: Subject<'_>, options: Options) -> Vec<Member> {
    let Some(entry) = subject.entry else { return Vec::new() };
    let claims: Vec<(ClaimKind, &Claim)> = entry.claims().collect();
    let mut out = identifiers(subject, &claims);
    out.extend(KEYS.iter().filter_map(|(name, key)| {
        let keys = claims.iter().filter_map(|(kind, claim)| Some((kind.name(), key(claim)?)));
        keys_of(name, &keys.collect::<Vec<_>>(), options)
    }));
    out.extend(SETTINGS.iter().filter_map(|(name, setting)| {
        let values = claims.iter().filter_map(|(kind, claim)| Some((kind.name(), setting(claim)?)));
        settings_of(name, values.collect())
    }));
    out
}

fn identifiers(subject: Subject<'_>, claims: &[(ClaimKind, &Claim)]) -> Vec<Member> {
    // The attempt that the ladder tells of is what the claims are held against.
    let attempts = &subject.node.attempts;
    let told = subject.diagnosis.told.and_then(|i| attempts.get(i));
    let ask = told.map(|attempt| &attempt.ask);
    let sent_address = super::data::of(subject.node).last().map(|s| s.data.frame().dev_addr.hex());
    let rows: [(&str, Setting, Option<String>); 3] = [
        ("DevEUI", |c| Some(c.dev_eui?.hex()), ask.and_then(|a| Some(a.dev_eui()?.hex()))),
        ("JoinEUI", |c| Some(c.join_eui?.hex()), ask.and_then(|a| Some(a.join_eui()?.hex()))),
        ("DevAddr", |c| Some(c.dev_addr?.hex()), sent_address),
    ];
    rows.into_iter()
        .filter_map(|(name, read, heard)| {
            let said = claims.iter().filter_map(|(kind, claim)| Some((kind.name(), read(claim)?)));
            let mut lines: Vec<(&'static str, String)> = said.collect();
            if lines.is_empty() {
                return None;
            }
            lines.extend(heard.map(|heard| (ON_THE_AIR, heard)));
            Some(digits_of(name, &lines))
        })
        .collect()
}

fn digits_of(name: &'static str, lines: &[(&'static str, String)]) -> Member {
    let marks = differing(&lines.iter().map(|(_, digits)| digits.as_str()).collect::<Vec<_>>());
    let standing = standing(lines.len(), marks.is_empty());
    let words = lines.iter().enumerate().find_map(|(i, (place, digits))| {
        let (other, _) =
            lines.iter().skip(i + 1).find(|(_, d)| *d == by_octets_reversed(digits))?;
        let who = if *other == ON_THE_AIR { "what the node sends" } else { other };
        (!marks.is_empty()).then(|| format!("{who} is the {place}'s read backwards, byte by byte"))
    });
    let value =
        |digits: &String| ShownValue::Digits { digits: digits.clone(), marks: marks.clone() };
    Member {
        name,
        lines: lines.iter().map(|(place, digits)| (*place, value(digits))).collect(),
        standing,
        words,
    }
}

/// The places at which not all have the same digit, from 1.
fn differing(all: &[&str]) -> Vec<usize> {
    let Some((first, rest)) = all.split_first() else { return Vec::new() };
    let others = |i| rest.iter().map(move |other| other.as_bytes().get(i));
    let digits = first.bytes().enumerate();
    digits.filter(|(i, d)| others(*i).any(|o| o != Some(d))).map(|(i, _)| i + 1).collect()
}

fn by_octets_reversed(digits: &str) -> String {
    let octets: Vec<&[u8]> = digits.as_bytes().chunks(2).rev().collect();
    String::from_utf8_lossy(&octets.concat()).into_owned()
}

const fn standing(lines: usize, same: bool) -> Standing {
    match (lines, same) {
        (0 | 1, _) => Standing::Alone,
        (_, true) => Standing::Alike,
        (_, false) => Standing::Differ,
    }
}

fn keys_of(
    name: &'static str,
    keys: &[(&'static str, &Aes128Key)],
    options: Options,
) -> Option<Member> {
    let likeness = match keys {
        [] => return None,
        [(first, a), (second, b), ..] => key_likeness([a, b], [first, second]),
        [_] => None,
    };
    let standing = standing(keys.len(), likeness.is_none());
    let marks = likeness.as_ref().map(|l| l.places.clone()).unwrap_or_default();
    let lines = if options.show_keys {
        let shown: Vec<String> = keys.iter().map(|(_, key)| key.revealed()).collect();
        let marks = differing(&shown.iter().map(String::as_str).collect::<Vec<_>>());
        let value = |digits| ShownValue::Digits { digits, marks: marks.clone() };
        keys.iter().zip(shown).map(|((place, _), digits)| (*place, value(digits))).collect()
    } else {
        let value = || ShownValue::Masked { marks: marks.clone() };
        keys.iter().map(|(place, _)| (*place, value())).collect()
    };
    let words = likeness.map(|likeness| format!("the two {}", likeness.words));
    Some(Member { name, lines, standing, words })
}

fn settings_of(name: &'static str, values: Vec<(&'static str, String)>) -> Option<Member> {
    let (_, first) = values.first()?;
    let same = values.iter().all(|(_, value)| value == first);
    Some(Member {
        name,
        standing: standing(values.len(), same),
        lines: values.into_iter().map(|(place, value)| (place, ShownValue::Text(value))).collect(),
        words: None,
    })
}

type Key = fn(&Claim) -> Option<&Aes128Key>;
type Setting = fn(&Claim) -> Option<String>;

macro_rules! keys {
    ($($name:literal $field:ident;)*) => {
        &[$(($name, |claim| claim.$field.as_ref().map(|key| key.key())),)*]
    };
}

static KEYS: &[(&str, Key)] = keys! {
    "AppKey" app_key;
    "NwkKey" nwk_key;
    "GenAppKey" gen_app_key;
    "NwkSKey" nwk_s_key;
    "AppSKey" app_s_key;
    "FNwkSIntKey" f_nwk_s_int_key;
    "SNwkSIntKey" s_nwk_s_int_key;
    "NwkSEncKey" nwk_s_enc_key;
};

static SETTINGS: &[(&str, Setting)] = &[
    ("MAC version", |c| Some(c.mac_version?.name().into())),
    ("Activation", |c| Some(c.activation?.name().into())),
    ("Class", |c| Some(c.class?.name().into())),
    ("Region", |c| Some(c.region?.name.into())),
    ("Sub-band", |c| Some(c.sub_band?.to_string())),
    ("Channel mask", |c| {
        let words: Vec<_> = c.channel_mask.as_ref()?.iter().map(|w| format!("{w:04X}")).collect();
        Some(words.join(" "))
    }),
    ("NetID", |c| Some(c.net_id?.to_string())),
    ("Last DevNonce", |c| Some(c.last_dev_nonce?.to_string())),
    ("Last JoinNonce", |c| Some(c.last_join_nonce?.to_string())),
    ("Next JoinNonce", |c| Some(c.next_join_nonce?.to_string())),
    ("Last FCnt up", |c| Some(c.last_fcnt_up?.to_string())),
    ("Last FCnt down", |c| Some(c.last_fcnt_down?.to_string())),
    ("Next FCnt down", |c| Some(c.next_fcnt_down?.to_string())),
    ("FCnt bits", |c| Some(c.fcnt_bits?.to_string())),
    ("RX1 delay", |c| Some(format!("{} s", c.rx1_delay?))),
    ("RX1DROffset", |c| Some(c.rx1_dr_offset?.to_string())),
    ("RX2 data rate", |c| Some(format!("DR{}", c.rx2_data_rate?))),
    ("RX2 frequency", |c| Some(format!("{} MHz", Megahertz(c.rx2_frequency?)))),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_that_differ_in_any_line_are_marked_in_all() {
        assert_eq!(differing(&["0201", "0201", "0102"]), [2, 4]);
        assert!(differing(&["0201"]).is_empty());
        assert_eq!(by_octets_reversed("020304"), "040302");
    }

    #[test]
    fn a_masked_key_has_no_digit() {
        let one: Aes128Key = "e7404c0774d8270b9b62b50c9ffd13dd".parse().unwrap();
        let other: Aes128Key = "e7404c07748d270b9b62b50c9ffd13dd".parse().unwrap();
        let keys = [("firmware", &one), ("record", &other)];
        let member = keys_of("AppKey", &keys, Options::default()).unwrap();
        assert_eq!(member.standing, Standing::Differ);
        for (_, value) in &member.lines {
            assert!(
                matches!(value, ShownValue::Masked { marks } if *marks == [11, 12]),
                "{value:?}"
            );
        }
        let member = keys_of("AppKey", &keys, Options { show_keys: true }).unwrap();
        let Some((_, ShownValue::Digits { digits, marks })) = member.lines.first() else {
            panic!()
        };
        assert_eq!((digits.as_str(), marks.as_slice()), (one.revealed().as_str(), &[11, 12][..]));
    }
}
