//! What stored rows keep for histories: a group's means and standing, a worker's own shifts. A history then reads some
//! twenty rows instead of every sample of every group.

use crate::conclusions::day_chance::DayChance;
use crate::conclusions::history::evidence::{
    EraMean, GroupExposure, NoiseMean, OtherStanding, OwnShift, PlacedMove,
};
use crate::conclusions::history::level_period::LevelPeriod;
use crate::conclusions::posterior_mean::PosteriorMean;
use crate::hygiene::cumulative::MeanWithLimits;
use crate::hygiene::profile::ProfileMethod;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::{EventId, GroupId, SiteId};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::record;
use crate::surveillance::level::Level;
use crate::surveillance::standing::Move;
use chrono::NaiveDate;

record! {
    /// The mean of a group in one era.
    pub struct KeptMean {
        /// The first day.
        from: Option<NaiveDate>,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// The unit.
        unit: Unit,
        /// How it was estimated.
        method: ProfileMethod,
        /// The mean.
        estimate: Option<f64>,
        /// Its lower limit.
        lower: Option<f64>,
        /// Its upper limit.
        upper: Option<f64>,
        /// What else is known of noise.
        noise: Option<KeptNoise>,
        /// The posterior mean.
        posterior: Option<KeptFigure>,
        /// Whether its prior was widened.
        prior_widened: bool,
        /// The chance that a day is at or above the action level.
        chance: Option<KeptFigure>,
        /// The action level.
        action_level: Option<f64>,
        /// The limit.
        limit: Option<f64>,
        /// The averages behind it.
        results: Vec<Quantity>,
        /// Minutes of the shifts behind it.
        shift_minutes: Option<f64>,
        /// How many shifts.
        n: i64,
        /// How many workers.
        worker_count: i64,
        /// How many dates.
        date_count: i64,
        /// The first of them.
        first: Option<NaiveDate>,
        /// The last of them.
        last: Option<NaiveDate>,
        /// Results not accepted yet.
        not_accepted: i64,
    }
}

record! {
    /// What is known of levels of noise beside their mean.
    pub struct KeptNoise {
        /// By which criterion the mean level is.
        criterion: NoiseCriterion,
        /// From the least level to the most.
        range: Quantity,
        /// The energy mean.
        energy: Option<f64>,
        /// Its lower limit.
        energy_lower: Option<f64>,
        /// Its upper limit.
        energy_upper: Option<f64>,
    }
}

record! {
    /// A figure with its ends.
    pub struct KeptFigure {
        /// The estimate.
        estimate: f64,
        /// Its lower end.
        lower: Option<f64>,
        /// Its upper end.
        upper: Option<f64>,
    }
}

record! {
    /// A move of standing with what it rests on.
    pub struct KeptMove {
        /// Where the group stands from then on.
        level: Level,
        /// Since when.
        since: Option<NaiveDate>,
        /// The event of the round.
        event_id: EventId,
        /// The date of the round.
        date: NaiveDate,
        /// The clause of a step down.
        clause: Option<String>,
        /// Journal positions behind it.
        basis: Vec<i64>,
    }
}

record! {
    /// An action level from a day on.
    pub struct KeptLevel {
        /// The first day.
        from: Option<NaiveDate>,
        /// The level.
        level: Option<f64>,
    }
}

record! {
    /// What a group says of the exposure of its members, but for judgements and conditions.
    pub struct KeptExposure {
        /// Its site.
        site_id: SiteId,
        /// Every era.
        means: Vec<KeptMean>,
        /// The moves of its standing by the statute.
        moves: Vec<KeptMove>,
        /// The same where lying at the limit counts as above it, where that makes a difference.
        at_limit: Option<Vec<KeptMove>>,
        /// The statute's action level.
        levels: Vec<KeptLevel>,
        /// The same by other authorities.
        of_others: Option<Vec<KeptOther>>,
    }
}

record! {
    /// How a group stands by another authority.
    pub struct KeptOther {
        /// Whose levels.
        authority: Code,
        /// The moves of its standing.
        moves: Vec<KeptMove>,
        /// The same where lying at the limit counts as above it, where that makes a difference.
        at_limit: Option<Vec<KeptMove>>,
        /// Its action level.
        levels: Vec<KeptLevel>,
    }
}

