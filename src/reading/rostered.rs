//! The keys of a roster: every claim of every node is a source of its own.

use super::{Bunch, KeyRing, Source};
use crate::{
    roster::{Claim, ClaimKind, Roster},
    trace::Counters,
};

impl KeyRing {
    /// Adds all keys of a roster, those of each claim under its own source.
    ///
    /// ```
    /// use handfast::reading::KeyRing;
    ///
    /// let roster = handfast::roster::parse(
    ///     "[[node]]\nname = 'pear-row-3'\n[node.record]\napp-key = '8a4c19e2d75b03f6619ec8270db3f45a'",
    ///     None,
    /// )?;
    /// let mut ring = KeyRing::default();
    /// ring.add_roster(&roster);
    /// assert_eq!(ring.bunches()[0].source.to_string(), "record of pear-row-3");
    /// # Ok::<(), handfast::roster::RosterError>(())
    /// ```
    pub fn add_roster(&mut self, roster: &Roster) {
        self.add_roster_of(roster, |_| true);
    }

    /// Adds the keys of some kinds of claims.
    pub(crate) fn add_roster_of(&mut self, roster: &Roster, of: impl Fn(ClaimKind) -> bool) {
        for node in &roster.nodes {
            for (kind, claim) in node.claims().filter(|(kind, _)| of(*kind)) {
                let plan = roster.plan_for(node);
                let bunch = Bunch { plan, ..bunch(&node.name, kind, claim) };
                if super::KeyRole::ALL.iter().any(|role| bunch.has(*role)) {
                    self.add(bunch);
                }
            }
        }
    }
}

fn bunch(node: &str, kind: ClaimKind, claim: &Claim) -> Bunch {
    Bunch {
        source: Source {
            dev_eui: claim.dev_eui,
            join_eui: claim.join_eui,
            dev_addr: claim.dev_addr,
            mac_version: claim.mac_version,
            ..Source::new(node, kind.name())
        },
        counters: Counters::under_way(claim.last_fcnt_up, claim.next_fcnt_down),
        app_key: claim.app_key.clone(),
        nwk_key: claim.nwk_key.clone(),
        nwk_s_key: claim.nwk_s_key.clone(),
        app_s_key: claim.app_s_key.clone(),
        f_nwk_s_int_key: claim.f_nwk_s_int_key.clone(),
        s_nwk_s_int_key: claim.s_nwk_s_int_key.clone(),
        nwk_s_enc_key: claim.nwk_s_enc_key.clone(),
        ..Bunch::default()
    }
}
