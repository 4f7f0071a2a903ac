//! The API document (OpenAPI 3.1), made from the table of endpoints.

use crate::api::endpoint::{Access, Endpoint, Schema, endpoints, reference};
use crate::api::flags;
use crate::api::problem::{self, KINDS, Kind};
use crate::api::request::{PURPOSE, PURPOSE_MOST};
use axum::http::{Method, StatusCode};
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;

/// Headings of the document, in its order.
const TAGS: &[(&str, &str)] = &[
    ("sites", "Sites, their rule sets, holidays, monitoring options, releases and judgements."),
    ("agents", "Agents, their limits, and what totals and mixtures are compared with."),
    ("groups", "Similar exposure groups and what is recorded of them."),
    ("tasks", "Tasks, controls, and when a control stood on a task."),
    ("workers", "Workers, employments, assignments and days."),
    ("sampling", "Sampling events, samples and direct readings."),
    ("laboratory", "Laboratory reports and results."),
    ("conclusions", "What follows from the facts: averages, profiles, verdicts, histories."),
    ("surveillance", "Duties and what was done about them."),
    ("exports", "Data taken out as files."),
    ("calculations", "The registry's own mathematics on numbers given in the request; nothing is stored."),
    ("record", "The journal: every accepted change, and the proof that nothing was altered."),
    ("accounts", "Accounts, roles and tokens."),
    ("service", "Health, measures and this document."),
];

/// Parts of many schemas that stand there without a word.
const SHARED_PARTS: &[(&str, &str)] =
    &[("upper", "With lower: the most it can be."), ("concentration", "The concentration that is taken.")];

const ABOUT: &str = "\
A shared exposure registry: facts go in (who worked where, what was sampled, when a control ran), conclusions come out.

* Identifiers are UUIDv7. Instants are RFC 3339 with offset, dates `YYYY-MM-DD`; `from` is the first day, `to` the \
first day no longer. Durations are in minutes.
* A quantity is `{\"value\": 2.4, \"unit\": \"ug/m3\"}` with a UCUM unit; below a limit it carries \
`\"comparator\": \"<\"`, overloaded `\">\"`; a range has `lower` and `upper`. Numbers are 0, or from 1e-100 to 1e100 in size.
* Refusals are `application/problem+json`; `errors` lists every fault with its JSON pointer (for a query parameter, \
its name), and nothing of a refused request is stored.
* Lists answer `items` and `next`; ask for the next page with `?after=<next>`, or follow the `Link` header.
* Every `POST` takes an `Idempotency-Key`: the same key and body get the first answer again for 30 days.
* A thing on a site that the account may not see answers 404; what its roles may not do, 403.
* Answers may gain fields; read those you know.";

/// The document.
pub fn document() -> Value {
    let mut paths: Map<String, Value> = Map::new();
    let mut schemas: Map<String, Value> = Map::new();
    schemas.insert("Problem".into(), problem_schema());
    schemas.insert("Flag".into(), flag_schema());
    for endpoint in endpoints() {
        let operation = operation(endpoint, &mut schemas);
        let path = paths.entry(endpoint.path.clone()).or_insert_with(|| json!({}));
        path[endpoint.method.as_str().to_lowercase()] = operation;
    }
    let mut schemas = Value::Object(schemas);
    explain_shared_parts(&mut schemas);
    let tags: Vec<Value> =
        TAGS.iter().map(|(name, description)| json!({"name": name, "description": description})).collect();
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Doseward",
            "version": env!("CARGO_PKG_VERSION"),
            "summary": env!("CARGO_PKG_DESCRIPTION"),
            "description": ABOUT,
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": "/", "description": "This service."}],
        "security": [{"token": []}],
        "tags": tags,
        "paths": paths,
        "components": {
            "schemas": schemas,
            "responses": responses(),
            "securitySchemes": {
                "token": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "A token of an account, from `POST /accounts/{id}/tokens` or the command line.",
                },
            },
        },
    })
}

