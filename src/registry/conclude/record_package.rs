//! `GET /record-requests/{id}/package`: gathers what is handed out on a request for a worker's exposure records.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::limits::{AgentEvidence, rule_set_on};
use crate::conclusions::profile_view::profile_views;
use crate::conclusions::record_package::{
    CAUTION, PackageAccuracy, PackageEmployment, PackageGap, PackageLimit, PackageProfile, PackageVerdict,
    PackageWork, RecordPackage, RecordRoute, missing, route,
};
use crate::model::facts::control::{Control, Task};
use crate::model::facts::duty::{Duty, DutyKind};
use crate::model::facts::group::ExpectedAgent;
use crate::model::facts::laboratory::LabReport;
use crate::model::facts::sampling::{Position, Sample};
use crate::model::facts::worker::RecordRequest;
use crate::model::identifiers::{ControlId, DutyId, GroupId, SiteId, TaskId, WorkerId};
use crate::model::shape::Shape;
use crate::model::text::Code;
use crate::model::version::Version;
use crate::registry::conclude::history::{self, Question};
use crate::registry::conclude::package_results::{Titles, results};
use crate::registry::conclude::samples::agent_codes;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::verdicts;
use crate::registry::gather;
use crate::registry::gather::workers::WorkerEvidence;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::samples::{agents_of_group, agents_of_task};
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Where};
use crate::surveillance::pack::monitoring_rule::MonitoringRuleType;
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The package of a request: whole, or not at all.
///
/// # Errors
/// [`Refusal::Unknown`] where the request is not in sight, [`Refusal::Forbidden`] where the caller sees some sites only;
/// [`Refusal::Conflict`] where the request is void, or nothing lets the one who asks have the records.
pub async fn record_package(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    now: DateTime<Utc>,
    id: Uuid,
) -> Result<RecordPackage, Refusal> {
    let request = recording::read::<RecordRequest>(tx, caller, as_of, id).await?;
    let scope = caller.may(Action::ReadHistories)?;
    if !scope.is_all() {
        return Err(Refusal::Forbidden);
    }
    if !request.stands() {
        return Err(Refusal::taken("the request was voided"));
    }
    let worker = request.parent.unwrap_or_default();
    let found = gather::workers::worker(tx, as_of, worker).await?.ok_or(Refusal::Unknown)?;
    let today = found.horizon(now).pred_opt().unwrap_or(as_of.date);
    let route = route(&request.fact, today).map_err(|(at, detail)| Refusal::conflict_at(at, detail))?;
    let duty = duty_of(tx, as_of, &request).await?;
    let mut package = blank(&request, route, duty, &found, today);

    let times = Times::of(&found);
    let mut sight = Sight::new(tx, as_of);
    let titles = titles(&mut sight, &times).await?;
    package.work = work(&found, &titles);
    let samples = samples(&mut sight, &found, &times, &titles).await?;
    let every = || samples.own.iter().chain(&samples.groups).chain(&samples.areas);
    let mut codes: BTreeSet<String> = agent_codes(&every().cloned().collect::<Vec<_>>());
    codes.extend(expected(&mut sight, &times).await?);
    let agents = gather::agents::agents(sight.tx, as_of, codes.clone()).await?;
    let reports = reports(&mut sight, every()).await?;
    let own: BTreeSet<Uuid> = found.person.entries().into_iter().collect();
    let mut cover = BTreeMap::new();
    let mut shown = |list: &[&SampleEvidence]| results(list, &agents, &reports, &titles, &own, &mut cover);
    let (meanwhile, other_times): (Vec<&SampleEvidence>, Vec<&SampleEvidence>) =
        samples.groups.iter().partition(|one| times.holds(&one.sample.fact));
    package.own = shown(&samples.own.iter().collect::<Vec<_>>());
    package.representing = shown(&meanwhile);
    package.areas = shown(&samples.areas.iter().collect::<Vec<_>>());
    let told: BTreeSet<Code> = package
        .own
        .iter()
        .chain(&package.representing)
        .filter(|one| one.tells())
        .filter_map(|one| one.agent_code.clone())
        .collect();
    package.of_similar_work = shown(&other_times);
    package
        .of_similar_work
        .retain(|one| one.tells() && one.agent_code.as_ref().is_some_and(|code| !told.contains(code)));

    package.profiles = profiles(&mut sight, &times, &titles).await?;
    package.verdicts = verdicts(&mut sight, &titles).await?;
    package.limits = limits(&mut sight, &agents, &times, every(), today).await?;
    package.accuracy = accuracy(&mut sight, &agents, &times, today).await?;
    for code in &codes {
        let question = Question { agent_code: code.clone(), from: None, to: None, lag_years: 0, now: false };
        let view = history::concluded(&mut sight, &scope, now, worker, &question, Asked::default()).await?;
        let Some(view) = view else { continue };
        package.gaps.extend(view.gaps.iter().map(|gap| PackageGap {
            agent_code: view.agent_code.clone(),
            from: gap.from,
            to: gap.to,
            kind: gap.kind,
        }));
    }
    let codes: BTreeSet<Code> = codes.iter().filter_map(|code| Code::new(code)).collect();
    package.missing = missing(&package, &codes);
    Ok(package)
}

