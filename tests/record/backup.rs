//! Backup and restore: what is damaged is refused, what is interrupted leaves nothing, what is restored is the record.

use crate::fresh::{Fresh, by_the_back_door};
use crate::kill;
use crate::plant::{self, Draws, Plant};
use doseward::access::scope::Scope;
use doseward::model::facts::group::Group;
use doseward::model::identifiers::AccountId;
use doseward::registry::backup::restore::Backup;
use doseward::registry::backup::save::{Saved, save};
use doseward::registry::enter_pack::console;
use doseward::registry::progress::Stage;
use doseward::registry::refusal::Refusal;
use doseward::registry::verify::verify;
use doseward::registry::writer::Registry;
use doseward::store::backend::Database;
use doseward::store::carried::CARRIED;
use doseward::store::disposal;
use doseward::store::journal::{self, Entry, Reading};
use doseward::store::tables::{self, TABLES};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;
use tokio::process::Command;
use uuid::Uuid;

/// A registry with a history, and a folder for its backups.
struct Origin {
    registry: Registry,
    plant: Plant,
    folder: tempfile::TempDir,
    _fresh: Fresh,
}

impl Origin {
    async fn make() -> Self {
        let fresh = Fresh::make().await;
        let registry = fresh.registry().await;
        let plant = plant::history(&registry).await;
        plant::void::<Group>(&registry, plant.group, true).await.unwrap();
        // A secret stands beside the journal.
        kill::token(&registry).await;
        registry.settle().await.unwrap();
        Self { registry, plant, folder: tempfile::tempdir().unwrap(), _fresh: fresh }
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    async fn save(&self, name: &str) -> Result<Saved, Refusal> {
        save(&self.registry, &console("tester"), &self.file(name), false, |_| {}).await
    }

    /// Restores one of its backups into a registry of its own.
    async fn restore(&self, name: &str) -> (Fresh, Registry) {
        let fresh = Fresh::make().await;
        let registry = fresh.registry_of_the_machine().await;
        let restored =
            Backup::open(&self.file(name), |_| {}).unwrap().restore(&registry, |_| {}).await.unwrap();
        assert_eq!(restored.entries, i64::try_from(entries(&self.registry).await.len()).unwrap());
        (fresh, registry)
    }
}

async fn entries(registry: &Registry) -> Vec<Entry> {
    let mut tx = registry.database.read().await.unwrap();
    let all = Reading { medical: true, limit: 100_000, ..Reading::default() };
    journal::entries(&mut tx, &Scope::everything(AccountId(Uuid::nil())), &all).await.unwrap()
}

async fn rows(database: &Database, table: &str) -> i64 {
    let sql = sqlx::AssertSqlSafe(format!("SELECT count(*) FROM {table}"));
    let (rows,): (i64,) = match database {
        Database::Sqlite(pool) => sqlx::query_as(sql).fetch_one(pool).await.unwrap(),
        Database::Postgres(pool) => sqlx::query_as(sql).fetch_one(pool).await.unwrap(),
    };
    rows
}

/// Nothing stands in any table, and the journal is at its beginning.
async fn is_empty(registry: &Registry) {
    let mut tx = registry.database.read().await.unwrap();
    assert_eq!(journal::head(&mut tx).await.unwrap(), (0, None));
    drop(tx);
    let facts = TABLES.iter().map(|table| table.name);
    let others = ["journal_entry", "journal_chain", "mark", "group_profile", "worker_summary"];
    for table in facts.chain(CARRIED.iter().map(|carried| carried.table)).chain(others) {
        assert_eq!(rows(&registry.database, table).await, 0, "{table}");
    }
}

fn told(path: &Path) -> String {
    match Backup::open(path, |_| {}) {
        Err(Refusal::Unreadable(sentence)) => sentence,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn the_restored_record_is_the_record() {
    let origin = Origin::make().await;
    origin.save("b.tar").await.unwrap();
    let (_fresh, registry) = origin.restore("b.tar").await;
    assert_eq!(entries(&registry).await, entries(&origin.registry).await);
    for table in TABLES {
        let (here, there) = (&origin.registry.database, &registry.database);
        assert_eq!(rows(here, table.name).await, rows(there, table.name).await, "{}", table.name);
    }
    // The proof walks entries and versions together, with the look-up columns and the ends of the versions.
    let (before, after) =
        (verify(&origin.registry, |_| {}).await.unwrap(), verify(&registry, |_| {}).await.unwrap());
    assert!(after.sound, "{:?}", after.first_fault);
    assert_eq!((before.entries, before.chains), (after.entries, after.chains));
    let mut tx = origin.registry.database.read().await.unwrap();
    let head = journal::head(&mut tx).await.unwrap();
    let mut tx = registry.database.read().await.unwrap();
    assert_eq!(head, journal::head(&mut tx).await.unwrap());
}

#[tokio::test]
async fn an_image_that_was_lawfully_removed_stays_removed_and_its_digest_stays() {
    let origin = Origin::make().await;
    let all = entries(&origin.registry).await;
    let group = origin.plant.group;
    // Of the voided group both images, and of the assignment that in the middle.
    let of_group = all.iter().filter(|entry| entry.envelope.subject == group);
    let of_assignment =
        all.iter().filter(|entry| entry.envelope.subject == origin.plant.assignment).skip(1).take(1);
    let removed: Vec<_> = of_group.zip(1..).chain(of_assignment.zip(2..)).collect();
    assert_eq!(removed.len(), 3);
    let mut tx = origin.registry.database.write().await.unwrap();
    for (entry, revision) in &removed {
        let table = tables::of_kind(&entry.envelope.kind).unwrap();
        let gone = disposal::remove(&mut tx, table, entry.envelope.subject, Some(*revision)).await.unwrap();
        assert_eq!(gone.positions, [entry.envelope.position]);
    }
    tx.commit().await.unwrap();
    origin.save("b.tar").await.unwrap();
    let (_fresh, registry) = origin.restore("b.tar").await;
    let there = entries(&registry).await;
    assert_eq!(there, entries(&origin.registry).await);
    assert!(there.iter().filter(|entry| entry.image.is_none()).all(|entry| entry.image_digest.len() == 32));
    let found = verify(&registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
}

#[tokio::test]
async fn a_registry_that_holds_entries_is_left_alone() {
    let origin = Origin::make().await;
    origin.save("b.tar").await.unwrap();
    let before = entries(&origin.registry).await;
    let backup = Backup::open(&origin.file("b.tar"), |_| {}).unwrap();
    let refused = backup.restore(&origin.registry, |_| {}).await.unwrap_err();
    assert_eq!(
        refused.to_string(),
        format!(
            "the registry holds {} entries already: a backup is restored into an empty one",
            before.len()
        )
    );
    assert_eq!(entries(&origin.registry).await, before);
}

#[tokio::test]
async fn a_damaged_backup_is_refused_before_the_registry_is_touched() {
    let origin = Origin::make().await;
    origin.save("b.tar").await.unwrap();
    let sound = std::fs::read(origin.file("b.tar")).unwrap();
    let bad = origin.file("bad.tar");
    let mut draws = Draws(20_261_128);
    for _ in 0..200 {
        let mut bytes = sound.clone();
        let at = draws.below(bytes.len());
        bytes[at] ^= 1 << draws.below(8);
        std::fs::write(&bad, &bytes).unwrap();
        let sentence = told(&bad);
        assert!(sentence.starts_with(&bad.display().to_string()), "{sentence}");
        std::fs::write(&bad, &sound[..draws.below(sound.len())]).unwrap();
        told(&bad);
    }
    std::fs::write(&bad, &sound[..sound.len() - 512]).unwrap();
    assert!(told(&bad).ends_with("the backup breaks off before its end"), "{}", told(&bad));
    std::fs::write(&bad, "Notes.").unwrap();
    assert!(told(&bad).ends_with("is no backup of a registry"), "{}", told(&bad));
    assert!(told(&origin.file("nowhere.tar")).contains("nowhere.tar: No such file"));
}

#[tokio::test]
async fn a_backup_that_was_altered_after_it_was_looked_through_leaves_the_registry_empty() {
    let origin = Origin::make().await;
    origin.save("b.tar").await.unwrap();
    let backup = Backup::open(&origin.file("b.tar"), |_| {}).unwrap();
    // The last chunk: everything before it goes in, and must come out again.
    let mut bytes = std::fs::read(origin.file("b.tar")).unwrap();
    let name = b"-token-secrets.jsonl.gz";
    let header = bytes.windows(name.len()).position(|part| part == name).unwrap() / 512 * 512;
    // The time in the head of the packed file (RFC 1952, 2.3): it unpacks all the same, and only the checksum tells.
    let content = header + 512 + 5;
    bytes[content] ^= 1;
    std::fs::write(origin.file("b.tar"), &bytes).unwrap();
    let fresh = Fresh::make().await;
    let registry = fresh.registry_of_the_machine().await;
    let refused = backup.restore(&registry, |_| {}).await.unwrap_err();
    assert!(refused.to_string().ends_with("is not as it was written"), "{refused}");
    is_empty(&registry).await;
}

#[tokio::test]
async fn a_restore_that_is_broken_off_leaves_the_registry_empty_and_the_next_one_begins_anew() {
    let origin = Origin::make().await;
    origin.save("b.tar").await.unwrap();
    let fresh = Fresh::make().await;
    let registry = fresh.registry_of_the_machine().await;
    for stage in [Stage::Entries, Stage::Rows] {
        let backup = Backup::open(&origin.file("b.tar"), |_| {}).unwrap();
        let broken = registry.clone();
        let restoring = tokio::spawn(async move {
            let break_off = |progress: doseward::registry::progress::Progress| {
                assert!(progress.stage != stage, "broken off on purpose");
            };
            backup.restore(&broken, break_off).await
        });
        assert!(restoring.await.is_err(), "{stage:?}");
        is_empty(&registry).await;
    }
    let backup = Backup::open(&origin.file("b.tar"), |_| {}).unwrap();
    backup.restore(&registry, |_| {}).await.unwrap();
    assert!(verify(&registry, |_| {}).await.unwrap().sound);
}

#[tokio::test]
async fn a_record_that_is_not_sound_is_not_backed_up() {
    let origin = Origin::make().await;
    let forged = "UPDATE journal_entry SET deed = 'recordet' WHERE position = 3";
    by_the_back_door(&origin.registry.database, forged).await;
    let refused = origin.save("b.tar").await.unwrap_err().to_string();
    assert!(
        refused.starts_with("the record is not sound, and a backup of it could not be restored: position 3:"),
        "{refused}"
    );
    assert!(refused.ends_with("its hash is not that of its envelope"), "{refused}");
    assert_eq!(std::fs::read_dir(origin.folder.path()).unwrap().count(), 0, "nothing of it stays");
    // A tail that was cut is no sound record either.
    let cut = "UPDATE journal_entry SET deed = 'recorded' WHERE position = 3; \
               DELETE FROM journal_entry WHERE position = (SELECT max(position) FROM journal_entry)";
    by_the_back_door(&origin.registry.database, cut).await;
    let refused = origin.save("b.tar").await.unwrap_err().to_string();
    assert!(refused.contains("the journal's head stands at"), "{refused}");
}

#[tokio::test]
async fn a_backup_leaves_its_line_in_the_access_log() {
    let origin = Origin::make().await;
    origin.save("b.tar").await.unwrap();
    let line = "access_line WHERE request = 'doseward backup' AND scope = 'backup' AND workers = 1";
    assert_eq!(rows(&origin.registry.database, line).await, 1);
    // Refused before anything was read, it leaves none.
    assert!(origin.save("b.tar").await.is_err());
    assert_eq!(rows(&origin.registry.database, line).await, 1);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_restore_that_is_killed_leaves_all_or_nothing() {
    let origin = Origin::make().await;
    let file = origin.file("b.tar");
    // Large enough to be killed in the middle of it.
    let whole = Fresh::make().await;
    let registry = doseward::service::open_at(&whole.url).await.unwrap();
    save(&registry, &console("tester"), &file, false, |_| {}).await.unwrap();
    let wanted = entries(&registry).await;
    let mut draws = Draws(20_261_129);
    let mut empty = 0;
    for _ in 0..6 {
        let fresh = Fresh::make().await;
        let mut process = Command::new(env!("CARGO_BIN_EXE_doseward"))
            .arg("restore")
            .arg(&file)
            .env("DOSEWARD_DATABASE_URL", &fresh.url)
            .env_remove("DOSEWARD_TOKEN")
            .stdout(Stdio::null())
            .kill_on_drop(true)
            .spawn()
            .unwrap();
        let moment = Duration::from_micros(draws.below(2_500_000) as u64);
        let ended = tokio::time::timeout(moment, process.wait()).await;
        if ended.is_err() {
            process.kill().await.unwrap();
        }
        let registry = fresh.registry_of_the_machine().await;
        let found = entries(&registry).await;
        if found.is_empty() {
            empty += 1;
            is_empty(&registry).await;
            Backup::open(&file, |_| {}).unwrap().restore(&registry, |_| {}).await.unwrap();
        }
        assert_eq!(entries(&registry).await, wanted);
        registry.settle().await.unwrap();
        assert!(verify(&registry, |_| {}).await.unwrap().sound);
    }
    println!("{empty} of 6 kills came before all was there");
}
