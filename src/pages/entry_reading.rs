//! From what was typed of a sampling event to what the use case takes: codes, numbers and units are read here, and what
//! cannot be read is told beside its field; everything else is the use case's to judge.

use crate::conclusions::sampled_air::sampled_air;
use crate::model::facts::sampling::{Position, Sample};
use crate::model::shape::{Shape as _, parse_date};
use crate::pages::entry_form::{Row, Typed};
use crate::pages::entry_known::{Found, Known};
use crate::pages::form::Wrong;
use crate::pages::texts::Texts;
use crate::pages::typed_quantities::{self, QuantityWrong};
use crate::pages::typed_times;
use crate::registry::facts::laboratory_csv::agents_named;
use chrono::{Days, NaiveDate, NaiveTime, TimeDelta, TimeZone as _};
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;
use uuid::Uuid;

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
                    Err(wrong) => self.note(reading, field, name, self.quantity_wrong(text, wrong, "flow")),
                }
            }
        }
        self.numbers(&mut sample, reading);
        sample
    }

    fn agents(&self, sample: &mut Map<String, Value>, reading: &mut Reading) {
        let Some(text) = self.or_day("agents") else { return };
        match codes_of(text, self.known, self.texts) {
            Ok(codes) => drop(sample.insert("agent_codes".into(), json!(codes))),
            Err(detail) => self.note_or_day(reading, "agents", "agent_codes", detail),
        }
    }

    fn people_and_places(&self, sample: &mut Map<String, Value>, reading: &mut Reading, is_blank: bool) {
        if let Some(text) = self.row.given("worker") {
            match self.known.worker(text) {
                Found::One(id) => {
                    sample.insert("worker_id".into(), json!(id.to_string()));
                    self.known.name(id).unwrap_or_default().clone_into(&mut reading.worked_out[self.n].who);
                }
                Found::Nobody => {
                    let detail = self.texts.with("entry-wrong-worker", &[("what", text)]);
                    self.note(reading, "worker", "worker_id", detail);
                    reading.told.insert(format!("{}/group_id", self.at));
                }
                Found::Several => {
                    let detail = self.texts.with("entry-wrong-workers", &[("what", text)]);
                    self.note(reading, "worker", "worker_id", detail);
                    reading.told.insert(format!("{}/group_id", self.at));
                }
            }
        }
        let task = if is_blank { self.row.given("task") } else { self.or_day("task") };
        if let Some(text) = task {
            if let Some(id) = find(&self.known.tasks, text) {
                sample.insert("task_id".into(), json!(id.to_string()));
            } else {
                self.note_or_day(reading, "task", "task_id", self.no_code(text, self.known.tasks.keys()));
            }
        }
        if let Some(text) = self.row.given("group") {
            match find(&self.known.groups, text) {
                Some(id) => drop(sample.insert("group_id".into(), json!(id.to_string()))),
                None => self.note(reading, "group", "group_id", self.no_code(text, self.known.groups.keys())),
            }
        }
        let Some(text) = self.row.given("controls") else { return };
        let mut running = Vec::new();
        if text.eq_ignore_ascii_case("none") {
            sample.insert("control_ids_running".into(), json!(running));
            return;
        }
        for code in text.split([',', ';']).flat_map(|part| whole_or_words(part, &self.known.controls)) {
            let Some(id) = find(&self.known.controls, code) else {
                let detail = self.no_code(code, self.known.controls.keys());
                return self.note(reading, "controls", "control_ids_running", detail);
            };
            running.push(id.to_string());
        }
        sample.insert("control_ids_running".into(), json!(running));
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
        let mut runs = Vec::new();
        for (start, end) in &typed.runs {
            let (start, end) = (self.instant(date, *start), end.map(|end| self.instant(date, end)));
            let (Some(start), None | Some(Some(_))) = (start, &end) else {
                let detail = self.texts.with("entry-wrong-clock", &[("what", text)]);
                return self.note(reading, "runs", "runs", detail);
            };
            let mut run = json!({"start": start});
            if let Some(Some(end)) = end {
                run["end"] = json!(end);
            }
            runs.push(run);
        }
        if !runs.is_empty() {
            sample.insert("runs".into(), json!(runs));
        }
        if let Some(minutes) = typed.minutes {
            sample.insert("minutes_run".into(), json!(minutes));
        }
    }

    /// An instant of the site's clock; nothing where the clocks jumped over it. Where they show it twice, the first.
    fn instant(&self, date: NaiveDate, minutes: i64) -> Option<String> {
        let days = u64::try_from(minutes.div_euclid(24 * 60)).ok()?;
        let time = NaiveTime::MIN.overflowing_add_signed(TimeDelta::minutes(minutes.rem_euclid(24 * 60))).0;
        let local = date.checked_add_days(Days::new(days))?.and_time(time);
        let at = self.known.site.fact.time_zone.0.from_local_datetime(&local).earliest()?;
        Some(at.to_rfc3339())
    }

    fn numbers(&self, sample: &mut Map<String, Value>, reading: &mut Reading) {
        if let Some(text) = self.row.given("arc") {
            match typed_times::minutes(text) {
                Some(minutes) => drop(sample.insert("arc_minutes".into(), json!(minutes))),
                None => self.note(reading, "arc", "arc_minutes", self.texts.t("entry-wrong-minutes")),
            }
        }
        if let Some(text) = self.row.given("share") {
            match share(text) {
                Some(share) => drop(sample.insert("running_share".into(), json!(share))),
                None => self.note(reading, "share", "running_share", self.texts.t("entry-wrong-share")),
            }
        }
        let Some(text) = self.row.given("read_value") else { return };
        let agent = self.row.given("read_agent").unwrap_or("noise");
        let agent = match codes_of(agent, self.known, self.texts) {
            Ok(codes) => codes.into_iter().next().unwrap_or_default(),
            Err(detail) => return self.note(reading, "read_agent", "on_site_results", detail),
        };
        match typed_quantities::exposure(text) {
            Ok(value) => {
                let mut read = json!({"agent_code": agent, "value": value});
                if let Some(criterion) = self.row.given("read_criterion") {
                    read["criterion"] = json!(criterion);
                }
                sample.insert("on_site_results".into(), json!([read]));
            }
            Err(wrong) => {
                let detail = self.quantity_wrong(text, wrong, "level");
                self.note(reading, "read_value", "on_site_results", detail);
            }
        }
    }

    fn quantity_wrong(&self, text: &str, wrong: QuantityWrong, what: &str) -> String {
        let (key, put_in) = match (wrong, what) {
            (QuantityWrong::NoNumber, "flow") => ("entry-wrong-flow", text.to_owned()),
            (QuantityWrong::NoNumber, _) => ("entry-wrong-level", text.to_owned()),
            (QuantityWrong::Comma, _) => ("entry-wrong-comma", text.to_owned()),
            (QuantityWrong::NoUnit(number), "flow") => ("entry-wrong-no-unit", number),
            (QuantityWrong::NoUnit(number), _) => ("entry-wrong-level", number),
            (QuantityWrong::OtherUnit(unit), "flow") => ("entry-wrong-flow-unit", unit),
            (QuantityWrong::OtherUnit(unit), _) => ("entry-wrong-level-unit", unit),
        };
        self.texts.with(key, &[("what", &put_in)])
    }

    fn no_code<'k>(&self, text: &str, codes: impl Iterator<Item = &'k String>) -> String {
        let codes: Vec<&str> = codes.map(String::as_str).take(12).collect();
        let put_in = [("what", text), ("by", &codes.join(", "))];
        self.texts.with(if codes.is_empty() { "entry-wrong-no-codes" } else { "entry-wrong-code" }, &put_in)
    }
}

