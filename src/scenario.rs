//! Scenes: makes captures and rosters for demonstrations, lessons and tests.
//!
//! A [`Scene`] is a small orchard: soil probes, one or two gateways, a server. [`Scene::play`]
//! lets them live for some minutes and returns what stood on the wire of the gateways, as capture
//! lines, and the roster that somebody keeps of them. All is right by default; what goes wrong is
//! declared, as a [`Mistake`] of a probe, and its consequences follow by themselves: the server
//! drops a request whose MIC fails, the node asks again.
//!
//! ```
//! use handfast::{region::Plan, scenario::{Mistake, Scene}};
//!
//! let scene = Scene::new(7, Plan::by_name("EU868").ok_or("no such plan")?);
//! let recording = scene.with(|probe| probe.mistakes = vec![Mistake::DevEuiReversed]).play();
//! assert!(recording.capture.lines().count() > 4);
//! assert!(recording.roster.contains("[[node]]"));
//! # Ok::<(), &str>(())
//! ```
//!
//! The same scene always plays the same way: chance comes from its seed. Frames are made by
//! [`crate::frame`] and [`crate::crypto`], so that a scene shows what the ladder makes of a
//! mistake, and not whether a second implementation agrees with the first.
//!
//! | file | part |
//! |------|------|
//! | `dice` | numbers that look random |
//! | `air` | channels and data rates, as far as a scene needs them |
//! | `node`, `server`, `gateway` | the three sides |
//! | `life` | a node with its claims and what the server keeps of it |
//! | `setup` | what a mistake changes before the scene begins |
//! | `exchange`, `data` | an attempt to join; data of a session |
//! | `talk` | a session in which the network changes settings |
//! | `tape`, `claims` | the capture and the roster, as text |
//! | `leg` | gateways and their server alone, for some minutes |

mod air;
mod claims;
mod data;
mod derivation;
mod dice;
mod exchange;
mod gateway;
mod leg;
mod life;
mod mistake;
mod node;
mod server;
mod setup;
mod talk;
mod tape;

pub use air::join_rates;
pub use dice::Dice;
pub use leg::{Acks, Downlinks, Leg, Side, StationWays, Uplinks};
pub use mistake::Mistake;

use gateway::Gateway;
use life::{Ground, Life, orchard_eui};

use crate::{
    frame::MacVersion,
    region::Plan,
    roster::{self, Class, Roster},
};

/// A scene, to be played.
#[derive(Clone, Debug)]
pub struct Scene {
    /// Where chance comes from.
    pub seed: u64,
    /// The channel plan of record and gateways.
    pub plan: &'static Plan,
    /// How many gateways there are, 1 or 2.
    pub gateways: u8,
    /// Whether acknowledgements of uplinks are on the tape.
    pub acks: bool,
    /// How long the way is from the gateways to where the capture is taken, in microseconds: 0 is at
    /// the gateways, the way to the server is at the server.
    pub way_us: u32,
    /// The gateway to which nothing passes from the server, counted from 0.
    pub cut_off: Option<u8>,
    /// The probes.
    pub probes: Vec<Probe>,
}

/// A soil probe of a scene.
#[derive(Clone, Debug)]
#[expect(clippy::struct_excessive_bools, reason = "each is one thing that is so or is not")]
pub struct Probe {
    /// Its name on the roster; whatever chance decides about it follows from the name.
    pub name: String,
    /// Its LoRaWAN version.
    pub version: MacVersion,
    /// The version of the server that serves a 1.1 node, where that is older.
    pub served_as: Option<MacVersion>,
    /// Its class, on record.
    pub class: Class,
    /// Whether accepts and downlinks go out in RX2.
    pub second_window: bool,
    /// The data rate of its requests; by chance where it is `None`.
    pub join_rate: Option<u8>,
    /// Data frames that it sends once it has joined.
    pub uplinks: u32,
    /// How often it asks before it gives up.
    pub attempts: u32,
    /// How many of a hundred frames no gateway receives.
    pub lost_percent: u8,
    /// The one gateway that hears it, counted from 0; all of them where it is `None`.
    pub heard_by: Option<u8>,
    /// Seconds from the start of the scene to its first request.
    pub asks_at_s: u32,
    /// Whether the roster knows what is built into it.
    pub told: bool,
    /// Whether it is on the roster at all; a stranger is not.
    pub listed: bool,
    /// Whether accepts go out in both windows, RX1 and RX2. Mistakes of one window are made there alone.
    pub both_windows: bool,
    /// How often it joins again when it has sent all its data.
    pub rejoins: u32,
    /// Whether all goes well until it joins again, and wrong from then on.
    pub later: bool,
    /// Whether the network changes settings in the course of its sessions.
    pub talks: bool,
    /// What goes wrong.
    pub mistakes: Vec<Mistake>,
}

