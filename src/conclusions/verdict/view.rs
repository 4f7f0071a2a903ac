//! A verdict as people and programs read it.

use crate::conclusions::figures::{AdjustedView, EffectView};
use crate::conclusions::verdict::confounder::Confounder;
use crate::hygiene::control_effect::{self, Effect, EffectMethod, TargetAnswer, Verdict};
use crate::hygiene::sufficiency::Sufficiency;
use crate::hygiene::{efficiency, level_difference};
use crate::model::facts::sampling::{NoiseCriterion, Position};
use crate::model::identifiers::{ControlId, SampleId};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::{record, words};
use chrono::NaiveDate;

/// Workers recur among values that are compared as independent.
pub const REPEATED_WORKERS: &str = "repeated_workers";
/// No set of other running controls holds both states.
pub const ONE_STATE_ONLY: &str = "one_state_only";
/// The background was taken off.
pub const BACKGROUND_SUBTRACTED: &str = "background_subtracted";
/// The background was measured on some of the shifts only.
pub const BACKGROUND_PARTLY_MEASURED: &str = "background_partly_measured";
/// Arc time is stated in one state only.
pub const ARC_TIME_NOT_RECORDED: &str = "arc_time_not_recorded";
/// What remains is projected from the task, since no whole shift with the control was measured.
pub const PROJECTED: &str = "projected";
/// No whole shift with the control was measured, and the usual minutes of the task are not stated.
pub const USUAL_MINUTES_NOT_STATED: &str = "usual_minutes_not_stated";
/// Other controls ran beside this one while inlet and outlet were measured.
pub const SEVERAL_CONTROLS_RAN: &str = "several_controls_ran";
/// A result, or a sample with a known result, was voided.
pub const CHANGED_AFTER_RESULT: &str = "changed_after_result";

/// The flags of verdicts beside those of [`control_effect::FLAGS`], [`efficiency::FLAGS`] and
/// [`level_difference::FLAGS`], with their meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (REPEATED_WORKERS, "Workers recur among values that are compared as independent."),
    (ONE_STATE_ONLY, "With the other running controls the same, results exist in one state only."),
    (BACKGROUND_SUBTRACTED, "The background of the same shift was taken off."),
    (BACKGROUND_PARTLY_MEASURED, "The background was measured, and taken off, on some of the shifts only."),
    (ARC_TIME_NOT_RECORDED, "Arc time is stated in one state only, so that it cannot be compared."),
    (PROJECTED, "No whole shift with the control was measured: what remains is projected from the task."),
    (
        USUAL_MINUTES_NOT_STATED,
        "Nothing can be projected, since the usual minutes of the task are not stated.",
    ),
    (SEVERAL_CONTROLS_RAN, "Other controls ran beside this one while inlet and outlet were measured."),
    (
        CHANGED_AFTER_RESULT,
        "A result, or a sample with a known result, was voided; those left out this way are listed.",
    ),
];

/// Every flag a verdict can carry, with its meaning.
pub fn all_flags() -> impl Iterator<Item = (&'static str, &'static str)> {
    FLAGS.iter().chain(control_effect::FLAGS).chain(efficiency::FLAGS).chain(level_difference::FLAGS).copied()
}

words! {
    /// Why a sample is not compared.
    pub enum ExclusionReason {
        /// The pump failed.
        PumpFailed = "pump_failed",
        /// The sample was lost.
        Lost = "lost",
        /// The sample was damaged.
        Damaged = "damaged",
        /// The sample was contaminated.
        Contaminated = "contaminated",
        /// The sample was never analysed.
        NotAnalysed = "not_analysed",
        /// It was voided before any result of it was known.
        Voided = "voided",
        /// It was voided after a result of it was known, or its result was.
        ChangedAfterResult = "changed_after_result",
        /// It has no result for the agent yet.
        ResultAwaited = "result_awaited",
        /// It has a result and no concentration can be made of it.
        NoConcentration = "no_concentration",
        /// Its unit does not convert into that of the agent's limit.
        UnitNotOfLimit = "unit_not_of_limit",
        /// How long was sampled is not known.
        NoMinutes = "no_minutes",
        /// The day was not like other days.
        NotRepresentative = "not_representative",
        /// It was taken during an upset of the process.
        Upset = "upset",
        /// It was taken during an emergency.
        Emergency = "emergency",
        /// Which controls ran was not recorded although one was in place.
        ControlStateNotRecorded = "control_state_not_recorded",
        /// A control ran for part of the sampled time.
        ControlPartlyRunning = "control_partly_running",
        /// The other running controls were not those of the comparison.
        OtherControlsDiffer = "other_controls_differ",
        /// At its location only one state was measured.
        LocationInOneState = "location_in_one_state",
        /// Its location is not stated.
        LocationNotStated = "location_not_stated",
        /// Its worker is not stated.
        WorkerNotStated = "worker_not_stated",
        /// No inlet or outlet was sampled at the same time and place.
        NoSimultaneousPartner = "no_simultaneous_partner",
        /// The control did not run.
        ControlNotRunning = "control_not_running",
        /// It is noise, and no dose can be made of its result: no criterion is named, or it is no A-weighted level or dose.
        NoNoiseDose = "no_noise_dose",
        /// Its noise was read by other criteria only.
        OtherCriterion = "other_criterion",
    }
}

