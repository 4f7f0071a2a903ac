//! What a group is owed in monitoring for an agent: everything put together.

use crate::model::facts::duty::DutyKind;
use crate::model::facts::group::ConditionKind;
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::site::MonitoringChoice;
use crate::model::identifiers::{EventId, GroupId, SiteId};
use crate::model::unit::Unit;
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::duties::{About, DutyGrounds, DutyKey, OughtDuty};
use crate::surveillance::level::Levels;
use crate::surveillance::monitoring::additional::{WorkChange, after_changes};
use crate::surveillance::monitoring::control_duties::{Ventilation, ventilation_checks, written_plans};
use crate::surveillance::monitoring::initial::initial;
use crate::surveillance::monitoring::notice::{Received, notices};
use crate::surveillance::monitoring::occasion::RoundRef;
use crate::surveillance::monitoring::periodic::periodic;
use crate::surveillance::monitoring::presumption::{Presumed, presumed};
use crate::surveillance::monitoring::standard::Standard;
use crate::surveillance::monitoring::track::{Rounds, Track, follow};
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::monitoring_reading::Averages;
use crate::surveillance::round::Round;
use crate::surveillance::short_term::{self, ShortTermLimit, ShortTermMove};
use crate::surveillance::standing::{Era, Move};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// The kinds of duties of a group that follow from its profile.
pub const OF_A_PROFILE: &[DutyKind] =
    &[DutyKind::MonitorAgain, DutyKind::NotifyResults, DutyKind::WrittenPlan, DutyKind::CheckVentilation];

/// For whom, under which law and when it is asked.
#[derive(Debug, Clone, Copy)]
pub struct Question<'q> {
    /// The group.
    pub group: GroupId,
    /// Its site.
    pub site: SiteId,
    /// Code of the agent.
    pub agent_code: &'q str,
    /// The body of law.
    pub rule_set: RuleSet,
    /// The statute's levels, in `unit`.
    pub levels: Levels,
    /// The statute's short-term limit, in `unit`.
    pub short_term_limit: Option<f64>,
    /// The unit of the rounds.
    pub unit: Unit,
    /// The day of asking: what has no date in the text is due when the registry learned of it.
    pub today: NaiveDate,
    /// The site's working days.
    pub working_days: &'q WorkingDays,
}

/// Since when the agent is expected in the group, or was first met there.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Expected {
    /// The first day; `None` where it is not known.
    pub from: Option<NaiveDate>,
    /// Journal positions.
    pub basis: BTreeSet<i64>,
}

/// A dated condition of the group for the agent.
#[derive(Debug, Clone, PartialEq)]
pub struct DatedCondition {
    /// Which condition.
    pub kind: ConditionKind,
    /// The rule that it is recorded for; `None`: for any.
    pub rule_id: Option<String>,
    /// The first day.
    pub from: NaiveDate,
    /// The first day no longer.
    pub to: Option<NaiveDate>,
    /// Journal positions.
    pub basis: BTreeSet<i64>,
}

impl DatedCondition {
    /// Whether it holds on a day.
    pub fn holds(&self, on: NaiveDate) -> bool {
        self.from <= on && self.to.is_none_or(|to| on < to)
    }
}

/// Everything that is known of a group for an agent.
#[derive(Debug, Clone, Default)]
pub struct Facts<'f> {
    /// Its rounds.
    pub rounds: Rounds<'f>,
    /// Its eras.
    pub eras: Vec<Era>,
    /// The moves of its standing by the statute's 8-hour levels.
    pub standing: Vec<Move>,
    /// Whether the agent is expected there; `None`: it is not.
    pub expected: Option<Expected>,
    /// Which option the site follows, from which day on.
    pub options: Vec<(NaiveDate, MonitoringChoice)>,
    /// Whether objective or historical data characterise the exposure today.
    pub characterised: bool,
    /// Recorded changes, controls put in or taken away, releases.
    pub changes: Vec<WorkChange>,
    /// Conditions.
    pub conditions: Vec<DatedCondition>,
    /// The ventilation that controls the exposure.
    pub ventilation: Option<Ventilation>,
    /// Results that somebody must be told of.
    pub received: Vec<Received>,
    /// Journal positions behind each event's results.
    pub basis: BTreeMap<EventId, BTreeSet<i64>>,
}

impl Facts<'_> {
    /// The option in force on a day.
    pub fn option_on(&self, on: NaiveDate) -> Option<MonitoringChoice> {
        let begun = self.options.iter().filter(|(from, _)| *from <= on);
        begun.max_by_key(|(from, _)| *from).map(|(_, option)| *option)
    }

    /// Positions behind an event.
    pub fn behind(&self, event: EventId) -> BTreeSet<i64> {
        self.basis.get(&event).cloned().unwrap_or_default()
    }
}

