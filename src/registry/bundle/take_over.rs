//! Takes a bundle of a site or of all over into an empty registry: the journal is replayed as it was, with its positions and
//! times, so that every question about what was known then has the same answer. What was not handed over leaves gaps, which
//! are named in an entry of the registry's own.

use crate::access::caller::Caller;
use crate::model::facts::hand_over::TakenOver;
use crate::registry::backup::archive::Members;
use crate::registry::backup::replay::Replay;
use crate::registry::backup::rows;
use crate::registry::bundle::check::{Bundle, MOST};
use crate::registry::bundle::manifest::GAPS;
use crate::registry::bundle::{digest_of_gaps, of_bundle, wrong};
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::gaps;
use crate::store::journal;
use crate::store::marks;
use crate::store::originals;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeSet;
use std::fs::File;
use std::io::BufReader;

/// What was taken over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TookOver {
    /// How many entries.
    pub entries: i64,
    /// How many uploaded files.
    pub originals: i64,
    /// Before how many entries something was left out.
    pub gaps: usize,
    /// The position of the entry that says so.
    pub position: i64,
}

impl Bundle {
    /// Takes it over into an empty registry, and computes what follows from the facts.
    ///
    /// # Errors
    /// It is of a worker; the registry is not empty; the journal does not come out as the manifest says. Then the registry is
    /// empty.
    pub async fn take_over(
        &self,
        registry: &Registry,
        caller: &Caller,
        mut progress: impl FnMut(Progress) + Send,
    ) -> Result<TookOver, Refusal> {
        if self.manifest.scope.starts_with("worker") {
            return Err(wrong(
                "a worker's bundle is to be read, and no registry is made of it: it holds a person and neither the sites nor his \
                 fellow workers, without whom no exposure of his group can be worked out. Enter him as a worker, what is in \
                 the bundle as his earlier exposures with the bundle as their source, and keep the bundle",
            ));
        }
        let gaps = self.gaps()?;
        let mut tx = registry.database.write().await?;
        let position = journal::hold(&mut tx).await?;
        let there = journal::count(&mut tx).await?;
        if position > 0 || there > 0 {
            return Err(Refusal::taken(format!(
                "the registry holds {there} entries already: a bundle is taken over into an empty one"
            )));
        }
        let (entries, originals) = self.put(&mut tx, &gaps, &mut progress).await?;
        marks::set_all(&mut tx, self.manifest.last_position).await?;
        tx.commit().await?;
        let position = self.say_so(registry, caller, &gaps).await?;
        registry.settle_telling(&mut progress).await?;
        Ok(TookOver { entries, originals, gaps: gaps.len(), position })
    }

    async fn say_so(
        &self,
        registry: &Registry,
        caller: &Caller,
        gaps: &BTreeSet<(i64, i64)>,
    ) -> Result<i64, Refusal> {
        let mut change = registry.begin_plain(caller).await?;
        let scope = change.everything();
        let taken = TakenOver {
            scope: self.manifest.scope.clone(),
            checksums_sha256: self.signature.checksums.clone(),
            key: self.signature.key.clone(),
            position: self.manifest.position,
            entries: self.manifest.entries,
            gaps: i64::try_from(gaps.len()).unwrap_or(i64::MAX),
            gaps_sha256: digest_of_gaps(gaps),
            files_left_out: self.manifest.files_left_out.clone(),
        };
        let position = change.add(&scope, None, None, taken).await?.position;
        registry.commit(change, None).await?;
        Ok(position)
    }

    /// Puts everything in; gives how many entries and how many files.
    async fn put(
        &self,
        tx: &mut Tx,
        gaps: &BTreeSet<(i64, i64)>,
        progress: &mut (impl FnMut(Progress) + Send),
    ) -> Result<(i64, i64), Refusal> {
        let mut replay = Replay::with_gaps(gaps.clone());
        let mut files = 0;
        let mut members = self.members()?;
        while let Some(member) = members.next().map_err(of_bundle)? {
            let name = member.name.clone();
            let content = members.content(&member, MOST).map_err(of_bundle)?;
            self.must_be_as_signed(&name, &content)?;
            if name.starts_with("journal/") && name != GAPS {
                let lines = str::from_utf8(&content).map_err(|_| wrong(format!("{name} is no text")))?;
                let unreadable = |_| wrong(format!("{name} does not read as entries"));
                let entries = lines
                    .lines()
                    .map(|line| {
                        rows::entry(&serde_json::from_str(line).map_err(unreadable)?).map_err(of_bundle)
                    })
                    .collect::<Result<Vec<_>, Refusal>>()?;
                replay.take(tx, entries).await?;
                let of = Some(self.manifest.entries);
                progress(Progress { stage: Stage::Entries, done: replay.walk().entries(), of });
            } else if name.starts_with("originals/") {
                originals::put(tx, Sha256::digest(&content).into(), &content).await?;
                files += 1;
            }
        }
        let walk = replay.walk();
        let (entries, position) = (walk.entries(), walk.position());
        if (entries, position) != (self.manifest.entries, self.manifest.last_position) {
            return Err(wrong(format!(
                "the journal in the bundle ends at position {position} with {entries} entries, and the manifest says {} with \
                 {}",
                self.manifest.last_position, self.manifest.entries
            )));
        }
        let chains: Vec<(String, i64, Vec<u8>)> =
            walk.chains().map(|(name, entries, head)| (name.to_owned(), entries, head.to_vec())).collect();
        journal::put_heads(tx, position, self.manifest.last_at, &chains).await?;
        gaps::put(tx, gaps).await?;
        Ok((entries, files))
    }

    fn members(&self) -> Result<Members<BufReader<File>>, Refusal> {
        let file = File::open(&self.path).map_err(|error| wrong(error.to_string()))?;
        Ok(Members::new(BufReader::new(file)))
    }

    /// The file may have been changed since it was looked through.
    fn must_be_as_signed(&self, name: &str, content: &[u8]) -> Result<(), Refusal> {
        let noted = self.manifest.files.iter().find(|file| file.name == name);
        let same =
            noted.is_none_or(|file| file.sha256 == crate::registry::journal::hex(&Sha256::digest(content)));
        if same { Ok(()) } else { Err(wrong(format!("{name} is not as it was signed"))) }
    }

    /// The places at which the journal leaves something out.
    fn gaps(&self) -> Result<BTreeSet<(i64, i64)>, Refusal> {
        let mut members = self.members()?;
        while let Some(member) = members.next().map_err(of_bundle)? {
            if member.name == GAPS {
                let content = members.content(&member, MOST).map_err(of_bundle)?;
                self.must_be_as_signed(GAPS, &content)?;
                let number = |text: &str| text.trim().parse::<i64>().ok();
                let read = |line: &str| {
                    let (position, ordinal) = line.split_once(',')?;
                    Some((number(position)?, number(ordinal)?))
                };
                let text = String::from_utf8_lossy(&content);
                let gaps: Option<BTreeSet<(i64, i64)>> = text.lines().skip(1).map(read).collect();
                return gaps.ok_or_else(|| wrong(format!("{GAPS} does not read as positions")));
            }
            members.digest(&member).map_err(of_bundle)?;
        }
        Err(wrong(format!("the bundle has no {GAPS}")))
    }
}
