//! The clauses of an authority other than the law that comes with the program, as rows of a pack: the same engine reads
//! both, and knows of neither whose they are.

use crate::hygiene::air::ROOM_AIR;
use crate::hygiene::conversion::convert;
use crate::model::facts::agent::Verification;
use crate::model::facts::clause::{
    Clause, ClauseCounts, ExaminationAsked, ExaminationOf, LevelNamed, MonitoringAsked, MonitoringClause,
    RunsFrom, StandsAt,
};
use crate::model::facts::rule_set::RuleSet;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::surveillance::level::Levels;
use crate::surveillance::pack::Pack;
use crate::words;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

const SURVEILLANCE: &str = "surveillance_triggers";
const DETAILS: &str = "surveillance_details";
const MONITORING: &str = "monitoring_triggers";
const READINGS: &str = "monitoring_readings";
const CONTROLS: &str = "controls";

words! {
    /// Why a clause cannot be read on a day.
    pub enum Unread {
        /// The level that it names is not in force.
        LevelNotInForce = "level_not_in_force",
        /// Its level does not convert into the unit of the agent: between mass and parts by volume that takes a molar mass.
        LevelNotConvertible = "level_not_convertible",
    }
}

impl Unread {
    /// The same as a sentence says it.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::LevelNotInForce => "its limit is not in force",
            Self::LevelNotConvertible => {
                "its level does not convert into the unit of the agent, which has no molar mass for that"
            }
        }
    }
}

/// A clause that cannot be read on the day of asking.
#[derive(Debug, Clone, PartialEq)]
pub struct UnreadClause {
    /// The clause.
    pub clause: Clause,
    /// Why.
    pub why: Unread,
}

/// What the clauses of an authority are read against.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadAgainst {
    /// The authority's own levels, in `unit`.
    pub levels: Levels,
    /// Those of them that are in force and cannot be had in `unit`.
    pub not_convertible: Vec<LevelNamed>,
    /// The unit of all levels.
    pub unit: Unit,
    /// The agent's molar mass, g/mol, by which mass becomes parts by volume.
    pub molar_mass: Option<f64>,
}

/// The clauses of one authority for one agent, as the engine reads them.
#[derive(Debug, Clone, PartialEq)]
pub struct PackOfAuthority {
    /// The rows; of a clause for workers that cannot be read one that holds nowhere, so that what was done by it is known.
    pub pack: Pack,
    /// The clauses that cannot be read.
    pub unread: Vec<UnreadClause>,
}

/// The pack of one authority for one agent, from its clauses in force.
///
/// # Errors
/// What does not read as a row: a defect, as every clause was checked when it was entered.
pub fn pack_of_authority(clauses: &[&Clause], against: ReadAgainst) -> Result<PackOfAuthority, String> {
    let mut rows = Rows { against, of_file: BTreeMap::new() };
    let mut unread = Vec::new();
    // Of two that ask for the same within different times the shorter time binds.
    let mut in_order = clauses.to_vec();
    let within = |clause: &&Clause| clause.group.as_ref().and_then(|asked| asked.within_days);
    in_order.sort_by_key(|clause| within(clause).unwrap_or(i64::MAX));
    for clause in in_order {
        let of_worker = clause.worker.as_ref().map_or(Ok(()), |asked| rows.examination(clause, asked));
        let of_group = clause.group.as_ref().map_or(Ok(()), |asked| rows.monitoring(clause, asked));
        if let Err(why) = of_worker.and(of_group) {
            unread.push(UnreadClause { clause: clause.clone(), why });
        }
    }
    let pack = Pack::of_rows(|file| rows.of_file.get(file).cloned().unwrap_or_default())?;
    Ok(PackOfAuthority { pack, unread })
}

struct Rows {
    against: ReadAgainst,
    of_file: BTreeMap<&'static str, Vec<Value>>,
}

/// What every row of a clause says; `id` is the column that names the row.
fn common(clause: &Clause, id: &str) -> Map<String, Value> {
    let mut row = Map::new();
    row.insert(id.into(), json!(clause.code.as_str()));
    row.insert("agent_code".into(), json!(clause.agent_code.as_str()));
    row.insert("scope".into(), RuleSet::ALL.iter().map(RuleSet::to_json).collect());
    // Examinations by the clauses of one authority are one programme, as those of one section of the law are.
    row.insert("cfr_section".into(), json!(clause.authority.as_str()));
    row.insert("citation".into(), json!(clause.source.as_str()));
    row.insert("verification".into(), verification(clause).to_json());
    if let Some(edition) = &clause.edition {
        row.insert("edition".into(), json!(edition.as_str()));
    }
    row
}

