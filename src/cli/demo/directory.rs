//! The demonstration's directory: the database, and a note of its tokens and of how far it is.

use crate::cli::failure::Failure;
use crate::model::facts::account::Role;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::io::Write as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

/// The database's file; SQLite puts two more beside it.
const DATABASE: &str = "registry.sqlite";
/// The note.
const NOTE: &str = "demo.json";
/// The tour, with the identifiers of this very registry.
const TOUR: &str = "tour.md";

/// The directory that the demonstration names as its own.
#[derive(Debug)]
pub(super) struct Directory(PathBuf);

/// What the demonstration remembers between starts.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Note {
    /// A token for each role; the registry itself keeps only their digests.
    pub tokens: BTreeMap<Role, String>,
    /// A password for each role; the registry itself keeps only their hashes.
    pub passwords: BTreeMap<Role, String>,
    /// The identifiers of what was loaded, by name; empty until everything has been.
    pub names: BTreeMap<String, String>,
}

impl Directory {
    /// Makes the directory where it is missing; `fresh` takes an earlier demonstration out of it first.
    ///
    /// # Errors
    /// The directory cannot be made or emptied.
    pub(super) fn open(path: &Path, fresh: bool) -> Result<Self, Failure> {
        let told = |error: std::io::Error| Failure::Refused(format!("{}: {error}", path.display()));
        std::fs::create_dir_all(path).map_err(told)?;
        if fresh {
            // Only what the demonstration made itself: the directory may be anybody's.
            for name in [DATABASE, "registry.sqlite-wal", "registry.sqlite-shm", NOTE, TOUR] {
                match std::fs::remove_file(path.join(name)) {
                    Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(told(error)),
                    _ => {}
                }
            }
        }
        Ok(Self(path.canonicalize().map_err(told)?))
    }

    /// The directory.
    pub(super) fn path(&self) -> &Path {
        &self.0
    }

    /// The address of its database.
    pub(super) fn database_url(&self) -> String {
        format!("sqlite:{}", self.0.join(DATABASE).display())
    }

    /// The note, or an empty one.
    pub(super) fn note(&self) -> Note {
        let text = std::fs::read_to_string(self.0.join(NOTE)).unwrap_or_default();
        let Ok(value) = serde_json::from_str::<Value>(&text) else { return Note::default() };
        let texts = |member: &str| -> BTreeMap<String, String> {
            let texts = value[member].as_object().into_iter().flatten();
            texts.filter_map(|(name, text)| Some((name.clone(), text.as_str()?.to_owned()))).collect()
        };
        let by_role = |member: &str| -> BTreeMap<Role, String> {
            texts(member)
                .into_iter()
                .filter_map(|(role, text)| Some((Role::from_word(&role)?, text)))
                .collect()
        };
        Note { tokens: by_role("tokens"), passwords: by_role("passwords"), names: texts("names") }
    }

    /// Keeps the note.
    ///
    /// # Errors
    /// The file cannot be written.
    pub(super) fn keep(&self, note: &Note) -> Result<(), Failure> {
        let by_role = |texts: &BTreeMap<Role, String>| -> Map<String, Value> {
            texts.iter().map(|(role, text)| (role.to_string(), json!(text))).collect()
        };
        let (tokens, passwords) = (by_role(&note.tokens), by_role(&note.passwords));
        let note = json!({"tokens": tokens, "passwords": passwords, "names": note.names});
        self.write(NOTE, &format!("{note:#}\n"))
    }

    /// Keeps the tour; where it was put.
    ///
    /// # Errors
    /// The file cannot be written.
    pub(super) fn keep_tour(&self, tour: &str) -> Result<PathBuf, Failure> {
        self.write(TOUR, tour)?;
        Ok(self.0.join(TOUR))
    }

    /// Writes a file that its owner alone may read: it holds tokens.
    fn write(&self, name: &str, text: &str) -> Result<(), Failure> {
        let mut options = std::fs::OpenOptions::new();
        let mut file = options.write(true).create(true).truncate(true).mode(0o600).open(self.0.join(name))?;
        Ok(file.write_all(text.as_bytes())?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_is_kept_and_a_fresh_start_takes_it_away_but_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let directory = Directory::open(folder.path(), false).unwrap();
        assert_eq!(directory.note(), Note::default());
        let note = Note {
            tokens: [(Role::Physician, "dw1_x".to_owned())].into(),
            passwords: [(Role::Physician, "x".to_owned())].into(),
            names: [("site:ALD".to_owned(), "id".to_owned())].into(),
        };
        directory.keep(&note).unwrap();
        std::fs::write(folder.path().join("mine.txt"), "mine").unwrap();
        assert_eq!(Directory::open(folder.path(), false).unwrap().note(), note);
        assert_eq!(Directory::open(folder.path(), true).unwrap().note(), Note::default());
        assert!(folder.path().join("mine.txt").exists());
    }
}
