//! Rows of queries kept between runs, each result in a file of its own beside the store.
//!
//! A file is named after what its rows were made from, and begins with the SHA-256 of that name and the rest. What is missing, damaged or
//! cannot be written costs a computation and nothing else, so no manifest names these files and no failure is told.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use crate::files::{self, Access, Hashed};
use crate::store::Store;

/// The folder in that of the store.
const FOLDER: &str = "computed";

/// Hexadecimal digits before the bytes of a result.
const SEAL: usize = 64;

/// Results kept beside a store.
#[derive(Debug)]
pub struct Computed {
    dir: PathBuf,
    access: Access,
    used: Mutex<BTreeSet<String>>,
}

impl Computed {
    /// Those beside a store.
    pub fn beside(store: &Store, access: Access) -> Self {
        Self {
            dir: store.dir.join(FOLDER),
            access,
            used: Mutex::default(),
        }
    }

    /// The bytes kept under a name of letters and digits; `None` where there are none that are whole.
    pub fn get(&self, name: &str) -> Option<Vec<u8>> {
        let mut sealed = fs::read(self.dir.join(name)).ok()?;
        if sealed.len() < SEAL {
            return None;
        }
        let given: Vec<u8> = sealed.drain(..SEAL).collect();
        self.note(name);
        (given == seal(name, &sealed).as_bytes()).then_some(sealed)
    }

    /// Keeps bytes under a name, as far as that is possible.
    pub fn put(&self, name: &str, bytes: &[u8]) {
        self.note(name);
        let new = self.dir.join(format!(".{name}.{}", std::process::id()));
        if self.write(&new, name, bytes).is_err() {
            let _ = fs::remove_file(new);
        }
    }

    fn write(&self, new: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
        let mut file = files::create_with_folder(new, self.access)?;
        file.write_all(seal(name, bytes).as_bytes())?;
        file.write_all(bytes)?;
        fs::rename(new, self.dir.join(name))
    }

    fn note(&self, name: &str) {
        if let Ok(mut used) = self.used.lock() {
            used.insert(name.to_owned());
        }
    }

    /// Removes what was neither read nor kept since this was opened: it was made from other rows.
    pub fn remove_others(&self) {
        let Ok(used) = self.used.lock() else { return };
        for entry in fs::read_dir(&self.dir).into_iter().flatten().flatten() {
            if !used.contains(&*entry.file_name().to_string_lossy()) {
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}

/// Digits by which a name and its bytes are known to belong together and to be whole.
fn seal(name: &str, bytes: &[u8]) -> String {
    let mut hashed = Hashed::new(io::sink());
    for part in [name.as_bytes(), bytes] {
        let _ = hashed.write_all(part);
    }
    hashed.finish().2
}

#[cfg(test)]
mod tests {
    use super::*;

    fn computed(dir: &Path) -> Computed {
        Computed {
            dir: dir.join(FOLDER),
            access: Access::Owner,
            used: Mutex::default(),
        }
    }

    #[test]
    fn what_is_not_whole_or_of_another_name_is_not_there() {
        let root = tempfile::tempdir().unwrap();
        let kept = computed(root.path());
        assert_eq!(kept.get("a"), None);
        for (name, bytes) in [("a", b"one"), ("b", b"two")] {
            kept.put(name, bytes);
            assert_eq!(kept.get(name).as_deref(), Some(bytes.as_slice()));
        }
        fs::rename(kept.dir.join("b"), kept.dir.join("c")).unwrap();
        assert_eq!(kept.get("c"), None);
        let mut bytes = fs::read(kept.dir.join("a")).unwrap();
        for cut in [0, 10, SEAL, bytes.len() - 1] {
            fs::write(kept.dir.join("a"), &bytes[..cut]).unwrap();
            assert_eq!(kept.get("a"), None, "cut to {cut} bytes");
        }
        bytes[SEAL] ^= 1;
        fs::write(kept.dir.join("a"), bytes).unwrap();
        assert_eq!(kept.get("a"), None);
    }

    #[test]
    fn what_a_run_did_not_use_is_removed() {
        let root = tempfile::tempdir().unwrap();
        let first = computed(root.path());
        first.put("a", b"one");
        first.put("b", b"two");
        let second = computed(root.path());
        assert!(second.get("a").is_some());
        second.put("c", b"three");
        second.remove_others();
        let left: BTreeSet<String> = fs::read_dir(&second.dir)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        assert_eq!(left, BTreeSet::from(["a".to_owned(), "c".to_owned()]));
    }

    /// A folder that cannot be made costs a computation.
    #[test]
    fn what_cannot_be_written_is_no_failure() {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join(FOLDER), "in the way").unwrap();
        let kept = computed(root.path());
        kept.put("a", b"one");
        assert_eq!(kept.get("a"), None);
        kept.remove_others();
    }
}
