//! The monitoring rules of a standard for one agent, read from the pack into lines that rounds are held against.

use crate::model::facts::rule_set::RuleSet;
use crate::model::unit::Unit;
use crate::surveillance::calendar::{WorkingDays, add_days};
use crate::surveillance::level::Levels;
use crate::surveillance::monitoring::interval::{End, Inside, Interval};
use crate::surveillance::pack::monitoring_reading::{
    Asks, Averages, MonitoringReading, Needs, Occurrence, RepeatAnchor,
};
use crate::surveillance::pack::monitoring_rule::{MonitoringRule, MonitoringRuleType};
use crate::surveillance::pack::{Pack, table};
use crate::surveillance::round::Round;
use chrono::NaiveDate;

/// What is known of a group's averages at a moment: the newest round of each kind.
#[derive(Debug, Clone, Copy, Default)]
pub struct Known<'r> {
    /// Of 8-hour averages.
    pub eight_hour: Option<&'r Round>,
    /// Of short-term averages.
    pub short_term: Option<&'r Round>,
}

/// Where a rule asks the averages to lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Condition {
    /// The 8-hour average.
    pub eight_hour: Option<Interval>,
    /// The short-term average.
    pub short_term: Option<Interval>,
    /// Whether both must.
    pub needs: Needs,
}

impl Condition {
    /// Its intervals, each with the round that is known for it and whether that is one of the averages meant.
    fn limbs(
        self,
        known: Known<'_>,
        averages: Averages,
    ) -> impl Iterator<Item = (Interval, Option<&Round>, bool)> {
        let limbs = [
            (self.eight_hour, known.eight_hour, averages != Averages::ShortTerm),
            (self.short_term, known.short_term, averages != Averages::EightHour),
        ];
        limbs.into_iter().filter_map(|(interval, round, own)| Some((interval?, round, own)))
    }

    /// Whether what is known certainly reaches this far; nothing is asked of what was never measured but to lie above.
    pub fn reached(self, known: Known<'_>, averages: Averages) -> bool {
        if self.needs == Needs::Any {
            let mut limbs = self.limbs(known, averages);
            return limbs.any(|(interval, round, _)| round.is_some_and(|round| interval.reached(round)));
        }
        let mut spoken = false;
        for (interval, round, own) in self.limbs(known, averages) {
            let Some(round) = round else {
                if interval.lower.is_some() {
                    return false;
                }
                continue;
            };
            let reached = interval.reached(round);
            if !reached && interval.lower.is_some() || !own && interval.exceeded(round) {
                return false;
            }
            spoken |= own && reached;
        }
        spoken
    }

    /// Whether what is known lies inside; nothing is asked of what was never measured but to lie above.
    pub fn holds(self, known: Known<'_>, averages: Averages) -> Inside {
        let answers = self.limbs(known, averages).filter_map(|(interval, round, _)| match round {
            Some(round) => Some(interval.holds(round)),
            None => interval.lower.map(|_| Inside::CannotTell),
        });
        match self.needs {
            Needs::All => answers.min().unwrap_or(Inside::CannotTell),
            Needs::Any => answers.max().unwrap_or(Inside::CannotTell),
        }
    }

    /// Whether a round cannot tell on which side of one of the ends it lies.
    pub fn blurred(self, known: Known<'_>) -> bool {
        self.limbs(known, Averages::Both).any(|(i, round, _)| round.is_some_and(|round| i.blurred(round)))
    }
}

/// How often a group is sampled while its averages lie so.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Row of the pack.
    pub rule_id: String,
    /// The clause as it is cited.
    pub clause: String,
    /// Which averages are sampled.
    pub averages: Averages,
    /// Where they lie.
    pub condition: Condition,
    /// Months until the next time.
    pub months: u32,
    /// Whether a late sample moves the next one.
    pub from_newest: bool,
    /// Whether it is for results after the first one only.
    pub not_initial: bool,
    /// Whether it becomes six-monthly after two samples in every quarter of two years.
    pub thins_out: bool,
}

impl Line {
    /// The order of strictness: the shorter the interval, and then the higher the averages.
    fn strictness(&self) -> (std::cmp::Reverse<u32>, [f64; 2]) {
        let lower = |interval: Option<Interval>| interval.and_then(|i| i.lower).map_or(-1.0, |end| end.value);
        let (eight, short) = (lower(self.condition.eight_hour), lower(self.condition.short_term));
        let levels = if self.averages == Averages::ShortTerm { [short, eight] } else { [eight, short] };
        (std::cmp::Reverse(self.months), levels)
    }
}

/// A way down: results in a row after which sampling stops, or becomes rarer.
#[derive(Debug, Clone, PartialEq)]
pub struct WayDown {
    /// Row of the pack.
    pub rule_id: String,
    /// The clause as it is cited.
    pub clause: String,
    /// Which averages it is about.
    pub averages: Averages,
    /// Where they must lie.
    pub condition: Condition,
    /// How many results in a row.
    pub results: usize,
    /// How many days apart, at the least.
    pub days_apart: u32,
    /// Whether those are working days.
    pub working_days: bool,
    /// The rule that then says how often; `None`: sampling stops.
    pub leads_to: Option<String>,
    /// Only from sampling every so many months.
    pub from_months: Option<u32>,
    /// Whether the first round needs confirming too.
    pub confirms_first: bool,
}

