//! The one way to write: begin, position, idempotency, entry, marks, commit.

use crate::access::caller::Caller;
use crate::access::scope::Scope;
use crate::model::facts::hand_over::HandOver;
use crate::model::facts::site::Site;
use crate::model::identifiers::{AccountId, SiteId};
use crate::model::version::Version;
use crate::registry::anchor::key::PrivateKey;
use crate::registry::clock::{Clock, Ids};
use crate::registry::enter_pack::REGISTRY;
use crate::registry::gather::persons::{self, Person};
use crate::registry::recompute::Recompute;
use crate::registry::refusal::Refusal;
use crate::store::backend::{Database, Tx};
use crate::store::error::StoreError;
use crate::store::idempotency::{self, Answer, Asked, Kept};
use crate::store::journal;
use crate::store::marks::Mark;
use crate::store::tables::Stored;
use crate::store::versions::{self, AsOf, Where};
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, PoisonError};
use std::time::Duration;
use tokio::sync::{Mutex, OwnedMutexGuard};
use uuid::Uuid;

/// How long a request waits for the one before it.
const PATIENCE: Duration = Duration::from_secs(10);

/// The registry: a database, a clock, identifiers. Cheap to clone.
#[derive(Clone)]
pub struct Registry {
    /// The database.
    pub database: Database,
    /// The clock.
    pub clock: Arc<dyn Clock>,
    /// The identifiers.
    pub ids: Arc<dyn Ids>,
    /// What follows the marks.
    pub recompute: Arc<Recompute>,
    /// The key that signs anchors, where a setting gives it.
    pub(crate) signing: Option<Arc<PrivateKey>>,
    /// Writers of this process queue here, instead of polling the database's lock.
    queue: Arc<Mutex<()>>,
    /// The keys of the requests that wait or are carried out in this process.
    running: Running,
}

/// Keys with their accounts.
type Running = Arc<std::sync::Mutex<BTreeSet<(AccountId, String)>>>;

/// A key in [`Registry::running`]; taken out again when the request ends.
struct RunningKey {
    running: Running,
    key: (AccountId, String),
}

impl RunningKey {
    /// Nothing where the same key is there already.
    fn enter(running: &Running, account: AccountId, asked: &Asked) -> Option<Self> {
        let key = (account, asked.key.clone());
        let mut keys = running.lock().unwrap_or_else(PoisonError::into_inner);
        keys.insert(key.clone()).then(|| Self { running: Arc::clone(running), key })
    }
}

impl Drop for RunningKey {
    fn drop(&mut self) {
        self.running.lock().unwrap_or_else(PoisonError::into_inner).remove(&self.key);
    }
}

impl std::fmt::Debug for Registry {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Registry").field("engine", &self.database.engine()).finish_non_exhaustive()
    }
}

/// How a writing request begins.
#[derive(Debug)]
pub enum Begun {
    /// It was answered before: this is the answer.
    Answered(Answer),
    /// It may be carried out.
    Change(Box<Change>),
}

/// An open writing request: one transaction, one position. Dropped, it leaves nothing behind.
pub struct Change {
    /// The transaction.
    pub tx: Tx,
    /// The position of everything written in it.
    pub position: i64,
    /// The time of everything written in it.
    pub at: DateTime<Utc>,
    /// Who asks.
    pub caller: Caller,
    ids: Arc<dyn Ids>,
    ordinal: i64,
    marks: BTreeSet<Mark>,
    persons: BTreeMap<Uuid, Person>,
    open_sites: BTreeSet<SiteId>,
    asked: Option<Asked>,
    _turn: OwnedMutexGuard<()>,
    _running: Option<RunningKey>,
}

impl std::fmt::Debug for Change {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Change").field("position", &self.position).finish_non_exhaustive()
    }
}

/// A fact as it was corrected.
#[derive(Debug)]
pub struct Moved<'m, F> {
    /// What it is recorded under.
    pub parent: Option<Uuid>,
    /// The fact.
    pub fact: F,
    /// Why.
    pub reason: &'m str,
}

/// What follows the version of a fact.
struct Next<'n, F> {
    parent: Option<Uuid>,
    fact: F,
    voided: Option<String>,
    deed: &'static str,
    reason: Option<&'n str>,
}

impl Registry {
    /// A registry over an open database.
    pub fn new(database: Database, clock: Arc<dyn Clock>, ids: Arc<dyn Ids>) -> Self {
        Self {
            database,
            clock,
            ids,
            recompute: Arc::default(),
            signing: None,
            queue: Arc::default(),
            running: Arc::default(),
        }
    }

    /// The same registry, its anchors signed with a key that it does not keep itself.
    #[must_use]
    pub fn signing_with(self, key: PrivateKey) -> Self {
        Self { signing: Some(Arc::new(key)), ..self }
    }

