//! A site: where its groups stand, what its controls do, what is to be done, and what nobody knows.

use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::hygiene::control_effect::Verdict;
use crate::model::facts::control::{Control, Task};
use crate::model::facts::duty::DutyStatus;
use crate::model::facts::group::Group;
use crate::model::facts::site::Site;
use crate::model::facts::standing_move::StandingValue;
use crate::model::identifiers::SiteId;
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::duty_entry::DutyEntry;
use crate::pages::frame::Frame;
use crate::pages::marks::{self, Mark};
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::registry::conclude::monitoring::expected_agents;
use crate::registry::conclude::profiles::profiles;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::verdicts::verdicts;
use crate::registry::duty_list::{self, Question};
use crate::registry::recording;
use crate::store::versions::{self, Where};
use askama::Template;
use chrono::NaiveDate;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/sites/{id}", Who::May(Action::ReadSamples), show)]
}

/// How many duties stand here; the rest is on the page of duties.
const SHOWN: usize = 8;

/// Below so many dates nothing describes a group.
const FEW_DATES: i64 = 3;

/// A group and an agent.
struct GroupRow {
    title: String,
    code: String,
    address: String,
    agent: String,
    /// Where it stands by each authority, with since when.
    standing: Vec<(Mark, String)>,
    samples: String,
    newest: String,
    /// Whether it rests on too few dates to describe the group.
    few: bool,
    /// Whether nothing is known.
    gap: bool,
}

/// A control on a task, for an agent and a position.
struct ControlRow {
    task: String,
    address: String,
    control: String,
    agent: String,
    mark: Option<Mark>,
    sentence: String,
}

#[derive(Template)]
#[template(path = "pages/site.html")]
struct SitePage {
    frame: Frame,
    id: Uuid,
    /// Whether samples are entered here by whoever looks.
    records: bool,
    code: String,
    rule_set: String,
    zone: String,
    lead: String,
    groups: Vec<GroupRow>,
    controls: Vec<ControlRow>,
    duties: Vec<DutyEntry>,
    all_duties: usize,
    duties_address: String,
    /// The agent that the tables are cut down to; empty where they are whole.
    only: String,
    whole: String,
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let mut moment = Moment::of(&pages, &visit).await?;
    let is_now = moment.is_now();
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let site = recording::read::<Site>(tx, &caller, as_of, id).await?;
    let scope = caller.may(Action::ReadSamples)?;
    if !scope.sites.holds(SiteId(id)) {
        return Err(Stopped::unknown());
    }
    let names = Names::of(tx, &caller, as_of).await?;
    let of_site = [Where::Site(SiteId(id)), Where::Standing];
    let mut groups = versions::list::<Group>(tx, &scope, as_of, &of_site, None).await?;
    groups.sort_by_key(|group| group.fact.code.to_string());
    let mut rows = Vec::new();
    for group in &groups {
        let found = profiles(tx, &caller, as_of, group.id, None, is_now, Asked::default()).await?;
        let mut sight = if is_now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
        let expected = expected_agents(&mut sight, group.id).await?;
        rows.extend(rows_of(texts, &names, group, &found, expected));
    }
    let controls: BTreeMap<Uuid, String> = versions::list::<Control>(tx, &scope, as_of, &of_site, None)
        .await?
        .into_iter()
        .map(|control| (control.id, control.fact.title.to_string()))
        .collect();
    let mut judged = Vec::new();
    for task in versions::list::<Task>(tx, &scope, as_of, &of_site, None).await? {
        let found = verdicts(tx, &caller, as_of, task.id, None, is_now, Asked::default()).await?;
        judged.extend(found.iter().map(|one| control_row(texts, &names, &controls, &task, one)));
    }
    let question = Question { site: Some(SiteId(id)), ..Question::default() };
    let (duties, all_duties, named) = match caller.may(Action::ReadDuties) {
        Ok(_) => duties(&names, tx, (&caller, texts), as_of, &question).await?,
        Err(_) => (Vec::new(), 0, 0),
    };
    reading::note_bulk(&pages, &visit, as_of, &format!("site {id}"), named).await?;
    let only = visit.query.given("agent_code").map(|code| names.agent(code));
    if let Some(only) = &only {
        rows.retain(|row| row.agent == *only);
        judged.retain(|row| row.agent == *only);
    }
    let gaps = rows.iter().filter(|row| row.gap).count();
    Answer::page(&SitePage {
        id,
        records: is_now && caller.may(Action::RecordSamples).is_ok_and(|scope| scope.sites.holds(SiteId(id))),
        lead: lead(texts, &rows, gaps),
        code: site.fact.code.to_string(),
        rule_set: texts.word("rule-set", site.fact.rule_set.as_str()),
        zone: site.fact.time_zone.0.name().to_owned(),
        groups: rows,
        controls: judged,
        duties,
        all_duties,
        duties_address: format!("/duties?site={id}"),
        only: only.unwrap_or_default(),
        whole: format!("/sites/{id}"),
        frame: Frame::titled(&pages, &visit, site.fact.name.to_string()).at(moment.fix),
    })
}

