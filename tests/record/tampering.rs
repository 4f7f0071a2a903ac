//! Whatever is changed past the registry is found, and the first entry it touches is named.
//!
//! Source of the cases: flip, drop, insert, swap and reorder one entry at every position (common practice for hash
//! chains, no source).

use crate::fresh::{self, Fresh, by_the_back_door};
use crate::plant;
use doseward::access::scope::Scope;
use doseward::model::identifiers::AccountId;
use doseward::registry::verify::{Verification, verify};
use doseward::registry::writer::Registry;
use doseward::store::backend::Database;
use doseward::store::disposal;
use doseward::store::journal::{self, Entry, Reading, digest_of, hash_of};
use doseward::store::tables::{self, TABLES};
use uuid::Uuid;

/// A registry with a history, and copies of its tables to put back what was changed.
pub(crate) struct Record {
    pub(crate) registry: Registry,
    pub(crate) entries: Vec<Entry>,
    _fresh: Fresh,
}

impl Record {
    pub(crate) async fn make() -> Self {
        Self::of(async |registry| {
            plant::history(registry).await;
        })
        .await
    }

    async fn of(history: impl AsyncFn(&Registry)) -> Self {
        let fresh = Fresh::make().await;
        let registry = fresh.registry().await;
        history(&registry).await;
        let mut tx = registry.database.read().await.unwrap();
        let everything = Scope::everything(AccountId(Uuid::nil()));
        let all = Reading { medical: true, limit: 1000, ..Reading::default() };
        let entries = journal::entries(&mut tx, &everything, &all).await.unwrap();
        drop(tx);
        for name in tables() {
            by_the_back_door(&registry.database, format!("CREATE TABLE kept_{name} AS SELECT * FROM {name}"))
                .await;
        }
        Self { registry, entries, _fresh: fresh }
    }

    pub(crate) fn database(&self) -> &Database {
        &self.registry.database
    }

    pub(crate) async fn verified(&self) -> Verification {
        verify(&self.registry, |_| {}).await.unwrap()
    }

    /// Changes something, proves that it is found at `position`, and puts the table back.
    async fn found(&self, table: &str, sql: String, position: i64) {
        by_the_back_door(self.database(), &*sql).await;
        let found = self.verified().await;
        let fault = found.first_fault.unwrap_or_else(|| panic!("not found: {sql}"));
        assert!(!found.sound);
        assert_eq!(fault.position, position, "{sql}: {}", fault.what);
        let back = format!("DELETE FROM {table}; INSERT INTO {table} SELECT * FROM kept_{table}");
        by_the_back_door(self.database(), back).await;
    }
}

pub(crate) fn tables() -> impl Iterator<Item = &'static str> {
    TABLES.iter().map(|table| table.name).chain(["journal_entry", "journal_chain", "journal_head"])
}

pub(crate) fn here(entry: &Entry) -> String {
    format!("position = {} AND ordinal = {}", entry.envelope.position, entry.envelope.ordinal)
}

#[tokio::test]
async fn an_untouched_record_is_sound() {
    let record = Record::make().await;
    let found = record.verified().await;
    assert_eq!((found.sound, &found.first_fault), (true, &None));
    assert_eq!(usize::try_from(found.entries).unwrap(), record.entries.len());
    let chains: Vec<&str> = found.chains.iter().map(|chain| chain.chain.as_str()).collect();
    assert_eq!(chains.len(), 4, "corporation, medical and two sites: {chains:?}");
    assert_eq!(found.chains.iter().map(|chain| chain.entries).sum::<i64>(), found.entries);
}

#[tokio::test]
async fn an_image_removed_with_its_salt_and_version_leaves_the_record_sound_and_no_other_way() {
    let record = Record::make().await;
    let (one, other) = (&record.entries[3], &record.entries[4]);
    let table = tables::of_kind(&one.envelope.kind).unwrap();
    let mut tx = record.database().write().await.unwrap();
    disposal::remove(&mut tx, table, one.envelope.subject, None).await.unwrap();
    tx.commit().await.unwrap();
    let found = record.verified().await;
    assert!(found.sound, "{:?}", found.first_fault);
    let half = format!("UPDATE journal_entry SET image = NULL, salt = NULL WHERE {}", here(other));
    by_the_back_door(record.database(), half).await;
    assert!(!record.verified().await.sound, "its version is still there");
}

