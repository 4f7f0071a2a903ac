//! What is handed out on a request for a worker's exposure records: everything that measured or represents the person, how it
//! was measured, what it is read against, and what is missing.
//!
//! The order of the records is that of 29 CFR 1910.1020(e)(2)(i)(A): those that measure the worker; where there are none,
//! those of others with similar duties or conditions.

use crate::conclusions::history::basis::GapKind;
use crate::model::facts::agent::{LimitKind, Verification};
use crate::model::facts::laboratory::ResultStatus;
use crate::model::facts::worker::{RecordRequest, RequestedBy};
use crate::model::identifiers::{ControlId, DutyId, GroupId, SampleId, TaskId, WorkerId};
use crate::model::quantity::Quantity;
use crate::model::text::{Code, Line, Text};
use crate::{record, words};
use chrono::NaiveDate;
use serde_json::Value;
use std::collections::BTreeSet;

/// What stands at the head of the package.
pub const CAUTION: &str = "Exposure records of one person, taken from the employer's exposure registry. It holds no medical record: those are asked for where they are kept. Concentrations are those of the air outside any respirator. Whether this answers the request, and what else must be given, the law in force where the person works decides; what an exposure means for health, a licensed health professional.";

words! {
    /// On what ground the records are handed out.
    pub enum RecordRoute {
        /// The worker asks.
        Own = "own_request",
        /// The worker agreed in writing, and the agreement holds.
        Consent = "consent",
        /// A representative named the records and the occupational health need in writing.
        WrittenNeed = "written_need",
        /// An authority asks.
        Authority = "authority",
    }
}

/// On what ground a request may be answered on a day.
///
/// # Errors
/// What is missing: a field of the request, and why.
pub fn route(request: &RecordRequest, on: NaiveDate) -> Result<RecordRoute, (&'static str, &'static str)> {
    let consents = request.consented_on.is_some() && request.consent_ends().is_some_and(|last| on <= last);
    match request.from {
        RequestedBy::Worker => Ok(RecordRoute::Own),
        RequestedBy::Authority => Ok(RecordRoute::Authority),
        RequestedBy::Representative | RequestedBy::Other if consents => Ok(RecordRoute::Consent),
        RequestedBy::Representative if request.health_need.is_some() => Ok(RecordRoute::WrittenNeed),
        _ if request.consented_on.is_some() => {
            Err(("/consent_until", "the worker's consent holds no more: ask for a new one"))
        }
        RequestedBy::Representative => Err((
            "/consented_on",
            "a representative needs the worker's dated consent (consented_on), or names the records and the occupational \
             health need in writing (health_need; 29 CFR 1910.1020(e)(2)(i)(B))",
        )),
        RequestedBy::Other => Err(("/consented_on", "needs the worker's dated consent (consented_on)")),
    }
}

record! {
    /// Where the person was employed.
    pub struct PackageEmployment {
        /// The employer.
        employer: Line,
        /// The number there.
        employee_number: Code,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
    }
}

record! {
    /// In which group the person worked.
    pub struct PackageWork {
        /// The group.
        group_id: GroupId,
        /// The site's code.
        site_code: Option<String>,
        /// The group's title.
        group_title: Option<String>,
        /// The job title then.
        job_title: Option<Line>,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
    }
}

record! {
    /// A result of a sample; a sample without any stands once for each agent that was asked for.
    pub struct PackageResult {
        /// The sample.
        sample_id: SampleId,
        /// Its number.
        sample_number: String,
        /// The site's local date on which the shift started.
        shift_date: NaiveDate,
        /// The site's code.
        site_code: Option<String>,
        /// The group's title.
        group_title: Option<String>,
        /// The task's title.
        task_title: Option<String>,
        /// Where the air was taken.
        position: String,
        /// What part of the shift it stands for.
        covers: String,
        /// Who wore the sampler: `the worker`, a cover name, or nobody.
        worn_by: Option<String>,
        /// The job title of whoever wore it.
        job_title: Option<String>,
        /// Respirator and other protective equipment worn meanwhile.
        protective_equipment: Option<String>,
        /// Minutes sampled.
        minutes: f64,
        /// The agent.
        agent_code: Option<Code>,
        /// How far the result has come; absent: there is none.
        status: Option<ResultStatus>,
        /// Whether it stands; a replaced result does not.
        stands: Option<bool>,
        /// What was reported: a mass on the medium, a concentration or a level; of void results it is all there is.
        reported: Option<Quantity>,
        /// The concentration, or the level of noise over the sample's run.
        concentration: Option<Quantity>,
        /// The dose of noise over the sample's run.
        dose: Option<Quantity>,
        /// What the laboratory can report at least.
        reporting_limit: Option<Quantity>,
        /// The method.
        method: Option<String>,
        /// The laboratory.
        laboratory: Option<String>,
        /// Its report.
        report_number: Option<String>,
        /// Why it counts for nothing, where it was voided or replaced, or the sample failed.
        void_because: Option<String>,
        /// What is to be known of it.
        flags: Vec<String>,
    }
}

