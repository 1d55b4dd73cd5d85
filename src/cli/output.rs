//! Files that a command writes: the one door to all of them.
//!
//! A file is written next to its place, synced, and renamed. A failed write, a full disk or a killed program
//! leaves what was there before. An input is never replaced, whatever name it goes by, and a file of
//! another kind only by `--force`.

use std::{
    fs::{self, File, Metadata, OpenOptions},
    io::{self, Read as _, Write},
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError},
};

use super::Failure;
use crate::{
    intake::LoraTap,
    record::Identity,
    roster::{KeyReference, Roster},
    words::{Reason, Visible},
};

/// What a file holds, which says over what it may be written.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum FileKind {
    /// A page that this program made.
    Page,
    /// A report in Markdown that this program made.
    Markdown,
    /// Frames as packets: pcap of LoRaTap.
    Frames,
    /// A manual page of this program.
    Manual,
}

impl FileKind {
    const fn name(self) -> &'static str {
        match self {
            Self::Page => "a page of this program",
            Self::Markdown => "a report of this program",
            Self::Frames => "a file of frames (pcap of LoRaTap)",
            Self::Manual => "a manual page of this program",
        }
    }

    /// Returns whether a file that begins so is one of these.
    fn is_of(self, head: &[u8]) -> bool {
        let holds = |mark: &str| head.windows(mark.len()).any(|part| part == mark.as_bytes());
        match self {
            Self::Page => holds("<meta name=\"generator\" content=\"Handfast "),
            Self::Markdown => head.starts_with(b"# Join report\n"),
            Self::Manual => holds("\n.TH handfast"),
            Self::Frames => {
                let link = head.get(20..24).and_then(|link| <[u8; 4]>::try_from(link).ok());
                let wanted = u32::from(LoraTap::LINK_TYPE);
                matches!(head, [0xD4, 0xC3, 0xB2, 0xA1, ..] | [0x4D, 0x3C, 0xB2, 0xA1, ..])
                    && link.map(u32::from_le_bytes) == Some(wanted)
                    || matches!(head, [0xA1, 0xB2, 0xC3, 0xD4, ..] | [0xA1, 0xB2, 0x3C, 0x4D, ..])
                        && link.map(u32::from_be_bytes) == Some(wanted)
            }
        }
    }
}

/// Where a command is asked to write.
#[derive(Clone, Copy, Debug)]
pub(super) struct Destination<'a> {
    /// The option that names the file, for errors.
    pub(super) option: &'static str,
    pub(super) path: &'a Path,
    pub(super) kind: FileKind,
    /// Whether a file of another kind may be replaced.
    pub(super) force: bool,
    /// Whether it is to hold keys: then it is for its owner alone, and no symbolic link.
    pub(super) secret: bool,
}

impl Destination<'_> {
    /// Refuses a file that is read, one of another kind, and for keys a symbolic link.
    ///
    /// # Errors
    /// [`Failure`] with what is wrong.
    pub(super) fn check(&self, inputs: &[PathBuf]) -> Result<(), Failure> {
        refuse_inputs(self.option, self.path, inputs)?;
        let name = Visible::path(self.path);
        if self.secret && fs::symlink_metadata(self.path).is_ok_and(|data| data.is_symlink()) {
            let words =
                "is a symbolic link, and keys are not written through one; name the file itself";
            return Err(self.refused(&format!("{name} {words}")));
        }
        if self.force || is_device(self.path) {
            return Ok(());
        }
        let Ok(mut file) = File::open(self.path) else { return Ok(()) };
        if !file.metadata().is_ok_and(|data| data.is_file() && data.len() > 0) {
            return Ok(());
        }
        let mut head = Vec::new();
        let read = io::Read::take(&mut file, HEAD).read_to_end(&mut head);
        if read.is_ok() && self.kind.is_of(&head) {
            return Ok(());
        }
        let kind = self.kind.name();
        Err(self.refused(&format!(
            "{name} is there already and is not {kind}; name another file, or replace it with --force"
        )))
    }

    /// Begins the file next to its place, after the same questions.
    ///
    /// # Errors
    /// [`Failure`] with what is wrong, or why it cannot be written.
    pub(super) fn create(&self, inputs: &[PathBuf]) -> Result<Output, Failure> {
        self.check(inputs)?;
        Output::create(self.path, self.secret).map_err(|error| self.cannot(&error))
    }

    /// Writes a file whose text is at hand.
    ///
    /// # Errors
    /// As [`Self::create`].
    pub(super) fn write(&self, inputs: &[PathBuf], text: &str) -> Result<(), Failure> {
        let mut out = self.create(inputs)?;
        let written = out.write_all(text.as_bytes()).and_then(|()| out.place());
        written.map_err(|error| self.cannot(&error))
    }

    /// Returns why the file cannot be written.
    pub(super) fn cannot(&self, error: &io::Error) -> Failure {
        let why = Reason(error.kind());
        self.refused(&format!("{} cannot be written: {why}", Visible::path(self.path)))
    }

    fn refused(&self, words: &str) -> Failure {
        Failure::Report(format!("{}: {words}", self.option))
    }
}

/// Refuses to write to one of the inputs, by whatever name.
///
/// # Errors
/// [`Failure`] that names the option.
pub(super) fn refuse_inputs(option: &str, path: &Path, inputs: &[PathBuf]) -> Result<(), Failure> {
    let own = Identity::of(path);
    if own.is_some() && inputs.iter().any(|input| Identity::of(input) == own) {
        let name = Visible::path(path);
        return Err(Failure::Report(format!("{option}: {name} is read, and cannot be written")));
    }
    Ok(())
}

