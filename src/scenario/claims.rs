//! The roster of a scene, as the file that a user would write.

use std::fmt::Write;

use crate::{
    key::Aes128Key,
    roster::{Claim, ClaimKind, Roster},
};

/// Returns a roster as TOML; parsed again it is the same roster.
pub(super) fn toml(roster: &Roster) -> String {
    let mut out = Text(String::new());
    out.quoted("region", roster.region.map(|p| p.name));
    out.bare("sub-band", roster.sub_band);
    for node in &roster.nodes {
        out.0.push_str("\n[[node]]\n");
        out.quoted("name", Some(&node.name));
        for (kind, claim) in node.claims() {
            let _ = writeln!(out.0, "\n[node.{}]", kind.name());
            out.claim(kind, claim);
        }
    }
    for gateway in &roster.gateways {
        out.0.push_str("\n[[gateway]]\n");
        out.quoted("eui", Some(gateway.eui.hex()));
        out.quoted("name", gateway.name.as_ref());
        out.quoted("region", gateway.region.map(|p| p.name));
        out.bare("sub-band", gateway.sub_band);
        out.list("listens", &gateway.listens);
    }
    out.0
}

struct Text(String);

impl Text {
    fn quoted(&mut self, member: &str, value: Option<impl std::fmt::Display>) {
        if let Some(value) = value {
            let _ = writeln!(self.0, "{member} = \"{value}\"");
        }
    }

    fn bare(&mut self, member: &str, value: Option<impl std::fmt::Display>) {
        if let Some(value) = value {
            let _ = writeln!(self.0, "{member} = {value}");
        }
    }

    fn list(&mut self, member: &str, values: &[impl std::fmt::Display]) {
        if !values.is_empty() {
            let values: Vec<String> = values.iter().map(ToString::to_string).collect();
            let _ = writeln!(self.0, "{member} = [{}]", values.join(", "));
        }
    }

    fn key(&mut self, member: &str, key: Option<&Aes128Key>) {
        self.quoted(member, key.map(Aes128Key::revealed));
    }

    fn claim(&mut self, kind: ClaimKind, claim: &Claim) {
        self.quoted("dev-eui", claim.dev_eui.map(|e| e.0.hex()));
        self.quoted("join-eui", claim.join_eui.map(|e| e.0.hex()));
        self.key("app-key", claim.app_key.as_ref().map(crate::key::AppKey::key));
        self.key("nwk-key", claim.nwk_key.as_ref().map(crate::key::NwkKey::key));
        self.quoted("mac-version", claim.mac_version.map(crate::frame::MacVersion::name));
        self.quoted("activation", claim.activation.map(crate::roster::Activation::name));
        self.quoted("class", claim.class.map(crate::roster::Class::name));
        self.quoted("region", claim.region.map(|p| p.name));
        let mask = claim.channel_mask.as_ref().map(|words| {
            let words: Vec<String> = words.iter().map(|w| format!("{w:04X}")).collect();
            words.join(" ")
        });
        self.quoted("channel-mask", mask);
        self.quoted("net-id", claim.net_id.map(crate::id::NetId::hex));
        let quote = |text: String| format!("\"{text}\"");
        let gateways: Vec<String> = claim.gateways.iter().map(|g| quote(g.hex())).collect();
        self.list("gateways", &gateways);
        self.bare("last-join-nonce", claim.last_join_nonce);
        self.bare("next-join-nonce", claim.next_join_nonce);
        self.bare("last-dev-nonce", claim.last_dev_nonce);
        self.list("used-dev-nonces", &claim.used_dev_nonces);
        self.bare("last-fcnt-up", claim.last_fcnt_up);
        self.bare("last-fcnt-down", claim.last_fcnt_down);
        self.bare("next-fcnt-down", claim.next_fcnt_down);
        self.bare("fcnt-bits", claim.fcnt_bits);
        self.bare("rx1-delay", claim.rx1_delay);
        self.bare("rx1-dr-offset", claim.rx1_dr_offset);
        self.bare("rx2-data-rate", claim.rx2_data_rate);
        self.bare("rx2-frequency", claim.rx2_frequency);
        self.bare("downlink-dwell", claim.downlink_dwell);
        let prefix = claim.dev_addr_prefix.map(|p| format!("{:08x}/{}", p.value(), p.bits()));
        self.quoted("dev-addr-prefix", prefix);
        self.quoted("dev-addr", claim.dev_addr.map(|a| format!("{:08x}", a.0)));
        self.key("nwk-s-key", claim.nwk_s_key.as_ref().map(crate::key::NwkSKey::key));
        self.key("app-s-key", claim.app_s_key.as_ref().map(crate::key::AppSKey::key));
        // The console's words are the scene's own: nothing in them needs an escape.
        let log: Vec<String> =
            claim.log.iter().map(|l| quote(l.replace(['"', '\\'], "'"))).collect();
        self.list("log", &log);
        debug_assert!(kind != ClaimKind::Label || claim.log.is_empty(), "a label has no console");
    }
}
