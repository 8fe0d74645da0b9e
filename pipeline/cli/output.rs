//! A folder written all or nothing.
//!
//! The report is written into a hidden folder beside the place where it will stand, synced, and exchanged with what
//! stands there in one step where the file system can; else in two, and a run that was killed between them is
//! mended by the next. A hidden folder is locked while its run lives: one without a lock is left over.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{self, BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};

use whereworn_load::files::{self, Access, Hashed};

use crate::failure::Failure;
use crate::stop::{Unfinished, undisturbed};

/// Lists what a report is made of; a folder without it is none of ours.
const RUN: &str = "run.json";

/// In the name of a hidden folder, before the number of its process.
const MARK: &str = ".whereworn-";

/// Files synced side by side.
const SYNCS: usize = 8;

/// A folder being written beside the place where it will stand.
pub struct Output {
    target: PathBuf,
    parent: PathBuf,
    new: PathBuf,
    access: Access,
    /// Files of the report that stands there already; `None` where there is none.
    previous: Option<Files>,
    written: Files,
    /// The lock of the hidden folder.
    _lock: Option<File>,
    _unfinished: Unfinished,
    /// Whether the folder above was made for this report.
    fresh_parent: bool,
    /// Whether the report stands in its place.
    done: bool,
}

/// A file that is being written.
pub type Pieces = BufWriter<Hashed<File>>;

/// Files of a report by name, with the SHA-256 of each where it is known.
pub type Files = BTreeMap<String, Option<String>>;

impl Output {
    /// Begins a folder. One that stands there already must be a report of ours that nobody edited, or empty; else the
    /// message ends with what can be done about it.
    pub fn begin(target: &Path, access: Access, remedy: &str) -> Result<Self, Failure> {
        let target = followed(target, remedy)?;
        let name = target.file_name().ok_or_else(|| {
            let place = target.display();
            Failure::Request(format!("{place}: --out needs the name of a folder"))
        })?;
        let parent = match target.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        let fresh_parent = !parent.exists();
        files::create_dir(&parent, access).map_err(Failure::io(&parent, "creating"))?;
        recover(&parent);
        let previous = report_of_ours(&target, remedy)?;
        let new = parent.join(hidden(name, "new"));
        let place = target.clone();
        // Once exchanged it holds the report before.
        let remove = move |new: &Path| clear(new, &place);
        let (lock, unfinished) = Unfinished::begin(&new, || locked(&new, access), remove)
            .map_err(Failure::io(&new, "creating"))?;
        Ok(Self {
            _lock: lock,
            _unfinished: unfinished,
            target,
            parent,
            new,
            access,
            previous,
            written: Files::new(),
            fresh_parent,
            done: false,
        })
    }

    /// Writes a whole file; `name` has `/` between its parts.
    pub fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        self.write_by(name, |out| out.write_all(bytes))
    }

    /// Writes a whole file piece by piece.
    pub fn write_by(
        &mut self,
        name: &str,
        write: impl FnOnce(&mut Pieces) -> io::Result<()>,
    ) -> Result<(), Failure> {
        let path = self.new.join(name);
        let hash = undisturbed(|| {
            let file = files::create_with_folder(&path, self.access);
            let file = file.map_err(Failure::io(&path, "creating"))?;
            let mut out = BufWriter::new(Hashed::new(file));
            let written = write(&mut out).and_then(|()| Ok(out.into_inner()?.finish()));
            written.map_err(Failure::io(&path, "writing"))
        });
        let (_, _, hash) = hash?;
        self.written.insert(name.to_owned(), Some(hash));
        Ok(())
    }

    /// The files written so far.
    pub fn written(&self) -> &Files {
        &self.written
    }

    /// Puts the folder in its place. What somebody put beside the report before stays there.
    pub fn finish(mut self) -> Result<(), Failure> {
        self.sync()?;
        undisturbed(|| {
            if let Some(ours) = &self.previous {
                carry(&self.target, &self.new, ours).map_err(Failure::io(
                    &self.target,
                    "keeping the files beside the report",
                ))?;
            }
            put(&self.new, &self.target).map_err(Failure::io(&self.target, "replacing"))
        })?;
        self.done = true;
        files::sync_dir(&self.parent).map_err(Failure::io(&self.parent, "writing"))?;
        // Dropping removes the report before; one that cannot be removed now goes with a later run.
        Ok(())
    }

    fn sync(&self) -> Result<(), Failure> {
        let paths: Vec<PathBuf> = self
            .written
            .keys()
            .map(|name| self.new.join(name))
            .collect();
        let sync = |path: &PathBuf| {
            let synced = File::open(path).and_then(|file| file.sync_all());
            synced.map_err(Failure::io(path, "writing"))
        };
        let share = paths.len().div_ceil(SYNCS).max(1);
        std::thread::scope(|scope| {
            let threads: Vec<_> = paths
                .chunks(share)
                .map(|paths| scope.spawn(move || paths.iter().try_for_each(sync)))
                .collect();
            let ended = threads.into_iter().map(|thread| match thread.join() {
                Ok(synced) => synced,
                Err(panic) => std::panic::resume_unwind(panic),
            });
            ended.collect::<Result<(), Failure>>()
        })?;
        let folders: BTreeSet<&Path> = paths.iter().filter_map(|path| path.parent()).collect();
        for folder in folders {
            files::sync_dir(folder).map_err(Failure::io(folder, "writing"))?;
        }
        Ok(())
    }
}

