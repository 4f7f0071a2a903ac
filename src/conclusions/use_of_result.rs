//! What a result may be used for, as a table: purpose, cover, representativeness and position decide.

use crate::model::facts::sampling::{Covers, Position, Purpose, Sample, SampleOutcome};
use crate::words;

words! {
    /// Why a sample is left out of something, or stands beside it.
    pub enum LeftOutReason {
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
        /// Only accepted results are asked for, and its result is not accepted yet.
        NotAccepted = "not_accepted",
        /// It has a result and no concentration can be made of it.
        NoConcentration = "no_concentration",
        /// Its unit does not convert into that of the agent's limit.
        UnitNotOfLimit = "unit_not_of_limit",
        /// The worst case was looked for.
        WorstCase = "worst_case",
        /// It was taken after a complaint.
        Complaint = "complaint",
        /// A control was tried, and the controls ran otherwise than the era says or this was not recorded.
        ControlTrial = "control_trial",
        /// The day was not like other days.
        NotRepresentative = "not_representative",
        /// It was taken during an upset of the process.
        Upset = "upset",
        /// It was taken during an emergency.
        Emergency = "emergency",
        /// It covers part of a shift and nothing is stated of the rest.
        PartOfShift = "part_of_shift",
        /// The shift was short.
        ShortShift = "short_shift",
        /// It is a short-term sample.
        ShortTerm = "short_term",
        /// It was not taken in the breathing zone.
        Position = "position",
        /// It is noise, and no dose can be made of its result: no criterion is named, or it is no A-weighted level or dose.
        NoNoiseDose = "no_noise_dose",
        /// Its noise was read by other criteria only.
        OtherCriterion = "other_criterion",
    }
}

/// Whether a result counts in a group's standing, from the freest to the strictest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum StandingUse {
    /// It counts.
    Counts,
    /// It may only raise.
    OnlyUpward,
    /// It counts in the limbs of short-term, excursion and ceiling limits.
    ShortTermLimbs,
    /// It is shown beside.
    Beside,
    /// Never.
    Never,
}

/// Whether a result counts in a profile and in the mean of a dose, from the freest to the strictest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ProfileUse {
    /// It counts.
    Counts,
    /// It counts if the controls ran as the era says.
    IfControlsAsInEra,
    /// It is shown beside.
    Beside,
    /// Never.
    Never,
}

/// Whether a result counts in the verdict on a control, from the freest to the strictest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum VerdictUse {
    /// It counts, at its own position.
    Counts,
    /// It counts among short-term samples, apart from the others.
    Apart,
    /// Never.
    Never,
}

/// What a result may be used for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Uses {
    /// The worker's own record, notice and measured day.
    pub own_record: bool,
    /// The standing of the group.
    pub standing: StandingUse,
    /// The profile of the group.
    pub profile: ProfileUse,
    /// The verdict on a control.
    pub verdict: VerdictUse,
    /// What narrows the uses, strictest first.
    pub reasons: Vec<LeftOutReason>,
}

/// A row of the table.
const fn row(
    own_record: bool,
    standing: StandingUse,
    profile: ProfileUse,
    verdict: VerdictUse,
) -> (bool, StandingUse, ProfileUse, VerdictUse) {
    (own_record, standing, profile, verdict)
}

impl Uses {
    /// A whole shift, routine, baseline or other, representative; task samples enter the worker's TWA alike.
    pub fn all() -> Self {
        Self {
            own_record: true,
            standing: StandingUse::Counts,
            profile: ProfileUse::Counts,
            verdict: VerdictUse::Counts,
            reasons: Vec::new(),
        }
    }

    /// What a sample of an event with these purposes may be used for: the strictest row that it falls under, use by use.
    pub fn of(sample: &Sample, purposes: &[Purpose]) -> Self {
        use LeftOutReason as Reason;
        let mut uses = Self::all();
        if sample.came_out() != SampleOutcome::Valid {
            uses.narrow(
                row(false, StandingUse::Never, ProfileUse::Never, VerdictUse::Never),
                Self::outcome(sample.came_out()),
            );
        }
        if sample.position != Position::BreathingZone {
            let verdict = if sample.is_blank() { VerdictUse::Never } else { VerdictUse::Counts };
            uses.narrow(row(false, StandingUse::Never, ProfileUse::Never, verdict), Some(Reason::Position));
        }
        if sample.covered() == Covers::ShortTerm {
            let short = row(true, StandingUse::ShortTermLimbs, ProfileUse::Never, VerdictUse::Apart);
            uses.narrow(short, Some(Reason::ShortTerm));
        }
        let unlike = row(true, StandingUse::Beside, ProfileUse::Never, VerdictUse::Never);
        if !sample.is_representative() {
            uses.narrow(unlike, Some(Reason::NotRepresentative));
        }
        let selected = row(true, StandingUse::Counts, ProfileUse::Beside, VerdictUse::Counts);
        let tried = row(true, StandingUse::OnlyUpward, ProfileUse::IfControlsAsInEra, VerdictUse::Counts);
        for purpose in purposes {
            match purpose {
                Purpose::Routine | Purpose::Baseline | Purpose::Other => {}
                Purpose::WorstCase => uses.narrow(selected, Some(Reason::WorstCase)),
                Purpose::Complaint => uses.narrow(selected, Some(Reason::Complaint)),
                Purpose::ControlTrial => uses.narrow(tried, Some(Reason::ControlTrial)),
                Purpose::Upset => uses.narrow(unlike, Some(Reason::Upset)),
                Purpose::Emergency => uses.narrow(unlike, Some(Reason::Emergency)),
            }
        }
        uses
    }

