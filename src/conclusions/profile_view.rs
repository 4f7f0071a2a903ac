//! A group's profile as people and programs see it, with its working.

use crate::conclusions::asked::Asked;
use crate::conclusions::day_chance::DayChanceView;
use crate::conclusions::flag::Flag;
use crate::conclusions::further_results_view::FurtherResultsView;
use crate::conclusions::group_standing::StandingView;
use crate::conclusions::left_out::LeftOut;
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::conclusions::noise_criterion::level_of_criterion;
use crate::conclusions::noise_working::level_profile_steps;
use crate::conclusions::profile::{EraProfile, GroupConclusion};
use crate::conclusions::profile_figures::{MeanView, NormalFitView, ProfileFigures};
use crate::conclusions::profile_working::profile_steps;
use crate::conclusions::workers_apart::{WorkersApart, WorkersApartView};
use crate::hygiene::posterior::PREDICTIVE;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::ControlId;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::{Joined, Shape};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::record;
use chrono::NaiveDate;
use serde_json::json;

record! {
    /// A level with the one who set it.
    pub struct ProfileLimitView {
        /// Who set it.
        authority: Code,
        /// The level.
        value: f64,
        /// Its unit.
        unit: Unit,
        /// What kind of level it is, for noise, whose criteria meet different ones.
        kind: Option<LimitKind>,
    }
}

record! {
    /// A group's exposure to one agent in one era: of what its figures are made.
    pub struct EraView {
        /// The agent.
        agent_code: Code,
        /// By which criterion, for noise: an era has one item for each that was read, the one of the limit first.
        criterion: Option<NoiseCriterion>,
        /// The first day; the first era has none.
        from: Option<NaiveDate>,
        /// The first day no longer; the last era has none.
        to: Option<NaiveDate>,
        /// Controls in place.
        control_ids: Vec<ControlId>,
        /// How the group stood at the end of the era, by authority.
        standing: Vec<StandingView>,
        /// Mean shift minutes of the averages.
        shift_minutes: Option<f64>,
        /// Results (sample and agent, blanks apart) that nobody has accepted yet.
        not_accepted: i64,
        /// Shifts in the profile on which an installed control was off.
        control_off: Option<i64>,
        /// Workers.
        worker_count: i64,
        /// Dates.
        date_count: i64,
        /// The first date.
        first: Option<NaiveDate>,
        /// The last date.
        last: Option<NaiveDate>,
        /// Samples left out, and why.
        left_out: Vec<LeftOut>,
        /// Samples shown beside, and why.
        beside: Vec<LeftOut>,
        /// The 8-hour limit that the figures are read against: the law's on the last shift date; of noise the level that the
        /// criterion meets.
        limit: Option<ProfileLimitView>,
    }
}

record! {
    /// What stands beside the figures of an era.
    pub struct EraBeside {
        /// Mean level of noise; levels are taken as normal in dB.
        mean_level: Option<MeanView>,
        /// Standard deviation of levels of noise, in dB.
        standard_deviation_level: Option<f64>,
        /// Whether levels of noise look normal.
        normal_fit: Option<NormalFitView>,
        /// Estimated share of days at or above the action level, beside the standing.
        action_level_exceedance: Option<f64>,
        /// The chance that a day is at or above the action level, beside the standing.
        chance_at_or_above_action_level: Option<DayChanceView>,
        /// Is it one group? Where three workers or more have two shifts or more each, whose own means are not the group's.
        workers_apart: Option<WorkersApartView>,
        /// How many further results would settle whether the 95th percentile lies below the limit.
        further_results: Option<FurtherResultsView>,
        /// What is to be known of it.
        flags: Vec<String>,
        /// How the figures came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// A group's exposure to one agent in one era.
pub type ProfileView = Joined<EraView, Joined<ProfileFigures, EraBeside>>;

/// The eras of a group for people and programs, newest first.
pub fn profile_views(conclusion: &GroupConclusion, asked: Asked) -> Vec<ProfileView> {
    conclusion.eras.iter().rev().map(|era| profile_view(&conclusion.agent_code, era, asked)).collect()
}

fn profile_view(agent_code: &Code, era: &EraProfile, asked: Asked) -> ProfileView {
    let unit = era.unit;
    let mut flags: Vec<String> = era.flags.iter().map(|flag| flag.as_str().to_owned()).collect();
    // "Too few to describe this group" comes before everything else.
    flags.sort_by_key(|flag| flag != Flag::FewDates.as_str());
    for flag in &era.profile.flags {
        if !flags.iter().any(|known| known == flag) {
            flags.push((*flag).to_owned());
        }
    }
    let head = EraView {
        agent_code: agent_code.clone(),
        criterion: era.criterion,
        from: era.era.from,
        to: era.era.to,
        control_ids: era.era.control_ids.clone(),
        standing: era.standing.clone(),
        shift_minutes: era.shift_minutes,
        not_accepted: count(era.not_accepted),
        control_off: (era.control_off > 0).then(|| count(era.control_off)),
        worker_count: count(era.worker_count),
        date_count: count(era.date_count),
        first: era.first,
        last: era.last,
        left_out: era.left_out.clone(),
        beside: era.beside.clone(),
        limit: era.limit.and_then(|value| {
            let kind = era.criterion.map(|criterion| level_of_criterion(criterion).1);
            let authority =
                era.criterion.map_or(STATUTORY_AUTHORITY, |criterion| level_of_criterion(criterion).0);
            Some(ProfileLimitView { authority: Code::new(authority)?, value, unit, kind })
        }),
    };
    let levels = era.levels.as_ref();
    let figures = ProfileFigures::of(&era.profile, unit);
    let mut beside = EraBeside {
        mean_level: levels.and_then(|levels| levels.mean_level).map(|mean| MeanView {
            estimate: mean.estimate,
            lower_95: mean.lower_95,
            upper_95: mean.upper_95,
            unit,
        }),
        standard_deviation_level: levels.and_then(|levels| levels.standard_deviation),
        normal_fit: levels
            .and_then(|levels| levels.normal_fit)
            .map(|fit| NormalFitView { w: fit.w, p_value: fit.p_value }),
        action_level_exceedance: era.action_level_exceedance,
        chance_at_or_above_action_level: era.day_chance.map(DayChanceView::from),
        workers_apart: era.workers_apart.as_ref().map(WorkersApart::view),
        further_results: None,
        flags,
        working: asked.working.then(|| {
            let mut steps = levels.map_or_else(|| working(era), |levels| level_profile_steps(era, levels));
            steps.extend(era.workers_apart.as_ref().map(WorkersApart::step));
            steps
        }),
    };
    beside.further_results = FurtherResultsView::of(&head, &figures, &beside);
    Joined(head, Joined(figures, beside))
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

/// The steps from the averages to the figures.
fn working(era: &EraProfile) -> Vec<Step> {
    let mut steps = profile_steps(&era.profile, &era.results, era.unit, era.limit);
    if let (Some(chance), Some(level)) = (era.day_chance, era.action_level) {
        let quantity = |value| Quantity::computed(value, era.unit).to_json();
        let results: Vec<_> = era.results.iter().map(|result| quantity(*result)).collect();
        let inputs = json!({"results": results, "level": quantity(Measured::Value(level))});
        let result = DayChanceView::from(chance).to_json();
        steps.push(Step::new("chance of a day at or above the action level", PREDICTIVE, inputs, result));
    }
    steps
}
