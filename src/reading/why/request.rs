//! Join-Requests and Rejoin-Requests.

use super::{
    Why,
    pool::{Part, Pool, root_cause},
};
use crate::{
    explore::{misreading::explore_request, near_miss::Target},
    frame::{JoinRequest, RejoinBody, RejoinRequest},
    id::DevEui,
    reading::{Context, KeyRing, KeyRole, Source},
};

pub(super) fn part_of_root(source: &Source, role: KeyRole, dev_eui: Option<DevEui>) -> Part {
    match role {
        _ if source.dev_eui.is_some() && source.dev_eui != dev_eui => Part::Foreign,
        KeyRole::App | KeyRole::Nwk => Part::Signs,
        _ => Part::OtherTask,
    }
}

/// Around the root keys: nearer slips, rules misread, then two wrong digits.
pub(super) fn request(request: &JoinRequest, ring: &KeyRing, context: &Context) -> Option<Why> {
    let (dev_eui, join_eui) = (request.dev_eui, request.join_eui);
    let bunches = ring.nearest(Some(dev_eui), Some(join_eui));
    let part = |source: &Source, role| part_of_root(source, role, Some(dev_eui));
    // EUIs that the user states beside the frame may be what a key was made of, as its own may.
    let (dev_eui, join_eui) = (context.dev_eui.or(Some(dev_eui)), Some(join_eui));
    let mut pool = Pool::new(bunches, part).with_euis(dev_eui, join_eui);
    let targets = [Target::from(request)];
    if let Some((_, report)) = pool.search(&targets, 1) {
        return pool.explain(&report.hits, root_cause);
    }
    let answer = explore_request(&[request], &pool.roots());
    pool.beside += answer.tried();
    if let Some(finding) = answer.findings().first() {
        return Some(pool.misread(finding, "node"));
    }
    let (_, report) = pool.search(&targets, 2)?;
    pool.explain(&report.hits, root_cause)
}

/// Other keys at hand, as they stand or reversed.
pub(super) fn rejoin(request: &RejoinRequest, ring: &KeyRing) -> Option<Why> {
    let (dev_eui, join_eui) = match request.body {
        RejoinBody::Network { dev_eui, .. } => (dev_eui, None),
        RejoinBody::JoinServer { dev_eui, join_eui, .. } => (dev_eui, Some(join_eui)),
        RejoinBody::Rfu(_) => return None,
    };
    let part = |source: &Source, _| match source.dev_eui {
        Some(other) if other != dev_eui => Part::Foreign,
        _ => Part::OtherTask,
    };
    let mut pool = Pool::new(ring.nearest(Some(dev_eui), join_eui), part);
    let mut signed = Vec::with_capacity(24);
    request.put_signed(&mut signed);
    let (_, report) = pool.search(&[Target { signed, mic: request.mic }], 1)?;
    pool.explain(&report.hits, |_, _| None)
}
