//! A group's profile as people and programs see it, with its working.

use crate::conclusions::asked::Asked;
use crate::conclusions::flag::Flag;
use crate::conclusions::group_standing::StandingView;
use crate::conclusions::left_out::LeftOut;
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::conclusions::noise_criterion::level_of_criterion;
use crate::conclusions::noise_working::level_profile_steps;
use crate::conclusions::profile::{EraProfile, GroupConclusion};
use crate::hygiene::censored::{CENSORED_ESTIMATES, CENSORED_LIKELIHOOD};
use crate::hygiene::en_689::{Outcome, PRELIMINARY, STATISTICAL, Stage};
use crate::hygiene::land::LAND_LIMIT;
use crate::hygiene::lognormal::{
    ARITHMETIC_MEAN, EXCEEDANCE, EXCEEDANCE_LIMIT, GEOMETRIC_MEAN, GEOMETRIC_STANDARD_DEVIATION,
    PERCENTILE_95, PERCENTILE_LIMIT,
};
use crate::hygiene::profile::{GroupProfile, ProfileMethod};
use crate::hygiene::substitution::Substituted;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::ControlId;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Shape;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::record;
use chrono::NaiveDate;
use serde_json::{Value, json};

record! {
    /// A mean with one-sided 95 % limits.
    pub struct MeanView {
        /// The estimate.
        estimate: f64,
        /// Its lower limit.
        lower_95: Option<f64>,
        /// Its upper limit.
        upper_95: Option<f64>,
        /// The unit of all three.
        unit: Unit,
    }
}

record! {
    /// A percentile with one-sided upper limits.
    pub struct PercentileView {
        /// The estimate.
        estimate: f64,
        /// Its upper limit at 70 % confidence.
        upper_70: Option<f64>,
        /// Its upper limit at 95 % confidence.
        upper_95: Option<f64>,
        /// The unit of all three.
        unit: Unit,
    }
}

record! {
    /// The share of days above the limit, with one-sided limits.
    pub struct ExceedanceView {
        /// The estimate, from 0 to 1.
        estimate: f64,
        /// Its lower limit at 95 % confidence.
        lower_95: Option<f64>,
        /// Its upper limit at 70 % confidence.
        upper_70: Option<f64>,
        /// Its upper limit at 95 % confidence.
        upper_95: Option<f64>,
    }
}

record! {
    /// Whether the logarithms look normal.
    pub struct LognormalFitView {
        /// Shapiro and Wilk's W.
        w: f64,
        /// Its probability.
        p_value: f64,
    }
}

record! {
    /// Whether levels look normal.
    pub struct NormalFitView {
        /// Shapiro and Wilk's W.
        w: f64,
        /// Its probability.
        p_value: f64,
    }
}

record! {
    /// The test of EN 689.
    pub struct En689View {
        /// By how many results it is made.
        stage: Stage,
        /// What it says.
        outcome: Outcome,
    }
}

record! {
    /// What follows when non-detects are replaced by a number.
    pub struct SubstitutedView {
        /// Geometric mean.
        geometric_mean: Quantity,
        /// Geometric standard deviation.
        geometric_standard_deviation: Option<f64>,
        /// Plain mean.
        arithmetic_mean: Quantity,
    }
}

record! {
    /// Both customary substitutions.
    pub struct SubstitutionView {
        /// Half the limit.
        half: SubstitutedView,
        /// The limit over the root of 2.
        root_two: SubstitutedView,
    }
}

record! {
    /// Estimates by robust regression on order statistics.
    pub struct OrderStatisticsView {
        /// Geometric mean.
        geometric_mean: Quantity,
        /// Geometric standard deviation.
        geometric_standard_deviation: f64,
    }
}

