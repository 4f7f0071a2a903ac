//! A worker: one life line for each agent over all sites in sight, the tables behind it, clauses and duties; as known on a
//! chosen day, and as a record to print.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::duty::DutyStatus;
use crate::model::facts::worker::{Assignment, EarlierExposure};
use crate::model::identifiers::WorkerId;
use crate::model::text::Code;
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::charts::day_counts::day_counts;
use crate::pages::charts::life_line::{Assigned, DutyMark, LifeLine, life_line};
use crate::pages::charts::noise_years::noise_years;
use crate::pages::control_titles::control_titles;
use crate::pages::corrections::{self, Corrected};
use crate::pages::duty_entry::DutyEntry;
use crate::pages::examiner_packet;
use crate::pages::figures::{Numbering, ShownFigure, ShownTable};
use crate::pages::form::{Form, Wrong};
use crate::pages::frame::{Choice, Frame};
use crate::pages::limits_told::limits_table;
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::reading;
use crate::pages::remarks;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::pages::worker_line::{Asker, WorkerLine, times_of_work, worker_line};
use crate::pages::worker_told::{self, HeadFigure};
use crate::registry::anchor::ChainState;
use crate::registry::conclude::history::{Question, handed_out};
use crate::registry::conclude::history_rows::agents;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::surveillance::{SurveillanceView, surveillance};
use crate::registry::duty_list::{self, Question as DutyQuestion};
use crate::registry::duty_view::DutyView;
use crate::registry::find_workers;
use crate::registry::gather::persons::persons;
use crate::registry::journal::hex;
use crate::store::versions::{self, AsOf, Where};
use askama::Template;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    let reads = Who::May(Action::ReadHistories);
    vec![
        Page::get("/workers/{id}", reads, show),
        Page::post("/workers/{id}", reads, show),
        Page::get("/workers/{id}/examiner-packet", reads, examiner_packet::show),
    ]
}

/// The longest lag that can be asked for.
const LAG_MOST: u32 = 60;
/// How many hexadecimal digits of a check value are printed: 64 bits, which nobody hits by chance.
const CHECK_DIGITS: usize = 16;

/// One agent's part of the page.
struct OfAgent {
    lead: String,
    head: Vec<HeadFigure>,
    line: ShownFigure,
    noise: Option<ShownFigure>,
    days: Option<ShownFigure>,
    remarks: Vec<String>,
    limits: Option<ShownTable>,
    clauses: Option<ShownTable>,
    check: String,
}

#[derive(Template)]
#[template(path = "pages/worker.html")]
struct WorkerPage {
    frame: Frame,
    id: Uuid,
    employments: Vec<String>,
    also: String,
    agents: Vec<Choice>,
    lag: String,
    day: String,
    wrong: Wrong,
    query: String,
    in_part: bool,
    of_agent: Option<OfAgent>,
    agent: String,
    assignments: Option<ShownTable>,
    earlier: Option<ShownTable>,
    duties: Vec<DutyEntry>,
    corrected: Vec<Corrected>,
    /// Where the entry, and each assignment, is corrected; none for whoever may not.
    corrections: Vec<(String, String)>,
    looked_at: bool,
    /// Where the paper for an examining professional is; empty for whoever has none.
    packet: String,
    states_purpose: bool,
    purpose: String,
    made: String,
    chain: String,
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    Answer::page(&page(&pages, &visit).await?)
}

/// What the address asks for beside the agent.
fn lag(query: &Form, texts: &Texts, wrong: &mut Wrong) -> u32 {
    let Some(text) = query.given("lag_years") else { return 0 };
    match text.parse::<u32>() {
        Ok(years) if years <= LAG_MOST => years,
        _ => {
            wrong.note("lag_years", texts.t("worker-lag-wrong"));
            0
        }
    }
}

