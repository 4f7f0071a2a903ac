//! Until when each record of a sampling event, and what is kept of a worker, is to be kept at the least.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::limits::{rule_set_on, site_rule_set_on};
use crate::model::facts::agent::Verification;
use crate::model::facts::duty::Duty;
use crate::model::facts::laboratory::LabResult;
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::facts::site::{RuleSetChange, Site};
use crate::model::facts::worker::{Employment, Worker};
use crate::model::identifiers::{SampleId, SiteId, WorkerId};
use crate::model::text::Code;
use crate::model::version::Version;
use crate::record;
use crate::registry::gather;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::registry::retention::holds::{Concerned, are_held};
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::samples;
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Where};
use crate::surveillance::finding::WHO_DECIDES;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::editions::in_words;
use crate::surveillance::retention::{self, Keeping, Until};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

record! {
    /// A record and the rule that has it kept.
    pub struct KeptRecord {
        /// The sample it is about; absent for what is kept of a worker.
        sample_id: Option<SampleId>,
        /// The agent; absent where none is named.
        agent_code: Option<Code>,
        /// Which kind of record it is for the rule.
        record_type: String,
        /// Row of the pack.
        rule_id: String,
        /// Section and paragraph.
        clause: String,
        /// Which edition of the text was read.
        edition: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// The first day on which it need not be kept any more; absent while that is not known.
        until: Option<NaiveDate>,
        /// In words.
        words: String,
    }
}

record! {
    /// Until when everything of a thing is to be kept.
    pub struct RetentionView {
        /// Each record with its rule.
        items: Vec<KeptRecord>,
        /// The first day on which none of it need be kept any more; absent while that is not known.
        until: Option<NaiveDate>,
        /// Whether a hold keeps it beyond that.
        held: bool,
        /// What it amounts to, and who decides.
        words: String,
    }
}

/// What keeps a thing.
#[derive(Debug)]
pub struct Kept {
    /// Each record with its rule.
    pub items: Vec<KeptRecord>,
    /// The first day on which nothing of it need be kept; [`Until::Employed`] or [`Until::InWords`] where there is none.
    pub until: Until,
    /// What holds are looked up by.
    pub concerned: Concerned,
}

impl Kept {
    fn of(items: Vec<(Until, KeptRecord)>, concerned: Concerned) -> Self {
        let until = items.iter().map(|(until, _)| *until).max().unwrap_or(Until::InWords);
        Self { items: items.into_iter().map(|(_, item)| item).collect(), until, concerned }
    }

    /// Whether a day has come on which nothing of it need be kept.
    pub fn is_over(&self, today: NaiveDate) -> bool {
        matches!(self.until, Until::Day(day) if day <= today)
    }
}

fn item(sample: Option<Uuid>, agent: Option<&str>, keeping: Keeping<'_>) -> (Until, KeptRecord) {
    let Keeping { rule, until } = keeping;
    let words = match until {
        Until::Day(day) => format!("to be kept until {day} at the least; {WHO_DECIDES}"),
        Until::Employed => {
            format!("to be kept while the employment lasts and for years after it; {WHO_DECIDES}")
        }
        Until::InWords => {
            let said = rule.retention_rule.as_deref().unwrap_or("as the section says");
            format!("to be kept {said}; {WHO_DECIDES}")
        }
    };
    let kept = KeptRecord {
        sample_id: sample.map(SampleId),
        agent_code: agent.and_then(Code::new),
        record_type: rule.record_type.clone(),
        rule_id: rule.record_id.clone(),
        clause: rule.clause(),
        edition: rule.edition.as_deref().map(in_words),
        verification: rule.verification,
        until: match until {
            Until::Day(day) => Some(day),
            Until::Employed | Until::InWords => None,
        },
        words,
    };
    (until, kept)
}

/// How long some people are or were employed.
async fn employment(tx: &mut Tx, as_of: AsOf, workers: &[Uuid]) -> Result<retention::Employment, StoreError> {
    let mut found = gather::many::<Employment>(tx, as_of, workers, Where::Parents).await?;
    found.retain(Version::stands);
    Ok(lasting(&found, as_of.date))
}

