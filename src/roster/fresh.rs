//! Fresh credentials, and the forms in which the two ends take them: nobody types them twice.
//!
//! Random octets come from the caller. What is written reads back by [`super::firmware`], [`super::table`] and
//! [`super::label`].

use std::fmt::Write as _;

use zeroize::Zeroizing;

use super::{Activation, Claim, Node, firmware::ByteOrder};
use crate::{
    frame::MacVersion,
    id::{DevEui, Eui64, JoinEui},
    key::{Aes128Key, AppKey, NwkKey},
    region::Plan,
};

/// What all nodes that are made together have in common.
#[derive(Clone, Debug)]
pub struct Common {
    /// The first octets of each DevEUI, as printed: at most seven.
    pub prefix: Vec<u8>,
    /// The JoinEUI.
    pub join_eui: JoinEui,
    /// The link layer version: 1.1 has a NwkKey besides.
    pub mac_version: MacVersion,
    /// The region, where it is known.
    pub region: Option<&'static Plan>,
}

/// A node's credentials.
#[derive(Clone, Debug)]
pub struct Fresh {
    /// What people call the node.
    pub name: String,
    /// DevEUI.
    pub dev_eui: DevEui,
    app_key: AppKey,
    nwk_key: Option<NwkKey>,
}

/// The prefix of EUIs that nobody assigns: locally administered, of one device.
pub const LOCAL: u8 = 0x02;

/// Makes an EUI that starts with these octets.
///
/// # Errors
/// Whatever `random` says.
pub fn eui<E>(
    prefix: &[u8],
    mut random: impl FnMut(&mut [u8]) -> Result<(), E>,
) -> Result<Eui64, E> {
    let mut octets = [0; 8];
    random(&mut octets)?;
    octets.iter_mut().zip(prefix).for_each(|(octet, given)| *octet = *given);
    Ok(Eui64::new(octets))
}

impl Fresh {
    /// Makes the credentials of a node.
    ///
    /// # Errors
    /// Whatever `random` says.
    pub fn draw<E>(
        name: impl Into<String>,
        common: &Common,
        mut random: impl FnMut(&mut [u8]) -> Result<(), E>,
    ) -> Result<Self, E> {
        let dev_eui = DevEui(eui(&common.prefix, &mut random)?);
        let mut key = || {
            let mut octets = Zeroizing::new([0; 16]);
            random(octets.as_mut_slice()).map(|()| Aes128Key::new(*octets))
        };
        let app_key = AppKey::from(key()?);
        let has_two = common.mac_version == MacVersion::V1_1;
        let nwk_key = if has_two { Some(NwkKey::from(key()?)) } else { None };
        Ok(Self { name: name.into(), dev_eui, app_key, nwk_key })
    }

    /// Returns the node as a roster has it: one claim for each end, and the label.
    pub fn node(&self, common: &Common) -> Node {
        let claim = Claim {
            dev_eui: Some(self.dev_eui),
            join_eui: Some(common.join_eui),
            app_key: Some(self.app_key.clone()),
            nwk_key: self.nwk_key.clone(),
            mac_version: Some(common.mac_version),
            ..Claim::default()
        };
        let record = Claim { activation: Some(Activation::Otaa), ..claim.clone() };
        let label = Claim { qr: Some(self.label(common)), ..Claim::default() };
        let (firmware, record, label) = (Some(claim), Some(record), Some(label));
        Node { name: self.name.clone(), firmware, record, label }
    }

    /// Returns the identification string for the label (TR005). It holds no key; VendorID and
    /// VendorProfileID are 0, for a maker who has none.
    pub fn label(&self, common: &Common) -> String {
        let (join_eui, dev_eui) = (common.join_eui.0.hex(), self.dev_eui.0.hex());
        format!("LW:D0:{join_eui}:{dev_eui}:00000000").to_uppercase()
    }

    /// Returns a C header, its EUIs in that order. Keys have one order.
    pub fn header(&self, common: &Common, order: ByteOrder) -> Zeroizing<String> {
        let (suffix, words) = match order {
            ByteOrder::Reversed => ("LSB", "least significant byte first, as on the air"),
            ByteOrder::Printed | ByteOrder::Unknown => {
                ("MSB", "most significant byte first, as printed")
            }
        };
        let mut text = Zeroizing::new(String::with_capacity(2_048));
        // A comment must not end early, whatever the name is.
        let name = self.name.replace("*/", "* /");
        let _ = writeln!(text, "/* {name}: holds a key; keep it to yourself. */");
        let mut eui = |member: &str, eui: Eui64| {
            let octets = if suffix == "LSB" { eui.to_wire() } else { eui.octets() };
            let _ = writeln!(text, "/* {member}: {eui}; {words} */");
            array(&mut text, &format!("{member}_{suffix}"), &octets);
        };
        eui("DEVEUI", self.dev_eui.0);
        eui("JOINEUI", common.join_eui.0);
        array(&mut text, "APPKEY", self.app_key.key().expose());
        if let Some(key) = &self.nwk_key {
            array(&mut text, "NWKKEY", key.key().expose());
        }
        text
    }
}

