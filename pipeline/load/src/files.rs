//! Files and folders written so that neither a crash nor a full disk loses what was there before, and so that
//! nobody but their owner reads them unless the study says so.

use std::ffi::OsString;
use std::fs::{self, DirBuilder, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

/// Who may read what is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Access {
    /// The owner alone: folders 0700, files 0600.
    #[default]
    Owner,
    /// Whoever the system lets by default.
    Shared,
}

/// The bytes of a file; `None` where there is none.
///
/// # Errors
/// What the operating system says of one that is there.
pub fn read_if_there(path: &Path) -> io::Result<Option<Vec<u8>>> {
    match fs::read(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) if error.kind() == io::ErrorKind::NotADirectory => Ok(None),
        read => read.map(Some),
    }
}

/// Creates a folder and those above it that are missing.
///
/// # Errors
/// What the operating system says.
pub fn create_dir(path: &Path, access: Access) -> io::Result<()> {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    if access == Access::Owner {
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    }
    builder.create(path)
}

/// Creates a file that is not there yet.
///
/// # Errors
/// What the operating system says; also where there is such a file.
pub fn create(path: &Path, access: Access) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    if access == Access::Owner {
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    }
    options.open(path)
}

/// The same, and the folder that it lies in where that is missing.
///
/// # Errors
/// As [`create`].
pub fn create_with_folder(path: &Path, access: Access) -> io::Result<File> {
    match (create(path, access), path.parent()) {
        (Err(error), Some(folder)) if error.kind() == io::ErrorKind::NotFound => {
            create_dir(folder, access)?;
            create(path, access)
        }
        (created, _) => created,
    }
}

/// Makes the names in a folder outlast a crash.
///
/// # Errors
/// What the operating system says.
pub fn sync_dir(path: &Path) -> io::Result<()> {
    // Only Unix has a handle of a folder that can be synced.
    if cfg!(unix) {
        File::open(path)?.sync_all()
    } else {
        Ok(())
    }
}

/// Puts a whole file in the place of another, or of none: a reader finds the old bytes or the new ones, and after
/// a crash one of them is there. A link is followed, the permissions of the old file stay.
///
/// # Errors
/// What the operating system says; the old file is then as it was.
pub fn replace(path: &Path, bytes: &[u8], access: Access) -> io::Result<()> {
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let beside = beside(&target, "new");
    let written = (|| {
        // One that a killed run left: whoever calls holds the lock of the study.
        if let Err(error) = fs::remove_file(&beside)
            && error.kind() != io::ErrorKind::NotFound
        {
            return Err(error);
        }
        let mut file = create(&beside, access)?;
        if let Ok(old) = fs::metadata(&target) {
            file.set_permissions(old.permissions())?;
        }
        file.write_all(bytes)?;
        file.sync_all()?;
        drop(file);
        fs::rename(&beside, &target)
    })();
    if written.is_err() {
        // Best effort: on a full disk the half-written file is in the way.
        let _ = fs::remove_file(&beside);
    }
    written?;
    target.parent().map_or(Ok(()), |folder| {
        sync_dir(if folder.as_os_str().is_empty() {
            Path::new(".")
        } else {
            folder
        })
    })
}

/// A hidden name beside a path: `.NAME.EXTENSION`.
fn beside(path: &Path, extension: &str) -> PathBuf {
    let mut name = OsString::from(".");
    name.push(path.file_name().unwrap_or_default());
    name.push(".");
    name.push(extension);
    path.with_file_name(name)
}

/// Hexadecimal SHA-256 of bytes.
pub fn sha256(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Counts and hashes the bytes that pass through to or from `inner`.
pub struct Hashed<T> {
    inner: T,
    hash: Sha256,
    bytes: u64,
}

impl<T> Hashed<T> {
    /// Begins with nothing counted.
    pub fn new(inner: T) -> Self {
        Self {
            inner,
            hash: Sha256::new(),
            bytes: 0,
        }
    }

    /// What was wrapped, the bytes that passed, and their SHA-256 in hexadecimal.
    pub fn finish(self) -> (T, u64, String) {
        (self.inner, self.bytes, hexadecimal(&self.hash.finalize()))
    }

    fn passed(&mut self, bytes: &[u8]) {
        self.hash.update(bytes);
        self.bytes += bytes.len() as u64;
    }
}

impl<W: Write> Write for Hashed<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let n = self.inner.write(bytes)?;
        self.passed(bytes.get(..n).unwrap_or(bytes));
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

impl<R: io::Read> io::Read for Hashed<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.inner.read(buffer)?;
        self.passed(buffer.get(..n).unwrap_or_default());
        Ok(n)
    }
}

/// Bytes and SHA-256 of a file.
///
/// # Errors
/// What the operating system says.
pub fn fingerprint(path: &Path) -> io::Result<(u64, String)> {
    let mut hashed = Hashed::new(File::open(path)?);
    let mut buffer = vec![0; 1 << 18];
    while io::Read::read(&mut hashed, &mut buffer)? > 0 {}
    let (_, bytes, sha256) = hashed.finish();
    Ok((bytes, sha256))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4, the message "abc".
    #[test]
    fn a_hash_by_the_standard() {
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256(b"abc"), expected);
        let mut hashed = Hashed::new(Vec::new());
        hashed.write_all(b"a").unwrap();
        hashed.write_all(b"bc").unwrap();
        let (inner, bytes, hash) = hashed.finish();
        assert_eq!(
            (inner.as_slice(), bytes, hash.as_str()),
            (&b"abc"[..], 3, expected)
        );
    }

    #[test]
    fn a_file_is_replaced_and_a_link_is_followed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        replace(&path, b"one", Access::Owner).unwrap();
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
            assert_eq!(mode(&path), 0o600);
            fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
            let link = folder.path().join("link.csv");
            std::os::unix::fs::symlink(&path, &link).unwrap();
            replace(&link, b"two", Access::Owner).unwrap();
            assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
            assert_eq!(mode(&path), 0o640);
            assert_eq!(fs::read(&path).unwrap(), b"two");
        }
        assert!(!folder.path().join(".a.csv.new").exists());
    }
}