/// What came of a scene.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Recording {
    /// Capture lines, in the order of arrival.
    pub capture: String,
    /// The roster, as TOML.
    pub roster: String,
}

impl Probe {
    /// Returns a probe with which nothing is wrong.
    pub fn new(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            version: MacVersion::V1_0_4,
            served_as: None,
            class: Class::A,
            second_window: false,
            join_rate: None,
            uplinks: 6,
            attempts: 4,
            lost_percent: 0,
            heard_by: None,
            asks_at_s: 2,
            told: true,
            listed: true,
            both_windows: false,
            rejoins: 0,
            later: false,
            talks: false,
            mistakes: Vec::new(),
        }
    }
}

impl Scene {
    /// Returns a scene of one probe and one gateway in which nothing goes wrong.
    pub fn new(seed: u64, plan: &'static Plan) -> Self {
        let probes = vec![Probe::new("probe-01")];
        Self { seed, plan, gateways: 1, acks: true, way_us: 0, cut_off: None, probes }
    }

    /// Returns a scene in which nothing goes wrong, everything else by chance: lost frames too.
    pub fn by_chance(seed: u64, plan: &'static Plan) -> Self {
        let mut dice = Dice::of(seed, "scene");
        let mut scene = Self::new(seed, plan);
        scene.gateways = if dice.once_in(3) { 2 } else { 1 };
        scene.acks = dice.once_in(2);
        let version = dice.pick(&MacVersion::ALL).unwrap_or(MacVersion::V1_0_4);
        let served_as = dice.once_in(5).then_some(MacVersion::V1_0_3);
        let second_window = dice.once_in(3);
        let told = !dice.once_in(4);
        let uplinks = dice.between(3, 9);
        let lost_percent = dice.pick(&[0, 0, 10, 30]).unwrap_or_default();
        for probe in &mut scene.probes {
            probe.version = version;
            probe.served_as = served_as;
            probe.second_window = second_window;
            probe.told = told;
            probe.uplinks = uplinks;
            probe.lost_percent = lost_percent;
        }
        if dice.once_in(4) {
            let asks_at_s = dice.between(1, 60);
            scene.probes.push(Probe { asks_at_s, ..Probe::new("probe-02") });
        }
        let talks = dice.once_in(2);
        for probe in &mut scene.probes {
            probe.talks = talks;
            if talks {
                probe.uplinks += dice.below(20);
            }
        }
        scene
    }

    /// Returns the scene with its first probe changed.
    pub fn with(mut self, change: impl FnOnce(&mut Probe)) -> Self {
        if let Some(probe) = self.probes.first_mut() {
            change(probe);
        }
        self
    }

    /// Plays the scene.
    pub fn play(&self) -> Recording {
        let mut ground = self.ground();
        let mut lives = self.lives(&ground);
        for gateway in &mut ground.gateways {
            let times = if gateway.hears_server { 1 } else { 4 };
            for n in 0..times {
                gateway.keep_alive(&mut ground.tape, 400_000 + n * 9_000_000);
            }
        }
        while let Some(life) = next(&mut lives) {
            step(life, &mut ground);
        }
        let ends = ground.tape.ends().max(ground.lasts) + 9_000_000;
        for gateway in &mut ground.gateways {
            gateway.report_itself(&mut ground.tape, ends);
        }
        let roster = claims::toml(&self.roster(&ground, &lives));
        Recording { capture: ground.tape.text(), roster }
    }

