//! Follows the marks: computes what facts made stale, outside any writing request, and stores it.
//!
//! A reader who meets a mark computes for itself and stores nothing, so nobody ever sees a stale conclusion.

use crate::conclusions::standing_moves::OughtMoves;
use crate::registry::conclude::derive;
use crate::registry::conclude::monitoring::{self, Monitoring};
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::standing_moves::ought_moves;
use crate::registry::conclude::summary::OughtOfWorker;
use crate::registry::counts::Counts;
use crate::registry::duties::Ought;
use crate::registry::gather;
use crate::registry::gather::agents::KeptPack;
use crate::registry::gather::persons::Person;
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::derived::{self, Derived};
use crate::store::error::StoreError;
use crate::store::marks::{self, EVERY_AGENT, Mark, MarkKind};
use crate::store::{journal, samples};
use chrono::{Duration, NaiveDate};
use std::collections::BTreeSet;
use std::future::Future;
use std::time::Duration as Wait;
use tokio::sync::{Mutex, Notify};

/// How many marks are followed in one go.
const AT_ONCE: i64 = 64;
/// After how long another instance may take over a mark that was claimed.
const LEASE_SECONDS: i64 = 120;
/// How often the dates of stored rows are looked at without a new fact.
const TICK: Wait = Wait::from_hours(1);
/// How long until it is tried again after a failure: the database may only have been started anew.
const AGAIN: Wait = Wait::from_secs(5);

/// Wakes whoever follows the marks, and lets only one of this process do so at a time.
#[derive(Debug, Default)]
pub struct Recompute {
    work: Notify,
    turn: Mutex<()>,
    /// What was worked out and marked so far.
    pub counts: Counts,
    /// The clauses as they were last read.
    pack: KeptPack,
}

impl Recompute {
    /// There is something to do.
    pub fn wake(&self) {
        self.work.notify_one();
    }
}

impl Registry {
    /// Follows the marks whenever there are new ones, until `stop` is ready; a failure is logged and tried again.
    pub async fn follow_marks(&self, stop: impl Future<Output = ()> + Send) {
        let mut stop = std::pin::pin!(stop);
        // Looking for what is due reads every stored row: once a tick and on a new day, not after every fact.
        let mut looked_on: Option<NaiveDate> = None;
        loop {
            let today = self.clock.now().date_naive();
            let followed = async {
                if looked_on != Some(today) {
                    self.mark_what_is_due().await?;
                }
                self.settle().await
            };
            let wait = match followed.await {
                Ok(()) => {
                    looked_on = Some(today);
                    TICK
                }
                Err(error) => {
                    tracing::error!(error = &error as &dyn std::error::Error, "following the marks failed");
                    AGAIN
                }
            };
            tokio::select! {
                () = &mut stop => return,
                () = self.recompute.work.notified() => {}
                () = tokio::time::sleep(wait) => looked_on = None,
            }
        }
    }

