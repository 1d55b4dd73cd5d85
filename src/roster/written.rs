//! A roster as a file: the claims of nodes in TOML.
//!
//! What is written is read back as it was: [`super::parse`] is the other way. A member that a place states
//! and that cannot be read becomes a comment, so that it is not taken for one that is missing.

use std::fmt::{self, Write as _};

use zeroize::Zeroizing;

use super::{Claim, ClaimKind, Node, claim::DevAddrPrefix};
use crate::{
    id::{DevAddr, Eui64},
    key::Aes128Key,
    region::Plan,
};

/// A key of a claim that is to be written.
#[derive(Clone, Copy, Debug)]
pub struct KeyAt<'a> {
    /// Which node, from 0.
    pub index: usize,
    /// The node's name.
    pub node: &'a str,
    /// Which place claims it.
    pub kind: ClaimKind,
    /// The member, as the roster spells it.
    pub member: &'static str,
    /// The key.
    pub key: &'a Aes128Key,
}

/// Returns the nodes as a roster. `file_of` returns the path that is written instead of a key; `None` where
/// the key itself is to be in the roster.
///
/// # Errors
/// Whatever `file_of` says.
pub fn toml<E>(
    region: Option<&'static Plan>,
    nodes: &[Node],
    mut file_of: impl FnMut(KeyAt<'_>) -> Result<Option<String>, E>,
) -> Result<Zeroizing<String>, E> {
    // Room from the start: a text that grows leaves copies of keys behind.
    let mut text = Zeroizing::new(String::with_capacity(nodes.len().saturating_mul(4_096) + 256));
    // Writing into a String cannot fail.
    if let Some(plan) = region {
        let _ = writeln!(text, "region = {}\n", Quoted(plan.name));
    }
    for (index, node) in nodes.iter().enumerate() {
        let gap = if index == 0 { "" } else { "\n" };
        let _ = writeln!(text, "{gap}[[node]]\nname = {}", Quoted(&node.name));
        for (kind, claim) in node.claims() {
            let _ = writeln!(text, "\n[node.{}]", kind.name());
            let _ = members(claim, &mut text);
            for (member, key) in keys(claim) {
                let Some(key) = key else { continue };
                let at = KeyAt { index, node: &node.name, kind, member, key };
                let _ = if let Some(path) = file_of(at)? {
                    writeln!(text, "{member}-file = {}", Quoted(&path))
                } else {
                    let digits = Zeroizing::new(key.revealed());
                    writeln!(text, "{member} = \"{}\"", digits.as_str())
                };
            }
            for member in &claim.unread {
                let _ =
                    writeln!(text, "# {member}: stated, and not taken: it cannot be read for sure");
            }
        }
    }
    Ok(text)
}

/// Every key of a claim.
#[expect(clippy::redundant_closure_for_method_calls, reason = "a row a member, all alike")]
fn keys(claim: &Claim) -> [(&'static str, Option<&Aes128Key>); 8] {
    [
        ("app-key", claim.app_key.as_ref().map(|key| key.key())),
        ("nwk-key", claim.nwk_key.as_ref().map(|key| key.key())),
        ("gen-app-key", claim.gen_app_key.as_ref().map(|key| key.key())),
        ("nwk-s-key", claim.nwk_s_key.as_ref().map(|key| key.key())),
        ("app-s-key", claim.app_s_key.as_ref().map(|key| key.key())),
        ("f-nwk-s-int-key", claim.f_nwk_s_int_key.as_ref().map(|key| key.key())),
        ("s-nwk-s-int-key", claim.s_nwk_s_int_key.as_ref().map(|key| key.key())),
        ("nwk-s-enc-key", claim.nwk_s_enc_key.as_ref().map(|key| key.key())),
    ]
}

/// Writes every member of a claim that is no key.
#[expect(clippy::redundant_closure_for_method_calls, reason = "a row a member, all alike")]
fn members(claim: &Claim, out: &mut String) -> fmt::Result {
    let mut text = |name: &str, value: Option<&str>| match value {
        Some(value) => writeln!(out, "{name} = {}", Quoted(value)),
        None => Ok(()),
    };
    text("dev-eui", claim.dev_eui.map(|eui| eui.0.hex()).as_deref())?;
    text("join-eui", claim.join_eui.map(|eui| eui.0.hex()).as_deref())?;
    text("mac-version", claim.mac_version.map(|version| version.name()))?;
    text("activation", claim.activation.map(|activation| activation.name()))?;
    text("class", claim.class.map(|class| class.name()))?;
    text("region", claim.region.map(|plan| plan.name))?;
    text("channel-mask", claim.channel_mask.as_deref().map(words).as_deref())?;
    text("net-id", claim.net_id.map(|id| id.hex()).as_deref())?;
    text("dev-addr-prefix", claim.dev_addr_prefix.map(prefix).as_deref())?;
    text("regional-parameters", claim.regional_parameters.as_deref())?;
    text("qr", claim.qr.as_deref())?;
    text("dev-addr", claim.dev_addr.map(DevAddr::hex).as_deref())?;
    let mut number = |name: &str, value: Option<u32>| match value {
        Some(value) => writeln!(out, "{name} = {value}"),
        None => Ok(()),
    };
    number("sub-band", claim.sub_band.map(u32::from))?;
    number("last-join-nonce", claim.last_join_nonce)?;
    number("last-fcnt-down", claim.last_fcnt_down)?;
    number("last-dev-nonce", claim.last_dev_nonce.map(u32::from))?;
    number("next-join-nonce", claim.next_join_nonce)?;
    number("last-fcnt-up", claim.last_fcnt_up)?;
    number("next-fcnt-down", claim.next_fcnt_down)?;
    number("fcnt-bits", claim.fcnt_bits.map(u32::from))?;
    number("rx1-delay", claim.rx1_delay.map(u32::from))?;
    number("rx1-dr-offset", claim.rx1_dr_offset.map(u32::from))?;
    number("rx2-data-rate", claim.rx2_data_rate.map(u32::from))?;
    number("rx2-frequency", claim.rx2_frequency)?;
    if let Some(dwell) = claim.downlink_dwell {
        writeln!(out, "downlink-dwell = {dwell}")?;
    }
    list("gateways", claim.gateways.iter().map(|eui| Quoted(Eui64::hex(*eui))), out)?;
    list("used-dev-nonces", claim.used_dev_nonces.iter(), out)?;
    list("log", claim.log.iter().map(Quoted), out)
}

fn list<T: fmt::Display>(
    name: &str,
    values: impl Iterator<Item = T>,
    out: &mut String,
) -> fmt::Result {
    let values: Vec<String> = values.map(|value| value.to_string()).collect();
    if values.is_empty() { Ok(()) } else { writeln!(out, "{name} = [{}]", values.join(", ")) }
}

fn words(masks: &[u16]) -> String {
    masks.iter().map(|mask| format!("{mask:04X}")).collect::<Vec<_>>().join(" ")
}

fn prefix(prefix: DevAddrPrefix) -> String {
    format!("{}/{}", DevAddr(prefix.value()).hex(), prefix.bits())
}

/// A text as TOML quotes it.
struct Quoted<T>(T);

impl<T: AsRef<str>> fmt::Display for Quoted<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_char('"')?;
        for c in self.0.as_ref().chars() {
            match c {
                '"' | '\\' => write!(f, "\\{c}")?,
                c if c.is_control() => write!(f, "\\u{:04X}", u32::from(c))?,
                c => f.write_char(c)?,
            }
        }
        f.write_char('"')
    }
}

