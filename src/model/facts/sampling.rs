//! Sampling events, samples, and direct readings.

use crate::model::identifiers::{ControlId, GroupId, TaskId, WorkerId};
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::text::{Code, Line, Text};
use crate::model::unit::Unit;
use crate::{record, words};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::{Value, json};

words! {
    /// Why an event took place.
    pub enum Purpose {
        /// Routine monitoring.
        Routine = "routine",
        /// To know where one starts from.
        Baseline = "baseline",
        /// The worst case was looked for.
        WorstCase = "worst_case",
        /// A control was tried with and without.
        ControlTrial = "control_trial",
        /// After a complaint.
        Complaint = "complaint",
        /// During an upset of the process.
        Upset = "upset",
        /// During an emergency.
        Emergency = "emergency",
        /// Anything else.
        Other = "other",
    }
}

/// How the time of a shift that was not sampled is taken.
#[derive(Debug, Clone, PartialEq)]
pub enum UnsampledAs {
    /// Nothing was breathed (went home, office); needs a reason.
    Zero,
    /// The same as the sampled time.
    AsSampled,
    /// This concentration.
    Concentration(Quantity),
}

impl Shape for UnsampledAs {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            Value::String(word) if word == "zero" => Some(Self::Zero),
            Value::String(word) if word == "as_sampled" => Some(Self::AsSampled),
            Value::Object(map) if map.len() == 1 && map.contains_key("concentration") => {
                Quantity::read(&map["concentration"], &format!("{at}/concentration"), faults)
                    .map(Self::Concentration)
            }
            _ => {
                faults.note(at, "must be zero, as_sampled or an object with a concentration");
                None
            }
        }
    }

    fn write(&self) -> Option<Value> {
        Some(match self {
            Self::Zero => json!("zero"),
            Self::AsSampled => json!("as_sampled"),
            Self::Concentration(quantity) => json!({"concentration": quantity.to_json()}),
        })
    }

    fn schema() -> Value {
        json!({"oneOf": [
            {"type": "string", "enum": ["zero", "as_sampled"]},
            {"type": "object", "properties": {"concentration": Quantity::schema()}, "required": ["concentration"],
             "additionalProperties": false},
        ]})
    }
}

record! {
    /// How unsampled time of a shift is taken, and why.
    pub struct Unsampled {
        /// `zero`, `as_sampled` or a concentration.
        taken_as = "as": UnsampledAs,
        /// Why.
        reason: Text,
    }
}

record! {
    /// One worker's shift in an event.
    pub struct Shift {
        /// The worker.
        worker_id: WorkerId,
        /// The site's local date on which the shift starts.
        shift_date: NaiveDate,
        /// The group, where the shift was split over several.
        group_id: Option<GroupId>,
        /// Minutes at work without breaks away from the work area.
        shift_minutes: f64,
        /// How the unsampled rest is taken.
        unsampled: Option<Unsampled>,
    }
}

words! {
    /// Where the air was taken.
    pub enum Position {
        /// In the worker's breathing zone.
        BreathingZone = "breathing_zone",
        /// At a fixed place in the room.
        Area = "area",
        /// Before a filter or cleaner.
        Inlet = "inlet",
        /// Behind it.
        Outlet = "outlet",
        /// Away from the work.
        Background = "background",
        /// No air at all: carried along unopened.
        FieldBlank = "field_blank",
    }
}

words! {
    /// What part of a shift a sample stands for.
    pub enum Covers {
        /// The shift.
        Shift = "shift",
        /// One task of it.
        Task = "task",
        /// A short term (15 minutes or the like).
        ShortTerm = "short_term",
        /// The same time as another sample.
        Duplicate = "duplicate",
    }
}

words! {
    /// How the air was moved.
    pub enum SamplerKind {
        /// By a pump.
        Pumped = "pumped",
        /// By diffusion.
        Passive = "passive",
        /// A noise dosimeter or the like.
        Dosimeter = "dosimeter",
    }
}

