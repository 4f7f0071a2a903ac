//! Where a fact is recorded: under which thing, and so at which site.

use crate::access::scope::Scope;
use crate::model::facts::{account, agent, control, group, sampling, site, worker};
use crate::model::identifiers::SiteId;
use crate::model::version::Version;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::tables::Stored;
use crate::store::versions::{self, AsOf};
use uuid::Uuid;

/// What a kind of fact is recorded under.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Under {
    /// Nothing: it stands for itself.
    Nothing,
    /// A site.
    Site,
    /// A group.
    Group,
    /// A task.
    Task,
    /// A worker.
    Worker,
    /// An agent.
    Agent,
    /// An account.
    Account,
    /// An assignment.
    Assignment,
    /// A sampling event.
    Event,
    /// A site, or one of its groups.
    SiteOrGroup,
    /// A site, or an agent.
    SiteOrAgent,
    /// A worker of any site: whoever is sent to a site is assigned there before the site may see him.
    AnyWorker,
}

impl Under {
    /// The name of the parent's identifier in answers.
    pub const fn field(self) -> Option<&'static str> {
        match self {
            Self::Nothing => None,
            Self::Site => Some("site_id"),
            Self::Group | Self::SiteOrGroup => Some("group_id"),
            Self::Task => Some("task_id"),
            Self::Worker | Self::AnyWorker => Some("worker_id"),
            Self::Agent | Self::SiteOrAgent => Some("agent_id"),
            Self::Account => Some("account_id"),
            Self::Assignment => Some("assignment_id"),
            Self::Event => Some("event_id"),
        }
    }

    /// Whether it may be a site where its field names something else.
    pub const fn may_be_a_site(self) -> bool {
        matches!(self, Self::SiteOrGroup | Self::SiteOrAgent)
    }
}

/// The place of a fact: its parent and its site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// The thing it is recorded under.
    pub parent: Option<Uuid>,
    /// The site it belongs to.
    pub site: Option<SiteId>,
    /// Whether the thing it is recorded under is void: it can be listed, and nothing more is recorded under it.
    pub void: bool,
}

impl Place {
    /// Refuses to record under something void.
    ///
    /// # Errors
    /// A conflict.
    pub fn must_stand(&self) -> Result<(), Refusal> {
        if self.void { Err(Refusal::taken("the thing it would be recorded under is void")) } else { Ok(()) }
    }

    /// The place of a fact that was recorded before.
    pub fn of<F>(version: &Version<F>) -> Self {
        Self { parent: version.parent, site: version.site, void: false }
    }

    /// The place under a thing, which must be in sight.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where it is not.
    pub async fn under(
        tx: &mut Tx,
        scope: &Scope,
        as_of: AsOf,
        under: Under,
        id: Option<Uuid>,
    ) -> Result<Self, Refusal> {
        let Some(id) = id.filter(|_| under != Under::Nothing) else {
            return Ok(Self { parent: None, site: None, void: false });
        };
        let everything = Scope::everything(scope.account);
        match under {
            Under::Nothing => Err(Refusal::Unknown),
            // A site has no site of its own: it is the site.
            Under::Site => {
                let place = under_one::<site::Site>(tx, scope, as_of, id).await?;
                Ok(Self { site: Some(SiteId(id)), ..place })
            }
            Under::Group | Under::SiteOrGroup => under_one::<group::Group>(tx, scope, as_of, id).await,
            Under::Task => under_one::<control::Task>(tx, scope, as_of, id).await,
            Under::AnyWorker => under_one::<worker::Worker>(tx, &everything, as_of, id).await,
            Under::Worker => under_one::<worker::Worker>(tx, scope, as_of, id).await,
            Under::Agent | Under::SiteOrAgent => under_one::<agent::Agent>(tx, scope, as_of, id).await,
            Under::Account => under_one::<account::Account>(tx, scope, as_of, id).await,
            Under::Assignment => under_one::<worker::Assignment>(tx, scope, as_of, id).await,
            Under::Event => under_one::<sampling::SamplingEvent>(tx, scope, as_of, id).await,
        }
    }
}

async fn under_one<F: Stored>(tx: &mut Tx, scope: &Scope, as_of: AsOf, id: Uuid) -> Result<Place, Refusal> {
    match versions::find::<F>(tx, scope, as_of, id).await? {
        Some(version) => Ok(Place { parent: Some(id), site: version.site, void: !version.stands() }),
        None => Err(Refusal::Unknown),
    }
}
