//! No published source: the rules are this registry's, and every figure is arithmetic on the number beside it.

use super::precision::{figures_of, significant_figures};
use super::share::share;
use super::*;
use crate::model::measured::Answer;
use proptest::prelude::*;

const RAISED: &str = "⁰¹²³⁴⁵⁶⁷⁸⁹";

/// Reads figures as a person does who knows narrow spaces, minus signs and powers of ten.
fn read(figures: &str) -> f64 {
    let plain: String = figures.replace('\u{202f}', "").replace('\u{2212}', "-");
    let Some((mantissa, power)) = plain.split_once(" × 10") else { return plain.parse().unwrap() };
    let power: String = power
        .chars()
        .map(|c| {
            RAISED.chars().position(|raised| raised == c).map_or('-', |digit| b"0123456789"[digit].into())
        })
        .collect();
    format!("{mantissa}e{power}").parse().unwrap()
}

/// Reads a quantity without its unit.
fn read_measured(text: &str) -> Measured {
    let figures = text.strip_suffix(" µg/m³").unwrap();
    if let Some(limit) = figures.strip_prefix("< ") {
        return Measured::Below(read(limit));
    }
    if let Some(least) = figures.strip_prefix("> ") {
        return Measured::Above(read(least));
    }
    if let Some(most) = figures.strip_prefix("up to ") {
        return Measured::Between { lower: 0.0, upper: read(most) };
    }
    match figures.split_once(" to ") {
        Some((lower, upper)) => Measured::Between { lower: read(lower), upper: read(upper) },
        None => Measured::Value(read(figures)),
    }
}

fn two() -> Printing<'static> {
    Printing::of(Resolution::Figures(2))
}

#[test]
fn figures_are_rounded_in_decimal() {
    // 2.675 is 2.67499999… in binary; on paper it is 2.68. 9.96 in two figures is 10, and no third figure is made up.
    let three = Printing::of(Resolution::Figures(3));
    assert_eq!(
        [2.675, 0.125, 9.996, 1.0].map(|value| three.number(value)),
        ["2.68", "0.125", "10.0", "1.00"]
    );
    assert_eq!([9.96, 0.099_6, 0.5, 2.25].map(|value| two().number(value)), ["10", "0.10", "0.50", "2.3"]);
    assert_eq!([0.0, -0.0, -1.26].map(|value| two().number(value)), ["0", "0", "\u{2212}1.3"]);
    assert_eq!([f64::NAN, f64::INFINITY].map(|value| two().number(value)), ["not known"; 2]);
}

#[test]
fn very_large_and_very_small_figures_stay_readable() {
    let seen = [1234.0, 12_345.0, 987_654.0, 1_234_567.0, 0.000_123, 0.000_012_3, 1e300, 1e-300];
    let said = [
        "1200",
        "12\u{202f}000",
        "990\u{202f}000",
        "1.2 × 10⁶",
        "0.00012",
        "1.2 × 10⁻⁵",
        "1.0 × 10³⁰⁰",
        "1.0 × 10⁻³⁰⁰",
    ];
    assert_eq!(seen.map(|value| two().number(value)), said);
    // The power is that of the rounded figure.
    assert_eq!(two().number(999_999.0), "1.0 × 10⁶");
}

#[test]
fn beside_a_level_nothing_rounds_onto_or_across_it() {
    let beside = two().beside(&[0.05]);
    let seen = [0.050_3, 0.049_96, 0.05, 0.04, 0.06, 0.05 + 1e-18, 0.050_000_1];
    let said = ["0.0503", "0.04996", "0.05", "0.040", "0.060", "0.05", "0.0500001"];
    assert_eq!(seen.map(|value| beside.number(value)), said);
    // 2.496 against 2.5, as the registry's rules say it.
    assert_eq!(two().beside(&[2.5]).number(2.496), "2.496");
    // A level with more figures than the value would have is reached only by itself.
    assert_eq!([2.54, 2.541].map(|value| two().beside(&[2.54]).number(value)), ["2.54", "2.541"]);
}

