//! The dates of a worker that count towards surveillance, over all sites: what was measured, and where the groups stood.

use crate::conclusions::history::evidence::{GroupExposure, HistoryEvidence, OwnShift, PlacedMove};
use crate::conclusions::history::level_period::level_on;
use crate::conclusions::history::noise_day::noise_day;
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::conclusions::noise_criterion::criterion_met;
use crate::hygiene::shift::peak;
use crate::model::facts::agent::LimitKind;
use crate::model::identifiers::{AssignmentId, GroupId, SiteId};
use crate::model::measured::Measured;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::surveillance::calendar::add_months;
use crate::surveillance::day_count::{Dates, Day, DaysAtOrAbove, GroupsStand, Tier, Verdict, WINDOW_MONTHS};
use crate::surveillance::level::Level;
use crate::surveillance::work_days::{Absence, Dropped, Pattern, RecordedDay, WorkDay, work_days};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// One date of a worker, over all sites.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkerDay {
    /// What is known of it, in one unit.
    pub day: Day,
    /// The authority's action level of the date; the lowest where the groups' rule sets differ.
    pub action_level: Option<f64>,
    /// The sites worked at or measured at.
    pub sites: Vec<SiteId>,
    /// The groups worked in or measured in.
    pub groups: Vec<GroupId>,
    /// The groups worked in, by schedule or record, with the hours in each.
    pub worked: Vec<(GroupId, f64)>,
    /// Journal positions of the facts behind it.
    pub basis: Vec<i64>,
}

impl WorkerDay {
    /// How the date counts against the action level.
    pub fn verdict(&self) -> Verdict {
        let own = |twa: Measured, level: f64| twa.against(level);
        match self.action_level {
            Some(level) => Verdict::of_average(&self.day, Tier::ActionLevel, |twa| own(twa, level)),
            // Without a level there is nothing to be at or above.
            None => Verdict::default(),
        }
    }
}

/// The dates of a worker, and what the schedules could not place.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WorkerDays {
    /// By date, each once.
    pub days: Vec<WorkerDay>,
    /// Shifts that found no date in their week.
    pub dropped: Vec<Dropped>,
}

impl WorkerDays {
    /// The days as the clauses count them.
    pub fn plain(&self) -> Vec<Day> {
        self.days.iter().map(|day| day.day).collect()
    }

    /// The days at or above the action level in force on each, as three numbers.
    pub fn at_or_above(&self) -> DaysAtOrAbove {
        let those = |which: fn(&Verdict) -> bool| -> Dates {
            self.days.iter().filter(|day| which(&day.verdict())).map(|day| day.day.date).collect()
        };
        DaysAtOrAbove {
            measured: those(|verdict| verdict.measured),
            by_standing: those(|verdict| verdict.counts),
            undecided: those(|verdict| verdict.undecided),
        }
    }

    /// The days by their date.
    pub fn facts(&self) -> BTreeMap<NaiveDate, &WorkerDay> {
        self.days.iter().map(|day| (day.day.date, day)).collect()
    }

    /// Journal positions behind the dates of a window, in order, each once.
    pub fn basis(&self, from: NaiveDate, to: NaiveDate) -> Vec<i64> {
        let inside = self.days.iter().filter(|day| from <= day.day.date && day.day.date < to);
        inside.flat_map(|day| day.basis.iter().copied()).collect::<BTreeSet<_>>().into_iter().collect()
    }
}

/// The first day no longer looked at when asked on a date: open assignments run to twelve months after it.
pub fn counting_horizon(today: NaiveDate) -> NaiveDate {
    add_months(today, WINDOW_MONTHS)
}

/// The dates of a worker before `horizon`: those worked (recorded, else by schedule) and those with an own measurement.
pub fn worker_days(evidence: &HistoryEvidence<'_>, unit: Unit, horizon: NaiveDate) -> WorkerDays {
    days_by(STATUTORY_AUTHORITY, evidence, unit, horizon)
}

/// The same as another authority reads them: by where the groups stand by its levels, and noise by the criterion that its
/// levels are met by.
pub fn worker_days_by(
    authority: &Code,
    evidence: &HistoryEvidence<'_>,
    unit: Unit,
    horizon: NaiveDate,
) -> WorkerDays {
    let groups: Vec<GroupExposure> = evidence.groups.iter().map(|group| group.by(authority)).collect();
    days_by(authority.as_str(), &HistoryEvidence { groups: &groups, ..*evidence }, unit, horizon)
}