fn array(text: &mut String, name: &str, octets: &[u8]) {
    let _ = write!(text, "static const unsigned char {name}[{}] = {{", octets.len());
    for octet in octets {
        let _ = write!(text, " 0x{octet:02X},");
    }
    // No comma behind the last.
    text.truncate(text.len() - 1);
    text.push_str(" };\n");
}

/// Returns records of nodes as servers import them: a header, then a line a node.
pub fn csv(nodes: &[Fresh], common: &Common) -> Zeroizing<String> {
    let mut text = Zeroizing::new(String::with_capacity(256 * (nodes.len() + 1)));
    let has_two = nodes.iter().any(|node| node.nwk_key.is_some());
    let more = if has_two { ",NwkKey" } else { "" };
    let region = if common.region.is_some() { ",Region" } else { "" };
    let _ = writeln!(text, "Name,DevEUI,JoinEUI,AppKey{more},MACVersion{region}");
    for node in nodes {
        let key = Zeroizing::new(node.app_key.key().revealed());
        let (dev_eui, join_eui) = (node.dev_eui.0.hex(), common.join_eui.0.hex());
        let name = node.name.replace('"', "\"\"");
        let _ = write!(text, "\"{name}\",{dev_eui},{join_eui},{}", key.as_str());
        if let Some(key) = &node.nwk_key {
            let key = Zeroizing::new(key.key().revealed());
            let _ = write!(text, ",{}", key.as_str());
        }
        let _ = write!(text, ",{}", common.mac_version.name());
        if let Some(plan) = common.region {
            let _ = write!(text, ",{}", plan.name);
        }
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use std::convert::Infallible;

    use super::*;
    use crate::roster::{
        firmware::{self, SourceText},
        label, table,
    };

    /// Octets that count up.
    fn counted() -> impl FnMut(&mut [u8]) -> Result<(), Infallible> {
        let mut next = 0x10;
        move |octets| {
            for octet in octets {
                *octet = next;
                next += 3;
            }
            Ok(())
        }
    }

    fn common(mac_version: MacVersion) -> Common {
        Common {
            prefix: vec![0x02, 0x00, 0x00],
            join_eui: JoinEui("020000fffe00ffff".parse().unwrap()),
            mac_version,
            region: Plan::by_name("EU868"),
        }
    }

    #[test]
    fn every_form_says_the_same() {
        for mac_version in [MacVersion::V1_0_4, MacVersion::V1_1] {
            let common = common(mac_version);
            let fresh = Fresh::draw("pear, \"row\" 3 */", &common, counted()).unwrap();
            assert_eq!(fresh.dev_eui.0.octets()[..3], [2, 0, 0]);
            assert_eq!(fresh.nwk_key.is_some(), mac_version == MacVersion::V1_1);
            let node = fresh.node(&common);
            let same = |claim: &Claim| {
                let own = node.record.as_ref().unwrap();
                assert_eq!((claim.dev_eui, claim.join_eui), (own.dev_eui, own.join_eui));
                let both = claim.app_key.as_ref().zip(own.app_key.as_ref()).unwrap();
                assert!(both.0.key().same_as(both.1.key()));
                let keys = (claim.nwk_key.as_ref(), own.nwk_key.as_ref());
                assert_eq!(keys.0.is_some(), keys.1.is_some());
                assert!(keys.0.zip(keys.1).is_none_or(|(a, b)| a.key().same_as(b.key())));
            };
            same(node.firmware.as_ref().unwrap());
            for order in [ByteOrder::Reversed, ByteOrder::Printed] {
                let header = fresh.header(&common, order);
                let read = firmware::parse(&[SourceText::new("pear.h", header.as_str())]);
                let [own] = read.nodes.as_slice() else { panic!("{:?}", read.nodes) };
                assert!(own.taken.iter().all(|taken| !taken.is_order_open()), "{order:?}");
                same(&own.claim);
            }
            let table = table::parse(&csv(std::slice::from_ref(&fresh), &common));
            assert!(table.faults.is_empty(), "{:?}", table.faults);
            same(&table.rows[0].claim);
            assert_eq!(table.rows[0].name.as_deref(), Some("pear, \"row\" 3 */"));
            assert_eq!(table.rows[0].claim.region.map(|plan| plan.name), Some("EU868"));
            let labels = label::read(&fresh.label(&common));
            assert!(labels.faults.is_empty() && labels.found.len() == 1);
            assert!(!fresh.label(&common).contains(&fresh.app_key.key().revealed()));
        }
    }
}
