//! Two folders of migrations that bring about one schema.

use crate::source::{files, root};
use doseward::store::backend::Database;
use doseward::store::tables::TABLES;
use sqlx::{Connection as _, PgConnection, SqliteConnection};
use std::collections::{BTreeMap, BTreeSet};

/// A column as both engines tell it: its type there, and whether it must hold something.
type Columns = BTreeMap<(String, String), (String, bool)>;

/// Which type of one engine stands for which of the other.
const SAME_TYPES: &[(&str, &[&str])] = &[
    ("INTEGER", &["bigint"]),
    ("TEXT", &["text", "date", "timestamp with time zone"]),
    ("BLOB", &["bytea", "uuid"]),
    ("REAL", &["double precision"]),
];

/// Columns that every fact table has.
const OF_EVERY_FACT: &[&str] =
    &["id", "known_from", "known_to", "revision", "site_id", "parent_id", "voided", "body"];

fn names_in(folder: &str) -> BTreeSet<String> {
    files(&root().join("migrations").join(folder))
        .iter()
        .map(|path| path.file_name().expect("a file has a name").to_string_lossy().into_owned())
        .collect()
}

#[test]
fn both_folders_hold_the_same_migrations() {
    let (sqlite, postgres) = (names_in("sqlite"), names_in("postgres"));
    assert_eq!(sqlite, postgres);
    for (n, name) in sqlite.iter().enumerate() {
        assert!(name.starts_with(&format!("{:04}_", n + 1)), "{name} is out of turn");
    }
}

/// A fresh SQLite file with our schema.
struct SqliteFile {
    folder: tempfile::TempDir,
}

impl SqliteFile {
    async fn new() -> Self {
        let file = Self { folder: tempfile::tempdir().unwrap() };
        Database::open(&file.url()).await.unwrap().close().await;
        file
    }

    fn url(&self) -> String {
        format!("sqlite:{}", self.folder.path().join("registry.sqlite").display())
    }

    async fn columns(&self) -> Columns {
        let mut connection = SqliteConnection::connect(&self.url()).await.unwrap();
        let rows: Vec<(String, String, String, bool)> = sqlx::query_as(
            "SELECT m.name, c.name, c.type, c.\"notnull\" <> 0 OR c.pk > 0 \
             FROM sqlite_master m, pragma_table_info(m.name) c \
             WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%' AND m.name NOT LIKE '_sqlx_%'",
        )
        .fetch_all(&mut connection)
        .await
        .unwrap();
        rows.into_iter().map(|(table, column, kind, needed)| ((table, column), (kind, needed))).collect()
    }

    async fn indexes(&self) -> BTreeSet<(String, bool)> {
        let mut connection = SqliteConnection::connect(&self.url()).await.unwrap();
        let rows: Vec<(String, bool)> = sqlx::query_as(
            "SELECT name, sql LIKE 'CREATE UNIQUE%' FROM sqlite_master \
             WHERE type = 'index' AND sql IS NOT NULL AND tbl_name NOT LIKE '_sqlx_%'",
        )
        .fetch_all(&mut connection)
        .await
        .unwrap();
        rows.into_iter().collect()
    }
}

/// A fresh database on the server of `TEST_DATABASE_URL`; `None` where there is no server.
struct PostgresDatabase {
    server: String,
    name: String,
}

impl PostgresDatabase {
    async fn new() -> Option<Self> {
        let server = std::env::var("TEST_DATABASE_URL").ok()?;
        let name = format!("doseward_test_house_{}", std::process::id());
        let database = Self { server, name };
        database.on_server("DROP DATABASE IF EXISTS ").await;
        database.on_server("CREATE DATABASE ").await;
        Database::open(&database.url()).await.unwrap().close().await;
        Some(database)
    }

    fn url(&self) -> String {
        let (server, _) = self.server.rsplit_once('/').expect("the address names a database");
        format!("{server}/{}", self.name)
    }

    async fn on_server(&self, command: &str) {
        let mut connection = PgConnection::connect(&self.server).await.unwrap();
        let sql = sqlx::AssertSqlSafe(format!("{command}{}", self.name));
        sqlx::raw_sql(sql).execute(&mut connection).await.unwrap();
    }

    async fn columns(&self) -> Columns {
        let mut connection = PgConnection::connect(&self.url()).await.unwrap();
        let rows: Vec<(String, String, String, bool)> = sqlx::query_as(
            "SELECT table_name::text, column_name::text, data_type::text, is_nullable = 'NO' \
             FROM information_schema.columns WHERE table_schema = 'public' AND table_name NOT LIKE '\\_sqlx\\_%'",
        )
        .fetch_all(&mut connection)
        .await
        .unwrap();
        rows.into_iter().map(|(table, column, kind, needed)| ((table, column), (kind, needed))).collect()
    }

    async fn indexes(&self) -> BTreeSet<(String, bool)> {
        let mut connection = PgConnection::connect(&self.url()).await.unwrap();
        // Indexes that stand behind a constraint carry a name that the engine made up.
        let rows: Vec<(String, bool)> = sqlx::query_as(
            "SELECT i.indexname::text, i.indexdef LIKE 'CREATE UNIQUE%' FROM pg_indexes i \
             WHERE i.schemaname = 'public' AND i.tablename NOT LIKE '\\_sqlx\\_%' \
             AND NOT EXISTS (SELECT 1 FROM pg_constraint c WHERE c.conname = i.indexname)",
        )
        .fetch_all(&mut connection)
        .await
        .unwrap();
        rows.into_iter().collect()
    }
}

#[tokio::test]
async fn every_kind_of_fact_has_its_table_and_its_look_up_columns() {
    let columns = SqliteFile::new().await.columns().await;
    for table in TABLES {
        for column in OF_EVERY_FACT.iter().chain(table.keys) {
            let place = (table.name.to_owned(), (*column).to_owned());
            assert!(columns.contains_key(&place), "{} has no column {column}", table.name);
        }
        let known = columns.keys().filter(|(name, _)| name == table.name).count();
        assert_eq!(known, OF_EVERY_FACT.len() + table.keys.len(), "{} has a column of nobody", table.name);
    }
}

#[tokio::test]
async fn both_engines_have_the_same_tables_columns_and_indexes() {
    let Some(postgres) = PostgresDatabase::new().await else {
        eprintln!("not compared: TEST_DATABASE_URL is not set");
        return;
    };
    let sqlite = SqliteFile::new().await;
    let (ours, theirs) = (sqlite.columns().await, postgres.columns().await);
    let indexes = (sqlite.indexes().await, postgres.indexes().await);
    postgres.on_server("DROP DATABASE ").await;
    let places = |columns: &Columns| columns.keys().cloned().collect::<BTreeSet<_>>();
    assert_eq!(places(&ours), places(&theirs));
    for (place, (kind, needed)) in &ours {
        let (other_kind, other_needed) = &theirs[place];
        let same = SAME_TYPES.iter().any(|(one, other)| one == kind && other.contains(&other_kind.as_str()));
        assert!(same, "{place:?} is {kind} here and {other_kind} there");
        assert_eq!(needed, other_needed, "{place:?} must hold something on one engine alone");
    }
    assert_eq!(indexes.0, indexes.1);
}
