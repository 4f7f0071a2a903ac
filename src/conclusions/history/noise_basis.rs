//! The mean level of noise behind an interval, and what equal-energy data there are.

use crate::conclusions::history::basis::{
    Basis, Behind, EraGrounds, GapKind, Grounds, mean_minutes, own_behind, own_shifts,
};
use crate::conclusions::history::evidence::{EraMean, GroupExposure, HistoryEvidence, NoiseMean, OwnShift};
use crate::conclusions::history::thresholds::OWN_DATES_ENOUGH;
use crate::hygiene::cumulative::MeanWithLimits;
use crate::hygiene::equal_energy::energy_mean;
use crate::hygiene::level_profile::level_profile;
use crate::hygiene::profile::MeanFigure;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::measured::Measured;

/// The criteria in the order in which the levels of a history are taken: the one that hearing conservation counts by
/// first.
pub const TAKEN: [NoiseCriterion; 3] =
    [NoiseCriterion::OshaActionLevel, NoiseCriterion::OshaLimit, NoiseCriterion::Niosh];

/// What is measured of noise in an era: the worker's own shifts where there are enough, else the group's.
pub fn noise_grounds(evidence: &HistoryEvidence<'_>, group: &GroupExposure, era: &EraMean) -> EraGrounds {
    let Some(noise) = era.noise else {
        return EraGrounds::Nothing(if era.n > 0 { GapKind::DataCannotTell } else { GapKind::NoDataInEra });
    };
    let own = |criterion: NoiseCriterion| {
        own_shifts(evidence, group, era, |own| own.mean_twa.filter(|_| own.criterion == Some(criterion)))
    };
    let mine = own(noise.criterion);
    let behind = own_behind(&mine);
    let levels = levels_of(&mine);
    let mean = level_profile(&levels, None).mean_level;
    if let (Some(mean), true, Some(range)) = (mean, behind.date_count >= OWN_DATES_ENOUGH, range_of(&levels))
    {
        let energies = own(NoiseCriterion::Niosh);
        let enough = own_behind(&energies).date_count >= OWN_DATES_ENOUGH;
        let equal_energy = if enough { energy_mean(&levels_of(&energies)) } else { noise.equal_energy };
        return EraGrounds::Measured(Grounds {
            noise: Some(NoiseMean { range, equal_energy, ..noise }),
            ..Grounds::measured(Basis::Own, Some(mean_of(mean)), mean_minutes(&mine), behind)
        });
    }
    EraGrounds::Measured(Grounds {
        noise: Some(noise),
        ..Grounds::measured(Basis::Group, era.mean, era.shift_minutes, Behind::of_era(era))
    })
}

/// A mean of a profile as a history takes it.
pub fn mean_of(mean: MeanFigure) -> MeanWithLimits {
    MeanWithLimits { estimate: mean.estimate, lower: mean.lower_95, upper: mean.upper_95 }
}

/// From the least that any level can be to the most; `None` without levels.
pub fn range_of(levels: &[Measured]) -> Option<Measured> {
    let all_below = levels.iter().all(|level| matches!(level, Measured::Below(_)));
    let lower = levels.iter().map(|level| level.lower()).reduce(f64::min)?;
    let upper = levels
        .iter()
        .map(|level| level.upper())
        .reduce(|one, two| one.zip(two).map(|(one, two)| one.max(two)))
        .flatten();
    Some(match upper {
        Some(upper) if all_below => Measured::Below(upper),
        Some(upper) if lower >= upper => Measured::Value(upper),
        Some(upper) => Measured::Between { lower, upper },
        None => Measured::Above(lower),
    })
}

fn levels_of(own: &[(&OwnShift, Measured)]) -> Vec<Measured> {
    own.iter().map(|(_, level)| *level).collect()
}
