//! Workers: who they are, who employs them, what group they work in.

use crate::model::identifiers::{ControlId, GroupId, WorkerId};
use crate::model::quantity::Quantity;
use crate::model::text::{Code, Line, Text};
use crate::{record, words};
use chrono::{DateTime, NaiveDate, Utc};

words! {
    /// How a worker stands to the employer of the site.
    pub enum Relation {
        /// Employed by it.
        Own = "own",
        /// Sent by an agency.
        Agency = "agency",
        /// Of a contractor.
        Contractor = "contractor",
    }
}

record! {
    /// What is sent to enter a worker: the person and the first employment.
    pub struct WorkerDraft {
        /// The number the employer knows the worker by; unique with the employer.
        employee_number: Code,
        /// Given name.
        given_name: Line,
        /// Family name.
        family_name: Line,
        /// The employer.
        employer: Line,
        /// How the worker stands to the site's employer (own if left out).
        relation: Option<Relation>,
        /// Job title on being hired.
        job_title: Option<Line>,
        /// First day employed.
        hired_on: NaiveDate,
        /// Last day employed.
        left_on: Option<NaiveDate>,
    }
}

record! {
    /// A person who works; belongs to the corporation, not to a site.
    pub struct Worker {
        /// Given name.
        given_name: Line,
        /// Family name.
        family_name: Line,
        /// Job title on being entered.
        job_title: Option<Line>,
        /// The account that entered the worker; it sees him until somebody assigns him.
        entered_by: crate::model::identifiers::AccountId,
    }
}

record! {
    /// A dated employment of a worker.
    pub struct Employment {
        /// The employer.
        employer: Line,
        /// The worker's number there; unique with the employer.
        employee_number: Code,
        /// How the worker stands to the site's employer.
        relation: Relation,
        /// First day employed.
        from: NaiveDate,
        /// The first day no longer employed.
        to: Option<NaiveDate>,
    }
}

record! {
    /// Exposure at an earlier employer, as told or recorded there.
    pub struct EarlierExposure {
        /// That employer.
        employer: Line,
        /// The agent.
        agent_code: Code,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: NaiveDate,
        /// Days a year.
        days_per_year: Option<f64>,
        /// The mean exposure, where known.
        mean: Option<Quantity>,
        /// Where this is known from.
        source: Text,
    }
}

record! {
    /// A worker in a group.
    pub struct Assignment {
        /// The group.
        group_id: GroupId,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// Shifts a week (2.5 is five in two weeks).
        shifts_per_week: f64,
        /// Hours of a shift.
        hours_per_shift: f64,
        /// Job title in it.
        job_title: Option<Line>,
        /// The respirator worn.
        respirator_control_id: Option<ControlId>,
        /// The share of exposed time it is worn, 0 to 1.
        respirator_worn_share: Option<f64>,
    }
}

record! {
    /// A day worked in a group; recorded days replace the pattern of their whole week.
    pub struct WorkedDay {
        /// The day.
        date: NaiveDate,
        /// The group.
        group_id: GroupId,
        /// Hours worked there.
        hours: f64,
    }
}

record! {
    /// Days not worked. No reason is kept: it would be a diagnosis.
    pub struct Absence {
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: NaiveDate,
    }
}

record! {
    /// What is sent to say that an entry is the same person as another one.
    pub struct AliasDraft {
        /// The entry of the same person that stays.
        of_worker_id: WorkerId,
        /// Why.
        reason: Text,
    }
}

record! {
    /// Two entries are one person; closing the alias takes them apart again.
    pub struct Alias {
        /// The entry of the same person that stays: what is concluded of the person stands under it.
        of_worker_id: WorkerId,
        /// Why.
        reason: Text,
        /// When the alias was closed.
        closed_at: Option<DateTime<Utc>>,
        /// Why it was closed.
        closing_reason: Option<Text>,
    }
}

impl Alias {
    /// Whether the two entries are one person, as far as this says; a void one says nothing.
    pub fn holds(&self) -> bool {
        self.closed_at.is_none()
    }
}

words! {
    /// What a physician's dated ground is.
    pub enum MedicalGroundKind {
        /// Signs or symptoms were reported.
        SignsOrSymptoms = "signs_or_symptoms",
        /// A health professional recommended it.
        Recommendation = "recommendation",
        /// A blood lead category.
        BloodLead = "blood_lead",
        /// Another biological result.
        OtherBiological = "other_biological",
        /// Removal from exposure.
        Removal = "removal",
        /// The ground has ended.
        Ended = "ended",
    }
}

record! {
    /// A physician's dated ground, without findings; kept in a chain of its own.
    pub struct MedicalGround {
        /// Which ground.
        kind: MedicalGroundKind,
        /// The clause it belongs to.
        trigger_id: Option<Code>,
        /// When.
        on: NaiveDate,
        /// The agent it is about.
        agent_code: Code,
    }
}

words! {
    /// Who asks for records.
    pub enum RequestedBy {
        /// The worker.
        Worker = "worker",
        /// A person or union whom the worker, or the law, lets see them.
        Representative = "representative",
        /// An authority.
        Authority = "authority",
        /// Somebody else.
        Other = "other",
    }
}

record! {
    /// Somebody asks for a worker's records; the duty to answer is written with it.
    pub struct RecordRequest {
        /// When the request was received; the days to answer run from here.
        received_on: NaiveDate,
        /// Who asks.
        from: RequestedBy,
        /// What is asked for.
        what: Text,
        /// When the worker signed that the one who asks may have the records.
        consented_on: Option<NaiveDate>,
        /// The last day on which that holds; silent: a year, the most there is.
        consent_until: Option<NaiveDate>,
        /// The occupational health need that a representative without consent states in writing.
        health_need: Option<Text>,
    }
}

impl RecordRequest {
    /// The last day of a consent (29 CFR 1910.1020(c)(12): at most one year).
    pub fn consent_ends(&self) -> Option<NaiveDate> {
        let signed = self.consented_on?;
        let longest = signed.checked_add_months(chrono::Months::new(12))?;
        Some(self.consent_until.map_or(longest, |until| until.min(longest)))
    }
}

record! {
    /// A hygienist confirms that an assignment's respirator fitted and was part of a working programme.
    pub struct RespiratorConfirmation {
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// Whether fit was tested.
        fit: bool,
        /// Whether a respirator programme was in force.
        programme: bool,
    }
}