impl Drop for Output {
    fn drop(&mut self) {
        if self.done {
            clear(&self.new, &self.target);
        } else {
            let _ = fs::remove_dir_all(&self.new);
        }
        if self.fresh_parent {
            // Only an empty folder goes.
            let _ = fs::remove_dir(&self.parent);
        }
    }
}

/// Mends and clears away what runs that were killed left in a folder of reports.
pub fn recover(parent: &Path) {
    let Ok(entries) = fs::read_dir(parent) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let Some((report, kind)) = left_over(&name) else {
            continue;
        };
        let path = entry.path();
        if lock(&path).is_none() {
            continue;
        }
        let target = parent.join(report);
        if kind == "old" && !target.exists() {
            let _ = fs::rename(&path, &target);
        } else {
            clear(&path, &target);
        }
    }
}

/// The report and the kind of a hidden folder's name, `.REPORT.whereworn-PROCESS.KIND`.
fn left_over(name: &OsStr) -> Option<(String, &'static str)> {
    let name = name.to_str()?.strip_prefix('.')?;
    let (report, rest) = name.rsplit_once(MARK)?;
    let (process, kind) = rest.split_once('.')?;
    let kind = ["new", "old"].into_iter().find(|known| *known == kind)?;
    process.parse::<u32>().ok()?;
    Some((report.to_owned(), kind))
}

fn hidden(name: &OsStr, kind: &str) -> std::ffi::OsString {
    let mut hidden = std::ffi::OsString::from(".");
    hidden.push(name);
    hidden.push(format!("{MARK}{}.{kind}", std::process::id()));
    hidden
}

/// A link as the place of a report stays a link: the folder that it points to is exchanged.
fn followed(target: &Path, remedy: &str) -> Result<PathBuf, Failure> {
    let is_link = fs::symlink_metadata(target).is_ok_and(|meta| meta.is_symlink());
    if !is_link {
        return Ok(target.to_owned());
    }
    fs::canonicalize(target).map_err(|_| {
        Failure::Request(format!(
            "{}: a link to something that is not there: {remedy}",
            target.display()
        ))
    })
}

/// Makes a hidden folder and locks it. Before it is locked another run may take it for left over and remove it: then
/// it is made again. Where folders cannot be locked it is used without.
fn locked(folder: &Path, access: Access) -> io::Result<Option<File>> {
    for _ in 0..3 {
        files::create_dir(folder, access)?;
        if let Some(lock) = lock(folder)
            && folder.is_dir()
        {
            return Ok(Some(lock));
        }
    }
    files::create_dir(folder, access)?;
    Ok(None)
}

/// Locks a folder for as long as the file is open; `None` where another run has it, or where folders cannot be locked.
fn lock(folder: &Path) -> Option<File> {
    let file = File::open(folder).ok()?;
    file.try_lock().ok()?;
    Some(file)
}

/// The files of the report that stands in a folder; `None` where there is none. Refuses a folder that holds
/// something else, and a report that somebody edited.
fn report_of_ours(target: &Path, remedy: &str) -> Result<Option<Files>, Failure> {
    let refuse = |what: String| {
        Err(Failure::Request(format!(
            "{}: {what}: {remedy}",
            target.display()
        )))
    };
    let mut entries = match fs::read_dir(target) {
        Ok(entries) => entries,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) if error.kind() == ErrorKind::NotADirectory => {
            return refuse("is a file, and a report is a folder".to_owned());
        }
        Err(error) => return Err(Failure::io(target, "listing")(error)),
    };
    let Some(ours) = files_of(target) else {
        let first = entries
            .next()
            .transpose()
            .map_err(Failure::io(target, "listing"))?;
        return match first {
            None => Ok(None),
            Some(first) => refuse(format!(
                "holds `{}` and no report of whereworn",
                first.file_name().to_string_lossy()
            )),
        };
    };
    for (name, sha256) in &ours {
        let path = target.join(name);
        let there = files::read_if_there(&path).map_err(Failure::io(&path, "reading"))?;
        let edited = |sha256: &String| there.is_some_and(|bytes| files::sha256(&bytes) != *sha256);
        if sha256.as_ref().is_some_and(edited) {
            return refuse(format!("`{name}` was changed since whereworn wrote it"));
        }
    }
    Ok(Some(ours))
}

