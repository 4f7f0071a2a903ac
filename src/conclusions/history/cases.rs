//! Histories worked by hand. The rules are this registry's own; every number is invented, the sums are arithmetic.
#![expect(clippy::float_cmp, reason = "figures are rounded to 12 digits before they are compared")]

use crate::conclusions::asked::Asked;
use crate::conclusions::day_chance::{DayChance, day_chance};
use crate::conclusions::history::basis::{Basis, GapKind};
use crate::conclusions::history::conclude::history;
use crate::conclusions::history::evidence::{
    EraMean, GroupExposure, HistoryEvidence, OwnShift, PlacedMove, Window,
};
use crate::conclusions::history::level_period::LevelPeriod;
use crate::conclusions::history::view::{HistoryFlag, HistoryView};
use crate::conclusions::history::worker_days::worker_days;
use crate::conclusions::invented::{agent, date, id, version};
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::posterior_mean::PosteriorMean;
use crate::hygiene::cumulative::MeanWithLimits;
use crate::hygiene::profile::{ProfileMethod, estimated_mean};
use crate::model::facts::group::Judgement;
use crate::model::facts::worker::{Absence, Assignment, Employment, WorkedDay};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::surveillance::level::Level;
use crate::surveillance::standing::Move;
use serde_json::{Value, json};

/// A worker's facts, to be asked about.
pub(super) struct Case {
    agent: AgentEvidence,
    employments: Vec<Version<Employment>>,
    assignments: Vec<Version<Assignment>>,
    recorded: Vec<Version<WorkedDay>>,
    absences: Vec<Version<Absence>>,
    groups: Vec<GroupExposure>,
    own: Vec<OwnShift>,
}

impl Case {
    pub(super) fn evidence(&self) -> HistoryEvidence<'_> {
        HistoryEvidence {
            agent: &self.agent,
            employments: &self.employments,
            assignments: &self.assignments,
            recorded: &self.recorded,
            absences: &self.absences,
            groups: &self.groups,
            own: &self.own,
            respirators: &[],
        }
    }

    fn asked(&self, from: Option<&str>, to: &str, lag_years: u32) -> HistoryView {
        let window = Window { from: from.map(date), to: Some(date(to)), lag_years, today: date(to) };
        history(&self.evidence(), window, Asked { working: true, ..Asked::default() })
    }
}

fn employed(number: u128, from: &str, to: Option<&str>) -> Version<Employment> {
    let fact = json!({"employer": "Own works", "employee_number": number.to_string(), "relation": "own",
        "from": from, "to": to});
    version(number, None, &fact)
}

pub(super) fn assigned(
    n: u128,
    group: u128,
    from: &str,
    to: Option<&str>,
    shifts: f64,
) -> Version<Assignment> {
    let fact = json!({"group_id": id(group), "from": from, "to": to, "shifts_per_week": shifts,
        "hours_per_shift": 8});
    let mut assignment = version::<Assignment>(n, None, &fact);
    assignment.site = Some(id(group + 1000).into());
    assignment
}

fn era(from: Option<&str>, to: Option<&str>, method: ProfileMethod, n: usize, mean: Option<f64>) -> EraMean {
    EraMean {
        from: from.map(date),
        to: to.map(date),
        unit: Unit::UgPerM3,
        method,
        mean: mean.map(|estimate| MeanWithLimits {
            estimate,
            lower: Some(estimate / 2.0),
            upper: Some(estimate * 2.0),
        }),
        noise: None,
        posterior: (method == ProfileMethod::PosteriorOnly).then_some(PosteriorMean {
            mean: MeanWithLimits { estimate: 0.4, lower: Some(0.1), upper: Some(1.6) },
            prior_widened: true,
        }),
        chance: None,
        action_level: Some(2.5),
        limit: Some(5.0),
        results: Vec::new(),
        shift_minutes: (n > 0).then_some(480.0),
        n,
        worker_count: n.min(2),
        date_count: n,
        first: None,
        last: None,
        not_accepted: 0,
    }
}

/// A group at a site of its own with these eras.
pub(super) fn exposure(number: u128, eras: Vec<EraMean>) -> GroupExposure {
    GroupExposure {
        group: id(number).into(),
        site: id(number + 1000).into(),
        eras,
        judgements: Vec::new(),
        standing: Vec::new(),
        // 29 CFR 1910.1026(b): 2.5 ug/m3.
        action_level: vec![LevelPeriod { from: None, level: Some(2.5) }],
        at_limit: None,
        of_others: Vec::new(),
        respirator: Vec::new(),
        expected: Vec::new(),
    }
}

