//! Random worlds, random mistakes: the ladder names the mistake that was made, or nothing for sure.
//!
//! `HANDFAST_ROUNDS=20 cargo test --test confusion -- --nocapture` tries twenty times as many.

#![expect(clippy::print_stdout, reason = "the test prints its confusion table")]

use std::collections::BTreeMap;

use handfast::{
    frame::MacVersion,
    intake::{Event, Leg, What},
    ladder::{Certainty, Diagnosis, Options, Outcome, Verdict, diagnose},
    region::Plan,
    roster::{self, Roster},
    scenario::{Dice, Mistake, Scene},
    trace::{Ask, Attempt, Tracer},
};

use crate::support::scene::{self, brings};

/// Worlds for each mistake, and for those whose explorers search long.
const EACH: u64 = 60;
const EACH_SLOW: u64 = 10;
/// Their searches end without a find, or after all that lies nearer.
const SLOW: [Mistake; 5] = [
    Mistake::WrongSlot,
    Mistake::SessionKeyAsRoot,
    Mistake::KeyOfAnother,
    Mistake::KeyUnrelated,
    Mistake::MisreadDerivation,
];

fn rounds() -> u64 {
    std::env::var("HANDFAST_ROUNDS").ok().and_then(|n| n.parse().ok()).unwrap_or(1)
}

/// A random world in which all these mistakes can be made; none where no plan and version suit.
fn world(seed: u64, dice: &mut Dice, mistakes: &[Mistake]) -> Option<Scene> {
    (0..200).find_map(|_| {
        let plan = dice.pick(Plan::all())?;
        let version = dice.pick(&MacVersion::ALL)?;
        mistakes.iter().all(|m| m.fits(plan, version)).then(|| {
            Scene::by_chance(seed, plan).with(|probe| {
                if !mistakes.is_empty() {
                    probe.version = version;
                    probe.served_as = None;
                }
                probe.mistakes = mistakes.to_vec();
            })
        })
    })
}

/// What is needed to see a world again.
fn named(scene: &Scene) -> String {
    let probe = &scene.probes[0];
    let mistakes: Vec<&str> = probe.mistakes.iter().map(|m| m.id()).collect();
    format!("seed {} {} {} {mistakes:?}", scene.seed, scene.plan.name, probe.version.name())
}

fn certain(diagnosis: &Diagnosis) -> impl Iterator<Item = &'static str> {
    let certain = diagnosis.causes.iter().filter(|v| v.certainty == Certainty::Certain);
    certain.map(|v| v.cause.id.name())
}

