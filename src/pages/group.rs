//! A group: its results and what they say of it, era by era; where it stands and how it came to; what more would tell.

use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::conclusions::profile_view::ProfileView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::model::facts::control::Task;
use crate::model::facts::duty::DutyStatus;
use crate::model::facts::group::Group;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::facts::standing_move::StandingMove;
use crate::model::identifiers::{GroupId, WorkerId};
use crate::model::shape::Joined;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::charts::between_workers::between_workers;
use crate::pages::charts::era_results::{shifts_of, unit_of};
use crate::pages::charts::levels::of_profile;
use crate::pages::charts::log_probability::log_probability;
use crate::pages::charts::over_time::{self, over_time};
use crate::pages::charts::posterior_curve::posterior_curve;
use crate::pages::charts::{self, said};
use crate::pages::control_titles::control_titles;
use crate::pages::corrections::{self, Corrected, OfFact};
use crate::pages::duty_entry::DutyEntry;
use crate::pages::figures::{Numbering, ShownFigure, ShownTable};
use crate::pages::frame::{Choice, Frame};
use crate::pages::limits_told::limits_table;
use crate::pages::moment::Moment;
use crate::pages::more_results::{self, Missing};
use crate::pages::names::Names;
use crate::pages::profile_table::{EraOf, profile_table};
use crate::pages::reading;
use crate::pages::remarks;
use crate::pages::standing_told::{StandingTold, moves_table, standing};
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::views::views;
use crate::pages::visit::Visit;
use crate::registry::conclude::limits_in_force::limits_in_force;
use crate::registry::conclude::monitoring::expected_agents;
use crate::registry::conclude::profiles::profiles;
use crate::registry::conclude::shift_averages::{Question, averages};
use crate::registry::conclude::sight::Sight;
use crate::registry::duty_list::{self, Question as DutyQuestion};
use crate::registry::recording;
use crate::registry::standing_moves::{StandingMoveView, standing_moves};
use crate::store::tables::Key;
use crate::store::versions::{self, Where};
use askama::Template;
use serde_json::Value;
use std::collections::BTreeSet;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/groups/{id}", Who::May(Action::ReadSamples), show)]
}

/// Below so many dates nothing describes a group.
const FEW_DATES: i64 = 3;

/// Something that a page leads to.
struct Link {
    address: String,
    words: String,
}