fn operation(endpoint: &Endpoint, schemas: &mut Map<String, Value>) -> Value {
    let mut operation = Map::new();
    operation.insert("operationId".into(), json!(operation_id(endpoint)));
    operation.insert("tags".into(), json!([endpoint.tag]));
    operation.insert("summary".into(), json!(endpoint.summary));
    let description = describe(endpoint);
    if !description.is_empty() {
        operation.insert("description".into(), json!(description));
    }
    if matches!(endpoint.access, Access::Open | Access::SecretInPath) {
        operation.insert("security".into(), json!([]));
    }
    operation.insert("parameters".into(), parameters(endpoint));
    if !endpoint.bodies.is_empty() {
        let mut content = Map::new();
        for body in &endpoint.bodies {
            let mut kind = json!({"schema": place(&body.schema, schemas)});
            if let Some(example) = &body.example {
                kind["example"] = example.clone();
            }
            content.insert(body.media_type.into(), kind);
        }
        operation
            .insert("requestBody".into(), json!({"required": !endpoint.body_optional, "content": content}));
    }
    operation.insert("responses".into(), answers(endpoint, schemas));
    Value::Object(operation)
}

/// Who may use it belongs to what a reader must know.
fn describe(endpoint: &Endpoint) -> String {
    use crate::access::policy::allows;
    use crate::model::facts::account::Role;
    let who = match endpoint.access {
        Access::Open | Access::SecretInPath => return endpoint.description.to_owned(),
        Access::AnyAccount => "Any account.".to_owned(),
        Access::Needs(action) => {
            let roles: Vec<&str> =
                Role::ALL.iter().filter(|role| allows(**role, action)).map(|role| role.as_str()).collect();
            format!("Roles: {}.", roles.join(", "))
        }
    };
    if endpoint.description.is_empty() { who } else { format!("{}\n\n{who}", endpoint.description) }
}

fn operation_id(endpoint: &Endpoint) -> String {
    let words = endpoint.path.trim_start_matches(crate::api::BASE).replace(['{', '}'], "");
    let words: Vec<&str> = words.split(['/', '-', '.']).filter(|word| !word.is_empty()).collect();
    let mut id = format!("{}_{}", endpoint.method.as_str().to_lowercase(), words.join("_"));
    if endpoint.path.ends_with('/') {
        id.push_str("_index");
    }
    id
}

fn parameters(endpoint: &Endpoint) -> Value {
    let mut parameters = Vec::new();
    for part in endpoint.path.split('{').skip(1) {
        let name = part.split('}').next().unwrap_or_default();
        let schema = if name == "id" {
            json!({"type": "string", "format": "uuid"})
        } else {
            json!({"type": "string"})
        };
        let description = match name {
            "id" => format!("The identifier of the {}.", thing_before(&endpoint.path)),
            other => format!("The {other} that is asked for."),
        };
        parameters.push(json!({
            "name": name, "in": "path", "required": true, "schema": schema, "description": description,
        }));
    }
    for known in &endpoint.query {
        parameters.push(json!({
            "name": known.name, "in": "query", "required": known.required, "schema": known.schema,
            "description": known.description,
        }));
    }
    if endpoint.method == Method::PATCH {
        parameters.push(json!({
            "name": "If-Match", "in": "header", "required": true, "schema": {"type": "string"},
            "description": "The ETag of the thing as it was read; its revision must still be the current one.",
        }));
    }
    if endpoint.writes() {
        parameters.push(json!({
            "name": "Idempotency-Key", "in": "header", "required": false,
            "schema": {"type": "string", "minLength": 1, "maxLength": 255},
            "description": "The same key with the same request gets the first answer again.",
        }));
    }
    if endpoint.leaves_a_line() {
        parameters.push(json!({
            "name": PURPOSE, "in": "header", "required": false,
            "schema": {"type": "string", "minLength": 1, "maxLength": PURPOSE_MOST},
            "description": "What for: kept in the access log if the answer names workers, shown to the physician and to the reader.",
        }));
    }
    if endpoint.tagged {
        parameters.push(json!({
            "name": "If-None-Match", "in": "header", "required": false, "schema": {"type": "string"},
            "description": "Entity tags that the client has; if one of them is right, the answer is 304.",
        }));
    }
    Value::Array(parameters)
}

