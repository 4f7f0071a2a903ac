//! Clauses of an authority other than the law that comes with the program: a state, another country, the company itself.

use crate::model::facts::agent::Verification;
use crate::model::quantity::Quantity;
use crate::model::shape::Faults;
use crate::model::text::{Code, Line};
use crate::{record, words};
use chrono::NaiveDate;

words! {
    /// In what a time is given.
    pub enum TimeUnit {
        /// Calendar days.
        Days = "days",
        /// Working days of the site.
        WorkingDays = "working_days",
        /// Calendar months.
        Months = "months",
        /// Years.
        Years = "years",
    }
}

words! {
    /// On which days a clause looks.
    pub enum ClauseCounts {
        /// Those whose 8-hour average reaches a level.
        EightHourAverage = "eight_hour_average",
        /// Those whose highest short-term average reaches a level.
        ShortTermAverage = "short_term_average",
        /// Those with any exposure at all.
        AnyExposure = "any_exposure",
        /// Those on which a respirator is required.
        RespiratorRequired = "respirator_required",
        /// Those in a regulated area.
        RegulatedArea = "regulated_area",
        /// Those with skin contact.
        SkinContact = "skin_contact",
        /// Those with a listed task.
        ListedTask = "listed_task",
        /// None: presence at a release is enough.
        Release = "release",
    }
}

words! {
    /// A level of the authority's own, by its name.
    pub enum LevelNamed {
        /// Its action level.
        ActionLevel = "action_level",
        /// Its 8-hour limit.
        Limit = "limit",
    }
}

words! {
    /// What is to be offered.
    pub enum ExaminationOf {
        /// A medical examination.
        Examination = "examination",
        /// A hearing test.
        Hearing = "hearing",
    }
}

words! {
    /// From when the time to act runs.
    pub enum RunsFrom {
        /// From the first counted day.
        FirstDay = "first_day",
        /// From the day on which the days are enough.
        DaysReached = "days_reached",
        /// From the day on which the registry learned of it.
        Determined = "determined",
    }
}

record! {
    /// How long there is time to act.
    pub struct TimeAllowed {
        /// How much.
        amount: i64,
        /// In what.
        unit: TimeUnit,
        /// From when; of a release always from the release itself.
        from: Option<RunsFrom>,
    }
}

record! {
    /// What a clause asks for a worker.
    pub struct ExaminationAsked {
        /// On which days it looks.
        counts: ClauseCounts,
        /// The level, where it is one of the authority's own.
        level: Option<LevelNamed>,
        /// The level, where it stands in the clause alone.
        value: Option<Quantity>,
        /// Whether a day must lie above the level; if absent, at it is enough.
        above: Option<bool>,
        /// How many days it takes; one if absent.
        days: Option<i64>,
        /// Over how many months they are counted; twelve if absent.
        window_months: Option<i64>,
        /// What is to be offered; a medical examination if absent.
        examination: Option<ExaminationOf>,
        /// Within what time the first one is to be offered; if absent the day on which the registry learned of it.
        first_within: Option<TimeAllowed>,
        /// After how many months it is to be offered again.
        repeat_months: Option<i64>,
        /// Within how many days of leaving employment one is to be offered.
        on_leaving_within_days: Option<i64>,
    }
}

words! {
    /// What a clause asks for a group.
    pub enum MonitoringAsked {
        /// Sample for the first time where the agent is expected.
        SampleFirst = "sample_first",
        /// Sample again after some months, while the group stands so.
        SampleAgain = "sample_again",
        /// Sampling may stop, and the standing falls, after so many results in a row below the level.
        MayStop = "may_stop",
        /// Sample after a change that may raise exposure, and after a release.
        SampleAfterChange = "sample_after_change",
        /// Tell the workers their results.
        TellResults = "tell_results",
        /// Write a plan while the group stands above the limit.
        WritePlan = "write_plan",
    }
}

words! {
    /// Where a group stands by the authority's own levels.
    pub enum StandsAt {
        /// Below the action level, or without one at or below the limit.
        Below = "below",
        /// At or above the action level and not above the limit.
        AtOrAboveActionLevel = "at_or_above_action_level",
        /// Above the limit.
        AboveLimit = "above_limit",
    }
}

record! {
    /// What a clause asks for the monitoring of a group.
    pub struct MonitoringClause {
        /// What it asks for.
        asks: MonitoringAsked,
        /// `sample_again`: while the group stands so.
        stands: Option<StandsAt>,
        /// `sample_again`: after how many months.
        months: Option<i64>,
        /// `may_stop`: below which level.
        below: Option<LevelNamed>,
        /// `may_stop`: how many results in a row.
        results: Option<i64>,
        /// `may_stop`: how many days apart at the least.
        days_apart: Option<i64>,
        /// `sample_first`: within how many days of the agent being expected; `tell_results`: within how many working days
        /// of receipt.
        within_days: Option<i64>,
    }
}

