//! The key that signs is replaced: what it signed stays proved, and whoever kept it comes to the key of today.

use crate::fresh::{Fresh, by_the_back_door};
use crate::plant::{self, caller};
use doseward::model::facts::account::Role;
use doseward::registry::anchor::announcement::Statement;
use doseward::registry::anchor::key::{PrivateKey, PublicKey};
use doseward::registry::anchor::text::Signed;
use doseward::registry::backup::restore::Backup;
use doseward::registry::backup::save::save;
use doseward::registry::enter_pack::console;
use doseward::registry::refusal::Refusal;
use doseward::registry::verify::anchored::{AnchorFinding, Witness};
use doseward::registry::verify::{verify, verify_with};
use doseward::registry::writer::Registry;
use doseward::store::signing;

async fn anchor(registry: &Registry) -> Signed {
    registry.anchor(&caller(Role::Administrator, None)).await.unwrap()
}

async fn held_against(registry: &Registry, signed: &Signed, key: Option<PublicKey>) -> AnchorFinding {
    let witness = Witness { signed: signed.clone(), key };
    verify_with(registry, Some(&witness), |_| {}).await.unwrap().anchor.unwrap()
}

async fn present(registry: &Registry) -> PublicKey {
    PublicKey::from_pem(&registry.public_key().await.unwrap().public_key).unwrap()
}

async fn rotate(registry: &Registry) -> Statement {
    registry.rotate_key(&console("tester"), None).await.unwrap().statement
}

fn keys_of(finding: &AnchorFinding) -> Vec<&str> {
    finding.followed_by.iter().map(|step| step.key.as_str()).collect()
}

/// Three keys, an anchor signed with each.
struct Keys {
    registry: Registry,
    fresh: Fresh,
    public: [PublicKey; 3],
    anchors: [Signed; 3],
}

async fn three_keys() -> Keys {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    plant::history(&registry).await;
    let (first, one) = (present(&registry).await, anchor(&registry).await);
    rotate(&registry).await;
    let (second, two) = (present(&registry).await, anchor(&registry).await);
    rotate(&registry).await;
    let (third, three) = (present(&registry).await, anchor(&registry).await);
    Keys { registry, fresh, public: [first, second, third], anchors: [one, two, three] }
}

#[tokio::test]
async fn each_anchor_is_proved_by_the_key_that_signed_it_and_names_those_that_followed() {
    let Keys { registry, public: keys, anchors, fresh: _fresh } = three_keys().await;
    let told = keys.map(|key| registry_hex(&key.fingerprint()));
    for (n, signed) in anchors.iter().enumerate() {
        assert_eq!(signed.anchor.key, keys[n].fingerprint());
        for key in [None, Some(keys[n])] {
            let finding = held_against(&registry, signed, key).await;
            assert!(finding.contained, "{:?}", finding.faults);
            assert_eq!(
                (&finding.key, keys_of(&finding)),
                (&told[n], told[n + 1..].iter().map(|k| &**k).collect())
            );
        }
    }
    // An older key leads to the younger; a younger one says nothing of an older anchor, and a stranger's of none.
    assert!(held_against(&registry, &anchors[2], Some(keys[0])).await.contained);
    let stranger = PrivateKey::from_bytes(&[9; 32]).public();
    for (signed, key) in [(&anchors[0], keys[2]), (&anchors[2], stranger)] {
        let finding = held_against(&registry, signed, Some(key)).await;
        assert!(finding.faults[0].what.contains("no announcement leads"), "{:?}", finding.faults);
    }
    // The list says which followed which, and the private halves of the old ones are gone.
    let known = registry.keys().await.unwrap();
    let mut tx = registry.database.read().await.unwrap();
    for (n, key) in known.iter().enumerate() {
        assert_eq!((&key.fingerprint, key.signs), (&told[n], n == 2));
        assert_eq!(key.followed_by.as_ref(), told.get(n + 1));
        assert_eq!(key.announced_by.as_ref(), n.checked_sub(1).map(|before| &told[before]));
        let private = signing::private_of(&mut tx, keys[n].fingerprint()).await.unwrap();
        assert_eq!(private.is_some(), n == 2);
    }
    assert_eq!(known.len(), 3);
}

fn registry_hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"))
}