impl PackageResult {
    /// Whether it is a result that stands and was not voided.
    pub fn tells(&self) -> bool {
        self.stands == Some(true) && self.void_because.is_none() && self.status != Some(ResultStatus::Voided)
    }
}

record! {
    /// What was concluded of a group in a time in which the person was in it.
    pub struct PackageProfile {
        /// The group.
        group_id: GroupId,
        /// Its title.
        group_title: String,
        /// The profile as `GET /groups/{id}/profiles` gives it, without names.
        profile: Value,
    }
}

record! {
    /// What was concluded of a control on a task of a group.
    pub struct PackageVerdict {
        /// The task.
        task_id: TaskId,
        /// Its title.
        task_title: String,
        /// The control.
        control_id: Option<ControlId>,
        /// Its title.
        control_title: Option<String>,
        /// The verdict as `GET /tasks/{id}/control-verdicts` gives it.
        verdict: Value,
    }
}

record! {
    /// A limit in force on a day of these records.
    pub struct PackageLimit {
        /// The agent.
        agent_code: Code,
        /// Whose it is.
        authority: Code,
        /// What kind.
        kind: LimitKind,
        /// Its value.
        value: Quantity,
        /// Over how many minutes it is averaged.
        averaging_minutes: Option<i64>,
        /// First day in force, where it is known.
        from: Option<NaiveDate>,
        /// First day no longer in force.
        to: Option<NaiveDate>,
        /// Where it stands.
        source: Line,
    }
}

record! {
    /// How exact a standard wants a method to be: printed, never derived here.
    pub struct PackageAccuracy {
        /// The agent.
        agent_code: Code,
        /// How exact.
        asks: String,
        /// The clause.
        clause: String,
        /// How far that was checked against the text.
        verification: Verification,
    }
}

record! {
    /// A time of which nothing is known.
    pub struct PackageGap {
        /// The agent.
        agent_code: Code,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: NaiveDate,
        /// Why.
        kind: GapKind,
    }
}

record! {
    /// Everything handed out on a request for one person's exposure records.
    pub struct RecordPackage {
        /// What it is and who decides.
        caution: String,
        /// When the request was received.
        received_on: NaiveDate,
        /// Who asked.
        from: RequestedBy,
        /// What was asked for.
        what: Text,
        /// On what ground it is answered.
        route: RecordRoute,
        /// The need stated in writing.
        health_need: Option<Text>,
        /// The duty to answer.
        duty_id: Option<DutyId>,
        /// By when the answer is due.
        due_on: Option<NaiveDate>,
        /// The worker.
        worker_id: WorkerId,
        /// Other entries of the same person.
        also_known_as: Option<Vec<WorkerId>>,
        /// Name.
        name: String,
        /// The day as of which this is.
        as_of: NaiveDate,
        /// Where the person was employed.
        employments: Vec<PackageEmployment>,
        /// In which groups the person worked.
        work: Vec<PackageWork>,
        /// What measured the person, void and replaced results too.
        own: Vec<PackageResult>,
        /// What measured others in the person's group while the person was in it: it represents the person.
        representing: Vec<PackageResult>,
        /// Of agents with neither: what measured others in the same group at other times.
        of_similar_work: Vec<PackageResult>,
        /// What was measured in the room, at inlets and outlets, on those days.
        areas: Vec<PackageResult>,
        /// Profiles of the groups.
        profiles: Vec<PackageProfile>,
        /// Verdicts on controls of the groups' tasks.
        verdicts: Vec<PackageVerdict>,
        /// Limits in force on the days of these records and today.
        limits: Vec<PackageLimit>,
        /// How exact the standards want methods to be.
        accuracy: Vec<PackageAccuracy>,
        /// Times of which nothing is known.
        gaps: Vec<PackageGap>,
        /// What is missing, in words.
        missing: Vec<String>,
    }
}

