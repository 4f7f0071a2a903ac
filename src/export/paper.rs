//! What papers for people share: how they look, dates and words.

use crate::registry::anchor::ChainState;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::NaiveDate;
use sha2::{Digest, Sha256};

/// How a paper looks, on the screen and in print.
pub const STYLE: &str = include_str!("../../templates/print.css");

/// The content security policy of a paper: its own style and nothing else.
pub fn security_policy() -> String {
    let digest = STANDARD.encode(Sha256::digest(STYLE));
    format!(
        "default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
}

/// How many hexadecimal digits of a chain's head a paper shows: 64 bits, which nobody hits by chance; the whole stands in an
/// anchor and in the data's own answer.
const DIGITS: usize = 16;

/// What stands in the foot of a paper: how the record stood when it was printed.
pub(super) fn foot(state: &ChainState) -> String {
    let head: String = state.head.chars().take(DIGITS).collect();
    let (position, entries, chain) = (state.position, state.entries, &state.chain);
    format!("Record at position {position}; chain {chain}, {entries} entries, head {head}.")
}

/// Days from the first to the last, as people say them; `to` is the first day no longer.
pub(super) fn days(from: NaiveDate, to: Option<NaiveDate>) -> String {
    match to.and_then(|to| to.pred_opt()) {
        Some(last) => format!("{from} to {last}"),
        None => format!("from {from} on"),
    }
}

/// A word of the API as people read it.
pub(super) fn words(word: &str) -> String {
    word.replace('_', " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_foot_names_the_chain_with_its_count_and_the_beginning_of_its_head() {
        let head = format!("{}{}", "0123456789abcdef", "f".repeat(48));
        let state = ChainState { position: 412, chain: "corporation".into(), entries: 92, head };
        let said = "Record at position 412; chain corporation, 92 entries, head 0123456789abcdef.";
        assert_eq!(foot(&state), said);
    }

    // This registry's rule: people are told the last day, programs the first no longer.
    #[test]
    fn people_are_told_the_last_day() {
        let date = |text: &str| text.parse().unwrap();
        assert_eq!(days(date("2026-03-02"), Some(date("2026-04-01"))), "2026-03-02 to 2026-03-31");
        assert_eq!(days(date("2026-03-02"), None), "from 2026-03-02 on");
    }
}
