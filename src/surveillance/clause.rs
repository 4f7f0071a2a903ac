//! A surveillance clause about air, read from its row into what the engine asks of a day and of a count.

use crate::model::facts::clause::TimeUnit;
use crate::model::measured::{Answer, Measured};
use crate::model::unit::Unit;
use crate::surveillance::calendar::{WorkingDays, add_days, add_months};
use crate::surveillance::day_count::{Day, FirstMet, Tier, Verdict, WINDOW_MONTHS};
use crate::surveillance::level::{Level, Levels};
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::surveillance_detail::DetailKind;
use crate::surveillance::pack::surveillance_rule::{Comparator, SurveillanceRule, TriggerType};
use crate::surveillance::pack::table;
use chrono::NaiveDate;

/// What a day is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Limb {
    /// The 8-hour average against a level.
    Average {
        /// The level.
        level: f64,
        /// At it, or only above it.
        comparator: Comparator,
        /// Which standing of the group reaches it.
        tier: Tier,
    },
    /// The short-term average against a level.
    ShortTerm {
        /// The level.
        level: f64,
        /// At it, or only above it.
        comparator: Comparator,
    },
    /// Whether there was any exposure.
    AnyExposure,
    /// The 8-hour average against a level that is neither the action level nor the limit: where a group stands tells only
    /// where one of these lies between.
    Apart {
        /// The level.
        level: f64,
        /// At it, or only above it.
        comparator: Comparator,
        /// The action level and the limit.
        levels: Levels,
    },
    /// Whether a respirator was required.
    Respirator,
}

impl Limb {
    /// How it answers for a day.
    pub fn verdict(self, day: &Day) -> Verdict {
        match self {
            Self::Average { level, comparator, tier } => {
                let at_limit = tier == Tier::Limit && comparator == Comparator::AtOrAbove;
                let standing = day.standing_at_limit.filter(|_| at_limit).or(day.standing);
                let own = day.own(|twa| compare(twa, level, comparator));
                Verdict::of(own, day.by_standing(standing, |standing| tier.answer(standing)))
            }
            Self::ShortTerm { level, comparator } => {
                let own = |average: Measured| compare(average, level, comparator);
                let over = day.longer_mean.map(own).filter(|answer| *answer == Answer::AtOrAbove);
                Verdict::of(over.or_else(|| day.short_term.map(own)), None)
            }
            Self::Apart { level, comparator, levels } => {
                let standing =
                    day.by_standing(day.standing, |standing| apart(standing, level, comparator, levels));
                Verdict::of(day.own(|twa| compare(twa, level, comparator)), standing)
            }
            Self::AnyExposure => {
                let own = day.own(|twa| compare(twa, 0.0, Comparator::Above));
                let by_standing =
                    day.by_standing(day.standing, |standing| Tier::AnyExposure.answer(standing));
                Verdict::of(own, if day.agent_there { Some(Answer::AtOrAbove) } else { by_standing })
            }
            Self::Respirator => {
                Verdict { measured: false, counts: day.respirator == Some(true), undecided: false }
            }
        }
    }
}

/// What a standing tells of a level of the clause's own.
fn apart(standing: Level, level: f64, comparator: Comparator, levels: Levels) -> Answer {
    let (action_level, limit) = (levels.action_level, levels.limit);
    // Above the limit is above everything up to it; at or above the action level reaches everything up to that one.
    let reached = match standing {
        Level::AboveLimit => limit.is_some_and(|limit| level <= limit),
        Level::AtOrAboveActionLevel => action_level.is_some_and(|at| match comparator {
            Comparator::AtOrAbove => level <= at,
            Comparator::Above => level < at,
        }),
        _ => false,
    };
    let below = match standing {
        Level::BelowActionLevel => action_level.is_some_and(|at| at <= level),
        Level::AtOrBelowLimit | Level::AtOrAboveActionLevel => limit.is_some_and(|limit| match comparator {
            Comparator::AtOrAbove => limit < level,
            Comparator::Above => limit <= level,
        }),
        Level::Unknown | Level::AboveLimit => false,
    };
    match (reached, below) {
        (true, _) => Answer::AtOrAbove,
        (false, true) => Answer::Below,
        (false, false) => Answer::CannotTell,
    }
}

