//! What an accept and each request do to the settings in force.

use super::{
    Settings, Start,
    belief::{Belief, By, Channel, Held},
    exchange::{Exchange, Fate},
};
use crate::{
    frame::{CfListType, JoinAccept, MacVersion, command::Command},
    region::{
        ChannelHit, ChannelMask, DefaultChannels, MaskRefusal, MasksOver, Plan, PlanKind, Revision,
    },
    roster::Class,
};

/// Returns what holds from a turn on, for each turn in which something changed.
pub(super) fn through(settings: &Settings, start: &Start<'_>) -> Vec<(usize, Belief)> {
    let mut now = beginning(start);
    let mut out = vec![(0, now.clone())];
    let mut holes = settings.holes.iter().copied().peekable();
    let mut strays = settings.strays.iter().copied().peekable();
    let mut exchanges = settings.exchanges.iter().enumerate().peekable();
    let mut asked_period = None;
    for (number, turn) in settings.turns.iter().enumerate() {
        let mut changed = false;
        while holes.next_if(|hole| *hole <= number).is_some() {
            now.doubt();
            changed = true;
        }
        while let Some((_, cid)) = strays.next_if(|(at, _)| *at <= number) {
            forget(&mut now, cid);
            changed = true;
        }
        if changed {
            out.push((number, now.clone()));
        }
        // What is asked after this uplink holds for the windows of the next one.
        let mut changed = false;
        while let Some((i, exchange)) = exchanges.next_if(|(_, e)| e.turn <= Some(number)) {
            changed |= apply(&mut now, settings, i, exchange);
        }
        changed |= announced(&mut now, settings, turn, &mut asked_period);
        if changed {
            out.push((number + 1, now.clone()));
        }
    }
    // Of two entries of one turn the later counts.
    let mut kept: Vec<(usize, Belief)> = Vec::with_capacity(out.len());
    for (turn, belief) in out {
        match kept.last_mut() {
            Some((last, held)) if *last == turn => *held = belief,
            _ => kept.push((turn, belief)),
        }
    }
    kept
}

/// What the node itself announces, once the network confirms it: class C in 1.1, and ping slots.
fn announced(
    now: &mut Belief,
    settings: &Settings,
    turn: &super::Turn,
    asked_period: &mut Option<u8>,
) -> bool {
    let said = |place: usize| settings.said.get(place);
    let mut changed = false;
    if let Some(said) = said(turn.first()) {
        let period = said.command("PingSlotInfoReq").and_then(|c| number(c, "Periodicity"));
        *asked_period = period.or(*asked_period);
        if let Some(mode) = said.command("DeviceModeInd").and_then(|c| number::<u8>(c, "Class")) {
            let class = if mode == 2 { Class::C } else { Class::A };
            changed |= now.class.value() != Some(&class);
            now.class.take(class, By::Node);
        }
    }
    let confirms =
        |name: &str| turn.downs.iter().filter_map(|place| said(*place)).any(|said| said.says(name));
    if confirms("PingSlotInfoAns")
        && let Some(period) = asked_period.take()
    {
        now.ping_period.take(period, By::Node);
        changed = true;
    }
    changed
}

fn number<T: TryFrom<i64>>(command: &Command, field: &str) -> Option<T> {
    T::try_from(command.number(field)?).ok()
}

/// What holds before the first frame.
fn beginning(start: &Start<'_>) -> Belief {
    let mut now = match (start.accept, start.before) {
        // A Rejoin-Request of type 2 leaves the radio as it was (LoRaWAN 1.1, 6.2.4; that the accept's
        // settings do not count then is from memory, so both may hold).
        (Some(accept), Some(before)) => {
            let mut now = before.clone();
            now.rx_delay.may_be(accept.rx_delay.seconds());
            now.rx1_offset.may_be(accept.dl_settings.rx1_dr_offset());
            now.rx2_rate.may_be(accept.dl_settings.rx2_data_rate());
            now
        }
        (Some(accept), None) => by_accept(accept, start),
        // A session that was in use before the capture, or is built in: anything may have been set.
        (None, _) => Belief::nothing(),
    };
    if let Some(class) = start.class {
        now.class.take(class, By::Firmware);
    }
    now
}

