//! The Python script on the other side, as a child that answers over its standard streams.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

/// The child at work.
pub(crate) struct Yardstick {
    child: Child,
    requests: Option<ChildStdin>,
    answers: BufReader<ChildStdout>,
}

/// What it took and what came out, one list a group.
pub(crate) struct Answer {
    pub(crate) seconds: f64,
    pub(crate) values: Vec<Vec<f64>>,
}

impl Yardstick {
    /// Starts the script, in one thread.
    pub(crate) fn start() -> Self {
        let mut command = Command::new(interpreter());
        for threads in ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"] {
            command.env(threads, "1");
        }
        let mut child = command
            .arg(folder().join("yardstick.py"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the interpreter starts");
        let requests = child.stdin.take();
        let answers = BufReader::new(child.stdout.take().expect("its output is piped"));
        Self { child, requests, answers }
    }

    /// One request and its answer.
    pub(crate) fn ask(&mut self, task: &str, groups: &[Value]) -> Answer {
        let requests = self.requests.as_mut().expect("it has not been told to end");
        writeln!(requests, "{}", json!({ "task": task, "groups": groups })).expect("the script reads");
        let mut line = String::new();
        self.answers.read_line(&mut line).expect("the script answers");
        let answer: Value = serde_json::from_str(&line).expect("the script answers in JSON");
        let figures = |row: &Value| row.as_array().into_iter().flatten().filter_map(Value::as_f64).collect();
        Answer {
            seconds: answer["seconds"].as_f64().expect("it says how long it took"),
            values: answer["values"].as_array().into_iter().flatten().map(figures).collect(),
        }
    }
}

impl Drop for Yardstick {
    fn drop(&mut self) {
        // The end of its input ends the script.
        drop(self.requests.take());
        let _ = self.child.wait();
    }
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/group_statistics")
}

/// `YARDSTICK_PYTHON`, or that of an environment made below the target folder with the versions pinned beside this file.
fn interpreter() -> PathBuf {
    if let Some(given) = std::env::var_os("YARDSTICK_PYTHON") {
        return given.into();
    }
    let environment = Path::new(env!("CARGO_TARGET_TMPDIR")).join("group_statistics_python");
    let python = environment.join("bin/python");
    let ready = environment.join("ready");
    if !ready.exists() {
        println!("making a Python environment in {}", environment.display());
        run(Command::new("python3").args(["-m", "venv"]).arg(&environment));
        let requirements = folder().join("requirements.txt");
        run(Command::new(&python).args(["-m", "pip", "install", "--quiet", "-r"]).arg(requirements));
        std::fs::write(ready, "").expect("the target folder can be written");
    }
    python
}

fn run(command: &mut Command) {
    let status = command.status().expect("python3 is installed");
    assert!(
        status.success(),
        "{command:?} failed; or name an interpreter with NumPy and SciPy in YARDSTICK_PYTHON"
    );
}
