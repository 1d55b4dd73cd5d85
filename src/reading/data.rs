//! The checks of a data frame: which session signed it, with which counter, and what it hides.

mod open;

use open::{commands, open_fopts, payload_key, plain};

use super::{
    Bunch, Context, CounterHint, Found, MicRule, MicVerdict, PlainFOpts, Problem, Proof, Searched,
    Taken, Tried, Unchecked, Wrong,
};
use crate::{
    crypto::{
        block::{Place, UplinkContext},
        mic::{self, Signer},
    },
    frame::{DataFrame, Direction, Field, MacVersion, Mic},
    key::{Aes128Key, FNwkSIntKey, McNwkSKey, NwkSKey, SNwkSIntKey},
};

const SESSION_KEYS: &str = "NwkSKey (1.0.x), or SNwkSIntKey and FNwkSIntKey (1.1), of this session";

/// Data rate indices and channel indices that a 1.1 uplink may be signed with.
const DATA_RATES: std::ops::RangeInclusive<u8> = 0..=15;
const CHANNELS: std::ops::RangeInclusive<u8> = 0..=95;

/// How a frame was proven.
struct Hit<'a> {
    bunch: &'a Bunch,
    key: &'static str,
    rule: MicRule,
    fcnt: u32,
    uplink: Option<(UplinkContext, Option<Searched>)>,
    conf_fcnt: Option<u16>,
}

/// Why one bunch did not prove it.
enum Miss {
    /// With the counter that it was computed with.
    Failed(Tried, u32),
    /// The counter is the one that the half of the MIC agrees with, if it does.
    Lacking(Unchecked, Option<u32>),
}

/// Reads a data frame with the keys of sessions that may be its own.
pub(super) fn data(frame: &DataFrame, bunches: &[&Bunch], context: &Context) -> Found {
    let mut vain = Vec::new();
    let mut lacking = None;
    let mut failed = None;
    for bunch in bunches {
        match check(frame, bunch, context) {
            Ok(hit) => return proven(frame, &hit, context),
            Err(misses) => {
                for miss in misses {
                    match miss {
                        Miss::Failed(tried, fcnt) => {
                            vain.push(tried);
                            failed.get_or_insert_with(|| taken(frame, bunch, fcnt, context));
                        }
                        Miss::Lacking(why, fcnt) => {
                            lacking.get_or_insert((why, fcnt, *bunch));
                        }
                    }
                }
            }
        }
    }
    let (mic, fcnt) = match (&lacking, vain.is_empty()) {
        (Some((why, fcnt, _)), _) => (MicVerdict::Unchecked(why.clone()), *fcnt),
        (None, false) => (MicVerdict::Fails(vain), None),
        (None, true) => (MicVerdict::Unchecked(Unchecked::NoKey { wanted: SESSION_KEYS }), None),
    };
    let half = lacking.and_then(|(_, fcnt, bunch)| Some(taken(frame, bunch, fcnt?, context)));
    let mut found = Found { taken: half.or(failed), ..Found::new(mic) };
    if matches!(found.mic, MicVerdict::Unchecked(_)) {
        unproven(frame, bunches, context, fcnt, &mut found);
    }
    found
}

fn place(frame: &DataFrame, fcnt: u32) -> Place {
    Place { direction: frame.direction(), dev_addr: frame.dev_addr, fcnt }
}

fn check<'a>(frame: &DataFrame, bunch: &'a Bunch, context: &Context) -> Result<Hit<'a>, Vec<Miss>> {
    let mut misses = Vec::new();
    let down = frame.direction() == Direction::Downlink;
    if let Some(key) = &bunch.nwk_s_key {
        match by_1_0(frame, bunch, NwkSKey::NAME, key.key(), context) {
            Ok(hit) => return Ok(hit),
            Err(miss) => misses.push(miss),
        }
    }
    let by_1_1 = if down { down_1_1(frame, bunch, context) } else { up_1_1(frame, bunch, context) };
    match by_1_1 {
        Some(Ok(hit)) => return Ok(hit),
        Some(Err(miss)) => misses.push(miss),
        None => {}
    }
    // A 1.1 node on a 1.0 server signs with FNwkSIntKey as if it were the NwkSKey. A miss here says
    // nothing new.
    if let Some(key) = &bunch.f_nwk_s_int_key
        && let Ok(hit) = by_1_0(frame, bunch, FNwkSIntKey::NAME, key.key(), context)
    {
        return Ok(hit);
    }
    if let Some(key) = bunch.mc_nwk_s_key.as_ref().filter(|_| down) {
        match by_1_0(frame, bunch, McNwkSKey::NAME, key.key(), context) {
            Ok(hit) => return Ok(hit),
            Err(miss) => misses.push(miss),
        }
    }
    Err(misses)
}

