//! Who may do what: one table of every route × role, and the proof that it is about every route.

use crate::harness::{Answer, ROLES, TestApp};
use crate::things::{Things, record_one_of_each};
use doseward::api::endpoint::{Access, endpoints};
use serde_json::json;
use std::collections::BTreeSet;

/// Expected statuses of a role's request for a thing that exists, in the order of [`ROLES`]: administrator, hygienist,
/// coordinator, physician, corporate.
type Expected = [u16; 5];

/// Everybody reads it.
const ALL_READ: Expected = [200, 200, 200, 200, 200];
/// Everybody but the administrator reads it.
const FACT_READ: Expected = [403, 200, 200, 200, 200];
/// A `POST` of `{}` is refused for its faults (422) where the role may do it, and with 403 where it may not.
const HYGIENIST: Expected = [403, 422, 403, 403, 403];
const ON_SITE: Expected = [403, 422, 422, 403, 403];
/// The physician alone.
const PHYSICIAN: Expected = [403, 403, 403, 422, 403];
const PHYSICIAN_READ: Expected = [403, 403, 403, 200, 403];
const SITES: Expected = [422, 422, 403, 403, 403];
const ADMIN: Expected = [422, 403, 403, 403, 403];
const ADMIN_READ: Expected = [200, 403, 403, 403, 403];
/// Whoever manages records or looks after all sites.
const RETENTION_READ: Expected = [200, 200, 403, 403, 200];
/// Whoever looks after exposure on all sites.
const BUNDLE: Expected = [403, 200, 403, 403, 200];
/// Whoever has an account may calculate; a body without the numbers is a fault.
const CALCULATES: Expected = [422, 422, 422, 422, 422];
/// Nobody needs credentials.
const OPEN: Expected = [200, 200, 200, 200, 200];

