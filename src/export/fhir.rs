//! Surveillance as a FHIR R4 (4.0.1) bundle: for each examination to be offered a `ServiceRequest` and its `Task`, the
//! worker as `Patient`, and the worker's own 8-hour averages in the clause's window as `Observation`.
//!
//! No LOINC term for a measured workplace exposure is known to us, so that codes are the registry's own; an Observation's
//! code binding is only an example in R4. The form was read without a fault by fhir.resources 5.1.1 (PyPI), which knows R4. What a reader may not know of a duty has no reason here either.

use crate::conclusions::examiner_packet::CAUTION;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::model::facts::agent::Verification;
use crate::model::facts::duty::{DutyKind, DutyStatus, Window};
use crate::model::identifiers::{DutyId, WorkerId};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::text::Code;
use crate::surveillance::finding::WHO_DECIDES;
use chrono::NaiveDate;
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// The registry's own codes.
const SYSTEM: &str = "urn:doseward";
const UCUM: &str = "http://unitsofmeasure.org";

/// A worker as the bundle names him.
#[derive(Debug, Clone)]
pub struct Person {
    /// The worker.
    pub id: WorkerId,
    /// Given name.
    pub given: String,
    /// Family name.
    pub family: String,
    /// Employer and the worker's number there.
    pub employments: Vec<(String, String)>,
}

/// An examination to be offered, as far as the reader may know it.
#[derive(Debug, Clone)]
pub struct Request {
    /// The duty.
    pub id: DutyId,
    /// Counts up with every change; not told of what rests on a medical ground.
    pub revision: Option<i64>,
    /// What is to be offered.
    pub kind: DutyKind,
    /// For whom.
    pub worker: WorkerId,
    /// Because of which agent.
    pub agent_code: Option<Code>,
    /// The clause that the facts appear to trigger.
    pub clause: Option<String>,
    /// Which edition of the text was read.
    pub edition: Option<String>,
    /// How far the row was checked against the text.
    pub verification: Option<Verification>,
    /// The window it counts.
    pub window: Option<Window>,
    /// When the registry learned of it; not told of what rests on a medical ground.
    pub learned_on: Option<NaiveDate>,
    /// By when.
    pub due_on: NaiveDate,
    /// How it stands.
    pub status: DutyStatus,
}

/// The bundle, in the order of its parts.
pub fn bundle(people: &[Person], requests: &[Request], averages: &[ShiftAverageView]) -> Value {
    let resources = people
        .iter()
        .map(patient)
        .chain(requests.iter().flat_map(|request| [service_request(request, averages), task(request)]))
        .chain(averages.iter().map(observation));
    let entries: Vec<Value> = resources
        .map(|resource| {
            let id = resource["id"].as_str().unwrap_or_default();
            json!({"fullUrl": format!("urn:uuid:{id}"), "resource": resource})
        })
        .collect();
    json!({"resourceType": "Bundle", "type": "collection", "entry": entries})
}

fn reference(id: Uuid) -> Value {
    json!({"reference": format!("urn:uuid:{id}")})
}

fn patient(person: &Person) -> Value {
    let identifiers: Vec<Value> = person
        .employments
        .iter()
        .map(|(employer, number)| {
            json!({"use": "official", "value": number, "assigner": {"display": employer},
                "type": {"text": "employee number"}})
        })
        .collect();
    let mut patient = json!({"resourceType": "Patient", "id": person.id.0.to_string(),
        "name": [{"family": person.family, "given": [person.given]}]});
    // An empty array is no FHIR.
    if !identifiers.is_empty() {
        patient["identifier"] = Value::Array(identifiers);
    }
    patient
}

/// The identifier of what has none of its own, from what makes it the only one.
fn derived(name: &str) -> Uuid {
    let digest = <sha2::Sha256 as sha2::Digest>::digest(name.as_bytes());
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&digest[..16]);
    uuid::Builder::from_custom_bytes(bytes).into_uuid()
}

fn task_id(duty: DutyId) -> Uuid {
    derived(&format!("task of {duty}"))
}

fn average_id(view: &ShiftAverageView) -> Uuid {
    let criterion = view.criterion.map(|criterion| criterion.to_string()).unwrap_or_default();
    let group = view.group_id.map(|group| group.to_string()).unwrap_or_default();
    derived(&format!(
        "average of {} {group} {} {} {criterion}",
        view.worker_id, view.shift_date, view.agent_code
    ))
}

