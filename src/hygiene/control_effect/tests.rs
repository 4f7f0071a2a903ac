use super::*;

use proptest::prelude::*;

fn values(values: &[f64]) -> Vec<Measured> {
    values.iter().copied().map(Measured::Value).collect()
}

// The rules are this registry's; intervals are invented.
#[test]
fn the_interval_decides_the_words() {
    let words = |lower, upper| judge(lower, upper, 0.5);
    assert_eq!(words(Some(0.2), Some(0.4)), (Verdict::Lowered, TargetAnswer::Met));
    assert_eq!(words(Some(0.2), Some(0.5)), (Verdict::Lowered, TargetAnswer::Unsettled));
    assert_eq!(words(Some(0.6), Some(0.9)), (Verdict::Lowered, TargetAnswer::NotMet));
    assert_eq!(words(Some(0.6), Some(1.2)), (Verdict::NoDifferenceShown, TargetAnswer::NotMet));
    assert_eq!(words(Some(0.4), Some(1.2)), (Verdict::Undecided, TargetAnswer::Unsettled));
    assert_eq!(words(Some(1.1), Some(1.2)), (Verdict::Raised, TargetAnswer::NotMet));
    assert_eq!(words(None, Some(0.1)), (Verdict::Lowered, TargetAnswer::Met));
    assert_eq!(words(None, None), (Verdict::Undecided, TargetAnswer::Unsettled));
}

#[test]
fn too_little_detected_is_compared_by_the_posterior() {
    let (undecided, none_shown) = (Verdict::Undecided, Verdict::NoDifferenceShown);
    for (without, with, verdict) in [
        (values(&[1.0]), values(&[2.0, 3.0]), undecided),
        // From 0.61 to 1.64, which rules out that half was gained.
        (values(&[2.0, 2.0]), values(&[2.0, 2.0]), none_shown),
        // Two above 2 against three at 2: P(lower) 0.9968, computed with NumPy 2 on a grid of the same prior.
        (vec![Measured::Above(2.0); 2], vec![Measured::Value(2.0); 3], Verdict::Lowered),
        (vec![Measured::Below(1.0); 3], vec![Measured::Below(0.5); 3], undecided),
        (
            vec![Measured::Value(2.0), Measured::Below(3.0)],
            vec![Measured::Value(1.0), Measured::Below(3.0)],
            undecided,
        ),
    ] {
        let effect = control_effect(&without, &with, &Question::new(false, 50.0));
        assert_eq!(effect.method, Some(EffectMethod::Posterior));
        let Effect { estimate, lower_95, upper_95 } = effect.ratio_of_geometric_means;
        assert!(lower_95 < estimate && estimate < upper_95, "{effect:?}");
        assert_eq!((effect.verdict, effect.p_value), (Some(verdict), None), "{effect:?}");
        assert!(effect.probability_target_met <= effect.probability_lowered);
    }
}

// Arithmetic: a limit is not beyond its estimate. The levels are invented: the results lie far outside their prior.
#[test]
fn far_outside_the_prior_the_interval_is_in_order() {
    for limit in [1e50, 1e100, 1e-50, 1e-100, 1e9] {
        let question = Question { limit_of_prior: Some(limit), ..Question::new(false, 50.0) };
        let effect = control_effect(&values(&[4.2]), &[Measured::Below(1.0)], &question);
        let Effect { estimate, lower_95, upper_95 } = effect.ratio_of_geometric_means;
        assert_eq!(effect.method, Some(EffectMethod::Posterior));
        assert!(lower_95 <= estimate && estimate <= upper_95, "{limit}: {effect:?}");
    }
}

// By its symmetry: the same on both sides is as likely lower as higher.
#[test]
fn a_posterior_of_equal_sides_is_centred_on_no_difference() {
    let one = values(&[3.0]);
    let effect = control_effect(&one, &one, &Question::new(false, 50.0));
    assert!((effect.probability_lowered.unwrap() - 0.5).abs() < 1e-9);
    let Effect { estimate, lower_95, upper_95 } = effect.ratio_of_geometric_means;
    assert!((estimate.unwrap() - 1.0).abs() < 1e-8);
    assert!((lower_95.unwrap() * upper_95.unwrap() - 1.0).abs() < 1e-6);
    assert!(effect.further_samples.is_some());
}

