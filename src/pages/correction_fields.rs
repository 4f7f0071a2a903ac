//! The fields of facts that pages correct, and how each is typed: told as it is recorded, and read back.

use crate::model::facts::control::ControlKind;
use crate::model::facts::laboratory::BlankCorrected;
use crate::model::facts::sampling::{Covers, NoiseCriterion, Position, Purpose, SampleOutcome, SamplerKind};
use crate::model::quantity::Quantity;
use crate::model::shape::{Shape as _, parse_date};
use crate::model::unit::Unit;
use crate::pages::charts::said;
use crate::pages::entry_known::Known;
use crate::pages::names::Names;
use crate::pages::texts::Texts;
use crate::pages::typed_codes::{self, ByCode};
use crate::pages::{typed_quantities, typed_times};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// How a field is typed.
#[derive(Debug, Clone, Copy)]
pub enum How {
    /// A line.
    Line,
    /// Several lines.
    Lines,
    /// A day.
    Day,
    /// The last day, where the fact holds the first one no longer.
    LastDay,
    /// A number.
    Number,
    /// Minutes, or hours.
    Minutes,
    /// A share, in per cent.
    Share,
    /// A flow with its unit.
    Flow,
    /// A mass, a concentration or a level with its unit.
    Amount,
    /// One of some words, whose texts are a family.
    Word(&'static str, fn() -> Vec<&'static str>),
    /// A list of such words; one is chosen, or those that stand there are kept.
    Words(&'static str, fn() -> Vec<&'static str>),
    /// Yes or no.
    YesNo,
    /// Agents, by code, CAS RN or name.
    Agents,
    /// A worker, by number.
    Worker,
    /// A group of the site, by code.
    Group,
    /// A task of the site, by code.
    Task,
    /// A control of the site, by code.
    Control,
    /// Controls that ran, by code.
    Controls,
    /// Times on and off, by the clock of the site on the shift date.
    Runs,
}

/// A field that can be corrected.
#[derive(Debug, Clone, Copy)]
pub struct Field {
    /// Its name in the fact.
    pub name: &'static str,
    /// How it is typed.
    pub how: How,
}

const fn field(name: &'static str, how: How) -> Field {
    Field { name, how }
}

/// The words of a kind.
macro_rules! words_of {
    ($kind:ty) => {
        || <$kind>::ALL.iter().map(|one| one.as_str()).collect()
    };
}

/// Of a sample.
pub const SAMPLE: &[Field] = &[
    field("number", How::Line),
    field("position", How::Word("position", words_of!(Position))),
    field("shift_date", How::Day),
    field("worker_id", How::Worker),
    field("group_id", How::Group),
    field("task_id", How::Task),
    field("agent_codes", How::Agents),
    field("runs", How::Runs),
    field("minutes_run", How::Minutes),
    field("flow_before", How::Flow),
    field("flow_after", How::Flow),
    field("control_ids_running", How::Controls),
    field("running_share", How::Share),
    field("covers", How::Word("covers", words_of!(Covers))),
    field("duplicate_of", How::Line),
    field("outcome", How::Word("outcome", words_of!(SampleOutcome))),
    field("sampler_kind", How::Word("sampler", words_of!(SamplerKind))),
    field("representative", How::YesNo),
    field("medium", How::Line),
    field("medium_lot", How::Line),
    field("method", How::Line),
    field("method_edition", How::Line),
    field("fraction", How::Line),
    field("pump", How::Line),
    field("calibrator", How::Line),
    field("calibrated_on", How::Day),
    field("location", How::Line),
    field("materials", How::Line),
    field("arc_minutes", How::Minutes),
    field("job_title", How::Line),
    field("ppe_worn", How::Line),
    field("note", How::Lines),
];

/// Of a sampling event.
pub const SAMPLING_EVENT: &[Field] = &[
    field("reference", How::Line),
    field("purpose", How::Words("purpose", words_of!(Purpose))),
    field("sampled_by", How::Line),
    field("shift_minutes", How::Minutes),
    field("conditions", How::Lines),
];

