//! The duties of a group for an agent that follow from its rounds: gathers what the rules about monitoring ask.

use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::{GroupEvidence, SampleEvidence};
use crate::conclusions::group_standing::{every_round, rounds};
use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY, rule_set_on};
use crate::conclusions::shift_average::ShiftTwa;
use crate::conclusions::short_term_rounds::{ShortTermWindow, short_term_rounds};
use crate::model::facts::agent::LimitKind;
use crate::model::facts::control::ControlKind;
use crate::model::facts::duty::{Duty, DutyAction, DutyActionKind, DutyKind};
use crate::model::facts::group::{Condition, ExpectedAgent, Judgement, JudgementKind};
use crate::model::facts::laboratory::LabReport;
use crate::model::facts::site::{MonitoringOption, Release};
use crate::model::identifiers::{EventId, GroupId, SampleId, SiteId};
use crate::model::text::Code;
use crate::registry::conclude::sight::{ClausePlace, GroupKnowledge, Sight, WITHOUT_LIMIT};
use crate::registry::duties::{Family, Ought, Whose};
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::store::tables::Key;
use crate::store::versions::Where;
use crate::surveillance::duties::About;
use crate::surveillance::level::Levels;
use crate::surveillance::monitoring::additional::{Effect, WorkChange};
use crate::surveillance::monitoring::control_duties::Ventilation;
use crate::surveillance::monitoring::notice::Received;
use crate::surveillance::monitoring::owed::{DatedCondition, Expected, Facts, OF_A_PROFILE, Question, owed};
use crate::surveillance::monitoring::track::Rounds;
use crate::surveillance::standing;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// What a group is owed.
#[derive(Debug)]
pub struct Monitoring {
    /// The duties that ought to stand: by the law, and by other authorities' clauses.
    pub ought: [Ought; 2],
    /// The first date on which they would differ with no new fact.
    pub changes_on: Option<NaiveDate>,
}

/// The agents that are expected in a group, whether measured or not.
///
/// # Errors
/// Only when storage fails.
pub async fn expected_agents(sight: &mut Sight<'_>, group: Uuid) -> Result<Vec<String>, Refusal> {
    let expected = gather::all::<ExpectedAgent>(sight.tx, sight.as_of, &[Where::Parent(group)]).await?;
    Ok(expected.into_iter().map(|expected| expected.fact.agent_code.to_string()).collect())
}