#[tokio::test]
async fn every_field_of_every_entry_is_guarded() {
    let record = Record::make().await;
    let bytes = |byte| fresh::bytes(record.database(), &[byte; 32]);
    let other = fresh::id(record.database(), Uuid::from_u128(99));
    let later = match record.database() {
        Database::Sqlite(_) => "'2026-03-02T08:00:00.000001+00:00'",
        Database::Postgres(_) => "at + interval '1 microsecond'",
    };
    let flips = [
        "chain = chain || 'x'".to_owned(),
        "place = place + 1000".to_owned(),
        format!("at = {later}"),
        format!("account_id = {other}"),
        "kind = kind || 'x'".to_owned(),
        "deed = deed || 'x'".to_owned(),
        format!("subject_id = {other}"),
        format!("site_id = {other}"),
        "format = format + 1".to_owned(),
        "image = replace(image, 'revision', 'revisiom')".to_owned(),
        "image = NULL".to_owned(),
        format!("salt = {}", bytes(1)),
        "salt = NULL".to_owned(),
        format!("image_digest = {}", bytes(2)),
        format!("previous_hash = {}", bytes(3)),
        format!("entry_hash = {}", bytes(4)),
    ];
    for entry in &record.entries {
        for flip in &flips {
            let sql = format!("UPDATE journal_entry SET {flip} WHERE {}", here(entry));
            record.found("journal_entry", sql, entry.envelope.position).await;
        }
    }
    assert!(record.verified().await.sound);
}

#[tokio::test]
async fn a_dropped_inserted_swapped_or_reordered_entry_is_named() {
    let record = Record::make().await;
    for (n, entry) in record.entries.iter().enumerate() {
        let (one, position) = (here(entry), entry.envelope.position);
        record.found("journal_entry", format!("DELETE FROM journal_entry WHERE {one}"), position).await;
        let forged = format!(
            "INSERT INTO journal_entry SELECT position, 1000, chain, 1000, at, account_id, kind, deed, subject_id, \
             site_id, format, image, salt, image_digest, previous_hash, entry_hash FROM journal_entry WHERE {one}"
        );
        record.found("journal_entry", forged, position).await;
        let Some(next) = record.entries.get(n + 1) else { continue };
        let two = here(next);
        let images = format!(
            "UPDATE journal_entry SET image = (SELECT k.image FROM kept_journal_entry k WHERE {}), \
             salt = (SELECT k.salt FROM kept_journal_entry k WHERE {}) WHERE {one}",
            two.replace("position", "k.position").replace("ordinal", "k.ordinal"),
            two.replace("position", "k.position").replace("ordinal", "k.ordinal"),
        );
        record.found("journal_entry", images, position).await;
        let places = format!(
            "UPDATE journal_entry SET position = -1 WHERE {one}; \
             UPDATE journal_entry SET position = {position}, ordinal = {} WHERE {two}; \
             UPDATE journal_entry SET position = {}, ordinal = {} WHERE position = -1",
            entry.envelope.ordinal, next.envelope.position, next.envelope.ordinal,
        );
        record.found("journal_entry", places, position).await;
    }
    assert!(record.verified().await.sound);
}

