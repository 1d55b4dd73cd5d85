//! The recording: a thread of its own that writes whole lines, and none behind the tap's back.
//!
//! `FILE` is always the one that is written. When it has the size to rotate at, it becomes `FILE.1`, the
//! next one `FILE.2`, and so on: the numbers rise with time. What is there already is never overwritten: lines
//! are added to it, and packets put it aside.

use std::{
    collections::VecDeque,
    fs::{self, File, OpenOptions},
    io::{self, BufRead as _, BufReader, Read as _, Seek as _, SeekFrom, Write as _},
    path::{Path, PathBuf},
    sync::Arc,
    time::{Duration, Instant},
};

use super::{caught::Caught, counters::Counters, queue::Queue};
use crate::{
    intake::{Capture, CaptureOptions, Damage, DatagramKind, HowFound, Item},
    record::{CaptureLineWriter, DatagramPcap, Identity},
};

/// What to record, and where.
#[derive(Clone, Debug)]
pub struct Recording {
    /// The file.
    pub path: PathBuf,
    /// Octets at which it is put aside and a new one begun.
    pub rotate: Option<u64>,
    /// Whether a file that is no recording is put aside, instead of refused.
    pub force: bool,
}

/// What became of a recording.
#[derive(Debug)]
pub enum RecordingWord {
    /// A file was full and got this name; a new one was begun.
    Rotated(PathBuf),
    /// The file could not be put aside, and goes on beyond its size.
    NotRotated(io::Error),
    /// Nothing more is recorded; the file ends with a whole line.
    Ended(io::Error),
    /// The file was removed or moved, and begun again.
    Gone,
    /// The disk does not keep up: what came meanwhile is missing, and counted.
    Behind,
}

/// A recording that is open.
#[derive(Debug)]
pub(super) struct Recorder {
    recording: Recording,
    form: Form,
    file: File,
    /// What was there before, put aside.
    before: Option<PathBuf>,
    /// Octets of whole lines.
    size: u64,
    /// Whether it is a file and no device or pipe, so that it can be cut and put aside.
    regular: bool,
    /// At what size it is put aside next.
    due: Option<u64>,
    /// The file, as another one under its name would not be; when that was last looked at.
    identity: Option<Identity>,
    looked: Instant,
}

impl Recorder {
    /// Opens the file, or begins it.
    pub(super) fn open(recording: Recording) -> io::Result<Self> {
        let form = Form::of(&recording.path)?;
        let mut file = open(&recording.path)?;
        let data = file.metadata()?;
        let regular = data.is_file();
        let mut size = if regular { data.len() } else { 0 };
        let mut before = None;
        let is_other = || size > 0 && begins_like_a_recording(&file).is_err();
        if size > 0 && (matches!(form, Form::Packets(..)) || recording.force && is_other()) {
            // Another's header, or a last packet that was cut: nothing is added to such a file.
            let name = aside(&recording.path)?;
            fs::rename(&recording.path, &name)?;
            file = open(&recording.path)?;
            size = 0;
            before = Some(name);
        }
        if size > 0 {
            begins_like_a_recording(&file)?;
            size += end_line(&mut file)?;
        } else {
            size = form.begin(&mut file)?;
        }
        let due = recording.rotate;
        let (identity, looked) = (Identity::of_file(&file, &recording.path), Instant::now());
        Ok(Self { recording, form, file, before, size, regular, due, identity, looked })
    }

    /// Writes all that comes until the queue is closed.
    pub(super) fn run(
        mut self,
        queue: &Queue<Arc<Caught>>,
        counters: &Counters,
        tell: &dyn Fn(RecordingWord),
    ) {
        let mut batch = VecDeque::new();
        let mut lines = Vec::new();
        if let Some(before) = self.before.take() {
            tell(RecordingWord::Rotated(before));
        }
        while queue.take(&mut batch, PATIENCE) {
            if let Err(error) = self.look(tell) {
                tell(RecordingWord::Ended(error));
                counters.not_recorded.many(batch.len() as u64);
                return discard(queue, counters);
            }
            while !batch.is_empty() {
                if let Err(error) = self.write(&mut batch, &mut lines, counters, tell) {
                    tell(RecordingWord::Ended(error));
                    counters.not_recorded.many(batch.len() as u64);
                    return discard(queue, counters);
                }
            }
        }
    }

