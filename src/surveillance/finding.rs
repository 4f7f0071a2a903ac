//! What became of one clause for one worker, whatever kind of thing it looks at.

use crate::model::facts::agent::Verification;
use crate::model::facts::group::ConditionKind;
use crate::model::facts::worker::MedicalGroundKind;
use crate::record;
use crate::surveillance::calendar::add_months;
use crate::surveillance::case::{Behind, Case, ConditionDates};
use crate::surveillance::clause::Limb;
use crate::surveillance::clause::{TimeToAct, air_limbs, compare, days_needed, limbs, window_months};
use crate::surveillance::day_count::{Count, Dates, FirstMet, WINDOW_MONTHS, Window};
use crate::surveillance::history_clause::{HistoryRule, Needed, read_history};
use crate::surveillance::level::Level;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::surveillance_detail::DetailKind;
use crate::surveillance::pack::surveillance_rule::{Comparator, SurveillanceRule, TriggerType};
use crate::surveillance::triggers::{ClauseOutcome, Counted};
use chrono::NaiveDate;

/// Said with every clause that is met.
pub const APPEARS: &str = "appears to trigger surveillance";
/// Said with every clause that is not.
pub const DOES_NOT_APPEAR: &str = "does not appear to trigger surveillance";
/// Said where the text covers everybody at the level unless fewer days are shown.
pub const UNLESS_SHOWN: &str = "covered unless shown otherwise";
/// Said with all of them.
pub const WHO_DECIDES: &str = "the law in force and a licensed professional decide";

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

/// Every clause of an agent under a body of law, met or not, in the order of the pack; a clause that is not evaluated
/// ([`not_evaluated`](crate::surveillance::not_evaluated::not_evaluated)) is left out.
pub fn findings<'p>(pack: &'p Pack, case: &Case<'p>) -> Vec<Finding<'p>> {
    pack.surveillance_of(case.question.agent_code, case.question.rule_set)
        .filter_map(|rule| finding(pack, rule, case))
        .collect()
}

/// What becomes of one clause; `None` where its level cannot be had in the unit of the days.
pub fn finding<'p>(pack: &'p Pack, rule: &'p SurveillanceRule, case: &Case<'_>) -> Option<Finding<'p>> {
    use MedicalGroundKind::{BloodLead, OtherBiological, Recommendation, Removal, SignsOrSymptoms};
    let mut found = match rule.trigger_type {
        TriggerType::ExposureDays
        | TriggerType::ExposureAny
        | TriggerType::ExposureAnyDay
        | TriggerType::ExposureDaysRebuttable
        | TriggerType::ExposureOrTaskDays
        | TriggerType::ExposureOrTaskRebuttable => of_air(pack, rule, case)?,
        TriggerType::RespiratorDays | TriggerType::RespiratorAny => {
            of_condition(pack, rule, case, ConditionKind::RespiratorRequired)
        }
        TriggerType::Task => of_condition(pack, rule, case, ConditionKind::ListedTask),
        TriggerType::DermalDays => of_condition(pack, rule, case, ConditionKind::SkinContact),
        TriggerType::Area | TriggerType::AreaDays => {
            of_condition(pack, rule, case, ConditionKind::RegulatedArea)
        }
        TriggerType::History => of_history(pack, rule, case)?,
        TriggerType::Emergency => of_events(rule, releases(case)),
        TriggerType::Symptoms => of_events(rule, grounds(rule, case, &[SignsOrSymptoms])),
        TriggerType::EmergencyOrSymptoms => {
            let mut events = releases(case);
            events.extend(grounds(rule, case, &[SignsOrSymptoms]));
            of_events(rule, events)
        }
        TriggerType::Biological => of_events(rule, grounds(rule, case, &[BloodLead, OtherBiological])),
        TriggerType::BiologicalRemoval => of_events(rule, grounds(rule, case, &[Removal])),
        TriggerType::MedicalRecommendation => of_events(rule, grounds(rule, case, &[Recommendation])),
        TriggerType::ExposureAnyPlusMedical => of_air_and_ground(rule, case)?,
    };
    found.say(pack);
    Some(found)
}

