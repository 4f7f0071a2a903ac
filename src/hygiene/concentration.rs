//! From mass on a filter to concentration in air, with the field blanks taken off.

use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;

/// Mass over volume.
pub const CONCENTRATION: Formula = Formula {
    formula: "concentration = mass / volume (ug/L = mg/m3)",
    source: "OSHA Technical Manual, Section II Chapter 1, full-period sampling",
};

/// The concentration in mg/m3 of `mass` (µg) in `volume_litres` of air; `None` unless the volume is above zero.
///
/// # Formula
/// `mass / volume`: ug over L is mg/m3. OSHA Technical Manual, Section II Chapter 1.
///
/// ```
/// use doseward::hygiene::concentration::concentration;
/// use doseward::model::measured::Measured;
/// // 2 ug in 500 L: 0.004 mg/m3, which is 4 ug/m3.
/// assert_eq!(concentration(Measured::Below(2.0), 500.0), Some(Measured::Below(0.004)));
/// ```
pub fn concentration(mass: Measured, volume_litres: f64) -> Option<Measured> {
    let one = |mass: f64| mass / volume_litres;
    (volume_litres > 0.0).then(|| match mass {
        Measured::Value(value) => Measured::Value(one(value)),
        Measured::Below(limit) => Measured::Below(one(limit)),
        Measured::Above(value) => Measured::Above(one(value)),
        Measured::Between { lower, upper } => Measured::Between { lower: one(lower), upper: one(upper) },
    })
}

/// One substance expressed as another that it holds or makes.
pub const EXPRESSED_AS: Formula = Formula {
    formula: "concentration as part = concentration x molar_mass_of_part / molar_mass",
    source: "common practice (stoichiometry); atomic weights as on the front page of NIOSH method 7605, Issue 2, 2016",
};

/// A concentration expressed as a part of the substance, such as CrO3 as Cr; molar masses in g/mol, above zero.
///
/// # Formula
/// `concentration x molar_mass_of_part / molar_mass`, in the unit of the concentration. Common practice (stoichiometry).
///
/// ```
/// use doseward::hygiene::concentration::expressed_as;
/// // A quarter of the mass of the molecule.
/// assert_eq!(expressed_as(8.0, 25.0, 100.0), 2.0);
/// ```
pub fn expressed_as(concentration: f64, molar_mass_of_part: f64, molar_mass: f64) -> f64 {
    concentration * molar_mass_of_part / molar_mass
}

/// A mean blank above this share of the sample's mass is flagged (our own choice).
pub const BLANK_SHARE_NOTED: f64 = 0.1;

/// Subtraction of the field blanks.
pub const BLANK_CORRECTION: Formula = Formula {
    formula: "mass_corrected = mass - mean(field blanks), a blank below its limit counting zero; below the \
              reporting limit: < reporting_limit",
    source: "NIOSH Manual of Analytical Methods, calculation C = (W - B) / V (from memory); what is below the \
             limit: this registry's rule",
};

/// A mass after its field blanks were looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlankCorrection {
    /// The mean of the field blanks, in the unit of the mass.
    pub mean_blank: f64,
    /// The mass as it came.
    pub raw: Measured,
    /// The mass to go on with; the raw one where it is a bound or a range, which is never corrected.
    pub corrected: Measured,
    /// Whether the mean blank is above a tenth of the sample's mass or above its reporting limit.
    pub blank_high: bool,
}

impl BlankCorrection {
    /// Whether anything was subtracted.
    pub fn applied(&self) -> bool {
        self.raw.is_value()
    }
}

/// A detected mass is not above zero.
pub const MASS_NOT_POSITIVE: &str = "mass_not_positive";

/// A mass as it can be reported: a detected one not above zero (a weighing less than its blank) stands below the reporting
/// limit; `None` without one.
///
/// ```
/// use doseward::hygiene::concentration::reportable;
/// use doseward::model::measured::Measured;
/// assert_eq!(reportable(Measured::Value(-0.01), Some(0.05)), Some(Measured::Below(0.05)));
/// assert_eq!(reportable(Measured::Value(-0.01), None), None);
/// ```
pub fn reportable(mass: Measured, reporting_limit: Option<f64>) -> Option<Measured> {
    match mass {
        Measured::Value(value) if value <= 0.0 => reporting_limit.map(Measured::Below),
        Measured::Below(limit) if limit <= 0.0 => None,
        other => Some(other),
    }
}

