//! The demonstration, served for the browser: pages with something on them.

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader, Read as _};
use std::process::{Child, Command, Stdio};

/// A demonstration that is served.
pub(crate) struct Demonstration {
    child: Child,
    /// Where.
    pub(crate) address: String,
    /// The links that sign in once, by role.
    pub(crate) links: BTreeMap<String, String>,
    /// The passwords, by role.
    pub(crate) passwords: BTreeMap<String, String>,
    _folder: Option<tempfile::TempDir>,
}

impl Demonstration {
    /// Loads it into a folder of its own and serves it; `TEST_PAGES_DEMO` names a folder that is kept between runs.
    pub(crate) fn start() -> Self {
        let kept = std::env::var_os("TEST_PAGES_DEMO");
        let folder = if kept.is_some() { None } else { Some(tempfile::tempdir().unwrap()) };
        let path = kept.unwrap_or_else(|| folder.as_ref().unwrap().path().join("demo").into_os_string());
        let mut child = Command::new(env!("CARGO_BIN_EXE_doseward"))
            .args(["demo", "--directory"])
            .arg(path)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut told = Vec::new();
        while !told.last().is_some_and(|line: &String| line.contains("Stop with Ctrl-C")) {
            let Some(line) = lines.next() else {
                let mut wrong = String::new();
                child.stderr.take().unwrap().read_to_string(&mut wrong).unwrap();
                panic!("the demonstration ended: {told:?} {wrong}");
            };
            told.push(line.unwrap());
        }
        let address = told.iter().find_map(|line| line.strip_prefix("listening on ")).unwrap().to_owned();
        let mut links = BTreeMap::new();
        for pair in told.windows(2) {
            if let (Some((role, _)), true) =
                (pair[0].trim().split_once(", who "), pair[1].contains("/enter/"))
            {
                links.insert(role.to_owned(), pair[1].trim().to_owned());
            }
        }
        let passwords = told.iter().filter_map(|line| {
            let (email, password) = line.trim().split_once(' ')?;
            let role = email.strip_suffix("@quillfeather.example")?;
            Some((role.to_owned(), password.trim().to_owned()))
        });
        Self { child, address, links, passwords: passwords.collect(), _folder: folder }
    }
}

impl Drop for Demonstration {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
