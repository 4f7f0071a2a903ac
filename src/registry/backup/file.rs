//! The file of a backup: written under a name of its own, synced, and only then given the name that was asked for.

use crate::registry::backup::Fault;
use sha2::{Digest, Sha256};
use std::fs::{File, OpenOptions, Permissions};
use std::io::Write;
use std::os::unix::fs::{OpenOptionsExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};

/// Readable and writable by its owner alone: it holds what the registry holds.
const MODE: u32 = 0o600;

/// A backup that is being written; unless it is finished, nothing of it stays.
#[derive(Debug)]
pub(in crate::registry) struct Unfinished {
    file: Option<File>,
    path: PathBuf,
    wanted: PathBuf,
    replace: bool,
    hash: Sha256,
}

impl Unfinished {
    /// Begins a file; one of that name is left alone unless it may be replaced.
    pub(in crate::registry) fn begin(wanted: &Path, replace: bool) -> Result<Self, Fault> {
        let at = |path: &Path, error: std::io::Error| Fault::new(format!("{}: {error}", path.display()));
        must_be_free(wanted, replace)?;
        let mut name = wanted
            .file_name()
            .ok_or_else(|| Fault::new(format!("{} is no name for a file", wanted.display())))?
            .to_owned();
        name.push(".unfinished");
        let path = wanted.with_file_name(name);
        let file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(false)
            .mode(MODE)
            .open(&path)
            .map_err(|error| at(&path, error))?;
        if file.try_lock().is_err() {
            return Err(Fault::new(format!("another backup is being written to {}", wanted.display())));
        }
        // What a backup that was killed has left behind is begun anew.
        file.set_len(0).map_err(|error| at(&path, error))?;
        file.set_permissions(Permissions::from_mode(MODE)).map_err(|error| at(&path, error))?;
        Ok(Self { file: Some(file), path, wanted: wanted.to_owned(), replace, hash: Sha256::new() })
    }

    /// Gives the file its name; gives back the SHA-256 of all of it.
    pub(in crate::registry) fn finish(mut self) -> Result<[u8; 32], Fault> {
        let Some(file) = &self.file else { return Err(Fault::new("the file is gone")) };
        file.sync_all()?;
        must_be_free(&self.wanted, self.replace)?;
        std::fs::rename(&self.path, &self.wanted)?;
        self.file = None;
        // The name is on disk only when the folder is.
        let folder = self.wanted.parent().filter(|folder| !folder.as_os_str().is_empty());
        File::open(folder.unwrap_or(Path::new(".")))?.sync_all()?;
        Ok(self.hash.clone().finalize().into())
    }
}

impl Write for Unfinished {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let Some(file) = &mut self.file else { return Ok(0) };
        let written = file.write(bytes)?;
        self.hash.update(&bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.file.as_mut().map_or(Ok(()), Write::flush)
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        if self.file.is_some() {
            // It bears the name of something unfinished; if it cannot be removed, that is what it says.
            drop(std::fs::remove_file(&self.path));
        }
    }
}

fn must_be_free(path: &Path, replace: bool) -> Result<(), Fault> {
    match std::fs::symlink_metadata(path) {
        Ok(there) if there.is_dir() => Err(Fault::new(format!("{} is a folder", path.display()))),
        Ok(_) if !replace => {
            Err(Fault::new(format!("{} is there already; --replace writes over it", path.display())))
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_bears_its_name_only_when_it_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let wanted = folder.path().join("b.tar");
        let names = || std::fs::read_dir(folder.path()).unwrap().count();
        let mut file = Unfinished::begin(&wanted, false).unwrap();
        file.write_all(b"half").unwrap();
        assert!(!wanted.exists());
        drop(file);
        assert_eq!(names(), 0, "given up, nothing stays");

        // As a backup that was killed leaves it.
        std::fs::write(folder.path().join("b.tar.unfinished"), "much more than there will be").unwrap();
        let mut file = Unfinished::begin(&wanted, false).unwrap();
        let other = Unfinished::begin(&wanted, false).unwrap_err();
        assert!(other.0.contains("another backup"), "{other}");
        file.write_all(b"whole").unwrap();
        let digest = file.finish().unwrap();
        assert_eq!(digest[..], Sha256::digest(b"whole")[..]);
        assert_eq!((std::fs::read(&wanted).unwrap(), names()), (b"whole".to_vec(), 1));
        assert_eq!(std::fs::metadata(&wanted).unwrap().permissions().mode() & 0o777, MODE);
    }

    #[test]
    fn an_earlier_file_is_written_over_only_on_demand_and_only_by_a_whole_one() {
        let folder = tempfile::tempdir().unwrap();
        let wanted = folder.path().join("b.tar");
        std::fs::write(&wanted, "before").unwrap();
        let refused = Unfinished::begin(&wanted, false).unwrap_err();
        assert!(refused.0.contains("--replace"), "{refused}");
        drop(Unfinished::begin(&wanted, true).unwrap());
        assert_eq!(std::fs::read(&wanted).unwrap(), b"before");
        let mut file = Unfinished::begin(&wanted, true).unwrap();
        file.write_all(b"after").unwrap();
        file.finish().unwrap();
        assert_eq!(std::fs::read(&wanted).unwrap(), b"after");
        // Somebody else was quicker.
        let late = folder.path().join("late.tar");
        let file = Unfinished::begin(&late, false).unwrap();
        std::fs::write(&late, "theirs").unwrap();
        assert!(file.finish().is_err());
        assert_eq!(std::fs::read(&late).unwrap(), b"theirs");
        assert!(Unfinished::begin(folder.path(), true).unwrap_err().0.contains("is a folder"));
    }
}
