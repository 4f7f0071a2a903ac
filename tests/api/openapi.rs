//! The API document: whole, right in structure, and about every endpoint.

use crate::harness::TestApp;
use doseward::api::endpoint::{Access, Schema, endpoints};
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

async fn document() -> Value {
    let app = TestApp::spawn().await;
    let answer = app.as_nobody().get("/api/v1/openapi.json").await;
    assert_eq!((answer.status, answer.header("content-type")), (200, "application/json"));
    answer.json
}

fn operations(document: &Value) -> Vec<(String, String, Map<String, Value>)> {
    let mut all = Vec::new();
    for (path, methods) in document["paths"].as_object().unwrap() {
        for (method, operation) in methods.as_object().unwrap() {
            all.push((path.clone(), method.clone(), operation.as_object().unwrap().clone()));
        }
    }
    all
}

#[tokio::test]
async fn every_endpoint_is_in_the_document_and_nothing_else() {
    let document = document().await;
    let told: BTreeSet<_> =
        operations(&document).into_iter().map(|(path, method, _)| format!("{method} {path}")).collect();
    let there: BTreeSet<_> = endpoints()
        .iter()
        .map(|endpoint| format!("{} {}", endpoint.method.as_str().to_lowercase(), endpoint.path))
        .collect();
    assert_eq!(told, there);
    assert_eq!(endpoints().len(), there.len(), "an endpoint stands in the table twice");
}

// OpenAPI Specification 3.1.0: 4.8.1 (root), 4.8.10 (operation), 4.8.12 (parameter), 4.8.17 (response).
#[tokio::test]
async fn the_document_has_the_structure_that_the_specification_asks_for() {
    let document = document().await;
    assert_eq!(document["openapi"], json!("3.1.0"));
    for field in ["title", "version"] {
        assert!(document["info"][field].is_string());
    }
    let tags: BTreeSet<&str> =
        document["tags"].as_array().unwrap().iter().map(|tag| tag["name"].as_str().unwrap()).collect();
    let mut ids = BTreeSet::new();
    for (path, method, operation) in operations(&document) {
        let at = format!("{method} {path}");
        assert!(ids.insert(operation["operationId"].as_str().unwrap().to_owned()), "{at}: operationId");
        assert!(operation["summary"].as_str().is_some_and(|text| !text.is_empty()), "{at}: summary");
        assert!(tags.contains(operation["tags"][0].as_str().unwrap()), "{at}: tag");
        let parameters = operation["parameters"].as_array().unwrap();
        let in_path: BTreeSet<&str> = parameters
            .iter()
            .filter(|parameter| parameter["in"] == "path")
            .map(|parameter| parameter["name"].as_str().unwrap())
            .collect();
        let named: BTreeSet<&str> =
            path.split('{').skip(1).map(|part| part.split('}').next().unwrap()).collect();
        assert_eq!(in_path, named, "{at}: path parameters");
        for parameter in parameters {
            assert!(parameter["schema"].is_object(), "{at}: schema of a parameter");
            assert!(parameter["in"] != "path" || parameter["required"] == true, "{at}");
        }
        let responses = operation["responses"].as_object().unwrap();
        assert!(responses.keys().any(|status| status.starts_with(['2', '3'])), "{at}: no good answer");
        for status in ["422", "500", "503"] {
            assert!(responses.contains_key(status), "{at}: {status}");
        }
        for (status, response) in responses {
            let response = response.get("$ref").map_or(response, |_| followed(&document, response));
            assert!(response["description"].as_str().is_some_and(|text| !text.is_empty()), "{at} {status}");
        }
        if method == "post" {
            for status in ["400", "409", "413"] {
                assert!(responses.contains_key(status), "{at}: {status}");
            }
        }
    }
}

fn followed<'d>(document: &'d Value, reference: &Value) -> &'d Value {
    let path = reference["$ref"].as_str().unwrap().strip_prefix('#').unwrap();
    document.pointer(path).unwrap_or_else(|| panic!("{path} leads nowhere"))
}

