//! What is known of a group's exposure to an agent, era by era.

use crate::conclusions::asked::Asked;
use crate::conclusions::averaging::shift_averages;
use crate::conclusions::day_chance::{DayChance, day_chance};
use crate::conclusions::era::{Era, eras};
use crate::conclusions::evidence::{GroupEvidence, SampleEvidence};
use crate::conclusions::flag::{Flag, raise, raise_if};
use crate::conclusions::group_standing::{AuthorityStanding, StandingRules, StandingView, group_standings};
use crate::conclusions::left_out::{LeftOut, left_out_and_beside};
use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY, rule_set_on};
use crate::conclusions::noise_criterion::{CRITERIA, level_read_against};
use crate::conclusions::posterior_mean::{PosteriorMean, posterior_mean};
use crate::conclusions::shift_average::ShiftTwa;
use crate::conclusions::short_term_standing::{ShortTermStanding, short_term_standings};
use crate::conclusions::use_of_result::LeftOutReason;
use crate::conclusions::workers_apart::WorkersApart;
use crate::hygiene::level_profile::{LevelProfile, level_profile};
use crate::hygiene::profile::{Against, GroupProfile, ProfileMethod, estimated_exceedance, group_profile};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::facts::standing_move::StandingValue;
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::text::Code;
use crate::model::unit::Unit;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// Below this many dates a group is not described: "too few to describe this group" (our own choice).
pub const DATES_THAT_DESCRIBE: usize = 3;

/// From this share of days at or above the action level on, a standing below it is marked as disagreeing, and the
/// other way round (our own choice).
pub const DISAGREEING_SHARE: f64 = 0.05;

/// A group's exposure to one agent in one era.
#[derive(Debug, Clone, PartialEq)]
pub struct EraProfile {
    /// The era.
    pub era: Era,
    /// By which criterion, for noise.
    pub criterion: Option<NoiseCriterion>,
    /// The unit of every number.
    pub unit: Unit,
    /// The 8-hour averages that enter the profile, by shift date and worker.
    pub results: Vec<Measured>,
    /// What they say; of noise what [`LevelProfile`] shares with it.
    pub profile: GroupProfile,
    /// What levels of noise say.
    pub levels: Option<LevelProfile>,
    /// The law's 8-hour limit that the profile is read against, that of the last shift date; of noise the level that the
    /// criterion meets.
    pub limit: Option<f64>,
    /// The law's action level on that date.
    pub action_level: Option<f64>,
    /// The estimated share of days at or above the action level.
    pub action_level_exceedance: Option<f64>,
    /// The posterior mean, where too little was detected for an estimate.
    pub posterior_mean: Option<PosteriorMean>,
    /// The chance that a day is at or above the action level, by the posterior; absent for noise.
    pub day_chance: Option<DayChance>,
    /// Workers beside the group's mean.
    pub workers_apart: Option<WorkersApart>,
    /// Mean shift minutes of the averages.
    pub shift_minutes: Option<f64>,
    /// How many results in the era are not accepted yet.
    pub not_accepted: usize,
    /// How many shifts an installed control was off.
    pub control_off: usize,
    /// How many workers.
    pub worker_count: usize,
    /// How many dates.
    pub date_count: usize,
    /// The first date.
    pub first: Option<NaiveDate>,
    /// The last date.
    pub last: Option<NaiveDate>,
    /// Samples left out.
    pub left_out: Vec<LeftOut>,
    /// Samples shown beside.
    pub beside: Vec<LeftOut>,
    /// How the group stood at the end of the era.
    pub standing: Vec<StandingView>,
    /// What is to be known of it, in the order of the table of flags.
    pub flags: Vec<Flag>,
}

/// A group's exposure to one agent.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupConclusion {
    /// The agent.
    pub agent_code: Code,
    /// Every era, oldest first; one without results is among them. Of noise one for each criterion that was read, the one
    /// that the limit is met by last.
    pub eras: Vec<EraProfile>,
    /// The group's shift averages, by shift date and worker.
    pub shifts: Vec<ShiftTwa>,
    /// How the group stood, by authority.
    pub standings: Vec<AuthorityStanding>,
    /// How its short-term averages stood, by authority and kind of limit.
    pub short_term: Vec<ShortTermStanding>,
}

