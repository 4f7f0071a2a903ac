//! What the engine reads in a rule about monitoring: this registry's own table beside the pack.
//!
//! The pack keeps the words of a rule. Where its meaning stands only in words ("below the limits but above the action
//! level", "within five working days of a change"), a row here says it in words that the engine knows, and where from.

use crate::model::facts::agent::Verification;
use crate::{record, words};

words! {
    /// What a rule asks for, as far as the engine reads it.
    pub enum Asks {
        /// Sample again within an interval.
        Repeat = "repeat",
        /// The same, for a result after the first one that lies below the action level.
        RepeatAgain = "repeat_again",
        /// Sampling may stop.
        Stop = "stop",
        /// Sampling may become rarer.
        Rarer = "rarer",
        /// Sampling may stop with the first result.
        StopInitial = "stop_initial",
        /// Sample for the first time.
        Initial = "initial",
        /// Sample after something happened.
        Additional = "additional",
        /// Check the ventilation.
        CheckVentilation = "check_ventilation",
        /// Write a plan.
        WritePlan = "write_plan",
        /// Take a level for granted until it is measured.
        Presume = "presume",
        /// Nothing that the engine can read; the reason stands beside it.
        Nothing = "nothing",
    }
}

words! {
    /// Which averages a rule looks at, or has sampled.
    pub enum Averages {
        /// The 8-hour average.
        EightHour = "eight_hour",
        /// The short-term average.
        ShortTerm = "short_term",
        /// Both.
        Both = "both",
    }
}

words! {
    /// Whether all conditions of a rule must hold, or one.
    pub enum Needs {
        /// All of them.
        All = "all",
        /// One of them.
        Any = "any",
    }
}

words! {
    /// From when an interval runs.
    pub enum RepeatAnchor {
        /// A schedule: a late sample does not move the next one.
        Schedule = "schedule",
        /// From the newest round: a late sample moves the next one.
        MostRecent = "most_recent",
        /// From the day on which the agent is expected in the group.
        Expected = "expected",
        /// No date in the text: from the day on which it was learned.
        Learned = "learned",
    }
}

words! {
    /// Which days a number of days means.
    pub enum DayKind {
        /// Days of the calendar.
        Calendar = "calendar",
        /// Working days of the site.
        Working = "working",
    }
}

words! {
    /// On what else a rule hangs.
    pub enum Occurrence {
        /// A change that may raise exposure, or a control that was taken away.
        Change = "change",
        /// Any change in production, process or control.
        AnyChange = "any_change",
        /// An uncontrolled release.
        Release = "release",
        /// The first round: it needs confirming too.
        FirstRound = "first_round",
        /// A task that the standard lists.
        ListedTask = "listed_task",
        /// Until there were two samples in every quarter of two years; then every six months.
        TwoAQuarterForTwoYears = "two_a_quarter_for_two_years",
    }
}

record! {
    /// One thing that the engine reads in a rule.
    pub struct MonitoringReading {
        /// Number of the row: MR….
        reading_id: String,
        /// The rule: MT… or CT….
        rule_id: String,
        /// What it asks for.
        asks: Asks,
        /// Of which averages.
        averages: Option<Averages>,
        /// Where the 8-hour average lies: bounds such as `>=2.5 <=5`, against numbers in the unit of the rule or the words
        /// `limit` and `action_level`; `any`: wherever it lies.
        eight_hour: Option<String>,
        /// Where the short-term average lies.
        short_term: Option<String>,
        /// Whether both must lie so.
        needs: Option<Needs>,
        /// Months until the next time.
        months: Option<i64>,
        /// From when they, or the days, run.
        anchor: Option<RepeatAnchor>,
        /// The rule that then says how often.
        leads_to: Option<String>,
        /// Only from sampling every so many months.
        from_months: Option<i64>,
        /// Days until it is due.
        days: Option<i64>,
        /// Which days.
        day_kind: Option<DayKind>,
        /// On what else it hangs, joined by `;`.
        on: Option<String>,
        /// Where this is read.
        source: String,
        /// How far it was checked against the text.
        verification: Verification,
        /// Why nothing is read.
        reason: Option<String>,
    }
}

impl MonitoringReading {
    /// Whether it hangs on this.
    pub fn hangs_on(&self, what: Occurrence) -> bool {
        self.on.as_deref().is_some_and(|on| on.split(';').any(|word| word == what.as_str()))
    }
}
