//! A sample: what it says of each agent, how every number came about, and what a hygienist makes of it.

use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::model::facts::laboratory::{LabResult, ResultStatus};
use crate::model::facts::sampling::{Sample, SamplerKind, SamplingEvent};
use crate::model::facts::site::Site;
use crate::model::shape::Shape as _;
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::changes_told::{self, ChangeTold};
use crate::pages::corrections;
use crate::pages::form::{Form, Wrong};
use crate::pages::frame::Frame;
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::reading;
use crate::pages::result_told::{self, FlagTold, StepTold};
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::pages::writing::write;
use crate::registry::conclude::samples;
use crate::registry::facts::results::{self, Because, Voiding};
use crate::registry::gather;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::versions::Where;
use askama::Template;
use axum::http::StatusCode;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    let (accepts, voids) = (Who::May(Action::Accept), Who::May(Action::Void));
    vec![
        Page::get("/samples/{id}", Who::May(Action::ReadSamples), show),
        Page::post("/samples/{id}/acceptance", accepts, accept),
        Page::post("/samples/{id}/voiding", voids, void),
        Page::post("/samples/{id}/voiding-withdrawal", voids, withdraw_voiding),
        Page::post("/samples/{id}/standing-choice", accepts, choose),
    ]
}

/// A result.
struct ResultShown {
    id: String,
    agent: String,
    code: String,
    /// What it says; empty where nothing can be said.
    value: String,
    dose: String,
    mass: String,
    corrected_mass: String,
    at_lower_flow: String,
    status: String,
    submitted: bool,
    voided: bool,
    stands: bool,
    /// What was said on accepting or voiding it.
    reason: String,
    flags: Vec<FlagTold>,
    working: Vec<StepTold>,
    changes: Vec<ChangeTold>,
}

impl ResultShown {
    /// Whether its value was corrected.
    fn corrected(&self) -> bool {
        self.changes.iter().any(|change| change.corrects)
    }
}

#[derive(Template)]
#[template(path = "pages/sample.html")]
struct SamplePage {
    frame: Frame,
    id: Uuid,
    event: Uuid,
    event_reference: String,
    lead: String,
    voided: String,
    facts: Vec<(String, String)>,
    worker: Option<(String, String)>,
    /// What is said where a pump should have drawn a volume and none is known.
    no_volume: String,
    volume: String,
    change: String,
    flags: Vec<FlagTold>,
    air: Vec<StepTold>,
    results: Vec<ResultShown>,
    changes: Vec<ChangeTold>,
    corrected: bool,
    /// Where it is corrected; empty for whoever may not.
    correction: String,
    accepts: bool,
    /// How many results wait for acceptance.
    waiting: usize,
    voids: bool,
    reason: String,
    wrong: Wrong,
}

fn facts(sample: &Version<Sample>, site: Option<&Version<Site>>, texts: &Texts) -> Vec<(String, String)> {
    let fact = &sample.fact;
    let mut facts = vec![
        (texts.t("entry-position"), texts.word("position", fact.position.as_str())),
        (texts.t("fact-shift-date"), told::day(fact.shift_date)),
    ];
    let mut put = |key: &str, value: Option<String>| {
        if let Some(value) = value.filter(|value| !value.is_empty()) {
            // Where the form's label asks for a code, the fact has a label of its own.
            let family = if ["group", "task", "calibrated_on"].contains(&key) { "fact" } else { "entry" };
            facts.push((texts.word(family, key), value));
        }
    };
    let labels = fact.labels.as_ref();
    put("group", labels.and_then(|labels| labels.group_title.clone()));
    put("task", labels.and_then(|labels| labels.task_title.clone()));
    put(
        "controls",
        labels
            .and_then(|labels| labels.control_titles.as_ref())
            .map(|titles| if titles.is_empty() { texts.t("entry-none-running") } else { titles.join(", ") }),
    );
    let clock = |at: chrono::DateTime<chrono::Utc>| match site {
        Some(site) => at.with_timezone(&site.fact.time_zone.0).format("%H:%M").to_string(),
        None => at.format("%H:%M UTC").to_string(),
    };
    let runs = fact
        .runs
        .iter()
        .flatten()
        .map(|run| format!("{}–{}", clock(run.start), run.end.map(clock).unwrap_or_default()));
    put("runs", Some(runs.collect::<Vec<_>>().join(", ")));
    let flow = |flow: &Option<crate::model::quantity::Quantity>| {
        flow.as_ref().map(|flow| result_told::quantity(&flow.to_json()))
    };
    put("before", flow(&fact.flow_before));
    put("after", flow(&fact.flow_after));
    let line = |line: &Option<crate::model::text::Line>| line.as_ref().map(ToString::to_string);
    put("method", line(&fact.method));
    put("medium", line(&fact.medium));
    put("lot", line(&fact.medium_lot));
    put("pump", line(&fact.pump));
    put("calibrator", line(&fact.calibrator));
    put("calibrated_on", fact.calibrated_on.map(told::day));
    put("location", line(&fact.location));
    put("materials", line(&fact.materials));
    put("ppe", line(&fact.ppe_worn));
    put("covers", fact.covers.map(|covers| texts.word("covers", covers.as_str())));
    put("duplicate_of", fact.duplicate_of.as_ref().map(ToString::to_string));
    put("outcome", fact.outcome.map(|outcome| texts.word("outcome", outcome.as_str())));
    put("representative", fact.representative.filter(|alike| !alike).map(|_| texts.t("entry-alike-no")));
    put("note", fact.note.as_ref().map(ToString::to_string));
    facts
}

