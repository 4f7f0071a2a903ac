//! `POST /limit-changes/preview`: what another limit would change, at the sites in sight. Nothing is stored.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::conclusions::asked::Asked;
use crate::conclusions::era::Era;
use crate::conclusions::group_standing::StandingRules;
use crate::conclusions::limit_change::proposal::{LimitProposal, Proposed};
use crate::conclusions::limit_change::short_term;
use crate::conclusions::limit_change::supposed::{supposed_agent, supposed_pack};
use crate::conclusions::limit_change::too_coarse::too_coarse;
use crate::conclusions::limit_change::view::{
    CONTROLS_NOT_READ, CannotTellGroup, ControlNoLongerSufficient, GroupOnSite, LimitChangeView,
    MAKES_NO_CLAUSE, NO_LIMIT_NOW, NewlyTriggered, StandingsAlike, WORDS,
};
use crate::conclusions::verdict::view::VerdictView;
use crate::hygiene::sufficiency::Sufficiency;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::control::Task;
use crate::model::facts::group::Group;
use crate::model::facts::standing_move::StandingValue;
use crate::model::facts::worker::{Assignment, WorkedDay, Worker};
use crate::model::identifiers::{ControlId, GroupId, SiteId, TaskId, WorkerId};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::registry::conclude::monitoring::expected_agents;
use crate::registry::conclude::sight::{GroupKnowledge, Sight};
use crate::registry::conclude::verdicts;
use crate::registry::conclude::worker_clauses::{
    DAYS_ACROSS_SITES, WorkerClause, WorkerClauses, worker_clauses,
};
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::samples::{agents_of_group, agents_of_task, workers_of_group};
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Where};
use crate::surveillance::finding::{APPEARS, WHO_DECIDES};
use crate::surveillance::level::{Level, Levels};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

type Groups = BTreeMap<(SiteId, Uuid), StandingValue>;
type Sufficient = BTreeMap<(SiteId, TaskId, ControlId, &'static str), (VerdictView, Sufficiency)>;

/// What a proposed limit would change.
///
/// # Errors
/// A fault for a proposal that cannot be read against the agent, [`Refusal::Forbidden`], or when storage fails.
pub async fn preview(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    now: DateTime<Utc>,
    proposal: &LimitProposal,
) -> Result<LimitChangeView, Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    let code = proposal.agent_code.as_str();
    let agent = gather::agents::agent(tx, as_of, code).await?;
    let agent =
        agent.ok_or_else(|| Refusal::fault("/agent_code", format!("is no agent that is known: {code}")))?;
    let proposed = Proposed::of(proposal, &agent, as_of.date).map_err(Refusal::Faults)?;
    let places = places(tx, as_of, &scope, code).await?;
    let workers = workers(tx, as_of, &places).await?;

    let mut sight = Sight::of_now(tx, as_of);
    let pack = supposed_pack(&*sight.pack().await?, &agent, &proposed, as_of.date);
    let (standing_now, _) = standings(&mut sight, &places, &proposed, code).await?;
    // What remains with a control is told against the 8-hour levels of a substance alone.
    let of_controls = !proposed.kind.is_short_term() && !agent.is_noise();
    let read_controls = if of_controls { places.as_slice() } else { &[] };
    let sufficient_now = sufficient(&mut sight, read_controls, code).await?;
    let mut clauses_now: BTreeMap<Uuid, WorkerClauses> = BTreeMap::new();
    for worker in &workers {
        clauses_now.insert(*worker, worker_clauses(&mut sight, now, *worker, code).await?);
    }
    let has_limit_now = proposed.rule_sets.iter().any(|rule_set| {
        agent
            .level(proposed.authority.as_str(), proposed.kind, *rule_set, as_of.date, proposed.unit)
            .is_some()
    });

    let mut sight = Sight::supposing(tx, as_of, supposed_agent(&agent, &proposed), pack);
    let (standing_then, cannot_tell) = standings(&mut sight, &places, &proposed, code).await?;
    let sufficient_then = sufficient(&mut sight, read_controls, code).await?;
    let mut newly: Vec<(Uuid, bool, WorkerClause)> = Vec::new();
    for (worker, before) in &clauses_now {
        let then = worker_clauses(&mut sight, now, *worker, code).await?;
        let whole = then.within(&scope);
        let covers = |clause: &WorkerClause| {
            let of_authority = match &clause.authority {
                None => proposed.is_statutory(),
                Some(authority) => *authority == proposed.authority,
            };
            of_authority && (clause.view.met || clause.view.covered_by_default == Some(true))
        };
        for clause in then.clauses.into_iter().filter(covers) {
            let known = before.clauses.iter().find(|old| old.view.trigger_id == clause.view.trigger_id);
            if !known.is_some_and(covers) {
                newly.push((*worker, whole, clause));
            }
        }
    }

    let (newly_triggered, newly_triggered_not_in_sight) = named(tx, caller, as_of, newly).await?;
    let mut flags = Vec::new();
    let named = |of: &WorkerClauses| {
        of.clauses.iter().any(|clause| clause.authority.as_ref() == Some(&proposed.authority))
    };
    if !proposed.is_statutory() && !clauses_now.values().any(named) {
        flags.push(MAKES_NO_CLAUSE.to_owned());
    }
    if !has_limit_now {
        flags.push(NO_LIMIT_NOW.to_owned());
    }
    if !of_controls {
        flags.push(CONTROLS_NOT_READ.to_owned());
    }
    Ok(LimitChangeView {
        agent_code: proposal.agent_code.clone(),
        authority: proposed.authority.clone(),
        kind: proposed.kind,
        proposed: Quantity::computed(Measured::Value(proposed.value), proposed.unit),
        averaging_minutes: proposed.window,
        rule_set: proposed.only,
        cannot_tell,
        standings: alike(&standing_now, &standing_then),
        newly_triggered,
        newly_triggered_not_in_sight,
        controls: no_longer(sufficient_now, &sufficient_then),
        flags,
        words: WORDS.to_owned(),
    })
}

