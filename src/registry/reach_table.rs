//! Kind of fact and field, and what a change of it reaches: the one table that says what makes which stored row stale.
//!
//! What [`Recorded::reach`](crate::registry::recording::Recorded::reach) says of a whole fact is the sum over its
//! fields; a test holds the two together. A field that no stored conclusion looks at reaches nothing.

use crate::registry::reach::Reach;

/// What a change reaches, as a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reached {
    /// A group's profiles and the verdicts of its tasks.
    Group,
    /// The members of a group.
    Members,
    /// What is concluded of a task's group.
    Task,
    /// The groups in which a control stands, or is named by samples.
    Control,
    /// What is concluded of a worker.
    Worker,
    /// What is concluded from a sample; from all of its event where it is a blank.
    Sample,
    /// What is concluded from the samples of an event.
    Event,
    /// What is concluded from the results of a report, which are facts of their own: voiding it, and when it came in.
    Report,
    /// Every group of a site and its members.
    Site,
    /// Every group, task and worker with results of an agent; of a clause also those for whom it is expected.
    Agent,
    /// All of it: the built-in rules of a new release.
    Registry,
}

impl Reach {
    /// The same as a word.
    pub fn word(&self) -> Reached {
        match self {
            Self::Group(_) => Reached::Group,
            Self::Members(_) => Reached::Members,
            Self::Task(_) => Reached::Task,
            Self::ControlItself => Reached::Control,
            Self::Worker(_) | Self::Joined(..) => Reached::Worker,
            Self::Sample(_) | Self::SampleItself | Self::SampleOrItsEvent(_) => Reached::Sample,
            Self::ReportItself => Reached::Report,
            Self::Event(_) | Self::EventItself => Reached::Event,
            Self::Site(_) | Self::SiteItself => Reached::Site,
            Self::Agent(_) | Self::AgentOf(_) | Self::AgentAndMembers(_) => Reached::Agent,
        }
    }
}

/// The row of a kind of fact.
#[derive(Debug, Clone, Copy)]
pub struct KindReach {
    /// The kind, as the journal names it.
    pub kind: &'static str,
    /// What recording or voiding such a fact may reach.
    pub reaches: &'static [Reached],
    /// The fields whose change reaches it.
    pub by: &'static [&'static str],
    /// The fields that no stored conclusion looks at.
    pub not_by: &'static [&'static str],
}

/// What a change of a field reaches; `None` where the kind or the field has no row.
pub fn reached(kind: &str, field: &str) -> Option<&'static [Reached]> {
    let row = TABLE.iter().find(|row| row.kind == kind)?;
    if row.by.contains(&field) { Some(row.reaches) } else { row.not_by.contains(&field).then_some(&[]) }
}

const fn row(
    kind: &'static str,
    reaches: &'static [Reached],
    by: &'static [&'static str],
    not_by: &'static [&'static str],
) -> KindReach {
    KindReach { kind, reaches, by, not_by }
}