/// How a measurement compares by a clause's comparator.
pub(super) fn compare(measured: Measured, level: f64, comparator: Comparator) -> Answer {
    match comparator {
        Comparator::AtOrAbove => measured.against(level),
        Comparator::Above => measured.exceeds(level),
    }
}

/// The limbs of a clause in a unit; `None` where no day's air is looked at, or its level cannot be had in that unit.
pub fn limbs(rule: &SurveillanceRule, levels: Levels, unit: Unit) -> Option<Vec<Limb>> {
    match rule.trigger_type {
        TriggerType::RespiratorDays | TriggerType::RespiratorAny => Some(vec![Limb::Respirator]),
        TriggerType::ExposureDays
        | TriggerType::ExposureDaysRebuttable
        | TriggerType::ExposureOrTaskRebuttable
        | TriggerType::ExposureOrTaskDays
        | TriggerType::ExposureAnyDay
        | TriggerType::ExposureAny => air_limbs(rule, levels, unit),
        TriggerType::ExposureAnyPlusMedical
        | TriggerType::Symptoms
        | TriggerType::Emergency
        | TriggerType::EmergencyOrSymptoms
        | TriggerType::Biological
        | TriggerType::BiologicalRemoval
        | TriggerType::MedicalRecommendation
        | TriggerType::History
        | TriggerType::Task
        | TriggerType::DermalDays
        | TriggerType::Area
        | TriggerType::AreaDays => None,
    }
}

/// The limbs of a metric of air, whatever else the clause asks for.
pub(super) fn air_limbs(rule: &SurveillanceRule, levels: Levels, unit: Unit) -> Option<Vec<Limb>> {
    let metric = rule.metric.as_deref()?;
    let Some(thresholds) = &rule.threshold_value else {
        // Without a level the text asks whether there is exposure at all.
        return (metric == "any").then(|| vec![Limb::AnyExposure]);
    };
    let comparator = rule.exposure_comparator?;
    let written = table::unit(rule.unit.as_deref()?)?;
    let thresholds: Vec<f64> =
        thresholds.iter().map(|value| written.convert(*value, unit)).collect::<Option<_>>()?;
    let averages = metric.split(" or ").map(|part| part.trim_end_matches(','));
    // What is neither an 8-hour nor a short-term average (a class of work) is not about air.
    let averages: Vec<_> = averages.filter_map(Average::of).collect();
    if let ([], [level]) = (averages.as_slice(), thresholds.as_slice()) {
        // A level of the clause's own, without saying over what time: a shift.
        return Some(vec![Limb::Apart { level: *level, comparator, levels }]);
    }
    if let ([average], [_, _, ..]) = (averages.as_slice(), thresholds.as_slice()) {
        // One average and several levels: the level depends on the process, and the agent's own limits say which.
        let own = average.own_level(levels);
        let level = thresholds.into_iter().find(|level| Levels::is(own, *level))?;
        return Some(vec![average.limb(level, comparator, levels)]);
    }
    let pairs = averages.into_iter().zip(thresholds);
    Some(pairs.map(|(average, level)| average.limb(level, comparator, levels)).collect())
        .filter(|limbs: &Vec<_>| !limbs.is_empty())
}

/// A metric of the pack that is an average over time.
#[derive(Debug, Clone, Copy)]
enum Average {
    ActionLevel,
    Limit,
    /// Eight hours, without saying which level it is.
    Shift,
    Short,
}

impl Average {
    fn of(metric: &str) -> Option<Self> {
        match metric.split('_').next()? {
            "AL" => Some(Self::ActionLevel),
            "PEL" => Some(Self::Limit),
            "TWA" | "Table" => Some(Self::Shift),
            "STEL" | "EL" => Some(Self::Short),
            _ => None,
        }
    }

