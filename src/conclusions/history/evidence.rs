//! What a worker's history is drawn from.

use crate::conclusions::day_chance::DayChance;
use crate::conclusions::history::level_period::LevelPeriod;
use crate::conclusions::history::respirator::ConfirmedRespirator;
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::posterior_mean::PosteriorMean;
use crate::hygiene::cumulative::MeanWithLimits;
use crate::hygiene::profile::ProfileMethod;
use crate::model::facts::group::Judgement;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::facts::worker::{Absence, Assignment, Employment, WorkedDay};
use crate::model::identifiers::{GroupId, SiteId};
use crate::model::measured::Measured;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::surveillance::standing::Move;
use chrono::NaiveDate;

/// Everything known of one worker and one agent, at all sites.
#[derive(Debug, Clone, Copy)]
pub struct HistoryEvidence<'e> {
    /// The agent.
    pub agent: &'e AgentEvidence,
    /// The worker's employments.
    pub employments: &'e [Version<Employment>],
    /// The worker's assignments.
    pub assignments: &'e [Version<Assignment>],
    /// Days recorded as worked.
    pub recorded: &'e [Version<WorkedDay>],
    /// Absences.
    pub absences: &'e [Version<Absence>],
    /// The groups of the assignments, of the recorded days and of the own shifts.
    pub groups: &'e [GroupExposure],
    /// The worker's own shifts.
    pub own: &'e [OwnShift],
    /// Times for which a respirator's fit and programme are confirmed.
    pub respirators: &'e [ConfirmedRespirator],
}

impl HistoryEvidence<'_> {
    /// The unit of all concentrations: that of the agent's limit, else that of the first mean or own shift.
    pub fn unit(&self) -> Unit {
        let means = || self.groups.iter().flat_map(|group| &group.eras).map(|era| era.unit).next();
        self.agent
            .unit()
            .or_else(means)
            .or_else(|| self.own.first().map(|own| own.unit))
            .unwrap_or(Unit::MgPerM3)
    }

    /// A group among the evidence.
    pub fn group(&self, id: GroupId) -> Option<&GroupExposure> {
        self.groups.iter().find(|group| group.group == id)
    }

    /// The site of an assignment or recorded day: its own column, else that of its group.
    pub fn site_of(&self, own: Option<SiteId>, group: GroupId) -> Option<SiteId> {
        own.or_else(|| self.group(group).map(|known| known.site))
    }
}

/// What a group says of the exposure of its members.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupExposure {
    /// The group.
    pub group: GroupId,
    /// Its site.
    pub site: SiteId,
    /// What each era shows, in order; they cover all time.
    pub eras: Vec<EraMean>,
    /// Judgements of the group, of any agent.
    pub judgements: Vec<Version<Judgement>>,
    /// The moves of its standing by the statute, in their order.
    pub standing: Vec<PlacedMove>,
    /// The same where lying exactly at the limit counts as above it; `None` where that makes no difference.
    pub at_limit: Option<Vec<PlacedMove>>,
    /// The statute's action level over time.
    pub action_level: Vec<LevelPeriod>,
    /// The same by the levels of other authorities, by their names.
    pub of_others: Vec<OtherStanding>,
    /// When a respirator was required (first day, first day no longer).
    pub respirator: Vec<(NaiveDate, Option<NaiveDate>)>,
    /// When the agent is expected there (first day, first day no longer).
    pub expected: Vec<(NaiveDate, Option<NaiveDate>)>,
}

/// How a group stands by the levels of an authority other than the law that comes with the program.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherStanding {
    /// Whose levels.
    pub authority: Code,
    /// The moves of its standing, in their order.
    pub standing: Vec<PlacedMove>,
    /// The same where lying exactly at the limit counts as above it; `None` where that makes no difference.
    pub at_limit: Option<Vec<PlacedMove>>,
    /// The authority's action level over time.
    pub action_level: Vec<LevelPeriod>,
}

impl GroupExposure {
    /// The same as another authority reads it: a group that it has no levels for stands nowhere.
    #[must_use]
    pub fn by(&self, authority: &Code) -> Self {
        let other = self.of_others.iter().find(|other| other.authority == *authority);
        Self {
            standing: other.map(|other| other.standing.clone()).unwrap_or_default(),
            at_limit: other.and_then(|other| other.at_limit.clone()),
            action_level: other.map(|other| other.action_level.clone()).unwrap_or_default(),
            ..self.clone()
        }
    }

