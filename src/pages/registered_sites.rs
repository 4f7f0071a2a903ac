//! The sites of the registry: whoever keeps them makes them here.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::site::Site;
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::form::Wrong;
use crate::pages::frame::{Choice, Field, Frame};
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::visit::Visit;
use crate::pages::writing::write;
use crate::registry::place::Under;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Page as Part, Where};
use askama::Template;
use axum::http::StatusCode;
use serde_json::json;

/// The most sites of the list.
const MOST: i64 = 500;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    let keeps = Who::May(Action::ManageSites);
    vec![
        Page::get("/registered-sites", keeps, list).in_menu("menu-registered-sites"),
        Page::post("/registered-sites", keeps, add),
    ]
}

/// A site as the list has it.
struct SiteLine {
    name: String,
    code: String,
    zone: String,
    rule_set: String,
}

#[derive(Template)]
#[template(path = "pages/registered_sites.html")]
struct RegisteredSitesPage {
    frame: Frame,
    sites: Vec<SiteLine>,
    code: Field,
    name: Field,
    zone: Field,
    rule_sets: Vec<Choice>,
}

async fn found(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<Vec<Version<Site>>, Stopped> {
    let scope = caller.may(Action::ReadReference)?;
    let all = Part { after: None, limit: MOST };
    Ok(versions::list::<Site>(tx, &scope, as_of, &[Where::Standing], Some(all)).await?)
}

async fn page(pages: &Pages, visit: &Visit, wrong: Wrong) -> Result<RegisteredSitesPage, Stopped> {
    let texts = Texts::of(visit);
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let mut sites: Vec<SiteLine> = found(&mut tx, &visit.caller(), as_of)
        .await?
        .into_iter()
        .map(|site| SiteLine {
            name: site.fact.name.to_string(),
            code: site.fact.code.to_string(),
            zone: site.fact.time_zone.0.name().to_owned(),
            rule_set: texts.word("rule-set", site.fact.rule_set.as_str()),
        })
        .collect();
    sites.sort_by_key(|site| site.name.to_lowercase());
    Ok(RegisteredSitesPage {
        sites,
        code: Field::of(visit, &wrong, "code"),
        name: Field::of(visit, &wrong, "name"),
        zone: Field::of(visit, &wrong, "time_zone"),
        rule_sets: RuleSet::ALL
            .iter()
            .map(|one| {
                Choice::new(one.as_str(), texts.word("rule-set", one.as_str()), visit.form.text("rule_set"))
            })
            .collect(),
        frame: Frame::of(pages, visit, "registered-sites-title"),
    })
}

async fn list(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    Answer::page(&page(&pages, &visit, Wrong::default()).await?)
}

async fn add(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let text = |field: &str| visit.form.text(field);
    let body = json!({
        "code": text("code"), "name": text("name"), "time_zone": text("time_zone"), "rule_set": text("rule_set"),
    });
    let made = write(&pages, &visit, move |change| {
        Box::pin(
            async move { recording::record::<Site>(change, Under::Nothing, None, &body).await.map(drop) },
        )
    })
    .await;
    let wrong = match made {
        Ok(()) => return Ok(Answer::see("/registered-sites?said=site-made")),
        Err(Refusal::Faults(faults)) => Wrong::of(&faults),
        Err(Refusal::Conflict { .. }) => Wrong::one("code", Texts::of(&visit).t("site-code-taken")),
        Err(other) => return Err(other.into()),
    };
    Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page(&pages, &visit, wrong).await?)
}
