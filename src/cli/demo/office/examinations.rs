//! The physician's examinations: offered in time, done year by year, and a few not.

use crate::cli::demo::desk::{Desk, Router};
use crate::cli::demo::office::deed::{Book, ToDo, act, date};
use crate::cli::failure::Failure;
use crate::model::facts::account::Role;
use chrono::{Days, NaiveDate};

/// First examinations due from this day on are still to be offered.
const STILL_OPEN_FROM: NaiveDate = date(2026, 1, 1);
/// Every seventeenth of the earlier ones was forgotten.
const FORGOTTEN_EVERY: usize = 17;
/// What the physician writes beside the examination that was entered for a whole series.
const LATEST: &str =
    "The latest of the examinations since the first; those between are on the clinic's cards.";
/// From this day on every ninth of the following ones is still to be done.
const LATE_FROM: NaiveDate = date(2026, 8, 1);
const LATE_EVERY: usize = 9;
/// Following ones due from this day on are still in the appointment book.
const IN_THE_BOOK_FROM: NaiveDate = date(2026, 11, 20);

/// Offers the first examinations that fell due on the day they were due. Each was followed by others before the registry
/// began; of those the latest is entered. Gives how many.
pub(super) async fn first<R: Router>(desk: &Desk<R>, book: &Book) -> Result<usize, Failure> {
    offer(desk, book, "offer_examination").await
}

/// The same of hearing tests.
pub(super) async fn hearing<R: Router>(desk: &Desk<R>, book: &Book) -> Result<usize, Failure> {
    offer(desk, book, "audiogram").await
}

async fn offer<R: Router>(desk: &Desk<R>, book: &Book, kind: &str) -> Result<usize, Failure> {
    let mut offered = 0;
    for (n, duty) in book.overdue(kind).enumerate() {
        if duty.medical {
            // Whoever entered the ground saw to it himself.
            act(desk, Role::Physician, duty, "completed", duty.due_on, None).await?;
            offered += 1;
            continue;
        }
        if duty.due_on >= STILL_OPEN_FROM || n % FORGOTTEN_EVERY == FORGOTTEN_EVERY - 1 {
            continue;
        }
        act(desk, Role::Physician, duty, "offered", duty.due_on, None).await?;
        let (done, note) = match latest(duty, n) {
            latest if latest > duty.due_on => (latest, Some(LATEST)),
            _ => (duty.due_on + Days::new(9), None),
        };
        act(desk, Role::Physician, duty, "completed", done, note).await?;
        offered += 1;
    }
    Ok(offered)
}

/// When somebody was last examined before the year the registry began: spread over a year, so that the next one falls due
/// within 2026.
fn latest(duty: &ToDo, n: usize) -> NaiveDate {
    let days = |step: usize, within: usize| Days::new(u64::try_from(n * step % within).unwrap_or_default());
    match duty.agent.as_str() {
        // Every three years: 29 CFR 1910.1053(i)(3).
        "silica_respirable" => date(2023, 1, 9) + days(19, 330),
        // Blood every six months: 29 CFR 1910.1025(j)(2)(i)(A).
        "lead" => date(2025, 12, 4) + days(13, 165),
        // A year ahead of the others: those tested in spring are not due yet.
        "noise" => date(2025, 12, 8) + days(7, 340),
        _ => date(2025, 1, 9) + days(19, 330),
    }
}

/// Does the examinations that follow a little before they are due; leaves some late, one declined and one waived. Gives how
/// many were done.
pub(super) async fn next<R: Router>(desk: &Desk<R>, book: &Book) -> Result<usize, Failure> {
    let mut done = 0;
    for (n, duty) in book.overdue("periodic_examination").enumerate() {
        let ahead = duty.due_on - Days::new(1 + u64::try_from(n % 12).unwrap_or_default());
        match n {
            11 => act(desk, Role::Physician, duty, "declined", ahead, None).await?,
            23 => {
                let ground = "On secondment abroad until February; examined there, to be offered on return.";
                act(desk, Role::Physician, duty, "waived", ahead, Some(ground)).await?;
            }
            _ if duty.due_on >= IN_THE_BOOK_FROM => {}
            _ if duty.due_on >= LATE_FROM && n % LATE_EVERY == 0 => {}
            _ => {
                act(desk, Role::Physician, duty, "completed", ahead, None).await?;
                done += 1;
            }
        }
    }
    Ok(done)
}