    /// Sees whether the file still has its name; begins it again where it has not. Whoever moves a recording
    /// to read it expects the next one in its place.
    fn look(&mut self, tell: &dyn Fn(RecordingWord)) -> io::Result<()> {
        if !self.regular || self.looked.elapsed() < LOOK {
            return Ok(());
        }
        self.looked = Instant::now();
        let path = &self.recording.path;
        if Identity::of(path) == self.identity {
            return Ok(());
        }
        tell(RecordingWord::Gone);
        let begun = Self::open(self.recording.clone())?;
        let before = begun.before.clone();
        *self = begun;
        if let Some(before) = before {
            tell(RecordingWord::Rotated(before));
        }
        Ok(())
    }

    /// Writes some of a batch, at once.
    fn write(
        &mut self,
        batch: &mut VecDeque<Arc<Caught>>,
        lines: &mut Vec<u8>,
        counters: &Counters,
        tell: &dyn Fn(RecordingWord),
    ) -> io::Result<()> {
        lines.clear();
        let mut ends = Vec::new();
        while lines.len() < AT_ONCE
            && !self.is_due(lines.len() as u64)
            && let Some(caught) = batch.pop_front()
        {
            if self.form.write(&caught, lines).is_ok() {
                ends.push(lines.len() as u64);
            } else {
                counters.not_recorded.one();
            }
        }
        let written = self.file.write_all(lines);
        let mut kept = ends.len();
        if written.is_err() {
            kept = self.take_back(&ends)?;
        }
        counters.recorded.many(kept as u64);
        counters.not_recorded.many((ends.len() - kept) as u64);
        written?;
        self.size += lines.len() as u64;
        if self.is_due(0) {
            self.rotate(tell)?;
        }
        Ok(())
    }

    /// Takes back what was written of a line that is not whole; returns how many before it are.
    fn take_back(&self, ends: &[u64]) -> io::Result<usize> {
        if !self.regular {
            return Ok(0);
        }
        let written = self.file.metadata()?.len().saturating_sub(self.size);
        let whole = ends.partition_point(|end| *end <= written);
        let last = whole.checked_sub(1).and_then(|last| ends.get(last));
        self.file.set_len(self.size + last.copied().unwrap_or_default())?;
        Ok(whole)
    }

    fn is_due(&self, more: u64) -> bool {
        let size = self.size + more;
        // A file that holds nothing yet is not put aside, however small the size asked for.
        self.regular
            && size > self.form.head().len() as u64
            && self.due.is_some_and(|due| size >= due)
    }

    fn rotate(&mut self, tell: &dyn Fn(RecordingWord)) -> io::Result<()> {
        let path = &self.recording.path;
        let put_aside = aside(path).and_then(|aside| {
            fs::rename(path, &aside)?;
            match open(path) {
                Ok(file) => Ok((aside, file)),
                Err(error) => fs::rename(&aside, path).and(Err(error)),
            }
        });
        match put_aside {
            Ok((aside, file)) => {
                self.file = file;
                self.identity = Identity::of_file(&self.file, &self.recording.path);
                self.size = self.form.begin(&mut self.file)?;
                self.due = self.recording.rotate;
                tell(RecordingWord::Rotated(aside));
            }
            Err(error) => {
                // Tried again when as much has come again.
                self.due = self.recording.rotate.map(|rotate| self.size + rotate);
                tell(RecordingWord::NotRotated(error));
            }
        }
        Ok(())
    }
}

/// What a recording consists of.
#[derive(Debug)]
enum Form {
    Lines,
    /// The writer, and the header that a file begins with.
    Packets(DatagramPcap<Vec<u8>>, Vec<u8>),
}

impl Form {
    fn of(path: &Path) -> io::Result<Self> {
        let packets = path.extension().is_some_and(|name| name.eq_ignore_ascii_case("pcap"));
        if !packets {
            return Ok(Self::Lines);
        }
        let mut writer = DatagramPcap::new(Vec::new())?;
        let head = std::mem::take(writer.get_mut());
        Ok(Self::Packets(writer, head))
    }

    /// Returns what a file begins with.
    fn head(&self) -> &[u8] {
        match self {
            Self::Lines => &[],
            Self::Packets(_, head) => head,
        }
    }

    /// Begins a file; returns how many octets that took.
    fn begin(&self, file: &mut File) -> io::Result<u64> {
        file.write_all(self.head())?;
        Ok(self.head().len() as u64)
    }

