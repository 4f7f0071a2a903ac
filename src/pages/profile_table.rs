//! A group's profile as a table: a measure a row, an era a column, each estimate with what it is uncertain by.

use crate::conclusions::profile_view::ProfileView;
use crate::hygiene::profile::ProfileMethod;
use crate::model::printed::share::share;
use crate::model::unit::Unit;
use crate::pages::charts::era_results::{EraShift, unit_of};
use crate::pages::charts::figure::{Column, Row, Table};
use crate::pages::charts::levels::of_profile;
use crate::pages::charts::names::Names;
use crate::pages::charts::said;
use crate::pages::texts::Texts;
use crate::pages::told;

/// From so many results the 95th percentile is given as an estimate; below as its upper limit.
const ENOUGH_FOR_PERCENTILE: i64 = 6;

/// An era with the shifts that stand in its profile.
pub type EraOf<'v> = (&'v ProfileView, Vec<EraShift<'v>>);

/// A measure of an era, said; nothing where it cannot be given.
type Measure = fn(&Told<'_>) -> Option<String>;

/// An era as it is told.
struct Told<'v> {
    era: &'v ProfileView,
    texts: &'v Texts,
    levels: Vec<f64>,
    unit: Option<Unit>,
}

impl Told<'_> {
    fn number(&self, value: f64, unit: Unit) -> String {
        said::number(value, unit, &self.levels)
    }

    fn with_unit(&self, value: f64, unit: Unit) -> String {
        format!("{} {}", self.number(value, unit), unit.symbol())
    }

    fn between(&self, lower: Option<f64>, upper: Option<f64>, unit: Unit) -> String {
        match (lower, upper) {
            (Some(lower), Some(upper)) => {
                format!(" ({} to {})", self.number(lower, unit), self.number(upper, unit))
            }
            (None, Some(upper)) => format!(" (at most {})", self.number(upper, unit)),
            (Some(lower), None) => format!(" (at least {})", self.number(lower, unit)),
            (None, None) => format!(" ({})", self.texts.t("profile-no-interval")),
        }
    }
}

/// What an era is called at the head of its column.
pub fn era_head(era: &ProfileView, texts: &Texts) -> String {
    let period = said::period(era.0.from, era.0.to);
    let period = told::heading(&period);
    match era.0.criterion {
        Some(criterion) => format!("{period}, {}", texts.word("criterion", criterion.as_str())),
        None => period,
    }
}

