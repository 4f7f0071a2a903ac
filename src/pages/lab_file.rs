//! A laboratory's file: it is sent, looked at row by row, mended, and then stored once.

use crate::access::policy::Action;
use crate::model::facts::site::Site;
use crate::model::identifiers::SiteId;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::form::Wrong;
use crate::pages::frame::{Choice, Field, Frame};
use crate::pages::lab_check::{self, Becomes, Checked, CheckedRow};
use crate::pages::lab_draft::{HEAD, LabDraft};
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::pages::writing_once::write_once;
use crate::registry::drafts::{self, DraftOf};
use crate::registry::facts::{laboratory, laboratory_csv};
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use askama::Template;
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    let records = Who::May(Action::RecordSamples);
    vec![
        Page::get("/sites/{id}/lab-reports/new", records, show),
        Page::post("/sites/{id}/lab-reports/new", records, look).takes_file(),
        Page::post("/sites/{id}/lab-reports/stored", records, store),
        Page::post("/sites/{id}/lab-reports/discarded", records, discard),
    ]
}

/// How many rows with faults are shown; the rest is counted.
const FAULTY_SHOWN: usize = 300;
/// How many rows without are shown; the rest is counted.
const SOUND_SHOWN: usize = 100;

/// A field of the head.
struct HeadField {
    name: &'static str,
    label: String,
    field: Field,
    needed: bool,
}

/// A name that the laboratory uses, and which agent it stands for.
struct NamedAgent {
    n: usize,
    text: String,
    agents: Vec<Choice>,
}

/// A row as the table shows it.
struct RowShown {
    row: CheckedRow,
    faults: Vec<(String, String)>,
    becomes: String,
    waits: bool,
    faulty: bool,
}

#[derive(Template)]
#[template(path = "pages/lab_file.html")]
struct LabPage {
    frame: Frame,
    site: Uuid,
    site_name: String,
    key: String,
    digest: String,
    /// The file that is looked at; empty before one was sent.
    name: String,
    kept: String,
    lead: String,
    head: Vec<HeadField>,
    hold: bool,
    file_faults: Vec<String>,
    named: Vec<NamedAgent>,
    rows: Vec<RowShown>,
    more_faulty: usize,
    more_sound: usize,
    faulty: usize,
    sound: bool,
    columns: String,
    typed_wrong: bool,
}

async fn site_of(pages: &Pages, visit: &Visit, site: Uuid) -> Result<String, Stopped> {
    let caller = visit.caller();
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let found = recording::read::<Site>(&mut tx, &caller, as_of, site).await?;
    if !caller.may(Action::RecordSamples)?.sites.holds(SiteId(site)) {
        return Err(Stopped::unknown());
    }
    Ok(found.fact.name.to_string())
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (site, texts) = (visit.id_in_path()?, Texts::of(&visit));
    let site_name = site_of(&pages, &visit, site).await?;
    let kept = pages.registry.draft(&visit.caller(), SiteId(site), DraftOf::LabReport).await?;
    let kept_at = kept.as_ref().map(|kept| told::instant(kept.kept_at)).unwrap_or_default();
    let draft = kept.and_then(|kept| LabDraft::from_draft(&kept.body));
    let agents = lab_check::agents(&pages).await?;
    let begun = draft.is_some();
    let draft = draft.unwrap_or_default();
    let sent = !draft.file.is_empty();
    let mut checked = if sent {
        lab_check::check(&pages, &visit, site, &draft, &agents).await?
    } else {
        Checked::default()
    };
    if begun && !sent {
        checked.file.push(texts.t("lab-no-file"));
    }
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    drop(tx);
    // Rows name samples, and samples their workers.
    reading::note_bulk(&pages, &visit, as_of, "report", checked.workers.len()).await?;
    let named = named(&draft, &checked, &agents, texts);
    let (rows, more_faulty, more_sound) = rows(&checked, texts);
    let lead = lead(texts, &checked, sent);
    Answer::page(&LabPage {
        frame: Frame::of(&pages, &visit, "lab-title"),
        site,
        site_name,
        key: pages.registry.ids.id(pages.registry.clock.now()).to_string(),
        digest: draft.digest(),
        name: if sent { draft.name.clone() } else { String::new() },
        kept: kept_at,
        lead,
        head: head(&draft, &checked.head, texts),
        hold: draft.hold,
        named,
        rows,
        more_faulty,
        more_sound,
        faulty: checked.faulty(),
        sound: sent && checked.is_sound(),
        columns: further_columns(),
        typed_wrong: !checked.head.is_empty(),
        file_faults: checked.file,
    })
}

/// The columns that may stand in a file beside those that must.
fn further_columns() -> String {
    let needed = |column: &&&str| laboratory_csv::NEEDED.contains(*column);
    let further: Vec<&str> =
        laboratory_csv::COLUMNS.iter().filter(|column| !needed(column)).copied().collect();
    further.join(", ")
}

fn head(draft: &LabDraft, wrong: &Wrong, texts: &Texts) -> Vec<HeadField> {
    let needed = |field: &str| ["report_number", "laboratory", "received_on"].contains(&field);
    HEAD.iter()
        .map(|name| HeadField {
            name,
            label: texts.word("lab", name),
            field: Field { value: draft.field(name).to_owned(), wrong: wrong.at(name).to_owned() },
            needed: needed(name),
        })
        .collect()
}