fn service_request(request: &Request, averages: &[ShiftAverageView]) -> Value {
    let status = match request.status {
        DutyStatus::Open | DutyStatus::Overdue => "active",
        DutyStatus::Met | DutyStatus::Declined => "completed",
        DutyStatus::Waived | DutyStatus::Withdrawn => "revoked",
    };
    let mut body = json!({
        "resourceType": "ServiceRequest",
        "id": request.id.0.to_string(),
        "status": status,
        // What the facts appear to ask for; an order is a professional's.
        "intent": "proposal",
        "code": {"coding": [{"system": SYSTEM, "code": of_kind(request)}], "text": "Medical surveillance examination"},
        "subject": reference(request.worker.0),
        "occurrencePeriod": {"end": request.due_on.to_string()},
        "note": [{"text": CAUTION}],
    });
    if let Some(revision) = request.revision {
        body["meta"] = json!({"versionId": revision.to_string()});
    }
    if let Some(learned_on) = request.learned_on {
        body["authoredOn"] = json!(learned_on.to_string());
    }
    if let Some(clause) = &request.clause {
        let agent = request.agent_code.as_ref().map(|code| format!(" ({code})")).unwrap_or_default();
        let edition = request.edition.as_ref().map(|text| format!("; read in: {text}")).unwrap_or_default();
        let checked = request.verification.map(|how| format!("; {}", how.in_words())).unwrap_or_default();
        let reason = format!("Appears to be triggered by {clause}{agent}{edition}{checked}; {WHO_DECIDES}");
        body["reasonCode"] = json!([{"text": reason}]);
    }
    let counted = |view: &&ShiftAverageView| {
        view.worker_id == request.worker
            && Some(&view.agent_code) == request.agent_code.as_ref()
            && request
                .window
                .as_ref()
                .is_some_and(|window| window.from <= view.shift_date && view.shift_date < window.to)
    };
    let reasons: Vec<Value> = averages.iter().filter(counted).map(|one| reference(average_id(one))).collect();
    if !reasons.is_empty() {
        body["reasonReference"] = Value::Array(reasons);
    }
    body
}

/// What kind of examination it is, where the reader may know why.
fn of_kind(request: &Request) -> &'static str {
    match request.kind {
        _ if request.clause.is_none() => "examination",
        DutyKind::Audiogram => "audiogram",
        DutyKind::PeriodicExamination => "periodic_examination",
        _ => "first_examination",
    }
}

fn task(request: &Request) -> Value {
    let status = match request.status {
        DutyStatus::Open | DutyStatus::Overdue => "requested",
        DutyStatus::Met => "completed",
        DutyStatus::Declined => "rejected",
        DutyStatus::Waived | DutyStatus::Withdrawn => "cancelled",
    };
    json!({
        "resourceType": "Task",
        "id": task_id(request.id).to_string(),
        "status": status,
        "intent": "proposal",
        "businessStatus": {"text": request.status.as_str()},
        "focus": reference(request.id.0),
        "for": reference(request.worker.0),
        "restriction": {"period": {"end": request.due_on.to_string()}},
    })
}

fn observation(view: &ShiftAverageView) -> Value {
    let mut body = json!({
        "resourceType": "Observation",
        "id": average_id(view).to_string(),
        "status": "final",
        "category": [{"coding": [{"system": SYSTEM, "code": "workplace_exposure"}], "text": "workplace exposure"}],
        "code": {
            "coding": [{"system": SYSTEM, "code": format!("{}-8h-twa", view.agent_code)}],
            "text": format!("{}, breathing zone, 8-hour time-weighted average, outside any respirator", view.agent_code),
        },
        "subject": reference(view.worker_id.0),
        "effectiveDateTime": view.shift_date.to_string(),
    });
    let value = view.eight_hour_twa.as_ref().and_then(value_of);
    // obs-6: a reason for missing data only where there is no value.
    match value {
        Some((name, value)) => body[name] = value,
        None => body["dataAbsentReason"] = json!({"text": "the results tell no average"}),
    }
    let ranges: Vec<Value> = view
        .comparisons
        .iter()
        .map(|limit| {
            json!({"high": {"value": limit.value, "unit": limit.unit.symbol(), "system": UCUM, "code": limit.unit.code()},
                "text": format!("{} of {}: {}", limit.kind, limit.authority, limit.answer)})
        })
        .collect();
    if !ranges.is_empty() {
        body["referenceRange"] = Value::Array(ranges);
    }
    body["component"] = json!([
        {"code": {"text": "sampled time"},
         "valueQuantity": {"value": view.sampled_minutes, "unit": "min", "system": UCUM, "code": "min"}},
        {"code": {"text": "measured on this worker or represented"}, "valueString": "measured"},
    ]);
    body
}

