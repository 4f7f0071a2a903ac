//! Figures read back: marks stand where their values say, nothing leaves the frame, no line runs across a gap, a bound is never
//! a point, and the numbers are those of the view.

use super::all_sites::{GroupAt, all_sites};
use super::between_workers::between_workers;
use super::day_counts::day_counts;
use super::drawn::{Element, axis_rightwards, axis_upwards, by_log_axis, check, elements, frame};
use super::duty_line::{DutyDates, duty_line};
use super::era_results::{posterior_of, shifts_of};
use super::figure::Figure;
use super::invented::{LIMIT, date, history, id, interval, names, profile, shifts, verdict};
use super::left_of_exposure::{level_differences, ratios};
use super::levels::LevelLine;
use super::life_line::{Assigned, DutyMark, EraCut, LifeLine, life_line};
use super::log_probability::log_probability;
use super::noise_years::noise_years;
use super::over_time::{Asked, over_time};
use super::posterior_curve::posterior_curve;
use super::svg::Plate;
use super::without_and_with::without_and_with;
use super::worker_days::{SiteDays, worker_days};
use crate::conclusions::history::assessed_days::AssessedDays;
use crate::conclusions::history::day_numbers::DayNumbers;
use crate::conclusions::history::view::HistoryView;
use crate::conclusions::verdict::view::VerdictView;
use crate::hygiene::cumulative::{Interval, MeanWithLimits, cumulative};
use crate::model::facts::agent::LimitKind;
use crate::model::facts::duty::{DutyStatus, Window};
use crate::model::facts::worker::{Absence, Assignment};
use crate::model::measured::Measured;
use crate::model::printed::share::share;
use crate::model::shape::Shape;
use crate::model::text::Code;
use crate::model::unit::Unit;
use proptest::prelude::*;
use serde_json::json;

fn measured() -> impl Strategy<Value = Measured> {
    (0.05..900.0f64, 0..5).prop_map(|(value, kind)| match kind {
        0 => Measured::Below(value),
        1 => Measured::Between { lower: value / 3.0, upper: value },
        _ => Measured::Value(value),
    })
}

fn values(results: &[Measured]) -> Vec<f64> {
    results
        .iter()
        .filter_map(|one| if let Measured::Value(value) = one { Some(*value) } else { None })
        .collect()
}

fn circles(svg: &str, class: &str) -> Vec<(f64, f64)> {
    let of = |one: Element| (one.number("cx"), one.number("cy"));
    elements(svg).into_iter().filter(|one| one.is("circle", class)).map(of).collect()
}

/// Whether both lists hold the same numbers, to the decimal that is drawn.
fn same(mut drawn: Vec<f64>, mut said: Vec<f64>) -> bool {
    drawn.sort_by(f64::total_cmp);
    said.sort_by(f64::total_cmp);
    drawn.len() == said.len() && drawn.iter().zip(&said).all(|(one, other)| (one - other).abs() < 0.35)
}

fn both(figure: &Figure) -> [(Plate, &str); 2] {
    [(Plate::Broad, &figure.broad), (Plate::Slim, &figure.slim)]
}

