//! The form of a sampling event as its template draws it: cells with what was typed and what is wrong, and what may be
//! chosen.

use crate::model::facts::sampling::{Covers, NoiseCriterion, Position, Purpose, SampleOutcome, SamplerKind};
use crate::pages::entry_form::{DAY, GRID, MORE, READINGS, Row, Typed};
use crate::pages::entry_reading::WorkedOut;
use crate::pages::form::Wrong;
use crate::pages::frame::Choice;
use crate::pages::texts::Texts;
use std::collections::BTreeMap;

/// A field.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Cell {
    /// Its name, which is its identifier too.
    pub id: String,
    /// What was typed.
    pub value: String,
    /// What is wrong.
    pub wrong: String,
    /// What it is, as its label says.
    pub label: String,
    /// The same with the sample that it is of.
    pub whole: String,
}

/// The fields of the day, or of a sample.
#[derive(Debug, Clone, Default)]
pub struct Cells {
    cells: BTreeMap<&'static str, Cell>,
    none: Cell,
}

impl Cells {
    fn of(
        (head, number): (&str, usize),
        fields: impl Iterator<Item = &'static str>,
        row: &Row,
        wrong: &Wrong,
        texts: &Texts,
    ) -> Self {
        let number = number.to_string();
        let cell = |field: &'static str| {
            let id = format!("{head}-{field}");
            let label = texts.word("entry", field);
            let whole = texts.with("entry-of-sample", &[("n", &number), ("what", &label)]);
            let told: Vec<&str> = wrong
                .all()
                .iter()
                .filter(|(name, _)| *name == id)
                .map(|(_, detail)| detail.as_str())
                .collect();
            let wrong = told.join("; ");
            (field, Cell { value: row.raw(field).to_owned(), wrong, label, whole, id })
        };
        Self { cells: fields.map(cell).collect(), none: Cell::default() }
    }

    /// A field.
    pub fn cell(&self, field: &str) -> &Cell {
        self.cells.get(field).unwrap_or(&self.none)
    }
}

/// A fault, and the field that it is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FaultLine {
    /// The field.
    pub field: String,
    /// Which field that is, in words.
    pub label: String,
    /// What is wrong.
    pub detail: String,
}

/// The fields of what was read on site by one criterion.
#[derive(Debug)]
pub struct ReadingShown {
    /// The field of the agent.
    pub agent: &'static str,
    /// The field of the value.
    pub value: &'static str,
    /// The field of the criterion.
    pub criterion: &'static str,
    /// By which criterion noise was read.
    pub criteria: Vec<Choice>,
}

/// One sample.
#[derive(Debug)]
pub struct RowShown {
    /// From 1.
    pub number: usize,
    /// Its name in the form: `r0`.
    pub name: String,
    /// Its fields.
    pub cells: Cells,
    /// Where the air was taken.
    pub positions: Vec<Choice>,
    /// What it stands for.
    pub covers: Vec<Choice>,
    /// What became of it.
    pub outcomes: Vec<Choice>,
    /// How the air was moved.
    pub samplers: Vec<Choice>,
    /// Whether the day was like other days.
    pub alike: Vec<Choice>,
    /// What was read on site.
    pub readings: Vec<ReadingShown>,
    /// What is worked out.
    pub out: WorkedOut,
    /// What is wrong in the columns of the grid.
    pub faults: Vec<FaultLine>,
    /// Whether more is said of it than the grid holds, or something of that is wrong.
    pub more: bool,
}

/// The words of a kind as a choice, with nothing chosen at the head.
macro_rules! choice {
    ($texts:expr, $kind:ty, $family:literal, $none:literal, $asked:expr) => {
        std::iter::once(Choice::new("", $texts.t($none), $asked))
            .chain(
                <$kind>::ALL
                    .iter()
                    .map(|one| Choice::new(one.as_str(), $texts.word($family, one.as_str()), $asked)),
            )
            .collect()
    };
}

/// The fields of the day.
pub fn day(typed: &Typed, wrong: &Wrong, texts: &Texts) -> Cells {
    Cells::of(("d", 0), DAY.iter().copied(), &typed.day, wrong, texts)
}