/// Of a result.
pub const RESULT: &[Field] = &[
    field("mass", How::Amount),
    field("concentration", How::Amount),
    field("criterion", How::Word("criterion", words_of!(NoiseCriterion))),
    field("reporting_limit", How::Amount),
    field("detection_limit", How::Amount),
    field("blank_corrected", How::Word("blank-corrected", words_of!(BlankCorrected))),
    field("estimated", How::YesNo),
    field("analysed_on", How::Day),
];

/// Of a laboratory report.
pub const LAB_REPORT: &[Field] = &[
    field("report_number", How::Line),
    field("part", How::Number),
    field("revision", How::Number),
    field("laboratory", How::Line),
    field("accreditation", How::Line),
    field("received_on", How::Day),
];

/// Of a worker's entry.
pub const WORKER: &[Field] =
    &[field("given_name", How::Line), field("family_name", How::Line), field("job_title", How::Line)];

/// Of an assignment.
pub const ASSIGNMENT: &[Field] = &[
    field("worker_id", How::Worker),
    field("group_id", How::Group),
    field("from", How::Day),
    field("to", How::LastDay),
    field("shifts_per_week", How::Number),
    field("hours_per_shift", How::Number),
    field("job_title", How::Line),
    field("respirator_control_id", How::Control),
    field("respirator_worn_share", How::Share),
];

/// Of a task.
pub const TASK: &[Field] = &[
    field("code", How::Line),
    field("title", How::Line),
    field("group_id", How::Group),
    field("from", How::Day),
    field("to", How::LastDay),
    field("usual_minutes_per_shift", How::Minutes),
    field("shifts_per_week", How::Number),
];

/// Of a group.
pub const GROUP: &[Field] = &[
    field("code", How::Line),
    field("title", How::Line),
    field("description", How::Lines),
    field("job_classification", How::Line),
    field("work_area", How::Line),
    field("shift_pattern", How::Line),
];

/// Of a control.
pub const CONTROL: &[Field] = &[
    field("code", How::Line),
    field("title", How::Line),
    field("kind", How::Word("control-kind", words_of!(ControlKind))),
    field("form", How::Line),
    field("assigned_protection_factor", How::Number),
    field("target_reduction_percent", How::Number),
];

/// Every table of fields, for the test of their labels.
pub const ALL: &[&[Field]] =
    &[SAMPLE, SAMPLING_EVENT, RESULT, LAB_REPORT, WORKER, ASSIGNMENT, TASK, GROUP, CONTROL];

/// How the field of a name is typed, of whichever kind it is.
pub fn how(name: &str) -> Option<How> {
    ALL.iter().flat_map(|all| all.iter()).find(|field| field.name == name).map(|field| field.how)
}

/// What fields are told and read by.
#[derive(Clone, Copy)]
pub struct By<'k> {
    /// What is known of the site; nothing where the fact is of no site.
    pub known: Option<&'k Known>,
    /// The names of the workers in it.
    pub names: &'k Names,
    /// The texts.
    pub texts: &'k Texts,
}