/// What the identifier in a path is the identifier of, from the name before it.
fn thing_before(path: &str) -> String {
    let before = path.split("/{id}").next().unwrap_or_default();
    let collection = before.rsplit('/').next().unwrap_or_default();
    match collection {
        "compared-with" => "choice of limits".to_owned(),
        "direct-readings" => "series of direct readings".to_owned(),
        _ => {
            let several = collection.replace('-', " ");
            match several.strip_suffix("ies") {
                Some(stem) => format!("{stem}y"),
                None => several.strip_suffix('s').unwrap_or(&several).to_owned(),
            }
        }
    }
}

/// Puts a named schema among the components; gives what refers to it.
fn place(schema: &Schema, schemas: &mut Map<String, Value>) -> Value {
    for part in &schema.parts {
        place(part, schemas);
    }
    if schema.name.is_empty() {
        return schema.schema.clone();
    }
    schemas.entry(schema.name.clone()).or_insert_with(|| schema.schema.clone());
    reference(&schema.name)
}

fn answers(endpoint: &Endpoint, schemas: &mut Map<String, Value>) -> Value {
    let mut answers = Map::new();
    for answer in &endpoint.answers {
        let mut told = json!({"description": answer.description});
        if let Some(schema) = &answer.schema {
            told["content"][answer.media_type] = json!({"schema": place(schema, schemas)});
        }
        let mut headers = Map::new();
        let text = |description: &str| json!({"schema": {"type": "string"}, "description": description});
        if answer.status == StatusCode::CREATED {
            headers.insert("Location".into(), text("Where the thing is."));
        }
        if endpoint.tagged {
            headers.insert("ETag".into(), text("Revision and digest of the body."));
        }
        if endpoint.query.iter().any(|known| known.name == "after") && answer.status == StatusCode::OK {
            headers.insert("Link".into(), text("The next page, if there is one."));
        }
        if !headers.is_empty() {
            told["headers"] = Value::Object(headers);
        }
        answers.insert(answer.status.as_u16().to_string(), told);
    }
    if endpoint.tagged {
        let tag = json!({"schema": {"type": "string"}, "description": "The tag that the client has."});
        answers.insert(
            "304".into(),
            json!({"description": "The client has it already.", "headers": {"ETag": tag}}),
        );
    }
    for status in refusals(endpoint) {
        let name = format!("status_{}", status.as_u16());
        let answer = json!({"$ref": format!("#/components/responses/{name}")});
        answers.entry(status.as_u16().to_string()).or_insert(answer);
    }
    Value::Object(answers)
}

/// The statuses with which an endpoint may refuse.
fn refusals(endpoint: &Endpoint) -> Vec<StatusCode> {
    let mut statuses = vec![problem::UNREADABLE.status];
    if !matches!(endpoint.access, Access::Open | Access::SecretInPath) {
        statuses.push(problem::UNAUTHORISED.status);
    }
    if matches!(endpoint.access, Access::Needs(_)) {
        statuses.push(problem::FORBIDDEN.status);
    }
    if endpoint.path.contains('{') || endpoint.names_things {
        statuses.push(problem::UNKNOWN.status);
    }
    if endpoint.method == Method::PATCH {
        statuses.extend([problem::NEEDS_MATCH.status, problem::STALE.status]);
    }
    if endpoint.writes() {
        statuses.extend([problem::TOO_SLOW.status, problem::CONFLICT.status, problem::TOO_LARGE.status]);
        if !endpoint.bodies.is_empty() {
            statuses.push(problem::MEDIA_TYPE.status);
        }
    }
    statuses.extend(
        [problem::FAULTS, problem::INTERNAL, problem::BUSY, problem::NO_ROOM].map(|kind| kind.status),
    );
    statuses
}

