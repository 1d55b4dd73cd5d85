//! Signals end every command, with the status that says which.

use std::{
    fs,
    io::{BufRead, BufReader, Write},
    os::unix::process::CommandExt,
    process::{Child, Command, Stdio},
    time::{Duration, Instant},
};

use super::{Folder, NEVER, REQUEST, handfast};

fn signal(child: &Child, name: &str) {
    let id = child.id().to_string();
    assert!(Command::new("kill").args([name, &id]).status().unwrap().success());
}

/// Waits for the end, and says how long that took.
fn end(mut child: Child) -> (Option<i32>, Duration) {
    let begun = Instant::now();
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return (status.code(), begun.elapsed());
        }
        if begun.elapsed() > NEVER {
            let _ = child.kill();
            panic!("the signal was not heard");
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// A command that waits for more, once it has begun.
fn waiting(args: &[&str]) -> Child {
    let mut child = handfast(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    writeln!(child.stdin.as_mut().unwrap(), "{REQUEST}").unwrap();
    // The system's own handling is replaced before the first byte is read.
    std::thread::sleep(Duration::from_millis(200));
    child
}

#[test]
fn each_signal_ends_each_command_that_reads() {
    let folder = Folder::new("signals");
    let growing = folder.file("growing.txt", format!("{REQUEST}\n"));
    let commands: [&[&str]; 6] = [
        &["read", "-"],
        &["read", "--follow", "--file", &growing],
        &["diagnose", "-"],
        &["diagnose", "--follow", &growing, "--region", "EU868"],
        &["airtime", "--capture", "-", "--region", "EU868"],
        &["lesson", "--check", "-"],
    ];
    for args in commands {
        for (name, status) in [("-INT", 130), ("-TERM", 143), ("-HUP", 129)] {
            let child = waiting(args);
            signal(&child, name);
            let (exit, _) = end(child);
            // A verdict that was printed before is worth more than the signal.
            let verdict =
                args.contains(&"diagnose") && args.contains(&"--follow") && exit == Some(1);
            assert!(exit == Some(status) || verdict, "{args:?} {name}: {exit:?}");
        }
    }
}

/// No test asserts seconds; this one holds an idle wait for a signal against a hundred times what is promised.
#[test]
fn a_signal_is_not_waited_for() {
    let child = waiting(&["read", "-"]);
    signal(&child, "-TERM");
    assert!(end(child).1 < Duration::from_secs(20));
}

#[test]
fn what_was_read_before_the_signal_is_shown() {
    let mut child = waiting(&["read", "-", "--json"]);
    signal(&child, "-INT");
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map(Result::unwrap);
    assert!(lines.next().unwrap().contains("\"join-request\""));
    assert_eq!(end(child).0, Some(130));
}

#[test]
fn nohup_means_what_it_says() {
    let mut command = Command::new("nohup");
    command.arg(env!("CARGO_BIN_EXE_handfast")).args(["read", "-"]).stdin(Stdio::piped());
    let mut child =
        command.stdout(Stdio::null()).stderr(Stdio::null()).arg0("nohup").spawn().unwrap();
    writeln!(child.stdin.as_mut().unwrap(), "{REQUEST}").unwrap();
    std::thread::sleep(Duration::from_millis(300));
    signal(&child, "-HUP");
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(child.try_wait().unwrap(), None);
    drop(child.stdin.take());
    assert_eq!(end(child).0, Some(0));
}

/// A key three digits off takes seconds to search for; Ctrl-C stops that, and the verdict is there.
#[test]
fn the_first_interrupt_of_a_search_prints_what_is_known() {
    let folder = Folder::new("search");
    let roster = "region = 'EU868'\n[[node]]\nname = 'probe-01'\n[node.firmware]\n\
                  dev-eui = '020000fffe1a2b3c'\njoin-eui = '020000fffe0b0001'\n\
                  app-key = '8A4C19E2D75B03F6619EC8270DB3F45A'\nmac-version = '1.0.3'\n";
    let (roster, capture) = (
        folder.file("r.toml", roster),
        folder.file("c.txt", "0001000BFEFF0000023C2B1AFEFF000002020111223344\n"),
    );
    for (name, statuses) in [("-INT", [1, 130]), ("-TERM", [143, 143])] {
        let child = handfast(&["diagnose", &capture, "--roster", &roster, "--json"])
            .stdout(fs::File::create(folder.path("out")).unwrap())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(500));
        signal(&child, name);
        let (exit, _) = end(child);
        assert!(statuses.contains(&exit.unwrap()), "{name}: {exit:?}");
        let out = fs::read_to_string(folder.path("out")).unwrap();
        assert_eq!(out.contains("\"dev_eui\""), name == "-INT", "{out}");
    }
}