/// What is missing, in words.
pub fn missing(package: &RecordPackage, agents: &BTreeSet<Code>) -> Vec<String> {
    let mut said = Vec::new();
    if package.work.is_empty() {
        said.push("No group is recorded in which this person worked.".to_owned());
    }
    let tells = |results: &[PackageResult], code: &Code| {
        results.iter().any(|result| result.agent_code.as_ref() == Some(code) && result.tells())
    };
    for code in agents {
        if tells(&package.own, code) {
            continue;
        }
        let rest = if tells(&package.representing, code) {
            "what stands here measured others in the same group meanwhile"
        } else if tells(&package.of_similar_work, code) {
            "nobody in the same group was measured meanwhile either; what stands here measured others there at other times"
        } else {
            "nor was anybody in the same groups, as far as this registry knows"
        };
        said.push(format!("{code}: no valid result measures this person; {rest}."));
    }
    let waiting =
        package.own.iter().filter(|result| result.status.is_none() && result.void_because.is_none());
    let waiting: BTreeSet<&str> = waiting.map(|result| result.sample_number.as_str()).collect();
    if !waiting.is_empty() {
        let numbers = waiting.into_iter().collect::<Vec<_>>().join(", ");
        said.push(format!("No result has come yet for {numbers}."));
    }
    let without_method: BTreeSet<&str> = package
        .own
        .iter()
        .filter(|result| result.method.is_none() && result.tells())
        .map(|result| result.sample_number.as_str())
        .collect();
    if !without_method.is_empty() {
        let numbers = without_method.into_iter().collect::<Vec<_>>().join(", ");
        said.push(format!("The method is not recorded for {numbers}."));
    }
    said.push("Papers of laboratories and field sheets are not part of this package; the employer keeps them beside the registry.".to_owned());
    said.push("Medical records are kept elsewhere and are asked for there.".to_owned());
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    fn request(from: RequestedBy) -> RecordRequest {
        RecordRequest {
            received_on: day("2026-02-02"),
            from,
            what: Text::new("Every exposure record.").unwrap(),
            consented_on: None,
            consent_until: None,
            health_need: None,
        }
    }

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    // 29 CFR 1910.1020(e)(2)(i)(B), July 2024: a designated representative without consent writes which records and what
    // occupational health need; (c)(12): a consent holds for a year at most.
    #[test]
    fn both_routes_of_a_representative_and_no_third() {
        let asked = request(RequestedBy::Representative);
        assert_eq!(route(&asked, day("2026-02-10")).unwrap_err().0, "/consented_on");
        let need =
            RecordRequest { health_need: Text::new("Cough among welders of one hall."), ..asked.clone() };
        assert_eq!(route(&need, day("2026-02-10")), Ok(RecordRoute::WrittenNeed));
        let consents = RecordRequest { consented_on: Some(day("2025-02-10")), ..asked };
        assert_eq!(route(&consents, day("2026-02-10")), Ok(RecordRoute::Consent));
        assert_eq!(route(&consents, day("2026-02-11")).unwrap_err().0, "/consent_until");
        let shorter = RecordRequest { consent_until: Some(day("2025-12-31")), ..consents };
        assert_eq!(route(&shorter, day("2025-12-31")), Ok(RecordRoute::Consent));
        assert!(route(&shorter, day("2026-01-01")).is_err());
    }

    // 29 CFR 1910.1020(e)(1)(i) and (e)(3): the worker and the authority; the others are common practice, no source.
    #[test]
    fn the_worker_and_an_authority_need_nobodys_consent_and_others_do() {
        assert_eq!(route(&request(RequestedBy::Worker), day("2026-02-10")), Ok(RecordRoute::Own));
        assert_eq!(route(&request(RequestedBy::Authority), day("2026-02-10")), Ok(RecordRoute::Authority));
        let other = request(RequestedBy::Other);
        assert!(route(&other, day("2026-02-10")).is_err());
        let need = RecordRequest { health_need: Text::new("Interest."), ..other.clone() };
        assert!(route(&need, day("2026-02-10")).is_err());
        let consents = RecordRequest { consented_on: Some(day("2026-02-01")), ..other };
        assert_eq!(route(&consents, day("2026-02-10")), Ok(RecordRoute::Consent));
    }
}
