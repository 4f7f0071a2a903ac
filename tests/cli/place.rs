//! A registry of a test's own, and the program run against it.

use sqlx::Connection as _;
use std::io::Write as _;
use std::path::PathBuf;
use std::process::{Command, Output, Stdio};

/// A database and a folder, both gone when the test is over.
pub(crate) struct Place {
    folder: tempfile::TempDir,
    database: Option<(String, String)>,
}

/// What a command did.
pub(crate) struct Done {
    /// The code it left with.
    pub code: i32,
    /// What it printed.
    pub out: String,
    /// What it complained about.
    pub err: String,
}

impl Place {
    /// A fresh SQLite file, or a fresh database on the server of `TEST_DATABASE_URL`.
    pub(crate) fn new(name: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let database = std::env::var("TEST_DATABASE_URL").ok().map(|server| {
            let name = format!("doseward_test_cli_{name}_{}", std::process::id());
            on_server(&server, &format!("DROP DATABASE IF EXISTS {name}"));
            on_server(&server, &format!("CREATE DATABASE {name}"));
            (server, name)
        });
        Self { folder, database }
    }

    /// The same with a registry in it, made by the command that may make one.
    pub(crate) fn with_registry(name: &str) -> Self {
        let place = Self::new(name);
        let made = place.run(&["account", "add", "first@example.org", "--role", "corporate"]);
        assert_eq!(made.code, 0, "{}", made.err);
        place
    }

    /// The address of the database.
    pub(crate) fn url(&self) -> String {
        match &self.database {
            Some((server, name)) => format!("{}/{name}", server.rsplit_once('/').unwrap().0),
            None => format!("sqlite:{}", self.path("registry.sqlite").display()),
        }
    }

    /// A path in the test's folder.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file into the test's folder.
    pub(crate) fn file(&self, name: &str, text: &str) -> String {
        std::fs::write(self.path(name), text).unwrap();
        self.path(name).display().to_string()
    }

    /// The program, with nothing set but where the database is.
    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_doseward"));
        command.args(arguments).current_dir(self.folder.path());
        for (name, _) in std::env::vars().filter(|(name, _)| name.starts_with("DOSEWARD_")) {
            command.env_remove(name);
        }
        command.env("DOSEWARD_DATABASE_URL", self.url()).stdin(Stdio::null());
        command
    }

    /// Changes the database behind the registry's back.
    pub(crate) fn on_database(&self, sql: &str) {
        on_server(&self.url(), sql);
    }

    /// A number that the database answers.
    pub(crate) fn count(&self, sql: &str) -> i64 {
        let (url, sql) = (self.url(), sqlx::AssertSqlSafe(sql.to_owned()));
        tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(async {
            if url.starts_with("sqlite:") {
                let mut connection = sqlx::SqliteConnection::connect(&url).await.unwrap();
                sqlx::query_scalar(sql).fetch_one(&mut connection).await.unwrap()
            } else {
                let mut connection = sqlx::PgConnection::connect(&url).await.unwrap();
                sqlx::query_scalar(sql).fetch_one(&mut connection).await.unwrap()
            }
        })
    }

    /// Runs the program to its end.
    pub(crate) fn run(&self, arguments: &[&str]) -> Done {
        done(&self.command(arguments).output().unwrap())
    }

    /// The same as the account of a token.
    pub(crate) fn run_with_token(&self, token: &str, arguments: &[&str]) -> Done {
        done(&self.command(arguments).env("DOSEWARD_TOKEN", token).output().unwrap())
    }

    /// The same with something on standard input.
    pub(crate) fn run_with_input(&self, input: &str, arguments: &[&str]) -> Done {
        let mut command = self.command(arguments);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
        done(&child.wait_with_output().unwrap())
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        if let Some((server, name)) = &self.database {
            on_server(server, &format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)"));
        }
    }
}

fn done(output: &Output) -> Done {
    Done {
        code: output.status.code().unwrap(),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

fn on_server(url: &str, sql: &str) {
    let sql = sqlx::AssertSqlSafe(sql.to_owned());
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(async {
        if url.starts_with("sqlite:") {
            let mut connection = sqlx::SqliteConnection::connect(url).await.unwrap();
            sqlx::raw_sql(sql).execute(&mut connection).await.unwrap();
        } else {
            let mut connection = sqlx::PgConnection::connect(url).await.unwrap();
            sqlx::raw_sql(sql).execute(&mut connection).await.unwrap();
        }
    });
}
