//! What the registry answers of a plant, beside what the reading day by day expects.

use crate::day_by_day::drawn::{Drawn, SITES, date};
use crate::day_by_day::entered::Entered;
use crate::day_by_day::paragraphs::{Clause, Due, Looks};
use crate::day_by_day::plain;
use crate::stage::Stage;
use chrono::{Datelike, Days, Months, NaiveDate};
use doseward::model::shape::Shape as _;
use doseward::model::text::Code;
use doseward::registry::conclude::sight::Sight;
use doseward::registry::conclude::surveillance::surveillance;
use doseward::registry::enter_pack::console;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// What went one way or the other: draws that only ever go one way would show nothing.
#[derive(Debug, Default)]
pub(crate) struct Seen {
    /// Clauses met, and not.
    pub(crate) clauses: [usize; 2],
    /// Moves of standings up, and down.
    pub(crate) moves: [usize; 2],
    /// Workers with undecided days, and without.
    pub(crate) undecided: [usize; 2],
}

/// Where answers differ.
pub(crate) struct Differences {
    seed: u64,
    /// What differs, in words.
    pub(crate) told: Vec<String>,
}

impl Differences {
    fn same(&mut self, what: &str, found: &Value, expected: &Value) {
        if found != expected {
            self.told.push(format!("seed {}, {what}: found {found}, expected {expected}", self.seed));
        }
    }
}

/// Every so many plants the clauses are asked for through the router, which reads all the rules anew for every question;
/// else the use case behind it answers for many plants with one reading.
const ROUTED: u64 = 8;

/// Asks everything of a plant and compares it.
pub(crate) async fn compare(
    stage: &Stage,
    sight: &mut Sight<'_>,
    drawn: &Drawn,
    entered: &Entered,
    seen: &mut Seen,
) -> Differences {
    let mut differences = Differences { seed: drawn.seed, told: Vec::new() };
    for (group, id) in entered.groups.iter().enumerate() {
        let path = format!("/groups/{id}/profiles?agent_code={}", drawn.substance.code);
        let answer: Value = serde_json::from_str(&stage.read("hygienist", &path).await).unwrap();
        standings(drawn, group, &answer, &mut differences, seen);
    }
    for (worker, id) in entered.people.iter().enumerate() {
        let code = drawn.substance.code;
        let read = async |path: String| -> Value {
            serde_json::from_str(&stage.read("physician", &path).await).unwrap()
        };
        let person = Expected::of(drawn, worker);
        let history = read(format!("/workers/{id}/history?agent_code={code}")).await;
        person.history(&history, &mut differences, seen);
        let clauses = if drawn.seed.is_multiple_of(ROUTED) {
            read(format!("/workers/{id}/surveillance?agent_code={code}")).await
        } else {
            let code = Code::new(code).unwrap();
            let now = stage.now();
            surveillance(sight, &console("test"), now, *id, &code).await.unwrap().to_json()
        };
        person.clauses(&clauses, &mut differences, seen);
        let duties = read(format!("/duties?worker_id={id}&kind=offer_examination&limit=500")).await;
        person.duties(&duties, &mut differences);
    }
    differences
}

/// Where a group stood at the end of each era.
fn standings(drawn: &Drawn, group: usize, answer: &Value, differences: &mut Differences, seen: &mut Seen) {
    let moves = plain::moves(drawn, group);
    seen.moves[0] += moves.iter().filter(|moved| !moved.down).count();
    seen.moves[1] += moves.iter().filter(|moved| moved.down).count();
    let cuts: Vec<NaiveDate> = plain::cuts(&drawn.groups[group]).into_iter().collect();
    let mut expected = Vec::new();
    for n in (0..=cuts.len()).rev() {
        let last_day = cuts.get(n).map_or_else(|| date("2099-12-31"), |to| to.pred_opt().unwrap());
        let stood = moves.iter().rfind(|moved| moved.since.is_none_or(|since| since <= last_day));
        let from = n.checked_sub(1).map(|before| cuts[before]);
        let word = |level: u8| {
            ["unknown", "below_action_level", "at_or_above_action_level", "above_limit"][usize::from(level)]
        };
        let value = word(stood.map_or(0, |moved| moved.level));
        let since = stood.and_then(|moved| moved.since);
        let round = stood.map(|moved| moved.round);
        expected.push(json!([from, cuts.get(n), value, since, round, stood.is_some_and(|moved| moved.down)]));
    }
    let found: Vec<Value> = answer["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|era| {
            let none = json!({"value": "unknown"});
            let standing = era["standing"].as_array().unwrap().iter();
            let standing = standing.clone().find(|standing| standing["authority"] == "OSHA").unwrap_or(&none);
            json!([
                era["from"],
                era["to"],
                standing["value"],
                standing["since"],
                standing["round"]["date"],
                standing["clause"].is_string()
            ])
        })
        .collect();
    differences.same(&format!("eras of group {group}"), &json!(found), &json!(expected));
}

/// What is expected of a worker.
struct Expected<'d> {
    drawn: &'d Drawn,
    worker: usize,
    today: NaiveDate,
    days: BTreeMap<NaiveDate, plain::Day>,
    /// Whether general industry's clauses bind, and construction's.
    bound: [bool; 2],
}