fn by_accept(accept: &JoinAccept, start: &Start<'_>) -> Belief {
    let mut now = Belief::nothing();
    let by = By::Accept;
    now.rx_delay.take(accept.rx_delay.seconds(), by);
    now.rx1_offset.take(accept.dl_settings.rx1_dr_offset(), by);
    now.rx2_rate.take(accept.dl_settings.rx2_data_rate(), by);
    now.nb_trans.take(1, By::Plan);
    now.power.take(0, By::Plan);
    now.duty.take(0, By::Plan);
    // RP002-1.0.4, p. 27: ADR_ACK_LIMIT 64, ADR_ACK_DELAY 32.
    now.adr_limit.take(64, By::Plan);
    now.adr_delay.take(32, By::Plan);
    let Some(plan) = start.plan else { return now };
    let rx2 = start.asked_hz.map_or_else(|| plan.rx2(), |hz| plan.join_rx2(hz));
    now.rx2_hz.take(rx2.freq_hz, By::Plan);
    now.all_moved = true;
    now.ping_hz.take(0, By::Plan);
    now.ping_rate.take(plan.ping.dr, By::Plan);
    dwell(&mut now, plan);
    channels(&mut now, plan, accept, start);
    now
}

/// Dwell time limits before any TXParamSetupReq.
fn dwell(now: &mut Belief, plan: &Plan) {
    now.down_dwell.take(false, By::Plan);
    match (plan.dwell.tx_param_setup, plan.dwell.uplink_ms) {
        (_, 0) => now.up_dwell.take(false, By::Plan),
        // By law, whatever the network says (US915).
        (false, _) => now.up_dwell.take(true, By::Plan),
        // AU915 begins with the limit (settings by its plan); in AS923 it depends on the country, and
        // device stacks begin with it as often as not.
        (true, _) => {
            now.up_dwell.take(true, By::Plan);
            if plan.name.starts_with("AS923") {
                now.up_dwell.may_be(false);
                now.down_dwell.may_be(true);
            }
        }
    }
}

fn channels(now: &mut Belief, plan: &Plan, accept: &JoinAccept, start: &Start<'_>) {
    let list = accept.cf_list;
    if plan.kind == PlanKind::Fixed {
        let masks = list.filter(|list| list.kind() == CfListType::Masks);
        match (masks, start.mask) {
            (Some(list), _) => {
                let words: Vec<u16> = list.masks().take(plan.mask_words()).collect();
                now.mask.take(ChannelMask::from_words(&words), By::Accept);
            }
            (None, Some(words)) => {
                now.mask.take(ChannelMask::from_words(words), By::Firmware);
            }
            // Many nodes are built to begin in one sub-band.
            (None, None) => {
                now.mask.take(ChannelMask::of_plan(plan), By::Plan);
                now.mask.doubt();
            }
        }
        now.all_channels = true;
        return;
    }
    if let DefaultChannels::Listed(own) = plan.default_channels {
        for channel in own {
            let (hz, dr_min, dr_max) = (channel.freq_hz, channel.dr_min, channel.dr_max);
            let channel_of = Channel { hz, dr_min, dr_max };
            now.channels.insert(channel.number, Held::of(channel_of, By::Plan));
        }
    }
    now.all_channels = true;
    match list.map(|list| (list, list.kind())) {
        Some((list, CfListType::Frequencies)) => {
            let first = plan.cflist.frequencies.map_or(0, |rule| u16::from(rule.first_channel));
            // A channel of a CFList has DR0 to DR5 (RP002-1.0.4, p. 28).
            for (index, hz) in (first..).zip(list.frequencies()).filter(|(_, hz)| *hz > 0) {
                let channel = Channel { hz, dr_min: 0, dr_max: 5 };
                now.channels.insert(index, Held::of(channel, By::Accept));
            }
        }
        Some((list, CfListType::Masks)) => {
            // The bits count the frequencies of a fixed list; how a node numbers its channels then is not
            // settled.
            now.all_channels = false;
            if let Some(masks) = plan.cflist.masks
                && let MasksOver::List(fixed) = masks.over
            {
                let words: Vec<u16> = list.masks().collect();
                let chosen = ChannelMask::from_words(&words);
                let first = now.channels.len();
                for (place, bit) in chosen.channels().enumerate() {
                    let hz = fixed.frequency(bit);
                    if let (Some(hz), Ok(index)) = (hz, u16::try_from(first + place)) {
                        let mut held = Held::of(Channel { hz, dr_min: 0, dr_max: 5 }, By::Accept);
                        held.doubt();
                        now.channels.insert(index, held);
                    }
                }
            }
        }
        _ => {}
    }
    now.mask.take(ChannelMask::from_channels(now.channels.keys().copied()), By::Accept);
    if !now.all_channels {
        now.mask.doubt();
    }
}

