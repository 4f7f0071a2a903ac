//! Which surveillance clauses a worker's days meet.

use crate::calculations::Calculation;
use crate::calculations::given::{none_below_zero, sound};
use crate::calculations::working::Working;
use crate::hygiene::air::ROOM_AIR;
use crate::hygiene::conversion::convert;
use crate::model::facts::rule_set::RuleSet;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::working::{Formula, Step};
use crate::record;
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::day_count::Day;
use crate::surveillance::pack::Pack;
use crate::surveillance::schedule::{Scheduled, scheduled_days};
use crate::surveillance::triggers::{ClauseOutcome, Question, evaluate, statutory_levels};
use chrono::NaiveDate;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// No clause about air is known for the agent under this body of law.
pub const NO_CLAUSE: &str = "no_clause_about_air";
/// Every flag of a surveillance calculation with its meaning.
pub const FLAGS: &[(&str, &str)] =
    &[(NO_CLAUSE, "No surveillance clause about air is known for this agent under this body of law.")];

/// More entries than this are no schedule.
const SCHEDULE_MOST: usize = 500;

/// How days are counted.
const COUNTED: Formula = Formula {
    formula: "days at or above (or above) the clause's metric in any 12 months from a counted day, against the days it asks for",
    source: "29 CFR 1910 subpart Z and 29 CFR 1926, the clauses cited beside each row",
};

record! {
    /// One day of a worker.
    pub struct DayInput {
        /// The date.
        date: NaiveDate,
        /// The 8-hour TWA.
        eight_hour_twa: Quantity,
        /// The highest short-term average.
        stel: Option<Quantity>,
        /// Whether a respirator was required.
        respirator: Option<bool>,
    }
}

record! {
    /// Work at one exposure.
    pub struct ScheduleInput {
        /// The first day.
        from: NaiveDate,
        /// The first day no longer; twelve months from `from` if left out.
        to: Option<NaiveDate>,
        /// Shifts a week.
        shifts_per_week: f64,
        /// The 8-hour TWA of each of them.
        eight_hour_twa: Quantity,
    }
}

record! {
    /// An agent, a body of law, and days or a schedule.
    pub struct SurveillanceInput {
        /// The agent's code.
        agent_code: Code,
        /// The body of law.
        rule_set: RuleSet,
        /// Days, each date once.
        days: Option<Vec<DayInput>>,
        /// A schedule, in place of days.
        schedule: Option<Vec<ScheduleInput>>,
    }
}

record! {
    /// What became of every clause about air.
    pub struct SurveillanceAnswer {
        /// Whether any clause is met.
        triggered: bool,
        /// Every clause evaluated, met or not.
        clauses: Vec<ClauseOutcome>,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// Which surveillance clauses a worker's days meet.
#[derive(Debug)]
pub struct Surveillance;

impl Calculation for Surveillance {
    const NAME: &'static str = "surveillance";
    const TITLE: &'static str = "SurveillanceCalculation";
    const SUMMARY: &'static str = "Which surveillance clauses days of exposure meet";
    const MORE: &'static str = "Clauses that are not about air (symptoms, tasks, areas, history) are not evaluated. Who must be offered \
        surveillance is decided by the law in force and by licensed professionals; this informs them.";
    type Input = SurveillanceInput;
    type Answer = SurveillanceAnswer;

    fn example() -> Value {
        json!({"agent_code": "chromium_vi", "rule_set": "us_general_industry", "schedule": [
            {"from": "2026-01-05", "shifts_per_week": 5, "eight_hour_twa": {"value": 2.6, "unit": "ug/m3"}}]})
    }

