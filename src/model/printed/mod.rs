//! Figures as people read them: in as many significant figures as the data carry, with their unit, and never so rounded
//! that a reader would answer a comparison differently than the registry does.
//!
//! A bound stays a bound (`< 0.10 µg/m³`), what is above zero never reads as 0, and the unit is that of the limit: a prefix
//! that changed from row to row could not be compared at a glance.

mod decimal;
pub mod precision;
pub mod share;
#[cfg(test)]
mod tests;

pub use decimal::Toward;

use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::unit::{Dimension, Unit};
use decimal::Decimal;

/// What is said of a bound of zero, which bounds nothing that could be measured.
const NOT_DETECTED: &str = "not detected";

/// How finely a figure is given before a comparison asks for more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Resolution {
    /// So many significant figures, as of a concentration.
    Figures(u32),
    /// So many digits behind the point, as of a level in dB.
    Decimals(i32),
    /// Two figures, but never coarser than a whole up to 999, and three figures above: per cents of change.
    PerCent,
}

impl Resolution {
    /// That of values in a unit which were computed from data of so many figures (see [`precision::figures_of`]): levels of
    /// sound to a tenth of a decibel, as meters read them, all else in figures.
    ///
    /// ```
    /// use doseward::model::printed::Resolution;
    /// use doseward::model::unit::Unit;
    /// assert_eq!(Resolution::of(Unit::UgPerM3, 3), Resolution::Figures(3));
    /// assert_eq!(Resolution::of(Unit::DbA, 3), Resolution::Decimals(1));
    /// ```
    pub fn of(unit: Unit, figures: u32) -> Self {
        match unit.dimension() {
            Dimension::SoundLevel | Dimension::PeakSoundLevel => Self::Decimals(1),
            _ => Self::Figures(figures),
        }
    }

    /// The power of ten of the last digit of a number of this magnitude.
    fn place(self, magnitude: i32) -> i32 {
        match self {
            Self::Figures(figures) => magnitude - i32::try_from(figures.max(1)).unwrap_or(i32::MAX) + 1,
            Self::Decimals(decimals) => -decimals,
            Self::PerCent => (magnitude - 1).min((magnitude - 2).max(0)),
        }
    }
}

/// How figures are set: how finely, and beside which levels.
///
/// ```
/// use doseward::model::measured::Measured;
/// use doseward::model::printed::{Printing, Resolution};
/// use doseward::model::unit::Unit;
/// let printing = Printing::of(Resolution::Figures(2));
/// assert_eq!(printing.number(0.050_3), "0.050");
/// // Beside the level it was compared with it keeps the comparison.
/// let printing = printing.beside(&[0.05]);
/// assert_eq!(printing.number(0.050_3), "0.0503");
/// assert_eq!(printing.number(0.049_96), "0.04996");
/// assert_eq!(printing.number(0.05), "0.05");
/// assert_eq!(printing.measured(Measured::Below(0.012), Unit::MgPerM3), "< 0.012 mg/m³");
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Printing<'l> {
    resolution: Resolution,
    levels: &'l [f64],
}

impl<'l> Printing<'l> {
    /// So finely, beside no level but zero.
    pub const fn of(resolution: Resolution) -> Printing<'static> {
        Printing { resolution, levels: &[] }
    }

    /// The same beside the levels that the figure was compared with, in its own unit: digits are added until it stands to
    /// each of them as the number does. A figure exactly at a level reads as the level.
    #[must_use]
    pub const fn beside(self, levels: &'l [f64]) -> Self {
        Self { levels, ..self }
    }

    /// A number; `not known` of what is none.
    pub fn number(self, value: f64) -> String {
        self.number_toward(value, Toward::Nearest)
    }

    /// A number that is not to be exceeded ([`Toward::Up`]) or fallen short of ([`Toward::Down`]).
    pub fn number_toward(self, value: f64, toward: Toward) -> String {
        self.rounded(value, toward).map_or_else(|| "not known".to_owned(), |decimal| decimal.to_string())
    }

    /// What is known of a value, with the unit's symbol: a bound keeps its sign and is rounded away from what it shuts in, so
    /// that it stays true.
    pub fn measured(self, measured: Measured, unit: Unit) -> String {
        let of_unit = |figures: String| with_unit(&figures, unit);
        match measured {
            Measured::Value(value) => of_unit(self.number(value)),
            Measured::Below(0.0) => NOT_DETECTED.to_owned(),
            Measured::Below(limit) => of_unit(format!("< {}", self.number_toward(limit, Toward::Up))),
            Measured::Above(least) => of_unit(format!("> {}", self.number_toward(least, Toward::Down))),
            // From zero is no figure that was seen; the upper end may be reached, so that it is no `<`.
            Measured::Between { lower, upper } if lower == 0.0 && upper > 0.0 => {
                of_unit(format!("up to {}", self.number_toward(upper, Toward::Up)))
            }
            Measured::Between { lower, upper } => of_unit(format!(
                "{} to {}",
                self.number_toward(lower, Toward::Down),
                self.number_toward(upper, Toward::Up)
            )),
        }
    }

    /// A quantity: in its own digits where they were reported (`0.50` stays `0.50`), else as [`Self::measured`].
    pub fn quantity(self, quantity: &Quantity) -> String {
        let Some(text) = &quantity.reported else { return self.measured(quantity.measured, quantity.unit) };
        let digits = Decimal::read(text).map_or_else(|| text.clone(), |digits| digits.to_string());
        let sign = match quantity.measured {
            Measured::Below(0.0) => return NOT_DETECTED.to_owned(),
            Measured::Below(_) => "< ",
            Measured::Above(_) => "> ",
            Measured::Value(_) | Measured::Between { .. } => "",
        };
        with_unit(&format!("{sign}{digits}"), quantity.unit)
    }

    /// The coarsest figure that stands to zero and to every level as the number does.
    fn rounded(self, value: f64, toward: Toward) -> Option<Decimal> {
        let exact = Decimal::of(value)?;
        let value = exact.value();
        let level = |level: &f64| significant(*level);
        if value == 0.0 || self.levels.iter().map(level).any(|level| level.total_cmp(&value).is_eq()) {
            return Some(exact.shortest());
        }
        let keeps = |figure: f64| {
            std::iter::once(0.0)
                .chain(self.levels.iter().map(level))
                .all(|level| figure.partial_cmp(&level) == value.partial_cmp(&level))
        };
        let place = self.resolution.place(exact.magnitude());
        let mut finer = (0..=place.saturating_sub(exact.finest()).max(0)).map(|more| {
            let figure = exact.rounded(place - more, toward);
            match self.resolution {
                Resolution::Decimals(_) => figure,
                Resolution::Figures(_) | Resolution::PerCent => figure.carried(exact),
            }
        });
        Some(finer.find(|figure| keeps(figure.value())).unwrap_or(exact))
    }
}

/// A number that was set by somebody and not measured, such as a limit or a target: in all its digits.
///
/// ```
/// use doseward::model::printed::exact;
/// assert_eq!([5.0, 0.05, 12_500.0].map(exact), ["5", "0.05", "12\u{202f}500"]);
/// ```
pub fn exact(value: f64) -> String {
    Decimal::of(value).map_or_else(|| "not known".to_owned(), |decimal| decimal.shortest().to_string())
}

/// Figures with the symbol of their unit.
fn with_unit(figures: &str, unit: Unit) -> String {
    format!("{figures} {}", unit.symbol())
}
