//! The command line as a person or a script meets it: what it prints, and the code it leaves with.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

mod accounts;
mod backup;
mod bundle;
mod demo;
mod files;
mod keys;
mod limits;
mod place;
mod record;
mod record_requests;
mod service;
