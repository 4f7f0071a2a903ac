//! Letters to workers: what each says, frozen on the day it was issued.

use crate::model::facts::agent::LimitKind;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::{AccountId, LetterId, WorkerId};
use crate::model::quantity::Quantity;
use crate::model::text::{Code, Line, Paper, Text};
use crate::{record, words};
use chrono::NaiveDate;

words! {
    /// What a result shows against a limit of its day.
    pub enum LimitReading {
        /// Certainly below it.
        Below = "below",
        /// Exactly at it.
        At = "at",
        /// Above it.
        Above = "above",
        /// What is known does not decide.
        CannotTell = "cannot_tell",
    }
}

record! {
    /// A limit beside a result.
    pub struct LetterLimit {
        /// Who set it.
        authority: Code,
        /// What kind of limit it is.
        kind: LimitKind,
        /// The limit.
        value: Quantity,
        /// Over how many minutes it is averaged.
        averaging_minutes: Option<i64>,
        /// Where it is written.
        source: Line,
        /// What the result shows against it.
        reading: LimitReading,
    }
}

record! {
    /// A result that a letter tells. It names nobody: where somebody else was measured, only that it was so.
    pub struct LetterResult {
        /// The site's local date on which the shift started.
        shift_date: NaiveDate,
        /// `true` where the reader wore the sampler; else the result was measured on another and represents the reader.
        measured: bool,
        /// What was found.
        value: Quantity,
        /// How many significant figures the laboratory's numbers behind it have.
        figures: i64,
        /// Over how many minutes the value is averaged: 480, or those of a short-term sample.
        averaging_minutes: f64,
        /// By which criterion, for noise.
        criterion: Option<NoiseCriterion>,
        /// Minutes of the shift that were sampled.
        sampled_minutes: f64,
        /// Why the day is no measure of other days, such as `upset` or `worst_case`.
        unlike_other_days: Vec<Code>,
        /// The limits in force on that day.
        limits: Vec<LetterLimit>,
    }
}

record! {
    /// What a letter says to its reader.
    pub struct LetterSays {
        /// The reader's name.
        name: String,
        /// The reader's job title on the day of the shift.
        job_title: Option<String>,
        /// The site.
        site_name: Line,
        /// The agent.
        agent_name: Line,
        /// The results, the reader's own first. None: the event no longer holds any for the reader.
        results: Vec<LetterResult>,
        /// The paragraph that asks for the letter.
        clause: Option<String>,
        /// What that paragraph asks the letter to say besides, where a result asks for it.
        must_state: Option<String>,
        /// What is done about the exposure.
        corrective_action: Option<Text>,
        /// Whom to ring.
        contact: Option<Line>,
    }
}

record! {
    /// Another letter, before or after.
    pub struct LetterLink {
        /// The letter.
        letter_id: LetterId,
        /// When it was issued.
        issued_on: NaiveDate,
    }
}

record! {
    /// A letter as it was issued.
    pub struct Letter {
        /// To whom.
        worker_id: WorkerId,
        /// About which agent.
        agent_code: Code,
        /// What it says, for programs.
        says: LetterSays,
        /// Its text as HTML, frozen.
        body: Paper,
        /// The SHA-256 of the text's UTF-8 bytes, in hexadecimal.
        sha256: Code,
        /// When.
        issued_on: NaiveDate,
        /// Who had it written.
        issued_by: AccountId,
        /// Journal positions of the facts it rests on.
        basis: Vec<i64>,
        /// The letter to the same reader whose place it takes.
        amends: Option<LetterLink>,
        /// The letter that took its place when what it rests on was corrected.
        amended_by: Option<LetterLink>,
    }
}

record! {
    /// What is sent to have letters written.
    pub struct LetterDraft {
        /// About which agent.
        agent_code: Code,
        /// What is done about the exposure; needed where a result asks for it. Left out on amending: as in the letter before.
        corrective_action: Option<Text>,
        /// Whom to ring. Left out on amending: as in the letter before.
        contact: Option<Line>,
    }
}

impl LetterSays {
    /// The same as it was computed: reading a number back leaves its digits as if somebody had reported them.
    #[must_use]
    pub fn as_computed(mut self) -> Self {
        for result in &mut self.results {
            result.value.reported = None;
            for limit in &mut result.limits {
                limit.value.reported = None;
            }
        }
        self
    }

    /// Whether both say the same of the exposure, whatever else their writers add.
    pub fn tells_the_same(&self, other: &Self) -> bool {
        let facts =
            |says: &Self| Self { corrective_action: None, contact: None, ..says.clone() }.as_computed();
        facts(self) == facts(other)
    }
}