    fn own_level(self, levels: Levels) -> Option<f64> {
        match self {
            Self::ActionLevel => levels.action_level,
            Self::Limit | Self::Shift | Self::Short => levels.limit,
        }
    }

    fn limb(self, level: f64, comparator: Comparator, levels: Levels) -> Limb {
        let is_action_level = Levels::is(levels.action_level, level);
        let tier = match self {
            Self::Short => return Limb::ShortTerm { level, comparator },
            Self::ActionLevel => Tier::ActionLevel,
            Self::Shift if is_action_level => Tier::ActionLevel,
            Self::Limit | Self::Shift => Tier::Limit,
        };
        Limb::Average { level, comparator, tier }
    }
}

/// How many days it takes: the 31st for "more than 30", one where the text names no number.
pub fn days_needed(rule: &SurveillanceRule) -> usize {
    let days = usize::try_from(rule.days_value.unwrap_or(1)).unwrap_or(1);
    let above =
        rule.days_comparator.as_deref().is_some_and(|comparator| comparator == Comparator::Above.as_str());
    if above { days + 1 } else { days.max(1) }
}

/// The window in months.
pub fn window_months(rule: &SurveillanceRule) -> u32 {
    rule.window_months.and_then(|months| u32::try_from(months).ok()).unwrap_or(WINDOW_MONTHS)
}

/// From when the time to act runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// From the first counted day: after or before an assignment, at or on exposure.
    FirstDay,
    /// From the date on which the days are enough.
    DaysReached,
    /// From the day on which it was determined.
    Determined,
    /// From the event.
    Event,
    /// No date in the text: the day on which it was learned.
    Learned,
}

/// How long there is time for a first examination.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimeToAct {
    /// From when.
    pub anchor: Anchor,
    /// How much.
    pub amount: u32,
    /// In what.
    pub unit: TimeUnit,
}

impl TimeToAct {
    /// What the pack says of a clause; nothing said: the day on which it was learned.
    pub fn of(pack: &Pack, trigger_id: &str) -> Self {
        let anchors = pack.details_of(trigger_id).filter_map(|detail| {
            let anchor = match detail.kind {
                DetailKind::DueFromFirstDay => Anchor::FirstDay,
                DetailKind::DueFromDaysReached => Anchor::DaysReached,
                DetailKind::DueFromDetermined => Anchor::Determined,
                DetailKind::DueFromEvent => Anchor::Event,
                _ => return None,
            };
            Some(Self { anchor, amount: detail.number(), unit: detail.unit.unwrap_or(TimeUnit::Days) })
        });
        anchors.into_iter().next().unwrap_or(Self {
            anchor: Anchor::Learned,
            amount: 0,
            unit: TimeUnit::Days,
        })
    }

    /// Whether it runs from the day on which the registry learned of it.
    pub fn runs_from_learning(self) -> bool {
        matches!(self.anchor, Anchor::Determined | Anchor::Learned)
    }

    /// The last day of it.
    pub fn after(self, from: NaiveDate, working_days: &WorkingDays) -> NaiveDate {
        after(from, self.amount, self.unit, working_days)
    }

    /// When the first examination is due; `learned_on` is when the registry learned of it (and so determined it), in a
    /// calculation without facts the date on which the days are enough.
    pub fn due_on(
        self,
        met: &FirstMet,
        learned_on: Option<NaiveDate>,
        working_days: &WorkingDays,
    ) -> NaiveDate {
        let from = match self.anchor {
            Anchor::FirstDay => met.window.from,
            Anchor::DaysReached | Anchor::Event => met.first_met_on,
            Anchor::Determined | Anchor::Learned => learned_on.unwrap_or(met.first_met_on),
        };
        self.after(from, working_days)
    }
}

