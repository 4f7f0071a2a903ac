//! A history of noise: years by level band, and the equal-energy mean.

use crate::conclusions::history::basis::{GapKind, Grounds};
use crate::conclusions::history::piece::{Bounds, Piece};
use crate::conclusions::history::timeline::Timeline;
use crate::hygiene::cumulative::{DAYS_PER_YEAR, MeanWithLimits};
use crate::hygiene::equal_energy::{EQUAL_ENERGY_MEAN, equal_energy_mean};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::working::{Formula, Step};
use crate::{record, words};
use serde_json::{Value, json};

/// Below it noise does not count towards hearing conservation: 29 CFR 1910.95(d)(2)(i) integrates from 80 dBA.
pub const QUIET_BELOW: f64 = 80.0;
/// The action level: 29 CFR 1910.95(c)(1).
pub const LOUD_FROM: f64 = 85.0;
/// The limit: 29 CFR 1910.95 Table G-16.
pub const VERY_LOUD_FROM: f64 = 90.0;

/// Years by level.
pub const YEARS_BY_LEVEL: Formula = Formula {
    formula: "years = sum of days x weight / 365.25 of the intervals whose mean level lies in the band; without a mean \
              level the band that holds every level read; not_known: neither, and time employed without an assignment",
    source: "this registry's rule; bands at 80, 85 and 90 dBA: 29 CFR 1910.95(d)(2)(i), (c)(1), Table G-16",
};

words! {
    /// A band of 8-hour levels.
    pub enum LevelBand {
        /// Below 80 dBA.
        Below80 = "below_80",
        /// From 80 to below 85 dBA.
        From80 = "from_80_to_below_85",
        /// From 85 to below 90 dBA.
        From85 = "from_85_to_below_90",
        /// 90 dBA and above.
        From90 = "90_and_above",
        /// Not known.
        NotKnown = "not_known",
    }
}

record! {
    /// Years of full time at a level.
    pub struct YearsAtLevel {
        /// The band.
        band: LevelBand,
        /// Years, weighted by the share of full time.
        years: f64,
    }
}

record! {
    /// The mean level by equal energy over the time that has data of the 3 dB exchange rate.
    pub struct EqualEnergyView {
        /// The mean.
        estimate: f64,
        /// With every part at its lower limit; absent where one has none.
        lower: Option<f64>,
        /// With every part at its upper limit; absent where one has none.
        upper: Option<f64>,
        /// The unit of all three.
        unit: Unit,
        /// Years of full time that it rests on.
        years: f64,
        /// Years of full time assigned without such data.
        years_missing: f64,
    }
}

/// The band of a level.
fn band_at(level: f64) -> LevelBand {
    let level = significant(level);
    if level >= VERY_LOUD_FROM {
        LevelBand::From90
    } else if level >= LOUD_FROM {
        LevelBand::From85
    } else if level >= QUIET_BELOW {
        LevelBand::From80
    } else {
        LevelBand::Below80
    }
}

/// The band of a time: that of its mean level, else the one that holds every level read.
pub fn band(grounds: &Grounds) -> LevelBand {
    if let Some(mean) = grounds.mean {
        return band_at(mean.estimate);
    }
    let Some(noise) = grounds.noise else { return LevelBand::NotKnown };
    let highest = match noise.range {
        // Strictly below its limit: one that is the end of a band lies in that band.
        Measured::Below(limit) => [QUIET_BELOW, LOUD_FROM, VERY_LOUD_FROM]
            .into_iter()
            .find(|end| significant(limit) <= *end)
            .map_or(LevelBand::From90, |end| band_at(end - 1.0)),
        other => other.upper().map_or(LevelBand::NotKnown, band_at),
    };
    if highest == band_at(noise.range.lower()) { highest } else { LevelBand::NotKnown }
}

/// The pieces that count, before the lag, with their years of full time.
fn counted(pieces: &[Piece], bounds: Bounds) -> impl Iterator<Item = (&Piece, f64)> {
    let years = |piece: &Piece| piece.days.full_time_days(piece.shifts_per_week) / DAYS_PER_YEAR;
    pieces.iter().filter(move |piece| piece.to <= bounds.lag_from).map(move |piece| (piece, years(piece)))
}

