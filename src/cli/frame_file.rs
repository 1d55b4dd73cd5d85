//! Frames into a file of recorded packets: `read --pcap`.

use std::{
    io::{self, BufWriter, Write},
    path::{Path, PathBuf},
};

use super::{
    Failure, Screen,
    frames::InputFrame,
    output::{Destination, FileKind, Output},
};
use crate::{
    record::FramePcap,
    words::{Count, Visible},
};

/// A file that frames are written to.
#[derive(Debug)]
pub(super) struct FrameFile {
    path: PathBuf,
    pcap: FramePcap<BufWriter<Output>>,
    /// Whether others read the file while it grows.
    grows: bool,
    written: usize,
    /// Frames without a time that the file can hold.
    untimed: usize,
}

impl FrameFile {
    /// Begins the file; `grows` says that it is there as soon as its first frames are.
    pub(super) fn create(
        path: &Path,
        inputs: &[PathBuf],
        force: bool,
        grows: bool,
    ) -> Result<Self, Failure> {
        let place = place(path, force);
        let out = place.create(inputs)?;
        let pcap = FramePcap::new(BufWriter::new(out)).map_err(|error| place.cannot(&error))?;
        Ok(Self { path: path.to_owned(), pcap, grows, written: 0, untimed: 0 })
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

    /// Writes what is held back, where others read the file while it grows.
    pub(super) fn flush(&mut self) -> Result<(), Failure> {
        if self.grows { self.put_in_place() } else { Ok(()) }
    }

    fn put_in_place(&mut self) -> Result<(), Failure> {
        let out = self.pcap.get_mut();
        let placed = out.flush().and_then(|()| out.get_mut().place());
        placed.map_err(|error| cannot(&self.path, &error))
    }

    /// Ends the file and says what is in it.
    pub(super) fn end(mut self, screen: &mut Screen) -> Result<(), Failure> {
        self.put_in_place()?;
        let (frames, path) = (Count(self.written, "frame"), Visible::path(&self.path));
        screen.word("note", &format!("{frames} written to {path}"));
        if self.untimed > 0 {
            let frames = Count(self.untimed, "frame");
            screen.word("note", &format!("{frames} without a time: as of 1970 in {path}"));
        }
        Ok(())
    }
}

const fn place(path: &Path, force: bool) -> Destination<'_> {
    Destination { option: "--pcap", path, kind: FileKind::Frames, force, secret: false }
}

fn cannot(path: &Path, error: &io::Error) -> Failure {
    place(path, true).cannot(error)
}
