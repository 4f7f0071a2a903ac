//! Samples, site by site: what to enter, what was begun, and the events of late.

use crate::access::policy::Action;
use crate::model::facts::sampling::SamplingEvent;
use crate::model::identifiers::SiteId;
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::frame::Frame;
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::registry::drafts::DraftOf;
use crate::registry::outstanding;
use askama::Template;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/sampling", Who::May(Action::ReadSamples), show).in_menu("menu-sampling")]
}

/// How far back events are listed, in days.
const LOOKED_BACK: u64 = 120;
/// How many events of a site are listed.
const SHOWN: usize = 8;

/// An event in the list of its site.
struct EventLine {
    address: String,
    reference: String,
    more: String,
}

/// A site.
struct SiteSection {
    id: SiteId,
    name: String,
    records: bool,
    /// What was begun and not sent.
    begun: Vec<(String, String)>,
    events: Vec<EventLine>,
}

#[derive(Template)]
#[template(path = "pages/sampling.html")]
struct SamplingPage {
    frame: Frame,
    sites: Vec<SiteSection>,
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let mut moment = Moment::of(&pages, &visit).await?;
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let scope = caller.may(Action::ReadSamples)?;
    let names = Names::of(tx, &caller, as_of).await?;
    let events = outstanding::events_lately(tx, &caller, as_of, LOOKED_BACK).await?;
    let mut sites = Vec::new();
    for (id, name) in names.sites().into_iter().filter(|(id, _)| scope.sites.holds(*id)) {
        let records = caller.may(Action::RecordSamples).is_ok_and(|scope| scope.sites.holds(id));
        let of_site: Vec<&Version<SamplingEvent>> =
            events.iter().rev().filter(|event| event.site == Some(id)).take(SHOWN).collect();
        let events = of_site.iter().map(|event| EventLine {
            address: format!("/sampling-events/{}", event.id),
            reference: event.fact.reference.to_string(),
            more: event
                .fact
                .purpose
                .iter()
                .map(|one| texts.word("purpose", one.as_str()))
                .collect::<Vec<_>>()
                .join(", "),
        });
        sites.push(SiteSection {
            id,
            name: name.to_owned(),
            records,
            begun: Vec::new(),
            events: events.collect(),
        });
    }
    let fix = moment.fix.clone();
    drop(moment);
    for site in sites.iter_mut().filter(|site| site.records) {
        for (of, key, address) in [
            (DraftOf::SamplingEvent, "sampling-begun-event", "sampling-events"),
            (DraftOf::LabReport, "sampling-begun-report", "lab-reports"),
        ] {
            if let Some(draft) = pages.registry.draft(&caller, site.id, of).await? {
                let told = texts.with(key, &[("day", &told::instant(draft.kept_at))]);
                site.begun.push((format!("/sites/{}/{address}/new", site.id), told));
            }
        }
    }
    Answer::page(&SamplingPage { frame: Frame::of(&pages, &visit, "sampling-title").at(fix), sites })
}