/// Why an event took place.
pub fn purposes(typed: &Typed, texts: &Texts) -> Vec<Choice> {
    let asked = typed.day.given("purpose").unwrap_or(Purpose::Routine.as_str());
    Purpose::ALL
        .iter()
        .map(|one| Choice::new(one.as_str(), texts.word("purpose", one.as_str()), asked))
        .collect()
}

/// The columns that can be copied down.
pub fn columns(texts: &Texts, asked: &str) -> Vec<Choice> {
    GRID.iter().map(|field| Choice::new(*field, texts.word("entry", field), asked)).collect()
}

/// Every sample.
pub fn rows(typed: &Typed, out: &[WorkedOut], wrong: &Wrong, texts: &Texts) -> Vec<RowShown> {
    typed
        .rows
        .iter()
        .zip(out)
        .enumerate()
        .map(|(n, (row, out))| row_shown(n, row, out, wrong, texts))
        .collect()
}

fn row_shown(n: usize, row: &Row, out: &WorkedOut, wrong: &Wrong, texts: &Texts) -> RowShown {
    let cells = Cells::of((&format!("r{n}"), n + 1), GRID.iter().chain(MORE).copied(), row, wrong, texts);
    let position = row.raw("position").trim().to_lowercase().replace(' ', "_");
    let position = if position.is_empty() { Position::BreathingZone.as_str() } else { &position };
    let mut positions: Vec<Choice> = Position::ALL
        .iter()
        .map(|one| Choice::new(one.as_str(), texts.word("position", one.as_str()), position))
        .collect();
    if positions.iter().all(|one| !one.chosen) {
        // What was pasted and is no position is shown, or it could not be mended.
        positions.push(Choice::new(position, position, position));
    }
    let asked = |field: &str| row.given(field).unwrap_or_default().to_owned();
    let number = n + 1;
    let faults = GRID.iter().map(|field| cells.cell(field)).filter(|cell| !cell.wrong.is_empty());
    let line = |cell: &Cell| FaultLine {
        field: cell.id.clone(),
        label: cell.whole.clone(),
        detail: cell.wrong.clone(),
    };
    RowShown {
        number,
        name: format!("r{n}"),
        positions,
        covers: choice!(texts, Covers, "covers", "entry-as-usual", &asked("covers")),
        outcomes: choice!(texts, SampleOutcome, "outcome", "entry-as-usual", &asked("outcome")),
        samplers: choice!(texts, SamplerKind, "sampler", "entry-as-usual", &asked("sampler_kind")),
        alike: vec![
            Choice::new("", texts.t("entry-alike-yes"), &asked("representative")),
            Choice::new("no", texts.t("entry-alike-no"), &asked("representative")),
        ],
        readings: READINGS
            .iter()
            .map(|[agent, value, criterion]| ReadingShown {
                agent,
                value,
                criterion,
                criteria: choice!(
                    texts,
                    NoiseCriterion,
                    "criterion",
                    "entry-no-criterion",
                    &asked(criterion)
                ),
            })
            .collect(),
        out: out.clone(),
        faults: faults.map(line).collect(),
        more: row.says_more() || MORE.iter().any(|field| !cells.cell(field).wrong.is_empty()),
        cells,
    }
}

/// Every fault in the order of the form.
pub fn faults(wrong: &Wrong, typed: &Typed, texts: &Texts) -> Vec<FaultLine> {
    let mut lines = Vec::new();
    let mut put = |id: &str, label: String| {
        for (_, detail) in wrong.all().iter().filter(|(name, _)| name == id) {
            lines.push(FaultLine { field: id.to_owned(), label: label.clone(), detail: detail.clone() });
        }
    };
    for field in DAY {
        put(&format!("d-{field}"), texts.word("entry", field));
    }
    for n in 0..typed.rows.len() {
        for field in GRID.iter().chain(MORE) {
            let number = (n + 1).to_string();
            let what = texts.word("entry", field);
            put(&format!("r{n}-{field}"), texts.with("entry-of-sample", &[("n", &number), ("what", &what)]));
        }
    }
    lines
}
