//! A Join-Accept as the server made it: its cipher and its MIC.

use super::{
    Answer, Known, MOST_OTHERS, Root, Rule, Side, Subject, compute, derive, distinct,
    recipe::{AcceptRecipe, Cipher, EuiIn, Recipe, Sealing, Source},
    search::{Hit, answer, search},
};
use crate::{
    crypto::{Block, decrypt_block, encrypt_block, mic::JoinReqType},
    frame::{JoinRequest, RejoinRequest, SealedJoinAccept},
    id::{DevEui, DevNonce, JoinEui},
    key::Aes128Key,
};

/// A request that an accept may answer: what it puts into the accept's MIC and cipher.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Asked {
    /// Join-Request, or the type of a Rejoin-Request.
    pub kind: JoinReqType,
    /// DevNonce, RJcount0 or RJcount1.
    pub nonce: DevNonce,
}

impl From<&JoinRequest> for Asked {
    fn from(request: &JoinRequest) -> Self {
        Self { kind: JoinReqType::Join, nonce: request.dev_nonce }
    }
}

impl Asked {
    /// Returns what a Rejoin-Request asks, unless its type is reserved.
    pub const fn rejoin(request: &RejoinRequest) -> Option<Self> {
        match request.body.count() {
            Some(nonce) => {
                Some(Self { kind: JoinReqType::Rejoin(request.body.rejoin_type()), nonce })
            }
            None => None,
        }
    }
}

/// A Join-Accept and all that its making depends on.
#[derive(Clone, Copy, Debug)]
pub struct AcceptCase<'a> {
    /// The accept, as sent.
    pub sealed: &'a SealedJoinAccept,
    /// The request that it answers first; then the node's other attempts, the nearest first.
    pub asked: &'a [Asked],
    /// Every root key that is claimed.
    pub roots: &'a [Known<'a>],
    /// DevEUI of the request.
    pub dev_eui: DevEui,
    /// JoinEUI of the request.
    pub join_eui: JoinEui,
}

/// Looks for what a server misread when it signed and encrypted a Join-Accept (LoRaWAN 1.0.4
/// p. 46, 1.1 6.2.3).
///
/// The side is always the server: nobody else makes a Join-Accept. Where the accept holds by the
/// standard's way under any of the keys the answer is [`Answer::StandardHolds`]; whether that key
/// is the node's is another question.
pub fn explore_accept(case: &AcceptCase<'_>) -> Answer {
    let roots = distinct(case.roots.iter().copied());
    if roots.is_empty() {
        return Answer::CannotTell { why: "no root key is known that could open the Join-Accept" };
    }
    let standard = Recipe::standard(Rule::V1_0);
    if !trial(case, &roots, &standard.accept, &mut 0).is_empty() {
        return Answer::StandardHolds;
    }
    let found = search(&[Subject::Accept], standard, |recipe, tried| {
        trial(case, &roots, &recipe.accept, tried)
    });
    answer(found, |_| Side::Server)
}

/// What one trial takes.
#[derive(Clone, Copy)]
struct Taken<'a> {
    root: &'a Root<'a>,
    /// The root of JSIntKey and JSEncKey.
    js_root: &'a Root<'a>,
    /// The request answered; `None` where none was heard.
    asked: Option<Asked>,
    nonce: Option<DevNonce>,
}

