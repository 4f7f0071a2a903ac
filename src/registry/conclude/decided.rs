//! Which body of clauses decides on a clause that holds under several rule sets for a worker: the levels differ, and it is
//! met where it is met under any.

use crate::model::facts::rule_set::RuleSet;
use crate::registry::conclude::worker_case::{Body, WorkerCase};
use crate::surveillance::case::{Case, MedicalGround};
use crate::surveillance::evaluation::findings;
use crate::surveillance::finding::Finding;
use chrono::NaiveDate;
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// A clause with the body of clauses that decides on it.
#[derive(Debug)]
pub struct Decided<'c> {
    /// The place of the body among those of the case.
    pub at: usize,
    /// The body.
    pub body: &'c Body,
    /// What became of the clause there.
    pub finding: Finding<'c>,
}

/// How much a finding asks for: met before covered by default before not, the earlier, the more days, the sooner due.
type Weight = (bool, bool, Reverse<NaiveDate>, usize, Reverse<NaiveDate>);

fn weight(finding: &Finding<'_>, body: &Body, case: &Case<'_>) -> Weight {
    let outcome = finding.outcome(&body.pack, case);
    let or_never = |date: Option<NaiveDate>| Reverse(date.unwrap_or(NaiveDate::MAX));
    let count = finding.worst.as_ref().map_or(0, |worst| worst.count);
    (finding.met, finding.by_default, or_never(outcome.first_met_on), count, or_never(outcome.due_on))
}

/// Every clause of the case once, in the order of the bodies: under the rule set that asks for most, the first of equals.
/// Beside it stands under which rule sets the answer is another, or there is none.
pub fn decided<'c>(case: &'c WorkerCase, grounds: &'c [MedicalGround]) -> Vec<Decided<'c>> {
    let mut found: Vec<(Decided<'c>, Weight)> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    let mut answers: BTreeMap<String, Vec<(RuleSet, bool)>> = BTreeMap::new();
    for (at, body) in case.bodies.iter().enumerate() {
        let of_body = Case { grounds, ..case.of(body) };
        for finding in findings(&body.pack, &of_body) {
            let id = finding.rule.trigger_id.clone();
            answers.entry(id.clone()).or_default().push((body.rule_set, finding.covers_somebody()));
            let weight = weight(&finding, body, &of_body);
            let known = places.get(&id).and_then(|place| found.get_mut(*place));
            match known {
                Some(known) if weight > known.1 => *known = (Decided { at, body, finding }, weight),
                Some(_) => {}
                None => {
                    places.insert(id, found.len());
                    found.push((Decided { at, body, finding }, weight));
                }
            }
        }
    }
    let mut found: Vec<Decided<'c>> = found.into_iter().map(|(one, _)| one).collect();
    for Decided { finding, .. } in &mut found {
        let id = &finding.rule.trigger_id;
        let covers = finding.covers_somebody();
        let others = answers.get(id).into_iter().flatten().filter(|(_, answer)| *answer != covers);
        let note = others.map(|(rule_set, _)| format!("not so under {rule_set}"));
        let unread = case.bodies.iter().flat_map(|body| {
            let of_it = body.unread.iter().filter(|unread| unread.clause.code.as_str() == id);
            of_it.map(|unread| format!("not read under {}: {}", body.rule_set, unread.why.in_words()))
        });
        finding.note.extend(note.chain(unread));
    }
    found
}
