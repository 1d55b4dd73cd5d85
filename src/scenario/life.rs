//! One node's life: the node, what is claimed about it, and what the server keeps of it.

use super::{
    Mistake, Probe,
    air::{Channel, join_channels, join_rates},
    data,
    dice::Dice,
    gateway::{Gateway, Link},
    node::{Node, Nonces, Session},
    tape::Tape,
};
use crate::{
    crypto::block::FOptsText,
    frame::{CfList, JoinRequest, MacVersion},
    id::{DevAddr, DevEui, Eui64, JoinEui, NetId},
    key::{Aes128Key, AppKey, NwkKey},
    radio::Modulation,
    region::Plan,
    roster::{Activation, Claim},
};

/// What all lives share.
#[derive(Debug)]
pub(super) struct Ground {
    pub(super) plan: &'static Plan,
    pub(super) gateways: Vec<Gateway>,
    pub(super) tape: Tape,
    /// The world goes on until then at least.
    pub(super) lasts: u64,
}

/// A node's life.
#[derive(Clone, Debug)]
pub(super) struct Life {
    pub(super) name: String,
    pub(super) mistakes: Vec<Mistake>,
    /// Those that begin when it joins again.
    pub(super) later: Vec<Mistake>,
    pub(super) dice: Dice,
    /// A number that stays, for what a mistake leaves open.
    pub(super) whim: u32,
    pub(super) node: Node,
    /// What the server goes by.
    pub(super) record: Claim,
    /// What is known of the node.
    pub(super) firmware: Option<Claim>,
    pub(super) links: Vec<Link>,
    pub(super) lost_percent: u32,
    /// The one gateway that hears it, if not all do.
    pub(super) heard_by: Option<u8>,
    pub(super) terms: Terms,
    pub(super) served: Served,
    pub(super) join_rate: Option<u8>,
    /// Where it asks, when that is no matter of chance.
    pub(super) asks_at: Option<(Channel, Modulation)>,
    /// The frequency of its last request.
    pub(super) asked_hz: Option<u32>,
    pub(super) wakes_at: u64,
    pub(super) interval_us: u64,
    /// Whether its intervals vary, as they should.
    pub(super) jitters: bool,
    pub(super) attempts_left: u32,
    pub(super) uplinks: u32,
    /// How often it joins anew when it has sent all.
    pub(super) rejoins: u32,
    pub(super) is_listed: bool,
    /// Whether settings change in its sessions.
    pub(super) talks: bool,
    pub(super) talk: Option<Box<super::talk::Talk>>,
}

/// What the server gives and how it sends.
#[derive(Clone, Debug)]
pub(super) struct Terms {
    pub(super) second_window: bool,
    pub(super) both_windows: bool,
    pub(super) rx_delay: u8,
    pub(super) rx1_offset: u8,
    pub(super) rx2_rate: u8,
    pub(super) cf_list: Option<CfList>,
    pub(super) accept_key: Option<Aes128Key>,
    pub(super) power_dbm: u8,
    /// From a datagram of a gateway to the server's answer there.
    pub(super) takes_us: u64,
}

/// What the server keeps of a node.
#[derive(Clone, Debug, Default)]
pub(super) struct Served {
    pub(super) last_nonce: Option<u16>,
    pub(super) used: Vec<u16>,
    pub(super) join_nonce: u32,
    pub(super) before: Option<JoinRequest>,
    pub(super) session: Option<Session>,
    pub(super) earlier: Vec<Session>,
    pub(super) refused_masks: u32,
}

