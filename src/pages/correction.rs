//! Correcting a fact on a page: one form and one way for every kind, by the table of its fields.
//!
//! The form holds beside each field what was recorded when it was opened. Only what was typed otherwise is corrected; where
//! somebody else was quicker, what was typed stays, beside what is recorded now.

use crate::model::facts::control::{Control, Task};
use crate::model::facts::group::Group;
use crate::model::facts::laboratory::{LabReport, LabResult};
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::facts::worker::{Assignment, Worker};
use crate::model::identifiers::WorkerId;
use crate::model::shape::{Faults, parse_date};
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::changes_told::{self, ChangeTold};
use crate::pages::correction_fields::{By, Field, How, whole};
use crate::pages::correction_kinds::Correctable;
use crate::pages::entry_known::{Known, Offer, number_and_employer};
use crate::pages::entry_shown::FaultLine;
use crate::pages::form::{Form, Wrong};
use crate::pages::frame::{Choice, Frame};
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::visit::Visit;
use crate::pages::writing::write;
use crate::registry::correcting::{self, Expected, REASON};
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use askama::Template;
use axum::http::StatusCode;
use chrono::NaiveDate;
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    [
        of::<Sample>("/samples/{id}/correction"),
        of::<SamplingEvent>("/sampling-events/{id}/correction"),
        of::<LabResult>("/results/{id}/correction"),
        of::<LabReport>("/lab-reports/{id}/correction"),
        of::<Worker>("/workers/{id}/correction"),
        of::<Assignment>("/assignments/{id}/correction"),
        of::<Task>("/tasks/{id}/correction"),
        of::<Group>("/groups/{id}/correction"),
        of::<Control>("/controls/{id}/correction"),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn of<F: Correctable>(path: &'static str) -> [Page; 2] {
    [Page::get(path, Who::May(F::VOID), show::<F>), Page::post(path, Who::May(F::VOID), send::<F>)]
}

/// A fact that is open to be corrected, with what its fields are told and read by.
struct Opened<F> {
    version: Version<F>,
    known: Option<Known>,
    names: Names,
    changes: Vec<ChangeTold>,
}

impl<F: Correctable> Opened<F> {
    async fn of(pages: &Pages, visit: &Visit) -> Result<Self, Stopped> {
        let id = visit.id_in_path()?;
        let caller = visit.caller();
        let mut moment = Moment::of(pages, visit).await?;
        let (tx, as_of): (&mut Tx, AsOf) = (&mut moment.tx, moment.as_of);
        let version = recording::read::<F>(tx, &caller, as_of, id).await?;
        // What is void is shown, and not corrected; whoever may not correct it there has no form for it.
        let scope = caller.may(F::VOID)?;
        if version.site.is_some_and(|site| !scope.sites.holds(site)) || !version.stands() {
            return Err(Stopped::unknown());
        }
        let names = Names::of(tx, &caller, as_of).await?;
        let workers = F::worker(&version).into_iter().collect();
        let names = names.and_workers(tx, &caller, as_of, workers).await?;
        let numbers = F::FIELDS.iter().filter(|field| matches!(field.how, How::Worker));
        let numbers: BTreeSet<String> = numbers
            .filter_map(|field| visit.form.given(field.name))
            .map(|text| number_and_employer(text).0.to_owned())
            .collect();
        let known = match version.site {
            Some(site) => Some(Known::of(tx, &caller, as_of, (site.0, None), numbers).await?),
            None => None,
        };
        let changes = changes_told::changes(tx, &caller, as_of, id, Texts::of(visit)).await?;
        if let Some(worker) = F::worker(&version) {
            reading::note_worker(pages, visit, as_of, WorkerId(worker)).await?;
        }
        Ok(Self { version, known, names, changes })
    }

    fn by<'o>(&'o self, texts: &'o Texts) -> By<'o> {
        By { known: self.known.as_ref(), names: &self.names, texts }
    }

    /// What is recorded in a field.
    fn recorded(&self, field: &Field) -> Value {
        if F::MOVED_BY == Some(field.name) {
            return self.version.parent.map(|id| json!(id.to_string())).unwrap_or_default();
        }
        self.version.fact.to_json()[field.name].clone()
    }

    /// The fields as they are recorded.
    fn typed(&self, texts: &Texts) -> Vec<Typed> {
        let by = self.by(texts);
        F::FIELDS
            .iter()
            .map(|field| {
                let told = by.told(field.how, &self.recorded(field));
                Typed { field: *field, was: told.clone(), text: told }
            })
            .collect()
    }
}

/// A field as it was typed, and what was recorded when its form was opened.
struct Typed {
    field: Field,
    was: String,
    text: String,
}

/// What a browser makes of line ends.
fn plain_lines(text: &str) -> String {
    text.trim().replace("\r\n", "\n")
}

fn sent(of: &[Field], form: &Form) -> Vec<Typed> {
    let typed = |field: &Field| Typed {
        field: *field,
        was: plain_lines(form.raw(&format!("was-{}", field.name))),
        text: plain_lines(form.raw(field.name)),
    };
    of.iter().map(typed).collect()
}

impl Typed {
    fn changed(&self) -> bool {
        self.text != plain_lines(&self.was)
    }
}

/// The correction that was typed, as the use case takes it; what cannot be read goes to `wrong`.
fn patch<F: Correctable>(
    opened: &Opened<F>,
    typed: &[Typed],
    texts: &Texts,
    wrong: &mut Wrong,
) -> Map<String, Value> {
    let by = opened.by(texts);
    let dated = typed.iter().find(|one| one.field.name == "shift_date");
    let day: Option<NaiveDate> = dated.and_then(|one| parse_date(&one.text));
    let moved = dated.is_some_and(Typed::changed);
    let mut patch = Map::new();
    for one in typed {
        // Times stand on the shift date, and go with it.
        let goes_along = moved && matches!(one.field.how, How::Runs) && !one.text.is_empty();
        if !one.changed() && !goes_along {
            continue;
        }
        let name = one.field.name;
        if one.text.is_empty() {
            patch.insert(name.into(), Value::Null);
            continue;
        }
        match by.read(one.field.how, &one.text, day) {
            Ok(value) => drop(patch.insert(name.into(), whole(&opened.recorded(&one.field), value))),
            Err(detail) => wrong.note(name, detail),
        }
    }
    patch
}

/// A field as the template draws it.
struct Shown {
    name: &'static str,
    label: String,
    value: String,
    was: String,
    wrong: String,
    /// What is recorded, where something else was typed.
    recorded: String,
    /// What may be chosen; empty where it is typed.
    choices: Vec<Choice>,
    /// The list that is offered while one types; empty where there is none.
    list: &'static str,
    long: bool,
}

#[derive(Template)]
#[template(path = "pages/correction.html")]
struct CorrectionPage {
    frame: Frame,
    path: String,
    back: String,
    named: String,
    revision: i64,
    stale: bool,
    faults: Vec<FaultLine>,
    fields: Vec<Shown>,
    zone: String,
    reason: String,
    reason_wrong: String,
    changes: Vec<ChangeTold>,
    groups: Vec<Offer>,
    tasks: Vec<Offer>,
    controls: Vec<Offer>,
    agents: Vec<Offer>,
}

fn label(texts: &Texts, name: &str) -> String {
    texts.word("correct-field", name)
}

/// The same with how it is typed.
fn hinted(texts: &Texts, field: &Field) -> String {
    let label = label(texts, field.name);
    let hint = match field.how {
        How::Day | How::LastDay => texts.t("correct-hint-day"),
        How::Worker => texts.t("correct-hint-number"),
        How::Group | How::Task | How::Control | How::Controls => texts.t("correct-hint-code"),
        _ => return label,
    };
    texts.with("correct-hinted", &[("what", &label), ("by", &hint)])
}

fn shown<F: Correctable>(opened: &Opened<F>, typed: &Typed, wrong: &Wrong, texts: &Texts) -> Shown {
    let Field { name, how } = typed.field;
    let recorded = opened.by(texts).told(how, &opened.recorded(&typed.field));
    let must = F::schema()["required"].as_array().is_some_and(|all| all.iter().any(|one| one == name));
    let chosen = |words: Vec<(String, String)>| -> Vec<Choice> {
        let none = (!must || typed.text.is_empty()).then(|| (String::new(), texts.t("correct-not-said")));
        let all = none.into_iter().chain(words);
        all.map(|(value, words)| Choice::new(value, words, &typed.text)).collect()
    };
    let of_family = |family: &str, words: Vec<&'static str>| -> Vec<(String, String)> {
        words.into_iter().map(|word| (word.to_owned(), texts.word(family, word))).collect()
    };
    let choices = match how {
        How::Word(family, words) => chosen(of_family(family, words())),
        How::Words(family, words) => {
            let mut all = of_family(family, words());
            for several in [&typed.text, &recorded] {
                if several.contains(' ') && !all.iter().any(|(value, _)| value == several) {
                    let told: Vec<String> =
                        several.split_whitespace().map(|word| texts.word(family, word)).collect();
                    all.push((several.clone(), told.join("; ")));
                }
            }
            chosen(all)
        }
        How::YesNo => {
            chosen(vec![("yes".into(), texts.t("correct-yes")), ("no".into(), texts.t("correct-no"))])
        }
        _ => Vec::new(),
    };
    let in_words = |told: &str| {
        let choice = choices.iter().find(|choice| choice.value == told);
        let words = choice.map_or_else(|| told.to_owned(), |choice| choice.label.clone());
        if words.is_empty() { texts.t("correct-nothing") } else { words }
    };
    let mut faults: Vec<&str> = Vec::new();
    for (field, detail) in wrong.all() {
        if field == name && !faults.contains(&detail.as_str()) {
            faults.push(detail);
        }
    }
    Shown {
        name,
        label: hinted(texts, &typed.field),
        value: typed.text.clone(),
        was: typed.was.clone(),
        wrong: faults.join("; "),
        recorded: if plain_lines(&recorded) == typed.text { String::new() } else { in_words(&recorded) },
        choices,
        list: match how {
            How::Group => "groups",
            How::Task => "tasks",
            How::Control | How::Controls => "controls",
            How::Agents => "agents",
            _ => "",
        },
        long: matches!(how, How::Lines),
    }
}

