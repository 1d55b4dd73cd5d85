//! For each channel plan, version, join data rate and window: a healthy join, proven with its data.

use handfast::{
    frame::{Direction, MacVersion},
    ladder::{Outcome, State, join::Rung},
    region::Plan,
    scenario::{Scene, join_rates},
};

use crate::support::scene;

const VERSIONS: [MacVersion; 4] =
    [MacVersion::V1_0_2, MacVersion::V1_0_3, MacVersion::V1_0_4, MacVersion::V1_1];
const UPLINKS: u32 = 3;

/// Whatever is not as it should be in one healthy join.
fn faults(plan: &'static Plan, version: MacVersion, rate: u8, second_window: bool) -> Vec<String> {
    let seed = u64::from(rate) + 16 * u64::from(second_window);
    let recording = Scene::new(seed, plan)
        .with(|probe| {
            probe.version = version;
            probe.join_rate = Some(rate);
            probe.second_window = second_window;
            probe.uplinks = UPLINKS;
        })
        .play();
    let all = scene::climb(&recording);
    let probe = scene::of(&all, "probe-01");
    let mut out = scene::causes(probe);
    let ladder = probe.join.as_ref().unwrap();
    let broken = ladder.view().filter(|rung| rung.judgement.state != State::Proven);
    out.extend(broken.map(|rung| format!("{}: {:?}", rung.name, rung.judgement.evidence)));
    if probe.outcome != Outcome::Joined {
        out.push(probe.outcome.name().to_owned());
    }
    if probe.data < UPLINKS as usize {
        out.push(format!("{} data frames", probe.data));
    }
    let asked = plan.dr(Direction::Uplink, rate).unwrap().to_string();
    let heard = scene::words(&ladder[Rung::Heard].evidence);
    if !heard.contains(&asked) {
        out.push(format!("asked at {asked}: {heard}"));
    }
    let window = if second_window { "RX2" } else { "RX1" };
    let timely = scene::words(&ladder[Rung::Timely].evidence);
    if !timely.contains(window) {
        out.push(format!("in {window}: {timely}"));
    }
    out
}

#[test]
fn a_healthy_join_is_proven_in_every_plan() {
    let mut wrong = Vec::new();
    let mut joins = 0;
    assert_eq!(Plan::all().len(), 17);
    for plan in Plan::all() {
        for version in VERSIONS {
            for rate in join_rates(plan) {
                for second_window in [false, true] {
                    joins += 1;
                    let found = faults(plan, version, rate, second_window);
                    if !found.is_empty() {
                        let what = format!("{} {} DR{rate}", plan.name, version.name());
                        wrong.push(format!("{what}, RX2 {second_window}: {found:?}"));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} of {joins}:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn every_join_data_rate_of_every_plan_is_tried() {
    for plan in Plan::all() {
        assert_eq!(join_rates(plan), plan.join.data_rates, "{}", plan.name);
    }
}
