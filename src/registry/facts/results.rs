//! Results as things of their own: accepted, voided, chosen to stand.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::laboratory::{LabResult, ResultStatus};
use crate::model::facts::sampling::Sample;
use crate::model::identifiers::SampleId;
use crate::model::shape::{Faults, Shape};
use crate::model::text::{Code, Text};
use crate::model::version::Version;
use crate::record;
use crate::registry::facts::laboratory_row::check_result;
use crate::registry::place::{Place, Under};
use crate::registry::reach::{self, Reach};
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::journal;
use crate::store::versions::{self, Where};
use serde_json::Value;
use uuid::Uuid;

record! {
    /// What is sent to accept results.
    pub struct Acceptance {
        /// Why, if there is something to say.
        reason: Option<Text>,
        /// Only this agent's result; left out: all of the sample.
        agent_code: Option<Code>,
    }
}

record! {
    /// What is sent to void results of a sample, or the sample itself.
    pub struct Voiding {
        /// Why.
        reason: Text,
        /// Only this agent's result; left out: the sample as a whole.
        agent_code: Option<Code>,
    }
}

record! {
    /// A reason.
    pub struct Because {
        /// Why.
        reason: Text,
    }
}

impl Recorded for LabResult {
    const UNDER: Under = Under::Nothing;
    const RECORD: Action = Action::RecordSamples;
    const READ: Action = Action::ReadSamples;
    const FIXED: &'static [(&'static str, &'static str)] = &[
        ("sample_id", "says whose result it is: void it and record it for the other sample"),
        ("agent_code", "says of what it is: void it and record it for the other agent"),
        ("status", "changes by acceptance and voiding"),
        ("stands", "changes by a later result, or by choice"),
        ("replaces", "was said by the report"),
        ("reason", "is that of the last acceptance or voiding"),
        ("marks", "is written by the registry"),
    ];

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        _: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        check_result(self, faults);
        Ok(())
    }

    /// A value that was accepted and then corrected waits for acceptance again.
    async fn corrected(self, _: &Version<Self>, _: &mut Change) -> Result<Self, Refusal> {
        let status = match self.status {
            ResultStatus::Accepted => ResultStatus::Submitted,
            other => other,
        };
        Ok(Self { status, marks: None, ..self })
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        vec![Reach::SampleOrItsEvent(self.sample_id)]
    }
}

async fn results_of(
    change: &mut Change,
    scope: &Scope,
    sample: Uuid,
    agent: Option<&Code>,
) -> Result<Vec<Version<LabResult>>, Refusal> {
    let as_of = change.as_of();
    versions::find::<Sample>(&mut change.tx, scope, as_of, sample).await?.ok_or(Refusal::Unknown)?;
    let of_sample = [Where::IsOneOf("sample_id", vec![sample]), Where::Standing];
    let found = versions::list::<LabResult>(&mut change.tx, scope, as_of, &of_sample, None).await?;
    Ok(found.into_iter().filter(|result| agent.is_none_or(|code| *code == result.fact.agent_code)).collect())
}

/// Accepts the results of a sample that stand. `same_person` is noted where the account that entered a result, or
/// that voided it before, also accepts it; nothing is refused.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict when there is nothing to accept.
pub async fn accept(change: &mut Change, sample: Uuid, body: &Value) -> Result<(), Refusal> {
    let scope = change.caller.may(Action::Accept)?;
    let asked = Acceptance::parse(body)?;
    let results = results_of(change, &scope, sample, asked.agent_code.as_ref()).await?;
    let open: Vec<_> = results
        .into_iter()
        .filter(|result| result.fact.status == ResultStatus::Submitted && result.fact.stands)
        .collect();
    if open.is_empty() {
        return Err(Refusal::taken("no result of this sample waits for acceptance"));
    }
    for old in open {
        let same = journal::accounts_of(&mut change.tx, old.id).await?.contains(&change.caller.account);
        let fact = LabResult {
            status: ResultStatus::Accepted,
            reason: asked.reason.clone(),
            marks: same.then(|| vec!["same_person".into()]),
            ..old.fact.clone()
        };
        let reason = asked.reason.as_ref().map(Text::as_str);
        change.alter(&scope, &old, fact, None, "accepted", reason).await?;
    }
    reach::mark(change, sample, &[Reach::SampleOrItsEvent(SampleId(sample))]).await
}

/// Voids a sample's result of one agent.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict when there is none to void.
pub async fn void_agent(
    change: &mut Change,
    sample: Uuid,
    agent: &Code,
    reason: &Text,
) -> Result<(), Refusal> {
    let scope = change.caller.may(Action::Void)?;
    let results = results_of(change, &scope, sample, Some(agent)).await?;
    if results.is_empty() {
        return Err(Refusal::taken("no result of this agent stands for the sample"));
    }
    for old in results {
        void_one(change, &scope, &old, reason).await?;
    }
    Ok(())
}

/// Voids one result.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict when it is void already.
pub async fn void(change: &mut Change, result: Uuid, reason: &Text) -> Result<Version<LabResult>, Refusal> {
    let scope = change.caller.may(Action::Void)?;
    let as_of = change.as_of();
    let old =
        versions::find::<LabResult>(&mut change.tx, &scope, as_of, result).await?.ok_or(Refusal::Unknown)?;
    if !old.stands() {
        return Err(Refusal::taken("this result is void already"));
    }
    void_one(change, &scope, &old, reason).await
}

