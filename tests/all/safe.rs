//! What the program does to files, terminals and keys when something goes wrong, and how signals end it.

mod files;
mod following;
mod shown;
mod signals;

use std::{
    fs,
    path::PathBuf,
    process::{Command, Output, Stdio},
    time::{Duration, Instant},
};

/// A request of one of the demonstration's nodes.
const REQUEST: &str = "0001000BFEFF0000023C2B1AFEFF00000202012E269CF5";
/// A key that nobody uses.
const KEY: &str = "8A4C19E2D75B03F6619EC8270DB3F45A";
/// No test is about how long something takes: so long means never.
const NEVER: Duration = Duration::from_secs(60);

/// A folder that is removed at the end.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("handfast-safe-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir(&path).unwrap();
        Self(path)
    }

    fn path(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }

    fn file(&self, name: &str, octets: impl AsRef<[u8]>) -> String {
        fs::write(self.0.join(name), octets).unwrap();
        self.path(name)
    }

    /// The names of what is in it.
    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.0).unwrap();
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn handfast(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_handfast"));
    command.args(args).env("NO_COLOR", "1").stdin(Stdio::null());
    command
}

fn run(args: &[&str]) -> Output {
    handfast(args).output().unwrap()
}

/// What was said on standard error, without its folds.
fn said(output: &Output) -> String {
    crate::support::words::unfolded(&String::from_utf8_lossy(&output.stderr))
}

/// Asks again and again until it is so.
fn until(mut is_so: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is_so() {
        assert!(begun.elapsed() < NEVER, "it never was so");
        std::thread::sleep(Duration::from_millis(5));
    }
}
