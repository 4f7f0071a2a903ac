//! A worked example: its inputs, and what is expected within which tolerance.

use doseward::model::measured::Measured;
use serde_json::Value;
use std::collections::BTreeSet;

/// What was compared.
#[derive(Debug, Default, Clone, Copy)]
pub(crate) struct Tally {
    /// Examples that were gone through.
    pub(crate) examples: usize,
    /// Figures and words that were compared.
    pub(crate) figures: usize,
    /// Figures that were left, each with its reason.
    pub(crate) left: usize,
}

impl Tally {
    /// Adds what an example or an area came to.
    pub(crate) fn add(&mut self, other: Self) {
        self.examples += other.examples;
        self.figures += other.figures;
        self.left += other.left;
    }
}

/// All examples of an area are checked by `check`.
///
/// An example that it does not know fails, by its last arm; so does an expected figure that was neither compared nor
/// left with a reason.
pub(crate) fn check_area(letter: &str, check: fn(&mut Case)) -> Tally {
    let document = document();
    let mut tally = Tally::default();
    for mut case in cases(&document).into_iter().filter(|case| case.id.starts_with(letter)) {
        check(&mut case);
        tally.add(case.finish());
    }
    assert!(tally.examples > 0, "there is no example of area {letter}");
    println!("area {letter}: {} examples, {} figures, {} left", tally.examples, tally.figures, tally.left);
    tally
}

/// The file as it stands.
pub(crate) fn document() -> Value {
    serde_json::from_str(include_str!("worked-examples.json")).unwrap()
}

/// Every example of the file, nothing of it compared yet.
pub(crate) fn cases(document: &Value) -> Vec<Case<'_>> {
    let of = |content| Case::of(content, document);
    document["cases"].as_array().unwrap().iter().map(of).collect()
}

/// One worked example.
pub(crate) struct Case<'d> {
    content: &'d Value,
    document: &'d Value,
    pub(crate) id: &'d str,
    seen: BTreeSet<String>,
    left: usize,
}

impl<'d> Case<'d> {
    fn of(content: &'d Value, document: &'d Value) -> Self {
        Self { content, document, id: content["id"].as_str().unwrap(), seen: BTreeSet::new(), left: 0 }
    }

    /// Fails: nothing checks the example.
    pub(crate) fn unknown(&self) -> ! {
        panic!("{} is not checked", self.id)
    }

    /// The inputs as they stand.
    pub(crate) fn inputs(&self) -> &'d Value {
        &self.content["inputs"]
    }

    /// The inputs of another example that this one refers to.
    pub(crate) fn inputs_of(&self, id: &str) -> &'d Value {
        let cases = self.document["cases"].as_array().unwrap();
        &cases.iter().find(|case| case["id"] == id).unwrap()["inputs"]
    }

    /// A number among the inputs.
    pub(crate) fn number(&self, name: &str) -> f64 {
        self.inputs()[name]["value"].as_f64().unwrap_or_else(|| panic!("{} has no number {name}", self.id))
    }

    /// The unit of a figure that is expected.
    pub(crate) fn unit_of(&self, name: &str) -> &'d str {
        self.content["expected"][name]["unit"].as_str().unwrap_or_default()
    }

    /// A list of numbers among the inputs; a single number is a list of one.
    pub(crate) fn numbers(&self, name: &str) -> Vec<f64> {
        numbers(&self.inputs()[name]["value"])
    }

    /// A list of detected values among the inputs.
    pub(crate) fn values(&self, name: &str) -> Vec<Measured> {
        self.numbers(name).into_iter().map(Measured::Value).collect()
    }

    /// Values and non-detects among the inputs.
    pub(crate) fn results(&self) -> Vec<Measured> {
        results(self.inputs())
    }

    fn expected(&mut self, name: &str) -> &'d Value {
        let expected = &self.content["expected"][name];
        assert!(!expected.is_null(), "{} expects nothing named {name}", self.id);
        assert!(self.seen.insert(name.to_owned()), "{} {name} is compared twice", self.id);
        expected
    }

    /// Compares a figure within its tolerance.
    pub(crate) fn is(&mut self, name: &str, found: f64) {
        self.are(name, &[found]);
    }

    /// Compares a list of figures within their tolerance.
    pub(crate) fn are(&mut self, name: &str, found: &[f64]) {
        let expected = self.expected(name);
        let tolerance = &expected["tolerance"];
        let wanted = numbers(&expected["value"]);
        assert_eq!(wanted.len(), found.len(), "{} {name}", self.id);
        for (wanted, found) in wanted.iter().zip(found) {
            let band = match (tolerance["kind"].as_str().unwrap(), tolerance["value"].as_f64()) {
                ("exact", _) => 0.0,
                ("absolute", Some(band)) => band,
                // A relative band on (nearly) nothing would be none.
                ("relative", Some(_)) if wanted.abs() < 1e-12 => 1e-9,
                ("relative", Some(band)) => band * wanted.abs(),
                kind => panic!("{} {name}: no tolerance is called {kind:?}", self.id),
            };
            assert!(
                (found - wanted).abs() <= band,
                "{} {name}: {found}, expected {wanted} within {band:e}",
                self.id
            );
        }
    }

    /// Compares a yes or no.
    pub(crate) fn holds(&mut self, name: &str, found: bool) {
        assert_eq!(self.expected(name)["value"], found, "{} {name}", self.id);
    }

    /// Compares a word.
    pub(crate) fn says(&mut self, name: &str, found: &str) {
        assert_eq!(self.expected(name)["value"], found, "{} {name}", self.id);
    }

    /// Compares a list of words.
    pub(crate) fn say(&mut self, name: &str, found: &[&str]) {
        assert_eq!(self.expected(name)["value"], Value::from(found), "{} {name}", self.id);
    }

    /// Leaves an expected figure uncompared, for a reason.
    pub(crate) fn leave(&mut self, name: &str, reason: &str) {
        self.expected(name);
        self.left += 1;
        println!("{} {name} left out: {reason}", self.id);
    }

    /// What was compared; fails where an expected figure was passed over.
    pub(crate) fn finish(self) -> Tally {
        let expected = self.content["expected"].as_object().unwrap();
        let missed: Vec<_> = expected.keys().filter(|name| !self.seen.contains(*name)).collect();
        assert!(missed.is_empty(), "{}: {missed:?} neither compared nor left with a reason", self.id);
        let figures = self.seen.len() - self.left;
        assert!(figures > 0, "{}: nothing is compared", self.id);
        Tally { examples: 1, figures, left: self.left }
    }
}

fn numbers(value: &Value) -> Vec<f64> {
    match value {
        Value::Array(list) => list.iter().map(|one| one.as_f64().unwrap()).collect(),
        one => vec![one.as_f64().unwrap()],
    }
}

/// Values and non-detects from `value_or_detection_limit` and `non_detect`.
pub(crate) fn results(of: &Value) -> Vec<Measured> {
    let below = of["non_detect"].as_array().unwrap();
    numbers(&of["value_or_detection_limit"]["value"])
        .into_iter()
        .zip(below)
        .map(|(value, below)| if below == true { Measured::Below(value) } else { Measured::Value(value) })
        .collect()
}

/// The plain number that a computed quantity must be.
pub(crate) fn plain(measured: Measured) -> f64 {
    assert!(measured.is_value(), "{measured:?} is no plain number");
    measured.lower()
}