/// The value's element and the value: a quantity with a comparator for a bound, a range between two ends.
fn value_of(quantity: &Quantity) -> Option<(&'static str, Value)> {
    let unit = quantity.unit;
    let of = |value: f64, comparator: Option<&str>| {
        let mut found = Map::new();
        found.insert("value".into(), json!(value));
        if let Some(comparator) = comparator {
            found.insert("comparator".into(), json!(comparator));
        }
        found.insert("unit".into(), json!(unit.symbol()));
        found.insert("system".into(), json!(UCUM));
        found.insert("code".into(), json!(unit.code()));
        Value::Object(found)
    };
    match quantity.measured {
        Measured::Value(value) => Some(("valueQuantity", of(value, None))),
        Measured::Below(limit) if limit > 0.0 => Some(("valueQuantity", of(limit, Some("<")))),
        Measured::Below(_) => None,
        Measured::Above(least) => Some(("valueQuantity", of(least, Some(">")))),
        Measured::Between { lower, upper } => {
            Some(("valueRange", json!({"low": of(lower, None), "high": of(upper, None)})))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::unit::Unit;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn request(clause: Option<&str>) -> Request {
        Request {
            id: DutyId(Uuid::from_u128(10)),
            revision: Some(2),
            kind: DutyKind::OfferExamination,
            worker: WorkerId(Uuid::from_u128(20)),
            agent_code: clause.and_then(|_| Code::new("chromium_vi")),
            clause: clause.map(str::to_owned),
            edition: clause.map(|_| "29 CFR of a certain day".into()),
            verification: clause.map(|_| Verification::Memory),
            window: clause.map(|_| Window { from: date("2026-01-05"), to: date("2027-01-05") }),
            learned_on: Some(date("2026-03-02")),
            due_on: date("2026-04-01"),
            status: DutyStatus::Overdue,
        }
    }

    fn average(twa: Option<Measured>) -> ShiftAverageView {
        ShiftAverageView {
            worker_id: WorkerId(Uuid::from_u128(20)),
            group_id: None,
            shift_date: date("2026-02-02"),
            agent_code: Code::new("chromium_vi").unwrap(),
            criterion: None,
            dose: None,
            eight_hour_twa: twa.map(|twa| Quantity::computed(twa, Unit::UgPerM3)),
            value_at_lower_flow: None,
            sampled_minutes: 465.0,
            shift_minutes: 480.0,
            samples: Vec::new(),
            peaks: None,
            comparisons: Vec::new(),
            flags: Vec::new(),
            working: None,
        }
    }

    // HL7 FHIR R4 (4.0.1, October 2019), Observation: comparator of a quantity; constraint obs-6: a reason for missing
    // data only without a value (from memory).
    #[test]
    fn a_non_detect_is_a_comparator_and_what_tells_nothing_has_a_reason() {
        let of = |twa| observation(&average(twa));
        let below = of(Some(Measured::Below(0.1)));
        assert_eq!(
            (&below["valueQuantity"]["comparator"], &below["valueQuantity"]["code"]),
            (&json!("<"), &json!("ug/m3"))
        );
        let range = of(Some(Measured::Between { lower: 0.0, upper: 0.4 }));
        assert_eq!(range["valueRange"]["high"]["value"], json!(0.4));
        for (found, has_value) in [(below, true), (range, true), (of(None), false)] {
            let value = found.get("valueQuantity").or(found.get("valueRange")).is_some();
            assert_eq!((value, found.get("dataAbsentReason").is_some()), (has_value, !has_value), "{found}");
        }
    }

    #[test]
    fn a_request_refers_to_the_averages_of_its_window_and_to_its_patient() {
        let averages = [average(Some(Measured::Value(3.0)))];
        let person = Person {
            id: WorkerId(Uuid::from_u128(20)),
            given: "A".into(),
            family: "B".into(),
            employments: vec![],
        };
        let all = bundle(&[person], &[request(Some("29 CFR 1910.1026(k)(1)(i)(A)"))], &averages);
        let urls: Vec<&str> =
            all["entry"].as_array().unwrap().iter().map(|one| one["fullUrl"].as_str().unwrap()).collect();
        let asked = &all["entry"][1]["resource"];
        assert_eq!(
            (&asked["resourceType"], &asked["status"], &asked["intent"]),
            (&json!("ServiceRequest"), &json!("active"), &json!("proposal"))
        );
        for reference in
            [&asked["subject"], &asked["reasonReference"][0], &all["entry"][2]["resource"]["focus"]]
        {
            assert!(
                urls.contains(&reference["reference"].as_str().unwrap()),
                "{reference} leads nowhere: {urls:?}"
            );
        }
        let reason = asked["reasonCode"][0]["text"].as_str().unwrap();
        for part in [
            "29 CFR 1910.1026(k)(1)(i)(A) (chromium_vi)",
            "29 CFR of a certain day",
            "from memory",
            WHO_DECIDES,
        ] {
            assert!(reason.contains(part), "{part}: {reason}");
        }
        let mut sorted = urls.clone();
        sorted.sort_unstable();
        sorted.dedup();
        assert_eq!(sorted.len(), urls.len());
    }

    #[test]
    fn what_a_reader_may_not_know_has_no_reason() {
        let asked = service_request(&request(None), &[average(Some(Measured::Value(3.0)))]);
        assert_eq!((asked.get("reasonCode"), asked.get("reasonReference")), (None, None));
        assert!(!asked.to_string().contains("chromium"), "{asked}");
    }
}