/// The groups in sight that the agent was measured in or is expected in.
async fn places(tx: &mut Tx, as_of: AsOf, scope: &Scope, code: &str) -> Result<Vec<(SiteId, Uuid)>, Refusal> {
    let mut found = Vec::new();
    for group in gather::all::<Group>(tx, as_of, &[]).await? {
        let Some(site) = group.site.filter(|site| scope.sites.holds(*site)) else { continue };
        let measured = agents_of_group(tx, group.id, as_of.position).await?;
        let expected = expected_agents(&mut Sight::new(tx, as_of), group.id).await?;
        if measured.iter().chain(&expected).any(|one| one == code) {
            found.push((site, group.id));
        }
    }
    found.sort_unstable();
    Ok(found)
}

/// The workers who are or were in these groups.
async fn workers(tx: &mut Tx, as_of: AsOf, places: &[(SiteId, Uuid)]) -> Result<BTreeSet<Uuid>, Refusal> {
    let mut found = BTreeSet::new();
    for (_, group) in places {
        let of_group = [Where::Is("group_id", Key::Id(Some(*group)))];
        let assigned = gather::all::<Assignment>(tx, as_of, &of_group).await?;
        found.extend(assigned.into_iter().filter_map(|one| one.parent));
        let worked = gather::all::<WorkedDay>(tx, as_of, &of_group).await?;
        found.extend(worked.into_iter().filter_map(|one| one.parent));
        found.extend(workers_of_group(tx, *group, as_of.position).await?);
    }
    let entries: Vec<Uuid> = found.iter().copied().collect();
    let persons = persons(tx, as_of, &entries).await?;
    Ok(found.into_iter().map(|entry| persons.stands_under(entry)).collect())
}

/// How the groups stand today by the proposal's authority, and which of them cannot tell.
async fn standings(
    sight: &mut Sight<'_>,
    places: &[(SiteId, Uuid)],
    proposed: &Proposed,
    code: &str,
) -> Result<(Groups, Vec<CannotTellGroup>), Refusal> {
    let today = sight.as_of.date;
    let (mut groups, mut coarse) = (Groups::new(), Vec::new());
    let Some(agent) = sight.agent(code).await? else { return Ok((groups, coarse)) };
    let reached = match proposed.kind {
        LimitKind::Twa => Level::AboveLimit,
        _ => Level::AtOrAboveActionLevel,
    };
    for &(site, group) in places {
        let Some(known) = sight.knowledge(group, code, Asked::default()).await? else { continue };
        let era = era_of(&known, today);
        let holds = |date| era.as_ref().is_none_or(|era| era.holds(date));
        let shifts = &known.conclusion.shifts;
        let (stands, found) = if proposed.kind.is_short_term() {
            let (pack, working_days) = (sight.pack().await?, sight.working_days(site).await?);
            let rules = StandingRules { pack: &pack, of_others: &[], working_days: &working_days };
            let authority = proposed.authority.as_str();
            let read = short_term::reading(&known.group, &known.conclusion, &agent, authority, rules, today);
            let only_above = read.is_none_or(|read| read.limit.only_above);
            let reached = read.is_some_and(|read| {
                read.stands.is_reached() && Levels::is(Some(read.limit.value), proposed.value)
            });
            let coarse = (!reached)
                .then(|| short_term::too_coarse(shifts, holds, &known.samples, &agent, proposed, only_above));
            (read.map_or(StandingValue::Unknown, |read| read.stands.into()), coarse.flatten())
        } else {
            let of = known.conclusion.standings.iter().find(|of| of.authority == proposed.authority);
            let stands = of.and_then(|of| of.on(today)).map_or(Level::Unknown, |change| change.level);
            let coarse =
                (stands < reached).then(|| too_coarse(shifts, holds, &known.samples, &agent, proposed));
            (stands.into(), coarse.flatten())
        };
        groups.insert((site, group), stands);
        if let Some(found) = found {
            let number = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
            coarse.push(CannotTellGroup {
                site_id: site,
                group_id: GroupId(group),
                cannot_tell: number(found.cannot_tell),
                of: number(found.of),
                part_sampled: found.part_sampled,
                sampling_needed: found.needed,
                flags: found.flags.into_iter().map(str::to_owned).collect(),
            });
        }
    }
    Ok((groups, coarse))
}

