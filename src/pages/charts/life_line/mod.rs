//! A worker's life line: in which groups, how intense, how much in all, what was never measured, and which duties arose.

mod dose;
mod drawing;
mod told;

pub use told::{dose, dose_unit};

use crate::conclusions::history::basis::GapKind;
use crate::conclusions::history::view::HistoryView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::model::facts::duty::DutyStatus;
use crate::model::facts::worker::{Absence, Assignment};
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::measured::Measured;
use crate::model::unit::Unit;
use crate::pages::charts::era_results::{EraShift, is_level};
use crate::pages::charts::figure::Figure;
use crate::pages::charts::levels::LevelLine;
use crate::pages::charts::names::Names;
use crate::pages::charts::scale::{linear_span, log_span};
use chrono::NaiveDate;

/// An assignment at a site, as it is recorded.
#[derive(Debug, Clone, Copy)]
pub struct Assigned<'a> {
    /// The assignment.
    pub assignment: &'a Assignment,
    /// The site of its group.
    pub site: Option<SiteId>,
}

/// A date on which the work of one of the groups became of another kind, named by the control that changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EraCut {
    /// The first day of the new era.
    pub on: NaiveDate,
    /// What changed.
    pub name: String,
}

/// A duty that the exposure led to; of one that the reader is told nothing about, no more than its date and state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DutyMark {
    /// By when the clause asks.
    pub due_on: NaiveDate,
    /// How it stands.
    pub status: DutyStatus,
    /// What it asks for.
    pub words: String,
}

/// What a life line is drawn from.
#[derive(Debug, Clone, Copy)]
pub struct LifeLine<'a> {
    /// The history as the API answers it, for one agent, over all sites that the reader may see.
    pub history: &'a HistoryView,
    /// Whose it is.
    pub worker: WorkerId,
    /// Whether the reader sees some sites only, so that a time without an assignment may be work elsewhere.
    pub in_part: bool,
    /// The worker's assignments.
    pub assignments: &'a [Assigned<'a>],
    /// The worker's absences.
    pub absences: &'a [Absence],
    /// Shift averages of the worker, and of the others who were sampled in his groups.
    pub shifts: &'a [ShiftAverageView],
    /// Cuts between eras.
    pub cuts: &'a [EraCut],
    /// Duties.
    pub duties: &'a [DutyMark],
    /// The limit and the action level of today, against which all times are drawn.
    pub levels: &'a [LevelLine],
}

/// Everything that is drawn.
struct Picture<'a> {
    of: LifeLine<'a>,
    unit: Option<Unit>,
    /// By what intensities are divided, where they are drawn as a share of the limit.
    limit: Option<f64>,
    time: (NaiveDate, NaiveDate),
    values: (f64, f64),
    shifts: Vec<EraShift<'a>>,
    stretches: Vec<dose::Stretch>,
    names: &'a Names,
}

impl Picture<'_> {
    /// Whether levels of noise are drawn.
    fn noise(&self) -> bool {
        self.unit.is_some_and(is_level)
    }

    /// An intensity on the axis: in per cent of the limit, or as it is.
    fn on_axis(&self, value: f64) -> f64 {
        self.limit.map_or(value, |limit| 100.0 * value / limit)
    }

    fn is_own(&self, shift: &EraShift<'_>) -> bool {
        shift.view.worker_id == self.of.worker
    }
}

/// Whether a time of which the history knows nothing is unknown exposure; else the worker was away.
fn is_unknown(kind: GapKind) -> bool {
    kind != GapKind::NotEmployedHere
}

/// The life line of a worker for one agent.
///
/// Intensities stand as a share of today's limit of the law, on a logarithmic axis; of noise as levels, on a linear one, and
/// without a cumulative panel, since levels are not added up.
pub fn life_line(id: &str, of: LifeLine<'_>, names: &Names) -> Figure {
    let history = of.history;
    let unit = history.intervals.iter().find_map(|interval| interval.mean.as_ref().map(|mean| mean.unit));
    let lawful = |level: &&LevelLine| level.is_lawful();
    let limit_line = of.levels.iter().filter(lawful).find(|line| line.class() == "lim");
    let noise = unit.is_some_and(is_level);
    let limit = unit
        .filter(|_| !noise)
        .and_then(|unit| limit_line.and_then(|line| line.unit.convert(line.value, unit)))
        .filter(|limit| *limit > 0.0);
    let shifts = unit.map_or_else(Vec::new, |unit| measured(&of, unit));
    let last_due = of.duties.iter().map(|duty| duty.due_on).max();
    let to = history.to.max(last_due.unwrap_or(history.to));
    let mut picture = Picture {
        of,
        unit,
        limit,
        time: (history.from, to),
        values: (1.0, 10.0),
        shifts,
        stretches: dose::stretches(history),
        names,
    };
    picture.values = values(&picture);
    let said = told::told(&picture);
    Figure::drawn(said, |plate| drawing::draw(id, plate, &picture))
}

/// The shifts that are points: the worker's own, and others' of a time in which he was in their group.
fn measured<'a>(of: &LifeLine<'a>, unit: Unit) -> Vec<EraShift<'a>> {
    let history = of.history;
    let criterion = history.intervals.iter().find_map(|interval| interval.criterion);
    let mut found: Vec<EraShift<'a>> = of
        .shifts
        .iter()
        .filter(|shift| shift.agent_code == history.agent_code)
        .filter(|shift| criterion.is_none() || shift.criterion == criterion)
        .filter(|shift| history.from <= shift.shift_date && shift.shift_date < history.to)
        .filter(|shift| {
            shift.worker_id == of.worker
                || history.intervals.iter().any(|interval| {
                    Some(interval.group_id) == shift.group_id
                        && interval.from <= shift.shift_date
                        && shift.shift_date < interval.to
                })
        })
        .filter_map(|view| {
            let value = view.eight_hour_twa.as_ref()?.in_unit(unit)?;
            Some(EraShift { view, value, in_profile: true })
        })
        .collect();
    // The worker's own lie on top; of equal ones none is drawn twice.
    found.sort_by_key(|shift| {
        (shift.view.worker_id == of.worker, shift.view.shift_date, shift.view.worker_id, shift.view.group_id)
    });
    found.dedup_by(|one, other| {
        (one.view.worker_id, one.view.shift_date, one.view.group_id)
            == (other.view.worker_id, other.view.shift_date, other.view.group_id)
    });
    found
}

fn values(picture: &Picture<'_>) -> (f64, f64) {
    let mut values = Vec::new();
    let noise = picture.noise();
    let mut add = |value: f64| values.push(picture.on_axis(value));
    for interval in &picture.of.history.intervals {
        if let Some(mean) = &interval.mean {
            add(mean.estimate);
            mean.lower.into_iter().chain(mean.upper).for_each(&mut add);
        }
    }
    for shift in &picture.shifts {
        match shift.value {
            Measured::Value(value) | Measured::Below(value) | Measured::Above(value) => add(value),
            Measured::Between { lower, upper } => [lower, upper].into_iter().for_each(&mut add),
        }
    }
    for level in picture.of.levels {
        if let Some(value) = picture.unit.and_then(|unit| level.unit.convert(level.value, unit)) {
            add(value);
        }
    }
    if noise { linear_span(values, 5.0) } else { log_span(values) }
}