#[tokio::test]
async fn every_property_parameter_and_response_is_described() {
    fn told(value: &Value) -> bool {
        value["description"].as_str().is_some_and(|text| !text.trim().is_empty())
    }
    fn walk(schema: &Value, at: &str, silent: &mut Vec<String>) {
        match schema {
            Value::Object(map) => {
                for (name, inner) in map {
                    let at = format!("{at}/{name}");
                    if ["example", "examples"].contains(&name.as_str()) {
                        continue;
                    }
                    if let ("properties", Value::Object(fields)) = (name.as_str(), inner) {
                        for (field, schema) in fields {
                            if !told(schema) {
                                silent.push(format!("{at}/{field}"));
                            }
                            walk(schema, &format!("{at}/{field}"), silent);
                        }
                    } else {
                        walk(inner, &at, silent);
                    }
                }
            }
            Value::Array(items) => items.iter().for_each(|inner| walk(inner, at, silent)),
            _ => {}
        }
    }
    let document = document().await;
    let mut silent = Vec::new();
    walk(&document["paths"], "", &mut silent);
    walk(&document["components"], "", &mut silent);
    for (path, method, operation) in operations(&document) {
        for parameter in operation["parameters"].as_array().unwrap() {
            if !told(parameter) {
                silent.push(format!("{method} {path} {}", parameter["name"]));
            }
        }
        for (status, response) in operation["responses"].as_object().unwrap() {
            let response = response.get("$ref").map_or(response, |_| followed(&document, response));
            if !told(response)
                || response["headers"].as_object().into_iter().flatten().any(|(_, it)| !told(it))
            {
                silent.push(format!("{method} {path} {status}"));
            }
        }
    }
    assert_eq!(silent, Vec::<String>::new());
}

// RFC 9110, 15.4.5: a 304 carries the ETag that the 200 would have carried.
#[tokio::test]
async fn reading_one_thing_declares_its_tag_and_a_list_its_link() {
    let document = document().await;
    let (mut single, mut lists) = (0, 0);
    for (path, method, operation) in operations(&document) {
        let at = format!("{method} {path}");
        let answers = &operation["responses"];
        if method == "get" && path.ends_with("/{id}") {
            single += 1;
            assert!(answers["200"]["headers"]["ETag"].is_object(), "{at}");
            assert!(answers["304"]["headers"]["ETag"].is_object(), "{at}");
        }
        let answer = &answers["200"]["content"]["application/json"]["schema"];
        if answer["properties"]["next"].is_object() {
            lists += 1;
            assert!(answers["200"]["headers"]["Link"].is_object(), "{at}");
            let parameters = operation["parameters"].as_array().unwrap();
            for name in ["limit", "after"] {
                assert!(parameters.iter().any(|parameter| parameter["name"] == name), "{at} {name}");
            }
        }
    }
    assert!(single > 20 && lists > 20, "{single} {lists}");
}

#[tokio::test]
async fn only_refusals_that_occur_are_in_the_document() {
    let document = document().await;
    let used: BTreeSet<String> = operations(&document)
        .iter()
        .flat_map(|(_, _, operation)| operation["responses"].as_object().unwrap().values())
        .filter_map(|response| response["$ref"].as_str())
        .map(|reference| reference.rsplit('/').next().unwrap().to_owned())
        .collect();
    let there: BTreeSet<String> =
        document["components"]["responses"].as_object().unwrap().keys().cloned().collect();
    assert_eq!(used, there);
}

#[tokio::test]
async fn the_identifier_in_a_path_says_of_what_it_is() {
    let document = document().await;
    let of = |path: &str| document["paths"][path]["get"]["parameters"][0]["description"].clone();
    assert_eq!(of("/api/v1/sites/{id}/groups"), "The identifier of the site.");
    assert_eq!(of("/api/v1/mixture-sets/{id}"), "The identifier of the mixture set.");
    assert_eq!(of("/api/v1/compared-with/{id}"), "The identifier of the choice of limits.");
}

#[tokio::test]
async fn every_reference_leads_somewhere() {
    fn walk(document: &Value, value: &Value) {
        match value {
            Value::Object(map) => {
                if map.get("$ref").is_some_and(Value::is_string) {
                    followed(document, value);
                }
                map.values().for_each(|inner| walk(document, inner));
            }
            Value::Array(items) => items.iter().for_each(|inner| walk(document, inner)),
            _ => {}
        }
    }
    let document = document().await;
    walk(&document, &document);
}

