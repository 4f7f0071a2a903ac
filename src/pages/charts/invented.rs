//! Invented views for the tests of figures; every number is made up.

use crate::conclusions::history::view::HistoryView;
use crate::conclusions::profile_figures::ProfileFigures;
use crate::conclusions::profile_view::{EraBeside, EraView, ProfileLimitView, ProfileView};
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::conclusions::verdict::view::VerdictView;
use crate::hygiene::profile::{Against, group_profile};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::{Joined, Shape};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::pages::charts::names::Names;
use chrono::{Days, NaiveDate};
use serde_json::{Value, json};
use uuid::Uuid;

/// The limit and the action level of the invented agent: those of silica, 29 CFR 1910.1053(b) and (c), in µg/m³.
pub(super) const LIMIT: f64 = 50.0;
pub(super) const ACTION_LEVEL: f64 = 25.0;
/// A name that would do harm if it were not escaped.
pub(super) const HOSTILE: &str = "<script>alert('x')</script> \"&";

pub(super) fn id(number: u128) -> Uuid {
    Uuid::from_u128(number)
}

pub(super) fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

pub(super) fn names() -> Names {
    let mut names = Names::default();
    for number in 1..=9 {
        names.workers.insert(id(number).into(), format!("Worker {number} {HOSTILE}"));
        names.groups.insert(id(number).into(), format!("Group {number} {HOSTILE}"));
        names.sites.insert(id(number).into(), format!("Site {number} {HOSTILE}"));
        names.controls.insert(id(number).into(), format!("Control {number} {HOSTILE}"));
    }
    names.agents.insert(Code::new("silica").unwrap(), format!("Silica {HOSTILE}"));
    names
}

/// A shift so many days after 5 January 2026, of one of three workers.
pub(super) fn shift(number: u64, days: u64, value: Measured) -> ShiftAverageView {
    let twa = Quantity::computed(value, Unit::UgPerM3).to_json();
    let on = date("2026-01-05").checked_add_days(Days::new(days)).unwrap();
    let compared = |kind: &str, level: f64| {
        let answer = value.against(level).as_str();
        json!({"authority": "OSHA", "kind": kind, "value": level, "unit": "ug/m3", "answer": answer})
    };
    let flags = if number.is_multiple_of(4) { json!(["not_accepted"]) } else { json!([]) };
    let view = json!({
        "worker_id": id(u128::from(number % 3 + 1)), "group_id": id(1), "shift_date": on.to_string(),
        "agent_code": "silica", "eight_hour_twa": twa, "sampled_minutes": 480.0, "shift_minutes": 480.0,
        "samples": [id(u128::from(number) + 100)],
        "comparisons": [compared("twa", LIMIT), compared("action_level", ACTION_LEVEL)], "flags": flags,
    });
    ShiftAverageView::parse(&view).unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// Shifts of these values, a week apart.
pub(super) fn shifts(values: &[Measured]) -> Vec<ShiftAverageView> {
    (0_u64..).zip(values).map(|(number, value)| shift(number, 7 * number, *value)).collect()
}

/// The profile of shifts, as one era.
pub(super) fn profile(shifts: &[ShiftAverageView]) -> ProfileView {
    let results: Vec<Measured> =
        shifts.iter().filter_map(|shift| shift.eight_hour_twa.as_ref()).map(|twa| twa.measured).collect();
    let found = group_profile(&results, &Against::limit(Some(LIMIT)));
    let count = i64::try_from(shifts.len()).unwrap();
    let head = EraView {
        agent_code: Code::new("silica").unwrap(),
        criterion: None,
        from: None,
        to: None,
        control_ids: vec![id(1).into()],
        standing: Vec::new(),
        shift_minutes: Some(480.0),
        not_accepted: 0,
        control_off: None,
        worker_count: 3,
        date_count: count,
        first: shifts.first().map(|shift| shift.shift_date),
        last: shifts.last().map(|shift| shift.shift_date),
        left_out: Vec::new(),
        beside: Vec::new(),
        limit: Some(ProfileLimitView {
            authority: Code::new("OSHA").unwrap(),
            value: LIMIT,
            unit: Unit::UgPerM3,
            kind: None,
        }),
    };
    let beside = EraBeside {
        mean_level: None,
        standard_deviation_level: None,
        normal_fit: None,
        action_level_exceedance: None,
        chance_at_or_above_action_level: None,
        workers_apart: None,
        further_results: None,
        flags: found.flags.iter().map(|flag| (*flag).to_owned()).collect(),
        working: None,
    };
    Joined(head, Joined(ProfileFigures::of(&found, Unit::UgPerM3), beside))
}

/// An interval of a history: first day, first day no longer, basis, mean with its limits.
pub(super) fn interval(from: &str, to: &str, basis: &str, mean: Option<[f64; 3]>) -> Value {
    let mut interval = json!({"from": from, "to": to, "site_id": id(1), "group_id": id(1), "basis": basis,
        "weight": 0.8, "n": 8, "worker_count": 3, "date_count": 8, "flags": []});
    if let Some([lower, estimate, upper]) = mean {
        interval["mean"] = json!({"estimate": estimate, "lower": lower, "upper": upper, "unit": "ug/m3"});
    }
    interval
}

/// A history of 2010 to 2020 of these intervals and gaps.
pub(super) fn history(intervals: &[Value], gaps: &[(&str, &str, &str)], dose: [f64; 3]) -> HistoryView {
    let gaps: Vec<Value> =
        gaps.iter().map(|(from, to, kind)| json!({"from": from, "to": to, "kind": kind})).collect();
    let [lower, value, upper] = dose;
    let view = json!({
        "agent_code": "silica", "from": "2010-01-01", "to": "2020-01-01", "lag_years": 0,
        "intervals": intervals, "years_exposed": 8.0, "gaps": gaps, "not_accepted": 0, "flags": [],
        "cumulative": {"value": value, "unit": "mg/m3.a", "lower": lower, "upper": upper,
            "at_least": !gaps.is_empty(), "years_missing": 1.5},
    });
    HistoryView::parse(&view).unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// A verdict with these values and this ratio.
pub(super) fn verdict(without: &[Measured], with: &[Measured], ratio: [f64; 3]) -> VerdictView {
    let side = |values: &[Measured]| -> Vec<Value> {
        values.iter().map(|value| Quantity::computed(*value, Unit::UgPerM3).to_json()).collect()
    };
    let [lower, estimate, upper] = ratio;
    let view = json!({
        "agent_code": "silica", "control_id": id(1), "position": "breathing_zone", "short_term": false,
        "excluded": [], "confounders": [], "confounded": false, "not_accepted": 0, "worker_count": 3,
        "date_count": 6, "n_without": without.len(), "n_with": with.len(), "method": "welch_on_logs",
        "ratio_of_geometric_means": {"estimate": estimate, "lower_95": lower, "upper_95": upper},
        "reduction_percent": {"estimate": 100.0 * (1.0 - estimate), "lower_95": 100.0 * (1.0 - upper),
            "upper_95": 100.0 * (1.0 - lower)},
        "target_reduction_percent": 80.0, "verdict": "lowered", "target": "met", "sentence": "", "flags": [],
        "working": [{"step": "pairing", "formula": "", "inputs": {"without": side(without), "with": side(with)},
            "result": false, "source": ""}],
    });
    VerdictView::parse(&view).unwrap_or_else(|faults| panic!("{faults:?}"))
}
