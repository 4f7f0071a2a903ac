//! The package of a worker's exposure records as a paper: self-contained HTML for A4 and Letter.

use crate::conclusions::record_package::{PackageResult, RecordPackage, RecordRoute};
use crate::export::examiner_packet::{joined, of_gap, of_limit};
use crate::export::paper::{STYLE, days, foot, words};
use crate::model::facts::laboratory::ResultStatus;
use crate::model::facts::worker::RequestedBy;
use crate::model::printed::{Printing, Resolution, exact, precision};
use crate::model::quantity::Quantity;
use crate::model::text::Line;
use crate::registry::anchor::ChainState;
use askama::Template;
use serde_json::Value;

/// A part of the records with its rows.
struct Part {
    title: &'static str,
    says: &'static str,
    empty: &'static str,
    rows: Vec<ResultRow>,
}

/// A row of results.
struct ResultRow {
    day: String,
    sample: String,
    place: String,
    worn_by: String,
    equipment: String,
    minutes: String,
    agent: String,
    value: String,
    measured_by: String,
    stands: String,
    void: bool,
}

/// A row of profiles.
struct ProfileRow {
    group: String,
    agent: String,
    days: String,
    shifts: String,
    mean: String,
    stands: String,
}

#[derive(Template)]
#[template(path = "record_package.html")]
struct Paper<'p> {
    style: &'static str,
    package: &'p RecordPackage,
    asked: String,
    work: Vec<String>,
    employments: Vec<String>,
    parts: Vec<Part>,
    profiles: Vec<ProfileRow>,
    verdicts: Vec<String>,
    limits: Vec<String>,
    accuracy: Vec<String>,
    gaps: Vec<String>,
    foot: String,
}

/// Writes the paper.
///
/// # Errors
/// Never for a package: the template writes into memory.
pub fn write(package: &RecordPackage, state: &ChainState) -> Result<String, askama::Error> {
    Paper {
        style: STYLE,
        package,
        asked: asked(package),
        work: package
            .work
            .iter()
            .map(|one| {
                let job = one.job_title.as_ref().map(Line::as_str);
                let place = joined([one.site_code.as_deref(), one.group_title.as_deref(), job]);
                format!("{}: {place}", days(one.from, one.to))
            })
            .collect(),
        employments: package
            .employments
            .iter()
            .map(|one| {
                format!("{}: {}, number {}", days(one.from, one.to), one.employer, one.employee_number)
            })
            .collect(),
        parts: parts(package),
        profiles: package.profiles.iter().map(|one| profile(&one.group_title, &one.profile)).collect(),
        verdicts: package
            .verdicts
            .iter()
            .map(|one| {
                let control = one.control_title.as_deref().unwrap_or("control");
                let said = one.verdict["sentence"].as_str().unwrap_or_default();
                format!("{control}, {}: {said}", one.task_title)
            })
            .collect(),
        limits: package
            .limits
            .iter()
            .map(|one| {
                let over =
                    one.averaging_minutes.map(|minutes| format!(" over {minutes} min")).unwrap_or_default();
                let (kind, value) = (of_limit(one.kind), quantity(&one.value));
                format!("{}: {kind} of {} {value}{over}, {}", one.agent_code, one.authority, one.source)
            })
            .collect(),
        accuracy: package
            .accuracy
            .iter()
            .map(|one| {
                let checked = one.verification.in_words();
                format!("{}: {} ({}, {checked})", one.agent_code, one.asks, one.clause)
            })
            .collect(),
        gaps: package
            .gaps
            .iter()
            .map(|gap| format!("{}, {}: {}", gap.agent_code, days(gap.from, Some(gap.to)), of_gap(gap.kind)))
            .collect(),
        foot: foot(state),
    }
    .render()
}

fn asked(package: &RecordPackage) -> String {
    let who = match package.from {
        RequestedBy::Worker => "the worker",
        RequestedBy::Representative => "a representative",
        RequestedBy::Authority => "an authority",
        RequestedBy::Other => "somebody else",
    };
    let ground = match package.route {
        RecordRoute::Own => "the worker's own records",
        RecordRoute::Consent => "with the worker's dated consent",
        RecordRoute::WrittenNeed => {
            "on a written request that names the records and the occupational health need"
        }
        RecordRoute::Authority => "on the authority's request",
    };
    let due = package.due_on.map(|due| format!(", to be answered by {due}")).unwrap_or_default();
    format!("Asked for by {who} on {}{due}; answered as {ground}.", package.received_on)
}