#[cfg(test)]
mod tests {
    use std::convert::Infallible;

    use super::*;
    use crate::roster;

    fn written(nodes: &[Node]) -> Zeroizing<String> {
        toml(None, nodes, |_| Ok::<_, Infallible>(None)).unwrap()
    }

    const ALL: &str = r#"
        [[node]]
        name = "pear \"row\" 3 \\ ä"
        [node.firmware]
        dev-eui = "020000fffe001207"
        join-eui = "020000fffe00ffff"
        app-key = "5a0c11d2e37f4b8896a1c0deface0147"
        nwk-key = "5a0c11d2e37f4b8896a1c0deface0148"
        gen-app-key = "5a0c11d2e37f4b8896a1c0deface0149"
        channel-mask = "FF00 0000 0000 0000 0002"
        last-join-nonce = 7
        last-fcnt-down = 70000
        log = ["tx on 868.1 MHz"]
        [node.record]
        mac-version = "1.0.3"
        activation = "ABP"
        class = "C"
        region = "US915"
        sub-band = 2
        net-id = "000001"
        gateways = ["020000fffea09442", "020000fffea09443"]
        last-dev-nonce = 3
        used-dev-nonces = [1, 2, 3]
        next-join-nonce = 9
        last-fcnt-up = 8
        next-fcnt-down = 4
        fcnt-bits = 16
        rx1-delay = 1
        rx1-dr-offset = 2
        rx2-data-rate = 8
        rx2-frequency = 923300000
        downlink-dwell = false
        dev-addr-prefix = "02000000/7"
        regional-parameters = "RP002-1.0.4"
        dev-addr = "020c76ca"
        nwk-s-key = "5a0c11d2e37f4b8896a1c0deface0150"
        app-s-key = "5a0c11d2e37f4b8896a1c0deface0151"
        f-nwk-s-int-key = "5a0c11d2e37f4b8896a1c0deface0152"
        s-nwk-s-int-key = "5a0c11d2e37f4b8896a1c0deface0153"
        nwk-s-enc-key = "5a0c11d2e37f4b8896a1c0deface0154"
        [node.label]
        qr = "LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D"
    "#;

    #[test]
    fn every_member_is_read_back_as_it_was() {
        let first = roster::parse(ALL, None).unwrap().nodes;
        let text = written(&first);
        let again = roster::parse(&text, None).unwrap().nodes;
        // Keys show nothing of themselves in Debug: their digits are compared in the text.
        assert_eq!(format!("{first:?}"), format!("{again:?}"));
        assert_eq!(*text, *written(&again));
        for row in roster::member::MEMBERS {
            assert!(text.contains(&format!("\n{} = ", row.name)), "{}", row.name);
        }
        for key in roster::member::KEYS {
            assert!(text.contains(&format!("\n{} = \"5a0c11d2e37f4b88", key.name)), "{}", key.name);
        }
    }

    #[test]
    fn a_key_goes_to_its_file_and_what_cannot_be_read_is_a_comment() {
        let mut nodes = roster::parse(ALL, None).unwrap().nodes;
        let record = nodes[0].record.as_mut().unwrap();
        record.unread.push("join-eui");
        let mut met = Vec::new();
        let text = toml(Plan::by_name("EU868"), &nodes, |at| {
            met.push((at.kind, at.member));
            Ok::<_, Infallible>(Some(format!("{}.key", at.member)))
        })
        .unwrap();
        assert!(text.starts_with("region = \"EU868\"\n"));
        assert!(text.contains("\napp-key-file = \"app-key.key\"\n"));
        assert!(text.contains("\n# join-eui: stated"));
        assert!(!text.contains("5a0c11"));
        assert_eq!((met.len(), met[0]), (8, (ClaimKind::Firmware, "app-key")));
    }
}
