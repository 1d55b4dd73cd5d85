//! Keys made of the identifiers that stand beside them.

use super::{digits::Digits, mistake::Mistake, sink::Sink, text_form::Letters};
use crate::id::{DevEui, Eui64, JoinEui};

/// One of a node's two identifiers.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum EuiName {
    /// DevEUI.
    DevEui,
    /// JoinEUI.
    JoinEui,
}

impl EuiName {
    /// Returns the standard's name for it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::DevEui => "DevEUI",
            Self::JoinEui => "JoinEUI",
        }
    }
}

/// How 16 octets were made of an EUI.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum EuiKey {
    /// The EUI twice.
    Twice(EuiName),
    /// The EUI, then the other one.
    Joined(EuiName),
    /// The EUI, then eight zeros.
    ThenZeros(EuiName),
    /// Eight zeros, then the EUI.
    AfterZeros(EuiName),
    /// The 16 characters of the EUI's text.
    Text(EuiName, Letters),
}

impl EuiKey {
    /// Returns what the key is made of.
    pub fn text(self) -> String {
        match self {
            Self::Twice(eui) => format!("the {}, twice", eui.name()),
            Self::Joined(EuiName::DevEui) => "the DevEUI, then the JoinEUI".into(),
            Self::Joined(EuiName::JoinEui) => "the JoinEUI, then the DevEUI".into(),
            Self::ThenZeros(eui) => format!("the {}, then zeros", eui.name()),
            Self::AfterZeros(eui) => format!("zeros, then the {}", eui.name()),
            Self::Text(eui, letters) => {
                format!("the text of the {} ({})", eui.name(), letters.text())
            }
        }
    }
}

/// Offers every key made of these EUIs, in both octet orders.
pub(super) fn offer(dev_eui: Option<DevEui>, join_eui: Option<JoinEui>, sink: &mut impl Sink) {
    let dev = dev_eui.map(|eui| eui.0);
    let join = join_eui.map(|eui| eui.0);
    for reversed in [false, true] {
        for (name, eui, other) in [(EuiName::DevEui, dev, join), (EuiName::JoinEui, join, dev)] {
            let Some(eui) = eui else { continue };
            of_one(name, eui, other, reversed, sink);
        }
    }
}

fn of_one(name: EuiName, eui: Eui64, other: Option<Eui64>, reversed: bool, sink: &mut impl Sink) {
    let turn = |eui: Eui64| if reversed { eui.bytes_reversed() } else { eui }.octets();
    let mut make = |how: EuiKey, octets: &[u8]| {
        sink.offer(Digits::number(octets), || Mistake::FromEui { how, reversed });
    };
    let (octets, zeros) = (turn(eui), [0; 8]);
    make(EuiKey::Twice(name), &[octets, octets].concat());
    make(EuiKey::ThenZeros(name), &[octets, zeros].concat());
    make(EuiKey::AfterZeros(name), &[zeros, octets].concat());
    if let Some(other) = other {
        make(EuiKey::Joined(name), &[octets, turn(other)].concat());
    }
    for letters in [Letters::Upper, Letters::Lower] {
        make(EuiKey::Text(name, letters), letters.hex(&octets).as_bytes());
    }
}
