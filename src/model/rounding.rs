//! The one rounding before a figure is compared, stored or exported.

/// Rounds to 12 significant digits.
///
/// A result that lies exactly at a level falls below it in a good part of all cases when raw doubles are compared
/// (2.4 µg in 960 L is 2.5 µg/m³ on paper, 2.4999999999999996 in binary). Twelve digits are far beyond any
/// measurement and well inside a double.
pub fn significant(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value + 0.0;
    }
    // Through decimal text, because scaling by powers of ten would itself round in binary.
    format!("{value:.11e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_exactly_at_a_level_reaches_it() {
        // Arithmetic: 0.1 + 0.2 is 0.30000000000000004 in binary floating point (IEEE 754).
        assert!((significant(0.1 + 0.2) - 0.3).abs() == 0.0);
        assert!(significant(4.35 * 100.0) >= 435.0);
        assert!((significant(-0.0)).is_sign_positive());
    }
}