fn parts(package: &RecordPackage) -> Vec<Part> {
    let rows = |results: &[PackageResult]| results.iter().map(row).collect();
    let mut parts = vec![
        Part {
            title: "What measured this person",
            says: "Every sample this person wore; void and replaced results stand crossed out with the reason.",
            empty: "No sample that this person wore is recorded.",
            rows: rows(&package.own),
        },
        Part {
            title: "What represents this person",
            says: "Samples that others of the same group wore while this person was in it. Their names are covered.",
            empty: "Nobody else of the same groups was measured meanwhile.",
            rows: rows(&package.representing),
        },
        Part {
            title: "The room, inlets and outlets",
            says: "Samples that nobody wore: of the groups' places and tasks while this person was there, and of the same \
                   days.",
            empty: "None is recorded.",
            rows: rows(&package.areas),
        },
    ];
    if !package.of_similar_work.is_empty() {
        parts.insert(2, Part {
            title: "Others of the same groups at other times",
            says: "Of agents for which nothing above tells anything: what measured others with the same duties.",
            empty: "",
            rows: rows(&package.of_similar_work),
        });
    }
    parts
}

fn row(result: &PackageResult) -> ResultRow {
    let method = result.method.as_deref().map(|method| format!("method {method}"));
    let report = result.report_number.as_deref().map(|number| format!("report {number}"));
    let limit = result.reporting_limit.as_ref().map(|limit| format!("reporting limit {}", quantity(limit)));
    let by = [method, result.laboratory.clone(), report, limit];
    ResultRow {
        day: result.shift_date.to_string(),
        sample: format!("{}: {}, {}", result.sample_number, words(&result.position), words(&result.covers)),
        place: joined([
            result.site_code.as_deref(),
            result.group_title.as_deref(),
            result.task_title.as_deref(),
        ]),
        worn_by: joined([Some(result.worn_by.as_deref().unwrap_or("nobody")), result.job_title.as_deref()]),
        equipment: result.protective_equipment.clone().unwrap_or_else(|| "not recorded".into()),
        minutes: exact(result.minutes.round()),
        agent: result.agent_code.as_ref().map(ToString::to_string).unwrap_or_default(),
        value: value(result),
        measured_by: by.into_iter().flatten().collect::<Vec<_>>().join("; "),
        stands: match (&result.void_because, result.status) {
            (Some(reason), _) => format!("does not count: {reason}"),
            (None, None) => "no result yet".into(),
            (None, Some(ResultStatus::Accepted)) => "accepted".into(),
            (None, Some(ResultStatus::Submitted)) => "not accepted yet".into(),
            (None, Some(ResultStatus::Voided)) => "does not count".into(),
        },
        void: result.void_because.is_some(),
    }
}

/// The value in the air; where none can be made, what was reported.
fn value(result: &PackageResult) -> String {
    let in_air = result.concentration.as_ref().or(result.dose.as_ref()).map(quantity);
    let reported = || result.reported.as_ref().map(|reported| format!("reported {}", quantity(reported)));
    in_air.or_else(reported).unwrap_or_else(|| "none".into())
}

fn quantity(quantity: &Quantity) -> String {
    Printing::of(Resolution::Figures(precision::MOST)).quantity(quantity)
}

fn profile(group: &str, profile: &Value) -> ProfileRow {
    let text = |name: &str| profile.get(name).and_then(Value::as_str);
    let day = |name: &str| text(name).and_then(|day| day.parse().ok());
    let mean = &profile["arithmetic_mean"];
    let number = |name: &str| {
        mean.get(name)
            .and_then(Value::as_f64)
            .map(|value| Printing::of(Resolution::Figures(precision::MOST)).number(value))
    };
    let unit = mean["unit"].as_str().unwrap_or_default();
    let shown = match (number("estimate"), number("lower_95"), number("upper_95")) {
        (Some(estimate), Some(lower), Some(upper)) => format!("{estimate} ({lower} to {upper}) {unit}"),
        (Some(estimate), ..) => format!("{estimate} {unit}"),
        (None, ..) => "too few results".into(),
    };
    let stands =
        profile["standing"].as_array().into_iter().flatten().filter_map(|one| {
            Some(format!("{}: {}", one["authority"].as_str()?, words(one["value"].as_str()?)))
        });
    ProfileRow {
        group: group.to_owned(),
        agent: text("agent_code").unwrap_or_default().to_owned(),
        days: match day("from") {
            Some(from) => days(from, day("to")),
            None => day("to").map_or_else(|| "all the time".into(), |to| format!("before {to}")),
        },
        shifts: format!(
            "{} on {} days",
            profile["n"].as_i64().unwrap_or_default(),
            profile["date_count"].as_i64().unwrap_or_default()
        ),
        mean: shown,
        stands: stands.collect::<Vec<_>>().join("; "),
    }
}
