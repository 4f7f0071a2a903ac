//! How long a worker's shift was, how much of it fell to a group, and what is stated of its unsampled time.

use crate::conclusions::limits::AgentEvidence;
use crate::hygiene::shift::Unsampled;
use crate::model::facts::sampling::{SamplingEvent, Shift, UnsampledAs};
use crate::model::identifiers::{GroupId, WorkerId};
use crate::model::rounding::significant;
use crate::model::unit::Unit;
use crate::model::version::Version;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A shift under this share of the event's shift minutes is short (our own choice).
pub const SHORT_SHIFT_SHARE: f64 = 0.75;

/// One worker and one shift date.
pub type WorkerDay = (WorkerId, NaiveDate);

/// What an event states of a worker's shift in a group, if anything: an entry for the group before one without.
pub fn stated_shift(event: &SamplingEvent, day: WorkerDay, group: Option<GroupId>) -> Option<&Shift> {
    let of_day = || shifts_of(event, day);
    of_day()
        .find(|shift| shift.group_id.is_some() && shift.group_id == group)
        .or_else(|| of_day().find(|shift| shift.group_id.is_none()))
}

/// Minutes of a worker's shift in a group.
pub fn shift_minutes(event: &SamplingEvent, day: WorkerDay, group: Option<GroupId>) -> f64 {
    stated_shift(event, day, group).map_or(event.shift_minutes, |shift| shift.shift_minutes)
}

/// Whether a worker's shift, over all groups that the events know of, is short by the measure of one of the events.
///
/// `parts` are the groups in which samples were taken, each with its event.
pub fn is_short(
    measure: &SamplingEvent,
    day: WorkerDay,
    parts: &[(&Version<SamplingEvent>, Option<GroupId>)],
) -> bool {
    let mut minutes: BTreeMap<Option<GroupId>, f64> = BTreeMap::new();
    let mut note = |group: Option<GroupId>, of_group: f64| {
        let known = minutes.entry(group).or_insert(0.0);
        // Two events that tell of the same part tell of the same minutes.
        *known = known.max(of_group);
    };
    for (event, group) in parts {
        let stated = stated_shift(&event.fact, day, *group);
        note(stated.map_or(*group, |shift| shift.group_id), shift_minutes(&event.fact, day, *group));
        // Parts of the shift in other groups count although nothing was sampled there.
        shifts_of(&event.fact, day).for_each(|shift| note(shift.group_id, shift.shift_minutes));
    }
    let worked: f64 = minutes.values().sum();
    significant(worked) < significant(SHORT_SHIFT_SHARE * measure.shift_minutes)
}

fn shifts_of(event: &SamplingEvent, (worker, date): WorkerDay) -> impl Iterator<Item = &Shift> {
    event.shifts.iter().flatten().filter(move |shift| shift.worker_id == worker && shift.shift_date == date)
}

/// What is stated of the unsampled time, in a unit; a concentration that does not convert states nothing.
pub fn stated_unsampled(shift: Option<&Shift>, agent: &AgentEvidence, unit: Unit) -> Option<Unsampled> {
    match &shift?.unsampled.as_ref()?.taken_as {
        UnsampledAs::Zero => Some(Unsampled::Zero),
        UnsampledAs::AsSampled => Some(Unsampled::AsSampled),
        UnsampledAs::Concentration(quantity) => {
            agent.convert(quantity.measured, quantity.unit, unit).map(Unsampled::At)
        }
    }
}
