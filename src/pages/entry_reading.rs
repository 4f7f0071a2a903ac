//! From what was typed of a sampling event to what the use case takes: codes, numbers and units are read here, and what
//! cannot be read is told beside its field; everything else is the use case's to judge.

use crate::conclusions::sampled_air::sampled_air;
use crate::model::facts::sampling::{Position, Sample};
use crate::model::shape::{Shape as _, parse_date};
use crate::pages::entry_form::{READINGS, Row, Typed};
use crate::pages::entry_known::Known;
use crate::pages::form::Wrong;
use crate::pages::texts::Texts;
use crate::pages::typed_codes;
use crate::pages::typed_quantities;
use crate::pages::typed_times;
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;

/// What is worked out of one sample while it is typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WorkedOut {
    /// Minutes run.
    pub minutes: String,
    /// Change of the flow, per cent.
    pub change: String,
    /// Litres.
    pub volume: String,
    /// The worker's name.
    pub who: String,
    /// Whether the flow changed by more than is accepted.
    pub flow_changed: bool,
}

/// What was typed, as the use case takes it.
#[derive(Debug)]
pub struct Reading {
    /// The body of the request.
    pub body: Value,
    /// What could not be read, by field: `d-agents`, `r3-before`.
    pub wrong: Wrong,
    /// The row of each sample of the body.
    pub rows: Vec<usize>,
    /// What is worked out, row by row.
    pub worked_out: Vec<WorkedOut>,
    /// Pointers at and below which the use case can only say what is told already.
    pub(super) told: BTreeSet<String>,
}

/// Numbers of workers that were typed.
pub fn numbers(typed: &Typed) -> BTreeSet<String> {
    let rows = typed.rows.iter().filter_map(|row| row.given("worker"));
    rows.map(|text| crate::pages::entry_known::number_and_employer(text).0.to_owned()).collect()
}

/// Reads what was typed.
pub fn read(typed: &Typed, known: &Known, texts: &Texts) -> Reading {
    let mut reading = Reading {
        body: json!({}),
        wrong: Wrong::default(),
        rows: Vec::new(),
        worked_out: vec![WorkedOut::default(); typed.rows.len()],
        told: BTreeSet::new(),
    };
    let day = &typed.day;
    let mut body = Map::new();
    for (field, name) in
        [("reference", "reference"), ("sampled_by", "sampled_by"), ("conditions", "conditions")]
    {
        if let Some(text) = day.given(field) {
            body.insert(name.into(), json!(text));
        }
    }
    if let Some(purpose) = day.given("purpose") {
        body.insert("purpose".into(), json!([purpose]));
    }
    if let Some(text) = day.given("shift_minutes") {
        match typed_times::minutes(text) {
            Some(minutes) => drop(body.insert("shift_minutes".into(), json!(minutes))),
            None => reading.note("d-shift_minutes", texts.t("entry-wrong-minutes"), "/shift_minutes"),
        }
    }
    let mut samples = Vec::new();
    for (n, row) in typed.rows.iter().enumerate().filter(|(_, row)| !row.is_blank()) {
        reading.rows.push(n);
        let mut of = OfRow { n, at: format!("/samples/{}", samples.len()), row, day, known, texts };
        let sample = of.read(&mut reading);
        reading.worked_out[n] = work_out(&sample, &of, &reading.worked_out[n].who);
        samples.push(Value::Object(sample));
    }
    body.insert("samples".into(), Value::Array(samples));
    reading.body = Value::Object(body);
    reading
}

impl Reading {
    fn note(&mut self, field: &str, detail: String, pointer: &str) {
        self.wrong.note(field, detail);
        self.told.insert(pointer.to_owned());
    }
}

/// One sample while it is read.
struct OfRow<'r> {
    n: usize,
    at: String,
    row: &'r Row,
    day: &'r Row,
    known: &'r Known,
    texts: &'r Texts,
}