fn blank(rule: &SurveillanceRule) -> Finding<'_> {
    Finding {
        rule,
        met: false,
        by_default: false,
        counted: Dates::default(),
        worst: None,
        first: None,
        limbs: Vec::new(),
        events: Vec::new(),
        coverage: Coverage::Nobody,
        behind: Vec::new(),
        note: Vec::new(),
    }
}

/// The word of a limb of air.
fn word(limb: &Limb) -> &'static str {
    match limb {
        Limb::Average { .. } | Limb::Apart { .. } => "8-hour average",
        Limb::ShortTerm { .. } => "short-term average",
        Limb::AnyExposure => "any exposure",
        Limb::Respirator => condition_word(ConditionKind::RespiratorRequired),
    }
}

fn condition_word(kind: ConditionKind) -> &'static str {
    match kind {
        ConditionKind::RespiratorRequired => "respirator required",
        ConditionKind::RegulatedArea => "regulated area",
        ConditionKind::SkinContact => "skin contact",
        ConditionKind::ListedTask => "listed task",
    }
}

/// The conditions that a clause counts.
fn conditions<'c>(
    rule: &SurveillanceRule,
    case: &Case<'c>,
    kind: ConditionKind,
) -> impl Iterator<Item = &'c ConditionDates> {
    let id = rule.trigger_id.clone();
    case.conditions.iter().filter(move |condition| {
        condition.kind == kind && condition.trigger_id.as_ref().is_none_or(|named| *named == id)
    })
}

/// The dates of those conditions, and the facts.
fn condition_dates(
    pack: &Pack,
    rule: &SurveillanceRule,
    case: &Case<'_>,
    kind: ConditionKind,
) -> (LimbDates, Vec<Behind>) {
    let held: Vec<_> = conditions(rule, case, kind).filter(|condition| !condition.dates.is_empty()).collect();
    let assessed = |date: NaiveDate| {
        let until_assessed = pack.detail(&rule.trigger_id, DetailKind::UntilAssessed).is_some();
        until_assessed
            && case.days.iter().any(|day| day.date == date && day.standing.is_some_and(Level::is_known))
    };
    let mut dates: Vec<NaiveDate> =
        held.iter().flat_map(|condition| condition.dates.iter()).filter(|date| !assessed(*date)).collect();
    if kind == ConditionKind::RespiratorRequired {
        dates.extend(case.days.iter().filter(|day| day.respirator == Some(true)).map(|day| day.date));
    }
    let behind = held.iter().map(|condition| condition.behind).collect();
    (LimbDates { limb: condition_word(kind), dates: dates.into_iter().collect() }, behind)
}

impl Finding<'_> {
    /// Counts dates against the days of the clause.
    fn count(&mut self, dates: Dates) {
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

    /// Whether it asks for anything.
    pub fn covers_somebody(&self) -> bool {
        self.met || self.by_default
    }

    /// Notes that the pack has for the clause, and how far it was read.
    fn say(&mut self, pack: &Pack) {
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
            days_counted: self.worst.as_ref().map_or(0, |worst| number(worst.count)),
            window: self.worst.as_ref().map(|worst| worst.window.clone()),
            first_met_on: first.map(|first| first.first_met_on),
            due_on: first
                .map(|first| time.due_on(first, case.question.learned_on, case.question.working_days)),
            met: self.met,
            note: (!self.note.is_empty()).then(|| self.note.join("; ")),
        }
    }

    /// As it is kept and shown.
    pub fn view(&self, pack: &Pack, case: &Case<'_>) -> FindingView {
        let outcome = self.outcome(pack, case);
        let inside = |dates: &Dates| match &self.worst {
            Some(worst) => dates.within(worst.window.from, worst.window.to).len(),
            None => 0,
        };
        let verdict = match (self.met, self.by_default) {
            (true, _) => APPEARS,
            (false, true) => UNLESS_SHOWN,
            (false, false) => DOES_NOT_APPEAR,
        };
        FindingView {
            trigger_id: outcome.trigger_id,
            clause: outcome.clause,
            edition: self.rule.edition.clone(),
            verification: self.rule.verification,
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
            words: format!("{verdict}; {WHO_DECIDES}"),
        }
    }
}

