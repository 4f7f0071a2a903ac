//! Which figures are made of which answers.

use crate::answers::{Answers, fact, text, view, views};
use crate::page::Page;
use chrono::NaiveDate;
use doseward::conclusions::history::assessed_days::AssessedDays;
use doseward::conclusions::history::view::HistoryView;
use doseward::conclusions::profile_view::ProfileView;
use doseward::conclusions::shift_average_view::ShiftAverageView;
use doseward::conclusions::verdict::view::VerdictView;
use doseward::model::facts::duty::{DutyStatus, Window};
use doseward::model::facts::sampling::NoiseCriterion;
use doseward::model::facts::standing_move::StandingMove;
use doseward::model::facts::worker::{Absence, Assignment};
use doseward::model::identifiers::{GroupId, SiteId, WorkerId};
use doseward::model::shape::Shape;
use doseward::model::text::Code;
use doseward::pages::charts::all_sites::{GroupAt, all_sites};
use doseward::pages::charts::between_workers::between_workers;
use doseward::pages::charts::day_counts::day_counts;
use doseward::pages::charts::duty_line::{DutyDates, duty_line};
use doseward::pages::charts::era_results::{shifts_of, unit_of};
use doseward::pages::charts::left_of_exposure::{level_differences, ratios};
use doseward::pages::charts::levels;
use doseward::pages::charts::life_line::{Assigned, DutyMark, EraCut, LifeLine, life_line};
use doseward::pages::charts::log_probability::log_probability;
use doseward::pages::charts::names::Names;
use doseward::pages::charts::noise_years::noise_years;
use doseward::pages::charts::over_time::{Asked, over_time};
use doseward::pages::charts::posterior_curve::posterior_curve;
use doseward::pages::charts::without_and_with::without_and_with;
use doseward::pages::charts::worker_days::{SiteDays, worker_days};
use serde_json::Value;
use std::collections::BTreeMap;
use uuid::Uuid;

const AGENTS: [&str; 4] = ["chromium_vi", "silica_respirable", "lead", "noise"];
const HYGIENIST: &str = "hygienist";
const PHYSICIAN: &str = "physician";

fn id<I: From<Uuid>>(value: &Value, name: &str) -> I {
    text(value, name).parse::<Uuid>().unwrap().into()
}

fn today() -> NaiveDate {
    "2026-11-28".parse().unwrap()
}

/// The names of everything, and the groups with their site.
pub(crate) async fn names(answers: &Answers) -> Names {
    let mut names = Names::default();
    for agent in answers.items(HYGIENIST, "/agents").await {
        names.agents.insert(Code::new(text(&agent, "code")).unwrap(), text(&agent, "name").to_owned());
    }
    for site in answers.items(HYGIENIST, "/sites").await {
        let here = text(&site, "id").to_owned();
        names.sites.insert(id(&site, "id"), text(&site, "name").to_owned());
        for group in answers.items(HYGIENIST, &format!("/sites/{here}/groups")).await {
            names.groups.insert(id(&group, "id"), text(&group, "title").to_owned());
        }
        for control in answers.items(HYGIENIST, &format!("/sites/{here}/controls")).await {
            names.controls.insert(id(&control, "id"), text(&control, "title").to_owned());
        }
    }
    names
}

/// The names of the workers of some shifts.
async fn named(answers: &Answers, names: &Names, shifts: &[ShiftAverageView]) -> Names {
    let mut names = names.clone();
    for shift in shifts {
        if names.workers.contains_key(&shift.worker_id) {
            continue;
        }
        let worker = answers.get(PHYSICIAN, &format!("/workers/{}", shift.worker_id)).await;
        let name = format!("{} {}", text(&worker, "given_name"), text(&worker, "family_name"));
        names.workers.insert(shift.worker_id, name);
    }
    names
}

struct OfGroup {
    site: SiteId,
    group: GroupId,
    eras: Vec<ProfileView>,
}

async fn profiles(answers: &Answers) -> Vec<OfGroup> {
    let mut found = Vec::new();
    for site in answers.items(HYGIENIST, "/sites").await {
        for group in answers.items(HYGIENIST, &format!("/sites/{}/groups", text(&site, "id"))).await {
            for agent in AGENTS {
                let path = format!("/groups/{}/profiles?agent_code={agent}", text(&group, "id"));
                let eras: Vec<ProfileView> = views(&answers.items(HYGIENIST, &path).await);
                if eras.iter().any(|era| era.1.0.n > 0) {
                    found.push(OfGroup { site: id(&site, "id"), group: id(&group, "id"), eras });
                }
            }
        }
    }
    found
}

async fn shifts(answers: &Answers, what: &str) -> Vec<ShiftAverageView> {
    views(&answers.items(HYGIENIST, &format!("/shift-averages?{what}")).await)
}

