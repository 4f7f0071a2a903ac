//! What a worker's life line for one agent is drawn from: gathered from the answers that the API gives to the same reader.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::conclusions::asked::Asked;
use crate::conclusions::history::view::HistoryView;
use crate::conclusions::profile_view::ProfileView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::worker::{Absence, Assignment};
use crate::model::identifiers::{ControlId, GroupId, SiteId, WorkerId};
use crate::model::version::Version;
use crate::pages::charts::era_results::is_level;
use crate::pages::charts::levels::{LevelLine, of_profile};
use crate::pages::charts::life_line::EraCut;
use crate::pages::charts::names::Names as FigureNames;
use crate::pages::charts::over_time::era_name;
use crate::pages::stopped::Stopped;
use crate::pages::views::views;
use crate::registry::conclude::history::{self, Question};
use crate::registry::conclude::limits_in_force::{InForce, limits_in_force};
use crate::registry::conclude::profiles::profiles;
use crate::registry::conclude::shift_averages::{Question as ShiftQuestion, averages};
use crate::registry::conclude::sight::Sight;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Where};
use chrono::{DateTime, Utc};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Who asks, of when, and seen from which instant.
#[derive(Debug, Clone, Copy)]
pub struct Asker<'a> {
    /// The reader.
    pub caller: &'a Caller,
    /// As of when.
    pub as_of: AsOf,
    /// The instant from which it is seen.
    pub now: DateTime<Utc>,
}

/// Everything behind a life line.
#[derive(Debug)]
pub struct WorkerLine {
    /// The history.
    pub history: HistoryView,
    /// The sites that it spans.
    pub scope: Scope,
    /// Shifts of the worker, and of those sampled in the same groups.
    pub shifts: Vec<ShiftAverageView>,
    /// Eras of the groups, newest first.
    pub eras: BTreeMap<GroupId, Vec<ProfileView>>,
    /// The levels of the day of asking.
    pub levels: Vec<LevelLine>,
    /// The limits in force where the worker was last, with their source.
    pub limits: Vec<InForce>,
}

/// Gathers it.
///
/// # Errors
/// As the history of the API: unknown where the worker is not in sight.
pub async fn worker_line(
    tx: &mut Tx,
    asker: Asker<'_>,
    worker: Uuid,
    question: &Question,
) -> Result<WorkerLine, Stopped> {
    let Asker { caller, as_of, now } = asker;
    let asked = Asked::default();
    let (history, scope) = history::in_sight(tx, caller, as_of, now, worker, question, asked).await?;
    let code = &question.agent_code;
    let reads = caller.may(Action::ReadSamples).is_ok();
    let own = ShiftQuestion {
        worker: Some(WorkerId(worker)),
        agent_code: Some(code.clone()),
        ..ShiftQuestion::default()
    };
    let mut shifts = if reads { averages(tx, caller, as_of, &own, asked).await? } else { Vec::new() };
    let groups: BTreeSet<GroupId> = history.intervals.iter().map(|interval| interval.group_id).collect();
    let mut eras = BTreeMap::new();
    for group in groups.into_iter().filter(|_| reads) {
        let of_group =
            ShiftQuestion { group: Some(group), agent_code: Some(code.clone()), ..ShiftQuestion::default() };
        match averages(tx, caller, as_of, &of_group, asked).await {
            Ok(found) => shifts.extend(found),
            // What another role of the same account lets him see of the history, this one does not show.
            Err(Refusal::Unknown) => continue,
            Err(other) => return Err(other.into()),
        }
        let found = profiles(tx, caller, as_of, group.0, Some(code), question.now, asked).await?;
        eras.insert(group, views::<ProfileView>(&found)?);
    }
    let last = history.intervals.iter().max_by_key(|interval| interval.to).map(|interval| interval.group_id);
    let mut sight = if question.now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
    let limits = match last {
        Some(group) => limits_in_force(&mut sight, group.0, code, as_of.date).await?,
        None => Vec::new(),
    };
    let levels = levels(&history, &limits, last.and_then(|last| eras.get(&last)));
    Ok(WorkerLine { history, scope, shifts, eras, levels, limits })
}

/// The law's limit and action level of the day as lines; of noise the level that the criterion of the history meets.
fn levels(history: &HistoryView, limits: &[InForce], eras: Option<&Vec<ProfileView>>) -> Vec<LevelLine> {
    let of_levels = history.intervals.iter().find_map(|interval| interval.criterion);
    if let Some(criterion) = of_levels {
        let era = eras.into_iter().flatten().find(|era| era.0.criterion == Some(criterion));
        return era.map(|era| of_profile(era, &[])).unwrap_or_default();
    }
    let lines = limits.iter().filter_map(|one| {
        let (value, unit) = one.level.filter(|(_, unit)| !is_level(*unit))?;
        let (kind, authority) = (one.limit.kind, one.limit.authority.clone());
        matches!(kind, LimitKind::Twa | LimitKind::ActionLevel).then_some(LevelLine {
            kind,
            authority,
            value,
            unit,
            from: None,
            last: None,
        })
    });
    lines.filter(LevelLine::is_lawful).collect()
}

impl WorkerLine {
    /// The cuts between eras in the time of the history, named by what changed.
    pub fn cuts(&self, names: &FigureNames) -> Vec<EraCut> {
        let mut cuts = Vec::new();
        for eras in self.eras.values() {
            for (at, era) in eras.iter().enumerate() {
                let Some(on) = era.0.from.filter(|on| self.history.from < *on && *on < self.history.to)
                else {
                    continue;
                };
                let inside = self.history.intervals.iter().any(|one| one.from <= on && on <= one.to);
                let before: Option<&[ControlId]> = eras.get(at + 1).map(|era| era.0.control_ids.as_slice());
                let name = era_name(before, &era.0.control_ids, names);
                if inside && cuts.iter().all(|cut: &EraCut| cut.on != on) {
                    cuts.push(EraCut { on, name });
                }
            }
        }
        cuts.sort_by_key(|cut| cut.on);
        cuts
    }

    /// The sites of its times.
    pub fn sites(&self) -> BTreeSet<SiteId> {
        self.history.intervals.iter().filter_map(|interval| interval.site_id).collect()
    }

    /// The groups of its times.
    pub fn groups(&self) -> BTreeSet<Uuid> {
        self.history.intervals.iter().map(|interval| interval.group_id.0).collect()
    }
}

/// The assignments of a worker's entries in sight, in the order of their first days, and the absences.
///
/// # Errors
/// Only when storage fails.
pub async fn times_of_work(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    entries: &[Uuid],
) -> Result<(Vec<Version<Assignment>>, Vec<Absence>), Stopped> {
    let scope = caller.may(Action::ReadWorkers)?;
    let of_worker = [Where::Parents(entries.to_vec()), Where::Standing];
    let mut assignments = versions::list::<Assignment>(tx, &scope, as_of, &of_worker, None).await?;
    assignments.sort_by_key(|one| (one.fact.from, one.id));
    let absences = versions::list::<Absence>(tx, &scope, as_of, &of_worker, None).await?;
    Ok((assignments, absences.into_iter().map(|absence| absence.fact).collect()))
}
