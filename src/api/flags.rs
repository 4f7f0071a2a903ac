//! Every word that may stand in `flags`, with its meaning, gathered from the rooms that raise it.

use crate::calculations;
use crate::conclusions::examiner_packet;
use crate::conclusions::flag::Flag;
use crate::conclusions::history::view::HistoryFlag;
use crate::conclusions::limit_change;
use crate::conclusions::verdict;
use crate::hygiene::{air_clearing, profile};
use crate::registry::facts::clause_levels;
use crate::surveillance::programme;
use std::collections::BTreeMap;

/// Words of duties, which the registry writes down with them.
const OF_DUTIES: &[(&str, &str)] = &[
    ("days_across_sites", "The days counted come from several sites together."),
    ("learned_after_due", "The registry learned of what it rests on after the day it was due."),
    (
        programme::COVERED_UNLESS_SHOWN,
        "The text covers everybody at the level unless fewer days are shown, and the days on record do not show that.",
    ),
    (programme::AFTER_RELEASE, "Owed after a release at which the worker was present."),
    (programme::AT_TERMINATION, "Owed on leaving employment."),
    (programme::NONE_ON_RECORD, "No earlier examination is on record to count from."),
    ("biological_tests", "What is due next is a test of blood or urine."),
    ("chest_x_ray", "What is due next is an X-ray of the chest."),
    ("physical_examination", "What is due next is the physical examination."),
    ("lung_function", "What is due next is a test of lung function."),
    ("due_from_learning", "The due date runs from the day on which the registry learned of it."),
];

/// Words of what is handed out to a reader who sees some sites only, and of assignments.
const OF_READERS: &[(&str, &str)] = &[
    (
        "only_sites_in_sight",
        "Only what happened on the reader's sites is shown; gaps of kind not_in_sight may be work elsewhere.",
    ),
    (
        "more_than_seven_shifts_a_week",
        "The assignments of these days add up to more than seven shifts a week.",
    ),
    ("assigned_at_another_site", "The worker is assigned at another site on some of these days."),
];

/// Every word once, in alphabetical order.
pub fn flags() -> BTreeMap<&'static str, &'static str> {
    let mut all = BTreeMap::new();
    let tables = OF_DUTIES.iter().chain(OF_READERS).chain(profile::FLAGS).chain(air_clearing::FLAGS);
    let tables = tables.chain(examiner_packet::FLAGS).chain(limit_change::view::FLAGS);
    let tables = tables.chain(clause_levels::FLAGS).copied();
    let of_calculations = calculations::FLAGS.iter().flat_map(|table| table.iter()).copied();
    for (word, meaning) in tables.chain(verdict::view::all_flags()).chain(of_calculations) {
        all.entry(word).or_insert(meaning);
    }
    for flag in Flag::ALL {
        all.entry(flag.as_str()).or_insert(flag.meaning().trim());
    }
    for flag in HistoryFlag::ALL {
        all.entry(flag.as_str()).or_insert(flag.meaning().trim());
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_is_explained() {
        for (word, meaning) in flags() {
            assert!(!meaning.is_empty(), "{word}");
            assert!(
                word.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_'),
                "{word}"
            );
        }
    }
}
