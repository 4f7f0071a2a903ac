//! Restores a backup into an empty registry.
//!
//! All of it is one transaction: a restore that is refused or interrupted leaves the registry as empty as it was. What is
//! computed from facts is computed afresh afterwards; until then it is marked as stale, so that nobody meets it.

use crate::registry::backup::chunks::{Reader, check};
use crate::registry::backup::manifest::Manifest;
use crate::registry::backup::replay::Replay;
use crate::registry::backup::rows;
use crate::registry::backup::save::heads;
use crate::registry::backup::{Fault, JOURNAL};
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::access_log;
use crate::store::backend::Tx;
use crate::store::carried;
use crate::store::gaps;
use crate::store::journal;
use crate::store::marks;
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

/// How many rows go into a carried table with one statement.
const AT_ONCE: usize = 100;

/// A backup that was looked through and found whole.
#[derive(Debug)]
pub struct Backup {
    path: PathBuf,
    manifest: Manifest,
}

/// What was restored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// The last position.
    pub position: i64,
    /// How many entries.
    pub entries: i64,
    /// How many rows beside them.
    pub rows: i64,
    /// How many positions the registry wrote itself because time has passed since the backup: duties and moves of standing.
    pub written_since: i64,
}

impl Backup {
    /// Looks through a backup: no byte of it may be otherwise than it was written.
    ///
    /// # Errors
    /// It cannot be read, is none, is damaged, or was written by a newer program: a sentence says which.
    pub fn open(path: &Path, mut progress: impl FnMut(Progress)) -> Result<Self, Refusal> {
        let told = |fault: Fault| Fault::new(format!("{}: {fault}", path.display()));
        let file = File::open(path).map_err(|error| told(error.into()))?;
        let chunk = |done| progress(Progress { stage: Stage::Chunks, done, of: None });
        let manifest = check(BufReader::new(file), chunk).map_err(told)?;
        Ok(Self { path: path.to_owned(), manifest })
    }

    /// Restores it into an empty registry, and computes what follows from the facts.
    ///
    /// # Errors
    /// The registry is not empty; the chains do not come out as they were; storage fails. Then the registry is empty.
    pub async fn restore(
        &self,
        registry: &Registry,
        mut progress: impl FnMut(Progress) + Send,
    ) -> Result<Restored, Refusal> {
        let mut tx = registry.database.write().await?;
        let position = journal::hold(&mut tx).await?;
        let there = journal::count(&mut tx).await?;
        if position > 0 || there > 0 {
            return Err(Refusal::taken(format!(
                "the registry holds {there} entries already: a backup is restored into an empty one"
            )));
        }
        let (entries, rows) = self.put(&mut tx, &mut progress).await?;
        // Whoever reads before they are followed computes for himself.
        marks::set_all(&mut tx, self.manifest.position).await?;
        tx.commit().await?;
        registry.settle_telling(&mut progress).await?;
        let mut tx = registry.database.read().await?;
        let (now, _) = journal::head(&mut tx).await?;
        let position = self.manifest.position;
        Ok(Restored { position, entries, rows, written_since: now - position })
    }

    /// Puts everything in; gives how many entries and how many rows beside them.
    async fn put(
        &self,
        tx: &mut Tx,
        progress: &mut (impl FnMut(Progress) + Send),
    ) -> Result<(i64, i64), Refusal> {
        let manifest = &self.manifest;
        let file = File::open(&self.path).map_err(Fault::from)?;
        let mut reader = Reader::begin(BufReader::new(file))?;
        let gaps: BTreeSet<(i64, i64)> =
            manifest.gaps.iter().flatten().map(|gap| (gap.position, gap.ordinal)).collect();
        gaps::put(tx, &gaps).await?;
        let mut replay = Replay::with_gaps(gaps);
        let of = Some(manifest.rows(JOURNAL));
        let others = manifest.chunks.iter().filter(|chunk| chunk.section != JOURNAL);
        let other_rows = others.map(|chunk| chunk.rows).sum();
        let mut rows = 0;
        while let Some((section, lines)) = reader.next(manifest)? {
            if section == JOURNAL {
                let entries = lines.iter().map(rows::entry).collect::<Result<Vec<_>, _>>()?;
                replay.take(tx, entries).await?;
                progress(Progress { stage: Stage::Entries, done: replay.walk().entries(), of });
            } else {
                rows += put_rows(tx, &section, &lines).await?;
                progress(Progress { stage: Stage::Rows, done: rows, of: Some(other_rows) });
            }
        }
        self.must_be_the_same(&replay)?;
        let chains: Vec<(String, i64, Vec<u8>)> = replay
            .walk()
            .chains()
            .map(|(name, entries, head)| (name.to_owned(), entries, head.to_vec()))
            .collect();
        journal::put_heads(tx, manifest.position, manifest.position_at, &chains).await?;
        access_log::set_head_to_last(tx).await?;
        Ok((replay.walk().entries(), rows))
    }

    /// Whether the journal came out as the manifest says: its end, and every chain's head and length.
    fn must_be_the_same(&self, replay: &Replay) -> Result<(), Fault> {
        let found = heads(replay.walk());
        for chain in &self.manifest.chains {
            if !found.contains(chain) {
                return Err(Fault::new(format!(
                    "the chain {} does not come out with the {} entries and the head of the manifest",
                    chain.chain, chain.entries
                )));
            }
        }
        let (chains, position) = (self.manifest.chains.len(), replay.walk().position());
        if found.len() != chains || position != self.manifest.position {
            return Err(Fault::new(format!(
                "the journal ends at position {position} with {} chains, and the manifest says {} with {chains}",
                found.len(),
                self.manifest.position
            )));
        }
        Ok(())
    }
}

/// Puts the rows of a carried table in; gives how many.
async fn put_rows(tx: &mut Tx, section: &str, lines: &[Value]) -> Result<i64, Refusal> {
    let carried = carried::of_section(section)
        .ok_or_else(|| Fault::new(format!("there is no section {section} in this program")))?;
    for some in lines.chunks(AT_ONCE) {
        let rows = some.iter().map(|line| rows::cells(carried, line)).collect::<Result<Vec<_>, _>>()?;
        carried.put(tx, &rows).await?;
    }
    Ok(i64::try_from(lines.len()).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::registry::backup::manifest::ChainHead;
    use chrono::DateTime;

    /// A backup whose chunks hold nothing, with a manifest that says otherwise: every checksum fits.
    fn with(position: i64, chains: &[(&str, i64)]) -> Backup {
        let head = |(chain, entries): &(&str, i64)| ChainHead {
            chain: (*chain).into(),
            entries: *entries,
            head: "00".repeat(32),
        };
        let manifest = Manifest {
            format: 1,
            software: "0.1.0".into(),
            schema: 1,
            engine: "SQLite".into(),
            made_at: DateTime::UNIX_EPOCH,
            position,
            position_at: None,
            chains: chains.iter().map(head).collect(),
            gaps: None,
            chunks: Vec::new(),
        };
        Backup { path: PathBuf::new(), manifest }
    }

    #[test]
    fn a_journal_that_does_not_end_as_the_manifest_says_is_refused() {
        let told = |backup: &Backup| backup.must_be_the_same(&Replay::default()).err().map(|fault| fault.0);
        assert_eq!(told(&with(0, &[])), None);
        assert_eq!(
            told(&with(2, &[("medical", 2)])).unwrap(),
            "the chain medical does not come out with the 2 entries and the head of the manifest"
        );
        assert_eq!(
            told(&with(2, &[])).unwrap(),
            "the journal ends at position 0 with 0 chains, and the manifest says 2 with 0"
        );
    }
}