async fn page(pages: &Pages, visit: &Visit) -> Result<WorkerPage, Stopped> {
    let id = visit.id_in_path()?;
    let (caller, texts) = (visit.caller(), Texts::of(visit));
    let mut wrong = Wrong::default();
    let lag_years = lag(&visit.query, texts, &mut wrong);
    let mut moment = Moment::of(pages, visit).await?;
    let (is_now, now) = (moment.is_now(), pages.registry.seen_from(moment.as_known_on));
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let scope = caller.may(Action::ReadHistories)?;
    let (_, entry) = find_workers::read(tx, &caller, as_of, id).await?;
    let person = persons(tx, as_of, &[id]).await?.in_sight(tx, &scope, as_of).await?.person(id);
    let mut sight = if is_now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
    let codes = agents(&mut sight, &scope, &person).await?;
    let asked = visit.query.given("agent_code").filter(|asked| codes.iter().any(|code| code == asked));
    let question = DutyQuestion { worker: Some(WorkerId(id)), ..DutyQuestion::default() };
    let duties = match caller.may(Action::ReadDuties) {
        Ok(_) => duty_list::most_urgent(tx, &caller, as_of, &question).await?,
        Err(_) => Vec::new(),
    };
    let code = asked.map(str::to_owned).or_else(|| first_agent(&codes, &duties)).unwrap_or_default();
    let (assignments, absences) = times_of_work(tx, &caller, as_of, &person.entries()).await?;
    let of_worker = [Where::Parents(person.entries()), Where::Standing];
    let mut earlier = versions::list::<EarlierExposure>(tx, &scope, as_of, &of_worker, None).await?;
    earlier.retain(|one| one.fact.agent_code.as_str() == code);
    earlier.sort_by_key(|one| one.fact.from);
    let asker = Asker { caller: &caller, as_of, now };
    let asks = Question { agent_code: code.clone(), from: None, to: None, lag_years, now: is_now };
    let mut line = None;
    let mut clauses = None;
    if !code.is_empty() {
        line = Some(worker_line(tx, asker, id, &asks).await?);
        if let (Some(code), Ok(_)) = (Code::new(&code), caller.may(Action::ReadDuties)) {
            let mut sight = if is_now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
            clauses = Some(surveillance(&mut sight, &caller, now, id, &code).await?);
        }
    }
    let mut groups = line.as_ref().map(WorkerLine::groups).unwrap_or_default();
    groups.extend(assignments.iter().map(|one| one.fact.group_id.0));
    let mut sites = line.as_ref().map(WorkerLine::sites).unwrap_or_default();
    sites.extend(assignments.iter().filter_map(|one| one.site));
    let names = Names::of(tx, &caller, as_of).await?;
    let names = names.and_groups(tx, &caller, as_of, groups).await?;
    let names = names.and_workers(tx, &caller, as_of, [id].into()).await?;
    let titles = control_titles(tx, &caller, as_of, sites).await?;
    let state = ChainState::for_reader(tx, as_of.position, &caller, Action::ReadHistories).await?;
    let (looked_at, states_purpose) =
        (caller.may(Action::ReadAccessOfWorkers).is_ok(), caller.may(Action::MedicalGrounds).is_ok());
    let told_corrected = corrected(texts, &entry, id, &assignments, &names);
    let told_corrected = corrections::explained(tx, (&caller, texts), as_of, told_corrected).await?;
    reading::note_worker(pages, visit, as_of, WorkerId(id)).await?;
    let worn = |fact: &Assignment| titles.get(&fact.respirator_control_id?).cloned();
    let mut numbering = Numbering::default();
    let of_agent = line.map(|line| {
        let gathered = Gathered { texts, names: &names, titles: &titles, assignments: &assignments };
        let absences = absences.as_slice();
        gathered.of_agent(&line, absences, &marks(texts, &duties, &code), clauses.as_ref(), &mut numbering)
    });
    let agent = names.agent(&code);
    let assigned =
        worker_told::assignments(texts, &names, worn, &assignments).map(|table| numbering.table(table));
    let entries = duties.iter().map(|duty| DutyEntry::of(texts, &names, duty, as_of.date));
    Ok(WorkerPage {
        id,
        employments: employments(texts, &entry),
        also: also(texts, &entry),
        agents: codes.iter().map(|one| Choice::new(one, names.agent(one), &code)).collect(),
        lag: visit.query.given("lag_years").unwrap_or("0").to_owned(),
        day: moment.fix.day.clone(),
        wrong,
        query: visit.query.as_query(&["said"]),
        in_part: !scope.is_all(),
        of_agent,
        assignments: assigned,
        earlier: worker_told::earlier(texts, &earlier).map(|table| numbering.table(table)),
        duties: entries.collect(),
        corrected: told_corrected,
        corrections: forms(texts, &caller, (id, is_now), &assignments, &names),
        looked_at,
        packet: examiner_packet::address(&caller, id, &code, &moment.fix.day),
        states_purpose,
        purpose: visit.form.text(reading::PURPOSE).to_owned(),
        made: made(texts, visit, as_of, &agent),
        chain: texts.with(
            "worker-record-chain",
            &[
                ("what", &state.chain),
                ("entry", &told::count(state.entries)),
                ("by", &state.head.chars().take(CHECK_DIGITS).collect::<String>()),
            ],
        ),
        frame: Frame::titled(pages, visit, name(&entry)).at(moment.fix),
        agent,
    })
}

