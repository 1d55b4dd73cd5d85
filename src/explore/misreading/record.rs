//! Session keys that a record states, held against the join that made them.

use super::{
    Answer, SessionCase, Side, Slot, Subject,
    derive::Keys,
    recipe::Recipe,
    search::{answer, search},
};
use crate::key::Aes128Key;

/// A session key as a record states it.
#[derive(Clone, Copy, Debug)]
pub struct Recorded<'a> {
    /// The key.
    pub key: &'a Aes128Key,
    /// The slot it stands in.
    pub slot: Slot,
}

impl Recorded<'_> {
    fn is_among(&self, keys: &Keys) -> bool {
        keys.slot(self.slot).is_some_and(|key| key.same_as(self.key))
    }
}

/// Looks for what a server misread when it derived the session keys that it keeps on record.
///
/// The frames of the case do not count; the side is the server, which derived them. A mistake must
/// explain every key given; compare one session's keys at a time.
pub fn explore_record(case: &SessionCase<'_>, recorded: &[Recorded<'_>]) -> Answer {
    if recorded.is_empty() {
        return Answer::CannotTell { why: "the record states no session key" };
    }
    let values = case.values();
    let sources = case.sources(&values);
    let standard = Recipe::standard(case.rule());
    // Several AppKeys may be claimed: whichever of them explains most is the one in use.
    let mut by_standard = vec![false; recorded.len()];
    sources.each(&standard.keys, |keys, _| {
        for (held, recorded) in by_standard.iter_mut().zip(recorded) {
            *held |= recorded.is_among(keys);
        }
    });
    if by_standard.iter().all(|&held| held) {
        return Answer::StandardHolds;
    }
    let found = search(&[Subject::Keys, Subject::Payload], standard, |recipe, tried| {
        let mut hits = Vec::new();
        sources.each(&recipe.keys, |keys, mut hit| {
            *tried += 1;
            for (recorded, &by_standard) in recorded.iter().zip(&by_standard) {
                if !recorded.is_among(keys) {
                    return;
                }
                hit.holds(128.0, by_standard, &[]);
            }
            hits.push(hit);
        });
        hits
    });
    answer(found, |_| Side::Server)
}

#[cfg(test)]
mod tests {
    use super::super::{
        Rule, rows,
        world::{World, derived, row},
    };
    use super::*;

    const SLOTS: [Slot; 4] = [Slot::Forwarding, Slot::Serving, Slot::NetworkEnc, Slot::App];

    fn explored(world: &World, keys: &[Aes128Key]) -> Answer {
        let [root, others @ ..] = &world.known();
        let recorded: Vec<_> =
            keys.iter().zip(SLOTS).map(|(key, slot)| Recorded { key, slot }).collect();
        let case = SessionCase {
            root: *root,
            others,
            accept: &world.accept,
            accept_rule: world.rule,
            join_eui: world.join_eui,
            dev_eui: world.dev_eui,
            dev_nonce: world.asked[0].nonce,
            other_nonces: &world.other_nonces,
            other_joins: &world.other_joins,
            frames: &[],
        };
        explore_record(&case, &recorded)
    }

    #[test]
    fn every_mistaken_key_on_record_is_named_and_is_the_servers() {
        for (seed, row) in (0..).zip(rows()) {
            let makes_keys = row.subject == Subject::Keys
                || row.family == super::super::Family::SessionKeys
                || row.id == "app-s-key-of-another-join";
            if !makes_keys {
                continue;
            }
            let mut shown = 0;
            for rule in [Rule::V1_0, Rule::V1_1] {
                let world = World::new(seed, rule);
                let keys = derived(&world, &[row.id]);
                let healthy = derived(&world, &[]);
                let answer = explored(&world, &keys);
                if keys.iter().zip(&healthy).all(|(key, healthy)| key.same_as(healthy)) {
                    assert!(matches!(answer, Answer::StandardHolds), "{}", row.id);
                    continue;
                }
                shown += 1;
                let [finding] = answer.findings() else { panic!("{}: {answer:?}", row.id) };
                assert!(finding.readings().any(|reading| reading == [row]), "{finding:?}");
                assert_eq!((finding.side, finding.held), (Side::Server, 4));
                assert!(finding.odds < 1e-30);
            }
            assert!(shown > 0, "{} is never seen", row.id);
        }
    }

    #[test]
    fn a_key_of_nowhere_is_not_explained() {
        let world = World::new(1, Rule::V1_0);
        let stranger = World::new(2, Rule::V1_0);
        let answer = explored(&world, &derived(&stranger, &[]));
        assert!(matches!(answer, Answer::NotFound { .. }));
        assert!(matches!(explored(&world, &[]), Answer::CannotTell { .. }));
    }

    #[test]
    fn published_keys_of_1_0_and_1_1_hold_by_the_standard() {
        // Computed by a published test of a network server from one root key for all of them.
        let root: Aes128Key = "bec499c69e9c939e413b663961636c61".parse().unwrap();
        let mut world = World::new(1, Rule::V1_1);
        (world.nwk, world.app) = (root.clone(), root);
        world.join_eui = "0000001223224242".parse().unwrap();
        world.accept.join_nonce = "ae3b1c".parse().unwrap();
        world.asked[0].nonce.0 = 0x7369;
        let keys = [
            "379084e7ce22ff191bff4b77536f2aa3",
            "63c59309d53485bc5164dbf71627aeb9",
            "ce07a009a3970ac0519a099ed53e550b",
            "b035cce24e4a040eb5cecbf21724412d",
        ];
        let keys = keys.map(|key| key.parse().unwrap());
        assert!(matches!(explored(&world, &keys), Answer::StandardHolds));
        // The form of 1.0 of the same FNwkSIntKey: NetID where JoinEUI belongs.
        world.accept.net_id = "020101".parse().unwrap();
        let of_1_0: Aes128Key = "0db924ee6af90698e05fc7ce48303c01".parse().unwrap();
        let answer = explored(&world, &[of_1_0]);
        let readings: Vec<_> = answer.findings()[0].readings().collect();
        assert!(readings.contains(&&[row("net-id-for-join-eui")][..]), "{readings:?}");
        assert!(readings.contains(&&[row("rule-of-1.0-though-opt-neg-is-set")][..]));
    }
}
