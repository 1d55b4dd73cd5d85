//! No output replaces an input or a file of another kind, and a failed one leaves what was there.

use std::{
    fs,
    os::unix::fs::{MetadataExt, PermissionsExt, symlink},
    process::{Command, Stdio},
    time::Duration,
};

use super::{Folder, REQUEST, handfast, run, said, until};

const ROSTER: &str = include_str!("../../../vectors/join/jf-01/roster.toml");
const CAPTURE: &str = include_str!("../../../vectors/join/jf-01/capture.ndjson");

/// Runs with an output, and holds the file against what it was.
fn refused(args: &[&str], victim: &str, words: &str) {
    let before = fs::read(victim).unwrap();
    let output = run(args);
    assert_eq!(output.status.code(), Some(2), "{args:?}: {}", said(&output));
    assert!(said(&output).contains(words), "{args:?}: {}", said(&output));
    assert_eq!(fs::read(victim).unwrap(), before, "{args:?} ruined {victim}");
}

#[test]
fn an_input_is_never_written_by_whatever_name() {
    let folder = Folder::new("inputs");
    let capture = folder.file("capture.ndjson", CAPTURE);
    let roster = folder.file("roster.html", ROSTER);
    let key = folder.file("key.md", "8A4C19E2D75B03F6619EC8270DB3F45A\n");
    let keyed = folder.file(
        "keyed.toml",
        "[[node]]\nname = 'probe-01'\n[node.record]\napp-key-file = 'key.md'\n",
    );
    let (hard, soft) = (folder.path("hard.html"), folder.path("soft.html"));
    fs::hard_link(&roster, &hard).unwrap();
    symlink(&roster, &soft).unwrap();
    let dotted = format!("{}/./roster.html", folder.0.display());
    let read = "is read, and cannot be written";
    for name in [&roster, &hard, &soft, &dotted] {
        refused(
            &["diagnose", &capture, "--roster", &roster, "--report", name, "--force"],
            &roster,
            read,
        );
        refused(&["read", REQUEST, "--roster", &roster, "--pcap", name, "--force"], &roster, read);
        refused(
            &[
                "tap",
                "--listen",
                "127.0.0.1:0",
                "--count",
                "0",
                "--roster",
                &roster,
                "--record",
                name,
            ],
            &roster,
            read,
        );
    }
    refused(&["read", &capture, "--pcap", &capture, "--force"], &capture, read);
    refused(&["read", REQUEST, "--app-key-file", &key, "--pcap", &key, "--force"], &key, read);
    refused(&["diagnose", &capture, "--roster", &keyed, "--report", &key, "--force"], &key, read);
    refused(
        &["tap", "--listen", "127.0.0.1:0", "--count", "0", "--roster", &keyed, "--record", &key],
        &key,
        read,
    );
}

#[test]
fn a_file_of_another_kind_is_replaced_by_force_alone() {
    let folder = Folder::new("kinds");
    let capture = folder.file("capture.ndjson", CAPTURE);
    let work: [(&[&str], &str); 4] = [
        (&["read", REQUEST, "--pcap"], "a.pcap"),
        (&["diagnose", &capture, "--digits", "1", "--report"], "a.html"),
        (&["diagnose", &capture, "--digits", "1", "--report"], "a.md"),
        (&["lesson", "--html"], "b.html"),
    ];
    for (args, name) in work {
        let path = folder.file(name, "a thesis of three years\n");
        let args = [args, &[&path]].concat();
        refused(&args, &path, "is there already and is not");
        let forced = run(&[&args[..], &["--force"]].concat());
        assert!(forced.status.code() < Some(2), "{args:?}: {}", said(&forced));
        let first = fs::read(&path).unwrap();
        assert_ne!(first, b"a thesis of three years\n");
        // Its own kind is replaced without a word.
        let again = run(&args);
        assert!(again.status.code() < Some(2), "{args:?}: {}", said(&again));
        assert_eq!(fs::read(&path).unwrap(), first);
    }
    assert_eq!(folder.names(), ["a.html", "a.md", "a.pcap", "b.html", "capture.ndjson"]);
}