impl<'d> Expected<'d> {
    fn of(drawn: &'d Drawn, worker: usize) -> Self {
        let person = &drawn.people[worker];
        let site_of = |group: usize| &SITES[drawn.groups[group].site];
        let assigned = person.plans.iter().map(|plan| site_of(plan.group));
        let today = assigned.clone().map(|site| date(site.today)).max();
        let today = today.unwrap_or_else(|| date("2026-03-02"));
        let mut bound = [false, false];
        let recorded = person.recorded.iter().map(|(_, group)| site_of(*group));
        let measured = drawn.events.iter().filter(|event| {
            event.samples.iter().any(|sample| sample.worker == worker && plain::is_used(sample))
        });
        let measured = measured.map(|event| site_of(event.group));
        for site in assigned.chain(recorded).chain(measured) {
            bound[usize::from(site.construction)] = true;
        }
        let days = plain::days(drawn, worker, today + Months::new(12));
        Self { drawn, worker, today, days, bound }
    }

    /// The dates that count for something: measured, counted, undecided.
    fn dates(&self, looks: &[Looks]) -> [BTreeSet<NaiveDate>; 3] {
        let mut found = [BTreeSet::new(), BTreeSet::new(), BTreeSet::new()];
        for (on, day) in &self.days {
            for looks in looks {
                let (measured, counted, undecided) = plain::counts(day, *looks);
                for (dates, counts) in found.iter_mut().zip([measured, counted, undecided]) {
                    if counts {
                        dates.insert(*on);
                    }
                }
            }
        }
        found
    }

    fn history(&self, answer: &Value, differences: &mut Differences, seen: &mut Seen) {
        let level = Looks::Average(self.drawn.substance.action_level, false, 2);
        let [measured, counted, undecided] = self.dates(&[level]);
        seen.undecided[usize::from(undecided.is_empty())] += 1;
        let most = |dates: &BTreeSet<NaiveDate>| plain::count(dates, 1).most;
        let worst = plain::count(&counted, 1);
        let mut by_standing = json!({"calendar_years": years(&counted)});
        if let Some((from, to)) = worst.worst {
            by_standing["worst_12_months"] = json!({"count": worst.most, "from": from, "to": to});
        }
        let found = &answer["days_at_or_above_action_level"];
        let mut found_standing = found["by_standing"].clone();
        if found_standing["worst_12_months"]["count"] == 0 {
            found_standing.as_object_mut().unwrap().remove("worst_12_months");
        }
        let found = json!([found["measured"], found_standing, found["undecided"]]);
        let expected = json!([most(&measured), by_standing, most(&undecided)]);
        differences.same(&format!("days of worker {}", self.worker), &found, &expected);
    }

    /// The clauses that bind the worker, with their counts.
    fn binding(&self) -> Vec<(&'static Clause, plain::Counted, BTreeSet<NaiveDate>)> {
        let binds =
            |clause: &&Clause| clause.binds.iter().zip(self.bound).any(|(binds, bound)| *binds && bound);
        let clauses = self.drawn.substance.clauses.iter().filter(binds);
        clauses
            .map(|clause| {
                let [_, counted, _] = self.dates(clause.looks);
                (clause, plain::count(&counted, clause.days), counted)
            })
            .collect()
    }

    fn due_on(&self, clause: &Clause, first: NaiveDate) -> NaiveDate {
        match clause.due {
            Due::DaysAfterFirst(days) => first + Days::new(days),
            Due::Learned => self.today,
        }
    }

    fn clauses(&self, answer: &Value, differences: &mut Differences, seen: &mut Seen) {
        let mut expected = BTreeMap::new();
        for (clause, counted, dates) in self.binding() {
            let first = counted.first;
            seen.clauses[usize::from(first.is_none())] += 1;
            let window = counted.worst.map(|(from, to)| json!({"from": from, "to": to}));
            let due = first.map(|(from, _)| self.due_on(clause, from));
            let of_years: Vec<Value> =
                years(&dates).into_iter().map(|(year, days)| json!([year, days])).collect();
            let told =
                json!([first.is_some(), counted.most, window, first.map(|(_, met)| met), due, of_years]);
            expected.insert(clause.row, told);
        }
        let mut found = BTreeMap::new();
        for clause in answer["clauses"].as_array().unwrap() {
            let row = clause["trigger_id"].as_str().unwrap();
            let of_years = clause["calendar_years"].as_array().into_iter().flatten();
            let of_years: Vec<Value> =
                of_years.map(|year| json!([year["year"].to_string(), year["days"]])).collect();
            let told = json!([
                clause["met"],
                clause["days_counted"],
                clause["window"],
                clause["first_met_on"],
                clause["due_on"],
                of_years
            ]);
            if expected.contains_key(row) || clause["met"] == true {
                found.insert(row, told);
            }
        }
        differences.same(&format!("clauses of worker {}", self.worker), &json!(found), &json!(expected));
    }

    fn duties(&self, answer: &Value, differences: &mut Differences) {
        let mut expected = BTreeMap::new();
        for (clause, counted, _) in self.binding() {
            let (Some((first, _)), Some((from, to))) = (counted.first, counted.worst) else { continue };
            let due = self.due_on(clause, first);
            // Overdue is reckoned from the day of asking, which is the 2nd in universal time.
            let status = if due < date("2026-03-02") { "overdue" } else { "open" };
            let window = json!({"from": from, "to": to});
            expected.insert(clause.row, json!([due, counted.most, window, status]));
        }
        let mut found = BTreeMap::new();
        for duty in answer["items"].as_array().unwrap() {
            if duty["status"] != "withdrawn" {
                let told = json!([duty["due_on"], duty["days_counted"], duty["window"], duty["status"]]);
                found.insert(duty["trigger_id"].as_str().unwrap(), told);
            }
        }
        differences.same(&format!("duties to worker {}", self.worker), &json!(found), &json!(expected));
    }
}

fn years(dates: &BTreeSet<NaiveDate>) -> BTreeMap<String, usize> {
    let mut years = BTreeMap::new();
    for day in dates {
        *years.entry(day.year().to_string()).or_default() += 1;
    }
    years
}
