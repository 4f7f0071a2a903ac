//! A worker's history in figures and tables: what stands at the head, assignments, clauses, earlier exposures.

use crate::conclusions::history::view::HistoryView;
use crate::model::facts::worker::{Assignment, EarlierExposure};
use crate::model::printed::share::share;
use crate::model::printed::{Printing, Resolution};
use crate::model::version::Version;
use crate::pages::charts::figure::{Column, Row, Table};
use crate::pages::charts::life_line::{dose, dose_unit};
use crate::pages::charts::said;
use crate::pages::names::Names;
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::registry::conclude::surveillance::SurveillanceClause;

/// A figure at the head of the page.
pub struct HeadFigure {
    /// What it is.
    pub name: String,
    /// The number.
    pub number: String,
    /// What it is uncertain by, and what must stand beside it.
    pub notes: Vec<String>,
}

/// The figures at the head.
pub fn head(texts: &Texts, history: &HistoryView) -> Vec<HeadFigure> {
    let mut found = Vec::new();
    if let Some(cumulative) = &history.cumulative {
        let mut notes = vec![texts.with("worker-band", &[("what", &dose_unit(&cumulative.unit))])];
        if let Some(assumed) = &history.cumulative_with_respirator {
            let of = said::bare(assumed.value);
            notes.push(texts.with("worker-respirator", &[("what", &of), ("who", &assumed.assumption)]));
        }
        found.push(HeadFigure { name: texts.t("worker-cumulative"), number: dose(cumulative), notes });
        if cumulative.years_missing > 0.0 {
            found.push(HeadFigure {
                name: texts.t("worker-not-assessed"),
                number: texts.with("worker-years", &[("what", &said::bare(cumulative.years_missing))]),
                notes: vec![texts.t("worker-not-assessed-note")],
            });
        }
    }
    if let Some(mean) = &history.equal_energy_mean {
        let of = |value: f64| said::number(value, mean.unit, &[]);
        let band = mean.lower.zip(mean.upper);
        let band = band
            .map(|(lower, upper)| texts.with("worker-between", &[("what", &of(lower)), ("who", &of(upper))]));
        found.push(HeadFigure {
            name: texts.t("worker-equal-energy"),
            number: format!("{} {}", of(mean.estimate), mean.unit.symbol()),
            notes: band.into_iter().collect(),
        });
    }
    if let Some(intensity) = &history.average_intensity {
        found.push(HeadFigure {
            name: texts.t("worker-intensity"),
            number: Printing::of(Resolution::of(intensity.unit, 2)).quantity(intensity),
            notes: vec![texts.with("worker-years-exposed", &[("what", &said::bare(history.years_exposed))])],
        });
    }
    if let Some(measured) = history.measured_share {
        found.push(HeadFigure {
            name: texts.t("worker-measured"),
            number: share(measured, &[]),
            notes: vec![texts.t("worker-measured-note")],
        });
    }
    if let Some(days) = &history.days_at_or_above_action_level {
        let worst = &days.by_standing.worst_12_months;
        let mut notes = vec![texts.t("worker-days-note")];
        if worst.from.is_some() {
            notes.push(said::period(worst.from, worst.to));
        }
        notes.push(texts.with("worker-days-measured", &[("what", &told::count(days.measured))]));
        found.push(HeadFigure { name: texts.t("worker-days"), number: told::count(worst.count), notes });
    }
    found
}

/// The conclusion in words.
pub fn lead(texts: &Texts, agent: &str, history: &HistoryView) -> String {
    let mut told = Vec::new();
    match &history.cumulative {
        Some(cumulative) if cumulative.value.is_some() => {
            let what = format!("{} {}", dose(cumulative), dose_unit(&cumulative.unit));
            let years = said::bare(history.years_exposed);
            told.push(texts.with("worker-lead", &[("what", &what), ("who", agent), ("by", &years)]));
            if cumulative.years_missing > 0.0 {
                let missing = said::bare(cumulative.years_missing);
                told.push(texts.with("worker-lead-missing", &[("what", &missing)]));
            }
        }
        _ if history.intervals.iter().any(|one| one.mean.is_some()) => {
            let years = said::bare(history.years_exposed);
            told.push(texts.with("worker-lead-levels", &[("who", agent), ("by", &years)]));
        }
        _ => told.push(texts.with("worker-lead-nothing", &[("who", agent)])),
    }
    told.join(" ")
}

