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

#[test]
fn fresh_credentials_are_the_same_in_every_form_and_new_each_time() {
    let at = directory("new");
    let args = ["roster", "new", "probe 09", "probe-10", "--output", "spring", "--region", "EU868"];
    let output = handfast(&at, &args);
    assert_eq!((output.status.code(), output.stdout.len()), (Some(0), 0), "{}", error(&output));
    let said = error(&output);
    let text = fs::read_to_string(at.join("spring/roster.toml")).unwrap();
    let keys: Vec<&str> = text.lines().filter_map(|l| l.strip_prefix("app-key = ")).collect();
    assert_eq!(keys.len(), 4, "{text}");
    // Firmware and record agree, and the nodes do not.
    assert!(keys[0] == keys[1] && keys[2] == keys[3] && keys[0] != keys[2]);
    assert!(!keys.iter().any(|key| said.contains(key.trim_matches('"'))), "{said}");
    #[cfg(unix)]
    for file in ["roster.toml", "records.csv", "labels.txt", "probe-09.h", "probe-10.h"] {
        assert_eq!(mode(&at.join("spring").join(file)), 0o600, "{file}");
    }
    // The forms are held against each other, the header and the table beside the roster.
    let compared = handfast(
        &at,
        &[
            "compare",
            "--json",
            "--roster",
            "spring/roster.toml",
            "--label",
            "spring/labels.txt",
            "--records",
            "spring/records.csv",
            "--firmware",
            "spring/probe-09.h",
            "--firmware",
            "spring/probe-10.h",
        ],
    );
    let told = String::from_utf8_lossy(&compared.stdout).into_owned();
    assert_eq!((compared.status.code(), told.lines().count()), (Some(0), 2), "{told}");
    // A record that says something else is none that the roster has.
    let csv = fs::read_to_string(at.join("spring/records.csv")).unwrap();
    let other = csv.replace(keys[0].trim_matches('"'), KEY);
    assert_ne!(csv, other);
    fs::write(at.join("other.csv"), other).unwrap();
    let args_of = ["compare", "--roster", "spring/roster.toml", "--records", "other.csv"];
    assert_eq!(handfast(&at, &args_of).status.code(), Some(1));
    // Nothing is replaced, and what another run finds in its way stays as it is.
    let again = handfast(&at, &args);
    assert_eq!(again.status.code(), Some(2));
    assert!(error(&again).contains("is there already"), "{}", error(&again));
    assert_eq!(fs::read_to_string(at.join("spring/roster.toml")).unwrap(), text);
    let other = handfast(&at, &["roster", "new", "probe 09", "--output", "other"]);
    assert_eq!(other.status.code(), Some(0), "{}", error(&other));
    let other = fs::read_to_string(at.join("other/roster.toml")).unwrap();
    assert!(!keys.iter().any(|key| other.contains(key)));
}

#[test]
fn what_is_given_for_fresh_credentials_is_kept() {
    let at = directory("new-given");
    let args = [
        "roster",
        "new",
        "probe-09",
        "--output",
        "own",
        "--dev-eui-prefix",
        "02-00-00-FF-FE",
        "--join-eui",
        "020000fffe00ffff",
        "--mac-version",
        "1.1",
        "--byte-order",
        "msb",
    ];
    let output = handfast(&at, &args);
    assert_eq!(output.status.code(), Some(0), "{}", error(&output));
    let text = fs::read_to_string(at.join("own/roster.toml")).unwrap();
    assert_eq!(text.matches("dev-eui = \"020000fffe").count(), 2, "{text}");
    assert_eq!(text.matches("join-eui = \"020000fffe00ffff\"").count(), 2, "{text}");
    assert_eq!(text.matches("nwk-key = ").count(), 2, "{text}");
    let header = fs::read_to_string(at.join("own/probe-09.h")).unwrap();
    let wanted = "JOINEUI_MSB[8] = { 0x02, 0x00, 0x00, 0xFF, 0xFE, 0x00, 0xFF, 0xFF };";
    assert!(header.contains(wanted), "{header}");
    for wrong in [
        &["--dev-eui-prefix", "020000FFFE0012"][..],
        &["--dev-eui-prefix", "2"],
        &["--join-eui", "02"],
        &["--byte-order", "middle"],
    ] {
        let args = [&["roster", "new", "probe-11", "--output", "none"][..], wrong].concat();
        assert_eq!(handfast(&at, &args).status.code(), Some(2), "{wrong:?}");
    }
    // Two names that make one file.
    let output = handfast(&at, &["roster", "new", "a b", "a-b", "--output", "none"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(!at.join("none").exists());
}

/// Some editors and redirections write two bytes a character, and a mark before them.
#[test]
fn every_text_file_is_read_in_utf_16_as_in_utf_8() {
    let at = directory("wide");
    let key = format!("{KEY}\r\n");
    let roster = "[[node]]\r\nname = \"pear-row-3\"\r\n[node.record]\r\n\
        dev-eui = \"020000fffe001207\"\r\njoin-eui = \"020000fffe00ffff\"\r\napp-key-file = \"row.key\"\r\n";
    let mut said = Vec::new();
    for mark in ["", "\u{FEFF}"] {
        let encodings: [fn(&str) -> Vec<u8>; 3] = [little, big, |text| text.as_bytes().to_vec()];
        for encode in encodings {
            let files = [("probe.h", HEADER), ("row.key", key.as_str()), ("r.toml", roster)];
            for (name, text) in files {
                fs::write(at.join(name), encode(&format!("{mark}{text}"))).unwrap();
            }
            let compared =
                handfast(&at, &["compare", "--roster", "r.toml", "--firmware", "probe.h"]);
            assert_eq!(compared.status.code(), Some(0), "{}", error(&compared));
            said.push(compared.stdout);
        }
    }
    assert!(!said[0].is_empty());
    assert!(said.iter().all(|one| *one == said[0]), "{said:?}");
}

fn little(text: &str) -> Vec<u8> {
    text.encode_utf16().flat_map(u16::to_le_bytes).collect()
}

fn big(text: &str) -> Vec<u8> {
    text.encode_utf16().flat_map(u16::to_be_bytes).collect()
}