/// The rule of 1.0.x: one key, B0, and the counter to be found.
fn by_1_0<'a>(
    frame: &DataFrame,
    bunch: &'a Bunch,
    name: &'static str,
    key: &Aes128Key,
    context: &Context,
) -> Result<Hit<'a>, Miss> {
    let mut signer = Signer::new(key);
    let mut msg = Vec::with_capacity(64);
    frame.put_signed(&mut msg);
    let mut mic_of = |fcnt| signer.data(&place(frame, fcnt), &msg);
    let rule = MicRule::V1_0;
    if let Some(fcnt) = context.counters(frame.fcnt).find(|&fcnt| mic_of(fcnt) == frame.mic) {
        return Ok(Hit { bunch, key: name, rule, fcnt, uplink: None, conf_fcnt: None });
    }
    let expected = mic_of(context.first_counter(frame.fcnt));
    let fcnt = context.first_counter(frame.fcnt);
    Err(Miss::Failed(tried(frame, bunch, name, rule, expected), fcnt))
}

fn tried(
    frame: &DataFrame,
    bunch: &Bunch,
    key: &'static str,
    rule: MicRule,
    expected: Mic,
) -> Tried {
    let source = bunch.source.clone();
    let (rule, received) = (Some(rule), frame.mic);
    Tried { key, source, rule, expected, received, forwarding_half: false }
}

/// What a frame was computed with, for whoever wants to see the working.
fn taken(frame: &DataFrame, bunch: &Bunch, fcnt: u32, context: &Context) -> Box<Taken> {
    let uplink = given_context(frame, context);
    Box::new(Taken { fcnt, conf_fcnt: uplink.conf_fcnt, uplink, ..Taken::of(bunch) })
}

/// A 1.1 downlink: SNwkSIntKey, and ConfFCnt where the frame acknowledges.
fn down_1_1<'a>(
    frame: &DataFrame,
    bunch: &'a Bunch,
    context: &Context,
) -> Option<Result<Hit<'a>, Miss>> {
    let key = bunch.s_nwk_s_int_key.as_ref()?;
    let (name, rule) = (SNwkSIntKey::NAME, MicRule::V1_1);
    let given = context.conf_fcnt.filter(|_| frame.fctrl.ack());
    for fcnt in context.counters(frame.fcnt) {
        for conf in given.into_iter().chain(std::iter::once(0)) {
            if mic::check_data_down_1_1(key, frame, fcnt, conf).holds() {
                let conf_fcnt = frame.fctrl.ack().then_some(conf);
                return Some(Ok(Hit { bunch, key: name, rule, fcnt, uplink: None, conf_fcnt }));
            }
        }
    }
    if frame.fctrl.ack() && given.is_none() {
        let missing = vec!["ConfFCnt"];
        let source = bunch.source.clone();
        let why = Unchecked::NoValue { key: name, source, missing, forwarding_half: false };
        return Some(Err(Miss::Lacking(why, None)));
    }
    let fcnt = context.first_counter(frame.fcnt);
    let expected = mic::data_down_1_1(key, frame, fcnt, given.unwrap_or_default());
    Some(Err(Miss::Failed(tried(frame, bunch, name, rule, expected), fcnt)))
}