fn page<F: Correctable>(
    pages: &Pages,
    visit: &Visit,
    opened: &Opened<F>,
    typed: &[Typed],
    (wrong, stale): (&Wrong, bool),
) -> CorrectionPage {
    let texts = Texts::of(visit);
    let named = F::named(&opened.version, &opened.names);
    let own = |name: &str| F::FIELDS.iter().any(|field| field.name == name) || name == REASON;
    let mut faults: Vec<FaultLine> = Vec::new();
    for (name, detail) in wrong.all() {
        let known = own(name);
        let line = FaultLine {
            field: if known { name.clone() } else { String::new() },
            label: if name.is_empty() { texts.t("correct-whole") } else { label(texts, name) },
            detail: without_identifiers(detail),
        };
        if !faults.contains(&line) {
            faults.push(line);
        }
    }
    let offers = |of: fn(&Known) -> Vec<Offer>| opened.known.as_ref().map(of).unwrap_or_default();
    CorrectionPage {
        frame: Frame::titled(pages, visit, texts.with(F::TITLE, &[("what", &named)])),
        path: visit.path.clone(),
        back: F::shown_on(&opened.version),
        named,
        revision: opened.version.revision,
        stale,
        faults,
        fields: typed.iter().map(|one| shown(opened, one, wrong, texts)).collect(),
        zone: match &opened.known {
            Some(known) if F::FIELDS.iter().any(|field| matches!(field.how, How::Runs)) => {
                known.site.fact.time_zone.0.name().to_owned()
            }
            _ => String::new(),
        },
        reason: visit.form.raw(REASON).to_owned(),
        reason_wrong: wrong.at(REASON).to_owned(),
        changes: opened.changes.clone(),
        groups: offers(|known| offered(&known.groups)),
        tasks: offers(|known| offered(&known.tasks)),
        controls: offers(|known| offered(&known.controls)),
        agents: offers(Known::agents_offered),
    }
}