/// What a group is owed in monitoring for an agent, now.
///
/// # Errors
/// Only when storage fails.
pub async fn monitoring(sight: &mut Sight<'_>, group: Uuid, code: &str) -> Result<Monitoring, Refusal> {
    let today = sight.as_of.date;
    let nothing = || {
        [Whose::TheLaw, Whose::Others].map(|whose| {
            let about = About::Group(GroupId(group));
            let agent_code = code.to_owned();
            let family =
                Family { about, also: Vec::new(), agent_code, kinds: OF_A_PROFILE, whose, medical: false };
            Ought { family, duties: Vec::new(), learned_on: today }
        })
    };
    let nobody = Monitoring { ought: nothing(), changes_on: None };
    let Some(known) = sight.knowledge(group, code, Asked::default()).await? else { return Ok(nobody) };
    let Some(agent) = sight.agent(code).await? else { return Ok(nobody) };
    if !known.group.group.stands() {
        return Ok(nobody);
    }
    // Without a limit the law's rules have no level; other authorities' that take none hold all the same.
    let of_results = known.conclusion.shifts.first().map(|shift| shift.unit);
    let unit = agent.unit().or(of_results).unwrap_or(WITHOUT_LIMIT);
    let site = SiteId(known.group.site.id);
    let rule_set = rule_set_on(&known.group, today);
    let at_site = agent.at(site).into_owned();
    let level = |kind| at_site.level(STATUTORY_AUTHORITY, kind, rule_set, today, unit);
    let levels = Levels { action_level: level(LimitKind::ActionLevel), limit: level(LimitKind::Twa) };
    let window = ShortTermWindow::of(&at_site, rule_set, today, unit);
    let shifts = &known.conclusion.shifts;
    let short_term = window.map_or_else(Vec::new, |window| short_term_rounds(shifts, unit, |_| Some(window)));
    let gathered = facts(sight, group, &known, &agent).await?;
    let pack = sight.pack().await?;
    let working_days = sight.working_days(site).await?;
    let of_law = Question {
        group: GroupId(group),
        site,
        agent_code: code,
        rule_set,
        levels,
        short_term_limit: window.map(|window| window.value),
        unit,
        today,
        working_days: &working_days,
    };
    let rounds_by = |authority: &Code| rounds(shifts, &known.group, &at_site, authority, unit);
    let standing_by = |authority: &str| {
        let of = known.conclusion.standings.iter().find(|of| of.authority.as_str() == authority);
        of.map_or_else(Vec::new, |of| of.moves.clone())
    };
    let mut ought = nothing();
    let statutory = Code::new(STATUTORY_AUTHORITY);
    let eight_hour = statutory.map_or_else(Vec::new, |law| rounds_by(&law));
    let by_law = Facts {
        rounds: Rounds { eight_hour: &eight_hour, short_term: &short_term },
        standing: standing_by(STATUTORY_AUTHORITY),
        ..gathered.clone()
    };
    let found = owed(&pack, &of_law, &by_law);
    if agent.unit().is_some() {
        ought[0].duties = found.duties;
    }
    for other in sight.other_authorities(&agent, ClausePlace::Within(site), rule_set, unit).await? {
        // An authority without a level asks for sampling all the same, and a round is a round.
        let eight_hour = if other.levels == Levels::default() {
            every_round(shifts, &known.group, &at_site, &other.authority, unit)
        } else {
            rounds_by(&other.authority)
        };
        let question = Question { levels: other.levels, short_term_limit: None, ..of_law };
        let facts = Facts {
            rounds: Rounds { eight_hour: &eight_hour, short_term: &[] },
            standing: standing_by(other.authority.as_str()),
            ..gathered.clone()
        };
        // What no clause asks for is recommended once, beside the law's duties.
        let asked = owed(&other.pack, &question, &facts).duties;
        ought[1].duties.extend(asked.into_iter().filter(|duty| !duty.grounds.clause.is_empty()).map(
            |mut duty| {
                duty.grounds.authority = Some(other.authority.clone());
                duty
            },
        ));
    }
    let clauses = sight.clause_dates(code).await?;
    let limits = agent.limits.iter().flat_map(|limit| [limit.fact.from, limit.fact.to]).flatten();
    let rule_sets = known.group.site_rule_sets.iter().chain(&known.group.group_rule_sets);
    let dates = limits.chain(clauses).chain(rule_sets.map(|change| change.fact.from));
    let changes_on = dates.filter(|date| *date > today).chain(found.changes_on).min();
    Ok(Monitoring { ought, changes_on })
}

