//! The README tells the truth: its blocks of output are what the program prints, its commands run.

use std::{fs, path::Path, process::Command};

fn readme() -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap()
}

fn handfast(args: &[&str]) -> (String, Option<i32>) {
    let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("NO_COLOR", "1")
        .env("ORCHARD_KEY", "4BFD96BCE7BDA8054D563C80486C0390")
        .output()
        .unwrap();
    (String::from_utf8(run.stdout).unwrap(), run.status.code())
}

/// The block of text after a heading, up to the closing fence.
fn block(after: &str) -> String {
    let text = readme();
    let (_, rest) = text.split_once(after).unwrap_or_else(|| panic!("README: no {after:?}"));
    let (_, rest) = rest.split_once("```text\n").unwrap();
    rest.split_once("```").unwrap().0.to_owned()
}

#[test]
fn the_probe_of_the_demo_reads_as_printed() {
    let (all, exit) = handfast(&["diagnose", "--demo"]);
    assert_eq!(exit, Some(1), "the demo has faults");
    let start = all.find("probe-03: ").unwrap();
    let end = all[start..].find("\n\nprobe-04: ").unwrap() + start + 1;
    assert_eq!(block("<!-- probe-03 -->"), all[start..end]);
}

#[test]
fn every_command_of_the_list_runs() {
    let text = readme();
    let (_, list) = text.split_once("<!-- commands -->").unwrap();
    let list = list.split_once("```text\n").unwrap().1.split_once("```").unwrap().0;
    let mut seen = 0;
    for line in list.lines().filter(|line| line.starts_with("handfast ")) {
        let command = line.split("  ").next().unwrap();
        let args: Vec<&str> = command.split_whitespace().skip(1).collect();
        let (out, exit) = handfast(&args);
        assert!(matches!(exit, Some(0 | 1)), "{command}: exit {exit:?}");
        assert!(!out.is_empty(), "{command}");
        assert!(line.chars().count() <= 100, "{line}");
        seen += 1;
    }
    assert!(seen >= 8, "{seen} commands");
}

#[test]
fn every_command_of_the_program_stands_in_the_readme() {
    let (help, _) = handfast(&["--help"]);
    let text = readme();
    let commands = help.lines().skip_while(|l| *l != "Commands:").skip(1);
    // A description that is broken into two lines goes on further to the right.
    let names = |l: &&str| !l.starts_with("   ");
    for line in commands.take_while(|l| !l.trim().is_empty()).filter(names) {
        let name = line.split_whitespace().next().unwrap();
        assert!(text.contains(&format!("handfast {name}")), "README says nothing of {name}");
    }
}