#[tokio::test]
async fn an_announcement_that_is_altered_or_taken_away_is_named() {
    let Keys { registry, public: keys, anchors, fresh: _fresh } = three_keys().await;
    let database = &registry.database;
    assert!(verify(&registry, |_| {}).await.unwrap().sound);
    by_the_back_door(database, "CREATE TABLE kept AS SELECT * FROM key_announcement").await;
    let stranger = PrivateKey::from_bytes(&[9; 32]);
    let mut tx = registry.database.read().await.unwrap();
    let mut forged = Statement::parse(&signing::announcements(&mut tx).await.unwrap()[1].1).unwrap();
    drop(tx);
    // Somebody with the database puts a key of his own in the place of the third.
    forged.announcement.key = stranger.public();
    forged.body = forged.announcement.body();
    forged.signature = stranger.sign(forged.body.as_bytes());
    let mut of_stranger = anchors[2].clone();
    of_stranger.anchor.key = stranger.public().fingerprint();
    of_stranger.body = of_stranger.anchor.body();
    of_stranger.signature = stranger.sign(of_stranger.body.as_bytes());
    for (sql, what) in [
        (
            format!("UPDATE key_announcement SET statement = '{forged}' WHERE place = 2"),
            "at place 2 is not as it was signed",
        ),
        ("DELETE FROM key_announcement WHERE place = 1".to_owned(), "at place 1 is missing"),
        ("UPDATE key_announcement SET place = 3 WHERE place = 2".to_owned(), "at place 2 is missing"),
    ] {
        by_the_back_door(database, sql).await;
        assert!(!held_against(&registry, &of_stranger, Some(keys[0])).await.contained, "{what}");
        let fault = verify(&registry, |_| {}).await.unwrap().first_fault.unwrap();
        assert!(fault.what.contains(what), "{fault:?}");
        // The key that was kept outside leads no further than what was signed.
        assert!(!held_against(&registry, &anchors[2], Some(keys[0])).await.contained, "{what}");
        by_the_back_door(
            database,
            "DELETE FROM key_announcement; INSERT INTO key_announcement SELECT * FROM kept",
        )
        .await;
    }
    assert!(verify(&registry, |_| {}).await.unwrap().sound);
}

#[tokio::test]
async fn a_backup_carries_the_keys_and_what_they_announced() {
    let Keys { registry, public: keys, anchors, fresh: _fresh } = three_keys().await;
    registry.settle().await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("b.tar");
    save(&registry, &console("tester"), &file, false, |_| {}).await.unwrap();
    let fresh = Fresh::make().await;
    let there = fresh.registry_of_the_machine().await;
    Backup::open(&file, |_| {}).unwrap().restore(&there, |_| {}).await.unwrap();
    assert_eq!(present(&there).await, keys[2]);
    assert_eq!(there.key_announcements().await.unwrap(), registry.key_announcements().await.unwrap());
    let finding = held_against(&there, &anchors[0], Some(keys[0])).await;
    assert!(finding.contained && finding.followed_by.len() == 2, "{finding:?}");
    assert!(verify(&there, |_| {}).await.unwrap().sound);
}

fn told<T>(result: Result<T, Refusal>) -> String {
    result.map(|_| ()).unwrap_err().to_string()
}

#[tokio::test]
async fn a_key_of_the_setting_is_replaced_by_one_in_a_file_and_signs_nothing_more() {
    let fresh = Fresh::make().await;
    let [old, new] = [[3; 32], [4; 32]].map(|seed| PrivateKey::from_bytes(&seed));
    let (before, after) = (old.public(), new.public());
    let registry = fresh.registry().await.signing_with(old);
    plant::history(&registry).await;
    let kept = anchor(&registry).await;
    assert!(told(registry.rotate_key(&console("tester"), None).await).contains("does not keep it"));
    let same = PrivateKey::from_bytes(&[3; 32]);
    assert!(
        told(registry.rotate_key(&console("tester"), Some(&same)).await).contains("has signed here before")
    );
    let nobody = registry.rotate_key(&caller(Role::Administrator, None), Some(&new)).await;
    assert!(matches!(nobody, Err(Refusal::Forbidden)));
    let rotated = registry.rotate_key(&console("tester"), Some(&new)).await.unwrap();
    assert!(!rotated.kept && rotated.statement.announcement.before == before.fingerprint());
    // Whoever still runs with the old one, or with none, signs nothing.
    let as_administrator = caller(Role::Administrator, None);
    assert!(told(registry.anchor(&as_administrator).await).contains("the setting must name the key"));
    let without = fresh.registry_of_the_machine().await;
    assert!(
        told(without.anchor(&as_administrator).await)
            .contains("DOSEWARD_SIGNING_KEY_FILE must name its file")
    );
    assert!(registry.keys().await.unwrap().iter().all(|key| !key.signs));
    let registry = without.signing_with(new);
    assert_eq!(anchor(&registry).await.anchor.key, after.fingerprint());
    let finding = held_against(&registry, &kept, None).await;
    assert!(finding.contained && finding.followed_by.len() == 1, "{finding:?}");
}
