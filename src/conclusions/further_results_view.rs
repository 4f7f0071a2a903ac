//! How many further results would settle where the 95th percentile lies, if mean and spread stay as they are.

use crate::conclusions::profile_figures::ProfileFigures;
use crate::conclusions::profile_view::{EraBeside, EraView};
use crate::hygiene::en_689::FEWEST_STATISTICAL;
use crate::hygiene::further_results::further_results;
use crate::model::measured::Measured;
use crate::model::unit::Dimension;
use crate::record;

/// The percentile that a limit is held against.
const PERCENTILE: f64 = 0.95;
/// The confidence of EN 689, and the customary one.
const OF_EN_689: f64 = 0.70;
const SURE: f64 = 0.95;

record! {
    /// How many further results would bring an upper limit of the 95th percentile below the limit, if mean and spread stay as
    /// they are: a projection, no promise.
    pub struct FurtherResultsView {
        /// The upper limit with 70 % confidence (EN 689); 0 where it lies there already, absent where the percentile itself
        /// does not, or more than 1,000 would be needed.
        upper_70: Option<i64>,
        /// The same with 95 % confidence.
        upper_95: Option<i64>,
    }
}

impl FurtherResultsView {
    /// Those of an era: of six results or more, all of them detected, and with a limit; of others the limits of percentiles do
    /// not come from a tolerance factor, or nothing is projected from so few.
    pub fn of(era: &EraView, figures: &ProfileFigures, beside: &EraBeside) -> Option<Self> {
        let limit = era.limit.as_ref().filter(|_| figures.n_below == 0)?;
        let n = u32::try_from(figures.n).ok()?;
        if usize::try_from(n).is_ok_and(|n| n < FEWEST_STATISTICAL) {
            return None;
        }
        let (mean, spread, level) = if limit.unit.dimension() == Dimension::SoundLevel {
            (beside.mean_level.as_ref()?.estimate, beside.standard_deviation_level?, limit.value)
        } else {
            match figures.geometric_mean.as_ref()?.measured {
                Measured::Value(mean) if mean > 0.0 => {
                    (mean.ln(), figures.geometric_standard_deviation?.ln(), limit.value.ln())
                }
                _ => return None,
            }
        };
        // By how many standard deviations the limit lies above the mean, on the axis of the fit.
        let distance = (spread > 0.0).then(|| (level - mean) / spread)?;
        let further = |confidence| further_results(distance, n, PERCENTILE, confidence).map(i64::from);
        let found = Self { upper_70: further(OF_EN_689), upper_95: further(SURE) };
        (found.upper_70.is_some() || found.upper_95.is_some()).then_some(found)
    }
}
