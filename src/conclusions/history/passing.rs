//! How likely a worker is to pass a clause's days in the twelve months to come, from what his groups' results say and the
//! days that are planned: beside the rule's own count, never in place of it.

use crate::conclusions::day_chance::day_shares;
use crate::conclusions::history::basis::own_results;
use crate::conclusions::history::evidence::HistoryEvidence;
use crate::conclusions::history::worker_days::WorkerDays;
use crate::model::identifiers::GroupId;
use crate::model::measured::Measured;
use crate::model::unit::Unit;
use crate::model::working::Formula;
use crate::surveillance::calendar::add_months;
use crate::surveillance::chance::{PlannedDays, Shares, chance_of_passing};
use crate::surveillance::clause::{Limb, days_needed, limbs, window_months};
use crate::surveillance::day_count::{Dates, WINDOW_MONTHS};
use crate::surveillance::finding::Finding;
use crate::surveillance::level::Levels;
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;

/// The chance of passing a clause's days.
pub const CHANCE_OF_PASSING: Formula = Formula {
    formula: "P(days counted + days planned that reach the level >= days needed) = integral of P(Binomial(N, e) >= needed - \
              counted) over the posterior of e, the share of the group's days that reach the level; several groups are \
              convolved",
    source: "mixture of binomials: Johnson, Kemp and Kotz, Univariate Discrete Distributions, 3rd edition 2005, section \
             8.3 (from memory)",
};

/// What a worker's groups say of the share of their days at or above levels, each computed once.
#[derive(Debug, Default)]
pub struct KnownShares(BTreeMap<(GroupId, u64), Option<Shares>>);

/// The probability that the days of a clause about 8-hour averages are enough in a window that ends in the coming twelve
/// months.
///
/// Days that count already are those of the rule; planned days reach the level by the posterior of their group in the era
/// that holds today, or of the worker's own results where these stand behind his mean. Of the window that begins today and
/// those that begin with the first counted day of each of the twelve months before, the likeliest is taken: a little less
/// than the probability that any window is enough. `None` for noise, for clauses that count no 8-hour averages, and where
/// a group with planned days has no results.
pub fn chance_for(
    evidence: &HistoryEvidence<'_>,
    days: &WorkerDays,
    finding: &Finding<'_>,
    levels: Levels,
    unit: Unit,
    today: NaiveDate,
    known: &mut KnownShares,
) -> Option<f64> {
    let (rule, needed) = (finding.rule, days_needed(finding.rule));
    let (level, months) = match limbs(rule, levels, unit)?.first()? {
        Limb::Average { level, .. } if !evidence.agent.is_noise() => (*level, window_months(rule)),
        _ => return None,
    };
    let counted: Dates = finding.counted.iter().filter(|date| *date < today).collect();
    let mut planned: BTreeMap<GroupId, Vec<NaiveDate>> = BTreeMap::new();
    for day in days.days.iter().filter(|day| today <= day.day.date) {
        // A date in two groups counts in the first of them only.
        if let Some((group, _)) = day.worked.first() {
            planned.entry(*group).or_default().push(day.day.date);
        }
    }
    for group in planned.keys() {
        let key = (*group, level.to_bits());
        known.0.entry(key).or_insert_with(|| shares(evidence, *group, level, unit, today));
    }
    let year_before = today.checked_sub_months(chrono::Months::new(WINDOW_MONTHS)).unwrap_or(NaiveDate::MIN);
    let mut starts: BTreeMap<(i32, u32), NaiveDate> = BTreeMap::new();
    for date in counted.within(year_before.succ_opt()?, today) {
        starts.entry((date.year(), date.month())).or_insert(*date);
    }
    let mut best: f64 = 0.0;
    for from in starts.into_values().chain([today]) {
        let to = add_months(from, months);
        let mut groups = Vec::new();
        for (group, dates) in &planned {
            let days = dates.iter().filter(|date| **date < to).count();
            if days > 0 {
                let shares = known.0.get(&(*group, level.to_bits()))?.as_ref()?;
                groups.push(PlannedDays { days, shares });
            }
        }
        best = best.max(chance_of_passing(counted.within(from, today).len(), needed, &groups));
    }
    Some(best)
}

