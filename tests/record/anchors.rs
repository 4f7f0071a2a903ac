//! A tail that was cut off with everything that tells of it, and a chain that was written anew with right hashes: the record
//! proves sound of itself, and the anchor finds both.

use crate::fresh::{self, by_the_back_door};
use crate::plant::{self, caller};
use crate::tampering::{Record, here, tables};
use doseward::model::facts::account::Role;
use doseward::registry::anchor::key::{PrivateKey, PublicKey};
use doseward::registry::anchor::text::{Anchor, Signed};
use doseward::registry::reading::Read;
use doseward::registry::verify::anchored::{AnchorFinding, Witness};
use doseward::registry::verify::verify_with;
use doseward::registry::writer::Registry;
use doseward::store::journal::{digest_of, hash_of};
use doseward::store::tables::{self as store_tables, TABLES};
use doseward::store::versions::STILL;
use uuid::Uuid;

/// An anchor as somebody with a role gets it, on all sites or on some.
async fn anchor(registry: &Registry, role: Role, sites: Option<&[Uuid]>) -> Signed {
    let signed = registry.anchor(&caller(role, sites)).await.unwrap();
    // As it comes back from the outside.
    Signed::parse(&signed.to_string()).unwrap()
}

/// What the proof says: whether the record is sound of itself, and what came of the anchor.
async fn held_against(registry: &Registry, signed: &Signed) -> (bool, AnchorFinding) {
    let witness = Witness { signed: signed.clone(), key: None };
    let found = verify_with(registry, Some(&witness), |_| {}).await.unwrap();
    let finding = found.anchor.unwrap();
    assert_eq!(found.sound, found.first_fault.is_none() && finding.contained);
    if let Some(fault) = &found.first_fault {
        println!("position {}: {}", fault.position, fault.what);
    }
    (found.first_fault.is_none(), finding)
}

/// The chains that a finding names.
fn named(finding: &AnchorFinding) -> Vec<(&str, Option<i64>)> {
    finding.faults.iter().filter_map(|fault| Some((fault.chain.as_deref()?, fault.place))).collect()
}

async fn put_back(record: &Record) {
    for name in tables() {
        let back = format!("DELETE FROM {name}; INSERT INTO {name} SELECT * FROM kept_{name}");
        by_the_back_door(record.database(), back).await;
    }
}

/// Takes the last position away as if it had never been: entries, versions, heads.
async fn cut_last(record: &Record, position: i64) {
    let database = record.database();
    for table in TABLES {
        let name = table.name;
        by_the_back_door(database, format!("DELETE FROM {name} WHERE known_from = {position}")).await;
        let sql = format!("UPDATE {name} SET known_to = {STILL} WHERE known_to = {position}");
        by_the_back_door(database, sql).await;
    }
    by_the_back_door(database, format!("DELETE FROM journal_entry WHERE position = {position}")).await;
    by_the_back_door(database, "DELETE FROM journal_chain").await;
    let chains = "INSERT INTO journal_chain (chain, entries, head) SELECT e.chain, e.place, e.entry_hash FROM journal_entry e \
                  WHERE e.place = (SELECT max(m.place) FROM journal_entry m WHERE m.chain = e.chain)";
    by_the_back_door(database, chains).await;
    by_the_back_door(database, format!("UPDATE journal_head SET position = {}", position - 1)).await;
}

#[tokio::test]
async fn an_untouched_record_contains_its_anchor_and_goes_on_containing_it() {
    let record = Record::make().await;
    let mut anchors = vec![(anchor(&record.registry, Role::Corporate, None).await, 5)];
    anchors.push((anchor(&record.registry, Role::Physician, None).await, 5));
    for (signed, compared) in &anchors {
        let (sound, finding) = held_against(&record.registry, signed).await;
        assert!(sound && finding.contained, "{:?}", finding.faults);
        // Corporation, two sites, the medical chain, the access log.
        assert_eq!(finding.compared, *compared);
    }
    // An older anchor, a registry that has grown.
    let site = plant::site(&record.registry, "EAST").await;
    plant::group(&record.registry, site, "G1").await.unwrap();
    for (signed, _) in &anchors {
        assert!(held_against(&record.registry, signed).await.1.contained);
    }
}

#[tokio::test]
async fn a_tail_cut_off_with_all_that_tells_of_it_is_found_by_the_anchor_alone() {
    let record = Record::make().await;
    let everything = anchor(&record.registry, Role::Corporate, None).await;
    let open = anchor(&record.registry, Role::Physician, None).await;
    let mut positions: Vec<i64> = record.entries.iter().map(|entry| entry.envelope.position).collect();
    positions.dedup();
    while let Some(position) = positions.pop() {
        cut_last(&record, position).await;
        for signed in [&everything, &open] {
            let (sound, finding) = held_against(&record.registry, signed).await;
            assert!(sound, "cut at {position}: the record alone ought to be sound");
            let cut: Vec<_> =
                record.entries.iter().filter(|entry| entry.envelope.position >= position).collect();
            for head in &signed.anchor.chains {
                let lost = cut.iter().any(|entry| entry.envelope.chain == head.chain);
                let found = named(&finding).contains(&(head.chain.as_str(), Some(head.entries)));
                assert_eq!(found, lost, "cut at {position}: {} of {:?}", head.chain, finding.faults);
            }
            assert!(
                !finding.contained && finding.faults.iter().any(|fault| fault.what.contains("journal ends"))
            );
        }
        // Of the hidden chain it is said that it is not contained, and nothing else.
        let (_, finding) = held_against(&record.registry, &everything).await;
        assert!(named(&finding).contains(&("medical", None)), "{:?}", finding.faults);
    }
}