fn of_condition<'p>(
    pack: &Pack,
    rule: &'p SurveillanceRule,
    case: &Case<'_>,
    kind: ConditionKind,
) -> Finding<'p> {
    let (limb, behind) = condition_dates(pack, rule, case, kind);
    let mut found = Finding { behind, ..blank(rule) };
    found.count(limb.dates.clone());
    found.limbs.push(limb);
    if let Some(detail) = pack.detail(&rule.trigger_id, DetailKind::OutlivesExposure) {
        let years = found.counted.apart(WINDOW_MONTHS, 1);
        let enough = (detail.number() as usize).checked_sub(1).and_then(|last| years.get(last));
        if let Some(last) = enough.filter(|_| found.met) {
            found.coverage = Coverage::Since(last.first_met_on);
        }
    }
    found
}

fn of_air<'p>(pack: &Pack, rule: &'p SurveillanceRule, case: &Case<'_>) -> Option<Finding<'p>> {
    let limbs = limbs(rule, case.question.levels, case.question.unit)?;
    let air = Counted::of(&limbs, case.days);
    let mut found = blank(rule);
    found.limbs = air
        .of_limb
        .iter()
        .map(|(limb, dates)| LimbDates { limb: word(limb), dates: dates.clone() })
        .collect();
    let with_tasks =
        matches!(rule.trigger_type, TriggerType::ExposureOrTaskDays | TriggerType::ExposureOrTaskRebuttable);
    let mut tasks = Dates::default();
    if with_tasks {
        let (limb, behind) = condition_dates(pack, rule, case, ConditionKind::ListedTask);
        tasks = limb.dates.clone();
        found.limbs.push(limb);
        found.behind = behind;
    }
    let all: Dates = air.pooled.iter().chain(tasks.iter()).collect();
    if with_tasks && pack.detail(&rule.trigger_id, DetailKind::LimbsPooled).is_none() {
        // Each limb has the number of days to itself; the one that is met first, else the fuller one, speaks.
        let mut of_tasks = blank(rule);
        of_tasks.count(tasks.clone());
        found.count(air.pooled.clone());
        let key = |one: &Finding<'_>| {
            let met_on = one.first.as_ref().map_or(NaiveDate::MAX, |first| first.first_met_on);
            let count = one.worst.as_ref().map_or(0, |worst| worst.count);
            (met_on, usize::MAX - count)
        };
        if key(&of_tasks) < key(&found) {
            (found.met, found.worst, found.first) = (of_tasks.met, of_tasks.worst, of_tasks.first);
            found.coverage = of_tasks.coverage;
        }
        found.counted = all.clone();
    } else {
        found.count(all.clone());
    }
    let rebuttable = matches!(
        rule.trigger_type,
        TriggerType::ExposureDaysRebuttable | TriggerType::ExposureOrTaskRebuttable
    );
    if rebuttable && !found.met {
        found.note.push(UNLESS_SHOWN.into());
        found.presume(&all, &air.undecided);
    }
    found.note.extend(air.cannot_tell());
    found.note.extend(air.stricter_side());
    Some(found)
}

impl Finding<'_> {
    /// Where the text covers everybody at the level unless fewer days are shown: a day that cannot be told shows nothing,
    /// so such days and those that count are held together against the number.
    fn presume(&mut self, counted: &Dates, undecided: &Dates) {
        let (months, needed) = (window_months(self.rule), days_needed(self.rule));
        let possible: Dates = counted.iter().chain(undecided.iter()).collect();
        let not_shown = possible.worst(months).is_some_and(|worst| worst.count >= needed);
        let Some(first) = counted.iter().next() else { return };
        if !not_shown {
            self.note.push("the days on record show fewer".into());
            return;
        }
        self.by_default = true;
        let window = Window { from: first, to: add_months(first, months) };
        self.first = Some(FirstMet { window, first_met_on: first });
        self.coverage = Coverage::Days { dates: possible, months, needed };
    }
}