/// Years by band, every band named.
pub fn years_by_level(pieces: &[Piece], timeline: &Timeline, bounds: Bounds) -> Vec<YearsAtLevel> {
    let unassigned: i64 = timeline
        .gaps
        .iter()
        .filter(|gap| gap.kind == GapKind::NoAssignment)
        .map(|gap| (gap.to.min(bounds.lag_from) - gap.from).num_days().max(0))
        .sum();
    let unassigned = f64::from(i32::try_from(unassigned).unwrap_or(i32::MAX)) / DAYS_PER_YEAR;
    LevelBand::ALL
        .iter()
        .map(|&of| {
            let here = counted(pieces, bounds).filter(|(piece, _)| band(&piece.grounds) == of);
            let years: f64 = here.map(|(_, years)| years).sum();
            let beside = if of == LevelBand::NotKnown { unassigned } else { 0.0 };
            YearsAtLevel { band: of, years: significant(years + beside) }
        })
        .collect()
}

/// The parts of a history that have an equal-energy mean, with their years of full time.
fn energy_parts(pieces: &[Piece], bounds: Bounds) -> Vec<(MeanWithLimits, f64)> {
    counted(pieces, bounds)
        .filter_map(|(piece, years)| Some((piece.grounds.noise?.equal_energy?, years)))
        .filter(|(_, years)| *years > 0.0)
        .collect()
}

/// The equal-energy mean; `None` where no time has data of the 3 dB exchange rate.
pub fn equal_energy(pieces: &[Piece], bounds: Bounds) -> Option<EqualEnergyView> {
    let parts = energy_parts(pieces, bounds);
    let mean = equal_energy_mean(&parts)?;
    let years: f64 = parts.iter().map(|(_, years)| years).sum();
    let assigned: f64 = counted(pieces, bounds).map(|(_, years)| years).sum();
    Some(EqualEnergyView {
        estimate: mean.estimate,
        lower: mean.lower,
        upper: mean.upper,
        unit: Unit::DbA,
        years: significant(years),
        years_missing: significant((assigned - years).max(0.0)),
    })
}

