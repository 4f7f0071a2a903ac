//! Finding workers: those in sight by their names or numbers, anyone by exact employer and number.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::worker::{Employment, Worker};
use crate::model::identifiers::WorkerId;
use crate::model::shape::{Faults, Shape};
use crate::model::text::{Code, Line};
use crate::model::version::Version;
use crate::record;
use crate::registry::facts::worker;
use crate::registry::gather::persons::{Persons, persons};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::tables::Key;
use crate::store::versions::{self, AsOf, Page, Where};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use uuid::Uuid;

/// How many workers are looked at together in a search by text.
const TOGETHER: i64 = 500;

record! {
    /// What is sent to find workers: a text, or employer and number.
    pub struct WorkerSearch {
        /// Words that each stand somewhere in the name, the employer or a number; case and accents do not matter.
        text: Option<Line>,
        /// The exact employer, together with the number.
        employer: Option<Line>,
        /// The exact number with that employer.
        employee_number: Option<Code>,
    }
}

/// A page of the workers in sight with their employments; one more than asked for where there are more.
///
/// # Errors
/// Only when storage fails or no role allows it.
pub async fn list(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    page: Page,
) -> Result<Vec<(Uuid, Value)>, Refusal> {
    let scope = caller.may(Action::ReadWorkers)?;
    let more = Page { limit: page.limit + 1, ..page };
    let workers = versions::list::<Worker>(tx, &scope, as_of, &[], Some(more)).await?;
    let known = Known::of(tx, &scope, as_of, &workers).await?;
    Ok(workers.iter().map(|entry| (entry.id, known.view(entry))).collect())
}

/// One worker in sight: revision and view.
///
/// # Errors
/// [`Refusal::Unknown`] where there is none in sight.
pub async fn read(tx: &mut Tx, caller: &Caller, as_of: AsOf, id: Uuid) -> Result<(i64, Value), Refusal> {
    let scope = caller.may(Action::ReadWorkers)?;
    let entry = versions::find::<Worker>(tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    let known = Known::of(tx, &scope, as_of, std::slice::from_ref(&entry)).await?;
    Ok((entry.revision, known.view(&entry)))
}

/// Finds workers, whoever has several entries once, by what stands under any of those in sight; one more than asked for where there are more.
///
/// # Errors
/// Neither a text nor employer and number, or both.
pub async fn search(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    body: &Value,
    page: Page,
) -> Result<Vec<(Uuid, Value)>, Refusal> {
    let scope = caller.may(Action::ReadWorkers)?;
    let asked = WorkerSearch::parse(body)?;
    match (asked.text, asked.employer, asked.employee_number) {
        (Some(text), None, None) => by_text(tx, &scope, as_of, &fold(text.as_str()), page).await,
        (None, Some(employer), Some(number)) => by_number(tx, &scope, as_of, &employer, &number, page).await,
        (text, employer, number) => {
            let mut faults = Faults::default();
            if text.is_some() {
                faults.note("/text", "must stand alone, without employer and employee_number");
            } else if employer.is_none() && number.is_none() {
                faults.note("/text", "is required, or employer and employee_number together");
            } else {
                let missing = if employer.is_none() { "/employer" } else { "/employee_number" };
                faults.note(missing, "is required: employer and employee_number go together");
            }
            Err(faults.into())
        }
    }
}

/// What is known of some entries of workers beside them.
struct Known {
    /// Who of them has several entries, as far as the reader may know.
    persons: Persons,
    /// Their employments, those of the other entries in sight too.
    employments: BTreeMap<Uuid, Vec<Version<Employment>>>,
    /// The other entries in sight.
    others: BTreeMap<Uuid, Version<Worker>>,
}

impl Known {
    async fn of(
        tx: &mut Tx,
        scope: &Scope,
        as_of: AsOf,
        entries: &[Version<Worker>],
    ) -> Result<Self, Refusal> {
        let ids: Vec<Uuid> = entries.iter().map(|entry| entry.id).collect();
        let persons = persons(tx, as_of, &ids).await?.in_sight(tx, scope, as_of).await?;
        let mut all = persons.entries(ids);
        let mut employments: BTreeMap<Uuid, Vec<Version<Employment>>> = BTreeMap::new();
        for employment in worker::employments(tx, scope, as_of, all.clone()).await? {
            employments.entry(employment.parent.unwrap_or_default()).or_default().push(employment);
        }
        all.retain(|id| entries.iter().all(|entry| entry.id != *id));
        let others = versions::list::<Worker>(tx, scope, as_of, &[Where::Ids(all)], None).await?;
        let others = others.into_iter().map(|entry| (entry.id, entry)).collect();
        Ok(Self { persons, employments, others })
    }

    fn employments(&self, entry: Uuid) -> &[Version<Employment>] {
        self.employments.get(&entry).map_or(&[], Vec::as_slice)
    }

    /// An entry as it was recorded, with what it is to its other ones.
    fn view(&self, entry: &Version<Worker>) -> Value {
        self.told(entry, worker::view(entry, self.employments(entry.id)))
    }

    /// A person under the entry that stays, with the employments of all entries.
    fn person(&self, entry: &Version<Worker>) -> Value {
        let entries = self.persons.person(entry.id).entries();
        let mut all: Vec<_> = entries.iter().flat_map(|one| self.employments(*one)).cloned().collect();
        all.sort_by_key(|employment| (employment.fact.from, employment.id));
        self.told(entry, worker::view(entry, &all))
    }

    fn told(&self, entry: &Version<Worker>, mut view: Value) -> Value {
        let person = self.persons.person(entry.id);
        if person.id != entry.id {
            view["recorded_under"] = WorkerId(person.id).to_json();
        } else if let Some(others) = person.also_known_as() {
            view["also_known_as"] = others.to_json();
        }
        view
    }

    /// Everything by which a person is found, folded.
    fn words(&self, entry: &Version<Worker>) -> String {
        let mut words = format!("{} {}", entry.fact.given_name, entry.fact.family_name);
        for one in self.persons.person(entry.id).entries() {
            if let Some(other) = self.others.get(&one) {
                words.extend([" ", other.fact.given_name.as_str(), " ", other.fact.family_name.as_str()]);
            }
            for one in self.employments(one) {
                words.extend([" ", one.fact.employer.as_str(), " ", one.fact.employee_number.as_str()]);
            }
        }
        fold(&words)
    }
}

async fn by_text(
    tx: &mut Tx,
    scope: &Scope,
    as_of: AsOf,
    text: &str,
    page: Page,
) -> Result<Vec<(Uuid, Value)>, Refusal> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let mut found = Vec::new();
    let mut after = page.after;
    loop {
        let part = Page { after, limit: TOGETHER };
        let workers = versions::list::<Worker>(tx, scope, as_of, &[Where::Standing], Some(part)).await?;
        let known = Known::of(tx, scope, as_of, &workers).await?;
        for entry in workers.iter().filter(|entry| known.persons.stands_under(entry.id) == entry.id) {
            let by = known.words(entry);
            if words.iter().all(|word| by.contains(word)) {
                found.push((entry.id, known.person(entry)));
            }
            if i64::try_from(found.len()).unwrap_or(i64::MAX) > page.limit {
                return Ok(found);
            }
        }
        after = workers.last().map(|person| person.id);
        if i64::try_from(workers.len()).unwrap_or(i64::MAX) < TOGETHER {
            return Ok(found);
        }
    }
}

