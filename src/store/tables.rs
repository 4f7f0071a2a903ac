//! The table of each kind of fact: where it stands, by what it is looked up, who may see it.

use crate::model::facts::{
    account, agent, clause, control, duty, group, hand_over, laboratory, letter, original, retention, rules,
    sampling, site, standing_move, worker,
};
use crate::model::shape::Shape;
use chrono::NaiveDate;
use serde_json::Value;
use uuid::Uuid;

/// Who may see the rows of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sees {
    /// Whoever the policy lets ask at all.
    Everyone,
    /// Those with the row's own id among their sites.
    Itself,
    /// Those with the row's site among theirs.
    Site,
    /// The same; a row without a site is everyone's.
    SiteOrEveryone,
    /// Those with the worker on one of their sites.
    Worker,
    /// Those who may see the worker it hangs on.
    OfWorker,
}

/// One fact table.
#[derive(Debug)]
pub struct Table {
    /// The kind of fact, as the journal names it.
    pub kind: &'static str,
    /// The table.
    pub name: &'static str,
    /// Its look-up columns beside those that every fact table has.
    pub keys: &'static [&'static str],
    /// Who may see its rows.
    pub sees: Sees,
    /// The format number of its images.
    pub format: i64,
    /// What the look-up columns of a fact must hold, from its JSON; `None` where it does not read as this kind.
    pub keyed: fn(&Value) -> Option<Vec<Key>>,
    /// Whether a fact belongs to the medical chain, from its JSON.
    pub medical: fn(&Value) -> bool,
    /// The JSON Schema of its facts.
    pub schema: fn() -> Value,
}

/// The value of a look-up column.
#[derive(Debug, Clone, PartialEq)]
pub enum Key {
    /// An identifier.
    Id(Option<Uuid>),
    /// A text.
    Text(Option<String>),
    /// A date.
    Date(Option<NaiveDate>),
    /// A whole number.
    Number(Option<i64>),
}

impl Key {
    fn id(id: impl Into<Uuid>) -> Self {
        Self::Id(Some(id.into()))
    }

    fn maybe_id(id: Option<impl Into<Uuid>>) -> Self {
        Self::Id(id.map(Into::into))
    }

    fn text(text: &(impl ToString + ?Sized)) -> Self {
        Self::Text(Some(text.to_string()))
    }

    fn maybe_text<T: ToString>(text: Option<&T>) -> Self {
        Self::Text(text.map(ToString::to_string))
    }
}

/// A fact that is kept in a table of its own.
pub trait Stored: Shape + Clone + std::fmt::Debug + Send + Sync + 'static {
    /// The table.
    const TABLE: &'static Table;

    /// The values of the table's look-up columns, in their order.
    fn keys(&self) -> Vec<Key>;

    /// Whether it belongs to the medical chain, whose entries are the physician's alone.
    fn is_medical(&self) -> bool;
}

fn keyed<F: Stored>(fact: &Value) -> Option<Vec<Key>> {
    F::parse(fact).ok().map(|fact| fact.keys())
}

fn medical<F: Stored>(fact: &Value) -> bool {
    F::parse(fact).is_ok_and(|fact| fact.is_medical())
}

/// The table of a kind of fact.
pub fn of_kind(kind: &str) -> Option<&'static Table> {
    TABLES.iter().copied().find(|table| table.kind == kind)
}

/// One row for each fact table: its type, kind, name, who sees it, the look-up columns with their values, and which of
/// its facts are medical.
macro_rules! tables {
    ($(
        $fact:ty: $kind:literal in $name:literal, $sees:ident, |$it:ident| [$($key:literal = $value:expr),*]
        $(, medical if $medical:expr)?;
    )*) => {
        /// Every fact table.
        pub const TABLES: &[&Table] = &[$(<$fact as Stored>::TABLE),*];

        $(impl Stored for $fact {
            const TABLE: &'static Table = &Table {
                kind: $kind,
                name: $name,
                keys: &[$($key),*],
                sees: Sees::$sees,
                format: 1,
                keyed: keyed::<Self>,
                medical: medical::<Self>,
                schema: <Self as Shape>::schema,
            };

            fn keys(&self) -> Vec<Key> {
                let $it = self;
                let _ = $it;
                vec![$($value),*]
            }

            fn is_medical(&self) -> bool {
                let _ = self;
                false $(|| { let $it = self; $medical })?
            }
        })*
    };
}