async fn page(pages: &Pages, visit: &Visit, wrong: Wrong) -> Result<SamplePage, Stopped> {
    let id = visit.id_in_path()?;
    let (caller, texts) = (visit.caller(), Texts::of(visit));
    let mut moment = Moment::of(pages, visit).await?;
    let is_now = moment.is_now();
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let sample = recording::read::<Sample>(tx, &caller, as_of, id).await?;
    let asked = Asked { working: true, ..Asked::default() };
    let view = samples::sample(tx, &caller, as_of, id, asked).await?;
    let event = sample.parent.unwrap_or_default();
    let reference = recording::read::<SamplingEvent>(tx, &caller, as_of, event).await?.fact.reference;
    let site = match sample.site {
        Some(site) => gather::one::<Site>(tx, as_of, site.0).await?,
        None => None,
    };
    let names = Names::of(tx, &caller, as_of).await?;
    let of_worker = sample.fact.worker_id.map(|worker| worker.0);
    let names = names.and_workers(tx, &caller, as_of, of_worker.into_iter().collect()).await?;
    let recorded =
        gather::many::<LabResult>(tx, as_of, &[id], |ids| Where::IsOneOf("sample_id", ids)).await?;
    let agents: BTreeSet<String> = view["results"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|result| result["agent_code"].as_str().map(str::to_owned))
        .collect();
    let agents: Vec<String> = agents.into_iter().collect();
    let mut shown = Vec::new();
    for result in view["results"].as_array().into_iter().flatten() {
        let found = recorded.iter().find(|one| Some(one.id.to_string().as_str()) == result["id"].as_str());
        let changes = match found {
            Some(found) => changes_told::changes(tx, &caller, as_of, found.id, texts).await?,
            None => Vec::new(),
        };
        let of_agent = result_told::working(&view["working"], result["agent_code"].as_str(), &agents, &names);
        shown.push(result_shown(result, found, of_agent, changes, (texts, &names)));
    }
    let changes = changes_told::changes(tx, &caller, as_of, id, texts).await?;
    if let Some(worker) = sample.fact.worker_id {
        reading::note_worker(pages, visit, as_of, worker).await?;
    }
    let label = sample.fact.labels.as_ref().and_then(|labels| labels.worker_name.clone());
    let worker = sample.fact.worker_id.map(|worker| {
        let name = label.unwrap_or_else(|| texts.t("duty-somebody"));
        let number = names.worker_parts(worker.0).map(|(_, number)| number.to_owned()).unwrap_or_default();
        (format!("/workers/{worker}"), if number.is_empty() { name } else { format!("{name}, {number}") })
    });
    let mut sample_flags = result_told::flags(&view["flags"]);
    sample_flags.retain(|flag| !flag.word.is_empty());
    let may = |action: Action| {
        let scope = caller.may(action).ok()?;
        sample.site.is_none_or(|site| scope.sites.holds(site)).then_some(())
    };
    Ok(SamplePage {
        id,
        event,
        event_reference: reference.to_string(),
        lead: lead(texts, &shown),
        voided: sample.voided.clone().unwrap_or_default(),
        facts: facts(&sample, site.as_ref(), texts),
        worker,
        no_volume: if sample.fact.sampler() == SamplerKind::Pumped && !sample.fact.is_blank() {
            texts.t("sample-no-volume")
        } else {
            String::new()
        },
        volume: result_told::quantity(&view["volume"]),
        change: view["flow_change_percent"]
            .as_f64()
            .map(crate::pages::entry_reading::change_told)
            .unwrap_or_default(),
        flags: sample_flags,
        air: result_told::working(&view["working"], None, &agents, &names),
        corrected: changes.iter().any(|change| change.corrects),
        changes,
        correction: corrections::form(
            &caller,
            is_now && sample.stands(),
            sample.site,
            &format!("/samples/{id}"),
        ),
        accepts: is_now && sample.stands() && may(Action::Accept).is_some(),
        waiting: shown.iter().filter(|result| result.submitted && result.stands).count(),
        voids: is_now && may(Action::Void).is_some(),
        reason: visit.form.text("reason").to_owned(),
        results: shown,
        wrong,
        frame: Frame::titled(
            pages,
            visit,
            texts.with("sample-title", &[("what", sample.fact.number.as_str())]),
        )
        .at(moment.fix),
    })
}