/// A 1.1 uplink: the half that FNwkSIntKey signs finds the counter, the other half the context.
fn up_1_1<'a>(
    frame: &DataFrame,
    bunch: &'a Bunch,
    context: &Context,
) -> Option<Result<Hit<'a>, Miss>> {
    let lacking = |key, missing, forwarding_half, fcnt| {
        let source = bunch.source.clone();
        Some(Err(Miss::Lacking(Unchecked::NoValue { key, source, missing, forwarding_half }, fcnt)))
    };
    let (forwarding, serving) = match (&bunch.f_nwk_s_int_key, &bunch.s_nwk_s_int_key) {
        (Some(forwarding), serving) => (forwarding, serving.as_ref()),
        (None, Some(_)) => return lacking(SNwkSIntKey::NAME, vec![FNwkSIntKey::NAME], false, None),
        (None, None) => return None,
    };
    let rule = MicRule::V1_1;
    let [r0, r1, r2, r3] = frame.mic.0;
    let first = context.first_counter(frame.fcnt);
    let halves = |fcnt: &u32| mic::forwarding_half(forwarding, frame, *fcnt) == [r2, r3];
    let Some(serving) = serving else {
        if let Some(fcnt) = context.counters(frame.fcnt).find(halves) {
            return lacking(FNwkSIntKey::NAME, vec![SNwkSIntKey::NAME], true, Some(fcnt));
        }
        // The half that nobody here can compute stays as received.
        let [f0, f1] = mic::forwarding_half(forwarding, frame, first);
        let expected = Mic([r0, r1, f0, f1]);
        let tried = tried(frame, bunch, FNwkSIntKey::NAME, rule, expected);
        return Some(Err(Miss::Failed(tried, first)));
    };
    let name = BOTH_INTEGRITY_KEYS;
    let mut half_fits = None;
    for fcnt in context.counters(frame.fcnt).filter(halves) {
        half_fits.get_or_insert(fcnt);
        if let Some(uplink) = serving_context(frame, serving, fcnt, context) {
            let uplink = Some(uplink);
            return Some(Ok(Hit { bunch, key: name, rule, fcnt, uplink, conf_fcnt: None }));
        }
    }
    if frame.fctrl.ack() && context.conf_fcnt.is_none() && half_fits.is_some() {
        return lacking(name, vec!["ConfFCnt"], true, half_fits);
    }
    let fcnt = half_fits.unwrap_or(first);
    let given = given_context(frame, context);
    let expected = mic::data_up_1_1(serving, forwarding, frame, fcnt, &given);
    let forwarding_half = half_fits.is_some();
    let tried = Tried { forwarding_half, ..tried(frame, bunch, name, rule, expected) };
    Some(Err(Miss::Failed(tried, fcnt)))
}

/// The name under which both halves of a 1.1 uplink's MIC are reported.
const BOTH_INTEGRITY_KEYS: &str = "SNwkSIntKey+FNwkSIntKey";

fn given_context(frame: &DataFrame, context: &Context) -> UplinkContext {
    UplinkContext {
        conf_fcnt: context.conf_fcnt.filter(|_| frame.fctrl.ack()).unwrap_or_default(),
        tx_dr: context.tx_dr.unwrap_or_default(),
        tx_ch: context.tx_ch.unwrap_or_default(),
    }
}

/// Returns the context under which the serving half fits: as given, else by search.
fn serving_context(
    frame: &DataFrame,
    key: &SNwkSIntKey,
    fcnt: u32,
    context: &Context,
) -> Option<(UplinkContext, Option<Searched>)> {
    let [r0, r1, ..] = frame.mic.0;
    let fits = |c: &UplinkContext| mic::serving_half(key, frame, fcnt, c) == [r0, r1];
    let given = given_context(frame, context);
    let all_given = context.tx_dr.is_some() && context.tx_ch.is_some();
    if all_given && fits(&given) {
        return Some((given, None));
    }
    let confs = if given.conf_fcnt == 0 { vec![0] } else { vec![given.conf_fcnt, 0] };
    let data_rates = context.tx_dr.map_or(DATA_RATES, |dr| dr..=dr);
    let channels = context.tx_ch.map_or(CHANNELS, |ch| ch..=ch);
    let mut tried = 0;
    let mut found = Vec::new();
    for &conf_fcnt in &confs {
        for tx_dr in data_rates.clone() {
            for tx_ch in channels.clone() {
                let candidate = UplinkContext { conf_fcnt, tx_dr, tx_ch };
                tried += 1;
                if fits(&candidate) {
                    found.push(candidate);
                }
            }
        }
    }
    let fit = found.len();
    let found = found.into_iter().next()?;
    Some((found, Some(Searched::UplinkContext { found, tried, fit })))
}

