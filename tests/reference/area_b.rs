//! Time-weighted averages, mixtures and extended shifts.

use crate::case::{Case, check_area, plain};
use doseward::hygiene::extended_shift::ShiftModel;
use doseward::hygiene::mixture::{Component, mixture};
use doseward::hygiene::shift::{Segment, Unsampled, shift_average, window_average};
use doseward::model::measured::{Answer, Measured};

#[test]
fn worked_examples_of_shifts_and_mixtures() {
    check_area("B", check);
}

/// The segments of an example, their durations in units of this many minutes.
fn segments(case: &Case, minutes: f64) -> Vec<Segment> {
    case.values("concentration")
        .into_iter()
        .zip(case.numbers("duration"))
        .map(|(concentration, duration)| Segment { concentration, minutes: duration * minutes })
        .collect()
}

fn twa(segments: &[Segment], unsampled: f64, stated: Option<Unsampled>) -> Measured {
    shift_average(segments, unsampled, stated).unwrap().eight_hour_twa
}

fn exceeds(value: Measured, limit: f64) -> bool {
    value.exceeds(limit) == Answer::AtOrAbove
}

pub(crate) fn check(case: &mut Case) {
    match case.id {
        "B-01" => {
            let average = twa(&segments(case, 60.0), 0.0, None);
            let limit = case.number("limit");
            let one = Component { concentration: average, limit, sampling_analytical_error: None };
            case.is("twa_8h", plain(average));
            case.is("severity", plain(mixture(&[one]).unwrap().equivalent_exposure));
            case.holds("exceeds_limit", exceeds(average, limit));
        }
        "B-02" => {
            let components: Vec<_> = case
                .values("concentration")
                .into_iter()
                .zip(case.numbers("limit"))
                .map(|(concentration, limit)| Component {
                    concentration,
                    limit,
                    sampling_analytical_error: None,
                })
                .collect();
            let found = mixture(&components).unwrap();
            case.is("equivalent_exposure", plain(found.equivalent_exposure));
            case.holds("exceeds_limit", found.exceeds == Answer::AtOrAbove);
        }
        "B-03" => {
            // The lead limit of 50 ug/m3 is the constant over 8 hours.
            let factor = ShiftModel::LeadDaily.factor(case.number("hours_worked")).unwrap();
            case.is("allowable_twa", case.number("constant") / 8.0 * factor);
        }
        "B-04" => {
            let factor = ShiftModel::BriefScalaDaily.factor(case.number("hours_per_day")).unwrap();
            case.is("reduction_factor", factor);
            case.is("adjusted_limit", factor * case.number("limit"));
        }
        "B-05" => {
            let minutes = case.number("sampled_time");
            let rest = case.number("shift") - minutes;
            let sampled =
                [Segment { concentration: Measured::Value(case.number("sampled_concentration")), minutes }];
            let background = Measured::Value(case.number("measured_background"));
            let by = |stated| twa(&sampled, rest, Some(stated));
            case.is("twa_unsampled_zero", plain(by(Unsampled::Zero)));
            case.is("twa_unsampled_same", plain(by(Unsampled::AsSampled)));
            case.is("twa_unsampled_background", plain(by(Unsampled::At(background))));
            case.holds("exceeds_5_if_zero", exceeds(by(Unsampled::Zero), 5.0));
            case.holds("exceeds_5_if_same", exceeds(by(Unsampled::AsSampled), 5.0));
        }
        "B-06" => {
            let daily = ShiftModel::EqualDoseDaily.factor(case.number("hours_per_day")).unwrap();
            let weekly = ShiftModel::EqualDoseWeekly.factor(case.number("hours_per_week")).unwrap();
            let limit = case.number("limit");
            case.is("daily_factor", daily);
            case.is("weekly_factor", weekly);
            case.is("limit_daily_adjusted", daily * limit);
            case.is("limit_weekly_adjusted", weekly * limit);
        }
        "B-07" => {
            let tasks = segments(case, 1.0);
            let average = twa(&tasks, 0.0, None);
            let alone = tasks.iter().map(|task| plain(twa(&[*task], 0.0, None)));
            let largest = alone.reduce(f64::max).unwrap() / plain(average);
            case.is("twa_8h", plain(average));
            case.holds(
                "at_or_above_action_level",
                average.against(case.number("action_level")) == Answer::AtOrAbove,
            );
            case.holds("exceeds_limit", exceeds(average, case.number("limit")));
            case.is("largest_task_share", 100.0 * largest);
        }
        "B-08" => {
            let average = window_average(&segments(case, 1.0)).unwrap();
            case.is("stel_15min", plain(average));
            case.holds("exceeds_limit", exceeds(average, case.number("short_term_limit")));
        }
        "B-09" => {
            let daily: Vec<_> = case
                .numbers("hours_per_day")
                .into_iter()
                .map(|hours| ShiftModel::BriefScalaDaily.factor(hours).unwrap())
                .collect();
            case.are("daily_factor", &daily);
            case.is(
                "weekly_factor",
                ShiftModel::BriefScalaWeekly.factor(case.number("hours_per_week")).unwrap(),
            );
        }
        _ => case.unknown(),
    }
}