#[test]
fn what_remains_is_put_against_the_levels() {
    let levels = Levels { limit: Some(5.0), action_level: Some(2.5) };
    let question = Question { levels, ..Question::new(false, 50.0) };
    let without = values(&[9.0, 12.0, 8.0]);
    let with = values(&[0.11, 0.09, 0.1, 0.12, 0.08, 0.1]);
    let effect = control_effect(&without, &with, &question);
    assert_eq!(
        (effect.verdict, effect.sufficiency),
        (Some(Verdict::Lowered), Some(Sufficiency::BelowActionLevel))
    );
    assert_eq!(effect.further_samples, None);
}

#[test]
fn nothing_or_an_impossible_value_gives_no_method() {
    assert_eq!(control_effect(&[], &values(&[1.0]), &Question::new(false, 50.0)).method, None);
    let zero = control_effect(&values(&[0.0, 1.0]), &values(&[1.0, 2.0]), &Question::new(false, 50.0));
    assert_eq!((zero.method, zero.flags), (None, vec![VALUE_NOT_POSITIVE]));
}

#[test]
fn pairs_with_one_and_the_same_ratio_have_an_estimate_and_no_interval() {
    let effect =
        control_effect(&values(&[2.0, 0.6, 6.0]), &values(&[1.0, 0.3, 3.0]), &Question::new(true, 50.0));
    assert_eq!(effect.ratio_of_geometric_means.estimate, Some(0.5));
    assert_eq!(effect.verdict, Some(Verdict::Undecided));
    assert!(effect.flags.contains(&NO_SPREAD));
}

#[test]
fn a_control_that_brings_all_below_their_limits_can_be_shown_to_have_lowered() {
    let without = values(&[5.0, 8.0, 6.0, 7.0]);
    let with = vec![Measured::Below(0.2); 4];
    for paired in [false, true] {
        let effect = control_effect(&without, &with, &Question::new(paired, 50.0));
        assert_eq!(effect.method, Some(EffectMethod::ProfileLikelihood));
        assert_eq!(effect.verdict, Some(Verdict::Lowered));
        assert_eq!(effect.target, Some(TargetAnswer::Met));
        assert_eq!(effect.ratio_of_geometric_means.estimate, None);
        // Computed with SciPy 1.17.1: the same profile likelihood by Nelder-Mead and brentq.
        let upper = effect.ratio_of_geometric_means.upper_95.unwrap();
        assert!((upper - 0.031_090_240).abs() < 1e-7);
        assert!((effect.reduction_percent.lower_95.unwrap() - 96.890_976).abs() < 1e-5);
        assert_eq!(effect.reduction_percent.upper_95, None);
    }
}