#[derive(Template)]
#[template(path = "pages/group.html")]
struct GroupPage {
    frame: Frame,
    site: Link,
    code: String,
    about: String,
    agents: Vec<Choice>,
    lead: String,
    few: bool,
    measured: bool,
    standing: Vec<StandingTold>,
    results: String,
    results_note: String,
    owed: Vec<DutyEntry>,
    recommended: Vec<DutyEntry>,
    probability: Option<ShownFigure>,
    profile: Option<ShownTable>,
    remarks: Vec<String>,
    time: Option<ShownFigure>,
    between: Option<ShownFigure>,
    apart: String,
    workers: Vec<Link>,
    posterior: Option<ShownFigure>,
    limits: Option<ShownTable>,
    moves: Option<ShownTable>,
    missing: Vec<Missing>,
    tasks: Vec<Link>,
    corrected: Vec<Corrected>,
    fact: OfFact,
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let mut moment = Moment::of(&pages, &visit).await?;
    let is_now = moment.is_now();
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let group = recording::read::<Group>(tx, &caller, as_of, id).await?;
    let site = group.site.ok_or_else(Stopped::unknown)?;
    let all = profiles(tx, &caller, as_of, id, None, is_now, Asked::default()).await?;
    let mut sight = if is_now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
    let expected = expected_agents(&mut sight, id).await?;
    let (codes, agent) = agents(&all, expected, visit.query.given("agent_code"));
    let limits = limits_in_force(&mut sight, id, &agent, as_of.date).await?;
    let eras: Vec<ProfileView> = views(all.iter().filter(|era| era["agent_code"] == agent.as_str()))?;
    let asked = Question { group: Some(GroupId(id)), agent_code: Some(agent.clone()), ..Question::default() };
    let (shifts, moves) = if eras.is_empty() {
        (Vec::new(), Vec::new())
    } else {
        (
            averages(tx, &caller, as_of, &asked, Asked::default()).await?,
            standing_moves(tx, &caller, as_of, id, Some(&agent)).await?,
        )
    };
    let mut workers: BTreeSet<uuid::Uuid> = shifts.iter().map(|shift| shift.worker_id.0).collect();
    workers.extend(apart(&eras).map(|worker| worker.0));
    let names = Names::of(tx, &caller, as_of).await?;
    let names = names.and_groups(tx, &caller, as_of, [id].into()).await?;
    let names = names.and_workers(tx, &caller, as_of, workers).await?;
    let in_figures = names.for_figures(control_titles(tx, &caller, as_of, [site]).await?);
    let mut duties = Vec::new();
    if caller.may(Action::ReadDuties).is_ok() {
        let of_site = DutyQuestion { site: Some(site), ..DutyQuestion::default() };
        duties = duty_list::most_urgent(tx, &caller, as_of, &of_site).await?;
        duties.retain(|duty| {
            duty.subject.group_id == Some(GroupId(id))
                && duty.subject.worker_id.is_none()
                && duty.agent_code.as_ref().is_none_or(|code| code.as_str() == agent)
                && matches!(duty.status, DutyStatus::Open | DutyStatus::Overdue)
        });
    }
    let entries = duties.iter().map(|duty| DutyEntry::of(texts, &names, duty, as_of.date));
    let (recommended, owed): (Vec<_>, Vec<_>) = entries.partition(|entry| entry.recommended);
    let scope = caller.may(Action::ReadGroups)?;
    let of_group = [Where::Is("group_id", Key::Id(Some(id))), Where::Standing];
    let mut tasks = versions::list::<Task>(tx, &scope, as_of, &of_group, None).await?;
    tasks.sort_by_key(|task| task.fact.code.to_string());
    let behind = shifts.iter().flat_map(|shift| &shift.samples).map(|sample| sample.0).collect();
    let corrected = corrections::of_samples(tx, (&caller, texts), as_of, behind).await?;
    let fact = corrections::of_fact(tx, (&caller, texts), as_of, (&group, is_now), "/groups").await?;
    reading::note_spanning(&pages, &visit, as_of, format!("group {id}"), names.workers()).await?;
    let drawn = Drawn::of(texts, &in_figures, &eras, &shifts, &moves, as_of.date);
    let newest = eras.first();
    let named = names.agent(&agent);
    let mut numbering = drawn.numbering;
    Answer::page(&GroupPage {
        site: Link {
            address: format!("/sites/{site}"),
            words: names.site(site).unwrap_or_default().to_owned(),
        },
        code: group.fact.code.to_string(),
        about: about(&group.fact),
        agents: codes.iter().map(|code| Choice::new(code, names.agent(code), &agent)).collect(),
        lead: lead(texts, &named, newest),
        few: newest.is_some_and(|era| era.1.0.n > 0 && era.0.date_count < FEW_DATES),
        measured: newest.is_some_and(|era| era.1.0.n > 0),
        standing: newest.map(|era| standing(texts, &era.0.standing)).unwrap_or_default(),
        results: newest.map(|era| told::count(era.1.0.n)).unwrap_or_default(),
        results_note: newest.map(|era| results_note(texts, era)).unwrap_or_default(),
        missing: newest.map(|era| more_results::of_group(texts, era, &shifts)).unwrap_or_default(),
        moves: moves_table(texts, &moves).map(|table| numbering.table(table)),
        corrected,
        fact,
        limits: limits_table(texts, &named, &limits).map(|table| numbering.table(table)),
        owed,
        recommended,
        probability: drawn.probability,
        profile: drawn.profile,
        remarks: newest.map(remarks_of).unwrap_or_default(),
        time: drawn.time,
        between: drawn.between,
        apart: newest.map(|era| apart_told(texts, era)).unwrap_or_default(),
        workers: names
            .workers()
            .into_iter()
            .map(|worker| Link {
                address: format!("/workers/{worker}?agent_code={agent}"),
                words: names.worker(worker.0).unwrap_or_default(),
            })
            .collect(),
        posterior: drawn.posterior,
        tasks: tasks
            .iter()
            .map(|task| Link {
                address: format!("/tasks/{}?agent_code={agent}", task.id),
                words: task.fact.title.to_string(),
            })
            .collect(),
        frame: Frame::titled(&pages, &visit, group.fact.title.to_string()).at(moment.fix),
    })
}

/// The agents measured or expected in the group, and the one that is looked at: the one asked for, else the first with results.
fn agents(all: &[Value], expected: Vec<String>, asked: Option<&str>) -> (Vec<String>, String) {
    let mut codes: Vec<String> = Vec::new();
    let measured = all.iter().filter_map(|era| era["agent_code"].as_str()).map(str::to_owned);
    for code in measured.chain(expected) {
        if !codes.contains(&code) {
            codes.push(code);
        }
    }
    let with_results = all
        .iter()
        .find(|era| era["n"].as_i64().unwrap_or_default() > 0)
        .and_then(|era| era["agent_code"].as_str());
    let chosen = asked.filter(|asked| codes.iter().any(|code| code == asked)).or(with_results);
    let chosen = chosen.map(str::to_owned).or_else(|| codes.first().cloned()).unwrap_or_default();
    (codes, chosen)
}

/// The workers whom profiles name as apart from their group.
fn apart(eras: &[ProfileView]) -> impl Iterator<Item = WorkerId> {
    eras.iter()
        .filter_map(|era| era.1.1.workers_apart.as_ref())
        .flat_map(|found| &found.items)
        .map(|one| one.worker_id)
}