/// Writes a chain anew from an entry on: another account did it, and every hash after it is right.
async fn rewrite_from(record: &Record, first: usize) {
    let database = record.database();
    let other = Uuid::from_u128(99);
    let chain = &record.entries[first].envelope.chain;
    let mut previous = record.entries[first].previous_hash.clone();
    let later = record.entries.iter().enumerate().skip(first);
    for (n, entry) in later.filter(|(_, entry)| &entry.envelope.chain == chain) {
        let mut envelope = entry.envelope.clone();
        if n == first {
            envelope.account = other.into();
        }
        let hash = hash_of(&previous, &envelope, &entry.image_digest);
        let sql = format!(
            "UPDATE journal_entry SET account_id = {}, previous_hash = {}, entry_hash = {} WHERE {}",
            fresh::id(database, envelope.account.0),
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
async fn a_chain_written_anew_from_any_entry_is_found_by_the_anchor_alone() {
    let record = Record::make().await;
    let everything = anchor(&record.registry, Role::Corporate, None).await;
    for (n, entry) in record.entries.iter().enumerate() {
        rewrite_from(&record, n).await;
        let (sound, finding) = held_against(&record.registry, &everything).await;
        assert!(sound, "entry {n}: the record alone ought to be sound");
        let chain = entry.envelope.chain.as_str();
        let head = everything.anchor.chains.iter().find(|head| head.chain == chain);
        assert_eq!(named(&finding), [(chain, head.map(|head| head.entries))], "entry {n}");
        assert!(finding.faults[0].what.contains("rewritten"), "{:?}", finding.faults);
        put_back(&record).await;
    }
    assert!(held_against(&record.registry, &everything).await.1.contained);
}

#[tokio::test]
async fn another_story_told_in_version_and_journal_alike_is_found_by_the_anchor_alone() {
    let record = Record::make().await;
    let database = record.database();
    let everything = anchor(&record.registry, Role::Corporate, None).await;
    let of_group =
        |kind: &str| store_tables::of_kind(kind).is_some_and(|table| table.name == "exposure_group");
    let first = record.entries.iter().position(|entry| of_group(&entry.envelope.kind)).unwrap();
    let chain = record.entries[first].envelope.chain.clone();
    let mut previous = record.entries[first].previous_hash.clone();
    for (n, entry) in record.entries.iter().enumerate().skip(first).filter(|(_, e)| e.envelope.chain == chain)
    {
        let mut image = entry.image.clone().unwrap();
        if n == first {
            image = image.replace("Group G1", "Group of nobody");
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
    let site = record.entries[first].envelope.site.unwrap();
    let body = format!(
        "UPDATE exposure_group SET body = replace(body, 'Group G1', 'Group of nobody') WHERE site_id = {}",
        fresh::id(database, site.0)
    );
    by_the_back_door(database, body).await;
    let head = fresh::bytes(database, &previous);
    by_the_back_door(database, format!("UPDATE journal_chain SET head = {head} WHERE chain = '{chain}'"))
        .await;
    let (sound, finding) = held_against(&record.registry, &everything).await;
    assert!(sound, "the record alone ought to be sound");
    assert_eq!(named(&finding).iter().map(|(chain, _)| *chain).collect::<Vec<_>>(), [chain.as_str()]);
}

#[tokio::test]
async fn an_anchor_holds_what_its_reader_sees_and_the_medical_chain_shows_nothing() {
    let record = Record::make().await;
    let registry = &record.registry;
    let mut sites: Vec<String> = record.entries.iter().map(|entry| entry.envelope.chain.clone()).collect();
    sites.retain(|chain| chain.starts_with("site:"));
    sites.dedup();
    let site = Uuid::parse_str(sites[0].strip_prefix("site:").unwrap()).unwrap();
    let chains = |signed: &Signed| -> Vec<String> {
        signed.anchor.chains.iter().map(|head| head.chain.clone()).collect()
    };
    let of_site = anchor(registry, Role::Coordinator, Some(&[site])).await;
    assert_eq!(chains(&of_site), ["corporation".to_owned(), sites[0].clone()]);
    let of_all = anchor(registry, Role::Administrator, None).await;
    assert_eq!(of_all.anchor.chains.len(), 3);
    let physician = anchor(registry, Role::Physician, None).await;
    assert!(chains(&physician).contains(&"medical".to_owned()) && physician.anchor.blinded.is_empty());
    // A physician of some sites is no physician of all.
    let of_some = anchor(registry, Role::Physician, Some(&[site])).await;
    assert_eq!((chains(&of_some).len(), of_some.anchor.blinded.len()), (2, 1));
    // Two anchors of the same chain have nothing in common: that it grew between two others is not to be read either.
    let again = anchor(registry, Role::Administrator, None).await;
    let hidden = |signed: &Signed| signed.anchor.blinded[0].clone();
    assert_ne!(hidden(&again).digest, hidden(&of_all).digest);
    assert_ne!(hidden(&again).nonce, hidden(&of_all).nonce);
    // It stands there before there is any medical entry.
    let empty = crate::fresh::Fresh::make().await;
    let empty = empty.registry().await;
    let nothing = anchor(&empty, Role::Administrator, None).await;
    assert_eq!((nothing.anchor.chains.len(), nothing.anchor.blinded.len()), (0, 1));
    assert!(held_against(&empty, &nothing).await.1.contained);
}

#[tokio::test]
async fn an_anchor_that_was_altered_or_signed_by_another_proves_nothing() {
    let record = Record::make().await;
    let registry = &record.registry;
    let good = anchor(registry, Role::Administrator, None).await;
    let text = good.to_string();
    let altered =
        Signed::parse(&text.replace(&format!("position {}", good.anchor.position), "position 1")).unwrap();
    let (_, finding) = held_against(registry, &altered).await;
    assert_eq!((finding.contained, finding.compared), (false, 0));
    assert!(finding.faults[0].what.contains("signature"), "{:?}", finding.faults);
    let stranger = PrivateKey::from_bytes(&[9; 32]);
    let resigned = |anchor: Anchor| {
        let body = anchor.body();
        Signed { signature: stranger.sign(body.as_bytes()), anchor, body }
    };
    let claimed = resigned(good.anchor.clone());
    assert!(held_against(registry, &claimed).await.1.faults[0].what.contains("signature"));
    let own = resigned(Anchor { key: stranger.public().fingerprint(), ..good.anchor.clone() });
    assert!(held_against(registry, &own).await.1.faults[0].what.contains("does not know"));
    // The key kept outside is asked before the registry's memory.
    let witness = Witness { signed: good.clone(), key: Some(stranger.public()) };
    let found = verify_with(registry, Some(&witness), |_| {}).await.unwrap();
    assert!(!found.sound && found.anchor.unwrap().faults[0].what.contains("another key"));
    let kept = registry.public_key().await.unwrap().public_key;
    // A registry whose keys were exchanged does not know its own anchor any more.
    by_the_back_door(&registry.database, "DELETE FROM signing_key").await;
    assert!(held_against(registry, &good).await.1.faults[0].what.contains("does not know"));
    // The secret gone, the hidden chain can be told nothing of, and that is said.
    by_the_back_door(&registry.database, "DELETE FROM blinding_secret").await;
    let witness = Witness { signed: good, key: PublicKey::from_pem(&kept).ok() };
    let found = verify_with(registry, Some(&witness), |_| {}).await.unwrap();
    let finding = found.anchor.unwrap();
    assert_eq!(named(&finding), [("medical", None)]);
    assert!(finding.faults[0].what.contains("secret"), "{:?}", finding.faults);
}

/// A key of the setting signs, and the database never sees its private half.
#[tokio::test]
async fn a_key_of_the_setting_signs_and_is_not_kept() {
    let record = Record::make().await;
    let key = PrivateKey::from_bytes(&[3; 32]);
    let public = key.public();
    let registry = record.registry.clone().signing_with(key);
    let signed = anchor(&registry, Role::Administrator, None).await;
    assert_eq!(signed.anchor.key, public.fingerprint());
    assert!(public.has_signed(signed.body.as_bytes(), &signed.signature));
    // It is known to the registry without the setting too, as a public key alone.
    assert!(held_against(&record.registry, &signed).await.1.contained);
    let kept = doseward::store::signing::newest_private(&mut registry.database.read().await.unwrap()).await;
    assert_eq!(kept.unwrap(), None);
}

#[tokio::test]
async fn a_log_cut_or_written_anew_is_found_by_the_anchor() {
    let record = Record::make().await;
    let registry = &record.registry;
    for n in 0..3 {
        let read = Read {
            request: format!("GET {n}"),
            worker: None,
            scope: Some("a test".into()),
            position: 1,
            workers: 2,
            client: None,
            purpose: None,
        };
        registry.note_reading(&caller(Role::Corporate, None), read).await.unwrap();
    }
    let signed = anchor(registry, Role::Administrator, None).await;
    assert_eq!(signed.anchor.access_log.0, 3);
    by_the_back_door(&registry.database, "DELETE FROM access_line WHERE place = 3").await;
    let second = "(SELECT digest FROM access_line WHERE place = 2)";
    by_the_back_door(&registry.database, format!("UPDATE access_head SET lines = 2, digest = {second}"))
        .await;
    let (sound, finding) = held_against(registry, &signed).await;
    assert!(sound);
    assert_eq!(named(&finding), [("access-log", Some(3))]);
    assert!(finding.faults[0].what.contains("cut"), "{:?}", finding.faults);
}