impl By<'_> {
    fn code_of(&self, codes: fn(&Known) -> &ByCode, id: &Value) -> String {
        let Some(known) = self.known else { return String::new() };
        let id = id.as_str().and_then(|id| Uuid::parse_str(id).ok());
        let found = codes(known).iter().find(|(_, (one, _))| Some(*one) == id);
        found.map(|(code, _)| code.clone()).unwrap_or_default()
    }

    /// A field as it is typed.
    pub fn told(&self, how: How, value: &Value) -> String {
        let list = |value: &Value, told: &dyn Fn(&Value) -> String, between: &str| {
            value.as_array().into_iter().flatten().map(told).collect::<Vec<_>>().join(between)
        };
        let plain = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        match how {
            How::Line | How::Lines | How::Day | How::Word(..) => plain(value),
            How::LastDay => {
                let last = value.as_str().and_then(parse_date).and_then(|day| day.pred_opt());
                last.map(|day| day.to_string()).unwrap_or_default()
            }
            How::Number => value.as_f64().map(said::tick).unwrap_or_default(),
            How::Minutes => {
                value.as_f64().map(|minutes| format!("{} min", said::tick(minutes))).unwrap_or_default()
            }
            How::Share => {
                value.as_f64().map(|share| format!("{} %", said::tick(share * 100.0))).unwrap_or_default()
            }
            How::Flow | How::Amount => amount_told(value),
            How::Words(..) => list(value, &plain, " "),
            How::YesNo => match value.as_bool() {
                Some(true) => "yes".to_owned(),
                Some(false) => "no".to_owned(),
                None => String::new(),
            },
            How::Agents => list(value, &plain, ", "),
            How::Worker => {
                let id = value.as_str().and_then(|id| Uuid::parse_str(id).ok());
                let parts = id.and_then(|id| self.names.worker_parts(id));
                parts.map(|(_, number)| number.to_owned()).unwrap_or_default()
            }
            How::Group => self.code_of(|known| &known.groups, value),
            How::Task => self.code_of(|known| &known.tasks, value),
            How::Control => self.code_of(|known| &known.controls, value),
            How::Controls if value.as_array().is_some_and(Vec::is_empty) => "none".to_owned(),
            How::Controls => list(value, &|id| self.code_of(|known| &known.controls, id), " "),
            How::Runs => list(value, &|run| self.run_told(run), " "),
        }
    }

    fn run_told(&self, run: &Value) -> String {
        let clock = |at: &Value| {
            let at: Option<DateTime<Utc>> = at.as_str().and_then(|at| at.parse().ok());
            let zone = self.known.map_or(chrono_tz::UTC, |known| known.site.fact.time_zone.0);
            at.map(|at| at.with_timezone(&zone).format("%H:%M").to_string()).unwrap_or_default()
        };
        format!("{}–{}", clock(&run["start"]), clock(&run["end"]))
    }

    /// What a field that is not empty holds; times are those of a day.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read(&self, how: How, text: &str, day: Option<NaiveDate>) -> Result<Value, String> {
        let texts = self.texts;
        let known = || self.known.ok_or_else(|| texts.with("entry-wrong-no-codes", &[("what", text)]));
        match how {
            // What is no day is the use case's to say.
            How::Line | How::Lines | How::Day | How::Word(..) => Ok(json!(text)),
            How::LastDay => Ok(match parse_date(text).and_then(|day| day.succ_opt()) {
                Some(next) => json!(next.to_string()),
                None => json!(text),
            }),
            How::Number => number(text).ok_or_else(|| texts.t("correct-wrong-number")),
            How::Minutes => typed_times::minutes(text)
                .map(|minutes| json!(minutes))
                .ok_or_else(|| texts.t("entry-wrong-minutes")),
            How::Share => typed_codes::share(text)
                .map(|share| json!(said_exactly(share)))
                .ok_or_else(|| texts.t("entry-wrong-share")),
            How::Flow => typed_quantities::flow(text)
                .map_err(|wrong| typed_codes::quantity_wrong(text, wrong, "flow", texts)),
            How::Amount => typed_quantities::amount(text)
                .map_err(|wrong| typed_codes::quantity_wrong(text, wrong, "amount", texts)),
            How::Words(..) => Ok(json!(text.split_whitespace().collect::<Vec<_>>())),
            How::YesNo => Ok(json!(text == "yes")),
            How::Agents => typed_codes::agents(text, known()?, texts).map(|codes| json!(codes)),
            How::Worker => typed_codes::worker(text, known()?, texts).map(|id| json!(id.to_string())),
            How::Group => typed_codes::one(&known()?.groups, text, texts).map(|id| json!(id.to_string())),
            How::Task => typed_codes::one(&known()?.tasks, text, texts).map(|id| json!(id.to_string())),
            How::Control => typed_codes::one(&known()?.controls, text, texts).map(|id| json!(id.to_string())),
            How::Controls => typed_codes::controls(text, known()?, texts).map(|ids| json!(ids)),
            How::Runs => {
                let runs = typed_times::runs(text)
                    .map_err(|piece| texts.with("entry-wrong-time", &[("what", &piece)]))?;
                let zone = known()?.site.fact.time_zone.0;
                let day = day.ok_or_else(|| texts.t("correct-no-day"))?;
                let runs = runs.at_site(day, zone);
                runs.map(Value::Array).ok_or_else(|| texts.with("entry-wrong-clock", &[("what", text)]))
            }
        }
    }
}