const ASKED: Asked<'static> = Asked { moves: &[], own: None, today: chrono::NaiveDate::MIN };

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn a_result_over_time_stands_where_its_value_says(results in prop::collection::vec(measured(), 1..14)) {
        let shifts = shifts(&results);
        let own = Some(id(2).into());
        let figure = over_time("f", &[profile(&shifts)], &shifts, Asked { own, ..ASKED }, &names()).unwrap();
        check(&figure);
        for (plate, svg) in both(&figure) {
            let axis = axis_upwards(svg, plate.pick(47.0, 33.0));
            prop_assume!(axis.len() > 3);
            let drawn = circles(svg, "own").into_iter().chain(circles(svg, "grp")).map(|one| one.1).collect();
            let said = values(&results).into_iter().map(|value| by_log_axis(&axis, value)).collect();
            prop_assert!(same(drawn, said), "{svg}");
        }
    }

    #[test]
    fn on_a_probability_plot_points_stand_at_their_value_and_rise(results in prop::collection::vec(measured(), 1..14)) {
        let shifts = shifts(&results);
        let era = profile(&shifts);
        let figure = log_probability("f", std::slice::from_ref(&era), &shifts, &names()).unwrap();
        check(&figure);
        // The line is drawn where the profile has a fit, and only there.
        let fitted = era.1.0.geometric_mean.is_some() && era.1.0.geometric_standard_deviation.is_some();
        for (_, svg) in both(&figure) {
            let axis = axis_rightwards(svg, 274.0 - 40.0 + 20.0);
            prop_assume!(axis.len() > 3);
            let mut drawn = circles(svg, "grp");
            let said = values(&results).into_iter().map(|value| by_log_axis(&axis, value)).collect();
            prop_assert!(same(drawn.iter().map(|one| one.0).collect(), said));
            drawn.sort_by(|one, other| one.0.total_cmp(&other.0));
            prop_assert!(drawn.windows(2).all(|two| two[0].1 >= two[1].1 || two[1].0 - two[0].0 < 0.2));
            prop_assert!(fitted || !elements(svg).iter().any(|one| one.is("path", "est")));
        }
    }

    #[test]
    fn a_bound_is_never_a_point(limits in prop::collection::vec(0.5..80.0f64, 1..9)) {
        let results: Vec<Measured> = limits.into_iter().map(Measured::Below).collect();
        let shifts = shifts(&results);
        let eras = [profile(&shifts)];
        let verdicts = [verdict(&results, &results, [0.05, 0.1, 0.2])];
        let figures = [
            over_time("f", &eras, &shifts, ASKED, &names()),
            log_probability("f", &eras, &shifts, &names()),
            between_workers("f", &eras[0], &shifts, &names()),
            without_and_with("f", &verdicts, &shifts, &names()),
        ];
        for figure in figures.into_iter().flatten() {
            check(&figure);
            for (_, svg) in both(&figure) {
                prop_assert!(circles(svg, "own").is_empty() && circles(svg, "grp").is_empty());
                prop_assert!(elements(svg).iter().filter(|one| one.is("path", "nd")).count() >= 2 * results.len());
                // No mean is made of bounds.
                prop_assert!(!elements(svg).iter().any(|one| one.is("path", "whisk")));
            }
        }
    }

    #[test]
    fn without_and_with_stand_where_their_values_say(
        without in prop::collection::vec(1.0..500.0f64, 2..9), with in prop::collection::vec(1.0..500.0f64, 2..9),
    ) {
        let of = |values: &[f64]| values.iter().copied().map(Measured::Value).collect::<Vec<_>>();
        let figure = without_and_with("f", &[verdict(&of(&without), &of(&with), [0.1, 0.2, 0.4])], &[], &names()).unwrap();
        check(&figure);
        for (_, svg) in both(&figure) {
            let axis = axis_rightwards(svg, frame(svg).1 - 44.0 + 20.0);
            prop_assume!(axis.len() > 3);
            let places = |values: &[f64]| values.iter().map(|value| by_log_axis(&axis, *value)).collect::<Vec<_>>();
            prop_assert!(same(circles(svg, "grp").into_iter().map(|one| one.0).collect(), places(&without)));
            prop_assert!(same(circles(svg, "own").into_iter().map(|one| one.0).collect(), places(&with)));
            // These are no 8-hour averages: no limit stands beside them.
            prop_assert!(!elements(svg).iter().any(|one| one.is("path", "lim") || one.is("path", "al")));
        }
    }

    #[test]
    fn the_dose_ends_at_the_number_of_the_view(
        first in 1.0..200.0f64, second in 1.0..200.0f64, spread in 1.1..3.0f64,
    ) {
        let view = two_jobs(first, second, spread);
        let said = view.cumulative.clone().unwrap();
        let figure = life_line("f", line_of(&view), &names());
        check(&figure);
        prop_assert!(figure.desc.contains(&super::said::bare(said.value.unwrap())));
        for (plate, svg) in both(&figure) {
            // The numbers of the axis from zero, the lowest panel: its zero stands lowest of all.
            let axis = axis_upwards(svg, plate.pick(55.0, 33.0));
            let zero = *axis.iter().find(|one| one.0 == 0.0).unwrap();
            let upper = axis.iter().copied().filter(|one| one.1 < zero.1 && one.1 > zero.1 - 130.0).max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
            let place = zero.1 + said.value.unwrap() / upper.0 * (upper.1 - zero.1);
            let doses: Vec<Element> = elements(svg).into_iter().filter(|one| one.is("path", "est") && one.points()[0].1 > zero.1 - 130.0).collect();
            prop_assert_eq!(doses.len(), 2);
            let end = *doses[1].points().last().unwrap();
            prop_assert!((end.1 - place).abs() < 0.35, "{:?} {}", end, place);
        }
    }
}