record! {
    /// One of a worker's own shifts.
    pub struct KeptShift {
        /// The shift date.
        date: NaiveDate,
        /// The group.
        group_id: GroupId,
        /// Its site.
        site_id: SiteId,
        /// The unit.
        unit: Unit,
        /// By which criterion, for noise.
        criterion: Option<NoiseCriterion>,
        /// The dose of noise.
        dose: Option<Quantity>,
        /// The 8-hour TWA as it is compared with levels.
        twa: Option<Quantity>,
        /// The 8-hour TWA as it enters a mean.
        mean_twa: Option<Quantity>,
        /// Whether the TWA may show that a date does not count.
        may_lower: bool,
        /// The highest short-term average.
        short_term: Option<Quantity>,
        /// The highest mean of a sample over longer.
        longer_mean: Option<Quantity>,
        /// Minutes of the shift.
        shift_minutes: f64,
        /// Whether it is an own measured day.
        own_record: bool,
        /// Whether a profile may use it.
        enters_profile: bool,
        /// Results not accepted yet.
        not_accepted: i64,
        /// Journal positions behind it.
        basis: Vec<i64>,
    }
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

fn counted(number: i64) -> usize {
    usize::try_from(number).unwrap_or_default()
}

impl KeptExposure {
    /// Keeps a group's exposure.
    pub fn of(exposure: &GroupExposure) -> Self {
        Self {
            site_id: exposure.site,
            means: exposure.eras.iter().map(KeptMean::of).collect(),
            moves: exposure.standing.iter().map(KeptMove::of).collect(),
            at_limit: exposure.at_limit.as_deref().map(kept_moves),
            levels: exposure.action_level.iter().map(KeptLevel::of).collect(),
            of_others: (!exposure.of_others.is_empty())
                .then(|| exposure.of_others.iter().map(KeptOther::of).collect()),
        }
    }

    /// The same as a history takes it; judgements and conditions are facts and are added there.
    pub fn exposure(self, group: GroupId) -> GroupExposure {
        GroupExposure {
            group,
            site: self.site_id,
            eras: self.means.into_iter().map(KeptMean::mean).collect(),
            judgements: Vec::new(),
            standing: self.moves.into_iter().map(KeptMove::placed).collect(),
            at_limit: self.at_limit.map(placed_moves),
            action_level: self.levels.into_iter().map(KeptLevel::period).collect(),
            of_others: self.of_others.into_iter().flatten().map(KeptOther::standing).collect(),
            respirator: Vec::new(),
            expected: Vec::new(),
        }
    }
}

fn kept_moves(moves: &[PlacedMove]) -> Vec<KeptMove> {
    moves.iter().map(KeptMove::of).collect()
}

fn placed_moves(kept: Vec<KeptMove>) -> Vec<PlacedMove> {
    kept.into_iter().map(KeptMove::placed).collect()
}

impl KeptOther {
    fn of(other: &OtherStanding) -> Self {
        Self {
            authority: other.authority.clone(),
            moves: other.standing.iter().map(KeptMove::of).collect(),
            at_limit: other.at_limit.as_deref().map(kept_moves),
            levels: other.action_level.iter().map(KeptLevel::of).collect(),
        }
    }

    fn standing(self) -> OtherStanding {
        OtherStanding {
            authority: self.authority,
            standing: self.moves.into_iter().map(KeptMove::placed).collect(),
            at_limit: self.at_limit.map(placed_moves),
            action_level: self.levels.into_iter().map(KeptLevel::period).collect(),
        }
    }
}

impl KeptLevel {
    fn of(period: &LevelPeriod) -> Self {
        Self { from: period.from, level: period.level }
    }

