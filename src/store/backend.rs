//! The one seam between our SQL and the two databases.
//!
//! Every statement is written once, with `$1` placeholders; values are bound and rows decoded by the driver's own
//! codec. The enum beats a trait with two implementations because no caller becomes generic.

use crate::store::error::StoreError;
use sqlx::postgres::{PgArguments, PgPool, PgRow};
use sqlx::sqlite::{SqliteArguments, SqlitePool, SqliteRow};
use sqlx::{
    Arguments, AssertSqlSafe, Encode, FromRow, PgConnection, Postgres, Sqlite, SqliteConnection, Transaction,
    Type,
};
use std::fmt::Write as _;
use std::sync::atomic::{AtomicU64, Ordering};

/// Statements that this process has sent, whatever the pool.
static STATEMENTS: AtomicU64 = AtomicU64::new(0);
/// Rows that came back.
static ROWS: AtomicU64 = AtomicU64::new(0);

/// How many statements this process has sent to a database so far, and how many rows came back.
pub fn asked_so_far() -> (u64, u64) {
    (STATEMENTS.load(Ordering::Relaxed), ROWS.load(Ordering::Relaxed))
}

/// Counts a statement that gave rows.
fn count(rows: usize) {
    STATEMENTS.fetch_add(1, Ordering::Relaxed);
    ROWS.fetch_add(rows as u64, Ordering::Relaxed);
}

/// A value that both drivers can bind.
pub(crate) trait Bind:
    for<'q> Encode<'q, Sqlite> + Type<Sqlite> + for<'q> Encode<'q, Postgres> + Type<Postgres>
{
}
impl<T> Bind for T where
    T: for<'q> Encode<'q, Sqlite> + Type<Sqlite> + for<'q> Encode<'q, Postgres> + Type<Postgres>
{
}

/// A row that both drivers can decode.
pub(crate) trait Row:
    for<'r> FromRow<'r, SqliteRow> + for<'r> FromRow<'r, PgRow> + Send + Unpin
{
}
impl<T> Row for T where T: for<'r> FromRow<'r, SqliteRow> + for<'r> FromRow<'r, PgRow> + Send + Unpin {}

/// A pool of connections to whichever database was configured.
#[derive(Clone, Debug)]
pub enum Database {
    /// A SQLite file.
    Sqlite(SqlitePool),
    /// A PostgreSQL server.
    Postgres(PgPool),
}

/// A transaction: every storage function takes one, so the use case decides what is atomic. Dropped, it rolls back.
#[derive(Debug)]
pub struct Tx(Inner);

