//! Handing a site over: from then on its record here is read only.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::hand_over::HandOver;
use crate::model::shape::Faults;
use crate::model::version::Version;
use crate::registry::place::{Place, Under};
use crate::registry::reach::Reach;
use crate::registry::recording::{self, Recorded};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::{self, Where};
use uuid::Uuid;

impl Recorded for HandOver {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::ManageSites;
    const READ: Action = Action::ReadReference;
    const VOID: Action = Action::ManageSites;

    async fn check(
        &mut self,
        place: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        if self.on > change.as_of().date {
            faults.note("/on", "must not lie in the future");
        }
        let (everything, as_of) = (change.everything(), change.as_of());
        let of_site: Vec<Where> = place.site.map(Where::Site).into_iter().chain([Where::Standing]).collect();
        let standing = versions::list::<Self>(&mut change.tx, &everything, as_of, &of_site, None).await?;
        if standing.is_empty() { Ok(()) } else { Err(Refusal::taken("the site was handed over before")) }
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        Vec::new()
    }
}

/// Takes the hand-over of a site back: its record here can be written again.
///
/// # Errors
/// [`Refusal::Unknown`] where it was not handed over.
pub async fn take_back(change: &mut Change, site: Uuid, reason: &str) -> Result<Version<HandOver>, Refusal> {
    let scope = change.caller.may(HandOver::VOID)?;
    let as_of = change.as_of();
    let place = Place::under(&mut change.tx, &scope, as_of, Under::Site, Some(site)).await?;
    let of_site: Vec<Where> = place.site.map(Where::Site).into_iter().chain([Where::Standing]).collect();
    let standing = versions::list::<HandOver>(&mut change.tx, &scope, as_of, &of_site, None).await?;
    let handed = standing.first().ok_or_else(|| Refusal::taken("the site was not handed over"))?;
    recording::void::<HandOver>(change, handed.id, reason).await
}