fn offered(by_code: &crate::pages::typed_codes::ByCode) -> Vec<Offer> {
    by_code.iter().map(|(code, (_, title))| Offer { code: code.clone(), title: title.clone() }).collect()
}

/// Names of other facts are of no use to a reader; what they are is said beside.
fn without_identifiers(detail: &str) -> String {
    let words = detail.split(' ').filter(|word| Uuid::parse_str(word.trim_end_matches(':')).is_err());
    words.collect::<Vec<_>>().join(" ")
}

async fn show<F: Correctable>(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let opened = Opened::<F>::of(&pages, &visit).await?;
    let typed = opened.typed(Texts::of(&visit));
    Answer::page(&page(&pages, &visit, &opened, &typed, (&Wrong::default(), false)))
}

async fn send<F: Correctable>(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let texts = Texts::of(&visit);
    let opened = Opened::<F>::of(&pages, &visit).await?;
    let typed = sent(F::FIELDS, &visit.form);
    let read = visit.form.text("read_revision").parse::<i64>().ok();
    if read != Some(opened.version.revision) {
        return overtaken::<F>(&pages, &visit, &opened, typed);
    }
    let mut wrong = Wrong::default();
    let mut body = patch(&opened, &typed, texts, &mut wrong);
    if body.is_empty() && wrong.is_empty() {
        wrong.note("", texts.t("correct-wrong-nothing"));
    }
    match visit.form.given(REASON) {
        Some(reason) => drop(body.insert(REASON.into(), json!(reason))),
        None => wrong.note(REASON, texts.t("correct-wrong-reason")),
    }
    if !wrong.is_empty() {
        let page = page(&pages, &visit, &opened, &typed, (&wrong, false));
        return Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page);
    }
    let (id, expected) = (opened.version.id, Expected::OneOf(vec![opened.version.revision]));
    let body = Value::Object(body);
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move { correcting::correct::<F>(change, id, &expected, &body).await })
    })
    .await;
    match done {
        Ok(version) => Ok(Answer::see(&format!("{}?said=corrected", F::shown_on(&version)))),
        Err(Refusal::Faults(faults)) => {
            let page = page(&pages, &visit, &opened, &typed, (&by_field(&faults), false));
            Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
        Err(Refusal::Conflict { detail, .. }) => {
            let page = page(&pages, &visit, &opened, &typed, (&Wrong::one("", detail), false));
            Answer::page_with(StatusCode::CONFLICT, &page)
        }
        Err(Refusal::Stale) => {
            let opened = Opened::<F>::of(&pages, &visit).await?;
            overtaken::<F>(&pages, &visit, &opened, typed)
        }
        Err(other) => Err(other.into()),
    }
}

/// Somebody else has corrected it meanwhile: what was typed stays, on top of what is recorded now.
fn overtaken<F: Correctable>(
    pages: &Pages,
    visit: &Visit,
    opened: &Opened<F>,
    typed: Vec<Typed>,
) -> Result<Answer, Stopped> {
    let now = opened.typed(Texts::of(visit));
    let typed: Vec<Typed> = typed
        .into_iter()
        .zip(now)
        .map(|(one, now)| if one.changed() { Typed { text: one.text, ..now } } else { now })
        .collect();
    let page = page(pages, visit, opened, &typed, (&Wrong::default(), true));
    Answer::page_with(StatusCode::CONFLICT, &page)
}

/// The faults of the use case by their fields: what is wrong inside a field is told beside it.
fn by_field(faults: &Faults) -> Wrong {
    let mut wrong = Wrong::default();
    for fault in faults.iter() {
        let field = fault.pointer.trim_start_matches('/').split('/').next().unwrap_or_default();
        wrong.note(field, fault.detail.clone());
    }
    wrong
}
