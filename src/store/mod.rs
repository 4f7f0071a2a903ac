//! SQL for SQLite and PostgreSQL, one text; the journal, versions, migrations. The only floor that knows sqlx.

pub mod access_log;
pub mod accounts;
pub mod backend;
pub mod carried;
pub mod chains;
pub mod concerned;
pub mod derived;
pub mod disposal;
pub mod drafts;
mod durability;
pub mod error;
pub mod gaps;
pub mod idempotency;
pub mod journal;
pub mod marks;
pub mod open;
pub mod originals;
pub mod samples;
mod schema;
pub mod sessions;
pub mod signing;
pub mod tables;
mod turn;
pub mod versions;