fn of_air_and_ground<'p>(rule: &'p SurveillanceRule, case: &Case<'_>) -> Option<Finding<'p>> {
    let limbs = air_limbs(rule, case.question.levels, case.question.unit)?;
    let air = Counted::of(&limbs, case.days);
    let mut found = blank(rule);
    found.limbs = air
        .of_limb
        .iter()
        .map(|(limb, dates)| LimbDates { limb: word(limb), dates: dates.clone() })
        .collect();
    found.count(air.pooled.clone());
    let exposed = found.met;
    (found.met, found.first, found.coverage) = (false, None, Coverage::Nobody);
    if exposed {
        found.events = grounds(rule, case, &[]);
        found.hold_events();
    }
    found.note.extend(air.cannot_tell());
    Some(found)
}

fn of_events(rule: &SurveillanceRule, events: Vec<Event>) -> Finding<'_> {
    let mut found = blank(rule);
    found.events = events;
    found.hold_events();
    found
}

impl Finding<'_> {
    fn hold_events(&mut self) {
        self.events.sort_by_key(|event| (event.on, event.key.clone()));
        let Some(first) = self.events.first() else { return };
        self.met = true;
        let window = Window { from: first.on, to: add_months(first.on, WINDOW_MONTHS) };
        self.first = Some(FirstMet { window, first_met_on: first.on });
        self.coverage = Coverage::Events;
    }
}

fn releases(case: &Case<'_>) -> Vec<Event> {
    let of = |release: &crate::surveillance::case::Presence| Event {
        key: format!("release-{}", release.key),
        on: release.on,
        ended: None,
        medical: false,
        behind: release.behind,
    };
    case.releases.iter().map(of).collect()
}

fn grounds(rule: &SurveillanceRule, case: &Case<'_>, kinds: &[MedicalGroundKind]) -> Vec<Event> {
    let found = case.grounds_for(&rule.trigger_id, kinds).into_iter();
    found
        .map(|ground| Event {
            key: format!("ground-{}", ground.on),
            on: ground.on,
            ended: case.ended_on(ground),
            medical: true,
            behind: ground.behind,
        })
        .collect()
}

fn of_history<'p>(pack: &Pack, rule: &'p SurveillanceRule, case: &Case<'_>) -> Option<Finding<'p>> {
    let limbs = air_limbs(rule, case.question.levels, case.question.unit)?;
    let past: Vec<_> = case.days.iter().filter(|day| day.date <= case.today).copied().collect();
    let air = Counted::of(&limbs, &past);
    let detail = pack.details_of(&rule.trigger_id).find_map(|detail| match detail.kind {
        DetailKind::HistoryYears => Some((Needed::Years(detail.number()), detail.before)),
        DetailKind::HistoryMonths => Some((Needed::MoreThanMonths(detail.number()), detail.before)),
        _ => None,
    });
    let (needed, before) = detail?;
    let history = HistoryRule {
        needed,
        days_a_year: days_needed(rule),
        before,
        unknown_height_counts: pack.detail(&rule.trigger_id, DetailKind::UnknownHeightCounts).is_some(),
    };
    let shown = read_history(history, &air.pooled, case.earlier, |mean| {
        // The mean of an earlier exposure was an 8-hour average: the first limb.
        match limbs.first() {
            Some(Limb::Average { level, comparator, .. } | Limb::Apart { level, comparator }) => {
                compare(mean, *level, *comparator)
            }
            _ => compare(mean, 0.0, Comparator::Above),
        }
    });
    let mut found = blank(rule);
    found.limbs = air
        .of_limb
        .iter()
        .map(|(limb, dates)| LimbDates { limb: word(limb), dates: dates.clone() })
        .collect();
    found.worst = air.pooled.worst(WINDOW_MONTHS);
    found.behind =
        shown.used.iter().filter_map(|place| case.earlier.get(*place)).map(|one| one.behind).collect();
    found.note.push(format!("{} months of enough exposure are on record", shown.months));
    if shown.cannot_tell > 0 {
        found.note.push(format!("{} earlier exposures cannot be told", shown.cannot_tell));
    }
    if let Some(met_on) = shown.met_on {
        found.met = true;
        let window = Window { from: met_on, to: add_months(met_on, WINDOW_MONTHS) };
        found.first = Some(FirstMet { window, first_met_on: met_on });
        found.coverage = Coverage::Since(met_on);
    }
    found.note.extend(air.cannot_tell());
    found.counted = air.pooled;
    Some(found)
}