impl WayDown {
    /// The first day on which a result is far enough from an earlier one.
    pub fn earliest(&self, first: NaiveDate, working_days: &WorkingDays) -> NaiveDate {
        if self.working_days {
            working_days.add(first, self.days_apart)
        } else {
            add_days(first, self.days_apart.into())
        }
    }

    /// Whether it is about what a track samples.
    pub fn is_about(&self, averages: Averages) -> bool {
        self.averages == Averages::Both || self.averages == averages
    }
}

/// With which first result sampling may stop at once.
#[derive(Debug, Clone, PartialEq)]
pub struct FirstStop {
    /// Row of the pack.
    pub rule_id: String,
    /// The clause as it is cited.
    pub clause: String,
    /// Which averages it is about.
    pub averages: Averages,
    /// Where they must lie.
    pub condition: Condition,
}

/// The monitoring rules of a standard for one agent, in one unit.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Standard {
    /// How often, the least strict first.
    pub lines: Vec<Line>,
    /// Ways down.
    pub ways_down: Vec<WayDown>,
    /// With which first result sampling may stop.
    pub first_stops: Vec<FirstStop>,
    /// Whether the intervals bind only who follows the scheduled option.
    pub has_option: bool,
}

impl Standard {
    /// Reads the rules for an agent under a body of law; levels are the statute's, in `unit`.
    pub fn of(pack: &Pack, agent: &str, rule_set: RuleSet, levels: Levels, unit: Unit) -> Self {
        let mut standard = Self::default();
        for rule in pack.monitoring_of(agent, rule_set) {
            standard.has_option |= rule.rule_type == MonitoringRuleType::Option;
            for reading in pack.readings_of(&rule.rule_id) {
                standard.take(rule, reading, levels, unit);
            }
        }
        standard.close_gaps();
        standard.lines.sort_by(|a, b| {
            let ((a_months, a), (b_months, b)) = (a.strictness(), b.strictness());
            a_months.cmp(&b_months).then(a[0].total_cmp(&b[0])).then(a[1].total_cmp(&b[1]))
        });
        standard
    }

    fn take(&mut self, rule: &MonitoringRule, reading: &MonitoringReading, levels: Levels, unit: Unit) {
        let (rule_id, clause) = (rule.rule_id.clone(), rule.clause());
        let Some((averages, condition)) = condition(rule, reading, levels, unit) else { return };
        let number = |value: Option<i64>| value.and_then(|value| u32::try_from(value).ok());
        match reading.asks {
            Asks::Repeat | Asks::RepeatAgain => {
                let Some(months) = number(reading.months) else { return };
                self.lines.push(Line {
                    rule_id,
                    clause,
                    averages,
                    condition,
                    months,
                    from_newest: reading.anchor == Some(RepeatAnchor::MostRecent),
                    not_initial: reading.asks == Asks::RepeatAgain,
                    thins_out: reading.hangs_on(Occurrence::TwoAQuarterForTwoYears),
                });
            }
            Asks::Stop | Asks::Rarer => {
                let results =
                    rule.consecutive_results_needed.and_then(|results| usize::try_from(results).ok());
                let (Some(results), Some(days_apart)) = (results, number(rule.min_days_apart)) else {
                    return;
                };
                self.ways_down.push(WayDown {
                    rule_id,
                    clause,
                    averages,
                    condition,
                    results,
                    days_apart,
                    working_days: rule
                        .day_kind
                        .as_deref()
                        .is_some_and(|kind| kind.eq_ignore_ascii_case("working")),
                    leads_to: reading.leads_to.clone(),
                    from_months: number(reading.from_months),
                    confirms_first: reading.hangs_on(Occurrence::FirstRound),
                });
            }
            Asks::StopInitial => {
                self.first_stops.push(FirstStop { rule_id, clause, averages, condition });
            }
            Asks::Initial
            | Asks::Additional
            | Asks::CheckVentilation
            | Asks::WritePlan
            | Asks::Presume
            | Asks::Nothing => {}
        }
    }

    /// A value that the text leaves between two lines ("below 50" and "above 50") goes to the stricter one.
    fn close_gaps(&mut self) {
        let intervals = |of: fn(&Condition) -> Option<Interval>| -> Vec<End> {
            let conditions = self.lines.iter().map(|line| &line.condition);
            let ways = self.ways_down.iter().map(|way| &way.condition);
            let stops = self.first_stops.iter().map(|stop| &stop.condition);
            conditions.chain(ways).chain(stops).filter_map(|c| of(c)?.upper).collect()
        };
        let (eight, short) = (intervals(|c| c.eight_hour), intervals(|c| c.short_term));
        let close = |interval: &mut Option<Interval>, uppers: &[End]| {
            let Some(lower) = interval.as_mut().and_then(|interval| interval.lower.as_mut()) else { return };
            let mut at = uppers.iter().filter(|end| Levels::is(Some(end.value), lower.value)).peekable();
            if !lower.inside && at.peek().is_some() && at.all(|end| !end.inside) {
                lower.inside = true;
            }
        };
        for line in &mut self.lines {
            close(&mut line.condition.eight_hour, &eight);
            close(&mut line.condition.short_term, &short);
        }
    }