impl<'r> OfRow<'r> {
    /// What the sample says, or else the day.
    fn or_day(&self, field: &str) -> Option<&'r str> {
        self.row.given(field).or_else(|| self.day.given(field))
    }

    fn note(&self, reading: &mut Reading, field: &str, pointer: &str, detail: String) {
        reading.note(&format!("r{}-{field}", self.n), detail, &format!("{}/{pointer}", self.at));
    }

    /// Notes a fault of a field that stands on the sample, or else on the day.
    fn note_or_day(&self, reading: &mut Reading, field: &str, pointer: &str, detail: String) {
        let name = if self.row.given(field).is_some() {
            format!("r{}-{field}", self.n)
        } else {
            format!("d-{field}")
        };
        if reading.wrong.all().iter().any(|(known, told)| *known == name && *told == detail) {
            reading.told.insert(format!("{}/{pointer}", self.at));
            return;
        }
        reading.note(&name, detail, &format!("{}/{pointer}", self.at));
    }

    fn read(&mut self, reading: &mut Reading) -> Map<String, Value> {
        let mut sample = Map::new();
        let mut put = |name: &str, text: Option<&str>| {
            if let Some(text) = text {
                sample.insert(name.into(), json!(text));
            }
        };
        let position = self.row.given("position").map_or_else(
            || Position::BreathingZone.as_str().to_owned(),
            |text| text.to_lowercase().replace(' ', "_"),
        );
        put("number", self.row.given("number"));
        put("position", Some(&position));
        put("shift_date", self.row.given("date").or_else(|| self.day.given("shift_date")));
        for field in
            ["covers", "duplicate_of", "outcome", "sampler_kind", "location", "pump", "materials", "note"]
        {
            put(field, self.row.given(field));
        }
        put("ppe_worn", self.row.given("ppe"));
        put("method", self.or_day("method"));
        put("medium", self.or_day("medium"));
        put("medium_lot", self.or_day("lot"));
        put("calibrator", self.day.given("calibrator"));
        put("calibrated_on", self.day.given("calibrated_on"));
        if self.row.given("representative") == Some("no") {
            sample.insert("representative".into(), json!(false));
        }
        self.agents(&mut sample, reading);
        self.people_and_places(&mut sample, reading, position == Position::FieldBlank.as_str());
        self.runs(&mut sample, reading);
        for (field, name) in [("before", "flow_before"), ("after", "flow_after")] {
            if let Some(text) = self.row.given(field) {
                match typed_quantities::flow(text) {
                    Ok(flow) => drop(sample.insert(name.into(), flow)),
                    Err(wrong) => self.note(
                        reading,
                        field,
                        name,
                        typed_codes::quantity_wrong(text, wrong, "flow", self.texts),
                    ),
                }
            }
        }
        self.numbers(&mut sample, reading);
        sample
    }

    fn agents(&self, sample: &mut Map<String, Value>, reading: &mut Reading) {
        let Some(text) = self.or_day("agents") else { return };
        match typed_codes::agents(text, self.known, self.texts) {
            Ok(codes) => drop(sample.insert("agent_codes".into(), json!(codes))),
            Err(detail) => self.note_or_day(reading, "agents", "agent_codes", detail),
        }
    }

    fn people_and_places(&self, sample: &mut Map<String, Value>, reading: &mut Reading, is_blank: bool) {
        if let Some(text) = self.row.given("worker") {
            match typed_codes::worker(text, self.known, self.texts) {
                Ok(id) => {
                    sample.insert("worker_id".into(), json!(id.to_string()));
                    self.known.name(id).unwrap_or_default().clone_into(&mut reading.worked_out[self.n].who);
                }
                Err(detail) => {
                    self.note(reading, "worker", "worker_id", detail);
                    reading.told.insert(format!("{}/group_id", self.at));
                }
            }
        }
        let task = if is_blank { self.row.given("task") } else { self.or_day("task") };
        if let Some(text) = task {
            match typed_codes::one(&self.known.tasks, text, self.texts) {
                Ok(id) => drop(sample.insert("task_id".into(), json!(id.to_string()))),
                Err(detail) => self.note_or_day(reading, "task", "task_id", detail),
            }
        }
        if let Some(text) = self.row.given("group") {
            match typed_codes::one(&self.known.groups, text, self.texts) {
                Ok(id) => drop(sample.insert("group_id".into(), json!(id.to_string()))),
                Err(detail) => self.note(reading, "group", "group_id", detail),
            }
        }
        let Some(text) = self.row.given("controls") else { return };
        match typed_codes::controls(text, self.known, self.texts) {
            Ok(running) => drop(sample.insert("control_ids_running".into(), json!(running))),
            Err(detail) => self.note(reading, "controls", "control_ids_running", detail),
        }
    }

    fn runs(&self, sample: &mut Map<String, Value>, reading: &mut Reading) {
        let Some(text) = self.row.given("runs") else { return };
        let typed = match typed_times::runs(text) {
            Ok(typed) => typed,
            Err(piece) => {
                let detail = self.texts.with("entry-wrong-time", &[("what", &piece)]);
                return self.note(reading, "runs", "runs", detail);
            }
        };
        let date = self.row.given("date").or_else(|| self.day.given("shift_date")).and_then(parse_date);
        let Some(date) = date else {
            // Without its day a time stands nowhere; the missing day is told already.
            reading.told.insert(format!("{}/runs", self.at));
            return;
        };
        let Some(runs) = typed.at_site(date, self.known.site.fact.time_zone.0) else {
            let detail = self.texts.with("entry-wrong-clock", &[("what", text)]);
            return self.note(reading, "runs", "runs", detail);
        };
        if !runs.is_empty() {
            sample.insert("runs".into(), json!(runs));
        }
        if let Some(minutes) = typed.minutes {
            sample.insert("minutes_run".into(), json!(minutes));
        }
    }

    fn numbers(&self, sample: &mut Map<String, Value>, reading: &mut Reading) {
        if let Some(text) = self.row.given("arc") {
            match typed_times::minutes(text) {
                Some(minutes) => drop(sample.insert("arc_minutes".into(), json!(minutes))),
                None => self.note(reading, "arc", "arc_minutes", self.texts.t("entry-wrong-minutes")),
            }
        }
        if let Some(text) = self.row.given("share") {
            match typed_codes::share(text) {
                Some(share) => drop(sample.insert("running_share".into(), json!(share))),
                None => self.note(reading, "share", "running_share", self.texts.t("entry-wrong-share")),
            }
        }
        let readings: Vec<Value> =
            READINGS.iter().filter_map(|fields| self.read_on_site(fields, reading)).collect();
        if !readings.is_empty() {
            sample.insert("on_site_results".into(), json!(readings));
        }
    }

    /// What was read on site by one criterion.
    fn read_on_site(&self, [agent, value, criterion]: &[&str; 3], reading: &mut Reading) -> Option<Value> {
        let text = self.row.given(value)?;
        let typed = self.row.given(agent).unwrap_or("noise");
        let code = match typed_codes::agents(typed, self.known, self.texts) {
            Ok(codes) => codes.into_iter().next().unwrap_or_default(),
            Err(detail) => {
                self.note(reading, agent, "on_site_results", detail);
                return None;
            }
        };
        match typed_quantities::exposure(text) {
            Ok(read) => {
                let mut read = json!({"agent_code": code, "value": read});
                if let Some(criterion) = self.row.given(criterion) {
                    read["criterion"] = json!(criterion);
                }
                Some(read)
            }
            Err(wrong) => {
                let detail = typed_codes::quantity_wrong(text, wrong, "level", self.texts);
                self.note(reading, value, "on_site_results", detail);
                None
            }
        }
    }
}

