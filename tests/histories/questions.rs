//! Everything that can be asked of the plant, as addresses.

use crate::plant::{AGENTS, Plant};
use serde_json::Value;

/// The exports that can be had as they were known.
pub(crate) const EXPORTS: [&str; 8] = [
    "/exports/samples.csv",
    "/exports/surveillance.csv",
    "/exports/duties.csv",
    "/exports/samples.json",
    "/exports/surveillance.json",
    "/exports/duties.json",
    "/exports/histories.csv",
    "/exports/journal.csv",
];

/// The conclusions: profiles, verdicts, histories and shift averages.
pub(crate) fn conclusions(plant: &Plant) -> Vec<String> {
    let mut all = Vec::new();
    for agent in AGENTS {
        for site in &plant.sites {
            for group in &site.groups {
                all.push(format!("/groups/{group}/profiles?agent_code={agent}"));
            }
            for (task, _) in &site.tasks {
                all.push(format!("/tasks/{task}/control-verdicts?agent_code={agent}"));
            }
        }
        for worker in &plant.workers {
            all.push(format!("/workers/{worker}/history?agent_code={agent}"));
            all.push(format!("/shift-averages?worker_id={worker}&agent_code={agent}"));
        }
    }
    all
}

/// What else can be asked as known on.
pub(crate) fn beside(plant: &Plant) -> Vec<String> {
    let mut all: Vec<String> =
        ["/duties?limit=500", "/overview", "/early-warnings?above=0.01", "/exports/surveillance.fhir.json"]
            .map(str::to_owned)
            .into();
    for group in plant.sites.iter().flat_map(|site| &site.groups) {
        all.push(format!("/groups/{group}/standing-moves?limit=500"));
    }
    for worker in &plant.workers {
        for agent in AGENTS {
            all.push(format!("/workers/{worker}/surveillance?agent_code={agent}"));
        }
    }
    all
}

/// An address with one more parameter.
pub(crate) fn with(address: &str, parameter: &str) -> String {
    let joint = if address.contains('?') { '&' } else { '?' };
    format!("{address}{joint}{parameter}")
}

/// An answer without the position it was given at: following marks may write duties and so raise it.
pub(crate) fn without_position(text: &str) -> Value {
    let mut value: Value = serde_json::from_str(text).unwrap();
    if let Value::Object(answer) = &mut value {
        answer.remove("position");
    }
    value
}