/// Where nobody says that the source was read, it is shown as not read.
fn verification(clause: &Clause) -> Verification {
    clause.verification.unwrap_or(Verification::Memory)
}

impl Rows {
    fn add(&mut self, file: &'static str, row: Map<String, Value>) {
        self.of_file.entry(file).or_default().push(Value::Object(row));
    }

    fn level(&self, named: LevelNamed) -> Result<f64, Unread> {
        let level = match named {
            LevelNamed::ActionLevel => self.against.levels.action_level,
            LevelNamed::Limit => self.against.levels.limit,
        };
        let why = || {
            let in_force = self.against.not_convertible.contains(&named);
            if in_force { Unread::LevelNotConvertible } else { Unread::LevelNotInForce }
        };
        level.ok_or_else(why)
    }

    /// A level that stands in a clause alone, in the unit of all levels.
    fn own_level(&self, value: &Quantity) -> Result<f64, Unread> {
        let ReadAgainst { unit, molar_mass, .. } = self.against;
        match convert(value.measured, value.unit, unit, molar_mass, ROOM_AIR) {
            Some(Measured::Value(level)) => Ok(level),
            _ => Err(Unread::LevelNotConvertible),
        }
    }

    fn examination(&mut self, clause: &Clause, asked: &ExaminationAsked) -> Result<(), Unread> {
        let mut row = common(clause, "trigger_id");
        let trigger = match asked.counts {
            ClauseCounts::EightHourAverage | ClauseCounts::ShortTermAverage => "exposure_days",
            ClauseCounts::AnyExposure => "exposure_any",
            ClauseCounts::RespiratorRequired => "respirator_days",
            ClauseCounts::RegulatedArea => "area_days",
            ClauseCounts::SkinContact => "dermal_days",
            ClauseCounts::ListedTask => "task",
            ClauseCounts::Release => "emergency",
        };
        row.insert("trigger_type".into(), json!(trigger));
        let metric = match (asked.counts, asked.level) {
            (ClauseCounts::EightHourAverage, Some(LevelNamed::ActionLevel)) => "AL_TWA",
            (ClauseCounts::EightHourAverage, Some(LevelNamed::Limit)) => "PEL_TWA",
            (ClauseCounts::ShortTermAverage, _) => "STEL",
            (ClauseCounts::AnyExposure, _) => "any",
            // A level that is neither the action level nor the limit: where a group stands does not tell.
            _ => "own_level",
        };
        row.insert("metric".into(), json!(metric));
        let read = match (asked.level, &asked.value) {
            (Some(named), _) => self.level(named).map(Some),
            (None, Some(value)) => self.own_level(value).map(Some),
            (None, None) => Ok(None),
        };
        match read {
            Ok(Some(level)) => {
                row.insert("threshold_value".into(), json!([level]));
                row.insert("unit".into(), json!(self.against.unit.code()));
                let sign = if asked.above == Some(true) { ">" } else { ">=" };
                row.insert("exposure_comparator".into(), json!(sign));
            }
            Ok(None) => {}
            Err(_) => drop(row.insert("scope".into(), json!([]))),
        }
        row.insert("days_value".into(), json!(asked.days.unwrap_or(1)));
        row.insert("days_comparator".into(), json!(">="));
        if let Some(months) = asked.window_months {
            row.insert("window_months".into(), json!(months));
        }
        row.insert("initial_exam".into(), json!("yes"));
        let hearing = asked.examination == Some(ExaminationOf::Hearing);
        if let Some(months) = asked.repeat_months.filter(|_| !hearing) {
            row.insert("periodic_months".into(), json!(months));
        }
        self.add(SURVEILLANCE, row);
        self.particulars(clause, asked, hearing);
        read.map(drop)
    }