    fn answer(input: SurveillanceInput, working: &mut Working) -> Result<SurveillanceAnswer, Faults> {
        let mut faults = Faults::default();
        let pack = Pack::built_in();
        let Some(known) = pack.agent(input.agent_code.as_str()) else {
            faults.note("/agent_code", "is no agent with rules of its own");
            return Err(faults);
        };
        let (levels, unit) = statutory_levels(known, input.rule_set, None);
        let fallback = || {
            let of_days = input.days.iter().flatten().map(|day| day.eight_hour_twa.unit).next();
            of_days.or_else(|| input.schedule.iter().flatten().map(|one| one.eight_hour_twa.unit).next())
        };
        let unit = unit.or_else(fallback).unwrap_or(Unit::MgPerM3);
        let molar_mass = known.agent.molar_mass.as_ref().and_then(|mass| mass.number_in(Unit::GPerMol));
        let reader = Reader { unit, molar_mass };
        let days = match (&input.days, &input.schedule) {
            (Some(days), None) => reader.days(days, &mut faults),
            (None, Some(schedule)) => reader.schedule(schedule, &mut faults),
            _ => {
                faults.note("/days", "must be given, or schedule, and not both");
                None
            }
        };
        let answer = days.filter(|_| faults.is_empty()).map(|days| {
            let question = Question {
                agent_code: input.agent_code.as_str(),
                rule_set: input.rule_set,
                levels,
                unit,
                learned_on: None,
                working_days: &WorkingDays::default(),
            };
            let clauses = evaluate(pack, &question, &days);
            for clause in &clauses {
                working.step(&format!("clause {}", clause.trigger_id), COUNTED, || {
                    let inputs = json!({"days": days.len(), "unit": unit.code(), "action_level": levels.action_level,
                        "limit": levels.limit});
                    (inputs, clause.to_json())
                });
            }
            let flags = if clauses.is_empty() { vec![NO_CLAUSE.to_owned()] } else { Vec::new() };
            SurveillanceAnswer {
                triggered: clauses.iter().any(|clause| clause.met),
                clauses,
                flags,
                working: None,
            }
        });
        sound(answer, faults)
    }
}

/// Reads quantities in the unit of the statute's limit.
struct Reader {
    unit: Unit,
    molar_mass: Option<f64>,
}

impl Reader {
    fn quantity(&self, quantity: &Quantity, at: &str, faults: &mut Faults) -> Option<Measured> {
        none_below_zero(quantity, at, faults);
        let found = convert(quantity.measured, quantity.unit, self.unit, self.molar_mass, ROOM_AIR);
        if found.is_none() {
            let detail = format!("must convert into {}, which {} does not", self.unit, quantity.unit);
            faults.note(format!("{at}/unit"), detail);
        }
        found
    }

    fn days(&self, days: &[DayInput], faults: &mut Faults) -> Option<Vec<Day>> {
        let mut dates = BTreeSet::new();
        let read: Vec<Option<Day>> = days
            .iter()
            .enumerate()
            .map(|(n, day)| {
                let at = format!("/days/{n}");
                if !dates.insert(day.date) {
                    faults.note(format!("{at}/date"), "is there twice");
                }
                let twa = self.quantity(&day.eight_hour_twa, &format!("{at}/eight_hour_twa"), faults);
                let short_term =
                    day.stel.as_ref().map(|stel| self.quantity(stel, &format!("{at}/stel"), faults));
                Some(Day {
                    twa: Some(twa?),
                    short_term: match short_term {
                        Some(read) => Some(read?),
                        None => None,
                    },
                    respirator: day.respirator,
                    ..Day::new(day.date)
                })
            })
            .collect();
        read.into_iter().collect()
    }

    fn schedule(&self, schedule: &[ScheduleInput], faults: &mut Faults) -> Option<Vec<Day>> {
        if schedule.len() > SCHEDULE_MOST {
            faults.note("/schedule", format!("must hold at most {SCHEDULE_MOST} entries"));
            return None;
        }
        let read: Vec<Option<Scheduled>> = schedule
            .iter()
            .enumerate()
            .map(|(n, entry)| {
                let at = format!("/schedule/{n}");
                if entry.to.is_some_and(|to| to <= entry.from) {
                    faults.note(format!("{at}/to"), "must be after from");
                }
                if !(entry.shifts_per_week > 0.0 && entry.shifts_per_week <= 7.0) {
                    faults.note(format!("{at}/shifts_per_week"), "must be above 0 and at most 7");
                }
                let twa = self.quantity(&entry.eight_hour_twa, &format!("{at}/eight_hour_twa"), faults)?;
                Some(Scheduled {
                    from: entry.from,
                    to: entry.to,
                    shifts_per_week: entry.shifts_per_week,
                    twa,
                })
            })
            .collect();
        let read: Option<Vec<Scheduled>> = read.into_iter().collect();
        read.filter(|_| faults.is_empty()).map(|schedule| scheduled_days(&schedule))
    }
}