/// The files that `run.json` of a folder lists; `None` where it is no report of ours.
fn files_of(folder: &Path) -> Option<Files> {
    let bytes = match fs::read(folder.join(RUN)) {
        Ok(bytes) => bytes,
        Err(_) if folder.join("plan.json").is_file() => {
            // Plans of older versions list nothing.
            return Some(
                ["plan.json", "plan.md", "plan.html"]
                    .map(|name| (name.to_owned(), None))
                    .into(),
            );
        }
        Err(_) => return None,
    };
    let run: serde_json::Value = serde_json::from_slice(&bytes).ok()?;
    let files = run.get("files")?;
    let mut ours: Files = match serde_json::from_value(files.clone()) {
        Ok(files) => files,
        // Reports of older versions list names alone.
        Err(_) => {
            let names: Vec<String> = serde_json::from_value(files.clone()).ok()?;
            names.into_iter().map(|name| (name, None)).collect()
        }
    };
    ours.insert(RUN.to_owned(), None);
    // Copies that were kept go with the report that names them, and nowhere else.
    let copies = run
        .get("earlier_copies")
        .and_then(|copies| copies.as_array());
    let named = |copy: &serde_json::Value| Some(copy.get("file")?.as_str()?.to_owned());
    ours.extend(
        copies
            .into_iter()
            .flatten()
            .filter_map(|copy| Some((named(copy)?, None))),
    );
    Some(ours)
}

/// Puts files that are none of ours into the new folder too: as a second name, where the system has such, else as
/// a copy.
fn carry(from: &Path, to: &Path, ours: &Files) -> io::Result<()> {
    for name in foreign(from, Path::new(""), ours)? {
        let (from, to) = (from.join(&name), to.join(&name));
        if from.is_dir() {
            fs::create_dir_all(&to)?;
        } else if fs::symlink_metadata(&to).is_err() && fs::hard_link(&from, &to).is_err() {
            fs::copy(&from, &to)?;
        }
    }
    Ok(())
}

/// Paths below a folder that are not listed, folders before what they hold.
fn foreign(folder: &Path, within: &Path, ours: &Files) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder.join(within))? {
        let entry = entry?;
        let path = within.join(entry.file_name());
        let parts: Vec<_> = path.iter().map(OsStr::to_string_lossy).collect();
        let name = parts.join("/");
        if entry.file_type()?.is_dir() {
            let inside = foreign(folder, &path, ours)?;
            if !["figures", "tables"].contains(&name.as_str()) {
                found.push(path);
            }
            found.extend(inside);
        } else if !ours.contains_key(&name) {
            found.push(path);
        }
    }
    Ok(found)
}

/// Puts a folder in the place of another, or of none.
fn put(new: &Path, target: &Path) -> io::Result<()> {
    if !target.exists() {
        match fs::rename(new, target) {
            // Another run was faster.
            Err(error) if error.kind() == ErrorKind::DirectoryNotEmpty => {}
            other => return other,
        }
    }
    match exchange(new, target) {
        Err(error) if error.kind() == ErrorKind::Unsupported => {
            let name = target.file_name().unwrap_or_default();
            let old = target.with_file_name(hidden(name, "old"));
            // While it is locked nobody takes it for left over.
            let _lock = lock(target);
            fs::rename(target, &old)?;
            if let Err(error) = fs::rename(new, target) {
                fs::rename(&old, target)?;
                return Err(error);
            }
            // Where the report before waits to be cleared away.
            fs::rename(&old, new)
        }
        other => other,
    }
}

#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    use rustix::io::Errno;
    match renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE) {
        Err(Errno::INVAL | Errno::NOSYS | Errno::NOTSUP | Errno::XDEV) => {
            Err(ErrorKind::Unsupported.into())
        }
        other => Ok(other?),
    }
}

#[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(ErrorKind::Unsupported.into())
}

/// Removes a hidden folder, after what somebody put into a report that it holds went to where the report stands.
fn clear(folder: &Path, target: &Path) {
    if let Some(ours) = files_of(folder)
        && target.is_dir()
        && carry(folder, target, &ours).is_err()
    {
        return;
    }
    let _ = fs::remove_dir_all(folder);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hidden_folders_are_known_by_their_names() {
        let name = hidden(OsStr::new("2026-09-clinician"), "old");
        assert_eq!(
            left_over(&name),
            Some(("2026-09-clinician".to_owned(), "old"))
        );
        for other in [
            ".2026-09.partial",
            ".a.whereworn-x.new",
            "a.whereworn-1.new",
            ".a.whereworn-1.mine",
        ] {
            assert_eq!(left_over(OsStr::new(other)), None, "{other}");
        }
    }
}