fn result_shown(
    result: &Value,
    found: Option<&Version<LabResult>>,
    working: Vec<StepTold>,
    changes: Vec<ChangeTold>,
    (texts, names): (&Texts, &Names),
) -> ResultShown {
    let code = result["agent_code"].as_str().unwrap_or_default();
    let status = result["status"].as_str().unwrap_or_default();
    let told = |field: &str| result_told::quantity(&result[field]);
    let criterion = result["criterion"].as_str().map(|word| format!(", {}", texts.word("criterion", word)));
    // Its state is told in words of its own.
    let mut flags = result_told::flags(&result["flags"]);
    flags.retain(|flag| flag.word != "voided" && flag.word != "not accepted");
    let voided_why = found.and_then(|found| found.voided.clone());
    let accepted_why = found.and_then(|found| found.fact.reason.as_ref()).map(ToString::to_string);
    ResultShown {
        id: result["id"].as_str().unwrap_or_default().to_owned(),
        agent: format!("{}{}", names.agent(code), criterion.unwrap_or_default()),
        code: code.to_owned(),
        value: told("concentration"),
        dose: told("dose"),
        mass: told("mass"),
        corrected_mass: told("mass_corrected"),
        at_lower_flow: told("value_at_lower_flow"),
        status: texts.word("result-status", status),
        submitted: status == ResultStatus::Submitted.as_str(),
        voided: status == ResultStatus::Voided.as_str(),
        stands: result["stands"].as_bool().unwrap_or_default(),
        reason: voided_why.or(accepted_why).unwrap_or_default(),
        flags,
        working,
        changes,
    }
}

fn lead(texts: &Texts, results: &[ResultShown]) -> String {
    let standing = results.iter().filter(|result| result.stands).count();
    let waiting = results.iter().filter(|result| result.stands && result.submitted).count();
    match (standing, waiting) {
        (0, _) => texts.t("sample-lead-none"),
        (standing, 0) => {
            format!("{} {}", texts.n("sample-lead", standing), texts.t("sample-lead-all-accepted"))
        }
        (standing, waiting) => {
            format!("{} {}", texts.n("sample-lead", standing), texts.n("sample-lead-waiting", waiting))
        }
    }
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    Answer::page(&page(&pages, &visit, Wrong::default()).await?)
}

/// The fields of a form about a sample, as the use cases take them.
fn body(form: &Form) -> Value {
    let mut body = json!({});
    for field in ["reason", "agent_code"] {
        if let Some(text) = form.given(field) {
            body[field] = json!(text);
        }
    }
    body
}

/// Leads back to the sample, or shows it with what is wrong.
async fn answered(
    pages: &Pages,
    visit: &Visit,
    done: Result<(), Refusal>,
    said: &str,
) -> Result<Answer, Stopped> {
    match done {
        Ok(()) => Ok(Answer::see(&format!("/samples/{}?{said}", visit.id_in_path()?))),
        Err(Refusal::Faults(faults)) => {
            let page = page(pages, visit, Wrong::of(&faults)).await?;
            Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
        Err(other) => Err(other.into()),
    }
}

async fn accept(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (id, sent) = (visit.id_in_path()?, body(&visit.form));
    let work = write(&pages, &visit, move |change| {
        Box::pin(async move { results::accept(change, id, &sent).await })
    });
    let done = work.await;
    answered(&pages, &visit, done, "said=results-accepted").await
}

async fn void(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (id, sent) = (visit.id_in_path()?, body(&visit.form));
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move {
            let voiding = Voiding::parse(&sent)?;
            match &voiding.agent_code {
                Some(agent) => results::void_agent(change, id, agent, &voiding.reason).await,
                None => recording::void::<Sample>(change, id, voiding.reason.as_str()).await.map(drop),
            }
        })
    })
    .await;
    answered(&pages, &visit, done, "said=voided").await
}

async fn withdraw_voiding(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (id, sent) = (visit.id_in_path()?, body(&visit.form));
    let result = visit.form.given("result_id").and_then(|id| Uuid::parse_str(id).ok());
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move {
            let because = Because::parse(&sent)?.reason;
            match result {
                Some(result) => results::withdraw_voiding(change, result, &because).await.map(drop),
                None => recording::withdraw_voiding::<Sample>(change, id, because.as_str()).await.map(drop),
            }
        })
    })
    .await;
    answered(&pages, &visit, done, "said=voiding-withdrawn").await
}

async fn choose(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let sent = body(&visit.form);
    let result = visit.form.given("result_id").and_then(|id| Uuid::parse_str(id).ok());
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move {
            let because = Because::parse(&sent)?.reason;
            let result = result.ok_or(Refusal::Unknown)?;
            results::choose_standing(change, result, &because).await.map(drop)
        })
    })
    .await;
    answered(&pages, &visit, done, "said=standing-chosen").await
}