record! {
    /// A clause of an authority other than the law that comes with the program. It asks for one thing: an examination of a
    /// worker, or something in the monitoring of a group; and it makes duties of that authority only.
    pub struct Clause {
        /// By which duties name it: one in the registry.
        code: Code,
        /// Whose it is; never the law that comes with the program.
        authority: Code,
        /// About which agent.
        agent_code: Code,
        /// The clause as it is cited.
        source: Line,
        /// Which edition of the source.
        edition: Option<Line>,
        /// How far it was checked against the source.
        verification: Option<Verification>,
        /// First day in force.
        from: Option<NaiveDate>,
        /// First day no longer in force.
        to: Option<NaiveDate>,
        /// What it asks for a worker.
        worker: Option<ExaminationAsked>,
        /// What it asks for a group.
        group: Option<MonitoringClause>,
    }
}

/// The longest window and interval that can be meant: forty years.
const MOST_MONTHS: i64 = 480;
/// The most days that a clause can ask for in its window, or give as a time.
const MOST_DAYS: i64 = 3660;

impl Clause {
    /// Whether it is in force on a date.
    pub fn holds(&self, on: NaiveDate) -> bool {
        self.from.is_none_or(|from| from <= on) && self.to.is_none_or(|to| on < to)
    }

    /// The level of the authority that it names, and where; of several that are named any will do.
    pub fn levels_named(&self) -> Option<(&'static str, Vec<LevelNamed>)> {
        use LevelNamed::{ActionLevel, Limit};
        let of_worker = self.worker.as_ref().and_then(|asked| Some(("/worker/level", vec![asked.level?])));
        let of_group = || {
            let asked = self.group.as_ref()?;
            match (asked.asks, asked.stands) {
                (MonitoringAsked::MayStop, _) => Some(("/group/below", vec![asked.below?])),
                (MonitoringAsked::WritePlan, _) => Some(("/group/asks", vec![Limit])),
                (_, Some(StandsAt::Below)) => Some(("/group/stands", vec![ActionLevel, Limit])),
                (_, Some(StandsAt::AtOrAboveActionLevel)) => Some(("/group/stands", vec![ActionLevel])),
                (_, Some(StandsAt::AboveLimit)) => Some(("/group/stands", vec![Limit])),
                (_, None) => None,
            }
        };
        of_worker.or_else(of_group)
    }

    /// Notes what no field can show alone.
    pub fn check(&self, at: &str, faults: &mut Faults) {
        if let (Some(from), Some(to)) = (self.from, self.to)
            && to <= from
        {
            faults.note(format!("{at}/to"), "must be after from");
        }
        match (&self.worker, &self.group) {
            (Some(worker), None) => worker.check(&format!("{at}/worker"), faults),
            (None, Some(group)) => group.check(&format!("{at}/group"), faults),
            (None, None) => faults.note(format!("{at}/worker"), "must be given, or group"),
            (Some(_), Some(_)) => faults.note(format!("{at}/group"), "must not stand beside worker"),
        }
    }
}

fn within(value: Option<i64>, least: i64, most: i64, at: String, faults: &mut Faults) {
    if value.is_some_and(|value| value < least || value > most) {
        faults.note(at, format!("must lie from {least} to {most}"));
    }
}

impl ExaminationAsked {
    /// Whether the days it counts are told by a level.
    fn takes_level(&self) -> bool {
        matches!(self.counts, ClauseCounts::EightHourAverage | ClauseCounts::ShortTermAverage)
    }

    fn check(&self, at: &str, faults: &mut Faults) {
        let given = usize::from(self.level.is_some()) + usize::from(self.value.is_some());
        match (self.takes_level(), given) {
            (true, 0) => faults.note(format!("{at}/level"), "must be given, or value"),
            (true, 2) => faults.note(format!("{at}/value"), "must not stand beside level"),
            (false, 1..) => faults.note(format!("{at}/level"), "has no meaning for such days"),
            _ => {}
        }
        if self.counts == ClauseCounts::ShortTermAverage && self.level.is_some() {
            faults.note(format!("{at}/level"), "is an 8-hour level: give the short-term level as value");
        }
        if self.above.is_some() && !self.takes_level() {
            faults.note(format!("{at}/above"), "has no meaning without a level");
        }
        if let Some(value) = &self.value
            && (!value.measured.is_value() || value.measured.lower() <= 0.0)
        {
            faults.note(format!("{at}/value"), "must be a number above zero");
        }
        if self.counts == ClauseCounts::Release && (self.days.is_some() || self.window_months.is_some()) {
            faults.note(format!("{at}/days"), "has no meaning for a release");
        }
        within(self.days, 1, MOST_DAYS, format!("{at}/days"), faults);
        within(self.window_months, 1, MOST_MONTHS, format!("{at}/window_months"), faults);
        within(self.repeat_months, 1, MOST_MONTHS, format!("{at}/repeat_months"), faults);
        within(self.on_leaving_within_days, 0, MOST_DAYS, format!("{at}/on_leaving_within_days"), faults);
        if let Some(time) = &self.first_within {
            within(Some(time.amount), 0, MOST_DAYS, format!("{at}/first_within/amount"), faults);
            if self.counts == ClauseCounts::Release && time.from.is_some() {
                faults.note(format!("{at}/first_within/from"), "has no meaning for a release");
            }
        }
    }
}

