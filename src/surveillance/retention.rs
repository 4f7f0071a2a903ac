//! Until when a record is to be kept at the least, by the rules about records.

use crate::model::facts::rule_set::RuleSet;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::further_rules::RecordRule;
use chrono::{Months, NaiveDate};

/// The first day on which a record need not be kept any more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Until {
    /// That day.
    Day(NaiveDate),
    /// None yet: its years run from the end of an employment that lasts.
    Employed,
    /// None that is read: the rule says it in words.
    InWords,
}

/// A rule, and until when it has a record kept.
#[derive(Debug, Clone, Copy)]
pub struct Keeping<'p> {
    /// The rule.
    pub rule: &'p RecordRule,
    /// Until when.
    pub until: Until,
}

/// How long an employment counts: whether somebody whom the record is about is still employed, and the last day otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Employment {
    /// The record is about nobody.
    Nobody,
    /// Somebody is employed.
    Lasting,
    /// All have left, the last of them on this day.
    LeftOn(NaiveDate),
}

/// What a rule counts its years from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Basis {
    /// The record.
    Record,
    /// The end of the employment.
    Employment,
    /// The record, and so many years from the end of the employment; the later of both.
    Later(u32),
}

impl Basis {
    fn of(rule: &RecordRule) -> Option<Self> {
        let written = rule.retention_basis.as_deref()?;
        if let Some(both) = written.strip_prefix("max(").and_then(|rest| rest.strip_suffix(')')) {
            let (_, after) = both.split_once("employment+")?;
            return Some(Self::Later(after.parse().ok()?));
        }
        let first = written.split(' ').next()?;
        match first {
            // "via 1910.1020": thirty years as that section has it.
            "from_record" | "via" => Some(Self::Record),
            "employment_plus" => Some(Self::Employment),
            _ => None,
        }
    }
}

fn years_after(day: NaiveDate, years: u32) -> NaiveDate {
    day.checked_add_months(Months::new(12 * years)).unwrap_or(NaiveDate::MAX)
}

/// Until when a rule has a record kept that was made on a day.
pub fn until(rule: &RecordRule, made_on: NaiveDate, employment: Employment) -> Until {
    let years = rule.retention_years.and_then(|years| u32::try_from(years).ok());
    let (Some(basis), Some(years)) = (Basis::of(rule), years) else { return Until::InWords };
    let from_record = Until::Day(years_after(made_on, years));
    let from_leaving = |years| match employment {
        Employment::Nobody => None,
        Employment::Lasting => Some(Until::Employed),
        Employment::LeftOn(day) => Some(Until::Day(years_after(day, years))),
    };
    match basis {
        Basis::Record => from_record,
        Basis::Employment => from_leaving(years).unwrap_or(from_record),
        Basis::Later(after) => from_leaving(after).map_or(from_record, |other| other.max(from_record)),
    }
}

/// The rule that has exposure records of an agent kept the longest, under a body of law: the agent's own section, else the
/// general one (29 CFR 1910.1020(d)(1)(ii)).
pub fn exposure_record<'p>(
    pack: &'p Pack,
    agent_code: &str,
    rule_set: RuleSet,
    made_on: NaiveDate,
    employment: Employment,
) -> Option<Keeping<'p>> {
    longest(pack, "exposure_record", |code| pack.is_about(code, agent_code), rule_set, made_on, employment)
        .or_else(|| longest(pack, "exposure_record", |code| code == "*", rule_set, made_on, employment))
}

/// The rule that has what is kept of a worker's surveillance kept the longest, over the agents that he was under surveillance for
/// and the general one (29 CFR 1910.1020(d)(1)(i)).
pub fn surveillance_record<'p>(
    pack: &'p Pack,
    agents: &[String],
    rule_set: RuleSet,
    made_on: NaiveDate,
    employment: Employment,
) -> Option<Keeping<'p>> {
    let about = |code: &str| code == "*" || agents.iter().any(|agent| pack.is_about(code, agent));
    longest(pack, "medical_record", about, rule_set, made_on, employment)
}