pub(super) fn exact(mean: f64) -> Vec<EraMean> {
    vec![era(None, None, ProfileMethod::Exact, 8, Some(mean))]
}

pub(super) fn case(assignments: Vec<Version<Assignment>>, groups: Vec<GroupExposure>) -> Case {
    Case {
        agent: agent("chromium_vi"),
        employments: vec![employed(1, "2020-01-01", None)],
        assignments,
        recorded: Vec::new(),
        absences: Vec::new(),
        groups,
        own: Vec::new(),
    }
}

fn own(in_group: u128, on: &str, twa: Measured) -> OwnShift {
    OwnShift {
        date: date(on),
        group: id(in_group).into(),
        site: id(in_group + 1000).into(),
        unit: Unit::UgPerM3,
        criterion: None,
        dose: None,
        twa: Some(twa),
        mean_twa: Some(twa),
        may_lower: true,
        short_term: None,
        longer_mean: None,
        shift_minutes: 480.0,
        own_record: true,
        enters_profile: true,
        not_accepted: 0,
        basis: vec![900],
    }
}

fn stands(level: Level, since: Option<&str>) -> PlacedMove {
    let round = (id(1).into(), date("2020-01-01"));
    PlacedMove { change: Move { level, since: since.map(date), round, clause: None }, basis: vec![77] }
}

fn gaps(view: &HistoryView) -> Vec<(String, String, GapKind)> {
    view.gaps.iter().map(|gap| (gap.from.to_string(), gap.to.to_string(), gap.kind)).collect()
}

#[test]
fn a_dose_is_mean_times_years_in_milligrams_and_missing_time_makes_it_at_least() {
    // 366 days at 2 ug/m3 and then 365 days without an assignment.
    let case =
        case(vec![assigned(11, 2, "2020-01-01", Some("2021-01-01"), 5.0)], vec![exposure(2, exact(2.0))]);
    let view = case.asked(None, "2022-01-01", 0);
    let dose = view.cumulative.as_ref().unwrap();
    assert_eq!(dose.value, Some(significant(0.002 * 366.0 / 365.25)));
    assert_eq!(
        (dose.lower, dose.upper),
        (Some(significant(0.001 * 366.0 / 365.25)), Some(significant(0.004 * 366.0 / 365.25)))
    );
    assert_eq!((dose.unit.as_str(), dose.at_least), ("mg/m3.a", true));
    assert_eq!(dose.years_missing, significant(365.0 / 365.25));
    assert_eq!(view.years_exposed, significant(366.0 / 365.25));
    // 0.002 mg/m3 for a year, over that year: 2 ug/m3, in the unit of the intervals and of the limit.
    assert_eq!(view.average_intensity.to_json(), json!({"value": 2.0, "unit": "ug/m3"}));
    assert_eq!(gaps(&view), [("2021-01-01".into(), "2022-01-01".into(), GapKind::NoAssignment)]);
    let interval = &view.intervals[0];
    assert_eq!((interval.basis, interval.weight, interval.n), (Basis::Group, 1.0, Some(8)));
    assert_eq!(interval.site_id, Some(id(1002).into()));
    assert_eq!(view.measured_share, Some(1.0));
    assert!(view.working.unwrap().iter().any(|step| step.step == "cumulative"));
}