record! {
    /// A sample that is not compared, and why.
    pub struct Excluded {
        /// The sample.
        sample_id: SampleId,
        /// Why.
        reason: ExclusionReason,
    }
}

record! {
    /// A difference of mean levels with two-sided 95 % limits, with less without.
    pub struct LevelDifferenceView {
        /// The estimate.
        estimate: Option<f64>,
        /// The 2.5 % limit.
        lower_95: Option<f64>,
        /// The 97.5 % limit.
        upper_95: Option<f64>,
        /// The unit of all three.
        unit: Unit,
    }
}

impl LevelDifferenceView {
    /// The figure; absent where nothing of it can be given.
    pub fn of(difference: Effect) -> Option<Self> {
        let EffectView { estimate, lower_95, upper_95 } = EffectView::of(difference)?;
        Some(Self { estimate, lower_95, upper_95, unit: Unit::DbA })
    }
}

record! {
    /// What a filter or collector takes out of what enters it.
    pub struct RemovalView {
        /// Simultaneous pairs of inlet and outlet.
        pairs: i64,
        /// The efficiency in per cent.
        efficiency_percent: Option<EffectView>,
        /// What gets through in per cent.
        penetration_percent: Option<f64>,
        /// `>=` where the efficiency is only known to be at least this.
        comparator: Option<String>,
    }
}

record! {
    /// What a control did on a task, at one position.
    pub struct VerdictView {
        /// The agent.
        agent_code: Code,
        /// The control.
        control_id: ControlId,
        /// Where the air was taken; `outlet` for the removal efficiency between inlet and outlet.
        position: Position,
        /// Whether short-term samples are compared, which stand apart.
        short_term: bool,
        /// Samples at this position that are not compared.
        excluded: Vec<Excluded>,
        /// What else differed between the states.
        confounders: Vec<Confounder>,
        /// Whether anything did.
        confounded: bool,
        /// How many of the results compared are not accepted yet.
        not_accepted: i64,
        /// Workers among the results compared.
        worker_count: i64,
        /// Shift dates among them.
        date_count: i64,
        /// The first of these dates.
        first: Option<NaiveDate>,
        /// The last of them.
        last: Option<NaiveDate>,
        /// Values without the control, one a shift.
        n_without: Option<i64>,
        /// Values with it, one a shift.
        n_with: Option<i64>,
        /// Values without the control below their limit.
        n_below_without: Option<i64>,
        /// Values with it below their limit.
        n_below_with: Option<i64>,
        /// How the two states were compared.
        method: Option<EffectMethod>,
        /// With over without.
        ratio_of_geometric_means: Option<EffectView>,
        /// The reduction in per cent; of noise absent.
        reduction_percent: Option<EffectView>,
        /// By which criterion noise is compared: of those that were read the one with most samples.
        criterion: Option<NoiseCriterion>,
        /// With less without in dB, for noise: below 0 is lower with the control.
        difference_level: Option<LevelDifferenceView>,
        /// Two-sided p value of no difference.
        p_value: Option<f64>,
        /// Probability that exposure is lower with the control.
        probability_lowered: Option<f64>,
        /// Probability that the reduction is at least the target.
        probability_target_met: Option<f64>,
        /// By how many per cent the control is meant to lower exposure.
        target_reduction_percent: Option<f64>,
        /// The verdict.
        verdict: Option<Verdict>,
        /// The answer to the target.
        target: Option<TargetAnswer>,
        /// Whether what remains in the breathing zone is below the action level or the limit; never of a respirator.
        sufficiency: Option<Sufficiency>,
        /// Further shifts in each state that would settle an undecided verdict.
        further_samples: Option<i64>,
        /// The comparison at the same arc time, where every shift states it.
        adjusted_for_arc_time: Option<AdjustedView>,
        /// What is taken out between inlet and outlet; never beside a verdict.
        removal_efficiency: Option<RemovalView>,
        /// The verdict in plain words.
        sentence: String,
        /// Why something is absent, or needs care.
        flags: Vec<String>,
        /// How the numbers came about, where asked for.
        working: Option<Vec<Step>>,
    }
}
