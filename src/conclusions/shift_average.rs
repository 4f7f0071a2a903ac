//! One worker's shift in one group for one agent: what it says and what it may be used for.

use crate::conclusions::comparison::Comparison;
use crate::conclusions::control_state::ControlState;
use crate::conclusions::flag::Flag;
use crate::conclusions::use_of_result::{ProfileUse, Uses};
use crate::hygiene::shift::Unsampled;
use crate::model::facts::sampling::{Covers, NoiseCriterion};
use crate::model::identifiers::{EventId, GroupId, ResultId, SampleId, SiteId, TaskId, WorkerId};
use crate::model::measured::Measured;
use crate::model::text::Code;
use crate::model::unit::Unit;
use chrono::NaiveDate;

/// A sample that is part of a shift's conclusion.
#[derive(Debug, Clone, PartialEq)]
pub struct ShiftSample {
    /// The sample.
    pub sample_id: SampleId,
    /// The result it rests on.
    pub result_id: Option<ResultId>,
    /// The task it was taken on.
    pub task: Option<TaskId>,
    /// What it stands for.
    pub covers: Covers,
    /// Its concentration, in the unit of the shift; of noise the average level over its run.
    pub concentration: Measured,
    /// Minutes sampled.
    pub minutes: f64,
    /// Which controls ran; `None` where the group is not among the evidence.
    pub control_state: Option<ControlState>,
    /// Whether its result is accepted.
    pub accepted: bool,
}

/// A short-term value of a shift.
#[derive(Debug, Clone, PartialEq)]
pub struct ShortTermValue {
    /// The sample.
    pub sample_id: SampleId,
    /// Its mean, in the unit of the shift.
    pub mean: Measured,
    /// Its mean by the lower flow.
    pub at_lower_flow: Option<Measured>,
    /// Minutes sampled.
    pub minutes: f64,
}

/// A stretch of the shift that enters its average: a sample with its duplicates.
#[derive(Debug, Clone, PartialEq)]
pub struct AveragedStretch {
    /// The sample, and then its duplicates.
    pub sample_ids: Vec<SampleId>,
    /// Their mean concentration; of noise the level that makes the mean of their doses.
    pub concentration: Measured,
    /// The dose of noise, per cent, that 8 hours of it would make.
    pub eight_hour_dose: Option<Measured>,
    /// The same by the lower flow, where one of them has such a value.
    pub at_lower_flow: Option<Measured>,
    /// Minutes of the sample.
    pub minutes: f64,
}

impl From<AveragedStretch> for ShortTermValue {
    fn from(stretch: AveragedStretch) -> Self {
        Self {
            sample_id: stretch.sample_ids[0],
            mean: stretch.concentration,
            at_lower_flow: stretch.at_lower_flow,
            minutes: stretch.minutes,
        }
    }
}

/// One worker's shift date in one group, for one agent; of noise by one criterion.
#[derive(Debug, Clone, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each is a fact of its own that an average carries")]
pub struct ShiftTwa {
    /// The worker.
    pub worker: WorkerId,
    /// The group the part of the shift was spent in.
    pub group: Option<GroupId>,
    /// The site.
    pub site: Option<SiteId>,
    /// The site's local date on which the shift starts.
    pub shift_date: NaiveDate,
    /// The event of its first sample.
    pub event: EventId,
    /// The agent.
    pub agent_code: Code,
    /// By which criterion, for noise.
    pub criterion: Option<NoiseCriterion>,
    /// The dose of noise, per cent.
    pub dose: Option<Measured>,
    /// The 8-hour time-weighted average; `None` where no sample gives one. Of noise the level of its dose.
    pub twa: Option<Measured>,
    /// The same by the lower flow, where a flow changed too much.
    pub twa_at_lower_flow: Option<Measured>,
    /// The unit of every concentration here.
    pub unit: Unit,
    /// Minutes sampled.
    pub sampled_minutes: f64,
    /// Minutes of the shift in this group.
    pub shift_minutes: f64,
    /// What is stated of the unsampled time.
    pub unsampled: Option<Unsampled>,
    /// What it may be used for: the strictest of its samples.
    pub uses: Uses,
    /// Whether the controls in place by the calendar, and no others, ran during all its samples.
    pub controls_as_in_era: bool,
    /// Whether every result behind the average is accepted.
    pub accepted: bool,
    /// Whether a flag of a sample behind it forbids it to lower or end anything. (That it cannot tell is read from its
    /// value, level by level.)
    pub flagged: bool,
    /// How many results behind it, short-term ones too, are not accepted yet.
    pub not_accepted: usize,
    /// Whether part of the shift is not known, so that the average is a range.
    pub part_sampled: bool,
    /// Whether the worker's shift was short.
    pub short_shift: bool,
    /// What enters the average.
    pub stretches: Vec<AveragedStretch>,
    /// Short-term values.
    pub peaks: Vec<ShortTermValue>,
    /// Every sample behind it, in the order in which they were taken.
    pub samples: Vec<ShiftSample>,
    /// Against the limits in force on the date.
    pub comparisons: Vec<Comparison>,
    /// What is to be known of it, in the order of the table of flags.
    pub flags: Vec<Flag>,
}

impl ShiftTwa {
    /// The 8-hour average as it is compared with levels: with a changed flow, everything from one value to the other.
    pub fn compared(&self) -> Option<Measured> {
        Some(both(self.twa?, self.twa_at_lower_flow))
    }

    /// Whether a profile, and the mean of a dose, may use it.
    pub fn enters_profile(&self) -> bool {
        self.twa.is_some()
            && match self.uses.profile {
                ProfileUse::Counts => true,
                ProfileUse::IfControlsAsInEra => self.controls_as_in_era,
                ProfileUse::Beside | ProfileUse::Never => false,
            }
    }
}

/// A worker's whole day: the sum of the averages of one shift date over all groups and sites, as it is compared.
///
/// `None` without any, or where they do not stand in one unit; noise, whose doses add, is not for it.
pub fn whole_day(parts: &[&ShiftTwa]) -> Option<(Measured, Unit)> {
    let unit = parts.iter().find(|part| part.twa.is_some())?.unit;
    let mut sum = (0.0, Some(0.0));
    for part in parts.iter().filter(|part| part.twa.is_some()) {
        let compared = part.compared().filter(|_| part.unit == unit)?;
        sum.0 += compared.lower();
        sum.1 = sum.1.zip(compared.upper()).map(|(one, two)| one + two);
    }
    Some((Measured::from_bounds(sum.0, sum.1).rounded(), unit))
}

/// Everything from one value to another.
pub(crate) fn both(one: Measured, other: Option<Measured>) -> Measured {
    let Some(other) = other else { return one };
    let upper = one.upper().zip(other.upper()).map(|(one, other)| one.max(other));
    Measured::from_bounds(one.lower().min(other.lower()), upper).rounded()
}
