//! The README tells the truth: its blocks of output are what the program prints, its commands run.

use std::{fmt::Write, fs, path::Path, process::Command};

fn readme() -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap()
}

fn handfast(args: &[&str]) -> (String, Option<i32>) {
    handfast_with(args, &[])
}

fn handfast_with(args: &[&str], variables: &[(String, String)]) -> (String, Option<i32>) {
    let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("NO_COLOR", "1")
        .envs(variables.iter().map(|(name, value)| (name, value)))
        .env("ORCHARD_KEY", "4BFD96BCE7BDA8054D563C80486C0390")
        .output()
        .unwrap();
    (String::from_utf8(run.stdout).unwrap(), run.status.code())
}

/// Returns the text with every block of `console` as it is printed now: what follows each of its
/// lines `$ handfast ...` is the program's output, `$ export NAME=VALUE` holds for the lines below.
fn regenerated(text: &str) -> (String, usize) {
    let (mut out, mut runs) = (String::new(), 0);
    let mut variables: Vec<(String, String)> = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        match line {
            "```console" => inside = true,
            "```" => inside = false,
            _ if !inside => {}
            _ => {
                let Some(command) = line.strip_prefix("$ ") else { continue };
                writeln!(out, "{line}").unwrap();
                if let Some(variable) = command.strip_prefix("export ") {
                    let (name, value) = variable.split_once('=').unwrap();
                    variables.push((name.to_owned(), value.to_owned()));
                    continue;
                }
                let args = command.strip_prefix("handfast ").expect(command);
                let args: Vec<&str> = args.split_whitespace().collect();
                let (shown, exit) = handfast_with(&args, &variables);
                assert!(matches!(exit, Some(0 | 1)), "{command}: exit {exit:?}");
                out.push_str(&shown);
                runs += 1;
                continue;
            }
        }
        writeln!(out, "{line}").unwrap();
    }
    (out, runs)
}

/// `UPDATE_README=1 cargo test --test readme` writes the blocks anew; read what `git diff` says.
#[test]
fn every_block_of_output_is_what_the_program_prints() {
    let text = readme();
    let (now, runs) = regenerated(&text);
    assert!(runs >= 5, "{runs} commands");
    if std::env::var_os("UPDATE_README").is_some() {
        fs::write(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md"), now).unwrap();
        return;
    }
    for (kept, now) in text.lines().zip(now.lines()) {
        assert_eq!(kept, now, "README: UPDATE_README=1 cargo test --test readme");
    }
    assert_eq!(text, now);
}

#[test]
fn the_anchors_and_files_that_are_linked_exist() {
    let text = readme();
    let anchor = |title: &str| title.to_lowercase().replace(' ', "-").replace(['\'', ','], "");
    let headings: Vec<String> = text
        .lines()
        .filter(|l| l.starts_with('#'))
        .map(|l| anchor(l.trim_matches(['#', ' '])))
        .collect();
    for link in text.split("](").skip(1).map(|rest| rest.split(')').next().unwrap()) {
        match link.strip_prefix('#') {
            Some(name) => assert!(headings.iter().any(|h| h == name), "{link}"),
            None => assert!(Path::new(env!("CARGO_MANIFEST_DIR")).join(link).exists(), "{link}"),
        }
    }
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
