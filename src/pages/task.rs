//! The controls of a task: what each did to the exposure, what remains with it, and what is missing to decide.

use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::conclusions::verdict::view::VerdictView;
use crate::model::facts::control::{Control, ControlPeriod, Task};
use crate::model::identifiers::ControlId;
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::charts::left_of_exposure::{level_differences, ratios};
use crate::pages::charts::names::Names as FigureNames;
use crate::pages::charts::said;
use crate::pages::charts::without_and_with::without_and_with;
use crate::pages::corrections::{self, OfFact};
use crate::pages::figures::{Numbering, ShownFigure, ShownTable};
use crate::pages::frame::{Choice, Frame};
use crate::pages::limits_told::limits_table;
use crate::pages::moment::Moment;
use crate::pages::more_results::Missing;
use crate::pages::names::Names;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::verdict_told::{self, HeadFact};
use crate::pages::views::views;
use crate::pages::visit::Visit;
use crate::pages::working_told::{StepTold, working};
use crate::registry::conclude::limits_in_force::limits_in_force;
use crate::registry::conclude::shifts_with_control::shifts_by_control;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::verdicts::verdicts;
use crate::registry::recording;
use crate::store::versions::{self, Where};
use askama::Template;
use serde_json::Value;
use std::collections::BTreeMap;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/tasks/{id}", Who::May(Action::ReadSamples), show)]
}

/// One position of a control.
struct AtPosition {
    place: String,
    sentence: String,
    working: Vec<StepTold>,
}

/// A control on the task.
struct ControlShown {
    id: String,
    title: String,
    about: Vec<String>,
    plain: String,
    sentence: String,
    head: Vec<HeadFact>,
    others: Vec<AtPosition>,
    compared: Option<ShownFigure>,
    effect: Option<ShownFigure>,
    levels: Option<ShownFigure>,
    missing: Vec<Missing>,
    remarks: Vec<String>,
    workings: Vec<AtPosition>,
    fact: OfFact,
}

#[derive(Template)]
#[template(path = "pages/task.html")]
struct TaskPage {
    frame: Frame,
    site: String,
    site_name: String,
    group: String,
    group_title: String,
    code: String,
    agent: String,
    agents: Vec<Choice>,
    minutes: String,
    controls: Vec<ControlShown>,
    limits: Option<ShownTable>,
    fact: OfFact,
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let mut moment = Moment::of(&pages, &visit).await?;
    let is_now = moment.is_now();
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let task = recording::read::<Task>(tx, &caller, as_of, id).await?;
    let site = task.site.ok_or_else(Stopped::unknown)?;
    let scope = caller.may(Action::ReadGroups)?;
    let asked = Asked { working: true, ..Asked::default() };
    // Which agents were measured on it is known from the stored verdicts; only those of one are worked out in full.
    let all = verdicts(tx, &caller, as_of, id, None, is_now, Asked::default()).await?;
    let (codes, agent) = agents(&all, visit.query.given("agent_code"));
    let found: Vec<VerdictView> = if agent.is_empty() {
        Vec::new()
    } else {
        views(&verdicts(tx, &caller, as_of, id, Some(&agent), is_now, asked).await?)?
    };
    let mut sight = if is_now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
    let shifts = shifts_by_control(&mut sight, &caller, id, &agent).await?;
    let limits = limits_in_force(&mut sight, task.fact.group_id.0, &agent, as_of.date).await?;
    let controls = versions::list::<Control>(tx, &scope, as_of, &[Where::Site(site)], None).await?;
    let controls: BTreeMap<ControlId, Version<Control>> =
        controls.into_iter().map(|control| (ControlId(control.id), control)).collect();
    let of_task = [Where::Parent(id), Where::Standing];
    let periods = versions::list::<ControlPeriod>(tx, &scope, as_of, &of_task, None).await?;
    let names = Names::of(tx, &caller, as_of).await?;
    let names = names.and_groups(tx, &caller, as_of, [task.fact.group_id.0].into()).await?;
    let titles = controls.iter().map(|(id, control)| (*id, control.fact.title.to_string())).collect();
    let in_figures = names.for_figures(titles);
    let mut numbering = Numbering::default();
    let mut by_control: Vec<(ControlId, Vec<VerdictView>)> = Vec::new();
    for verdict in found {
        match by_control.iter_mut().find(|(control, _)| *control == verdict.control_id) {
            Some((_, of)) => of.push(verdict),
            None => by_control.push((verdict.control_id, vec![verdict])),
        }
    }
    let named = names.agent(&agent);
    let mut corrected: BTreeMap<ControlId, OfFact> = BTreeMap::new();
    for control in by_control.iter().filter_map(|(control, _)| controls.get(control)) {
        let fact = corrections::of_fact(tx, (&caller, texts), as_of, (control, is_now), "/controls").await?;
        corrected.insert(ControlId(control.id), fact);
    }
    let shown: Vec<ControlShown> = by_control
        .iter()
        .enumerate()
        .map(|(at, (control, of))| {
            let eight_hour = shifts.get(control).map(Vec::as_slice).unwrap_or_default();
            let about = about(texts, controls.get(control), &periods, *control);
            let fact = corrected.get(control).cloned().unwrap_or_default();
            let told = Told { texts, agent: &named, names: &in_figures, about, fact };
            control_shown(told, (at, *control), of, eight_hour, &mut numbering)
        })
        .collect();
    let minutes = task
        .fact
        .usual_minutes_per_shift
        .map(|minutes| texts.with("task-minutes", &[("what", &said::tick(minutes))]));
    let fact = corrections::of_fact(tx, (&caller, texts), as_of, (&task, is_now), "/tasks").await?;
    Answer::page(&TaskPage {
        fact,
        site: format!("/sites/{site}"),
        site_name: names.site(site).unwrap_or_default().to_owned(),
        group: format!("/groups/{}?agent_code={agent}", task.fact.group_id),
        group_title: names.group(task.fact.group_id.0).unwrap_or_default().to_owned(),
        code: task.fact.code.to_string(),
        agents: codes.iter().map(|code| Choice::new(code, names.agent(code), &agent)).collect(),
        agent: named.clone(),
        minutes: minutes.unwrap_or_else(|| texts.t("task-minutes-unknown")),
        controls: shown,
        limits: limits_table(texts, &named, &limits).map(|table| numbering.table(table)),
        frame: Frame::titled(&pages, &visit, task.fact.title.to_string()).at(moment.fix),
    })
}

