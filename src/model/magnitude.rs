//! How large a number may be that comes from outside.

use crate::model::shape::Faults;
use serde_json::Value;

/// No quantity of this trade is smaller than this in any accepted unit, zero apart; smaller ones lose digits in a double.
pub const LEAST: f64 = 1e-100;
/// None is larger either; three of them multiplied, or one over two, still are a double.
pub const MOST: f64 = 1e100;
/// What is said of a number outside.
pub const OUT_OF_RANGE: &str = "must be 0, or from 1e-100 to 1e100 in size";

/// Whether a number may come in.
///
/// ```
/// use doseward::model::magnitude::in_range;
/// assert!(in_range(0.0) && in_range(-2.5e-9) && !in_range(5e-324) && !in_range(1.7e308));
/// ```
pub fn in_range(number: f64) -> bool {
    number == 0.0 || (LEAST..=MOST).contains(&number.abs())
}

/// Every number of a body that is out of range, also those of quantities that came as text.
///
/// ```
/// use doseward::model::magnitude::faults_of;
/// use serde_json::json;
/// let body = json!({"mass": {"value": "1e-300", "unit": "ug"}, "minutes": 1e200, "note": "1e200"});
/// let faults = faults_of(&body);
/// let at: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
/// assert_eq!(at, ["/mass/value", "/minutes"]);
/// ```
pub fn faults_of(body: &Value) -> Faults {
    let mut faults = Faults::default();
    look(body, "", false, &mut faults);
    faults
}

fn look(value: &Value, at: &str, may_be_text: bool, faults: &mut Faults) {
    let number = match value {
        Value::Number(number) => number.as_f64(),
        Value::String(text) if may_be_text => text.trim().parse().ok(),
        Value::Array(items) => {
            for (n, item) in items.iter().enumerate() {
                look(item, &format!("{at}/{n}"), false, faults);
            }
            None
        }
        Value::Object(members) => {
            for (name, member) in members {
                let of_quantity = name == "value" && members.contains_key("unit");
                look(
                    member,
                    &format!("{at}/{}", name.replace('~', "~0").replace('/', "~1")),
                    of_quantity,
                    faults,
                );
            }
            None
        }
        _ => None,
    };
    // Text that is no finite number has a fault of its own.
    if number.is_some_and(|number| number.is_finite() && !in_range(number)) {
        faults.note(at, OUT_OF_RANGE);
    }
}
