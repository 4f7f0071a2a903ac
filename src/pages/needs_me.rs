//! What needs me: the first page, different for each role.

use crate::access::policy::Action;
use crate::hygiene::control_effect::Verdict;
use crate::model::facts::account::Role;
use crate::model::facts::duty::DutyStatus;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::duty_entry::DutyEntry;
use crate::pages::frame::Frame;
use crate::pages::marks::{self, Mark};
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::registry::changed_verdicts::{ChangedVerdict, changed_verdicts};
use crate::registry::duty_list::{self, Question};
use crate::registry::duty_view::DutyView;
use crate::registry::escalation;
use crate::registry::outstanding::{self, Outstanding};
use askama::Template;
use chrono::{Days, NaiveDate};

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/", Who::SignedIn, show).in_menu("menu-needs-me")]
}

/// How many days ahead a duty is told here.
const AHEAD: u64 = 30;
/// How many entries of each kind stand here; the rest is counted and found on its own page.
const SHOWN: usize = 8;

/// An entry that is no duty: when, a mark, what, and where it leads.
struct Entry {
    when: String,
    mark: Option<Mark>,
    tag: String,
    what: String,
    more: String,
    address: String,
    does: String,
}

#[derive(Template)]
#[template(path = "pages/needs_me.html")]
struct NeedsMePage {
    frame: Frame,
    head: String,
    lead: String,
    late: Vec<DutyEntry>,
    more_late: usize,
    soon: Vec<DutyEntry>,
    more_soon: usize,
    recommended: usize,
    changed: Vec<Entry>,
    more_changed: usize,
    results: Vec<Entry>,
    more_results: usize,
    waiting: Vec<Entry>,
    more_waiting: usize,
    reads_duties: bool,
    manages: bool,
}

/// The duties that wait for one of these roles: those it does itself, and those that have come to it because they are late.
fn mine(duty: &DutyView, roles: &[Role]) -> bool {
    let to = duty.escalation.as_ref().map_or_else(|| escalation::doer(duty.kind), |one| one.to);
    roles.contains(&to) || roles.contains(&escalation::doer(duty.kind))
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let caller = visit.caller();
    let roles: Vec<Role> = caller.grants.iter().map(|grant| grant.role).collect();
    let texts = Texts::of(&visit);
    let mut moment = Moment::of(&pages, &visit).await?;
    let is_now = moment.is_now();
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let reads_duties = caller.may(Action::ReadDuties).is_ok();
    let reads_samples = caller.may(Action::ReadSamples).is_ok();
    let (mut duties, mut recommended) = (Vec::new(), 0);
    if reads_duties {
        duties = duty_list::most_urgent(tx, &caller, as_of, &Question::default()).await?;
        let until = as_of.date.checked_add_days(Days::new(AHEAD)).unwrap_or(NaiveDate::MAX);
        let stands = |duty: &DutyView| {
            duty.status == DutyStatus::Overdue || (duty.status == DutyStatus::Open && duty.due_on <= until)
        };
        duties.retain(|duty| stands(duty) && mine(duty, &roles));
        // What no clause asks for is never late, and is not told among what is due.
        let all = duties.len();
        duties.retain(|duty| duty.status == DutyStatus::Overdue || duty.due_on >= as_of.date);
        recommended = all - duties.len();
    }
    let (mut moved, mut out, mut judged) = (Vec::new(), Outstanding::default(), Vec::new());
    if reads_samples {
        if is_now {
            judged = changed_verdicts(&pages.registry, tx, &caller, as_of).await?;
        }
        moved = outstanding::moved_lately(tx, &caller, as_of).await?;
        out = outstanding::outstanding(tx, &caller, as_of).await?;
    }
    let split = duties.partition_point(|duty| duty.status == DutyStatus::Overdue);
    let (mut late, mut soon) = (duties, Vec::new());
    soon.extend(late.split_off(split.min(late.len())));
    soon.sort_by_key(|duty| (duty.due_on, duty.id));
    let (all_late, all_soon) = (late.len(), soon.len());
    late.truncate(SHOWN);
    soon.truncate(SHOWN);
    let groups = late.iter().chain(&soon).filter_map(|duty| duty.subject.group_id).map(|id| id.0);
    let groups = groups.chain(moved.iter().take(SHOWN).map(|one| one.fact.group_id.0)).collect();
    let workers = late.iter().chain(&soon).filter_map(|duty| duty.subject.worker_id).map(|id| id.0).collect();
    let names = Names::of(tx, &caller, as_of).await?;
    let names =
        names.and_groups(tx, &caller, as_of, groups).await?.and_workers(tx, &caller, as_of, workers).await?;
    let entries = |some: &[DutyView]| -> Vec<DutyEntry> {
        some.iter().map(|duty| DutyEntry::of(texts, &names, duty, as_of.date)).collect()
    };
    let mut changed: Vec<Entry> = judged.iter().map(|one| verdict_entry(texts, &names, one)).collect();
    changed.extend(moved.iter().take(SHOWN).map(|one| change(texts, &names, one)));
    let all_changed = judged.len() + moved.len();
    changed.truncate(SHOWN.max(judged.len()));
    let is_hygienist = roles.contains(&Role::Hygienist);
    let accepts: Vec<_> = out.events.iter().filter(|event| event.not_accepted > 0).collect();
    let waits: Vec<_> = out.events.iter().filter(|event| event.waiting > 0).collect();
    let mut results: Vec<Entry> = out.held.iter().map(|held| held_entry(texts, &names, held)).collect();
    if is_hygienist {
        results.extend(accepts.iter().map(|event| result_entry(texts, &names, event)));
    }
    let all_results = results.len();
    results.truncate(SHOWN);
    let waiting: Vec<Entry> =
        waits.iter().take(SHOWN).map(|event| waiting_entry(texts, &names, event)).collect();
    let needed = all_late + all_soon + all_results;
    let head = if needed == 0 { texts.t("needs-nothing") } else { texts.n("needs-head", needed) };
    let late_words = if all_late == 0 { texts.t("needs-none-late") } else { texts.n("needs-late", all_late) };
    let lead = format!("{late_words} {}", texts.n("needs-moved", moved.len()));
    reading::note_bulk(&pages, &visit, as_of, "duties", names.workers_named()).await?;
    Answer::page(&NeedsMePage {
        head,
        lead: if reads_duties { lead } else { String::new() },
        more_late: all_late - late.len(),
        late: entries(&late),
        more_soon: all_soon - soon.len(),
        soon: entries(&soon),
        recommended,
        more_changed: all_changed - changed.len(),
        changed,
        more_results: all_results - results.len(),
        results,
        more_waiting: waits.len() - waiting.len(),
        waiting,
        reads_duties,
        manages: caller.may(Action::ManageAccounts).is_ok(),
        frame: Frame::of(&pages, &visit, "needs-title").at(moment.fix),
    })
}