/// What an answer without its request leaves of a setting.
fn forget(now: &mut Belief, cid: u8) {
    match cid {
        0x03 => {
            now.mask = Held::unknown();
            now.rate = Held::unknown();
            now.nb_trans = Held::unknown();
        }
        0x04 => now.duty = Held::unknown(),
        0x05 => {
            now.rx1_offset = Held::unknown();
            now.rx2_rate = Held::unknown();
            now.rx2_hz = Held::unknown();
        }
        0x07 => {
            now.all_channels = false;
            now.mask.doubt();
        }
        0x08 => now.rx_delay = Held::unknown(),
        0x09 => {
            now.up_dwell = Held::unknown();
            now.down_dwell = Held::unknown();
        }
        0x0A => {
            now.moved.values_mut().for_each(Held::doubt);
            now.all_moved = false;
        }
        0x0C => {
            now.adr_limit = Held::unknown();
            now.adr_delay = Held::unknown();
        }
        0x11 => {
            now.ping_hz = Held::unknown();
            now.ping_rate = Held::unknown();
        }
        _ => {}
    }
}

/// How a request sets a value: it was taken, or it may have been.
#[derive(Clone, Copy)]
enum How {
    Taken(By),
    Perhaps,
}

fn set<T: PartialEq>(held: &mut Held<T>, value: T, how: How) {
    match how {
        How::Taken(by) => held.take(value, by),
        How::Perhaps => held.may_be(value),
    }
}

/// Carries out an exchange, by what became of it; returns whether anything changed.
fn apply(now: &mut Belief, settings: &Settings, place: usize, exchange: &Exchange) -> bool {
    let how = match &exchange.fate {
        Fate::Taken(answered) if !answered.late => How::Taken(By::Exchange(place)),
        // From when on it held, an answer that comes late does not say.
        Fate::Taken(_) => {
            carry_out(now, settings, exchange, How::Perhaps);
            return true;
        }
        Fate::Doubtful | Fate::Open => How::Perhaps,
        Fate::Refused(_) | Fate::Unanswered { .. } | Fate::NotSent | Fate::NoAnswerDue => {
            return false;
        }
    };
    carry_out(now, settings, exchange, how);
    true
}

fn carry_out(now: &mut Belief, settings: &Settings, exchange: &Exchange, how: How) {
    let Some(request) = exchange.requests.first() else { return };
    match request.name() {
        "LinkADRReq" => link_adr(now, settings, exchange, how),
        "DutyCycleReq" => one(&mut now.duty, request, "MaxDCycle", how),
        "RXParamSetupReq" => {
            one(&mut now.rx1_offset, request, "RX1DROffset", how);
            one(&mut now.rx2_rate, request, "RX2DataRate", how);
            one(&mut now.rx2_hz, request, "Frequency", how);
        }
        "NewChannelReq" => new_channel(now, request, how),
        "RXTimingSetupReq" => {
            if let Some(del) = number::<u8>(request, "Del") {
                set(&mut now.rx_delay, del.max(1), how);
            }
        }
        "TXParamSetupReq" => {
            if let (Some(up), Some(down)) =
                (request.flag("UplinkDwellTime"), request.flag("DownlinkDwellTime"))
            {
                set(&mut now.up_dwell, up, how);
                set(&mut now.down_dwell, down, how);
            }
        }
        "DlChannelReq" => {
            if let (Some(index), Some(hz)) =
                (number::<u16>(request, "ChIndex"), number::<u32>(request, "Frequency"))
            {
                let own = now.channels.get(&index).and_then(Held::value).map(|c| c.hz);
                let moved = now.moved.entry(index).or_insert_with(|| match own {
                    Some(hz) => Held::of(hz, By::Plan),
                    None => Held::unknown(),
                });
                set(moved, hz, how);
            }
        }
        "ADRParamSetupReq" => {
            let power = |name| Some(1_u32 << number::<u8>(request, name)?.min(15));
            if let (Some(limit), Some(delay)) = (power("Limit_exp"), power("Delay_exp")) {
                set(&mut now.adr_limit, limit, how);
                set(&mut now.adr_delay, delay, how);
            }
        }
        "PingSlotChannelReq" => {
            one(&mut now.ping_hz, request, "Frequency", how);
            // Before 1.0.3 a range of data rates stands in its place; then nothing is known of it.
            match number::<u8>(request, "DR") {
                Some(rate) => set(&mut now.ping_rate, rate, how),
                None => now.ping_rate = Held::unknown(),
            }
        }
        _ => {}
    }
}

fn one<T: PartialEq + TryFrom<i64>>(held: &mut Held<T>, request: &Command, field: &str, how: How) {
    if let Some(value) = number::<T>(request, field) {
        set(held, value, how);
    }
}

