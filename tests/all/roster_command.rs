//! `handfast roster`: claims from where they are, in one roster that the other commands read.

use std::{
    fs,
    path::{Path, PathBuf},
    process::{Command, Output},
};

/// A directory of one test.
fn directory(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("roster-command-{name}"));
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).unwrap();
    path
}

fn handfast(directory: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_handfast")).args(args).current_dir(directory).output().unwrap()
}

fn error(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).split_whitespace().collect::<Vec<_>>().join(" ")
}

const KEY: &str = "5a0c11d2e37f4b8896a1c0deface0147";
const RECORDS: &str = "Name,DevEUI,JoinEUI,AppKey\n\
    pear-row-3,020000FFFE001207,020000FFFE00FFFF,5A0C11D2E37F4B8896A1C0DEFACE0147\n";
const HEADER: &str = "static const uint8_t DEVEUI[8] = \
    { 0x07, 0x12, 0x00, 0xFE, 0xFF, 0x00, 0x00, 0x02 };\n\
    #define APPKEY \"5A0C11D2E37F4B8896A1C0DEFACE0147\"\n";

#[cfg(unix)]
fn mode(path: &Path) -> u32 {
    use std::os::unix::fs::PermissionsExt as _;
    fs::metadata(path).unwrap().permissions().mode() & 0o777
}

#[test]
fn a_roster_of_exports_and_sources_is_one_that_compare_reads() {
    let at = directory("whole");
    fs::write(at.join("records.csv"), RECORDS).unwrap();
    fs::write(at.join("probe.h"), HEADER).unwrap();
    let args = ["roster", "--records", "records.csv", "--firmware", "probe.h", "--region", "EU868"];
    let args = [&args[..], &["--output", "orchard.toml"]].concat();
    let output = handfast(&at, &args);
    assert_eq!((output.status.code(), output.stdout.len()), (Some(0), 0), "{}", error(&output));
    // What was taken from where; the record says the order of the firmware's bytes.
    let said = error(&output);
    assert!(said.contains("lsb first: as another place has it"), "{said}");
    assert!(!said.to_lowercase().contains(KEY), "{said}");
    let text = fs::read_to_string(at.join("orchard.toml")).unwrap();
    assert_eq!(text.matches(KEY).count(), 2, "{text}");
    assert_eq!(text.matches("dev-eui = \"020000fffe001207\"").count(), 2, "{text}");
    #[cfg(unix)]
    assert_eq!(mode(&at.join("orchard.toml")), 0o600);
    let compared = handfast(&at, &["compare", "--roster", "orchard.toml"]);
    assert_eq!(compared.status.code(), Some(0), "{}", error(&compared));
    // It is never replaced.
    let again = handfast(&at, &args);
    assert_eq!(again.status.code(), Some(2));
    assert!(error(&again).contains("orchard.toml is there already"), "{}", error(&again));
    assert_eq!(fs::read_to_string(at.join("orchard.toml")).unwrap(), text);
}

#[test]
fn keys_go_to_files_of_their_own() {
    let at = directory("keys");
    fs::write(at.join("records.csv"), RECORDS).unwrap();
    let args = ["roster", "--records", "records.csv", "--key-files", "keys", "--output", "o.toml"];
    let output = handfast(&at, &args);
    assert_eq!(output.status.code(), Some(0), "{}", error(&output));
    let text = fs::read_to_string(at.join("o.toml")).unwrap();
    assert!(text.contains("app-key-file = \"keys/1-pear-row-3-record-app-key.key\""), "{text}");
    assert!(!text.contains(KEY));
    let key = at.join("keys/1-pear-row-3-record-app-key.key");
    assert_eq!(fs::read_to_string(&key).unwrap(), format!("{KEY}\n"));
    #[cfg(unix)]
    assert_eq!((mode(&key), mode(&at.join("keys"))), (0o600, 0o700));
    let compared = handfast(&at, &["compare", "--roster", "o.toml"]);
    assert_eq!((compared.status.code(), error(&compared).as_str()), (Some(0), ""));
    // A key file that is there stays, and no half a roster is left beside it.
    fs::remove_file(at.join("o.toml")).unwrap();
    assert_eq!(handfast(&at, &args).status.code(), Some(2));
    assert!(key.exists() && !at.join("o.toml").exists());
}

#[test]
fn a_byte_order_that_nothing_says_is_not_guessed() {
    let at = directory("order");
    fs::write(at.join("probe.h"), HEADER).unwrap();
    let args = ["roster", "--firmware", "probe.h", "--output", "open.toml"];
    let output = handfast(&at, &args);
    let said = error(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("nothing says in which order its bytes are"), "{said}");
    let text = fs::read_to_string(at.join("open.toml")).unwrap();
    assert!(!text.contains("dev-eui = "), "{text}");
    assert!(text.contains("# dev-eui: stated, and not taken"), "{text}");
    let args = ["roster", "--firmware", "probe.h", "--byte-order", "lsb", "--output", "said.toml"];
    let output = handfast(&at, &args);
    assert_eq!(output.status.code(), Some(0), "{}", error(&output));
    let text = fs::read_to_string(at.join("said.toml")).unwrap();
    assert!(text.contains("dev-eui = \"020000fffe001207\""), "{text}");
}

#[test]
fn nothing_taken_is_an_error_that_says_what_was_looked_for() {
    let at = directory("nothing");
    fs::write(at.join("main.c"), "int main(void) { return 0; }\n").unwrap();
    let output = handfast(&at, &["roster", "--firmware", "main.c", "--output", "o.toml"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(error(&output).contains("nothing taken: looked for"), "{}", error(&output));
    assert!(!at.join("o.toml").exists());
}
