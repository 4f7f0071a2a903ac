//! Every row of the table: met, just below, and exactly at what its paragraph asks for.

use crate::case::{Known, date, run};
use crate::paragraphs::{Asks, PARAGRAPHS, Side};
use chrono::{Months, NaiveDate};
use doseward::model::facts::rule_set::RuleSet;
use doseward::model::facts::worker::MedicalGroundKind;
use doseward::model::measured::Measured;
use doseward::model::unit::Unit;
use doseward::surveillance::case::{Behind, Earlier, MedicalGround, Presence};
use doseward::surveillance::day_count::{Day, GroupsStand};
use doseward::surveillance::not_evaluated::not_evaluated;
use doseward::surveillance::pack::Pack;
use std::collections::BTreeSet;

#[test]
fn every_row_of_the_table_has_its_paragraph_here_and_the_reverse() {
    let mut reader =
        csv::Reader::from_reader(include_bytes!("../../rules/us-osha/surveillance_triggers.csv").as_slice());
    let rows: BTreeSet<String> = reader.records().map(|row| row.unwrap()[0].to_owned()).collect();
    let here: BTreeSet<String> = PARAGRAPHS.iter().map(|(row, ..)| (*row).to_owned()).collect();
    assert_eq!(rows, here);
}

#[test]
fn every_particular_belongs_to_a_row() {
    let pack = Pack::built_in();
    for detail in &pack.details {
        assert!(
            pack.surveillance.iter().any(|rule| rule.trigger_id == detail.trigger_id),
            "{}",
            detail.detail_id
        );
    }
}

#[test]
fn every_row_is_met_from_what_its_paragraph_asks_for_and_not_below() {
    for (row, agent, rule_set, asks) in PARAGRAPHS {
        Row { id: row, known: Known::new(agent, *rule_set), rule_set: *rule_set }.check(*asks);
    }
}

struct Row {
    id: &'static str,
    known: Known,
    rule_set: RuleSet,
}

/// A whisker: what a laboratory still tells apart.
const WHISKER: f64 = 0.001;

