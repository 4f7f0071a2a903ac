//! Every calculation by its name, answering as the API does.

use doseward::calculations::working::Working;
use doseward::calculations::{Calculation, WithEach, with_each};
use doseward::model::shape::Shape as _;
use serde_json::{Value, json};

/// A calculation that can be asked.
pub(crate) struct Asked {
    /// Its name in the address.
    pub name: &'static str,
    /// The example of the API document.
    pub example: fn() -> Value,
    /// Its answer with the working.
    pub answer: fn(&Value) -> Value,
}

fn answer<C: Calculation>(input: &Value) -> Value {
    let input = C::Input::parse(input).unwrap_or_else(|faults| panic!("{}: {faults:?}", C::NAME));
    let mut working = Working::new(true);
    let answer = C::answer(input, &mut working).unwrap_or_else(|faults| panic!("{}: {faults:?}", C::NAME));
    let mut answer = answer.to_json();
    answer["working"] = working.into_steps().map_or(json!([]), |steps| steps.to_json());
    answer
}

/// All of them.
pub(crate) fn all() -> Vec<Asked> {
    let mut all = All(Vec::new());
    with_each(&mut all);
    all.0
}

struct All(Vec<Asked>);

impl WithEach for All {
    fn with<C: Calculation + 'static>(&mut self) {
        self.0.push(Asked { name: C::NAME, example: C::example, answer: answer::<C> });
    }
}
