//! What the demonstration's people did about what is owed: the physician, the coordinator and the hygienist.
//!
//! Duties are written by the registry, so no seed file can name them; they are acted on as a person would, and some are left
//! as they are everywhere: late, declined, waived.

mod deed;
mod examinations;
mod notices;

use crate::cli::demo::desk::{Desk, Router};
use crate::cli::failure::Failure;
use crate::registry::writer::Registry;
use deed::Book;
use std::collections::BTreeMap;

/// How much was done.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) struct Done {
    /// First examinations and hearing tests offered.
    pub offered: usize,
    /// Those that followed them, done.
    pub followed: usize,
    /// Letters to workers.
    pub letters: usize,
    /// Notices, checks and requests.
    pub others: usize,
}

/// Does what is owed.
///
/// # Errors
/// The registry refuses something.
pub(super) async fn work<R: Router>(
    desk: &Desk<R>,
    registry: &Registry,
    names: &BTreeMap<String, String>,
) -> Result<Done, Failure> {
    let firsts = Book::open(desk, &["offer_examination"]).await?;
    let mut done = Done { offered: examinations::first(desk, &firsts).await?, ..Done::default() };
    // The next examination of each follows from the first.
    registry.settle().await?;
    let kinds =
        ["periodic_examination", "audiogram", "notify_results", "answer_record_request", "check_ventilation"];
    let book = Book::open(desk, &kinds).await?;
    done.followed = examinations::next(desk, &book).await?;
    done.offered += examinations::hearing(desk, &book).await?;
    done.letters = notices::letters(desk, &book, names).await?;
    done.others = notices::tell(desk, &book).await? + notices::answer_and_check(desk, &book).await?;
    Ok(done)
}
