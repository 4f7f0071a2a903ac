//! SQL for SQLite and PostgreSQL, one text; the journal, versions, migrations. The only floor that knows sqlx.

pub mod access_log;
pub mod accounts;
pub mod backend;
pub mod concerned;
pub mod derived;
pub mod error;
pub mod idempotency;
pub mod journal;
pub mod marks;
pub mod open;
pub mod samples;
pub mod tables;
pub mod versions;