/// Where the worker was assigned.
pub fn assignments(
    texts: &Texts,
    names: &Names,
    respirators: impl Fn(&Assignment) -> Option<String>,
    all: &[Version<Assignment>],
) -> Option<Table> {
    let rows: Vec<Row> = all
        .iter()
        .map(|one| {
            let fact = &one.fact;
            let site = one.site.and_then(|site| names.site(site)).unwrap_or_default();
            let group = names.group(fact.group_id.0).unwrap_or_default();
            let hours = texts.with(
                "worker-hours",
                &[("what", &said::tick(fact.shifts_per_week)), ("who", &said::tick(fact.hours_per_shift))],
            );
            let worn = respirators(fact).map(|title| match fact.respirator_worn_share {
                Some(worn) => texts.with("worker-worn", &[("what", &title), ("who", &share(worn, &[]))]),
                None => title,
            });
            Row::of([
                format!("{group}, {site}"),
                told::heading(&said::period(Some(fact.from), fact.to)),
                hours,
                fact.job_title.as_ref().map(ToString::to_string).unwrap_or_default(),
                worn.unwrap_or_default(),
            ])
        })
        .collect();
    let heads =
        ["worker-assignment", "worker-from-to", "worker-schedule", "worker-job", "worker-respirator-head"];
    (!rows.is_empty()).then(|| Table {
        caption: texts.t("worker-assignments-caption"),
        columns: heads.map(|key| Column::text(texts.t(key))).to_vec(),
        rows,
    })
}

/// Exposures at earlier employers, as they were told.
pub fn earlier(texts: &Texts, all: &[Version<EarlierExposure>]) -> Option<Table> {
    let rows: Vec<Row> = all
        .iter()
        .map(|one| {
            let fact = &one.fact;
            let mean = fact.mean.as_ref();
            Row::of([
                fact.employer.to_string(),
                told::heading(&said::period(Some(fact.from), Some(fact.to))),
                fact.days_per_year.map(said::tick).unwrap_or_default(),
                mean.map_or_else(
                    || texts.t("worker-earlier-unknown"),
                    |mean| Printing::of(Resolution::of(mean.unit, 2)).quantity(mean),
                ),
                fact.source.to_string(),
            ])
        })
        .collect();
    (!rows.is_empty()).then(|| Table {
        caption: texts.t("worker-earlier-caption"),
        columns: vec![
            Column::text(texts.t("worker-earlier-employer")),
            Column::text(texts.t("worker-from-to")),
            Column::number(texts.t("worker-earlier-days")),
            Column::number(texts.t("worker-earlier-mean")),
            Column::text(texts.t("worker-earlier-source")),
        ],
        rows,
    })
}

/// Every clause that looks at this agent, met or not, with what it counted.
pub fn clauses(texts: &Texts, all: &[SurveillanceClause]) -> Option<Table> {
    let rows: Vec<Row> = all
        .iter()
        .map(|clause| {
            let mut written = vec![clause.clause.clone()];
            written.extend(clause.authority.as_ref().map(ToString::to_string));
            written.extend(
                clause.edition.as_ref().map(|edition| texts.with("duty-edition", &[("what", edition)])),
            );
            written.push(clause.verification.in_words().to_owned());
            let days = match (clause.days_counted, clause.days_needed) {
                (Some(counted), Some(needed)) => texts.with(
                    "worker-clause-of",
                    &[("what", &told::count(counted)), ("who", &told::count(needed))],
                ),
                (Some(counted), None) => told::count(counted),
                (None, _) => texts.t("worker-clause-not-told"),
            };
            let mut behind = Vec::new();
            for (key, count) in [
                ("worker-clause-measured", clause.measured_days),
                ("worker-clause-represented", clause.represented_days),
                ("worker-clause-planned", clause.planned_days),
            ] {
                if let Some(count) = count.filter(|count| *count > 0) {
                    behind.push(texts.with(key, &[("what", &told::count(count))]));
                }
            }
            let chance = clause.chance.map(|chance| share(chance, &[])).unwrap_or_default();
            Row::of([written.join("; "), clause.words.clone(), days, behind.join("; "), chance])
        })
        .collect();
    (!rows.is_empty()).then(|| Table {
        caption: texts.t("worker-clauses-caption"),
        columns: vec![
            Column::text(texts.t("worker-clause")),
            Column::text(texts.t("worker-clause-answer")),
            Column::number(texts.t("worker-clause-days")),
            Column::text(texts.t("worker-clause-behind")),
            Column::number(texts.t("worker-clause-chance")),
        ],
        rows,
    })
}
