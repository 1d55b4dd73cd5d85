//! The channels that a configuration sets, against the channel plan.

mod plans;
pub(in crate::ladder::gateway) mod reach;

use std::collections::BTreeMap;

use self::{plans::Elsewhere, reach::Reach};
use super::place;
use crate::{
    fact::{Fact, Value, fact},
    ladder::rung::State,
    region::{JoinChannels, Plan, PlanKind},
    roster::{
        GatewayConfig,
        gateway_config::{ChainName, Channel, Reception},
    },
};

/// What a configuration's channels come to.
#[derive(Debug, Default)]
pub(in crate::ladder) struct Channels {
    /// The channels of another plan, or of another sub-band.
    pub(in crate::ladder::gateway) elsewhere: Option<Elsewhere>,
    /// Chains too far from their radio's centre.
    pub(in crate::ladder::gateway) reach: Vec<Reach>,
    /// Channels that the plan has and no chain receives.
    pub(in crate::ladder::gateway) lacks: Option<Lacks>,
    /// What was found to be right, or why nothing can be said.
    told: Option<(State, Fact)>,
}

/// Channels of the plan that no enabled chain receives.
#[derive(Debug)]
pub(in crate::ladder::gateway) struct Lacks {
    pub(in crate::ladder::gateway) plan: &'static Plan,
    pub(in crate::ladder::gateway) missing: Vec<u32>,
    /// Why, chain by chain.
    pub(in crate::ladder::gateway) why: Vec<Fact>,
}

/// A narrow channel as received, hertz apart from the one meant: a tenth of 125 kHz, which receivers take
/// without loss (common practice).
const SAME_HZ: u32 = 12_500;

/// Chains of 125 kHz that a receiver has.
const MULTI_RATE_CHAINS: usize = 8;

impl Channels {
    pub(super) fn of(
        config: &GatewayConfig,
        plan: Option<&'static Plan>,
        sub_band: Option<u8>,
    ) -> Self {
        let all = config.channels();
        let reach = reach::of(&all);
        let narrow: Vec<&Channel> =
            all.iter().filter(|c| matches!(c.chain, ChainName::MultiRate(_))).collect();
        if narrow.iter().all(|channel| channel.hz.is_none()) {
            // A part of the configuration that sets no channels.
            return Self { reach, ..Self::default() };
        }
        let Some(plan) = plan else {
            let told =
                fact!("the file sets channels, but no region is stated to compare them with");
            return Self { reach, told: Some((State::Unknown, told)), ..Self::default() };
        };
        let received: Vec<u32> = narrow.iter().filter_map(|c| received(c)).collect();
        if let Some(elsewhere) = plans::elsewhere(&received, plan, sub_band) {
            return Self { elsewhere: Some(elsewhere), reach, ..Self::default() };
        }
        let (lacks, told) = complete(&all, &received, plan, sub_band);
        Self { elsewhere: None, reach, lacks, told }
    }

    /// Returns the state of the rung as far as the file shows it, and what shows it; nothing where it says
    /// nothing of channels.
    pub(super) fn told(&self) -> Option<(State, Vec<Fact>)> {
        let mut broken: Vec<Fact> = Vec::new();
        broken.extend(self.elsewhere.as_ref().map(|elsewhere| elsewhere.fact.clone()));
        broken.extend(self.reach.iter().filter(|reach| reach.is_certain()).map(Reach::fact));
        broken.extend(self.lacks.as_ref().map(Lacks::fact));
        if !broken.is_empty() {
            return Some((State::Broken, broken));
        }
        let doubts: Vec<Fact> = self.reach.iter().map(Reach::fact).collect();
        match (&self.told, doubts.is_empty()) {
            (Some((state, told)), true) => Some((*state, vec![told.clone()])),
            (None, true) => None,
            (told, false) => {
                let told = told.iter().map(|(_, fact)| fact.clone());
                Some((State::Unknown, doubts.into_iter().chain(told).collect()))
            }
        }
    }

    /// Whether the file sets the channels of another plan, or of another sub-band.
    pub(super) fn is_elsewhere(&self) -> bool {
        self.elsewhere.is_some()
    }
}

/// The frequency of a channel that is received.
fn received(channel: &Channel) -> Option<u32> {
    channel.hz.filter(|_| channel.reception == Reception::On)
}

