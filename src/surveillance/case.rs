//! Everything about one worker and one agent that the clauses look at, as plain values with the facts they stand on.

use crate::model::facts::group::ConditionKind;
use crate::model::facts::worker::MedicalGroundKind;
use crate::model::identifiers::SiteId;
use crate::model::measured::Measured;
use crate::surveillance::day_count::{Dates, Day};
use crate::surveillance::triggers::Question;
use chrono::NaiveDate;

/// The fact that something stands on.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Behind {
    /// Its position in the journal.
    pub position: i64,
    /// Its site, if it has one.
    pub site: Option<SiteId>,
}

/// The dates on which a condition of the worker's groups held for him.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionDates {
    /// Which condition.
    pub kind: ConditionKind,
    /// The only clause it is for; `None`: every clause of the agent that looks at this kind.
    pub trigger_id: Option<String>,
    /// The dates.
    pub dates: Dates,
    /// The condition.
    pub behind: Behind,
}

/// An exposure at an earlier employer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Earlier {
    /// The first day.
    pub from: NaiveDate,
    /// The first day no longer.
    pub to: NaiveDate,
    /// On how many days a year, where known.
    pub days_per_year: Option<f64>,
    /// How high, in the unit of the question, where known.
    pub mean: Option<Measured>,
    /// The entry.
    pub behind: Behind,
}

/// A release at which the worker was present.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Presence {
    /// What tells it from every other release, whatever is corrected in it.
    pub key: String,
    /// The local date.
    pub on: NaiveDate,
    /// The release.
    pub behind: Behind,
}

/// A physician's dated ground: no finding, only that there is one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MedicalGround {
    /// Which ground.
    pub kind: MedicalGroundKind,
    /// The clause it belongs to, where the physician names one.
    pub trigger_id: Option<String>,
    /// When.
    pub on: NaiveDate,
    /// About which agent.
    pub agent_code: String,
    /// The entry.
    pub behind: Behind,
}

/// What a person did about an examination.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Act {
    /// Waived it.
    Waived,
    /// The worker declined it.
    Declined,
    /// Offered it.
    Offered,
    /// It was done.
    Completed,
}

/// An examination on which somebody acted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Examination {
    /// The clause that asked for it.
    pub trigger_id: String,
    /// Which occasion of it.
    pub occasion: String,
    /// What was done; of several acts the one that says most.
    pub act: Act,
    /// When.
    pub on: NaiveDate,
    /// The act.
    pub behind: Behind,
}

/// A time in which the worker was employed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Employed {
    /// First day.
    pub from: NaiveDate,
    /// First day no longer.
    pub to: Option<NaiveDate>,
    /// The employment.
    pub behind: Behind,
}

/// A worker and an agent under one body of law.
#[derive(Debug, Clone, Copy)]
pub struct Case<'c> {
    /// Agent, body of law, levels, unit, working days.
    pub question: Question<'c>,
    /// The day of asking.
    pub today: NaiveDate,
    /// What is known of each date, to the horizon.
    pub days: &'c [Day],
    /// Conditions of the worker's groups on those dates.
    pub conditions: &'c [ConditionDates],
    /// Exposures at earlier employers.
    pub earlier: &'c [Earlier],
    /// Releases at which the worker was present.
    pub releases: &'c [Presence],
    /// A physician's grounds, of any agent.
    pub grounds: &'c [MedicalGround],
    /// Examinations for this agent on which somebody acted.
    pub examinations: &'c [Examination],
    /// Employments.
    pub employments: &'c [Employed],
}

impl Case<'_> {
    /// The grounds about this agent that bear on a clause: those that name it, and those of a kind in `kinds` that name
    /// none. What ended them is left out.
    pub fn grounds_for(&self, trigger_id: &str, kinds: &[MedicalGroundKind]) -> Vec<&MedicalGround> {
        let of_agent = || self.grounds.iter().filter(|ground| ground.agent_code == self.question.agent_code);
        let bears = |ground: &&MedicalGround| match &ground.trigger_id {
            Some(named) => named == trigger_id && ground.kind != MedicalGroundKind::Ended,
            None => kinds.contains(&ground.kind),
        };
        of_agent().filter(bears).collect()
    }

    /// The day on which a ground ended: the first end entered on or after it for the same clause, or for the agent.
    pub fn ended_on(&self, ground: &MedicalGround) -> Option<NaiveDate> {
        let ends = self.grounds.iter().filter(|other| {
            other.kind == MedicalGroundKind::Ended
                && other.agent_code == ground.agent_code
                && other.on >= ground.on
                && other.trigger_id.as_ref().is_none_or(|named| ground.trigger_id.as_ref() == Some(named))
        });
        ends.map(|end| end.on).min()
    }
}