fn days_by(authority: &str, evidence: &HistoryEvidence<'_>, unit: Unit, horizon: NaiveDate) -> WorkerDays {
    let placed = placed_days(evidence, horizon);
    let mut dates: BTreeMap<NaiveDate, Found<'_>> = BTreeMap::new();
    for work in &placed.days {
        dates.entry(work.date).or_default().worked.push(work);
    }
    for own in evidence.own.iter().filter(|own| own.own_record && own.date < horizon) {
        dates.entry(own.date).or_default().own.push(own);
    }
    let facts = Positions::of(evidence);
    let days =
        dates.into_iter().map(|(date, found)| found.day(date, authority, evidence, &facts, unit)).collect();
    WorkerDays { days, dropped: placed.dropped }
}

/// Where the shifts fall.
fn placed_days(
    evidence: &HistoryEvidence<'_>,
    horizon: NaiveDate,
) -> crate::surveillance::work_days::WorkDays {
    let patterns: Vec<Pattern> = evidence
        .assignments
        .iter()
        .filter(|assignment| assignment.stands())
        .filter_map(|assignment| {
            let fact = &assignment.fact;
            Some(Pattern {
                assignment: AssignmentId(assignment.id),
                group: fact.group_id,
                site: evidence.site_of(assignment.site, fact.group_id)?,
                from: fact.from,
                to: fact.to,
                shifts_per_week: fact.shifts_per_week,
                hours_per_shift: fact.hours_per_shift,
            })
        })
        .collect();
    let recorded: Vec<RecordedDay> = evidence
        .recorded
        .iter()
        .filter(|day| day.stands())
        .filter_map(|day| {
            Some(RecordedDay {
                date: day.fact.date,
                group: day.fact.group_id,
                site: evidence.site_of(day.site, day.fact.group_id)?,
                hours: day.fact.hours,
            })
        })
        .collect();
    let absences: Vec<Absence> = evidence
        .absences
        .iter()
        .filter(|absence| absence.stands())
        .map(|absence| Absence { from: absence.fact.from, to: absence.fact.to })
        .collect();
    work_days(&patterns, &recorded, &absences, horizon)
}

/// Journal positions of assignments and recorded days.
struct Positions {
    assignments: BTreeMap<AssignmentId, i64>,
    recorded: BTreeMap<(NaiveDate, GroupId), i64>,
}

impl Positions {
    fn of(evidence: &HistoryEvidence<'_>) -> Self {
        let assignments =
            evidence.assignments.iter().map(|one| (AssignmentId(one.id), one.position)).collect();
        let standing = evidence.recorded.iter().filter(|day| day.stands());
        let recorded = standing.map(|day| ((day.fact.date, day.fact.group_id), day.position)).collect();
        Self { assignments, recorded }
    }
}

/// What was found of one date.
#[derive(Default)]
struct Found<'f> {
    worked: Vec<&'f WorkDay>,
    own: Vec<&'f OwnShift>,
}

