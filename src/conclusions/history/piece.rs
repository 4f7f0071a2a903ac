//! The assignments of a worker, cut wherever the mean behind them changes.

use crate::conclusions::history::basis::{Basis, EraGrounds, GapKind, Grounds, era_grounds, grounds};
use crate::conclusions::history::evidence::{GroupExposure, HistoryEvidence};
use crate::conclusions::history::weight::{DaysWorked, Worked};
use crate::model::facts::group::Judgement;
use crate::model::identifiers::{AssignmentId, GroupId, SiteId};
use crate::model::unit::Unit;
use crate::model::version::Version;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// A stretch of work in one group with one mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// The first day.
    pub from: NaiveDate,
    /// The first day no longer.
    pub to: NaiveDate,
    /// The group.
    pub group: GroupId,
    /// Its site.
    pub site: Option<SiteId>,
    /// The assignment; absent for days recorded in a group without one.
    pub assignment: Option<AssignmentId>,
    /// Shifts a week of the schedule; 0 without one.
    pub shifts_per_week: f64,
    /// Hours of a shift, where an assignment says so.
    pub hours_per_shift: Option<f64>,
    /// The mean and whose it is.
    pub grounds: Grounds,
    /// How its days count.
    pub days: DaysWorked,
}

impl Piece {
    /// The share of full time worked in it.
    pub fn weight(&self) -> f64 {
        self.days.weight(self.shifts_per_week)
    }
}

/// The time that is looked at, and the cut of the lag in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bounds {
    /// The first day.
    pub start: NaiveDate,
    /// The first day no longer.
    pub end: NaiveDate,
    /// The first day that the lag takes off.
    pub lag_from: NaiveDate,
}

/// What a mean stands on: which era of the group, which judgement.
type Ground = (Option<usize>, Option<Uuid>);

/// Work in one group, before it is cut.
struct Stretch {
    from: NaiveDate,
    to: NaiveDate,
    group: GroupId,
    site: Option<SiteId>,
    assignment: Option<AssignmentId>,
    shifts_per_week: f64,
    hours_per_shift: Option<f64>,
}

/// The pieces of a worker's time in groups, by first day, then group, then assignment.
pub fn pieces(evidence: &HistoryEvidence<'_>, worked: &Worked, bounds: Bounds, unit: Unit) -> Vec<Piece> {
    let mut known: BTreeMap<(GroupId, usize), EraGrounds> = BTreeMap::new();
    let mut pieces = Vec::new();
    for stretch in stretches(evidence, worked, bounds) {
        let group = evidence.group(stretch.group);
        let mut last: Option<(Ground, Piece)> = None;
        for (from, to) in cut(&stretch, group, evidence, bounds) {
            let era = group.and_then(|group| group.eras.iter().position(|era| era.holds(from)));
            let measured = match (group, era) {
                (Some(group), Some(era)) => known
                    .entry((stretch.group, era))
                    .or_insert_with(|| era_grounds(evidence, group, group.eras.get(era), unit))
                    .clone(),
                _ => EraGrounds::Nothing(GapKind::NoDataInEra),
            };
            let judgement = group.and_then(|group| judgement_on(group, evidence, from));
            let grounds = grounds(evidence, &measured, judgement, unit);
            let judged =
                judgement.filter(|_| grounds.basis == Basis::Judgement).map(|judgement| judgement.id);
            let days = worked.days(stretch.group, from, to, stretch.assignment.is_some());
            // A judgement that begins beside a measured mean changes nothing: the two sides are one piece.
            match &mut last {
                Some((key, piece))
                    if *key == (era, judged) && piece.to == from && from != bounds.lag_from =>
                {
                    piece.to = to;
                    piece.days.calendar += days.calendar;
                    piece.days.by_schedule += days.by_schedule;
                    piece.days.recorded += days.recorded;
                }
                _ => {
                    let piece = Piece {
                        from,
                        to,
                        group: stretch.group,
                        site: stretch.site,
                        assignment: stretch.assignment,
                        shifts_per_week: stretch.shifts_per_week,
                        hours_per_shift: stretch.hours_per_shift,
                        grounds,
                        days,
                    };
                    pieces.extend(last.replace(((era, judged), piece)).map(|(_, piece)| piece));
                }
            }
        }
        pieces.extend(last.map(|(_, piece)| piece));
    }
    pieces.sort_by_key(|piece| (piece.from, piece.group, piece.assignment));
    pieces
}

/// Assignments that stand, and parts of weeks with days recorded in a group without one, within the bounds.
fn stretches(evidence: &HistoryEvidence<'_>, worked: &Worked, bounds: Bounds) -> Vec<Stretch> {
    let standing = || evidence.assignments.iter().filter(|assignment| assignment.stands());
    let covered = |group, date| {
        standing().any(|assignment| {
            let fact = &assignment.fact;
            fact.group_id == group && fact.from <= date && fact.to.is_none_or(|to| date < to)
        })
    };
    let assigned = standing().map(|assignment| Stretch {
        from: assignment.fact.from.max(bounds.start),
        to: assignment.fact.to.unwrap_or(NaiveDate::MAX).min(bounds.end),
        group: assignment.fact.group_id,
        site: evidence.site_of(assignment.site, assignment.fact.group_id),
        assignment: Some(AssignmentId(assignment.id)),
        shifts_per_week: assignment.fact.shifts_per_week,
        hours_per_shift: Some(assignment.fact.hours_per_shift),
    });
    let unassigned = worked.unassigned(covered).into_iter().map(|(group, from, to)| Stretch {
        from: from.max(bounds.start),
        to: to.min(bounds.end),
        group,
        site: evidence.site_of(None, group),
        assignment: None,
        shifts_per_week: 0.0,
        hours_per_shift: None,
    });
    assigned.chain(unassigned).filter(|stretch| stretch.from < stretch.to).collect()
}

/// Where the mean may change: eras, judgements, the lag.
fn cut(
    stretch: &Stretch,
    group: Option<&GroupExposure>,
    evidence: &HistoryEvidence<'_>,
    bounds: Bounds,
) -> Vec<(NaiveDate, NaiveDate)> {
    let mut cuts = BTreeSet::from([stretch.from, stretch.to, bounds.lag_from]);
    if let Some(group) = group {
        cuts.extend(group.eras.iter().flat_map(|era| [era.from, era.to]).flatten());
        for judgement in judgements(group, evidence) {
            cuts.insert(judgement.fact.from);
            cuts.extend(judgement.fact.to);
        }
    }
    cuts.retain(|at| stretch.from <= *at && *at <= stretch.to);
    cuts.iter().zip(cuts.iter().skip(1)).map(|(from, to)| (*from, *to)).collect()
}

fn judgements<'g>(
    group: &'g GroupExposure,
    evidence: &HistoryEvidence<'_>,
) -> impl Iterator<Item = &'g Version<Judgement>> {
    let code = evidence.agent.code().clone();
    group.judgements.iter().filter(move |judgement| judgement.stands() && judgement.fact.agent_code == code)
}

/// The judgement with a mean that holds on a date; of several the one that began last, then the one entered last.
fn judgement_on<'g>(
    group: &'g GroupExposure,
    evidence: &HistoryEvidence<'_>,
    date: NaiveDate,
) -> Option<&'g Version<Judgement>> {
    judgements(group, evidence)
        .filter(|judgement| judgement.fact.arithmetic_mean.is_some())
        .filter(|judgement| judgement.fact.from <= date && judgement.fact.to.is_none_or(|to| date < to))
        .max_by_key(|judgement| (judgement.fact.from, judgement.position, judgement.id))
}