async fn void_one(
    change: &mut Change,
    scope: &Scope,
    old: &Version<LabResult>,
    reason: &Text,
) -> Result<Version<LabResult>, Refusal> {
    let fact = LabResult { status: ResultStatus::Voided, reason: Some(reason.clone()), ..old.fact.clone() };
    let because = Some(reason.to_string());
    let version = change.alter(scope, old, fact, because, "voided", Some(reason.as_str())).await?;
    stand_again(change, scope, old, reason).await?;
    reach::mark(change, version.id, &[Reach::SampleOrItsEvent(old.fact.sample_id)]).await?;
    Ok(version)
}

/// Where a result that replaced another is voided, the other stands again: one result per sample and agent stands.
async fn stand_again(
    change: &mut Change,
    scope: &Scope,
    voided: &Version<LabResult>,
    reason: &Text,
) -> Result<(), Refusal> {
    let Some(replaces) = voided.fact.replaces.as_ref().filter(|_| voided.fact.stands) else { return Ok(()) };
    let as_of = change.as_of();
    let earlier = versions::find::<LabResult>(&mut change.tx, scope, as_of, replaces.result_id.0).await?;
    let Some(earlier) = earlier.filter(|earlier| earlier.stands() && !earlier.fact.stands) else {
        return Ok(());
    };
    let fact = LabResult { stands: true, ..earlier.fact.clone() };
    change.alter(scope, &earlier, fact, None, "stands again", Some(reason.as_str())).await?;
    Ok(())
}

/// Voids a result together with the report it came in.
///
/// # Errors
/// Only when storage fails.
pub(crate) async fn void_with(
    change: &mut Change,
    result: &Version<LabResult>,
    reason: &str,
) -> Result<(), Refusal> {
    let scope = change.everything();
    match Text::new(reason) {
        Some(reason) => void_one(change, &scope, result, &reason).await.map(drop),
        None => Ok(()),
    }
}

/// Brings a result back together with the report it came in; it waits for acceptance, and stands where nothing else does.
///
/// # Errors
/// Only when storage fails.
pub(crate) async fn restore(change: &mut Change, result: &Version<LabResult>) -> Result<(), Refusal> {
    let scope = change.everything();
    let others = results_of(change, &scope, result.fact.sample_id.0, Some(&result.fact.agent_code)).await?;
    let taken = others.iter().any(|other| other.fact.stands && other.fact.criterion == result.fact.criterion);
    let stands = result.fact.stands && !taken;
    let fact = LabResult { status: ResultStatus::Submitted, stands, ..result.fact.clone() };
    change.alter(&scope, result, fact, None, "voiding withdrawn", None).await?;
    reach::mark(change, result.id, &[Reach::SampleOrItsEvent(result.fact.sample_id)]).await
}

/// Takes the voiding of one result back; it waits for acceptance again.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict when it is not void or another result stands by now.
pub async fn withdraw_voiding(
    change: &mut Change,
    result: Uuid,
    reason: &Text,
) -> Result<Version<LabResult>, Refusal> {
    let scope = change.caller.may(Action::Void)?;
    let as_of = change.as_of();
    let old =
        versions::find::<LabResult>(&mut change.tx, &scope, as_of, result).await?.ok_or(Refusal::Unknown)?;
    if old.stands() {
        return Err(Refusal::taken("this result is not void"));
    }
    let sample = old.fact.sample_id;
    let others = results_of(change, &scope, sample.0, Some(&old.fact.agent_code)).await?;
    if old.fact.stands
        && others.iter().any(|other| other.fact.stands && other.fact.criterion == old.fact.criterion)
    {
        return Err(Refusal::taken("another result stands for this sample and agent by now"));
    }
    let fact =
        LabResult { status: ResultStatus::Submitted, reason: Some(reason.clone()), ..old.fact.clone() };
    let version = change.alter(&scope, &old, fact, None, "voiding withdrawn", Some(reason.as_str())).await?;
    reach::mark(change, version.id, &[Reach::SampleOrItsEvent(sample)]).await?;
    Ok(version)
}

/// A hygienist chooses a re-analysis to stand; the result it replaces stands no longer, and both stay readable.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict when it stands already.
pub async fn choose_standing(
    change: &mut Change,
    result: Uuid,
    reason: &Text,
) -> Result<Version<LabResult>, Refusal> {
    let scope = change.caller.may(Action::Accept)?;
    let as_of = change.as_of();
    let chosen =
        versions::find::<LabResult>(&mut change.tx, &scope, as_of, result).await?.ok_or(Refusal::Unknown)?;
    if !chosen.stands() {
        return Err(Refusal::taken("this result is void"));
    }
    if chosen.fact.stands {
        return Err(Refusal::taken("this result stands already"));
    }
    let sample = chosen.fact.sample_id;
    for other in results_of(change, &scope, sample.0, Some(&chosen.fact.agent_code)).await? {
        if other.fact.stands && other.fact.criterion == chosen.fact.criterion {
            let fact = LabResult { stands: false, ..other.fact.clone() };
            change.alter(&scope, &other, fact, None, "replaced", Some(reason.as_str())).await?;
        }
    }
    let fact = LabResult { stands: true, reason: Some(reason.clone()), ..chosen.fact.clone() };
    let version = change.alter(&scope, &chosen, fact, None, "chosen to stand", Some(reason.as_str())).await?;
    reach::mark(change, version.id, &[Reach::SampleOrItsEvent(sample)]).await?;
    Ok(version)
}