/// What follows from the flows and times of a sample, as its conclusion will say it.
fn work_out(sample: &Map<String, Value>, of: &OfRow<'_>, who: &str) -> WorkedOut {
    let mut out = WorkedOut { who: who.to_owned(), ..WorkedOut::default() };
    let mut only = json!({
        "number": "1", "shift_date": "2000-01-01", "calibrated_on": "2000-01-01",
        "position": sample.get("position").cloned().unwrap_or_default(),
    });
    for field in ["runs", "minutes_run", "flow_before", "flow_after", "sampler_kind", "outcome"] {
        if let Some(value) = sample.get(field) {
            only[field] = value.clone();
        }
    }
    let Ok(read) = Sample::parse(&only) else { return out };
    let air = sampled_air(&read, None);
    let ran =
        of.row.given("runs").and_then(|text| typed_times::runs(text).ok()).and_then(|typed| typed.ran());
    let Some(ran) = ran else { return WorkedOut { change: change_of(air.flow_change_percent), ..out } };
    // By the site's clock where the day is known, which is longer or shorter where the clocks change.
    let minutes = if sample.contains_key("runs") { air.minutes } else { ran };
    out.minutes = format!("{minutes:.0}");
    out.change = change_of(air.flow_change_percent);
    out.volume = air.volume.map(volume_told).unwrap_or_default();
    out.flow_changed = air.volume_at_lower_flow.is_some();
    out
}

fn change_of(change: Option<f64>) -> String {
    change.map(change_told).unwrap_or_default()
}

/// A change in per cent: `−1.5 %`.
pub fn change_told(change: f64) -> String {
    let told = format!("{:.1}", change.abs());
    if change < 0.0 && told != "0.0" { format!("−{told} %") } else { format!("{told} %") }
}

/// A volume: `897 L`.
pub fn volume_told(volume: f64) -> String {
    if volume >= 100.0 {
        format!("{volume:.0} L")
    } else if volume >= 10.0 {
        format!("{volume:.1} L")
    } else {
        format!("{volume:.2} L")
    }
}