impl MonitoringClause {
    fn check(&self, at: &str, faults: &mut Faults) {
        use MonitoringAsked as A;
        let needs: &[&str] = match self.asks {
            A::SampleAgain => &["stands", "months"],
            A::MayStop => &["below", "results", "days_apart"],
            A::TellResults => &["within_days"],
            A::SampleFirst | A::SampleAfterChange | A::WritePlan => &[],
        };
        let may: &[&str] = if self.asks == A::SampleFirst { &["within_days"] } else { needs };
        let given = [
            ("stands", self.stands.is_some()),
            ("months", self.months.is_some()),
            ("below", self.below.is_some()),
            ("results", self.results.is_some()),
            ("days_apart", self.days_apart.is_some()),
            ("within_days", self.within_days.is_some()),
        ];
        for (field, given) in given {
            if !given && needs.contains(&field) {
                faults.note(format!("{at}/{field}"), format!("is required by {}", self.asks));
            }
            if given && !may.contains(&field) {
                faults.note(format!("{at}/{field}"), format!("has no meaning for {}", self.asks));
            }
        }
        within(self.months, 1, MOST_MONTHS, format!("{at}/months"), faults);
        within(self.results, 2, 100, format!("{at}/results"), faults);
        within(self.days_apart, 0, MOST_DAYS, format!("{at}/days_apart"), faults);
        within(self.within_days, 0, MOST_DAYS, format!("{at}/within_days"), faults);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::shape::Shape;
    use serde_json::{Value, json};

    fn faults(change: &Value) -> Vec<String> {
        let mut sent = json!({
            "code": "W-1", "authority": "Works", "agent_code": "lead", "source": "Works standard 12, section 3",
            "worker": {"counts": "eight_hour_average", "level": "action_level", "days": 10},
        });
        for (name, value) in change.as_object().unwrap() {
            sent[name] = value.clone();
        }
        let mut faults = Faults::default();
        Clause::parse(&sent).unwrap().check("", &mut faults);
        faults.iter().map(|fault| fault.pointer.clone()).collect()
    }

    // This registry's own rules of entry.
    #[test]
    fn a_clause_asks_for_one_thing_and_says_all_of_it() {
        assert_eq!(faults(&json!({})), Vec::<String>::new());
        assert_eq!(faults(&json!({"from": "2026-02-01", "to": "2026-02-01"})), ["/to"]);
        let plan = json!({"asks": "write_plan"});
        assert_eq!(faults(&json!({"group": plan})), ["/group"]);
        let release = json!({"counts": "release", "level": "limit", "days": 3});
        assert_eq!(faults(&json!({"worker": release})), ["/worker/level", "/worker/days"]);
        let bare = json!({"counts": "short_term_average", "days": 0});
        assert_eq!(faults(&json!({"worker": bare})), ["/worker/level", "/worker/days"]);
        let both =
            json!({"counts": "short_term_average", "level": "limit", "value": {"value": 1, "unit": "ug/m3"}});
        assert_eq!(faults(&json!({"worker": both})), ["/worker/value", "/worker/level"]);
    }

    #[test]
    fn what_is_asked_of_a_group_has_its_own_fields() {
        let group = |asked: Value| {
            let mut sent = json!({
                "code": "W-2", "authority": "Works", "agent_code": "lead", "source": "Works standard 12, section 4",
            });
            sent["group"] = asked;
            let mut faults = Faults::default();
            Clause::parse(&sent).unwrap().check("", &mut faults);
            faults.iter().map(|fault| fault.pointer.clone()).collect::<Vec<_>>()
        };
        assert!(group(json!({"asks": "sample_again", "stands": "above_limit", "months": 3})).is_empty());
        assert_eq!(group(json!({"asks": "sample_again", "months": 0})), ["/group/stands", "/group/months"]);
        assert_eq!(
            group(json!({"asks": "may_stop", "results": 1, "months": 3})),
            ["/group/months", "/group/below", "/group/days_apart", "/group/results"]
        );
        assert!(group(json!({"asks": "sample_first", "within_days": 30})).is_empty());
        assert!(group(json!({"asks": "sample_first"})).is_empty());
    }
}
