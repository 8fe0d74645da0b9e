//! One run at a time writes the store; any number read it, and no file is removed under their hands.
//!
//! The system releases a lock when its process ends, however it ends: a lock file without a lock is stale, and
//! the next run takes it over.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::error::LoadError;
use crate::files::{self, Access};

/// Held by the run that writes; its text says which one and since when.
const WRITER: &str = "lock";

/// Shared by the runs that read files of the store; whoever removes files takes it alone.
const READERS: &str = "readers";

/// Between two tries to get a lock.
const PAUSE: Duration = Duration::from_millis(50);

/// Who works on a study.
#[derive(Clone, Debug, Default)]
pub struct Holder {
    /// Process and time, for whoever finds the lock taken.
    pub name: String,
    /// How long to wait for another run to end.
    pub wait: Duration,
}

/// The right to write the store.
pub(crate) struct WriterLock {
    dir: PathBuf,
    // The lock lasts as long as the file is open.
    _file: File,
    /// Whether the folder was made for this run: one that fails leaves nothing.
    fresh: bool,
}

impl WriterLock {
    /// Takes the lock, waiting as long as the holder says.
    pub fn take(dir: &Path, holder: &Holder, access: Access) -> Result<Self, LoadError> {
        let mut waited = Duration::ZERO;
        loop {
            if let Some(lock) = Self::attempt(dir, &holder.name, access)? {
                return Ok(lock);
            }
            if waited >= holder.wait {
                return Err(LoadError::Busy(holder_of(dir)));
            }
            std::thread::sleep(PAUSE);
            waited += PAUSE;
        }
    }

    /// Takes the lock where it is free.
    pub fn attempt(dir: &Path, name: &str, access: Access) -> Result<Option<Self>, LoadError> {
        let path = dir.join(WRITER);
        let fresh = !dir.exists();
        files::create_dir(dir, access).map_err(LoadError::io(dir, "creating"))?;
        let failed = LoadError::io(&path, "locking");
        match lock_alone(&path, access) {
            Ok(Some(mut file)) => {
                // A lock without its text still locks.
                let _ = file.set_len(0).and_then(|()| writeln!(file, "{name}"));
                Ok(Some(Self {
                    dir: dir.to_owned(),
                    _file: file,
                    fresh,
                }))
            }
            Ok(None) => Ok(None),
            // Another run that failed took its new folder away in between.
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(error) => Err(failed(error)),
        }
    }
}

impl Drop for WriterLock {
    fn drop(&mut self) {
        if self.fresh {
            // Only a folder without anything else goes: a store stays.
            let others = fs::read_dir(&self.dir).is_ok_and(|mut entries| {
                entries.any(|entry| {
                    entry.is_ok_and(|entry| {
                        let name = entry.file_name();
                        name != WRITER && name != READERS
                    })
                })
            });
            if !others {
                let _ = fs::remove_file(self.dir.join(READERS));
                let _ = fs::remove_file(self.dir.join(WRITER));
                let _ = fs::remove_dir(&self.dir);
            }
        }
    }
}

/// The promise that no file of the store is removed; `None` inside where the folder allows no lock file, as in a
/// study that can only be read.
#[derive(Debug)]
pub(crate) struct ReaderLock {
    _file: Option<File>,
}

impl ReaderLock {
    /// Shares the lock; a run that is just removing files is waited for, which takes it no time.
    pub fn share(dir: &Path, access: Access) -> Self {
        let path = dir.join(READERS);
        let file = open(&path, access).or_else(|_| File::open(&path)).ok();
        Self {
            _file: file.filter(|file| file.lock_shared().is_ok()),
        }
    }

    /// Takes the lock alone, where nobody shares it.
    pub fn alone(dir: &Path, access: Access) -> Option<Self> {
        let file = lock_alone(&dir.join(READERS), access).ok()??;
        Some(Self { _file: Some(file) })
    }
}

/// Takes a lock of its own in the store's folder for a moment's work, waiting as long as it is said.
pub(crate) fn exclusive(
    dir: &Path,
    name: &str,
    wait: Duration,
    access: Access,
) -> Result<File, LoadError> {
    let path = dir.join(name);
    files::create_dir(dir, access).map_err(LoadError::io(dir, "creating"))?;
    let mut waited = Duration::ZERO;
    loop {
        let taken = lock_alone(&path, access).map_err(LoadError::io(&path, "locking"))?;
        if let Some(file) = taken {
            return Ok(file);
        }
        if waited >= wait {
            return Err(LoadError::Busy(holder_of(dir)));
        }
        std::thread::sleep(PAUSE);
        waited += PAUSE;
    }
}

/// The text of the lock that another run holds.
fn holder_of(dir: &Path) -> String {
    let text = fs::read_to_string(dir.join(WRITER)).unwrap_or_default();
    let text = text.trim();
    if text.is_empty() {
        "another run".to_owned()
    } else {
        format!("another run ({text})")
    }
}

fn open(path: &Path, access: Access) -> io::Result<File> {
    match files::create(path, access) {
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            OpenOptions::new().read(true).write(true).open(path)
        }
        other => other,
    }
}

/// Opens and locks a file; `None` where another holds the lock.
fn lock_alone(path: &Path, access: Access) -> io::Result<Option<File>> {
    let file = open(path, access)?;
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => return Ok(None),
        Err(TryLockError::Error(error)) => return Err(error),
    }
    // The file may have been removed between opening and locking: its lock is then worth nothing.
    Ok(is_at(&file, path).then_some(file))
}

#[cfg(unix)]
fn is_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let id = |meta: fs::Metadata| (meta.dev(), meta.ino());
    match (file.metadata(), fs::metadata(path)) {
        (Ok(ours), Ok(there)) => id(ours) == id(there),
        _ => false,
    }
}

#[cfg(not(unix))]
fn is_at(_: &File, path: &Path) -> bool {
    path.exists()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holder(wait: u64) -> Holder {
        Holder {
            name: "process 7".to_owned(),
            wait: Duration::from_millis(wait),
        }
    }

    #[test]
    fn one_writer_at_a_time_and_the_other_is_told_who() {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().join("store");
        let first = WriterLock::take(&dir, &holder(0), Access::Owner).unwrap();
        let second = WriterLock::take(&dir, &holder(100), Access::Owner);
        let message = second.err().unwrap().to_string();
        assert!(message.contains("process 7"), "{message}");
        drop(first);
        assert!(!dir.exists(), "a run that wrote nothing leaves nothing");
        fs::create_dir(&dir).unwrap();
        fs::write(dir.join(WRITER), "process 1, long gone").unwrap();
        WriterLock::take(&dir, &holder(0), Access::Owner).unwrap();
    }

    #[test]
    fn a_run_waits_until_the_store_is_free() {
        let folder = tempfile::tempdir().unwrap();
        let first = WriterLock::take(folder.path(), &holder(0), Access::Owner).unwrap();
        let other = std::thread::scope(|scope| {
            let other =
                scope.spawn(|| WriterLock::take(folder.path(), &holder(10_000), Access::Owner));
            std::thread::sleep(2 * PAUSE);
            drop(first);
            other.join().unwrap()
        });
        assert!(other.is_ok());
    }

    #[test]
    fn nobody_removes_files_that_another_reads() {
        let folder = tempfile::tempdir().unwrap();
        let reader = ReaderLock::share(folder.path(), Access::Owner);
        let other = ReaderLock::share(folder.path(), Access::Owner);
        assert!(ReaderLock::alone(folder.path(), Access::Owner).is_none());
        drop((reader, other));
        assert!(ReaderLock::alone(folder.path(), Access::Owner).is_some());
    }
}
