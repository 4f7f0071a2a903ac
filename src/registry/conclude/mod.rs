//! The use cases that draw conclusions: gather, conclude, hand out within the caller's sight.

pub mod derive;
pub mod due_dates;
pub mod duty_rows;
pub mod early_warnings;
pub mod examiner_packet;
pub mod exposure;
pub mod history;
pub mod kept;
pub mod letters;
pub mod limit_change;
pub mod monitoring;
pub mod overview;
pub mod profiles;
pub mod represents;
pub mod sample_rows;
pub mod samples;
pub mod shift_averages;
pub mod sight;
pub mod standing_moves;
pub mod summary;
pub mod surveillance;
pub mod surveillance_bundle;
pub mod surveillance_rows;
pub mod verdicts;
pub mod worker_clauses;
pub mod workers_named;
