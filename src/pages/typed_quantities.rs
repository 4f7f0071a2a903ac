//! Quantities as people type them, the unit with the value: `2.05 L/min`, `2050 mL/min`, `< 80 dBA`.

use crate::model::unit::{Dimension, Unit};
use serde_json::{Value, json};

/// What is wrong with a quantity that was typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum QuantityWrong {
    /// There is no number at its head.
    NoNumber,
    /// The number has a comma in place of the decimal point.
    Comma,
    /// The number has no unit.
    NoUnit(String),
    /// Its unit is none that fits here.
    OtherUnit(String),
}

/// Reads a flow of air, for the body of a request.
///
/// # Errors
/// What is wrong with it.
pub fn flow(text: &str) -> Result<Value, QuantityWrong> {
    quantity(text, |unit| match unit {
        "l/min" | "lpm" | "l/m" => Some(Unit::LPerMin),
        "ml/min" | "mlpm" | "cc/min" | "cm3/min" | "cm³/min" => Some(Unit::MlPerMin),
        _ => None,
    })
}

/// Reads a concentration or a level of noise, or a dose in per cent.
///
/// # Errors
/// What is wrong with it.
pub fn exposure(text: &str) -> Result<Value, QuantityWrong> {
    let fits = |unit: &Unit| unit.is_exposure() || unit.dimension() == Dimension::Percent;
    quantity(text, |unit| any_unit(unit).filter(fits))
}

/// Reads a mass, a concentration or any other amount.
///
/// # Errors
/// What is wrong with it.
pub fn amount(text: &str) -> Result<Value, QuantityWrong> {
    quantity(text, any_unit)
}

/// The unit of a name in small letters, as it is printed or as the API writes it.
fn any_unit(name: &str) -> Option<Unit> {
    if matches!(name, "dba" | "db(a)" | "db[a]") {
        return Some(Unit::DbA);
    }
    let plain = |name: &str| name.to_lowercase().replace(['µ', 'μ'], "u").replace('³', "3");
    let asked = plain(name);
    Unit::ALL.iter().find(|one| plain(one.symbol()) == asked || plain(one.code()) == asked).copied()
}

fn quantity(text: &str, unit_of: impl Fn(&str) -> Option<Unit>) -> Result<Value, QuantityWrong> {
    let text = text.trim();
    let (comparator, rest) = match text.chars().next() {
        Some(sign @ ('<' | '>')) => (Some(sign.to_string()), text[1..].trim_start()),
        _ => (None, text),
    };
    let (number, unit) =
        rest.split_at(rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len()));
    if unit.starts_with(',') && !number.is_empty() {
        return Err(QuantityWrong::Comma);
    }
    if number.parse::<f64>().is_err() {
        return Err(QuantityWrong::NoNumber);
    }
    let unit: String = unit.split_whitespace().collect();
    if unit.is_empty() {
        return Err(QuantityWrong::NoUnit(number.to_owned()));
    }
    let known = unit_of(&unit.to_lowercase()).ok_or(QuantityWrong::OtherUnit(unit))?;
    let mut body = json!({"value": number, "unit": known.code()});
    if let Some(comparator) = comparator {
        body["comparator"] = json!(comparator);
    }
    Ok(body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flow_is_read_with_its_digits_and_its_unit() {
        assert_eq!(flow("2.05 L/min"), Ok(json!({"value": "2.05", "unit": "L/min"})));
        assert_eq!(flow("2050mL/min"), Ok(json!({"value": "2050", "unit": "mL/min"})));
        assert_eq!(flow(" 2.0 lpm "), Ok(json!({"value": "2.0", "unit": "L/min"})));
        assert_eq!(flow("2"), Err(QuantityWrong::NoUnit("2".into())));
        assert_eq!(flow("2,05 L/min"), Err(QuantityWrong::Comma));
        assert_eq!(flow("2 gal/min"), Err(QuantityWrong::OtherUnit("gal/min".into())));
        assert_eq!(flow("fast"), Err(QuantityWrong::NoNumber));
    }

    #[test]
    fn a_level_is_read_with_its_sign() {
        assert_eq!(exposure("84.5 dBA"), Ok(json!({"value": "84.5", "unit": "dB[A]"})));
        assert_eq!(exposure("< 80 dB(A)"), Ok(json!({"value": "80", "unit": "dB[A]", "comparator": "<"})));
        assert_eq!(exposure("120 %"), Ok(json!({"value": "120", "unit": "%"})));
        assert_eq!(exposure("3 µg/m³"), Ok(json!({"value": "3", "unit": "ug/m3"})));
        assert_eq!(exposure("3 L/min"), Err(QuantityWrong::OtherUnit("L/min".into())));
    }
}
