//! Whose mean stands behind an interval: the worker's own, the group's, a posterior, a judgement, or none.

use crate::conclusions::history::evidence::{EraMean, GroupExposure, HistoryEvidence, NoiseMean, OwnShift};
use crate::conclusions::history::noise_basis::noise_grounds;
use crate::conclusions::history::thresholds::OWN_DATES_ENOUGH;
use crate::hygiene::cumulative::MeanWithLimits;
use crate::hygiene::profile::{ProfileMethod, estimated_mean};
use crate::model::facts::group::Judgement;
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::words;
use chrono::NaiveDate;
use std::collections::BTreeSet;

words! {
    /// Whose mean an interval takes.
    pub enum Basis {
        /// The worker's own shifts.
        Own = "own",
        /// The group's shifts.
        Group = "group",
        /// The posterior mean: too little detected for an estimate.
        Posterior = "posterior",
        /// A hygienist's judgement.
        Judgement = "judgement",
        /// Nothing.
        None = "none",
    }
}

words! {
    /// Why nothing is known of a time.
    pub enum GapKind {
        /// Not employed here.
        NotEmployedHere = "not_employed_here",
        /// Employed, and in no group.
        NoAssignment = "no_assignment",
        /// In a group without a measured shift or judged mean in the era.
        NoDataInEra = "no_data_in_era",
        /// There are results, and they tell nothing of the mean.
        DataCannotTell = "data_cannot_tell",
    }
}

/// How many shifts stand behind a mean, and when they were.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Behind {
    /// Shifts.
    pub n: usize,
    /// Workers.
    pub worker_count: usize,
    /// Dates.
    pub date_count: usize,
    /// The first date.
    pub first: Option<NaiveDate>,
    /// The last date.
    pub last: Option<NaiveDate>,
    /// Results that are not accepted yet.
    pub not_accepted: usize,
}

impl Behind {
    /// The shifts of a group's era.
    pub(super) fn of_era(era: &EraMean) -> Self {
        Self {
            n: era.n,
            worker_count: era.worker_count,
            date_count: era.date_count,
            first: era.first,
            last: era.last,
            not_accepted: era.not_accepted,
        }
    }
}

/// The mean of a time in a group.
#[derive(Debug, Clone, PartialEq)]
pub struct Grounds {
    /// Whose.
    pub basis: Basis,
    /// The mean in the unit of the history; absent without an estimate.
    pub mean: Option<MeanWithLimits>,
    /// What else is known of noise.
    pub noise: Option<NoiseMean>,
    /// Whether the prior of a posterior was widened, since the results pressed on it.
    pub prior_widened: bool,
    /// Minutes of the shifts behind it.
    pub shift_minutes: Option<f64>,
    /// What stands behind it; absent for a judgement and for none.
    pub behind: Option<Behind>,
    /// Why nothing is known, where that is so.
    pub gap: Option<GapKind>,
}

impl Grounds {
    /// A mean of so many minutes a shift, with the shifts that it rests on.
    pub(super) fn measured(
        basis: Basis,
        mean: Option<MeanWithLimits>,
        shift_minutes: Option<f64>,
        behind: Behind,
    ) -> Self {
        Self { shift_minutes, behind: Some(behind), ..Self::unmeasured(basis, mean) }
    }

    /// A mean that rests on no shift, or none.
    fn unmeasured(basis: Basis, mean: Option<MeanWithLimits>) -> Self {
        Self { basis, mean, noise: None, prior_widened: false, shift_minutes: None, behind: None, gap: None }
    }

    /// Whether it rests on at least one measured shift.
    pub fn is_measured(&self) -> bool {
        matches!(self.basis, Basis::Own | Basis::Group | Basis::Posterior)
    }
}

/// What the measured shifts of a group and the worker say of one era.
#[derive(Debug, Clone, PartialEq)]
pub enum EraGrounds {
    /// A mean, or a posterior to come.
    Measured(Grounds),
    /// Nothing; with the kind of gap it leaves.
    Nothing(GapKind),
}

/// What is measured of an era; without an era of the group nothing is.
pub fn era_grounds(
    evidence: &HistoryEvidence<'_>,
    group: &GroupExposure,
    era: Option<&EraMean>,
    unit: Unit,
) -> EraGrounds {
    let Some(era) = era else { return EraGrounds::Nothing(GapKind::NoDataInEra) };
    if evidence.agent.is_noise() {
        return noise_grounds(evidence, group, era);
    }
    let own = own_of_era(evidence, group, era, unit);
    if let Some(mean) = enough(&own).and_then(|twas| estimated_mean(&twas)) {
        let mean = MeanWithLimits { estimate: mean.estimate, lower: mean.lower_95, upper: mean.upper_95 };
        let minutes = mean_minutes(&own);
        return EraGrounds::Measured(Grounds::measured(Basis::Own, Some(mean), minutes, own_behind(&own)));
    }
    let grounds = |basis, mean| {
        EraGrounds::Measured(Grounds {
            prior_widened: basis == Basis::Posterior && era.posterior.is_some_and(|one| one.prior_widened),
            ..Grounds::measured(basis, mean, era.shift_minutes, Behind::of_era(era))
        })
    };
    match (era.method, era.mean) {
        (ProfileMethod::Exact | ProfileMethod::MaximumLikelihood, Some(mean)) => {
            match in_unit(evidence, mean, era.unit, unit) {
                Some(mean) => grounds(Basis::Group, Some(mean)),
                None => EraGrounds::Nothing(GapKind::DataCannotTell),
            }
        }
        (ProfileMethod::PosteriorOnly, _) if era.posterior.is_some() => {
            let mean = era.posterior.and_then(|posterior| in_unit(evidence, posterior.mean, era.unit, unit));
            match mean {
                Some(mean) => grounds(Basis::Posterior, Some(mean)),
                None => EraGrounds::Nothing(GapKind::DataCannotTell),
            }
        }
        _ if era.n > 0 => EraGrounds::Nothing(GapKind::DataCannotTell),
        _ => EraGrounds::Nothing(GapKind::NoDataInEra),
    }
}

