//! What a history takes from the conclusions on groups and shifts.

use crate::conclusions::evidence::GroupEvidence;
use crate::conclusions::history::evidence::{
    EraMean, GroupExposure, NoiseMean, OtherStanding, OwnShift, PlacedMove,
};
use crate::conclusions::history::level_period::action_levels;
use crate::conclusions::history::noise_basis::{TAKEN, mean_of, range_of};
use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY};
use crate::conclusions::profile::{EraProfile, GroupConclusion};
use crate::conclusions::shift_average::{ShiftTwa, both};
use crate::hygiene::cumulative::MeanWithLimits;
use crate::hygiene::equal_energy::energy_mean;
use crate::hygiene::shift::peak;
use crate::model::facts::group::{Condition, ConditionKind, Judgement};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::{EventId, GroupId, SampleId, SiteId};
use crate::model::measured::Measured;
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::surveillance::standing::Move;
use chrono::NaiveDate;

/// Minutes over which the longest of the short-term limits is averaged: the excursion limit of asbestos, 29 CFR
/// 1910.1001(c)(2). The mean of a sample that ran at least as long says something of every one of them.
const LONGEST_SHORT_TERM_MINUTES: f64 = 30.0;

impl EraMean {
    /// The mean of a group's profile in one era.
    pub fn of(profile: &EraProfile) -> Self {
        Self {
            from: profile.era.from,
            to: profile.era.to,
            unit: profile.unit,
            method: profile.profile.method,
            mean: profile.profile.arithmetic_mean.map(|mean| MeanWithLimits {
                estimate: mean.estimate,
                lower: mean.lower_95,
                upper: mean.upper_95,
            }),
            noise: None,
            posterior: profile.posterior_mean,
            chance: profile.day_chance,
            action_level: profile.action_level,
            limit: profile.limit,
            results: profile.results.clone(),
            shift_minutes: profile.shift_minutes,
            n: profile.results.len(),
            worker_count: profile.worker_count,
            date_count: profile.date_count,
            first: profile.first,
            last: profile.last,
            not_accepted: profile.not_accepted,
        }
    }
}

/// The means of a group, one for each era: of noise by the criterion that is taken first among those that were read, with
/// the energy mean of the one that counts by 3 dB.
fn era_means(profiles: &[EraProfile]) -> Vec<EraMean> {
    let same_era =
        |one: &EraProfile, two: &EraProfile| (one.era.from, one.era.to) == (two.era.from, two.era.to);
    profiles
        .chunk_by(same_era)
        .filter_map(|era| noise_mean(era).or_else(|| era.last().map(EraMean::of)))
        .collect()
}

/// The mean level of an era; `None` where no noise was measured in it.
fn noise_mean(era: &[EraProfile]) -> Option<EraMean> {
    let of = |criterion: NoiseCriterion| {
        era.iter().find(|one| one.criterion == Some(criterion) && !one.results.is_empty())
    };
    let taken = TAKEN.into_iter().find_map(of)?;
    let equal_energy = of(NoiseCriterion::Niosh).and_then(|one| energy_mean(&one.results));
    Some(EraMean {
        mean: taken.levels.as_ref().and_then(|levels| levels.mean_level).map(mean_of),
        noise: Some(NoiseMean {
            criterion: taken.criterion?,
            range: range_of(&taken.results)?,
            equal_energy,
        }),
        ..EraMean::of(taken)
    })
}

/// When a respirator was required in a group for an agent (first day, first day no longer).
pub fn respirator_periods(
    conditions: &[Version<Condition>],
    group: GroupId,
    agent: &AgentEvidence,
) -> Vec<(NaiveDate, Option<NaiveDate>)> {
    conditions
        .iter()
        .filter(|condition| {
            condition.stands()
                && condition.parent == Some(group.0)
                && condition.fact.agent_code == *agent.code()
                && condition.fact.kind == ConditionKind::RespiratorRequired
        })
        .map(|condition| (condition.fact.from, condition.fact.to))
        .collect()
}

