//! One thing of every kind at a site, made from the examples of the API document.

use crate::harness::TestApp;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// One thing that was recorded.
pub(crate) struct Thing {
    /// Where it was recorded, below `/api/v1`.
    pub(crate) path: String,
    /// The last name of that path.
    pub(crate) last: &'static str,
    /// Its identifier.
    pub(crate) id: String,
    /// What was sent.
    pub(crate) sent: Value,
    /// What was answered.
    pub(crate) shown: Value,
}

/// One of each.
pub(crate) struct Things {
    recorded: BTreeMap<String, Thing>,
    /// The sample and the result that came with the event and the report.
    within: BTreeMap<&'static str, String>,
    /// Further things, by the last name of their collection.
    further: Vec<(&'static str, String)>,
}

impl Things {
    /// All of them.
    pub(crate) fn all(&self) -> impl Iterator<Item = &Thing> {
        self.recorded.values()
    }

    /// The identifier of the thing that a collection (`"groups"`, `"groups/agents"`) made.
    pub(crate) fn id(&self, collection: &str) -> &str {
        let thing = self.recorded.get(collection).map(|thing| &thing.id);
        thing.or_else(|| self.within.get(collection)).unwrap_or_else(|| panic!("there is no {collection}"))
    }
}

impl Things {
    /// The same with one more thing of a kind.
    pub(crate) fn with(mut self, kind: &'static str, id: &str) -> Self {
        self.further.push((kind, id.to_owned()));
        self
    }

    /// The addresses of a route with every identifier that fits it; none where only one that exists by itself would do.
    pub(crate) fn addresses(&self, route: &str) -> Vec<String> {
        let Some((before, after)) = route.split_once("{id}") else {
            let first = self.id("workers");
            let query = match route {
                "/api/v1/shift-averages" => format!("?worker_id={first}"),
                _ => String::new(),
            };
            return vec![format!("{route}{query}")];
        };
        let kind = before.trim_matches('/').rsplit('/').next().unwrap();
        let query = if ["/history", "/surveillance"].contains(&after) { "?agent_code=cadmium" } else { "" };
        let of_kind = |name: &&String| *name == kind || name.ends_with(&format!("/{kind}"));
        let mut ids: Vec<&str> = self
            .recorded
            .iter()
            .filter(|(name, _)| of_kind(name))
            .map(|(_, thing)| thing.id.as_str())
            .collect();
        ids.extend(self.within.get(kind).map(String::as_str));
        let further = self.further.iter().filter(|(name, _)| *name == kind);
        ids.extend(further.map(|(_, id)| id.as_str()));
        ids.into_iter().map(|id| format!("{before}{id}{after}{query}")).collect()
    }
}

/// Records one thing of each kind as the hygienist: `(under, last)`, in the order in which they need each other.
const KINDS: &[(&str, &str)] = &[
    ("", "sites"),
    ("", "agents"),
    ("", "mixture-sets"),
    ("", "workers"),
    ("agents", "limits"),
    ("agents", "compared-with"),
    ("", "clauses"),
    ("sites", "limits"),
    ("sites", "clauses"),
    ("sites", "groups"),
    ("sites", "controls"),
    ("sites", "tasks"),
    ("sites", "rule-sets"),
    ("sites", "monitoring-options"),
    ("sites", "holidays"),
    ("sites", "releases"),
    ("sites", "judgements"),
    ("groups", "rule-sets"),
    ("groups", "agents"),
    ("groups", "conditions"),
    ("groups", "changes"),
    ("groups", "joined-eras"),
    ("tasks", "control-periods"),
    ("workers", "employments"),
    ("workers", "earlier-exposures"),
    ("workers", "assignments"),
    ("workers", "worked-days"),
    ("workers", "absences"),
    ("workers", "medical-grounds"),
    ("workers", "record-requests"),
    ("assignments", "respirator-confirmations"),
    ("sites", "sampling-events"),
    ("sites", "lab-reports"),
    ("sites", "direct-readings"),
];

/// Records one thing of each kind at a new site; codes and numbers carry the site's code.
pub(crate) async fn record_one_of_each(app: &TestApp, code: &str) -> Things {
    let mut things: BTreeMap<String, Thing> = BTreeMap::new();
    for (under, last) in KINDS {
        let (path, template, name) = if under.is_empty() {
            (format!("/{last}"), format!("/{last}"), (*last).to_owned())
        } else {
            let parent = &things[parent_of(under)].id;
            (
                format!("/{under}/{parent}/{last}"),
                format!("/{under}/{{id}}/{last}"),
                format!("{under}/{last}"),
            )
        };
        let mut sent = example_of(&template);
        fill_in(&mut sent, &things, code);
        if *last == "assignments" {
            // So that one can be confirmed for it.
            sent["respirator_control_id"] = json!(respirator(app, &things).await);
        }
        let answer = app.as_role(recorder(last)).post(&path, &sent).await;
        assert_eq!(answer.status, 201, "{path}: {}", answer.text);
        let id = answer.id();
        things.insert(name, Thing { path, last, id, sent, shown: answer.json });
    }
    let id = |value: &Value| value["id"].as_str().unwrap().to_owned();
    let sample = &things["sites/lab-reports"].shown["samples"][0];
    let held = hold_a_row(app, &things, code).await;
    let report = app.as_role("hygienist").get(&format!("/lab-reports/{}", id(&held))).await;
    let original = report.json["from_file"]["original_id"].as_str().unwrap().to_owned();
    let within = BTreeMap::from([
        ("originals", original),
        ("samples", id(sample)),
        ("results", id(&sample["results"][0])),
        ("held-rows", id(&held["held"][0])),
    ]);
    Things { recorded: things, within, further: Vec::new() }
}

/// A respirator at the site.
async fn respirator(app: &TestApp, things: &BTreeMap<String, Thing>) -> String {
    let control =
        json!({"code": "R-1", "title": "Hood", "kind": "respirator", "assigned_protection_factor": 25});
    app.as_role("hygienist").post(&format!("/sites/{}/controls", things["sites"].id), &control).await.id()
}

/// A report as a file, with a row of a sample that nobody knows.
async fn hold_a_row(app: &TestApp, things: &BTreeMap<String, Thing>, code: &str) -> Value {
    let path = format!(
        "/sites/{}/lab-reports?unmatched=hold&report_number=L-held&laboratory=Hollow%20Lane&received_on=2026-02-27",
        things["sites"].id
    );
    let file =
        format!("sample_number,agent,value,unit,reporting_limit\n{code}-unknown,chromium_vi,2.40,ug,0.02\n");
    let answer = app.as_role("hygienist").post_text(&path, "text/csv", file).await;
    assert_eq!(answer.status, 201, "{}", answer.text);
    answer.json
}

/// Who records a kind of thing, and reads it.
pub(crate) fn recorder(last: &str) -> &'static str {
    if last == "medical-grounds" { "physician" } else { "hygienist" }
}

