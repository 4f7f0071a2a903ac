//! Sampling events and laboratory reports as coordinators enter them.

use super::plant::Plant;
use serde_json::{Value, json};

/// Puts the fields of one object over those of another.
pub(super) fn with(mut base: Value, change: &Value) -> Value {
    for (field, value) in change.as_object().into_iter().flatten() {
        base[field] = value.clone();
    }
    base
}

/// A filter in a worker's breathing zone for chromium(VI), at 2 L/min unless changed.
///
/// `hours` are local, such as `["07:00", "15:00"]`; `offset` is the site's from UTC on that date.
pub(super) fn filter(
    number: &str,
    worker: &str,
    date: &str,
    hours: [&str; 2],
    offset: &str,
    change: &Value,
) -> Value {
    let [start, end] = hours.map(|at| format!("{date}T{at}:00{offset}"));
    let base = json!({
        "number": number, "position": "breathing_zone", "shift_date": date, "worker_id": worker,
        "agent_codes": ["chromium_vi"], "runs": [{"start": start, "end": end}],
        "flow_before": litres("2.00"), "flow_after": litres("2.00"), "medium": "PVC 5 um 37 mm",
        "medium_lot": "L-11", "pump": format!("P-{number}"), "calibrator": "C-1",
        "calibrated_on": format!("{}-01", &date[..7])
    });
    with(base, change)
}

/// A field blank of the same medium and lot.
pub(super) fn blank(number: &str, date: &str) -> Value {
    json!({"number": number, "position": "field_blank", "shift_date": date, "agent_codes": ["chromium_vi"],
        "medium": "PVC 5 um 37 mm", "medium_lot": "L-11"})
}

/// A flow.
pub(super) fn litres(value: &str) -> Value {
    json!({"value": value, "unit": "L/min"})
}

/// A mass as reported; `<0.24` is below 0.24.
pub(super) fn micrograms(text: &str) -> Value {
    match text.strip_prefix('<') {
        Some(limit) => json!({"comparator": "<", "value": limit, "unit": "ug"}),
        None => json!({"value": text, "unit": "ug"}),
    }
}

/// A row of a report: a mass of chromium(VI).
pub(super) fn row(number: &str, mass: &str, limit: &str, blank_corrected: &str) -> Value {
    json!({"sample_number": number, "agent_code": "chromium_vi", "mass": micrograms(mass),
        "reporting_limit": micrograms(limit), "blank_corrected": blank_corrected})
}

/// A report as JSON.
pub(super) fn report(number: &str, received_on: &str, results: &[Value]) -> Value {
    json!({"report_number": number, "laboratory": "Hollow Lane Laboratory", "received_on": received_on,
        "results": results})
}

impl Plant<'_> {
    /// A coordinator enters an event with its samples; each is kept under its number.
    pub(super) async fn sample(&mut self, who: &str, site: &str, event: Value) -> Value {
        let path = format!("/sites/{}/sampling-events", self.id(site));
        let reference = event["reference"].as_str().unwrap().to_owned();
        let made = self.enter(who, &path, &reference, event).await.json;
        for sample in made["samples"].as_array().unwrap() {
            let (number, id) = (sample["number"].as_str().unwrap(), sample["id"].as_str().unwrap());
            self.name(number, id);
            self.samples.push(id.to_owned());
        }
        made
    }

    /// A coordinator enters a report as JSON.
    pub(super) async fn report(&mut self, who: &str, site: &str, report: &Value) -> Value {
        let path = format!("/sites/{}/lab-reports", self.id(site));
        let made = self.speak(who).post(&path, report).await;
        assert_eq!(made.status, 201, "{}", made.text);
        self.results += report["results"].as_array().unwrap().len();
        made.json
    }

    /// A coordinator sends a report as CSV, to try (`dry_run`) or in earnest.
    pub(super) async fn csv(
        &mut self,
        who: &str,
        site: &str,
        head: &str,
        file: &str,
        dry_run: bool,
    ) -> crate::harness::Answer {
        let path = format!("/sites/{}/lab-reports?{head}&dry_run={dry_run}", self.id(site));
        let answer = self.speak(who).post_text(&path, "text/csv", file.to_owned()).await;
        if answer.status == 201 {
            self.results += file.trim_end().lines().count() - 1;
        }
        answer
    }
}

/// What a report or event says of a sample, by its number.
#[track_caller]
pub(super) fn said<'v>(answer: &'v Value, number: &str) -> &'v Value {
    super::only(answer["samples"].as_array().unwrap(), |sample| sample["number"] == number)
}