    /// Begins a writing request: takes the turn, the position, and looks the key up.
    ///
    /// # Errors
    /// [`Refusal::KeyReused`]; after `PATIENCE`, [`Refusal::StillRunning`] where the first request with the key still
    /// runs, else [`Refusal::Busy`].
    pub async fn begin(&self, caller: &Caller, asked: Option<Asked>) -> Result<Begun, Refusal> {
        let running = asked.as_ref().map(|asked| RunningKey::enter(&self.running, caller.account, asked));
        let is_second = matches!(running, Some(None));
        let late = || if is_second { Refusal::StillRunning } else { Refusal::Busy };
        let turn =
            tokio::time::timeout(PATIENCE, Arc::clone(&self.queue).lock_owned()).await.map_err(|_| late())?;
        let mut tx = tokio::time::timeout(PATIENCE, self.database.write()).await.map_err(|_| late())??;
        let now = self.clock.now();
        let (position, at) = tokio::time::timeout(PATIENCE, journal::next_position(&mut tx, now))
            .await
            .map_err(|_| late())??;
        if let Some(asked) = &asked {
            match idempotency::find(&mut tx, caller.account, asked, at).await? {
                Kept::Nothing => {}
                Kept::Answer(answer) => return Ok(Begun::Answered(answer)),
                Kept::Other => return Err(Refusal::KeyReused),
            }
        }
        Ok(Begun::Change(Box::new(Change {
            tx,
            position,
            at,
            caller: caller.clone(),
            ids: Arc::clone(&self.ids),
            ordinal: 0,
            marks: BTreeSet::new(),
            persons: BTreeMap::new(),
            open_sites: BTreeSet::new(),
            asked,
            _turn: turn,
            _running: running.flatten(),
        })))
    }

    /// Begins a writing request that carries no key.
    pub async fn begin_plain(&self, caller: &Caller) -> Result<Change, Refusal> {
        match self.begin(caller, None).await? {
            Begun::Change(change) => Ok(*change),
            Begun::Answered(_) => Err(Refusal::Busy),
        }
    }

    /// Ends a writing request: marks, the kept answer, commit. Then whoever follows the marks is woken.
    pub async fn commit(&self, mut change: Change, answer: Option<&Answer>) -> Result<(), Refusal> {
        if change.ordinal == 0 {
            // Nothing was recorded: a position without an entry would be a gap.
            journal::give_back(&mut change.tx).await?;
        }
        for mark in &change.marks {
            self.set_mark(&mut change.tx, mark, change.position).await?;
        }
        if let (Some(asked), Some(answer)) = (&change.asked, answer) {
            idempotency::keep(&mut change.tx, change.caller.account, asked, answer, change.at).await?;
        }
        let marked = !change.marks.is_empty();
        change.tx.commit().await?;
        if marked {
            self.recompute.wake();
        }
        Ok(())
    }

    /// What is known now, seen from today (UTC).
    pub async fn now(&self, tx: &mut Tx) -> Result<AsOf, Refusal> {
        let (position, _) = journal::head(tx).await?;
        Ok(AsOf { position, date: self.clock.now().date_naive() })
    }
}

impl Change {
    /// What is known inside this request.
    pub fn as_of(&self) -> AsOf {
        AsOf { position: self.position, date: self.at.date_naive() }
    }

    /// The scope of everything, for checks that look beyond the caller's sites.
    pub fn everything(&self) -> Scope {
        Scope::everything(self.caller.account)
    }

    /// A new identifier.
    pub fn new_id(&self) -> Uuid {
        self.ids.id(self.at)
    }

    /// A new identifier that tells a day and nothing of when it was made: a UUIDv7 (RFC 9562, section 5.7) of the first
    /// millisecond of that day.
    pub fn new_id_of(&self, day: NaiveDate) -> Uuid {
        let mut random = [0; 10];
        self.ids.random(&mut random);
        let millis = day.and_time(NaiveTime::MIN).and_utc().timestamp_millis();
        uuid::Builder::from_unix_timestamp_millis(u64::try_from(millis).unwrap_or_default(), &random)
            .into_uuid()
    }

    /// Random bytes, for a secret.
    pub fn random(&self, into: &mut [u8]) {
        self.ids.random(into);
    }

    /// The person behind an entry. Asked once for a request: nothing that asks joins entries or takes them apart itself.
    pub async fn person(&mut self, entry: Uuid) -> Result<Person, StoreError> {
        if let Some(known) = self.persons.get(&entry) {
            return Ok(known.clone());
        }
        let as_of = self.as_of();
        let found = persons::person(&mut self.tx, as_of, entry).await?;
        self.persons.insert(entry, found.clone());
        Ok(found)
    }