    /// Whether a round may be relied on later: it may lower and tells on which side of every bound it lies, or it reaches a
    /// line for certain.
    pub(super) fn may_be_relied_on(&self, round: Known<'_>) -> bool {
        let rounds = [round.eight_hour, round.short_term];
        let accepted = rounds.into_iter().flatten().any(|round| round.may_lower() == Some(true));
        let conditions = self.lines.iter().map(|line| line.condition);
        let mut conditions = conditions.chain(self.ways_down.iter().map(|way| way.condition));
        let reaches = self.lines.iter().any(|line| line.condition.reached(round, line.averages));
        reaches || accepted && !conditions.any(|condition| condition.blurred(round))
    }

    /// The averages that are sampled on tracks of their own, in the order of the words.
    pub fn tracks(&self) -> Vec<Averages> {
        // Where the text fixes no interval, a first result may still need confirming.
        let confirming = self.ways_down.iter().filter(|way| way.confirms_first).map(|way| way.averages);
        let mut tracks: Vec<Averages> =
            self.lines.iter().map(|line| line.averages).chain(confirming).collect();
        tracks.sort_unstable();
        tracks.dedup();
        tracks
    }
}

/// Which averages a reading is about and where they must lie; `None` where it has no bounds that can be read.
pub(super) fn condition(
    rule: &MonitoringRule,
    reading: &MonitoringReading,
    levels: Levels,
    unit: Unit,
) -> Option<(Averages, Condition)> {
    let written = rule.unit.as_deref().and_then(table::unit).unwrap_or(unit);
    let read = |text: Option<&String>| match text {
        Some(text) => Interval::read(text, written, unit, levels).map(Some),
        None => Some(None),
    };
    let eight_hour = read(reading.eight_hour.as_ref())?;
    let short_term = read(reading.short_term.as_ref())?;
    let needs = reading.needs.unwrap_or(Needs::All);
    Some((reading.averages?, Condition { eight_hour, short_term, needs }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn standard(agent: &str, levels: (Option<f64>, Option<f64>), unit: Unit) -> Standard {
        let levels = Levels { action_level: levels.0, limit: levels.1 };
        Standard::of(Pack::built_in(), agent, RuleSet::UsGeneralIndustry, levels, unit)
    }

    fn lower(line: &Line) -> End {
        line.condition.eight_hour.unwrap().lower.unwrap()
    }

    #[test]
    fn lines_stand_from_the_least_strict_to_the_strictest() {
        // 29 CFR 1910.1053(d)(3)(iii)-(v).
        let silica = standard("silica_respirable", (Some(25.0), Some(50.0)), Unit::UgPerM3);
        let rules: Vec<_> = silica.lines.iter().map(|line| line.rule_id.as_str()).collect();
        assert_eq!(rules, ["MT089", "MT087", "MT088"]);
        assert!(silica.has_option && silica.lines.iter().all(|line| line.from_newest));
    }

    #[test]
    fn what_lies_between_two_lines_goes_to_the_stricter_one_and_only_that() {
        // 29 CFR 1910.1025(d)(6)(ii), (iii): below 50, above 50. 1910.1018(e)(3): 5 and 10 are not named.
        let lead = standard("lead", (Some(30.0), Some(50.0)), Unit::UgPerM3);
        assert_eq!(lower(&lead.lines[1]), End { value: 50.0, inside: true });
        let arsenic = standard("arsenic_inorganic", (Some(5.0), Some(10.0)), Unit::UgPerM3);
        assert!(arsenic.lines.iter().all(|line| lower(line).inside));
        // 1910.1026(d)(2)(iv): above 5, and the clause before it holds 5.
        let chromium = standard("chromium_vi", (Some(2.5), Some(5.0)), Unit::UgPerM3);
        assert!(!lower(&chromium.lines[1]).inside);
        // 1910.1001(d)(3): above the limit; nothing is asked at it.
        let asbestos = standard("asbestos", (None, Some(0.1)), Unit::FibresPerMl);
        assert!(!lower(&asbestos.lines[0]).inside);
    }

    #[test]
    fn a_level_that_depends_on_the_process_is_the_agents_own() {
        // 29 CFR 1910.1043(c), (d)(3): 500 ug/m3 in textile waste houses.
        let cotton = standard("cotton_waste_house", (Some(250.0), Some(500.0)), Unit::UgPerM3);
        assert_eq!(lower(&cotton.lines[1]), End { value: 500.0, inside: false });
        assert!(cotton.ways_down.is_empty());
    }
}
