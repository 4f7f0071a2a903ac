//! `GET /early-warnings`: workers who meet no clause yet and are likely to in the coming twelve months.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::{Scope, Sites};
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::model::facts::agent::Verification;
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::worker::Worker;
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::text::Code;
use crate::record;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::worker_clauses::worker_clauses;
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::gather::surveilled::agents_of_worker;
use crate::registry::refusal::Refusal;
use crate::store::versions;
use crate::surveillance::chance::{Outlook, early_warning};
use crate::surveillance::day_count::Window;
use crate::surveillance::finding::WHO_DECIDES;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

record! {
    /// A worker who does not meet a clause yet and may.
    pub struct EarlyWarning {
        /// The worker.
        worker_id: WorkerId,
        /// The name.
        name: String,
        /// The agent.
        agent_code: Code,
        /// Whose clause: the law's that comes with the program, or another authority's.
        authority: Option<Code>,
        /// Row of the pack, or the code of another authority's clause.
        trigger_id: String,
        /// Section and paragraph.
        clause: String,
        /// Which edition of the text was read.
        edition: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Under which body of law.
        rule_set: RuleSet,
        /// The probability that the days are enough in a window that ends in the coming twelve months, from 0 to 1.
        chance: f64,
        /// Days that count already by the rule, in the worst window.
        days_counted: i64,
        /// How many the clause takes.
        days_needed: Option<i64>,
        /// The worst window.
        window: Option<Window>,
        /// In words.
        words: String,
    }
}

/// Which warnings are asked for.
#[derive(Debug, Clone)]
pub struct Question {
    /// About workers of this site.
    pub site: Option<SiteId>,
    /// About this agent.
    pub agent_code: Option<String>,
    /// Above this probability.
    pub above: f64,
}

/// Those in sight, the likeliest first. A worker with days at sites out of the reader's sight is left out: the number
/// would tell of them.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn early_warnings(
    sight: &mut Sight<'_>,
    caller: &Caller,
    now: DateTime<Utc>,
    question: &Question,
) -> Result<Vec<EarlyWarning>, Refusal> {
    let scope = caller.may(Action::ReadDuties)?;
    let narrowed = match question.site {
        Some(site) => Scope { sites: Sites::Only([site].into()), ..scope.clone() },
        None => scope.clone(),
    };
    let as_of = sight.as_of;
    let mut outlooks: Vec<Outlook<EarlyWarning>> = Vec::new();
    let listed =
        versions::list::<Worker>(sight.tx, &narrowed, as_of, &[versions::Where::Standing], None).await?;
    let ids: Vec<Uuid> = listed.iter().map(|worker| worker.id).collect();
    let persons = persons(sight.tx, as_of, &ids).await?;
    let told = persons.told(sight.tx, &scope, as_of, ids).await?;
    let mut seen = BTreeSet::new();
    for worker in listed {
        let told_as = told.get(&worker.id).copied().unwrap_or(worker.id);
        // Whoever has several entries is told once, under the one that stays where that is in sight.
        if !seen.insert(told_as) {
            continue;
        }
        let worker = if told_as == worker.id {
            worker
        } else {
            gather::one::<Worker>(sight.tx, as_of, told_as).await?.unwrap_or(worker)
        };
        let name = format!("{} {}", worker.fact.given_name, worker.fact.family_name);
        for code in agents_of_worker(sight.tx, as_of, &persons.person(worker.id)).await? {
            let wanted = question.agent_code.as_ref().is_none_or(|asked| *asked == code);
            let Some(agent_code) = Code::new(&code).filter(|_| wanted) else { continue };
            let found = worker_clauses(sight, now, worker.id, &code).await?;
            if !found.within(&scope) {
                continue;
            }
            for clause in found.clauses {
                let Some(chance) = clause.chance else { continue };
                let met = clause.view.met;
                let who = EarlyWarning {
                    worker_id: WorkerId(worker.id),
                    name: name.clone(),
                    agent_code: agent_code.clone(),
                    authority: clause.authority.or_else(|| Code::new(STATUTORY_AUTHORITY)),
                    trigger_id: clause.view.trigger_id,
                    clause: clause.view.clause,
                    edition: clause.view.edition,
                    verification: clause.view.verification,
                    rule_set: clause.rule_set,
                    chance,
                    days_counted: clause.view.days_counted,
                    days_needed: clause.days_needed,
                    window: clause.view.window,
                    words: format!("does not appear to trigger surveillance yet; {WHO_DECIDES}"),
                };
                outlooks.push(Outlook { who, met, chance });
            }
        }
    }
    Ok(early_warning(outlooks, question.above).into_iter().map(|outlook| outlook.who).collect())
}