fn about(group: &Group) -> String {
    let of = [
        group.description.as_ref().map(ToString::to_string),
        group.job_classification.as_ref().map(ToString::to_string),
        group.work_area.as_ref().map(ToString::to_string),
        group.shift_pattern.as_ref().map(ToString::to_string),
    ];
    of.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

/// What is drawn of a group, in the order of the page.
struct Drawn {
    probability: Option<ShownFigure>,
    profile: Option<ShownTable>,
    time: Option<ShownFigure>,
    between: Option<ShownFigure>,
    posterior: Option<ShownFigure>,
    numbering: Numbering,
}

impl Drawn {
    fn of(
        texts: &Texts,
        names: &charts::names::Names,
        eras: &[ProfileView],
        shifts: &[ShiftAverageView],
        moves: &[StandingMoveView],
        today: chrono::NaiveDate,
    ) -> Self {
        // Of noise the results by the criterion of the action level are drawn; the table has those of every criterion.
        let drawn: Vec<ProfileView> = eras.iter().filter(|era| is_drawn(era)).cloned().collect();
        let moves: Vec<StandingMove> = moves
            .iter()
            .filter(|Joined(_, Joined(_, tail))| tail.taken_back_by.is_none())
            .map(|Joined(_, Joined(one, _))| one.clone())
            .collect();
        let mut numbering = Numbering::default();
        let asked = over_time::Asked { moves: &moves, own: None, today };
        let of_eras: Vec<EraOf<'_>> = eras.iter().map(|era| (era, shifts_of(era, shifts))).collect();
        let newest = drawn.iter().find(|era| era.1.0.n > 0);
        Self {
            probability: log_probability("q", &drawn, shifts, names).map(|figure| numbering.figure(figure)),
            profile: (!eras.is_empty()).then(|| numbering.table(profile_table(texts, names, &of_eras))),
            time: over_time("t", &drawn, shifts, asked, names).map(|figure| numbering.figure(figure)),
            between: newest
                .and_then(|era| between_workers("w", era, shifts, names))
                .map(|figure| numbering.figure(figure)),
            posterior: newest
                .and_then(|era| posterior_curve("p", era, shifts, names))
                .map(|figure| numbering.figure(figure)),
            numbering,
        }
    }
}

fn is_drawn(era: &ProfileView) -> bool {
    era.0.criterion.is_none_or(|criterion| criterion == NoiseCriterion::OshaActionLevel)
}

/// The conclusion in words: where it stands, and what the newest era says.
fn lead(texts: &Texts, agent: &str, newest: Option<&ProfileView>) -> String {
    let Some(era) = newest.filter(|era| era.1.0.n > 0) else {
        return texts.with("group-not-known", &[("what", agent)]);
    };
    let mut told = Vec::new();
    match era.0.standing.first() {
        Some(first) => {
            let word = texts.word("standing", first.value.as_str());
            let by = first.authority.to_string();
            told.push(texts.with("group-stands", &[("what", agent), ("who", &word), ("by", &by)]));
        }
        None => told.push(texts.with("group-no-standing", &[("what", agent)])),
    }
    let levels: Vec<f64> = of_profile(era, &[]).iter().map(|level| level.value).collect();
    if let (Some(percentile), Some(unit)) = (&era.1.0.percentile_95, unit_of(era)) {
        let of = |value: f64| format!("{} {}", said::number(value, unit, &levels), unit.symbol());
        if let Some(upper) = percentile.upper_95 {
            told.push(texts.with("group-percentile", &[("what", &of(upper))]));
        }
    } else if let Some(posterior) = &era.1.0.posterior {
        let percentile = &posterior.percentile_95;
        let upper = said::number(percentile.upper_95, percentile.unit, &levels);
        let upper = format!("{upper} {}", percentile.unit.symbol());
        told.push(texts.with("group-posterior", &[("what", &upper)]));
    }
    told.join(" ")
}

fn results_note(texts: &Texts, era: &ProfileView) -> String {
    let mut told = Vec::new();
    if era.1.0.n_below > 0 {
        told.push(texts.n("group-below", usize::try_from(era.1.0.n_below).unwrap_or_default()));
    }
    told.push(match usize::try_from(era.0.not_accepted).unwrap_or_default() {
        0 => texts.t("group-all-accepted"),
        open => texts.n("group-not-accepted", open),
    });
    told.push(said::period(era.0.from, era.0.to));
    told.join("; ")
}

/// What must be known of the newest era before it is used, and what is not in it.
fn remarks_of(era: &ProfileView) -> Vec<String> {
    let mut told: Vec<String> = era.1.1.flags.iter().map(|flag| remarks::meaning(flag)).collect();
    told.extend(remarks::left_out(era.0.left_out.iter().map(|one| one.reason)));
    told.extend(remarks::left_out(era.0.beside.iter().map(|one| one.reason)));
    told
}

/// Whether it is one group: how many workers are apart from it.
fn apart_told(texts: &Texts, era: &ProfileView) -> String {
    let Some(found) = &era.1.1.workers_apart else { return texts.t("group-one-not-told") };
    let what = told::count(found.compared);
    let count = usize::try_from(found.count).unwrap_or_default();
    texts.with_number("group-apart", count, &[("what", &what)])
}