/// Looks for channels that the plan has and no chain receives.
fn complete(
    all: &[Channel],
    received_hz: &[u32],
    plan: &'static Plan,
    sub_band: Option<u8>,
) -> (Option<Lacks>, Option<(State, Fact)>) {
    let wide: Vec<u32> = all
        .iter()
        .filter(|channel| channel.chain == ChainName::Lora)
        .filter_map(received)
        .collect();
    let wide_is_off = all.iter().any(|channel| {
        channel.chain == ChainName::Lora
            && !matches!(channel.reception, Reception::On | Reception::Unknown)
    });
    let has = |list: &[u32], hz: u32| list.iter().any(|own| own.abs_diff(hz) <= SAME_HZ);
    let wanted = wanted(plan, sub_band);
    let missing: Vec<u32> = wanted
        .iter()
        .filter(|(hz, bw_khz)| match bw_khz {
            125 => !has(received_hz, *hz),
            // A file without that chain leaves it to another one.
            _ => wide_is_off && !has(&wide, *hz),
        })
        .map(|(hz, _)| *hz)
        .collect();
    let channels = Value::List(received_hz.iter().map(|hz| Value::Frequency(*hz)).collect(), ", ");
    let narrow = all.iter().filter(|channel| matches!(channel.chain, ChainName::MultiRate(_)));
    let open = narrow.clone().filter(|channel| channel.reception == Reception::Unknown).count()
        + MULTI_RATE_CHAINS.saturating_sub(narrow.count());
    let missing_narrow =
        wanted.iter().filter(|(hz, bw)| *bw == 125 && missing.contains(hz)).count();
    if missing_narrow > 0 && missing_narrow <= open {
        let missing = Value::List(missing.into_iter().map(Value::Frequency).collect(), ", ");
        let told = fact!(
            "no chain of the file receives {missing}, but the file does not set all chains",
            missing
        );
        return (None, Some((State::Unknown, told)));
    }
    if !missing.is_empty() {
        let why = why(all, &missing);
        return (Some(Lacks { plan, missing, why }), None);
    }
    if received_hz.is_empty() {
        let told = fact!("the file does not say which chains are enabled");
        return (None, Some((State::Unknown, told)));
    }
    let name = plan.name;
    let stray = received_hz.iter().copied().find(|hz| !plans::fits(plan, *hz));
    if let Some(stray) = stray {
        let stray = Value::Frequency(stray);
        let told = fact!("the file sets {stray}, which is not a channel of {name}", stray, name);
        return (None, Some((State::Unknown, told)));
    }
    let told = if let Some(band) = plans::only_sub_band(plan, received_hz) {
        fact!("the file sets {channels}: channels of {name}, sub-band {band}", channels, name, band)
    } else {
        fact!("the file sets {channels}: channels of {name}", channels, name)
    };
    (None, Some((State::Proven, told)))
}

/// The channels that a gateway of a plan receives, and their bandwidths: those of its sub-band, or those
/// that every node can use before the network says otherwise.
fn wanted(plan: &'static Plan, sub_band: Option<u8>) -> Vec<(u32, u16)> {
    if plan.kind == PlanKind::Fixed {
        let channels = sub_band.map(|band| plan.sub_band_channels(band)).unwrap_or_default();
        let bandwidth =
            |channel| plan.uplink_blocks.iter().find(|b| b.contains(channel)).map(|b| b.bw_khz);
        return channels
            .into_iter()
            .filter_map(|channel| Some((plan.channel_frequency(channel)?, bandwidth(channel)?)))
            .collect();
    }
    match plan.join.channels {
        JoinChannels::Listed(channels) => channels.iter().map(|c| (c.freq_hz, 125)).collect(),
        JoinChannels::AnyUplink(_) | JoinChannels::Common { .. } => Vec::new(),
    }
}

/// Says of each channel that is missing why no chain receives it.
fn why(all: &[Channel], missing: &[u32]) -> Vec<Fact> {
    let mut facts = Vec::new();
    for channel in all {
        let Some(hz) = channel.hz else { continue };
        let chain = channel.chain.to_string();
        let frequency = Value::Frequency(hz);
        let why = match &channel.reception {
            Reception::ChainOff(at) => fact!(
                "{place}: {chain} ({frequency}): enable is false",
                place = place(at),
                chain,
                frequency
            ),
            Reception::RadioOff(at) => fact!(
                "{place}: {chain} ({frequency}): enable is false of its radio",
                place = place(at),
                chain,
                frequency
            ),
            Reception::On | Reception::Unknown => continue,
        };
        if missing.iter().any(|hz_missing| hz_missing.abs_diff(hz) <= SAME_HZ) {
            facts.push(why);
        }
    }
    let mut chains: BTreeMap<u32, Vec<String>> = BTreeMap::new();
    for channel in all.iter().filter(|c| matches!(c.chain, ChainName::MultiRate(_))) {
        if let Some(hz) = received(channel) {
            chains.entry(hz).or_default().push(channel.chain.to_string());
        }
    }
    for (hz, chains) in chains.into_iter().filter(|(_, chains)| chains.len() > 1) {
        let frequency = Value::Frequency(hz);
        let chains = Value::List(chains.into_iter().map(Value::from).collect(), " and ");
        facts.push(fact!("{chains} are both on {frequency}", chains, frequency));
    }
    facts
}

impl Lacks {
    pub(in crate::ladder::gateway) fn fact(&self) -> Fact {
        let missing =
            Value::List(self.missing.iter().map(|hz| Value::Frequency(*hz)).collect(), ", ");
        fact!(
            "no enabled chain of the file receives {missing} of {plan}",
            missing,
            plan = self.plan.name
        )
    }
}

#[cfg(test)]
mod tests {
    use std::fmt::Write as _;

    use super::*;