impl Row {
    fn check(&self, asks: Asks) {
        match asks {
            Asks::Average(level, unit, side, days) => {
                let day = |date, twa| Day { twa: Some(twa), ..Day::new(date) };
                self.levels(level, unit, side, days, day);
            }
            Asks::Short(level, unit, side, days) => {
                let day = |date, average| Day { short_term: Some(average), ..Day::new(date) };
                self.levels(level, unit, side, days, day);
            }
            Asks::Presumed(level, unit, side, days) => self.presumed(level, unit, side, days),
            Asks::Any => {
                let day = |date, twa| Day { twa: Some(twa), ..Day::new(date) };
                self.expect("above nothing", self.on_days(1e-6, 1, day).met(self.id), true);
                self.expect("at nothing", self.on_days(0.0, 50, day).met(self.id), false);
                self.expect("no day", self.known.met(self.id), false);
            }
            Asks::Days(kind, days) => {
                let with = |count, named: Option<&str>| {
                    self.known.clone().with_condition(kind, named, run("2026-01-05", count)).met(self.id)
                };
                self.expect("one day more", with(days + 1, None), true);
                self.expect("the days", with(days, None), true);
                self.expect("the days of this clause", with(days, Some(self.id)), true);
                self.expect("one day less", with(days - 1, None), false);
                self.expect("the days of another clause", with(days, Some("ST999")), false);
            }
            Asks::Release => {
                let mut known = self.known.clone();
                self.expect("no release", known.met(self.id), false);
                let behind = Behind::default();
                known.releases.push(Presence { key: "a".into(), on: date("2026-03-05"), behind });
                self.expect("a release", known.met(self.id), true);
                let found = known.finding(self.id);
                self.expect("the day before", found.covers(date("2026-03-04"), false), false);
                self.expect("the very day", found.covers(date("2026-03-05"), false), true);
            }
            Asks::Ground(kind) => self.ground(kind),
            Asks::AverageAndGround(level, unit, side) => {
                let day = |date, twa| Day { twa: Some(twa), ..Day::new(date) };
                let at = self.in_unit(level, unit);
                let met = |value: f64, named: Option<&str>| {
                    let mut known = self.on_days(value, 1, day);
                    if let Some(named) = named {
                        known.grounds.push(ground(
                            known.agent,
                            MedicalGroundKind::Recommendation,
                            Some(named),
                        ));
                    }
                    known.met(self.id)
                };
                self.expect("both", met(at * (1.0 + WHISKER), Some(self.id)), true);
                self.expect("exactly at", met(at, Some(self.id)), side == Side::AtOrAbove);
                self.expect("just below", met(at * (1.0 - WHISKER), Some(self.id)), false);
                self.expect("no ground", met(at * (1.0 + WHISKER), None), false);
                self.expect("a ground of another clause", met(at * (1.0 + WHISKER), Some("ST999")), false);
            }
            Asks::Years(level, unit, side, days, years, before) => {
                self.years(self.in_unit(level, unit), side, days, years, before);
            }
            Asks::MoreThanMonths(months, before) => {
                let met = |from: NaiveDate, to| {
                    let behind = Behind::default();
                    let mut known = self.known.clone();
                    known.earlier.push(Earlier { from, to, days_per_year: None, mean: None, behind });
                    known.met(self.id)
                };
                let from = date("1980-01-01");
                let end = from + Months::new(months);
                self.expect("exactly those months", met(from, end), false);
                self.expect("one day more", met(from, end.succ_opt().unwrap()), true);
                let before = date(before);
                let late = before - Months::new(months - 1);
                self.expect("too few before the day", met(late, before + Months::new(200)), false);
            }
            Asks::Nothing => {
                let left = not_evaluated(Pack::built_in());
                assert!(left.iter().any(|left| left.row == self.id && !left.why.is_empty()), "{}", self.id);
                let agents = &Pack::built_in().agents;
                assert!(agents.iter().all(|known| known.agent.code.as_str() != self.known.agent));
            }
        }
        let listed = not_evaluated(Pack::built_in()).iter().any(|left| left.row == self.id);
        assert_eq!(listed, matches!(asks, Asks::Nothing), "{}", self.id);
    }

    #[track_caller]
    fn expect(&self, what: &str, found: bool, expected: bool) {
        assert_eq!(found, expected, "{} ({}): {what}", self.id, self.rule_set.as_str());
    }

    fn in_unit(&self, level: f64, unit: Unit) -> f64 {
        let (_, of_days) = self.known.levels();
        unit.convert(level, of_days).unwrap_or_else(|| panic!("{}: {unit} in {of_days}", self.id))
    }

    fn on_days(&self, value: f64, count: usize, day: impl Fn(NaiveDate, Measured) -> Day) -> Known {
        let dates = run("2026-01-05", count);
        Known { days: dates.iter().map(|on| day(on, Measured::Value(value))).collect(), ..self.known.clone() }
    }

    /// Both sides of both comparators.
    fn levels(
        &self,
        level: f64,
        unit: Unit,
        side: Side,
        days: usize,
        day: impl Fn(NaiveDate, Measured) -> Day,
    ) {
        let at = self.in_unit(level, unit);
        let met = |value: f64, count: usize| self.on_days(value, count, &day).met(self.id);
        self.expect("above on the days", met(at * (1.0 + WHISKER), days), true);
        self.expect("exactly at on the days", met(at, days), side == Side::AtOrAbove);
        self.expect("exactly at on more days", met(at, days + 20), side == Side::AtOrAbove);
        self.expect("just below on more days", met(at * (1.0 - WHISKER), days + 20), false);
        self.expect("above on one day less", met(at * (1.0 + WHISKER), days - 1), false);
        // The last of them twelve months after the first is outside the window.
        if days > 1 {
            let mut known = self.on_days(at * (1.0 + WHISKER), days - 1, &day);
            let last = date("2027-01-05");
            known.days.push(day(last, Measured::Value(at * 2.0)));
            self.expect("twelve months later", known.met(self.id), false);
            known.days.pop();
            known.days.push(day(last.pred_opt().unwrap(), Measured::Value(at * 2.0)));
            self.expect("a day before that", known.met(self.id), true);
        }
    }

