//! Keeping and letting go: holds that keep records whatever their age, and disposals, which two people carry out.

use crate::model::identifiers::{AccountId, SiteId, WorkerId};
use crate::model::text::{Code, Text};
use crate::{record, words};
use chrono::NaiveDate;
use uuid::Uuid;

record! {
    /// What is sent to hold records.
    pub struct LegalHoldDraft {
        /// Only records of this site.
        of_site_id: Option<SiteId>,
        /// Only records about this worker.
        of_worker_id: Option<WorkerId>,
        /// Only records about this agent.
        agent_code: Option<Code>,
        /// Why they are held: an inspection, a claim, a dispute. No name and no finding.
        ground: Text,
    }
}

record! {
    /// Records that are disposed of by nobody while it stands, whatever their age; what it does not narrow it holds all of.
    pub struct LegalHold {
        /// Only records of this site.
        of_site_id: Option<SiteId>,
        /// Only records about this worker.
        of_worker_id: Option<WorkerId>,
        /// Only records about this agent.
        agent_code: Option<Code>,
        /// Why they are held.
        ground: Text,
        /// Since when.
        from: NaiveDate,
        /// When it was lifted.
        lifted_on: Option<NaiveDate>,
    }
}

words! {
    /// Why records go.
    pub enum DisposalGround {
        /// They need not be kept any longer.
        RetentionOver = "retention_over",
        /// An earlier version of a fact, corrected since, that says what must not be kept (a finding, another person's data).
        SupersededContent = "superseded_content",
    }
}

words! {
    /// What can be disposed of as a whole.
    pub enum DisposalKind {
        /// A sampling event with its samples, their results and the letters on them.
        SamplingEvent = "sampling_event",
        /// A worker with everything that hangs on him, once no sample names him any more.
        Worker = "worker",
        /// One earlier version of any fact.
        Version = "version",
    }
}

words! {
    /// How a disposal stands.
    pub enum DisposalStatus {
        /// Proposed by one person; nothing is gone.
        Proposed = "proposed",
        /// Carried out by another.
        CarriedOut = "carried_out",
        /// Rejected; nothing is gone.
        Rejected = "rejected",
    }
}

record! {
    /// One thing that goes.
    pub struct DisposalSubject {
        /// What kind of thing.
        kind: DisposalKind,
        /// The thing; of a version the fact.
        id: Uuid,
        /// Of a version which revision.
        revision: Option<i64>,
    }
}

record! {
    /// What is sent to propose a disposal.
    pub struct DisposalDraft {
        /// Why they go.
        ground: DisposalGround,
        /// What goes.
        subjects: Vec<DisposalSubject>,
        /// Why, in words: no name and no finding.
        because: Text,
    }
}

record! {
    /// What is left of a fact that went: its envelopes with their digests stand in the journal.
    pub struct Gone {
        /// What kind of fact.
        kind: Code,
        /// The fact.
        id: Uuid,
        /// Positions whose images went.
        positions: Vec<i64>,
    }
}

record! {
    /// A disposal: proposed by one person, carried out by another.
    pub struct Disposal {
        /// Why they go.
        ground: DisposalGround,
        /// What goes.
        subjects: Vec<DisposalSubject>,
        /// Why, in words.
        because: Text,
        /// How it stands.
        status: DisposalStatus,
        /// Who proposed it.
        proposed_by: AccountId,
        /// Who carried it out or rejected it.
        decided_by: Option<AccountId>,
        /// When.
        decided_on: Option<NaiveDate>,
        /// What went.
        gone: Vec<Gone>,
    }
}