fn proven(frame: &DataFrame, hit: &Hit<'_>, context: &Context) -> Found {
    let Hit { bunch, key, rule, fcnt, .. } = *hit;
    let mut found = Found::new(MicVerdict::Holds(Proof {
        key,
        source: bunch.source.clone(),
        rule: Some(rule),
    }));
    found.fcnt32 = Some(fcnt);
    found.conf_fcnt = hit.conf_fcnt;
    found.taken = Some(Box::new(Taken {
        fcnt,
        conf_fcnt: hit.conf_fcnt.unwrap_or_default(),
        uplink: hit.uplink.map(|(context, _)| context).unwrap_or_default(),
        ..Taken::of(bunch)
    }));
    if let Some((context, searched)) = hit.uplink {
        found.uplink_context = Some(context);
        found.searched.extend(searched);
    }
    counter_words(frame, fcnt, context, &mut found);
    let key = payload_key(frame, bunch, Some(hit));
    found.payload = key.and_then(|(name, key)| plain(frame, fcnt, name, key, true));
    let octets = frame.fopts.octets();
    if !octets.is_empty() {
        match rule {
            MicRule::V1_0 => {
                found.fopts = Some(PlainFOpts { octets: octets.to_vec(), rule: None });
            }
            MicRule::V1_1 => {
                let key = bunch.nwk_s_enc_key.as_ref();
                found.fopts = key.map(|key| open_fopts(frame, key, fcnt, &mut found.problems));
            }
        }
    }
    let by_rule = match rule {
        MicRule::V1_0 => context.mac_version.or(bunch.source.mac_version),
        MicRule::V1_1 => Some(MacVersion::V1_1),
    };
    commands(frame, by_rule, &mut found);
    found
}

/// Says where the counter comes from, when it is not simply what the frame carries.
fn counter_words(frame: &DataFrame, fcnt: u32, context: &Context, found: &mut Found) {
    match context.fcnt {
        Some(hint) if hint.counters(frame.fcnt).any(|c| c == fcnt) => {}
        // A hint about another frame of the same input is no hint about this one.
        Some(CounterHint(given)) if given > 0xFFFF && given & 0xFFFF != u32::from(frame.fcnt) => {}
        Some(CounterHint(given)) => {
            let what = Wrong::CounterGiven { given, found: fcnt };
            found.problems.push(Problem { offset: 6, field: Field::FCnt, what });
        }
        None => {
            let found_half = u16::try_from(fcnt >> 16).unwrap_or_default();
            if found_half != 0 {
                found.searched.push(Searched::UpperHalf { found: found_half });
            }
        }
    }
}

/// Reads what needs no proof, and says that it has none.
fn unproven(
    frame: &DataFrame,
    bunches: &[&Bunch],
    context: &Context,
    fcnt: Option<u32>,
    found: &mut Found,
) {
    let fcnt = fcnt.unwrap_or_else(|| context.first_counter(frame.fcnt));
    let key = bunches.iter().find_map(|bunch| Some((bunch, payload_key(frame, bunch, None)?)));
    if let Some((bunch, (name, key))) = key {
        found.payload = plain(frame, fcnt, name, key, false);
        found.taken.get_or_insert_with(|| taken(frame, bunch, fcnt, context));
    }
    if found.payload.is_some() {
        found.fcnt32 = Some(fcnt);
    }
    let stated = || bunches.iter().find_map(|b| b.source.dev_addr.and(b.source.mac_version));
    commands(frame, context.mac_version.or_else(stated), found);
}
