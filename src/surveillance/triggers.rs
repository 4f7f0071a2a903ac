//! Evaluates the surveillance clauses about air over a worker's days.

use crate::model::facts::agent::{Limit, LimitKind, Verification};
use crate::model::facts::rule_set::RuleSet;
use crate::model::unit::Unit;
use crate::record;
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::clause::{Limb, TimeToAct, days_needed, limbs, window_months};
use crate::surveillance::day_count::{Dates, Day, Tier, Window};
use crate::surveillance::finding::verdict;
use crate::surveillance::level::Levels;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::agents::PackAgent;
use crate::surveillance::pack::editions::in_words;
use crate::surveillance::pack::surveillance_rule::{Comparator, SurveillanceRule, TriggerType};
use chrono::NaiveDate;

/// For whom and under which law clauses are evaluated.
#[derive(Debug, Clone, Copy)]
pub struct Question<'q> {
    /// Code of the agent.
    pub agent_code: &'q str,
    /// The body of law.
    pub rule_set: RuleSet,
    /// The statute's levels, in `unit`.
    pub levels: Levels,
    /// The unit of the days.
    pub unit: Unit,
    /// When the registry learned of it; `None` in a calculation on given numbers.
    pub learned_on: Option<NaiveDate>,
    /// The site's working days.
    pub working_days: &'q WorkingDays,
}

record! {
    /// What became of one clause.
    pub struct ClauseOutcome {
        /// Row of the pack.
        trigger_id: String,
        /// The clause as it is cited.
        clause: String,
        /// Which edition of the text was read.
        edition: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Days counted in the worst window.
        days_counted: i64,
        /// The worst window.
        window: Option<Window>,
        /// The date on which the days are enough, in the first window in which they are.
        first_met_on: Option<NaiveDate>,
        /// When the first examination is due, by the first window in which the days are enough.
        due_on: Option<NaiveDate>,
        /// Whether the clause is met.
        met: bool,
        /// What must be known beside it.
        note: Option<String>,
        /// What it amounts to, and who decides.
        words: String,
    }
}

/// The 8-hour limit and action level of a statute for an agent on a date (`None`: any date), and their unit.
pub fn statutory_levels(
    known: &PackAgent,
    rule_set: RuleSet,
    on: Option<NaiveDate>,
) -> (Levels, Option<Unit>) {
    levels_of(&known.limits, rule_set, on)
}

/// The 8-hour limit and action level among these limits of one authority, and their unit (that of the limit).
pub fn levels_of(limits: &[Limit], rule_set: RuleSet, on: Option<NaiveDate>) -> (Levels, Option<Unit>) {
    let holds = |limit: &&Limit| match on {
        Some(date) => limit.holds(rule_set, date),
        None => limit.rule_sets.as_ref().is_none_or(|sets| sets.contains(&rule_set)),
    };
    let of = |kind| limits.iter().filter(holds).find(|limit| limit.kind == kind);
    let (limit, action_level) = (of(LimitKind::Twa), of(LimitKind::ActionLevel));
    let unit = limit.or(action_level).map(|limit| limit.value.unit);
    let number = |limit: Option<&Limit>| limit?.value.number_in(unit?);
    (Levels { action_level: number(action_level), limit: number(limit) }, unit)
}

/// Every clause about air for an agent under a body of law, met or not, in the order of the pack.
pub fn evaluate(pack: &Pack, question: &Question<'_>, days: &[Day]) -> Vec<ClauseOutcome> {
    pack.surveillance_of(question.agent_code, question.rule_set)
        .filter_map(|rule| {
            let limbs = limbs(rule, question.levels, question.unit)?;
            let counted = Counted::of(&limbs, days);
            Some(counted.outcome(pack, rule, question))
        })
        .collect()
}

/// How days were counted by the limbs of a clause.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Counted {
    /// The dates of each limb.
    pub of_limb: Vec<(Limb, Dates)>,
    /// The dates of any limb, each once.
    pub pooled: Dates,
    /// Dates that a limb cannot tell.
    pub undecided: Dates,
    /// Whether dates count by where a group stands.
    pub by_standing: bool,
}

impl Counted {
    /// Counts days by limbs.
    pub fn of(limbs: &[Limb], days: &[Day]) -> Self {
        let mut of_limb: Vec<Vec<NaiveDate>> = vec![Vec::new(); limbs.len()];
        let (mut undecided, mut by_standing) = (Vec::new(), false);
        for day in days {
            for (limb, dates) in limbs.iter().zip(&mut of_limb) {
                let verdict = limb.verdict(day);
                if verdict.counts {
                    dates.push(day.date);
                }
                if verdict.undecided {
                    undecided.push(day.date);
                }
                by_standing |= verdict.counts && !verdict.measured && *limb != Limb::Respirator;
            }
        }
        Self {
            pooled: of_limb.iter().flatten().copied().collect(),
            undecided: undecided.into_iter().collect(),
            of_limb: limbs.iter().copied().zip(of_limb.into_iter().map(Dates::from_iter)).collect(),
            by_standing,
        }
    }

