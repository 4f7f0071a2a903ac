//! Reads every kept file again with this release and lists what would be read otherwise than it was recorded. It changes
//! nothing: what a difference means, and whether something is to be corrected, is for people to say.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::agent::Agent;
use crate::model::facts::laboratory::{
    BlankCorrected, HeldRow, LabReport, LabReportDraft, LabResult, ReplacedAs, ResultDraft,
};
use crate::model::facts::original::{Original, OriginalKind};
use crate::model::facts::sampling::{Purpose, Sample, SamplingEvent, SamplingEventDraft};
use crate::model::shape::{Faults, Shape};
use crate::model::text::Code;
use crate::model::version::Version;
use crate::record;
use crate::registry::facts::laboratory::{Replacing, Report};
use crate::registry::facts::laboratory_csv;
use crate::registry::facts::sampling::SHIFT_MINUTES;
use crate::registry::gather;
use crate::registry::journal::hex;
use crate::registry::originals::{OriginalState, digest_of, state};
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::originals;
use crate::store::versions::{self, AsOf, Page, Where};
use serde_json::{Map, Value};
use sha2::{Digest as _, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How many facts are held at once.
const CHUNK: i64 = 50;
/// Fields of a sample that the registry fills in, where the file is silent.
const FILLED_IN: &[&str] = &["labels", "group_id", "changed_after_result"];

record! {
    /// One thing that this release reads otherwise.
    pub struct Difference {
        /// The file.
        original_id: Uuid,
        /// Its digest.
        sha256: String,
        /// Where in it.
        pointer: String,
        /// What was recorded; absent where nothing was.
        recorded: Option<String>,
        /// What would be read now; absent where nothing would.
        now: Option<String>,
    }
}

/// What came of reading all files again.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Reparsed {
    /// How many reports and events were read again.
    pub read: i64,
    /// How many were not, because something that their file gave was disposed of.
    pub closed: i64,
    /// What would be read otherwise.
    pub differences: Vec<Difference>,
}

/// Reads every file again that the caller may read.
///
/// # Errors
/// [`Refusal::Forbidden`]; storage fails.
pub async fn reparse(
    registry: &Registry,
    caller: &Caller,
    mut progress: impl FnMut(Progress) + Send,
) -> Result<Reparsed, Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    let mut tx = registry.database.read().await?;
    let as_of = registry.now(&mut tx).await?;
    let mut found = Reparsed::default();
    let mut page = Page { after: None, limit: CHUNK };
    loop {
        let some = versions::list::<Original>(&mut tx, &scope, as_of, &[], Some(page)).await?;
        let Some(last) = some.last() else { return Ok(found) };
        page.after = Some(last.id);
        for original in &some {
            if state(&mut tx, as_of, &original.fact.sha256).await? == OriginalState::Open {
                found.read += 1;
                let said = one(&mut tx, as_of, original).await?;
                found.differences.extend(said.into_iter().map(|said| said.of(original)));
            } else {
                found.closed += 1;
            }
        }
        progress(Progress { stage: Stage::Originals, done: found.read + found.closed, of: None });
    }
}

/// A difference inside of a file.
struct Said {
    pointer: String,
    recorded: Option<String>,
    now: Option<String>,
}

impl Said {
    fn of(self, original: &Version<Original>) -> Difference {
        Difference {
            original_id: original.id,
            sha256: original.fact.sha256.clone(),
            pointer: self.pointer,
            recorded: self.recorded,
            now: self.now,
        }
    }

    fn not_read(pointer: String, why: impl Into<String>) -> Self {
        Self { pointer, recorded: None, now: Some(why.into()) }
    }
}

async fn one(tx: &mut Tx, as_of: AsOf, original: &Version<Original>) -> Result<Vec<Said>, Refusal> {
    let bytes = originals::get(tx, &digest_of(&original.fact.sha256)?).await?;
    let Some(bytes) = bytes.filter(|bytes| hex(&Sha256::digest(bytes)) == original.fact.sha256) else {
        return Ok(vec![Said::not_read(String::new(), "the bytes of the file are not those of its digest")]);
    };
    // As the registry knew it when the file came: what was renamed since is no difference in reading.
    let then = AsOf { position: original.position, date: as_of.date };
    match original.fact.holds {
        OriginalKind::LabReport => report(tx, then, original, &bytes).await,
        OriginalKind::SamplingEvents => event(tx, then, original, &bytes).await,
    }
}