fn blank(
    request: &Version<RecordRequest>,
    route: RecordRoute,
    duty: Option<Version<Duty>>,
    found: &WorkerEvidence,
    today: NaiveDate,
) -> RecordPackage {
    let name = &found.worker.fact;
    RecordPackage {
        caution: CAUTION.to_owned(),
        received_on: request.fact.received_on,
        from: request.fact.from,
        what: request.fact.what.clone(),
        route,
        health_need: request.fact.health_need.clone(),
        duty_id: duty.as_ref().map(|duty| DutyId(duty.id)),
        due_on: duty.map(|duty| duty.fact.due_on),
        worker_id: WorkerId(found.person.id),
        also_known_as: found.person.also_known_as(),
        name: format!("{} {}", name.given_name, name.family_name),
        as_of: today,
        employments: found
            .employments
            .iter()
            .map(|one| PackageEmployment {
                employer: one.fact.employer.clone(),
                employee_number: one.fact.employee_number.clone(),
                from: one.fact.from,
                to: one.fact.to,
            })
            .collect(),
        work: Vec::new(),
        own: Vec::new(),
        representing: Vec::new(),
        of_similar_work: Vec::new(),
        areas: Vec::new(),
        profiles: Vec::new(),
        verdicts: Vec::new(),
        limits: Vec::new(),
        accuracy: Vec::new(),
        gaps: Vec::new(),
        missing: Vec::new(),
    }
}

async fn duty_of(
    tx: &mut Tx,
    as_of: AsOf,
    request: &Version<RecordRequest>,
) -> Result<Option<Version<Duty>>, Refusal> {
    let of_it = [
        Where::Is("worker_id", Key::Id(request.parent)),
        Where::Is("occasion", Key::Text(Some(request.id.to_string()))),
    ];
    let duties = gather::all::<Duty>(tx, as_of, &of_it).await?;
    Ok(duties.into_iter().find(|duty| duty.fact.kind == DutyKind::AnswerRecordRequest))
}

/// In which groups the person worked when.
struct Times(BTreeMap<GroupId, Vec<(NaiveDate, Option<NaiveDate>)>>);

impl Times {
    fn of(found: &WorkerEvidence) -> Self {
        let mut times: BTreeMap<GroupId, Vec<_>> = BTreeMap::new();
        for one in &found.assignments {
            times.entry(one.fact.group_id).or_default().push((one.fact.from, one.fact.to));
        }
        for one in &found.worked_days {
            times.entry(one.fact.group_id).or_default().push((one.fact.date, one.fact.date.succ_opt()));
        }
        Self(times)
    }

    fn groups(&self) -> Vec<Uuid> {
        self.0.keys().map(|group| group.0).collect()
    }

    /// Whether a sample was taken in one of the groups on a day on which the person was in it.
    fn holds(&self, sample: &Sample) -> bool {
        let times = sample.group_id.and_then(|group| self.0.get(&group));
        times.is_some_and(|times| {
            times
                .iter()
                .any(|(from, to)| *from <= sample.shift_date && to.is_none_or(|to| sample.shift_date < to))
        })
    }

    /// Whether some time from a day to another (the first no longer) lies in the person's time in a group.
    fn overlap(&self, group: GroupId, from: Option<NaiveDate>, to: Option<NaiveDate>) -> bool {
        self.0.get(&group).into_iter().flatten().any(|(begun, ended)| {
            to.is_none_or(|to| *begun < to) && from.is_none_or(|from| ended.is_none_or(|ended| from < ended))
        })
    }
}