/// Takes the mean of the field blanks off a detected mass; all in one unit. `None` without blanks.
///
/// A corrected mass below zero with no reporting limit known is given as less than the raw mass.
///
/// # Formula
/// `mass - mean(field blanks)`, in the unit of the masses. NIOSH Manual of Analytical Methods, `C = (W - B) / V` (from
/// memory); what falls below the reporting limit: this registry's rule.
///
/// ```
/// use doseward::hygiene::concentration::blank_corrected;
/// use doseward::model::measured::Measured;
/// // Blanks of 0.5 and < 0.3: mean 0.25.
/// let blanks = [Measured::Value(0.5), Measured::Below(0.3)];
/// let found = blank_corrected(Measured::Value(2.0), &blanks, Some(0.3)).unwrap();
/// assert_eq!(found.corrected, Measured::Value(1.75));
/// ```
pub fn blank_corrected(
    mass: Measured,
    field_blanks: &[Measured],
    reporting_limit: Option<f64>,
) -> Option<BlankCorrection> {
    let mean_blank = mean_blank(field_blanks)?;
    let corrected = match mass {
        Measured::Value(raw) => {
            let net = raw - mean_blank;
            match reporting_limit {
                Some(limit) if significant(net) < significant(limit) => Measured::Below(limit),
                None if net <= 0.0 => Measured::Below(raw),
                _ => Measured::Value(net),
            }
        }
        bound => bound,
    };
    let most = mass.upper().unwrap_or_else(|| mass.lower());
    let blank = significant(mean_blank);
    let blank_high = blank > significant(BLANK_SHARE_NOTED * most)
        || reporting_limit.is_some_and(|limit| blank > significant(limit));
    Some(BlankCorrection { mean_blank, raw: mass, corrected, blank_high })
}

/// The mean of the field blanks, one below its limit counting zero; `None` without blanks.
///
/// # Formula
/// `sum / n` in the unit of the blanks, a blank below its limit counting 0. This registry's rule.
///
/// ```
/// use doseward::hygiene::concentration::mean_blank;
/// use doseward::model::measured::Measured;
/// assert_eq!(mean_blank(&[Measured::Value(0.5), Measured::Below(0.3)]), Some(0.25));
/// assert_eq!(mean_blank(&[]), None);
/// ```
pub fn mean_blank(field_blanks: &[Measured]) -> Option<f64> {
    let sum: f64 = field_blanks.iter().map(|blank| blank.lower()).sum();
    // A count of blanks is far below 2^52.
    #[expect(clippy::cast_precision_loss, reason = "a handful of blanks")]
    let count = field_blanks.len() as f64;
    (!field_blanks.is_empty()).then(|| sum / count)
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "figures that come out exactly")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // The rules are this registry's; the numbers are invented, no published source.
    #[test]
    fn a_non_detect_is_never_corrected() {
        let kept = blank_corrected(Measured::Below(0.1), &[Measured::Value(0.05)], Some(0.1)).unwrap();
        assert_eq!(kept.corrected, Measured::Below(0.1));
        assert!(!kept.applied());
        assert!(kept.blank_high);
    }

    #[test]
    fn a_blank_below_its_limit_counts_zero() {
        let blanks = [Measured::Below(0.02), Measured::Value(0.04)];
        let half = blank_corrected(Measured::Value(1.0), &blanks, Some(0.1)).unwrap();
        assert_eq!(half.mean_blank, 0.02);
        assert_eq!(half.corrected, Measured::Value(0.98));
        assert!(!half.blank_high);
    }

    #[test]
    fn what_falls_below_the_reporting_limit_becomes_a_bound_and_keeps_its_raw_value() {
        let blanks = [Measured::Value(0.06)];
        let low = blank_corrected(Measured::Value(0.12), &blanks, Some(0.1)).unwrap();
        assert_eq!(low.corrected, Measured::Below(0.1));
        assert_eq!(low.raw, Measured::Value(0.12));
        assert!(low.blank_high);
        let at = blank_corrected(Measured::Value(0.16), &blanks, Some(0.1)).unwrap();
        assert_eq!(at.corrected, Measured::Value(0.1));
    }

    #[test]
    fn without_blanks_or_air_there_is_nothing() {
        assert_eq!(blank_corrected(Measured::Value(1.0), &[], None), None);
        assert_eq!(concentration(Measured::Value(1.0), 0.0), None);
        assert_eq!(concentration(Measured::Value(2.4), 960.0), Some(Measured::Value(0.0025)));
    }

    proptest! {
        #[test]
        fn twice_the_air_halves_the_concentration(mass in 1e-3..1e3f64, volume in 1.0..1e4f64) {
            let one = concentration(Measured::Below(mass), volume).unwrap();
            let two = concentration(Measured::Below(mass), 2.0 * volume).unwrap();
            prop_assert_eq!(one, two.scaled(2.0));
        }
    }
}
