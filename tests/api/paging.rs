//! Lists of conclusions come by pages like all others.

use crate::harness::TestApp;
use crate::things::{Things, example_of, record_one_of_each};
use serde_json::{Value, json};

/// Lists that are made whole for every answer, each with something in it or not.
fn lists(things: &Things) -> [String; 4] {
    let (group, task) = (things.id("sites/groups"), things.id("sites/tasks"));
    [
        format!("/shift-averages?group_id={group}"),
        format!("/groups/{group}/profiles?working=false"),
        format!("/tasks/{task}/control-verdicts?working=false"),
        format!("/samples/{}/represents?", things.id("samples")),
    ]
}

#[tokio::test]
async fn pages_of_the_workers_a_sample_represents_join_to_the_whole_list() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let things = record_one_of_each(&app, "LYN").await;
    let (site, group) = (things.id("sites"), things.id("sites/groups"));
    let mut worn_by = String::new();
    for number in ["21", "22", "23", "24"] {
        let mut person = example_of("/workers");
        person["employee_number"] = json!(number);
        let worker = hygienist.post("/workers", &person).await.id();
        let mut assignment = example_of("/workers/{id}/assignments");
        assignment["group_id"] = json!(group);
        hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
        worn_by = worker;
    }
    let mut event = example_of("/sites/{id}/sampling-events");
    event["reference"] = json!("LYN-2");
    event["samples"][0]["number"] = json!("LYN-0200");
    event["samples"][0]["worker_id"] = json!(worn_by);
    event["samples"][0]["group_id"] = json!(group);
    let event = hygienist.post(&format!("/sites/{site}/sampling-events"), &event).await;
    assert_eq!(event.status, 201, "{}", event.text);
    let sample = event.json["samples"][0]["id"].as_str().unwrap();

    let path = format!("/samples/{sample}/represents");
    let whole = hygienist.get(&path).await;
    // The worker of the examples and these four are assigned to the group.
    assert_eq!((whole.json["items"].as_array().unwrap().len(), whole.header("link")), (5, ""));
    assert_eq!(whole.json["next"], Value::Null);
    let mut seen: Vec<Value> = Vec::new();
    let mut sizes = Vec::new();
    let mut next = format!("{path}?limit=2");
    loop {
        let page = hygienist.get(&next).await;
        assert_eq!(page.status, 200, "{}", page.text);
        let items = page.json["items"].as_array().unwrap();
        sizes.push(items.len());
        seen.extend(items.iter().cloned());
        let Some(cursor) = page.json["next"].as_str() else {
            assert_eq!(page.header("link"), "");
            break;
        };
        next = format!("{path}?limit=2&after={cursor}");
        assert_eq!(page.header("link"), format!("</api/v1{next}>; rel=\"next\""));
    }
    assert_eq!((sizes, json!(seen)), (vec![2, 2, 1], whole.json["items"].clone()));
}

#[tokio::test]
async fn a_list_of_conclusions_refuses_limits_and_cursors_that_are_none() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let things = record_one_of_each(&app, "LYN").await;
    for path in lists(&things) {
        let page = hygienist.get(&format!("{path}&limit=1")).await;
        assert_eq!(page.status, 200, "{path}: {}", page.text);
        assert!(page.json["items"].as_array().unwrap().len() <= 1, "{path}");
        for wrong in ["limit=0", "limit=501", "after=x", "after=0", "after=01", "after=-1", "after=100000"] {
            let answer = hygienist.get(&format!("{path}&{wrong}")).await;
            let pointer = format!("/{}", wrong.split('=').next().unwrap());
            assert_eq!((answer.status, answer.pointers()), (422, vec![pointer.as_str()]), "{path} {wrong}");
        }
    }
}