fn new_channel(now: &mut Belief, request: &Command, how: How) {
    let (Some(index), Some(hz), Some(dr_min), Some(dr_max)) = (
        number::<u16>(request, "ChIndex"),
        number::<u32>(request, "Frequency"),
        number::<u8>(request, "MinDR"),
        number::<u8>(request, "MaxDR"),
    ) else {
        return;
    };
    let held = now
        .channels
        .entry(index)
        .or_insert_with(|| Held::of(Channel { hz: 0, dr_min: 0, dr_max: 0 }, By::Plan));
    set(held, Channel { hz, dr_min, dr_max }, how);
    match how {
        How::Taken(_) => {
            // A new channel is enabled, and its RX1 is on its own frequency again (from memory).
            now.moved.remove(&index);
            if let Some(mask) = now.mask.value().cloned() {
                let mut mask = mask;
                if hz == 0 {
                    mask.remove(index);
                } else {
                    mask.insert(index);
                }
                let (by, sure) = (now.mask.by(), now.mask.is_sure());
                now.mask.take(mask, by);
                if !sure {
                    now.mask.doubt();
                }
            }
        }
        How::Perhaps => now.mask.doubt(),
    }
}

fn link_adr(now: &mut Belief, settings: &Settings, exchange: &Exchange, how: How) {
    let Some(last) = exchange.requests.last() else { return };
    if let Some(plan) = settings.plan {
        let known = now.mask.value().is_some();
        match now.masked(plan, settings.version, &exchange.requests) {
            Ok(mask) if known => set(&mut now.mask, mask, how),
            _ => now.mask.doubt(),
        }
    }
    let keeps = settings.version.is_none_or(|version| version >= MacVersion::V1_0_4);
    if let Some(rate) = number::<u8>(last, "DataRate").filter(|rate| *rate != 15 || !keeps) {
        set(&mut now.rate, rate, how);
    }
    if let Some(power) = number::<u8>(last, "TXPower").filter(|power| *power != 15 || !keeps) {
        set(&mut now.power, power, how);
    }
    // 0: the default in 1.0.x, as it was in 1.1 (LoRaWAN 1.0.4, p. 31; 1.1, 5.3).
    match (number::<u8>(last, "NbTrans"), settings.version) {
        (Some(0), Some(MacVersion::V1_1) | None) | (None, _) => {}
        (Some(0), _) => set(&mut now.nb_trans, 1, how),
        (Some(n), _) => set(&mut now.nb_trans, n, how),
    }
}

impl Belief {
    /// Carries out a NewChannelReq, as if the node had taken it.
    pub fn define(&mut self, request: &Command) {
        new_channel(self, request, How::Taken(By::Nobody));
    }

    /// Returns the mask that a block of LinkADRReq leaves.
    ///
    /// # Errors
    /// When a node must refuse: a bit for a channel that it does not have, a reserved ChMaskCntl.
    pub fn masked(
        &self,
        plan: &Plan,
        version: Option<MacVersion>,
        requests: &[Command],
    ) -> Result<ChannelMask, MaskRefusal> {
        let defined = self.defined(plan);
        let mut mask = self.mask.value().cloned().unwrap_or_else(|| defined.clone());
        let own = version.map_or(Revision::LATEST, Revision::companion_of);
        for request in requests {
            let cntl = number::<u8>(request, "ChMaskCntl").unwrap_or_default();
            let bits = number::<u16>(request, "ChMask").unwrap_or_default();
            let by = |revision| plan.link_adr(revision, &mask, &defined, cntl, bits);
            // A node may follow a newer revision than its version came with.
            mask = by(own).or_else(|refusal| by(Revision::LATEST).map_err(|_| refusal))?;
        }
        Ok(mask)
    }

    /// Returns the channels that a node has at all.
    pub fn defined(&self, plan: &Plan) -> ChannelMask {
        match plan.kind {
            PlanKind::Fixed => ChannelMask::of_plan(plan),
            PlanKind::Dynamic => {
                let open =
                    |held: &Held<Channel>| held.value().is_some_and(|channel| channel.hz > 0);
                let all = self.channels.iter().filter(|(_, held)| open(held)).map(|(i, _)| *i);
                ChannelMask::from_channels(all)
            }
        }
    }

    /// Returns the numbers of the channels that lie on a frequency.
    pub fn channel_numbers(&self, plan: &Plan, hz: u32) -> Vec<u16> {
        match plan.kind {
            PlanKind::Dynamic => self.channels_at(hz).map(|(index, _)| index).collect(),
            PlanKind::Fixed => {
                let hits = [Some(125), Some(500), None].map(|bw| plan.nearest_uplink(hz, bw));
                let mut out: Vec<u16> = hits
                    .into_iter()
                    .flatten()
                    .filter(ChannelHit::is_on_channel)
                    .map(|hit| hit.channel)
                    .collect();
                out.dedup();
                out
            }
        }
    }
}