/// Says of the parts that many schemas share what no schema says of itself; what is said already stays.
fn explain_shared_parts(value: &mut Value) {
    let inner = match value {
        Value::Array(items) => items.iter_mut().collect::<Vec<_>>(),
        Value::Object(map) => {
            for (name, description) in SHARED_PARTS {
                if let Some(Value::Object(part)) =
                    map.get_mut("properties").and_then(|properties| properties.get_mut(*name))
                {
                    part.entry("description").or_insert_with(|| json!(description));
                }
            }
            map.values_mut().collect()
        }
        _ => return,
    };
    inner.into_iter().for_each(explain_shared_parts);
}

/// One answer for every status with which some endpoint refuses.
fn responses() -> Value {
    let mut responses = Map::new();
    let used: BTreeSet<StatusCode> = endpoints().iter().flat_map(refusals).collect();
    for kind in KINDS.iter().filter(|kind| used.contains(&kind.status)) {
        let name = format!("status_{}", kind.status.as_u16());
        let line = |kind: &Kind| format!("`{}`: {}. {}", kind.name, kind.title, kind.advice);
        if let Some(earlier) = responses.get_mut(&name) {
            let before = earlier["description"].as_str().unwrap_or_default().to_owned();
            earlier["description"] = json!(format!("{before}\n\n{}", line(kind)));
        } else {
            let content = json!({"application/problem+json": {"schema": reference("Problem")}});
            let mut answer = json!({"description": line(kind), "content": content});
            let header = match kind.status {
                StatusCode::UNAUTHORIZED => Some(("WWW-Authenticate", "How to authenticate.")),
                StatusCode::SERVICE_UNAVAILABLE | StatusCode::INSUFFICIENT_STORAGE => {
                    Some(("Retry-After", "Seconds to wait."))
                }
                _ => None,
            };
            if let Some((name, description)) = header {
                answer["headers"][name] = json!({"schema": {"type": "string"}, "description": description});
            }
            responses.insert(name, answer);
        }
    }
    Value::Object(responses)
}

fn problem_schema() -> Value {
    json!({
        "type": "object",
        "description": "A problem document (RFC 9457).",
        "properties": {
            "type": {"type": "string", "format": "uri-reference", "description": "The kind of problem; never changes."},
            "title": {"type": "string", "description": "The kind of problem in words."},
            "status": {"type": "integer", "description": "The HTTP status."},
            "detail": {"type": "string", "description": "What is wrong this time."},
            "instance": {"type": "string", "description": "The request's id, as in X-Request-Id and in the log."},
            "errors": {
                "type": "array",
                "description": "Every fault in what was sent.",
                "items": {
                    "type": "object",
                    "properties": {
                        "pointer": {
                            "type": "string",
                            "format": "json-pointer",
                            "description": "Where: JSON pointer into the body, or / and the name of a query parameter.",
                        },
                        "detail": {"type": "string", "description": "What is wrong there."},
                    },
                    "required": ["pointer", "detail"],
                },
            },
        },
        "required": ["type", "title", "status", "detail", "instance"],
        "examples": [{
            "type": "/problems/faults", "title": "Faults in what was sent", "status": 422,
            "detail": "one fault in what was sent", "instance": "01900000-0000-7000-8000-000000000001",
            "errors": [{"pointer": "/samples/3/flow_after", "detail": "is required"}],
        }],
    })
}

/// Every word that may stand in `flags`, explained.
fn flag_schema() -> Value {
    let words: Vec<Value> = flags::flags()
        .into_iter()
        .map(|(word, meaning)| json!({"const": word, "description": meaning}))
        .collect();
    json!({"type": "string", "description": "A word in `flags`, with its meaning.", "oneOf": words})
}
