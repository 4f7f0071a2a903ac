//! Moves of standing: written by the registry when the facts move a group, read by people.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::standing_moves::{OughtMoves, difference};
use crate::model::facts::group::Group;
use crate::model::facts::standing_move::StandingMove;
use crate::model::identifiers::{SiteId, StandingMoveId};
use crate::model::shape::Joined;
use crate::model::version::Version;
use crate::record;
use crate::registry::conclude::derive;
use crate::registry::enter_pack::registry_itself;
use crate::registry::gather;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Where};
use std::collections::BTreeMap;
use uuid::Uuid;

record! {
    /// Which move it is.
    pub struct MoveHead {
        /// The move.
        id: StandingMoveId,
        /// The site.
        site_id: Option<SiteId>,
    }
}

record! {
    /// What came of a move.
    pub struct MoveTail {
        /// The later move that takes it back.
        taken_back_by: Option<StandingMoveId>,
        /// The journal position at which it was written.
        position: i64,
    }
}

/// A move of standing as it is handed out.
pub type StandingMoveView = Joined<MoveHead, Joined<StandingMove, MoveTail>>;

/// The moves of a group's standing in the order in which they were written, for one agent or for every one.
///
/// # Errors
/// [`Refusal::Unknown`] where the group is not in sight; a fault for an agent that is not known.
pub async fn standing_moves(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    group: Uuid,
    agent_code: Option<&str>,
) -> Result<Vec<StandingMoveView>, Refusal> {
    recording::read::<Group>(tx, caller, as_of, group).await?;
    caller.may(Action::ReadSamples)?;
    if let Some(code) = agent_code {
        derive::must_be_agent(tx, as_of, code).await?;
    }
    let written = written(tx, as_of, group, agent_code).await?;
    let back: BTreeMap<StandingMoveId, StandingMoveId> = written
        .iter()
        .flat_map(|by| by.fact.takes_back.iter().map(|taken| (*taken, StandingMoveId(by.id))))
        .collect();
    let view = |version: Version<StandingMove>| {
        let id = StandingMoveId(version.id);
        let tail = MoveTail { taken_back_by: back.get(&id).copied(), position: version.position };
        Joined(MoveHead { id, site_id: version.site }, Joined(version.fact, tail))
    };
    Ok(written.into_iter().map(view).collect())
}

/// What was written of a group, in the order in which it was.
async fn written(
    tx: &mut Tx,
    as_of: AsOf,
    group: Uuid,
    agent_code: Option<&str>,
) -> Result<Vec<Version<StandingMove>>, Refusal> {
    let mut of_group = vec![Where::Is("group_id", Key::Id(Some(group)))];
    of_group.extend(agent_code.map(|code| Where::Is("agent_code", Key::Text(Some(code.to_owned())))));
    Ok(gather::all::<StandingMove>(tx, as_of, &of_group).await?)
}

impl Registry {
    /// Writes the difference between the moves that ought to stand and those that are written: all of them in one request,
    /// and none where nothing moved.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn write_moves(&self, ought: &[&OughtMoves]) -> Result<(), Refusal> {
        let mut tx = self.database.read().await?;
        let as_of = self.now(&mut tx).await?;
        let mut moving = Vec::new();
        for one in ought {
            let written = written(&mut tx, as_of, one.group.0, Some(one.agent_code.as_str())).await?;
            if !difference(one, &written).is_empty() {
                moving.push(*one);
            }
        }
        drop(tx);
        if moving.is_empty() {
            return Ok(());
        }
        let mut change = self.begin_plain(&registry_itself()).await?;
        let (scope, as_of) = (change.everything(), change.as_of());
        for one in moving {
            let Some(group) = gather::one::<Group>(&mut change.tx, as_of, one.group.0).await? else {
                continue;
            };
            // Looked at again under the lock: another instance may have written them meanwhile.
            let written = written(&mut change.tx, as_of, one.group.0, Some(one.agent_code.as_str())).await?;
            for fact in difference(one, &written) {
                change.add(&scope, group.site, None, fact).await?;
            }
        }
        self.commit(change, None).await
    }
}