    /// Eight chains at 200 kHz from each other, on two radios, as gateways are shipped.
    fn config(first_hz: u32, change: &[(&str, &str)]) -> GatewayConfig {
        let (low, high) = (first_hz + 400_000, first_hz + 1_200_000);
        let mut text = format!(
            "{{\"radio_0\": {{\"enable\": true, \"freq\": {low}}},\n\"radio_1\": {{\"enable\": true, \
             \"freq\": {high}}},\n"
        );
        for (chain, (radio, offset)) in
            [(0, -400), (0, -200), (0, 0), (0, 200), (0, 400), (1, -200), (1, 0), (1, 200)]
                .into_iter()
                .enumerate()
        {
            let _ = writeln!(
                text,
                "\"chan_multiSF_{chain}\": {{\"enable\": true, \"radio\": {radio}, \"if\": {offset}000}},"
            );
        }
        text += "}";
        for (old, new) in change {
            assert!(text.contains(old), "{old}");
            text = text.replacen(old, new, 1);
        }
        GatewayConfig::parse("gateway.json", &text).unwrap()
    }

    fn judged(config: &GatewayConfig, plan: &str, sub_band: Option<u8>) -> (State, String) {
        let (state, facts) = Channels::of(config, Plan::by_name(plan), sub_band).told().unwrap();
        (state, facts[0].to_string())
    }

    #[test]
    fn the_channels_of_the_plan_are_proven() {
        let told = judged(&config(903_900_000, &[]), "US915", Some(2));
        assert_eq!(told.0, State::Proven, "{}", told.1);
        assert!(told.1.ends_with("channels of US915, sub-band 2"), "{}", told.1);
        assert_eq!(judged(&config(867_100_000, &[]), "EU868", None).0, State::Proven);
        assert_eq!(judged(&config(472_500_000 - 600_000, &[]), "CN470", Some(2)).0, State::Proven);
        let unstated = Channels::of(&config(903_900_000, &[]), None, None).told().unwrap();
        assert_eq!(unstated.0, State::Unknown);
    }

    #[test]
    fn another_sub_band_and_another_region_are_named() {
        let (state, told) = judged(&config(902_300_000, &[]), "US915", Some(2));
        assert_eq!(state, State::Broken);
        assert!(told.contains("sub-band 1") && told.contains("sub-band 2"), "{told}");
        let (state, told) = judged(&config(867_100_000, &[]), "AS923-1", None);
        assert_eq!(state, State::Broken);
        assert!(told.contains("EU868") && told.contains("not of AS923"), "{told}");
        // Without a sub-band on the roster any of the plan's is right.
        assert_eq!(judged(&config(902_300_000, &[]), "US915", None).0, State::Proven);
    }

    #[test]
    fn a_channel_without_a_chain_is_lacking_unless_the_file_is_a_part() {
        let off =
            [("\"chan_multiSF_5\": {\"enable\": true", "\"chan_multiSF_5\": {\"enable\": false")];
        let (state, told) = judged(&config(903_900_000, &off), "US915", Some(2));
        assert_eq!(
            (state, told.as_str()),
            (State::Broken, "no enabled chain of the file receives 904.9 MHz of US915")
        );
        let double = [("\"radio\": 1, \"if\": -200000", "\"radio\": 1, \"if\": 200000")];
        assert_eq!(judged(&config(903_900_000, &double), "US915", Some(2)).0, State::Broken);
        let part = [("\"chan_multiSF_5\"", "\"chan_other\"")];
        assert_eq!(judged(&config(903_900_000, &part), "US915", Some(2)).0, State::Unknown);
        // In a dynamic plan the channels that every node has are enough.
        let off =
            [("\"chan_multiSF_1\": {\"enable\": true", "\"chan_multiSF_1\": {\"enable\": false")];
        assert_eq!(judged(&config(867_100_000, &off), "EU868", None).0, State::Proven);
        let off =
            [("\"chan_multiSF_6\": {\"enable\": true", "\"chan_multiSF_6\": {\"enable\": false")];
        assert_eq!(judged(&config(867_100_000, &off), "EU868", None).0, State::Broken);
    }

    #[test]
    fn a_wide_channel_is_lacking_only_where_its_chain_is_switched_off() {
        let wide = |enable: &str| {
            let chain = format!(
                "\"chan_Lora_std\": {{\"enable\": {enable}, \"radio\": 0, \"if\": 300000, \
                 \"bandwidth\": 500000}}, \"chan_multiSF_0\""
            );
            config(903_900_000, &[("\"chan_multiSF_0\"", &chain)])
        };
        assert_eq!(judged(&wide("true"), "US915", Some(2)).0, State::Proven);
        assert_eq!(judged(&wide("false"), "US915", Some(2)).0, State::Broken);
        // The plan has no channel of 500 kHz.
        let eu =
            [("\"chan_multiSF_0\"", "\"chan_Lora_std\": {\"enable\": false}, \"chan_multiSF_0\"")];
        assert_eq!(judged(&config(867_100_000, &eu), "EU868", None).0, State::Proven);
    }
}
