//! A run that is stopped, by Ctrl-C or by the system, takes away what it has not finished.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Folders that go when the run ends, each with what takes it away.
static UNFINISHED: Mutex<BTreeMap<PathBuf, Removal>> = Mutex::new(BTreeMap::new());

type Removal = Box<dyn FnOnce(&Path) + Send>;

fn unfinished() -> MutexGuard<'static, BTreeMap<PathBuf, Removal>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A folder that goes when the run is stopped before this is dropped.
pub struct Unfinished(PathBuf);

impl Unfinished {
    /// Makes the folder. A signal waits until it is made and known.
    pub fn begin<M>(
        folder: &Path,
        make: impl FnOnce() -> std::io::Result<M>,
        remove: impl FnOnce(&Path) + Send + 'static,
    ) -> std::io::Result<(M, Self)> {
        let mut folders = unfinished();
        let made = make()?;
        folders.insert(folder.to_owned(), Box::new(remove));
        Ok((made, Self(folder.to_owned())))
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        unfinished().remove(&self.0);
    }
}

/// A private folder among the system's temporary ones, which goes when the run ends.
pub fn scratch() -> std::io::Result<PathBuf> {
    until_the_end(|| {
        let folder = tempfile::Builder::new().prefix("whereworn-").tempdir()?;
        Ok(folder.keep())
    })
}

/// Makes a folder that goes when the run ends.
pub fn until_the_end(make: impl FnOnce() -> std::io::Result<PathBuf>) -> std::io::Result<PathBuf> {
    let mut folders = unfinished();
    let folder = make()?;
    let remove = |folder: &Path| {
        let _ = std::fs::remove_dir_all(folder);
    };
    folders.insert(folder.clone(), Box::new(remove));
    Ok(folder)
}

/// Writes below an unfinished folder: a signal waits meanwhile, so that nothing is written into what it takes away.
pub fn undisturbed<T>(write: impl FnOnce() -> T) -> T {
    let _held = unfinished();
    write()
}

/// Takes away what is not finished.
pub fn clear() {
    remove_all(&mut unfinished());
}

fn remove_all(folders: &mut BTreeMap<PathBuf, Removal>) {
    while let Some((folder, remove)) = folders.pop_first() {
        remove(&folder);
    }
}

/// Waits beside the run for a signal that ends it: the status is then 128 and the signal's number, as shells have it.
#[cfg(unix)]
pub fn listen() {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let Ok(mut signals) = signal_hook::iterator::Signals::new([SIGHUP, SIGINT, SIGTERM]) else {
        return;
    };
    std::thread::spawn(move || {
        if let Some(signal) = signals.forever().next() {
            // Held to the end, so that nothing begins any more.
            let mut folders = unfinished();
            remove_all(&mut folders);
            crate::terminal::say("whereworn: stopped: what was there before is as it was");
            signal_hook::low_level::exit(128 + signal);
        }
    });
}

#[cfg(not(unix))]
pub fn listen() {}