#[test]
fn keys_go_to_their_owner_alone_and_through_no_link() {
    let folder = Folder::new("secret");
    let (capture, roster) = (folder.file("c.ndjson", CAPTURE), folder.file("r.toml", ROSTER));
    let (report, link) = (folder.path("a.html"), folder.path("link.html"));
    let args =
        ["diagnose", &capture, "--roster", &roster, "--digits", "1", "--show-keys", "--report"];
    // There already, and readable by all.
    assert!(run(&[&args[..7 - 1], &["--report", &report]].concat()).status.code() < Some(2));
    fs::set_permissions(&report, fs::Permissions::from_mode(0o644)).unwrap();
    assert!(run(&[&args[..], &[&report]].concat()).status.code() < Some(2));
    assert_eq!(fs::metadata(&report).unwrap().mode() & 0o777, 0o600);
    symlink(&report, &link).unwrap();
    refused(&[&args[..], &[&link]].concat(), &report, "is a symbolic link");
    // Without keys a link stays one, and its file keeps its mode.
    fs::set_permissions(&report, fs::Permissions::from_mode(0o640)).unwrap();
    assert!(run(&[&args[..6], &["--report", &link]].concat()).status.code() < Some(2));
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(fs::metadata(&report).unwrap().mode() & 0o777, 0o640);
}

/// A file system of so many pages of memory; `None` where this user may mount none.
struct Small(String);

impl Small {
    fn mount(folder: &Folder) -> Option<Self> {
        let at = folder.path("small");
        fs::create_dir(&at).unwrap();
        let mut mount = Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", "size=16k", "none", &at]).stderr(Stdio::null());
        mount.status().is_ok_and(|status| status.success()).then_some(Self(at))
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).status();
    }
}

#[test]
fn a_full_disk_leaves_the_old_file() {
    let folder = Folder::new("full");
    let Some(small) = Small::mount(&folder) else { return };
    let capture = folder.file("capture.ndjson", CAPTURE);
    let old = b"<meta name=\"generator\" content=\"Handfast 0.0\">";
    let report = format!("{}/a.html", small.0);
    fs::write(&report, old).unwrap();
    let output = run(&["diagnose", &capture, "--digits", "1", "--report", &report]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("cannot be written"), "{}", said(&output));
    assert_eq!(fs::read(&report).unwrap(), old);
    let left: Vec<_> = fs::read_dir(&small.0).unwrap().collect();
    assert_eq!(left.len(), 1, "nothing half written is left: {left:?}");
}

#[test]
fn a_device_is_written_as_it_is() {
    assert_eq!(run(&["read", REQUEST, "--pcap", "/dev/null"]).status.code(), Some(0));
    let full = run(&["read", REQUEST, "--pcap", "/dev/full"]);
    assert_eq!(full.status.code(), Some(2), "{}", said(&full));
    assert!(said(&full).contains("/dev/full cannot be written"), "{}", said(&full));
}

/// Kills a run at any moment: what was there is there, or what is new, and nothing between.
#[test]
fn a_killed_report_is_the_old_one_or_the_new_one() {
    let folder = Folder::new("killed");
    let report = folder.path("sheet.html");
    let args = ["lesson", "--seed", "7", "--count", "60", "--html", &report];
    assert!(run(&args).status.success());
    let new = fs::read(&report).unwrap();
    let mut old = new.clone();
    old.truncate(new.len() / 2);
    for turn in 0..100 {
        fs::write(&report, &old).unwrap();
        let mut child = handfast(&args).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_micros(300 * turn));
        let _ = child.kill();
        child.wait().unwrap();
        let there = fs::read(&report).unwrap();
        assert!(there == old || there == new, "turn {turn}: {} bytes", there.len());
    }
}

#[test]
fn sigterm_leaves_nothing_half_written() {
    let folder = Folder::new("term");
    let (pipe, packets) = (folder.path("pipe"), folder.path("a.pcap"));
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let mut child = handfast(&["read", "--file", &pipe, "--pcap", &packets, "--brief"])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut to = fs::File::options().write(true).open(&pipe).unwrap();
    std::io::Write::write_all(&mut to, format!("{REQUEST}\n").as_bytes()).unwrap();
    until(|| folder.names().len() > 1);
    let id = child.id().to_string();
    assert!(Command::new("kill").args(["-TERM", &id]).status().unwrap().success());
    assert_eq!(child.wait().unwrap().code(), Some(143));
    let names = folder.names();
    assert!(names == ["a.pcap", "pipe"] || names == ["pipe"], "{names:?}");
}