/// Two jobs with a time between of which nothing is known, and the dose that follows from them.
fn two_jobs(first: f64, second: f64, spread: f64) -> HistoryView {
    let means = [first, second].map(|mean| [mean / spread, mean, mean * spread]);
    let times = [("2010-01-01", "2013-06-01"), ("2014-12-01", "2020-01-01")];
    let counted: Vec<Interval> = means
        .iter()
        .zip(times)
        .map(|(mean, (from, to))| Interval {
            from: date(from),
            to: date(to),
            mean: MeanWithLimits {
                estimate: mean[1] / 1000.0,
                lower: Some(mean[0] / 1000.0),
                upper: Some(mean[2] / 1000.0),
            },
            share_of_full_time: 0.8,
        })
        .collect();
    let dose = cumulative(&counted, None, 0);
    history(
        &[
            interval(times[0].0, times[0].1, "group", Some(means[0])),
            interval(times[1].0, times[1].1, "own", Some(means[1])),
        ],
        &[("2013-06-01", "2014-12-01", "no_data_in_era")],
        [dose.lower.unwrap(), dose.value, dose.upper.unwrap()],
    )
}

fn line_of(view: &HistoryView) -> LifeLine<'_> {
    LifeLine {
        history: view,
        worker: id(1).into(),
        in_part: false,
        assignments: &[],
        absences: &[],
        shifts: &[],
        cuts: &[],
        duties: &[],
        levels: &[],
    }
}

fn levels() -> Vec<LevelLine> {
    [(LimitKind::Twa, LIMIT), (LimitKind::ActionLevel, 25.0)]
        .into_iter()
        .map(|(kind, value)| LevelLine {
            kind,
            authority: Code::new("OSHA").unwrap(),
            value,
            unit: Unit::UgPerM3,
            from: None,
            last: None,
        })
        .collect()
}

#[test]
fn no_line_runs_across_a_gap_and_the_gap_is_hatched_through_every_panel() {
    let view = two_jobs(20.0, 40.0, 1.5);
    let figure = life_line("f", line_of(&view), &names());
    for (_, svg) in both(&figure) {
        let all = elements(svg);
        let hatched: Vec<[f64; 4]> = all
            .iter()
            .filter(|one| one.attributes.get("fill").is_some_and(|fill| fill.starts_with("url")))
            .filter_map(Element::edges)
            .collect();
        assert_eq!(hatched.len(), 3, "lanes, intensity, dose");
        let [left, _, right, _] = hatched[0];
        for one in all.iter().filter(|one| ["est", "bfill", "bedge", "bg", "bo"].contains(&one.class())) {
            let [from, _, to, _] = one.edges().unwrap();
            assert!(to <= left + 0.2 || from >= right - 0.2, "{one:?} runs across {left} to {right}");
        }
    }
    assert!(figure.notes.iter().any(|note| note.contains("never measured")));
    assert!(figure.notes.iter().any(|note| note.contains("at least")));
    assert_eq!(figure.table.rows.iter().filter(|row| row.unknown).count(), 1);
}