#[test]
fn a_history_starts_at_the_first_employment_and_gaps_have_their_kinds() {
    let mut case = case(
        vec![assigned(11, 2, "2020-01-01", Some("2022-07-01"), 5.0)],
        vec![exposure(
            2,
            vec![
                era(None, Some("2020-03-01"), ProfileMethod::None, 0, None),
                era(Some("2020-03-01"), Some("2021-01-01"), ProfileMethod::PosteriorOnly, 1, None),
                era(Some("2021-01-01"), Some("2022-01-01"), ProfileMethod::None, 3, None),
                era(Some("2022-01-01"), None, ProfileMethod::MaximumLikelihood, 9, Some(1.0)),
            ],
        )],
    );
    case.employments = vec![employed(1, "2020-01-01", Some("2022-10-01"))];
    let view = case.asked(Some("2015-01-01"), "2023-01-01", 0);
    assert_eq!(view.from, date("2020-01-01"));
    // The second era has one result: its posterior mean is no gap, only missing as yet.
    assert_eq!(
        gaps(&view),
        [
            ("2020-01-01".into(), "2020-03-01".into(), GapKind::NoDataInEra),
            ("2021-01-01".into(), "2022-01-01".into(), GapKind::DataCannotTell),
            ("2022-07-01".into(), "2022-10-01".into(), GapKind::NoAssignment),
            ("2022-10-01".into(), "2023-01-01".into(), GapKind::NotEmployedHere),
        ]
    );
    let bases: Vec<_> = view.intervals.iter().map(|interval| interval.basis).collect();
    assert_eq!(bases, [Basis::None, Basis::Posterior, Basis::None, Basis::Group]);
    // 60 days of 2020, 365 of 2021 and 92 of 2022; not those after the employment, nor the 306 with a posterior mean.
    assert_eq!(view.cumulative.as_ref().unwrap().years_missing, significant(517.0 / 365.25));
    assert_eq!(view.intervals[1].mean.as_ref().unwrap().upper, Some(1.6));
    assert!(view.flags.contains(&HistoryFlag::PriorWidened));
    assert!(view.intervals[1].flags.contains(&HistoryFlag::FewDates));
    // 306 days of the posterior and 181 of the mean, of 912 assigned.
    assert_eq!(view.measured_share, Some(significant(487.0 / 912.0)));
}

#[test]
fn recorded_days_replace_their_week_and_absences_weigh_nothing() {
    // Four weeks from Monday 2 March 2026 at 2.5 shifts a week; four days recorded in the second; five days away.
    let mut case =
        case(vec![assigned(11, 2, "2026-03-02", Some("2026-03-30"), 2.5)], vec![exposure(2, exact(2.0))]);
    let day = |number, on: &str, in_group: u128| {
        version::<WorkedDay>(number, None, &json!({"date": on, "group_id": id(in_group), "hours": 8}))
    };
    case.recorded = ["2026-03-09", "2026-03-10", "2026-03-11", "2026-03-12"]
        .iter()
        .zip(50..)
        .map(|(on, number)| day(number, on, 2))
        .collect();
    case.absences = vec![version(60, None, &json!({"from": "2026-03-16", "to": "2026-03-21"}))];
    let view = case.asked(Some("2026-03-02"), "2026-03-30", 0);
    // 28 - 7 - 5 = 16 days by schedule: (16 x 2.5 + 4 x 7) / 5 = 13.6 of 28 days.
    assert_eq!(view.intervals[0].weight, significant(13.6 / 28.0));
    assert_eq!(view.cumulative.as_ref().unwrap().value, Some(significant(0.002 * 13.6 / 365.25)));
    assert!(view.gaps.is_empty());
    // One more day in a group without an assignment: that part of the week stands by itself, 1 x 7 / 5 of 7 days.
    case.recorded.push(day(70, "2026-03-13", 3));
    case.groups.push(exposure(3, exact(4.0)));
    let view = case.asked(Some("2026-03-02"), "2026-03-30", 0);
    let other = view.intervals.iter().find(|interval| interval.group_id.0 == id(3)).unwrap();
    assert_eq!((other.from, other.to, other.weight), (date("2026-03-09"), date("2026-03-16"), 0.2));
    assert_eq!(other.flags, [HistoryFlag::RecordedWithoutAssignment]);
    assert_eq!(view.cumulative.unwrap().value, Some(significant((0.002 * 13.6 + 0.004 * 1.4) / 365.25)));
}

#[test]
fn own_shifts_on_six_dates_of_an_era_replace_the_groups_mean() {
    let mut case = case(vec![assigned(11, 2, "2020-01-01", None, 5.0)], vec![exposure(2, exact(2.0))]);
    let twas = [1.0, 2.0, 4.0, 3.0, 5.0, 1.5];
    for (month, twa) in (1..).zip(twas) {
        case.own.push(own(2, &format!("2020-{month:02}-05"), Measured::Value(twa)));
    }
    let view = case.asked(None, "2021-01-01", 0);
    let expected = estimated_mean(&twas.map(Measured::Value)).unwrap();
    assert_eq!(view.intervals[0].basis, Basis::Own);
    assert_eq!(view.intervals[0].mean.as_ref().unwrap().estimate, significant(expected.estimate));
    assert_eq!((view.intervals[0].n, view.intervals[0].worker_count), (Some(6), Some(1)));
    // Two shifts of one date are one date; a worst case does not count.
    case.own[5].date = case.own[4].date;
    assert_eq!(case.asked(None, "2021-01-01", 0).intervals[0].basis, Basis::Group);
    case.own[5].date = date("2020-06-05");
    case.own[0].enters_profile = false;
    assert_eq!(case.asked(None, "2021-01-01", 0).intervals[0].basis, Basis::Group);
}