#[test]
fn one_name_stands_for_one_schema() {
    fn look(schema: &Schema, known: &mut BTreeMap<String, Value>, at: &str) {
        if !schema.name.is_empty() {
            let first = known.entry(schema.name.clone()).or_insert_with(|| schema.schema.clone());
            assert!(*first == schema.schema, "{} in {at}", schema.name);
        }
        schema.parts.iter().for_each(|part| look(part, known, at));
    }
    let mut known = BTreeMap::new();
    for endpoint in endpoints() {
        let bodies = endpoint.bodies.iter().map(|body| &body.schema);
        let answers = endpoint.answers.iter().filter_map(|answer| answer.schema.as_ref());
        bodies.chain(answers).for_each(|schema| look(schema, &mut known, &format!("{endpoint:?}")));
    }
}

#[test]
fn every_example_reads_without_a_fault() {
    for endpoint in endpoints() {
        for body in &endpoint.bodies {
            let example = body.example.as_ref().unwrap_or_else(|| panic!("{endpoint:?} has no example"));
            if let Some(reads) = body.reads {
                assert_eq!(reads(example), Ok(()), "{endpoint:?}");
            }
        }
    }
}

#[test]
fn only_health_measures_and_documents_are_open() {
    let open: BTreeSet<&str> = endpoints()
        .iter()
        .filter(|endpoint| endpoint.access == Access::Open)
        .map(|endpoint| endpoint.path.as_str())
        .collect();
    let expected = [
        "/api/docs",
        "/api/docs/",
        "/api/docs/{file}",
        "/api/v1/openapi.json",
        "/health/live",
        "/health/ready",
        "/metrics",
        "/problems/{name}",
    ];
    assert_eq!(open, expected.into());
}

#[tokio::test]
async fn every_flag_is_explained() {
    let document = document().await;
    let flags = document["components"]["schemas"]["Flag"]["oneOf"].as_array().unwrap();
    assert!(flags.iter().any(|flag| flag["const"] == "flow_changed"));
    assert!(flags.iter().all(|flag| flag["description"].as_str().is_some_and(|text| !text.is_empty())));
}

#[tokio::test]
async fn the_reference_needs_no_other_server() {
    let app = TestApp::spawn().await;
    let nobody = app.as_nobody();
    let page = nobody.get("/api/docs/").await;
    assert_eq!((page.status, page.header("content-type")), (200, "text/html"));
    let policy = page.header("content-security-policy");
    assert!(policy.contains("script-src 'self'") && policy.contains("default-src 'none'"), "{policy}");
    assert!(!page.text.contains("http://") && !page.text.contains("https://"), "{}", page.text);
    // Every file the page names is there, with the media type that nosniff asks for.
    let mut named = 0;
    for part in page.text.split(['"', '\'']) {
        let kind = match part.rsplit_once('.') {
            Some((_, "js")) => "text/javascript",
            Some((_, "css")) => "text/css",
            _ => continue,
        };
        let file = nobody.get(&format!("/api/docs/{}", part.trim_start_matches("./"))).await;
        assert_eq!((file.status, file.header("content-type")), (200, kind), "{part}");
        named += 1;
    }
    assert!(named >= 4, "{}", page.text);
    assert!(nobody.get("/api/docs/swagger-initializer.js").await.text.contains("/api/v1/openapi.json"));
    assert_eq!(nobody.get("/api/docs/nothing.js").await.kind(), "unknown");
}

#[tokio::test]
async fn the_kinds_of_problem_can_be_looked_up() {
    let app = TestApp::spawn().await;
    let kind = app.as_nobody().get("/api/v1/nothing").await.json["type"].as_str().unwrap().to_owned();
    let url = format!("{}{kind}", app.address);
    let told: Value = reqwest::get(url).await.unwrap().json().await.unwrap();
    assert_eq!((told["status"].as_u64(), told["type"].as_str()), (Some(404), Some(kind.as_str())));
}
