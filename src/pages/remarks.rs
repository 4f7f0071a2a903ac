//! What the words in `flags` and the reasons mean: the sentences of the rooms that raise them.

use crate::calculations;
use crate::conclusions::flag::Flag;
use crate::conclusions::history::view::HistoryFlag;
use crate::conclusions::use_of_result::LeftOutReason;
use crate::conclusions::verdict;
use crate::conclusions::verdict::view::ExclusionReason;
use crate::hygiene::profile;
use crate::pages::charts::said;
use crate::pages::told;
use std::collections::BTreeMap;

/// What is said of history to a reader of some sites.
const ONLY_SITES_IN_SIGHT: (&str, &str) = (
    "only_sites_in_sight",
    "Only what happened on your sites is shown; a time without an assignment may be work elsewhere.",
);

/// The meaning of a word; the word itself, as people read it, where no room explains it.
pub fn meaning(word: &str) -> String {
    let of_tables = std::iter::once(ONLY_SITES_IN_SIGHT)
        .chain(profile::FLAGS.iter().copied())
        .chain(calculations::FLAGS.iter().flat_map(|table| table.iter().copied()))
        .chain(verdict::view::all_flags())
        .find(|(known, _)| *known == word)
        .map(|(_, meaning)| meaning);
    let found = Flag::from_word(word)
        .map(Flag::meaning)
        .or_else(|| HistoryFlag::from_word(word).map(HistoryFlag::meaning))
        .or(of_tables);
    found.map_or_else(|| told::heading(&told::words(word)), |meaning| meaning.trim().to_owned())
}

/// Reasons with how many samples each keeps out: `3 samples: The pump failed.`
fn counted<'w>(reasons: impl Iterator<Item = (&'w str, &'static str)>) -> Vec<String> {
    let mut counts: BTreeMap<&str, (i64, &str)> = BTreeMap::new();
    for (word, meaning) in reasons {
        counts.entry(word).or_insert((0, meaning)).0 += 1;
    }
    counts
        .into_values()
        .map(|(count, meaning)| format!("{}: {}", said::count(count, "count-sample"), meaning.trim()))
        .collect()
}

/// Why samples are in no profile, or only beside it.
pub fn left_out(reasons: impl Iterator<Item = LeftOutReason>) -> Vec<String> {
    counted(reasons.map(|reason| (reason.as_str(), reason.meaning())))
}

/// Why samples are not compared.
pub fn excluded(reasons: impl Iterator<Item = ExclusionReason>) -> Vec<String> {
    counted(reasons.map(|reason| (reason.as_str(), reason.meaning())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_explained_and_reasons_counted() {
        assert_eq!(meaning("few_dates"), Flag::FewDates.meaning().trim());
        assert_eq!(meaning("projected"), verdict::view::FLAGS[5].1);
        assert_eq!(meaning("not_a_known_word"), "Not a known word");
        let reasons = [ExclusionReason::PumpFailed, ExclusionReason::Lost, ExclusionReason::PumpFailed];
        assert_eq!(
            excluded(reasons.into_iter()),
            ["1 sample: The sample was lost.", "2 samples: The pump failed."]
        );
    }
}
