//! Files as they were uploaded.

use crate::{record, words};
use uuid::Uuid;

words! {
    /// What a file holds.
    pub enum OriginalKind {
        /// A laboratory report; its rows gave results, or rows that were held.
        LabReport = "lab_report",
        /// Sampling events; one of them gave an event and its samples.
        SamplingEvents = "sampling_events",
    }
}

record! {
    /// Something that was said beside a file: of a report in CSV its head.
    pub struct SaidBeside {
        /// Its name.
        name: String,
        /// What was said.
        value: String,
    }
}

record! {
    /// A file as it was uploaded, and what one report or one event took from it. The bytes stand apart, once for each
    /// digest; they go with the last of what they gave, and this stays.
    pub struct Original {
        /// What the file holds.
        holds: OriginalKind,
        /// SHA-256 of its bytes, in hexadecimal.
        sha256: String,
        /// How many bytes.
        bytes: i64,
        /// The media type it came with.
        media_type: String,
        /// The columns in their order, of a file that has columns.
        columns: Option<Vec<String>>,
        /// Where in the file the report or event stands (a JSON pointer; empty: it is the whole file).
        pointer: String,
        /// What was said beside the file.
        beside: Option<Vec<SaidBeside>>,
        /// Which agents the file's own names were said to stand for.
        named: Option<Vec<SaidBeside>>,
        /// The facts that its rows gave, in the order of the rows.
        gave: Vec<Uuid>,
    }
}
