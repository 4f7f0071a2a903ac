//! What is known of a figure without a unit that is no single number.

use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::record;

record! {
    /// A range of bare numbers.
    pub struct BareRange {
        /// The least it can be.
        lower: f64,
        /// The most it can be; absent without an upper end.
        upper: Option<f64>,
    }
}

impl BareRange {
    /// The ends of what is known.
    pub(crate) fn of(measured: Measured) -> Self {
        Self { lower: significant(measured.lower()), upper: measured.upper().map(significant) }
    }
}
