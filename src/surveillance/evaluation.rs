//! Evaluates every clause, by the kind of thing that it looks at.

use crate::model::facts::group::ConditionKind;
use crate::model::facts::worker::MedicalGroundKind;
use crate::surveillance::calendar::add_months;
use crate::surveillance::case::{Behind, Case, ConditionDates, Presence};
use crate::surveillance::clause::{Limb, air_limbs, compare, days_needed, limbs, window_months};
use crate::surveillance::day_count::{Dates, FirstMet, GroupsStand, WINDOW_MONTHS, Window};
use crate::surveillance::finding::{Coverage, Event, Finding, LimbDates, UNLESS_SHOWN};
use crate::surveillance::history_clause::{HistoryRule, Needed, read_history};
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::surveillance_detail::DetailKind;
use crate::surveillance::pack::surveillance_rule::{Comparator, SurveillanceRule, TriggerType};
use crate::surveillance::triggers::Counted;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// How the occasion of an examination on a ground that meets a clause begins.
pub(super) const GROUND: &str = "ground-";

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
    let until_assessed = pack.detail(&rule.trigger_id, DetailKind::UntilAssessed).is_some();
    let known: BTreeSet<NaiveDate> = case
        .days
        .iter()
        .filter(|day| until_assessed && day.groups_stand == GroupsStand::All)
        .map(|day| day.date)
        .collect();
    let assessed = |date: NaiveDate| known.contains(&date);
    let mut dates: Vec<NaiveDate> =
        held.iter().flat_map(|condition| condition.dates.iter()).filter(|date| !assessed(*date)).collect();
    if kind == ConditionKind::RespiratorRequired {
        dates.extend(case.days.iter().filter(|day| day.respirator == Some(true)).map(|day| day.date));
    }
    let behind = held.iter().map(|condition| condition.behind).collect();
    (LimbDates { limb: condition_word(kind), dates: dates.into_iter().collect() }, behind)
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

/// The releases at which the worker was present.
pub(super) fn releases(case: &Case<'_>) -> Vec<Event> {
    let of = |release: &Presence| Event {
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
            key: format!("{GROUND}{}", ground.on),
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
            Some(Limb::Average { level, comparator, .. } | Limb::Apart { level, comparator, .. }) => {
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
