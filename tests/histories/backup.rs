//! A history of random requests, taken from one engine to the other and back: every answer stays the same to the byte.

use crate::engines::journal;
use crate::questions::{EXPORTS, conclusions, with};
use crate::script::{Line, Script};
use crate::stage::{Stage, server};
use doseward::registry::backup::save::save;
use doseward::registry::enter_pack::console;
use doseward::registry::verify::verify;
use std::path::Path;

/// How many steps the history has.
const STEPS: usize = 80;

/// Everything that can be asked, with the answers.
async fn asked(stage: &Stage, script: &Script<'_>) -> Vec<Line> {
    let mut addresses: Vec<String> = EXPORTS.map(str::to_owned).into();
    for address in conclusions(&script.plant) {
        addresses.push(with(&address, "working=true"));
        addresses.push(with(&address, "as_known_on=2026-03-02T15:00:30Z"));
        addresses.push(address);
    }
    addresses.extend(["/duties?limit=500", "/overview"].map(str::to_owned));
    let mut lines = Vec::new();
    for asked in addresses {
        let answer = stage.get("physician", &asked).await;
        assert_eq!(answer.status, 200, "{asked}: {}", answer.text);
        lines.push(Line { asked, answer });
    }
    lines.extend(journal(stage).await);
    lines
}

async fn backed_up(stage: &Stage, path: &Path) {
    let saved = save(&stage.registry, &console("test"), path, false, |_| {}).await.unwrap();
    assert!(saved.entries > 1000, "the built-in rules and the history: {}", saved.entries);
}

#[tokio::test]
async fn a_history_that_was_moved_twice_between_engines_answers_with_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let server = server();
    println!("moved: SQLite, {}, SQLite", if server.is_some() { "PostgreSQL" } else { "SQLite" });
    let first = Stage::on_sqlite().await;
    let mut script = Script::begin(&first, 5).await;
    for _ in 0..STEPS {
        script.step().await;
        first.settle().await;
    }
    backed_up(&first, &folder.path().join("first.tar")).await;
    let second = first.restored(&folder.path().join("first.tar"), server.as_deref()).await;
    backed_up(&second, &folder.path().join("second.tar")).await;
    let third = second.restored(&folder.path().join("second.tar"), None).await;
    let told = asked(&first, &script).await;
    assert!(
        told.iter().any(|line| line.asked.starts_with("/exports") && line.answer.text.lines().count() > 3)
    );
    for stage in [&second, &third] {
        let again = asked(stage, &script).await;
        assert_eq!(again.len(), told.len());
        for (one, other) in told.iter().zip(&again) {
            assert_eq!(one.asked, other.asked);
            assert!(one == other, "{}:\n{}\nand\n{}", one.asked, one.answer.text, other.answer.text);
        }
        let found = verify(&stage.registry, |_| {}).await.unwrap();
        assert!(found.sound, "{:?}", found.first_fault);
    }
}