pub(crate) async fn groups(answers: &Answers, names: &Names, page: &mut Page) {
    page.glyphs();
    for (at, of) in profiles(answers).await.iter().enumerate() {
        let code = of.eras[0].0.agent_code.clone();
        let shifts = shifts(answers, &format!("group_id={}&agent_code={code}", of.group)).await;
        let names = named(answers, names, &shifts).await;
        let moves: Vec<StandingMove> = answers
            .items(HYGIENIST, &format!("/groups/{}/standing-moves?agent_code={code}", of.group))
            .await
            .iter()
            .map(fact)
            .collect();
        page.heading(&format!("{}, {}", names.group(of.group), names.agent(&code)));
        let criterion = |era: &&ProfileView| {
            era.0.criterion.is_none_or(|criterion| criterion == NoiseCriterion::OshaActionLevel)
        };
        let eras: Vec<ProfileView> = of.eras.iter().filter(criterion).cloned().collect();
        let own = shifts.first().map(|shift| shift.worker_id).filter(|_| at == 0);
        let asked = Asked { moves: &moves, own, today: today() };
        page.figure(log_probability(&format!("q{at}"), &eras, &shifts, &names).as_ref());
        page.figure(over_time(&format!("t{at}"), &eras, &shifts, asked, &names).as_ref());
        for (number, era) in eras.iter().filter(|era| era.1.0.n > 0).enumerate() {
            page.figure(between_workers(&format!("w{at}-{number}"), era, &shifts, &names).as_ref());
            page.figure(posterior_curve(&format!("p{at}-{number}"), era, &shifts, &names).as_ref());
        }
    }
}

pub(crate) async fn controls(answers: &Answers, names: &Names, page: &mut Page) {
    for site in answers.items(HYGIENIST, "/sites").await {
        for task in answers.items(HYGIENIST, &format!("/sites/{}/tasks", text(&site, "id"))).await {
            for agent in AGENTS {
                let path =
                    format!("/tasks/{}/control-verdicts?agent_code={agent}&working=true", text(&task, "id"));
                let all: Vec<VerdictView> = views(&answers.items(HYGIENIST, &path).await);
                let mut by_control: BTreeMap<_, Vec<VerdictView>> = BTreeMap::new();
                for verdict in all.into_iter().filter(|verdict| verdict.verdict.is_some()) {
                    by_control.entry(verdict.control_id).or_default().push(verdict);
                }
                for (control, verdicts) in by_control {
                    let id = format!("c{}", page.figures());
                    page.heading(&verdicts[0].sentence);
                    let group = task["group_id"].as_str();
                    // Shifts since the control came stand for those on which it ran.
                    let eight_hour = match group {
                        Some(group) if agent != "noise" => {
                            let all = shifts(answers, &format!("group_id={group}&agent_code={agent}")).await;
                            let since = verdicts[0].last;
                            all.into_iter().filter(|shift| Some(shift.shift_date) > since).collect()
                        }
                        _ => Vec::new(),
                    };
                    page.figure(
                        without_and_with(&format!("{id}a-{control}"), &verdicts, &eight_hour, names).as_ref(),
                    );
                    page.figure(ratios(&format!("{id}b-{control}"), &verdicts, names).as_ref());
                    page.figure(level_differences(&format!("{id}c-{control}"), &verdicts, names).as_ref());
                }
            }
        }
    }
}

/// The workers to look at: those whom the tour leads to, and one of noise.
async fn looked_at(answers: &Answers) -> Vec<(WorkerId, &'static str)> {
    let mut found = Vec::new();
    for agent in AGENTS {
        let mut by_worker: BTreeMap<WorkerId, usize> = BTreeMap::new();
        for of in profiles(answers).await.iter().filter(|of| of.eras[0].0.agent_code.as_str() == agent) {
            for shift in shifts(answers, &format!("group_id={}&agent_code={agent}", of.group)).await {
                *by_worker.entry(shift.worker_id).or_default() += 1;
            }
        }
        let mut most: Vec<_> = by_worker.into_iter().collect();
        most.sort_by_key(|one| std::cmp::Reverse(one.1));
        found.extend(most.into_iter().take(2).map(|one| (one.0, agent)));
    }
    for named in std::env::var("DOSEWARD_CHARTS_WORKERS").unwrap_or_default().split_whitespace() {
        let (worker, agent) = named.split_once(':').unwrap();
        let agent = AGENTS.into_iter().find(|one| *one == agent).unwrap();
        found.push((worker.parse::<Uuid>().unwrap().into(), agent));
    }
    found
}