#[test]
fn a_bound_stays_a_bound_and_stays_true() {
    let said = |measured| two().measured(measured, Unit::UgPerM3);
    assert_eq!(said(Measured::Value(2.44)), "2.4 µg/m³");
    // Less than 3.0769 is less than 3.1; it need not be less than 3.0. An overloaded filter held more than 12.9, so more than 12.
    assert_eq!(said(Measured::Below(3.0769)), "< 3.1 µg/m³");
    assert_eq!(said(Measured::Below(3.0101)), "< 3.1 µg/m³");
    assert_eq!(said(Measured::Above(12.9)), "> 12 µg/m³");
    assert_eq!(said(Measured::Between { lower: 0.129, upper: 0.361 }), "0.12 to 0.37 µg/m³");
    assert_eq!(said(Measured::Between { lower: 0.0, upper: 0.361 }), "up to 0.37 µg/m³");
    assert_eq!(said(Measured::Below(0.0)), "not detected");
    let levels = Printing::of(Resolution::of(Unit::DbA, 2));
    assert_eq!(levels.measured(Measured::Value(85.34), Unit::DbA), "85.3 dBA");
    assert_eq!(levels.measured(Measured::Below(80.0), Unit::DbA), "< 80.0 dBA");
    assert_eq!(
        levels.measured(Measured::Between { lower: -1.5, upper: 0.2 }, Unit::DbA),
        "\u{2212}1.5 to 0.2 dBA"
    );
}

#[test]
fn what_was_reported_stays_in_its_own_digits() {
    let said =
        |comparator, text: &str, unit| two().quantity(&Quantity::reported(comparator, text, unit).unwrap());
    assert_eq!(said(None, "0.50", Unit::Ug), "0.50 µg");
    assert_eq!(said(Some("<"), "0.10", Unit::UgPerM3), "< 0.10 µg/m³");
    assert_eq!(said(Some(">"), "250", Unit::Ug), "> 250 µg");
    assert_eq!(said(None, "85.0", Unit::DbA), "85.0 dBA");
    assert_eq!(said(None, "12500", Unit::PerL), "12\u{202f}500 /L");
    assert_eq!(said(None, "5e-2", Unit::Ppm), "0.05 ppm");
    assert_eq!(said(None, ".5", Unit::Ppm), "0.5 ppm");
    assert_eq!(said(Some("<"), "0", Unit::Ppm), "not detected");
    assert_eq!(
        ["0.00", "0e2000000000", "0e-2000000000"].map(|text| said(None, text, Unit::Ug)),
        ["0.00 µg", "0 µg", "0 µg"]
    );
    // More digits than are kept of a number are still what was written.
    assert_eq!(said(None, "0.12345678901234", Unit::Mg), "0.12345678901234 mg");
    let computed = Quantity::computed(Measured::Value(2.0 / 3.0), Unit::UgPerM3);
    assert_eq!(two().quantity(&computed), "0.67 µg/m³");
}

#[test]
fn a_computed_figure_is_as_precise_as_its_least_precise_datum() {
    assert_eq!(
        ["0.50", "0.050", "5", "100", "1.0e2", "0.0", ""].map(significant_figures),
        [2, 2, 1, 1, 2, 0, 0]
    );
    assert_eq!(figures_of(["1.234", "9.87654"]), 3);
    assert_eq!(figures_of(["1.2345", "480"]), 2);
    assert_eq!(figures_of(["5", "1.234"]), 2);
    assert_eq!(figures_of(["0.00"]), 2);
}

#[test]
fn per_cents_of_change_are_whole_from_ten_on() {
    let per_cent = Printing::of(Resolution::PerCent);
    let said = ["0.58", "5.8", "10", "58", "133", "1230"];
    assert_eq!([0.58, 5.8, 9.96, 58.4, 132.7, 1234.0].map(|value| per_cent.number(value)), said);
    assert_eq!(
        [49.9, 50.0, 50.4].map(|value| per_cent.beside(&[50.0]).number(value)),
        ["49.9", "50", "50.4"]
    );
}