#[test]
fn a_judgement_with_a_mean_fills_what_nobody_measured_and_hides_nothing_measured() {
    let mut groups = vec![exposure(
        2,
        vec![
            era(None, Some("2020-07-01"), ProfileMethod::None, 0, None),
            era(Some("2020-07-01"), None, ProfileMethod::Exact, 8, Some(2.0)),
        ],
    )];
    let judged = |mean: Value| {
        let mut fact = json!({"group_id": id(2), "agent_code": "chromium_vi", "from": "2020-04-01",
            "kind": "professional", "rating": 3, "rationale": "Like the other hall."});
        fact["arithmetic_mean"] = mean;
        vec![version::<Judgement>(80, None, &fact)]
    };
    groups[0].judgements =
        judged(json!({"lower": {"value": 0.001, "unit": "mg/m3"}, "upper": {"value": 3, "unit": "ug/m3"}}));
    let mut case = case(vec![assigned(11, 2, "2020-01-01", None, 5.0)], groups);
    let view = case.asked(None, "2021-01-01", 0);
    let found: Vec<_> = view.intervals.iter().map(|one| (one.from.to_string(), one.basis)).collect();
    assert_eq!(
        found,
        [
            ("2020-01-01".into(), Basis::None),
            ("2020-04-01".into(), Basis::Judgement),
            ("2020-07-01".into(), Basis::Group),
        ]
    );
    let mean = view.intervals[1].mean.as_ref().unwrap();
    assert_eq!((mean.estimate, mean.lower, mean.upper), (2.0, Some(1.0), Some(3.0)));
    assert_eq!(view.intervals[1].flags, [HistoryFlag::MiddleOfJudgedRange]);
    case.groups[0].judgements = judged(Value::Null);
    let rated_only = case.asked(None, "2021-01-01", 0);
    assert_eq!(gaps(&rated_only), [("2020-01-01".into(), "2020-07-01".into(), GapKind::NoDataInEra)]);
}

#[test]
fn a_lag_by_the_calendar_takes_off_the_end_and_shows_what_it_took() {
    let case = case(vec![assigned(11, 2, "2020-01-01", None, 5.0)], vec![exposure(2, exact(2.0))]);
    let view = case.asked(None, "2022-01-01", 1);
    assert_eq!(view.cumulative.as_ref().unwrap().value, Some(significant(0.002 * 366.0 / 365.25)));
    assert_eq!(view.intervals.len(), 2);
    assert_eq!(
        (view.intervals[1].from, view.intervals[1].flags.as_slice()),
        (date("2021-01-01"), &[HistoryFlag::WithinLag][..])
    );
    assert_eq!(case.asked(None, "2022-01-01", 50).cumulative.unwrap().value, Some(0.0));
}

#[test]
fn long_shifts_are_flagged_and_shown_scaled_by_hours() {
    let mut case = case(vec![assigned(11, 2, "2020-01-01", None, 4.0)], vec![exposure(2, exact(2.0))]);
    case.assignments[0].fact.hours_per_shift = 12.0;
    let view = case.asked(None, "2021-01-01", 0);
    assert_eq!(view.intervals[0].mean.as_ref().unwrap().scaled_estimate, Some(3.0));
    assert_eq!(
        (view.intervals[0].flags.as_slice(), view.intervals[0].weight),
        (&[HistoryFlag::ShiftLengthDiffers][..], 0.8)
    );
    // A tenth exactly is not more than a tenth.
    case.assignments[0].fact.hours_per_shift = 8.8;
    assert_eq!(case.asked(None, "2021-01-01", 0).intervals[0].mean.as_ref().unwrap().scaled_estimate, None);
}

