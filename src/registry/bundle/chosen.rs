//! What of the record a bundle holds: the facts of a site, of a worker, or all.

use crate::access::scope::Scope;
use crate::model::facts::control::{Control, ControlPeriod, Task};
use crate::model::facts::duty::{Duty, DutyAction};
use crate::model::facts::group::Group;
use crate::model::facts::laboratory::{LabReport, LabResult};
use crate::model::facts::letter::Letter;
use crate::model::facts::sampling::{DirectReadings, Sample, SamplingEvent};
use crate::model::facts::site::{Release, Site};
use crate::model::facts::worker::{
    Absence, Alias, Assignment, EarlierExposure, Employment, RespiratorConfirmation, WorkedDay, Worker,
};
use crate::model::identifiers::SiteId;
use crate::registry::bundle::BundleOf;
use crate::registry::enter_pack::REGISTRY;
use crate::registry::gather;
use crate::registry::gather::persons;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::gaps;
use crate::store::journal::REFERENCE;
use crate::store::tables::Stored;
use crate::store::versions::{self, AsOf, Where};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Kinds that are handed to nobody with a site: who works on this registry, its holds and its disposals.
const OURS: &[&str] = &["account", "token", "legal_hold", "disposal", "taken_over"];

/// The facts that a bundle holds.
#[derive(Debug)]
pub(super) struct Chosen {
    of: BundleOf,
    /// Facts of no site that belong to it; of a worker all of them.
    facts: BTreeSet<Uuid>,
    /// Facts with an entry in the medical chain.
    medical: BTreeSet<Uuid>,
    /// The workers who are named.
    pub(super) workers: BTreeSet<Uuid>,
}

impl Chosen {
    /// Chooses.
    pub(super) async fn of(tx: &mut Tx, as_of: AsOf, of: BundleOf) -> Result<Self, Refusal> {
        let medical = gaps::medical(tx).await?;
        let mut chosen = Self { of, facts: BTreeSet::new(), medical, workers: BTreeSet::new() };
        let mut gathering = Gathering { tx, as_of, facts: BTreeSet::new() };
        chosen.workers = match of {
            BundleOf::All => gathering.ids::<Worker>(&[]).await?,
            BundleOf::Site(site) => gathering.site(site).await?,
            BundleOf::Worker(worker) => gathering.worker(worker.0).await?,
        };
        chosen.facts = gathering.facts;
        Ok(chosen)
    }

    /// Whether it holds a fact.
    pub(super) fn holds(&self, kind: &str, id: Uuid, site: Option<Uuid>) -> bool {
        if self.medical.contains(&id) {
            return false;
        }
        let reference = site.is_none() && REFERENCE.contains(&kind);
        match self.of {
            BundleOf::All => true,
            _ if OURS.contains(&kind) => false,
            BundleOf::Site(own) => {
                site == Some(own.0)
                    || reference
                    || (kind == Site::TABLE.kind && id == own.0)
                    || (site.is_none() && self.facts.contains(&id))
            }
            BundleOf::Worker(_) => reference || self.facts.contains(&id),
        }
    }
}

struct Gathering<'t> {
    tx: &'t mut Tx,
    as_of: AsOf,
    facts: BTreeSet<Uuid>,
}