    fn period(self) -> LevelPeriod {
        LevelPeriod { from: self.from, level: self.level }
    }
}

impl KeptMean {
    fn of(era: &EraMean) -> Self {
        Self {
            from: era.from,
            to: era.to,
            unit: era.unit,
            method: era.method,
            estimate: era.mean.map(|mean| mean.estimate),
            lower: era.mean.and_then(|mean| mean.lower),
            upper: era.mean.and_then(|mean| mean.upper),
            noise: era.noise.map(|noise| KeptNoise {
                criterion: noise.criterion,
                range: Quantity { measured: noise.range, unit: era.unit, reported: None },
                energy: noise.equal_energy.map(|mean| mean.estimate),
                energy_lower: noise.equal_energy.and_then(|mean| mean.lower),
                energy_upper: noise.equal_energy.and_then(|mean| mean.upper),
            }),
            posterior: era.posterior.map(|found| KeptFigure {
                estimate: found.mean.estimate,
                lower: found.mean.lower,
                upper: found.mean.upper,
            }),
            prior_widened: era.posterior.is_some_and(|found| found.prior_widened),
            chance: era.chance.map(|chance| KeptFigure {
                estimate: chance.estimate,
                lower: Some(chance.lower),
                upper: Some(chance.upper),
            }),
            action_level: era.action_level,
            limit: era.limit,
            results: era
                .results
                .iter()
                .map(|&measured| Quantity { measured, unit: era.unit, reported: None })
                .collect(),
            shift_minutes: era.shift_minutes,
            n: count(era.n),
            worker_count: count(era.worker_count),
            date_count: count(era.date_count),
            first: era.first,
            last: era.last,
            not_accepted: count(era.not_accepted),
        }
    }

    fn mean(self) -> EraMean {
        let (lower, upper) = (self.lower, self.upper);
        EraMean {
            from: self.from,
            to: self.to,
            unit: self.unit,
            method: self.method,
            mean: self.estimate.map(|estimate| MeanWithLimits { estimate, lower, upper }),
            noise: self.noise.map(|kept| NoiseMean {
                criterion: kept.criterion,
                range: kept.range.measured,
                equal_energy: kept.energy.map(|estimate| MeanWithLimits {
                    estimate,
                    lower: kept.energy_lower,
                    upper: kept.energy_upper,
                }),
            }),
            posterior: self.posterior.map(|kept| PosteriorMean {
                mean: MeanWithLimits { estimate: kept.estimate, lower: kept.lower, upper: kept.upper },
                prior_widened: self.prior_widened,
            }),
            chance: self.chance.and_then(|kept| {
                Some(DayChance { estimate: kept.estimate, lower: kept.lower?, upper: kept.upper? })
            }),
            action_level: self.action_level,
            limit: self.limit,
            results: self.results.into_iter().map(|kept| kept.measured).collect(),
            shift_minutes: self.shift_minutes,
            n: counted(self.n),
            worker_count: counted(self.worker_count),
            date_count: counted(self.date_count),
            first: self.first,
            last: self.last,
            not_accepted: counted(self.not_accepted),
        }
    }
}

impl KeptMove {
    fn of(placed: &PlacedMove) -> Self {
        let (event_id, date) = placed.change.round;
        Self {
            level: placed.change.level,
            since: placed.change.since,
            event_id,
            date,
            clause: placed.change.clause.clone(),
            basis: placed.basis.clone(),
        }
    }

    fn placed(self) -> PlacedMove {
        let change = Move {
            level: self.level,
            since: self.since,
            round: (self.event_id, self.date),
            clause: self.clause,
        };
        PlacedMove { change, basis: self.basis }
    }
}

impl KeptShift {
    /// Keeps one of a worker's own shifts.
    pub fn of(shift: &OwnShift) -> Self {
        let quantity = |measured: Option<Measured>| {
            measured.map(|measured| Quantity { measured, unit: shift.unit, reported: None })
        };
        Self {
            date: shift.date,
            group_id: shift.group,
            site_id: shift.site,
            unit: shift.unit,
            criterion: shift.criterion,
            dose: shift.dose.map(|measured| Quantity { measured, unit: Unit::Percent, reported: None }),
            twa: quantity(shift.twa),
            mean_twa: quantity(shift.mean_twa),
            may_lower: shift.may_lower,
            short_term: quantity(shift.short_term),
            longer_mean: quantity(shift.longer_mean),
            shift_minutes: shift.shift_minutes,
            own_record: shift.own_record,
            enters_profile: shift.enters_profile,
            not_accepted: count(shift.not_accepted),
            basis: shift.basis.clone(),
        }
    }