/// What is known of a group's exposure to an agent, from the group's samples.
pub fn conclude_group(
    group: &GroupEvidence,
    samples: &[SampleEvidence],
    agent: &AgentEvidence,
    rules: StandingRules<'_>,
    asked: Asked,
) -> GroupConclusion {
    let shifts = shift_averages(samples, agent, &[group], asked);
    let own = |shift: &ShiftTwa| shift.group.is_some_and(|id| id.0 == group.group.id);
    let shifts: Vec<ShiftTwa> = shifts.into_iter().filter(own).collect();
    let bounds = eras(group, agent.code());
    let standings = group_standings(&shifts, &bounds, group, agent, rules);
    let short_term = short_term_standings(&shifts, &bounds, group, agent, rules);
    let criteria = criteria_shown(&shifts, agent);
    let stood = Stood { eight_hour: &standings, short_term: &short_term };
    let eras = bounds
        .into_iter()
        .flat_map(|era| criteria.iter().map(move |criterion| (era.clone(), *criterion)))
        .map(|era| era_profile(era, group, samples, &shifts, stood, agent, asked))
        .collect();
    GroupConclusion { agent_code: agent.code().clone(), eras, shifts, standings, short_term }
}

/// How a group stood by either averages.
#[derive(Clone, Copy)]
struct Stood<'s> {
    eight_hour: &'s [AuthorityStanding],
    short_term: &'s [ShortTermStanding],
}

impl Stood<'_> {
    /// The standings at the end of an era, those by 8-hour averages first.
    fn at_end_of(self, era: &Era) -> Vec<StandingView> {
        let eight_hour = self.eight_hour.iter().map(|standing| standing.at_end_of(era));
        let short_term = self.short_term.iter().map(|standing| standing.at_end_of(era));
        eight_hour.chain(short_term).collect()
    }
}

/// The criteria of noise that were read, in the reverse of the order in which they are shown; the one of the limit where
/// none was. Any other agent has a single profile.
fn criteria_shown(shifts: &[ShiftTwa], agent: &AgentEvidence) -> Vec<Option<NoiseCriterion>> {
    if !agent.is_noise() {
        return vec![None];
    }
    let read = |criterion: &NoiseCriterion| shifts.iter().any(|shift| shift.criterion == Some(*criterion));
    let mut shown: Vec<_> = CRITERIA.into_iter().filter(read).map(Some).rev().collect();
    if shown.is_empty() {
        shown.push(Some(NoiseCriterion::OshaLimit));
    }
    shown
}

