//! Random worlds with one random mistake.
#![expect(clippy::print_stdout, reason = "the test prints its table")]

use std::collections::BTreeMap;

use handfast::{frame::MacVersion, ladder::{Certainty, Outcome}, region::Plan, scenario::{Dice, Mistake, Scene}};

#[path = "support/scene.rs"]
mod scene;
use scene::{causes, climb, of};

#[test]
fn nothing_is_wrong_with_a_healthy_world() {
    let n: u64 = std::env::var("N").ok().and_then(|n| n.parse().ok()).unwrap_or(600);
    let mut dice = Dice::new(1);
    let mut wrong = BTreeMap::<String, Vec<String>>::new();
    for seed in 0..n {
        let plan = dice.pick(Plan::all()).unwrap();
        let scene = Scene::by_chance(seed, plan);
        let version = scene.probes[0].version;
        let all = climb(&scene.play());
        let probe = of(&all, "probe-01");
        if !probe.causes.is_empty() || probe.outcome != Outcome::Joined || probe.first_broken().is_some() {
            wrong.entry(format!("{} {:?} {:?}", probe.outcome.name(), causes(probe), probe.first_broken())).or_default().push(format!("{seed}:{}:{}", plan.name, version.name()));
        }
    }
    for (what, seeds) in &wrong { println!("{what}: {} {:?}", seeds.len(), &seeds[..seeds.len().min(6)]); }
    assert!(wrong.is_empty());
}

#[test]
fn a_mistake_is_named_or_nothing_is_certain() {
    let each: u64 = std::env::var("N").ok().and_then(|n| n.parse().ok()).unwrap_or(20);
    let only = std::env::var("ONLY").ok();
    let mut dice = Dice::new(2);
    let mut bad = 0;
    for mistake in Mistake::ALL {
        if only.as_deref().is_some_and(|o| o != mistake.id()) { continue; }
        let mut table = BTreeMap::<String, Vec<String>>::new();
        let t = std::time::Instant::now();
        for n in 0..each {
            let (plan, version) = loop {
                let plan = dice.pick(Plan::all()).unwrap();
                let version = dice.pick(&MacVersion::ALL).unwrap();
                if mistake.fits(plan, version) { break (plan, version); }
            };
            let scene = Scene::by_chance(n * 1000 + 7, plan).with(|p| { p.version = version; p.served_as = None; p.mistakes = vec![*mistake]; });
            let all = climb(&scene.play());
            let probe = of(&all, "probe-01");
            table.entry(format!("{} {:?}", probe.outcome.name(), causes(probe))).or_default().push(format!("{}:{}:{}:{}", n*1000+7, plan.name, version.name(), scene.probes[0].told));
        }
        println!("{} ({:?})", mistake.id(), t.elapsed()/u32::try_from(each).unwrap());
        for (what, seeds) in &table { println!("    {:4} {what} {:?}", seeds.len(), &seeds[..seeds.len().min(3)]); }
        let _ = (&mut bad, Certainty::Certain);
    }
}
