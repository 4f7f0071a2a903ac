//! How many days at or above the action level are to be expected: days worked times the chance that such a day is.

use crate::conclusions::day_chance::{DayChance, day_chance};
use crate::conclusions::history::basis::own_results;
use crate::conclusions::history::day_numbers::ExpectedDays;
use crate::conclusions::history::evidence::{EraMean, HistoryEvidence};
use crate::conclusions::history::thresholds::SHIFT_LENGTH_MAY_DIFFER;
use crate::conclusions::history::worker_days::{WorkerDay, WorkerDays};
use crate::model::identifiers::GroupId;
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::unit::Unit;
use crate::surveillance::day_count::{Chance, WINDOW_MONTHS, expected};
use std::collections::BTreeMap;

/// The days to be expected, and whether some days worked have no chance behind them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Expected {
    /// The days in the worst twelve months; absent where no day has a chance.
    pub days: Option<ExpectedDays>,
    /// Whether days worked are missing from them.
    pub incomplete: bool,
}

/// Which chance a day takes: group, era, level, and the share of the shift behind the results that is worked.
type Key = (GroupId, usize, u64, u64);

/// The days at or above the action level that are to be expected in the worst twelve months.
pub fn expected_days(evidence: &HistoryEvidence<'_>, days: &WorkerDays, unit: Unit) -> Expected {
    let mut known: BTreeMap<Key, Option<DayChance>> = BTreeMap::new();
    let mut chances = Vec::new();
    let mut incomplete = false;
    for day in days.days.iter().filter(|day| !day.worked.is_empty()) {
        match chance_of(evidence, day, unit, &mut known) {
            Some(chance) => chances.push(chance),
            None => incomplete |= day.action_level.is_some(),
        }
    }
    let days = expected(&chances, WINDOW_MONTHS).map(|((estimate, lower, upper), _)| ExpectedDays {
        estimate: significant(estimate),
        lower: significant(lower),
        upper: significant(upper),
    });
    Expected { days, incomplete }
}

/// The chance of one date: that any of the groups worked in brings it to the level.
fn chance_of(
    evidence: &HistoryEvidence<'_>,
    day: &WorkerDay,
    unit: Unit,
    known: &mut BTreeMap<Key, Option<DayChance>>,
) -> Option<Chance> {
    let (level, date) = (day.action_level?, day.day.date);
    // The chance of no group doing so.
    let mut none = (1.0, 1.0, 1.0);
    for &(id, hours) in &day.worked {
        let group = evidence.group(id)?;
        let (at, era) = group.eras.iter().enumerate().find(|(_, era)| era.holds(date))?;
        let share = share_worked(era, hours);
        let key = (id, at, level.to_bits(), share.to_bits());
        let chance = known.entry(key).or_insert_with(|| {
            let own = own_results(evidence, group, era, unit);
            era_chance(evidence, era, own, level / share, unit)
        });
        let DayChance { estimate, lower, upper } = (*chance)?;
        none = (none.0 * (1.0 - estimate), none.1 * (1.0 - lower), none.2 * (1.0 - upper));
    }
    Some(Chance { date, estimate: 1.0 - none.0, lower: 1.0 - none.1, upper: 1.0 - none.2 })
}

/// The hours worked over those behind the results, where they differ by more than is accepted; else 1.
fn share_worked(era: &EraMean, hours: f64) -> f64 {
    let Some(behind) = era.shift_minutes.filter(|minutes| *minutes > 0.0) else { return 1.0 };
    let own = hours * 60.0;
    let differs = significant((own - behind).abs()) > significant(SHIFT_LENGTH_MAY_DIFFER * behind);
    if differs && own > 0.0 { own / behind } else { 1.0 }
}

/// The chance that a day is at or above a level in the unit of the history: by the worker's own results where these stand
/// behind the mean, else by the group's.
fn era_chance(
    evidence: &HistoryEvidence<'_>,
    era: &EraMean,
    own: Option<Vec<Measured>>,
    level: f64,
    unit: Unit,
) -> Option<DayChance> {
    let to_unit = |value: f64| match evidence.agent.convert(Measured::Value(value), era.unit, unit) {
        Some(Measured::Value(value)) => Some(value),
        _ => None,
    };
    let limit = era.limit.and_then(to_unit);
    if let Some(own) = own {
        return day_chance(&own, limit, level);
    }
    let same = era
        .action_level
        .and_then(to_unit)
        .is_some_and(|kept| significant(kept).to_bits() == significant(level).to_bits());
    if let Some(kept) = era.chance.filter(|_| same) {
        return Some(kept);
    }
    let results: Option<Vec<Measured>> =
        era.results.iter().map(|result| evidence.agent.convert(*result, era.unit, unit)).collect();
    day_chance(&results?, limit, level)
}
