//! What became of one clause for one worker, whatever kind of thing it looks at.

use crate::model::facts::agent::Verification;
use crate::record;
use crate::surveillance::case::{Behind, Case};
use crate::surveillance::clause::{TimeToAct, days_needed, window_months};
use crate::surveillance::day_count::{Count, Dates, FirstMet, Window};
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::editions::in_words;
use crate::surveillance::pack::of_authority::UnreadClause;
use crate::surveillance::pack::surveillance_detail::DetailKind;
use crate::surveillance::pack::surveillance_rule::{SurveillanceRule, TriggerType};
use crate::surveillance::triggers::ClauseOutcome;
use chrono::NaiveDate;

/// Said with every clause that is met.
pub const APPEARS: &str = "appears to trigger surveillance";
/// Said with every clause that is not.
pub const DOES_NOT_APPEAR: &str = "does not appear to trigger surveillance";
/// Said where the text covers everybody at the level unless fewer days are shown.
pub const UNLESS_SHOWN: &str = "covered unless shown otherwise";
/// Of a clause that rests on what a physician entered, wherever that is not looked at: to say "no" would say something.
const GROUNDS_NOT_TOLD: &str = "rests on what a physician entered, which is not told here";
/// Said where a clause cannot be read.
pub const CANNOT_TELL: &str = "cannot be told";
/// Said with all of them.
pub const WHO_DECIDES: &str = "the law in force and a licensed professional decide";

/// What a clause amounts to for a worker, and who decides.
pub(super) fn verdict(met: bool, by_default: bool) -> String {
    let verdict = match (met, by_default) {
        (true, _) => APPEARS,
        (false, true) => UNLESS_SHOWN,
        (false, false) => DOES_NOT_APPEAR,
    };
    format!("{verdict}; {WHO_DECIDES}")
}

/// An event that meets a clause by itself: a release, or a physician's ground.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// What tells it from the others: part of the occasion of what it asks for.
    pub key: String,
    /// When.
    pub on: NaiveDate,
    /// From when it no longer counts.
    pub ended: Option<NaiveDate>,
    /// Whether it is a physician's ground.
    pub medical: bool,
    /// The fact.
    pub behind: Behind,
}

/// Dates of one kind that a clause counts.
#[derive(Debug, Clone, PartialEq)]
pub struct LimbDates {
    /// In words: what is counted.
    pub limb: &'static str,
    /// The dates.
    pub dates: Dates,
}

/// When a worker counts as covered by a clause.
#[derive(Debug, Clone, PartialEq)]
pub enum Coverage {
    /// While a window with enough of these dates holds.
    Days {
        /// The dates.
        dates: Dates,
        /// Months of the window.
        months: u32,
        /// How many it takes.
        needed: usize,
    },
    /// While any of its events holds.
    Events,
    /// From a day on, whatever follows.
    Since(NaiveDate),
    /// Not at all.
    Nobody,
}

/// What became of one clause.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding<'p> {
    /// The clause.
    pub rule: &'p SurveillanceRule,
    /// Whether the facts meet it.
    pub met: bool,
    /// Whether it covers the worker because nothing shows that it does not.
    pub by_default: bool,
    /// Every date that counts, whatever the limb.
    pub counted: Dates,
    /// The worst window.
    pub worst: Option<Count>,
    /// The first window with enough days, or for a clause that covers by default the first day of it.
    pub first: Option<FirstMet>,
    /// The dates of each limb.
    pub limbs: Vec<LimbDates>,
    /// Events that meet it, by date.
    pub events: Vec<Event>,
    /// For how long.
    pub coverage: Coverage,
    /// Conditions and earlier exposures it rests on.
    pub behind: Vec<Behind>,
    /// What must be known beside it.
    pub note: Vec<String>,
}

record! {
    /// The days of one limb.
    pub struct LimbCount {
        /// What is counted.
        limb: String,
        /// How many days in the worst window.
        days: i64,
    }
}

record! {
    /// The days of one calendar year.
    pub struct YearCount {
        /// The year.
        year: i64,
        /// How many days.
        days: i64,
    }
}

record! {
    /// What became of one clause, as it is kept and shown.
    pub struct FindingView {
        /// Row of the pack.
        trigger_id: String,
        /// The clause as it is cited.
        clause: String,
        /// Which edition of the text was read.
        edition: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Whether it is met.
        met: bool,
        /// Whether it covers unless shown otherwise, and nothing shows otherwise.
        covered_by_default: Option<bool>,
        /// Days counted in the worst window.
        days_counted: i64,
        /// The worst window.
        window: Option<Window>,
        /// The same days by the limbs of the clause.
        limbs: Vec<LimbCount>,
        /// Days of each calendar year.
        calendar_years: Vec<YearCount>,
        /// When it was first met.
        first_met_on: Option<NaiveDate>,
        /// When the first examination is due.
        due_on: Option<NaiveDate>,
        /// What must be known beside it.
        note: Option<String>,
        /// What it amounts to, and who decides.
        words: String,
    }
}