    /// Follows all marks until none is left.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn settle(&self) -> Result<(), Refusal> {
        self.settle_telling(&mut |_| {}).await
    }

    /// The same, and tells how many were followed.
    ///
    /// # Errors
    /// Only when storage fails.
    pub(crate) async fn settle_telling(
        &self,
        progress: &mut (impl FnMut(Progress) + Send),
    ) -> Result<(), Refusal> {
        let _turn = self.recompute.turn.lock().await;
        let mut done = 0;
        loop {
            let mut tx = self.database.read().await?;
            let left = marks::count(&mut tx).await?;
            if left == 0 {
                return Ok(());
            }
            drop(tx);
            let followed = self.follow_some().await?;
            if followed == 0 {
                return Ok(());
            }
            done += i64::try_from(followed).unwrap_or_default();
            // A mark for every agent becomes several: how many there will be is not known before.
            progress(Progress { stage: Stage::Conclusions, done, of: Some(done + left) });
        }
    }

    /// Marks the stored rows that a new day changes.
    ///
    /// # Errors
    /// Only when storage fails.
    pub(crate) async fn mark_what_is_due(&self) -> Result<(), Refusal> {
        let today = self.clock.now().date_naive();
        let mut due: Vec<Mark> = Vec::new();
        let mut tx = self.database.read().await?;
        for kind in [MarkKind::Profile, MarkKind::Verdict, MarkKind::Shifts, MarkKind::Summary] {
            let rows = derived::due(&mut tx, kind, today).await?;
            due.extend(rows.into_iter().map(|(subject, agent)| Mark { kind, subject, agent }));
        }
        let (position, _) = journal::head(&mut tx).await?;
        drop(tx);
        if due.is_empty() {
            return Ok(());
        }
        let mut tx = self.write_in_turn().await?;
        for mark in &due {
            self.set_mark(&mut tx, mark, position).await?;
        }
        tx.commit().await?;
        Ok(())
    }

    /// Begins to write, in the turn of whoever records facts: both set and clear marks, each in another order, and two
    /// who hold a row the other waits for would end each other.
    async fn write_in_turn(&self) -> Result<Tx, StoreError> {
        let mut tx = self.database.write().await?;
        journal::hold(&mut tx).await?;
        Ok(tx)
    }

    /// Sets a mark and counts it.
    pub(crate) async fn set_mark(&self, tx: &mut Tx, mark: &Mark, wanted: i64) -> Result<(), StoreError> {
        self.recompute.counts.marked.add(mark.kind, 1);
        marks::set(tx, mark, wanted).await
    }

    /// Claims some marks of the lowest kind and follows them; gives how many.
    async fn follow_some(&self) -> Result<usize, Refusal> {
        let now = self.clock.now();
        let mut tx = self.write_in_turn().await?;
        let claimed = marks::claim(&mut tx, now, now + Duration::seconds(LEASE_SECONDS), AT_ONCE).await?;
        tx.commit().await?;
        let mut tx = self.database.read().await?;
        let as_of = self.now(&mut tx).await?;
        let mut done = Vec::with_capacity(claimed.len());
        let pack = self.recompute.pack.read(&mut tx, as_of).await?;
        let mut sight = Sight::of_now(&mut tx, as_of).with_pack(pack);
        for mark in &claimed {
            done.push(self.follow(&mut sight, mark).await?);
        }
        drop(tx);
        // Duties and moves of standing come before the marks are cleared: whoever is stopped in between finds the mark again.
        for ought in done.iter().flat_map(|followed| &followed.duties) {
            self.write_duties(ought).await?;
        }
        let moves: Vec<_> = done.iter().filter_map(|followed| followed.moves.as_ref()).collect();
        self.write_moves(&moves).await?;
        let mut tx = self.write_in_turn().await?;
        for (mark, followed) in claimed.iter().zip(&done) {
            if let Some(derived) = &followed.derived {
                let changed = derived::store(&mut tx, mark.kind, mark.subject, &mark.agent, derived).await?;
                if changed && mark.kind == MarkKind::Profile {
                    for member in &followed.members {
                        let next =
                            Mark { kind: MarkKind::Summary, subject: *member, agent: mark.agent.clone() };
                        self.set_mark(&mut tx, &next, as_of.position).await?;
                    }
                }
            }
            if followed.gone {
                derived::remove(&mut tx, mark.kind, mark.subject, &mark.agent).await?;
            }
            for next in &followed.spread {
                self.set_mark(&mut tx, next, as_of.position).await?;
            }
            marks::clear(&mut tx, mark, as_of.position).await?;
        }
        tx.commit().await?;
        Ok(claimed.len())
    }

    async fn follow(&self, sight: &mut Sight<'_>, mark: &Mark) -> Result<Followed, Refusal> {
        let as_of = sight.as_of;
        let person = match mark.kind {
            MarkKind::Shifts | MarkKind::Summary => sight.person(mark.subject).await?,
            MarkKind::Profile | MarkKind::Verdict => Person::alone(mark.subject),
        };
        if person.id != mark.subject {
            return recorded_under(sight, mark, &person).await;
        }
        // A row is kept for every agent that was measured there (of a worker: or that concerns him otherwise), and for no
        // other.
        let measured = match mark.kind {
            MarkKind::Profile => samples::agents_of_group(sight.tx, mark.subject, as_of.position).await?,
            MarkKind::Verdict => samples::agents_of_task(sight.tx, mark.subject, as_of.position).await?,
            MarkKind::Shifts => gather::surveilled::agents_measured_on(sight.tx, as_of, &person).await?,
            MarkKind::Summary => gather::surveilled::agents_of_worker(sight.tx, as_of, &person).await?,
        };
        if mark.agent == EVERY_AGENT {
            let kept = derived::agents_of(sight.tx, mark.kind, mark.subject).await?;
            let expected = match mark.kind {
                MarkKind::Profile => monitoring::expected_agents(sight, mark.subject).await?,
                // Looked at, but no row is kept of them: a row would tell that there is a ground.
                MarkKind::Summary => gather::surveilled::agents_of_grounds(sight.tx, as_of, &person).await?,
                MarkKind::Verdict | MarkKind::Shifts => Vec::new(),
            };
            let agents: BTreeSet<String> = measured.into_iter().chain(kept).chain(expected).collect();
            let spread = agents.into_iter().map(|agent| Mark { agent, ..mark.clone() }).collect();
            return Ok(Followed { spread, ..Followed::default() });
        }
        if !measured.contains(&mark.agent) {
            // What stood on a result that is gone: nothing is concluded, and nothing is owed.
            let duties = match mark.kind {
                MarkKind::Summary => {
                    self.recompute.counts.worked_out.add(mark.kind, 1);
                    let nothing = OughtOfWorker::nothing(&person, &mark.agent, as_of.date);
                    let summary = derive::summary(sight, self.clock.now(), mark.subject, &mark.agent).await?;
                    OughtOfWorker { on_grounds: summary.ought.on_grounds, ..nothing }.all()
                }
                // Where the agent is expected and was never measured, monitoring is owed all the same.
                MarkKind::Profile => {
                    monitoring::monitoring(sight, mark.subject, &mark.agent).await?.ought.into()
                }
                MarkKind::Verdict | MarkKind::Shifts => Vec::new(),
            };
            let moves = moves(sight, mark).await?;
            return Ok(Followed { gone: true, duties, moves, ..Followed::default() });
        }
        self.recompute.counts.worked_out.add(mark.kind, 1);
        let (body, changes_on, duties) = match mark.kind {
            MarkKind::Profile => {
                let body = derive::profile(sight, mark.subject, &mark.agent).await?;
                let Monitoring { ought, changes_on } =
                    monitoring::monitoring(sight, mark.subject, &mark.agent).await?;
                (body, changes_on, ought.into())
            }
            MarkKind::Verdict => (derive::verdict(sight, mark.subject, &mark.agent).await?, None, Vec::new()),
            MarkKind::Shifts => (derive::shifts(sight, mark.subject, &mark.agent).await?, None, Vec::new()),
            MarkKind::Summary => {
                let summary = derive::summary(sight, self.clock.now(), mark.subject, &mark.agent).await?;
                (summary.body, summary.changes_on, summary.ought.all())
            }
        };
        let members = match mark.kind {
            MarkKind::Profile => samples::workers_of_group(sight.tx, mark.subject, as_of.position).await?,
            _ => Vec::new(),
        };
        let moves = moves(sight, mark).await?;
        let derived = Derived { position: as_of.position, changes_on, body: body.to_string() };
        Ok(Followed { derived: Some(derived), members, duties, moves, ..Followed::default() })
    }
}

