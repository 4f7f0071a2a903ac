//! What is due when, for a calendar: without the name of any worker, and of an examination nothing but that one is due.

use crate::access::caller::Caller;
use crate::conclusions::due_date::DueDate;
use crate::model::facts::duty::{DutyKind, DutyStatus};
use crate::model::facts::group::Group;
use crate::model::facts::site::Site;
use crate::registry::duty_list::{self, Question};
use crate::registry::duty_view::DutyView;
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::journal;
use crate::store::versions::{AsOf, Page, Where};
use chrono::{Duration, NaiveTime};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What is done, declined, waived or withdrawn is shown as cancelled for so many days after it was due, so that programs
/// which hold an entry let it go.
const CANCELLED_DAYS: i64 = 60;

/// The due dates that a caller sees.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn due_dates(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<Vec<DueDate>, Refusal> {
    let everything = Page { after: None, limit: i64::MAX };
    let duties = duty_list::duties(tx, caller, as_of, &Question::default(), everything).await?;
    let places = Places::of(tx, as_of, &duties).await?;
    let oldest = as_of.date - Duration::days(CANCELLED_DAYS);
    let mut dates = Vec::new();
    for duty in duties {
        let open = matches!(duty.status, DutyStatus::Open | DutyStatus::Overdue);
        if !open && duty.due_on < oldest {
            continue;
        }
        // When a duty that rests on a medical ground was written is not told: its date stands in for it.
        let changed_at = match duty.position {
            Some(position) => journal::recorded_at(tx, position).await?,
            None => duty.due_on.and_time(NaiveTime::MIN).and_utc(),
        };
        let acts = i64::try_from(duty.actions.len()).unwrap_or_default();
        dates.push(DueDate {
            id: duty.id.0,
            sequence: duty.revision.map_or(0, |revision| revision - 1) + acts,
            changed_at,
            due_on: duty.due_on,
            title: title(&duty, &places),
            cancelled: !open,
        });
    }
    dates.sort_by_key(|date| (date.due_on, date.id));
    Ok(dates)
}

/// The codes of the groups and sites that duties are about.
struct Places {
    groups: BTreeMap<Uuid, String>,
    sites: BTreeMap<Uuid, String>,
}

impl Places {
    async fn of(tx: &mut Tx, as_of: AsOf, duties: &[DutyView]) -> Result<Self, Refusal> {
        let groups: Vec<Uuid> = duties.iter().filter_map(|duty| Some(duty.subject.group_id?.0)).collect();
        let sites: Vec<Uuid> = duties.iter().filter_map(|duty| Some(duty.subject.site_id?.0)).collect();
        let groups = gather::many::<Group>(tx, as_of, &groups, Where::Ids).await?;
        let sites = gather::many::<Site>(tx, as_of, &sites, Where::Ids).await?;
        Ok(Self {
            groups: groups.into_iter().map(|group| (group.id, group.fact.code.to_string())).collect(),
            sites: sites.into_iter().map(|site| (site.id, site.fact.code.to_string())).collect(),
        })
    }
}

fn title(duty: &DutyView, places: &Places) -> String {
    if duty.subject.worker_id.is_some() {
        return match duty.kind {
            DutyKind::OfferExamination | DutyKind::PeriodicExamination | DutyKind::Audiogram => {
                "Examination to offer"
            }
            DutyKind::NotifyResults => "Results to tell a worker",
            DutyKind::AnswerRecordRequest => "Request for records to answer",
            DutyKind::MonitorAgain | DutyKind::WrittenPlan | DutyKind::CheckVentilation => {
                "Something about a worker to do"
            }
        }
        .to_owned();
    }
    let what = match duty.kind {
        DutyKind::MonitorAgain => "Air to be sampled again",
        DutyKind::NotifyResults => "Results to tell the workers",
        DutyKind::WrittenPlan => "Plan to write",
        DutyKind::CheckVentilation => "Ventilation to check",
        DutyKind::OfferExamination | DutyKind::PeriodicExamination | DutyKind::Audiogram => {
            "Examinations to offer"
        }
        DutyKind::AnswerRecordRequest => "Request for records to answer",
    };
    let group = duty.subject.group_id.and_then(|group| places.groups.get(&group.0));
    let place = group.or_else(|| places.sites.get(&duty.subject.site_id?.0));
    let agent = duty.agent_code.as_ref().map(ToString::to_string);
    [Some(what.to_owned()), place.cloned(), agent].into_iter().flatten().collect::<Vec<_>>().join(", ")
}