/// Everything but the rounds and what they moved, which each authority reads for itself.
async fn facts(
    sight: &mut Sight<'_>,
    group: Uuid,
    known: &GroupKnowledge,
    agent: &AgentEvidence,
) -> Result<Facts<'static>, Refusal> {
    let (as_of, code) = (sight.as_of, agent.code());
    let of_group = [Where::Parent(group)];
    let of_site = [Where::Parent(known.group.site.id)];
    let expected = gather::all::<ExpectedAgent>(sight.tx, as_of, &of_group).await?;
    let options = gather::all::<MonitoringOption>(sight.tx, as_of, &of_site).await?;
    let conditions = gather::all::<Condition>(sight.tx, as_of, &of_group).await?;
    let releases = gather::all::<Release>(sight.tx, as_of, &of_site).await?;
    let judged = [Where::Is("group_id", Key::Id(Some(group)))];
    let judgements = gather::all::<Judgement>(sight.tx, as_of, &judged).await?;
    let mut changes = changes(&known.group);
    let zone = known.group.site.fact.time_zone.0;
    let here =
        |release: &Release| release.agent_codes.contains(code) && release.group_ids.contains(&GroupId(group));
    changes.extend(releases.iter().filter(|release| here(&release.fact)).map(|release| WorkChange {
        occasion: release.id.to_string(),
        from: release.fact.at.with_timezone(&zone).date_naive(),
        effect: Effect::Release,
        basis: [release.position].into(),
    }));
    let shifts = &known.conclusion.shifts;
    let holds =
        |from: NaiveDate, to: Option<NaiveDate>| from <= as_of.date && to.is_none_or(|to| as_of.date < to);
    let (received, basis) = received(sight, shifts, &known.samples, code).await?;
    let ventilation = ventilation(sight, group, known, code).await?;
    let mut eras: Vec<standing::Era> = Vec::new();
    for era in &known.conclusion.eras {
        let era = standing::Era { from: era.era.from, to: era.era.to };
        if eras.last() != Some(&era) {
            eras.push(era);
        }
    }
    let mut met: Vec<(Option<NaiveDate>, i64)> = expected
        .iter()
        .filter(|expected| expected.fact.agent_code == *code)
        .filter(|expected| holds(expected.fact.from, expected.fact.to) || expected.fact.from > as_of.date)
        .map(|expected| (Some(expected.fact.from), expected.position))
        .collect();
    met.sort_unstable();
    let first_shift = shifts.iter().map(|shift| shift.shift_date).min();
    let expected = match (met.first(), first_shift) {
        (Some((from, _)), shift) => Some(Expected {
            from: (*from).min(shift.or(*from)),
            basis: met.iter().map(|(_, position)| *position).collect(),
        }),
        (None, Some(first)) => Some(Expected { from: Some(first), basis: BTreeSet::new() }),
        (None, None) => None,
    };
    Ok(Facts {
        rounds: Rounds::default(),
        eras,
        standing: Vec::new(),
        expected,
        options: options
            .iter()
            .filter(|option| option.fact.agent_code == *code)
            .map(|option| (option.fact.from, option.fact.option))
            .collect(),
        characterised: judgements.iter().any(|judgement| {
            let fact = &judgement.fact;
            fact.agent_code == *code
                && matches!(fact.kind, JudgementKind::Objective | JudgementKind::Historical)
                && holds(fact.from, fact.to)
        }),
        changes,
        conditions: conditions
            .iter()
            .filter(|condition| condition.fact.agent_code == *code)
            .map(|condition| DatedCondition {
                kind: condition.fact.kind,
                rule_id: condition.fact.trigger_id.as_ref().map(ToString::to_string),
                from: condition.fact.from,
                to: condition.fact.to,
                basis: [condition.position].into(),
            })
            .collect(),
        ventilation,
        received,
        basis,
    })
}

/// Recorded changes, and controls put in or taken away. What is worn changes no exposure.
fn changes(group: &GroupEvidence) -> Vec<WorkChange> {
    let mut changes: Vec<WorkChange> = group
        .changes
        .iter()
        .filter(|change| change.stands())
        .map(|change| WorkChange {
            occasion: change.id.to_string(),
            from: change.fact.from,
            effect: if change.fact.may_raise { Effect::MayRaise } else { Effect::ShouldLower },
            basis: [change.position].into(),
        })
        .collect();
    let worn =
        |id: Uuid| group.controls.iter().any(|control| control.id == id && control.fact.kind.is_worn());
    let tasks: BTreeSet<Uuid> = group.tasks.iter().filter(|task| task.stands()).map(|task| task.id).collect();
    let periods: Vec<_> = group
        .periods
        .iter()
        .filter(|period| period.stands() && period.parent.is_some_and(|task| tasks.contains(&task)))
        .filter(|period| !worn(period.fact.control_id.0))
        .collect();
    for period in &periods {
        let same = |other: &&&crate::model::version::Version<crate::model::facts::control::ControlPeriod>| {
            other.parent == period.parent && other.fact.control_id == period.fact.control_id
        };
        let goes_on = |to: NaiveDate| periods.iter().filter(same).any(|other| other.fact.from == to);
        let went_on = periods.iter().filter(same).any(|other| other.fact.to == Some(period.fact.from));
        if !went_on {
            changes.push(WorkChange {
                occasion: format!("{} from", period.id),
                from: period.fact.from,
                effect: Effect::ShouldLower,
                basis: [period.position].into(),
            });
        }
        if let Some(to) = period.fact.to.filter(|to| !goes_on(*to)) {
            changes.push(WorkChange {
                occasion: format!("{} to", period.id),
                from: to,
                effect: Effect::MayRaise,
                basis: [period.position].into(),
            });
        }
    }
    changes
}