    /// Marks something as stale.
    pub fn mark(&mut self, mark: Mark) {
        self.marks.insert(mark);
    }

    /// Records a new fact: its first version and its journal entry.
    pub async fn add<F: Stored>(
        &mut self,
        scope: &Scope,
        site: Option<SiteId>,
        parent: Option<Uuid>,
        fact: F,
    ) -> Result<Version<F>, StoreError> {
        let id = self.new_id();
        self.add_as(scope, id, site, parent, fact).await
    }

    /// Records a new fact under an identifier that was made before.
    pub async fn add_as<F: Stored>(
        &mut self,
        scope: &Scope,
        id: Uuid,
        site: Option<SiteId>,
        parent: Option<Uuid>,
        fact: F,
    ) -> Result<Version<F>, StoreError> {
        self.must_be_open::<F>(id, site).await?;
        let version = Version { id, revision: 1, position: self.position, site, parent, voided: None, fact };
        versions::insert(&mut self.tx, scope, &version).await?;
        self.note(&version, "recorded", None).await?;
        Ok(version)
    }

    /// Records the next version of a fact.
    pub async fn alter<F: Stored>(
        &mut self,
        scope: &Scope,
        old: &Version<F>,
        fact: F,
        voided: Option<String>,
        deed: &'static str,
        reason: Option<&str>,
    ) -> Result<Version<F>, StoreError> {
        let next = Next { parent: old.parent, fact, voided, deed, reason };
        self.end(old).await?;
        self.follow(scope, old, next).await
    }

    /// Ends the current version of a fact; another must follow in this request.
    pub async fn end<F: Stored>(&mut self, old: &Version<F>) -> Result<(), StoreError> {
        versions::end(&mut self.tx, F::TABLE, old.id, old.revision, self.position).await
    }

    /// Records the corrected version of a fact whose old one was [ended](Self::end).
    pub async fn correct<F: Stored>(
        &mut self,
        scope: &Scope,
        old: &Version<F>,
        moved: Moved<'_, F>,
    ) -> Result<Version<F>, StoreError> {
        let Moved { parent, fact, reason } = moved;
        let next = Next { parent, fact, voided: None, deed: "corrected", reason: Some(reason) };
        self.follow(scope, old, next).await
    }

    /// Records the version that follows one that was ended.
    async fn follow<F: Stored>(
        &mut self,
        scope: &Scope,
        old: &Version<F>,
        next: Next<'_, F>,
    ) -> Result<Version<F>, StoreError> {
        let version = Version {
            id: old.id,
            revision: old.revision + 1,
            position: self.position,
            site: old.site,
            parent: next.parent,
            voided: next.voided,
            fact: next.fact,
        };
        self.must_be_open::<F>(version.id, version.site).await?;
        versions::insert(&mut self.tx, scope, &version).await?;
        self.note(&version, next.deed, next.reason).await?;
        Ok(version)
    }

    /// Refuses to write to a site that was handed over. What the registry itself concludes goes on, and so does the record of
    /// the hand-over.
    async fn must_be_open<F: Stored>(&mut self, id: Uuid, site: Option<SiteId>) -> Result<(), StoreError> {
        let site = if F::TABLE.kind == Site::TABLE.kind { Some(SiteId(id)) } else { site };
        let Some(site) = site.filter(|site| !self.open_sites.contains(site)) else { return Ok(()) };
        if self.caller.account == REGISTRY || F::TABLE.kind == HandOver::TABLE.kind {
            return Ok(());
        }
        let (everything, as_of) = (self.everything(), self.as_of());
        let standing = [Where::Site(site), Where::Standing];
        let handed = versions::list::<HandOver>(&mut self.tx, &everything, as_of, &standing, None).await?;
        if let Some(handed) = handed.into_iter().next() {
            let HandOver { to, on, .. } = handed.fact;
            return Err(StoreError::HandedOver(format!(
                "the site was handed over to {to} on {on}: its record here is read only"
            )));
        }
        self.open_sites.insert(site);
        Ok(())
    }

    async fn note<F: Stored>(
        &mut self,
        version: &Version<F>,
        deed: &'static str,
        reason: Option<&str>,
    ) -> Result<(), StoreError> {
        let mut salt = [0; 16];
        self.ids.random(&mut salt);
        self.ordinal += 1;
        let console_user = self.caller.console_user.clone();
        let note = journal::Note {
            at: self.at,
            account: self.caller.account,
            ordinal: self.ordinal,
            deed,
            reason,
            console_user: console_user.as_deref(),
            salt,
        };
        journal::append(&mut self.tx, version, note).await
    }
}
