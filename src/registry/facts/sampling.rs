//! Sampling events and their samples.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::group::Group;
use crate::model::facts::laboratory::{BlankCorrected, LabResult, ResultStatus};
use crate::model::facts::sampling::{Covers, Purpose, Sample, SamplingEvent, SamplingEventDraft};
use crate::model::facts::worker::Worker;
use crate::model::identifiers::{SampleId, SiteId};
use crate::model::shape::{Faults, Shape};
use crate::model::text::Code;
use crate::model::version::Version;
use crate::registry::correcting::{Referrer, touches};
use crate::registry::facts::sample_checks::check_sample;
use crate::registry::facts::{refer, runs};
use crate::registry::gather;
use crate::registry::originals::keep::{self, File, Gave};
use crate::registry::place::{Place, Under};
use crate::registry::reach::{self, Reach};
use crate::registry::recording::{Recorded, taken};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::marks::EVERY_AGENT;
use crate::store::tables::{Key, Stored as _};
use crate::store::versions::{self, Where};
use chrono::NaiveDate;
use serde_json::{Map, Value};
use uuid::Uuid;

/// Minutes of a shift when nothing else is said.
pub const SHIFT_MINUTES: f64 = 480.0;
/// Said of a field that nobody sends.
const BY_THE_REGISTRY: &str = "is written by the registry";

impl Recorded for SamplingEvent {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordSamples;
    const READ: Action = Action::ReadSamples;
    const TAKEN: &'static str = "an event with this reference is recorded at the site already";
    const FIXED: &'static [(&'static str, &'static str)] = &[("changed_after_result", BY_THE_REGISTRY)];

    /// Purposes change freely until a result is known; afterwards everybody is told that they did.
    async fn corrected(self, before: &Version<Self>, change: &mut Change) -> Result<Self, Refusal> {
        if self.purpose == before.fact.purpose {
            return Ok(self);
        }
        let of_event = [Where::Parent(before.id)];
        let (scope, as_of) = (change.everything(), change.as_of());
        let samples = versions::list::<Sample>(&mut change.tx, &scope, as_of, &of_event, None).await?;
        let samples = samples.into_iter().map(|sample| sample.id).collect();
        Ok(Self { changed_after_result: known(change, samples).await?.or(self.changed_after_result), ..self })
    }

    async fn check(
        &mut self,
        _: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        if self.purpose.is_empty() {
            faults.note("/purpose", "must name at least one purpose");
        }
        refer::within(Some(self.shift_minutes), 0.0, 1440.0, "/shift_minutes", faults);
        for (n, shift) in self.shifts.iter().flatten().enumerate() {
            let at = format!("/shifts/{n}");
            refer::existing::<Worker>(
                change,
                scope,
                None,
                shift.worker_id,
                &format!("{at}/worker_id"),
                faults,
            )
            .await?;
            if let Some(group) = shift.group_id {
                refer::existing::<Group>(change, scope, None, group, &format!("{at}/group_id"), faults)
                    .await?;
            }
            refer::within(Some(shift.shift_minutes), 0.0, 1440.0, &format!("{at}/shift_minutes"), faults);
        }
        Ok(())
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        vec![Reach::EventItself]
    }
}

impl Recorded for Sample {
    const UNDER: Under = Under::Event;
    const RECORD: Action = Action::RecordSamples;
    const READ: Action = Action::ReadSamples;
    const TAKEN: &'static str = "a sample with this number is recorded at the site already";
    const FIXED: &'static [(&'static str, &'static str)] = &[
        ("on_site_results", "became results of their own: correct those"),
        ("changed_after_result", BY_THE_REGISTRY),
    ];
    const FILLED_IN: &'static [&'static str] = &["labels"];

    async fn bound(
        version: &Version<Self>,
        fields: &Map<String, Value>,
        change: &mut Change,
    ) -> Result<Vec<Referrer>, Refusal> {
        if !touches(fields, &["number", "covers"]) {
            return Ok(Vec::new());
        }
        let (scope, as_of) = (change.everything(), change.as_of());
        let of_event = [Where::Parent(version.parent.unwrap_or_default()), Where::Standing];
        let all = versions::list::<Self>(&mut change.tx, &scope, as_of, &of_event, None).await?;
        let has_original = |number: &Code| {
            all.iter().any(|one| one.fact.number == *number && one.fact.covered() != Covers::Duplicate)
        };
        let referrer = |one: &Version<Self>| {
            let original = one.fact.duplicate_of.as_ref()?;
            let fault = (!has_original(original))
                .then(|| format!("/duplicate_of {original} is no sample of the event"));
            Some(Referrer::in_sight(Self::TABLE.kind, one.id, fault))
        };
        Ok(all.iter().filter_map(referrer).collect())
    }

    /// Whether it is representative changes freely until a result is known; afterwards everybody is told that it did.
    async fn corrected(self, before: &Version<Self>, change: &mut Change) -> Result<Self, Refusal> {
        if self.representative == before.fact.representative {
            return Ok(self);
        }
        Ok(Self {
            changed_after_result: known(change, vec![before.id]).await?.or(self.changed_after_result),
            ..self
        })
    }

    /// Where it was counted before is looked at again, as well as where it counts now.
    async fn follow_correction(
        before: &Version<Self>,
        _: &Version<Self>,
        change: &mut Change,
    ) -> Result<(), Refusal> {
        reach::mark_sample(change, &before.fact, &[EVERY_AGENT]).await
    }

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        let Some(site) = place.site else { return Ok(()) };
        check_sample(self, site, scope, change, "", faults).await?;
        let neighbours = runs::around(change, scope, site, self.shift_date).await?;
        check_neighbours(self, &neighbours, change, "", faults).await
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        match (self.is_blank(), place.parent) {
            (true, Some(event)) => vec![Reach::Event(event.into())],
            _ => vec![Reach::SampleItself],
        }
    }
}

