//! The standing of a group: what the law reads in its monitoring rounds, apart from statistics.
//!
//! Up at once and back in time, down only by the standard's own step down. The rules are this registry's reading of the
//! standards; the numbers of a step down (how many results, how far apart) come from the rows of the pack.

use crate::model::identifiers::EventId;
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::level::Level;
use crate::surveillance::round::{Bound, LimitReached, Reading, Round};
use crate::surveillance::step_down::StepDown;
use chrono::NaiveDate;

/// A time in which a group's work was of one kind; the first has no `from`, the last no `to`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Era {
    /// First day.
    pub from: Option<NaiveDate>,
    /// First day no longer.
    pub to: Option<NaiveDate>,
}

/// A change of standing.
#[derive(Debug, Clone, PartialEq)]
pub struct Move {
    /// Where the group stands from then on.
    pub level: Level,
    /// Since when; `None`: from the beginning.
    pub since: Option<NaiveDate>,
    /// The round that moved it.
    pub round: (EventId, NaiveDate),
    /// The clause of a step down.
    pub clause: Option<String>,
}

/// What an era has shown so far; nothing of it passes into the next.
struct Progress {
    /// For each step down, how many results in a row meet it, and the date of the last that was far enough apart.
    in_a_row: Vec<(usize, Option<NaiveDate>)>,
    /// The dates of the last accepted rounds below the action level and not above the limit.
    below: [(Level, Option<NaiveDate>); 2],
}

impl Progress {
    fn new(step_downs: &[StepDown]) -> Self {
        Self {
            in_a_row: vec![(0, None); step_downs.len()],
            below: [(Level::AtOrAboveActionLevel, None), (Level::AboveLimit, None)],
        }
    }

    /// Counts a round towards the step downs; gives the lowest one that it confirms.
    fn count<'s>(
        &mut self,
        round: &Round,
        step_downs: &'s [StepDown],
        working_days: &WorkingDays,
    ) -> Option<&'s StepDown> {
        let mut confirmed: Option<&StepDown> = None;
        for (step_down, (results, last)) in step_downs.iter().zip(&mut self.in_a_row) {
            let bound = Bound { value: step_down.upper, only_above: step_down.inclusive, is_limit: false };
            match round.reading(bound) {
                Reading::Reaches | Reading::CannotTell => (*results, *last) = (0, None),
                Reading::Below { may_lower: true }
                    if last.is_none_or(|last| step_down.far_enough(last, round.date, working_days)) =>
                {
                    (*results, *last) = (*results + 1, Some(round.date));
                    if *results >= step_down.results && confirmed.is_none_or(|best| step_down.to < best.to) {
                        confirmed = Some(step_down);
                    }
                }
                Reading::Below { .. } | Reading::Silent => {}
            }
        }
        confirmed
    }

    /// Remembers a round that lies below a level and may say so.
    fn remember(&mut self, round: &Round, reached: LimitReached) {
        for (level, date) in &mut self.below {
            let reading = Bound::of(*level, round.levels, reached).map(|bound| round.reading(bound));
            if reading == Some(Reading::Below { may_lower: true }) {
                *date = Some(round.date);
            }
        }
    }

    /// The day after the last accepted round below a level, before a date.
    fn day_after_below(&self, level: Level, before: NaiveDate) -> Option<NaiveDate> {
        let (_, date) = self.below.iter().find(|(known, _)| *known == level)?;
        date.filter(|date| *date < before)?.succ_opt()
    }
}

/// The moves of one group's standing for one agent and authority, in the order of the rounds.
///
/// A later move stands over earlier ones for every date from its `since` on, also where that lies back in time. Without
/// a step down among the rules a standing never falls.
pub fn moves(
    rounds: &[Round],
    eras: &[Era],
    step_downs: &[StepDown],
    working_days: &WorkingDays,
) -> Vec<Move> {
    moves_by(LimitReached::Above, rounds, eras, step_downs, working_days)
}