/// The table of all eras, the newest first; rows that no era has a figure for are left out.
pub fn profile_table(texts: &Texts, names: &Names, eras: &[EraOf<'_>]) -> Table {
    let told: Vec<Told<'_>> = eras
        .iter()
        .map(|(era, shifts)| Told {
            era,
            texts,
            levels: of_profile(era, shifts).iter().map(|level| level.value).collect(),
            unit: unit_of(era),
        })
        .collect();
    let mut rows = vec![controls(texts, names, eras)];
    rows.push(Row::of(std::iter::once(texts.t("profile-results")).chain(told.iter().map(results))));
    let workers = told.iter().map(workers_and_dates);
    rows.push(Row::of(std::iter::once(texts.t("profile-workers-dates")).chain(workers)));
    for (key, measure) in MEASURES {
        let said: Vec<Option<String>> = told.iter().map(measure).collect();
        if said.iter().any(Option::is_some) {
            let cells = said.into_iter().zip(&told).map(|(cell, of)| {
                // Of an era that was never measured nothing is known; else the remarks say why a figure is missing.
                let missing = if of.era.1.0.n == 0 { "profile-not-known" } else { "profile-not-given" };
                cell.unwrap_or_else(|| texts.t(missing))
            });
            rows.push(Row::of(std::iter::once(texts.t(key)).chain(cells)));
        }
    }
    let heads = eras.iter().map(|(era, _)| Column::number(era_head(era, texts)));
    Table {
        caption: texts.t("profile-caption"),
        columns: std::iter::once(Column::text(texts.t("profile-measure"))).chain(heads).collect(),
        rows,
    }
}

/// What ran in each era.
fn controls(texts: &Texts, names: &Names, eras: &[EraOf<'_>]) -> Row {
    let of = |era: &ProfileView| {
        let titles: Vec<&str> = era.0.control_ids.iter().map(|id| names.control(*id)).collect();
        if titles.is_empty() { texts.t("profile-no-control") } else { titles.join(", ") }
    };
    Row::of(std::iter::once(texts.t("profile-controls")).chain(eras.iter().map(|(era, _)| of(era))))
}

/// The measures in the order of the table, by the keys of their texts.
const MEASURES: &[(&str, Measure)] = &[
    ("profile-largest", largest),
    ("profile-geometric-mean", geometric_mean),
    ("profile-gsd", gsd),
    ("profile-mean-level", mean_level),
    ("profile-level-deviation", level_deviation),
    ("profile-arithmetic-mean", arithmetic_mean),
    ("profile-percentile", percentile),
    ("profile-percentile-70", percentile_70),
    ("profile-percentile-95", percentile_95),
    ("profile-exceedance", exceedance),
    ("profile-at-action-level", at_action_level),
    ("profile-posterior-percentile", posterior_percentile),
    ("profile-posterior-mean", posterior_mean),
    ("profile-fit", fit),
    ("profile-en-689", en_689),
    ("profile-between", between),
    ("profile-method", method),
    ("profile-limit", limit),
];

fn results(told: &Told<'_>) -> String {
    let figures = &told.era.1.0;
    if figures.n_below > 0 {
        told.texts.with(
            "profile-n-below",
            &[("what", &told::count(figures.n)), ("who", &told::count(figures.n_below))],
        )
    } else {
        told::count(figures.n)
    }
}

fn workers_and_dates(told: &Told<'_>) -> String {
    let era = &told.era.0;
    format!("{}, {}", told::count(era.worker_count), told::count(era.date_count))
}

fn largest(told: &Told<'_>) -> Option<String> {
    let largest = told.era.1.0.largest_result.as_ref()?;
    Some(said::measured(largest.measured, largest.unit, &told.levels))
}

fn geometric_mean(told: &Told<'_>) -> Option<String> {
    let mean = told.era.1.0.geometric_mean.as_ref()?;
    Some(said::measured(mean.measured, mean.unit, &told.levels))
}

fn gsd(told: &Told<'_>) -> Option<String> {
    told.era.1.0.geometric_standard_deviation.map(said::bare)
}

fn mean_level(told: &Told<'_>) -> Option<String> {
    let mean = told.era.1.1.mean_level.as_ref()?;
    Some(told.with_unit(mean.estimate, mean.unit) + &told.between(mean.lower_95, mean.upper_95, mean.unit))
}

fn level_deviation(told: &Told<'_>) -> Option<String> {
    told.era.1.1.standard_deviation_level.map(|deviation| format!("{} dB", said::bare(deviation)))
}

fn arithmetic_mean(told: &Told<'_>) -> Option<String> {
    let mean = told.era.1.0.arithmetic_mean.as_ref()?;
    Some(told.with_unit(mean.estimate, mean.unit) + &told.between(mean.lower_95, mean.upper_95, mean.unit))
}

fn percentile(told: &Told<'_>) -> Option<String> {
    let figures = &told.era.1.0;
    let percentile = figures.percentile_95.as_ref()?;
    // Of few results only the upper limit is told: the estimate would promise more than they hold.
    (figures.n >= ENOUGH_FOR_PERCENTILE).then(|| told.with_unit(percentile.estimate, percentile.unit))
}

fn percentile_70(told: &Told<'_>) -> Option<String> {
    let percentile = told.era.1.0.percentile_95.as_ref()?;
    Some(told.with_unit(percentile.upper_70?, percentile.unit))
}

fn percentile_95(told: &Told<'_>) -> Option<String> {
    let percentile = told.era.1.0.percentile_95.as_ref()?;
    Some(told.with_unit(percentile.upper_95?, percentile.unit))
}

fn exceedance(told: &Told<'_>) -> Option<String> {
    let fraction = told.era.1.0.exceedance_fraction.as_ref()?;
    let upper = fraction.upper_95.map_or_else(
        || told.texts.t("profile-no-interval"),
        |upper| told.texts.with("profile-up-to", &[("what", &share(upper, &[]))]),
    );
    Some(format!("{} ({upper})", share(fraction.estimate, &[])))
}

fn at_action_level(told: &Told<'_>) -> Option<String> {
    let chance = told.era.1.1.chance_at_or_above_action_level.as_ref()?;
    let ends = format!("{} to {}", share(chance.lower_95, &[]), share(chance.upper_95, &[]));
    Some(format!("{} ({ends})", share(chance.estimate, &[])))
}

fn posterior_percentile(told: &Told<'_>) -> Option<String> {
    let percentile = &told.era.1.0.posterior.as_ref()?.percentile_95;
    let upper = told.number(percentile.upper_95, percentile.unit);
    let upper = told.texts.with("profile-up-to", &[("what", &upper)]);
    Some(format!("{} ({upper})", told.with_unit(percentile.median, percentile.unit)))
}

fn posterior_mean(told: &Told<'_>) -> Option<String> {
    let mean = &told.era.1.0.posterior.as_ref()?.arithmetic_mean;
    let between = told.between(Some(mean.lower_95), Some(mean.upper_95), mean.unit);
    Some(told.with_unit(mean.mean?, mean.unit) + &between)
}

fn fit(told: &Told<'_>) -> Option<String> {
    let p = match (&told.era.1.0.lognormal_fit, &told.era.1.1.normal_fit) {
        (Some(fit), _) => (fit.w, fit.p_value),
        (None, Some(fit)) => (fit.w, fit.p_value),
        (None, None) => return None,
    };
    Some(format!("W {}, p {}", said::bare(p.0), said::bare(p.1)))
}

fn en_689(told: &Told<'_>) -> Option<String> {
    let test = told.era.1.0.en_689.as_ref()?;
    let outcome = told.texts.word("en-689", test.outcome.as_str());
    Some(format!("{outcome} ({})", told.texts.word("en-689-stage", test.stage.as_str())))
}

fn between(told: &Told<'_>) -> Option<String> {
    let workers = told.era.1.0.workers.as_ref()?;
    let fold = workers.fold_range.map(said::bare);
    fold.map(|fold| told.texts.with("profile-fold", &[("what", &fold)]))
}

fn method(told: &Told<'_>) -> Option<String> {
    let figures = &told.era.1.0;
    (figures.n > 0 || figures.method != ProfileMethod::None)
        .then(|| told.texts.word("profile-by", figures.method.as_str()))
}

fn limit(told: &Told<'_>) -> Option<String> {
    let limit = told.era.0.limit.as_ref()?;
    let unit = told.unit.unwrap_or(limit.unit);
    Some(format!("{} {}, {}", said::tick(limit.value), unit.symbol(), limit.authority))
}