    /// What becomes of a clause of which these are all the days.
    fn outcome(&self, pack: &Pack, rule: &SurveillanceRule, question: &Question<'_>) -> ClauseOutcome {
        let (months, needed) = (window_months(rule), days_needed(rule));
        let worst = self.pooled.worst(months);
        let met = self.pooled.first_met(months, needed);
        let time = TimeToAct::of(pack, &rule.trigger_id);
        let note = self.note(rule, met.is_some());
        ClauseOutcome {
            trigger_id: rule.trigger_id.clone(),
            clause: rule.clause(),
            edition: rule.edition.as_deref().map(in_words),
            verification: rule.verification,
            days_counted: worst.as_ref().map_or(0, |worst| i64::try_from(worst.count).unwrap_or(i64::MAX)),
            window: worst.map(|worst| worst.window),
            first_met_on: met.as_ref().map(|met| met.first_met_on),
            due_on: met.as_ref().map(|met| time.due_on(met, question.learned_on, question.working_days)),
            met: met.is_some(),
            note: (!note.is_empty()).then(|| note.join("; ")),
            words: verdict(met.is_some(), is_rebuttable(rule)),
        }
    }

    /// What must be known beside the number.
    fn note(&self, rule: &SurveillanceRule, met: bool) -> Vec<String> {
        let mut note = Vec::new();
        if self.of_limb.len() > 1 {
            let counts = self.of_limb.iter().map(|(limb, dates)| match limb {
                Limb::ShortTerm { .. } => format!("short-term average on {} days", dates.len()),
                _ => format!("8-hour average on {} days", dates.len()),
            });
            let counts: Vec<_> = counts.collect();
            note.push(format!("{}; dates are pooled, each once", counts.join(", ")));
        }
        note.extend(self.cannot_tell());
        if is_rebuttable(rule) && !met {
            note.push("covered unless shown otherwise".into());
        }
        if matches!(
            rule.trigger_type,
            TriggerType::ExposureOrTaskRebuttable | TriggerType::ExposureOrTaskDays
        ) {
            note.push("listed tasks are not counted here and can meet the clause on their own".into());
        }
        note.extend(self.stricter_side());
        if rule.verification == Verification::Memory {
            note.push("the paragraph was not read: confirm the text".into());
        }
        note
    }

    /// That dates cannot be told.
    pub(super) fn cannot_tell(&self) -> Option<String> {
        let days = if self.undecided.len() == 1 { "day" } else { "days" };
        let note = || format!("{} {days} cannot be told from what is known", self.undecided.len());
        (!self.undecided.is_empty()).then(note)
    }

    /// That a standing at the action level counts where the clause says above it.
    pub(super) fn stricter_side(&self) -> Option<String> {
        let strict_action_level = |limb: &Limb| {
            matches!(limb, Limb::Average { comparator: Comparator::Above, tier: Tier::ActionLevel, .. })
        };
        let strict = self.by_standing && self.of_limb.iter().any(|(limb, _)| strict_action_level(limb));
        strict.then(|| {
            "the clause says above the action level; days by standing at or above it count, the stricter side"
                .into()
        })
    }
}

