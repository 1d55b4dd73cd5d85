//! Every folder of `vectors/join`: a capture and a roster, and what the ladder must say of them.
//!
//! The folders are synthetic re-creations of faults that people report in public; every MIC and
//! figure in them was recomputed by two independent scripts. `expected.json` states the cause, the
//! outcome and the first broken rung.

#![expect(clippy::print_stdout, reason = "the test prints what it does not cover")]

use std::{
    fs,
    path::{Path, PathBuf},
};

use handfast::{
    intake::{Capture, Item},
    ladder::{Diagnosis, Ladder, Options, Rungs, diagnose},
    roster::{self, Roster},
    trace::Tracer,
};
use serde_json::Value;

/// Cases whose cause is not told yet. This list can only shrink.
const NOT_YET: [&str; 0] = [];

fn folders() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/join");
    let mut out: Vec<PathBuf> = fs::read_dir(root)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_dir())
        .collect();
    out.sort();
    out
}

fn run(folder: &Path) -> Vec<Diagnosis> {
    let roster: Roster = roster::read_file(&folder.join("roster.toml")).unwrap();
    let mut tracer = Tracer::new(&roster);
    let file = fs::File::open(folder.join("capture.ndjson")).unwrap();
    for item in Capture::new(file) {
        match item.unwrap() {
            Item::Event(event) => tracer.push(event),
            other @ Item::PassedOver(_) => panic!("{}: {other:?}", folder.display()),
        }
    }
    diagnose(&tracer.finish(), &roster, Options::default())
}

/// What differs from the expectation, one line each.
fn differences(folder: &Path) -> Vec<String> {
    let expected: Value =
        serde_json::from_str(&fs::read_to_string(folder.join("expected.json")).unwrap()).unwrap();
    let name = expected["id"].as_str().unwrap();
    assert_eq!(Some(name), folder.file_name().and_then(|n| n.to_str()));
    let all = run(folder);
    let node = all.iter().find(|d| d.name.as_deref() == Some(name)).expect("the node is listed");
    let mut out = Vec::new();
    if let Some(outcome) = expected["outcome"].as_str()
        && outcome != node.outcome.name()
    {
        out.push(format!("outcome {} instead of {outcome}", node.outcome.name()));
    }
    // The cases speak of the join ladder.
    let broken = node.join.as_ref().and_then(Ladder::first_broken).map(Rungs::name);
    let mut lawful = vec![expected["first_broken_rung"].as_str()];
    let others = expected["rung_alternatives"].as_array();
    lawful.extend(others.into_iter().flatten().map(Value::as_str));
    if !lawful.contains(&broken) {
        out.push(format!("first broken rung {broken:?} instead of {lawful:?}"));
    }
    let causes: Vec<&str> = node.causes.iter().map(|v| v.cause.id.name()).collect();
    let wanted = expected["cause"].as_str().unwrap();
    let mut right: Vec<&str> = if wanted == "no-fault" { vec![] } else { vec![wanted] };
    right.extend(expected["second_cause"].as_str());
    if causes != right {
        out.push(format!("causes {causes:?} instead of {right:?}"));
    }
    let text = node.causes.iter().map(|v| v.summary.to_string().to_lowercase()).collect::<String>();
    for word in expected["must_not_say"].as_array().into_iter().flatten() {
        let word = word.as_str().unwrap().to_lowercase();
        if text.contains(&word) {
            out.push(format!("says \"{word}\""));
        }
    }
    out
}

#[test]
fn every_case_gets_its_verdict() {
    let mut wrong = Vec::new();
    let mut mended = Vec::new();
    let all = folders();
    assert!(all.len() >= 41, "only {} folders", all.len());
    for folder in &all {
        let name = folder.file_name().unwrap().to_str().unwrap().to_owned();
        let found = differences(folder);
        let not_yet = NOT_YET.contains(&name.as_str());
        match (found.is_empty(), not_yet) {
            (false, false) => wrong.push(format!("{name}: {}", found.join("; "))),
            (true, true) => mended.push(name),
            _ => {}
        }
    }
    println!("{} cases, {} not yet covered: {NOT_YET:?}", all.len(), NOT_YET.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(mended.is_empty(), "now covered, take them off the list: {mended:?}");
}