async fn report(
    tx: &mut Tx,
    then: AsOf,
    original: &Version<Original>,
    bytes: &[u8],
) -> Result<Vec<Said>, Refusal> {
    let read = if original.fact.columns.is_some() {
        let agents = gather::all::<Agent>(tx, then, &[]).await?;
        let agents: Vec<Agent> = agents.into_iter().map(|agent| agent.fact).collect();
        let beside = original.fact.beside.iter().flatten();
        let head: Vec<_> = beside.map(|said| (said.name.clone(), said.value.clone())).collect();
        let named = original.fact.named.iter().flatten();
        let named = named.filter_map(|said| Some((said.name.clone(), Code::new(&said.value)?))).collect();
        laboratory_csv::read_named(&head, bytes, &agents, &named)
    } else {
        value(bytes).and_then(|body| LabReportDraft::parse(&body)).map(Report::from)
    };
    let now = match read {
        Ok(now) => now,
        Err(faults) => return Ok(refused(&faults)),
    };
    let mut said = Vec::new();
    let thing = original.parent.unwrap_or_default();
    if let Some(recorded) = gather::one::<LabReport>(tx, then, thing).await? {
        compare(&recorded.fact.to_json(), &now.head.to_json(), "", &mut said);
    }
    let recorded = recorded_rows(tx, then, &original.fact.gave).await?;
    for n in 0..original.fact.gave.len().max(now.rows.len()) {
        let at = format!("/results/{n}");
        let was = original.fact.gave.get(n).and_then(|id| recorded.get(id));
        let is = now.rows.get(n).map(|row| row_as(&row.draft, word_of(&row.replacing)));
        match (was, is) {
            (Some(was), Some(is)) => compare(was, &is, &at, &mut said),
            (was, is) => said.push(Said {
                pointer: at,
                recorded: was.map(ToString::to_string),
                now: is.map(|is| is.to_string()),
            }),
        }
    }
    Ok(said)
}

/// What the rows of a report gave, each as the row that it was.
async fn recorded_rows(tx: &mut Tx, then: AsOf, gave: &[Uuid]) -> Result<BTreeMap<Uuid, Value>, Refusal> {
    let mut rows = BTreeMap::new();
    for held in gather::many::<HeldRow>(tx, then, gave, Where::Ids).await? {
        rows.insert(held.id, row_as(&held.fact.row, held.fact.replaces_as));
    }
    let results = gather::many::<LabResult>(tx, then, gave, Where::Ids).await?;
    let samples: Vec<Uuid> = results.iter().map(|result| result.fact.sample_id.0).collect();
    let samples = gather::many::<Sample>(tx, then, &samples, Where::Ids).await?;
    let numbers: BTreeMap<Uuid, _> =
        samples.into_iter().map(|sample| (sample.id, sample.fact.number)).collect();
    for result in results {
        let LabResult { agent_code, mass, concentration, reporting_limit, detection_limit, .. } = result.fact;
        let number = numbers.get(&result.fact.sample_id.0);
        let (Some(sample_number), Some(reporting_limit)) = (number.cloned(), reporting_limit) else {
            continue;
        };
        let draft = ResultDraft {
            sample_number,
            agent_code,
            mass,
            concentration,
            reporting_limit,
            detection_limit,
            blank_corrected: Some(result.fact.blank_corrected),
            estimated: Some(result.fact.estimated),
            replaces: None,
            analysed_on: result.fact.analysed_on,
        };
        rows.insert(result.id, row_as(&draft, result.fact.replaces.map(|replaces| replaces.replaced_as)));
    }
    Ok(rows)
}

