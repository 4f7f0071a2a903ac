//! A quantity with its unit, as reported.

use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Members, Shape};
use crate::model::unit::{Dimension, Unit};
use serde_json::{Value, json};

/// A value, bound or range in a stated unit, with the reported digits kept as text.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// What is known.
    pub measured: Measured,
    /// In which unit.
    pub unit: Unit,
    /// The digits as they were reported (`0.50` stays `0.50`); absent on computed quantities and ranges.
    pub reported: Option<String>,
}

impl Quantity {
    /// A computed quantity, rounded to 12 significant digits.
    pub fn computed(measured: Measured, unit: Unit) -> Self {
        Self { measured: measured.rounded(), unit, reported: None }
    }

    /// A reported quantity from its text (`0.50`) and comparator (`<`, `>` or none).
    ///
    /// # Errors
    /// A phrase that says what is wrong with the number or the comparator.
    pub fn reported(comparator: Option<&str>, text: &str, unit: Unit) -> Result<Self, String> {
        let text = text.trim();
        let plain = !text.is_empty() && text.chars().all(|c| c.is_ascii_digit() || "+-.eE".contains(c));
        let value = plain
            .then(|| text.parse::<f64>().ok())
            .flatten()
            .filter(|value| value.is_finite())
            .ok_or_else(|| "must be a number with a decimal point".to_owned())?
            + 0.0;
        let measured = match comparator {
            None => Measured::Value(value),
            Some("<") => Measured::Below(value),
            Some(">") => Measured::Above(value),
            Some(_) => return Err("must have < or > as its comparator, or none".into()),
        };
        Ok(Self { measured, unit, reported: Some(text.to_owned()) })
    }

    /// What is known, in another unit of the same dimension.
    pub fn in_unit(&self, unit: Unit) -> Option<Measured> {
        self.measured.try_map(|value| self.unit.convert(value, unit).map(significant))
    }

    /// The plain number in another unit; `None` for bounds, ranges and other dimensions.
    pub fn number_in(&self, unit: Unit) -> Option<f64> {
        match self.in_unit(unit) {
            Some(Measured::Value(value)) => Some(value),
            _ => None,
        }
    }

    /// Notes a fault unless the unit is of one of these dimensions.
    pub fn must_be(&self, dimensions: &[Dimension], what: &str, at: &str, faults: &mut Faults) {
        if !dimensions.contains(&self.unit.dimension()) {
            faults.note(format!("{at}/unit"), format!("must be a unit of {what}, not {}", self.unit));
        }
    }
}

/// Reads a number that may be written as a number or as a text; gives the number's text.
fn number_text(value: &Value) -> Option<String> {
    match value {
        Value::Number(number) => Some(number.to_string()),
        Value::String(text) => Some(text.clone()),
        _ => None,
    }
}

impl Shape for Quantity {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        const KNOWN: &[&str] = &["comparator", "value", "lower", "upper", "unit", "reported"];
        let members = Members::open(value, at, KNOWN, faults)?;
        let unit = members.field::<Unit>("unit", at, faults);
        if let Some(number) = value.get("value") {
            let comparator = value.get("comparator").filter(|word| !word.is_null());
            if comparator.is_some_and(|word| word != "<" && word != ">") {
                faults.note(format!("{at}/comparator"), "must be < or >, or left out");
                return None;
            }
            for other in ["lower", "upper"] {
                if value.get(other).is_some() {
                    faults.note(format!("{at}/{other}"), "cannot stand beside value");
                    return None;
                }
            }
            // `reported` comes back in answers and images; what was typed stands over the number it became.
            let kept = value.get("reported").and_then(Value::as_str).map(str::to_owned);
            let Some(text) = kept.or_else(|| number_text(number)) else {
                faults.note(format!("{at}/value"), "must be a number with a decimal point");
                return None;
            };
            if value.get("reported").is_some()
                && number.as_f64().is_some_and(|number| text.trim().parse() != Ok(number))
            {
                faults.note(format!("{at}/reported"), "must be the digits of value");
                return None;
            }
            match Self::reported(comparator.and_then(Value::as_str), &text, unit?) {
                Ok(quantity) => Some(quantity),
                Err(detail) => {
                    faults.note(format!("{at}/value"), detail);
                    None
                }
            }
        } else if value.get("lower").is_some() || value.get("upper").is_some() {
            let lower = members.field::<f64>("lower", at, faults);
            let upper = members.field::<f64>("upper", at, faults);
            let (lower, upper) = (lower?, upper?);
            if lower > upper {
                faults.note(format!("{at}/upper"), "must not be less than lower");
                return None;
            }
            Some(Self { measured: Measured::Between { lower, upper }, unit: unit?, reported: None })
        } else {
            faults.note(format!("{at}/value"), "is required (or lower and upper)");
            None
        }
    }

    fn write(&self) -> Option<Value> {
        let mut json = match self.measured {
            Measured::Value(value) => json!({"value": value}),
            Measured::Below(value) => json!({"comparator": "<", "value": value}),
            Measured::Above(value) => json!({"comparator": ">", "value": value}),
            Measured::Between { lower, upper } => json!({"lower": lower, "upper": upper}),
        };
        json["unit"] = json!(self.unit.code());
        if let Some(reported) = &self.reported {
            json["reported"] = json!(reported);
        }
        Some(json)
    }

    fn schema() -> Value {
        json!({
            "type": "object",
            "properties": {
                "comparator": {"type": "string", "enum": ["<", ">"], "description": "< below the limit given, > overloaded"},
                "value": {"type": ["number", "string"], "description": "the number, or its digits as reported"},
                "lower": {"type": "number", "description": "with upper: a range"},
                "upper": {"type": "number"},
                "unit": Unit::schema(),
                "reported": {"type": "string", "description": "the digits as reported (in answers)"},
            },
            "required": ["unit"],
            "additionalProperties": false,
            "examples": [{"value": 2.4, "unit": "ug/m3"}, {"comparator": "<", "value": 0.1, "unit": "ug/m3"}],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digits_as_reported_are_kept() {
        let quantity = Quantity::parse(&json!({"value": "0.50", "unit": "ug"})).unwrap();
        assert_eq!(quantity.to_json(), json!({"value": 0.5, "unit": "ug", "reported": "0.50"}));
        assert_eq!(Quantity::parse(&quantity.to_json()).unwrap(), quantity);
    }

    #[test]
    fn a_bound_converts_with_its_comparator() {
        let quantity =
            Quantity::parse(&json!({"comparator": "<", "value": 0.0025, "unit": "mg/m3"})).unwrap();
        assert_eq!(quantity.in_unit(Unit::UgPerM3), Some(Measured::Below(2.5)));
        assert_eq!(quantity.in_unit(Unit::Ppm), None);
    }

    #[test]
    fn numbers_that_are_none_are_refused() {
        for text in ["NaN", "1e309", "inf", "1,5", "", "<2"] {
            assert!(Quantity::parse(&json!({"value": text, "unit": "ug"})).is_err(), "{text}");
        }
        assert!(Quantity::parse(&json!({"value": 1, "unit": "ug", "lower": 0})).is_err());
        assert!(Quantity::parse(&json!({"lower": 2, "upper": 1, "unit": "ug"})).is_err());
        assert!(Quantity::parse(&json!({"value": 1})).is_err());
    }
}