#[derive(Debug)]
enum Inner {
    Sqlite(Transaction<'static, Sqlite>),
    Postgres(Transaction<'static, Postgres>),
}

impl Database {
    /// One snapshot to read from.
    pub async fn read(&self) -> Result<Tx, StoreError> {
        Ok(Tx(match self {
            Self::Sqlite(pool) => Inner::Sqlite(pool.begin().await?),
            Self::Postgres(pool) => {
                Inner::Postgres(pool.begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY").await?)
            }
        }))
    }

    /// A transaction that may write. SQLite takes its write lock here, so that two writers queue instead of failing.
    pub async fn write(&self) -> Result<Tx, StoreError> {
        Ok(Tx(match self {
            Self::Sqlite(pool) => Inner::Sqlite(pool.begin_with("BEGIN IMMEDIATE").await?),
            Self::Postgres(pool) => Inner::Postgres(pool.begin().await?),
        }))
    }

    /// Waits for connections to be given back and closes them.
    pub async fn close(&self) {
        match self {
            Self::Sqlite(pool) => pool.close().await,
            Self::Postgres(pool) => pool.close().await,
        }
    }

    /// The engine's name, for people.
    pub fn engine(&self) -> &'static str {
        match self {
            Self::Sqlite(_) => "SQLite",
            Self::Postgres(_) => "PostgreSQL",
        }
    }
}

impl Tx {
    /// Makes the changes permanent.
    pub async fn commit(self) -> Result<(), StoreError> {
        match self.0 {
            Inner::Sqlite(tx) => tx.commit().await?,
            Inner::Postgres(tx) => tx.commit().await?,
        }
        Ok(())
    }

    /// Has SQLite overwrite what is deleted from now on; PostgreSQL does so when it vacuums.
    pub(crate) async fn overwrite_what_is_deleted(&mut self) -> Result<(), StoreError> {
        if let Inner::Sqlite(tx) = &mut self.0 {
            sqlx::query("PRAGMA secure_delete = ON").execute(&mut **tx).await?;
        }
        Ok(())
    }

    /// Starts a statement.
    pub(crate) fn query(&mut self, sql: &'static str) -> Query<'_> {
        let target = match &mut self.0 {
            Inner::Sqlite(tx) => Target::Sqlite(&mut *tx, SqliteArguments::default()),
            Inner::Postgres(tx) => Target::Postgres(&mut *tx, PgArguments::default()),
        };
        Query { sql: sql.to_owned(), target, failed: None }
    }
}

/// A statement being put together. SQL text only ever comes from literals.
#[derive(Debug)]
pub(crate) struct Query<'t> {
    sql: String,
    target: Target<'t>,
    failed: Option<sqlx::Error>,
}

#[derive(Debug)]
enum Target<'t> {
    Sqlite(&'t mut SqliteConnection, SqliteArguments),
    Postgres(&'t mut PgConnection, PgArguments),
}

impl Query<'_> {
    /// Binds the next value.
    #[must_use]
    pub(crate) fn bind(mut self, value: impl Bind) -> Self {
        let added = match &mut self.target {
            Target::Sqlite(_, args) => args.add(value),
            Target::Postgres(_, args) => args.add(value),
        };
        if let Err(error) = added {
            self.failed.get_or_insert(sqlx::Error::Encode(error));
        }
        self
    }

    /// Appends fixed SQL.
    #[must_use]
    pub(crate) fn push(mut self, sql: &'static str) -> Self {
        self.sql.push_str(sql);
        self
    }

    /// Appends the next placeholder and binds its value.
    #[must_use]
    pub(crate) fn push_bind(mut self, value: impl Bind) -> Self {
        let bound = match &self.target {
            Target::Sqlite(_, args) => args.len(),
            Target::Postgres(_, args) => args.len(),
        };
        write!(self.sql, "${}", bound + 1).expect("writing to a String cannot fail");
        self.bind(value)
    }

    /// Appends a list of placeholders in parentheses, for `IN`; an empty list matches nothing.
    #[must_use]
    pub(crate) fn push_list(mut self, values: impl IntoIterator<Item = impl Bind>) -> Self {
        self = self.push("(");
        let mut any = false;
        for value in values {
            self = self.push(if any { ", " } else { "" }).push_bind(value);
            any = true;
        }
        self.push(if any { ")" } else { "NULL)" })
    }

    /// Runs it; gives how many rows it touched.
    pub(crate) async fn execute(self) -> Result<u64, StoreError> {
        let (sql, target) = self.ready()?;
        STATEMENTS.fetch_add(1, Ordering::Relaxed);
        Ok(match target {
            Target::Sqlite(c, args) => sqlx::query_with(sql, args).execute(c).await?.rows_affected(),
            Target::Postgres(c, args) => sqlx::query_with(sql, args).execute(c).await?.rows_affected(),
        })
    }

    /// The one row, if there is one.
    pub(crate) async fn fetch_optional<R: Row>(self) -> Result<Option<R>, StoreError> {
        let (sql, target) = self.ready()?;
        let row = match target {
            Target::Sqlite(c, args) => sqlx::query_as_with(sql, args).fetch_optional(c).await?,
            Target::Postgres(c, args) => sqlx::query_as_with(sql, args).fetch_optional(c).await?,
        };
        count(usize::from(row.is_some()));
        Ok(row)
    }

    /// The one row.
    pub(crate) async fn fetch_one<R: Row>(self) -> Result<R, StoreError> {
        self.fetch_optional().await?.ok_or(StoreError::Missing)
    }

    /// All rows.
    pub(crate) async fn fetch_all<R: Row>(self) -> Result<Vec<R>, StoreError> {
        let (sql, target) = self.ready()?;
        let rows: Vec<R> = match target {
            Target::Sqlite(c, args) => sqlx::query_as_with(sql, args).fetch_all(c).await?,
            Target::Postgres(c, args) => sqlx::query_as_with(sql, args).fetch_all(c).await?,
        };
        count(rows.len());
        Ok(rows)
    }

    /// All rows, each read by its engine's reader: for columns that are known only as data.
    pub(crate) async fn fetch_with<R>(
        self,
        sqlite: impl Fn(&SqliteRow) -> sqlx::Result<R>,
        postgres: impl Fn(&PgRow) -> sqlx::Result<R>,
    ) -> Result<Vec<R>, StoreError> {
        let (sql, target) = self.ready()?;
        let rows: Vec<R> = match target {
            Target::Sqlite(c, args) => {
                let rows = sqlx::query_with(sql, args).fetch_all(c).await?;
                rows.iter().map(sqlite).collect::<Result<_, _>>()?
            }
            Target::Postgres(c, args) => {
                let rows = sqlx::query_with(sql, args).fetch_all(c).await?;
                rows.iter().map(postgres).collect::<Result<_, _>>()?
            }
        };
        count(rows.len());
        Ok(rows)
    }
}

impl<'t> Query<'t> {
    fn ready(self) -> Result<(AssertSqlSafe<String>, Target<'t>), StoreError> {
        match self.failed {
            Some(error) => Err(error.into()),
            // Safe: the text was put together from literals alone.
            None => Ok((AssertSqlSafe(self.sql), self.target)),
        }
    }
}
