//! A duty as an entry of a log: when, what, why, by which clause.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::duty::{DutyKind, DutyStatus};
use crate::model::identifiers::DutyId;
use crate::pages::marks::{self, Mark};
use crate::pages::names::Names;
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::registry::duties::may_answer;
use crate::registry::duty_view::DutyView;
use chrono::NaiveDate;

/// A duty as an entry.
#[derive(Debug, Clone)]
pub struct DutyEntry {
    /// The duty.
    pub id: DutyId,
    /// The day it is or was due.
    pub when: String,
    /// How it stands.
    pub mark: Mark,
    /// What it asks for.
    pub what: String,
    /// Of whom or what.
    pub of: String,
    /// Where that is shown; empty where no page shows it.
    pub address: String,
    /// Why, with the number.
    pub why: String,
    /// Clause and edition, and who decides.
    pub clause: String,
    /// What people did about it, the latest last.
    pub done: Vec<String>,
    /// Whether it stands open: something is to be done.
    pub open: bool,
    /// Whether no clause asks for it, so that it is never late.
    pub recommended: bool,
    /// Whether it stands open and is the reader's to answer.
    pub answerable: bool,
}

impl DutyEntry {
    /// A duty as it is told on a day.
    pub fn of(texts: &Texts, names: &Names, duty: &DutyView, today: NaiveDate) -> Self {
        let subject = &duty.subject;
        // Of what it leads to, the part about its agent, where the reader is told of which.
        let of_agent = duty.agent_code.as_ref().map(|code| format!("?agent_code={code}")).unwrap_or_default();
        let (of, address) = match (subject.worker_id, subject.group_id, subject.site_id) {
            (Some(worker), _, _) => {
                let name = names.worker(worker.0).unwrap_or_else(|| texts.t("duty-somebody"));
                (name, format!("/workers/{worker}{of_agent}"))
            }
            (None, Some(group), _) => {
                let title = names.group(group.0).unwrap_or_default();
                let site = names.site_of_group(group.0).and_then(|site| names.site(site));
                let told = [title, site.unwrap_or_default()];
                let told: Vec<&str> = told.into_iter().filter(|part| !part.is_empty()).collect();
                (told.join(", "), format!("/groups/{group}{of_agent}"))
            }
            (None, None, Some(site)) => {
                (names.site(site).unwrap_or_default().to_owned(), format!("/sites/{site}"))
            }
            (None, None, None) => (String::new(), String::new()),
        };
        Self {
            id: duty.id,
            when: told::day(duty.due_on),
            mark: mark(texts, duty, today),
            what: texts.word("duty-kind", duty.kind.as_str()),
            of,
            address,
            why: why(texts, names, duty),
            clause: clause(texts, duty),
            done: duty
                .actions
                .iter()
                .map(|action| {
                    let word = texts.word("duty-action", action.action.as_str());
                    let note = action.note.as_ref().map(|note| format!(": {note}")).unwrap_or_default();
                    format!("{word}, {}{note}", told::day(action.on))
                })
                .collect(),
            open: matches!(duty.status, DutyStatus::Open | DutyStatus::Overdue),
            recommended: duty.status == DutyStatus::Open && duty.due_on < today,
            answerable: false,
        }
    }
}

impl DutyEntry {
    /// The same for a reader who may act on duties: those of his kinds can be answered where they stand open.
    #[must_use]
    pub fn answered_by(self, caller: &Caller, kind: DutyKind) -> Self {
        let may = caller.may(Action::ActOnDuties).is_ok() && may_answer(caller, kind);
        Self { answerable: self.open && may, ..self }
    }
}

fn mark(texts: &Texts, duty: &DutyView, today: NaiveDate) -> Mark {
    let days = |count: i64| usize::try_from(count).unwrap_or_default();
    let shape = marks::duty(duty.status);
    match duty.status {
        DutyStatus::Overdue => {
            Mark::acting(shape, texts.n("duty-days-late", days((today - duty.due_on).num_days())))
        }
        DutyStatus::Open if duty.due_on < today => Mark::new(shape, texts.t("duty-recommended")),
        DutyStatus::Open if duty.due_on == today => Mark::new(shape, texts.t("duty-today")),
        DutyStatus::Open => Mark::new(shape, texts.n("duty-in-days", days((duty.due_on - today).num_days()))),
        DutyStatus::Met => match duty.days_late {
            Some(late) => Mark::new(shape, texts.n("duty-met-late", days(late))),
            None => Mark::new(shape, texts.word("duty-status", duty.status.as_str())),
        },
        status => Mark::new(shape, texts.word("duty-status", status.as_str())),
    }
}

fn why(texts: &Texts, names: &Names, duty: &DutyView) -> String {
    let mut told = Vec::new();
    if let Some(agent) = &duty.agent_code {
        told.push(names.agent(agent.as_str()));
    }
    if let (Some(days), Some(window)) = (duty.days_counted, &duty.window) {
        let last = window.to.pred_opt().unwrap_or(window.to);
        let what = format!("{} – {}", told::day(window.from), told::day(last));
        let days = usize::try_from(days).unwrap_or_default();
        told.push(texts.with_number("duty-days-counted", days, &[("what", &what)]));
    }
    if duty.flags.iter().any(|flag| flag == "days_across_sites") {
        told.push(texts.t("duty-across-sites"));
    }
    if duty.flags.iter().any(|flag| flag == "learned_after_due") {
        told.push(texts.t("duty-learned-late"));
    }
    if let Some(employer) = &duty.employer {
        told.push(texts.with("duty-employer", &[("who", employer.as_str())]));
    }
    if let Some(escalation) = &duty.escalation {
        let role = texts.word("role", escalation.to.as_str());
        told.push(texts.with("duty-goes-to", &[("who", &role)]));
    }
    if let Some(withdrawn) = &duty.withdrawn {
        told.push(texts.with("duty-withdrawn-because", &[("what", &withdrawn.to_string())]));
    }
    told.join(" · ")
}

fn clause(texts: &Texts, duty: &DutyView) -> String {
    let mut told = Vec::new();
    if let Some(clause) = &duty.clause {
        told.push(clause.clone());
    }
    if let Some(edition) = &duty.edition {
        told.push(texts.with("duty-edition", &[("what", edition)]));
    }
    told.push(duty.words.clone());
    told.join(" · ")
}