/// What a group is owed, and how its monitoring stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Owed {
    /// Duties that ought to stand, those that rounds have met among them.
    pub duties: Vec<OughtDuty>,
    /// How its monitoring stands.
    pub tracks: Vec<Track>,
    /// The moves of its short-term standing.
    pub short_term: Vec<ShortTermMove>,
    /// What is taken for granted until it is measured.
    pub presumed: Option<Presumed>,
    /// The first day after the day of asking on which this would differ with no new fact.
    pub changes_on: Option<NaiveDate>,
}

/// What a group is owed in monitoring for an agent.
pub fn owed(pack: &Pack, question: &Question<'_>, facts: &Facts<'_>) -> Owed {
    let Question { agent_code, rule_set, levels, unit, working_days, .. } = *question;
    let standard = Standard::of(pack, agent_code, rule_set, levels, unit);
    let tracks = follow(&standard, facts.rounds, &facts.eras, working_days);
    let limit = question.short_term_limit.map(|value| ShortTermLimit::of(value, &standard));
    let short_term = limit.map_or_else(Vec::new, |limit| {
        short_term::moves(facts.rounds.short_term, &facts.eras, limit, &standard, working_days)
    });
    let told = first_told(facts, &tracks);
    let presumed =
        presumed(pack, question, &facts.conditions).filter(|_| facts.expected.is_some() && told.is_none());
    let mut duties = Vec::new();
    duties.extend(initial(pack, question, facts, &tracks, told, presumed.as_ref()));
    duties.extend(periodic(question, facts, &standard, &tracks));
    duties.extend(after_changes(pack, question, facts, &tracks, told));
    duties.extend(notices(pack, question, facts));
    duties.extend(written_plans(pack, question, facts, &short_term, presumed.as_ref()));
    duties.extend(ventilation_checks(pack, question, facts));
    let changes_on = changes_on(question.today, facts);
    Owed { duties, tracks, short_term, presumed, changes_on }
}

/// The first round that told how the group stands, so that initial monitoring is done.
fn first_told(facts: &Facts<'_>, tracks: &[Track]) -> Option<RoundRef> {
    let main = tracks.iter().find(|track| track.averages != Averages::ShortTerm);
    if let Some(first) = main.and_then(|track| track.moves.first()) {
        return Some(first.round);
    }
    if main.is_some_and(|track| track.done.is_empty() || track.short_term_missing) {
        return None;
    }
    // The text fixes no interval for where the group stands: the first round that counts is the initial one.
    let mut rounds: Vec<_> = facts.rounds.eight_hour.iter().collect();
    rounds.sort_by_key(|round| (round.date, round.event));
    // Where an authority has no level at all, a round has nothing to tell but that there was one.
    let tells = |round: &&Round| round.level().is_some() || round.levels == Levels::default();
    let told = rounds.into_iter().find(|round| round.may_lower() == Some(true) && tells(round));
    told.map(|round| (round.event, round.date))
}

/// The first day ahead on which another option, condition, change or expectation holds.
fn changes_on(today: NaiveDate, facts: &Facts<'_>) -> Option<NaiveDate> {
    let options = facts.options.iter().map(|(from, _)| *from);
    let conditions = facts.conditions.iter().flat_map(|c| [Some(c.from), c.to]).flatten();
    let changes = facts.changes.iter().map(|change| change.from);
    let expected = facts.expected.iter().filter_map(|expected| expected.from);
    options.chain(conditions).chain(changes).chain(expected).filter(|date| *date > today).min()
}

/// When a duty is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Due {
    /// On a date of the text.
    On(NaiveDate),
    /// The text has no date: when the registry learned of it.
    WhenLearned,
}

/// A duty of the group, from the row that asks for it.
pub(super) fn duty(
    question: &Question<'_>,
    kind: DutyKind,
    (rule_id, clause): (&str, &str),
    occasion: String,
    due: Due,
) -> OughtDuty {
    OughtDuty {
        key: DutyKey {
            kind,
            about: About::Group(question.group),
            agent_code: question.agent_code.to_owned(),
            trigger_id: rule_id.to_owned(),
            occasion,
        },
        grounds: DutyGrounds {
            clause: clause.to_owned(),
            due_on: match due {
                Due::On(date) => date,
                Due::WhenLearned => question.today,
            },
            due_from_learning: due == Due::WhenLearned,
            met_on: None,
            authority: None,
            medical: false,
            days_counted: None,
            window: None,
            basis: BTreeSet::new(),
            sites: [question.site].into(),
            employer: None,
            flags: Vec::new(),
        },
    }
}
