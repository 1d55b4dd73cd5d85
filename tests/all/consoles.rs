//! `diagnose --console`: a node's own console beside a capture.

use std::{
    fs,
    path::{Path, PathBuf},
};

use assert_cmd::Command;

use crate::support::words::unfolded;

/// A node that opens its windows 1.4 s late; its roster holds the console's lines.
const LATE: &str = "jf-33";

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("handfast-{name}-{}", std::process::id()));
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str, text: &str) -> String {
        let path = self.0.join(name);
        fs::write(&path, text).unwrap();
        path.display().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn vector(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/join").join(LATE).join(file)
}

/// The roster without the console's lines, and the lines.
fn apart() -> (String, Vec<String>, String) {
    let text = fs::read_to_string(vector("roster.toml")).unwrap();
    let whole: toml::Table = text.parse().unwrap();
    let node = &whole["node"].as_array().unwrap()[0];
    let name = node["name"].as_str().unwrap().to_owned();
    let lines = node["firmware"]["log"].as_array().unwrap();
    let lines = lines.iter().map(|line| line.as_str().unwrap().to_owned()).collect();
    let begins = text.find("log = [").unwrap();
    let ends = begins + text[begins..].find("\n]\n").unwrap() + 3;
    let bare = format!("{}{}", &text[..begins], &text[ends..]);
    (name, lines, bare)
}

fn diagnose(args: &[&str]) -> (String, String, i32) {
    let output = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(["diagnose", "--digits", "1"])
        .arg(vector("capture.ndjson"))
        .args(args)
        .output()
        .unwrap();
    (
        String::from_utf8(output.stdout).unwrap(),
        unfolded(&String::from_utf8(output.stderr).unwrap()),
        output.status.code().unwrap(),
    )
}

#[test]
fn a_console_in_a_file_tells_what_it_tells_on_the_roster() {
    let folder = Folder::new("console");
    let (name, lines, bare) = apart();
    let roster = folder.file("roster.toml", &bare);
    let (without, ..) = diagnose(&["--roster", &roster]);
    assert!(!without.contains("node-opens-its-window-late"), "{without}");
    let whole = vector("roster.toml").display().to_string();
    let (wanted, ..) = diagnose(&["--roster", &whole]);
    assert!(wanted.contains("node-opens-its-window-late"), "{wanted}");
    // Among a thousand other lines, in the same words and in ticks.
    let noise = "heap 17 kB free\n".repeat(1_000);
    let ticks = lines.iter().map(|line| match line.split_once(" ms ") {
        Some((number, words)) => {
            let whole = number.split('.').next().unwrap();
            format!("[{whole}] {words}")
        }
        None => line.clone(),
    });
    for text in [lines.join("\n"), ticks.collect::<Vec<_>>().join("\r\n")] {
        let file = folder.file("usb.log", &format!("{noise}{text}\n"));
        let console = format!("{name}={file}");
        let (told, words, status) = diagnose(&["--roster", &roster, "--console", &console]);
        assert!(told.contains("node-opens-its-window-late"), "{told}\n{words}");
        assert_eq!(status, 1);
    }
}

#[test]
fn windows_in_time_on_another_frequency_are_told() {
    let folder = Folder::new("console-hz");
    let (name, lines, bare) = apart();
    let roster = folder.file("roster.toml", &bare);
    // The windows of the vector, moved to 5 s; it asks on 868.1 and on 868.5 MHz.
    let in_time: Vec<String> = lines
        .iter()
        .map(|line| line.replace("8587.8 ms", "7205.8 ms").replace("29596.6 ms", "28214.6 ms"))
        .collect();
    assert_ne!(in_time, lines);
    let told = |text: &str| {
        let file = folder.file("usb.log", text);
        diagnose(&["--roster", &roster, "--console", &format!("{name}={file}")]).0
    };
    let right = told(&in_time.join("\n"));
    assert!(!right.contains("node-listens-on-another-frequency"), "{right}");
    assert!(!right.contains("node-opens-its-window-late"), "{right}");
    let off =
        in_time.join("\n").replace("868.1 MHz", "867.1 MHz").replace("868.5 MHz", "867.5 MHz");
    let off = told(&off);
    assert!(off.contains("Why node-listens-on-another-frequency"), "{off}");
    let words = off.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("first window on 867.1 MHz, 867.5 MHz; RX1 of its requests is on 868.1")
    );
}