/// Every kind of fact, in the order of [`TABLES`](crate::store::tables::TABLES).
pub const TABLE: &[KindReach] = &[
    row("site", &[Reached::Site], &["time_zone", "rule_set"], &["code", "name"]),
    row("account", &[], &[], &["email", "roles"]),
    row("token", &[], &[], &["label", "opens", "expires_on"]),
    row(
        "agent",
        &[Reached::Agent],
        &["code", "molar_mass", "state", "measured_as", "fraction"],
        &["name", "cas_rn", "further_cas_rns"],
    ),
    row(
        "limit",
        &[Reached::Agent, Reached::Site],
        &[
            "agent_code",
            "authority",
            "rule_sets",
            "kind",
            "value",
            "averaging_minutes",
            "peak_rule",
            "applies_to",
            "from",
            "to",
            "source",
            "edition",
            "verification",
        ],
        &[],
    ),
    row(
        "clause",
        &[Reached::Agent, Reached::Site],
        &[
            "code",
            "authority",
            "agent_code",
            "source",
            "edition",
            "verification",
            "from",
            "to",
            "worker",
            "group",
        ],
        &[],
    ),
    row("compared_with", &[Reached::Agent], &["limit_ids"], &["reason"]),
    row("mixture_set", &[], &[], &["name", "agent_codes", "reason"]),
    row("pack_row", &[Reached::Registry], &["row_id", "file", "columns"], &[]),
    row("rule_set", &[Reached::Group, Reached::Members, Reached::Site], &["rule_set", "from"], &["reason"]),
    row("monitoring_option", &[Reached::Site], &["agent_code", "option", "from"], &[]),
    row("holiday", &[Reached::Site], &["date"], &["name"]),
    row(
        "release",
        &[Reached::Group, Reached::Members, Reached::Worker],
        &["at", "agent_codes", "group_ids", "worker_ids"],
        &["description"],
    ),
    row(
        "group",
        &[],
        &[],
        &["code", "title", "description", "job_classification", "work_area", "shift_pattern"],
    ),
    row(
        "condition",
        &[Reached::Group, Reached::Members],
        &["agent_code", "kind", "trigger_id", "days_per_week", "from", "to"],
        &["source"],
    ),
    row("change", &[Reached::Group], &["from", "kind", "may_raise"], &["description"]),
    row("expected_agent", &[Reached::Group, Reached::Members], &["agent_code", "from", "to"], &["source"]),
    row("joined_era", &[Reached::Group], &["agent_code", "at"], &["reason"]),
    row(
        "judgement",
        &[Reached::Group, Reached::Members],
        &["group_id", "agent_code", "from", "to", "kind", "rating", "arithmetic_mean", "review_on"],
        &["rationale", "sources"],
    ),
    row(
        "task",
        &[Reached::Group],
        &["code", "title", "group_id", "from", "to", "usual_minutes_per_shift", "shifts_per_week"],
        &[],
    ),
    row(
        "control",
        &[Reached::Control],
        &["code", "title", "kind", "target_reduction_percent", "assigned_protection_factor"],
        &["form"],
    ),
    row("control_period", &[Reached::Task], &["control_id", "from", "to"], &[]),
    row("worker", &[], &[], &["given_name", "family_name", "job_title", "entered_by"]),
    row("employment", &[Reached::Worker], &["employer", "relation", "from", "to"], &["employee_number"]),
    row(
        "earlier_exposure",
        &[Reached::Worker],
        &["agent_code", "from", "to", "days_per_year", "mean"],
        &["employer", "source"],
    ),
    row(
        "assignment",
        &[Reached::Worker],
        &[
            "group_id",
            "from",
            "to",
            "shifts_per_week",
            "hours_per_shift",
            "respirator_control_id",
            "respirator_worn_share",
        ],
        &["job_title"],
    ),
    row("worked_day", &[Reached::Worker], &["date", "group_id", "hours"], &[]),
    row("absence", &[Reached::Worker], &["from", "to"], &[]),
    row("alias", &[Reached::Worker], &["of_worker_id", "closed_at"], &["reason", "closing_reason"]),
    row("medical_ground", &[Reached::Worker], &["kind", "trigger_id", "on", "agent_code"], &[]),
    row(
        "record_request",
        &[],
        &[],
        &["received_on", "from", "what", "consented_on", "consent_until", "health_need"],
    ),
    row("respirator_confirmation", &[], &[], &["from", "to", "fit", "programme"]),
    row(
        "sampling_event",
        &[Reached::Event],
        &["purpose", "shift_minutes", "shifts", "changed_after_result"],
        &["reference", "sampled_by", "conditions"],
    ),
    row(
        "sample",
        &[Reached::Sample, Reached::Event],
        &[
            "number",
            "position",
            "shift_date",
            "agent_codes",
            "covers",
            "duplicate_of",
            "sampler_kind",
            "outcome",
            "group_id",
            "task_id",
            "worker_id",
            "runs",
            "minutes_run",
            "flow_before",
            "flow_after",
            "medium",
            "medium_lot",
            "method",
            "method_edition",
            "fraction",
            "calibrated_on",
            "location",
            "materials",
            "arc_minutes",
            "control_ids_running",
            "running_share",
            "representative",
            "on_site_results",
            "changed_after_result",
        ],
        &["pump", "calibrator", "job_title", "ppe_worn", "note", "labels"],
    ),
    row(
        "lab_report",
        &[Reached::Report],
        &["received_on"],
        &["report_number", "part", "revision", "laboratory", "accreditation"],
    ),
    row(
        "result",
        &[Reached::Sample],
        &[
            "sample_id",
            "agent_code",
            "status",
            "stands",
            "mass",
            "concentration",
            "criterion",
            "reporting_limit",
            "detection_limit",
            "blank_corrected",
            "estimated",
            "replaces",
        ],
        &["analysed_on", "reason", "marks"],
    ),
    // The result that a row becomes is a fact of its own.
    row(
        "held_row",
        &[],
        &[],
        &["row", "report_number", "replaces_as", "status", "sample_id", "result_id", "reason"],
    ),
    row(
        "direct_readings",
        &[Reached::Task],
        &[
            "position",
            "location",
            "worker_id",
            "group_id",
            "task_id",
            "shift_date",
            "control_ids_running",
            "unit",
            "readings",
        ],
        &["instrument", "calibrated_on"],
    ),
    row(
        "duty",
        &[],
        &[],
        &[
            "kind",
            "subject",
            "agent_code",
            "authority",
            "trigger_id",
            "occasion",
            "clause",
            "edition",
            "verification",
            "due_on",
            "learned_on",
            "met_on",
            "days_counted",
            "window",
            "basis",
            "employer",
            "withdrawn",
            "recorded_under",
            "flags",
            "site_ids",
            "rests_on_medical_ground",
        ],
    ),
    row("duty_action", &[Reached::Worker], &["action", "on"], &["note", "rests_on_medical_ground"]),
    row(
        "standing_move",
        &[],
        &[],
        &[
            "group_id",
            "agent_code",
            "authority",
            "averaging",
            "averaging_minutes",
            "value_before",
            "value",
            "since",
            "learned_on",
            "cause",
            "takes_back",
            "round",
            "basis",
            "clause",
        ],
    ),
    row(
        "letter",
        &[],
        &[],
        &[
            "worker_id",
            "agent_code",
            "says",
            "body",
            "sha256",
            "issued_on",
            "issued_by",
            "basis",
            "amends",
            "amended_by",
        ],
    ),
    row("legal_hold", &[], &[], &["of_site_id", "of_worker_id", "agent_code", "ground", "from", "lifted_on"]),
    // Carrying one out sets the marks of what goes.
    row(
        "disposal",
        &[],
        &[],
        &["ground", "subjects", "because", "status", "proposed_by", "decided_by", "decided_on", "gone"],
    ),
    row("hand_over", &[], &[], &["to", "on", "reason", "bundle_sha256"]),
    row(
        "taken_over",
        &[],
        &[],
        &["scope", "checksums_sha256", "key", "position", "entries", "gaps", "gaps_sha256", "files_left_out"],
    ),
    row(
        "original",
        &[],
        &[],
        &["holds", "sha256", "bytes", "media_type", "columns", "pointer", "beside", "named", "gave"],
    ),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::tables::TABLES;
    use std::collections::BTreeSet;

    #[test]
    fn every_field_of_every_kind_of_fact_has_a_row_and_no_row_is_left_over() {
        let kinds: Vec<&str> = TABLE.iter().map(|row| row.kind).collect();
        assert_eq!(kinds, TABLES.iter().map(|table| table.kind).collect::<Vec<_>>());
        for (row, table) in TABLE.iter().zip(TABLES) {
            let schema = (table.schema)();
            let fields: BTreeSet<&str> =
                schema["properties"].as_object().unwrap().keys().map(String::as_str).collect();
            let rows: BTreeSet<&str> = row.by.iter().chain(row.not_by).copied().collect();
            assert_eq!(fields, rows, "{}", row.kind);
            assert_eq!(rows.len(), row.by.len() + row.not_by.len(), "{}: a field has two rows", row.kind);
        }
    }

    #[test]
    fn only_what_reaches_something_has_fields_that_do() {
        for row in TABLE {
            assert!(row.by.is_empty() || !row.reaches.is_empty(), "{}", row.kind);
        }
        assert_eq!(reached("sample", "flow_after"), Some(&[Reached::Sample, Reached::Event][..]));
        assert_eq!(reached("sample", "note"), Some(&[][..]));
        assert_eq!(reached("sample", "colour"), None);
        assert_eq!(reached("colour", "note"), None);
    }
}
