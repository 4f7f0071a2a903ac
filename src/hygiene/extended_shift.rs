//! Limits for longer shifts and weeks.

use crate::model::working::Formula;
use crate::words;

words! {
    /// How a limit made for 8 hours and 40 hours is lowered.
    pub enum ShiftModel {
        /// Brief and Scala, by the day.
        BriefScalaDaily = "brief_scala_daily",
        /// Brief and Scala, by the week.
        BriefScalaWeekly = "brief_scala_weekly",
        /// The same dose a day.
        EqualDoseDaily = "equal_dose_daily",
        /// The same dose a week.
        EqualDoseWeekly = "equal_dose_weekly",
        /// The lead standard's own rule.
        LeadDaily = "lead_daily",
    }
}

impl ShiftModel {
    /// Whether it looks at the hours of the week rather than of the shift.
    pub const fn is_weekly(self) -> bool {
        matches!(self, Self::BriefScalaWeekly | Self::EqualDoseWeekly)
    }

    /// Its formula.
    pub const fn formula(self) -> Formula {
        match self {
            Self::BriefScalaDaily => Formula {
                formula: "factor = 8/h x (24 - h)/16, at most 1",
                source: "Brief and Scala, American Industrial Hygiene Association Journal 36 (1975) 467-469 (from memory)",
            },
            Self::BriefScalaWeekly => Formula {
                formula: "factor = 40/H x (168 - H)/128, at most 1",
                source: "Brief and Scala, American Industrial Hygiene Association Journal 36 (1975) 467-469 (from memory)",
            },
            Self::EqualDoseDaily => Formula {
                formula: "factor = 8/h, at most 1",
                source: "OSHA Technical Manual, Section II Chapter 1, extended work shifts (from memory)",
            },
            Self::EqualDoseWeekly => Formula {
                formula: "factor = 40/H, at most 1",
                source: "OSHA Technical Manual, Section II Chapter 1, extended work shifts (from memory)",
            },
            Self::LeadDaily => Formula {
                formula: "allowable = 400 ug/m3 h / h for shifts above 8 hours, the limit being 50 ug/m3: factor = 8/h",
                source: "29 CFR 1910.1025(c)(2)",
            },
        }
    }

    /// The factor on the limit for shifts (or weeks) of `hours`; `None` outside 0 to 24 (168) hours.
    ///
    /// # Formula
    /// [`Self::formula`], hours in h; a factor without unit, at most 1.
    ///
    /// ```
    /// use doseward::hygiene::extended_shift::ShiftModel;
    /// // 8 / 10 x 14 / 16
    /// assert!((ShiftModel::BriefScalaDaily.factor(10.0).unwrap() - 0.7).abs() < 1e-12);
    /// assert_eq!(ShiftModel::EqualDoseWeekly.factor(50.0), Some(0.8));
    /// ```
    pub fn factor(self, hours: f64) -> Option<f64> {
        let longest = if self.is_weekly() { 168.0 } else { 24.0 };
        (hours > 0.0 && hours <= longest).then(|| {
            let factor = match self {
                Self::BriefScalaDaily => 8.0 / hours * (24.0 - hours) / 16.0,
                Self::BriefScalaWeekly => 40.0 / hours * (168.0 - hours) / 128.0,
                Self::EqualDoseDaily | Self::LeadDaily => 8.0 / hours,
                Self::EqualDoseWeekly => 40.0 / hours,
            };
            factor.min(1.0)
        })
    }
}

/// A limit of shift work as one of continuous exposure.
pub const CONTINUOUS_EQUIVALENT: Formula = Formula {
    formula: "continuous = limit x hours_per_day / 24 x days_per_week / 7",
    source: "California OEHHA, respirable crystalline silica reference exposure level, February 2005, appendix",
};

/// The continuous exposure with the same dose, in the unit of the limit.
///
/// # Formula
/// `limit x hours_per_day / 24 x days_per_week / 7`, in the unit of the limit. California OEHHA, February 2005, appendix.
///
/// ```
/// use doseward::hygiene::extended_shift::continuous_equivalent;
/// // 21 x 8 / 24 x 5 / 7
/// assert_eq!(continuous_equivalent(21.0, 8.0, 5.0), 5.0);
/// ```
pub fn continuous_equivalent(limit: f64, hours_per_day: f64, days_per_week: f64) -> f64 {
    limit * hours_per_day / 24.0 * days_per_week / 7.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_short_shift_never_raises_a_limit() {
        for model in ShiftModel::ALL {
            assert_eq!(model.factor(4.0), Some(1.0));
            assert_eq!(model.factor(0.0), None);
            assert_eq!(model.factor(200.0), None);
        }
    }

    proptest! {
        #[test]
        fn longer_hours_never_raise_the_factor(hours in 0.5..23.0f64) {
            for model in ShiftModel::ALL {
                prop_assert!(model.factor(hours + 1.0) <= model.factor(hours));
            }
        }
    }
}
