//! Whether stored conclusions are what the facts give.

use crate::registry::conclude::derive;
use crate::registry::conclude::sight::Sight;
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::verify::RecordFault;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::derived::{self, Derived};
use crate::store::marks::{self, Mark, MarkKind};
use crate::store::versions::AsOf;
use uuid::Uuid;

/// How many conclusions are held at once.
const CHUNK: i64 = 100;

/// Computes a conclusion afresh from the facts in the snapshot, at the position the stored one was computed at.
///
/// `None` where a day has passed since: a summary slides with it, and is computed afresh before anybody reads it.
async fn afresh(
    registry: &Registry,
    tx: &mut Tx,
    kind: MarkKind,
    subject: Uuid,
    agent: &str,
    stored: &Derived,
) -> Result<Option<String>, Refusal> {
    let now = registry.clock.now();
    let as_of = AsOf { position: stored.position, date: now.date_naive() };
    if stored.changes_on.is_some_and(|day| day <= as_of.date) {
        return Ok(None);
    }
    let mut sight = Sight::new(tx, as_of);
    let body = match kind {
        MarkKind::Profile => derive::profile(&mut sight, subject, agent).await?,
        MarkKind::Verdict => derive::verdict(&mut sight, subject, agent).await?,
        MarkKind::Shifts => derive::shifts(&mut sight, subject, agent).await?,
        MarkKind::Summary => derive::summary(&mut sight, now, subject, agent).await?.body,
    };
    Ok(Some(body.to_string()))
}

/// The first stored conclusion that the facts do not give. One that is marked as stale is not looked at.
pub(super) async fn first_differing(
    registry: &Registry,
    tx: &mut Tx,
    progress: &mut (impl FnMut(Progress) + Send),
) -> Result<Option<RecordFault>, Refusal> {
    let mut done = 0;
    for kind in MarkKind::ALL {
        let mut after = None;
        loop {
            let chunk = derived::page(tx, kind, after, CHUNK).await?;
            let Some(last) = chunk.last() else { break };
            after = Some((last.subject, last.agent.clone()));
            for kept in chunk {
                done += 1;
                if marked(tx, kind, kept.subject, &kept.agent).await? {
                    continue;
                }
                let body = afresh(registry, tx, kind, kept.subject, &kept.agent, &kept.derived).await?;
                if body.is_some_and(|body| body != kept.derived.body) {
                    let what = format!(
                        "the stored {} of {} for {} is not what the facts give",
                        kind.as_str(),
                        kept.subject,
                        kept.agent
                    );
                    let position = kept.derived.position;
                    return Ok(Some(RecordFault { position, ordinal: None, chain: None, what }));
                }
            }
            progress(Progress { stage: Stage::Conclusions, done, of: None });
        }
    }
    Ok(None)
}

async fn marked(tx: &mut Tx, kind: MarkKind, subject: Uuid, agent: &str) -> Result<bool, Refusal> {
    Ok(marks::is_set(tx, &Mark { kind, subject, agent: agent.into() }).await?)
}