    fn particulars(&mut self, clause: &Clause, asked: &ExaminationAsked, hearing: bool) {
        let mut particulars: Vec<Value> = Vec::new();
        if let Some(time) = &asked.first_within {
            let kind = match (asked.counts, time.from) {
                (ClauseCounts::Release, _) => "due_from_event",
                (_, Some(RunsFrom::FirstDay)) => "due_from_first_day",
                (_, Some(RunsFrom::DaysReached)) => "due_from_days_reached",
                (_, Some(RunsFrom::Determined) | None) => "due_from_determined",
            };
            particulars.push(json!({"kind": kind, "amount": time.amount, "unit": time.unit.to_json()}));
        }
        if let Some(days) = asked.on_leaving_within_days {
            particulars.push(json!({"kind": "termination", "up_to": days}));
        }
        if hearing {
            particulars.push(match asked.repeat_months {
                Some(months) => {
                    json!({"kind": "interval", "part": "audiogram", "amount": months, "unit": "months"})
                }
                None => json!({"kind": "note", "part": "audiogram"}),
            });
        }
        for (number, particular) in particulars.into_iter().enumerate() {
            let Value::Object(mut row) = particular else { continue };
            row.insert("detail_id".into(), json!(format!("{}/{}", clause.code, number + 1)));
            row.insert("trigger_id".into(), json!(clause.code.as_str()));
            row.insert("source".into(), json!(clause.source.as_str()));
            row.insert("verification".into(), verification(clause).to_json());
            self.add(DETAILS, row);
        }
    }

    fn monitoring(&mut self, clause: &Clause, asked: &MonitoringClause) -> Result<(), Unread> {
        let mut row = common(clause, "rule_id");
        let kind = match asked.asks {
            MonitoringAsked::SampleFirst => "initial",
            MonitoringAsked::SampleAgain => "frequency",
            MonitoringAsked::MayStop => "step_down",
            MonitoringAsked::SampleAfterChange => "additional",
            MonitoringAsked::TellResults => "notification",
            MonitoringAsked::WritePlan => return self.plan(clause),
        };
        row.insert("rule_type".into(), json!(kind));
        let mut reading = match asked.asks {
            MonitoringAsked::SampleFirst => match asked.within_days {
                Some(days) => json!({"asks": "initial", "anchor": "expected", "days": days}),
                None => json!({"asks": "initial", "anchor": "learned"}),
            },
            MonitoringAsked::SampleAgain => {
                let bounds = self.bounds(asked.stands)?;
                json!({
                    "asks": "repeat", "averages": "eight_hour", "eight_hour": bounds, "months": asked.months,
                    "anchor": "schedule",
                })
            }
            MonitoringAsked::MayStop => {
                let named = asked.below.ok_or(Unread::LevelNotInForce)?;
                let level = self.level(named)?;
                // At a limit nobody is above it; at an action level somebody has reached it.
                let sign = if named == LevelNamed::Limit { "<=" } else { "<" };
                row.insert("metric".into(), json!("TWA"));
                row.insert("upper".into(), json!(level.to_string()));
                row.insert("upper_comparator".into(), json!(sign));
                row.insert("unit".into(), json!(self.against.unit.code()));
                row.insert("consecutive_results_needed".into(), json!(asked.results));
                row.insert("min_days_apart".into(), json!(asked.days_apart));
                row.insert("day_kind".into(), json!("calendar"));
                json!({"asks": "stop", "averages": "eight_hour", "eight_hour": format!("{sign}{}", named.as_str())})
            }
            MonitoringAsked::SampleAfterChange => json!({"asks": "additional", "on": "change;release"}),
            MonitoringAsked::TellResults | MonitoringAsked::WritePlan => {
                row.insert("notify_within_days".into(), json!(asked.within_days));
                row.insert("notify_day_kind".into(), json!("working days"));
                row.insert("notify_clock_start".into(), json!("receipt of results"));
                row.insert("over_limit_notice_comparator".into(), json!("> limit"));
                Value::Null
            }
        };
        self.add(MONITORING, row);
        if let Value::Object(reading) = &mut reading {
            self.reading(clause, std::mem::take(reading));
        }
        Ok(())
    }

    fn plan(&mut self, clause: &Clause) -> Result<(), Unread> {
        self.level(LevelNamed::Limit)?;
        let mut row = common(clause, "row_id");
        row.insert("topic".into(), json!("written_plan"));
        row.insert("rule".into(), json!(clause.source.as_str()));
        self.add(CONTROLS, row);
        let reading = json!({"asks": "write_plan", "averages": "eight_hour", "eight_hour": ">limit"});
        if let Value::Object(reading) = reading {
            self.reading(clause, reading);
        }
        Ok(())
    }