    /// Whether the agent is expected in the group on a date, or was found there: the group stands somewhere by anybody's
    /// levels, or a result of the era was detected.
    pub fn has_agent(&self, on: NaiveDate) -> bool {
        let holds = |(from, to): &(NaiveDate, Option<NaiveDate>)| *from <= on && to.is_none_or(|to| on < to);
        let known = |moves: &[PlacedMove]| {
            let last = moves.iter().rev().find(|placed| placed.change.since.is_none_or(|since| since <= on));
            last.is_some_and(|placed| placed.change.level.is_known())
        };
        let detected = |era: &EraMean| era.holds(on) && era.results.iter().any(|found| found.lower() > 0.0);
        self.expected.iter().any(holds)
            || known(&self.standing)
            || self.of_others.iter().any(|other| known(&other.standing))
            || self.eras.iter().any(detected)
    }
}

/// The mean of a group in one era.
#[derive(Debug, Clone, PartialEq)]
pub struct EraMean {
    /// The first day; the first era has none.
    pub from: Option<NaiveDate>,
    /// The first day no longer; the last era has none.
    pub to: Option<NaiveDate>,
    /// The unit of the mean.
    pub unit: Unit,
    /// How it was estimated.
    pub method: ProfileMethod,
    /// The arithmetic mean (of noise the mean level) with one-sided 95 % limits, where it can be estimated.
    pub mean: Option<MeanWithLimits>,
    /// What else is known of noise, where it was measured.
    pub noise: Option<NoiseMean>,
    /// The posterior mean, where too little was detected for an estimate.
    pub posterior: Option<PosteriorMean>,
    /// The chance that a day is at or above `action_level`.
    pub chance: Option<DayChance>,
    /// The law's action level on the last shift date.
    pub action_level: Option<f64>,
    /// The law's limit on that date.
    pub limit: Option<f64>,
    /// The averages behind it, in the unit of the mean.
    pub results: Vec<Measured>,
    /// Minutes of the shifts behind it.
    pub shift_minutes: Option<f64>,
    /// How many shifts are behind it.
    pub n: usize,
    /// How many workers.
    pub worker_count: usize,
    /// How many dates.
    pub date_count: usize,
    /// The first of them.
    pub first: Option<NaiveDate>,
    /// The last of them.
    pub last: Option<NaiveDate>,
    /// Results behind it that are not accepted yet.
    pub not_accepted: usize,
}

/// What is known of the levels of noise beside their mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseMean {
    /// By which criterion the mean level is.
    pub criterion: NoiseCriterion,
    /// From the least that any 8-hour level can be to the most, dBA.
    pub range: Measured,
    /// The energy mean of the levels by the 3 dB exchange rate, dBA, where there are such.
    pub equal_energy: Option<MeanWithLimits>,
}

impl EraMean {
    /// Whether a date lies in the era.
    pub fn holds(&self, date: NaiveDate) -> bool {
        self.from.is_none_or(|from| from <= date) && self.to.is_none_or(|to| date < to)
    }
}

/// A move of standing with the journal positions it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedMove {
    /// The move.
    pub change: Move,
    /// Positions of the facts behind it.
    pub basis: Vec<i64>,
}

/// One of the worker's own shifts, or the part of it spent in one group.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnShift {
    /// The shift date.
    pub date: NaiveDate,
    /// The group.
    pub group: GroupId,
    /// Its site.
    pub site: SiteId,
    /// The unit of the averages.
    pub unit: Unit,
    /// By which criterion, for noise.
    pub criterion: Option<NoiseCriterion>,
    /// The dose of noise, per cent.
    pub dose: Option<Measured>,
    /// The 8-hour TWA as it is compared with levels (with a changed flow, everything from one value to the other).
    pub twa: Option<Measured>,
    /// The 8-hour TWA as it enters a mean.
    pub mean_twa: Option<Measured>,
    /// Whether the TWA may show that a date does not count: all behind it is accepted, and nothing flagged.
    pub may_lower: bool,
    /// The highest short-term average.
    pub short_term: Option<Measured>,
    /// The highest mean of a sample over longer than any short-term limit.
    pub longer_mean: Option<Measured>,
    /// Minutes of the shift in that group.
    pub shift_minutes: f64,
    /// Whether it counts as an own measured day.
    pub own_record: bool,
    /// Whether a profile may use it.
    pub enters_profile: bool,
    /// Results behind it that are not accepted yet.
    pub not_accepted: usize,
    /// Journal positions of the facts behind it.
    pub basis: Vec<i64>,
}

/// What is asked of a history.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The first day; without it the first employment.
    pub from: Option<NaiveDate>,
    /// The first day no longer; without it the day after `today`.
    pub to: Option<NaiveDate>,
    /// Years by the calendar that are taken off the end.
    pub lag_years: u32,
    /// The latest local date over the worker's sites.
    pub today: NaiveDate,
}