#[test]
fn twenty_days_at_each_of_two_sites_are_forty() {
    // Four weeks of five shifts at each site from Mondays; both groups stand at or above.
    let mut groups = vec![exposure(2, exact(3.0)), exposure(3, exact(3.0))];
    groups[0].standing = vec![stands(Level::AtOrAboveActionLevel, None)];
    groups[1].standing = vec![stands(Level::AboveLimit, Some("2026-01-01"))];
    let mut case = case(
        vec![
            assigned(11, 2, "2026-03-02", Some("2026-03-30"), 5.0),
            assigned(12, 3, "2026-09-07", Some("2026-10-05"), 5.0),
        ],
        groups,
    );
    case.employments = vec![employed(1, "2026-01-01", None)];
    let days = case.asked(None, "2026-12-01", 0).days_at_or_above_action_level.unwrap();
    assert_eq!((days.measured, days.by_standing.worst_12_months.count, days.undecided), (0, 40, 0));
    assert_eq!(days.by_standing.worst_12_months.from, Some(date("2026-03-02")));
    assert_eq!(days.by_standing.worst_12_months.to, Some(date("2027-03-02")));
    assert_eq!(days.by_standing.calendar_years, json!({"2026": 40}));
    // An own measured day replaces the standing of its date; one that cannot tell keeps it and is undecided.
    case.own = vec![
        own(2, "2026-03-02", Measured::Value(1.0)),
        own(2, "2026-03-03", Measured::Below(3.1)),
        own(2, "2026-03-04", Measured::Value(2.5)),
    ];
    let days = case.asked(Some("2026-06-01"), "2026-12-01", 0).days_at_or_above_action_level.unwrap();
    assert_eq!((days.measured, days.by_standing.worst_12_months.count, days.undecided), (1, 39, 1));
}

#[test]
fn the_averages_of_one_date_add_up_over_groups_and_the_day_names_its_sites_and_facts() {
    let mut case = case(
        vec![assigned(11, 2, "2026-03-02", Some("2026-03-09"), 5.0)],
        vec![exposure(2, exact(1.0)), exposure(3, exact(1.0))],
    );
    case.groups[0].standing = vec![stands(Level::BelowActionLevel, None)];
    case.own = vec![own(2, "2026-03-02", Measured::Value(1.5)), own(3, "2026-03-02", Measured::Value(1.2))];
    let days = worker_days(&case.evidence(), Unit::UgPerM3, date("2027-01-01"));
    let first = &days.days[0];
    assert_eq!(first.day.twa, Some(Measured::Value(2.7)));
    assert!(first.verdict().measured);
    assert_eq!(first.sites, [id(1002).into(), id(1003).into()]);
    assert_eq!(first.basis, [11, 77, 900]);
    assert_eq!(days.days.len(), 5);
    assert_eq!(days.basis(date("2026-03-03"), date("2026-03-04")), [11, 77]);
    assert_eq!(days.days[1].day.standing, Some(Level::BelowActionLevel));
    // Recorded in both groups and measured in one: the sum is only the least it can be.
    case.own.truncate(1);
    let day = |number, in_group: u128| {
        version::<WorkedDay>(
            number,
            None,
            &json!({"date": "2026-03-02", "group_id": id(in_group), "hours": 4}),
        )
    };
    case.recorded = vec![day(50, 2), day(51, 3)];
    let days = worker_days(&case.evidence(), Unit::UgPerM3, date("2027-01-01"));
    assert_eq!(days.days[0].day.twa, Some(Measured::Above(1.5)));
    assert!(days.days[0].verdict().undecided);
}

#[test]
fn of_two_groups_worked_in_on_one_date_the_higher_standing_counts_once() {
    let mut case =
        case(Vec::new(), vec![exposure(2, exact(1.0)), exposure(3, exact(1.0)), exposure(4, exact(1.0))]);
    case.groups[0].standing = vec![stands(Level::BelowActionLevel, None)];
    case.groups[1].standing = vec![stands(Level::AtOrAboveActionLevel, None)];
    case.recorded = [(50, 2), (51, 3), (52, 2)]
        .map(|(number, in_group)| {
            version(number, None, &json!({"date": "2026-03-02", "group_id": id(in_group), "hours": 3}))
        })
        .to_vec();
    let days = worker_days(&case.evidence(), Unit::UgPerM3, date("2027-01-01"));
    assert_eq!(days.days.len(), 1);
    assert_eq!(days.days[0].day.standing, Some(Level::AtOrAboveActionLevel));
    assert_eq!(days.at_or_above().by_standing.len(), 1);
    // A group that no round has told of yet lowers nothing.
    case.recorded[2].fact.group_id = id(4).into();
    let days = worker_days(&case.evidence(), Unit::UgPerM3, date("2027-01-01"));
    assert_eq!(days.days[0].day.standing, Some(Level::AtOrAboveActionLevel));
}