#[tokio::test]
async fn every_column_of_every_version_is_guarded() {
    let record = Record::make().await;
    let database = record.database();
    let other = fresh::id(database, Uuid::from_u128(99));
    for entry in &record.entries {
        let table = tables::of_kind(&entry.envelope.kind).unwrap();
        let (name, position) = (table.name, entry.envelope.position);
        let this =
            format!("id = {} AND known_from = {position}", fresh::id(database, entry.envelope.subject));
        let flips = [
            format!("id = {other}"),
            "known_from = known_from + 1000".to_owned(),
            // A version that is current is cut; one that has ended lives on.
            format!("known_to = CASE WHEN known_to > 1000 THEN {} ELSE known_to + 1 END", position + 1),
            "revision = revision + 1".to_owned(),
            format!("site_id = {other}"),
            format!("parent_id = {other}"),
            "voided = COALESCE(voided, '') || 'x'".to_owned(),
            "body = replace(body, ':', ': ')".to_owned(),
        ];
        for flip in flips {
            record.found(name, format!("UPDATE {name} SET {flip} WHERE {this}"), position).await;
        }
        record.found(name, format!("DELETE FROM {name} WHERE {this}"), position).await;
    }
    assert!(record.verified().await.sound);
}

#[tokio::test]
async fn look_up_columns_hold_what_the_fact_says() {
    let record = Record::make().await;
    let other = fresh::id(record.database(), Uuid::from_u128(99));
    let flips = [
        ("exposure_group", "code = code || 'x'".to_owned()),
        ("employment", "employee_number = NULL".to_owned()),
        ("assignment", format!("group_id = {other}")),
        ("sample", format!("task_id = {other}")),
        ("lab_report", "part = 3".to_owned()),
        ("lab_result", "agent_code = 'another'".to_owned()),
    ];
    for (name, flip) in flips {
        let of_kind =
            |entry: &&Entry| tables::of_kind(&entry.envelope.kind).is_some_and(|table| table.name == name);
        let first = record.entries.iter().find(of_kind).unwrap().envelope.position;
        let sql = format!("UPDATE {name} SET {flip} WHERE known_from = {first}");
        record.found(name, sql, first).await;
    }
}

#[tokio::test]
async fn a_version_without_an_entry_is_named() {
    let record = Record::make().await;
    let other = fresh::id(record.database(), Uuid::from_u128(99));
    let extra = format!(
        "INSERT INTO exposure_group SELECT {other}, known_from, known_to, revision, site_id, parent_id, voided, \
         body, 'G9' FROM exposure_group WHERE known_from = 3"
    );
    record.found("exposure_group", extra, 3).await;
}

#[tokio::test]
async fn the_heads_are_guarded() {
    let record = Record::make().await;
    let last = record.entries.last().unwrap().envelope.position;
    let head = |set: &str| format!("UPDATE journal_head SET {set}");
    record.found("journal_head", head("position = position + 1"), last + 1).await;
    record.found("journal_head", head("position = position - 1"), last).await;
    let corporation = record.entries.iter().rfind(|entry| entry.envelope.chain == "corporation").unwrap();
    let wrong = fresh::bytes(record.database(), &[5; 32]);
    for set in [format!("head = {wrong}"), "entries = entries + 1".to_owned()] {
        let sql = format!("UPDATE journal_chain SET {set} WHERE chain = 'corporation'");
        record.found("journal_chain", sql, corporation.envelope.position).await;
    }
    let sql = "DELETE FROM journal_chain WHERE chain = 'corporation'".to_owned();
    record.found("journal_chain", sql, corporation.envelope.position).await;
    let sql = format!("INSERT INTO journal_chain (chain, entries, head) VALUES ('another', 1, {wrong})");
    record.found("journal_chain", sql, 1).await;
}

#[tokio::test]
async fn a_tail_that_is_cut_off_is_found_by_the_versions_it_leaves() {
    let record = Record::make().await;
    let (database, last) = (record.database(), record.entries.last().unwrap());
    assert_eq!((last.envelope.chain.as_str(), last.envelope.place), ("medical", 1));
    let before = last.envelope.position - 1;
    by_the_back_door(database, format!("DELETE FROM journal_entry WHERE {}", here(last))).await;
    by_the_back_door(database, "DELETE FROM journal_chain WHERE chain = 'medical'").await;
    by_the_back_door(database, format!("UPDATE journal_head SET position = {before}")).await;
    let fault = record.verified().await.first_fault.unwrap();
    assert_eq!(fault.position, last.envelope.position);
}