/// An entry of a person whose conclusions stand under another one: no row is kept of it, and what it marks is that one's.
async fn recorded_under(sight: &mut Sight<'_>, mark: &Mark, person: &Person) -> Result<Followed, Refusal> {
    let mut spread = vec![Mark { subject: person.id, ..mark.clone() }];
    if mark.agent != EVERY_AGENT {
        return Ok(Followed { gone: true, spread, ..Followed::default() });
    }
    let kept = derived::agents_of(sight.tx, mark.kind, mark.subject).await?;
    spread.extend(kept.into_iter().map(|agent| Mark { agent, ..mark.clone() }));
    Ok(Followed { spread, ..Followed::default() })
}

/// The moves of standing that a profile's mark is about.
async fn moves(sight: &mut Sight<'_>, mark: &Mark) -> Result<Option<OughtMoves>, Refusal> {
    match mark.kind {
        MarkKind::Profile => ought_moves(sight, mark.subject, &mark.agent).await,
        MarkKind::Verdict | MarkKind::Shifts | MarkKind::Summary => Ok(None),
    }
}

/// What following one mark gave.
#[derive(Debug, Default)]
struct Followed {
    derived: Option<Derived>,
    /// Whether the stored row has nothing to stand on any more.
    gone: bool,
    members: Vec<uuid::Uuid>,
    spread: Vec<Mark>,
    duties: Vec<Ought>,
    moves: Option<OughtMoves>,
}

/// The first date on which a summary seen from a day would differ: the next day slides its windows.
pub(crate) fn next_day(date: NaiveDate) -> NaiveDate {
    date.succ_opt().unwrap_or(date)
}
