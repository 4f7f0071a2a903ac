//! Who sees what of the journal (common practice, no source: roles and scopes are the registry's own).

use crate::fresh::Fresh;
use crate::plant::{self, Plant, caller};
use doseward::access::caller::Caller;
use doseward::model::facts::account::Role;
use doseward::model::identifiers::SiteId;
use doseward::registry::journal::{JournalEntryView, JournalPage, JournalQuestion};
use doseward::registry::refusal::Refusal;
use doseward::registry::writer::Registry;
use std::collections::BTreeSet;
use uuid::Uuid;

async fn page(registry: &Registry, caller: &Caller) -> JournalPage {
    registry.journal(caller, &JournalQuestion { limit: 500, ..JournalQuestion::default() }).await.unwrap()
}

async fn made() -> (Fresh, Registry, Plant) {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let plant = plant::history(&registry).await;
    (fresh, registry, plant)
}

fn kinds<'v>(items: impl IntoIterator<Item = &'v JournalEntryView>) -> BTreeSet<&'v str> {
    items.into_iter().map(|item| item.kind.as_str()).collect()
}

#[tokio::test]
async fn a_role_on_one_site_sees_its_entries_and_what_everybody_works_with() {
    let (_fresh, registry, plant) = made().await;
    let page = page(&registry, &caller(Role::Coordinator, Some(&[plant.site]))).await;
    let others = page.items.iter().filter(|item| item.site_id != Some(SiteId(plant.site)));
    assert_eq!(kinds(others), BTreeSet::from(["agent", "site"]));
    let sites: Vec<Uuid> =
        page.items.iter().filter(|i| i.kind == "site").map(|item| item.subject_id).collect();
    assert_eq!(sites, [plant.site], "its own, not the other");
    assert!(page.items.iter().all(|item| item.image.is_some()));
    assert!(page.workers.contains(&plant.worker), "an image names him");
}

#[tokio::test]
async fn medical_entries_are_listed_to_the_physician_alone() {
    let (_fresh, registry, plant) = made().await;
    for role in [Role::Administrator, Role::Hygienist, Role::Corporate] {
        let page = page(&registry, &caller(role, None)).await;
        assert!(!kinds(&page.items).contains("medical_ground"), "{role}");
        let of_it =
            JournalQuestion { subject: Some(plant.medical_ground), limit: 500, ..JournalQuestion::default() };
        assert!(registry.journal(&caller(role, None), &of_it).await.unwrap().items.is_empty(), "{role}");
    }
    let page = page(&registry, &caller(Role::Physician, None)).await;
    let ground = page.items.iter().find(|item| item.subject_id == plant.medical_ground).unwrap();
    assert_eq!(ground.chain, "medical");
    assert!(ground.image.is_some());
}

#[tokio::test]
async fn the_administrator_sees_envelopes_but_no_image_about_workers_or_samples() {
    let (_fresh, registry, plant) = made().await;
    let page = page(&registry, &caller(Role::Administrator, None)).await;
    let shown = kinds(page.items.iter().filter(|item| item.image.is_some()));
    assert_eq!(shown, BTreeSet::from(["agent", "site"]));
    assert!(kinds(&page.items).is_superset(&BTreeSet::from(["worker", "sample", "assignment", "result"])));
    assert!(page.workers.is_empty());
    assert!(page.items.iter().any(|item| item.subject_id == plant.assignment));
}

#[tokio::test]
async fn images_of_accounts_are_the_administrators() {
    let (_fresh, registry, plant) = made().await;
    let body = serde_json::json!({"email": "a@example.org", "roles": [{"role": "corporate"}]});
    plant::record::<doseward::model::facts::account::Account>(
        &registry,
        doseward::registry::place::Under::Nothing,
        None,
        body,
    )
    .await
    .unwrap();
    for (caller, listed, shown) in [
        (caller(Role::Administrator, None), true, true),
        (caller(Role::Hygienist, None), true, false),
        (caller(Role::Hygienist, Some(&[plant.site])), false, false),
    ] {
        let page = page(&registry, &caller).await;
        let account = page.items.iter().find(|item| item.kind == "account");
        assert_eq!((account.is_some(), account.is_some_and(|item| item.image.is_some())), (listed, shown));
    }
}

#[tokio::test]
async fn a_site_out_of_sight_is_unknown() {
    let (_fresh, registry, plant) = made().await;
    let of = |site| JournalQuestion { site: Some(SiteId(site)), limit: 500, ..JournalQuestion::default() };
    let coordinator = caller(Role::Coordinator, Some(&[plant.site]));
    for site in [plant.other_site, Uuid::from_u128(5)] {
        let refused = registry.journal(&coordinator, &of(site)).await;
        assert!(matches!(refused, Err(Refusal::Unknown)));
    }
    let own = registry.journal(&coordinator, &of(plant.site)).await.unwrap();
    assert!(own.items.iter().all(|item| item.site_id == Some(SiteId(plant.site))));
    assert!(!own.items.is_empty());
}

#[tokio::test]
async fn pages_follow_one_another_without_loss_or_repetition() {
    let (_fresh, registry, _plant) = made().await;
    let physician = caller(Role::Physician, None);
    let whole = page(&registry, &physician).await;
    assert_eq!(whole.next, None);
    let mut walked = Vec::new();
    let mut after = None;
    loop {
        let question = JournalQuestion { after, limit: 3, ..JournalQuestion::default() };
        let page = registry.journal(&physician, &question).await.unwrap();
        walked.extend(page.items);
        after = page.next;
        if after.is_none() {
            break;
        }
    }
    assert_eq!(walked, whole.items);
}

#[tokio::test]
async fn entries_of_one_fact_tell_its_story() {
    let (_fresh, registry, plant) = made().await;
    let question =
        JournalQuestion { subject: Some(plant.assignment), limit: 500, ..JournalQuestion::default() };
    let story = registry.journal(&caller(Role::Hygienist, None), &question).await.unwrap();
    let deeds: Vec<&str> = story.items.iter().map(|item| item.deed.as_str()).collect();
    assert_eq!(deeds, ["recorded", "voided", "voiding withdrawn"]);
    let image = story.items[1].image.as_ref().unwrap();
    assert_eq!(image["reason"], "entered by mistake");
    assert_eq!(image["console_user"], "tester");
}
