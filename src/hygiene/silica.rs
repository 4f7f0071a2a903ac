//! The older formula limits for dust with crystalline silica.

use crate::model::working::Formula;

/// The limit of respirable dust.
pub const SILICA_FORMULA_LIMIT: Formula = Formula {
    formula: "limit (mg/m3 of respirable dust) = 10 / (%quartz + 2 %cristobalite + 2 %tridymite + 2)",
    source: "54 FR 2332 (19 January 1989), silica section (quartz); OSHA Technical Manual (other forms, from memory)",
};

/// The limit of respirable dust in mg/m3 from mass percentages; to be rounded last, since
/// rounded percentages move it by about 1 %.
///
/// # Formula
/// `10 / (%quartz + 2 %cristobalite + 2 %tridymite + 2)` mg/m3, per cent by mass. 54 FR 2332 (19 January 1989).
///
/// ```
/// use doseward::hygiene::silica::formula_limit;
/// // 10 / (4 + 2 + 0 + 2)
/// assert_eq!(formula_limit(4.0, 1.0, 0.0), 1.25);
/// ```
pub fn formula_limit(quartz_percent: f64, cristobalite_percent: f64, tridymite_percent: f64) -> f64 {
    10.0 / (quartz_percent + 2.0 * cristobalite_percent + 2.0 * tridymite_percent + 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    // 29 CFR 1910.1000 Table Z-3 (from memory): half the quartz limit for cristobalite, so it counts twice.
    #[test]
    fn cristobalite_counts_twice() {
        assert!((formula_limit(0.0, 4.0, 0.0) - formula_limit(8.0, 0.0, 0.0)).abs() < 1e-15);
        assert!((formula_limit(0.0, 0.0, 0.0) - 5.0).abs() < 1e-15);
    }
}
