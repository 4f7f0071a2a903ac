//! A worker's day of noise: the doses of one date over groups and sites.

use crate::conclusions::history::evidence::OwnShift;
use crate::hygiene::noise::{compared_level, sum_of_doses};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::GroupId;
use crate::model::measured::Measured;
use std::collections::BTreeSet;

/// The 8-hour level (dBA) of a date by one criterion from the own shifts of that date; `None` where none of them tells.
///
/// Where only the dose by the other OSHA threshold was read it bounds the one that is wanted. `unmeasured` is whether the
/// worker also worked where nobody measured: then the sum is only the least it can be.
pub fn noise_day(own: &[&OwnShift], wanted: NoiseCriterion, unmeasured: bool) -> Option<Measured> {
    let parts: BTreeSet<GroupId> = own.iter().map(|own| own.group).collect();
    let known: Vec<Option<Measured>> = parts
        .into_iter()
        .map(|group| {
            let read = |criterion| {
                let of = own.iter().find(|own| own.group == group && own.criterion == Some(criterion));
                of.and_then(|own| own.dose)
            };
            dose_by(wanted, read)
        })
        .collect();
    let doses: Vec<Measured> = known.iter().flatten().copied().collect();
    if doses.is_empty() {
        return None;
    }
    let sum = sum_of_doses(&doses);
    let part_unknown = unmeasured || doses.len() < known.len();
    Some(compared_level(if part_unknown { Measured::Above(sum.lower()) } else { sum }, wanted))
}

/// The dose by a criterion, else what the other threshold says of it: with that of 80 dBA no less counts than with that
/// of 90.
fn dose_by(wanted: NoiseCriterion, read: impl Fn(NoiseCriterion) -> Option<Measured>) -> Option<Measured> {
    read(wanted).or_else(|| match wanted {
        NoiseCriterion::OshaActionLevel => Some(Measured::Above(read(NoiseCriterion::OshaLimit)?.lower())),
        NoiseCriterion::OshaLimit => {
            let most = read(NoiseCriterion::OshaActionLevel)?.upper();
            Some(most.map_or(Measured::Above(0.0), |upper| Measured::Between { lower: 0.0, upper }))
        }
        NoiseCriterion::Niosh => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::{date, id};
    use crate::model::unit::Unit;
    use NoiseCriterion::{Niosh, OshaActionLevel, OshaLimit};

    fn own(group: u128, criterion: NoiseCriterion, dose: f64) -> OwnShift {
        let dose = Measured::Value(dose);
        OwnShift {
            date: date("2026-03-02"),
            group: id(group).into(),
            site: id(1).into(),
            unit: Unit::DbA,
            criterion: Some(criterion),
            dose: Some(dose),
            twa: Some(compared_level(dose, criterion)),
            mean_twa: None,
            may_lower: true,
            short_term: None,
            longer_mean: None,
            shift_minutes: 240.0,
            own_record: true,
            enters_profile: false,
            not_accepted: 0,
            basis: Vec::new(),
        }
    }

    // 25 % + 25 % = 50 %, which is 85 dBA: 29 CFR 1910.95(c)(1). Either alone is 80 dBA.
    #[test]
    fn doses_of_one_date_add_over_groups() {
        let (one, two) = (own(2, OshaActionLevel, 25.0), own(3, OshaActionLevel, 25.0));
        assert_eq!(noise_day(&[&one, &two], OshaActionLevel, false), Some(Measured::Value(85.0)));
        assert_eq!(noise_day(&[&one], OshaActionLevel, false), Some(Measured::Value(80.0)));
        assert_eq!(noise_day(&[&one], OshaActionLevel, true), Some(Measured::Above(80.0)));
        assert_eq!(
            noise_day(&[&one, &own(4, Niosh, 90.0)], OshaActionLevel, false),
            Some(Measured::Above(80.0))
        );
    }

    #[test]
    fn the_other_threshold_bounds_the_day() {
        assert_eq!(
            noise_day(&[&own(2, OshaLimit, 50.0)], OshaActionLevel, false),
            Some(Measured::Above(85.0))
        );
        let silent = noise_day(&[&own(2, OshaActionLevel, 0.0)], OshaLimit, false);
        assert_eq!(silent, Some(Measured::Below(90.0)));
        assert_eq!(noise_day(&[&own(2, Niosh, 90.0)], OshaActionLevel, false), None);
    }
}
