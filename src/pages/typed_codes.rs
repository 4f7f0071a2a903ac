//! Codes and numbers as people type them, by what the registry knows of the site: agents, tasks, groups, controls, workers.

use crate::pages::entry_known::{Found, Known};
use crate::pages::texts::Texts;
use crate::pages::typed_quantities::QuantityWrong;
use crate::registry::facts::laboratory_csv::agents_named;
use std::collections::BTreeMap;
use uuid::Uuid;

/// At most so many codes are named in a fault.
const CODES_NAMED: usize = 12;

/// Things by their code, each with its title.
pub type ByCode = BTreeMap<String, (Uuid, String)>;

/// The thing that a code names, however its letters are written.
pub fn find(by_code: &ByCode, text: &str) -> Option<Uuid> {
    let text = text.trim();
    let found = by_code
        .get(text)
        .or_else(|| by_code.iter().find(|(code, _)| code.eq_ignore_ascii_case(text)).map(|(_, found)| found));
    found.map(|(id, _)| *id)
}

/// One thing by its code.
///
/// # Errors
/// What is wrong with the code.
pub fn one(by_code: &ByCode, text: &str, texts: &Texts) -> Result<Uuid, String> {
    find(by_code, text).ok_or_else(|| no_code(text, by_code, texts))
}

/// Controls by their codes, with blanks, commas or semicolons between them; `none` where nothing ran.
///
/// # Errors
/// What is wrong with a code.
pub fn controls(text: &str, known: &Known, texts: &Texts) -> Result<Vec<String>, String> {
    if text.trim().eq_ignore_ascii_case("none") {
        return Ok(Vec::new());
    }
    let codes = text.split([',', ';']).flat_map(|part| whole_or_words(part, &known.controls));
    codes.map(|code| one(&known.controls, code, texts).map(|id| id.to_string())).collect()
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

fn no_code(text: &str, by_code: &ByCode, texts: &Texts) -> String {
    let codes: Vec<&str> = by_code.keys().map(String::as_str).take(CODES_NAMED).collect();
    let put_in = [("what", text), ("by", &codes.join(", "))];
    texts.with(if codes.is_empty() { "entry-wrong-no-codes" } else { "entry-wrong-code" }, &put_in)
}

/// Codes of agents, by code, CAS RN or name, with commas or semicolons between them.
///
/// # Errors
/// What names no agent, or several.
pub fn agents(text: &str, known: &Known, texts: &Texts) -> Result<Vec<String>, String> {
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

/// A worker by the employee number.
///
/// # Errors
/// The number is nobody's here, or that of several.
pub fn worker(text: &str, known: &Known, texts: &Texts) -> Result<Uuid, String> {
    match known.worker(text) {
        Found::One(id) => Ok(id),
        Found::Nobody => Err(texts.with("entry-wrong-worker", &[("what", text)])),
        Found::Several => Err(texts.with("entry-wrong-workers", &[("what", text)])),
    }
}

/// A share: `80 %` or `0.8`.
pub fn share(text: &str) -> Option<f64> {
    match text.trim().strip_suffix('%') {
        Some(per_cent) => per_cent.trim().parse::<f64>().ok().map(|share| share / 100.0),
        None => text.trim().parse().ok(),
    }
}

/// What is wrong with a quantity that should be a flow, a level, or another amount.
pub fn quantity_wrong(text: &str, wrong: QuantityWrong, what: &str, texts: &Texts) -> String {
    let (key, put_in) = match (wrong, what) {
        (QuantityWrong::NoNumber, "flow") => ("entry-wrong-flow", text.to_owned()),
        (QuantityWrong::NoNumber, "level") => ("entry-wrong-level", text.to_owned()),
        (QuantityWrong::Comma, _) => ("entry-wrong-comma", text.to_owned()),
        (QuantityWrong::NoUnit(number), "flow") => ("entry-wrong-no-unit", number),
        (QuantityWrong::NoUnit(number), "level") => ("entry-wrong-level", number),
        (QuantityWrong::OtherUnit(unit), "flow") => ("entry-wrong-flow-unit", unit),
        (QuantityWrong::OtherUnit(unit), "level") => ("entry-wrong-level-unit", unit),
        (QuantityWrong::NoNumber | QuantityWrong::NoUnit(_) | QuantityWrong::OtherUnit(_), _) => {
            ("correct-wrong-amount", text.to_owned())
        }
    };
    texts.with(key, &[("what", &put_in)])
}
