//! A history as people and programs read it.

use crate::conclusions::history::basis::{Basis, GapKind};
use crate::conclusions::history::day_numbers::DayNumbers;
use crate::conclusions::history::noise_levels::{EqualEnergyView, LevelBand, YearsAtLevel};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::{GroupId, SiteId, WorkerId};
use crate::model::quantity::Quantity;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::{record, words};
use chrono::NaiveDate;

words! {
    /// What a reader must know of a history or of one of its intervals.
    pub enum HistoryFlag {
        /// Fewer than three dates stand behind the mean: too few to describe this group.
        FewDates = "few_dates",
        /// The hours of the assignment differ by more than 10 % from the shifts behind the mean.
        ShiftLengthDiffers = "shift_length_differs",
        /// The mean is the middle of a judged range.
        MiddleOfJudgedRange = "middle_of_judged_range",
        /// The lag takes this time off the dose.
        WithinLag = "within_lag",
        /// Days were recorded in a group that the worker was not assigned to.
        RecordedWithoutAssignment = "recorded_without_assignment",
        /// Shifts of the schedule found no free date in their week.
        ShiftsDropped = "shifts_dropped",
        /// A limit is too large for any number, or a judged mean has none, so that sums over it have none.
        LimitsMissing = "limits_missing",
        /// Results pressed on the prior, so geometric means up to 100 times the largest result were allowed.
        PriorWidened = "prior_widened",
        /// Nothing tells the chance of some days to be at or above the action level; they are missing from those expected.
        ExpectedIncomplete = "expected_incomplete",
        /// Levels of noise are not added up to a dose; years by level, and the equal-energy mean, stand in its place.
        LevelsNotAdded = "levels_not_added",
        /// No time of this history has noise by the 3 dB exchange rate, so there is no equal-energy mean.
        NoEqualEnergyData = "no_equal_energy_data",
        /// The levels are too few, or too few of them read, for a mean level.
        NoMeanLevel = "no_mean_level",
        /// How many days at or above the action level are to be expected is not computed for noise.
        NoExpectedDays = "no_expected_days",
        /// No action level is in force for this worker's groups.
        NoActionLevel = "no_action_level",
        /// No time of this history has a mean.
        NoMean = "no_mean",
    }
}

record! {
    /// The mean exposure of an interval.
    pub struct IntervalMean {
        /// The arithmetic mean.
        estimate: f64,
        /// Its one-sided lower 95 % limit; of a judgement its lower end.
        lower: Option<f64>,
        /// Its one-sided upper 95 % limit; of a judgement its upper end.
        upper: Option<f64>,
        /// Their unit.
        unit: Unit,
        /// The mean scaled to the hours of the assignment, where these differ.
        scaled_estimate: Option<f64>,
    }
}

record! {
    /// A time in one group with one mean.
    pub struct HistoryInterval {
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: NaiveDate,
        /// The site.
        site_id: Option<SiteId>,
        /// The group.
        group_id: GroupId,
        /// Whose mean it is.
        basis: Basis,
        /// The mean, of noise the mean level; absent without an estimate.
        mean: Option<IntervalMean>,
        /// By which criterion the mean level of noise is.
        criterion: Option<NoiseCriterion>,
        /// The band of the level of noise.
        level_band: Option<LevelBand>,
        /// The share of full time worked (five shifts a week are 1).
        weight: f64,
        /// Shifts behind the mean.
        n: Option<i64>,
        /// Workers behind it.
        worker_count: Option<i64>,
        /// Dates behind it.
        date_count: Option<i64>,
        /// The first of these dates.
        first: Option<NaiveDate>,
        /// The last of them.
        last: Option<NaiveDate>,
        /// What is to be known of it.
        flags: Vec<HistoryFlag>,
    }
}

record! {
    /// A time of which nothing is known.
    pub struct Gap {
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: NaiveDate,
        /// Why.
        kind: GapKind,
    }
}

record! {
    /// The dose.
    pub struct CumulativeView {
        /// The dose; absent where no time has a mean.
        value: Option<f64>,
        /// Its unit: masses as `mg/m3.a`, others the unit of the mean times `a`.
        unit: String,
        /// With every mean at its lower limit; absent where one has none.
        lower: Option<f64>,
        /// With every mean at its upper limit; absent where one has none.
        upper: Option<f64>,
        /// Whether the dose reads "at least", since time is missing from it.
        at_least: bool,
        /// The years missing from it.
        years_missing: f64,
    }
}

record! {
    /// The dose as if respirators had protected as assigned: assumed protection, not measured.
    pub struct AssumedProtectionView {
        /// The dose.
        value: f64,
        /// Its unit, that of the dose.
        unit: String,
        /// With every mean at its lower limit; absent where one has none.
        lower: Option<f64>,
        /// With every mean at its upper limit; absent where one has none.
        upper: Option<f64>,
        /// Whether it reads "at least", since time is missing from it.
        at_least: bool,
        /// The years missing from it.
        years_missing: f64,
        /// Years of full time for which fit and programme are confirmed.
        years_credited: f64,
        /// What it assumes, to be shown beside it.
        assumption: String,
    }
}

record! {
    /// One worker's exposure to one agent over all sites.
    pub struct HistoryView {
        /// The entry under which it stands: of a worker with several entries the one that stays.
        worker_id: Option<WorkerId>,
        /// The other entries of the same person whose facts it holds.
        also_known_as: Option<Vec<WorkerId>>,
        /// The agent.
        agent_code: Code,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: NaiveDate,
        /// Years by the calendar that are taken off the end.
        lag_years: i64,
        /// Times in groups, with their means.
        intervals: Vec<HistoryInterval>,
        /// The dose; absent for noise.
        cumulative: Option<CumulativeView>,
        /// The dose as if confirmed respirators had protected as assigned; absent where none is confirmed, and for noise.
        cumulative_with_respirator: Option<AssumedProtectionView>,
        /// Years of full time by level, for noise.
        years_by_level: Option<Vec<YearsAtLevel>>,
        /// The mean level by equal energy, for noise with data of the 3 dB exchange rate.
        equal_energy_mean: Option<EqualEnergyView>,
        /// The dose over the years exposed.
        average_intensity: Option<Quantity>,
        /// Years with a mean above zero, each calendar day once.
        years_exposed: f64,
        /// The share of assigned time, weighted, whose mean rests on a measured shift.
        measured_share: Option<f64>,
        /// Times of which nothing is known.
        gaps: Vec<Gap>,
        /// Days at or above the action level, over the whole life.
        days_at_or_above_action_level: Option<DayNumbers>,
        /// Results behind the means that are not accepted yet.
        not_accepted: i64,
        /// What is to be known of it.
        flags: Vec<HistoryFlag>,
        /// How the numbers came about, where asked for.
        working: Option<Vec<Step>>,
    }
}