/// Returns the files that a roster names: those of keys, and gateways' own configurations.
pub(super) fn files_of(roster: &Roster) -> impl Iterator<Item = PathBuf> {
    let claims = roster.nodes.iter().flat_map(crate::roster::Node::claims);
    let keys = claims.flat_map(|(_, claim)| &claim.key_references).filter_map(|(_, at)| match at {
        KeyReference::File(path) => Some(path.clone()),
        KeyReference::Variable(_) => None,
    });
    let gateways = roster.gateways.iter().filter_map(|gateway| gateway.config.as_ref());
    let configs = gateways.chain(&roster.loose_configs).flat_map(|config| &config.files);
    keys.chain(configs.map(PathBuf::from))
}

/// A file that is written next to its place until it is complete.
#[derive(Debug)]
pub(super) struct Output {
    file: File,
    /// Where it is until then; `None` once it is in its place, and for devices and pipes.
    pending: Option<PathBuf>,
    to: PathBuf,
}

/// Files that are not in their places yet: a signal that ends the program removes them.
static PENDING: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

impl Output {
    fn create(path: &Path, secret: bool) -> io::Result<Self> {
        let old = fs::metadata(path).ok();
        if is_device(path) || old.as_ref().is_some_and(|data| !data.is_file() && !data.is_dir()) {
            let file = OpenOptions::new().write(true).open(path)?;
            return Ok(Self { file, pending: None, to: path.to_owned() });
        }
        if old.as_ref().is_some_and(Metadata::is_dir) {
            return Err(io::ErrorKind::IsADirectory.into());
        }
        // Through a link the file that it names is replaced, and the link stays.
        let to = if old.is_some() { fs::canonicalize(path)? } else { path.to_owned() };
        let (file, pending) = beside(&to, secret)?;
        if let Some(old) = old.filter(|_| !secret) {
            file.set_permissions(old.permissions())?;
        }
        Ok(Self { file, pending: Some(pending), to })
    }

    /// Begins a file for its owner alone that must not be there yet.
    pub(super) fn fresh(path: &Path) -> io::Result<Self> {
        if fs::symlink_metadata(path).is_ok() {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let (file, pending) = beside(path, true)?;
        Ok(Self { file, pending: Some(pending), to: path.to_owned() })
    }

    /// Puts the file into its place, complete and on the disk; what is written after that is added to it there.
    pub(super) fn place(&mut self) -> io::Result<()> {
        self.put(false)
    }

    /// Puts a fresh file into its place, unless another is there by now.
    pub(super) fn place_fresh(&mut self) -> io::Result<()> {
        self.put(true)
    }

    fn put(&mut self, fresh: bool) -> io::Result<()> {
        self.file.flush()?;
        let Some(pending) = &self.pending else { return Ok(()) };
        self.file.sync_all()?;
        if fresh {
            // A link is refused where the name is taken; not every file system has links.
            match fs::hard_link(pending, &self.to) {
                Ok(()) => fs::remove_file(pending)?,
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => return Err(error),
                Err(_) if fs::symlink_metadata(&self.to).is_ok() => {
                    return Err(io::ErrorKind::AlreadyExists.into());
                }
                Err(_) => fs::rename(pending, &self.to)?,
            }
        } else {
            fs::rename(pending, &self.to)?;
        }
        if let Some(pending) = self.pending.take() {
            forget(&pending);
        }
        // The new name is on the disk, too; not every system lets a folder be synced.
        let _ = File::open(folder(&self.to)).and_then(|folder| folder.sync_all());
        Ok(())
    }
}

impl Write for Output {
    fn write(&mut self, octets: &[u8]) -> io::Result<usize> {
        self.file.write(octets)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Drop for Output {
    fn drop(&mut self) {
        if let Some(pending) = self.pending.take() {
            // What cannot be removed stays; whatever led here is the error to show.
            let _ = fs::remove_file(&pending);
            forget(&pending);
        }
    }
}

/// Removes all that is not in its place yet: the program ends now.
pub(super) fn abandon() {
    let pending = PENDING.lock().unwrap_or_else(PoisonError::into_inner);
    for path in pending.iter() {
        let _ = fs::remove_file(path);
    }
}

fn forget(pending: &Path) {
    PENDING.lock().unwrap_or_else(PoisonError::into_inner).retain(|path| path != pending);
}

/// Creates a file in the folder of another.
fn beside(to: &Path, secret: bool) -> io::Result<(File, PathBuf)> {
    if to.file_name().is_none() {
        return Err(io::ErrorKind::InvalidInput.into());
    }
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, if secret { 0o600 } else { 0o666 });
    #[cfg(not(unix))]
    let _ = secret;
    let mut tries = 0;
    loop {
        let name = format!(".handfast-{}-{tries}.part", std::process::id());
        let pending = folder(to).join(name);
        match options.open(&pending) {
            Ok(file) => {
                let mut all = PENDING.lock().unwrap_or_else(PoisonError::into_inner);
                all.push(pending.clone());
                return Ok((file, pending));
            }
            // Another file of this run, or one that a killed run with the same number left.
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && tries < MOST_TRIES => {
                tries += 1;
            }
            Err(error) => return Err(error),
        }
    }
}

fn folder(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Whether the name is one of the system's own: `/dev/stdout` may lead to a file that a shell has opened.
fn is_device(path: &Path) -> bool {
    path.starts_with("/dev") || path.starts_with("/proc")
}

/// Bytes at the beginning of a file that say its kind: a page says it in its head.
const HEAD: u64 = 1 << 12;
/// Names that are tried for a file next to its place.
const MOST_TRIES: u32 = 64;
