use super::*;
use proptest::prelude::*;

fn values(values: &[f64]) -> Vec<Measured> {
    values.iter().copied().map(Measured::Value).collect()
}

#[test]
fn nothing_is_fitted_to_too_little() {
    let profile = group_profile(&[], Some(1.0));
    assert_eq!((profile.method, profile.n), (ProfileMethod::None, 0));
    for (results, flag) in [
        (vec![Measured::Value(1.0)], SINGLE_RESULT),
        (values(&[2.0, 2.0, 2.0]), ALL_EQUAL),
        (vec![Measured::Below(0.1), Measured::Below(0.2)], NO_DETECTED_RESULTS),
        (vec![Measured::Below(0.1), Measured::Value(0.2)], FEWER_THAN_TWO_DISTINCT_DETECTED),
    ] {
        let profile = group_profile(&results, Some(1.0));
        assert_eq!(profile.method, ProfileMethod::PosteriorOnly);
        assert_eq!(profile.geometric_mean, None);
        assert!(profile.flags.contains(&flag) && profile.flags.contains(&AWAITS_POSTERIOR));
    }
    let impossible = group_profile(&values(&[1.0, 0.0, 2.0]), None);
    assert_eq!(impossible.method, ProfileMethod::None);
    assert!(impossible.flags.contains(&VALUE_NOT_POSITIVE));
}

#[test]
fn the_largest_result_keeps_its_comparator() {
    let non_detects = [Measured::Below(0.1), Measured::Below(0.2)];
    assert_eq!(group_profile(&non_detects, None).largest_result, Some(Measured::Below(0.2)));
    assert_eq!(largest_result(&[Measured::Below(1.0), Measured::Value(1.0)]), Some(Measured::Value(1.0)));
    assert_eq!(largest_result(&[Measured::Value(9.0), Measured::Above(5.0)]), Some(Measured::Above(5.0)));
}

#[test]
fn six_results_with_a_non_detect_await_the_posterior_for_their_limits() {
    let mut results = values(&[1.0, 2.0, 3.0, 1.5, 0.7]);
    results.push(Measured::Below(0.5));
    let profile = group_profile(&results, Some(10.0));
    assert_eq!(profile.method, ProfileMethod::MaximumLikelihood);
    assert_eq!((profile.n_below, profile.en_689, profile.lognormal_fit), (1, None, None));
    assert!(profile.flags.contains(&AWAITS_POSTERIOR) && profile.flags.contains(&EN_689_NEEDS_A_FIT));
    assert!(profile.exceedance_fraction.is_some());
}

#[test]
fn of_a_clean_group_only_the_posterior_is_missing() {
    let profile = group_profile(&values(&[1.0, 2.0, 3.0, 1.5, 0.7, 0.9]), Some(10.0));
    assert_eq!(profile.flags, [AWAITS_POSTERIOR]);
    assert_eq!(profile.method, ProfileMethod::Exact);
}

#[test]
fn numbers_at_the_ends_of_a_double_are_survived() {
    for extreme in [
        values(&[1e-300, 1e300, 1.0]),
        values(&[f64::INFINITY, 1.0, 2.0]),
        values(&[f64::NAN, 1.0, 2.0]),
        values(&[-1.0, 1.0, 2.0]),
        values(&[1.0, 1.000_000_000_01, 1.0]),
        vec![Measured::Below(f64::INFINITY), Measured::Value(1.0), Measured::Value(2.0)],
        vec![Measured::Below(1e-300), Measured::Value(1.0), Measured::Value(2.0)],
    ] {
        let profile = group_profile(&extreme, Some(1.0));
        assert!(finite(&profile), "{profile:?}");
    }
}

fn finite(profile: &GroupProfile) -> bool {
    let mut numbers =
        vec![profile.geometric_mean, profile.geometric_standard_deviation, profile.kaplan_meier];
    if let Some(mean) = profile.arithmetic_mean {
        numbers.extend([Some(mean.estimate), mean.lower_95, mean.upper_95]);
    }
    if let Some(p) = profile.percentile_95 {
        numbers.extend([Some(p.estimate), p.upper_70, p.upper_95]);
    }
    if let Some(e) = profile.exceedance_fraction {
        numbers.extend([Some(e.estimate), e.lower_95, e.upper_70, e.upper_95]);
    }
    numbers.into_iter().flatten().all(f64::is_finite)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn no_sample_gives_a_number_that_is_none(
        kinds in prop::collection::vec((0..6u8, -6..6i32, 0.1..10.0f64), 0..10), limit in 1e-5..1e5f64,
    ) {
        let results: Vec<_> = kinds.into_iter().map(|(kind, power, digits)| {
            let value = digits * 10f64.powi(power);
            match kind {
                0 => Measured::Below(value),
                1 => Measured::Above(value),
                2 => Measured::Between { lower: value, upper: 1.5 * value },
                _ => Measured::Value(value),
            }
        }).collect();
        prop_assert!(finite(&group_profile(&results, Some(limit))));
        let mut turned = results.clone();
        turned.reverse();
        let (one, two) = (group_profile(&results, None), group_profile(&turned, None));
        prop_assert_eq!(one.method, two.method);
        if let (Some(one), Some(two)) = (one.geometric_mean, two.geometric_mean) {
            prop_assert!((one - two).abs() <= 1e-9 * two);
        }
    }
}
