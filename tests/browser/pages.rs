//! Reports to look at, made once.

use std::{
    path::{Path, PathBuf},
    process::Command,
    sync::OnceLock,
};

use handfast::{
    region::Plan,
    scenario::{Mistake, Probe, Scene},
};

/// A name that would run if it were not escaped.
pub(crate) const HOSTILE_NAME: &str =
    "<script>window.pwned=1</script><img src=x onerror=window.pwned=2>\"'><b>pear & plum";

fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

fn report(name: &str, args: &[&str]) -> PathBuf {
    let file = folder().join(format!("{name}.html"));
    let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .arg("diagnose")
        .args(args)
        .arg("--report")
        .arg(&file)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&run.stderr).into_owned();
    assert!(matches!(run.status.code(), Some(0 | 1)), "{said}");
    file
}

/// The orchard.
pub(crate) fn demo() -> PathBuf {
    static MADE: OnceLock<PathBuf> = OnceLock::new();
    MADE.get_or_init(|| report("demo", &["--demo"])).clone()
}

/// The orchard, with its keys.
pub(crate) fn with_keys() -> PathBuf {
    static MADE: OnceLock<PathBuf> = OnceLock::new();
    MADE.get_or_init(|| report("with-keys", &["--demo", "--show-keys"])).clone()
}

/// A roster whose every text would be markup.
pub(crate) fn hostile() -> PathBuf {
    static MADE: OnceLock<PathBuf> = OnceLock::new();
    MADE.get_or_init(|| {
        let name = HOSTILE_NAME.replace('"', "\\\"");
        let long = "long".repeat(60);
        let roster = handfast::demo::ROSTER
            .replace("\"probe-02\"", &format!("\"{name}\""))
            .replace("\"probe-03\"", &format!("\"{long}\""))
            .replace("name = \"barn\"", &format!("name = \"{name}\""))
            .replacen("last-dev-nonce", "log = [\"</script><b>x</b>\"]\nlast-dev-nonce", 1);
        played("hostile", handfast::demo::CAPTURE, &roster)
    })
    .clone()
}

/// A node of a plan with 72 channels, which asks on the wrong sub-band.
pub(crate) fn fixed_plan() -> PathBuf {
    static MADE: OnceLock<PathBuf> = OnceLock::new();
    MADE.get_or_init(|| {
        let plan = Plan::by_name("US915").unwrap();
        let probe = |name: &str, at, mistakes| Probe {
            attempts: 6,
            asks_at_s: at,
            mistakes,
            ..Probe::new(name)
        };
        let probes = vec![
            Probe { uplinks: 30, ..probe("row-1", 0, vec![]) },
            probe("row-2", 20, vec![Mistake::DataDelay]),
        ];
        let recording = Scene { gateways: 2, probes, ..Scene::new(5, plan) }.play();
        played("fixed-plan", &recording.capture, &recording.roster)
    })
    .clone()
}

fn played(name: &str, capture: &str, roster: &str) -> PathBuf {
    let capture_file = folder().join(format!("{name}.ndjson"));
    let roster_file = folder().join(format!("{name}.toml"));
    std::fs::write(&capture_file, capture).unwrap();
    std::fs::write(&roster_file, roster).unwrap();
    let (capture, roster) = (capture_file.to_str().unwrap(), roster_file.to_str().unwrap());
    report(name, &[capture, "--roster", roster, "--digits", "1"])
}

/// How often some octets stand in others.
pub(crate) fn count(within: &[u8], what: &[u8]) -> usize {
    within.windows(what.len()).filter(|window| *window == what).count()
}