/// Codes of agents, by code, CAS RN or name, with commas or semicolons between them.
fn codes_of(text: &str, known: &Known, texts: &Texts) -> Result<Vec<String>, String> {
    // A name may hold commas itself.
    if let [one] = agents_named(text, &known.agents).as_slice() {
        return Ok(vec![one.code.to_string()]);
    }
    text.split([',', ';'])
        .map(str::trim)
        .filter(|part| !part.is_empty())
        .map(|part| match agents_named(part, &known.agents).as_slice() {
            [one] => Ok(one.code.to_string()),
            [] => Err(texts.with("entry-wrong-agent", &[("what", part)])),
            several => {
                let codes: Vec<&str> = several.iter().map(|agent| agent.code.as_str()).collect();
                Err(texts.with("entry-wrong-agents", &[("what", part), ("by", &codes.join(", "))]))
            }
        })
        .collect()
}

type ByCode = std::collections::BTreeMap<String, (Uuid, String)>;

fn find(by_code: &ByCode, text: &str) -> Option<Uuid> {
    let text = text.trim();
    let found = by_code
        .get(text)
        .or_else(|| by_code.iter().find(|(code, _)| code.eq_ignore_ascii_case(text)).map(|(_, found)| found));
    found.map(|(id, _)| *id)
}

/// A part of a list as one code, or as the words in it.
fn whole_or_words<'t>(part: &'t str, by_code: &ByCode) -> Vec<&'t str> {
    let part = part.trim();
    if part.is_empty() {
        Vec::new()
    } else if find(by_code, part).is_some() {
        vec![part]
    } else {
        part.split_whitespace().collect()
    }
}

/// A share: `80 %` or `0.8`.
fn share(text: &str) -> Option<f64> {
    match text.trim().strip_suffix('%') {
        Some(per_cent) => per_cent.trim().parse::<f64>().ok().map(|share| share / 100.0),
        None => text.trim().parse().ok(),
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