    fn reading(&mut self, clause: &Clause, mut row: Map<String, Value>) {
        row.insert("reading_id".into(), json!(clause.code.as_str()));
        row.insert("rule_id".into(), json!(clause.code.as_str()));
        row.insert("source".into(), json!("clause"));
        row.insert("verification".into(), verification(clause).to_json());
        self.add(READINGS, row);
    }

    /// Where the 8-hour average lies while a group stands so.
    fn bounds(&self, stands: Option<StandsAt>) -> Result<&'static str, Unread> {
        let level = |named| self.level(named);
        let (action_level, limit) = (level(LevelNamed::ActionLevel), level(LevelNamed::Limit));
        match stands.ok_or(Unread::LevelNotInForce)? {
            StandsAt::Below if action_level.is_ok() => Ok("<action_level"),
            StandsAt::Below => limit.map(|_| "<=limit"),
            StandsAt::AtOrAboveActionLevel if limit.is_ok() => action_level.map(|_| ">=action_level <=limit"),
            StandsAt::AtOrAboveActionLevel => action_level.map(|_| ">=action_level"),
            StandsAt::AboveLimit => limit.map(|_| ">limit"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::surveillance::clause::{Limb, days_needed, limbs};
    use crate::surveillance::day_count::{Day, Tier};
    use crate::surveillance::level::Level;
    use crate::surveillance::monitoring::standard::Standard;
    use crate::surveillance::pack::surveillance_rule::Comparator;
    use crate::surveillance::step_down::step_downs;

    const LEVELS: Levels = Levels { action_level: Some(1.0), limit: Some(2.0) };

    fn pack(levels: Levels, asked: &[Value]) -> Pack {
        read(levels, (Unit::UgPerM3, None), asked).pack
    }

    fn read(levels: Levels, (unit, molar_mass): (Unit, Option<f64>), asked: &[Value]) -> PackOfAuthority {
        let clauses: Vec<Clause> = asked
            .iter()
            .enumerate()
            .map(|(number, asked)| {
                let mut sent = json!({
                    "code": format!("W-{number}"), "authority": "Works", "agent_code": "lead",
                    "source": "Works standard 12", "verification": "verified",
                });
                for (name, value) in asked.as_object().unwrap() {
                    sent[name] = value.clone();
                }
                Clause::parse(&sent).unwrap()
            })
            .collect();
        let against = ReadAgainst { levels, not_convertible: Vec::new(), unit, molar_mass };
        pack_of_authority(&clauses.iter().collect::<Vec<_>>(), against).unwrap()
    }

    #[test]
    fn a_level_in_parts_by_volume_is_read_against_mass_by_the_molar_mass() {
        // A molar volume of 24.45 L/mol at 25 C and 760 mmHg: 2 ppm of a gas of 48.9 g/mol are 4 mg/m3, and back.
        let own = |value: f64, unit: &str| json!({"worker": {"counts": "eight_hour_average", "value": {"value": value, "unit": unit}}});
        let level = |unit, asked: Value| {
            let read = read(Levels::default(), (unit, Some(48.9)), &[asked]);
            limbs(&read.pack.surveillance[0], Levels::default(), unit).unwrap()[0]
        };
        let comparator = Comparator::AtOrAbove;
        let apart = |level| Limb::Apart { level, comparator, levels: Levels::default() };
        assert_eq!(level(Unit::MgPerM3, own(2.0, "[ppm]")), apart(4.0));
        assert_eq!(level(Unit::Ppm, own(4.0, "mg/m3")), apart(2.0));
        // Without one nobody can tell, and that is said.
        let none = read(Levels::default(), (Unit::MgPerM3, None), &[own(2.0, "[ppm]")]);
        assert_eq!(none.unread[0].why, Unread::LevelNotConvertible);
        assert_eq!(none.pack.surveillance_of("lead", RuleSet::UsConstruction).count(), 0);
    }

    // The reading of such clauses is this registry's own; the numbers are invented.
    #[test]
    fn a_clause_for_workers_becomes_a_row_that_names_the_authoritys_level() {
        let at = json!({"counts": "eight_hour_average", "level": "action_level", "days": 10});
        let above = json!({"counts": "eight_hour_average", "level": "limit", "above": true});
        let own = json!({"counts": "eight_hour_average", "value": {"value": "0.0015", "unit": "mg/m3"}});
        let read = pack(LEVELS, &[at, above, own].map(|worker| json!({"worker": worker})));
        let limb = |n: usize| limbs(&read.surveillance[n], LEVELS, Unit::UgPerM3).unwrap()[0];
        let comparator = Comparator::AtOrAbove;
        assert_eq!(limb(0), Limb::Average { level: 1.0, comparator, tier: Tier::ActionLevel });
        assert_eq!(days_needed(&read.surveillance[0]), 10);
        assert_eq!(read.surveillance[0].clause(), "Works standard 12");
        assert_eq!(limb(1), Limb::Average { level: 2.0, comparator: Comparator::Above, tier: Tier::Limit });
        assert_eq!(limb(2), Limb::Apart { level: 1.5, comparator, levels: LEVELS });
        // Between action level 1 and limit 2: only above the limit is it reached, only below the action level it is not.
        let counts = |standing| {
            let day = Day { standing: Some(standing), ..Day::new("2026-03-02".parse().unwrap()) };
            let verdict = limb(2).verdict(&day);
            (verdict.counts, verdict.undecided)
        };
        assert_eq!(counts(Level::AboveLimit), (true, false));
        assert_eq!(counts(Level::AtOrAboveActionLevel), (false, true));
        assert_eq!(counts(Level::BelowActionLevel), (false, false));
    }

    #[test]
    fn a_clause_whose_level_the_authority_does_not_have_is_named_as_unread() {
        let none = Levels { action_level: None, limit: Some(2.0) };
        let asked = [
            json!({"worker": {"counts": "eight_hour_average", "level": "action_level"}}),
            json!({"group": {"asks": "sample_again", "stands": "at_or_above_action_level", "months": 6}}),
            json!({"group": {"asks": "may_stop", "below": "action_level", "results": 2, "days_apart": 7}}),
            json!({"group": {"asks": "sample_again", "stands": "below", "months": 6}}),
            json!({"group": {"asks": "write_plan"}}),
        ];
        let unread = |levels| {
            let found = read(levels, (Unit::UgPerM3, None), &asked);
            let codes: Vec<_> = found.unread.iter().map(|one| one.clause.code.to_string()).collect();
            assert!(found.unread.iter().all(|one| one.why == Unread::LevelNotInForce));
            (codes, found.pack)
        };
        let (codes, left) = unread(none);
        assert_eq!(codes, ["W-0", "W-1", "W-2"]);
        assert_eq!((left.monitoring.len(), left.controls.len()), (1, 1));
        // The row stays, so that an examination by it is known, and holds under no rule set.
        assert_eq!(left.surveillance[0].scope, []);
        assert_eq!(unread(Levels::default()).0.len(), 5);
        let (codes, all) = unread(LEVELS);
        assert!(codes.is_empty());
        assert_eq!((all.surveillance[0].scope.len(), all.monitoring.len()), (3, 3));
    }

    #[test]
    fn clauses_for_groups_become_lines_and_ways_down() {
        let asked = [
            json!({"asks": "sample_again", "stands": "at_or_above_action_level", "months": 6}),
            json!({"asks": "sample_again", "stands": "above_limit", "months": 3}),
            json!({"asks": "may_stop", "below": "action_level", "results": 3, "days_apart": 14}),
            json!({"asks": "write_plan"}),
            json!({"asks": "tell_results", "within_days": 10}),
        ];
        let read = pack(LEVELS, &asked.map(|group| json!({"group": group})));
        let set = RuleSet::UsMaritime;
        let standard = Standard::of(&read, "lead", set, LEVELS, Unit::UgPerM3);
        let months: Vec<u32> = standard.lines.iter().map(|line| line.months).collect();
        assert_eq!((months, standard.has_option), (vec![6, 3], false));
        assert_eq!((standard.ways_down[0].results, standard.ways_down[0].days_apart), (3, 14));
        let down = &step_downs(&read, "lead", set, LEVELS, Unit::UgPerM3)[0];
        assert_eq!((down.upper, down.inclusive, down.to), (1.0, false, Level::BelowActionLevel));
        assert_eq!(read.controls_of("lead", set).count(), 1);
        assert_eq!(read.monitoring_of("lead", set).count(), 4);
        // Another agent's group is asked for nothing.
        assert_eq!(read.monitoring_of("cadmium", set).count(), 0);
    }
}