    fn presumed(&self, level: f64, unit: Unit, side: Side, days: usize) {
        let at = self.in_unit(level, unit);
        let day = |date, twa| Day { twa: Some(twa), ..Day::new(date) };
        let exactly = side == Side::AtOrAbove;
        self.expect("at on the days", self.on_days(at, days, day).met(self.id), exactly);
        let fewer = self.on_days(at, days - 1, day).finding(self.id);
        self.expect("on one day less", fewer.met, false);
        self.expect("which the days show", fewer.by_default, false);
        let note = "covered unless shown otherwise";
        assert!(fewer.note.iter().any(|text| text == note), "{}: {:?}", self.id, fewer.note);
        // One day at the level and as many that nobody can tell as are missing: nothing shows that it was fewer.
        let untold = |count: usize| {
            let mut known = self.on_days(at, 1, day);
            let dates = run("2026-02-01", count);
            known.days.extend(dates.iter().map(|on| day(on, Measured::Below(at * 2.0))));
            known.finding(self.id)
        };
        self.expect("one that nobody can tell too few", untold(days - 2).by_default, false);
        let presumed = untold(days - 1);
        self.expect("enough that nobody can tell", presumed.by_default, true);
        self.expect("which is not the same as met", presumed.met, false);
        let mut below = self.on_days(at * (1.0 - WHISKER), 1, day);
        below.days.extend(run("2026-02-01", 200).iter().map(|on| day(on, Measured::Below(at * 2.0))));
        self.expect("no day at the level", below.finding(self.id).by_default, false);
    }

    fn ground(&self, kind: MedicalGroundKind) {
        let with = |agent: &str, kind, named| {
            let mut known = self.known.clone();
            known.grounds.push(ground(agent, kind, named));
            known
        };
        let agent = self.known.agent;
        self.expect("no ground", self.known.met(self.id), false);
        self.expect("a ground", with(agent, kind, None).met(self.id), true);
        self.expect("a ground of this clause", with(agent, kind, Some(self.id)).met(self.id), true);
        self.expect("of another clause", with(agent, kind, Some("ST999")).met(self.id), false);
        self.expect("of another agent", with("toluene", kind, None).met(self.id), false);
        self.expect(
            "an end without a ground",
            with(agent, MedicalGroundKind::Ended, None).met(self.id),
            false,
        );
        let mut ended = with(agent, kind, None);
        let end = MedicalGround { on: date("2026-04-01"), ..ground(agent, MedicalGroundKind::Ended, None) };
        ended.grounds.push(end);
        let found = ended.finding(self.id);
        self.expect("the day before its end", found.covers(date("2026-03-31"), false), true);
        self.expect("the day of its end", found.covers(date("2026-04-01"), false), false);
    }

    fn years(&self, at: f64, side: Side, days: usize, years: u32, before: Option<&str>) {
        let behind = Behind::default();
        let start = date("1970-02-10");
        let met = |from: NaiveDate, to: NaiveDate, days: f64, mean: f64| {
            let mut known = self.known.clone();
            let mean = Some(Measured::Value(mean));
            known.earlier.push(Earlier { from, to, days_per_year: Some(days), mean, behind });
            known.met(self.id)
        };
        let end = start + Months::new(12 * years);
        let a_year = f64::from(u32::try_from(days).unwrap());
        let above = at * (1.0 + WHISKER);
        self.expect("the years", met(start, end, a_year, above), true);
        self.expect("exactly at", met(start, end, a_year, at), side == Side::AtOrAbove);
        self.expect("just below", met(start, end, a_year, at * (1.0 - WHISKER)), false);
        self.expect("one day a year less", met(start, end, a_year - 1.0, above), false);
        self.expect("one day less", met(start, end.pred_opt().unwrap(), a_year, above), false);
        if let Some(before) = before {
            let before = date(before);
            self.expect("after the day", met(before, before + Months::new(400), 200.0, above), false);
        }
        // Own days: windows of twelve months with enough days, one after the other.
        let own = |count_of_years: u32, days: usize| {
            let mut known = self.known.clone();
            for year in 0..count_of_years {
                let from = start + Months::new(12 * year);
                known.days.extend(
                    from.iter_days()
                        .take(days)
                        .map(|on| Day { twa: Some(Measured::Value(above)), ..Day::new(on) }),
                );
            }
            known.met(self.id)
        };
        self.expect("own years", own(years, days), true);
        self.expect("one own year less", own(years - 1, days), false);
        self.expect("own years of one day less", own(years, days - 1), false);
    }
}