fn parent_of(under: &str) -> &str {
    match under {
        "assignments" => "workers/assignments",
        "groups" => "sites/groups",
        "tasks" => "sites/tasks",
        top => top,
    }
}

/// Puts identifiers of things that exist in place of the example's, and the site's code into natural keys.
fn fill_in(sent: &mut Value, things: &BTreeMap<String, Thing>, code: &str) {
    for (field, from) in [("group_id", "sites/groups"), ("control_id", "sites/controls")] {
        if sent.get(field).is_some() {
            sent[field] = json!(things[from].id);
        }
    }
    if sent.get("group_ids").is_some() {
        sent["group_ids"] = json!([things["sites/groups"].id]);
    }
    if sent.get("limit_ids").is_some() {
        sent["limit_ids"] = json!([things["agents/limits"].id]);
    }
    for list in ["samples", "results"] {
        for item in sent.get_mut(list).and_then(Value::as_array_mut).into_iter().flatten() {
            let number = if list == "samples" { "number" } else { "sample_number" };
            item[number] = json!(format!("{code}-0141"));
            if list == "samples" {
                item["worker_id"] = json!(things["workers"].id);
            }
        }
    }
    if sent.get("authority").is_some() && sent.get("code").is_some() {
        sent["code"] = json!(format!("{code}-{}", sent["code"].as_str().unwrap()));
    }
    if sent.get("hired_on").is_some() {
        sent["employee_number"] = json!(format!("{code}-1"));
    } else if sent.get("employee_number").is_some() {
        sent["employee_number"] = json!(format!("{code}-2"));
    }
    if sent.get("time_zone").is_some() {
        sent["code"] = json!(code);
    } else if sent.get("state").is_some() {
        sent["code"] = json!(format!("dust_{}", code.to_lowercase()));
    }
}

/// The example of an endpoint's body.
pub(crate) fn example_of(template: &str) -> Value {
    let whole = format!("/api/v1{template}");
    let mut found = doseward::api::endpoint::endpoints().iter().filter(|known| known.path == whole);
    let endpoint = found.find(|known| !known.bodies.is_empty()).unwrap_or_else(|| panic!("no {whole}"));
    endpoint.bodies[0].example.clone().unwrap()
}