fn era_of(known: &GroupKnowledge, today: NaiveDate) -> Option<Era> {
    known.conclusion.eras.iter().map(|era| &era.era).find(|era| era.holds(today)).cloned()
}

/// What remains with each control, where that is told.
async fn sufficient(
    sight: &mut Sight<'_>,
    places: &[(SiteId, Uuid)],
    code: &str,
) -> Result<Sufficient, Refusal> {
    let mut found = Sufficient::new();
    let groups: BTreeMap<Uuid, SiteId> = places.iter().map(|(site, group)| (*group, *site)).collect();
    for task in gather::all::<Task>(sight.tx, sight.as_of, &[]).await? {
        let Some(site) = groups.get(&task.fact.group_id.0) else { continue };
        let measured = agents_of_task(sight.tx, task.id, sight.as_of.position).await?;
        if !measured.iter().any(|one| one == code) {
            continue;
        }
        let body = verdicts::of_agent(sight, task.id, code, Asked::default()).await?;
        for item in body["items"].as_array().into_iter().flatten() {
            let Some(view) = VerdictView::read(item, "", &mut Faults::default()) else { continue };
            if let Some(answer) = view.sufficiency {
                let key = (*site, TaskId(task.id), view.control_id, view.position.as_str());
                found.insert(key, (view, answer));
            }
        }
    }
    Ok(found)
}

fn no_longer(now: Sufficient, then: &Sufficient) -> Vec<ControlNoLongerSufficient> {
    let good =
        |answer: Sufficiency| matches!(answer, Sufficiency::BelowActionLevel | Sufficiency::BelowLimit);
    now.into_iter()
        .filter_map(|(key, (view, now))| {
            let (_, proposed) = then.get(&key)?;
            let worse = match (now, *proposed) {
                (Sufficiency::BelowActionLevel, Sufficiency::BelowActionLevel) => false,
                (Sufficiency::BelowActionLevel, _) => true,
                (now, proposed) => good(now) && !good(proposed),
            };
            worse.then_some(ControlNoLongerSufficient {
                site_id: key.0,
                task_id: key.1,
                control_id: view.control_id,
                position: view.position,
                now,
                proposed: *proposed,
            })
        })
        .collect()
}

fn alike(now: &Groups, then: &Groups) -> Vec<StandingsAlike> {
    let mut found: BTreeMap<(StandingValue, StandingValue), Vec<GroupOnSite>> = BTreeMap::new();
    for ((site, group), level) in now {
        let proposed = then.get(&(*site, *group)).copied().unwrap_or(StandingValue::Unknown);
        let place = GroupOnSite { site_id: *site, group_id: GroupId(*group) };
        found.entry((*level, proposed)).or_default().push(place);
    }
    found
        .into_iter()
        .map(|((now, proposed), groups)| StandingsAlike {
            now,
            proposed,
            count: i64::try_from(groups.len()).unwrap_or(i64::MAX),
            groups,
        })
        .collect()
}

/// Those in sight by name, the others counted.
async fn named(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    newly: Vec<(Uuid, bool, WorkerClause)>,
) -> Result<(Vec<NewlyTriggered>, i64), Refusal> {
    let ids: BTreeSet<Uuid> = newly.iter().map(|(worker, ..)| *worker).collect();
    let told = match caller.may(Action::ReadWorkers) {
        Ok(scope) => {
            let ids: Vec<Uuid> = ids.iter().copied().collect();
            persons(tx, as_of, &ids).await?.told(tx, &scope, as_of, ids).await?
        }
        Err(_) => BTreeMap::new(),
    };
    let list: Vec<Uuid> = told.values().copied().collect();
    let names: BTreeMap<Uuid, String> = gather::many::<Worker>(tx, as_of, &list, Where::Ids)
        .await?
        .into_iter()
        .map(|worker| (worker.id, format!("{} {}", worker.fact.given_name, worker.fact.family_name)))
        .collect();
    let named = |worker: &Uuid| told.get(worker).and_then(|id| Some((*id, names.get(id)?)));
    let others = ids.iter().filter(|id| named(id).is_none()).count();
    let shown = newly.into_iter().filter_map(|(worker, whole, clause)| {
        let (worker, name) = named(&worker)?;
        let flags = if whole { Vec::new() } else { vec![DAYS_ACROSS_SITES.to_owned()] };
        Some(NewlyTriggered {
            worker_id: WorkerId(worker),
            name: name.clone(),
            trigger_id: clause.view.trigger_id,
            clause: clause.view.clause,
            rule_set: clause.rule_set,
            measured_days: whole.then_some(clause.measured),
            represented_days: whole.then_some(clause.represented),
            planned_days: whole.then_some(clause.planned),
            flags,
            words: format!("with the proposed level, {APPEARS}; {WHO_DECIDES}"),
        })
    });
    Ok((shown.collect(), i64::try_from(others).unwrap_or(i64::MAX)))
}