impl Found<'_> {
    fn day(
        &self,
        date: NaiveDate,
        authority: &str,
        evidence: &HistoryEvidence<'_>,
        facts: &Positions,
        unit: Unit,
    ) -> WorkerDay {
        let mut basis = BTreeSet::new();
        let mut standing: Option<Level> = None;
        let mut at_limit: Option<Level> = None;
        let mut respirator = None;
        let (mut unknown_with_agent, mut all_stand) = (false, !self.worked.is_empty());
        // Where clauses ask for any exposure ("is or may be exposed") an expected agent does not wait for a round.
        let mut agent_there = false;
        for work in &self.worked {
            if work.recorded {
                basis.extend(facts.recorded.get(&(date, work.group)));
            } else {
                basis.extend(work.assignment.and_then(|id| facts.assignments.get(&id)));
            }
            let group = evidence.group(work.group);
            let (level, behind) = group.map_or((Level::Unknown, &[][..]), |group| standing_of(group, date));
            basis.extend(behind);
            standing = standing.max(Some(level));
            all_stand &= level.is_known();
            let there = group.is_some_and(|group| group.has_agent(date));
            agent_there |= there;
            unknown_with_agent |= there && !level.is_known();
            at_limit = at_limit.max(Some(group.map_or(level, |group| at_limit_of(group, date))));
            if group.is_some_and(|group| respirator_required(group, date)) {
                respirator = Some(true);
            }
        }
        let own: Vec<(&OwnShift, Measured)> = self
            .own
            .iter()
            .filter_map(|own| Some((*own, evidence.agent.convert(own.twa?, own.unit, unit)?)))
            .collect();
        for own in &self.own {
            basis.extend(&own.basis);
        }
        let short_term: Vec<Measured> = self
            .own
            .iter()
            .filter_map(|own| evidence.agent.convert(own.short_term?, own.unit, unit))
            .collect();
        let longer: Vec<Measured> = self
            .own
            .iter()
            .filter(|_| !evidence.agent.is_noise())
            .filter_map(|own| evidence.agent.convert(own.longer_mean?, own.unit, unit))
            .collect();
        // What a flag or a missing acceptance stands on takes no day away.
        let may_lower = own.iter().all(|(own, _)| own.may_lower);
        let groups: BTreeSet<GroupId> =
            self.worked.iter().map(|work| work.group).chain(self.own.iter().map(|own| own.group)).collect();
        let sites: BTreeSet<SiteId> =
            self.worked.iter().map(|work| work.site).chain(self.own.iter().map(|own| own.site)).collect();
        let level = groups
            .iter()
            .filter_map(|group| level_on(&evidence.group(*group)?.action_level, date))
            .reduce(f64::min);
        let twa = if evidence.agent.is_noise() {
            // Without an action level (construction) the limit is what a day can reach.
            let kind = if level.is_some() { LimitKind::ActionLevel } else { LimitKind::Twa };
            let wanted = criterion_met(authority, kind);
            noise_day(&self.own, wanted, self.works_unmeasured(&own))
        } else {
            self.whole_day(&own)
        };
        WorkerDay {
            day: Day {
                date,
                twa,
                may_lower,
                standing,
                standing_at_limit: at_limit.filter(|level| Some(*level) != standing),
                groups_stand: match (unknown_with_agent, standing.is_some_and(Level::is_known)) {
                    (true, true) => GroupsStand::OpenBeside,
                    (false, true) if all_stand => GroupsStand::All,
                    _ => GroupsStand::NotAll,
                },
                agent_there,
                short_term: peak(&short_term),
                longer_mean: peak(&longer),
                respirator,
            },
            action_level: level,
            sites: sites.into_iter().collect(),
            groups: groups.into_iter().collect(),
            worked: self.worked.iter().map(|work| (work.group, work.hours)).collect(),
            basis: basis.into_iter().collect(),
        }
    }

    /// Whether a day is recorded in a group that nobody measured.
    fn works_unmeasured(&self, own: &[(&OwnShift, Measured)]) -> bool {
        self.worked.iter().any(|work| work.recorded && !own.iter().any(|(own, _)| own.group == work.group))
    }

    /// The worker's averages of the date added up over groups and sites.
    ///
    /// Where days were recorded in a further group that nobody measured, the sum is only the least it can be.
    fn whole_day(&self, own: &[(&OwnShift, Measured)]) -> Option<Measured> {
        let (_, first) = own.first()?;
        let (lower, upper) = own.iter().fold((0.0, Some(0.0)), |(lower, upper), (_, twa)| {
            (lower + twa.lower(), upper.zip(twa.upper()).map(|(sum, most)| sum + most))
        });
        if self.works_unmeasured(own) {
            return Some(Measured::Above(lower).rounded());
        }
        Some(if own.len() == 1 { *first } else { Measured::from_bounds(lower, upper).rounded() })
    }
}

/// Where a group stood on a date, and on which facts that rests.
fn standing_of(group: &GroupExposure, date: NaiveDate) -> (Level, &[i64]) {
    last_move(&group.standing, date)
        .map_or((Level::Unknown, &[]), |placed| (placed.change.level, &placed.basis))
}

/// The same where lying exactly at the limit counts as above it.
fn at_limit_of(group: &GroupExposure, date: NaiveDate) -> Level {
    let moves = group.at_limit.as_ref().unwrap_or(&group.standing);
    last_move(moves, date).map_or(Level::Unknown, |placed| placed.change.level)
}

fn last_move(moves: &[PlacedMove], date: NaiveDate) -> Option<&PlacedMove> {
    moves.iter().rev().find(|placed| placed.change.since.is_none_or(|since| since <= date))
}

fn respirator_required(group: &GroupExposure, date: NaiveDate) -> bool {
    group.respirator.iter().any(|(from, to)| *from <= date && to.is_none_or(|to| date < to))
}