/// `true` where a result of one of the samples was ever known.
async fn known(change: &mut Change, samples: Vec<Uuid>) -> Result<Option<bool>, Refusal> {
    let as_of = change.as_of();
    let found =
        gather::many::<LabResult>(&mut change.tx, as_of, &samples, |some| Where::IsOneOf("sample_id", some))
            .await?;
    Ok((!found.is_empty()).then_some(true))
}

async fn check_neighbours(
    sample: &Sample,
    at_site: &[Version<Sample>],
    change: &mut Change,
    at: &str,
    faults: &mut Faults,
) -> Result<(), Refusal> {
    for other in at_site.iter().filter(|other| other.fact.number != sample.number) {
        runs::check_pair(sample, &other.fact, at, faults);
    }
    // The worker may have carried a pump at another site that day.
    if let Some(worker) = sample.worker_id {
        for other in runs::of_worker_around(change, worker.0, sample.shift_date).await? {
            if at_site.iter().all(|known| known.id != other.id) {
                runs::check_pair(sample, &other.fact, at, faults);
            }
        }
    }
    Ok(())
}

/// Records an event with its samples.
///
/// # Errors
/// Every fault in it, or a conflict when reference or a sample's number is taken.
pub async fn record_event(
    change: &mut Change,
    site: Uuid,
    body: &Value,
) -> Result<(Version<SamplingEvent>, Vec<Version<Sample>>), Refusal> {
    let scope = change.caller.may(Action::RecordSamples)?;
    let as_of = change.as_of();
    let mut place = Place::under(&mut change.tx, &scope, as_of, Under::Site, Some(site)).await?;
    place.must_stand()?;
    let site_id = SiteId(site);
    let mut faults = Faults::default();
    let draft = match SamplingEventDraft::read(body, "", &mut faults) {
        Some(draft) if faults.is_empty() => draft,
        _ => {
            check_what_reads(body, site_id, &scope, change, &mut faults).await?;
            return Err(faults.into());
        }
    };
    let mut event = SamplingEvent {
        reference: draft.reference,
        purpose: draft.purpose.unwrap_or_else(|| vec![Purpose::Routine]),
        sampled_by: draft.sampled_by,
        shift_minutes: draft.shift_minutes.unwrap_or(SHIFT_MINUTES),
        shifts: draft.shifts,
        conditions: draft.conditions,
        changed_after_result: None,
    };
    event.check(&mut place, &scope, change, &mut faults).await?;
    let mut samples = draft.samples;
    let site = site_id;
    let mut neighbours: Vec<Version<Sample>> = Vec::new();
    let mut days: Vec<NaiveDate> = samples.iter().map(|sample| sample.shift_date).collect();
    days.sort_unstable();
    days.dedup();
    for day in days {
        for found in runs::around(change, &scope, site, day).await? {
            if neighbours.iter().all(|known| known.id != found.id) {
                neighbours.push(found);
            }
        }
    }
    for n in 0..samples.len() {
        let at = format!("/samples/{n}");
        let mut sample = samples[n].clone();
        refuse_labels(&sample, &at, &mut faults);
        check_sample(&mut sample, site, &scope, change, &at, &mut faults).await?;
        for earlier in &samples[..n] {
            if earlier.number == sample.number {
                faults.note(format!("{at}/number"), "stands in this event already");
            }
            runs::check_pair(&sample, earlier, &at, &mut faults);
        }
        check_neighbours(&sample, &neighbours, change, &at, &mut faults).await?;
        samples[n] = sample;
    }
    check_duplicates(&samples, &mut faults);
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let taken_numbers = taken_numbers(change, site, &samples).await?;
    if !taken_numbers.is_empty() {
        return Err(Refusal::Conflict { detail: Sample::TAKEN.into(), faults: taken_numbers });
    }
    let event = change.add(&scope, Some(site), place.parent, event).await.map_err(taken::<SamplingEvent>)?;
    let mut recorded = Vec::with_capacity(samples.len());
    for sample in samples {
        recorded.push(keep_sample(change, &scope, site, event.id, sample).await?);
    }
    Ok((event, recorded))
}

