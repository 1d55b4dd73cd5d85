//! The usual comforts: help with examples, completions, manual pages, the version.

use std::{
    fs,
    io::Write,
    process::{Command, Output, Stdio},
};

use handfast::{frame::MacVersion, program as cli, region::Revision};

fn handfast(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_handfast")).args(args).output().unwrap()
}

fn text(args: &[&str]) -> String {
    let run = handfast(args);
    assert_eq!(run.status.code(), Some(0), "{args:?}");
    String::from_utf8(run.stdout).unwrap()
}

fn commands() -> Vec<String> {
    let names = cli::definition();
    names.get_subcommands().map(|command| command.get_name().to_owned()).collect()
}

/// Runs another program on a text, where there is one: exit status and standard error.
fn other(program: &str, args: &[&str], input: &str) -> Option<(Option<i32>, String)> {
    let mut child = Command::new(program)
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .ok()?;
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let out = child.wait_with_output().unwrap();
    Some((out.status.code(), String::from_utf8_lossy(&out.stderr).into_owned()))
}

/// The words of an example: quotes gone, and what a shell or a reader takes from it.
fn words(example: &str) -> Vec<String> {
    let (mut words, mut word, mut quote) = (Vec::new(), String::new(), None);
    for c in format!("{example} ").chars() {
        match quote {
            Some(q) if c == q => quote = None,
            None if matches!(c, '\'' | '"') => quote = Some(c),
            None if c == ' ' => {
                if !word.is_empty() {
                    words.push(std::mem::take(&mut word));
                }
            }
            _ => word.push(c),
        }
    }
    let end = words.iter().position(|w| matches!(w.as_str(), ">" | "|" | "<"));
    words.truncate(end.unwrap_or(words.len()));
    words
}

#[test]
fn every_command_has_help_with_examples_that_parse() {
    for command in commands() {
        for flag in ["-h", "--help"] {
            let help = text(&[&command, flag]);
            for line in help.lines() {
                assert!(line.chars().count() <= 80, "{command}: {line}");
            }
        }
        let help = text(&[&command, "--help"]).replace("\\\n", " ");
        assert!(help.contains("Exit status"), "{command}");
        let (_, examples) = help.split_once("\nExamples:\n").expect(&command);
        let lines = examples.lines().take_while(|line| line.starts_with("  "));
        let mut seen = 0;
        for line in lines.filter(|line| line.starts_with("  handfast ")) {
            // What stands far to the right is said to the reader.
            let example = line.trim().split("   ").next().unwrap();
            let parsed = cli::definition().try_get_matches_from(words(example));
            assert!(parsed.is_ok(), "{example}: {}", parsed.unwrap_err());
            seen += 1;
        }
        assert!(seen > 0, "{command}");
    }
}

#[test]
fn every_shell_gets_completions_of_every_command() {
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = text(&["completions", shell]);
        for command in commands() {
            assert!(script.contains(&command), "{shell}: {command}");
        }
        assert!(script.contains("--join-nonce") || script.contains("join-nonce"), "{shell}");
    }
    for shell in ["bash", "fish", "zsh"] {
        let script = text(&["completions", shell]);
        if let Some((status, said)) = other(shell, &["-n"], &script) {
            assert_eq!((status, said.as_str()), (Some(0), ""), "{shell}");
        }
    }
    assert_eq!(handfast(&["completions", "none"]).status.code(), Some(2));
}

#[test]
fn bash_completes_a_command() {
    let ask = "\nCOMP_WORDS=(handfast les); COMP_CWORD=1; _handfast handfast les handfast\n\
               [[ ${COMPREPLY[*]} == lesson ]] || { echo \"${COMPREPLY[*]}\" >&2; exit 1; }\n";
    if let Some(ran) = other("bash", &["--norc"], &(text(&["completions", "bash"]) + ask)) {
        assert_eq!(ran, (Some(0), String::new()));
    }
}

#[test]
fn a_manual_page_is_whole() {
    let folder = std::env::temp_dir().join(format!("handfast-man-{}", std::process::id()));
    let dir = folder.to_str().unwrap();
    assert_eq!(handfast(&["man", "--dir", dir]).status.code(), Some(0));
    let mut pages = vec![("handfast".to_owned(), text(&["man"]))];
    for command in commands() {
        pages.push((format!("handfast-{command}"), text(&["man", &command])));
    }
    for (name, page) in &pages {
        assert_eq!(&fs::read_to_string(folder.join(format!("{name}.1"))).unwrap(), page);
        assert!(page.contains(&format!(".TH {name} 1")), "{name}");
        for part in [".SH NAME", ".SH SYNOPSIS", ".SH DESCRIPTION", ".SH OPTIONS"] {
            assert_eq!(page.matches(part).count(), 1, "{name}: {part}");
        }
        if name != "handfast" {
            assert!(page.contains("\n.SH EXAMPLES\n.nf\n"), "{name}");
        }
        if let Some((status, said)) = other("groff", &["-man", "-Tutf8", "-ww", "-z"], page) {
            assert_eq!((status, said.as_str()), (Some(0), ""), "{name}");
        }
    }
    assert_eq!(fs::read_dir(&folder).unwrap().count(), pages.len());
    fs::remove_dir_all(&folder).unwrap();
    assert_eq!(handfast(&["man", "nothing"]).status.code(), Some(2));
    assert_eq!(handfast(&["man", "--dir", "Cargo.toml/no"]).status.code(), Some(2));
}

#[test]
fn the_version_names_the_standards_that_are_known() {
    let long = text(&["--version"]);
    assert!(long.starts_with(concat!("handfast ", env!("CARGO_PKG_VERSION"), "\n")));
    for version in MacVersion::ALL {
        assert!(long.contains(version.name()), "{}", version.name());
    }
    for revision in Revision::ALL {
        assert!(long.contains(revision.name()), "{revision}");
    }
    assert!(long.lines().all(|line| line.chars().count() <= 80), "{long}");
    assert_eq!(text(&["-V"]), concat!("handfast ", env!("CARGO_PKG_VERSION"), "\n"));
}
