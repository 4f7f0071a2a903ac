//! Results told to people, requests answered, ventilation checked.

use crate::cli::demo::desk::{Desk, Router};
use crate::cli::demo::office::deed::{Book, ToDo, act, date, post};
use crate::cli::failure::Failure;
use crate::model::facts::account::Role;
use chrono::{Days, NaiveDate};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// What people are told.
const NOTICE: &str = "notify_results";
/// Notices due from this day on are about the autumn rounds.
const AUTUMN: NaiveDate = date(2026, 11, 1);
/// Every sixtieth of the earlier ones was forgotten.
const FORGOTTEN_EVERY: usize = 60;
/// Requests for records that were to be answered before this day were.
const ANSWERED_BEFORE: NaiveDate = date(2026, 11, 15);
/// The day on which the hygienist went round the fans.
const CHECKED_ON: NaiveDate = date(2026, 9, 15);

/// An event whose results are told by letters.
struct Told {
    /// Its name among what was loaded.
    event: &'static str,
    /// How the names of its groups begin.
    groups: &'static str,
    agent: &'static str,
    /// What is done about it.
    action: &'static str,
    contact: &'static str,
}

const TOLD: &[Told] = &[
    Told {
        event: "event:ALD-2026-A",
        groups: "group:ALD-",
        agent: "chromium_vi",
        action: "Two more torches with extraction come to the jigs by 1 March. Until then respirators are worn there.",
        contact: "Works office Aldermoor, extension 12",
    },
    Told {
        event: "event:COL-2026-A",
        groups: "group:COL-",
        agent: "lead",
        action: "The stripping booth gets a stronger fan by 1 February. Until then the shifts in it are shorter.",
        contact: "Depot office Coldharrow, extension 4",
    },
];

/// Has the letters of the newest rounds written, and says on the same day that they were handed out. Gives how many.
pub(super) async fn letters<R: Router>(
    desk: &Desk<R>,
    book: &Book,
    names: &BTreeMap<String, String>,
) -> Result<usize, Failure> {
    let id = |name: &str| {
        names.get(name).ok_or_else(|| Failure::Refused(format!("{name} is not in the demonstration")))
    };
    let mut written = 0;
    for told in TOLD {
        let body =
            json!({"agent_code": told.agent, "corrective_action": told.action, "contact": told.contact});
        let path = format!("/sampling-events/{}/letters", id(told.event)?);
        let issued = post(desk, Role::Coordinator, &path, &body).await?;
        let letters = issued["letters"].as_array().map(Vec::<Value>::as_slice).unwrap_or_default();
        written += letters.len();
        let on = letters.first().and_then(|letter| letter["issued_on"].as_str()?.parse().ok());
        let Some(on) = on else { continue };
        let groups = names.iter().filter(|(name, _)| name.starts_with(told.groups)).map(|(_, id)| id);
        let groups: BTreeSet<&String> = groups.collect();
        let there = |duty: &&ToDo| duty.group.as_ref().is_some_and(|group| groups.contains(group));
        for duty in book.of(NOTICE).filter(there) {
            if duty.agent == told.agent && duty.due_on >= AUTUMN {
                act(desk, Role::Coordinator, duty, "notified", on, None).await?;
            }
        }
    }
    Ok(written)
}

/// Says of the earlier results that they were told in time. Gives how many.
pub(super) async fn tell<R: Router>(desk: &Desk<R>, book: &Book) -> Result<usize, Failure> {
    let mut told = 0;
    for (n, duty) in book.overdue(NOTICE).enumerate() {
        if duty.due_on >= AUTUMN || n % FORGOTTEN_EVERY == FORGOTTEN_EVERY - 1 {
            continue;
        }
        act(desk, Role::Coordinator, duty, "notified", duty.due_on - Days::new(2), None).await?;
        told += 1;
    }
    Ok(told)
}

/// Answers the earlier requests for records and checks the fans but for one. Gives how many.
pub(super) async fn answer_and_check<R: Router>(desk: &Desk<R>, book: &Book) -> Result<usize, Failure> {
    let mut done = 0;
    for duty in book.of("answer_record_request").filter(|duty| duty.due_on < ANSWERED_BEFORE) {
        act(desk, Role::Coordinator, duty, "completed", duty.due_on - Days::new(6), None).await?;
        done += 1;
    }
    for duty in book.overdue("check_ventilation").skip(1) {
        act(desk, Role::Hygienist, duty, "completed", CHECKED_ON.max(duty.due_on), None).await?;
        done += 1;
    }
    Ok(done)
}