#[test]
fn a_key_on_a_console_is_never_printed() {
    let folder = Folder::new("console-key");
    let (name, lines, bare) = apart();
    let roster = folder.file("roster.toml", &bare);
    let key = "2b7e151628aed2a6abf7158809cf4f3c";
    let text: Vec<String> = lines.iter().map(|line| format!("{line} AppKey {key}")).collect();
    let file = folder.file("usb.log", &text.join("\n"));
    let (told, words, _) = diagnose(&["--roster", &roster, "--console", &format!("{name}={file}")]);
    assert!(!told.contains(key) && !words.contains(key), "{told}{words}");
}

#[test]
fn what_is_wrong_with_a_console_is_told() {
    let folder = Folder::new("console-wrong");
    let (name, _, bare) = apart();
    let roster = folder.file("roster.toml", &bare);
    let empty = folder.file("empty.log", "one\ntwo\n");
    let of = |console: &str| diagnose(&["--roster", &roster, "--console", console]);
    let (_, words, status) = of(&format!("{name}={empty}"));
    assert!(words.contains("no receive window in 2 lines"), "{words}");
    assert_ne!(status, 2);
    let near = format!("{name}x={empty}");
    let (_, words, status) = of(&near);
    assert!(words.contains(&format!("did you mean {name}?")), "{words}");
    assert!(words.contains("--console: no node"), "{words}");
    assert_eq!(status, 2);
    let (_, words, status) = of(&format!("{name}={}/none.log", folder.0.display()));
    assert!(words.contains("no such file"), "{words}");
    assert_eq!(status, 2);
    let (_, words, status) = of("usb.log");
    assert!(words.contains("probe-07=probe-07.log"), "{words}");
    assert_eq!(status, 2);
}

#[test]
fn noise_and_other_words_are_no_console() {
    let folder = Folder::new("console-noise");
    let (name, _, bare) = apart();
    let roster = folder.file("roster.toml", &bare);
    let of = |name: &str, octets: &[u8]| {
        let path = folder.0.join("usb.log");
        fs::write(&path, octets).unwrap();
        diagnose(&["--roster", &roster, "--console", &format!("{name}={}", path.display())]).1
    };
    let noise: Vec<u8> = (0..4_000u32)
        .flat_map(|n| (n.wrapping_mul(2_654_435_761) | 0x8080_8000).to_be_bytes())
        .chain(*b" tx done \x80\x81\xFF\xFE\x90\n")
        .collect();
    assert!(of(&name, &noise).contains("no receive window"));
    assert!(
        of(&name, b"[5] ctx ready\n[6] sendto failed\n").contains("no receive window in 2 lines")
    );
    let wide: Vec<u8> =
        "\u{feff}[2205] TX done\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert!(of(&name, &wide).contains("UTF-16"));
    let coloured = b"\x1b[32m[5] tx done\x1b[0m\n\x1b[32m[5005] rx1\x1b[0m\n";
    assert!(!of(&name, coloured).contains("no receive window"));
    let many = "[2205] TX done\n".repeat(20_003);
    assert!(of(&name, many.as_bytes()).contains("the first 20000 lines of use are taken, 3 more"));
}

#[test]
fn windows_of_data_alone_blame_no_node() {
    let folder = Folder::new("console-data");
    let (name, _, bare) = apart();
    let roster = folder.file("roster.toml", &bare);
    for log in
        ["9100 ms tx done\n10100 ms rx1\n", "8000 ms joined\n9100 ms tx done\n10100 ms rx1\n"]
    {
        let file = folder.file("usb.log", log);
        let console = format!("{name}={file}");
        let (told, ..) = diagnose(&["--roster", &roster, "--console", &console]);
        assert!(!told.contains("node-opens-its-window-late"), "{told}");
    }
}