#[test]
fn pairs_with_a_non_detect_are_compared_as_intervals_of_their_ratio() {
    let without = values(&[4.0, 6.0, 5.0, 9.0]);
    let mut with = values(&[1.0, 2.0, 1.1]);
    with.push(Measured::Below(1.5));
    let effect = control_effect(&without, &with, &Question::new(true, 50.0));
    assert_eq!(effect.method, Some(EffectMethod::ProfileLikelihood));
    // Computed with SciPy 1.17.1: the likelihood of the ratios by Nelder-Mead, its limits by brentq.
    let near = |found: Option<f64>, expected: f64| (found.unwrap() - expected).abs() < 1e-6;
    let Effect { estimate, lower_95, upper_95 } = effect.ratio_of_geometric_means;
    assert!(near(estimate, 0.225_213_02) && near(lower_95, 0.127_757_83) && near(upper_95, 0.343_946_11));
    assert!(near(effect.probability_lowered, 0.999_428_69));
    assert_eq!(effect.flags, [FEW_FOR_LIKELIHOOD]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn whatever_the_results_no_number_is_none_and_limits_keep_their_order(
        without in prop::collection::vec((0..6u8, 0.01..100.0f64), 0..6),
        with in prop::collection::vec((0..6u8, 0.01..100.0f64), 0..6),
        paired in any::<bool>(),
    ) {
        let side = |parts: Vec<(u8, f64)>| parts.into_iter().map(|(kind, value)| match kind {
            0 | 1 => Measured::Below(value),
            2 => Measured::Above(value),
            3 => Measured::Between { lower: value, upper: 1.5 * value },
            _ => Measured::Value(value),
        }).collect::<Vec<_>>();
        let effect = control_effect(&side(without), &side(with), &Question::new(paired, 50.0));
        let Effect { estimate, lower_95, upper_95 } = effect.ratio_of_geometric_means;
        let numbers = [
            estimate, lower_95, upper_95, effect.p_value, effect.probability_lowered, effect.probability_target_met,
        ];
        prop_assert!(numbers.into_iter().flatten().all(f64::is_finite));
        if let (Some(lower), Some(middle), Some(upper)) = (lower_95, estimate, upper_95) {
            prop_assert!(lower <= middle && middle <= upper);
        }
        if effect.method == Some(EffectMethod::ProfileLikelihood) {
            prop_assert!(lower_95.is_some() || upper_95.is_some(), "{effect:?}");
            prop_assert!(effect.probability_lowered.is_some() && effect.p_value.is_some());
        }
    }

    #[test]
    fn the_ratio_does_not_depend_on_the_unit_or_the_order(
        without in prop::collection::vec(0.5..20.0f64, 2..8), with in prop::collection::vec(0.1..5.0f64, 2..8),
        below in prop::collection::vec(0.1..5.0f64, 0..4), factor in 1e-4..1e4f64,
    ) {
        let without = values(&without);
        let mut with = values(&with);
        with.extend(below.into_iter().map(Measured::Below));
        let scaled = |side: &[Measured]| side.iter().rev().map(|one| one.scaled(factor)).collect::<Vec<_>>();
        let one = control_effect(&without, &with, &Question::new(false, 50.0));
        let two = control_effect(&scaled(&without), &scaled(&with), &Question::new(false, 50.0));
        prop_assert_eq!(one.method, two.method);
        let near = |one: Option<f64>, two: Option<f64>| match (one, two) {
            (Some(one), Some(two)) => (one - two).abs() <= 1e-6 * two.abs(),
            (one, two) => one == two,
        };
        let (one, two) = (one.ratio_of_geometric_means, two.ratio_of_geometric_means);
        prop_assert!(near(one.estimate, two.estimate) && near(one.lower_95, two.lower_95)
            && near(one.upper_95, two.upper_95));
    }

    #[test]
    fn where_pairing_carries_nothing_the_estimate_is_the_same(
        pairs in prop::collection::vec((0.5..20.0f64, 0.1..5.0f64), 2..8),
    ) {
        let (without, with): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
        let of = |paired| control_effect(&values(&without), &values(&with), &Question::new(paired, 50.0));
        let (one, two) = (of(true), of(false));
        let (paired, unpaired) = (one.ratio_of_geometric_means.estimate.unwrap(), two.ratio_of_geometric_means.estimate.unwrap());
        prop_assert!((paired - unpaired).abs() < 1e-9 * paired);
        // What pairing may change is the error: in pairs variances add less twice what the sides share.
        let (one, two) = (one.contrast.unwrap(), two.contrast.unwrap());
        let logs = |side: &[f64]| side.iter().map(|value| value.ln()).collect::<Vec<_>>();
        let (of_without, of_with) = (logs(&without), logs(&with));
        let ((n, a, _), (_, b, _)) = (moments(&of_without).unwrap(), moments(&of_with).unwrap());
        let shared: f64 = of_without.iter().zip(&of_with).map(|(x, y)| (x - a) * (y - b)).sum::<f64>() / (n - 1.0) / n;
        prop_assert!((one.standard_error.powi(2) - (two.standard_error.powi(2) - 2.0 * shared)).abs() < 1e-9);
    }

    #[test]
    fn swapping_the_sides_turns_the_ratio_and_a_higher_target_is_never_likelier(
        without in prop::collection::vec(0.5..20.0f64, 2..8), with in prop::collection::vec(0.1..5.0f64, 2..8), target in 5.0..90.0f64,
    ) {
        let of = |one: &[f64], two: &[f64], target| control_effect(&values(one), &values(two), &Question::new(false, target));
        let (one, two) = (of(&without, &with, target), of(&with, &without, target));
        let product = |one: Option<f64>, two: Option<f64>| one.zip(two).map_or(0.0, |(one, two)| (one * two - 1.0).abs());
        let (ratio, turned) = (one.ratio_of_geometric_means, two.ratio_of_geometric_means);
        prop_assert!(product(ratio.estimate, turned.estimate) < 1e-9 && product(ratio.lower_95, turned.upper_95) < 1e-6);
        prop_assert!(one.probability_target_met <= one.probability_lowered);
        prop_assert!(of(&without, &with, target + 5.0).probability_target_met <= one.probability_target_met);
    }
}