words! {
    /// What became of a sample.
    pub enum SampleOutcome {
        /// It went well.
        Valid = "valid",
        /// The pump failed.
        PumpFailed = "pump_failed",
        /// Lost.
        Lost = "lost",
        /// Damaged.
        Damaged = "damaged",
        /// Contaminated.
        Contaminated = "contaminated",
        /// Never analysed.
        NotAnalysed = "not_analysed",
    }
}

record! {
    /// A stretch of time over which the sampler ran.
    pub struct Run {
        /// Start.
        start: DateTime<Utc>,
        /// End; may be missing when the outcome is not valid.
        end: Option<DateTime<Utc>>,
    }
}

words! {
    /// By which criterion a noise dose was counted.
    pub enum NoiseCriterion {
        /// Criterion 90 dBA, threshold 90 dBA, exchange rate 5 dB.
        OshaLimit = "osha_limit",
        /// Criterion 90 dBA, threshold 80 dBA, exchange rate 5 dB.
        OshaActionLevel = "osha_action_level",
        /// Criterion 85 dBA, no threshold, exchange rate 3 dB.
        Niosh = "niosh",
    }
}

record! {
    /// A result read on site (a dosimeter's, a badge's).
    pub struct OnSiteResult {
        /// The agent.
        agent_code: Code,
        /// What was read. Of noise a level in `dB[A]` is the average over the sample's run by the criterion (not yet over 8
        /// hours), with `<` where the dosimeter shows no number; a value in % is the dose of the run. Each criterion that
        /// was read is a result of its own.
        value: Quantity,
        /// By which criterion, for noise; without it no dose is made.
        criterion: Option<NoiseCriterion>,
    }
}

record! {
    /// The printed labels of a sample's day, kept so that they print decades later as they stood.
    pub struct Labels {
        /// The worker's name.
        worker_name: Option<String>,
        /// The group's title.
        group_title: Option<String>,
        /// The task's title.
        task_title: Option<String>,
        /// Titles of the controls running.
        control_titles: Option<Vec<String>>,
    }
}

record! {
    /// One sample.
    pub struct Sample {
        /// Its number, unique at the site.
        number: Code,
        /// Where the air was taken.
        position: Position,
        /// The site's local date on which the shift starts.
        shift_date: NaiveDate,
        /// What the laboratory is asked for.
        agent_codes: Option<Vec<Code>>,
        /// What it stands for (the shift if left out).
        covers: Option<Covers>,
        /// The number of the sample it duplicates.
        duplicate_of: Option<Code>,
        /// How the air was moved (pumped if left out).
        sampler_kind: Option<SamplerKind>,
        /// What became of it (valid if left out).
        outcome: Option<SampleOutcome>,
        /// The group; silent: that of the worker's assignment on the date.
        group_id: Option<GroupId>,
        /// The task.
        task_id: Option<TaskId>,
        /// The worker, for the breathing zone.
        worker_id: Option<WorkerId>,
        /// When the sampler ran.
        runs: Option<Vec<Run>>,
        /// Minutes by the pump's own counter; wins over the runs.
        minutes_run: Option<f64>,
        /// Flow before sampling.
        flow_before: Option<Quantity>,
        /// Flow after sampling.
        flow_after: Option<Quantity>,
        /// The medium.
        medium: Option<Line>,
        /// Its lot.
        medium_lot: Option<Line>,
        /// The method.
        method: Option<Line>,
        /// Its edition.
        method_edition: Option<Line>,
        /// The fraction sampled.
        fraction: Option<Line>,
        /// The pump.
        pump: Option<Line>,
        /// The calibrator.
        calibrator: Option<Line>,
        /// When that was calibrated.
        calibrated_on: Option<NaiveDate>,
        /// The place.
        location: Option<Line>,
        /// Materials worked on.
        materials: Option<Line>,
        /// Minutes of arc time.
        arc_minutes: Option<f64>,
        /// The job title then.
        job_title: Option<Line>,
        /// Protective equipment worn.
        ppe_worn: Option<Line>,
        /// Controls running; left out: not recorded, empty: nothing ran.
        control_ids_running: Option<Vec<ControlId>>,
        /// The share of the sampled time they ran.
        running_share: Option<f64>,
        /// Whether the day was like other days (true if left out).
        representative: Option<bool>,
        /// Results read on site.
        on_site_results: Option<Vec<OnSiteResult>>,
        /// Anything else.
        note: Option<Text>,
        /// The labels of the day, written by the registry.
        labels: Option<Labels>,
        /// `true`, written by the registry, where it was corrected after a result was known whether the sample is
        /// representative.
        changed_after_result: Option<bool>,
    }
}