async fn titles(sight: &mut Sight<'_>, times: &Times) -> Result<Titles, Refusal> {
    let mut titles = Titles::default();
    for group in times.groups() {
        let Some(known) = sight.group(group).await? else { continue };
        titles.groups.insert(GroupId(group), known.group.fact.title.to_string());
        titles.site_of.insert(GroupId(group), SiteId(known.site.id));
        titles.sites.insert(SiteId(known.site.id), known.site.fact.code.to_string());
        let of_group = [Where::Is("group_id", Key::Id(Some(group)))];
        for task in gather::all::<Task>(sight.tx, sight.as_of, &of_group).await? {
            titles.tasks.insert(TaskId(task.id), task.fact.title.to_string());
        }
    }
    Ok(titles)
}

fn work(found: &WorkerEvidence, titles: &Titles) -> Vec<PackageWork> {
    found
        .assignments
        .iter()
        .map(|one| PackageWork {
            group_id: one.fact.group_id,
            site_code: one.site.and_then(|site| titles.sites.get(&site).cloned()),
            group_title: titles.groups.get(&one.fact.group_id).cloned(),
            job_title: one.fact.job_title.clone(),
            from: one.fact.from,
            to: one.fact.to,
        })
        .collect()
}

/// The samples of a package.
struct Samples {
    /// Worn by the person.
    own: Vec<SampleEvidence>,
    /// Worn by others of the person's groups, whenever.
    groups: Vec<SampleEvidence>,
    /// Worn by nobody: of the groups and their tasks while the person was there, and of the events of the person's own.
    areas: Vec<SampleEvidence>,
}

async fn samples(
    sight: &mut Sight<'_>,
    found: &WorkerEvidence,
    times: &Times,
    titles: &Titles,
) -> Result<Samples, Refusal> {
    let as_of = sight.as_of;
    let own = gather::samples::of_workers(sight.tx, as_of, &[found.person.id]).await?;
    let mut others = gather::samples::by(sight.tx, as_of, "group_id", &times.groups()).await?;
    let tasks: Vec<Uuid> = titles.tasks.keys().map(|task| task.0).collect();
    let of_tasks = gather::samples::by(sight.tx, as_of, "task_id", &tasks).await?;
    let events: BTreeSet<Uuid> = own.iter().map(|one| one.event.id).collect();
    let events: Vec<Uuid> = events.into_iter().collect();
    let of_events = gather::many::<Sample>(sight.tx, as_of, &events, Where::Parents).await?;
    let of_events = gather::samples::evidence(sight.tx, as_of, of_events).await?;
    let mut known: BTreeSet<Uuid> = own.iter().chain(&others).map(|one| one.sample.id).collect();
    others.extend(of_tasks.into_iter().chain(of_events).filter(|one| known.insert(one.sample.id)));
    others.retain(|one| own.iter().all(|mine| mine.sample.id != one.sample.id));
    let (worn, mut areas): (Vec<_>, Vec<_>) =
        others.into_iter().partition(|one| one.sample.fact.position == Position::BreathingZone);
    areas.retain(|one| {
        let sample = &one.sample.fact;
        sample.position != Position::FieldBlank
            && (times.holds(sample) || own.iter().any(|mine| mine.event.id == one.event.id))
    });
    let groups = worn
        .into_iter()
        .filter(|one| one.sample.fact.group_id.is_some_and(|group| times.0.contains_key(&group)));
    Ok(Samples { own, groups: groups.collect(), areas })
}

async fn expected(sight: &mut Sight<'_>, times: &Times) -> Result<BTreeSet<String>, Refusal> {
    let found = gather::many::<ExpectedAgent>(sight.tx, sight.as_of, &times.groups(), Where::Parents).await?;
    let here = found.iter().filter(|one| {
        let group = GroupId(one.parent.unwrap_or_default());
        one.stands() && times.overlap(group, Some(one.fact.from), one.fact.to)
    });
    Ok(here.map(|one| one.fact.agent_code.to_string()).collect())
}

async fn reports<'e>(
    sight: &mut Sight<'_>,
    samples: impl Iterator<Item = &'e SampleEvidence>,
) -> Result<BTreeMap<Uuid, Version<LabReport>>, Refusal> {
    let ids: BTreeSet<Uuid> =
        samples.flat_map(|one| one.results.iter().filter_map(|result| result.parent)).collect();
    let ids: Vec<Uuid> = ids.into_iter().collect();
    let found = gather::many(sight.tx, sight.as_of, &ids, Where::Ids).await?;
    Ok(found.into_iter().map(|report: Version<_>| (report.id, report)).collect())
}