/// Whoever is sent to a site is known there by employer and number before the site may see him.
async fn by_number(
    tx: &mut Tx,
    scope: &Scope,
    as_of: AsOf,
    employer: &Line,
    number: &Code,
    page: Page,
) -> Result<Vec<(Uuid, Value)>, Refusal> {
    let everything = Scope::everything(scope.account);
    let exact = [
        Where::Is("employer", Key::Text(Some(employer.to_string()))),
        Where::Is("employee_number", Key::Text(Some(number.to_string()))),
        Where::Standing,
    ];
    let mut found = Vec::new();
    for employment in versions::list::<Employment>(tx, &everything, as_of, &exact, None).await? {
        let Some(id) = employment.parent.filter(|id| page.after.is_none_or(|after| *id > after)) else {
            continue;
        };
        if let Some(entry) = versions::find::<Worker>(tx, scope, as_of, id).await? {
            let known = Known::of(tx, scope, as_of, std::slice::from_ref(&entry)).await?;
            let stays = known.others.get(&known.persons.stands_under(id)).cloned().unwrap_or(entry);
            if found.iter().all(|(known, _)| *known != stays.id) {
                found.push((stays.id, known.person(&stays)));
            }
        } else if let Some(person) = versions::find::<Worker>(tx, &everything, as_of, id).await?
            && person.stands()
        {
            let view = json!({
                "id": id.to_string(),
                "given_name": person.fact.given_name.to_json(),
                "family_name": person.fact.family_name.to_json(),
                "employee_number": employment.fact.employee_number.to_json(),
            });
            found.push((id, view));
        }
    }
    Ok(found)
}

/// Lower case, without the accents of Latin letters.
fn fold(text: &str) -> String {
    let mut folded = String::with_capacity(text.len());
    for sign in text.chars().flat_map(char::to_lowercase) {
        match sign {
            'à'..='å' | 'ā' | 'ă' | 'ą' => folded.push('a'),
            'ç' | 'ć' | 'ĉ' | 'ċ' | 'č' => folded.push('c'),
            'ď' | 'đ' => folded.push('d'),
            'è'..='ë' | 'ē' | 'ĕ' | 'ė' | 'ę' | 'ě' => folded.push('e'),
            'ĝ' | 'ğ' | 'ġ' | 'ģ' => folded.push('g'),
            'ì'..='ï' | 'ĩ' | 'ī' | 'ĭ' | 'į' | 'ı' => folded.push('i'),
            'ĺ' | 'ļ' | 'ľ' | 'ł' => folded.push('l'),
            'ñ' | 'ń' | 'ņ' | 'ň' => folded.push('n'),
            'ò'..='ö' | 'ø' | 'ō' | 'ŏ' | 'ő' => folded.push('o'),
            'ŕ' | 'ř' => folded.push('r'),
            'ś' | 'ŝ' | 'ş' | 'š' | 'ș' => folded.push('s'),
            'ţ' | 'ť' | 'ț' => folded.push('t'),
            'ù'..='ü' | 'ũ' | 'ū' | 'ŭ' | 'ů' | 'ű' | 'ų' => folded.push('u'),
            'ý' | 'ÿ' => folded.push('y'),
            'ź' | 'ż' | 'ž' => folded.push('z'),
            'ß' => folded.push_str("ss"),
            'æ' => folded.push_str("ae"),
            'œ' => folded.push_str("oe"),
            // Combining accents that stand after their letter.
            '\u{300}'..='\u{36f}' => {}
            other => folded.push(other),
        }
    }
    folded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn case_and_accents_do_not_matter() {
        assert_eq!(fold("Muñoz Łukasz Groß"), "munoz lukasz gross");
        assert_eq!(fold("E\u{301}MILE"), "emile");
    }
}