fn number(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

impl FindingView {
    /// Of a clause that cannot be read: nothing is counted by it.
    pub fn unread(unread: &UnreadClause) -> Self {
        let UnreadClause { clause, why } = unread;
        Self {
            trigger_id: clause.code.to_string(),
            clause: clause.source.to_string(),
            edition: clause.edition.as_ref().map(|edition| in_words(edition.as_str())),
            verification: clause.verification.unwrap_or(Verification::Memory),
            met: false,
            covered_by_default: None,
            days_counted: 0,
            window: None,
            limbs: Vec::new(),
            calendar_years: Vec::new(),
            first_met_on: None,
            due_on: None,
            note: Some(why.in_words().to_owned()),
            words: format!("{CANNOT_TELL}; {WHO_DECIDES}"),
        }
    }
}

impl Finding<'_> {
    /// Counts dates against the days of the clause.
    pub(super) fn count(&mut self, dates: Dates) {
        let (months, needed) = (window_months(self.rule), days_needed(self.rule));
        self.worst = dates.worst(months);
        self.first = dates.first_met(months, needed);
        self.met = self.first.is_some();
        self.counted = dates.clone();
        if self.met {
            self.coverage = Coverage::Days { dates, months, needed };
        }
    }

    /// Whether it covers the worker on a day; `looking_back`: by the twelve months before that day only.
    pub fn covers(&self, on: NaiveDate, looking_back: bool) -> bool {
        match &self.coverage {
            Coverage::Days { dates, months, needed } if looking_back => {
                let from = on.checked_sub_months(chrono::Months::new(*months)).unwrap_or(NaiveDate::MIN);
                dates.within(from, on).len() >= *needed
            }
            Coverage::Days { dates, months, needed } => dates.covers(on, *months, *needed),
            Coverage::Events => {
                self.events.iter().any(|event| event.on <= on && event.ended.is_none_or(|ended| on < ended))
            }
            Coverage::Since(since) => *since <= on,
            Coverage::Nobody => false,
        }
    }

    /// Whether it covered the worker on any day from one to another, both among them.
    pub fn covered_within(&self, first: NaiveDate, last: NaiveDate) -> bool {
        match &self.coverage {
            Coverage::Days { dates, months, needed } => {
                let to = last.succ_opt().unwrap_or(last);
                let inside: Dates = dates.within(first, to).iter().copied().collect();
                inside.first_met(*months, *needed).is_some()
            }
            Coverage::Events => self.events.iter().any(|event| first <= event.on && event.on <= last),
            Coverage::Since(since) => *since <= last,
            Coverage::Nobody => false,
        }
    }

    /// Whether it asks for anything.
    pub fn covers_somebody(&self) -> bool {
        self.met || self.by_default
    }

    /// Notes that the pack has for the clause, and how far it was read.
    pub(super) fn say(&mut self, pack: &Pack) {
        if self.limbs.len() > 1 {
            let counts: Vec<String> =
                self.limbs.iter().map(|limb| format!("{} on {} days", limb.limb, limb.dates.len())).collect();
            let apart = self.rule.trigger_type == TriggerType::ExposureOrTaskRebuttable;
            let how = if apart { "each counted for itself" } else { "dates are pooled, each once" };
            self.note.insert(0, format!("{}; {how}", counts.join(", ")));
        }
        let notes = pack.details_of(&self.rule.trigger_id).filter(|detail| detail.kind == DetailKind::Note);
        self.note.extend(notes.filter_map(|detail| detail.text.clone()));
        if self.rule.verification == Verification::Memory {
            self.note.push("the paragraph was not read: confirm the text".into());
        }
    }

    /// The same in the words of the calculation.
    pub fn outcome(&self, pack: &Pack, case: &Case<'_>) -> ClauseOutcome {
        let time = TimeToAct::of(pack, &self.rule.trigger_id);
        let first = self.first.as_ref().filter(|_| self.covers_somebody());
        ClauseOutcome {
            trigger_id: self.rule.trigger_id.clone(),
            clause: self.rule.clause(),
            edition: self.rule.edition.as_deref().map(in_words),
            verification: self.rule.verification,
            days_counted: self.worst.as_ref().map_or(0, |worst| number(worst.count)),
            window: self.worst.as_ref().map(|worst| worst.window.clone()),
            first_met_on: first.map(|first| first.first_met_on),
            due_on: first
                .map(|first| time.due_on(first, case.question.learned_on, case.question.working_days)),
            met: self.met,
            note: (!self.note.is_empty()).then(|| self.note.join("; ")),
            words: if !self.met && self.rule.trigger_type.looks_at_grounds() && case.grounds.is_empty() {
                format!("{GROUNDS_NOT_TOLD}; {WHO_DECIDES}")
            } else {
                verdict(self.met, self.by_default)
            },
        }
    }

    /// As it is kept and shown.
    pub fn view(&self, pack: &Pack, case: &Case<'_>) -> FindingView {
        let outcome = self.outcome(pack, case);
        let inside = |dates: &Dates| match &self.worst {
            Some(worst) => dates.within(worst.window.from, worst.window.to).len(),
            None => 0,
        };
        FindingView {
            trigger_id: outcome.trigger_id,
            clause: outcome.clause,
            edition: outcome.edition,
            verification: outcome.verification,
            met: self.met,
            covered_by_default: self.by_default.then_some(true),
            days_counted: outcome.days_counted,
            window: outcome.window,
            limbs: self
                .limbs
                .iter()
                .map(|limb| LimbCount { limb: limb.limb.into(), days: number(inside(&limb.dates)) })
                .collect(),
            calendar_years: self
                .counted
                .calendar_years()
                .into_iter()
                .map(|(year, days)| YearCount { year: year.into(), days: number(days) })
                .collect(),
            first_met_on: outcome.first_met_on,
            due_on: outcome.due_on,
            note: outcome.note,
            words: outcome.words,
        }
    }
}
