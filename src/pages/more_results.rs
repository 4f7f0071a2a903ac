//! What more results would tell: of a group, by the rules that say how many are enough.

use crate::conclusions::flag::Flag;
use crate::conclusions::profile_view::ProfileView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::hygiene::en_689::{FEWEST_STATISTICAL, Outcome};
use crate::pages::charts::era_results::shifts_of;
use crate::pages::texts::Texts;
use std::collections::BTreeMap;

/// Something that is not settled, and what would settle it.
pub struct Missing {
    /// The question.
    pub question: String,
    /// What to do.
    pub needed: String,
}

impl Missing {
    fn new(question: String, needed: String) -> Self {
        Self { question, needed }
    }
}

/// Below so many dates nothing describes a group.
const DATES: i64 = 3;
/// So many workers with so many shifts each tell whether it is one group.
const WORKERS: usize = 3;
const SHIFTS_EACH: usize = 2;

/// What would bring an upper limit of the 95th percentile below the limit: first that of EN 689, then that of 95 % confidence.
fn of_percentile(texts: &Texts, era: &ProfileView) -> Option<Missing> {
    let complies = era.1.0.en_689.as_ref()?.outcome == Outcome::Compliance;
    let further = era.1.1.further_results.as_ref();
    let (question, further) = if complies {
        ("missing-surely", further.and_then(|further| further.upper_95))
    } else {
        ("missing-above", further.and_then(|further| further.upper_70))
    };
    let needed = match further {
        Some(0) => return None,
        Some(further) => texts.n("missing-results-if", more(further)),
        None if complies => return None,
        None => texts.t("missing-above-do"),
    };
    Some(Missing::new(texts.t(question), needed))
}

fn more(needed: i64) -> usize {
    usize::try_from(needed).unwrap_or_default()
}

/// What is open of an era, and what would settle it; by rules that count, so that no number is a promise.
pub fn of_group(texts: &Texts, era: &ProfileView, shifts: &[ShiftAverageView]) -> Vec<Missing> {
    let mut found = Vec::new();
    let (n, dates) = (era.1.0.n, era.0.date_count);
    if dates < DATES {
        let needed = texts.n("missing-dates-more", more(DATES - dates));
        found.push(Missing::new(texts.t("missing-dates"), needed));
    }
    let enough = i64::try_from(FEWEST_STATISTICAL).unwrap_or_default();
    if n < enough {
        let needed = texts.n("missing-results-more", more(enough - n));
        found.push(Missing::new(texts.t("missing-results"), needed));
    } else {
        found.extend(of_percentile(texts, era));
    }
    let mut by_worker: BTreeMap<_, usize> = BTreeMap::new();
    for shift in shifts_of(era, shifts).iter().filter(|shift| shift.in_profile) {
        *by_worker.entry(shift.view.worker_id).or_default() += 1;
    }
    let often = by_worker.values().filter(|count| **count >= SHIFTS_EACH).count();
    if often < WORKERS {
        found.push(Missing::new(
            texts.t("missing-one-group"),
            texts.n("missing-one-group-more", WORKERS - often),
        ));
    }
    if era.1.1.flags.iter().any(|flag| flag == Flag::ReportingLimitTooHigh.as_str()) {
        found.push(Missing::new(texts.t("missing-coarse"), texts.t("missing-coarse-do")));
    }
    if era.0.not_accepted > 0 {
        found.push(Missing::new(
            texts.t("missing-accepted"),
            texts.n("missing-accepted-more", more(era.0.not_accepted)),
        ));
    }
    found
}
