//! Rounds and questions, made short.

use chrono::NaiveDate;
use doseward::model::facts::agent::LimitKind;
use doseward::model::facts::rule_set::RuleSet;
use doseward::model::identifiers::EventId;
use doseward::model::measured::Measured;
use doseward::model::unit::Unit;
use doseward::surveillance::level::Levels;
use doseward::surveillance::pack::Pack;
use doseward::surveillance::round::{Member, Round};
use doseward::surveillance::triggers::statutory_levels;
use uuid::Uuid;

/// What is needed of an agent to read its standard.
pub(crate) struct Agent {
    pub levels: Levels,
    pub short_term: Option<f64>,
    pub unit: Unit,
}

impl Agent {
    /// The levels that a round is read against: of the short-term average its limit.
    pub(crate) fn levels_of(&self, limb: &str) -> Levels {
        if limb == "short" { Levels { action_level: None, limit: self.short_term } } else { self.levels }
    }
}

pub(crate) fn agent(code: &str, rule_set: RuleSet) -> Agent {
    let known = Pack::built_in().agent(code).unwrap_or_else(|| panic!("{code} is no agent"));
    let (levels, unit) = statutory_levels(known, rule_set, None);
    let unit = unit.unwrap();
    let short = known.limits.iter().find(|limit| {
        let kind = matches!(limit.kind, LimitKind::Stel | LimitKind::Excursion | LimitKind::Ceiling);
        kind && limit.rule_sets.as_ref().is_none_or(|sets| sets.contains(&rule_set))
    });
    Agent { levels, short_term: short.and_then(|limit| limit.value.number_in(unit)), unit }
}

pub(crate) fn member(twa: Measured, accepted: bool) -> Member {
    Member {
        twa,
        limit_twa: None,
        accepted,
        flagged: false,
        only_upward: false,
        short_shift: false,
        part_sampled: false,
    }
}

/// A value such as `3`, `<3.1`, `3..9`; with `?` behind it it is not accepted yet.
pub(crate) fn measured(text: &str) -> (Measured, bool) {
    let number = text.trim_end_matches('?');
    let parse = |text: &str| text.parse::<f64>().unwrap();
    let value = match (number.strip_prefix('<'), number.split_once("..")) {
        (Some(limit), _) => Measured::Below(parse(limit)),
        (None, Some((lower, upper))) => Measured::Between { lower: parse(lower), upper: parse(upper) },
        (None, None) => Measured::Value(parse(number)),
    };
    (value, number == text)
}

pub(crate) fn round(date: NaiveDate, levels: Levels, members: Vec<Member>) -> Round {
    let days = u128::try_from((date - NaiveDate::MIN).num_days()).unwrap();
    Round { event: EventId(Uuid::from_u128(days)), date, levels, members }
}