    fn write(&mut self, caught: &Caught, out: &mut Vec<u8>) -> io::Result<()> {
        let header = caught.header;
        match self {
            Self::Lines => {
                // The protocol's version 1 leaves the octets of a PULL_RESP unused.
                let unused = header.version == 1 && header.kind == DatagramKind::PullResp;
                let token = (!unused).then_some(header.token);
                let json = caught.octets.get(header.json_at..).unwrap_or_default();
                let mut lines = CaptureLineWriter::new(out);
                lines.write(Some(caught.at), caught.gateway, header.kind, token, json)
            }
            Self::Packets(writer, _) => {
                let (from, to) = caught.ends();
                writer.write(caught.at, from, to, &caught.octets)?;
                out.append(writer.get_mut());
                Ok(())
            }
        }
    }
}

fn open(path: &Path) -> io::Result<File> {
    OpenOptions::new().create(true).read(true).append(true).open(path).or_else(|error| {
        // A pipe or a device may be for writing only.
        OpenOptions::new().append(true).open(path).map_err(|_| error)
    })
}

/// Refuses a file that is no recording: what is added would ruin it.
fn begins_like_a_recording(file: &File) -> io::Result<()> {
    let mut reader = file;
    reader.rewind()?;
    let mut lines = BufReader::new(reader).take(LONGEST_BEGINNING);
    let mut line = Vec::new();
    // Comments are no sign of what is to come: a roster begins with them, too.
    let mut blank = true;
    while lines.read_until(b'\n', &mut line)? > 0 {
        let text = String::from_utf8_lossy(&line);
        let body = text.trim_start_matches('\u{feff}').trim();
        if !body.is_empty() && !body.starts_with('#') {
            let cut = !line.ends_with(b"\n") && BEGINNINGS.iter().any(|b| body.starts_with(b));
            let ours = cut || is_capture_line(body);
            return if ours { Ok(()) } else { Err(no_recording()) };
        }
        blank &= body.is_empty();
        line.clear();
    }
    if blank { Ok(()) } else { Err(no_recording()) }
}

fn is_capture_line(line: &str) -> bool {
    let options = CaptureOptions { strict: true, ..CaptureOptions::default() };
    let Some(Ok(Item::Event(event))) = Capture::open(line.as_bytes(), options).next() else {
        return false;
    };
    let damaged = event.gap().is_some_and(|gap| matches!(gap.damage, Damage::All(_)));
    event.found == HowFound::Whole && !damaged
}

fn no_recording() -> io::Error {
    io::Error::other("it is there already and is not a recording; name another file")
}

/// Ends a last line that a crash left open; returns how many octets that took.
fn end_line(file: &mut File) -> io::Result<u64> {
    let mut last = [0];
    file.seek(SeekFrom::End(-1))?;
    file.read_exact(&mut last)?;
    if last == *b"\n" {
        return Ok(0);
    }
    file.write_all(b"\n")?;
    Ok(1)
}

/// Returns the next free name for a file that is put aside: one more than the highest number.
fn aside(path: &Path) -> io::Result<PathBuf> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let name = path.file_name().ok_or(io::ErrorKind::InvalidInput)?;
    let prefix = format!("{}.", name.to_string_lossy());
    let mut highest = 0u64;
    for entry in fs::read_dir(folder)? {
        let entry = entry?.file_name();
        let number = entry.to_str().and_then(|name| name.strip_prefix(&prefix)?.parse().ok());
        highest = highest.max(number.unwrap_or_default());
    }
    let mut aside = path.as_os_str().to_owned();
    aside.push(format!(".{}", highest.saturating_add(1)));
    Ok(aside.into())
}

fn discard(queue: &Queue<Arc<Caught>>, counters: &Counters) {
    let mut batch = VecDeque::new();
    while queue.take(&mut batch, PATIENCE) {
        counters.not_recorded.many(batch.len() as u64);
        batch.clear();
    }
}

/// What a line begins with that was cut when it was written.
const BEGINNINGS: [&str; 3] = ["{\"at\":", "{\"gateway\":", "{\"kind\":"];
/// Octets in which the first line of a recording stands.
const LONGEST_BEGINNING: u64 = 1 << 20;
/// Octets that are written at once.
const AT_ONCE: usize = 1 << 20;
/// How long to wait for what comes before looking again.
const PATIENCE: Duration = Duration::from_millis(200);
/// Whether the file still has its name is looked at so often.
const LOOK: Duration = Duration::from_millis(100);
