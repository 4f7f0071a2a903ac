//! The same input gives the same bytes: again, on whatever thread, and whatever the build.
//!
//! The digest of all answers is on record beside this file. Whoever runs the test without and with `--release` holds both
//! builds against it; where a figure is meant to change, `DOSEWARD_WRITE_DOCS=1` writes it anew.

use crate::asked::{Asked, all};
use crate::examples::examples;
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::path::Path;

/// The answers to the examples of the API document and of the page, as text.
fn answers() -> Vec<String> {
    let of_page = examples();
    let of_page = of_page.iter().filter_map(|example| {
        let name = example["calculation"].as_str()?;
        Some((all().into_iter().find(|asked| asked.name == name)?, example["input"].clone()))
    });
    let of_document = all().into_iter().map(|asked| {
        let example = (asked.example)();
        (asked, example)
    });
    let all: Vec<(Asked, Value)> = of_document.chain(of_page).collect();
    all.into_iter().map(|(asked, input)| (asked.answer)(&input).to_string()).collect()
}

#[test]
fn every_answer_is_the_same_text_again_and_on_every_thread() {
    let first = answers();
    assert!(first.len() > all().len());
    let others: Vec<Vec<String>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..4).map(|_| scope.spawn(answers)).collect();
        threads.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    for other in others {
        assert_eq!(first, other);
    }
}

#[test]
fn every_build_gives_the_bytes_on_record() {
    let mut digest = String::new();
    for byte in Sha256::digest(answers().join("\n")) {
        let _ = write!(digest, "{byte:02x}");
    }
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/documentation/same_bytes.sha256");
    if std::env::var_os("DOSEWARD_WRITE_DOCS").is_some() {
        std::fs::write(&path, format!("{digest}\n")).expect("the digest can be written");
    }
    let on_record = std::fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(on_record.trim(), digest, "other bytes than those on record");
}
