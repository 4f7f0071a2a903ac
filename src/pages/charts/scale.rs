//! Axes: from a value to its place, and where ticks stand.

use chrono::{Datelike as _, NaiveDate};

/// A logarithmic axis spans at least so many times its least value: one decade.
const SPAN_LEAST: f64 = 10.0;
/// A month with its year takes so much room.
const MONTH_NAMED: f64 = 68.0;

/// An axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    logarithmic: bool,
    low: f64,
    high: f64,
    at_low: f64,
    at_high: f64,
}

/// A tick of an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Where.
    pub at: f64,
    /// Its value.
    pub value: f64,
    /// Whether a line is ruled there: a decade.
    pub ruled: bool,
    /// Whether its number is written.
    pub named: bool,
}

impl Scale {
    /// A logarithmic axis from `low` to `high`, both above zero.
    pub fn log((low, high): (f64, f64), at_low: f64, at_high: f64) -> Self {
        Self { logarithmic: true, low, high, at_low, at_high }
    }

    /// A linear axis.
    pub fn linear((low, high): (f64, f64), at_low: f64, at_high: f64) -> Self {
        Self { logarithmic: false, low, high, at_low, at_high }
    }

    /// Logarithmic or linear.
    pub fn of(logarithmic: bool, span: (f64, f64), at_low: f64, at_high: f64) -> Self {
        if logarithmic { Self::log(span, at_low, at_high) } else { Self::linear(span, at_low, at_high) }
    }

    /// Where a value stands; what lies beyond an end stands at that end.
    pub fn at(&self, value: f64) -> f64 {
        let bent = |value: f64| if self.logarithmic { value.ln() } else { value };
        let (low, high) = (bent(self.low), bent(self.high));
        let share = if high > low { (bent(value) - low) / (high - low) } else { 0.5 };
        let share = if share.is_nan() { 0.0 } else { share.clamp(0.0, 1.0) };
        self.at_low + share * (self.at_high - self.at_low)
    }

    /// Whether a value lies on the axis.
    pub fn holds(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// The ends in the drawing, the one of the least value first.
    pub fn ends(&self) -> (f64, f64) {
        (self.at_low, self.at_high)
    }

    /// The least and the greatest value.
    pub fn span(&self) -> (f64, f64) {
        (self.low, self.high)
    }

    /// Ticks in ascending order; numbers are written where `room` units lie between them.
    pub fn ticks(&self, room: f64) -> Vec<Tick> {
        if self.logarithmic { self.log_ticks(room) } else { self.linear_ticks(room) }
    }

    fn log_ticks(&self, room: f64) -> Vec<Tick> {
        let length = (self.at_high - self.at_low).abs();
        let decade = length / (self.high / self.low).log10().max(f64::MIN_POSITIVE);
        // From 2 to 5 is the widest step within a decade, from 1 to 2 as narrow as from 5 to 10.
        let within = decade * 2f64.log10() >= room;
        let every: i32 = if decade >= room {
            1
        } else if 2.0 * decade >= room {
            2
        } else {
            3
        };
        let mut ticks = Vec::new();
        let mut power = whole(self.low.log10().floor());
        while 10f64.powi(power) <= self.high * 1.000_001 {
            for digit in [1.0, 2.0, 3.0, 5.0] {
                let value = digit * 10f64.powi(power);
                if value < self.low * 0.999_999 || value > self.high * 1.000_001 {
                    continue;
                }
                let ruled = digit < 1.5;
                let third = digit > 2.5 && digit < 3.5;
                let named = if ruled { power.rem_euclid(every) == 0 || within } else { within && !third };
                ticks.push(Tick { at: self.at(value), value, ruled, named });
            }
            power += 1;
        }
        ticks
    }

    fn linear_ticks(&self, room: f64) -> Vec<Tick> {
        let length = (self.at_high - self.at_low).abs();
        let most = (length / room.max(1.0)).floor().max(1.0);
        let step = round_step((self.high - self.low) / most);
        if step.is_nan() || step <= 0.0 {
            return Vec::new();
        }
        let mut ticks = Vec::new();
        let mut number = (self.low / step - 1e-9).ceil();
        while number * step <= self.high + 1e-9 * step {
            // A product of whole numbers and a power of ten has no tail of digits.
            let value = number * step;
            ticks.push(Tick { at: self.at(value), value, ruled: true, named: true });
            number += 1.0;
        }
        ticks
    }
}

/// The next step of 1, 2 or 5 times a power of ten.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|digit| digit * power)
        .find(|step| *step >= least * 0.999_999)
        .unwrap_or(0.0)
}

/// A number without fraction, such as an exponent of ten.
#[expect(clippy::cast_possible_truncation, reason = "exponents of quantities lie within a few hundred")]
fn whole(number: f64) -> i32 {
    number.clamp(-300.0, 300.0) as i32
}

/// The span of a logarithmic axis that holds these values with some room, ending at 1, 2 or 5 times a power of ten. Values
/// that are not above zero have no place on it.
pub fn log_span(values: impl IntoIterator<Item = f64>) -> (f64, f64) {
    let (mut low, mut high) = (f64::INFINITY, 0.0_f64);
    for value in values.into_iter().filter(|value| *value > 0.0 && value.is_finite()) {
        (low, high) = (low.min(value), high.max(value));
    }
    if high <= 0.0 {
        return (1.0, SPAN_LEAST);
    }
    let (mut low, mut high) = (below(low / 1.25), above(high * 1.25));
    while high / low < SPAN_LEAST * 0.999_999 {
        (low, high) = (below(low / 1.01), above(high * 1.01));
    }
    (low, high)
}

