//! How often a control without any effect is called *lowered* or *raised* where there are non-detects.

use crate::draws::Draws;
use doseward::hygiene::control_effect::{EffectMethod, Question, control_effect};
use doseward::model::measured::Measured;

/// Trials of each row that the likelihood compares.
const TRIALS: u32 = 2_000;
/// Results on a side.
const SIZES: [usize; 5] = [3, 5, 8, 10, 20];

/// Of trials with a GSD of 2.5 and a reporting limit at half the geometric mean, how many have an interval without 1.
fn false_calls(n: usize, paired: bool) -> u32 {
    let (sigma, limit) = (2.5f64.ln(), 0.5);
    let mut draws = Draws::seeded(n as u64 + if paired { 1000 } else { 0 });
    let question = Question::new(paired, 50.0);
    let (mut trials, mut calls) = (0, 0);
    while trials < TRIALS {
        let mut side = || -> Vec<Measured> {
            let one = |value: f64| {
                if value < limit { Measured::Below(limit) } else { Measured::Value(value) }
            };
            (0..n).map(|_| one((sigma * draws.normal()).exp())).collect()
        };
        let effect = control_effect(&side(), &side(), &question);
        if effect.method != Some(EffectMethod::ProfileLikelihood) {
            continue;
        }
        trials += 1;
        let ratio = effect.ratio_of_geometric_means;
        let excludes_1 = ratio.upper_95.is_some_and(|upper| upper < 1.0)
            || ratio.lower_95.is_some_and(|lower| lower > 1.0);
        calls += u32::from(excludes_1);
    }
    calls
}

#[test]
#[ignore = "a minute or two"]
fn a_control_without_effect() {
    println!("| results a side | two sides, % | pairs, % |\n|---|---|---|");
    for n in SIZES {
        let [sides, pairs] =
            [false, true].map(|paired| 100.0 * f64::from(false_calls(n, paired)) / f64::from(TRIALS));
        println!("| {n} | {sides:.1} | {pairs:.1} |");
    }
}