impl Sample {
    /// What it stands for.
    pub fn covered(&self) -> Covers {
        self.covers.unwrap_or(Covers::Shift)
    }

    /// How the air was moved.
    pub fn sampler(&self) -> SamplerKind {
        self.sampler_kind.unwrap_or(SamplerKind::Pumped)
    }

    /// What became of it.
    pub fn came_out(&self) -> SampleOutcome {
        self.outcome.unwrap_or(SampleOutcome::Valid)
    }

    /// Whether it is a blank.
    pub fn is_blank(&self) -> bool {
        self.position == Position::FieldBlank
    }

    /// Whether the day was like other days.
    pub fn is_representative(&self) -> bool {
        self.representative.unwrap_or(true)
    }

    /// Minutes sampled: the pump's counter, else the sum of the finished runs.
    pub fn minutes(&self) -> f64 {
        self.minutes_run.unwrap_or_else(|| {
            self.runs
                .iter()
                .flatten()
                .filter_map(|run| run.end.map(|end| (end - run.start).as_seconds_f64() / 60.0))
                .sum()
        })
    }
}

record! {
    /// What is sent to enter a sampling event.
    pub struct SamplingEventDraft {
        /// The site's own reference, unique there.
        reference: Code,
        /// Why it took place (routine if left out).
        purpose: Option<Vec<Purpose>>,
        /// Who sampled.
        sampled_by: Line,
        /// Minutes of the shift without breaks away from the work area (480 if left out).
        shift_minutes: Option<f64>,
        /// Shifts that differ.
        shifts: Option<Vec<Shift>>,
        /// Weather, doors, anything that bears on the air.
        conditions: Option<Text>,
        /// The samples.
        samples: Vec<Sample>,
    }
}

record! {
    /// A sampling event; its samples are facts of their own.
    pub struct SamplingEvent {
        /// The site's own reference, unique there.
        reference: Code,
        /// Why it took place.
        purpose: Vec<Purpose>,
        /// Who sampled.
        sampled_by: Line,
        /// Minutes of the shift without breaks away from the work area.
        shift_minutes: f64,
        /// Shifts that differ.
        shifts: Option<Vec<Shift>>,
        /// Weather, doors, anything that bears on the air.
        conditions: Option<Text>,
        /// `true`, written by the registry, where it was corrected after a result was known why the event took place.
        changed_after_result: Option<bool>,
    }
}

record! {
    /// One point of a series.
    pub struct ReadingPoint {
        /// When.
        at: DateTime<Utc>,
        /// The reading, in the series' unit.
        value: f64,
    }
}

record! {
    /// A series of direct readings: one running state at one place.
    pub struct DirectReadings {
        /// The instrument.
        instrument: Line,
        /// When it was calibrated.
        calibrated_on: Option<NaiveDate>,
        /// Where the air was taken.
        position: Position,
        /// The place.
        location: Option<Line>,
        /// The worker.
        worker_id: Option<WorkerId>,
        /// The group.
        group_id: Option<GroupId>,
        /// The task.
        task_id: Option<TaskId>,
        /// The site's local date on which the shift starts.
        shift_date: NaiveDate,
        /// Controls running; left out: not recorded, empty: nothing ran.
        control_ids_running: Option<Vec<ControlId>>,
        /// The unit of every reading.
        unit: Unit,
        /// The points.
        readings: Vec<ReadingPoint>,
    }
}
