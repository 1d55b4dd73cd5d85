//! Which file it is that has a name.

#[cfg(not(unix))]
use std::path::PathBuf;
use std::{
    fs::{self, File, Metadata},
    path::Path,
};

/// What makes a file the same under several names: links, other spellings, another case.
#[derive(Debug, Eq, PartialEq)]
pub(crate) struct Identity {
    #[cfg(unix)]
    device_and_inode: (u64, u64),
    #[cfg(not(unix))]
    path: PathBuf,
}

impl Identity {
    /// Returns that of a file; `None` where there is none, and for what is no file: a terminal or a pipe may well
    /// be read and written.
    pub(crate) fn of(path: &Path) -> Option<Self> {
        Self::named(&fs::metadata(path).ok()?, path)
    }

    /// Returns that of a file that is open, under the path that it was opened by.
    pub(crate) fn of_file(file: &File, path: &Path) -> Option<Self> {
        Self::named(&file.metadata().ok()?, path)
    }

    fn named(data: &Metadata, path: &Path) -> Option<Self> {
        if !data.is_file() {
            return None;
        }
        #[cfg(unix)]
        {
            use std::os::unix::fs::MetadataExt;
            let _ = path;
            Some(Self { device_and_inode: (data.dev(), data.ino()) })
        }
        #[cfg(not(unix))]
        {
            Some(Self { path: fs::canonicalize(path).ok()? })
        }
    }
}
