//! Which examinations ought to be offered, and how that differs from the duties that stand.

pub use crate::model::facts::duty::DutyKind;
use crate::model::identifiers::{DutyId, GroupId, SiteId, WorkerId};
use crate::model::text::{Code, Line};
use crate::surveillance::clause::TimeToAct;
use crate::surveillance::day_count::Window;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::surveillance_detail::Part;
use crate::surveillance::triggers::ClauseOutcome;
use chrono::NaiveDate;
use std::collections::{BTreeSet, HashMap};

/// Whom or what a duty is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum About {
    /// One worker.
    Worker(WorkerId),
    /// Everybody in a group.
    Group(GroupId),
    /// A site as a whole.
    Site(SiteId),
}

/// What makes a duty the same duty, whatever its dates.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct DutyKey {
    /// What it asks for.
    pub kind: DutyKind,
    /// Whom or what it is about.
    pub about: About,
    /// For which agent.
    pub agent_code: String,
    /// Row of the pack.
    pub trigger_id: String,
    /// Which occasion of it: [`FIRST_OCCASION`], or what tells a later one apart.
    pub occasion: String,
}

/// The occasion of a first examination: there is one for a worker, an agent and a clause.
pub const FIRST_OCCASION: &str = "first";

/// On what a duty rests.
#[derive(Debug, Clone, PartialEq)]
pub struct DutyGrounds {
    /// The clause as it is cited.
    pub clause: String,
    /// When it is due.
    pub due_on: NaiveDate,
    /// Whether `due_on` runs from the day on which the registry learned of it; it then stays as first set.
    pub due_from_learning: bool,
    /// When the facts themselves met it (a round was made); a person's act stands apart from this.
    pub met_on: Option<NaiveDate>,
    /// Days counted in the worst window, where the clause counts days.
    pub days_counted: Option<i64>,
    /// The worst window.
    pub window: Option<Window>,
    /// Positions in the journal of the facts it rests on.
    pub basis: BTreeSet<i64>,
    /// Sites whose facts it rests on: who may see what of it.
    pub sites: BTreeSet<SiteId>,
    /// Who owes it.
    pub employer: Option<Line>,
    /// What is to be known of it, in the words of the API.
    pub flags: Vec<String>,
    /// Whose clause asks for it; `None`: the law's that comes with the program.
    pub authority: Option<Code>,
    /// Whether it rests on a physician's ground; then only the physician learns more than its date.
    pub medical: bool,
}

/// A duty that ought to stand.
#[derive(Debug, Clone, PartialEq)]
pub struct OughtDuty {
    /// Which duty it is.
    pub key: DutyKey,
    /// On what it rests.
    pub grounds: DutyGrounds,
}

/// A duty that was raised and not withdrawn.
#[derive(Debug, Clone, PartialEq)]
pub struct StandingDuty {
    /// Its identifier.
    pub id: DutyId,
    /// Which duty it is.
    pub key: DutyKey,
    /// On what it rests.
    pub grounds: DutyGrounds,
    /// Whether a person ended its occasion (met, declined, waived): it is history and no longer changes.
    pub ended: bool,
}

/// What is to be done so that the duties that stand are those that ought to.
#[derive(Debug, Clone, PartialEq)]
pub enum DutyChange {
    /// Raise one.
    Raise(OughtDuty),
    /// Change what one rests on.
    Change {
        /// Which.
        id: DutyId,
        /// What it rests on now.
        grounds: DutyGrounds,
    },
    /// Withdraw one: the facts no longer carry it.
    Withdraw(DutyId),
}

/// The facts behind a duty that a clause does not know of.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Behind {
    /// Positions in the journal.
    pub basis: BTreeSet<i64>,
    /// Sites whose facts these are.
    pub sites: BTreeSet<SiteId>,
    /// Who owes the duty.
    pub employer: Option<Line>,
}

/// The first examination that a worker ought to be offered, from what became of a clause for an agent.
///
/// A clause without a first examination (one that only sets an interval) raises none.
pub fn first_examination(
    pack: &Pack,
    worker: WorkerId,
    agent_code: &str,
    outcome: &ClauseOutcome,
    behind: Behind,
) -> Option<OughtDuty> {
    let rule = pack.surveillance.iter().find(|rule| rule.trigger_id == outcome.trigger_id)?;
    rule.initial_exam.as_deref()?;
    let due_on = outcome.due_on.filter(|_| outcome.met)?;
    let kind = if is_about_hearing(pack, &rule.trigger_id) {
        DutyKind::Audiogram
    } else {
        DutyKind::OfferExamination
    };
    Some(OughtDuty {
        key: DutyKey {
            kind,
            about: About::Worker(worker),
            agent_code: agent_code.to_owned(),
            trigger_id: outcome.trigger_id.clone(),
            occasion: FIRST_OCCASION.to_owned(),
        },
        grounds: DutyGrounds {
            clause: outcome.clause.clone(),
            due_on,
            due_from_learning: TimeToAct::of(pack, &rule.trigger_id).runs_from_learning(),
            met_on: None,
            days_counted: Some(outcome.days_counted),
            window: outcome.window.clone(),
            basis: behind.basis,
            sites: behind.sites,
            employer: behind.employer,
            flags: Vec::new(),
            authority: None,
            medical: false,
        },
    })
}

/// Whether what a clause asks for is a hearing test.
pub(super) fn is_about_hearing(pack: &Pack, trigger_id: &str) -> bool {
    pack.details_of(trigger_id).any(|detail| detail.part == Some(Part::Audiogram))
}