#[test]
fn a_level_in_decibels_has_one_decimal_and_more_where_it_would_be_none() {
    let decibels = Printing::of(Resolution::Decimals(1));
    assert_eq!(
        [5.0, 5.84, 0.04, -0.04].map(|value| decibels.number(value)),
        ["5.0", "5.8", "0.04", "\u{2212}0.04"]
    );
    assert_eq!(decibels.beside(&[85.0]).number(84.97), "84.97");
}

#[test]
fn a_probability_is_never_nothing_or_everything_unless_it_is() {
    let seen = [1e-9, 0.001, 0.05, 0.25, 0.904, 0.994_6, 0.999, 1.0 - 1e-9];
    let said = ["< 0.1 %", "0.1 %", "5.0 %", "25 %", "90.4 %", "99.5 %", "99.9 %", "> 99.9 %"];
    assert_eq!(seen.map(|p| share(p, &[])), said);
    assert_eq!([0.0, 1.0].map(|p| share(p, &[0.05])), ["0 %", "100 %"]);
    // Beside a level still nearer to an end there are digits in place of the sign.
    assert_eq!([0.999_99, 0.000_01].map(|p| share(p, &[0.999_9, 0.000_1])), ["99.999 %", "0.001 %"]);
    assert_eq!([0.050_2, 0.95, 0.949_6].map(|p| share(p, &[0.05, 0.95])), ["5.02 %", "95 %", "94.96 %"]);
}

fn positive() -> impl Strategy<Value = f64> {
    // Over the whole range of what is ever measured and far beyond, and half of the time near 1.
    prop_oneof![(-30.0..30.0f64).prop_map(|power| 10f64.powf(power)), 0.9..1.1f64]
}

/// A value and a level that it nearly meets in half of all cases.
fn pair() -> impl Strategy<Value = (f64, f64)> {
    (positive(), positive(), -9.0..0.0f64, any::<bool>(), any::<bool>()).prop_map(
        |(level, other, near, up, meets)| {
            let step = if up { 1.0 } else { -0.5 } * 10f64.powf(near);
            (if meets { level * (1.0 + step) } else { other }, level)
        },
    )
}

fn resolution() -> impl Strategy<Value = Resolution> {
    prop_oneof![
        (1..5u32).prop_map(Resolution::Figures),
        (0..3i32).prop_map(Resolution::Decimals),
        Just(Resolution::PerCent)
    ]
}

fn toward() -> impl Strategy<Value = Toward> {
    prop_oneof![Just(Toward::Nearest), Just(Toward::Down), Just(Toward::Up)]
}

