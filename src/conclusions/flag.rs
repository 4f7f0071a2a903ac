//! The words that conclusions carry in `flags` and as reasons, each explained once.

use crate::words;

words! {
    /// What a reader must know of a sample, a shift average or a profile before using it.
    pub enum Flag {
        /// The flow changed by more than 5 %; the mean flow is used, the value by the lower flow stands beside it.
        FlowChanged = "flow_changed",
        /// The mean field blank is above a tenth of the sample's mass or above its reporting limit.
        BlankHigh = "blank_high",
        /// What is known does not decide whether a level is reached, because a reporting limit is too high for it.
        ReportingLimitTooHigh = "reporting_limit_too_high",
        /// The flow calibrator's own calibration is missing or older than twelve months.
        CalibratorOverdue = "calibrator_overdue",
        /// The sample's outcome is not valid: no concentration is made.
        OutcomeNotValid = "outcome_not_valid",
        /// The volume of air is not known, so a mass gives no concentration.
        NoVolume = "no_volume",
        /// The volume of air lies outside what the sample's method asks for.
        VolumeOutsideMethod = "volume_outside_method",
        /// The sample was analysed after the holding time of its method.
        AnalysedAfterHoldingTime = "analysed_after_holding_time",
        /// How long was sampled is not known.
        NoMinutes = "no_minutes",
        /// The laboratory does not say whether the blank is taken off; nothing was subtracted.
        BlankCorrectionUnknown = "blank_correction_unknown",
        /// Field blanks of this medium and lot were taken and none came through: nothing was subtracted.
        BlanksLost = "blanks_lost",
        /// Field blanks of this medium and lot have no usable result for this agent yet: nothing was subtracted.
        BlanksAwaited = "blanks_awaited",
        /// The event has no field blank of this medium and lot: nothing was subtracted.
        NoFieldBlank = "no_field_blank",
        /// The mean of the field blanks was subtracted.
        BlankSubtracted = "blank_subtracted",
        /// The laboratory estimated the value between its detection and reporting limit; it stands as that range.
        Estimated = "estimated",
        /// The filter was overloaded: the value is a least value.
        Overloaded = "overloaded",
        /// The reported concentration differs by more than 5 % from mass over volume.
        ReportedConcentrationDiffers = "reported_concentration_differs",
        /// The result is in a unit that does not convert into the unit of the agent's limit.
        UnitNotOfLimit = "unit_not_of_limit",
        /// Chromium(VI) lies above total chromium on the same sample by more than 25 %.
        AboveTotal = "above_total",
        /// The result was replaced, or waits for a choice between two analyses; it is used in no conclusion.
        NotStanding = "not_standing",
        /// The result or its sample is voided; it is used in no conclusion.
        Voided = "voided",
        /// A result, or a sample with a known result, was voided; those left out this way are listed.
        ChangedAfterResult = "changed_after_result",
        /// An agent that the laboratory was asked for has no result yet.
        ResultAwaited = "result_awaited",
        /// Not every result behind it is accepted yet.
        NotAccepted = "not_accepted",
        /// Less than 75 % of the shift was sampled and nothing is stated of the rest: the average is a range.
        ShiftPartlySampled = "shift_partly_sampled",
        /// The worker's shift was shorter than 75 % of the event's; it leaves the profile.
        ShortShift = "short_shift",
        /// Which controls ran was not recorded although one was in place.
        ControlStateNotRecorded = "control_state_not_recorded",
        /// A control that was in place did not run.
        ControlOff = "control_off",
        /// A control ran for part of the sampled time.
        ControlPartlyRunning = "control_partly_running",
        /// The group of the samples is not known, so no limit is compared.
        GroupUnknown = "group_unknown",
        /// The result names no criterion of noise, or is no A-weighted level or dose, or its minutes are not known: no dose
        /// is made of it.
        NoNoiseDose = "no_noise_dose",
        /// Noise was read by the other threshold only, which bounds the level that is compared.
        OtherThresholdOnly = "other_threshold_only",
        /// No sample of the shift gives an 8-hour average.
        NoEightHourAverage = "no_eight_hour_average",
        /// The agent has no 8-hour limit in force here, so there is no 8-hour standing.
        NoEightHourLimit = "no_eight_hour_limit",
        /// The standard has no step-down by results: a standing never falls by itself.
        NoStepDown = "no_step_down",
        /// Fewer than three dates: too few to describe this group.
        FewDates = "few_dates",
        /// No result of this era enters the profile.
        NoResults = "no_results",
        /// Some values are ranges; the fit takes each between its two ends.
        RangesUsed = "ranges_used",
        /// Some values are least values (overloaded filters).
        LeastValues = "least_values",
        /// A standing at or above the action level beside a 95th percentile below it, or the other way round.
        StandingAndProfileDisagree = "standing_and_profile_disagree",
        /// The 95 % interval of a worker's own mean excludes the group's mean: look whether it is one group.
        WorkersApart = "workers_apart",
    }
}

impl Flag {
    /// Whether a result with this flag may never lower or end a standing or a duty.
    pub fn blocks_lowering(self) -> bool {
        matches!(
            self,
            Self::FlowChanged | Self::BlankHigh | Self::ReportingLimitTooHigh | Self::CalibratorOverdue
        )
    }
}

/// Adds a flag once; flags stand in the order of their table.
pub(crate) fn raise(flags: &mut Vec<Flag>, flag: Flag) {
    if let Err(place) = flags.binary_search(&flag) {
        flags.insert(place, flag);
    }
}

/// Adds a flag where something holds.
pub(crate) fn raise_if(flags: &mut Vec<Flag>, holds: bool, flag: Flag) {
    if holds {
        raise(flags, flag);
    }
}