record! {
    /// The estimate of Kaplan and Meier.
    pub struct KaplanMeierView {
        /// The mean.
        mean: Quantity,
    }
}

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
    /// A group's exposure to one agent in one era.
    pub struct ProfileView {
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
        /// 8-hour averages.
        n: i64,
        /// How many of them are below their limit.
        n_below: i64,
        /// The largest, with its comparator.
        largest_result: Option<Quantity>,
        /// How the distribution was estimated.
        method: ProfileMethod,
        /// Geometric mean.
        geometric_mean: Option<Quantity>,
        /// Geometric standard deviation.
        geometric_standard_deviation: Option<f64>,
        /// Arithmetic mean.
        arithmetic_mean: Option<MeanView>,
        /// Mean level of noise; levels are taken as normal in dB.
        mean_level: Option<MeanView>,
        /// Standard deviation of levels of noise, in dB.
        standard_deviation_level: Option<f64>,
        /// 95th percentile.
        percentile_95: Option<PercentileView>,
        /// Share of days above the limit.
        exceedance_fraction: Option<ExceedanceView>,
        /// Estimated share of days at or above the action level, beside the standing.
        action_level_exceedance: Option<f64>,
        /// Whether the logarithms look normal.
        lognormal_fit: Option<LognormalFitView>,
        /// Whether levels of noise look normal.
        normal_fit: Option<NormalFitView>,
        /// The test of EN 689.
        en_689: Option<En689View>,
        /// Non-detects replaced by a number.
        substitution: Option<SubstitutionView>,
        /// Robust regression on order statistics.
        order_statistics: Option<OrderStatisticsView>,
        /// Kaplan and Meier.
        kaplan_meier: Option<KaplanMeierView>,
        /// What is to be known of it.
        flags: Vec<String>,
        /// How the figures came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// The eras of a group for people and programs, newest first.
pub fn profile_views(conclusion: &GroupConclusion, asked: Asked) -> Vec<ProfileView> {
    conclusion.eras.iter().rev().map(|era| profile_view(&conclusion.agent_code, era, asked)).collect()
}

fn profile_view(agent_code: &Code, era: &EraProfile, asked: Asked) -> ProfileView {
    let profile = &era.profile;
    let unit = era.unit;
    let quantity = |value: f64| Quantity::computed(Measured::Value(value), unit);
    let substituted = |one: &Substituted| SubstitutedView {
        geometric_mean: quantity(one.geometric_mean),
        geometric_standard_deviation: one.geometric_standard_deviation,
        arithmetic_mean: quantity(one.arithmetic_mean),
    };
    let mut flags: Vec<String> = era.flags.iter().map(|flag| flag.as_str().to_owned()).collect();
    // "Too few to describe this group" comes before everything else.
    flags.sort_by_key(|flag| flag != Flag::FewDates.as_str());
    for flag in &profile.flags {
        if !flags.iter().any(|known| known == flag) {
            flags.push((*flag).to_owned());
        }
    }
    ProfileView {
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
        n: count(profile.n),
        n_below: count(profile.n_below),
        largest_result: profile.largest_result.map(|largest| Quantity::computed(largest, unit)),
        method: profile.method,
        geometric_mean: profile.geometric_mean.map(quantity),
        geometric_standard_deviation: profile.geometric_standard_deviation,
        arithmetic_mean: profile.arithmetic_mean.map(|mean| MeanView {
            estimate: mean.estimate,
            lower_95: mean.lower_95,
            upper_95: mean.upper_95,
            unit,
        }),
        mean_level: era.levels.as_ref().and_then(|levels| levels.mean_level).map(|mean| MeanView {
            estimate: mean.estimate,
            lower_95: mean.lower_95,
            upper_95: mean.upper_95,
            unit,
        }),
        standard_deviation_level: era.levels.as_ref().and_then(|levels| levels.standard_deviation),
        percentile_95: profile.percentile_95.map(|percentile| PercentileView {
            estimate: percentile.estimate,
            upper_70: percentile.upper_70,
            upper_95: percentile.upper_95,
            unit,
        }),
        exceedance_fraction: profile.exceedance_fraction.map(|share| ExceedanceView {
            estimate: share.estimate,
            lower_95: share.lower_95,
            upper_70: share.upper_70,
            upper_95: share.upper_95,
        }),
        action_level_exceedance: era.action_level_exceedance,
        lognormal_fit: profile.lognormal_fit.map(|fit| LognormalFitView { w: fit.w, p_value: fit.p_value }),
        normal_fit: era
            .levels
            .as_ref()
            .and_then(|levels| levels.normal_fit)
            .map(|fit| NormalFitView { w: fit.w, p_value: fit.p_value }),
        en_689: profile.en_689.map(|test| En689View { stage: test.stage, outcome: test.outcome }),
        substitution: profile.substitution.as_ref().map(|both| SubstitutionView {
            half: substituted(&both.half),
            root_two: substituted(&both.root_two),
        }),
        order_statistics: profile.order_statistics.map(|figures| OrderStatisticsView {
            geometric_mean: quantity(figures.geometric_mean),
            geometric_standard_deviation: figures.geometric_standard_deviation,
        }),
        kaplan_meier: profile.kaplan_meier.map(|mean| KaplanMeierView { mean: quantity(mean) }),
        flags,
        working: asked.working.then(|| {
            era.levels.as_ref().map_or_else(|| working(era), |levels| level_profile_steps(era, levels))
        }),
    }
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

/// The steps from the averages to the figures.
fn working(era: &EraProfile) -> Vec<Step> {
    let GroupProfile { method, geometric_mean, geometric_standard_deviation, .. } = era.profile;
    let unit = era.unit;
    let quantity = |value: f64| Quantity::computed(Measured::Value(value), unit).to_json();
    let results: Vec<Value> =
        era.results.iter().map(|result| Quantity::computed(*result, unit).to_json()).collect();
    let (Some(mean), Some(deviation)) = (geometric_mean, geometric_standard_deviation) else {
        return Vec::new();
    };
    let inputs = json!({"results": results});
    let figures = json!({"n": era.profile.n, "geometric_mean": quantity(mean),
        "geometric_standard_deviation": deviation});
    let mut steps = Vec::new();
    if method == ProfileMethod::Exact {
        steps.push(Step::new("geometric mean", GEOMETRIC_MEAN, inputs.clone(), quantity(mean)));
        let spread = json!(deviation);
        steps.push(Step::new("geometric standard deviation", GEOMETRIC_STANDARD_DEVIATION, inputs, spread));
    } else {
        let fitted = json!({"geometric_mean": quantity(mean), "geometric_standard_deviation": deviation});
        steps.push(Step::new("maximum likelihood", CENSORED_LIKELIHOOD, inputs, fitted));
    }
    let exact = method == ProfileMethod::Exact;
    if let Some(arithmetic) = era.profile.arithmetic_mean {
        let formula = if exact { ARITHMETIC_MEAN } else { CENSORED_ESTIMATES };
        steps.push(Step::new("arithmetic mean", formula, figures.clone(), quantity(arithmetic.estimate)));
        if arithmetic.lower_95.is_some() || arithmetic.upper_95.is_some() {
            let limits = json!({"lower_95": arithmetic.lower_95.map(quantity),
                "upper_95": arithmetic.upper_95.map(quantity)});
            steps.push(Step::new("limits of the arithmetic mean", LAND_LIMIT, figures.clone(), limits));
        }
    }
    if let Some(percentile) = era.profile.percentile_95 {
        let formula = if exact { PERCENTILE_95 } else { CENSORED_ESTIMATES };
        steps.push(Step::new("95th percentile", formula, figures.clone(), quantity(percentile.estimate)));
        if percentile.upper_70.is_some() || percentile.upper_95.is_some() {
            let limits = json!({"upper_70": percentile.upper_70.map(quantity),
                "upper_95": percentile.upper_95.map(quantity)});
            steps.push(Step::new("limits of the 95th percentile", PERCENTILE_LIMIT, figures.clone(), limits));
        }
    }
    if let (Some(share), Some(limit)) = (era.profile.exceedance_fraction, era.limit) {
        let mut inputs = figures;
        inputs["limit"] = quantity(limit);
        steps.push(Step::new("exceedance fraction", EXCEEDANCE, inputs.clone(), json!(share.estimate)));
        if share.upper_95.is_some() {
            let limits = json!({"lower_95": share.lower_95, "upper_70": share.upper_70,
                "upper_95": share.upper_95});
            steps.push(Step::new("limits of the exceedance fraction", EXCEEDANCE_LIMIT, inputs, limits));
        }
    }
    if let (Some(test), Some(limit)) = (era.profile.en_689, era.limit) {
        let formula = if test.stage == Stage::Preliminary { PRELIMINARY } else { STATISTICAL };
        let inputs = json!({"n": era.profile.n, "limit": quantity(limit),
            "upper_70": era.profile.percentile_95.and_then(|percentile| percentile.upper_70).map(quantity)});
        steps.push(Step::new("EN 689", formula, inputs, json!(test.outcome.as_str())));
    }
    steps
}