fn era_profile(
    (era, criterion): (Era, Option<NoiseCriterion>),
    group: &GroupEvidence,
    samples: &[SampleEvidence],
    shifts: &[ShiftTwa],
    stood: Stood<'_>,
    agent: &AgentEvidence,
    asked: Asked,
) -> EraProfile {
    let in_era: Vec<&ShiftTwa> =
        shifts.iter().filter(|shift| era.holds(shift.shift_date) && shift.criterion == criterion).collect();
    let unit = agent.unit().or_else(|| in_era.first().map(|shift| shift.unit)).unwrap_or(Unit::MgPerM3);
    let members: Vec<&ShiftTwa> =
        in_era.iter().copied().filter(|shift| shift.enters_profile() && shift.unit == unit).collect();
    let results: Vec<Measured> = members.iter().filter_map(|shift| shift.twa).collect();
    let dates: BTreeSet<NaiveDate> = members.iter().map(|shift| shift.shift_date).collect();
    let workers: BTreeSet<_> = members.iter().map(|shift| shift.worker).collect();
    let last = dates.last().copied();
    // Without results the newest law of the era.
    let read_on = last.or_else(|| era.to.and_then(|to| to.pred_opt())).unwrap_or(NaiveDate::MAX);
    let rule_set = rule_set_on(group, read_on);
    let limit = match criterion {
        None => agent.statutory_twa(rule_set, read_on, unit),
        Some(criterion) => {
            level_read_against(agent, criterion, (rule_set, read_on), unit).map(|(.., level)| level)
        }
    };
    let action_level = agent.action_level(rule_set, read_on, unit);
    let levels = criterion.map(|_| level_profile(&results, limit));
    let of_workers: Vec<_> = members.iter().filter_map(|shift| Some((shift.worker, shift.twa?))).collect();
    let workers_apart = WorkersApart::of(&of_workers, unit, criterion.is_some());
    let known = members.iter().filter(|shift| shift.twa.is_some());
    let places: Vec<usize> =
        known.filter_map(|shift| workers.iter().position(|worker| *worker == shift.worker)).collect();
    // Without anybody sampled twice there is nothing to tell apart, which is no fault of a profile.
    let repeated = workers.len() > 1 && places.len() > workers.len();
    let against = Against { limit, workers: repeated.then_some(&*places), ..Against::default() };
    let profile = levels.as_ref().map_or_else(|| group_profile(&results, &against), shared_figures);
    let action_level_exceedance = match criterion {
        None => action_level.and_then(|level| estimated_exceedance(&results, level)),
        // Only the criterion that the action level is met by can tell how often it is reached.
        Some(NoiseCriterion::OshaActionLevel) => profile.exceedance_fraction.map(|share| share.estimate),
        Some(NoiseCriterion::OshaLimit | NoiseCriterion::Niosh) => None,
    };
    let behind_doses =
        (profile.method == ProfileMethod::PosteriorOnly).then(|| posterior_mean(&results, limit)).flatten();
    let own_samples: Vec<&SampleEvidence> = samples
        .iter()
        .filter(|evidence| evidence.sample.fact.group_id.is_some_and(|id| id.0 == group.group.id))
        .filter(|evidence| era.holds(evidence.sample.fact.shift_date))
        .collect();
    let (left_out, beside) = left_out_and_beside(&own_samples, &in_era, agent, criterion, asked);
    let control_off = members.iter().filter(|shift| shift.flags.contains(&Flag::ControlOff)).count();
    let standing = stood.at_end_of(&era);

    let mut flags: Vec<Flag> = Vec::new();
    stood.eight_hour.iter().flat_map(|standing| &standing.flags).for_each(|&flag| raise(&mut flags, flag));
    let changed = left_out.iter().any(|one| one.reason == LeftOutReason::ChangedAfterResult);
    raise_if(&mut flags, changed, Flag::ChangedAfterResult);
    raise_if(&mut flags, (1..DATES_THAT_DESCRIBE).contains(&dates.len()), Flag::FewDates);
    raise_if(&mut flags, control_off > 0, Flag::ControlOff);
    let has = |flag: Flag| members.iter().any(|shift| shift.flags.contains(&flag));
    for flag in [
        Flag::FlowChanged,
        Flag::BlankHigh,
        Flag::ReportingLimitTooHigh,
        Flag::CalibratorOverdue,
        Flag::VolumeOutsideMethod,
        Flag::AnalysedAfterHoldingTime,
        Flag::ControlStateNotRecorded,
        Flag::ControlPartlyRunning,
        Flag::NotAccepted,
        Flag::OtherThresholdOnly,
    ] {
        raise_if(&mut flags, has(flag), flag);
    }
    let least = results.iter().any(|result| matches!(result, Measured::Above(_)));
    raise_if(&mut flags, least, Flag::LeastValues);
    let ranges = results.iter().any(|result| matches!(result, Measured::Between { .. }));
    raise_if(&mut flags, ranges, Flag::RangesUsed);
    raise_if(&mut flags, disagree(&standing, action_level_exceedance), Flag::StandingAndProfileDisagree);
    let apart = workers_apart.as_ref().is_some_and(WorkersApart::any);
    raise_if(&mut flags, apart, Flag::WorkersApart);

    EraProfile {
        unit,
        criterion,
        profile,
        levels,
        limit,
        action_level,
        action_level_exceedance,
        posterior_mean: behind_doses,
        workers_apart,
        day_chance: action_level
            .filter(|_| criterion.is_none())
            .and_then(|level| day_chance(&results, limit, level)),
        shift_minutes: mean(members.iter().map(|shift| shift.shift_minutes)),
        not_accepted: in_era.iter().map(|shift| shift.not_accepted).sum(),
        control_off,
        worker_count: workers.len(),
        date_count: dates.len(),
        first: dates.first().copied(),
        last,
        left_out,
        beside,
        standing,
        flags,
        results,
        era,
    }
}