fn named(
    draft: &LabDraft,
    checked: &Checked,
    agents: &[crate::model::facts::agent::Agent],
    texts: &Texts,
) -> Vec<NamedAgent> {
    let mut texts_of: Vec<String> = checked.unknown.iter().cloned().collect();
    texts_of.extend(draft.named.keys().filter(|text| !checked.unknown.contains(*text)).cloned());
    let mut known: Vec<(&str, String)> = agents
        .iter()
        .map(|agent| (agent.code.as_str(), format!("{} ({})", agent.name, agent.code)))
        .collect();
    known.sort_by_key(|(_, label)| label.to_lowercase());
    texts_of
        .into_iter()
        .enumerate()
        .map(|(n, text)| {
            let chosen = draft.named.get(&text).map_or("", |code| code.as_str());
            let none = Choice::new("", texts.t("lab-agent-none"), chosen);
            let all = known.iter().map(|(code, label)| Choice::new(*code, label.clone(), chosen));
            NamedAgent { n, agents: std::iter::once(none).chain(all).collect(), text }
        })
        .collect()
}

fn rows(checked: &Checked, texts: &Texts) -> (Vec<RowShown>, usize, usize) {
    let (mut faulty, mut sound) = (0, 0);
    let mut shown = Vec::new();
    for row in &checked.rows {
        let is_faulty = !row.faults.is_empty();
        let count = if is_faulty { &mut faulty } else { &mut sound };
        *count += 1;
        if *count > if is_faulty { FAULTY_SHOWN } else { SOUND_SHOWN } {
            continue;
        }
        let faults = row.faults.iter().map(|(column, detail)| {
            let of =
                if column.is_empty() { texts.t("lab-row-itself") } else { texts.word("lab-column", column) };
            (of, detail.clone())
        });
        shown.push(RowShown {
            faults: faults.collect(),
            becomes: match &row.becomes {
                Becomes::Result(said) => said.clone(),
                Becomes::Waits => texts.t("lab-waits"),
                Becomes::Nothing => String::new(),
            },
            waits: row.becomes == Becomes::Waits,
            faulty: is_faulty,
            row: row.clone(),
        });
    }
    (shown, faulty.saturating_sub(FAULTY_SHOWN), sound.saturating_sub(SOUND_SHOWN))
}

fn lead(texts: &Texts, checked: &Checked, sent: bool) -> String {
    if !sent {
        return texts.t("lab-lead");
    }
    let rows = texts.n("lab-lead-rows", checked.rows.len());
    match (checked.faulty(), checked.is_sound()) {
        (0, true) => format!("{rows} {}", texts.t("lab-lead-sound")),
        (0, false) => format!("{rows} {}", texts.t("lab-lead-head")),
        (faulty, _) => format!("{rows} {}", texts.n("lab-lead-faulty", faulty)),
    }
}

async fn kept(pages: &Pages, visit: &Visit, site: Uuid) -> Result<Option<LabDraft>, Stopped> {
    let kept = pages.registry.draft(&visit.caller(), SiteId(site), DraftOf::LabReport).await?;
    Ok(kept.and_then(|kept| LabDraft::from_draft(&kept.body)))
}

/// Keeps what was sent, and leads to how it looks.
async fn look(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let site = visit.id_in_path()?;
    site_of(&pages, &visit, site).await?;
    let before = kept(&pages, &visit, site).await?;
    let file = visit.files.iter().find(|file| file.field == "file");
    let draft = LabDraft::sent(before, &visit.form, file);
    pages.registry.keep_draft(&visit.caller(), SiteId(site), DraftOf::LabReport, draft.to_draft()).await?;
    Ok(Answer::see(&format!("/sites/{site}/lab-reports/new#rows")))
}

async fn store(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let site = visit.id_in_path()?;
    site_of(&pages, &visit, site).await?;
    let looked_at = visit.form.text("digest").to_owned();
    let draft = kept(&pages, &visit, site).await?;
    let back = format!("/sites/{site}/lab-reports/new");
    if draft.as_ref().is_some_and(|draft| draft.digest() != looked_at) {
        return Ok(Answer::see(&format!("{back}?said=file-changed")));
    }
    let agents = lab_check::agents(&pages).await?;
    let report = draft.as_ref().map(|draft| lab_check::report_of(draft, &agents));
    let done = write_once(&pages, &visit, (visit.form.text("key"), &looked_at), move |change| {
        Box::pin(async move {
            // Where nothing is kept any more it was stored before, or was never sent.
            let report = report.ok_or(Refusal::Unknown)??;
            let recorded = laboratory::record_report(change, site, report).await?;
            drafts::sent(change, SiteId(site), DraftOf::LabReport).await?;
            Ok(format!("/lab-reports/{}?said=report-stored", recorded.report.id))
        })
    })
    .await;
    match done {
        Ok(address) => Ok(Answer::see(&address)),
        // The page tells every fault, now that it stands in the way.
        Err(Refusal::Faults(_) | Refusal::Conflict { .. }) => Ok(Answer::see(&back)),
        Err(other) => Err(other.into()),
    }
}

async fn discard(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let site = visit.id_in_path()?;
    site_of(&pages, &visit, site).await?;
    pages.registry.drop_draft(&visit.caller(), SiteId(site), DraftOf::LabReport).await?;
    Ok(Answer::see(&format!("/sites/{site}/lab-reports/new?said=draft-dropped")))
}