impl Gathering<'_> {
    async fn list<F: Stored>(
        &mut self,
        restrictions: &[Where],
    ) -> Result<Vec<crate::model::version::Version<F>>, Refusal> {
        let everything = Scope::everything(REGISTRY);
        Ok(versions::list(self.tx, &everything, self.as_of, restrictions, None).await?)
    }

    async fn ids<F: Stored>(&mut self, restrictions: &[Where]) -> Result<BTreeSet<Uuid>, Refusal> {
        Ok(self.list::<F>(restrictions).await?.into_iter().map(|fact| fact.id).collect())
    }

    /// Takes facts of a kind that are recorded under some things.
    async fn under<F: Stored>(&mut self, parents: &BTreeSet<Uuid>) -> Result<BTreeSet<Uuid>, Refusal> {
        let parents: Vec<Uuid> = parents.iter().copied().collect();
        let found = gather::many::<F>(self.tx, self.as_of, &parents, Where::Parents).await?;
        let ids: BTreeSet<Uuid> = found.into_iter().map(|fact| fact.id).collect();
        self.facts.extend(&ids);
        Ok(ids)
    }

    /// The workers of a site: assigned, at work, sampled or present there, whether it stands or was voided.
    async fn site(&mut self, site: SiteId) -> Result<BTreeSet<Uuid>, Refusal> {
        let of_site = [Where::Site(site)];
        let mut workers = BTreeSet::new();
        workers.extend(self.list::<Assignment>(&of_site).await?.into_iter().filter_map(|one| one.parent));
        workers.extend(self.list::<WorkedDay>(&of_site).await?.into_iter().filter_map(|one| one.parent));
        let samples = self.list::<Sample>(&of_site).await?;
        workers.extend(samples.into_iter().filter_map(|one| Some(one.fact.worker_id?.0)));
        for event in self.list::<SamplingEvent>(&of_site).await? {
            workers.extend(event.fact.shifts.iter().flatten().map(|shift| shift.worker_id.0));
        }
        let readings = self.list::<DirectReadings>(&of_site).await?;
        workers.extend(readings.into_iter().filter_map(|one| Some(one.fact.worker_id?.0)));
        for release in self.list::<Release>(&of_site).await? {
            workers.extend(release.fact.worker_ids.iter().map(|worker| worker.0));
        }
        self.facts.extend(&workers);
        self.under::<Employment>(&workers).await?;
        self.under::<Absence>(&workers).await?;
        let both = |alias: &crate::model::version::Version<Alias>| {
            alias.parent.is_some_and(|one| workers.contains(&one))
                && workers.contains(&alias.fact.of_worker_id.0)
        };
        let aliases: Vec<Uuid> =
            self.list::<Alias>(&[]).await?.iter().filter(|alias| both(alias)).map(|alias| alias.id).collect();
        self.facts.extend(aliases);
        self.duties_of_site(site, &workers).await?;
        Ok(workers)
    }

    /// Duties on the site and its groups; those on a worker only where nothing but this site can stand behind them.
    async fn duties_of_site(&mut self, site: SiteId, workers: &BTreeSet<Uuid>) -> Result<(), Refusal> {
        let ids: Vec<Uuid> = workers.iter().copied().collect();
        let mut elsewhere = BTreeSet::new();
        for one in gather::many::<Assignment>(self.tx, self.as_of, &ids, Where::Parents).await? {
            elsewhere.extend(one.parent.filter(|_| one.site != Some(site)));
        }
        for one in gather::many::<WorkedDay>(self.tx, self.as_of, &ids, Where::Parents).await? {
            elsewhere.extend(one.parent.filter(|_| one.site != Some(site)));
        }
        let sampled = |ids| Where::IsOneOf("worker_id", ids);
        for one in gather::many::<Sample>(self.tx, self.as_of, &ids, sampled).await? {
            elsewhere.extend(one.fact.worker_id.filter(|_| one.site != Some(site)).map(|worker| worker.0));
        }
        let earlier = gather::many::<EarlierExposure>(self.tx, self.as_of, &ids, Where::Parents).await?;
        elsewhere.extend(earlier.into_iter().filter_map(|one| one.parent));
        for worker in &ids {
            // Whoever has another entry may have been elsewhere under it.
            if persons::person(self.tx, self.as_of, *worker).await?.entries().len() > 1 {
                elsewhere.insert(*worker);
            }
        }
        let groups = self.ids::<Group>(&[Where::Site(site)]).await?;
        let here = |duty: &Duty| {
            let subject = &duty.subject;
            subject.site_id == Some(site)
                || subject.group_id.is_some_and(|group| groups.contains(&group.0))
                || subject
                    .worker_id
                    .is_some_and(|worker| workers.contains(&worker.0) && !elsewhere.contains(&worker.0))
        };
        let duties = self.list::<Duty>(&[]).await?;
        let duties: BTreeSet<Uuid> =
            duties.iter().filter(|duty| here(&duty.fact)).map(|duty| duty.id).collect();
        self.facts.extend(&duties);
        self.under::<DutyAction>(&duties).await.map(drop)
    }

    /// What is a worker's own, on all sites, under all his entries: and where he worked.
    async fn worker(&mut self, worker: Uuid) -> Result<BTreeSet<Uuid>, Refusal> {
        let person = persons::person(self.tx, self.as_of, worker).await?;
        let entries: BTreeSet<Uuid> = person.entries().iter().copied().collect();
        self.facts.extend(&entries);
        let assignments = self.under::<Assignment>(&entries).await?;
        self.under::<RespiratorConfirmation>(&assignments).await?;
        self.under::<Employment>(&entries).await?;
        self.under::<EarlierExposure>(&entries).await?;
        self.under::<WorkedDay>(&entries).await?;
        self.under::<Absence>(&entries).await?;
        self.under::<Alias>(&entries).await?;
        let ids: Vec<Uuid> = entries.iter().copied().collect();
        let his = || [Where::IsOneOf("worker_id", ids.clone())];
        let duties = self.ids::<Duty>(&his()).await?;
        self.facts.extend(&duties);
        self.under::<DutyAction>(&duties).await?;
        let letters = self.ids::<Letter>(&his()).await?;
        self.facts.extend(letters);
        let samples = self.list::<Sample>(&his()).await?;
        let mut groups: BTreeSet<Uuid> =
            samples.iter().filter_map(|sample| Some(sample.fact.group_id?.0)).collect();
        let sampled: Vec<Uuid> = samples.iter().map(|sample| sample.id).collect();
        self.facts.extend(&sampled);
        let of_samples = |ids| Where::IsOneOf("sample_id", ids);
        let results = gather::many::<LabResult>(self.tx, self.as_of, &sampled, of_samples).await?;
        self.facts.extend(results.iter().map(|result| result.id));
        let reports: Vec<Uuid> = results.iter().filter_map(|result| result.parent).collect();
        let reports = gather::many::<LabReport>(self.tx, self.as_of, &reports, Where::Ids).await?;
        self.facts.extend(reports.iter().map(|report| report.id));
        for assignment in gather::many::<Assignment>(self.tx, self.as_of, &ids, Where::Parents).await? {
            groups.insert(assignment.fact.group_id.0);
        }
        self.places(&groups).await?;
        Ok(entries)
    }

    /// Groups with their sites, tasks and the controls that ran on them.
    async fn places(&mut self, groups: &BTreeSet<Uuid>) -> Result<(), Refusal> {
        let ids: Vec<Uuid> = groups.iter().copied().collect();
        let found = gather::many::<Group>(self.tx, self.as_of, &ids, Where::Ids).await?;
        let sites: BTreeSet<SiteId> = found.iter().filter_map(|group| group.site).collect();
        self.facts.extend(groups);
        self.facts.extend(sites.iter().map(|site| site.0));
        let of_groups = |ids| Where::IsOneOf("group_id", ids);
        let tasks = gather::many::<Task>(self.tx, self.as_of, &ids, of_groups).await?;
        let tasks: BTreeSet<Uuid> = tasks.into_iter().map(|task| task.id).collect();
        self.facts.extend(&tasks);
        let tasks: Vec<Uuid> = tasks.into_iter().collect();
        let periods = gather::many::<ControlPeriod>(self.tx, self.as_of, &tasks, Where::Parents).await?;
        self.facts.extend(periods.iter().map(|period| period.id));
        let controls: Vec<Uuid> = periods.iter().map(|period| period.fact.control_id.0).collect();
        let controls = gather::many::<Control>(self.tx, self.as_of, &controls, Where::Ids).await?;
        self.facts.extend(controls.iter().map(|control| control.id));
        Ok(())
    }
}