/// What levels of noise have in common with concentrations; geometric figures, substitutes for non-detects and EN 689 are
/// not for decibels.
fn shared_figures(levels: &LevelProfile) -> GroupProfile {
    GroupProfile {
        n: levels.n,
        n_below: levels.n_below,
        largest_result: levels.largest,
        method: levels.method,
        percentile_95: levels.percentile_95,
        exceedance_fraction: levels.exceedance_fraction,
        flags: levels.flags.clone(),
        ..GroupProfile::empty(&[])
    }
}

/// Whether the law's standing and the share of days at or above the action level point in different directions.
fn disagree(standing: &[StandingView], share: Option<f64>) -> bool {
    let by_law = |standing: &&StandingView| {
        standing.averaging.is_none() && standing.authority.as_str() == STATUTORY_AUTHORITY
    };
    let Some(lawful) = standing.iter().find(by_law) else { return false };
    share.is_some_and(|share| match lawful.value {
        StandingValue::BelowActionLevel => share > DISAGREEING_SHARE,
        StandingValue::AtOrAboveActionLevel | StandingValue::AboveLimit => share < DISAGREEING_SHARE,
        _ => false,
    })
}

fn mean(values: impl ExactSizeIterator<Item = f64>) -> Option<f64> {
    // Counts of shifts are far below 2^52.
    #[expect(clippy::cast_precision_loss, reason = "a count of shifts")]
    let count = values.len() as f64;
    (count > 0.0).then(|| significant(values.sum::<f64>() / count))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::{ARM, agent, date, event, group, id, shift};
    use crate::conclusions::profile_view::profile_views;
    use crate::model::facts::laboratory::ResultStatus;
    use crate::model::facts::sampling::SamplingEvent;
    use crate::model::identifiers::{EventId, SampleId};
    use crate::model::shape::Shape;
    use crate::model::version::Version;
    use crate::surveillance::calendar::WorkingDays;
    use crate::surveillance::pack::Pack;
    use serde_json::{Value, json};

    fn conclude(group: &GroupEvidence, samples: &[SampleEvidence], asked: Asked) -> GroupConclusion {
        let calendar = WorkingDays::default();
        let rules = StandingRules { pack: Pack::built_in(), of_others: &[], working_days: &calendar };
        conclude_group(group, samples, &agent("chromium_vi"), rules, asked)
    }

    /// A routine whole shift on a date with this concentration.
    fn on(number: u128, event: &Version<SamplingEvent>, day: &str, found: f64) -> SampleEvidence {
        shift(number, event, &json!({"shift_date": day, "worker_id": id(number)}), &json!({"value": found}))
    }

    fn reasons(left_out: &[LeftOut]) -> Vec<(SampleId, LeftOutReason)> {
        left_out.iter().map(|one| (one.sample_id, one.reason)).collect()
    }

    fn sample_id(number: u128) -> SampleId {
        SampleId(id(number))
    }

    // The rules are this registry's; chromium(VI) 5 and 2.5 ug/m3: 29 CFR 1910.1026(b), (c); numbers invented.
    #[test]
    fn a_group_is_described_by_its_averages_and_its_rounds_set_the_standing() {
        // ln 1, ln 2, ln 4: mean ln 2, standard deviation ln 2, so that GM and GSD are both 2.
        let round = event(6, &json!({}));
        let samples = [
            on(50, &round, "2026-03-02", 1.0),
            on(51, &round, "2026-03-03", 2.0),
            on(52, &round, "2026-03-04", 4.0),
        ];
        let found = conclude(&group(None), &samples, Asked { working: true, ..Asked::default() });
        let view = profile_views(&found, Asked { working: true, ..Asked::default() })[0].to_json();
        assert_eq!(view["n"], json!(3));
        assert_eq!(view["geometric_mean"], json!({"value": 2.0, "unit": "ug/m3"}));
        assert_eq!(view["geometric_standard_deviation"], json!(2.0));
        assert_eq!((&view["worker_count"], &view["date_count"]), (&json!(3), &json!(3)));
        assert_eq!((&view["first"], &view["last"]), (&json!("2026-03-02"), &json!("2026-03-04")));
        assert_eq!((&view["shift_minutes"], &view["not_accepted"]), (&json!(480.0), &json!(0)));
        assert_eq!(view["limit"], json!({"authority": "OSHA", "value": 5.0, "unit": "ug/m3"}));
        let standing = json!([{"authority": "OSHA", "value": "at_or_above_action_level",
            "round": {"event_id": id(6), "date": "2026-03-04"}}]);
        assert_eq!(view["standing"], standing);
        assert_eq!(view["flags"], json!([]));
        assert_eq!(view["working"][0]["inputs"]["results"][2], json!({"value": 4.0, "unit": "ug/m3"}));
        // Share above 2.5: 1 - Phi((ln 2.5 - ln 2) / ln 2) = 1 - Phi(0.32193) = 0.37375 (normal table).
        let share = view["action_level_exceedance"].as_f64().unwrap();
        assert!((share - 0.373_75).abs() < 1e-4, "{share}");
    }

    #[test]
    fn the_worst_case_stands_beside_the_profile_and_counts_in_the_standing() {
        let routine = event(6, &json!({}));
        let worst = event(7, &json!({"purpose": ["worst_case"]}));
        let samples = [on(50, &routine, "2026-03-02", 1.0), on(51, &worst, "2026-03-09", 6.0)];
        let found = conclude(&group(None), &samples, Asked::default());
        let era = &found.eras[0];
        assert_eq!(era.results, [Measured::Value(1.0)]);
        assert_eq!(reasons(&era.beside), [(sample_id(51), LeftOutReason::WorstCase)]);
        assert_eq!(era.standing[0].value, StandingValue::AboveLimit);
        assert_eq!(era.flags, [Flag::FewDates]);
        // Part of a shift weighs more than why the event took place.
        let part = shift(52, &worst, &json!({"minutes_run": 100}), &json!({"value": 1}));
        let found = conclude(&group(None), &[part], Asked::default());
        assert_eq!(reasons(&found.eras[0].left_out), [(sample_id(52), LeftOutReason::PartOfShift)]);
    }

    #[test]
    fn a_control_trial_only_raises_and_enters_the_profile_when_the_controls_ran_as_the_era_says() {
        let trial = event(7, &json!({"purpose": ["control_trial"]}));
        let with_arm = group(Some("2020-01-01"));
        let run = |number: u128, running: Value, found: f64| {
            let change = json!({"control_ids_running": running, "worker_id": id(number)});
            shift(number, &trial, &change, &json!({"value": found}))
        };
        let low = [run(50, json!([id(ARM)]), 1.0), run(51, json!([]), 2.0)];
        let found = conclude(&with_arm, &low, Asked::default());
        let era = &found.eras[1];
        assert_eq!(era.results, [Measured::Value(1.0)]);
        assert_eq!(reasons(&era.left_out), [(sample_id(51), LeftOutReason::ControlTrial)]);
        assert_eq!(era.standing[0].value, StandingValue::Unknown);
        let high = conclude(&with_arm, &[run(51, json!([]), 3.0)], Asked::default());
        assert_eq!(high.eras[1].standing[0].value, StandingValue::AtOrAboveActionLevel);
    }

    #[test]
    fn what_is_not_accepted_is_used_and_counted_unless_only_accepted_is_asked_for() {
        let round = event(6, &json!({}));
        let mut samples = [on(50, &round, "2026-03-02", 1.0), on(51, &round, "2026-03-03", 2.0)];
        samples[1].results[0].fact.status = ResultStatus::Submitted;
        let all = conclude(&group(None), &samples, Asked::default());
        assert_eq!((all.eras[0].results.len(), all.eras[0].not_accepted), (2, 1));
        let accepted = conclude(&group(None), &samples, Asked { accepted_only: true, working: false });
        assert_eq!((accepted.eras[0].results.len(), accepted.eras[0].not_accepted), (1, 0));
        assert_eq!(reasons(&accepted.eras[0].left_out), [(sample_id(51), LeftOutReason::NotAccepted)]);
    }

    #[test]
    fn a_failed_or_voided_sample_is_left_out_with_its_reason() {
        let round = event(6, &json!({}));
        let failed = json!({"outcome": "pump_failed", "agent_codes": ["chromium_vi"]});
        let mut voided = on(51, &round, "2026-03-03", 9.0);
        voided.results.clear();
        voided.sample.fact.agent_codes = Some(vec![Code::new("chromium_vi").unwrap()]);
        voided.sample.voided = Some("Wrong worker".into());
        let mut awaited = shift(52, &round, &json!({"agent_codes": ["chromium_vi"]}), &json!({"value": 1}));
        awaited.results.clear();
        let short =
            shift(53, &round, &json!({"covers": "short_term", "minutes_run": 15}), &json!({"value": 1}));
        let area = shift(54, &round, &json!({"position": "area", "worker_id": null}), &json!({"value": 1}));
        let part = shift(55, &round, &json!({"minutes_run": 100, "worker_id": id(90)}), &json!({"value": 1}));
        let samples = [shift(50, &round, &failed, &json!({"value": 1})), voided, awaited, short, area, part];
        let found = conclude(&group(None), &samples, Asked::default());
        let era = &found.eras[0];
        assert_eq!(
            reasons(&era.left_out),
            [
                (sample_id(50), LeftOutReason::PumpFailed),
                (sample_id(52), LeftOutReason::ResultAwaited),
                (sample_id(53), LeftOutReason::ShortTerm),
                (sample_id(55), LeftOutReason::PartOfShift),
                (sample_id(51), LeftOutReason::Voided),
            ]
        );
        assert_eq!((era.profile.n, era.profile.method), (0, ProfileMethod::None));
        let view = profile_views(&found, Asked::default())[0].to_json();
        assert_eq!(view["flags"], json!(["no_results"]));
    }

    #[test]
    fn what_is_voided_after_its_result_is_known_is_left_out_and_every_profile_says_so() {
        let round = event(6, &json!({}));
        let mut samples: Vec<SampleEvidence> =
            (50..54).map(|number| on(number, &round, "2026-03-02", 4.0)).collect();
        // The sample; its only result; and a result with another one entered after it.
        samples[1].sample.voided = Some("Wrong worker".into());
        samples[2].results[0].fact.status = ResultStatus::Voided;
        let again = samples[3].results[0].clone();
        samples[3].results[0].fact.status = ResultStatus::Voided;
        samples[3].results.push(again);
        for accepted_only in [false, true] {
            let found = conclude(&group(None), &samples, Asked { accepted_only, working: false });
            let era = &found.eras[0];
            assert_eq!(era.results, [Measured::Value(4.0); 2]);
            let changed = [51, 52, 53].map(|number| (sample_id(number), LeftOutReason::ChangedAfterResult));
            assert_eq!(reasons(&era.left_out), changed);
            let view = profile_views(&found, Asked::default())[0].to_json();
            let flags = view["flags"].as_array().unwrap();
            assert!(flags.contains(&json!("changed_after_result")), "{flags:?}");
        }
        // A result that was replaced before it was voided takes nothing out.
        samples.truncate(1);
        let mut replaced = samples[0].results[0].clone();
        (replaced.fact.stands, replaced.fact.status) = (false, ResultStatus::Voided);
        samples[0].results.push(replaced);
        let found = conclude(&group(None), &samples, Asked::default());
        assert_eq!((&found.eras[0].left_out[..], &found.eras[0].flags[..]), (&[][..], &[Flag::FewDates][..]));
    }

    #[test]
    fn eras_come_newest_first_and_a_new_one_keeps_the_standing_and_not_the_profile() {
        let round = event(6, &json!({}));
        let samples = [on(50, &round, "2026-03-02", 3.0)];
        let found = conclude(&group(Some("2026-06-01")), &samples, Asked::default());
        let views = profile_views(&found, Asked::default());
        assert_eq!(views.len(), 2);
        assert_eq!((views[0].0.from, views[0].1.0.n), (Some(date("2026-06-01")), 0));
        assert_eq!((views[1].0.to, views[1].1.0.n), (Some(date("2026-06-01")), 1));
        assert_eq!(views[0].0.control_ids, [id(ARM).into()]);
        for view in views {
            assert_eq!(view.0.standing[0].value, StandingValue::AtOrAboveActionLevel);
            assert_eq!(view.0.standing[0].round.as_ref().unwrap().event_id, EventId(id(6)));
        }
    }

    #[test]
    fn two_accepted_rounds_seven_days_apart_lower_the_standing_and_a_flagged_one_does_not() {
        // 29 CFR 1910.1026(d)(2)(v).
        let events = [6, 7, 8].map(|number| event(number, &json!({})));
        let mut samples = [
            on(50, &events[0], "2026-03-02", 3.0),
            on(51, &events[1], "2026-04-06", 1.0),
            on(52, &events[2], "2026-04-13", 1.0),
        ];
        let lowered = conclude(&group(None), &samples, Asked::default());
        let standing = &lowered.eras[0].standing[0];
        assert_eq!(
            (standing.value, standing.since),
            (StandingValue::BelowActionLevel, Some(date("2026-04-13")))
        );
        assert_eq!(standing.clause.as_deref(), Some("29 CFR 1910.1026(d)(2)(v)"));
        samples[2].sample.fact.calibrated_on = None;
        let kept = conclude(&group(None), &samples, Asked::default());
        assert_eq!(kept.eras[0].standing[0].value, StandingValue::AtOrAboveActionLevel);
        assert!(kept.eras[0].flags.contains(&Flag::CalibratorOverdue));
    }

    // 29 CFR 1910.1025(b), (c), (d)(6): 30 and 50 ug/m3, two results below the limit, seven days apart. That a result which
    // cannot tell lowers nothing is this registry's own rule.
    #[test]
    fn a_reporting_limit_above_the_action_level_lowers_nothing_from_above_the_limit_either() {
        let events = [6, 7, 8].map(|number| event(number, &json!({})));
        let lead = |number, round, on, result: &Value| {
            let mut sample = shift(number, round, &json!({"shift_date": on}), result);
            sample.results[0].fact.agent_code = crate::model::text::Code::new("lead").unwrap();
            sample
        };
        let after = |result: Value| {
            let samples = [
                lead(50, &events[0], "2026-03-02", &json!({"value": 60.0})),
                lead(51, &events[1], "2026-04-06", &result),
                lead(52, &events[2], "2026-04-13", &result),
            ];
            let calendar = WorkingDays::default();
            let rules = StandingRules { pack: Pack::built_in(), of_others: &[], working_days: &calendar };
            let found = conclude_group(&group(None), &samples, &agent("lead"), rules, Asked::default());
            found.eras[0].standing[0].value
        };
        assert_eq!(after(json!({"value": 39.0})), StandingValue::AtOrAboveActionLevel);
        assert_eq!(after(json!({"comparator": "<", "value": 40.0})), StandingValue::AboveLimit);
        assert_eq!(after(json!({"comparator": "<", "value": 29.0})), StandingValue::BelowActionLevel);
    }

    #[test]
    fn a_stricter_company_limit_has_a_standing_of_its_own() {
        let mut evidence = agent("chromium_vi");
        let company = json!({"authority": "Company", "kind": "action_level", "value": {"value": 0.5, "unit": "ug/m3"},
            "source": "Company standard 12"});
        evidence.limits.push(crate::conclusions::invented::limit_of_all(2000, &company));
        let calendar = WorkingDays::default();
        let rules = StandingRules { pack: Pack::built_in(), of_others: &[], working_days: &calendar };
        let samples = [on(50, &event(6, &json!({})), "2026-03-02", 1.0)];
        let found = conclude_group(&group(None), &samples, &evidence, rules, Asked::default());
        let seen: Vec<_> =
            found.eras[0].standing.iter().map(|one| (one.authority.as_str(), one.value)).collect();
        assert_eq!(
            seen,
            [("OSHA", StandingValue::BelowActionLevel), ("Company", StandingValue::AtOrAboveActionLevel)]
        );
        assert_eq!(found.shifts[0].comparisons.len(), 3);
    }

    #[test]
    fn the_same_facts_in_another_order_give_the_same_conclusion() {
        let round = event(6, &json!({}));
        let mut samples = vec![
            on(50, &round, "2026-03-02", 1.1),
            on(51, &round, "2026-03-03", 2.3),
            on(52, &round, "2026-03-04", 0.7),
        ];
        let one = conclude(&group(None), &samples, Asked::default());
        samples.reverse();
        assert_eq!(conclude(&group(None), &samples, Asked::default()), one);
    }
}