/// The same as a clause reads it that looks at days at the limit or above it: lying exactly at the limit counts as above it.
pub fn moves_at_limit(
    rounds: &[Round],
    eras: &[Era],
    step_downs: &[StepDown],
    working_days: &WorkingDays,
) -> Vec<Move> {
    // A way down that allows results at the limit leads below it no more.
    let below = |way: &StepDown| {
        let to_the_limit = way.to != Level::BelowActionLevel;
        StepDown { inclusive: way.inclusive && !to_the_limit, ..way.clone() }
    };
    let step_downs: Vec<StepDown> = step_downs.iter().map(below).collect();
    moves_by(LimitReached::AtIt, rounds, eras, &step_downs, working_days)
}

fn moves_by(
    reached: LimitReached,
    rounds: &[Round],
    eras: &[Era],
    step_downs: &[StepDown],
    working_days: &WorkingDays,
) -> Vec<Move> {
    let mut rounds: Vec<&Round> = rounds.iter().collect();
    rounds.sort_by_key(|round| (round.date, round.event));
    let mut moves: Vec<Move> = Vec::new();
    let mut current = Level::Unknown;
    let mut era = None;
    let mut progress = Progress::new(step_downs);
    for round in rounds {
        let own = era_of(round.date, eras);
        if era != Some(own) {
            era = Some(own);
            progress = Progress::new(step_downs);
        }
        let confirmed = progress.count(round, step_downs, working_days);
        let change = match round.level_by(reached) {
            // Where nothing stood before nothing is lowered: the first round sets it, accepted or not.
            Some(level) if current == Level::Unknown => Some((level, own.from, None)),
            Some(level) if level > current => {
                Some((level, progress.day_after_below(level, round.date).or(own.from), None))
            }
            _ => confirmed
                .filter(|step_down| step_down.to < current)
                .map(|step_down| (step_down.to, Some(round.date), Some(step_down.clause.clone()))),
        };
        if let Some((level, since, clause)) = change {
            current = level;
            moves.push(Move { level, since, round: (round.event, round.date), clause });
        }
        progress.remember(round, reached);
    }
    moves
}

/// The era that holds a date.
pub(super) fn era_of(date: NaiveDate, eras: &[Era]) -> Era {
    let holds = |era: &&Era| era.from.is_none_or(|from| from <= date) && era.to.is_none_or(|to| date < to);
    eras.iter().find(holds).copied().unwrap_or_default()
}

