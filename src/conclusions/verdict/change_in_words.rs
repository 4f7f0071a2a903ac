//! By how much something changed, in words: per cents and decibels that read as the comparison behind them was answered.

use crate::conclusions::verdict::thresholds::MOST_SAID_PERCENT;
use crate::model::printed::{Printing, Resolution, Toward};

/// Per cents of change beside the reduction that was asked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct PerCents<'t> {
    printing: Printing<'t>,
}

impl<'t> PerCents<'t> {
    /// Beside the levels that a reduction was compared with, in per cent.
    pub(super) const fn beside(levels: &'t [f64]) -> Self {
        Self { printing: Printing::of(Resolution::PerCent).beside(levels) }
    }

    /// A reduction: never more than "more than 99".
    pub(super) fn reduction(self, percent: f64) -> String {
        self.toward(percent, Toward::Nearest)
    }

    fn toward(self, percent: f64, toward: Toward) -> String {
        if percent > MOST_SAID_PERCENT {
            return format!("more than {MOST_SAID_PERCENT:.0} %");
        }
        format!("{} %", self.printing.number_toward(percent, toward))
    }

    /// A reduction of at least so much.
    pub(super) fn at_least(self, percent: f64) -> String {
        let words = self.toward(percent, Toward::Down);
        if percent > MOST_SAID_PERCENT { words } else { format!("at least {words}") }
    }

    /// An increase.
    pub(super) fn increase(self, percent: f64) -> String {
        format!("{} %", self.printing.number(percent))
    }

    /// An increase of at least so much.
    pub(super) fn increase_of_at_least(self, percent: f64) -> String {
        format!("at least {} %", self.printing.number_toward(percent, Toward::Down))
    }

    /// An interval of reductions in per cent that may hold both directions.
    pub(super) fn between(self, lower: Option<f64>, upper: Option<f64>) -> String {
        let side = |percent: f64, toward: Toward| {
            if percent < 0.0 {
                format!("{} % higher", self.printing.number_toward(-percent, of_size(percent, toward)))
            } else {
                format!("{} lower", self.toward(percent, toward))
            }
        };
        interval(lower, upper, side, ["worse", "better"])
    }
}

/// Decibels of change: one decimal, as levels are read.
const DECIBELS: Printing<'static> = Printing::of(Resolution::Decimals(1));

/// A change in decibels.
pub(super) fn decibels(value: f64) -> String {
    format!("{} dB", DECIBELS.number(value))
}

/// A change of at least so many decibels.
pub(super) fn decibels_at_least(value: f64) -> String {
    format!("at least {} dB", DECIBELS.number_toward(value, Toward::Down))
}

/// An interval of differences in decibels, with less without, that may hold both directions.
pub(super) fn decibels_between(lower: Option<f64>, upper: Option<f64>) -> String {
    let side = |value: f64, toward: Toward| {
        let word = if value < 0.0 { "lower" } else { "higher" };
        format!("{} dB {word}", DECIBELS.number_toward(value.abs(), of_size(value, toward)))
    };
    interval(lower, upper, side, ["better", "worse"])
}

/// Which way the size of a number goes when the number goes `toward`.
const fn of_size(value: f64, toward: Toward) -> Toward {
    match (toward, value < 0.0) {
        (Toward::Down, true) => Toward::Up,
        (Toward::Up, true) => Toward::Down,
        (same, _) => same,
    }
}

/// Both ends, or the one there is; `beyond` tells what lies below the lower and above the upper end.
fn interval(
    lower: Option<f64>,
    upper: Option<f64>,
    side: impl Fn(f64, Toward) -> String,
    beyond: [&str; 2],
) -> String {
    let [below, above] = beyond;
    match (lower, upper) {
        (Some(lower), Some(upper)) => {
            format!("95 % interval {} to {}", side(lower, Toward::Nearest), side(upper, Toward::Nearest))
        }
        (Some(lower), None) => format!("95 % limit: not {below} than {}", side(lower, Toward::Down)),
        (None, Some(upper)) => format!("95 % limit: not {above} than {}", side(upper, Toward::Up)),
        (None, None) => "no interval can be given".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The rules are this registry's; the numbers are invented.
    #[test]
    fn a_reduction_beside_its_target_reads_as_it_was_judged() {
        let beside = PerCents::beside(&[50.0]);
        assert_eq!([50.3, 49.8, 50.0].map(|percent| beside.reduction(percent)), ["50.3 %", "49.8 %", "50 %"]);
        // An interval that excludes no change does not read as if it began there.
        assert_eq!([0.04, 8.25, 31.6].map(|percent| beside.reduction(percent)), ["0.040 %", "8.3 %", "32 %"]);
        assert_eq!(
            [99.0, 99.2, 99.999].map(|percent| beside.reduction(percent)),
            ["99 %", "more than 99 %", "more than 99 %"]
        );
        assert_eq!([99.6, 132.7].map(|percent| beside.increase(percent)), ["100 %", "133 %"]);
    }

    #[test]
    fn what_is_at_least_is_never_rounded_up_and_what_is_at_most_never_down() {
        let beside = PerCents::beside(&[50.0]);
        assert_eq!(
            [98.9, 50.9, 99.5].map(|percent| beside.at_least(percent)),
            ["at least 98 %", "at least 50.9 %", "more than 99 %"]
        );
        assert_eq!(beside.increase_of_at_least(37.9), "at least 37 %");
        assert_eq!(beside.between(Some(-12.3), None), "95 % limit: not worse than 13 % higher");
        assert_eq!(beside.between(Some(12.9), None), "95 % limit: not worse than 12 % lower");
        assert_eq!(beside.between(None, Some(12.3)), "95 % limit: not better than 13 % lower");
        assert_eq!(beside.between(Some(-12.3), Some(49.6)), "95 % interval 12 % higher to 49.6 % lower");
        assert_eq!(decibels_at_least(2.98), "at least 2.9 dB");
        assert_eq!(decibels_between(Some(-3.01), None), "95 % limit: not better than 3.1 dB lower");
        assert_eq!(decibels_between(None, Some(0.04)), "95 % limit: not worse than 0.1 dB higher");
        assert_eq!(decibels_between(None, Some(-0.16)), "95 % limit: not worse than 0.1 dB lower");
    }
}