fn lasting(employments: &[Version<Employment>], today: NaiveDate) -> retention::Employment {
    let ends: Option<Vec<NaiveDate>> = employments.iter().map(|one| one.fact.to).collect();
    match ends.map(|ends| ends.into_iter().max()) {
        None => retention::Employment::Lasting,
        Some(None) => retention::Employment::Nobody,
        Some(Some(to)) if to > today => retention::Employment::Lasting,
        // `to` is the first day no longer employed.
        Some(Some(to)) => retention::Employment::LeftOn(to.pred_opt().unwrap_or(to)),
    }
}

/// The rule sets that samples fall under.
struct RuleSets {
    of_site: RuleSet,
    of_group: BTreeMap<(Uuid, NaiveDate), RuleSet>,
}

impl RuleSets {
    async fn of(tx: &mut Tx, as_of: AsOf, site: Option<SiteId>, on: NaiveDate) -> Result<Self, StoreError> {
        let id = site.map_or_else(Uuid::nil, |site| site.0);
        let changes = gather::all::<RuleSetChange>(tx, as_of, &[Where::Parent(id)]).await?;
        let site = gather::one::<Site>(tx, as_of, id).await?;
        let of_site = site.map_or(RuleSet::UsGeneralIndustry, |site| site_rule_set_on(&site, &changes, on));
        Ok(Self { of_site, of_group: BTreeMap::new() })
    }

    async fn on(&mut self, tx: &mut Tx, as_of: AsOf, sample: &Sample) -> Result<RuleSet, StoreError> {
        let Some(group) = sample.group_id else { return Ok(self.of_site) };
        let key = (group.0, sample.shift_date);
        if let Some(known) = self.of_group.get(&key) {
            return Ok(*known);
        }
        let found = gather::groups::group(tx, as_of, group.0).await?;
        let rule_set = found.map_or(self.of_site, |group| rule_set_on(&group, sample.shift_date));
        self.of_group.insert(key, rule_set);
        Ok(rule_set)
    }
}

/// What keeps a sampling event: each agent of each of its samples, void ones too. Whoever was ever assigned to the groups
/// that were sampled counts as represented, so that nothing is let go too early.
///
/// # Errors
/// Only when storage fails.
pub async fn of_event(
    tx: &mut Tx,
    as_of: AsOf,
    pack: &Pack,
    event: &Version<SamplingEvent>,
) -> Result<Kept, Refusal> {
    let found = gather::many::<Sample>(tx, as_of, &[event.id], Where::Parents).await?;
    let ids: Vec<Uuid> = found.iter().map(|sample| sample.id).collect();
    let results = gather::many::<LabResult>(tx, as_of, &ids, |ids| Where::IsOneOf("sample_id", ids)).await?;
    let mut workers: BTreeSet<Uuid> =
        found.iter().filter_map(|sample| Some(sample.fact.worker_id?.0)).collect();
    let groups: BTreeSet<Uuid> = found.iter().filter_map(|sample| Some(sample.fact.group_id?.0)).collect();
    for group in groups {
        workers.extend(samples::workers_of_group(tx, group, as_of.position).await?);
    }
    let people: Vec<Uuid> = workers.iter().copied().collect();
    let employment = employment(tx, as_of, &people).await?;
    let last = found.iter().map(|sample| sample.fact.shift_date).max().unwrap_or(as_of.date);
    let mut rule_sets = RuleSets::of(tx, as_of, event.site, last).await?;
    let mut items = Vec::new();
    let mut agents = BTreeSet::new();
    for sample in &found {
        let rule_set = rule_sets.on(tx, as_of, &sample.fact).await?;
        let of_sample = agents_of(sample, &results);
        for code in &of_sample {
            let kept = retention::exposure_record(pack, code, rule_set, sample.fact.shift_date, employment);
            items.extend(kept.map(|kept| item(Some(sample.id), Some(code.as_str()), kept)));
        }
        if of_sample.is_empty() {
            let kept = retention::exposure_record(pack, "", rule_set, sample.fact.shift_date, employment);
            items.extend(kept.map(|kept| item(Some(sample.id), None, kept)));
        }
        agents.extend(of_sample);
    }
    if items.is_empty() {
        let kept = retention::exposure_record(pack, "", rule_sets.of_site, last, employment);
        items.extend(kept.map(|kept| item(None, None, kept)));
    }
    let concerned = Concerned {
        sites: Some(event.site.into_iter().collect()),
        workers: Some(workers.into_iter().map(WorkerId).collect()),
        agents: Some(agents),
    };
    Ok(Kept::of(items, concerned))
}