/// A row with what it leaves out filled in, so that saying nothing and saying the usual are the same.
fn row_as(draft: &ResultDraft, replaces: Option<ReplacedAs>) -> Value {
    let draft = ResultDraft {
        blank_corrected: Some(draft.blank_corrected.unwrap_or(BlankCorrected::Unknown)),
        estimated: Some(draft.estimated.unwrap_or(false)),
        replaces: None,
        ..draft.clone()
    };
    let mut row = draft.to_json();
    if let Some(how) = replaces {
        row["replaces"] = how.as_str().into();
    }
    row
}

fn word_of(replacing: &Replacing) -> Option<ReplacedAs> {
    match replacing {
        Replacing::Nothing => None,
        Replacing::This(replaces) => Some(replaces.replaced_as),
        Replacing::Standing(how) => Some(*how),
    }
}

async fn event(
    tx: &mut Tx,
    then: AsOf,
    original: &Version<Original>,
    bytes: &[u8],
) -> Result<Vec<Said>, Refusal> {
    let at = &original.fact.pointer;
    let read = value(bytes).and_then(|body| {
        let body = body.pointer(at).cloned().unwrap_or_default();
        SamplingEventDraft::parse(&body)
    });
    let now = match read {
        Ok(now) => now,
        Err(faults) => return Ok(refused(&faults)),
    };
    let mut said = Vec::new();
    if let Some(recorded) =
        gather::one::<SamplingEvent>(tx, then, original.parent.unwrap_or_default()).await?
    {
        let event = SamplingEvent {
            reference: now.reference,
            purpose: now.purpose.unwrap_or_else(|| vec![Purpose::Routine]),
            sampled_by: now.sampled_by,
            shift_minutes: now.shift_minutes.unwrap_or(SHIFT_MINUTES),
            shifts: now.shifts,
            conditions: now.conditions,
            changed_after_result: None,
        };
        compare(&recorded.fact.to_json(), &event.to_json(), at, &mut said);
    }
    let recorded = gather::many::<Sample>(tx, then, &original.fact.gave, Where::Ids).await?;
    let recorded: BTreeMap<Uuid, Value> =
        recorded.into_iter().map(|sample| (sample.id, sample.fact.to_json())).collect();
    for n in 0..original.fact.gave.len().max(now.samples.len()) {
        let at = format!("{at}/samples/{n}");
        let was = original.fact.gave.get(n).and_then(|id| recorded.get(id)).cloned();
        let is = now.samples.get(n).map(Shape::to_json);
        match (was, is) {
            (Some(was), Some(is)) => compare(&without_what_was_filled_in(was, &is), &is, &at, &mut said),
            (was, is) => said.push(Said {
                pointer: at,
                recorded: was.map(|was| was.to_string()),
                now: is.map(|is| is.to_string()),
            }),
        }
    }
    Ok(said)
}

fn without_what_was_filled_in(mut recorded: Value, file: &Value) -> Value {
    if let Value::Object(fields) = &mut recorded {
        fields.retain(|name, _| !FILLED_IN.contains(&name.as_str()) || file.get(name).is_some());
    }
    recorded
}

fn value(bytes: &[u8]) -> Result<Value, Faults> {
    serde_json::from_slice(bytes).map_err(|error| {
        let mut faults = Faults::default();
        faults.note("", format!("is not JSON: {error}"));
        faults
    })
}

fn refused(faults: &Faults) -> Vec<Said> {
    faults
        .iter()
        .map(|fault| Said::not_read(fault.pointer.clone(), format!("refused: {}", fault.detail)))
        .collect()
}

/// The fields in which two objects differ.
fn compare(recorded: &Value, now: &Value, at: &str, said: &mut Vec<Said>) {
    let nothing = Map::new();
    let (was, is) = (recorded.as_object().unwrap_or(&nothing), now.as_object().unwrap_or(&nothing));
    let names: BTreeSet<&String> = was.keys().chain(is.keys()).collect();
    for name in names {
        let (was, is) = (was.get(name), is.get(name));
        if was != is {
            said.push(Said {
                pointer: format!("{at}/{name}"),
                recorded: was.map(ToString::to_string),
                now: is.map(ToString::to_string),
            });
        }
    }
}