#[test]
fn nothing_is_wrong_with_a_healthy_world() {
    let mut dice = Dice::new(1);
    let mut wrong = Vec::new();
    for seed in 0..2_000 * rounds() {
        let scene = world(seed, &mut dice, &[]).unwrap();
        let all = scene::climb(&scene.play());
        let probe = scene::of(&all, "probe-01");
        let (lossless, alone) = (scene.probes[0].lost_percent == 0, scene.probes.len() == 1);
        // Two nodes' accepts may meet in one gateway by chance; that is possible, and no more.
        let by_chance = |v: &Verdict| !alone && v.certainty == Certainty::Possible;
        let faulty = !probe.causes.iter().all(by_chance)
            || probe.first_broken().is_some() && probe.causes.is_empty();
        if faulty || lossless && probe.outcome != Outcome::Joined {
            let broken = probe.first_broken();
            wrong.push(format!("{}: {broken:?} {:?}", named(&scene), scene::causes(probe)));
        }
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

/// What became of the worlds with one mistake.
#[derive(Default)]
struct Row {
    named: u32,
    hinted: u32,
    silent: u32,
    others: BTreeMap<&'static str, u32>,
}

#[test]
fn the_cause_named_is_the_mistake_made_or_nothing_is_certain() {
    let mut dice = Dice::new(2);
    let mut wrong = Vec::new();
    let mut table = Vec::new();
    let mut seed = 0;
    for mistake in Mistake::ALL {
        let mut row = Row::default();
        let n = if SLOW.contains(mistake) { EACH_SLOW } else { EACH };
        for _ in 0..n * rounds() {
            seed += 1;
            let scene = world(seed, &mut dice, &[*mistake]).unwrap();
            let all = scene::climb(&scene.play());
            let probe = scene::of(&all, "probe-01");
            match probe.causes.first() {
                None => row.silent += 1,
                Some(v) if v.cause.id.name() == mistake.id() => {
                    *(if v.certainty == Certainty::Certain {
                        &mut row.named
                    } else {
                        &mut row.hinted
                    }) += 1;
                }
                Some(v) => *row.others.entry(v.cause.id.name()).or_default() += 1,
            }
            if certain(probe).any(|id| id != mistake.id() && !brings(*mistake, id)) {
                wrong.push(format!("{}: {:?}", named(&scene), scene::causes(probe)));
            }
        }
        table.push((mistake, row));
    }
    println!(
        "{:54}{:>8}{:>8}{:>8}  another, not certain",
        "mistake", "certain", "likely", "silent"
    );
    for (mistake, row) in &table {
        let others: Vec<String> = row.others.iter().map(|(id, n)| format!("{n} {id}")).collect();
        println!(
            "{:54}{:>8}{:>8}{:>8}  {}",
            mistake.id(),
            row.named,
            row.hinted,
            row.silent,
            others.join(", ")
        );
        // Silence is honest; but a ladder that only kept silent would be of no use.
        let told = row.named + row.hinted;
        let all = told + row.silent + row.others.values().sum::<u32>();
        assert!(told * 3 > all, "{} is named in {told} of {all} worlds", mistake.id());
    }
    println!("{seed} worlds");
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

/// Mistakes of the request's side, by rung, that leave one another in sight.
const ON_PLAN: [Mistake; 2] = [Mistake::AnotherRegion, Mistake::UnlawfulJoinRate];
const IDENTIFIED: [Mistake; 4] = [
    Mistake::DevEuiReversed,
    Mistake::JoinEuiReversed,
    Mistake::DevEuiTyped,
    Mistake::EuisExchanged,
];
const AUTHENTIC: [Mistake; 4] =
    [Mistake::AppKeyReversed, Mistake::AppKeyTyped, Mistake::NwkKeyReversed, Mistake::NwkKeyTyped];
/// Mistakes of the answer's side.
const TIMELY: [Mistake; 6] = [
    Mistake::DataDelay,
    Mistake::Rx1Frequency,
    Mistake::Rx1Offset,
    Mistake::Rx2Frequency,
    Mistake::Rx2Rate,
    Mistake::Polarity,
];
const SENT: [Mistake; 2] = [Mistake::TooLate, Mistake::PowerRefused];
const ACCEPTABLE: [Mistake; 5] = [
    Mistake::Says1_1,
    Mistake::JoinNonceBack,
    Mistake::CfListType,
    Mistake::RxParameters,
    Mistake::AcceptOtherKey,
];
const AFTER: [Mistake; 3] = [Mistake::ForeignAddress, Mistake::DelayForgotten, Mistake::NoGps];

/// Pairs that come to one mistake.
const NO_PAIR: [[Mistake; 2]; 3] = [
    // Late for a slot at 1 s is in time for the right one at 5 s.
    [Mistake::DataDelay, Mistake::TooLate],
    // An offset beyond the region's range gives no data rate, and none is applied.
    [Mistake::Rx1Offset, Mistake::RxParameters],
    // A gateway that refuses what lies beyond the wrap leaves few downlinks of data.
    [Mistake::WrapMishandled, Mistake::DelayForgotten],
];

/// Pairs whose first bites on a lower rung than the second.
fn pairs() -> Vec<[Mistake; 2]> {
    let cross = |a: &[Mistake], b: &[Mistake]| -> Vec<[Mistake; 2]> {
        a.iter().flat_map(|x| b.iter().map(move |y| [*x, *y])).collect()
    };
    let mut all = [
        cross(&ON_PLAN, &IDENTIFIED),
        cross(&ON_PLAN, &AUTHENTIC),
        cross(&IDENTIFIED, &AUTHENTIC),
        cross(&TIMELY, &SENT),
        cross(&TIMELY, &ACCEPTABLE),
        cross(&SENT, &ACCEPTABLE),
        cross(&[Mistake::WrapMishandled, Mistake::GatewayRestarts], &AFTER),
    ]
    .concat();
    all.retain(|pair| !NO_PAIR.contains(pair));
    all
}

/// Whether two mistakes together are rightly told as a third.
fn come_to_a_third(a: Mistake, b: Mistake) -> bool {
    // One frequency or data rate out of place, then sent in the other window or refused.
    let windows = [
        Mistake::OtherGroup,
        Mistake::FrequencyOutOfRange,
        Mistake::Rx1Frequency,
        Mistake::Rx1Offset,
        Mistake::Rx1Rate,
        Mistake::Rx2Frequency,
        Mistake::Rx2Rate,
        Mistake::TooLong,
        Mistake::FrequencyRefused,
        Mistake::Ghost,
        Mistake::LateCopy,
    ];
    // An EUI exchanged and mistyped is like none on record.
    let euis = [
        Mistake::EuisExchanged,
        Mistake::DevEuiReversed,
        Mistake::JoinEuiReversed,
        Mistake::DevEuiTyped,
        Mistake::JoinEuiTyped,
    ];
    // Two nodes of one built-in session share its counters; one that joins has a record for ABP.
    let sessions = [
        Mistake::SharedIdentity,
        Mistake::AppKeyStale,
        Mistake::CounterRestarted,
        Mistake::CountsAnew,
        Mistake::UpperHalfLost,
        Mistake::DownlinkBack,
    ];
    // A session that is built in has no join before it.
    let built_in = |m: Mistake| m.needs_abp() || sessions.contains(&m);
    let of_joins = [Mistake::OldSession, Mistake::AppKeyStale, Mistake::CountsAnew];
    if built_in(a) && of_joins.contains(&b) || built_in(b) && of_joins.contains(&a) {
        return true;
    }
    // A scene sends in class C in two ways, which cross.
    let of_class_c = |x: Mistake, y: Mistake| x == Mistake::ClassCRate && y.is_of_talk();
    // An offset that the accept ignores and the data as well; a server in another attempt's session.
    let others = [
        [Mistake::Rx1Offset, Mistake::OffsetForgotten],
        [Mistake::AnswersEarlier, Mistake::IgnoresFallback],
    ];
    if of_class_c(a, b) || of_class_c(b, a) || others.contains(&[a, b]) {
        return true;
    }
    // A 1.1 record wants nonces to count.
    let versions = [Mistake::NonceRepeated, Mistake::Says1_1];
    [&windows[..], &euis, &sessions, &versions].iter().any(|f| f.contains(&a) && f.contains(&b))
}

#[test]
fn of_any_two_mistakes_nothing_else_is_certain() {
    let mut dice = Dice::new(4);
    let mut wrong = Vec::new();
    let mut tried = 0;
    for (i, a) in Mistake::ALL.iter().enumerate() {
        for b in Mistake::ALL.iter().skip(i + 1) {
            let searched = SLOW.contains(a) || SLOW.contains(b);
            if searched && !i.is_multiple_of(20) || come_to_a_third(*a, *b) {
                continue;
            }
            for seed in 0..rounds() {
                let Some(scene) = world(seed, &mut dice, &[*a, *b]) else { continue };
                tried += 1;
                let all = scene::climb(&scene.play());
                let probe = scene::of(&all, "probe-01");
                let is_made = |id| [a, b].iter().any(|m| m.id() == id || brings(**m, id));
                if !certain(probe).all(is_made) {
                    wrong.push(format!("{}: {:?}", named(&scene), scene::causes(probe)));
                }
            }
        }
    }
    println!("{tried} worlds with any two mistakes");
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn two_mistakes_are_both_named_the_one_that_bites_first_leading() {
    let mut dice = Dice::new(3);
    let mut wrong = Vec::new();
    let mut tried = 0;
    let all_pairs = pairs();
    for pair in &all_pairs {
        for seed in 0..4 * rounds() {
            let Some(scene) = world(seed, &mut dice, pair) else { continue };
            let scene = scene.with(|probe| {
                probe.told = true;
                probe.lost_percent = 0;
            });
            tried += 1;
            let all = scene::climb(&scene.play());
            let probe = scene::of(&all, "probe-01");
            let ids: Vec<&str> = probe.causes.iter().map(|v| v.cause.id.name()).collect();
            let mut wanted = pair.map(Mistake::id);
            if pair[1] == Mistake::PowerRefused {
                // The gateway's ladder is told before the node's.
                wanted.reverse();
            }
            if ids != wanted {
                wrong.push(format!("{}: {:?}", named(&scene), scene::causes(probe)));
            }
        }
    }
    println!("{tried} worlds with one of {} pairs of mistakes", all_pairs.len());
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

/// Mistakes that keep a node from joining, whenever they begin.
const LATER: [Mistake; 30] = [
    Mistake::AnotherRegion,
    Mistake::DevEuiReversed,
    Mistake::JoinEuiReversed,
    Mistake::JoinEuiTyped,
    Mistake::RecordIsAbp,
    Mistake::AppKeyReversed,
    Mistake::NwkKeyReversed,
    Mistake::AppKeyTyped,
    Mistake::NwkKeyTyped,
    Mistake::SampleKey,
    Mistake::NonceNotKept,
    Mistake::GatewayMisregistered,
    Mistake::NoDownlinkPath,
    Mistake::ServerSilent,
    Mistake::DataDelay,
    Mistake::OddDelay,
    Mistake::Rx1Frequency,
    Mistake::Rx1Offset,
    Mistake::Rx1Rate,
    Mistake::Rx2Frequency,
    Mistake::Rx2Rate,
    Mistake::Polarity,
    Mistake::TooLate,
    Mistake::PowerRefused,
    Mistake::AcceptOtherKey,
    Mistake::Says1_1,
    Mistake::JoinNonceBack,
    Mistake::CfListType,
    Mistake::RxParameters,
    Mistake::Deaf,
];

/// Worlds for each mistake that begins after a join.
const EACH_LATER: u64 = 30;

#[test]
fn what_goes_wrong_after_a_join_is_named_and_the_node_fails_to_join_again() {
    let mut dice = Dice::new(5);
    let mut wrong = Vec::new();
    let mut seed = 0;
    for mistake in LATER {
        let mut told = 0;
        for _ in 0..EACH_LATER * rounds() {
            seed += 1;
            let scene = world(seed, &mut dice, &[mistake]).unwrap().with(|probe| {
                // Without its key the join before is not proven.
                probe.told = true;
                probe.later = true;
                probe.uplinks = 3;
                probe.lost_percent = 0;
            });
            let all = scene::climb(&scene.play());
            let probe = scene::of(&all, "probe-01");
            told +=
                u64::from(probe.causes.first().is_some_and(|v| v.cause.id.name() == mistake.id()));
            let strange = certain(probe).any(|id| id != mistake.id());
            if strange || probe.outcome != Outcome::JoinFailing {
                wrong.push(format!(
                    "{}: {} {:?}",
                    named(&scene),
                    probe.outcome.name(),
                    scene::causes(probe)
                ));
            }
        }
        assert!(told * 2 > EACH_LATER * rounds(), "{} is named in {told} worlds", mistake.id());
    }
    println!("{seed} worlds that go wrong after a join");
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn a_node_that_joins_again_through_either_window_is_fine_wherever_it_is_captured() {
    let mut dice = Dice::new(6);
    let mut wrong = Vec::new();
    for seed in 0..1_500 * rounds() {
        let mut scene = world(seed, &mut dice, &[]).unwrap().with(|probe| {
            probe.uplinks = 3;
            probe.rejoins = dice.between(0, 3);
            probe.both_windows = dice.once_in(2);
        });
        if dice.once_in(2) {
            scene.way_us = dice.between(5_000, 200_000);
        }
        let all = scene::climb(&scene.play());
        let probe = scene::of(&all, "probe-01");
        let (lossless, alone) = (scene.probes[0].lost_percent == 0, scene.probes.len() == 1);
        let by_chance = |v: &Verdict| !alone && v.certainty == Certainty::Possible;
        let faulty = !probe.causes.iter().all(by_chance)
            || probe.first_broken().is_some() && probe.causes.is_empty();
        if faulty || lossless && alone && !probe.is_fine() {
            let broken = (probe.outcome, probe.first_broken(), probe.in_vain);
            wrong.push(format!("{}: {broken:?} {:?}", named(&scene), scene::causes(probe)));
        }
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

/// Mistakes of one window each, where the server sends in both.
const OF_RX1: [Mistake; 5] = [
    Mistake::Rx1Frequency,
    Mistake::Rx1Offset,
    Mistake::Rx1Rate,
    Mistake::TooLate,
    Mistake::PowerRefused,
];
const OF_RX2: [Mistake; 4] =
    [Mistake::Rx2Frequency, Mistake::Rx2Rate, Mistake::Polarity, Mistake::FrequencyOutOfRange];

fn sends_in_both(scene: Scene) -> Scene {
    scene.with(|probe| {
        probe.both_windows = true;
        probe.lost_percent = 0;
    })
}

#[test]
fn of_two_windows_that_are_wrong_both_mistakes_are_named() {
    let mut dice = Dice::new(7);
    let mut wrong = Vec::new();
    let mut tried = 0;
    for first in OF_RX1 {
        for second in OF_RX2 {
            for seed in 0..30 * rounds() {
                let Some(scene) = world(seed, &mut dice, &[first, second]) else { continue };
                let scene = sends_in_both(scene);
                tried += 1;
                let all = scene::climb(&scene.play());
                let probe = scene::of(&all, "probe-01");
                // Two nodes' accepts may meet in one gateway by chance.
                let named_for_sure =
                    probe.causes.iter().filter(|v| v.certainty != Certainty::Possible);
                let mut ids: Vec<&str> = named_for_sure.map(|v| v.cause.id.name()).collect();
                let mut wanted = [first.id(), second.id()];
                ids.sort_unstable();
                wanted.sort_unstable();
                if ids != wanted || probe.outcome != Outcome::NeverJoined {
                    wrong.push(format!("{}: {:?}", named(&scene), scene::causes(probe)));
                }
            }
        }
    }
    println!("{tried} worlds of two wrong windows");
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn one_wrong_window_is_no_fault_where_the_node_joins_through_the_other() {
    let mut dice = Dice::new(8);
    let mut wrong = Vec::new();
    let mut joined = 0;
    for mistake in OF_RX1.into_iter().chain(OF_RX2) {
        for seed in 0..40 * rounds() {
            let Some(scene) = world(seed, &mut dice, &[mistake]) else { continue };
            let scene = sends_in_both(scene);
            let all = scene::climb(&scene.play());
            let probe = scene::of(&all, "probe-01");
            joined += u32::from(probe.outcome == Outcome::Joined);
            let silent = probe.causes.is_empty() && probe.first_broken().is_none();
            let strange = certain(probe).any(|id| id != mistake.id());
            // A gateway that refuses the power refuses data in RX1 as well.
            let silent = silent || mistake == Mistake::PowerRefused;
            if strange || probe.outcome == Outcome::Joined && !silent {
                wrong.push(format!("{}: {:?}", named(&scene), scene::causes(probe)));
            }
        }
    }
    assert!(joined > 200, "{joined} joined");
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn a_capture_taken_at_the_server_accuses_nobody_for_sure_but_who_it_is() {
    let at_the_server = [
        Mistake::AppKeyTyped,
        Mistake::ServerSilent,
        Mistake::NoDownlinkPath,
        Mistake::DataDelay,
        Mistake::Rx1Frequency,
        Mistake::Rx2Rate,
        Mistake::TooLate,
        Mistake::PowerRefused,
        Mistake::WrapMishandled,
        Mistake::GatewayRestarts,
        Mistake::Deaf,
    ];
    let mut dice = Dice::new(9);
    let mut wrong = Vec::new();
    for mistake in at_the_server {
        let (mut told, mut tried) = (0, 0);
        for seed in 0..40 * rounds() {
            let Some(mut scene) = world(seed, &mut dice, &[mistake]) else { continue };
            scene = scene.with(|probe| probe.lost_percent = 0);
            // The wrap comes two seconds after the request: an answer that takes longer is past it.
            let farthest = if mistake == Mistake::WrapMishandled { 700_000 } else { 2_000_000 };
            scene.way_us = dice.between(20_000, farthest);
            tried += 1;
            let all = scene::climb(&scene.play());
            let probe = scene::of(&all, "probe-01");
            told +=
                u32::from(probe.causes.first().is_some_and(|v| v.cause.id.name() == mistake.id()));
            if certain(probe).any(|id| id != mistake.id() && !brings(mistake, id)) {
                wrong.push(format!("{}: {:?}", named(&scene), scene::causes(probe)));
            }
        }
        assert!(told * 2 > tried, "{} is named in {told} of {tried} worlds", mistake.id());
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn a_gateway_registered_wrongly_is_named_with_the_fault_of_the_request() {
    let mut dice = Dice::new(10);
    let mut wrong = Vec::new();
    for mistake in IDENTIFIED.into_iter().chain(AUTHENTIC).chain([Mistake::NonceNotKept]) {
        for gateway in [Mistake::GatewayMisregistered, Mistake::NoDownlinkPath] {
            for seed in 0..12 * rounds() {
                let Some(scene) = world(seed, &mut dice, &[mistake, gateway]) else { continue };
                let scene = scene.with(|probe| probe.lost_percent = 0);
                let all = scene::climb(&scene.play());
                let probe = scene::of(&all, "probe-01");
                let ids: Vec<&str> = probe.causes.iter().map(|v| v.cause.id.name()).collect();
                let both = ids.contains(&mistake.id()) && ids.contains(&gateway.id());
                if !both || ids.len() != 2 {
                    wrong.push(format!("{}: {:?}", named(&scene), scene::causes(probe)));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn half_a_capture_accuses_nobody_also_by_a_record_that_was_read_after_it() {
    let mut dice = Dice::new(11);
    let mut wrong = Vec::new();
    for seed in 0..600 * rounds() {
        let scene = world(seed, &mut dice, &[]).unwrap();
        let recording = scene.play();
        let keeps_acks = dice.once_in(2);
        // The uplink flow alone was captured, and perhaps its acknowledgements.
        let kept: Vec<Event> = scene::events(&recording.capture)
            .filter(|event| match &event.what {
                What::Heard(_) | What::Asked(Leg::Push) => true,
                What::Acknowledged(Leg::Push) => keeps_acks,
                _ => false,
            })
            .collect();
        let mut roster = roster::parse(&recording.roster, None).unwrap();
        let climb = |roster: &Roster| {
            let mut tracer = Tracer::new(roster);
            for event in &kept {
                tracer.push(event.clone());
            }
            tracer.finish()
        };
        let trace = climb(&roster);
        let joins = trace.nodes[0].attempts.iter().filter(|a| matches!(a.ask, Ask::Join(_)));
        let asked: Vec<u16> = joins.map(Attempt::nonce).collect();
        if let Some(record) = &mut roster.nodes[0].record {
            record.last_dev_nonce = record.last_dev_nonce.and(asked.last().copied());
            record.used_dev_nonces = asked;
        }
        let all = diagnose(&climb(&roster), &roster, Options::default());
        let probe = scene::of(&all, "probe-01");
        if !probe.causes.is_empty() || probe.first_broken().is_some() || probe.is_fine() {
            let why = probe.causes.first().map(|v| scene::words(&v.evidence));
            wrong.push(format!(
                "{}: {:?} {:?} {why:?}",
                named(&scene),
                probe.first_broken(),
                scene::causes(probe)
            ));
        } else if probe.outcome == Outcome::CannotTell && probe.next.is_empty() {
            wrong.push(format!("{}: nothing would decide", named(&scene)));
        }
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}