tables! {
    site::Site: "site" in "site", Itself, |it| ["code" = Key::text(&it.code)];
    account::Account: "account" in "account", Everyone, |it| ["email" = Key::text(it.email.as_str())];
    account::Token: "token" in "access_token", Everyone, |_it| [];
    agent::Agent: "agent" in "agent", Everyone, |it| ["code" = Key::text(&it.code)];
    agent::Limit: "limit" in "exposure_limit", SiteOrEveryone, |it| [
        "agent_code" = Key::maybe_text(it.agent_code.as_ref())
    ];
    clause::Clause: "clause" in "authority_clause", SiteOrEveryone, |it| [
        "code" = Key::text(&it.code),
        "agent_code" = Key::text(&it.agent_code)
    ];
    rules::ComparedWith: "compared_with" in "compared_with", Everyone, |_it| [];
    rules::MixtureSet: "mixture_set" in "mixture_set", Everyone, |_it| [];
    rules::PackRow: "pack_row" in "pack_row", Everyone, |it| [
        "row_id" = Key::text(&it.row_id),
        "file" = Key::text(&it.file)
    ];
    site::RuleSetChange: "rule_set" in "rule_set_change", Site, |_it| [];
    site::MonitoringOption: "monitoring_option" in "monitoring_option", Site, |it| [
        "agent_code" = Key::text(&it.agent_code)
    ];
    site::Holiday: "holiday" in "holiday", Site, |it| ["date" = Key::Date(Some(it.date))];
    site::Release: "release" in "plant_release", Site, |_it| [];
    group::Group: "group" in "exposure_group", Site, |it| ["code" = Key::text(&it.code)];
    group::Condition: "condition" in "group_condition", Site, |it| [
        "agent_code" = Key::text(&it.agent_code)
    ];
    group::GroupChange: "change" in "group_change", Site, |_it| [];
    group::ExpectedAgent: "expected_agent" in "expected_agent", Site, |it| [
        "agent_code" = Key::text(&it.agent_code)
    ];
    group::JoinedEra: "joined_era" in "joined_era", Site, |_it| [];
    group::Judgement: "judgement" in "judgement", Site, |it| [
        "group_id" = Key::id(it.group_id),
        "agent_code" = Key::text(&it.agent_code)
    ];
    control::Task: "task" in "task", Site, |it| [
        "code" = Key::text(&it.code),
        "group_id" = Key::id(it.group_id)
    ];
    control::Control: "control" in "control", Site, |it| ["code" = Key::text(&it.code)];
    control::ControlPeriod: "control_period" in "control_period", Site, |it| [
        "control_id" = Key::id(it.control_id)
    ];
    worker::Worker: "worker" in "worker", Worker, |it| ["entered_by" = Key::id(it.entered_by)];
    worker::Employment: "employment" in "employment", OfWorker, |it| [
        "employer" = Key::text(&it.employer),
        "employee_number" = Key::text(&it.employee_number)
    ];
    worker::EarlierExposure: "earlier_exposure" in "earlier_exposure", OfWorker, |_it| [];
    worker::Assignment: "assignment" in "assignment", Site, |it| ["group_id" = Key::id(it.group_id)];
    worker::WorkedDay: "worked_day" in "worked_day", Site, |it| [
        "group_id" = Key::id(it.group_id),
        "date" = Key::Date(Some(it.date))
    ];
    worker::Absence: "absence" in "absence", OfWorker, |_it| [];
    worker::Alias: "alias" in "worker_alias", OfWorker, |it| ["of_worker_id" = Key::id(it.of_worker_id)];
    worker::MedicalGround: "medical_ground" in "medical_ground", OfWorker, |_it| [], medical if true;
    worker::RecordRequest: "record_request" in "record_request", OfWorker, |_it| [];
    worker::RespiratorConfirmation: "respirator_confirmation" in "respirator_confirmation", Site, |_it| [];
    sampling::SamplingEvent: "sampling_event" in "sampling_event", Site, |it| [
        "reference" = Key::text(&it.reference)
    ];
    sampling::Sample: "sample" in "sample", Site, |it| [
        "number" = Key::text(&it.number),
        "worker_id" = Key::maybe_id(it.worker_id),
        "group_id" = Key::maybe_id(it.group_id),
        "task_id" = Key::maybe_id(it.task_id),
        "shift_date" = Key::Date(Some(it.shift_date)),
        "position" = Key::text(&it.position)
    ];
    laboratory::LabReport: "lab_report" in "lab_report", Site, |it| [
        "laboratory" = Key::text(&it.laboratory),
        "report_number" = Key::text(&it.report_number),
        "part" = Key::Number(it.part),
        "report_revision" = Key::Number(it.revision)
    ];
    laboratory::LabResult: "result" in "lab_result", Site, |it| [
        "sample_id" = Key::id(it.sample_id),
        "agent_code" = Key::text(&it.agent_code)
    ];
    laboratory::HeldRow: "held_row" in "held_row", Site, |_it| [];
    sampling::DirectReadings: "direct_readings" in "direct_readings", Site, |it| [
        "task_id" = Key::maybe_id(it.task_id),
        "shift_date" = Key::Date(Some(it.shift_date))
    ];
    duty::Duty: "duty" in "duty", Everyone, |it| [
        "worker_id" = Key::maybe_id(it.subject.worker_id),
        "group_id" = Key::maybe_id(it.subject.group_id),
        "agent_code" = Key::maybe_text(it.agent_code.as_ref()),
        "trigger_id" = Key::maybe_text(it.trigger_id.as_ref()),
        "occasion" = Key::text(&it.occasion)
    ], medical if it.is_medical();
    duty::DutyAction: "duty_action" in "duty_action", Everyone, |it| [],
        medical if it.rests_on_medical_ground == Some(true);
    standing_move::StandingMove: "standing_move" in "standing_move", Site, |it| [
        "group_id" = Key::id(it.group_id),
        "agent_code" = Key::text(&it.agent_code)
    ];
    letter::Letter: "letter" in "letter", Site, |it| ["worker_id" = Key::id(it.worker_id)];
    retention::LegalHold: "legal_hold" in "legal_hold", Everyone, |_it| [];
    retention::Disposal: "disposal" in "disposal", Everyone, |_it| [];
    hand_over::HandOver: "hand_over" in "hand_over", Site, |_it| [];
    hand_over::TakenOver: "taken_over" in "taken_over", Everyone, |_it| [];
    original::Original: "original" in "original_file", Site, |it| ["sha256" = Key::text(&it.sha256)];
}