fn longest<'p>(
    pack: &'p Pack,
    record_type: &str,
    about: impl Fn(&str) -> bool,
    rule_set: RuleSet,
    made_on: NaiveDate,
    employment: Employment,
) -> Option<Keeping<'p>> {
    let rules = pack.records.iter().filter(|rule| {
        rule.record_type == record_type && rule.scope.contains(&rule_set) && about(&rule.agent_code)
    });
    rules
        .map(|rule| Keeping { rule, until: until(rule, made_on, employment) })
        .max_by_key(|keeping| keeping.until)
}

#[cfg(test)]
mod tests {
    use super::*;
    use RuleSet::{UsConstruction, UsGeneralIndustry};

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn kept(agent: &str, rule_set: RuleSet, employment: Employment) -> (String, Until) {
        let found =
            exposure_record(Pack::built_in(), agent, rule_set, date("1996-02-29"), employment).unwrap();
        (found.rule.record_id.clone(), found.until)
    }

    #[test]
    fn thirty_years_from_the_record_unless_a_section_says_otherwise() {
        let gone = Employment::LeftOn(date("2015-06-30"));
        // 29 CFR 1910.1020(d)(1)(ii), edition A: thirty years; an agent without a section of its own.
        assert_eq!(
            kept("manganese", UsGeneralIndustry, gone),
            ("RC002".into(), Until::Day(date("2026-02-28")))
        );
        // 29 CFR 1910.1026(m)(1)(iii): as 1910.1020.
        assert_eq!(
            kept("chromium_vi", UsGeneralIndustry, gone),
            ("RC017".into(), Until::Day(date("2026-02-28")))
        );
        // 29 CFR 1910.1025(n)(1)(iii): forty years or employment and twenty, whichever is longer.
        assert_eq!(kept("lead", UsGeneralIndustry, gone), ("RC023".into(), Until::Day(date("2036-02-29"))));
        let late = Employment::LeftOn(date("2019-12-31"));
        assert_eq!(kept("lead", UsGeneralIndustry, late).1, Until::Day(date("2039-12-31")));
        assert_eq!(kept("lead", UsGeneralIndustry, Employment::Lasting).1, Until::Employed);
        assert_eq!(kept("lead", UsGeneralIndustry, Employment::Nobody).1, Until::Day(date("2036-02-29")));
        // 29 CFR 1926.62(n)(1)(iii): under 1926.33.
        assert_eq!(kept("lead", UsConstruction, late), ("RC027".into(), Until::Day(date("2026-02-28"))));
        // 29 CFR 1910.95(m)(3)(i): noise two years.
        assert_eq!(kept("noise", UsGeneralIndustry, late), ("RC071".into(), Until::Day(date("1998-02-28"))));
    }

    #[test]
    fn what_is_kept_of_a_worker_runs_from_the_end_of_the_employment() {
        let of = |agents: &[&str], employment| {
            let agents: Vec<String> = agents.iter().map(|&code| code.to_owned()).collect();
            let made_on = date("1990-01-01");
            surveillance_record(Pack::built_in(), &agents, UsGeneralIndustry, made_on, employment)
                .unwrap()
                .until
        };
        let gone = Employment::LeftOn(date("2000-01-31"));
        // 29 CFR 1910.1020(d)(1)(i): employment and thirty years.
        assert_eq!(of(&[], gone), Until::Day(date("2030-01-31")));
        assert_eq!(of(&[], Employment::Lasting), Until::Employed);
        // 29 CFR 1910.1025(n)(2)(iv): forty years or employment and twenty; thirty after leaving is longer here.
        assert_eq!(of(&["lead"], gone), Until::Day(date("2030-01-31")));
    }

    #[test]
    fn every_rule_with_years_is_read_and_the_others_are_left_in_words() {
        let gone = Employment::LeftOn(date("2000-01-31"));
        for rule in &Pack::built_in().records {
            let read = until(rule, date("1990-01-01"), gone) != Until::InWords;
            assert_eq!(read, rule.retention_years.is_some(), "{} {:?}", rule.record_id, rule.retention_basis);
        }
    }
}
