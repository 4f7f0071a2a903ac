//! Many who change the same thing after the same reading: one wins, the others are told that it has changed.

use crate::client::{Client, answered};
use crate::fresh::Fresh;
use crate::running::Running;
use crate::works::{Plant, is_sound};
use serde_json::json;

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn of_fifty_who_correct_what_they_all_read_one_wins() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let client = Client::of_role(&registry, "hygienist").await;
    // Two instances over one database.
    let services = [Running::start(&fresh.url).await, Running::start(&fresh.url).await];
    let plant = Plant::found(&client, &services[0].address, 1).await;
    let path = format!("/workers/{}", plant.workers[0]);
    let read = client.get(&services[0].address, &path).await;
    let mut writers = tokio::task::JoinSet::new();
    for n in 0..50 {
        let request = client
            .request("PATCH", &services[n % 2].address, &path)
            .header("if-match", read.header("etag"))
            .json(&json!({"family_name": format!("Name{n}"), "reason": "Misspelt."}));
        writers.spawn(async move { answered(request).await.unwrap() });
    }
    let answers = writers.join_all().await;
    let won: Vec<_> = answers.iter().filter(|answer| answer.status == 200).collect();
    assert_eq!(won.len(), 1);
    let stale = answers.iter().filter(|answer| answer.status == 412 && answer.problem() == "stale");
    assert_eq!(stale.count(), 49, "{answers:?}");
    let now = client.get(&services[1].address, &path).await.json();
    assert_eq!((&now["family_name"], &now["revision"]), (&won[0].json()["family_name"], &json!(2)));
    let without = client.request("PATCH", &services[0].address, &path);
    let without = without.json(&json!({"family_name": "Late", "reason": "Misspelt."}));
    let refused = answered(without).await.unwrap();
    assert_eq!((refused.status, refused.problem().as_str()), (428, "needs_match"));
    is_sound(&registry).await;
}
