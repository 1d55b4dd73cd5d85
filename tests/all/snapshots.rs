//! What every command prints, at 80 columns, with and without colour: read by people, kept in files.
//!
//! `INSTA_UPDATE=always cargo test --test snapshots` writes the files anew; read what `git diff` says
//! of them as a user would.

use std::{collections::BTreeSet, fs, path::Path, process::Command};

use handfast::program as cli;

/// Its name, its arguments, its exit status.
type Case = (&'static str, &'static str, i32);

const DEMO: &str = "src/demo/orchard.ndjson";

/// One row a screen. `DEMO` stands for the demonstration's capture.
const CASES: &[Case] = &[
    ("help", "--help", 0),
    ("short-help", "", 0),
    ("version", "--version", 0),
    ("diagnose", "diagnose --demo", 1),
    ("diagnose-summary", "diagnose --demo --summary", 1),
    ("diagnose-without-keys", "diagnose DEMO --region EU868", 1),
    ("explain", "explain", 0),
    ("explain-cause", "explain app-key-typed-wrong", 0),
    ("explain-cannot-tell", "explain cannot-tell", 0),
    ("read-join-request", "read 0001000BFEFF0000023C2B1AFEFF00000202012E269CF5", 0),
    (
        "read-join-request-checked",
        "read 0001000BFEFF0000023C2B1AFEFF00000202012E269CF5 --app-key-env ORCHARD_KEY",
        1,
    ),
    ("read-data", "read 40DABB0102800200022721029DAEAF9EE9", 0),
    ("read-cut", "read 40DABB010280", 2),
    ("read-capture", "read DEMO --roster src/demo/orchard.toml", 1),
    (
        "compose",
        "compose unconfirmed-data-up --dev-addr 0201BBDA --fcnt 7 --nwk-s-key-env ORCHARD_KEY",
        0,
    ),
    ("roster", "roster --help", 0),
    ("compare", "compare --roster src/demo/orchard.toml", 1),
    (
        "compare-firmware",
        "compare --firmware vectors/compare/probes.h --records vectors/compare/records.csv",
        0,
    ),
    ("keys", "keys --join-nonce 5 --net-id 000001 --dev-nonce 7 --app-key-env ORCHARD_KEY", 0),
    ("plans", "plan", 0),
    ("plan-eu868", "plan EU868", 0),
    ("plan-us915", "plan US915", 0),
    ("plan-as923", "plan AS923-2", 0),
    ("plan-at", "plan --at 868.1", 0),
    ("plan-mask", "plan AU915 --mask 8-15,65", 0),
    ("airtime", "airtime SF12BW125 --size 23", 0),
    ("airtime-region", "airtime --region US915 --dr 0 --size 33", 0),
    ("airtime-capture", "airtime --capture DEMO --region EU868", 0),
    ("beacon", "beacon 0000000002cca27e00012000008103de55", 0),
    (
        "beacon-ping",
        "beacon 0000000002cca27e00012000008103de55 --region EU868 --dev-addr 0201BBDA --periodicity 4",
        0,
    ),
    ("id-dev-addr", "id 0201BBDA", 0),
    ("id-net-id", "id 000001", 0),
    ("id-eui", "id 02-00-00-FF-FE-1A-2B-3C", 0),
    ("lesson-1", "lesson --seed 7 --level 1", 0),
    ("lesson-2", "lesson --seed 7 --level 2", 0),
    ("lesson-3", "lesson --seed 7 --level 3", 0),
    ("lesson-answers", "lesson --seed 7 --level 3 --answers", 0),
    ("lesson-check", "lesson --check tests/snapshots/lesson-filled-in.txt", 1),
];

/// Commands without a screen here: scripts and pages, which `tests/comforts.rs` looks at, and what
/// stands at a socket and has tests of its own.
const ELSEWHERE: [&str; 3] = ["completions", "man", "tap"];

struct Screen {
    out: String,
    err: String,
    exit: Option<i32>,
}

fn run(args: &str, colour: &str) -> Screen {
    let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(args.split_whitespace().map(|arg| if arg == "DEMO" { DEMO } else { arg }))
        .args(["--color", colour])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env_remove("NO_COLOR")
        .env("ORCHARD_KEY", "4BFD96BCE7BDA8054D563C80486C0390")
        .output()
        .unwrap();
    let text = |octets: Vec<u8>| String::from_utf8(octets).unwrap();
    Screen { out: text(run.stdout), err: text(run.stderr), exit: run.status.code() }
}

/// A text without the escapes that colour it.
fn bare(text: &str) -> String {
    let mut parts = text.split('\x1b');
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (escape, rest) = part.split_once('m').expect("an escape ends in m");
        assert!(escape.starts_with('['), "no escape of colour: {escape:?}");
        out.push_str(rest);
    }
    out
}

#[test]
fn every_screen_is_as_kept_fits_and_needs_no_colour() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/snapshots");
    let mut settings = insta::Settings::clone_current();
    settings.set_prepend_module_to_snapshot(false);
    settings.set_snapshot_path(folder);
    settings.set_omit_expression(true);
    settings.bind(|| {
        for (name, args, exit) in CASES {
            let (plain, painted) = (run(args, "never"), run(args, "always"));
            assert_eq!(plain.exit, Some(*exit), "{name}: {}", plain.err);
            assert_eq!(painted.exit, plain.exit, "{name}");
            for line in plain.out.lines().chain(plain.err.lines()) {
                assert!(line.chars().count() <= 80, "{name}: {line}");
                assert!(!line.contains('\x1b'), "{name}: {line:?}");
                assert!(line.trim_end() == line, "{name}: blanks at the end of {line:?}");
            }
            assert!(!plain.err.contains('\x1b'), "{name}");
            let without = bare(&painted.out);
            for (painted, plain) in without.lines().zip(plain.out.lines()) {
                assert_eq!(painted, plain, "{name}: colour changes the text");
            }
            assert_eq!(without.len(), plain.out.len(), "{name}: colour changes the text");
            let mut shown = format!("$ handfast {args}\n{}", plain.out);
            if !plain.err.is_empty() {
                shown.extend(["-- standard error\n", plain.err.as_str()]);
            }
            insta::assert_snapshot!(*name, shown);
            if painted.out != plain.out {
                let visible = painted.out.replace('\x1b', "\u{241b}");
                insta::assert_snapshot!(format!("{name}.colour"), visible);
            }
        }
    });
}

#[test]
fn every_command_has_a_screen_and_every_file_a_case() {
    let used: BTreeSet<&str> =
        CASES.iter().filter_map(|(_, args, _)| args.split(' ').next()).collect();
    for command in cli::definition().get_subcommands() {
        let name = command.get_name();
        assert!(used.contains(name) != ELSEWHERE.contains(&name), "{name}");
    }
    for file in fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/snapshots")).unwrap()
    {
        let name = file.unwrap().file_name().into_string().unwrap();
        let Some(stem) = name.strip_suffix(".snap") else {
            assert_eq!(name, "lesson-filled-in.txt");
            continue;
        };
        let stem = stem.strip_suffix(".colour").unwrap_or(stem);
        assert!(CASES.iter().any(|(own, ..)| *own == stem), "{name} belongs to no case");
    }
}

#[test]
fn no_color_is_respected() {
    for (args, wanted) in [(["id", "0201BBDA"], ""), (["id", "0201BBDA"], "1")] {
        let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
            .args(args)
            .env("NO_COLOR", wanted)
            .output()
            .unwrap();
        assert!(!run.stdout.contains(&0x1b));
    }
}