/// Method and path, and what each role gets. A new route without a row here fails the second test.
const TABLE: &[(&str, &str, Expected)] = &[
    ("GET", "/api/v1/sites", ALL_READ),
    ("POST", "/api/v1/sites", SITES),
    ("GET", "/api/v1/sites/{id}", ALL_READ),
    ("PATCH", "/api/v1/sites/{id}", SITES),
    ("POST", "/api/v1/sites/{id}/voiding", SITES),
    ("POST", "/api/v1/sites/{id}/voiding-withdrawal", SITES),
    ("GET", "/api/v1/sites/{id}/rule-sets", ALL_READ),
    ("POST", "/api/v1/sites/{id}/rule-sets", HYGIENIST),
    ("GET", "/api/v1/groups/{id}/rule-sets", ALL_READ),
    ("POST", "/api/v1/groups/{id}/rule-sets", HYGIENIST),
    ("GET", "/api/v1/rule-sets/{id}", ALL_READ),
    ("PATCH", "/api/v1/rule-sets/{id}", HYGIENIST),
    ("POST", "/api/v1/rule-sets/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/rule-sets/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/monitoring-options", ALL_READ),
    ("POST", "/api/v1/sites/{id}/monitoring-options", HYGIENIST),
    ("GET", "/api/v1/monitoring-options/{id}", ALL_READ),
    ("PATCH", "/api/v1/monitoring-options/{id}", HYGIENIST),
    ("POST", "/api/v1/monitoring-options/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/monitoring-options/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/holidays", ALL_READ),
    ("POST", "/api/v1/sites/{id}/holidays", HYGIENIST),
    ("GET", "/api/v1/holidays/{id}", ALL_READ),
    ("PATCH", "/api/v1/holidays/{id}", HYGIENIST),
    ("POST", "/api/v1/holidays/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/holidays/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/releases", FACT_READ),
    ("POST", "/api/v1/sites/{id}/releases", ON_SITE),
    ("GET", "/api/v1/releases/{id}", FACT_READ),
    ("PATCH", "/api/v1/releases/{id}", HYGIENIST),
    ("POST", "/api/v1/releases/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/releases/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/judgements", FACT_READ),
    ("POST", "/api/v1/sites/{id}/judgements", HYGIENIST),
    ("GET", "/api/v1/judgements/{id}", FACT_READ),
    ("PATCH", "/api/v1/judgements/{id}", HYGIENIST),
    ("POST", "/api/v1/judgements/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/judgements/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/agents", ALL_READ),
    ("POST", "/api/v1/agents", HYGIENIST),
    ("GET", "/api/v1/agents/{id}", ALL_READ),
    ("PATCH", "/api/v1/agents/{id}", HYGIENIST),
    ("POST", "/api/v1/agents/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/agents/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/groups/{id}/agents", FACT_READ),
    ("POST", "/api/v1/groups/{id}/agents", HYGIENIST),
    ("GET", "/api/v1/agents/{id}/limits", ALL_READ),
    ("POST", "/api/v1/agents/{id}/limits", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/limits", ALL_READ),
    ("POST", "/api/v1/sites/{id}/limits", HYGIENIST),
    ("GET", "/api/v1/limits/{id}", ALL_READ),
    ("PATCH", "/api/v1/limits/{id}", HYGIENIST),
    ("POST", "/api/v1/limits/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/limits/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/clauses", ALL_READ),
    ("POST", "/api/v1/clauses", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/clauses", ALL_READ),
    ("POST", "/api/v1/sites/{id}/clauses", HYGIENIST),
    ("GET", "/api/v1/clauses/{id}", ALL_READ),
    ("PATCH", "/api/v1/clauses/{id}", HYGIENIST),
    ("POST", "/api/v1/clauses/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/clauses/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/agents/{id}/compared-with", ALL_READ),
    ("POST", "/api/v1/agents/{id}/compared-with", HYGIENIST),
    ("GET", "/api/v1/compared-with/{id}", ALL_READ),
    ("PATCH", "/api/v1/compared-with/{id}", HYGIENIST),
    ("POST", "/api/v1/compared-with/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/compared-with/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/mixture-sets", ALL_READ),
    ("POST", "/api/v1/mixture-sets", HYGIENIST),
    ("GET", "/api/v1/mixture-sets/{id}", ALL_READ),
    ("PATCH", "/api/v1/mixture-sets/{id}", HYGIENIST),
    ("POST", "/api/v1/mixture-sets/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/mixture-sets/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/groups", FACT_READ),
    ("POST", "/api/v1/sites/{id}/groups", HYGIENIST),
    ("GET", "/api/v1/groups/{id}", FACT_READ),
    ("PATCH", "/api/v1/groups/{id}", HYGIENIST),
    ("POST", "/api/v1/groups/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/groups/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/groups/{id}/conditions", FACT_READ),
    ("POST", "/api/v1/groups/{id}/conditions", HYGIENIST),
    ("GET", "/api/v1/conditions/{id}", FACT_READ),
    ("PATCH", "/api/v1/conditions/{id}", HYGIENIST),
    ("POST", "/api/v1/conditions/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/conditions/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/groups/{id}/changes", FACT_READ),
    ("POST", "/api/v1/groups/{id}/changes", HYGIENIST),
    ("GET", "/api/v1/changes/{id}", FACT_READ),
    ("PATCH", "/api/v1/changes/{id}", HYGIENIST),
    ("POST", "/api/v1/changes/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/changes/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/groups/{id}/joined-eras", FACT_READ),
    ("POST", "/api/v1/groups/{id}/joined-eras", HYGIENIST),
    ("GET", "/api/v1/joined-eras/{id}", FACT_READ),
    ("PATCH", "/api/v1/joined-eras/{id}", HYGIENIST),
    ("POST", "/api/v1/joined-eras/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/joined-eras/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/tasks", FACT_READ),
    ("POST", "/api/v1/sites/{id}/tasks", HYGIENIST),
    ("GET", "/api/v1/tasks/{id}", FACT_READ),
    ("PATCH", "/api/v1/tasks/{id}", HYGIENIST),
    ("POST", "/api/v1/tasks/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/tasks/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/controls", FACT_READ),
    ("POST", "/api/v1/sites/{id}/controls", HYGIENIST),
    ("GET", "/api/v1/controls/{id}", FACT_READ),
    ("PATCH", "/api/v1/controls/{id}", HYGIENIST),
    ("POST", "/api/v1/controls/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/controls/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/tasks/{id}/control-periods", FACT_READ),
    ("POST", "/api/v1/tasks/{id}/control-periods", HYGIENIST),
    ("GET", "/api/v1/control-periods/{id}", FACT_READ),
    ("PATCH", "/api/v1/control-periods/{id}", HYGIENIST),
    ("POST", "/api/v1/control-periods/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/control-periods/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/workers", FACT_READ),
    ("POST", "/api/v1/workers", ON_SITE),
    ("POST", "/api/v1/workers/search", [403, 422, 422, 422, 422]),
    ("GET", "/api/v1/workers/{id}", FACT_READ),
    ("PATCH", "/api/v1/workers/{id}", HYGIENIST),
    ("POST", "/api/v1/workers/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/workers/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/workers/{id}/employments", FACT_READ),
    ("POST", "/api/v1/workers/{id}/employments", ON_SITE),
    ("GET", "/api/v1/employments/{id}", FACT_READ),
    ("PATCH", "/api/v1/employments/{id}", HYGIENIST),
    ("POST", "/api/v1/employments/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/employments/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/workers/{id}/earlier-exposures", FACT_READ),
    ("POST", "/api/v1/workers/{id}/earlier-exposures", ON_SITE),
    ("GET", "/api/v1/earlier-exposures/{id}", FACT_READ),
    ("PATCH", "/api/v1/earlier-exposures/{id}", HYGIENIST),
    ("POST", "/api/v1/earlier-exposures/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/earlier-exposures/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/workers/{id}/assignments", FACT_READ),
    ("POST", "/api/v1/workers/{id}/assignments", ON_SITE),
    ("GET", "/api/v1/assignments/{id}", FACT_READ),
    ("PATCH", "/api/v1/assignments/{id}", HYGIENIST),
    ("POST", "/api/v1/assignments/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/assignments/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/workers/{id}/worked-days", FACT_READ),
    ("POST", "/api/v1/workers/{id}/worked-days", ON_SITE),
    ("GET", "/api/v1/worked-days/{id}", FACT_READ),
    ("PATCH", "/api/v1/worked-days/{id}", HYGIENIST),
    ("POST", "/api/v1/worked-days/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/worked-days/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/workers/{id}/absences", FACT_READ),
    ("POST", "/api/v1/workers/{id}/absences", ON_SITE),
    ("GET", "/api/v1/absences/{id}", FACT_READ),
    ("PATCH", "/api/v1/absences/{id}", HYGIENIST),
    ("POST", "/api/v1/absences/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/absences/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/assignments/{id}/respirator-confirmations", FACT_READ),
    ("POST", "/api/v1/assignments/{id}/respirator-confirmations", HYGIENIST),
    ("GET", "/api/v1/respirator-confirmations/{id}", FACT_READ),
    ("PATCH", "/api/v1/respirator-confirmations/{id}", HYGIENIST),
    ("POST", "/api/v1/respirator-confirmations/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/respirator-confirmations/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/workers/{id}/medical-grounds", PHYSICIAN_READ),
    ("POST", "/api/v1/workers/{id}/medical-grounds", PHYSICIAN),
    ("GET", "/api/v1/medical-grounds/{id}", PHYSICIAN_READ),
    ("PATCH", "/api/v1/medical-grounds/{id}", PHYSICIAN),
    ("POST", "/api/v1/medical-grounds/{id}/voiding", PHYSICIAN),
    ("POST", "/api/v1/medical-grounds/{id}/voiding-withdrawal", PHYSICIAN),
    ("GET", "/api/v1/workers/{id}/record-requests", FACT_READ),
    ("POST", "/api/v1/workers/{id}/record-requests", ON_SITE),
    ("GET", "/api/v1/record-requests/{id}", FACT_READ),
    ("PATCH", "/api/v1/record-requests/{id}", HYGIENIST),
    ("GET", "/api/v1/record-requests/{id}/package", FACT_READ),
    ("GET", "/api/v1/record-requests/{id}/package.html", FACT_READ),
    ("POST", "/api/v1/record-requests/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/record-requests/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/sampling-events", FACT_READ),
    ("POST", "/api/v1/sites/{id}/sampling-events", ON_SITE),
    ("GET", "/api/v1/sampling-events/{id}", FACT_READ),
    ("PATCH", "/api/v1/sampling-events/{id}", HYGIENIST),
    ("POST", "/api/v1/sampling-events/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/sampling-events/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sampling-events/{id}/letters", FACT_READ),
    ("POST", "/api/v1/sampling-events/{id}/letters", ON_SITE),
    // There is no letter with this identifier.
    ("GET", "/api/v1/letters/{id}", [403, 404, 404, 404, 404]),
    ("GET", "/api/v1/letters/{id}/paper.html", [403, 404, 404, 404, 404]),
    ("GET", "/api/v1/sampling-events/{id}/samples", FACT_READ),
    ("POST", "/api/v1/sampling-events/{id}/samples", ON_SITE),
    ("GET", "/api/v1/samples/{id}", FACT_READ),
    ("PATCH", "/api/v1/samples/{id}", HYGIENIST),
    ("GET", "/api/v1/samples/{id}/represents", FACT_READ),
    // The reason of an acceptance is optional: an empty body accepts.
    ("POST", "/api/v1/samples/{id}/acceptance", [403, 201, 403, 403, 403]),
    ("POST", "/api/v1/samples/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/samples/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/bundle.tar", BUNDLE),
    ("GET", "/api/v1/workers/{id}/bundle.tar", BUNDLE),
    ("GET", "/api/v1/sites/{id}/hand-overs", ALL_READ),
    ("POST", "/api/v1/sites/{id}/hand-overs", SITES),
    ("POST", "/api/v1/sites/{id}/hand-overs/withdrawal", SITES),
    ("GET", "/api/v1/sites/{id}/originals", FACT_READ),
    ("GET", "/api/v1/originals/{id}", FACT_READ),
    ("GET", "/api/v1/originals/{id}/file", FACT_READ),
    ("GET", "/api/v1/sites/{id}/lab-reports", FACT_READ),
    ("POST", "/api/v1/sites/{id}/lab-reports", ON_SITE),
    ("GET", "/api/v1/lab-reports/{id}", FACT_READ),
    ("PATCH", "/api/v1/lab-reports/{id}", HYGIENIST),
    ("POST", "/api/v1/lab-reports/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/lab-reports/{id}/voiding-withdrawal", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/held-rows", FACT_READ),
    ("GET", "/api/v1/held-rows/{id}", FACT_READ),
    ("POST", "/api/v1/held-rows/{id}/match", ON_SITE),
    ("POST", "/api/v1/held-rows/{id}/dismissal", HYGIENIST),
    ("GET", "/api/v1/results/{id}", FACT_READ),
    ("PATCH", "/api/v1/results/{id}", HYGIENIST),
    ("POST", "/api/v1/results/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/results/{id}/voiding-withdrawal", HYGIENIST),
    ("POST", "/api/v1/results/{id}/standing-choice", HYGIENIST),
    ("GET", "/api/v1/sites/{id}/direct-readings", FACT_READ),
    ("POST", "/api/v1/sites/{id}/direct-readings", ON_SITE),
    ("GET", "/api/v1/direct-readings/{id}", FACT_READ),
    ("PATCH", "/api/v1/direct-readings/{id}", HYGIENIST),
    ("POST", "/api/v1/direct-readings/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/direct-readings/{id}/voiding-withdrawal", HYGIENIST),
    // Neither a worker nor a group is named.
    ("GET", "/api/v1/shift-averages", [403, 422, 422, 422, 422]),
    ("GET", "/api/v1/groups/{id}/profiles", FACT_READ),
    ("GET", "/api/v1/groups/{id}/standing-moves", FACT_READ),
    ("GET", "/api/v1/tasks/{id}/control-verdicts", FACT_READ),
    ("GET", "/api/v1/workers/{id}/history", FACT_READ),
    ("GET", "/api/v1/workers/{id}/surveillance", FACT_READ),
    ("GET", "/api/v1/early-warnings", FACT_READ),
    ("GET", "/api/v1/workers/{id}/examiner-packet", FACT_READ),
    ("GET", "/api/v1/workers/{id}/examiner-packet.html", FACT_READ),
    ("GET", "/api/v1/duties", FACT_READ),
    // There is no duty with this identifier.
    ("POST", "/api/v1/duties/{id}/actions", [403, 404, 404, 404, 403]),
    // Nor an action on one.
    ("GET", "/api/v1/actions/{id}", [403, 404, 404, 404, 403]),
    ("PATCH", "/api/v1/actions/{id}", [403, 404, 404, 404, 403]),
    ("GET", "/api/v1/overview", FACT_READ),
    ("POST", "/api/v1/limit-changes/preview", [403, 422, 422, 422, 422]),
    ("GET", "/api/v1/workers/{id}/aliases", FACT_READ),
    ("POST", "/api/v1/workers/{id}/aliases", HYGIENIST),
    ("GET", "/api/v1/aliases/{id}", FACT_READ),
    ("PATCH", "/api/v1/aliases/{id}", HYGIENIST),
    ("POST", "/api/v1/aliases/{id}/voiding", HYGIENIST),
    ("POST", "/api/v1/aliases/{id}/voiding-withdrawal", HYGIENIST),
    ("POST", "/api/v1/aliases/{id}/closing", HYGIENIST),
    ("GET", "/api/v1/exports/histories.csv", FACT_READ),
    ("GET", "/api/v1/exports/histories.json", FACT_READ),
    ("GET", "/api/v1/exports/journal.csv", FACT_READ),
    ("GET", "/api/v1/exports/journal.json", FACT_READ),
    ("GET", "/api/v1/exports/samples.csv", FACT_READ),
    ("GET", "/api/v1/exports/surveillance.csv", FACT_READ),
    ("GET", "/api/v1/exports/duties.csv", FACT_READ),
    ("GET", "/api/v1/exports/samples.json", FACT_READ),
    ("GET", "/api/v1/exports/surveillance.json", FACT_READ),
    ("GET", "/api/v1/exports/duties.json", FACT_READ),
    ("GET", "/api/v1/exports/surveillance.fhir.json", FACT_READ),
    // The secret in the path is none.
    ("GET", "/api/v1/calendars/{token}/due-dates.ics", [404, 404, 404, 404, 404]),
    ("GET", "/api/v1/sampling-events/{id}/retention", FACT_READ),
    ("GET", "/api/v1/workers/{id}/retention", RETENTION_READ),
    ("GET", "/api/v1/legal-holds", RETENTION_READ),
    ("POST", "/api/v1/legal-holds", SITES),
    // There is no hold and no disposal with this identifier.
    ("GET", "/api/v1/legal-holds/{id}", [404, 404, 403, 403, 404]),
    ("POST", "/api/v1/legal-holds/{id}/lifting", SITES),
    ("GET", "/api/v1/disposals", RETENTION_READ),
    ("POST", "/api/v1/disposals", SITES),
    ("GET", "/api/v1/disposals/{id}", [404, 404, 403, 403, 404]),
    ("POST", "/api/v1/disposals/{id}/carrying-out", SITES),
    ("POST", "/api/v1/disposals/{id}/rejection", SITES),
    ("GET", "/api/v1/journal", ALL_READ),
    ("POST", "/api/v1/journal/verification", [200, 200, 403, 403, 200]),
    ("GET", "/api/v1/anchor", ALL_READ),
    ("GET", "/api/v1/signing-key", ALL_READ),
    ("GET", "/api/v1/signing-key/announcements", ALL_READ),
    ("GET", "/api/v1/signing-key.pem", ALL_READ),
    ("GET", "/api/v1/access-log", [200, 403, 403, 403, 200]),
    ("GET", "/api/v1/workers/{id}/access-log", [403, 200, 403, 200, 200]),
    ("GET", "/api/v1/workers/{id}/access-log.html", [403, 200, 403, 200, 200]),
    ("GET", "/api/v1/accounts", ADMIN_READ),
    ("POST", "/api/v1/accounts", ADMIN),
    ("GET", "/api/v1/accounts/{id}", ADMIN_READ),
    ("PATCH", "/api/v1/accounts/{id}", ADMIN),
    ("POST", "/api/v1/accounts/{id}/voiding", ADMIN),
    ("POST", "/api/v1/accounts/{id}/voiding-withdrawal", ADMIN),
    ("GET", "/api/v1/accounts/{id}/tokens", ADMIN_READ),
    ("POST", "/api/v1/accounts/{id}/tokens", ADMIN),
    ("GET", "/api/v1/tokens/{id}", ADMIN_READ),
    ("POST", "/api/v1/tokens/{id}/revocation", ADMIN),
    ("POST", "/api/v1/calculations/air-volume", CALCULATES),
    ("POST", "/api/v1/calculations/concentration", CALCULATES),
    ("POST", "/api/v1/calculations/unit-conversion", CALCULATES),
    ("POST", "/api/v1/calculations/shift-average", CALCULATES),
    ("POST", "/api/v1/calculations/severity", CALCULATES),
    ("POST", "/api/v1/calculations/mixture", CALCULATES),
    ("POST", "/api/v1/calculations/extended-shift", CALCULATES),
    ("POST", "/api/v1/calculations/group-profile", CALCULATES),
    ("POST", "/api/v1/calculations/control-effect", CALCULATES),
    ("POST", "/api/v1/calculations/removal-efficiency", CALCULATES),
    ("POST", "/api/v1/calculations/air-clearing", CALCULATES),
    ("POST", "/api/v1/calculations/noise-dose", CALCULATES),
    ("POST", "/api/v1/calculations/cumulative-exposure", CALCULATES),
    ("POST", "/api/v1/calculations/sample-plan", CALCULATES),
    ("POST", "/api/v1/calculations/surveillance", CALCULATES),
    ("GET", "/api/v1/openapi.json", OPEN),
    ("GET", "/api/docs", OPEN),
    ("GET", "/api/docs/", OPEN),
    ("GET", "/api/docs/{file}", OPEN),
    ("GET", "/problems/{name}", OPEN),
    ("GET", "/health/live", OPEN),
    ("GET", "/health/ready", OPEN),
    ("GET", "/metrics", OPEN),
];

/// Parts of addresses that belong to no site: whoever may read them at all reads them everywhere.
const OF_NO_SITE: &[&str] =
    &["agents", "limits", "compared-with", "mixture-sets", "accounts", "tokens", "legal-holds", "disposals"];

#[test]
fn every_route_has_its_row() {
    let rows: BTreeSet<String> = TABLE.iter().map(|(method, path, _)| format!("{method} {path}")).collect();
    let routes: BTreeSet<String> =
        endpoints().iter().map(|endpoint| format!("{} {}", endpoint.method, endpoint.path)).collect();
    let missing: Vec<_> = routes.difference(&rows).collect();
    let gone: Vec<_> = rows.difference(&routes).collect();
    assert!(missing.is_empty() && gone.is_empty(), "without a row: {missing:#?}\nwithout a route: {gone:#?}");
    assert_eq!(rows.len(), TABLE.len(), "a row stands twice");
}

/// The path of a thing that exists.
async fn filled_in(app: &TestApp, things: &Things, path: &str) -> String {
    let path =
        path.replace("{file}", "swagger-ui.css").replace("{name}", "faults").replace("{token}", "dw1_none");
    let Some((before, after)) = path.split_once("{id}") else { return path };
    let kind = before.trim_matches('/').rsplit('/').next().unwrap();
    let administrator = app.as_role("administrator");
    let first = async |path: &str| administrator.get(path).await.ids()[0].to_owned();
    let id = match kind {
        "accounts" => first("/accounts").await,
        "tokens" => {
            let account = first("/accounts").await;
            first(&format!("/accounts/{account}/tokens")).await
        }
        "aliases" => alias(app, things.id("workers")).await,
        "duties" | "actions" | "letters" | "legal-holds" | "disposals" => {
            "01900000-0000-7000-8000-0000000000aa".to_owned()
        }
        "agents" | "mixture-sets" | "sites" | "workers" | "samples" | "results" | "held-rows"
        | "originals" => things.id(kind).to_owned(),
        "respirator-confirmations" => things.id("assignments/respirator-confirmations").to_owned(),
        "limits" | "compared-with" => things.id(&format!("agents/{kind}")).to_owned(),
        "conditions" | "changes" | "joined-eras" => things.id(&format!("groups/{kind}")).to_owned(),
        "control-periods" => things.id("tasks/control-periods").to_owned(),
        "employments" | "earlier-exposures" | "assignments" | "worked-days" | "absences"
        | "medical-grounds" | "record-requests" => things.id(&format!("workers/{kind}")).to_owned(),
        _ => things.id(&format!("sites/{kind}")).to_owned(),
    };
    let query = if ["/history", "/surveillance"].contains(&after) || after.starts_with("/examiner-packet") {
        "?agent_code=lead"
    } else {
        ""
    };
    format!("{before}{id}{after}{query}")
}

/// Another entry of a worker.
async fn alias(app: &TestApp, worker: &str) -> String {
    let hygienist = app.as_role("hygienist");
    let known = hygienist.get(&format!("/workers/{worker}")).await.json["also_known_as"][0].clone();
    if let Some(known) = known.as_str() {
        return hygienist.get(&format!("/workers/{known}/aliases")).await.ids()[0].to_owned();
    }
    let person = json!({"employee_number": "9", "given_name": "A", "family_name": "B", "employer": "Lynhead Works",
        "hired_on": "2026-01-05"});
    let other = hygienist.post("/workers", &person).await.id();
    let body = json!({"of_worker_id": worker, "reason": "Entered twice."});
    hygienist.post(&format!("/workers/{other}/aliases"), &body).await.id()
}

#[tokio::test]
async fn every_role_gets_what_the_table_says() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let mut wrong = Vec::new();
    for (method, template, expected) in TABLE {
        let path = filled_in(&app, &things, template).await;
        for (role, expected) in ROLES.iter().zip(expected) {
            let mut request = app.as_role(role).request(method, &path);
            if *method != "GET" {
                request = request.header("if-match", "*").json(&json!({}));
            }
            let answer = Answer::of(request).await;
            if answer.status != *expected {
                wrong.push(format!("{role} {method} {template}: {} for {expected}", answer.status));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[tokio::test]
async fn without_credentials_only_open_routes_answer() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    for endpoint in endpoints() {
        let path = filled_in(&app, &things, &endpoint.path).await;
        let answer = Answer::of(app.as_nobody().request(endpoint.method.as_str(), &path)).await;
        let expected = match endpoint.access {
            Access::Open => 200,
            Access::SecretInPath => 404,
            Access::AnyAccount | Access::Needs(_) => 401,
        };
        assert_eq!(answer.status, expected, "{endpoint:?}");
    }
}

#[tokio::test]
async fn another_sites_thing_is_not_there() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let elsewhere = app.site("BRK").await;
    for role in ["hygienist", "coordinator", "physician", "corporate"] {
        app.add_account_on(&format!("{role}_elsewhere"), role, &[&elsewhere]).await;
    }
    let mut wrong = Vec::new();
    for (method, template, expected) in TABLE.iter().filter(|(_, path, _)| path.contains("{id}")) {
        let kind = template.trim_start_matches("/api/v1/").split('/').next().unwrap();
        if OF_NO_SITE.contains(&kind) {
            continue;
        }
        let path = filled_in(&app, &things, template).await;
        for (role, at_home) in ROLES.iter().zip(expected).skip(1) {
            let mut request = app.as_role(&format!("{role}_elsewhere")).request(method, &path);
            if *method != "GET" {
                request = request.header("if-match", "*").json(&json!({"reason": "a test"}));
            }
            let status = Answer::of(request).await.status;
            let needs_all_sites = template.starts_with("/api/v1/sites/{id}/voiding")
                || template.contains("/aliases")
                || template.contains("/access-log")
                || *template == "/api/v1/workers/{id}/retention"
                || template.contains("/bundle.tar")
                || (*method == "POST" && template.contains("/hand-overs"))
                || (*method, *template) == ("PATCH", "/api/v1/sites/{id}");
            let expected = match (*at_home, *template) {
                (403, _) => 403,
                _ if needs_all_sites => 403,
                // Whoever is sent to a site is assigned there before the site may see him; and a report's rows are
                // read before anything is looked up.
                (_, "/api/v1/workers/{id}/assignments" | "/api/v1/sites/{id}/lab-reports")
                    if *method == "POST" =>
                {
                    422
                }
                _ => 404,
            };
            if status != expected {
                wrong.push(format!("{role} of another site {method} {template}: {status} for {expected}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[tokio::test]
async fn another_sites_expected_agent_is_not_there() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let elsewhere = app.site("BRK").await;
    app.add_account_on("elsewhere", "hygienist", &[&elsewhere]).await;
    let path = format!("/agents/{}", things.id("groups/agents"));
    let client = app.as_role("elsewhere");
    assert_eq!(client.get(&path).await.status, 404);
    let void = client.post(&format!("{path}/voiding"), &json!({"reason": "a test"})).await;
    assert!([403, 404].contains(&void.status), "{}", void.text);
}

#[tokio::test]
async fn lists_hold_only_what_is_on_the_callers_sites() {
    let app = TestApp::spawn().await;
    record_one_of_each(&app, "LYN").await;
    let elsewhere = app.site("BRK").await;
    app.add_account_on("elsewhere", "coordinator", &[&elsewhere]).await;
    let client = app.as_role("elsewhere");
    assert_eq!(client.get("/sites").await.ids(), [elsewhere.as_str()]);
    assert_eq!(client.get("/workers").await.ids().len(), 0);
}