/// The steps behind both.
pub fn noise_steps(
    pieces: &[Piece],
    bounds: Bounds,
    by_level: &[YearsAtLevel],
    energy: Option<&EqualEnergyView>,
) -> Vec<Step> {
    let intervals: Vec<Value> = counted(pieces, bounds)
        .map(|(piece, years)| {
            json!({"from": piece.from.to_json(), "to": piece.to.to_json(),
                "mean_level": piece.grounds.mean.map(|mean| significant(mean.estimate)),
                "criterion": piece.grounds.noise.map(|noise| noise.criterion.as_str()),
                "band": band(&piece.grounds).as_str(), "years": significant(years)})
        })
        .collect();
    let years: Vec<Value> = by_level.iter().map(Shape::to_json).collect();
    let mut steps = vec![Step::new("years by level", YEARS_BY_LEVEL, json!(intervals), json!(years))];
    if let Some(energy) = energy {
        let parts: Vec<Value> = energy_parts(pieces, bounds)
            .into_iter()
            .map(|(mean, years)| json!({"level": mean.estimate, "years": significant(years)}))
            .collect();
        steps.push(Step::new("equal-energy mean", EQUAL_ENERGY_MEAN, json!(parts), energy.to_json()));
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::asked::Asked;
    use crate::conclusions::history::basis::Basis;
    use crate::conclusions::history::conclude::history;
    use crate::conclusions::history::evidence::{
        EraMean, GroupExposure, HistoryEvidence, NoiseMean, OwnShift, Window,
    };
    use crate::conclusions::history::level_period::LevelPeriod;
    use crate::conclusions::history::view::{HistoryFlag, HistoryView};
    use crate::conclusions::history::worker_days::worker_days;
    use crate::conclusions::invented::{agent, date, id, version};
    use crate::hygiene::noise::dose_of_average;
    use crate::hygiene::profile::ProfileMethod;
    use crate::model::facts::sampling::NoiseCriterion;
    use crate::model::facts::worker::{Assignment, Employment};
    use crate::model::version::Version;

    /// An era of a group with these levels; no mean where `mean` is absent.
    fn era(range: Measured, mean: Option<f64>, equal_energy: Option<f64>) -> EraMean {
        let at = |estimate| MeanWithLimits { estimate, lower: None, upper: None };
        EraMean {
            from: None,
            to: None,
            unit: Unit::DbA,
            method: ProfileMethod::Exact,
            mean: mean.map(at),
            noise: Some(NoiseMean {
                criterion: NoiseCriterion::OshaActionLevel,
                range,
                equal_energy: equal_energy.map(at),
            }),
            posterior: None,
            chance: None,
            action_level: None,
            limit: None,
            results: Vec::new(),
            shift_minutes: Some(480.0),
            n: 3,
            worker_count: 3,
            date_count: 3,
            first: None,
            last: None,
            not_accepted: 0,
        }
    }

    fn exposure(number: u128, era: EraMean) -> GroupExposure {
        GroupExposure {
            group: id(number).into(),
            site: id(1000).into(),
            eras: vec![era],
            judgements: Vec::new(),
            standing: Vec::new(),
            // 29 CFR 1910.95(c)(1).
            action_level: vec![LevelPeriod { from: None, level: Some(85.0) }],
            at_limit: None,
            of_others: Vec::new(),
            respirator: Vec::new(),
            expected: Vec::new(),
        }
    }

    fn assigned(number: u128, group: u128, from: &str, to: &str) -> Version<Assignment> {
        let fact = json!({"group_id": id(group), "from": from, "to": to, "shifts_per_week": 5, "hours_per_shift": 8});
        version(number, None, &fact)
    }

    fn of(assignments: &[Version<Assignment>], groups: &[GroupExposure], own: &[OwnShift]) -> HistoryView {
        let employed = json!({"employer": "Own works", "employee_number": "1", "relation": "own",
            "from": "2020-01-01"});
        let employments: Vec<Version<Employment>> = vec![version(1, None, &employed)];
        let evidence = HistoryEvidence {
            agent: &agent("noise"),
            employments: &employments,
            assignments,
            recorded: &[],
            absences: &[],
            groups,
            own,
            respirators: &[],
        };
        let window =
            Window { from: None, to: Some(date("2024-01-01")), lag_years: 0, today: date("2024-01-01") };
        history(&evidence, window, Asked { working: true, ..Asked::default() })
    }

    fn own(day: &str, level: f64) -> OwnShift {
        OwnShift {
            date: date(day),
            group: id(2).into(),
            site: id(1000).into(),
            unit: Unit::DbA,
            criterion: Some(NoiseCriterion::OshaActionLevel),
            dose: Some(dose_of_average(Measured::Value(level), 480.0, NoiseCriterion::OshaActionLevel)),
            twa: Some(Measured::Value(level)),
            mean_twa: Some(Measured::Value(level)),
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

    // 2020 has 366 days, 2021 to 2023 have 365 each; / 365.25. The rest is arithmetic on invented levels.
    #[test]
    fn years_fall_into_bands_and_nothing_is_added_up() {
        let value = Measured::Value(88.0);
        let view = of(
            &[
                assigned(11, 2, "2020-01-01", "2021-01-01"),
                assigned(12, 3, "2021-01-01", "2022-01-01"),
                assigned(13, 4, "2022-01-01", "2023-01-01"),
            ],
            &[
                exposure(2, era(value, Some(88.0), None)),
                exposure(3, era(Measured::Below(80.0), None, None)),
                exposure(4, era(Measured::Between { lower: 79.0, upper: 86.0 }, None, None)),
            ],
            &[],
        );
        let years: Vec<_> =
            view.years_by_level.unwrap().into_iter().map(|one| (one.band.as_str(), one.years)).collect();
        let year = |days: f64| significant(days / 365.25);
        // Levels that do not agree in one band, and 2023 without an assignment, are not known.
        let expected = [
            ("below_80", year(365.0)),
            ("from_80_to_below_85", 0.0),
            ("from_85_to_below_90", year(366.0)),
            ("90_and_above", 0.0),
            ("not_known", year(730.0)),
        ];
        assert_eq!(years, expected);
        assert_eq!((view.cumulative, view.average_intensity, view.equal_energy_mean), (None, None, None));
        for flag in [
            HistoryFlag::LevelsNotAdded,
            HistoryFlag::NoEqualEnergyData,
            HistoryFlag::NoMeanLevel,
            HistoryFlag::NoExpectedDays,
        ] {
            assert!(view.flags.contains(&flag), "{flag:?}");
        }
        let bands: Vec<_> = view.intervals.iter().map(|one| one.level_band.unwrap().as_str()).collect();
        assert_eq!(bands, ["from_85_to_below_90", "below_80", "not_known"]);
        assert!(view.working.unwrap().iter().any(|step| step.step == "years by level"));
    }

    // Two equal years at 80 and 90 dBA: (10^8 + 10^9) / 2 = 5.5 x 10^8, 10 log10 of it 87.4036.
    #[test]
    fn times_with_3_db_data_have_an_equal_energy_mean() {
        let at = |level| era(Measured::Value(level), Some(level), Some(level));
        let view = of(
            &[
                assigned(11, 2, "2021-01-01", "2022-01-01"),
                assigned(12, 3, "2022-01-01", "2023-01-01"),
                assigned(13, 4, "2023-01-01", "2024-01-01"),
            ],
            &[
                exposure(2, at(80.0)),
                exposure(3, at(90.0)),
                exposure(4, era(Measured::Value(99.0), Some(99.0), None)),
            ],
            &[],
        );
        let mean = view.equal_energy_mean.unwrap();
        assert!((mean.estimate - 87.403_626_9).abs() < 1e-6, "{mean:?}");
        assert_eq!(
            (mean.years, mean.years_missing),
            (significant(730.0 / 365.25), significant(365.0 / 365.25))
        );
        assert!(!view.flags.contains(&HistoryFlag::NoEqualEnergyData));
    }

    // 29 CFR 1926.52(d)(1): construction has no action level; what a day can exceed is the limit, met from 90 dBA on.
    #[test]
    fn without_an_action_level_a_day_is_read_by_the_criterion_of_the_limit() {
        let by = |criterion, level| OwnShift {
            criterion: Some(criterion),
            dose: Some(dose_of_average(Measured::Value(level), 480.0, criterion)),
            ..own("2020-03-02", level)
        };
        let shifts = [by(NoiseCriterion::OshaLimit, 88.0), by(NoiseCriterion::OshaActionLevel, 91.0)];
        let twa = |level: Option<f64>| {
            let mut group = exposure(2, era(Measured::Value(88.0), Some(88.0), None));
            group.action_level = vec![LevelPeriod { from: None, level }];
            let evidence = HistoryEvidence {
                agent: &agent("noise"),
                employments: &[],
                assignments: &[],
                recorded: &[],
                absences: &[],
                groups: &[group],
                own: &shifts,
                respirators: &[],
            };
            worker_days(&evidence, Unit::DbA, date("2021-01-01")).days[0].day.twa
        };
        assert_eq!(twa(None), Some(Measured::Value(88.0)));
        assert_eq!(twa(Some(85.0)), Some(Measured::Value(91.0)));
    }

    #[test]
    fn own_shifts_on_six_dates_replace_the_group_and_their_days_are_counted_by_dose() {
        let days = ["02", "03", "04", "05", "06", "09"];
        // 84, 85, 86, 84, 85, 86: mean 85; four of the six days reach 85 dBA.
        let own: Vec<_> = days
            .iter()
            .zip([84.0, 85.0, 86.0, 84.0, 85.0, 86.0])
            .map(|(day, level)| own(&format!("2020-03-{day}"), level))
            .collect();
        let assignments = [assigned(11, 2, "2020-01-01", "2021-01-01")];
        let groups = [exposure(2, era(Measured::Value(80.0), Some(80.0), None))];
        let view = of(&assignments, &groups, &own);
        let interval = &view.intervals[0];
        assert_eq!(
            (interval.basis, interval.mean.as_ref().unwrap().estimate.to_bits()),
            (Basis::Own, 85f64.to_bits())
        );
        assert_eq!(interval.level_band, Some(LevelBand::From85));
        assert_eq!(view.days_at_or_above_action_level.unwrap().measured, 4);
        let five = of(&assignments, &groups, &own[..5]);
        assert_eq!(five.intervals[0].basis, Basis::Group);
    }
}
