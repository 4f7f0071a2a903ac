//! Shares and probabilities for people: never 0 % or 100 % unless exactly so.

use super::{Printing, Resolution};

/// Below this share only "less than" is said, and above what it leaves "more than" (our own choice).
const LEAST_SAID: f64 = 0.001;
/// Nearer than this to either end one decimal is given (our own choice).
const ONE_DECIMAL: f64 = 0.1;

/// A share or a probability from 0 to 1 in per cent: whole per cents in the middle, one decimal near the ends, `< 0.1 %` and
/// `> 99.9 %` beyond. Beside a share it was compared with it has as many decimals as keep the comparison.
///
/// ```
/// use doseward::model::printed::share::share;
/// assert_eq!([0.0, 0.000_4, 0.053_7, 0.5, 0.999_96, 1.0].map(|p| share(p, &[])), [
///     "0 %", "< 0.1 %", "5.4 %", "50 %", "> 99.9 %", "100 %",
/// ]);
/// assert_eq!(share(0.949_8, &[0.95]), "94.98 %");
/// ```
pub fn share(of_one: f64, compared_with: &[f64]) -> String {
    // A level that lies beyond the last figure said must still be told apart.
    let beyond = |end: f64| compared_with.iter().all(|level| (*level - end).abs() >= LEAST_SAID);
    if of_one > 0.0 && of_one < LEAST_SAID && beyond(0.0) {
        return "< 0.1 %".to_owned();
    }
    if of_one < 1.0 && of_one > 1.0 - LEAST_SAID && beyond(1.0) {
        return "> 99.9 %".to_owned();
    }
    let middle = ONE_DECIMAL..=1.0 - ONE_DECIMAL;
    let whole = middle.contains(&of_one) || of_one <= 0.0 || of_one >= 1.0;
    // Everything is a level as nothing is: neither is said unless it is reached.
    let levels: Vec<f64> = compared_with.iter().chain(&[1.0]).map(|level| 100.0 * level).collect();
    let resolution = Resolution::Decimals(i32::from(!whole));
    format!("{} %", Printing::of(resolution).beside(&levels).number(100.0 * of_one))
}