/// What is known of a group's share of days at or above a level in the era that holds today.
fn shares(
    evidence: &HistoryEvidence<'_>,
    group: GroupId,
    level: f64,
    unit: Unit,
    today: NaiveDate,
) -> Option<Shares> {
    let group = evidence.group(group)?;
    let era = group.eras.iter().find(|era| era.holds(today))?;
    let to_unit = |value: Measured| evidence.agent.convert(value, era.unit, unit);
    let limit = era.limit.and_then(|limit| match to_unit(Measured::Value(limit)) {
        Some(Measured::Value(limit)) => Some(limit),
        _ => None,
    });
    let results = match own_results(evidence, group, era, unit) {
        Some(own) => own,
        None => era.results.iter().map(|result| to_unit(*result)).collect::<Option<Vec<_>>>()?,
    };
    day_shares(&results, limit, level)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::history::cases::{assigned, case, exact, exposure};
    use crate::conclusions::history::worker_days::{counting_horizon, worker_days};
    use crate::conclusions::invented::date;
    use crate::model::facts::rule_set::RuleSet;
    use crate::surveillance::calendar::WorkingDays;
    use crate::surveillance::case::Case;
    use crate::surveillance::evaluation::finding;
    use crate::surveillance::pack::Pack;
    use crate::surveillance::triggers::Question;

    /// The chance that a chromium(VI) welder with these results and shifts passes thirty days, asked on 2 March 2026.
    fn chance(results: &[f64], from: &str, shifts: f64) -> Option<f64> {
        let mut eras = exact(1.0);
        eras[0].results = results.iter().copied().map(Measured::Value).collect();
        let one = case(vec![assigned(11, 2, from, None, shifts)], vec![exposure(2, eras)]);
        let evidence = one.evidence();
        let today = date("2026-03-02");
        let days = worker_days(&evidence, Unit::UgPerM3, counting_horizon(today));
        let plain = days.plain();
        let levels = Levels { action_level: Some(2.5), limit: Some(5.0) };
        let working_days = WorkingDays::default();
        let question = Question {
            agent_code: "chromium_vi",
            rule_set: RuleSet::UsGeneralIndustry,
            levels,
            unit: Unit::UgPerM3,
            learned_on: Some(today),
            working_days: &working_days,
        };
        let worker = Case {
            question,
            today,
            days: &plain,
            conditions: &[],
            earlier: &[],
            releases: &[],
            grounds: &[],
            examinations: &[],
            employments: &[],
        };
        let rule = Pack::built_in().surveillance.iter().find(|rule| rule.trigger_id == "ST001").unwrap();
        let found = finding(Pack::built_in(), rule, &worker).unwrap();
        assert!(!found.met, "the group has no standing: nothing counts by the rule");
        chance_for(&evidence, &days, &found, levels, Unit::UgPerM3, today, &mut KnownShares::default())
    }

    // The rule is this registry's; the results are invented.
    #[test]
    fn the_chance_follows_results_and_planned_days() {
        let (low, middle, high) =
            ([0.2, 0.25, 0.15, 0.2, 0.22, 0.18], [1.0, 2.0, 4.0], [9.0, 11.0, 8.0, 10.0]);
        let at = |results: &[f64], shifts| chance(results, "2026-03-02", shifts).unwrap();
        assert!(at(&low, 5.0) < 0.01 && at(&high, 5.0) > 0.99);
        assert!(0.3 < at(&middle, 5.0) && at(&middle, 5.0) < 0.99);
        assert!(at(&middle, 1.0) < at(&middle, 3.0) && at(&middle, 3.0) < at(&middle, 5.0));
        // Half a shift a week is 26 days: thirty are out of reach, whatever the air.
        assert!(at(&high, 0.5).abs() < 1e-12);
        // A group without results leaves it open.
        assert_eq!(chance(&[], "2026-03-02", 5.0), None);
    }
}
