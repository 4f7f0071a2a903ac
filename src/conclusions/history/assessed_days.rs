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
        Some(Answer::Below) if day.day.may_lower => Settled::Below,
        // Not accepted yet, or flagged: it leaves the day where the groups stand, and settles none below by itself.
        Some(Answer::Below) => match by_groups {
            Some(Settled::NotAssessed) | None => Settled::CannotTell,
            Some(settled) => settled,
        },
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::history::evidence::PlacedMove;
    use crate::conclusions::history::level_period::LevelPeriod;
    use crate::conclusions::invented::{agent, date, id, version};
    use crate::conclusions::limits::AgentEvidence;
    use crate::hygiene::profile::ProfileMethod;
    use crate::model::measured::Measured;
    use crate::surveillance::standing::Move;
    use serde_json::json;

    // What settles a day is this registry's rule; invented numbers. 29 CFR 1910.1026(b): 2.5 ug/m3.

    fn group(number: u128, results: usize, level: Option<Level>) -> GroupExposure {
        let era = EraMean {
            from: None,
            to: None,
            unit: Unit::UgPerM3,
            method: ProfileMethod::None,
            mean: None,
            noise: None,
            posterior: None,
            chance: None,
            action_level: Some(2.5),
            limit: Some(5.0),
            results: Vec::new(),
            shift_minutes: None,
            n: results,
            worker_count: 0,
            date_count: 0,
            first: None,
            last: None,
            not_accepted: 0,
        };
        let moved = |level| PlacedMove {
            change: Move { level, since: None, round: (id(50).into(), date("2026-01-05")), clause: None },
            basis: Vec::new(),
        };
        GroupExposure {
            group: id(number).into(),
            site: id(number + 1000).into(),
            eras: vec![era],
            judgements: Vec::new(),
            standing: level.map(moved).into_iter().collect(),
            action_level: vec![LevelPeriod { from: None, level: Some(2.5) }],
            at_limit: None,
            of_others: Vec::new(),
            respirator: Vec::new(),
            expected: Vec::new(),
        }
    }

    fn own(of: &GroupExposure, twa: Measured) -> OwnShift {
        OwnShift {
            date: date("2026-01-05"),
            group: of.group,
            site: of.site,
            unit: Unit::UgPerM3,
            criterion: None,
            dose: None,
            twa: Some(twa),
            mean_twa: Some(twa),
            may_lower: true,
            short_term: None,
            longer_mean: None,
            shift_minutes: 480.0,
            own_record: true,
            enters_profile: true,
            not_accepted: 0,
            basis: Vec::new(),
        }
    }

    /// What becomes of Monday 5 January 2026, worked in some groups: below, at or above, cannot tell, not assessed.
    fn parts(groups: &[GroupExposure], own: &[OwnShift]) -> Vec<[i64; 4]> {
        let agent: AgentEvidence = agent("chromium_vi");
        // Recorded, not scheduled: two schedules never share a date.
        let recorded: Vec<Version<WorkedDay>> = groups
            .iter()
            .zip(200..)
            .map(|(group, number)| {
                let fact = json!({"date": "2026-01-05", "group_id": group.group.0, "hours": 4});
                Version { site: Some(group.site), ..version(number, None, &fact) }
            })
            .collect();
        let evidence = HistoryEvidence {
            agent: &agent,
            employments: &[],
            assignments: &[],
            recorded: &recorded,
            absences: &[],
            groups,
            own,
            respirators: &[],
        };
        let found = assessed_days(&evidence, Unit::UgPerM3, assessed_period(date("2026-03-02")));
        let parts = found
            .iter()
            .map(|one| [one.settled_below, one.settled_at_or_above, one.cannot_tell, one.not_assessed]);
        parts.collect()
    }

    const BELOW: [i64; 4] = [1, 0, 0, 0];
    const AT_OR_ABOVE: [i64; 4] = [0, 1, 0, 0];
    const CANNOT_TELL: [i64; 4] = [0, 0, 1, 0];
    const NOT_ASSESSED: [i64; 4] = [0, 0, 0, 1];

    #[test]
    fn a_day_is_settled_by_the_own_average_else_by_the_group() {
        let below = group(2, 3, Some(Level::BelowActionLevel));
        let above = group(2, 3, Some(Level::AtOrAboveActionLevel));
        let coarse = group(2, 1, None);
        let nobody = group(2, 0, None);
        let alone = |group: &GroupExposure| parts(std::slice::from_ref(group), &[]);
        let with = |group: &GroupExposure, twa| parts(std::slice::from_ref(group), &[own(group, twa)]);
        assert_eq!(alone(&below), [BELOW]);
        assert_eq!(alone(&above), [AT_OR_ABOVE]);
        assert_eq!(alone(&coarse), [CANNOT_TELL]);
        assert_eq!(alone(&nobody), [NOT_ASSESSED]);
        // Exactly at the level is at or above; the own average goes before the group.
        assert_eq!(with(&below, Measured::Value(2.5)), [AT_OR_ABOVE]);
        assert_eq!(with(&above, Measured::Value(2.4)), [BELOW]);
        // An own average that cannot tell never makes a day below.
        assert_eq!(with(&below, Measured::Below(3.1)), [CANNOT_TELL]);
        assert_eq!(with(&above, Measured::Below(3.1)), [AT_OR_ABOVE]);
        // One that nobody has accepted yet takes no day away from the group and settles none below by itself.
        let doubtful = |group: &GroupExposure, twa| {
            let own = OwnShift { may_lower: false, ..own(group, Measured::Value(twa)) };
            parts(std::slice::from_ref(group), &[own])
        };
        assert_eq!(doubtful(&above, 2.4), [AT_OR_ABOVE]);
        assert_eq!(doubtful(&below, 2.4), [BELOW]);
        assert_eq!(doubtful(&nobody, 2.4), [CANNOT_TELL]);
        assert_eq!(doubtful(&below, 2.5), [AT_OR_ABOVE]);
    }

    #[test]
    fn two_groups_of_one_site_are_one_day_and_two_sites_know_nothing_of_each_other() {
        let here = |mut other: GroupExposure| {
            other.group = id(3).into();
            other
        };
        let below = group(2, 3, Some(Level::BelowActionLevel));
        for (other, expected) in [
            (group(2, 3, Some(Level::BelowActionLevel)), BELOW),
            (group(2, 0, None), NOT_ASSESSED),
            (group(2, 1, None), CANNOT_TELL),
            (group(2, 3, Some(Level::AboveLimit)), AT_OR_ABOVE),
        ] {
            assert_eq!(parts(&[below.clone(), here(other)], &[]), [expected]);
        }
        assert_eq!(parts(&[below, group(3, 3, Some(Level::AboveLimit))], &[]), [BELOW, AT_OR_ABOVE]);
    }

    #[test]
    fn the_period_is_the_twelve_months_that_end_today() {
        assert_eq!(assessed_period(date("2026-03-02")), (date("2025-03-03"), date("2026-03-03")));
        // 29 February: to the last of February.
        assert_eq!(assessed_period(date("2024-02-28")), (date("2023-02-28"), date("2024-02-29")));
    }
}
