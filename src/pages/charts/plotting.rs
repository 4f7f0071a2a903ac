//! Where results stand on a probability plot: for several reporting limits, each bound at its own.
//!
//! Positions of detected values and bounds: Helsel and Cohn, Water Resources Research 24 (1988) 1997-2004 (from memory), as in
//! the regression on order statistics of the profile.

use crate::model::measured::Measured;
use crate::pages::charts::said::many;

/// The share of shifts at or below each result, in the order given: from 0 to 1, ends apart.
///
/// A range counts as its upper end if it starts at zero, else as the middle of its logarithms; a least value as itself.
pub fn positions(results: &[Measured]) -> Vec<f64> {
    let place = |result: &Measured| match *result {
        Measured::Value(value) | Measured::Above(value) => (value, false),
        Measured::Below(limit) => (limit, true),
        Measured::Between { lower, upper } if lower <= 0.0 => (upper, true),
        Measured::Between { lower, upper } => ((lower * upper).sqrt(), false),
    };
    let placed: Vec<(f64, bool)> = results.iter().map(place).collect();
    let count = |which: &dyn Fn(f64, bool) -> bool| {
        many(placed.iter().filter(|(value, bound)| which(*value, *bound)).count())
    };
    let mut starts: Vec<f64> = placed.iter().filter(|one| one.1).map(|one| one.0).collect();
    starts.sort_by(f64::total_cmp);
    starts.dedup();
    let lowest = placed.iter().filter(|one| !one.1).map(|one| one.0).fold(f64::INFINITY, f64::min);
    if starts.first().is_none_or(|first| lowest < *first) {
        starts.insert(0, f64::NEG_INFINITY);
    }
    let mut found = vec![0.5; results.len()];
    let mut exceeding = 0.0;
    // Bounds with no detected value between their limits share one probability, and spread evenly below it.
    let mut together: Vec<usize> = Vec::new();
    for (at, &start) in starts.iter().enumerate().rev() {
        let end = starts.get(at + 1).copied().unwrap_or(f64::INFINITY);
        let here = count(&|value, bound| !bound && value >= start && value < end);
        let below = count(&|value, bound| if bound { value <= start } else { value < start });
        let above = exceeding;
        if here > 0.0 {
            spread_below(&mut found, &mut together, exceeding, &placed);
            exceeding += here / (here + below) * (1.0 - exceeding);
        }
        let mut detected = ranked(&placed, |value, bound| !bound && value >= start && value < end);
        for (rank, one) in detected.drain(..).enumerate() {
            found[one] = (1.0 - exceeding) + (exceeding - above) * (many(rank) + 1.0) / (here + 1.0);
        }
        together.extend(ranked(&placed, |value, bound| bound && value.total_cmp(&start).is_eq()));
    }
    spread_below(&mut found, &mut together, exceeding, &placed);
    found
}

fn spread_below(found: &mut [f64], together: &mut Vec<usize>, exceeding: f64, placed: &[(f64, bool)]) {
    together.sort_by(|one, other| placed[*one].0.total_cmp(&placed[*other].0).then(one.cmp(other)));
    let count = many(together.len());
    for (rank, one) in together.drain(..).enumerate() {
        found[one] = (1.0 - exceeding) * (many(rank) + 1.0) / (count + 1.0);
    }
}

/// The places of some results, by value; equal ones in the order given.
fn ranked(placed: &[(f64, bool)], which: impl Fn(f64, bool) -> bool) -> Vec<usize> {
    let mut found: Vec<usize> =
        (0..placed.len()).filter(|one| which(placed[*one].0, placed[*one].1)).collect();
    found.sort_by(|one, other| placed[*one].0.total_cmp(&placed[*other].0).then(one.cmp(other)));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // Worked by hand as in the regression on order statistics: 4, 2, < 1 stand at 0.7778, 0.5556 and 0.1667.
    #[test]
    fn a_bound_takes_its_share_from_below() {
        let found = positions(&[Measured::Below(1.0), Measured::Value(4.0), Measured::Value(2.0)]);
        for (one, expected) in found.iter().zip([1.0 / 6.0, 7.0 / 9.0, 5.0 / 9.0]) {
            assert!((one - expected).abs() < 1e-12, "{found:?}");
        }
    }

    fn result() -> impl Strategy<Value = Measured> {
        (0.1..100.0f64, 0..4).prop_map(|(value, kind)| match kind {
            0 => Measured::Below(value.round().max(1.0)),
            _ => Measured::Value(value),
        })
    }

    #[test]
    fn bounds_with_nothing_detected_between_stand_apart() {
        let found = positions(&[Measured::Below(1.0), Measured::Below(1.1), Measured::Value(2.0)]);
        assert!(found[0] < found[1] && found[1] < found[2], "{found:?}");
    }

    proptest! {
        #[test]
        fn greater_detected_values_stand_higher_and_none_at_an_end(
            results in prop::collection::vec(result(), 1..30),
        ) {
            let found = positions(&results);
            prop_assert!(found.iter().all(|share| *share > 0.0 && *share < 1.0), "{found:?}");
            for (one, share) in results.iter().zip(&found) {
                for (other, more) in results.iter().zip(&found) {
                    if let (Measured::Value(one), Measured::Value(other)) = (one, other)
                        && one < other {
                        prop_assert!(share < more);
                    }
                }
            }
        }
    }
}