/// The averages of the worker's own shifts of an era, where they stand behind the mean.
pub fn own_results(
    evidence: &HistoryEvidence<'_>,
    group: &GroupExposure,
    era: &EraMean,
    unit: Unit,
) -> Option<Vec<Measured>> {
    enough(&own_of_era(evidence, group, era, unit)).filter(|twas| estimated_mean(twas).is_some())
}

/// The averages of own shifts on enough different dates.
fn enough(own: &[(&OwnShift, Measured)]) -> Option<Vec<Measured>> {
    (own_behind(own).date_count >= OWN_DATES_ENOUGH).then(|| own.iter().map(|(_, twa)| *twa).collect())
}

/// A mean in the unit of the history.
fn in_unit(
    evidence: &HistoryEvidence<'_>,
    mean: MeanWithLimits,
    from: Unit,
    to: Unit,
) -> Option<MeanWithLimits> {
    let one = |value: f64| match evidence.agent.convert(Measured::Value(value), from, to) {
        Some(Measured::Value(value)) => Some(significant(value)),
        _ => None,
    };
    Some(MeanWithLimits {
        estimate: one(mean.estimate)?,
        lower: mean.lower.and_then(one),
        upper: mean.upper.and_then(one),
    })
}

/// The mean of a piece of time: what is measured, else a judgement with a mean, else none.
pub fn grounds(
    evidence: &HistoryEvidence<'_>,
    measured: &EraGrounds,
    judgement: Option<&Version<Judgement>>,
    unit: Unit,
) -> Grounds {
    let gap = match measured {
        EraGrounds::Measured(grounds) => return grounds.clone(),
        EraGrounds::Nothing(gap) => *gap,
    };
    let judged = judgement.and_then(|judgement| judged_mean(evidence, &judgement.fact, unit));
    match judged {
        Some(mean) => Grounds::unmeasured(Basis::Judgement, Some(mean)),
        None => Grounds { gap: Some(gap), ..Grounds::unmeasured(Basis::None, None) },
    }
}

/// A judged mean: the middle of its range, with the range as its limits.
fn judged_mean(evidence: &HistoryEvidence<'_>, judgement: &Judgement, unit: Unit) -> Option<MeanWithLimits> {
    let range = judgement.arithmetic_mean.as_ref()?;
    let lower = evidence.agent.convert(range.lower.measured, range.lower.unit, unit)?.lower();
    let upper = evidence.agent.convert(range.upper.measured, range.upper.unit, unit)?.upper()?;
    Some(MeanWithLimits {
        estimate: significant(f64::midpoint(lower, upper)),
        lower: Some(significant(lower)),
        upper: Some(significant(upper)),
    })
}

/// The worker's usable shifts in a group and era with their averages in the unit of the history, by date.
fn own_of_era<'e>(
    evidence: &HistoryEvidence<'e>,
    group: &GroupExposure,
    era: &EraMean,
    unit: Unit,
) -> Vec<(&'e OwnShift, Measured)> {
    own_shifts(evidence, group, era, |own| evidence.agent.convert(own.mean_twa?, own.unit, unit))
}

/// The worker's usable shifts in a group and era with what is taken of each, by date.
pub(super) fn own_shifts<'e>(
    evidence: &HistoryEvidence<'e>,
    group: &GroupExposure,
    era: &EraMean,
    taken: impl Fn(&OwnShift) -> Option<Measured>,
) -> Vec<(&'e OwnShift, Measured)> {
    let mut own: Vec<(&OwnShift, Measured)> = evidence
        .own
        .iter()
        .filter(|own| own.enters_profile && own.group == group.group && era.holds(own.date))
        .filter_map(|own| Some((own, taken(own)?)))
        .collect();
    own.sort_by_key(|(own, _)| own.date);
    own
}

pub(super) fn own_behind(own: &[(&OwnShift, Measured)]) -> Behind {
    let dates: BTreeSet<NaiveDate> = own.iter().map(|(own, _)| own.date).collect();
    Behind {
        n: own.len(),
        worker_count: usize::from(!own.is_empty()),
        date_count: dates.len(),
        first: dates.first().copied(),
        last: dates.last().copied(),
        not_accepted: own.iter().map(|(own, _)| own.not_accepted).sum(),
    }
}

pub(super) fn mean_minutes(own: &[(&OwnShift, Measured)]) -> Option<f64> {
    let count = f64::from(u32::try_from(own.len()).ok().filter(|count| *count > 0)?);
    Some(significant(own.iter().map(|(own, _)| own.shift_minutes).sum::<f64>() / count))
}