#[test]
fn a_life_with_everything_stays_within_its_frame() {
    let intervals = [
        interval("2010-01-01", "2011-01-01", "group", Some([10.0, 15.0, 30.0])),
        interval("2011-01-01", "2012-01-01", "posterior", Some([1.0, 2.0, 9.0])),
        interval("2012-01-01", "2013-01-01", "judgement", Some([20.0, 30.0, 40.0])),
        interval("2014-12-01", "2020-01-01", "own", Some([60.0, 70.0, 90.0])),
    ];
    let view = history(
        &intervals,
        &[("2013-01-01", "2014-06-01", "no_assignment"), ("2014-06-01", "2014-12-01", "not_employed_here")],
        [0.1, 0.4, 0.9],
    );
    let assignment = |from: &str, to: Option<&str>| {
        Assignment::parse(&json!({"group_id": id(1), "from": from, "to": to, "shifts_per_week": 4.0,
            "hours_per_shift": 8.0}))
        .unwrap()
    };
    let facts = [
        assignment("2010-01-01", Some("2013-01-01")),
        assignment("2010-02-01", Some("2010-03-01")),
        assignment("2014-12-01", None),
    ];
    let assigned: Vec<Assigned<'_>> =
        facts.iter().map(|assignment| Assigned { assignment, site: Some(id(1).into()) }).collect();
    let absences = [Absence { from: date("2016-01-01"), to: date("2017-06-01") }];
    let statuses = DutyStatus::ALL.iter().cycle().take(31).zip(0..);
    let duties: Vec<DutyMark> = statuses
        .map(|(status, at)| DutyMark {
            due_on: date("2018-01-01") + chrono::Days::new(20 * at),
            status: *status,
            words: super::invented::HOSTILE.to_owned(),
        })
        .collect();
    let cuts = [
        EraCut { on: date("2011-01-01"), name: "Hood ".repeat(40) },
        EraCut { on: date("2019-11-01"), name: "Fan".into() },
    ];
    let shifts = super::invented::shifts(&[Measured::Value(20.0), Measured::Below(4.0)]);
    let levels = levels();
    let line = LifeLine {
        history: &view,
        worker: id(1).into(),
        in_part: false,
        assignments: &assigned,
        absences: &absences,
        shifts: &shifts,
        cuts: &cuts,
        duties: &duties,
        levels: &levels,
    };
    let figure = life_line("f", line, &names());
    check(&figure);
    for (_, svg) in both(&figure) {
        // Each basis has a band of its own, told apart by its edge.
        for class in ["bg", "bp", "bj", "bo"] {
            assert_eq!(elements(svg).iter().filter(|one| one.is("rect", class)).count(), 1, "{class}");
        }
        // Away is dotted and no gap: the absence, and the time not employed here.
        assert!(elements(svg).iter().any(|one| one.is("path", "away")));
        let hatched = elements(svg).iter().filter(|one| one.attributes.contains_key("fill")).count();
        assert_eq!(hatched, 3, "one gap through three panels");
    }
    assert_eq!(figure, life_line("f", line, &names()), "the same views give the same figure");
}

#[test]
fn the_posterior_tells_what_the_profile_tells() {
    let results = [12.0, 31.0, 8.0, 22.0, 45.0, 17.0, 26.0].map(Measured::Value);
    let shifts = shifts(&results);
    let era = profile(&shifts);
    let figure = posterior_curve("f", &era, &shifts, &names()).unwrap();
    check(&figure);
    // The action level is half the limit, so that the parts are the rating bands of the profile.
    let view = era.1.0.posterior.as_ref().unwrap();
    let bands = view.rating_probabilities.clone().unwrap();
    let said: Vec<&str> = figure.table.rows.iter().map(|row| row.cells[1].as_str()).collect();
    let expected = [bands[0] + bands[1], bands[2], bands[3], bands[4]].map(|one| share(one, &[]));
    assert_eq!(said, expected);
    // The band of the probability plot ends, at 95 %, at the upper limit of the profile.
    let posterior = posterior_of(&era, &shifts_of(&era, &shifts)).unwrap();
    let upper = posterior.ln_percentile_quantile(0.95, 0.95).exp();
    assert!((upper / view.percentile_95.upper_95 - 1.0).abs() < 1e-6);
}

