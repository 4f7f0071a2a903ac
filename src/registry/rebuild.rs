//! Throws the stored conclusions away and computes them afresh: the proof that they are nothing but a fold of facts.

use crate::model::facts::duty::Duty;
use crate::model::facts::standing_move::StandingMove;
use crate::record;
use crate::registry::enter_pack::REGISTRY;
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::derived;
use crate::store::journal;
use crate::store::marks::{self, MarkKind};
use crate::store::tables::Stored as _;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use uuid::Uuid;

/// How many conclusions are held at once.
const CHUNK: i64 = 500;
/// How many differing conclusions, and how many facts written because of them, are named.
const NAMED: usize = 20;

record! {
    /// A conclusion that came out otherwise than it was stored.
    pub struct DifferingConclusion {
        /// Which table: profile, verdict, shifts or summary.
        kind: String,
        /// The group, task or worker.
        subject_id: Uuid,
        /// The agent.
        agent_code: String,
    }
}

record! {
    /// A duty or a move of standing that ought to be otherwise than it was written, and now is.
    pub struct Rewritten {
        /// The journal position at which the registry wrote it.
        position: i64,
        /// The kind of fact.
        kind: String,
        /// What was done with it.
        deed: String,
        /// The fact.
        fact_id: Uuid,
    }
}

record! {
    /// What a rebuild found.
    pub struct Rebuilt {
        /// How many conclusions are stored now.
        rows: i64,
        /// How many differ from those before, are gone or are new.
        differing: i64,
        /// The first of them.
        first_differing: Vec<DifferingConclusion>,
        /// How many duties (but for those on medical grounds) and moves of standing were written because they ought to be
        /// otherwise: each stands in the journal.
        rewritten: i64,
        /// The first of them.
        first_rewritten: Vec<Rewritten>,
    }
}

/// Table, subject and agent of a conclusion.
type Place = (MarkKind, Uuid, String);

/// Computes every stored conclusion afresh and compares. Marks left by earlier facts are followed first.
///
/// Duties and moves of standing are facts, and stay as they were written. Where the conclusions now ask for others, those are
/// written like any other and told one by one: nothing moves in silence.
///
/// Facts recorded meanwhile may change conclusions too; run it while nobody writes to take a difference for a fault.
/// Stopped half-way it leaves marks behind, which are followed like any others.
///
/// # Errors
/// Only when storage fails.
pub async fn rebuild(
    registry: &Registry,
    mut progress: impl FnMut(Progress) + Send,
) -> Result<Rebuilt, Refusal> {
    // What slides with the day is brought up to today first, or every such row would be taken for a difference.
    registry.mark_what_is_due().await?;
    registry.settle().await?;
    let mut tx = registry.database.write().await?;
    let position = journal::hold(&mut tx).await?;
    let before = digests(&mut tx).await?;
    let of = i64::try_from(before.len()).ok();
    progress(Progress { stage: Stage::Conclusions, done: 0, of });
    for kind in MarkKind::ALL {
        derived::clear(&mut tx, kind).await?;
    }
    marks::set_all(&mut tx, position).await?;
    tx.commit().await?;
    registry.settle().await?;
    let mut tx = registry.database.read().await?;
    let after = digests(&mut tx).await?;
    let kinds = [Duty::TABLE.kind, StandingMove::TABLE.kind];
    let rewritten = journal::written_by(&mut tx, REGISTRY, position, &kinds).await?;
    drop(tx);
    progress(Progress { stage: Stage::Conclusions, done: of.unwrap_or_default(), of });
    let changed =
        before.iter().filter(|(place, digest)| after.get(*place) != Some(digest)).map(|(place, _)| place);
    let new = after.keys().filter(|place| !before.contains_key(*place));
    let differing: Vec<&Place> = changed.chain(new).collect();
    let first_differing = differing
        .iter()
        .take(NAMED)
        .map(|(kind, subject, agent)| DifferingConclusion {
            kind: kind.as_str().into(),
            subject_id: *subject,
            agent_code: agent.clone(),
        })
        .collect();
    Ok(Rebuilt {
        rows: i64::try_from(after.len()).unwrap_or(i64::MAX),
        differing: i64::try_from(differing.len()).unwrap_or(i64::MAX),
        first_differing,
        rewritten: i64::try_from(rewritten.len()).unwrap_or(i64::MAX),
        first_rewritten: rewritten
            .into_iter()
            .take(NAMED)
            .map(|(position, kind, deed, fact_id)| Rewritten { position, kind, deed, fact_id })
            .collect(),
    })
}

/// SHA-256 of every stored conclusion.
async fn digests(tx: &mut Tx) -> Result<BTreeMap<Place, [u8; 32]>, Refusal> {
    let mut digests = BTreeMap::new();
    for kind in MarkKind::ALL {
        let mut after = None;
        loop {
            let chunk = derived::page(tx, kind, after, CHUNK).await?;
            let Some(last) = chunk.last() else { break };
            after = Some((last.subject, last.agent.clone()));
            for kept in chunk {
                let digest = Sha256::digest(kept.derived.body.as_bytes()).into();
                digests.insert((kind, kept.subject, kept.agent), digest);
            }
        }
    }
    Ok(digests)
}