/// Keeps the file that an event came in, with the event and its samples.
///
/// # Errors
/// A file that is too large; storage fails.
pub async fn keep_file(change: &mut Change, site: Uuid, file: &File, gave: Gave) -> Result<Uuid, Refusal> {
    let scope = change.caller.may(Action::RecordSamples)?;
    Ok(keep::keep(change, &scope, SiteId(site), file, gave).await?.id)
}

/// Checks the samples of an event that read well although something else of it does not, so that every fault is named.
async fn check_what_reads(
    body: &Value,
    site: SiteId,
    scope: &Scope,
    change: &mut Change,
    faults: &mut Faults,
) -> Result<(), Refusal> {
    refer::within(body.get("shift_minutes").and_then(Value::as_f64), 0.0, 1440.0, "/shift_minutes", faults);
    for (n, sample) in body.get("samples").and_then(Value::as_array).into_iter().flatten().enumerate() {
        if let Ok(mut sample) = Sample::parse(sample) {
            check_sample(&mut sample, site, scope, change, &format!("/samples/{n}"), faults).await?;
        }
    }
    Ok(())
}

/// Records one more sample of an event.
///
/// # Errors
/// Every fault in it, or a conflict when its number is taken.
pub async fn record_sample(
    change: &mut Change,
    event: Uuid,
    body: &Value,
) -> Result<Version<Sample>, Refusal> {
    let scope = change.caller.may(Action::RecordSamples)?;
    let as_of = change.as_of();
    let mut place = Place::under(&mut change.tx, &scope, as_of, Under::Event, Some(event)).await?;
    place.must_stand()?;
    let mut sample = Sample::parse(body)?;
    let mut faults = Faults::default();
    refuse_labels(&sample, "", &mut faults);
    sample.check(&mut place, &scope, change, &mut faults).await?;
    if sample.covered() == Covers::Duplicate {
        let of_event = [Where::Parent(event), Where::Standing];
        let others = versions::list::<Sample>(&mut change.tx, &scope, as_of, &of_event, None).await?;
        if others.iter().all(|other| Some(&other.fact.number) != sample.duplicate_of.as_ref()) {
            faults.note("/duplicate_of", "is no sample of this event");
        }
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let site = place.site.ok_or(Refusal::Unknown)?;
    keep_sample(change, &scope, site, event, sample).await
}

/// Labels are the registry's: they say how names stood on the day, not how somebody wrote them.
fn refuse_labels(sample: &Sample, at: &str, faults: &mut Faults) {
    if sample.labels.is_some() {
        faults.note(format!("{at}/labels"), BY_THE_REGISTRY);
    }
    if sample.changed_after_result.is_some() {
        faults.note(format!("{at}/changed_after_result"), BY_THE_REGISTRY);
    }
}

async fn keep_sample(
    change: &mut Change,
    scope: &Scope,
    site: SiteId,
    event: Uuid,
    sample: Sample,
) -> Result<Version<Sample>, Refusal> {
    let sample = change.add(scope, Some(site), Some(event), sample).await.map_err(taken::<Sample>)?;
    for read in sample.fact.on_site_results.iter().flatten() {
        let result = LabResult {
            sample_id: SampleId(sample.id),
            agent_code: read.agent_code.clone(),
            status: ResultStatus::Submitted,
            stands: true,
            mass: None,
            concentration: Some(read.value.clone()),
            criterion: read.criterion,
            reporting_limit: None,
            detection_limit: None,
            blank_corrected: BlankCorrected::Yes,
            estimated: false,
            replaces: None,
            analysed_on: None,
            reason: None,
            marks: None,
        };
        change.add(scope, Some(site), None, result).await?;
    }
    let reached = sample.fact.reach(&Place::of(&sample));
    reach::mark(change, sample.id, &reached).await?;
    Ok(sample)
}

async fn taken_numbers(change: &mut Change, site: SiteId, samples: &[Sample]) -> Result<Faults, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let mut faults = Faults::default();
    for (n, sample) in samples.iter().enumerate() {
        let of_number = [Where::Site(site), Where::Is("number", Key::Text(Some(sample.number.to_string())))];
        if !versions::list::<Sample>(&mut change.tx, &scope, as_of, &of_number, None).await?.is_empty() {
            faults.note(
                format!("/samples/{n}/number"),
                "is taken at the site (a voided sample's number stays taken)",
            );
        }
    }
    Ok(faults)
}

fn check_duplicates(samples: &[Sample], faults: &mut Faults) {
    for (n, sample) in samples.iter().enumerate() {
        if let Some(original) = &sample.duplicate_of
            && !samples.iter().any(|other| other.number == *original && other.covered() != Covers::Duplicate)
        {
            faults.note(
                format!("/samples/{n}/duplicate_of"),
                "is no sample of this event that could have a duplicate",
            );
        }
    }
}