proptest! {
    #[test]
    fn reading_back_never_contradicts_the_comparison(
        (value, level) in pair(), negative in any::<bool>(), resolution in resolution(), toward in toward(),
    ) {
        let (value, level) = if negative { (-value, -level) } else { (value, level) };
        let printed = Printing::of(resolution).beside(&[level]).number_toward(value, toward);
        prop_assert_eq!(read(&printed).partial_cmp(&significant(level)), significant(value).partial_cmp(&significant(level)));
        prop_assert!(read(&printed) != 0.0 && (read(&printed) > 0.0) == (value > 0.0), "{}", printed);
        match toward {
            Toward::Nearest => {}
            Toward::Down => prop_assert!(read(&printed) <= significant(value)),
            Toward::Up => prop_assert!(read(&printed) >= significant(value)),
        }
    }

    #[test]
    fn a_bound_read_back_gives_the_same_answers((value, level) in pair(), more in 1.0..3.0f64, kind in 0..5) {
        let measured = match kind {
            0 => Measured::Value(value),
            1 => Measured::Below(value),
            2 => Measured::Above(value),
            3 => Measured::Between { lower: 0.0, upper: value },
            _ => Measured::Between { lower: value / more, upper: value },
        };
        let again = read_measured(&two().beside(&[level]).measured(measured, Unit::UgPerM3));
        prop_assert_eq!(again.against(level), measured.against(level));
        prop_assert_eq!(again.exceeds(level), measured.exceeds(level));
        // What is printed shuts in all that is known.
        if kind > 0 {
            prop_assert!(again.lower() <= significant(measured.lower()));
            prop_assert!(again.upper().is_none_or(|upper| upper >= measured.upper().map_or(f64::INFINITY, significant)));
        }
        prop_assert!(measured.against(level) == Answer::CannotTell || again.against(level) != Answer::CannotTell);
    }

    #[test]
    fn a_greater_number_never_reads_as_less(
        (one, level) in pair(), (two, _) in pair(), resolution in resolution(), toward in toward(),
    ) {
        let printing = [level, 2.0 * level];
        let printing = Printing::of(resolution).beside(&printing);
        for two in [two, one * 1.001, level * 1.000_1, level * 2.000_1] {
            let (low, high) = if one <= two { (one, two) } else { (two, one) };
            let said = [low, high].map(|value| printing.number_toward(value, toward));
            prop_assert!(read(&said[0]) <= read(&said[1]), "{:?} of {low} and {high}", said);
        }
    }

    #[test]
    fn as_many_figures_are_given_as_were_asked_for(value in 1e-4..1e3f64, figures in 1..5u32) {
        let printed = Printing::of(Resolution::Figures(figures)).number(value);
        // Zeros at the end of a whole number only fill its places.
        let whole = !printed.contains('.');
        let counted = significant_figures(&printed);
        prop_assert!(counted == figures || whole && counted < figures, "{}", printed);
        let most = 0.5 * 10f64.powi(1 - i32::try_from(figures).unwrap());
        prop_assert!((read(&printed) / value - 1.0).abs() <= most * 1.000_001);
    }

    #[test]
    fn what_was_reported_is_read_back_as_it_was(digits in 1..1_000_000u64, behind in 0..8usize) {
        let padded = format!("{digits:0>width$}", width = behind + 1);
        let (whole, fraction) = padded.split_at(padded.len() - behind);
        let text = if behind == 0 { whole.to_owned() } else { format!("{whole}.{fraction}") };
        let printed = two().quantity(&Quantity::reported(None, &text, Unit::UgPerM3).unwrap());
        let figures = printed.strip_suffix(" µg/m³").unwrap();
        prop_assert_eq!(read(figures).to_bits(), text.parse::<f64>().unwrap().to_bits());
        if !figures.contains('×') {
            prop_assert_eq!(figures.replace('\u{202f}', ""), text);
        }
    }

    #[test]
    fn shares_keep_their_comparison_and_their_order(one in 0.0..1.0f64, near in -7.0..-1.0f64, level in 0.0..1.0f64) {
        let said = |p: f64| share(p, &[level]);
        // Read as the interval that the words leave open.
        let ends = |text: &str| {
            let figures = text.strip_suffix(" %").unwrap();
            match (figures.strip_prefix("< "), figures.strip_prefix("> ")) {
                (Some(most), _) => (0.0, read(most)),
                (_, Some(least)) => (read(least), 100.0),
                _ => (read(figures), read(figures)),
            }
        };
        for p in [one, 10f64.powf(near), 1.0 - 10f64.powf(near), level * (1.0 + 10f64.powf(near))] {
            if p > 1.0 {
                continue;
            }
            let (least, most) = ends(&said(p));
            let (p, level) = (significant(100.0 * p), significant(100.0 * level));
            prop_assert!(p >= level || least < level, "{p} beside {level} reads {least} to {most}");
            prop_assert!(p <= level || most > level, "{p} beside {level} reads {least} to {most}");
            prop_assert!((p <= 0.0 || most > 0.0) && (p >= 100.0 || least < 100.0));
        }
        let more = (one + 10f64.powf(near)).min(1.0);
        prop_assert!(ends(&share(one, &[])).0 <= ends(&share(more, &[])).1);
    }
}
