//! Laboratory reports and results.

use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::{ResultId, SampleId};
use crate::model::quantity::Quantity;
use crate::model::text::{Code, Line, Text};
use crate::{record, words};
use chrono::NaiveDate;

words! {
    /// Whether the laboratory has taken the blank off already.
    pub enum BlankCorrected {
        /// It has.
        Yes = "yes",
        /// It has not.
        No = "no",
        /// It does not say; then nothing is taken off, and the result is flagged.
        Unknown = "unknown",
    }
}

words! {
    /// In what way a result replaces an earlier one.
    pub enum ReplacedAs {
        /// The laboratory's mistake: stands at once.
        Revised = "revised",
        /// Analysed again: stands only when a hygienist says so.
        Reanalysed = "reanalysed",
    }
}

record! {
    /// The result that is replaced.
    pub struct Replaces {
        /// Which.
        result_id: ResultId,
        /// In what way.
        replaced_as = "as": ReplacedAs,
    }
}

record! {
    /// One row of a report as it was sent.
    pub struct ResultDraft {
        /// The sample's number at the site.
        sample_number: Code,
        /// The agent.
        agent_code: Code,
        /// Mass on the medium; or else a concentration.
        mass: Option<Quantity>,
        /// Concentration in air as the laboratory computed it.
        concentration: Option<Quantity>,
        /// Reporting limit, in the same kind of unit.
        reporting_limit: Quantity,
        /// Detection limit.
        detection_limit: Option<Quantity>,
        /// Whether the blank is taken off (unknown if left out).
        blank_corrected: Option<BlankCorrected>,
        /// A value between detection and reporting limit that the laboratory estimated.
        estimated: Option<bool>,
        /// The earlier result it replaces.
        replaces: Option<Replaces>,
        /// When it was analysed.
        analysed_on: Option<NaiveDate>,
    }
}

record! {
    /// What is sent to enter a laboratory report.
    pub struct LabReportDraft {
        /// The laboratory's number of the report.
        report_number: Code,
        /// Part of a report that comes in several.
        part: Option<i64>,
        /// Revision of the report.
        revision: Option<i64>,
        /// The laboratory.
        laboratory: Line,
        /// Its accreditation.
        accreditation: Option<Line>,
        /// When the report was received; clocks of notices start here.
        received_on: NaiveDate,
        /// The rows.
        results: Vec<ResultDraft>,
    }
}

record! {
    /// A laboratory report; its results are facts of their own.
    pub struct LabReport {
        /// The laboratory's number of the report.
        report_number: Code,
        /// Part of a report that comes in several.
        part: Option<i64>,
        /// Revision of the report.
        revision: Option<i64>,
        /// The laboratory.
        laboratory: Line,
        /// Its accreditation.
        accreditation: Option<Line>,
        /// When the report was received.
        received_on: NaiveDate,
    }
}

words! {
    /// How far a result has come.
    pub enum ResultStatus {
        /// Entered.
        Submitted = "submitted",
        /// Accepted by a hygienist.
        Accepted = "accepted",
        /// Taken out of every conclusion; stays readable.
        Voided = "voided",
    }
}

record! {
    /// A result: one sample and one agent. A thing of its own: accepted, voided, replaced.
    pub struct LabResult {
        /// The sample.
        sample_id: SampleId,
        /// The agent.
        agent_code: Code,
        /// How far it has come.
        status: ResultStatus,
        /// Whether it stands; false once replaced, or while a re-analysis waits for its choice.
        stands: bool,
        /// Mass on the medium.
        mass: Option<Quantity>,
        /// Concentration, or level, as reported.
        concentration: Option<Quantity>,
        /// By which criterion, for noise read on site.
        criterion: Option<NoiseCriterion>,
        /// Reporting limit.
        reporting_limit: Option<Quantity>,
        /// Detection limit.
        detection_limit: Option<Quantity>,
        /// Whether the blank is taken off.
        blank_corrected: BlankCorrected,
        /// Between detection and reporting limit, estimated by the laboratory.
        estimated: bool,
        /// The earlier result it replaces.
        replaces: Option<Replaces>,
        /// When it was analysed.
        analysed_on: Option<NaiveDate>,
        /// Reason of the last acceptance or voiding.
        reason: Option<Text>,
        /// `same_person` where the account that entered or voids it also accepts it.
        marks: Option<Vec<String>>,
    }
}

words! {
    /// How far a held row has come.
    pub enum HeldRowStatus {
        /// Its sample is not known yet.
        Waiting = "waiting",
        /// Its sample was found; the result is a fact of its own.
        Matched = "matched",
        /// There is no sample that it belongs to.
        Dismissed = "dismissed",
    }
}

record! {
    /// A laboratory row that waits for its sample.
    pub struct HeldRow {
        /// The row as sent.
        row: ResultDraft,
        /// The report it came in.
        report_number: Code,
        /// In what way it replaces whichever result stands for its sample (in a file the word stands alone).
        replaces_as: Option<ReplacedAs>,
        /// How far it has come.
        status: HeldRowStatus,
        /// The sample it was matched with.
        sample_id: Option<SampleId>,
        /// The result it became.
        result_id: Option<ResultId>,
        /// Why it was dismissed, or matched.
        reason: Option<Text>,
    }
}
