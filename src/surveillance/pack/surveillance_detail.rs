//! What the rows on surveillance say in free text, as data: one particular of one clause.

use crate::model::facts::agent::Verification;
use crate::model::facts::clause::TimeUnit;
use crate::model::facts::worker::MedicalGroundKind;
use crate::{record, words};
use chrono::NaiveDate;

words! {
    /// What a particular says.
    pub enum DetailKind {
        /// The first examination is due from the first counted day.
        DueFromFirstDay = "due_from_first_day",
        /// From the date on which the days are enough.
        DueFromDaysReached = "due_from_days_reached",
        /// From the day on which it was determined.
        DueFromDetermined = "due_from_determined",
        /// From the event itself (a release).
        DueFromEvent = "due_from_event",
        /// Months between examinations.
        Interval = "interval",
        /// The same, between the first examination and the next only.
        IntervalFirst = "interval_first",
        /// The same, in the first `up_to` months after the first examination.
        IntervalWithinMonths = "interval_within_months",
        /// The same, in the first `up_to` years after the first exposure.
        IntervalWithinYearsOfExposure = "interval_within_years_of_exposure",
        /// An examination on leaving employment, within `up_to` days; none within `amount` months of a completed one.
        Termination = "termination",
        /// That examination is owed to whoever was covered at any time of the employment, and not only to whoever is still.
        LeavingOnceCovered = "leaving_once_covered",
        /// An examination on a medical ground.
        OnGround = "on_ground",
        /// An examination after a release, for whoever the clause covers.
        OnRelease = "on_release",
        /// Repeated after a release every `amount` months up to `up_to` months.
        FollowUp = "follow_up",
        /// Years with enough days that a history takes.
        HistoryYears = "history_years",
        /// Months (aggregated) that a history takes more than.
        HistoryMonths = "history_months",
        /// An earlier exposure of unknown height counts.
        UnknownHeightCounts = "unknown_height_counts",
        /// Days of all limbs count together.
        LimbsPooled = "limbs_pooled",
        /// Task days count only until the group's exposure was assessed.
        UntilAssessed = "until_assessed",
        /// The next examination looks at the twelve months before it.
        PeriodicLooksBack = "periodic_looks_back",
        /// After that many years the examinations go on when the exposure has ended.
        OutlivesExposure = "outlives_exposure",
        /// What depends on something that is not kept here.
        Note = "note",
    }
}

words! {
    /// Which part of the programme an interval is for.
    pub enum Part {
        /// The examination as a whole.
        Examination = "examination",
        /// Tests of blood or urine.
        BiologicalTests = "biological_tests",
        /// An X-ray of the chest.
        ChestXRay = "chest_x_ray",
        /// The physical examination, where questionnaires are due more often.
        PhysicalExamination = "physical_examination",
        /// A test of lung function.
        LungFunction = "lung_function",
        /// A hearing test.
        Audiogram = "audiogram",
    }
}

record! {
    /// One particular of a clause that starts surveillance.
    pub struct SurveillanceDetail {
        /// Number of the row: SD….
        detail_id: String,
        /// The clause it belongs to.
        trigger_id: String,
        /// What it says.
        kind: DetailKind,
        /// Of which part of the programme.
        part: Option<Part>,
        /// On which medical ground.
        ground: Option<MedicalGroundKind>,
        /// How much.
        amount: Option<i64>,
        /// In what.
        unit: Option<TimeUnit>,
        /// Up to how much; the unit follows from the kind.
        up_to: Option<i64>,
        /// Only exposure before this day.
        before: Option<NaiveDate>,
        /// In words.
        text: Option<String>,
        /// Where it is written.
        source: String,
        /// How far it was checked against the text.
        verification: Verification,
        /// Which edition of the text was read.
        edition: Option<String>,
    }
}

impl SurveillanceDetail {
    /// The amount as a number of months or days; none: 0.
    pub fn number(&self) -> u32 {
        self.amount.and_then(|amount| u32::try_from(amount).ok()).unwrap_or(0)
    }

    /// The bound of it; none: 0.
    pub fn bound(&self) -> u32 {
        self.up_to.and_then(|up_to| u32::try_from(up_to).ok()).unwrap_or(0)
    }
}
