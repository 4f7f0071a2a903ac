//! On which days a condition of a group held for a worker: its period, the days he works there, and how many a week.

use crate::model::identifiers::GroupId;
use crate::surveillance::calendar::monday;
use crate::surveillance::day_count::Dates;
use crate::surveillance::work_days::shifts_in_week;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// When a condition of a group holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConditionPeriod {
    /// Of which group.
    pub group: GroupId,
    /// The first day.
    pub from: NaiveDate,
    /// The first day no longer.
    pub to: Option<NaiveDate>,
    /// On how many days a week; `None`: on every day worked.
    pub days_per_week: Option<f64>,
}

/// The dates on which it held, out of the days worked in each group.
///
/// With d days a week, week k of the condition (weeks from Monday, week 1 holds `from`) has ceil(k·d) − ceil((k−1)·d)
/// of them: the first days worked there in that week, since nobody says which.
pub fn condition_days(
    condition: &ConditionPeriod,
    worked: impl IntoIterator<Item = (NaiveDate, GroupId)>,
) -> Dates {
    let holds = |date: NaiveDate| condition.from <= date && condition.to.is_none_or(|to| date < to);
    let inside = worked
        .into_iter()
        .filter(|(date, group)| *group == condition.group && holds(*date))
        .map(|(date, _)| date);
    let Some(a_week) = condition.days_per_week else { return inside.collect() };
    let mut weeks: BTreeMap<NaiveDate, Vec<NaiveDate>> = BTreeMap::new();
    for date in inside {
        weeks.entry(monday(date)).or_default().push(date);
    }
    let first = monday(condition.from);
    weeks
        .into_iter()
        .flat_map(|(week, mut dates)| {
            dates.sort_unstable();
            dates.dedup();
            let number = (week - first).num_days() / 7 + 1;
            dates.truncate(shifts_in_week(a_week, number) as usize);
            dates
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    const HERE: GroupId = GroupId(Uuid::from_u128(1));
    const THERE: GroupId = GroupId(Uuid::from_u128(2));

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn condition(days_per_week: Option<f64>, to: Option<&str>) -> ConditionPeriod {
        ConditionPeriod { group: HERE, from: date("2026-01-07"), to: to.map(date), days_per_week }
    }

    // The rules are this registry's own.
    #[test]
    fn a_condition_holds_on_days_worked_there_in_its_period() {
        let worked = |group| date("2026-01-05").iter_days().take(5).map(move |day| (day, group));
        let found = condition_days(&condition(None, Some("2026-01-09")), worked(HERE));
        assert_eq!(found, [date("2026-01-07"), date("2026-01-08")].into_iter().collect());
        assert!(condition_days(&condition(None, None), worked(THERE)).is_empty());
    }

    #[test]
    fn a_condition_of_some_days_a_week_takes_the_first_of_them() {
        // 1.5 days a week: two, one, two, one.
        let mondays_to_fridays = (0..28)
            .map(|n| date("2026-01-05") + chrono::Days::new(n))
            .filter(|day| crate::surveillance::calendar::WorkingDays::default().is_working_day(*day));
        let found = condition_days(&condition(Some(1.5), None), mondays_to_fridays.map(|day| (day, HERE)));
        // 19 January 2026 is Martin Luther King's birthday: the week begins on the 20th.
        let expected = ["2026-01-07", "2026-01-08", "2026-01-12", "2026-01-20", "2026-01-21", "2026-01-26"];
        assert_eq!(found, expected.iter().map(|day| date(day)).collect());
        assert!(condition_days(&condition(Some(0.0), None), [(date("2026-01-07"), HERE)]).is_empty());
    }
}