    /// The same as a history takes it.
    pub fn shift(self) -> OwnShift {
        let measured = |quantity: Option<Quantity>| quantity.map(|quantity| quantity.measured);
        OwnShift {
            date: self.date,
            group: self.group_id,
            site: self.site_id,
            unit: self.unit,
            criterion: self.criterion,
            dose: measured(self.dose),
            twa: measured(self.twa),
            mean_twa: measured(self.mean_twa),
            may_lower: self.may_lower,
            short_term: measured(self.short_term),
            longer_mean: measured(self.longer_mean),
            shift_minutes: self.shift_minutes,
            own_record: self.own_record,
            enters_profile: self.enters_profile,
            not_accepted: counted(self.not_accepted),
            basis: self.basis,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::shape::Shape;
    use uuid::Uuid;

    // Nothing to look up: what is kept must come back as it was, whatever the numbers.

    #[test]
    fn an_own_shift_comes_back_as_it_was_kept() {
        let shift = OwnShift {
            date: NaiveDate::from_ymd_opt(2026, 3, 2).unwrap(),
            group: GroupId(Uuid::from_u128(1)),
            site: SiteId(Uuid::from_u128(2)),
            unit: Unit::UgPerM3,
            criterion: Some(NoiseCriterion::Niosh),
            dose: Some(Measured::Value(0.1 + 0.2)),
            twa: Some(Measured::Between { lower: 0.1, upper: 0.1 + 0.2 }),
            mean_twa: Some(Measured::Below(0.3)),
            may_lower: true,
            short_term: None,
            longer_mean: Some(Measured::Above(0.1 + 0.7)),
            shift_minutes: 480.0,
            own_record: true,
            enters_profile: false,
            not_accepted: 1,
            basis: vec![3, 5],
        };
        let text = KeptShift::of(&shift).to_json().to_string();
        let read = KeptShift::parse(&serde_json::from_str(&text).unwrap()).unwrap();
        assert_eq!(read.shift(), shift);
    }

    #[test]
    fn an_exposure_comes_back_as_it_was_kept() {
        let day = |d| NaiveDate::from_ymd_opt(2026, 3, d);
        let exposure = GroupExposure {
            group: GroupId(Uuid::from_u128(1)),
            site: SiteId(Uuid::from_u128(2)),
            eras: vec![EraMean {
                from: None,
                to: day(9),
                unit: Unit::UgPerM3,
                method: ProfileMethod::Exact,
                mean: Some(MeanWithLimits { estimate: 1.0 / 3.0, lower: None, upper: Some(0.7) }),
                noise: Some(NoiseMean {
                    criterion: NoiseCriterion::OshaLimit,
                    range: Measured::Below(80.0),
                    equal_energy: Some(MeanWithLimits { estimate: 0.1 + 0.2, lower: None, upper: Some(0.7) }),
                }),
                posterior: Some(PosteriorMean {
                    mean: MeanWithLimits { estimate: 0.3, lower: Some(0.1), upper: Some(1.0 / 3.0) },
                    prior_widened: true,
                }),
                chance: Some(DayChance { estimate: 0.25, lower: 0.1, upper: 0.7 }),
                action_level: Some(2.5),
                limit: Some(5.0),
                results: vec![Measured::Below(0.1), Measured::Value(1.0 / 3.0)],
                shift_minutes: Some(480.0),
                n: 7,
                worker_count: 3,
                date_count: 4,
                first: day(2),
                last: day(5),
                not_accepted: 0,
            }],
            judgements: Vec::new(),
            standing: vec![PlacedMove {
                change: Move {
                    level: Level::AboveLimit,
                    since: None,
                    round: (EventId(Uuid::from_u128(3)), day(2).unwrap()),
                    clause: None,
                },
                basis: vec![8],
            }],
            at_limit: Some(Vec::new()),
            action_level: vec![LevelPeriod { from: None, level: Some(2.5) }],
            of_others: vec![OtherStanding {
                authority: Code::new("Works").unwrap(),
                standing: Vec::new(),
                at_limit: None,
                action_level: vec![LevelPeriod { from: day(3), level: Some(0.1 + 0.2) }],
            }],
            respirator: Vec::new(),
            expected: Vec::new(),
        };
        let text = KeptExposure::of(&exposure).to_json().to_string();
        let read = KeptExposure::parse(&serde_json::from_str(&text).unwrap()).unwrap();
        assert_eq!(read.exposure(GroupId(Uuid::from_u128(1))), exposure);
    }
}