/// Whether a clause covers everybody unless shown otherwise.
fn is_rebuttable(rule: &SurveillanceRule) -> bool {
    matches!(rule.trigger_type, TriggerType::ExposureDaysRebuttable | TriggerType::ExposureOrTaskRebuttable)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::measured::Measured;
    use crate::surveillance::level::Level;

    const GENERAL: RuleSet = RuleSet::UsGeneralIndustry;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn measured(from: &str, count: usize, twa: f64) -> Vec<Day> {
        let days = date(from).iter_days().take(count);
        days.map(|date| Day { twa: Some(Measured::Value(twa)), ..Day::new(date) }).collect()
    }

    fn outcomes(agent: &str, rule_set: RuleSet, days: &[Day]) -> Vec<ClauseOutcome> {
        let pack = Pack::built_in();
        let (levels, unit) = statutory_levels(pack.agent(agent).unwrap(), rule_set, None);
        let working_days = WorkingDays::default();
        let (agent_code, unit) = (agent, unit.unwrap());
        let question =
            Question { agent_code, rule_set, levels, unit, learned_on: None, working_days: &working_days };
        evaluate(pack, &question, days)
    }

    fn outcome(agent: &str, rule_set: RuleSet, trigger_id: &str, days: &[Day]) -> ClauseOutcome {
        let found = outcomes(agent, rule_set, days);
        found.into_iter().find(|outcome| outcome.trigger_id == trigger_id).unwrap()
    }

    #[test]
    fn chromium_takes_thirty_days_and_lead_thirty_one() {
        // 29 CFR 1910.1026(k)(1)(i)(A): 30 or more days at or above 2.5 ug/m3.
        let chromium = |days| outcome("chromium_vi", GENERAL, "ST001", &measured("2026-03-02", days, 2.5));
        assert!(!chromium(29).met);
        assert!(chromium(30).met);
        assert_eq!(chromium(30).first_met_on, Some(date("2026-03-31")));
        // 29 CFR 1910.1025(j)(1)(i): more than 30 days at or above 30 ug/m3.
        let lead = |days| outcome("lead", GENERAL, "ST010", &measured("2026-03-02", days, 30.0));
        assert!(!lead(30).met);
        assert_eq!(lead(31).first_met_on, Some(date("2026-04-01")));
    }

    #[test]
    fn at_or_above_and_above_differ_exactly_at_the_level() {
        // 29 CFR 1910.1018(n)(1)(i)(A): above the action level of 5 ug/m3, on at least 30 days.
        let arsenic = |twa| outcome("arsenic_inorganic", GENERAL, "ST019", &measured("2026-03-02", 30, twa));
        assert!(!arsenic(5.0).met);
        assert!(arsenic(5.01).met);
        // 29 CFR 1910.1045(n)(1)(i): at or above 1 ppm; 1910.1017(k): in excess of 0.5 ppm; one day is enough.
        assert!(outcome("acrylonitrile", GENERAL, "ST061", &measured("2026-03-02", 1, 1.0)).met);
        assert!(!outcome("vinyl_chloride", GENERAL, "ST062", &measured("2026-03-02", 1, 0.5)).met);
        // 29 CFR 1910.95(c)(1): 85 dBA or more.
        assert!(outcome("noise", GENERAL, "ST075", &measured("2026-03-02", 1, 85.0)).met);
        // 29 CFR 1910.1052(j)(1)(i): above 25 ppm on 10 days; 1910.1028(i)(1)(i): at or above 1 ppm on 10 days.
        assert!(!outcome("methylene_chloride", GENERAL, "ST049", &measured("2026-03-02", 10, 25.0)).met);
        assert!(outcome("benzene", GENERAL, "ST038", &measured("2026-03-02", 10, 1.0)).met);
    }

    #[test]
    fn due_thirty_days_after_the_first_counted_day_even_before_the_days_are_enough() {
        // 29 CFR 1910.1026(k)(2): within 30 days after initial assignment; the thirtieth Monday-to-Friday day from
        // Monday 5 January 2026 is 13 February.
        let weekdays = WorkingWeek::days("2026-01-05", 30);
        let days: Vec<_> = weekdays
            .into_iter()
            .map(|date| Day { standing: Some(Level::AtOrAboveActionLevel), ..Day::new(date) })
            .collect();
        let chromium = outcome("chromium_vi", GENERAL, "ST001", &days);
        assert_eq!(chromium.first_met_on, Some(date("2026-02-13")));
        assert_eq!(chromium.due_on, Some(date("2026-02-04")));
        assert_eq!(chromium.window, Some(Window { from: date("2026-01-05"), to: date("2027-01-05") }));
        // 29 CFR 1910.1028(i)(2): before initial assignment: the first counted day itself.
        let benzene = outcome("benzene", GENERAL, "ST037", &measured("2026-01-05", 30, 0.6));
        assert_eq!(benzene.due_on, Some(date("2026-01-05")));
        // 29 CFR 1910.95(g)(5)(i): within 6 months of the first exposure.
        let noise = outcome("noise", GENERAL, "ST075", &measured("2026-01-05", 1, 86.0));
        assert_eq!(noise.due_on, Some(date("2026-07-05")));
        // 29 CFR 1926.1101(m)(2)(i): within 10 working days after the thirtieth day (Friday 13 March 2026).
        let asbestos =
            outcome("asbestos", RuleSet::UsConstruction, "ST036", &measured("2026-02-12", 30, 0.2));
        assert_eq!(asbestos.first_met_on, Some(date("2026-03-13")));
        assert_eq!(asbestos.due_on, Some(date("2026-03-27")));
    }

    struct WorkingWeek;

    impl WorkingWeek {
        fn days(from: &str, count: usize) -> Vec<NaiveDate> {
            use chrono::Datelike as _;
            date(from).iter_days().filter(|day| day.weekday().number_from_monday() < 6).take(count).collect()
        }
    }

    #[test]
    fn a_determination_starts_the_clock_when_it_was_learned() {
        // 29 CFR 1910.1024(k)(2): within 30 days after determining that the criterion is met.
        let pack = Pack::built_in();
        let (levels, unit) = statutory_levels(pack.agent("beryllium").unwrap(), GENERAL, None);
        let working_days = WorkingDays::default();
        let question = Question {
            agent_code: "beryllium",
            rule_set: GENERAL,
            levels,
            unit: unit.unwrap(),
            learned_on: Some(date("2026-06-01")),
            working_days: &working_days,
        };
        let found = evaluate(pack, &question, &measured("2026-03-02", 31, 0.1));
        assert_eq!(found[0].trigger_id, "ST026");
        assert_eq!(found[0].due_on, Some(date("2026-07-01")));
    }

    #[test]
    fn eight_hour_and_short_term_days_are_pooled_each_date_once() {
        // 29 CFR 1910.1028(i)(1)(i): the text does not say whether the two limbs pool; this registry pools dates.
        let mut days = measured("2026-03-02", 6, 1.2);
        for day in &mut days[..2] {
            day.short_term = Some(Measured::Value(9.0));
        }
        let stel = date("2026-04-01").iter_days().take(4);
        days.extend(stel.map(|date| Day { short_term: Some(Measured::Value(6.0)), ..Day::new(date) }));
        let benzene = outcome("benzene", GENERAL, "ST038", &days);
        assert!(benzene.met);
        assert_eq!(benzene.days_counted, 10);
        let note = benzene.note.unwrap();
        assert!(note.contains("8-hour average on 6 days, short-term average on 6 days"), "{note}");
    }

    #[test]
    fn a_mean_over_longer_counts_only_where_it_is_past_the_short_term_limit() {
        // 29 CFR 1910.1052(j)(1)(i): above 125 ppm short term on 10 days. That the mean of an hour above it shows fifteen
        // minutes above it, and below it nothing, is arithmetic.
        let days = |mean| -> Vec<Day> {
            let dates = date("2026-03-02").iter_days().take(10);
            let day = |date| Day { longer_mean: Some(Measured::Value(mean)), ..Day::new(date) };
            dates.map(day).collect()
        };
        assert!(outcome("methylene_chloride", GENERAL, "ST050", &days(125.1)).met);
        let below = outcome("methylene_chloride", GENERAL, "ST050", &days(125.0));
        assert_eq!((below.met, below.note), (false, None));
    }

    #[test]
    fn a_day_that_cannot_tell_does_not_count_and_is_named() {
        let mut days = measured("2026-03-02", 29, 3.0);
        days.push(Day { twa: Some(Measured::Below(3.1)), ..Day::new(date("2026-05-04")) });
        let chromium = outcome("chromium_vi", GENERAL, "ST001", &days);
        assert!(!chromium.met);
        assert!(chromium.note.unwrap().contains("1 day cannot be told"));
    }

    #[test]
    fn cadmium_covers_unless_shown_otherwise() {
        // 29 CFR 1910.1027(l)(1)(i)(A): the employer must show fewer than 30 days.
        let few = outcome("cadmium", GENERAL, "ST021", &measured("2026-03-02", 3, 2.5));
        assert_eq!((few.met, few.note.as_deref()), (false, Some("covered unless shown otherwise")));
        let many = outcome("cadmium", GENERAL, "ST021", &measured("2026-03-02", 30, 2.5));
        assert_eq!((many.met, many.note), (true, None));
    }

    #[test]
    fn respirator_days_count_where_the_text_counts_them() {
        // 29 CFR 1926.1153(h)(1)(i): 30 days on which this section requires a respirator, whatever was measured.
        let days: Vec<_> = date("2026-03-02")
            .iter_days()
            .take(30)
            .map(|date| Day { respirator: Some(true), twa: Some(Measured::Value(1.0)), ..Day::new(date) })
            .collect();
        assert!(outcome("silica_respirable", RuleSet::UsConstruction, "ST034", &days).met);
        // 29 CFR 1910.1053(i)(1)(i) looks at the air, as if no respirator were worn.
        assert!(!outcome("silica_respirable", GENERAL, "ST033", &days).met);
    }

    #[test]
    fn only_clauses_about_air_are_evaluated() {
        let found = outcomes("chromium_vi", GENERAL, &[]);
        assert_eq!(found.iter().map(|outcome| outcome.trigger_id.as_str()).collect::<Vec<_>>(), ["ST001"]);
        assert_eq!((found[0].days_counted, &found[0].window, found[0].due_on), (0, &None, None));
        // 29 CFR 1926.62(j)(1): one day for the blood test, more than thirty for the programme.
        let lead = outcomes("lead", RuleSet::UsConstruction, &measured("2026-03-02", 1, 30.0));
        let met: Vec<_> = lead.iter().map(|outcome| (outcome.trigger_id.as_str(), outcome.met)).collect();
        assert_eq!(met, [("ST014", true), ("ST015", false)]);
    }
}
