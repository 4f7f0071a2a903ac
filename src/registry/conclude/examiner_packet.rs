//! `GET /workers/{id}/examiner-packet`: gathers what an examining physician is given.

use crate::access::caller::Caller;
use crate::conclusions::asked::Asked;
use crate::conclusions::examiner_packet::{
    CAUTION, ExaminerPacket, Names, PacketDuty, PacketExamination, equipment, exposure, limits, work,
};
use crate::conclusions::limits::rule_set_on;
use crate::model::facts::control::{Control, Task};
use crate::model::facts::group::Group;
use crate::model::facts::site::Site;
use crate::model::facts::worker::Assignment;
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::version::Version;
use crate::registry::conclude::history::{self, Question};
use crate::registry::conclude::sight::Sight;
use crate::registry::duty_list;
use crate::registry::duty_view::is_examination;
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Page, Where};
use chrono::{DateTime, Duration, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The packet of a worker and an agent: whole, or not at all.
///
/// # Errors
/// [`Refusal::Unknown`] where the worker is not in sight, [`Refusal::Forbidden`] where the caller sees some sites only; a
/// fault for an agent that is not known.
pub async fn examiner_packet(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    now: DateTime<Utc>,
    worker: Uuid,
    question: &Question,
) -> Result<ExaminerPacket, Refusal> {
    let (history, scope) =
        history::in_sight(tx, caller, as_of, now, worker, question, Asked::default()).await?;
    if !scope.is_all() {
        return Err(Refusal::Forbidden);
    }
    let today = history.to - Duration::days(1);
    let found = gather::workers::worker(tx, as_of, worker).await?.ok_or(Refusal::Unknown)?;
    let assignments = &found.assignments;
    let names = names(tx, as_of, assignments).await?;

    let of_worker = duty_list::Question { worker: Some(WorkerId(worker)), ..duty_list::Question::default() };
    let everything = Page { after: None, limit: i64::MAX };
    let mut owed = duty_list::duties(tx, caller, as_of, &of_worker, everything).await?;
    owed.retain(|duty| is_examination(duty.kind));
    let mut earlier: Vec<PacketExamination> = owed
        .iter()
        .flat_map(|duty| duty.actions.iter().map(|act| (duty.kind, act)))
        .map(|(kind, act)| PacketExamination { on: act.on, action: act.action, kind })
        .collect();
    earlier.sort_by_key(|one| (one.on, one.action));
    // Those of other agents belong into their own packets; one that names none is for whoever examines.
    owed.retain(|duty| duty.agent_code.as_ref().is_none_or(|code| *code == history.agent_code));

    let mut sight = Sight::new(tx, as_of);
    let agent = sight.agent(&question.agent_code).await?.ok_or(Refusal::Unknown)?;
    let mut places = BTreeSet::new();
    for assignment in assignments {
        if let Some(group) = sight.group(assignment.fact.group_id.0).await? {
            places.insert((SiteId(group.site.id), rule_set_on(&group, today)));
        }
    }
    let at_sites: Vec<_> = places.iter().map(|(site, rule_set)| (agent.at(*site), *rule_set)).collect();
    let mut in_force = Vec::new();
    for (agent, rule_set) in &at_sites {
        for limit in agent.in_force(*rule_set, today) {
            if !in_force.contains(&limit) {
                in_force.push(limit);
            }
        }
    }
    let days = history.days_at_or_above_action_level.as_ref();
    let employment = found.employments.iter().rfind(|one| one.fact.from <= today);
    let name = &found.worker.fact;
    Ok(ExaminerPacket {
        caution: CAUTION.to_owned(),
        worker_id: WorkerId(found.person.id),
        also_known_as: found.person.also_known_as(),
        name: format!("{} {}", name.given_name, name.family_name),
        employer: employment.map(|one| one.fact.employer.clone()),
        employee_number: employment.map(|one| one.fact.employee_number.clone()),
        agent_code: history.agent_code.clone(),
        agent_name: agent.agent.fact.name.to_string(),
        as_of: today,
        limits: limits(&in_force),
        triggers: owed
            .into_iter()
            .map(|duty| PacketDuty {
                duty_id: duty.id,
                kind: duty.kind,
                authority: duty.authority,
                clause: duty.clause,
                edition: duty.edition,
                verification: duty.verification,
                due_on: duty.due_on,
                status: duty.status,
                days_counted: duty.days_counted,
                window: duty.window,
            })
            .collect(),
        work: work(assignments, &names, today),
        exposure: exposure(&history, assignments, &names, today),
        gaps: history.gaps.clone(),
        days_measured: days.map(|days| days.measured),
        days_by_standing: days.map(|days| days.by_standing.worst_12_months.count),
        protective_equipment: equipment(assignments, &names, today),
        earlier_examinations: earlier,
        flags: history.flags.iter().map(ToString::to_string).collect(),
    })
}

async fn names(tx: &mut Tx, as_of: AsOf, assignments: &[Version<Assignment>]) -> Result<Names, Refusal> {
    let groups: Vec<Uuid> = assignments.iter().map(|one| one.fact.group_id.0).collect();
    let sites: Vec<Uuid> = assignments.iter().filter_map(|one| Some(one.site?.0)).collect();
    let controls: Vec<Uuid> =
        assignments.iter().filter_map(|one| Some(one.fact.respirator_control_id?.0)).collect();
    let mut tasks = Vec::new();
    for group in groups.iter().collect::<BTreeSet<_>>() {
        let of_group = [Where::Is("group_id", Key::Id(Some(*group)))];
        tasks.extend(gather::all::<Task>(tx, as_of, &of_group).await?.into_iter().map(|task| task.fact));
    }
    let groups = gather::many::<Group>(tx, as_of, &groups, Where::Ids).await?;
    let sites = gather::many::<Site>(tx, as_of, &sites, Where::Ids).await?;
    let controls = gather::many::<Control>(tx, as_of, &controls, Where::Ids).await?;
    Ok(Names {
        groups: groups.into_iter().map(|group| (group.id, group.fact.title.to_string())).collect(),
        sites: sites.into_iter().map(|site| (site.id, site.fact.code.to_string())).collect(),
        tasks,
        controls: controls.into_iter().map(|control| (control.id, control.fact)).collect(),
    })
}
