//! Every clause on surveillance, row by row of the table, against what its paragraph says; and the whole of the counting
//! against a slow and plain reading of the same rules.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

mod case;
mod every_row;
mod known;
mod model;
mod paragraphs;
mod particulars;
mod programme;
