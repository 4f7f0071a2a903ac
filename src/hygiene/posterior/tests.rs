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

// Computed with NumPy 2: composite Gauss-Legendre over ln GSD, broken where a level enters or leaves the box, and over ln GM.
// Probabilities that the 95th percentile is below 0.1, 0.5, 1 and 4 times the limit, and the mean below 0.02 and 5.5 times.
#[test]
fn a_level_that_meets_a_face_of_the_prior_agrees_with_another_computation() {
    let two_bounds = (vec![Measured::Below(0.5); 2], 0.0081);
    let piled_up = (vec![Measured::Value(30.0), Measured::Value(45.0)], 2.0);
    for ((results, limit), wanted) in [(two_bounds, &AT_A_FACE[..6]), (piled_up, &AT_A_FACE[6..])] {
        let posterior = under_limit(&results, limit);
        let percentiles = [0.1, 0.5, 1.0, 4.0].map(|share| posterior.percentile_below(0.95, share * limit));
        let means =
            [0.02, 5.5].map(|share: f64| posterior.below(|sigma| (share * limit).ln() - 0.5 * sigma * sigma));
        for (found, wanted) in percentiles.into_iter().chain(means).zip(wanted) {
            assert!((found - wanted).abs() < 1e-8, "{found} is not {wanted}");
        }
    }
}
const AT_A_FACE: [f64; 12] = [
    0.447_364_936_917_823,
    0.622_205_796_224_761_2,
    0.697_505_649_661_639_9,
    0.848_104_361_294_996_2,
    0.364_676_783_769_687_9,
    0.972_859_493_891_155,
    9.643_504e-15,
    1.585_987_475_6e-9,
    1.323_762_298_5e-7,
    0.000_268_975_596_490_843_2,
    7.927e-16,
    0.210_500_343_520_724,
];

// Computed the same way: two bounds of 0.5 against a box that ends at 0.0405 and GSD 4.
#[test]
fn the_chance_of_a_day_agrees_where_the_spread_is_small_beside_the_box() {
    let posterior = under_limit(&[Measured::Below(0.5), Measured::Below(0.5)], 0.0081);
    assert!((posterior.exceedance(0.0081) - 0.176_233_579_626_664_2).abs() < 1e-9);
}

// Computed the same way: nineteen non-detects piled up at the lower face of the box, against one detected value.
#[test]
fn a_ratio_with_a_side_at_the_face_of_the_prior_agrees_with_another_computation() {
    let without = logs(&[Measured::Value(0.2), Measured::Below(0.12)]);
    let with = logs(&[Measured::Below(0.014); 19]);
    let ratio = PosteriorRatio::of(&without, &with, Prior::Box(PriorBox::of_limit(60.0))).unwrap();
    for (x, wanted) in [
        (0.2f64.ln(), 0.320_489_176_094_449_7),
        (0.5f64.ln(), 0.724_607_751_272_886),
        (0.0, 0.983_941_793_120_961_2),
        (0.2, 0.999_636_355_151_719_6),
    ] {
        assert!((ratio.below(x) - wanted).abs() < 1e-7, "{} is not {wanted}", ratio.below(x));
    }
}

// Arithmetic: nineteen values of 0.01 with a GSD of 2 leave ln GM normal about ln 0.01 with ln 2/sqrt(19); a box that begins
// at 0.1, 14 deviations further up, leaves its tail from there on.
#[test]
fn a_likelihood_that_falls_steeply_from_a_face_keeps_its_shape() {
    let steep = PriorBox { gm_lower: 0.1, gm_upper: 10.0, gsd_lower: 1.999_999, gsd_upper: 2.000_001 };
    let posterior = Posterior::of(&logs(&[Measured::Value(0.01); 19]), Prior::Box(steep)).unwrap();
    let above = |level: f64| normal_upper_tail((level / 0.01).ln() / (2f64.ln() / 19f64.sqrt()));
    for level in [0.1005f64, 0.101, 0.102, 0.103, 0.105] {
        let (found, wanted) = (posterior.below(|_| level.ln()), 1.0 - above(level) / above(0.1));
        assert!((found - wanted).abs() < 1e-6, "{level}: {found} is not {wanted}");
    }
}

// Arithmetic: under the flat prior mu given sigma is normal about the mean of the logarithms with sigma/sqrt(n), and
// SS/sigma^2 is chi-squared with n - 1 degrees; here two logarithms of -1 and 1, SS = 2, chi-squared with one degree.
#[test]
fn steep_levels_of_the_mean_are_met_under_a_flat_prior() {
    let posterior = Posterior::of(&[LogResult::Exact(-1.0), LogResult::Exact(1.0)], Prior::Flat).unwrap();
    for level in [0.5, 3.0, 40.0, 900.0] {
        // By substitution z = sqrt(2)/sigma, a half-normal variable, in fine trapezoids.
        let (mut sum, step) = (0.0, 1e-4);
        for k in 1..100_000 {
            let z = step * f64::from(k);
            let sigma = 2f64.sqrt() / z;
            let below = normal_upper_tail((0.5 * sigma * sigma - level) / (sigma / 2f64.sqrt()));
            sum += 2.0 * normal_density(z) * below * step;
        }
        let found = posterior.below(|sigma| level - 0.5 * sigma * sigma);
        assert!((found - sum).abs() < 1e-6, "{level}: {found} is not {sum}");
    }
}

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