async fn profiles(
    sight: &mut Sight<'_>,
    times: &Times,
    titles: &Titles,
) -> Result<Vec<PackageProfile>, Refusal> {
    let mut found = Vec::new();
    for group in times.groups() {
        for code in agents_of_group(sight.tx, group, sight.as_of.position).await? {
            let Some(known) = sight.knowledge(group, &code, Asked::default()).await? else { continue };
            let views = profile_views(&known.conclusion, Asked::default());
            for mut profile in views.iter().map(Shape::to_json) {
                let day = |name: &str| profile.get(name).and_then(Value::as_str)?.parse::<NaiveDate>().ok();
                if !times.overlap(GroupId(group), day("from"), day("to")) {
                    continue;
                }
                // Who stands apart is the others' own matter.
                if let Value::Object(fields) = &mut profile {
                    fields.remove("workers_apart");
                }
                let group_title = titles.groups.get(&GroupId(group)).cloned().unwrap_or_default();
                found.push(PackageProfile { group_id: GroupId(group), group_title, profile });
            }
        }
    }
    Ok(found)
}

async fn verdicts(sight: &mut Sight<'_>, titles: &Titles) -> Result<Vec<PackageVerdict>, Refusal> {
    let mut found = Vec::new();
    for (task, title) in &titles.tasks {
        for code in agents_of_task(sight.tx, task.0, sight.as_of.position).await? {
            let body = verdicts::of_agent(sight, task.0, &code, Asked::default()).await?;
            for verdict in body["items"].as_array().into_iter().flatten() {
                let control = verdict["control_id"].as_str().and_then(|id| id.parse().ok()).map(ControlId);
                found.push(PackageVerdict {
                    task_id: *task,
                    task_title: title.clone(),
                    control_id: control,
                    control_title: None,
                    verdict: verdict.clone(),
                });
            }
        }
    }
    let ids: Vec<Uuid> = found.iter().filter_map(|one| one.control_id).map(|id| id.0).collect();
    let controls = gather::many::<Control>(sight.tx, sight.as_of, &ids, Where::Ids).await?;
    for one in &mut found {
        let control = controls.iter().find(|control| one.control_id == Some(ControlId(control.id)));
        one.control_title = control.map(|control| control.fact.title.to_string());
    }
    Ok(found)
}

/// Limits in force at the person's groups on the days of the samples, and today.
async fn limits<'e>(
    sight: &mut Sight<'_>,
    agents: &[AgentEvidence],
    times: &Times,
    samples: impl Iterator<Item = &'e SampleEvidence>,
    today: NaiveDate,
) -> Result<Vec<PackageLimit>, Refusal> {
    let mut days: BTreeSet<NaiveDate> = samples.map(|one| one.sample.fact.shift_date).collect();
    days.insert(today);
    let mut found: Vec<PackageLimit> = Vec::new();
    for group in times.groups() {
        let Some(known) = sight.group(group).await? else { continue };
        for agent in agents {
            let agent = agent.at(SiteId(known.site.id));
            for day in &days {
                for limit in agent.in_force(rule_set_on(&known, *day), *day) {
                    let one = PackageLimit {
                        agent_code: agent.code().clone(),
                        authority: limit.authority.clone(),
                        kind: limit.kind,
                        value: limit.value.clone(),
                        averaging_minutes: limit.averaging_minutes,
                        from: limit.from,
                        to: limit.to,
                        source: limit.source.clone(),
                    };
                    if !found.contains(&one) {
                        found.push(one);
                    }
                }
            }
        }
    }
    found.sort_by(|a, b| {
        let key = |one: &PackageLimit| (one.agent_code.clone(), one.authority.clone(), one.kind, one.from);
        key(a).cmp(&key(b))
    });
    Ok(found)
}

async fn accuracy(
    sight: &mut Sight<'_>,
    agents: &[AgentEvidence],
    times: &Times,
    today: NaiveDate,
) -> Result<Vec<PackageAccuracy>, Refusal> {
    let pack = sight.pack().await?;
    let mut found: Vec<PackageAccuracy> = Vec::new();
    for group in times.groups() {
        let Some(known) = sight.group(group).await? else { continue };
        let rule_set = rule_set_on(&known, today);
        for code in agents.iter().map(AgentEvidence::code) {
            let rules = pack.monitoring_of(code.as_str(), rule_set);
            for rule in rules.filter(|rule| rule.rule_type == MonitoringRuleType::Accuracy) {
                let one = PackageAccuracy {
                    agent_code: code.clone(),
                    asks: rule.action.clone().unwrap_or_default(),
                    clause: rule.clause(),
                    verification: rule.verification,
                };
                if !found.contains(&one) {
                    found.push(one);
                }
            }
        }
    }
    Ok(found)
}