#[test]
fn what_is_not_all_at_hand_gives_no_band_and_says_so() {
    let results = [12.0, 31.0, 8.0, 22.0].map(Measured::Value);
    let all = shifts(&results);
    let era = profile(&all);
    let figure = log_probability("f", std::slice::from_ref(&era), &all[1..], &names()).unwrap();
    assert!(!figure.broad.contains("bfill"));
    assert!(figure.notes.iter().any(|note| note.contains("1 result is not shown here")));
    assert_eq!(posterior_curve("f", &era, &all[1..], &names()), None);
}

#[test]
fn an_effect_has_its_interval_its_target_and_the_numbers_of_the_verdict() {
    let of = |values: [f64; 3]| values.map(Measured::Value);
    let verdicts = [verdict(&of([100.0, 200.0, 150.0]), &of([10.0, 20.0, 15.0]), [0.0512, 0.1034, 0.2087])];
    let figure = ratios("f", &verdicts, &names()).unwrap();
    check(&figure);
    assert_eq!(figure.table.rows[0].cells[2], "0.10 (95 % interval 0.051 to 0.21)");
    assert_eq!(figure.table.rows[0].cells[3], "90 (95 % interval 79 to 95)");
    assert!(figure.broad.contains("target 0.20"));
    assert_eq!(level_differences("f", &verdicts, &names()), None);
}

#[test]
fn a_reduction_is_never_said_above_99_per_cent() {
    let of = |values: [f64; 2]| values.map(Measured::Value);
    let figure =
        ratios("f", &[verdict(&of([1e4, 2e4]), &of([1.0, 2.0]), [1e-5, 1e-4, 2e-2])], &names()).unwrap();
    assert_eq!(figure.table.rows[0].cells[3], "> 99 (95 % interval 98 to > 99)");
}

#[test]
fn an_end_that_is_not_known_is_open() {
    let mut one: VerdictView = verdict(&[Measured::Value(9.0)], &[Measured::Below(1.0)], [0.1, 0.2, 0.3]);
    let ratio = one.ratio_of_geometric_means.as_mut().unwrap();
    (ratio.estimate, ratio.lower_95) = (None, None);
    let figure = ratios("f", &[one], &names()).unwrap();
    check(&figure);
    assert_eq!(figure.table.rows[0].cells[2], "at most 0.30");
    assert!(!elements(&figure.broad).iter().any(|one| one.is("rect", "notch")));
}

#[test]
fn eight_hour_averages_alone_have_limits_beside_them() {
    let of = |values: [f64; 2]| values.map(Measured::Value);
    let averages = shifts(&[Measured::Value(20.0), Measured::Value(30.0)]);
    let figure = without_and_with(
        "f",
        &[verdict(&of([100.0, 200.0]), &of([10.0, 20.0]), [0.05, 0.1, 0.2])],
        &averages,
        &names(),
    )
    .unwrap();
    check(&figure);
    let rows: Vec<[f64; 4]> = elements(&figure.broad)
        .iter()
        .filter(|one| one.is("path", "lim") || one.is("path", "al"))
        .filter_map(Element::edges)
        .collect();
    assert_eq!(rows.len(), 2);
    // They end above the rows of the other values.
    let others = circles(&figure.broad, "grp").into_iter().map(|one| one.1).fold(0.0, f64::max);
    assert!(rows.iter().all(|edges| edges[1] > others + 20.0));
}