fn change(
    texts: &Texts,
    names: &Names,
    moved: &crate::model::version::Version<crate::model::facts::standing_move::StandingMove>,
) -> Entry {
    let fact = &moved.fact;
    let group = fact.group_id.0;
    let site = moved.site.and_then(|site| names.site(site)).unwrap_or_default();
    let title = names.group(group).unwrap_or_default();
    let agent = names.agent(fact.agent_code.as_str());
    let standing =
        |value: crate::model::facts::standing_move::StandingValue| texts.word("standing", value.as_str());
    let before = standing(fact.value_before);
    let more = match fact.since.map(told::day) {
        Some(since) => texts.with(
            "needs-standing-before",
            &[("what", &before), ("day", &since), ("by", fact.authority.as_str())],
        ),
        None => texts.with("needs-standing-open", &[("what", &before), ("by", fact.authority.as_str())]),
    };
    Entry {
        when: told::day(fact.learned_on),
        mark: Some(Mark::new(marks::standing(fact.value), standing(fact.value))),
        tag: String::new(),
        what: format!("{title}, {site}: {agent}"),
        more,
        address: format!("/groups/{group}?agent_code={}", fact.agent_code),
        does: texts.t("needs-see-group"),
    }
}

fn verdict_entry(texts: &Texts, names: &Names, one: &ChangedVerdict) -> Entry {
    let word = |verdict: Option<Verdict>| {
        verdict
            .map_or_else(|| texts.t("needs-verdict-none"), |verdict| texts.word("verdict", verdict.as_str()))
    };
    let site = one.site.and_then(|site| names.site(site)).unwrap_or_default();
    let what = format!("{}, {}, {site}: {}", one.control_title, one.task_title, names.agent(&one.agent_code));
    let put_in = [("what", what.as_str()), ("by", &word(one.before)), ("who", &word(one.now))];
    Entry {
        when: texts.n("needs-verdict-news", usize::try_from(outstanding::NEWS).unwrap_or_default()),
        mark: Some(Mark::new(one.now.map_or("gap", marks::verdict), word(one.now))),
        tag: String::new(),
        what: texts.with("needs-verdict", &put_in),
        more: one.sentence.clone(),
        address: format!("/tasks/{}?agent_code={}", one.task, one.agent_code),
        does: texts.t("site-see-control"),
    }
}

fn place(names: &Names, site: crate::model::identifiers::SiteId) -> String {
    names.site(site).unwrap_or_default().to_owned()
}

fn held_entry(texts: &Texts, names: &Names, held: &outstanding::HeldReport) -> Entry {
    Entry {
        when: place(names, held.site),
        mark: Some(Mark::acting("fault", texts.n("needs-held-mark", held.rows))),
        tag: String::new(),
        what: texts.with("needs-held", &[("what", &held.report_number)]),
        more: texts.t("needs-held-more"),
        address: format!("/lab-reports/{}", held.report),
        does: texts.t("needs-see-report"),
    }
}

fn result_entry(texts: &Texts, names: &Names, event: &outstanding::OpenEvent) -> Entry {
    Entry {
        when: event.last_on.map(told::day).unwrap_or_default(),
        mark: None,
        tag: texts.t("needs-not-accepted"),
        what: format!("{}, {}", event.reference, place(names, event.site)),
        more: texts.n("needs-results", event.not_accepted),
        address: format!("/sampling-events/{}", event.id),
        does: texts.t("needs-see-results"),
    }
}

fn waiting_entry(texts: &Texts, names: &Names, event: &outstanding::OpenEvent) -> Entry {
    Entry {
        when: event.last_on.map(told::day).unwrap_or_default(),
        mark: Some(Mark::new("wait", texts.t("needs-at-laboratory"))),
        tag: String::new(),
        what: format!("{}, {}", event.reference, place(names, event.site)),
        more: texts.n("needs-samples", event.waiting),
        address: format!("/sampling-events/{}", event.id),
        does: texts.t("needs-see-event"),
    }
}