/// So many days, working days, months or years later.
pub fn after(from: NaiveDate, amount: u32, unit: TimeUnit, working_days: &WorkingDays) -> NaiveDate {
    match unit {
        TimeUnit::Days => add_days(from, amount.into()),
        TimeUnit::WorkingDays => working_days.add(from, amount),
        TimeUnit::Months => add_months(from, amount),
        TimeUnit::Years => add_months(from, amount.saturating_mul(12)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::facts::rule_set::RuleSet;

    fn rule(trigger_id: &str) -> &'static SurveillanceRule {
        Pack::built_in().surveillance.iter().find(|rule| rule.trigger_id == trigger_id).unwrap()
    }

    #[test]
    fn more_than_thirty_days_is_the_thirty_first() {
        // 29 CFR 1910.1025(j)(1)(i): more than 30 days; 1910.1026(k)(1)(i)(A): 30 or more; .1045(n): no days.
        assert_eq!(days_needed(rule("ST010")), 31);
        assert_eq!(days_needed(rule("ST026")), 31);
        assert_eq!(days_needed(rule("ST001")), 30);
        assert_eq!(days_needed(rule("ST061")), 1);
    }

    #[test]
    fn every_anchor_of_a_clause_about_air_is_understood() {
        let levels = Levels { action_level: None, limit: None };
        for rule in &Pack::built_in().surveillance {
            let unit = rule.unit.as_deref().and_then(table::unit).unwrap_or(Unit::Ppm);
            if limbs(rule, levels, unit).is_some() && rule.initial_due_anchor.is_some() {
                let time = TimeToAct::of(Pack::built_in(), &rule.trigger_id);
                assert_ne!(time.anchor, Anchor::Learned, "{}", rule.trigger_id);
            }
        }
    }

    #[test]
    fn every_clause_about_air_has_limbs() {
        let pack = Pack::built_in();
        let mut read = 0;
        for known in &pack.agents {
            for set in RuleSet::ALL {
                let (levels, unit) = crate::surveillance::triggers::statutory_levels(known, *set, None);
                for rule in pack.surveillance_of(known.agent.code.as_str(), *set) {
                    let about_air = rule.trigger_type.as_str().starts_with("exposure")
                        && rule.trigger_type != TriggerType::ExposureAnyPlusMedical;
                    let limbs = unit.and_then(|unit| limbs(rule, levels, unit));
                    let respirator = rule.trigger_type.as_str().starts_with("respirator");
                    assert_eq!(limbs.is_some(), about_air || respirator, "{}", rule.trigger_id);
                    read += usize::from(limbs.is_some());
                }
            }
        }
        assert!(read > 50, "{read}");
    }

    #[test]
    fn a_clause_with_two_averages_has_two_limbs_and_a_class_of_work_is_none() {
        let levels = Levels { action_level: Some(0.5), limit: Some(1.0) };
        // 29 CFR 1910.1028(i)(1)(i): at or above the limits, 1 ppm over 8 hours or 5 ppm over 15 minutes.
        let comparator = Comparator::AtOrAbove;
        assert_eq!(
            limbs(rule("ST038"), levels, Unit::Ppm).unwrap(),
            [
                Limb::Average { level: 1.0, comparator, tier: Tier::Limit },
                Limb::ShortTerm { level: 5.0, comparator }
            ]
        );
        // 29 CFR 1926.1101(m)(1)(i)(A): 0.1 and 1.0 f/cc, or class I to III work.
        assert_eq!(limbs(rule("ST036"), Levels::default(), Unit::FibresPerMl).unwrap().len(), 2);
    }

    #[test]
    fn a_level_that_depends_on_the_process_is_the_agents_own() {
        // 29 CFR 1910.1043(c)(2), (h)(3)(i): 375 ug/m3 in slashing and weaving.
        let levels = Levels { action_level: Some(375.0), limit: Some(750.0) };
        let expected = Limb::Average { level: 375.0, comparator: Comparator::Above, tier: Tier::ActionLevel };
        assert_eq!(limbs(rule("ST073"), levels, Unit::UgPerM3).unwrap(), [expected]);
        assert_eq!(limbs(rule("ST073"), Levels::default(), Unit::UgPerM3), None);
    }

    #[test]
    fn a_level_in_another_dimension_is_not_guessed() {
        assert_eq!(limbs(rule("ST037"), Levels::default(), Unit::MgPerM3), None);
    }
}
