//! A PostgreSQL server of a test's own, which it may stop and start.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The server, with its data in a temporary folder; stopped and gone when it is dropped.
pub(crate) struct OwnServer {
    programs: PathBuf,
    folder: tempfile::TempDir,
    port: u16,
    /// Who runs it, where it may not be whoever runs the test.
    owner: Option<&'static str>,
}

/// Where the server's programs are: the newest of Debian's, or whatever is on the path.
fn programs() -> Option<PathBuf> {
    let debian = std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let mut found: Vec<(u32, PathBuf)> = debian
        .filter_map(|version| {
            let number = version.file_name().to_str()?.parse().ok()?;
            Some((number, version.path().join("bin")))
        })
        .filter(|(_, programs)| programs.join("initdb").exists())
        .collect();
    found.sort();
    let on_path = std::env::var_os("PATH")
        .and_then(|path| std::env::split_paths(&path).find(|folder| folder.join("initdb").exists()));
    found.pop().map(|(_, programs)| programs).or(on_path)
}

fn prints(program: &str, argument: &[&str]) -> String {
    let said = Command::new(program).args(argument).output().map(|output| output.stdout).unwrap_or_default();
    String::from_utf8_lossy(&said).trim().to_owned()
}

impl OwnServer {
    /// Makes one and starts it; nothing, and a printed sentence, where the programs are not there, or the tests run on
    /// SQLite alone.
    pub(crate) fn start() -> Option<Self> {
        Self::start_with(false)
    }

    /// The same, with checksums on its pages or without.
    pub(crate) fn start_with(checksums: bool) -> Option<Self> {
        if std::env::var_os("TEST_DATABASE_URL").is_none() {
            println!("skipped: TEST_DATABASE_URL is not set, so the tests run on SQLite alone");
            return None;
        }
        let Some(programs) = programs() else {
            println!("skipped: PostgreSQL's initdb is not to be found");
            return None;
        };
        let folder = tempfile::tempdir().unwrap();
        // PostgreSQL refuses to run as root: then it runs as the account that its Debian package made.
        let owner = (prints("id", &["-u"]) == "0").then(|| {
            let owner = if prints("id", &["-u", "postgres"]).is_empty() { "nobody" } else { "postgres" };
            let given = Command::new("chown").arg(owner).arg(folder.path()).status();
            assert!(given.unwrap().success());
            owner
        });
        let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let server = Self { programs, folder, port, owner };
        let mut settings = vec!["-U", "doseward", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8"];
        settings.extend(checksums.then_some("--data-checksums"));
        let made = server.run("initdb", &settings);
        assert!(made, "initdb failed");
        server.start_again();
        Some(server)
    }

    /// Where its data lie.
    pub(crate) fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    /// Runs one of its programs on its data; tells whether that went well.
    fn run(&self, program: &str, arguments: &[&str]) -> bool {
        let program = self.programs.join(program);
        let mut command = match self.owner {
            Some(owner) => {
                let mut command = Command::new("runuser");
                command.args(["-u", owner, "--"]).arg(program);
                command
            }
            None => Command::new(program),
        };
        // The owner stands in the folder, or the server cannot look where it is.
        command.arg("-D").arg(self.data()).args(arguments).current_dir(self.folder.path());
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).status().unwrap().success()
    }

    /// Takes back, while it is stopped, what `ALTER SYSTEM` set.
    pub(crate) fn forget_what_was_altered(&self) {
        std::fs::write(self.data().join("postgresql.auto.conf"), "").unwrap();
    }

    /// The address of a database on it; `postgres` is there.
    pub(crate) fn url(&self, database: &str) -> String {
        format!("postgres://doseward@127.0.0.1:{}/{database}", self.port)
    }

    /// Stops it: `fast` rolls back and closes, `immediate` leaves everything as after a crash.
    pub(crate) fn stop(&self, mode: &str) {
        assert!(self.run("pg_ctl", &["stop", "-s", "-w", "-m", mode]), "it did not stop");
    }

    /// Starts it again and waits until it takes connections.
    pub(crate) fn start_again(&self) {
        let options = format!(
            "-p {} -k {} -c listen_addresses=127.0.0.1 -c max_connections=100",
            self.port,
            self.folder.path().display()
        );
        let log: &Path = &self.folder.path().join("log");
        let arguments = ["start", "-s", "-w", "-l", log.to_str().unwrap(), "-o", &options];
        assert!(self.run("pg_ctl", &arguments), "it did not start: {:?}", std::fs::read_to_string(log));
    }
}

impl Drop for OwnServer {
    fn drop(&mut self) {
        self.run("pg_ctl", &["stop", "-s", "-w", "-m", "immediate"]);
    }
}