/// Where the group stood on a date.
pub fn standing_on(moves: &[Move], date: NaiveDate) -> Level {
    let last = moves.iter().rev().find(|change| change.since.is_none_or(|since| since <= date));
    last.map_or(Level::Unknown, |change| change.level)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::facts::rule_set::RuleSet;
    use crate::model::measured::Measured;
    use crate::model::unit::Unit;
    use crate::surveillance::level::Levels;
    use crate::surveillance::pack::Pack;
    use crate::surveillance::round::Member;
    use crate::surveillance::step_down::step_downs;
    use uuid::Uuid;

    // Levels: 29 CFR 1910.1026(b), (c): 2.5 and 5 ug/m3; 1910.1025(b), (c): 30 and 50 ug/m3. Which rounds move a
    // standing, and from when on, are this registry's rules.
    const CHROMIUM: Levels = Levels { action_level: Some(2.5), limit: Some(5.0) };
    const LEAD: Levels = Levels { action_level: Some(30.0), limit: Some(50.0) };

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn member(twa: Measured) -> Member {
        Member {
            twa,
            limit_twa: None,
            accepted: true,
            flagged: false,
            only_upward: false,
            short_shift: false,
            part_sampled: false,
        }
    }

    fn round(event: u128, on: &str, levels: Levels, members: &[Member]) -> Round {
        Round { event: EventId(Uuid::from_u128(event)), date: date(on), levels, members: members.to_vec() }
    }

    fn chromium(event: u128, on: &str, twa: f64) -> Round {
        round(event, on, CHROMIUM, &[member(Measured::Value(twa))])
    }

    fn rules(agent: &str, levels: Levels) -> Vec<StepDown> {
        step_downs(Pack::built_in(), agent, RuleSet::UsGeneralIndustry, levels, Unit::UgPerM3)
    }

    fn read(rounds: &[Round], eras: &[Era]) -> Vec<(Level, Option<String>)> {
        let rules = rules("chromium_vi", CHROMIUM);
        moves(rounds, eras, &rules, &WorkingDays::default())
            .into_iter()
            .map(|change| (change.level, change.since.map(|since| since.to_string())))
            .collect()
    }

    const BELOW: Level = Level::BelowActionLevel;
    const AT: Level = Level::AtOrAboveActionLevel;
    const ABOVE: Level = Level::AboveLimit;

    #[test]
    fn the_first_round_sets_the_standing_from_the_start_of_its_era_accepted_or_not() {
        let mut first = chromium(1, "2026-03-02", 1.0);
        first.members[0].accepted = false;
        assert_eq!(read(&[first.clone()], &[]), [(BELOW, None)]);
        let eras = [
            Era { from: None, to: Some(date("2026-02-01")) },
            Era { from: Some(date("2026-02-01")), to: None },
        ];
        assert_eq!(read(&[first], &eras), [(BELOW, Some("2026-02-01".into()))]);
    }

    #[test]
    fn exactly_at_the_action_level_is_at_it_and_exactly_at_the_limit_is_not_above() {
        assert_eq!(read(&[chromium(1, "2026-03-02", 2.5)], &[]), [(AT, None)]);
        assert_eq!(read(&[chromium(1, "2026-03-02", 5.0)], &[]), [(AT, None)]);
        assert_eq!(read(&[chromium(1, "2026-03-02", 5.1)], &[]), [(ABOVE, None)]);
    }

    #[test]
    fn for_a_clause_that_says_at_the_limit_a_round_exactly_there_reaches_it() {
        let rounds =
            [chromium(1, "2026-01-05", 5.0), chromium(2, "2026-02-02", 5.0), chromium(3, "2026-02-09", 5.0)];
        let way = StepDown {
            upper: 5.0,
            inclusive: true,
            to: AT,
            ..rules("chromium_vi", CHROMIUM).into_iter().next().unwrap()
        };
        let at_limit = |rounds: &[Round]| {
            let found = moves_at_limit(rounds, &[], std::slice::from_ref(&way), &WorkingDays::default());
            found.into_iter().map(|change| change.level).collect::<Vec<_>>()
        };
        // Two more rounds at the limit lie at it still; two below it end that.
        assert_eq!(at_limit(&rounds), [ABOVE]);
        assert_eq!(at_limit(&[chromium(1, "2026-01-05", 4.99)]), [AT]);
        let down = [rounds[0].clone(), chromium(2, "2026-02-02", 4.0), chromium(3, "2026-02-09", 4.0)];
        assert_eq!(at_limit(&down), [ABOVE, AT]);
    }

    #[test]
    fn up_goes_back_to_the_day_after_the_last_accepted_round_below() {
        let mut rounds = [chromium(1, "2026-01-12", 1.0), chromium(2, "2026-03-02", 3.0)];
        assert_eq!(read(&rounds, &[]), [(BELOW, None), (AT, Some("2026-01-13".into()))]);
        // Not accepted: it shows nothing that could hold back the rise, which goes to the start of the era.
        rounds[0].members[0].accepted = false;
        assert_eq!(read(&rounds, &[]), [(BELOW, None), (AT, None)]);
    }

    #[test]
    fn up_in_a_new_era_goes_back_to_its_start_only() {
        let cut = date("2026-02-01");
        let eras = [Era { from: None, to: Some(cut) }, Era { from: Some(cut), to: None }];
        let rounds = [chromium(1, "2026-01-12", 1.0), chromium(2, "2026-03-02", 6.0)];
        assert_eq!(read(&rounds, &eras), [(BELOW, None), (ABOVE, Some("2026-02-01".into()))]);
    }

    #[test]
    fn down_takes_two_accepted_rounds_seven_days_apart() {
        // 29 CFR 1910.1026(d)(2)(v).
        let rounds =
            [chromium(1, "2026-01-05", 4.0), chromium(2, "2026-02-02", 1.0), chromium(3, "2026-02-09", 1.0)];
        assert_eq!(read(&rounds, &[]), [(AT, None), (BELOW, Some("2026-02-09".into()))]);
        let mut early = rounds.clone();
        early[2].date = date("2026-02-08");
        assert_eq!(read(&early, &[]), [(AT, None)]);
        let clause =
            moves(&rounds, &[], &rules("chromium_vi", CHROMIUM), &WorkingDays::default())[1].clause.clone();
        assert_eq!(clause.as_deref(), Some("29 CFR 1910.1026(d)(2)(v)"));
    }

    #[test]
    fn one_that_is_flagged_or_not_accepted_never_lowers() {
        let rounds =
            [chromium(1, "2026-01-05", 4.0), chromium(2, "2026-02-02", 1.0), chromium(3, "2026-02-09", 1.0)];
        for spoil in [|m: &mut Member| m.flagged = true, |m: &mut Member| m.accepted = false] {
            let mut spoilt = rounds.clone();
            spoil(&mut spoilt[1].members[0]);
            assert_eq!(read(&spoilt, &[]), [(AT, None)]);
        }
        // It does not stand between two good ones either.
        let mut between =
            [rounds[0].clone(), rounds[1].clone(), chromium(4, "2026-02-05", 1.0), rounds[2].clone()];
        between[2].members[0].accepted = false;
        assert_eq!(read(&between, &[]), [(AT, None), (BELOW, Some("2026-02-09".into()))]);
    }

    #[test]
    fn two_filters_of_one_event_are_one_round() {
        let low = member(Measured::Value(1.0));
        let rounds = [chromium(1, "2026-01-05", 4.0), round(2, "2026-02-09", CHROMIUM, &[low, low])];
        assert_eq!(read(&rounds, &[]), [(AT, None)]);
    }

    #[test]
    fn a_round_that_cannot_tell_between_two_below_blocks_the_way_down() {
        let vague = round(9, "2026-02-05", CHROMIUM, &[member(Measured::Below(3.1))]);
        let rounds = [
            chromium(1, "2026-01-05", 4.0),
            chromium(2, "2026-02-02", 1.0),
            vague.clone(),
            chromium(3, "2026-02-09", 1.0),
        ];
        assert_eq!(read(&rounds, &[]), [(AT, None)]);
        // Alone it sets nothing.
        assert_eq!(read(&[vague], &[]), []);
        let mut then = rounds.to_vec();
        then.push(chromium(4, "2026-02-16", 1.0));
        assert_eq!(read(&then, &[]), [(AT, None), (BELOW, Some("2026-02-16".into()))]);
    }

    #[test]
    fn the_two_rounds_lie_in_one_era_and_a_new_era_keeps_the_old_standing() {
        let cut = date("2026-02-05");
        let eras = [Era { from: None, to: Some(cut) }, Era { from: Some(cut), to: None }];
        let rounds =
            [chromium(1, "2026-01-05", 4.0), chromium(2, "2026-02-02", 1.0), chromium(3, "2026-02-09", 1.0)];
        assert_eq!(read(&rounds, &eras), [(AT, None)]);
        let mut third = rounds.to_vec();
        third.push(chromium(4, "2026-02-16", 1.0));
        assert_eq!(read(&third, &eras), [(AT, None), (BELOW, Some("2026-02-16".into()))]);
    }

    #[test]
    fn trials_and_short_shifts_only_raise() {
        for mark in [|m: &mut Member| m.only_upward = true, |m: &mut Member| m.short_shift = true] {
            let mut low = chromium(1, "2026-01-05", 1.0);
            mark(&mut low.members[0]);
            assert_eq!(read(&[low], &[]), []);
            let mut high = chromium(2, "2026-02-02", 3.0);
            mark(&mut high.members[0]);
            assert_eq!(
                read(&[chromium(1, "2026-01-05", 1.0), high], &[]),
                [(BELOW, None), (AT, Some("2026-01-06".into()))]
            );
        }
    }

    #[test]
    fn a_part_sampled_shift_is_a_member_only_where_its_lower_end_decides() {
        let part = |lower| {
            let mut part = member(Measured::Between { lower, upper: 9.0 });
            part.part_sampled = true;
            part
        };
        let low = member(Measured::Value(1.0));
        let undecided = round(1, "2026-01-05", CHROMIUM, &[part(1.0), low]);
        assert_eq!(read(&[undecided], &[]), [(BELOW, None)]);
        let decided = round(1, "2026-01-05", CHROMIUM, &[part(2.6), low]);
        assert_eq!(read(&[decided], &[]), [(AT, None)]);
    }

    #[test]
    fn lead_steps_down_in_two_tiers() {
        // 29 CFR 1910.1025(d)(6)(ii), (iii): below the limit twice, then below the action level twice.
        let lead = |event, on, twa| round(event, on, LEAD, &[member(Measured::Value(twa))]);
        let rounds = [
            lead(1, "2026-01-05", 80.0),
            lead(2, "2026-02-02", 40.0),
            lead(3, "2026-02-16", 45.0),
            lead(4, "2026-03-02", 10.0),
            lead(5, "2026-03-16", 10.0),
        ];
        let moved = moves(&rounds, &[], &rules("lead", LEAD), &WorkingDays::default());
        let moved: Vec<_> = moved.iter().map(|change| (change.level, change.round.1.to_string())).collect();
        assert_eq!(
            moved,
            [(ABOVE, "2026-01-05".into()), (AT, "2026-02-16".into()), (BELOW, "2026-03-16".to_owned())]
        );
        // Exactly at the limit is not below it (the general-industry text leaves it open; the stricter side).
        let at_limit =
            [lead(1, "2026-01-05", 80.0), lead(2, "2026-02-02", 50.0), lead(3, "2026-02-16", 45.0)];
        assert_eq!(moves(&at_limit, &[], &rules("lead", LEAD), &WorkingDays::default()).len(), 1);
    }

    #[test]
    fn without_a_step_down_nothing_ever_falls() {
        // 29 CFR 1910.1001(d)(4) asks for a statistical showing: no two-result rule.
        let levels = Levels { action_level: None, limit: Some(0.1) };
        let unit = Unit::FibresPerMl;
        let none = step_downs(Pack::built_in(), "asbestos", RuleSet::UsGeneralIndustry, levels, unit);
        assert!(none.is_empty());
        let fibres = |event, on, twa| round(event, on, levels, &[member(Measured::Value(twa))]);
        let rounds =
            [fibres(1, "2026-01-05", 0.2), fibres(2, "2026-02-02", 0.01), fibres(3, "2026-03-02", 0.01)];
        let moved = moves(&rounds, &[], &none, &WorkingDays::default());
        assert_eq!(moved.len(), 1);
        assert_eq!(standing_on(&moved, date("2026-04-01")), ABOVE);
        let low = moves(&rounds[1..], &[], &none, &WorkingDays::default());
        assert_eq!(low[0].level, Level::AtOrBelowLimit);
    }

    #[test]
    fn the_later_move_stands_over_the_earlier_from_its_since_on() {
        let rounds = [
            chromium(1, "2026-01-12", 1.0),
            chromium(2, "2026-03-02", 3.0),
            chromium(3, "2026-03-16", 1.0),
            chromium(4, "2026-03-30", 1.0),
        ];
        let moved = moves(&rounds, &[], &rules("chromium_vi", CHROMIUM), &WorkingDays::default());
        let on = |day: &str| standing_on(&moved, date(day));
        assert_eq!([on("2020-01-01"), on("2026-01-12"), on("2026-01-13")], [BELOW, BELOW, AT]);
        assert_eq!([on("2026-03-29"), on("2026-03-30")], [AT, BELOW]);
        assert_eq!(standing_on(&[], date("2026-01-01")), Level::Unknown);
    }
}