#[test]
fn every_group_is_a_disc_and_what_is_not_known_is_hatched() {
    let many = shifts(&[12.0, 31.0, 8.0, 22.0, 45.0, 17.0, 26.0].map(Measured::Value));
    let few = shifts(&[Measured::Value(3.0), Measured::Below(2.0)]);
    let profiles = [profile(&many), profile(&few), profile(&[])];
    let groups: Vec<GroupAt<'_>> = profiles
        .iter()
        .zip(1..)
        .map(|(profile, number)| GroupAt { site: id(1).into(), group: id(number).into(), profile })
        .collect();
    let names = names();
    let figure = all_sites("f", &groups, &names).unwrap();
    check(&figure);
    assert_eq!(figure.table.rows.len(), 3);
    assert!(figure.table.rows[1].cells[5].starts_with("at most "), "{:?}", figure.table.rows[1]);
    assert!(figure.table.rows[2].unknown);
    assert!(figure.broad.contains("nothing measured"));
}

#[test]
fn days_of_workers_are_parts_of_all_of_them() {
    let agent = Code::new("silica").unwrap();
    let days = AssessedDays {
        site_id: id(1).into(),
        settled_below: 400,
        settled_at_or_above: 100,
        cannot_tell: 0,
        not_assessed: 500,
    };
    let nobody = AssessedDays {
        site_id: id(2).into(),
        settled_below: 0,
        settled_at_or_above: 0,
        cannot_tell: 0,
        not_assessed: 0,
    };
    let sites =
        [&days, &nobody].map(|days| SiteDays { agent: &agent, days, newest: Some(date("2026-01-05")) });
    let figure = worker_days("f", &sites, &names()).unwrap();
    check(&figure);
    assert_eq!(figure.table.rows.len(), 1);
    let bars: Vec<f64> = elements(&figure.broad)
        .iter()
        .filter(|one| one.is("rect", "boxf") || one.is("rect", "box") || one.is("rect", "thin"))
        .map(|one| one.number("width"))
        .collect();
    let all: f64 = bars.iter().sum();
    assert!((bars[0] / all - 0.1).abs() < 0.01 && (bars[2] / all - 0.5).abs() < 0.01, "{bars:?}");
}

/// Compares with the drawing that was looked at; `DOSEWARD_WRITE_DRAWINGS=1` keeps the new one instead, to be looked at.
fn as_kept(name: &str, svg: &str) {
    let path = format!("{}/src/pages/charts/golden/{name}.svg", env!("CARGO_MANIFEST_DIR"));
    if std::env::var_os("DOSEWARD_WRITE_DRAWINGS").is_some() {
        std::fs::write(&path, svg).unwrap();
    }
    assert_eq!(svg, std::fs::read_to_string(&path).unwrap(), "{path}");
}

#[test]
fn small_figures_are_these() {
    let numbers = json!({"measured": 1, "undecided": 0, "by_standing": {
        "worst_12_months": {"count": 40, "from": "2026-01-05", "to": "2027-01-05"}, "calendar_years": {"2025": 12, "2026": 40}}});
    let days = day_counts("d", &DayNumbers::parse(&numbers).unwrap(), Some(30));
    check(&days);
    as_kept("day_counts", &days.slim);
    let mut view = history(&[], &[], [0.0, 0.0, 0.0]);
    view.years_by_level = Shape::parse(&json!([{"band": "below_80", "years": 1.5},
        {"band": "90_and_above", "years": 4.0}, {"band": "not_known", "years": 0.5}]))
    .ok();
    let years = noise_years("n", &view).unwrap();
    check(&years);
    as_kept("noise_years", &years.slim);
    let duty = duty_line(
        "u",
        &DutyDates {
            words: "Examination to offer".into(),
            status: DutyStatus::Overdue,
            window: Some(Window { from: date("2026-01-05"), to: date("2027-01-05") }),
            learned_on: Some(date("2026-11-27")),
            due_on: date("2026-02-04"),
            done_on: None,
            today: date("2026-11-28"),
        },
    );
    check(&duty);
    as_kept("duty_line", &duty.slim);
}
