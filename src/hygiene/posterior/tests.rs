use super::*;
use crate::model::measured::Measured;
use proptest::prelude::*;

fn logs(results: &[Measured]) -> Vec<LogResult> {
    results.iter().filter_map(|result| LogResult::of(*result)).collect()
}

fn under_limit(results: &[Measured], limit: f64) -> Posterior {
    Posterior::of(&logs(results), Prior::Box(PriorBox::of_limit(limit))).unwrap()
}

// Arithmetic: with one detected value the integral over ln GM is sigma sqrt(2 pi) wherever the box does not cut it, so
// that the density along sigma is flat: the mean of ln GSD is the middle of its ends.
#[test]
fn one_result_leaves_the_spread_as_it_was() {
    let box_of_one = PriorBox { gm_lower: 1e-12, gm_upper: 1e12, ..PriorBox::of_limit(1.0) };
    let posterior = Posterior::of(&logs(&[Measured::Value(1.0)]), Prior::Box(box_of_one)).unwrap();
    let middle = 0.5 * (1.05f64.ln() + 4f64.ln());
    assert!((posterior.mean_of(|_, sigma| sigma) - middle).abs() < 1e-9);
    assert!((posterior.mean_of(|mu, _| mu)).abs() < 1e-9);
}

// Computed with SciPy 1.17.1: dblquad of the same prior and likelihood, 3 detected values, one non-detect, one range.
#[test]
fn bounds_of_every_kind_agree_with_another_computation() {
    let results = [
        Measured::Value(0.4),
        Measured::Value(1.1),
        Measured::Value(0.7),
        Measured::Below(0.3),
        Measured::Between { lower: 0.2, upper: 0.6 },
    ];
    let posterior = under_limit(&results, 5.0);
    for (found, wanted) in [
        (posterior.percentile_below(0.95, 5.0), EXPECTED[0]),
        (posterior.percentile_below(0.95, 2.5), EXPECTED[1]),
        (posterior.exceedance(5.0), EXPECTED[2]),
        (posterior.mean(), EXPECTED[3]),
    ] {
        assert!((found - wanted).abs() < 1e-8, "{found} is not {wanted}");
    }
}
const EXPECTED: [f64; 4] =
    [0.944_547_244_266_039_4, 0.739_199_027_746_713_8, 0.010_810_076_703_239_089, 0.751_280_416_440_693_1];

#[test]
fn nothing_known_gives_nothing() {
    let everything = LogResult::Within { lower: f64::NEG_INFINITY, upper: f64::INFINITY };
    assert!(Posterior::of(&[everything], Prior::Box(PriorBox::of_limit(1.0))).is_none());
    assert!(Posterior::of(&[], Prior::Flat).is_none());
}

#[test]
fn ten_thousand_results_and_extreme_bounds_are_survived() {
    let many: Vec<_> = (1..=10_000).map(|k| Measured::Below(1e-3 * f64::from(k))).collect();
    let hard = [
        many,
        vec![Measured::Value(1e-300), Measured::Value(1e300)],
        vec![Measured::Above(1e200)],
        vec![Measured::Below(5e-324)],
        vec![Measured::Between { lower: 1e-9, upper: 1e9 }; 3],
        vec![Measured::Value(1.0); 500],
    ];
    for results in hard {
        let posterior = under_limit(&results, 5.0);
        let rating = posterior.rating(5.0);
        assert!((rating.iter().sum::<f64>() - 1.0).abs() < 1e-9, "{rating:?}");
        assert!(posterior.ln_percentile_quantile(0.95, 0.95).is_finite() && posterior.mean().is_finite());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn the_unit_and_the_order_do_not_matter(
        detected in prop::collection::vec(0.1..10.0f64, 1..6), below in prop::collection::vec(0.1..2.0f64, 0..4),
        factor in 1e-6..1e6f64,
    ) {
        let results: Vec<_> = detected.into_iter().map(Measured::Value)
            .chain(below.into_iter().map(Measured::Below)).collect();
        let scaled: Vec<_> = results.iter().rev().map(|result| result.scaled(factor)).collect();
        let (one, two) = (under_limit(&results, 5.0), under_limit(&scaled, 5.0 * factor));
        for (one, two) in one.rating(5.0).iter().zip(two.rating(5.0 * factor)) {
            prop_assert!((one - two).abs() < 1e-9);
        }
        let (one, two) = (one.ln_mean_quantile(0.95), two.ln_mean_quantile(0.95) - factor.ln());
        prop_assert!((one - two).abs() < 1e-8);
    }

    #[test]
    fn a_percentile_above_the_limit_is_an_exceedance_above_its_share(
        detected in prop::collection::vec(0.5..10.0f64, 1..8), limit in 1.0..20.0f64,
    ) {
        let results: Vec<_> = detected.into_iter().map(Measured::Value).collect();
        let posterior = under_limit(&results, limit);
        // P(95th percentile <= L) = P(exceedance <= 5 %): the quantile of the exceedance at that probability is 5 %.
        let below = posterior.percentile_below(0.95, limit);
        if (0.01..0.99).contains(&below) {
            prop_assert!((posterior.exceedance_quantile(limit, below) - 0.05).abs() < 1e-7);
        }
        let mean = posterior.exceedance(limit);
        prop_assert!((0.0..=1.0).contains(&mean));
    }

    #[test]
    fn more_of_a_low_result_lowers_the_percentile(value in 0.01..0.1f64, count in 2usize..8) {
        let of = |count: usize| under_limit(&vec![Measured::Below(value); count], 5.0).ln_percentile_quantile(0.95, 0.95);
        prop_assert!(of(count + 1) < of(count));
    }

    #[test]
    fn quantile_and_probability_undo_each_other(
        detected in prop::collection::vec(0.5..10.0f64, 1..6), probability in 0.02..0.98f64,
    ) {
        let results: Vec<_> = detected.into_iter().map(Measured::Value).collect();
        let posterior = under_limit(&results, 5.0);
        let level = posterior.ln_percentile_quantile(0.95, probability).exp();
        prop_assert!((posterior.percentile_below(0.95, level) - probability).abs() < 1e-8);
    }
}
