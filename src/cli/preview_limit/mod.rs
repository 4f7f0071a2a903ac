//! `doseward preview-limit`: what another limit would change, for people or as JSON. Nothing is stored but who read it.

mod places;
mod told;

use crate::cli::failure::Failure;
use crate::cli::session::Session;
use crate::conclusions::limit_change::proposal::LimitProposal;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::rule_set::RuleSet;
use crate::model::identifiers::WorkerId;
use crate::model::shape::Shape as _;
use crate::registry::conclude::limit_change::preview;
use crate::registry::reading::Read;
use crate::registry::refusal::Refusal;
use places::Places;
use serde_json::json;
use std::collections::BTreeSet;

/// Whose limit of which agent, and the proposed number.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// The code of the agent, such as `chromium_vi`.
    agent: String,
    /// Which of its limits.
    #[arg(value_name = "KIND", value_parser = kind)]
    kind: LimitKind,
    /// The proposed number.
    value: String,
    /// Its unit, such as `ug/m3`, `[ppm]` or `dB[A]`.
    unit: String,
    /// Whose limit; the law's if left out.
    #[arg(long, value_name = "NAME")]
    authority: Option<String>,
    /// Minutes that a short-term limit is averaged over; those of the present one if left out.
    #[arg(long, value_name = "MINUTES")]
    minutes: Option<i64>,
    /// Under this body of law alone; under all if left out.
    #[arg(long, value_name = "RULE SET", value_parser = rule_set)]
    rule_set: Option<RuleSet>,
    /// Prints the answer of the API in place of words.
    #[arg(long)]
    json: bool,
}

impl Options {
    /// The proposal as a request would make it, so that both are read by the same rules.
    fn proposal(&self) -> Result<LimitProposal, Refusal> {
        let mut body = json!({
            "agent_code": self.agent,
            "kind": self.kind.as_str(),
            "value": {"value": self.value, "unit": self.unit},
        });
        if let Some(authority) = &self.authority {
            body["authority"] = json!(authority);
        }
        if let Some(minutes) = self.minutes {
            body["averaging_minutes"] = json!(minutes);
        }
        if let Some(rule_set) = self.rule_set {
            body["rule_set"] = json!(rule_set.as_str());
        }
        LimitProposal::parse(&body).map_err(Refusal::Faults)
    }
}

/// Prints what the proposal would change.
///
/// # Errors
/// A fault in what was given; the caller may not read samples; storage fails.
pub async fn run(session: &Session, options: Options) -> Result<(), Failure> {
    let proposal = options.proposal()?;
    let (registry, caller) = (&session.registry, &session.caller);
    let now = registry.seen_from(None);
    let mut tx = registry.database.read().await?;
    let as_of = registry.as_of(&mut tx, None).await?;
    let found = preview(&mut tx, caller, as_of, now, &proposal).await?;
    let places = Places::of(&mut tx, as_of, &found).await?;
    drop(tx);
    let workers: BTreeSet<WorkerId> = found.newly_triggered.iter().map(|one| one.worker_id).collect();
    if !workers.is_empty() {
        // Who read whose exposure is on disk before the exposure is on the screen.
        let request = "doseward preview-limit".to_owned();
        let scope = Some("limit change".to_owned());
        let workers = workers.len();
        let position = as_of.position;
        let read = Read { request, worker: None, scope, position, workers, client: None, purpose: None };
        registry.note_reading(caller, read).await?;
    }
    if options.json {
        println!("{}", found.to_json());
    } else {
        print!("{}", told::told(&found, &places, as_of.position, as_of.date));
    }
    Ok(())
}

fn kind(text: &str) -> Result<LimitKind, String> {
    one_of(LimitKind::from_word(text), "kind of limit", LimitKind::ALL.iter().map(|one| one.as_str()))
}

fn rule_set(text: &str) -> Result<RuleSet, String> {
    one_of(RuleSet::from_word(text), "rule set", RuleSet::ALL.iter().map(|one| one.as_str()))
}

fn one_of<T>(found: Option<T>, what: &str, words: impl Iterator<Item = &'static str>) -> Result<T, String> {
    found
        .ok_or_else(|| format!("there is no such {what}; there are {}", words.collect::<Vec<_>>().join(", ")))
}
