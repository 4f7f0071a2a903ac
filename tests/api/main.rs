//! The service as its users meet it: over HTTP, on a database of its own.
//!
//! `TEST_DATABASE_URL=postgres://…` runs the same tests on PostgreSQL.

#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it should be")]

mod access_log;
mod aliases;
mod anchors;
mod authorisation;
mod backup;
mod bundle_guards;
mod bundles;
mod calendar;
mod clauses_of_others;
mod clauses_without_level;
mod corrections;
mod entry;
mod examinations;
mod exports;
mod facts;
mod harness;
mod held_rows;
mod letters;
mod limit_changes;
mod medical;
mod monitoring;
mod noise;
mod one_group;
mod openapi;
mod originals;
mod other_authorities;
mod overview;
mod paging;
mod problems;
mod record_package;
mod record_requests;
mod releases;
mod respirators;
mod retention;
mod service;
mod standing_moves;
mod surveillance;
mod things;
mod tokens;
mod whole_job;
mod workers;