/// The duties of a site that are to be done, the most urgent of them as entries; how many there are, and how many people
/// are named.
async fn duties(
    names: &Names,
    tx: &mut crate::store::backend::Tx,
    (caller, texts): (&crate::access::caller::Caller, &Texts),
    as_of: crate::store::versions::AsOf,
    question: &Question,
) -> Result<(Vec<DutyEntry>, usize, usize), Stopped> {
    let mut found = duty_list::most_urgent(tx, caller, as_of, question).await?;
    found.retain(|duty| matches!(duty.status, DutyStatus::Open | DutyStatus::Overdue));
    let all = found.len();
    found.truncate(SHOWN);
    let groups: BTreeSet<Uuid> =
        found.iter().filter_map(|duty| duty.subject.group_id).map(|id| id.0).collect();
    let workers: BTreeSet<Uuid> =
        found.iter().filter_map(|duty| duty.subject.worker_id).map(|id| id.0).collect();
    let names = names.clone().and_groups(tx, caller, as_of, groups).await?;
    let names = names.and_workers(tx, caller, as_of, workers).await?;
    let entries = found.iter().map(|duty| DutyEntry::of(texts, &names, duty, as_of.date)).collect();
    Ok((entries, all, names.workers_named()))
}

/// A row for each agent of a group: those measured by their newest era, those expected and never measured as gaps.
fn rows_of(
    texts: &Texts,
    names: &Names,
    group: &Version<Group>,
    profiles: &[Value],
    expected: Vec<String>,
) -> Vec<GroupRow> {
    let row = |agent: &str| GroupRow {
        title: group.fact.title.to_string(),
        code: group.fact.code.to_string(),
        address: if agent.is_empty() {
            format!("/groups/{}", group.id)
        } else {
            format!("/groups/{}?agent_code={agent}", group.id)
        },
        agent: names.agent(agent),
        standing: Vec::new(),
        samples: String::new(),
        newest: String::new(),
        few: false,
        gap: true,
    };
    let mut seen: BTreeSet<String> = BTreeSet::new();
    let mut rows = Vec::new();
    for era in profiles {
        let Some(agent) = era["agent_code"].as_str() else { continue };
        if !seen.insert(agent.to_owned()) {
            continue;
        }
        let count =
            |field: &str| usize::try_from(era[field].as_i64().unwrap_or_default()).unwrap_or_default();
        let standing = era["standing"].as_array().into_iter().flatten().filter_map(|one| {
            let value = StandingValue::from_word(one["value"].as_str()?)?;
            let word = texts.word("standing", value.as_str());
            let since = one["since"].as_str().and_then(|day| day.parse::<NaiveDate>().ok()).map(told::day);
            let by = one["authority"].as_str().unwrap_or_default();
            let since = since.map_or_else(
                || texts.with("site-by", &[("by", by)]),
                |day| texts.with("site-since", &[("day", &day), ("by", by)]),
            );
            Some((Mark::new(marks::standing(value), word), since))
        });
        let last = era["last"].as_str().and_then(|day| day.parse::<NaiveDate>().ok());
        let n = count("n");
        rows.push(GroupRow {
            standing: standing.collect(),
            samples: texts.with_number(
                "site-shifts",
                n,
                &[("what", &told::count(era["date_count"].as_i64().unwrap_or_default()))],
            ),
            newest: last.map(told::day).unwrap_or_default(),
            few: era["date_count"].as_i64().unwrap_or_default() < FEW_DATES,
            gap: n == 0,
            ..row(agent)
        });
    }
    rows.extend(expected.into_iter().filter(|agent| seen.insert(agent.clone())).map(|agent| row(&agent)));
    if rows.is_empty() {
        rows.push(GroupRow { agent: texts.t("site-no-agent"), ..row("") });
    }
    rows
}

fn control_row(
    texts: &Texts,
    names: &Names,
    controls: &BTreeMap<Uuid, String>,
    task: &Version<Task>,
    verdict: &Value,
) -> ControlRow {
    let id = verdict["control_id"].as_str().and_then(|id| Uuid::parse_str(id).ok()).unwrap_or_default();
    let said = verdict["verdict"].as_str().and_then(Verdict::from_word);
    let agent = verdict["agent_code"].as_str().unwrap_or_default();
    ControlRow {
        task: task.fact.title.to_string(),
        address: format!("/tasks/{}?agent_code={agent}", task.id),
        control: controls.get(&id).cloned().unwrap_or_default(),
        agent: names.agent(agent),
        mark: said.map(|said| Mark::new(marks::verdict(said), texts.word("verdict", said.as_str()))),
        sentence: verdict["sentence"].as_str().unwrap_or_default().to_owned(),
    }
}

/// The conclusion in words: who stands above a limit, and what nobody knows.
fn lead(texts: &Texts, rows: &[GroupRow], gaps: usize) -> String {
    if rows.is_empty() {
        return texts.t("site-nothing");
    }
    let above: BTreeSet<&str> = rows
        .iter()
        .filter(|row| row.standing.iter().any(|(mark, _)| mark.shape == "over"))
        .map(|row| row.title.as_str())
        .collect();
    let first = if above.is_empty() {
        texts.t("site-none-above")
    } else {
        let named: Vec<&str> = above.iter().copied().take(3).collect();
        texts.with_number("site-above", above.len(), &[("who", &named.join(", "))])
    };
    if gaps == 0 { first } else { format!("{first} {}", texts.n("site-gaps", gaps)) }
}
