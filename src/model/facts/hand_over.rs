//! Records that pass from one employer to another.

use crate::model::text::{Code, Line, Text};
use crate::record;
use chrono::NaiveDate;

record! {
    /// A site was handed over to a successor: from now on the record of it is his, and this copy is read only.
    pub struct HandOver {
        /// To whom.
        to: Line,
        /// On which day.
        on: NaiveDate,
        /// Why, and under which agreement.
        reason: Text,
        /// SHA-256 of the bundle that was handed over, in hexadecimal.
        bundle_sha256: Option<Code>,
    }
}

record! {
    /// A bundle of another registry was taken over: what came before this position is its record.
    pub struct TakenOver {
        /// What it held: `all`, or `site` with the identifier.
        scope: String,
        /// SHA-256 of its list of checksums, which was signed, in hexadecimal.
        checksums_sha256: String,
        /// The fingerprint of the key that signed it.
        key: String,
        /// The position of the other registry when it was written.
        position: i64,
        /// How many entries it brought.
        entries: i64,
        /// Before how many of them something was left out that was not handed over.
        gaps: i64,
        /// SHA-256 over the positions of those, in hexadecimal.
        gaps_sha256: String,
        /// SHA-256 of the uploaded files that it did not bring, because something that they gave was disposed of.
        files_left_out: Option<Vec<String>>,
    }
}