impl GroupExposure {
    /// What a group's conclusion says of its members; `positions_of` gives the journal positions behind an event.
    pub fn of(
        group: &GroupEvidence,
        conclusion: &GroupConclusion,
        agent: &AgentEvidence,
        judgements: &[Version<Judgement>],
        conditions: &[Version<Condition>],
        positions_of: impl Fn(EventId) -> Vec<i64>,
    ) -> Self {
        let unit = conclusion.eras.first().map(|era| era.unit).or_else(|| agent.unit());
        let statutory =
            conclusion.standings.iter().find(|standing| standing.authority.as_str() == STATUTORY_AUTHORITY);
        let placed =
            |change: &Move| PlacedMove { change: change.clone(), basis: positions_of(change.round.0) };
        let id = GroupId(group.group.id);
        let unit = unit.unwrap_or(Unit::MgPerM3);
        let others = conclusion.standings.iter().filter(|of| of.authority.as_str() != STATUTORY_AUTHORITY);
        Self {
            group: id,
            site: SiteId(group.site.id),
            eras: era_means(&conclusion.eras),
            judgements: judgements
                .iter()
                .filter(|judgement| judgement.fact.group_id == id)
                .cloned()
                .collect(),
            standing: statutory
                .map(|standing| standing.moves.iter().map(placed).collect())
                .unwrap_or_default(),
            at_limit: statutory
                .and_then(|standing| Some(standing.at_limit.as_ref()?.iter().map(placed).collect())),
            action_level: action_levels(agent, STATUTORY_AUTHORITY, group, unit),
            of_others: others
                .map(|of| OtherStanding {
                    authority: of.authority.clone(),
                    standing: of.moves.iter().map(placed).collect(),
                    at_limit: of.at_limit.as_ref().map(|moves| moves.iter().map(placed).collect()),
                    action_level: action_levels(agent, of.authority.as_str(), group, unit),
                })
                .collect(),
            respirator: respirator_periods(conditions, id, agent),
            expected: Vec::new(),
        }
    }
}

impl OwnShift {
    /// A worker's own shift; `None` where its group or site is not known. `positions_of` gives the journal positions
    /// behind a sample and its results.
    pub fn of(shift: &ShiftTwa, positions_of: impl Fn(SampleId) -> Vec<i64>) -> Option<Self> {
        let means: Vec<Measured> = shift.peaks.iter().map(|peak| peak.mean).collect();
        let longer = shift.stretches.iter().filter(|stretch| stretch.minutes >= LONGEST_SHORT_TERM_MINUTES);
        let longer: Vec<Measured> =
            longer.map(|stretch| both(stretch.concentration, stretch.at_lower_flow)).collect();
        let mut basis: Vec<i64> =
            shift.samples.iter().flat_map(|sample| positions_of(sample.sample_id)).collect();
        basis.sort_unstable();
        basis.dedup();
        Some(Self {
            date: shift.shift_date,
            group: shift.group?,
            site: shift.site?,
            unit: shift.unit,
            criterion: shift.criterion,
            dose: shift.dose,
            twa: shift.compared(),
            mean_twa: shift.twa,
            may_lower: shift.accepted && !shift.flagged,
            short_term: peak(&means),
            longer_mean: peak(&longer),
            shift_minutes: shift.shift_minutes,
            own_record: shift.uses.own_record,
            enters_profile: shift.enters_profile(),
            not_accepted: shift.not_accepted,
            basis,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::asked::Asked;
    use crate::conclusions::group_standing::StandingRules;
    use crate::conclusions::invented::{EVENT, GROUP, SITE, agent, date, event, group, id, shift};
    use crate::conclusions::profile::conclude_group;
    use crate::surveillance::calendar::WorkingDays;
    use crate::surveillance::level::Level;
    use crate::surveillance::pack::Pack;
    use serde_json::json;

    // This registry's rules; invented numbers.
    #[test]
    fn the_profile_standing_and_shifts_of_a_group_become_the_ground_of_a_history() {
        let (group, agent, event) =
            (group(Some("2026-02-01")), agent("chromium_vi"), event(EVENT, &json!({})));
        let day = |number: u128, on: &str, value: f64| {
            shift(
                number,
                &event,
                &json!({"shift_date": on, "control_ids_running": null}),
                &json!({"value": value}),
            )
        };
        let samples = [day(101, "2026-01-05", 1.0), day(102, "2026-01-06", 2.0), day(103, "2026-01-07", 3.0)];
        let working_days = WorkingDays::default();
        let rules = StandingRules { pack: Pack::built_in(), of_others: &[], working_days: &working_days };
        let found = conclude_group(&group, &samples, &agent, rules, Asked::default());
        let exposure = GroupExposure::of(&group, &found, &agent, &[], &[], |_| vec![5]);
        assert_eq!((exposure.group.0, exposure.site.0), (id(GROUP), id(SITE)));
        // The arm of 1 February cuts two eras; the second has no results.
        let counts: Vec<_> =
            exposure.eras.iter().map(|era| (era.n, era.date_count, era.mean.is_some())).collect();
        assert_eq!(counts, [(3, 3, true), (0, 0, false)]);
        assert_eq!(exposure.eras[0].to, Some(date("2026-02-01")));
        let standing = &exposure.standing[0];
        assert_eq!(
            (standing.change.level, standing.basis.as_slice()),
            (Level::AtOrAboveActionLevel, &[5][..])
        );
        let own: Vec<_> = found
            .shifts
            .iter()
            .filter_map(|shift| {
                OwnShift::of(shift, |sample| vec![i64::try_from(sample.0.as_u128()).unwrap()])
            })
            .collect();
        assert_eq!(
            (own.len(), own[2].twa, own[2].basis.as_slice()),
            (3, Some(Measured::Value(3.0)), &[103][..])
        );
        assert!(own.iter().all(|own| own.own_record && own.enters_profile && own.group == exposure.group));
    }
}