fn agents_of(sample: &Version<Sample>, results: &[Version<LabResult>]) -> BTreeSet<String> {
    let fact = &sample.fact;
    let measured = results.iter().filter(|result| result.fact.sample_id.0 == sample.id);
    let measured = measured.map(|result| result.fact.agent_code.to_string());
    let asked = fact.agent_codes.iter().flatten().map(ToString::to_string);
    let read = fact.on_site_results.iter().flatten().map(|read| read.agent_code.to_string());
    measured.chain(asked).chain(read).collect()
}

/// What keeps a worker's entry with everything that hangs on it: the years after the last employment, by the general rule and
/// by those of the agents that duties name.
///
/// # Errors
/// Only when storage fails.
pub async fn of_worker(tx: &mut Tx, as_of: AsOf, pack: &Pack, worker: Uuid) -> Result<Kept, Refusal> {
    let employment = employment(tx, as_of, &[worker]).await?;
    let of_him = [Where::Is("worker_id", Key::Id(Some(worker)))];
    let duties = gather::all::<Duty>(tx, as_of, &of_him).await?;
    let airborne = duties.iter().filter(|duty| !duty.fact.is_medical());
    let agents: BTreeSet<String> =
        airborne.filter_map(|duty| Some(duty.fact.agent_code.as_ref()?.to_string())).collect();
    let agents: Vec<String> = agents.into_iter().collect();
    let last = duties.iter().map(|duty| duty.fact.learned_on).max().unwrap_or(as_of.date);
    let rule_sets = [RuleSet::UsGeneralIndustry, RuleSet::UsConstruction, RuleSet::UsMaritime];
    let kept = rule_sets
        .into_iter()
        .filter_map(|rule_set| retention::surveillance_record(pack, &agents, rule_set, last, employment));
    let items = kept.max_by_key(|kept| kept.until).map(|kept| item(None, None, kept)).into_iter().collect();
    let concerned = Concerned { workers: Some([WorkerId(worker)].into()), ..Concerned::default() };
    Ok(Kept::of(items, concerned))
}

async fn view(tx: &mut Tx, as_of: AsOf, kept: Kept) -> Result<RetentionView, Refusal> {
    let held = are_held(tx, as_of, &kept.concerned).await?;
    let until = match kept.until {
        Until::Day(day) => Some(day),
        Until::Employed | Until::InWords => None,
    };
    let words = match until {
        _ if held => "is held, whatever its age".to_owned(),
        Some(day) if day <= as_of.date => format!("need not be kept since {day}; nothing goes by itself"),
        Some(day) => format!("is to be kept until {day} at the least"),
        None => "is to be kept; from when on it need not is not known yet".to_owned(),
    };
    Ok(RetentionView { items: kept.items, until, held, words: format!("{words}; {WHO_DECIDES}") })
}

/// `GET /sampling-events/{id}/retention`.
///
/// # Errors
/// [`Refusal::Unknown`] out of sight.
pub async fn event(tx: &mut Tx, caller: &Caller, as_of: AsOf, id: Uuid) -> Result<RetentionView, Refusal> {
    caller.may(Action::ReadSamples)?;
    let event = recording::read::<SamplingEvent>(tx, caller, as_of, id).await?;
    let pack = gather::agents::pack(tx, as_of).await?;
    let kept = of_event(tx, as_of, &pack, &event).await?;
    view(tx, as_of, kept).await
}

/// `GET /workers/{id}/retention`.
///
/// # Errors
/// [`Refusal::Unknown`] out of sight.
pub async fn worker(tx: &mut Tx, caller: &Caller, as_of: AsOf, id: Uuid) -> Result<RetentionView, Refusal> {
    caller.may(Action::ReadRetention)?;
    if gather::one::<Worker>(tx, as_of, id).await?.is_none() {
        return Err(Refusal::Unknown);
    }
    let pack = gather::agents::pack(tx, as_of).await?;
    let kept = of_worker(tx, as_of, &pack, id).await?;
    view(tx, as_of, kept).await
}
