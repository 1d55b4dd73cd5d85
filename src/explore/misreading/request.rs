//! Join-Requests whose MIC does not hold though the root key is right.

use super::{
    Answer, Known, Root, Rule, Side, Subject, derive, distinct,
    recipe::{Recipe, RequestRecipe},
    search::{Hit, answer, search},
};
use crate::frame::JoinRequest;

/// Looks for what a node misread when it signed its Join-Requests (LoRaWAN 1.0.4 p. 45, 1.1
/// 6.2.2).
///
/// `requests` are those of one node; a mistake must explain all of them. The side is always the
/// node: nobody else signs a Join-Request.
pub fn explore_request(requests: &[&JoinRequest], roots: &[Known<'_>]) -> Answer {
    let roots = distinct(roots.iter().copied());
    if requests.is_empty() || roots.is_empty() {
        return Answer::CannotTell { why: "a Join-Request and a root key are needed" };
    }
    let standard = Recipe::standard(Rule::V1_0);
    let holds = |recipe: &Recipe, root: &Root<'_>, request: &JoinRequest| {
        signed(&recipe.request, root, request).0 == request.mic.0
    };
    // Which of them the standard explains counts per root: one key signs all.
    let by_standard = |root: &Root<'_>| -> Vec<bool> {
        requests.iter().map(|request| holds(&standard, root, request)).collect()
    };
    let by_standard: Vec<_> = roots.iter().map(by_standard).collect();
    if by_standard.iter().any(|held| held.iter().all(|&held| held)) {
        return Answer::StandardHolds;
    }
    let found = search(&[Subject::Request], standard, |recipe, tried| {
        let mut hits = Vec::new();
        for (root, by_standard) in roots.iter().zip(&by_standard) {
            *tried += 1;
            let mut hit = Hit::under(root);
            for (request, &by_standard) in requests.iter().zip(by_standard) {
                let (mic, mac) = signed(&recipe.request, root, request);
                if mic != request.mic.0 {
                    break;
                }
                hit.holds(32.0, by_standard, &mac);
            }
            if hit.held == requests.len() {
                hits.push(hit);
            }
        }
        hits
    });
    answer(found, |_| Side::Node)
}

/// Returns the MIC of a request by a recipe, and the MAC it was cut from.
pub(super) fn signed(
    recipe: &RequestRecipe,
    root: &Root<'_>,
    request: &JoinRequest,
) -> ([u8; 4], [u8; 16]) {
    let mut input = recipe.mhdr.octets(request.mhdr.0);
    let join_eui = recipe.join_eui.of(request.join_eui.to_wire());
    let dev_eui = recipe.dev_eui.of(request.dev_eui.to_wire());
    if recipe.euis_exchanged {
        input.extend([dev_eui, join_eui].as_flattened());
    } else {
        input.extend([join_eui, dev_eui].as_flattened());
    }
    input.extend(recipe.dev_nonce.of(request.dev_nonce.to_wire()));
    input.extend(&request.surplus);
    if recipe.zero_mic {
        input.extend([0; 4]);
    }
    let mac = if recipe.under_js_int_key {
        let key = derive::js_key(root.key, 6, &request.dev_eui.to_wire());
        recipe.mic.mac(&key, &input)
    } else {
        recipe.mic.mac(root.key, &input)
    };
    (recipe.mic.whole(mac), mac)
}

#[cfg(test)]
mod tests {
    use super::super::{
        Finding, rows,
        world::{World, pairs, request_mic},
    };
    use super::*;
    use crate::{frame::Mic, key::AppKey};

    fn requests(world: &World, ids: &[&str]) -> Vec<JoinRequest> {
        let sign = |nonce| {
            let mut request = JoinRequest::new(world.join_eui, world.dev_eui, nonce);
            request.mic = Mic(request_mic(world, &request, ids));
            request
        };
        world.asked.iter().map(|asked| sign(asked.nonce)).collect()
    }

    fn explored(world: &World, requests: &[JoinRequest]) -> Answer {
        explore_request(&requests.iter().collect::<Vec<_>>(), &world.known())
    }

    fn named(finding: &Finding, wanted: &[&'static super::super::Row]) -> bool {
        finding.readings().any(|reading| reading == wanted)
    }

    #[test]
    fn every_mistake_in_a_request_is_named_and_is_the_nodes() {
        for (seed, row) in (0..).zip(rows().filter(|row| row.subject == Subject::Request)) {
            let world = World::new(seed, Rule::V1_0);
            let answer = explored(&world, &requests(&world, &[row.id]));
            let [finding] = answer.findings() else { panic!("{}: {answer:?}", row.id) };
            assert_eq!((finding.mistakes.as_slice(), finding.side), (&[row][..], Side::Node));
            assert!(finding.alike.is_empty() && finding.held == 3, "{finding:?}");
            assert_eq!(finding.roots, ["firmware NwkKey"]);
            assert!(finding.odds < 1e-20);
        }
    }

    #[test]
    fn every_pair_of_mistakes_in_a_request_is_named() {
        for (seed, pair) in (0..).zip(pairs(&[Subject::Request], Rule::V1_0)) {
            let world = World::new(seed, Rule::V1_0);
            let ids = pair.map(|row| row.id);
            let answer = explored(&world, &requests(&world, &ids)[..1]);
            let [finding] = answer.findings() else { panic!("{ids:?}: {answer:?}") };
            let nearer = finding.mistakes.len() == 1;
            assert!(nearer || named(finding, &pair), "{ids:?}: {finding:?}");
        }
    }

    #[test]
    fn a_request_turned_by_hand_is_told_from_a_healthy_one() {
        // The request of the worked example, and its MIC over DevEUI as printed.
        let key: AppKey = "2b7e151628aed2a6abf7158809cf4f3c".parse().unwrap();
        let octets = hex::decode("0001000bfeff0000023c2b1afeff00000202012e269cf5").unwrap();
        let Some(crate::frame::Frame::JoinRequest(mut request)) =
            crate::frame::decode(&octets).frame
        else {
            panic!()
        };
        let known = [Known { label: "AppKey", key: key.key(), role: super::super::Role::App }];
        assert!(matches!(explore_request(&[&request], &known), Answer::StandardHolds));
        let wrong = hex::decode("0001000bfeff000002020000fffe1a2b3c0201").unwrap();
        let [a, b, c, d, ..] = crate::crypto::mic::cmac(key.key(), &wrong);
        request.mic = Mic([a, b, c, d]);
        let answer = explore_request(&[&request], &known);
        assert_eq!(answer.findings()[0].mistakes[0].id, "dev-eui-turned-in-request-mic");
    }

    #[test]
    fn a_foreign_key_and_a_healthy_request_give_no_finding() {
        for seed in 0..50 {
            let world = World::new(seed, Rule::V1_0);
            let healthy = requests(&world, &[]);
            assert!(matches!(explored(&world, &healthy), Answer::StandardHolds));
            let stranger = World::new(seed + 1000, Rule::V1_0);
            assert!(matches!(explored(&stranger, &healthy), Answer::NotFound { tried: 150.. }));
        }
    }
}
