//! Data frames: near misses of the network session keys, and other keys at hand.

use super::{
    Why,
    halves::halves,
    pool::{Given, Part, Pool},
};
use crate::{
    crypto::block::{self, BlockFields},
    explore::near_miss::{Mistake, Target},
    frame::{DataFrame, Direction},
    ladder::CauseId,
    reading::{Bunch, Context, KeyRing, KeyRole, Source},
};

/// What B0 is made of beside the frame.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
struct Variant {
    fcnt: u32,
    conf_fcnt: u16,
}

/// Around the network session keys: nearer slips, halves of a 1.1 MIC, then two wrong digits.
pub(super) fn data(frame: &DataFrame, ring: &KeyRing, context: &Context) -> Option<Why> {
    let down = frame.direction() == Direction::Downlink;
    let own = |bunch: &&Bunch| bunch.source.dev_addr.is_none_or(|addr| addr == frame.dev_addr);
    let is_own = |source: &Source| source.dev_addr.is_none_or(|addr| addr == frame.dev_addr);
    let near = ring.sessions(frame.dev_addr);
    let far = ring.bunches().iter().filter(|bunch| !own(bunch) || !has_session(bunch));
    let part = |source: &Source, role| match role {
        _ if !is_own(source) => Part::Foreign,
        KeyRole::NwkS | KeyRole::FNwkSInt => Part::Signs,
        KeyRole::SNwkSInt | KeyRole::McNwkS if down => Part::Signs,
        _ => Part::OtherTask,
    };
    let mut pool = Pool::new(near.chain(far), part);
    let variants = variants(frame, context);
    let targets: Vec<_> = variants.iter().map(|&variant| target(frame, variant)).collect();
    let sample = |mistake: &Mistake, _: Option<&Given>| {
        let sample = matches!(mistake, Mistake::Sample(_));
        (sample && !down).then_some(CauseId::FirmwareStillUsesASampleKey)
    };
    for max_digits in [1, 2] {
        if let Some((at, report)) = pool.search(&targets, max_digits) {
            let mut why = pool.explain(&report.hits, sample)?;
            if let Some(Variant { fcnt, .. }) = variants.get(at).filter(|v| v.fcnt > 0xFFFF) {
                why.what = format!("{}, with counter {fcnt}", why.what);
            }
            return Some(why);
        }
        if max_digits == 1
            && !down
            && let Some(why) = halves(frame, &pool, context)
        {
            return Some(why);
        }
    }
    None
}

fn has_session(bunch: &Bunch) -> bool {
    KeyRole::ALL.iter().any(|role| role.is_of_session() && bunch.has(*role))
}

/// The counters that are worth a search: as hinted, and with upper half 0.
pub(super) fn few_counters(frame: &DataFrame, context: &Context) -> Vec<u32> {
    let hinted = context.fcnt.into_iter().flat_map(|hint| hint.counters(frame.fcnt));
    let mut counters: Vec<_> = hinted.collect();
    if !counters.contains(&u32::from(frame.fcnt)) {
        counters.push(u32::from(frame.fcnt));
    }
    counters
}

fn variants(frame: &DataFrame, context: &Context) -> Vec<Variant> {
    let acknowledges = frame.direction() == Direction::Downlink && frame.fctrl.ack();
    let conf = context.conf_fcnt.filter(|&conf| acknowledges && conf != 0);
    let confs: Vec<_> = std::iter::once(0).chain(conf).collect();
    let counters = few_counters(frame, context).into_iter();
    counters
        .flat_map(|fcnt| confs.iter().map(move |&conf_fcnt| Variant { fcnt, conf_fcnt }))
        .collect()
}

fn target(frame: &DataFrame, Variant { fcnt, conf_fcnt }: Variant) -> Target {
    let mut msg = Vec::with_capacity(64);
    frame.put_signed(&mut msg);
    let place = BlockFields { direction: frame.direction(), dev_addr: frame.dev_addr, fcnt };
    let b0 = block::b0(&place, conf_fcnt, msg.len());
    Target { signed: [&b0[..], &msg].concat(), mic: frame.mic }
}