pub(crate) async fn workers(answers: &Answers, names: &Names, page: &mut Page) {
    for (at, (worker, agent)) in looked_at(answers).await.into_iter().enumerate() {
        let history: HistoryView =
            fact(&answers.get(PHYSICIAN, &format!("/workers/{worker}/history?agent_code={agent}")).await);
        let assignments = answers.items(PHYSICIAN, &format!("/workers/{worker}/assignments")).await;
        let facts: Vec<Assignment> = assignments.iter().map(fact).collect();
        let sites: Vec<Option<SiteId>> = assignments
            .iter()
            .map(|one| one["site_id"].as_str().and_then(|site| site.parse::<Uuid>().ok()).map(SiteId))
            .collect();
        let assigned: Vec<Assigned<'_>> =
            facts.iter().zip(&sites).map(|(assignment, site)| Assigned { assignment, site: *site }).collect();
        let absences: Vec<Absence> =
            answers.items(PHYSICIAN, &format!("/workers/{worker}/absences")).await.iter().map(fact).collect();
        let mut all = shifts_as(answers, &format!("worker_id={worker}&agent_code={agent}")).await;
        let mut cuts = Vec::new();
        let mut lines = Vec::new();
        let mut groups: Vec<GroupId> = history.intervals.iter().map(|interval| interval.group_id).collect();
        groups.sort();
        groups.dedup();
        for group in groups {
            all.extend(shifts_as(answers, &format!("group_id={group}&agent_code={agent}")).await);
            let path = format!("/groups/{group}/profiles?agent_code={agent}");
            let eras: Vec<ProfileView> = views(&answers.items(HYGIENIST, &path).await);
            for era in &eras {
                cuts.extend(era.0.from.filter(|from| history.from < *from && *from < history.to).map(|on| {
                    let control = era.0.control_ids.last();
                    EraCut {
                        on,
                        name: control.map_or("work changed", |control| names.control(*control)).to_owned(),
                    }
                }));
                if let Some(unit) = unit_of(era).filter(|_| lines.is_empty()) {
                    lines = if agent == "noise" {
                        levels::of_profile(era, &[])
                    } else {
                        let mut all = levels::of_days(&shifts_of(era, &all), unit);
                        all.retain(levels::LevelLine::is_lawful);
                        all
                    };
                }
            }
        }
        cuts.sort_by_key(|cut| cut.on);
        cuts.dedup_by_key(|cut| cut.on);
        let duties: Vec<DutyMark> = answers
            .items(PHYSICIAN, &format!("/duties?worker_id={worker}"))
            .await
            .iter()
            .filter(|duty| duty["agent_code"].as_str().is_none_or(|code| code == agent))
            .map(|duty| DutyMark {
                due_on: text(duty, "due_on").parse().unwrap(),
                status: DutyStatus::parse(&duty["status"]).unwrap(),
                words: text(duty, "kind").replace('_', " "),
            })
            .collect();
        let names = named(answers, names, &all).await;
        page.heading(&format!("{}, {}", names.worker(worker), agent));
        let line = LifeLine {
            history: &history,
            worker,
            in_part: false,
            assignments: &assigned,
            absences: &absences,
            shifts: &all,
            cuts: &cuts,
            duties: &duties,
            levels: &lines,
        };
        page.figure(Some(&life_line(&format!("l{at}"), line, &names)));
        page.figure(noise_years(&format!("n{at}"), &history).as_ref());
        if let Some(days) = &history.days_at_or_above_action_level {
            page.figure(Some(&day_counts(&format!("d{at}"), days, Some(30))));
        }
        for duty in answers.items(PHYSICIAN, &format!("/duties?worker_id={worker}")).await.iter().take(1) {
            let date = |name: &str| duty[name].as_str().and_then(|text| text.parse().ok());
            let dates = DutyDates {
                words: text(duty, "kind").replace('_', " "),
                status: DutyStatus::parse(&duty["status"]).unwrap(),
                window: Window::parse(&duty["window"]).ok(),
                learned_on: date("learned_on"),
                due_on: date("due_on").unwrap(),
                done_on: duty["actions"][0]["on"].as_str().and_then(|text| text.parse().ok()),
                today: today(),
            };
            page.figure(Some(&duty_line(&format!("u{at}"), &dates)));
        }
    }
}

async fn shifts_as(answers: &Answers, what: &str) -> Vec<ShiftAverageView> {
    views(&answers.items(PHYSICIAN, &format!("/shift-averages?{what}")).await)
}

pub(crate) async fn sites(answers: &Answers, names: &Names, page: &mut Page) {
    let of_groups = profiles(answers).await;
    let groups: Vec<GroupAt<'_>> =
        of_groups.iter().map(|of| GroupAt { site: of.site, group: of.group, profile: &of.eras[0] }).collect();
    let mut ordered = groups;
    ordered.sort_by_key(|one| AGENTS.iter().position(|agent| *agent == one.profile.0.agent_code.as_str()));
    page.figure(all_sites("s", &ordered, names).as_ref());
    let overview = answers.items("corporate", "/overview").await;
    let days: Vec<(Code, AssessedDays, Option<NaiveDate>)> = overview
        .iter()
        .filter_map(|cell| {
            let days = cell["worker_days"].as_object()?;
            let mut days = days.clone();
            days.remove("total");
            days.insert("site_id".to_owned(), cell["site_id"].clone());
            let newest = cell["newest_result_on"].as_str().and_then(|text| text.parse().ok());
            Some((Code::new(cell["agent_code"].as_str()?)?, view(&Value::Object(days)), newest))
        })
        .collect();
    let bars: Vec<SiteDays<'_>> =
        days.iter().map(|(agent, days, newest)| SiteDays { agent, days, newest: *newest }).collect();
    page.figure(worker_days("a", &bars, names).as_ref());
}