/// When the results of each shift had come in, and the positions behind each event.
async fn received(
    sight: &mut Sight<'_>,
    shifts: &[ShiftTwa],
    samples: &[SampleEvidence],
    code: &Code,
) -> Result<(Vec<Received>, BTreeMap<EventId, BTreeSet<i64>>), Refusal> {
    let by_id: BTreeMap<SampleId, &SampleEvidence> =
        samples.iter().map(|found| (SampleId(found.sample.id), found)).collect();
    let of_agent = |found: &SampleEvidence| {
        let results = found.results.iter().filter(|result| result.stands() && result.fact.stands);
        let results = results.filter(|result| result.fact.agent_code == *code);
        results.map(|result| (result.parent, result.position)).collect::<Vec<_>>()
    };
    let reports: Vec<Uuid> = samples.iter().flat_map(&of_agent).filter_map(|(report, _)| report).collect();
    let reports = gather::many::<LabReport>(sight.tx, sight.as_of, &reports, Where::Ids).await?;
    let received_on: BTreeMap<Uuid, NaiveDate> =
        reports.iter().map(|report| (report.id, report.fact.received_on)).collect();
    let mut received = Vec::new();
    let mut behind: BTreeMap<EventId, BTreeSet<i64>> = BTreeMap::new();
    for shift in shifts.iter().filter(|shift| shift.twa.is_some() || !shift.peaks.is_empty()) {
        let mut on = shift.shift_date;
        let mut basis = BTreeSet::new();
        for found in shift.samples.iter().filter_map(|sample| by_id.get(&sample.sample_id)) {
            basis.insert(found.sample.position);
            for (report, position) in of_agent(found) {
                basis.insert(position);
                on = on.max(report.and_then(|id| received_on.get(&id)).copied().unwrap_or(on));
            }
        }
        behind.entry(shift.event).or_default().extend(&basis);
        received.push(Received { event: shift.event, on, basis });
    }
    Ok((received, behind))
}

/// The engineering controls in place today: since when, and when they were checked.
async fn ventilation(
    sight: &mut Sight<'_>,
    group: Uuid,
    known: &GroupKnowledge,
    code: &Code,
) -> Result<Option<Ventilation>, Refusal> {
    let as_of = sight.as_of;
    let engineering: BTreeSet<Uuid> = known
        .group
        .controls
        .iter()
        .filter(|control| control.fact.kind == ControlKind::Engineering)
        .map(|control| control.id)
        .collect();
    let in_place: Vec<_> = known
        .group
        .periods
        .iter()
        .filter(|period| period.stands() && engineering.contains(&period.fact.control_id.0))
        .filter(|period| period.fact.from <= as_of.date && period.fact.to.is_none_or(|to| as_of.date < to))
        .collect();
    let Some(since) = in_place.iter().map(|period| period.fact.from).min() else { return Ok(None) };
    let of_group = [
        Where::Is("group_id", Key::Id(Some(group))),
        Where::Is("agent_code", Key::Text(Some(code.to_string()))),
    ];
    let mut checked = BTreeSet::new();
    for duty in gather::all::<Duty>(sight.tx, as_of, &of_group).await? {
        if duty.fact.kind == DutyKind::CheckVentilation {
            let acts = gather::all::<DutyAction>(sight.tx, as_of, &[Where::Parent(duty.id)]).await?;
            let done = acts.iter().filter(|act| act.fact.action == DutyActionKind::Completed);
            checked.extend(done.map(|act| act.fact.on));
        }
    }
    let basis = in_place.iter().map(|period| period.position).collect();
    Ok(Some(Ventilation { since, checked, basis }))
}
