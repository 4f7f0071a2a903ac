//! A worker's days at a site by what is settled of them: the parts of every cell that the corporation reads.
//!
//! A day is settled by the worker's own average, else by where his groups stood. What is neither measured nor placed is
//! not assessed, and never looks like a good day.

use crate::conclusions::history::evidence::{EraMean, GroupExposure, HistoryEvidence, OwnShift};
use crate::conclusions::history::worker_days::{WorkerDay, worker_days};
use crate::model::facts::worker::{Assignment, WorkedDay};
use crate::model::identifiers::{GroupId, SiteId};
use crate::model::measured::Answer;
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::record;
use crate::surveillance::level::Level;
use chrono::{Months, NaiveDate};
use std::collections::BTreeSet;

/// Over how many months back from today days are assessed.
pub const ASSESSED_MONTHS: u32 = 12;

record! {
    /// Days of one worker at one site, each date once.
    pub struct AssessedDays {
        /// The site.
        site_id: SiteId,
        /// Below the action level (agents without one: at or below the limit).
        settled_below: i64,
        /// At or above it (above the limit).
        settled_at_or_above: i64,
        /// Measured, and the results do not tell.
        cannot_tell: i64,
        /// Neither the worker nor the group was measured.
        not_assessed: i64,
    }
}

/// What is settled of one day, from the best to what weighs most.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Settled {
    Below,
    NotAssessed,
    CannotTell,
    AtOrAbove,
}

impl AssessedDays {
    fn none(site: SiteId) -> Self {
        Self { site_id: site, settled_below: 0, settled_at_or_above: 0, cannot_tell: 0, not_assessed: 0 }
    }

    /// All of them.
    pub fn total(&self) -> i64 {
        self.settled_below + self.settled_at_or_above + self.cannot_tell + self.not_assessed
    }

    /// Adds those of another worker.
    pub fn add(&mut self, other: &Self) {
        self.settled_below += other.settled_below;
        self.settled_at_or_above += other.settled_at_or_above;
        self.cannot_tell += other.cannot_tell;
        self.not_assessed += other.not_assessed;
    }

    fn count(&mut self, settled: Settled) {
        let part = match settled {
            Settled::Below => &mut self.settled_below,
            Settled::AtOrAbove => &mut self.settled_at_or_above,
            Settled::CannotTell => &mut self.cannot_tell,
            Settled::NotAssessed => &mut self.not_assessed,
        };
        *part += 1;
    }
}

/// The days that are assessed on a day: the twelve months that end with it. First day, and first day no longer.
pub fn assessed_period(today: NaiveDate) -> (NaiveDate, NaiveDate) {
    let to = today.succ_opt().unwrap_or(today);
    (to.checked_sub_months(Months::new(ASSESSED_MONTHS)).unwrap_or(NaiveDate::MIN), to)
}

/// A worker's days of a period by site, in order of the sites; a site is read from what happened there alone.
pub fn assessed_days(
    evidence: &HistoryEvidence<'_>,
    unit: Unit,
    (from, to): (NaiveDate, NaiveDate),
) -> Vec<AssessedDays> {
    let sites: BTreeSet<SiteId> = evidence.groups.iter().map(|group| group.site).collect();
    let mut found = Vec::new();
    for site in sites {
        let here = Here::of(evidence, site);
        let evidence = HistoryEvidence {
            assignments: &here.assignments,
            recorded: &here.recorded,
            groups: &here.groups,
            own: &here.own,
            ..*evidence
        };
        let mut days = AssessedDays::none(site);
        for day in worker_days(&evidence, unit, to).days.iter().filter(|day| from <= day.day.date) {
            days.count(settled(&evidence, day));
        }
        if days.total() > 0 {
            found.push(days);
        }
    }
    found
}

/// What happened at one site.
struct Here {
    assignments: Vec<Version<Assignment>>,
    recorded: Vec<Version<WorkedDay>>,
    groups: Vec<GroupExposure>,
    own: Vec<OwnShift>,
}

impl Here {
    fn of(evidence: &HistoryEvidence<'_>, site: SiteId) -> Self {
        let at = |own: Option<SiteId>, group: GroupId| evidence.site_of(own, group) == Some(site);
        let assigned = evidence.assignments.iter().filter(|one| at(one.site, one.fact.group_id));
        let recorded = evidence.recorded.iter().filter(|day| at(day.site, day.fact.group_id));
        Self {
            assignments: assigned.cloned().collect(),
            recorded: recorded.cloned().collect(),
            groups: evidence.groups.iter().filter(|group| group.site == site).cloned().collect(),
            own: evidence.own.iter().filter(|own| own.site == site).cloned().collect(),
        }
    }
}

fn settled(evidence: &HistoryEvidence<'_>, day: &WorkerDay) -> Settled {
    let date = day.day.date;
    let era = |group: &GroupId| evidence.group(*group)?.eras.iter().find(|era| era.holds(date));
    let limit = || day.groups.iter().filter_map(|group| era(group)?.limit).reduce(f64::min);
    let level = day.action_level.or_else(limit);
    let own = day.day.twa.zip(level).map(|(twa, level)| twa.against(level));
    let measured = |era: Option<&EraMean>| era.is_some_and(|era| era.n > 0);
    let by_group = |(group, _): &(GroupId, f64)| match standing(evidence, *group, date) {
        Level::BelowActionLevel | Level::AtOrBelowLimit => Settled::Below,
        Level::AtOrAboveActionLevel | Level::AboveLimit => Settled::AtOrAbove,
        Level::Unknown if measured(era(group)) => Settled::CannotTell,
        Level::Unknown => Settled::NotAssessed,
    };
    let by_groups = day.worked.iter().map(by_group).max();
    match own {
        Some(Answer::Below) => Settled::Below,
        Some(Answer::AtOrAbove) => Settled::AtOrAbove,
        // An own average that cannot tell never makes a day below.
        Some(Answer::CannotTell) => by_groups.unwrap_or(Settled::CannotTell).max(Settled::CannotTell),
        None if day.day.twa.is_some() => Settled::CannotTell,
        None => by_groups.unwrap_or(Settled::NotAssessed),
    }
}

/// Where a group stood on a date.
fn standing(evidence: &HistoryEvidence<'_>, group: GroupId, date: NaiveDate) -> Level {
    let holds = |since: Option<NaiveDate>| since.is_none_or(|since| since <= date);
    let moves = evidence.group(group).map_or(&[][..], |group| group.standing.as_slice());
    let last = moves.iter().rev().find(|placed| holds(placed.change.since));
    last.map_or(Level::Unknown, |placed| placed.change.level)
}
