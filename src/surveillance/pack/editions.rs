//! The editions of the text that the rows were read in, in words.

use crate::record;
use crate::surveillance::pack::table;
use std::sync::LazyLock;

record! {
    /// One edition.
    pub struct Edition {
        /// Its code in the rows.
        edition: String,
        /// Which state of the text it is.
        text: String,
    }
}

static EDITIONS: LazyLock<Vec<Edition>> = LazyLock::new(|| {
    let read = table::rows(include_str!("../../../rules/us-osha/editions.csv"));
    read.expect("the table was compiled in, and a test reads every row")
});

/// An edition in words; what is none of the pack's (another authority's) says for itself which it is.
pub fn in_words(edition: &str) -> String {
    let known = EDITIONS.iter().find(|known| known.edition == edition);
    known.map_or_else(|| edition.to_owned(), |known| known.text.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::surveillance::pack::Pack;

    #[test]
    fn every_edition_that_a_row_names_has_words() {
        let pack = Pack::built_in();
        let of_rows = [
            pack.surveillance.iter().map(|row| row.edition.clone()).collect::<Vec<_>>(),
            pack.details.iter().map(|row| row.edition.clone()).collect(),
            pack.monitoring.iter().map(|row| row.edition.clone()).collect(),
            pack.controls.iter().map(|row| row.edition.clone()).collect(),
            pack.records.iter().map(|row| row.edition.clone()).collect(),
        ];
        for edition in of_rows.concat().into_iter().flatten() {
            assert_ne!(in_words(&edition), edition);
        }
        assert_eq!(in_words("C"), "29 CFR of January 2025");
        assert_eq!(in_words("Works standard 12, 2026"), "Works standard 12, 2026");
    }
}