    /// Part of a shift, the rest not stated: the own record as a range, no profile. (In the standing such a TWA counts
    /// only where its lower end decides, which the standing itself looks at.)
    pub fn narrow_to_part_of_shift(&mut self) {
        let part = row(true, StandingUse::Counts, ProfileUse::Never, VerdictUse::Counts);
        self.narrow(part, Some(LeftOutReason::PartOfShift));
    }

    /// A short shift: the own record, and a standing only upward.
    pub fn narrow_to_short_shift(&mut self) {
        let short = row(true, StandingUse::OnlyUpward, ProfileUse::Never, VerdictUse::Counts);
        self.narrow(short, Some(LeftOutReason::ShortShift));
    }

    /// The strictest of two, use by use.
    #[must_use]
    pub fn and(mut self, other: &Self) -> Self {
        self.narrow((other.own_record, other.standing, other.profile, other.verdict), None);
        for reason in &other.reasons {
            if !self.reasons.contains(reason) {
                self.reasons.push(*reason);
            }
        }
        self.reasons.sort_unstable();
        self
    }

    fn narrow(
        &mut self,
        (own_record, standing, profile, verdict): (bool, StandingUse, ProfileUse, VerdictUse),
        reason: Option<LeftOutReason>,
    ) {
        self.own_record &= own_record;
        self.standing = self.standing.max(standing);
        self.profile = self.profile.max(profile);
        self.verdict = self.verdict.max(verdict);
        self.reasons.extend(reason.filter(|reason| !self.reasons.contains(reason)));
        self.reasons.sort_unstable();
    }

    /// The reason of an outcome that is not valid.
    pub fn outcome(outcome: SampleOutcome) -> Option<LeftOutReason> {
        Some(match outcome {
            SampleOutcome::Valid => return None,
            SampleOutcome::PumpFailed => LeftOutReason::PumpFailed,
            SampleOutcome::Lost => LeftOutReason::Lost,
            SampleOutcome::Damaged => LeftOutReason::Damaged,
            SampleOutcome::Contaminated => LeftOutReason::Contaminated,
            SampleOutcome::NotAnalysed => LeftOutReason::NotAnalysed,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::sample;
    use serde_json::{Value, json};

    fn uses(change: &Value, purposes: &[Purpose]) -> (bool, StandingUse, ProfileUse, VerdictUse) {
        let uses = Uses::of(&sample(50, change).fact, purposes);
        (uses.own_record, uses.standing, uses.profile, uses.verdict)
    }

    // The table of this registry's rules, row by row.
    #[test]
    fn every_row_of_the_table_says_what_a_result_may_be_used_for() {
        use {ProfileUse as P, StandingUse as S, VerdictUse as V};
        let plain = json!({});
        for purpose in [Purpose::Routine, Purpose::Baseline, Purpose::Other] {
            assert_eq!(uses(&plain, &[purpose]), (true, S::Counts, P::Counts, V::Counts));
        }
        for purpose in [Purpose::WorstCase, Purpose::Complaint] {
            assert_eq!(uses(&plain, &[purpose]), (true, S::Counts, P::Beside, V::Counts));
        }
        let trial = (true, S::OnlyUpward, P::IfControlsAsInEra, V::Counts);
        assert_eq!(uses(&plain, &[Purpose::ControlTrial]), trial);
        let unlike = (true, S::Beside, P::Never, V::Never);
        assert_eq!(uses(&plain, &[Purpose::Upset]), unlike);
        assert_eq!(uses(&plain, &[Purpose::Emergency]), unlike);
        assert_eq!(uses(&json!({"representative": false}), &[Purpose::Routine]), unlike);
        let short = json!({"covers": "short_term"});
        assert_eq!(uses(&short, &[Purpose::Routine]), (true, S::ShortTermLimbs, P::Never, V::Apart));
        for position in ["area", "inlet", "outlet", "background"] {
            let fixed = json!({"position": position});
            assert_eq!(uses(&fixed, &[Purpose::Routine]), (false, S::Never, P::Never, V::Counts));
        }
        let lost = json!({"outcome": "lost"});
        assert_eq!(uses(&lost, &[Purpose::Routine]), (false, S::Never, P::Never, V::Never));
    }

    #[test]
    fn the_strictest_row_decides_use_by_use() {
        let both = uses(&json!({}), &[Purpose::Routine, Purpose::ControlTrial, Purpose::WorstCase]);
        assert_eq!(both, (true, StandingUse::OnlyUpward, ProfileUse::Beside, VerdictUse::Counts));
        let reasons = Uses::of(&sample(50, &json!({})).fact, &[Purpose::Upset, Purpose::WorstCase]).reasons;
        assert_eq!(reasons, [LeftOutReason::WorstCase, LeftOutReason::Upset]);
    }
}