    fn ground(&self) -> Ground {
        let mut dice = Dice::of(self.seed, "ground");
        let plan = self.plan;
        let all = || self.probes.iter().flat_map(|p| &p.mistakes);
        let first = self.probes.iter().filter(|p| !p.later);
        let mistakes: Vec<Mistake> = first.flat_map(|p| p.mistakes.clone()).collect();
        let two = self.gateways > 1 || all().any(|m| m.needs_two_gateways());
        let sub_band = (plan.sub_bands > 1)
            .then(|| u8::try_from(dice.between(1, u32::from(plan.sub_bands.min(8)))).ok())
            .flatten();
        let names = ["barn", "gate"];
        let mut gateways: Vec<Gateway> = names
            .into_iter()
            .take(if two { 2 } else { 1 })
            .map(|name| Gateway {
                // Two gateways never have one EUI here.
                eui: orchard_eui(0xEA_0000 + dice.below(0x8000) * 2 + u32::from(name == "gate")),
                name,
                sub_band,
                listens: listens(plan, sub_band),
                counts_from: u64::from(dice.between(300_000_000, 2_000_000_000)),
                restarts_at: None,
                latency_us: 3_000 + u64::from(dice.below(4_000)),
                highest_dbm: 27,
                sends_hz: (plan.range_hz.0, plan.range_hz.1.max(plan.rx2().freq_hz)),
                has_gps: true,
                minds_the_wrap: true,
                hears_server: true,
                shows_acks: self.acks,
                way_us: u64::from(self.way_us),
                busy: Vec::new(),
                token: u16::try_from(dice.below(0x1_0000)).unwrap_or_default(),
                received: 0,
                datagrams_down: 0,
                sent: 0,
            })
            .collect();
        for gateway in &mut gateways {
            setup::gateway(&mistakes, gateway, plan);
        }
        if let Some(cut_off) = self.cut_off.and_then(|n| gateways.get_mut(usize::from(n))) {
            setup::gateway(&[Mistake::NoDownlinkPath], cut_off, plan);
        }
        Ground { plan, gateways, tape: tape::Tape::default(), lasts: 0 }
    }

    fn lives(&self, ground: &Ground) -> Vec<Life> {
        let mut out = Vec::new();
        for probe in &self.probes {
            let mut life = Life::new(self.seed, probe, ground);
            if probe.later {
                life.later = std::mem::take(&mut life.mistakes);
                life.rejoins = life.rejoins.max(1);
            }
            for mistake in life.mistakes.clone() {
                setup::life(mistake, &mut life, ground);
            }
            setup::companions(self.seed, probe, &life, ground, &mut out);
            out.push(life);
        }
        out
    }

    fn roster(&self, ground: &Ground, lives: &[Life]) -> Roster {
        let nodes = lives.iter().filter(|l| l.is_listed).map(Life::claims).collect();
        let gateways = ground.gateways.iter().map(|g| roster::Gateway {
            eui: g.eui,
            sub_band: g.sub_band,
            listens: g.listens.clone(),
            name: Some(g.name.to_owned()),
            ..roster::Gateway::default()
        });
        let (region, gateways) = (Some(self.plan), gateways.collect());
        Roster { region, nodes, gateways, ..Roster::default() }
    }
}

/// What a gateway of a plan receives; nothing where it receives whatever the plan has.
fn listens(plan: &'static Plan, sub_band: Option<u8>) -> Vec<u32> {
    if let Some(sub_band) = sub_band {
        return air::uplink_channels(plan, Some(sub_band)).iter().map(|c| c.hz).collect();
    }
    let own = plan.listed_channels().iter().map(|c| c.freq_hz);
    own.chain(air::further_frequencies(plan)).take(8).collect()
}

/// The life that goes on first.
fn next(lives: &mut [Life]) -> Option<&mut Life> {
    lives.iter_mut().filter(|life| !life.is_over()).min_by_key(|life| life.wakes_at)
}

fn step(life: &mut Life, ground: &mut Ground) {
    match &life.node.session {
        Some(session) if session.sent >= life.uplinks => {
            // All is sent, and yet it is not over: it joins anew.
            life.rejoins = life.rejoins.saturating_sub(1);
            life.node.session = None;
            life.attempts_left = life.attempts_left.max(4);
            if !life.later.is_empty() {
                setup::from_now_on(life, ground);
            }
            exchange::ask(life, ground);
        }
        Some(_) if life.talks => talk::send(life, ground),
        Some(_) => data::send(life, ground),
        None => exchange::ask(life, ground),
    }
}