/// The agents measured on the task, and the one that is looked at.
fn agents(all: &[Value], asked: Option<&str>) -> (Vec<String>, String) {
    let mut codes: Vec<String> = Vec::new();
    for code in all.iter().filter_map(|one| one["agent_code"].as_str()) {
        if !codes.iter().any(|known| known == code) {
            codes.push(code.to_owned());
        }
    }
    let decided =
        all.iter().find(|one| one["verdict"].is_string()).and_then(|one| one["agent_code"].as_str());
    let chosen = asked.filter(|asked| codes.iter().any(|code| code == asked)).or(decided);
    let chosen = chosen.map(str::to_owned).or_else(|| codes.first().cloned()).unwrap_or_default();
    (codes, chosen)
}

/// What a control is, and when it stood on the task.
fn about(
    texts: &Texts,
    control: Option<&Version<Control>>,
    periods: &[Version<ControlPeriod>],
    id: ControlId,
) -> Vec<String> {
    let mut told = Vec::new();
    if let Some(control) = control {
        told.push(texts.word("control-kind", control.fact.kind.as_str()));
        told.extend(control.fact.form.as_ref().map(ToString::to_string));
    }
    for period in periods.iter().filter(|period| period.fact.control_id == id) {
        told.push(said::period(Some(period.fact.from), period.fact.to));
    }
    told
}

/// What every control of the page is told with.
struct Told<'t> {
    texts: &'t Texts,
    agent: &'t str,
    names: &'t FigureNames,
    about: Vec<String>,
    fact: OfFact,
}

fn control_shown(
    told: Told<'_>,
    (at, control): (usize, ControlId),
    of: &[VerdictView],
    eight_hour: &[ShiftAverageView],
    numbering: &mut Numbering,
) -> ControlShown {
    let Told { texts, agent, names, about, fact } = told;
    let at_position = |verdict: &VerdictView| AtPosition {
        place: verdict_told::place(texts, verdict),
        sentence: verdict.sentence.clone(),
        working: working(verdict.working.as_deref()),
    };
    let first = verdict_told::breathed(of);
    let is_first = |verdict: &&VerdictView| !first.is_some_and(|first| std::ptr::eq(first, *verdict));
    ControlShown {
        id: format!("control-{}", at + 1),
        title: names.control(control).to_owned(),
        about,
        plain: verdict_told::plain(texts, agent, of),
        sentence: first.map(|first| first.sentence.clone()).unwrap_or_default(),
        head: verdict_told::head(texts, of),
        others: of.iter().filter(is_first).map(at_position).collect(),
        compared: without_and_with(&format!("a{at}"), of, eight_hour, names)
            .map(|figure| numbering.figure(figure)),
        effect: ratios(&format!("b{at}"), of, names).map(|figure| numbering.figure(figure)),
        levels: level_differences(&format!("c{at}"), of, names).map(|figure| numbering.figure(figure)),
        missing: verdict_told::missing(texts, of),
        remarks: verdict_told::remarks_of(texts, of),
        workings: of.iter().map(at_position).filter(|one| !one.working.is_empty()).collect(),
        fact,
    }
}