fn ground(agent: &str, kind: MedicalGroundKind, named: Option<&str>) -> MedicalGround {
    MedicalGround {
        kind,
        trigger_id: named.map(Into::into),
        on: date("2026-03-05"),
        agent_code: agent.into(),
        behind: Behind::default(),
    }
}

#[test]
fn task_days_and_exposure_days_pool_where_the_text_says_so_and_only_there() {
    use doseward::model::facts::group::ConditionKind::ListedTask;
    let known = |agent, twa: f64| {
        let days = run("2026-01-05", 20);
        let mut known = Known::new(agent, RuleSet::UsConstruction);
        known.days = days.iter().map(|on| Day { twa: Some(Measured::Value(twa)), ..Day::new(on) }).collect();
        // Five of the ten dates are days of exposure too.
        known.with_condition(ListedTask, None, run("2026-01-20", 15))
    };
    // 29 CFR 1926.1101(m)(1)(i)(A): a combined total of 30 or more days a year: 20 + 15 - 5.
    let asbestos = known("asbestos", 0.1).finding("ST036");
    assert!(asbestos.met);
    assert_eq!(asbestos.worst.as_ref().unwrap().count, 30);
    assert!(
        asbestos.note[0].contains("listed task on 15 days; dates are pooled, each once"),
        "{:?}",
        asbestos.note
    );
    // 29 CFR 1926.1127(l)(1)(i)(A): each limb is for itself, and covers unless shown otherwise.
    let cadmium = known("cadmium", 2.5).finding("ST025");
    assert!(!cadmium.met);
    assert_eq!(cadmium.worst.as_ref().unwrap().count, 20);
}

#[test]
fn tasks_are_presumed_only_until_the_exposure_was_assessed() {
    use doseward::model::facts::group::ConditionKind::ListedTask;
    use doseward::surveillance::level::Level;
    // 29 CFR 1926.62(d)(2)(iv), (v): until the employer performs an exposure assessment.
    let mut known = Known::new("lead", RuleSet::UsConstruction);
    known.days = vec![
        Day { standing: Some(Level::Unknown), ..Day::new(date("2026-01-05")) },
        Day {
            standing: Some(Level::BelowActionLevel),
            groups_stand: GroupsStand::All,
            ..Day::new(date("2026-01-06"))
        },
        // What another group of the day has shown is no assessment of the task.
        Day { standing: Some(Level::BelowActionLevel), ..Day::new(date("2026-01-07")) },
    ];
    let at = |on| known.clone().with_condition(ListedTask, None, run(on, 1)).met("ST018");
    assert_eq!(["2026-01-05", "2026-01-06", "2026-01-07"].map(at), [true, false, true]);
}

#[test]
fn an_outcome_says_clause_edition_verification_and_who_decides() {
    let mut known = Known::new("noise", RuleSet::UsConstruction);
    known.days = vec![Day { twa: Some(Measured::Value(91.0)), ..Day::new(date("2026-01-05")) }];
    let view = known.finding("ST076").view(Pack::built_in(), &known.case());
    let edition = "29 CFR after the rule of 14 May 2019 (84 FR 21416), exact day unknown";
    assert_eq!((view.clause.as_str(), view.edition.as_deref()), ("29 CFR 1926.52(d)(1)", Some(edition)));
    assert_eq!(view.verification.as_str(), "verified");
    assert_eq!(
        view.words,
        "appears to trigger surveillance; the law in force and a licensed professional decide"
    );
    known.days.clear();
    let view = known.finding("ST076").view(Pack::built_in(), &known.case());
    assert!(view.words.starts_with("does not appear to trigger"), "{}", view.words);
}