#[test]
fn an_open_assignment_counts_to_twelve_months_after_the_day_of_asking() {
    let mut groups = vec![exposure(2, exact(3.0))];
    groups[0].standing = vec![stands(Level::AtOrAboveActionLevel, None)];
    let case = case(vec![assigned(11, 2, "2026-03-02", None, 5.0)], groups);
    let days = case.asked(None, "2026-03-09", 0).days_at_or_above_action_level.unwrap();
    // 261 weekdays in the twelve months from Monday 2 March 2026.
    assert_eq!(days.by_standing.worst_12_months.count, 261);
}

#[test]
fn overlapping_assignments_are_added_and_each_day_is_exposed_once() {
    let case = case(
        vec![
            assigned(11, 2, "2020-01-01", Some("2021-01-01"), 3.0),
            assigned(12, 3, "2020-01-01", Some("2021-01-01"), 2.0),
        ],
        vec![exposure(2, exact(2.0)), exposure(3, vec![era(None, None, ProfileMethod::None, 0, None)])],
    );
    let view = case.asked(None, "2021-01-01", 0);
    assert_eq!(view.cumulative.as_ref().unwrap().value, Some(significant(0.002 * 0.6 * 366.0 / 365.25)));
    assert_eq!(view.years_exposed, significant(366.0 / 365.25));
    // One of the two has a mean, so the dates are no gap; the other's exposure is missing all the same.
    assert!(view.gaps.is_empty());
    assert!(view.cumulative.unwrap().at_least);
    assert_eq!(view.measured_share, Some(0.6));
}

#[test]
fn expected_days_are_days_worked_times_their_chance() {
    // 52 weeks of five shifts are 260 days; at a chance of 0.2 (0.1 to 0.4) each, 52 (26 to 104).
    let mut eras = exact(1.0);
    eras[0].chance = Some(DayChance { estimate: 0.2, lower: 0.1, upper: 0.4 });
    let assigned = assigned(11, 2, "2024-01-01", Some("2024-12-30"), 5.0);
    let one = case(vec![assigned.clone()], vec![exposure(2, eras.clone())]);
    let view = one.asked(None, "2025-02-01", 0);
    let expected = view.days_at_or_above_action_level.unwrap().expected.unwrap();
    assert!(near(expected.estimate, 52.0) && near(expected.lower, 26.0) && near(expected.upper, 104.0));
    assert!(!view.flags.contains(&HistoryFlag::ExpectedIncomplete));
    // Twelve hours in place of eight: 2.5 ug/m3 are reached when eight hours would have shown 1.67, which is likelier.
    let mut long = assigned;
    long.fact.hours_per_shift = 12.0;
    eras[0].results = [0.8, 1.2, 1.6, 0.9, 1.1, 1.4, 0.7, 1.0].map(Measured::Value).to_vec();
    let own_chance = |level: f64| day_chance(&eras[0].results, Some(5.0), level).unwrap().estimate;
    let view = case(vec![long], vec![exposure(2, eras.clone())]).asked(None, "2025-02-01", 0);
    let expected = view.days_at_or_above_action_level.unwrap().expected.unwrap();
    assert!(near(expected.estimate, 260.0 * own_chance(2.5 / 1.5)), "{}", expected.estimate);
    assert!(own_chance(2.5 / 1.5) > own_chance(2.5));
}

#[test]
fn days_without_a_chance_are_missing_from_those_expected_and_said_so() {
    let nothing = vec![era(None, None, ProfileMethod::None, 0, None)];
    let case = case(vec![assigned(11, 2, "2024-01-01", Some("2024-12-30"), 5.0)], vec![exposure(2, nothing)]);
    let view = case.asked(None, "2025-02-01", 0);
    assert_eq!(view.days_at_or_above_action_level.unwrap().expected, None);
    assert!(view.flags.contains(&HistoryFlag::ExpectedIncomplete));
}

fn near(found: f64, expected: f64) -> bool {
    (found - expected).abs() < 1e-6 * expected
}