impl Life {
    /// Returns a life in which nothing goes wrong.
    #[expect(clippy::too_many_lines, reason = "a line a member")]
    pub(super) fn new(seed: u64, probe: &Probe, ground: &Ground) -> Self {
        let mut dice = Dice::of(seed, &probe.name);
        let plan = ground.plan;
        let version = probe.version;
        let dev_eui = DevEui(orchard_eui(dice.between(0x10_0000, 0xDF_FFFF)));
        let join_eui = JoinEui(orchard_eui(0x0B_0000 | dice.below(0x1_0000)));
        let app_key = Aes128Key::new(dice.key());
        let nwk_key = Aes128Key::new(dice.key());
        let counts = version.counts_dev_nonces();
        let first_nonce = u16::try_from(dice.between(3, 900)).unwrap_or_default();
        let sub_band = ground.gateways.first().and_then(|g| g.sub_band);
        let claim = Claim {
            dev_eui: Some(dev_eui),
            join_eui: Some(join_eui),
            app_key: Some(AppKey::from(app_key.clone())),
            nwk_key: (version == MacVersion::V1_1).then(|| NwkKey::from(nwk_key.clone())),
            mac_version: Some(version),
            activation: Some(Activation::Otaa),
            class: Some(probe.class),
            ..Claim::default()
        };
        let mut record = Claim {
            net_id: NetId::new(1),
            gateways: ground.gateways.iter().map(|g| g.eui).collect(),
            last_dev_nonce: counts.then(|| first_nonce - 1),
            ..claim.clone()
        };
        if let Some(served_as) = probe.served_as.filter(|_| version == MacVersion::V1_1) {
            record.mac_version = Some(served_as);
            record.app_key = Some(AppKey::from(nwk_key.clone()));
            record.nwk_key = None;
            if !served_as.counts_dev_nonces() {
                record.last_dev_nonce = None;
            }
        }
        let node = Node {
            dev_eui,
            join_eui,
            app_key,
            nwk_key,
            version,
            plan,
            asks_on: join_channels(plan, sub_band),
            nonces: if counts { Nonces::Counting(first_nonce) } else { Nonces::Random(Vec::new()) },
            last_join_nonce: None,
            keeps_dwell: false,
            misreads: None,
            ignores_fallback: false,
            fopts_text: FOptsText::Amended,
            session: None,
            rejoins: 0,
        };
        let way_us = ground.gateways.first().map_or(0, |gateway| gateway.way_us);
        let join_rate = probe.join_rate.or_else(|| dice.pick(&join_rates(plan)));
        let served = Served {
            last_nonce: record.last_dev_nonce,
            join_nonce: dice.between(0x0100, 0x00F0_0000),
            ..Served::default()
        };
        let mut links: Vec<Link> = ground
            .gateways
            .iter()
            .map(|_| Link {
                rssi: -60 - i32::try_from(dice.below(40)).unwrap_or_default(),
                margin: i32::try_from(dice.between(125, 175)).unwrap_or_default(),
            })
            .collect();
        // The second gateway stands at the far end of the orchard.
        for link in links.iter_mut().skip(1) {
            link.rssi -= 22;
            link.margin -= 40;
        }
        Self {
            name: probe.name.clone(),
            mistakes: probe.mistakes.clone(),
            later: Vec::new(),
            whim: dice.below(u32::MAX),
            node,
            firmware: probe.told.then_some(claim),
            links,
            heard_by: probe.heard_by,
            lost_percent: u32::from(probe.lost_percent),
            terms: Terms {
                second_window: probe.second_window,
                both_windows: probe.both_windows,
                rx_delay: u8::try_from(dice.between(1, 5)).unwrap_or(1),
                rx1_offset: 0,
                rx2_rate: plan.rx2_default.dr,
                cf_list: super::server::cf_list(plan, sub_band, &mut dice),
                accept_key: None,
                power_dbm: 14,
                takes_us: 100_000 + u64::from(dice.below(250_000)) + 2 * way_us,
            },
            served,
            join_rate,
            asks_at: None,
            asked_hz: None,
            wakes_at: u64::from(probe.asks_at_s) * 1_000_000 + u64::from(dice.below(900_000)),
            interval_us: 30_000_000,
            jitters: true,
            attempts_left: probe.attempts,
            uplinks: probe.uplinks,
            rejoins: probe.rejoins,
            is_listed: probe.listed,
            talks: probe.talks && !probe.mistakes.iter().any(|m| data::makes(*m)),
            talk: None,
            record,
            dice,
        }
    }

    /// Whether a mistake is made in this life.
    pub(super) fn makes(&self, mistake: Mistake) -> bool {
        self.mistakes.contains(&mistake)
    }

    /// Waits for the next try.
    pub(super) fn wait(&mut self) {
        let jitter = if self.jitters { self.dice.below(6_000_000) } else { 0 };
        self.wakes_at += self.interval_us + u64::from(jitter);
    }

    pub(super) fn dev_addr(&mut self) -> DevAddr {
        DevAddr(0x0200_0000 | self.dice.below(0x0100_0000))
    }

    /// Whether there is nothing left to do.
    pub(super) const fn is_over(&self) -> bool {
        match &self.node.session {
            Some(session) => session.sent >= self.uplinks && self.rejoins == 0,
            None => self.attempts_left == 0,
        }
    }
}

/// Returns an EUI of the block that all EUIs of the orchard come from, by its last 24 bits.
pub(super) const fn orchard_eui(low: u32) -> Eui64 {
    let [_, x, y, z] = low.to_be_bytes();
    Eui64::new([0x02, 0, 0, 0xFF, 0xFE, x, y, z])
}
