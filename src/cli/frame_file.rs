//! Frames into a file of recorded packets: `read --pcap`.

use std::{
    fs::{self, File},
    io::{self, BufWriter, Write},
    path::{Path, PathBuf},
};

use super::{Failure, Screen, frames::InputFrame};
use crate::{
    record::FramePcap,
    words::{Count, Reason},
};

/// A file that frames are written to.
#[derive(Debug)]
pub(super) struct FrameFile {
    path: PathBuf,
    pcap: FramePcap<BufWriter<File>>,
    written: usize,
    /// Frames without a time that the file can hold.
    untimed: usize,
}

impl FrameFile {
    /// Begins the file; it must be none of those that are read.
    pub(super) fn create<'a>(
        path: &Path,
        mut inputs: impl Iterator<Item = &'a Path>,
    ) -> Result<Self, Failure> {
        let own = fs::canonicalize(path).ok();
        if own.is_some() && inputs.any(|input| fs::canonicalize(input).ok() == own) {
            let words = format!("--pcap: {} is read, and cannot be written", path.display());
            return Err(Failure::Report(words));
        }
        let pcap = File::create(path).and_then(|file| FramePcap::new(BufWriter::new(file)));
        let pcap = pcap.map_err(|error| cannot(path, &error))?;
        Ok(Self { path: path.to_owned(), pcap, written: 0, untimed: 0 })
    }

    /// Writes a frame.
    pub(super) fn put(&mut self, frame: &InputFrame, octets: &[u8]) -> Result<(), Failure> {
        let mut put = |at| self.pcap.write(at, &frame.tap, octets);
        self.untimed += usize::from(frame.at.is_none());
        let done = match put(frame.at) {
            Err(error) if error.kind() == io::ErrorKind::InvalidInput => {
                self.untimed += 1;
                put(None)
            }
            done => done,
        };
        self.written += 1;
        done.map_err(|error| cannot(&self.path, &error))
    }

    /// Hands over what is held back.
    pub(super) fn flush(&mut self) -> Result<(), Failure> {
        self.pcap.get_mut().flush().map_err(|error| cannot(&self.path, &error))
    }

    /// Ends the file and says what is in it.
    pub(super) fn end(mut self, screen: &mut Screen) -> Result<(), Failure> {
        self.flush()?;
        let (frames, path) = (Count(self.written, "frame"), self.path.display());
        screen.word("note", &format!("{frames} written to {path}"));
        if self.untimed > 0 {
            let frames = Count(self.untimed, "frame");
            screen.word("note", &format!("{frames} without a time: as of 1970 in {path}"));
        }
        Ok(())
    }
}

fn cannot(path: &Path, error: &io::Error) -> Failure {
    let why = Reason(error.kind());
    Failure::Report(format!("--pcap: {} cannot be written: {why}", path.display()))
}