/// What the printed record says of itself.
fn made(texts: &Texts, visit: &Visit, as_of: AsOf, agent: &str) -> String {
    let who = visit.session.as_ref().map(|session| session.email.as_str()).unwrap_or_default();
    texts.with(
        "worker-record",
        &[
            ("day", &told::day(as_of.date)),
            ("who", who),
            ("entry", &told::count(as_of.position)),
            ("what", agent),
        ],
    )
}

/// The agent to begin with: one that a duty is about, else the first.
fn first_agent(codes: &[String], duties: &[DutyView]) -> Option<String> {
    let due = duties.iter().filter(|duty| matches!(duty.status, DutyStatus::Open | DutyStatus::Overdue));
    let of_duty = due.filter_map(|duty| duty.agent_code.as_ref()).map(ToString::to_string);
    of_duty.into_iter().find(|code| codes.contains(code)).or_else(|| codes.first().cloned())
}

/// The duties of an agent as they stand on the life line.
fn marks(texts: &Texts, duties: &[DutyView], code: &str) -> Vec<DutyMark> {
    duties
        .iter()
        .filter(|duty| duty.agent_code.as_ref().is_none_or(|one| one.as_str() == code))
        .map(|duty| DutyMark {
            due_on: duty.due_on,
            status: duty.status,
            words: texts.word("duty-kind", duty.kind.as_str()),
        })
        .collect()
}

fn text<'v>(view: &'v Value, field: &str) -> &'v str {
    view[field].as_str().unwrap_or_default()
}

fn name(entry: &Value) -> String {
    format!("{} {}", text(entry, "given_name"), text(entry, "family_name"))
}

fn day(view: &Value, field: &str) -> Option<String> {
    view[field].as_str().and_then(|day| day.parse().ok()).map(told::day)
}

/// Number and employer of each employment, with its days.
fn employments(texts: &Texts, entry: &Value) -> Vec<String> {
    let standing = |one: &&Value| one["voided"].is_null();
    let all = entry["employments"].as_array().into_iter().flatten().filter(standing);
    all.map(|one| {
        let from = day(one, "from").unwrap_or_default();
        let to = one["to"].as_str().and_then(|day| day.parse::<chrono::NaiveDate>().ok());
        let to = to.and_then(|to| to.pred_opt()).map_or_else(|| texts.t("worker-still"), told::day);
        texts.with(
            "worker-employment",
            &[
                ("what", text(one, "employee_number")),
                ("who", text(one, "employer")),
                ("day", &from),
                ("by", &to),
            ],
        )
    })
    .collect()
}

/// How many other entries are the same person.
fn also(texts: &Texts, entry: &Value) -> String {
    match entry["also_known_as"].as_array().map_or(0, Vec::len) {
        0 => String::new(),
        others => texts.n("worker-also", others),
    }
}