/// Rewrites an entry's image and every hash after it in its chain, as somebody would who knows how the journal is made.
async fn rewrite(record: &Record, first: usize, other: impl Fn(&str) -> String) {
    let database = record.database();
    let chain = record.entries[first].envelope.chain.clone();
    let mut previous = record.entries[first].previous_hash.clone();
    for (n, entry) in record.entries.iter().enumerate().skip(first).filter(|(_, e)| e.envelope.chain == chain)
    {
        let mut image = entry.image.clone().unwrap();
        if n == first {
            image = other(&image);
        }
        let digest = digest_of(entry.salt.as_ref().unwrap(), &image);
        let hash = hash_of(&previous, &entry.envelope, &digest);
        let sql = format!(
            "UPDATE journal_entry SET image = '{image}', image_digest = {}, previous_hash = {}, entry_hash = {} WHERE {}",
            fresh::bytes(database, &digest),
            fresh::bytes(database, &previous),
            fresh::bytes(database, &hash),
            here(entry),
        );
        by_the_back_door(database, sql).await;
        previous = hash.to_vec();
    }
    let head = fresh::bytes(database, &previous);
    by_the_back_door(database, format!("UPDATE journal_chain SET head = {head} WHERE chain = '{chain}'"))
        .await;
}

#[tokio::test]
async fn a_chain_rewritten_with_right_hashes_is_found_by_the_version_it_belies() {
    let record = Record::make().await;
    let first = record.entries.iter().position(|entry| entry.envelope.kind == "exposure_group").unwrap_or(2);
    rewrite(&record, first, |image| image.replace("G1", "G7")).await;
    let fault = record.verified().await.first_fault.unwrap();
    assert_eq!(fault.position, record.entries[first].envelope.position);
    assert!(fault.what.contains("fact"), "{}", fault.what);
}

/// Two letters, and which entries brought them.
async fn with_letters() -> (Record, Vec<usize>) {
    let record = Record::of(async |registry| {
        let plant = plant::history(registry).await;
        for text in ["<p>You breathed 2.1 ug/m3.</p>", "<p>You breathed 2.2 ug/m3.</p>"] {
            plant::letter(registry, &plant, text).await;
        }
    })
    .await;
    let letters = record.entries.iter().enumerate().filter(|(_, entry)| entry.envelope.kind == "letter");
    let letters: Vec<usize> = letters.map(|(n, _)| n).collect();
    assert_eq!(letters.len(), 2);
    assert!(record.verified().await.sound);
    (record, letters)
}

#[tokio::test]
async fn a_letter_whose_text_was_changed_is_named_by_its_check_value() {
    let (record, letters) = with_letters().await;
    let first = &record.entries[letters[0]];
    let named = format!("the check value of letter {}", first.envelope.subject);
    // Both texts, in their versions alone.
    by_the_back_door(record.database(), "UPDATE letter SET body = replace(body, 'breathed 2', 'breathed 1')")
        .await;
    let fault = record.verified().await.first_fault.unwrap();
    assert_eq!(fault.position, first.envelope.position);
    assert!(fault.what.starts_with(&named), "{}", fault.what);
    // The journal told the same story with right hashes: the paper in the worker's hand still does not.
    for n in &letters {
        rewrite(&record, *n, |image| image.replace("breathed 2", "breathed 1")).await;
    }
    let fault = record.verified().await.first_fault.unwrap();
    assert_eq!(fault.position, first.envelope.position);
    assert!(fault.what.starts_with(&named), "{}", fault.what);
}

#[tokio::test]
async fn of_several_letters_the_first_that_differs_is_named() {
    let (record, letters) = with_letters().await;
    let second = &record.entries[letters[1]];
    let sql = "UPDATE letter SET body = replace(body, 'breathed 2.2', 'breathed 0.2')";
    by_the_back_door(record.database(), sql).await;
    let fault = record.verified().await.first_fault.unwrap();
    assert_eq!(fault.position, second.envelope.position);
    assert!(fault.what.contains(&second.envelope.subject.to_string()), "{}", fault.what);
}
