//! A file that grows while it is read.

use std::{
    fs::File,
    io::{self, Read, Seek},
    path::PathBuf,
    thread,
    time::Duration,
};

/// Between two looks at the file's end.
const PAUSE: Duration = Duration::from_millis(200);

/// Reads a file and, at its end, waits for more. One that was cut or replaced is read anew, or ends.
#[derive(Debug)]
pub(super) struct Follow {
    path: PathBuf,
    file: File,
    renews: bool,
}

impl Follow {
    /// Begins at the file's first octet, and goes on with what replaces it.
    pub(super) const fn new(path: PathBuf, file: File) -> Self {
        Self { path, file, renews: true }
    }

    /// Begins at the file's first octet, and ends where it was cut or replaced.
    pub(super) const fn until_replaced(path: PathBuf, file: File) -> Self {
        Self { path, file, renews: false }
    }

    /// Returns whether the file under the path is shorter than what was read.
    fn is_replaced(&mut self) -> bool {
        let there = std::fs::metadata(&self.path).map(|data| data.len());
        there.is_ok_and(|length| self.file.stream_position().is_ok_and(|read| length < read))
    }
}

impl Read for Follow {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        loop {
            match self.file.read(into)? {
                0 if !into.is_empty() => {
                    thread::sleep(PAUSE);
                    if self.is_replaced() {
                        if !self.renews {
                            return Ok(0);
                        }
                        self.file = File::open(&self.path)?;
                    }
                }
                n => return Ok(n),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::{BufRead, BufReader, Write};

    use super::*;

    #[test]
    fn what_is_added_and_what_replaces_it_are_read() {
        let path = std::env::temp_dir().join(format!("handfast-follow-{}", std::process::id()));
        std::fs::write(&path, "one\ntwo\n").unwrap();
        let follow = Follow::new(path.clone(), File::open(&path).unwrap());
        let mut lines = BufReader::new(follow).lines().map(Result::unwrap);
        assert_eq!(lines.next().as_deref(), Some("one"));
        assert_eq!(lines.next().as_deref(), Some("two"));
        let mut file = File::options().append(true).open(&path).unwrap();
        file.write_all(b"three\n").unwrap();
        assert_eq!(lines.next().as_deref(), Some("three"));
        std::fs::write(&path, "anew\n").unwrap();
        assert_eq!(lines.next().as_deref(), Some("anew"));
        std::fs::remove_file(&path).unwrap();
    }
}
