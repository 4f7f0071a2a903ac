//! The step down of a standard: how many results in a row, how far apart, below what.

use crate::model::facts::rule_set::RuleSet;
use crate::model::unit::Unit;
use crate::surveillance::calendar::{WorkingDays, add_days};
use crate::surveillance::level::{Level, Levels};
use crate::surveillance::pack::monitoring_rule::{MonitoringRule, MonitoringRuleType};
use crate::surveillance::pack::{Pack, table};
use chrono::NaiveDate;

/// A way down for 8-hour TWAs.
#[derive(Debug, Clone, PartialEq)]
pub struct StepDown {
    /// Row of the pack.
    pub rule_id: String,
    /// The clause as it is cited.
    pub clause: String,
    /// What the results must lie below, in the unit that was asked for.
    pub upper: f64,
    /// Whether lying exactly at it is enough.
    pub inclusive: bool,
    /// How many results in a row.
    pub results: usize,
    /// How many days apart, at the least.
    pub days_apart: u32,
    /// Whether those are working days.
    pub working_days: bool,
    /// Where it leads.
    pub to: Level,
}

impl StepDown {
    /// Whether two results are far enough apart.
    pub fn far_enough(&self, first: NaiveDate, second: NaiveDate, working_days: &WorkingDays) -> bool {
        let earliest = if self.working_days {
            working_days.add(first, self.days_apart)
        } else {
            add_days(first, self.days_apart.into())
        };
        earliest <= second
    }

    /// Where results below `upper` lead, by the level that it is.
    fn target(upper: f64, levels: Levels) -> Option<Level> {
        if Levels::is(levels.action_level, upper) {
            Some(Level::BelowActionLevel)
        } else if Levels::is(levels.limit, upper) {
            Some(match levels.action_level {
                Some(_) => Level::AtOrAboveActionLevel,
                None => Level::AtOrBelowLimit,
            })
        } else {
            None
        }
    }

    fn of(rule: &MonitoringRule, levels: Levels, unit: Unit) -> Option<Self> {
        // Where a rule has further limbs ("TWA and STEL", "0.5 & 5"), the first one is the 8-hour average.
        let eight_hours = rule.metric.as_deref().is_some_and(|metric| metric.starts_with("TWA"));
        if rule.rule_type != MonitoringRuleType::StepDown || !eight_hours {
            return None;
        }
        let written = rule.upper.as_deref()?;
        let number: String = written.chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
        let upper = table::unit(rule.unit.as_deref()?)?.convert(number.parse().ok()?, unit)?;
        Some(Self {
            rule_id: rule.rule_id.clone(),
            clause: rule.clause(),
            upper,
            inclusive: rule.upper_comparator.as_deref()?.starts_with("<="),
            results: usize::try_from(rule.consecutive_results_needed?).ok()?,
            days_apart: u32::try_from(rule.min_days_apart?).ok()?,
            working_days: rule.day_kind.as_deref().is_some_and(|kind| kind.eq_ignore_ascii_case("working")),
            to: Self::target(upper, levels)?,
        })
    }
}

/// The ways down for an agent under a body of law; none: its standing never falls (flag `no_step_down`).
pub fn step_downs(pack: &Pack, agent: &str, rule_set: RuleSet, levels: Levels, unit: Unit) -> Vec<StepDown> {
    pack.monitoring_of(agent, rule_set).filter_map(|rule| StepDown::of(rule, levels, unit)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(agent: &str, levels: (Option<f64>, Option<f64>), unit: Unit) -> Vec<StepDown> {
        let levels = Levels { action_level: levels.0, limit: levels.1 };
        step_downs(Pack::built_in(), agent, RuleSet::UsGeneralIndustry, levels, unit)
    }

    #[test]
    fn vinyl_chloride_asks_five_working_days_and_at_or_below() {
        // 29 CFR 1910.1017(d)(2)(iii).
        let rules = of("vinyl_chloride", (Some(0.5), Some(1.0)), Unit::Ppm);
        assert_eq!(rules.len(), 1);
        assert!(rules[0].inclusive && rules[0].working_days);
        let day = |text: &str| text.parse().unwrap();
        let calendar = WorkingDays::default();
        // Monday 9 March 2026 to the next Monday are five working days.
        assert!(!rules[0].far_enough(day("2026-03-09"), day("2026-03-15"), &calendar));
        assert!(rules[0].far_enough(day("2026-03-09"), day("2026-03-16"), &calendar));
    }

    #[test]
    fn the_first_limb_of_several_is_the_eight_hour_average() {
        // 29 CFR 1910.1051(d)(3)(iv), (d)(4)(ii): at or below 1 ppm; below 0.5 ppm (and 5 ppm short term).
        let rules = of("butadiene_1_3", (Some(0.5), Some(1.0)), Unit::Ppm);
        let read: Vec<_> = rules.iter().map(|rule| (rule.upper, rule.inclusive, rule.to)).collect();
        assert_eq!(read, [(1.0, true, Level::AtOrAboveActionLevel), (0.5, false, Level::BelowActionLevel)]);
    }

    #[test]
    fn levels_are_compared_in_the_unit_that_is_asked_for() {
        // 29 CFR 1910.1026(d)(2)(v): below 2.5 ug/m3 is below 0.0025 mg/m3.
        let rules = of("chromium_vi", (Some(0.0025), Some(0.005)), Unit::MgPerM3);
        assert_eq!(rules[0].to, Level::BelowActionLevel);
        // 29 CFR 1910.1044(f)(3)(ii): no action level.
        let dbcp = of("dbcp", (None, Some(1.0)), Unit::Ppb);
        assert_eq!((dbcp[0].to, dbcp[0].inclusive), (Level::AtOrBelowLimit, true));
    }
}