/// The difference between the duties that ought to stand and those that do, in the order of both lists.
///
/// A duty whose occasion a person ended is never changed, withdrawn or raised again; one that the facts had met before it
/// was ever raised is not raised.
pub fn difference(ought: &[OughtDuty], standing: &[StandingDuty]) -> Vec<DutyChange> {
    let ought_by_key: HashMap<&DutyKey, &OughtDuty> = ought.iter().map(|duty| (&duty.key, duty)).collect();
    let mut standing_by_key: HashMap<&DutyKey, &StandingDuty> = HashMap::new();
    let mut changes = Vec::new();
    for duty in standing {
        standing_by_key.insert(&duty.key, duty);
        if !duty.ended && !ought_by_key.contains_key(&duty.key) {
            changes.push(DutyChange::Withdraw(duty.id));
        }
    }
    for duty in ought {
        match standing_by_key.get(&duty.key) {
            None if duty.grounds.met_on.is_some() => {}
            None => changes.push(DutyChange::Raise(duty.clone())),
            Some(known) if known.ended => {}
            Some(known) => {
                let mut grounds = duty.grounds.clone();
                if grounds.due_from_learning && known.grounds.due_from_learning {
                    grounds.due_on = known.grounds.due_on;
                }
                if grounds != known.grounds {
                    changes.push(DutyChange::Change { id: known.id, grounds });
                }
            }
        }
    }
    changes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::facts::agent::Verification;
    use uuid::Uuid;

    // How duties are kept is this registry's own rule; the clauses are named where they matter.

    const WORKER: WorkerId = WorkerId(Uuid::from_u128(7));
    const ID: DutyId = DutyId(Uuid::from_u128(1));

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn outcome(trigger_id: &str, met: bool) -> ClauseOutcome {
        ClauseOutcome {
            trigger_id: trigger_id.into(),
            clause: "29 CFR 1910.1026(k)(1)(i)(A); (k)(2)".into(),
            edition: None,
            verification: Verification::Verified,
            words: String::new(),
            days_counted: 40,
            window: Some(Window { from: date("2026-01-05"), to: date("2027-01-05") }),
            first_met_on: met.then(|| date("2026-02-13")),
            due_on: met.then(|| date("2026-02-04")),
            met,
            note: None,
        }
    }

    fn ought(trigger_id: &str) -> Vec<OughtDuty> {
        let behind = Behind { basis: [3, 5].into(), ..Behind::default() };
        first_examination(Pack::built_in(), WORKER, "chromium_vi", &outcome(trigger_id, true), behind)
            .into_iter()
            .collect()
    }

    fn standing(duty: &OughtDuty, ended: bool) -> StandingDuty {
        StandingDuty { id: ID, key: duty.key.clone(), grounds: duty.grounds.clone(), ended }
    }

    #[test]
    fn a_clause_that_is_met_raises_its_examination() {
        let raised = ought("ST001");
        assert_eq!(raised[0].key.kind, DutyKind::OfferExamination);
        assert_eq!(raised[0].grounds.due_on, date("2026-02-04"));
        assert_eq!(raised[0].grounds.basis, [3, 5].into());
        // 29 CFR 1910.95(g)(5): a baseline audiogram.
        assert_eq!(ought("ST075")[0].key.kind, DutyKind::Audiogram);
        // 29 CFR 1910.1043(h)(3)(i) only sets an interval.
        assert_eq!(ought("ST073"), []);
        let not_met = outcome("ST001", false);
        let found = first_examination(Pack::built_in(), WORKER, "chromium_vi", &not_met, Behind::default());
        assert_eq!(found, None);
    }

    #[test]
    fn what_ought_to_stand_and_does_not_is_raised_and_the_rest_left_alone() {
        let duties = ought("ST001");
        assert_eq!(difference(&duties, &[]), [DutyChange::Raise(duties[0].clone())]);
        assert_eq!(difference(&duties, &[standing(&duties[0], false)]), []);
    }

    #[test]
    fn other_grounds_change_the_duty_and_keep_its_identifier() {
        let before = ought("ST001");
        let mut after = before.clone();
        after[0].grounds.days_counted = Some(41);
        let changes = difference(&after, &[standing(&before[0], false)]);
        assert_eq!(changes, [DutyChange::Change { id: ID, grounds: after[0].grounds.clone() }]);
    }

    #[test]
    fn a_duty_without_facts_is_withdrawn_but_never_one_that_a_person_ended() {
        let duties = ought("ST001");
        assert_eq!(difference(&[], &[standing(&duties[0], false)]), [DutyChange::Withdraw(ID)]);
        assert_eq!(difference(&[], &[standing(&duties[0], true)]), []);
        let mut after = duties.clone();
        after[0].grounds.days_counted = Some(99);
        assert_eq!(difference(&after, &[standing(&duties[0], true)]), []);
    }

    #[test]
    fn what_the_facts_met_is_kept_as_met_but_not_raised_afterwards() {
        let before = ought("ST001");
        let mut after = before.clone();
        after[0].grounds.met_on = Some(date("2026-03-02"));
        assert_eq!(difference(&after, &[]), []);
        let changes = difference(&after, &[standing(&before[0], false)]);
        assert_eq!(changes, [DutyChange::Change { id: ID, grounds: after[0].grounds.clone() }]);
        // The fact that met it is taken back: it is open again.
        let changes = difference(&before, &[standing(&after[0], false)]);
        assert_eq!(changes, [DutyChange::Change { id: ID, grounds: before[0].grounds.clone() }]);
    }

    #[test]
    fn a_due_date_that_runs_from_learning_stays_as_first_set() {
        // 29 CFR 1910.1024(k)(2): thirty days from the determination, which is not made anew every day.
        let before = ought("ST026");
        let mut after = before.clone();
        after[0].grounds.due_on = date("2026-09-09");
        assert_eq!(difference(&after, &[standing(&before[0], false)]), []);
    }
}