/// A number as JSON has it: whole where it is whole.
fn number(text: &str) -> Option<Value> {
    if let Ok(whole) = text.parse::<i64>() {
        return Some(json!(whole));
    }
    text.parse::<f64>().ok().filter(|number| number.is_finite()).map(|number| json!(number))
}

/// Per cent divided by a hundred, without the dust of binary numbers.
fn said_exactly(share: f64) -> f64 {
    crate::model::rounding::significant(share)
}

/// A quantity with the digits in which it was reported.
fn amount_told(value: &Value) -> String {
    let unit = value["unit"].as_str().and_then(Unit::from_code);
    let Some(unit) = unit else { return String::new() };
    let digits = match (&value["reported"], &value["value"]) {
        (Value::String(digits), _) | (_, Value::String(digits)) => digits.clone(),
        (_, Value::Number(number)) => number.as_f64().map(said::tick).unwrap_or_default(),
        _ => return Quantity::parse(value).map_or_else(|_| String::new(), |quantity| told_whole(&quantity)),
    };
    let sign = value["comparator"].as_str().map(|sign| format!("{sign} ")).unwrap_or_default();
    format!("{sign}{digits} {}", unit.symbol())
}

fn told_whole(quantity: &Quantity) -> String {
    crate::pages::result_told::quantity(&quantity.to_json())
}

/// A new value as a merge patch of the old one puts it there whole: what the old one held beside goes.
pub fn whole(old: &Value, new: Value) -> Value {
    let (Value::Object(old), Value::Object(new)) = (old, &new) else { return new };
    let gone = old.keys().filter(|name| !new.contains_key(*name)).map(|name| (name.clone(), Value::Null));
    let mut patch: Map<String, Value> = gone.collect();
    patch.extend(new.clone());
    Value::Object(patch)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pages::texts::english;

    #[test]
    fn what_is_told_is_read_back() {
        let names = Names::default();
        let by = By { known: None, names: &names, texts: english() };
        for (how, value, told) in [
            (How::Line, json!("A-1"), "A-1"),
            (How::Day, json!("2026-03-02"), "2026-03-02"),
            (How::LastDay, json!("2026-03-02"), "2026-03-01"),
            (How::Number, json!(2.5), "2.5"),
            (How::Minutes, json!(443.0), "443 min"),
            (How::Share, json!(0.07), "7 %"),
            (How::YesNo, json!(false), "no"),
            (How::Words("purpose", Vec::new), json!(["routine", "baseline"]), "routine baseline"),
        ] {
            assert_eq!(by.told(how, &value), told, "{how:?}");
            assert_eq!(by.read(how, told, None), Ok(value), "{how:?}");
        }
        let flow = json!({"value": 2.0, "unit": "L/min", "reported": "2.00"});
        assert_eq!(by.told(How::Flow, &flow), "2.00 L/min");
        assert_eq!(by.read(How::Flow, "2.00 L/min", None), Ok(json!({"value": "2.00", "unit": "L/min"})));
        let below = json!({"value": 0.05, "unit": "ug", "comparator": "<", "reported": "0.05"});
        assert_eq!(by.told(How::Amount, &below), "< 0.05 µg");
        let read = by.read(How::Amount, "< 0.05 µg", None).unwrap();
        assert_eq!(read, json!({"value": "0.05", "unit": "ug", "comparator": "<"}));
    }

    #[test]
    fn what_the_old_value_held_beside_goes() {
        let old = json!({"value": 0.05, "unit": "ug", "comparator": "<"});
        let new = json!({"value": "0.06", "unit": "ug"});
        assert_eq!(whole(&old, new), json!({"value": "0.06", "unit": "ug", "comparator": null}));
        assert_eq!(whole(&json!("a"), json!("b")), json!("b"));
    }
}
