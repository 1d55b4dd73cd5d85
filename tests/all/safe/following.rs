//! `--follow` and `-`: every frame as soon as it is complete, and every replacement of the file noticed.

use std::{
    fs,
    io::{BufRead, BufReader, Read, Write},
    process::{Child, Stdio},
    sync::mpsc::{self, Receiver},
};

use super::{Folder, NEVER, REQUEST, handfast};

/// `read` of something that grows.
struct Reading {
    child: Child,
    out: Receiver<String>,
    err: Receiver<String>,
}

impl Reading {
    fn new(args: &[&str]) -> Self {
        let mut child = handfast(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let (out, err) = (child.stdout.take().unwrap(), child.stderr.take().unwrap());
        Self { out: lines(out), err: lines(err), child }
    }

    fn give(&mut self, text: &str) {
        let stdin = self.child.stdin.as_mut().unwrap();
        stdin.write_all(text.as_bytes()).and_then(|()| stdin.flush()).unwrap();
    }

    fn frame(&self) -> String {
        self.out.recv_timeout(NEVER).expect("a frame is shown")
    }

    fn note(&self, words: &str) {
        let mut all = String::new();
        while !all.contains(words) {
            all += self.err.recv_timeout(NEVER).unwrap_or_else(|_| panic!("{words}: {all}")).trim();
            all.push(' ');
        }
    }
}

impl Drop for Reading {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn lines(stream: impl Read + Send + 'static) -> Receiver<String> {
    let (give, take) = mpsc::channel();
    std::thread::spawn(move || {
        for line in BufReader::new(stream).lines() {
            let _ = give.send(line.unwrap());
        }
    });
    take
}

#[test]
fn a_frame_is_shown_whatever_comes_after_it() {
    let after = [
        "",
        "# a comment\n",
        "{\"kind\":\"PULL_ACK\"}\n{\"kind\":\"PULL_ACK\"}\n",
        "{\"stat\":{\"rxnb\":1}}\n",
        "{\"kind\":\"PULL_ACK\"}\n0001000BFE",
        "not a frame\n",
    ];
    for after in after {
        let mut reading = Reading::new(&["read", "-", "--json"]);
        reading.give(&format!("{REQUEST}\n{after}"));
        assert!(reading.frame().contains("join-request"), "{after:?}");
    }
}

#[test]
fn a_file_that_was_replaced_is_read_from_its_start_and_said_to_be() {
    let folder = Folder::new("replaced");
    let path = folder.file("growing.txt", format!("{REQUEST}\n{REQUEST}\n"));
    let reading = Reading::new(&["read", "--follow", "--brief", "--file", &path]);
    let (_, _) = (reading.frame(), reading.frame());
    // Longer than what was read.
    let other = folder.file("other.txt", format!("{REQUEST}\n").repeat(3));
    fs::rename(other, &path).unwrap();
    reading.note("another file has its name now");
    let _ = (reading.frame(), reading.frame(), reading.frame());
    // In place, and as long.
    let same = fs::read_to_string(&path).unwrap().replace("0001", "0002");
    std::thread::sleep(std::time::Duration::from_millis(300));
    fs::write(&path, same).unwrap();
    reading.note("it was");
    let _ = (reading.frame(), reading.frame(), reading.frame());
    fs::write(&path, format!("{REQUEST}\n")).unwrap();
    reading.note("it was cut");
    reading.frame();
    assert!(
        reading.out.recv_timeout(std::time::Duration::from_millis(300)).is_err(),
        "nothing twice"
    );
}

#[test]
fn diagnose_reads_what_replaces_its_capture() {
    let folder = Folder::new("diagnosed");
    let path = folder.file("growing.txt", format!("{REQUEST}\n"));
    let reading = Reading::new(&["diagnose", "--follow", "--json", "--digits", "1", &path]);
    assert!(reading.frame().contains("020000fffe1a2b3c"));
    let other = "0001000BFEFF0000023D2B1AFEFF00000202012E269CF5\n".repeat(4);
    let other = folder.file("other.txt", other);
    fs::rename(other, &path).unwrap();
    reading.note("another file has its name now");
    while !reading.frame().contains("020000fffe1a2b3d") {}
}

#[test]
fn packets_of_a_followed_file_are_there_while_it_grows() {
    let folder = Folder::new("packets");
    let (path, packets) =
        (folder.file("growing.txt", format!("{REQUEST}\n")), folder.path("a.pcap"));
    let reading =
        Reading::new(&["read", "--follow", "--brief", "--file", &path, "--pcap", &packets]);
    reading.frame();
    super::until(|| fs::metadata(&packets).is_ok_and(|data| data.len() > 24));
}