fn trial(
    case: &AcceptCase<'_>,
    roots: &[Root<'_>],
    recipe: &AcceptRecipe,
    tried: &mut u64,
) -> Vec<Hit> {
    let first = case.asked.first().copied();
    let mut others: Vec<Asked> = Vec::new();
    for &asked in case.asked.iter().skip(1).take(MOST_OTHERS) {
        if Some(asked) != first && !others.contains(&asked) {
            others.push(asked);
        }
    }
    let others: Vec<_> = others.into_iter().map(Some).collect();
    let requests = if recipe.answers == Source::Other { others.clone() } else { vec![first] };
    let mut hits = Vec::new();
    for root in roots {
        for js_root in roots {
            // Another root, or this one, for the join server's keys.
            if (recipe.js_root == Source::Other) == root.key.same_as(js_root.key) {
                continue;
            }
            for &asked in &requests {
                let nonces = match recipe.nonce {
                    Source::Other => others.clone(),
                    Source::This | Source::Nowhere => vec![asked],
                };
                for from in nonces {
                    *tried += 1;
                    let nonce = from.map(|asked| asked.nonce);
                    let taken = Taken { root, js_root, asked, nonce };
                    let Some(computed) = holds(case, recipe, &taken) else { continue };
                    let mut hit = Hit::under(root);
                    hit.nonce = nonce.filter(|_| from != first);
                    hit.holds(32.0, false, &computed);
                    hits.push(hit);
                }
            }
        }
    }
    hits
}

/// Returns what was computed, if the accept opens to something whose MIC holds.
fn holds(case: &AcceptCase<'_>, recipe: &AcceptRecipe, taken: &Taken<'_>) -> Option<Vec<u8>> {
    let kind = taken.asked.map_or(JoinReqType::Join, |asked| asked.kind);
    let (int_octet, enc_octet) = if recipe.js_octets_exchanged { (5, 6) } else { (6, 5) };
    let js_eui = eui(recipe.js_eui, case);
    let by_root = (kind == JoinReqType::Join) != recipe.other_cipher_key;
    let (fields, mic) = if by_root {
        open(recipe, taken.root.key, case.sealed)?
    } else {
        let js_enc = derive::js_key(taken.js_root.key, enc_octet, &js_eui);
        open(recipe, &js_enc, case.sealed)?
    };
    let (body, cf_list) = fields.split_first_chunk::<12>()?;
    let [j0, j1, j2, n0, n1, n2, a0, a1, a2, a3, dl_settings, rx_delay] = *body;
    let by_opt_neg = if dl_settings & 0x80 == 0 { Rule::V1_0 } else { Rule::V1_1 };
    let rule = recipe.rule.unwrap_or(by_opt_neg);

    let mut input = Vec::with_capacity(64);
    if rule == Rule::V1_1 {
        match recipe.join_req_type {
            Source::This => input.push(kind.octet()),
            Source::Other => input.push(JoinReqType::Join.octet()),
            Source::Nowhere => {}
        }
        input.extend(eui(recipe.eui, case));
        if recipe.nonce != Source::Nowhere {
            input.extend(recipe.nonce_order.of(taken.nonce?.to_wire()));
        }
    }
    input.extend(recipe.mhdr.octets(case.sealed.mhdr.0));
    input.extend(recipe.join_nonce.of([j0, j1, j2]));
    input.extend(recipe.net_id.of([n0, n1, n2]));
    input.extend(recipe.dev_addr.of([a0, a1, a2, a3]));
    input.extend([dl_settings, rx_delay]);
    if recipe.cf_list_in_mic {
        input.extend(cf_list);
    }
    let mac = if (rule == Rule::V1_1) == recipe.other_mic_key {
        recipe.mic.mac(taken.root.key, &input)
    } else {
        let js_int = derive::js_key(taken.js_root.key, int_octet, &js_eui);
        recipe.mic.mac(&js_int, &input)
    };
    (recipe.mic.whole(mac) == mic).then(|| [fields, mac.to_vec()].concat())
}

fn eui(which: EuiIn, case: &AcceptCase<'_>) -> Vec<u8> {
    match which {
        EuiIn::Dev(order) => order.of(case.dev_eui.to_wire()).to_vec(),
        EuiIn::Join(order) => order.of(case.join_eui.to_wire()).to_vec(),
        EuiIn::LeftOut => Vec::new(),
    }
}

/// Returns the fields (12 octets, or 28 with a CFList) and the MIC beside them.
fn open(
    recipe: &AcceptRecipe,
    key: &Aes128Key,
    sealed: &SealedJoinAccept,
) -> Option<(Vec<u8>, [u8; 4])> {
    let octets = sealed.sealed.as_slice();
    let turned = |octets: &[u8]| -> Option<Vec<u8>> {
        let (blocks, []) = octets.as_chunks::<16>() else { return None };
        Some(turned(recipe.cipher, key, blocks))
    };
    match recipe.sealing {
        Sealing::FieldsAndMic => {
            let plain = turned(octets).filter(|plain| matches!(plain.len(), 16 | 32))?;
            let (fields, mic) = plain.split_last_chunk::<4>()?;
            Some((fields.to_vec(), *mic))
        }
        Sealing::MicInClear => {
            let (inside, mic) = octets.split_last_chunk::<4>()?;
            let plain = turned(inside).filter(|plain| matches!(plain.len(), 16 | 32))?;
            Some((plain.get(..plain.len() - 4)?.to_vec(), *mic))
        }
        Sealing::MhdrInside => {
            let plain = turned(octets).filter(|plain| matches!(plain.len(), 32 | 48))?;
            let (_, rest) = plain.split_first().filter(|(mhdr, _)| **mhdr == sealed.mhdr.0)?;
            let (fields, rest) = rest.split_at_checked(plain.len() - 20)?;
            Some((fields.to_vec(), *rest.first_chunk::<4>()?))
        }
    }
}

/// Turns back what a server did to whole blocks.
fn turned(cipher: Cipher, key: &Aes128Key, blocks: &[Block]) -> Vec<u8> {
    let mut plain: Vec<Block> = Vec::with_capacity(blocks.len());
    let mut before: Block = [0; 16];
    for (&block, counter) in blocks.iter().zip(0u128..) {
        let out = match cipher {
            Cipher::EcbDecrypt => encrypt_block(key, block),
            Cipher::EcbEncrypt => decrypt_block(key, block),
            Cipher::CbcDecrypt => encrypt_block(key, compute::xor(block, before)),
            Cipher::CbcEncrypt => compute::xor(decrypt_block(key, block), before),
            Cipher::Ctr => compute::xor(block, encrypt_block(key, counter.to_be_bytes())),
            Cipher::Clear => block,
        };
        // What the next block is chained to: plain octets when a CBC library decrypts them,
        // sealed ones when it encrypts.
        before = if cipher == Cipher::CbcDecrypt { out } else { block };
        plain.push(out);
    }
    plain.into_flattened()
}

#[cfg(test)]
mod tests;
