//! An act on a duty, and what there is to act on.

use crate::cli::demo::desk::{Desk, Router, Sent};
use crate::cli::failure::Failure;
use crate::model::facts::account::Role;
use chrono::NaiveDate;
use serde_json::{Value, json};

/// A duty that is to be done.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ToDo {
    /// The duty.
    pub id: String,
    /// What is owed.
    pub kind: String,
    /// By when.
    pub due_on: NaiveDate,
    /// Because of what.
    pub agent: String,
    /// In which group, where it is owed to one.
    pub group: Option<String>,
    /// Whether its day has passed.
    pub overdue: bool,
    /// Whether it rests on a ground of the physician's.
    pub medical: bool,
}

/// Everything that is to be done, as the physician sees it, in the order in which it falls due.
///
/// Read once: asking for duties works out all that is stale, and every deed makes something stale.
#[derive(Debug)]
pub(super) struct Book(Vec<ToDo>);

impl Book {
    /// Reads it.
    ///
    /// # Errors
    /// The request cannot be put together.
    pub(super) async fn open<R: Router>(desk: &Desk<R>, kinds: &[&str]) -> Result<Self, Failure> {
        let mut found = Vec::new();
        for kind in kinds {
            let answer = desk.get(Role::Physician, &format!("/duties?kind={kind}&limit=500")).await?;
            let items = answer.body["items"].as_array().into_iter().flatten();
            found.extend(items.filter_map(|duty| {
                let text = |member: &str| duty[member].as_str();
                let status = text("status").filter(|status| ["open", "overdue"].contains(status))?;
                Some(ToDo {
                    id: text("id")?.to_owned(),
                    kind: (*kind).to_owned(),
                    due_on: text("due_on")?.parse().ok()?,
                    agent: text("agent_code").unwrap_or_default().to_owned(),
                    group: duty["subject"]["group_id"].as_str().map(str::to_owned),
                    overdue: status == "overdue",
                    medical: duty["flags"]
                        .as_array()
                        .is_some_and(|flags| flags.contains(&json!("medical_ground"))),
                })
            }));
        }
        found.sort_by(|one: &ToDo, two| (one.due_on, &one.id).cmp(&(two.due_on, &two.id)));
        Ok(Self(found))
    }

    /// What is owed of one kind.
    pub(super) fn of<'b>(&'b self, kind: &'b str) -> impl Iterator<Item = &'b ToDo> {
        self.0.iter().filter(move |duty| duty.kind == kind)
    }

    /// What is late of one kind.
    pub(super) fn overdue<'b>(&'b self, kind: &'b str) -> impl Iterator<Item = &'b ToDo> {
        self.of(kind).filter(|duty| duty.overdue)
    }
}

/// Does something about a duty.
pub(super) async fn act<R: Router>(
    desk: &Desk<R>,
    role: Role,
    duty: &ToDo,
    action: &str,
    on: NaiveDate,
    note: Option<&str>,
) -> Result<(), Failure> {
    let mut body = json!({"action": action, "on": on});
    if let Some(note) = note {
        body["note"] = json!(note);
    }
    post(desk, role, &format!("/duties/{}/actions", duty.id), &body).await.map(drop)
}

/// Sends something that must be taken; the answer.
pub(super) async fn post<R: Router>(
    desk: &Desk<R>,
    role: Role,
    path: &str,
    body: &Value,
) -> Result<Value, Failure> {
    let sent = Sent { kind: "application/json", body: body.to_string(), key: None };
    let answer = desk.post(role, path, sent).await?;
    if answer.status.is_success() {
        Ok(answer.body)
    } else {
        Err(Failure::Refused(format!("POST {path} as {role} was refused: {}", answer.body)))
    }
}

/// A date of the demonstration's calendar.
pub(super) const fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    match NaiveDate::from_ymd_opt(year, month, day) {
        Some(date) => date,
        None => NaiveDate::MAX,
    }
}