/// The span of a linear axis that holds these values with some room, in whole steps.
pub fn linear_span(values: impl IntoIterator<Item = f64>, step: f64) -> (f64, f64) {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for value in values.into_iter().filter(|value| value.is_finite()) {
        (low, high) = (low.min(value), high.max(value));
    }
    if low > high {
        return (0.0, step);
    }
    (((low / step) - 0.2).floor() * step, ((high / step) + 0.2).ceil() * step)
}

/// From zero to the next round number above the greatest value.
pub fn span_from_zero(greatest: f64) -> (f64, f64) {
    let greatest = if greatest.is_finite() && greatest > 0.0 { greatest } else { 1.0 };
    let step = round_step(greatest / 5.0);
    (0.0, (greatest / step * 1.02).ceil() * step)
}

fn below(value: f64) -> f64 {
    let power = 10f64.powf(value.log10().floor());
    [5.0, 2.0, 1.0]
        .into_iter()
        .map(|digit| digit * power)
        .find(|round| *round <= value * 1.000_001)
        .unwrap_or(power)
}

fn above(value: f64) -> f64 {
    let power = 10f64.powf(value.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|digit| digit * power)
        .find(|round| *round >= value * 0.999_999)
        .unwrap_or(10.0 * power)
}

/// A date as a number that grows by one a day.
pub fn day(date: NaiveDate) -> f64 {
    f64::from(date.num_days_from_ce())
}

/// An axis of time from one date to another.
pub fn time((from, to): (NaiveDate, NaiveDate), left: f64, right: f64) -> Scale {
    let (from, to) = (day(from), day(to));
    Scale::linear((from, if to > from { to } else { from + 1.0 }), left, right)
}

/// Where years (of short times, months) begin on an axis of time, with their names where `room` units lie between them.
pub fn dates(axis: &Scale, room: f64) -> Vec<(f64, String)> {
    let (from, to) = axis.span();
    let (left, right) = axis.ends();
    let a_day = (right - left).abs() / (to - from);
    let months = [1, 3, 6, 12, 24, 60, 120, 240]
        .into_iter()
        .find(|months| {
            f64::from(*months) * 30.4 * a_day >= if *months < 12 { room.max(MONTH_NAMED) } else { room }
        })
        .unwrap_or(480);
    let first = NaiveDate::from_num_days_from_ce_opt(whole_day(from)).map_or(1, |date| date.year());
    let last = NaiveDate::from_num_days_from_ce_opt(whole_day(to)).map_or(1, |date| date.year());
    let mut found = Vec::new();
    for year in first..=last {
        for month in 0..12_i32 {
            let number = 12 * year + month;
            if number.rem_euclid(months) != 0 {
                continue;
            }
            let Some(date) = u32::try_from(month + 1)
                .ok()
                .and_then(|month| NaiveDate::from_ymd_opt(year, month, 1))
                .filter(|date| axis.holds(day(*date)))
            else {
                continue;
            };
            let named = if months < 12 { date.format("%b %Y").to_string() } else { date.year().to_string() };
            found.push((axis.at(day(date)), named));
        }
    }
    found
}

#[expect(clippy::cast_possible_truncation, reason = "days of the calendar are small whole numbers")]
fn whole_day(number: f64) -> i32 {
    number.clamp(-95_000_000.0, 95_000_000.0) as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn decades_are_ruled_and_ends_are_round() {
        assert_eq!(log_span([2.3, 110.0]), (1.0, 200.0));
        assert_eq!(log_span([0.0, -1.0, f64::NAN]), (1.0, 10.0));
        let ticks = Scale::log((1.0, 1000.0), 0.0, 300.0).ticks(40.0);
        let ruled: Vec<f64> = ticks.iter().filter(|tick| tick.ruled).map(|tick| tick.at.round()).collect();
        assert_eq!(ruled, [0.0, 100.0, 200.0, 300.0]);
        assert!(ticks.iter().filter(|tick| tick.named).all(|tick| tick.ruled));
    }

    #[test]
    fn years_stand_at_new_year() {
        let date = |text: &str| text.parse::<NaiveDate>().unwrap();
        let axis = time((date("2019-07-01"), date("2022-07-01")), 0.0, 300.0);
        let named: Vec<String> = dates(&axis, 50.0).into_iter().map(|(_, name)| name).collect();
        assert_eq!(named, ["2020", "2021", "2022"]);
        let axis = time((date("2026-01-01"), date("2026-04-01")), 0.0, 300.0);
        assert_eq!(dates(&axis, 60.0)[0].1, "Jan 2026");
    }

    proptest! {
        #[test]
        fn order_is_kept_and_nothing_leaves_the_axis(
            values in prop::collection::vec(1e-6..1e6f64, 2..12), flipped in any::<bool>(),
        ) {
            let span = log_span(values.iter().copied());
            let (left, right) = if flipped { (300.0, 20.0) } else { (20.0, 300.0) };
            let scale = Scale::log(span, left, right);
            for one in &values {
                prop_assert!(scale.holds(*one));
                prop_assert!((20.0..=300.0).contains(&scale.at(*one)));
                for other in &values {
                    let rises = scale.at(*one) < scale.at(*other);
                    prop_assert!(one >= other || rises == (left < right) || other / one < 1.000_001);
                }
            }
            let ticks = scale.ticks(30.0);
            let places: Vec<f64> = ticks.iter().filter(|tick| tick.named).map(|tick| tick.at).collect();
            prop_assert!(places.windows(2).all(|two| (two[1] - two[0]).abs() >= 29.0), "{places:?}");
        }

        #[test]
        fn a_linear_axis_from_zero_holds_the_greatest(greatest in 1e-6..1e6f64) {
            let (low, high) = span_from_zero(greatest);
            prop_assert!(low == 0.0 && high >= greatest && high <= greatest * 2.0);
        }
    }
}
