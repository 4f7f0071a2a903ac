//! Which shift averages stand behind a profile, and what its posterior distribution says of them once more.

use crate::conclusions::flag::Flag;
use crate::conclusions::left_out::LeftOut;
use crate::conclusions::profile_view::ProfileView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::hygiene::censored::LogResult;
use crate::hygiene::posterior::{OUTSIDE_PRIOR, Posterior, Prior, PriorBox};
use crate::model::measured::Measured;
use crate::model::unit::{Dimension, Unit};
use crate::pages::charts::said::counted;

/// A shift of an era in the unit of its profile.
#[derive(Debug, Clone, Copy)]
pub struct EraShift<'v> {
    /// The shift average as the API answers it.
    pub view: &'v ShiftAverageView,
    /// Its 8-hour average.
    pub value: Measured,
    /// Whether it enters the profile; else it stands beside.
    pub in_profile: bool,
}

impl EraShift<'_> {
    /// Whether somebody has accepted everything behind it.
    pub fn is_accepted(&self) -> bool {
        !self.view.flags.contains(&Flag::NotAccepted)
    }
}

/// The unit of a profile's figures; `None` where it has no figure.
pub fn unit_of(profile: &ProfileView) -> Option<Unit> {
    let figures = &profile.1.0;
    let of_limit = profile.0.limit.as_ref().map(|limit| limit.unit);
    of_limit.or_else(|| figures.largest_result.as_ref().map(|largest| largest.unit))
}

/// Whether a unit is one of levels of sound, which stand on a linear axis.
pub fn is_level(unit: Unit) -> bool {
    unit.dimension() == Dimension::SoundLevel
}

/// The shifts of an era, in the order of their dates; those left out altogether are not among them.
pub fn shifts_of<'v>(profile: &ProfileView, shifts: &'v [ShiftAverageView]) -> Vec<EraShift<'v>> {
    let era = &profile.0;
    let Some(unit) = unit_of(profile) else { return Vec::new() };
    let holds = |list: &[LeftOut], shift: &ShiftAverageView| {
        shift.samples.iter().any(|sample| list.iter().any(|one| one.sample_id == *sample))
    };
    let mut found: Vec<EraShift<'v>> = shifts
        .iter()
        .filter(|shift| shift.agent_code == era.agent_code && shift.criterion == era.criterion)
        .filter(|shift| era.from.is_none_or(|from| from <= shift.shift_date))
        .filter(|shift| era.to.is_none_or(|to| shift.shift_date < to))
        .filter(|shift| !holds(&era.left_out, shift))
        .filter_map(|view| {
            let value = view.eight_hour_twa.as_ref()?.in_unit(unit)?;
            Some(EraShift { view, value, in_profile: !holds(&era.beside, view) })
        })
        .collect();
    found.sort_by_key(|shift| (shift.view.shift_date, shift.view.worker_id));
    found
}

/// The posterior behind a profile, made of the same results with the same prior; `None` where the profile has none, its
/// results press on the prior, or not all of them are at hand, so that nothing else than the profile would be told.
pub fn posterior_of(profile: &ProfileView, shifts: &[EraShift<'_>]) -> Option<Posterior> {
    let figures = &profile.1.0;
    let prior = &figures.posterior.as_ref()?.prior;
    let unit = unit_of(profile)?;
    let results: Vec<Measured> =
        shifts.iter().filter(|shift| shift.in_profile).map(|shift| shift.value).collect();
    let pressed = profile.1.1.flags.iter().any(|flag| flag == OUTSIDE_PRIOR);
    if pressed || is_level(unit) || counted(results.len()) != figures.n {
        return None;
    }
    let logs: Option<Vec<LogResult>> = results.into_iter().map(LogResult::of).collect();
    let prior = PriorBox {
        gm_lower: prior.gm_lower,
        gm_upper: prior.gm_upper,
        gsd_lower: prior.gsd_lower,
        gsd_upper: prior.gsd_upper,
    };
    Posterior::of(&logs?, Prior::Box(prior))
}

/// The middle and the spread of a fitted distribution on the axis of its plot: logarithms of concentrations, or levels.
pub fn fitted(profile: &ProfileView) -> Option<(f64, f64)> {
    let (figures, beside) = (&profile.1.0, &profile.1.1);
    if unit_of(profile).is_some_and(is_level) {
        return beside.mean_level.as_ref().map(|mean| mean.estimate).zip(beside.standard_deviation_level);
    }
    match figures.geometric_mean.as_ref()?.measured {
        Measured::Value(mean) if mean > 0.0 => Some((mean.ln(), figures.geometric_standard_deviation?.ln())),
        _ => None,
    }
}
