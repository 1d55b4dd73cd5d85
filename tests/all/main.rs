//! All tests that need nothing but the library and its binary: one crate, so that they build once.

mod agree;
mod airtime;
mod beacon;
mod beacon_command;
mod bounds;
mod captures;
mod cause_pairs;
mod clocks;
mod comforts;
mod commands;
mod common;
mod compare;
mod compose;
mod compose_command;
mod confusion;
mod consoles;
mod copies;
mod cut_logs;
mod demo;
mod false_alarms;
mod firmware;
mod fleet;
mod formats;
mod frame_properties;
mod gateway_leg;
mod hostile;
mod hosts;
mod imports;
mod intake;
mod join_cases;
mod keys_command;
mod lesson;
mod line_cost;
mod logs;
mod long;
mod lower_rungs;
mod near_miss;
mod own_look;
mod own_ways;
mod packages;
mod pastes;
mod plain_words;
mod plan_report;
mod plans_join;
mod radio;
mod read_capture;
mod read_command;
mod read_lesson;
mod read_text;
mod reading;
mod readme;
mod record_table;
mod recordings;
mod recordings_command;
mod region_rules;
mod region_tables;
mod report;
mod roster;
mod roster_command;
mod safe;
mod selection;
mod siblings;
mod snapshots;
mod station;
mod stream_sessions;
mod support;
mod tap;
mod trace;
mod vectors;
mod verdict_words;
mod why;
mod words;
mod working;
mod working_command;

/// Cargo finds no test by itself here, and a file without its line would never run.
#[test]
fn every_file_of_tests_is_part_of_a_crate() {
    let tests = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let sources = |folder: &std::path::Path| -> Vec<String> {
        let entries = std::fs::read_dir(folder).unwrap();
        let names = entries.map(|e| e.unwrap().file_name().into_string().unwrap());
        names.filter_map(|name| name.strip_suffix(".rs").map(str::to_owned)).collect()
    };
    assert_eq!(sources(&tests), [""; 0], "a test is a module of tests/all");
    let main = include_str!("main.rs");
    for name in sources(&tests.join("all")).iter().filter(|name| *name != "main") {
        assert!(main.contains(&format!("\nmod {name};\n")), "{name}.rs has no line in main.rs");
    }
}
