//! All sites at a glance: sites and agents, each with its days in four parts, failing controls, overdue duties.

use crate::access::policy::Action;
use crate::model::identifiers::SiteId;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::four_parts::FourParts;
use crate::pages::frame::Frame;
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::registry::conclude::overview::{self, OverviewView};
use crate::registry::conclude::sight::Sight;
use askama::Template;
use std::collections::BTreeMap;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/sites", Who::May(Action::ReadSamples), show).in_menu("menu-sites")]
}

/// A site and an agent.
struct Cell {
    agent: String,
    /// What lies behind it: the groups and controls of the site for this agent.
    address: String,
    parts: Option<FourParts>,
    failing: usize,
    overdue: i64,
    newest: String,
    duties: String,
}

/// A site with its cells.
struct SiteRows {
    name: String,
    address: String,
    cells: Vec<Cell>,
    /// Worker-days of every cell together.
    parts: FourParts,
}

#[derive(Template)]
#[template(path = "pages/sites.html")]
struct SitesPage {
    frame: Frame,
    lead: String,
    sites: Vec<SiteRows>,
    above: i64,
    tell: i64,
    unassessed: i64,
    total: i64,
    failing: usize,
    overdue: i64,
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let mut moment = Moment::of(&pages, &visit).await?;
    let now = pages.registry.seen_from(moment.as_known_on);
    let is_now = moment.is_now();
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let names = Names::of(tx, &caller, as_of).await?;
    let mut sight = if is_now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
    let found = overview::overview(&mut sight, &caller, now).await?;
    let mut by_site: BTreeMap<SiteId, Vec<OverviewView>> = BTreeMap::new();
    // A site of which nothing is known stands there too: not knowing is shown.
    let seen = caller.may(Action::ReadSamples)?;
    for (site, _) in names.sites().into_iter().filter(|(site, _)| seen.sites.holds(*site)) {
        by_site.entry(site).or_default();
    }
    for one in found {
        by_site.entry(one.site_id).or_default().push(one);
    }
    let mut sites: Vec<SiteRows> =
        by_site.into_iter().map(|(site, of)| rows(texts, &names, site, of)).collect();
    sites.sort_by_key(|site| site.name.to_lowercase());
    let sum = |part: fn(&FourParts) -> i64| sites.iter().map(|site| part(&site.parts)).sum::<i64>();
    let cells = || sites.iter().flat_map(|site| &site.cells);
    let (above, total) = (sum(|parts| parts.at_or_above), sum(FourParts::total));
    let unassessed = sum(|parts| parts.not_assessed);
    Answer::page(&SitesPage {
        lead: lead(texts, &sites, above, unassessed, total),
        above,
        tell: sum(|parts| parts.cannot_tell),
        unassessed,
        total,
        failing: cells().map(|cell| cell.failing).sum(),
        overdue: cells().map(|cell| cell.overdue).sum(),
        sites,
        frame: Frame::of(&pages, &visit, "sites-title").at(moment.fix),
    })
}

fn rows(texts: &Texts, names: &Names, site: SiteId, of: Vec<OverviewView>) -> SiteRows {
    let mut parts = FourParts::default();
    let mut cells = Vec::new();
    for one in of {
        let own = one.worker_days.as_ref().map(|days| {
            let own = FourParts {
                below: days.settled_below,
                at_or_above: days.settled_at_or_above,
                cannot_tell: days.cannot_tell,
                not_assessed: days.not_assessed,
            };
            parts.add(&own);
            own
        });
        cells.push(Cell {
            address: one
                .agent_code
                .as_ref()
                .map_or_else(|| format!("/sites/{site}"), |code| format!("/sites/{site}?agent_code={code}")),
            agent: one
                .agent_code
                .map_or_else(|| texts.t("sites-no-agent"), |code| names.agent(code.as_str())),
            parts: own,
            failing: one.failing_controls.len(),
            overdue: one.overdue_duties,
            newest: one.newest_result_on.map(told::day).unwrap_or_default(),
            duties: format!("/duties?site={site}&status=overdue"),
        });
    }
    let name = names.site(site).unwrap_or_default().to_owned();
    SiteRows { name, address: format!("/sites/{site}"), cells, parts }
}

/// The conclusion in words: what is settled above, and what nobody knows.
fn lead(texts: &Texts, sites: &[SiteRows], above: i64, unassessed: i64, total: i64) -> String {
    if total == 0 {
        return texts.t("sites-nothing");
    }
    let mut worst: Vec<&SiteRows> = sites.iter().filter(|site| site.parts.at_or_above > 0).collect();
    worst.sort_by_key(|site| std::cmp::Reverse(site.parts.at_or_above));
    let named: Vec<&str> = worst.iter().take(3).map(|site| site.name.as_str()).collect();
    let share = |part: i64| {
        // Whole per cent: worker-days are counts, and more digits would say more than is known.
        let rounded = (part * 200 + total) / (total * 2);
        if part > 0 && rounded == 0 { "< 1".to_owned() } else { rounded.to_string() }
    };
    let first = if above == 0 {
        texts.t("sites-none-above")
    } else {
        texts.with("sites-above", &[("what", &share(above)), ("who", &named.join(", "))])
    };
    let second = if unassessed == 0 {
        texts.t("sites-all-assessed")
    } else {
        texts.with("sites-unassessed", &[("what", &share(unassessed))])
    };
    format!("{first} {second}")
}