/// What of the entry and the assignments was corrected, and where the earlier value is read.
fn corrected(
    texts: &Texts,
    entry: &Value,
    id: Uuid,
    assignments: &[Version<Assignment>],
    names: &Names,
) -> Vec<Corrected> {
    let mut found = Vec::new();
    if entry["revision"].as_i64().unwrap_or(1) > 1 {
        found.push(Corrected::new(id, texts.t("worker-corrected-entry")));
    }
    for one in assignments.iter().filter(|one| one.revision > 1) {
        let group = names.group(one.fact.group_id.0).unwrap_or_default();
        found.push(Corrected::new(one.id, texts.with("worker-corrected-assignment", &[("what", group)])));
    }
    found
}

/// Where the entry and the assignments are corrected.
fn forms(
    texts: &Texts,
    caller: &Caller,
    (id, is_now): (Uuid, bool),
    assignments: &[Version<Assignment>],
    names: &Names,
) -> Vec<(String, String)> {
    let entry =
        (corrections::form(caller, is_now, None, &format!("/workers/{id}")), texts.t("correct-this-entry"));
    let of_assignments = assignments.iter().filter(|one| one.stands()).map(|one| {
        let address = format!("/assignments/{}", one.id);
        let group = names.group(one.fact.group_id.0).unwrap_or_default();
        let days = crate::pages::charts::said::period(Some(one.fact.from), one.fact.to);
        let words = texts.with("correct-this-assignment", &[("what", group), ("day", &days)]);
        (corrections::form(caller, is_now, one.site, &address), words)
    });
    std::iter::once(entry).chain(of_assignments).filter(|(address, _)| !address.is_empty()).collect()
}

/// What is gathered for every part of the page.
struct Gathered<'g> {
    texts: &'g Texts,
    names: &'g Names,
    titles: &'g std::collections::BTreeMap<crate::model::identifiers::ControlId, String>,
    assignments: &'g [Version<Assignment>],
}

impl Gathered<'_> {
    fn of_agent(
        &self,
        line: &WorkerLine,
        absences: &[crate::model::facts::worker::Absence],
        duties: &[DutyMark],
        clauses: Option<&SurveillanceView>,
        numbering: &mut Numbering,
    ) -> OfAgent {
        let Self { texts, names, titles, assignments } = *self;
        let in_figures = names.for_figures(titles.clone());
        let history = &line.history;
        let assigned: Vec<Assigned<'_>> =
            assignments.iter().map(|one| Assigned { assignment: &one.fact, site: one.site }).collect();
        let cuts = line.cuts(&in_figures);
        let drawn = LifeLine {
            history,
            worker: history.worker_id.unwrap_or(WorkerId(Uuid::nil())),
            in_part: !line.scope.is_all(),
            assignments: &assigned,
            absences,
            shifts: &line.shifts,
            cuts: &cuts,
            duties,
            levels: &line.levels,
        };
        let figure = numbering.figure(life_line("l", drawn, &in_figures));
        let needed = clauses.and_then(|all| all.clauses.iter().find_map(|clause| clause.days_needed));
        let agent = names.agent(history.agent_code.as_str());
        let body = handed_out(history, &line.scope);
        let digest = hex(&Sha256::digest(body.to_string()));
        let mut remarks: Vec<String> = body["flags"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(Value::as_str)
            .map(remarks::meaning)
            .collect();
        if history.not_accepted > 0 {
            let open = usize::try_from(history.not_accepted).unwrap_or_default();
            remarks.push(texts.n("worker-not-accepted", open));
        }
        OfAgent {
            lead: worker_told::lead(texts, &agent, history),
            head: worker_told::head(texts, history),
            line: figure,
            noise: noise_years("n", history).map(|figure| numbering.figure(figure)),
            days: history
                .days_at_or_above_action_level
                .as_ref()
                .map(|days| numbering.figure(day_counts("d", days, needed))),
            remarks,
            limits: limits_table(texts, &agent, &line.limits).map(|table| numbering.table(table)),
            clauses: clauses
                .and_then(|all| worker_told::clauses(texts, &all.clauses))
                .map(|table| numbering.table(table)),
            check: digest.chars().take(CHECK_DIGITS).collect(),
        }
    }
}
