//! The driver's own list: what was sent, and what was acknowledged, each line on disk before the driver goes on. What the
//! database says afterwards is held against it.

use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// The list, in a file.
#[derive(Debug, Clone)]
pub(crate) struct List {
    path: PathBuf,
    /// One line at a time.
    turn: Arc<Mutex<()>>,
}

/// What the list says of one key.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    /// What was asked.
    pub(crate) deed: String,
    /// What it is about.
    pub(crate) about: Value,
    /// What came back, if it was acknowledged.
    pub(crate) answer: Option<Value>,
}

impl List {
    /// A new one in a folder.
    pub(crate) fn begin(folder: &Path) -> Self {
        Self { path: folder.join("acknowledged.jsonl"), turn: Arc::default() }
    }

    fn write(&self, line: &Value) {
        let _turn = self.turn.lock().unwrap();
        let mut file = std::fs::File::options().create(true).append(true).open(&self.path).unwrap();
        writeln!(file, "{line}").unwrap();
        file.sync_all().unwrap();
    }

    /// Something is about to be sent.
    pub(crate) fn sent(&self, key: &str, deed: &str, about: &Value) {
        self.write(&json!({"key": key, "deed": deed, "about": about}));
    }

    /// It was acknowledged.
    pub(crate) fn acknowledged(&self, key: &str, answer: &Value) {
        self.write(&json!({"key": key, "answer": answer}));
    }

    /// By key, everything that was sent.
    pub(crate) fn read(&self) -> BTreeMap<String, Line> {
        let text = std::fs::read_to_string(&self.path).unwrap_or_default();
        let mut lines: BTreeMap<String, Line> = BTreeMap::new();
        for line in text.lines() {
            let line: Value = serde_json::from_str(line).unwrap();
            let key = line["key"].as_str().unwrap().to_owned();
            if let Some(answer) = line.get("answer") {
                lines.get_mut(&key).unwrap().answer = Some(answer.clone());
            } else {
                let deed = line["deed"].as_str().unwrap().to_owned();
                lines.entry(key).or_insert(Line { deed, about: line["about"].clone(), answer: None });
            }
        }
        lines
    }
}
