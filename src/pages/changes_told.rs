//! What was changed of a fact as pages tell it: from what to what, when, why, and by whom as far as the reader may know him.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::control::{Control, Task};
use crate::model::facts::group::Group;
use crate::model::facts::site::Site;
use crate::model::shape::parse_date;
use crate::model::version::Version;
use crate::pages::account_names::AccountNames;
use crate::pages::charts::said;
use crate::pages::correction_fields::{self as fields, How};
use crate::pages::result_told::value;
use crate::pages::stopped::Stopped;
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::registry::changes_of::{ChangeOf, changes_of};
use crate::registry::gather;
use crate::store::backend::Tx;
use crate::store::tables::Stored;
use crate::store::versions::{self, AsOf, Where};
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde_json::{Map, Value};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// A change of a fact.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChangeTold {
    /// When, and by whom.
    pub head: String,
    /// What was changed, from what to what.
    pub what: String,
    /// Why.
    pub reason: String,
    /// Whether it is a correction: the value was always the new one.
    pub corrects: bool,
}

/// What the registry writes itself is no news of a change.
const OF_THE_REGISTRY: &[&str] = &["labels", "marks", "changed_after_result", "reason", "status", "stands"];

/// The changes of a fact, each with what it changed and who made it, as far as the reader may know him.
///
/// # Errors
/// Only when storage fails.
pub async fn changes(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    subject: Uuid,
    texts: &Texts,
) -> Result<Vec<ChangeTold>, Stopped> {
    let found = changes_of(tx, caller, as_of, subject).await?;
    let accounts = found.iter().map(|change| change.account).collect();
    let names = AccountNames::of(tx, caller, as_of, accounts).await?;
    let telling = Telling::of(tx, caller, as_of, &found, texts).await?;
    Ok(telling.all(&found, &names))
}

/// What the values of changes are told by.
struct Telling<'t> {
    texts: &'t Texts,
    /// Titles of the groups, tasks and controls that occur.
    titles: BTreeMap<Uuid, String>,
    /// The clock of the site.
    zone: Option<Tz>,
}

impl<'t> Telling<'t> {
    async fn of(
        tx: &mut Tx,
        caller: &Caller,
        as_of: AsOf,
        found: &[ChangeOf],
        texts: &'t Texts,
    ) -> Result<Self, Stopped> {
        let mut telling = Self { texts, titles: BTreeMap::new(), zone: None };
        if found.len() < 2 {
            return Ok(telling);
        }
        let mut ids = BTreeSet::new();
        for change in found {
            identifiers(&change.fact, &mut ids);
        }
        if let (Ok(scope), false) = (caller.may(Action::ReadGroups), ids.is_empty()) {
            let those = [Where::Ids(ids.into_iter().collect())];
            let mut take = |all: Vec<(Uuid, String)>| telling.titles.extend(all);
            take(titles(&versions::list::<Group>(tx, &scope, as_of, &those, None).await?, |one| &one.title));
            take(titles(&versions::list::<Task>(tx, &scope, as_of, &those, None).await?, |one| &one.title));
            take(titles(&versions::list::<Control>(tx, &scope, as_of, &those, None).await?, |one| {
                &one.title
            }));
        }
        if let Some(site) = found.iter().find_map(|change| change.site) {
            let site = gather::one::<Site>(tx, as_of, site.0).await?;
            telling.zone = site.map(|site| site.fact.time_zone.0);
        }
        Ok(telling)
    }

    fn all(&self, found: &[ChangeOf], names: &AccountNames) -> Vec<ChangeTold> {
        let last = found.last().map_or(&Value::Null, |change| &change.fact);
        let mut before: Option<&Value> = None;
        found
            .iter()
            .map(|change| {
                let what =
                    before.map(|before| self.differences(before, &change.fact, last)).unwrap_or_default();
                before = Some(&change.fact);
                let put_in = [
                    ("what", self.texts.word("deed", &change.deed.replace(' ', "_"))),
                    ("day", told::instant(change.at)),
                    ("by", names.told(self.texts, change.account)),
                ];
                let put_in: Vec<(&str, &str)> =
                    put_in.iter().map(|(name, text)| (*name, text.as_str())).collect();
                ChangeTold {
                    head: told::heading(&self.texts.with("changes-head", &put_in)),
                    what,
                    reason: change.reason.clone().unwrap_or_default(),
                    corrects: change.deed == "corrected",
                }
            })
            .collect()
    }

    fn differences(&self, before: &Value, after: &Value, last: &Value) -> String {
        let empty = Map::new();
        let (before, after) = (before.as_object().unwrap_or(&empty), after.as_object().unwrap_or(&empty));
        let names: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
        let changed = names.into_iter().filter(|name| {
            before.get(*name) != after.get(*name) && !OF_THE_REGISTRY.contains(&name.as_str())
        });
        changed
            .map(|name| {
                let told = |of: &Map<String, Value>| match of.get(name) {
                    None | Some(Value::Null) => self.texts.t("correct-nothing"),
                    Some(value) => self.told(name, value, &last[name]),
                };
                let (old, new) = (told(before), told(after));
                let label = self.texts.word("correct-field", name);
                self.texts.with("changes-from-to", &[("what", &label), ("by", &old), ("who", &new)])
            })
            .collect::<Vec<_>>()
            .join("; ")
    }

    /// A value as people read it; `last` is what the field holds in the end.
    fn told(&self, name: &str, of: &Value, last: &Value) -> String {
        let day = |text: &Value| text.as_str().and_then(parse_date);
        let all = |told: &dyn Fn(&Value) -> String| {
            let items: Vec<String> = of.as_array().into_iter().flatten().map(told).collect();
            if items.is_empty() { self.texts.t("entry-none-running") } else { items.join(", ") }
        };
        let word = |family: &str, of: &Value| self.texts.word(family, of.as_str().unwrap_or_default());
        match fields::how(name) {
            Some(How::Word(family, _)) => word(family, of),
            Some(How::Words(family, _)) => all(&|one| word(family, one)),
            Some(How::Day) => day(of).map_or_else(|| value(of), told::day),
            Some(How::LastDay) => day(of).and_then(|day| day.pred_opt()).map_or_else(|| value(of), told::day),
            Some(How::Share) => format!("{} %", said::tick(of.as_f64().unwrap_or_default() * 100.0)),
            Some(How::Minutes) => format!("{} min", said::tick(of.as_f64().unwrap_or_default())),
            Some(How::YesNo) => {
                self.texts.t(if of.as_bool() == Some(true) { "correct-yes" } else { "correct-no" })
            }
            Some(How::Worker) => {
                self.texts.t(if of == last { "changes-this-worker" } else { "changes-other-worker" })
            }
            Some(How::Group | How::Task | How::Control) => self.title(of),
            Some(How::Controls) => all(&|one| self.title(one)),
            Some(How::Runs) => {
                all(&|run| format!("{}–{}", self.clock(&run["start"]), self.clock(&run["end"])))
            }
            _ => value(of),
        }
    }

    fn title(&self, id: &Value) -> String {
        let id = id.as_str().and_then(|id| Uuid::parse_str(id).ok());
        let title = id.and_then(|id| self.titles.get(&id).cloned());
        title.unwrap_or_else(|| self.texts.t("changes-out-of-sight"))
    }

    fn clock(&self, at: &Value) -> String {
        let Some(at) = at.as_str().and_then(|at| at.parse::<DateTime<Utc>>().ok()) else {
            return String::new();
        };
        match self.zone {
            Some(zone) => at.with_timezone(&zone).format("%-d %b %H:%M").to_string(),
            None => at.format("%-d %b %H:%M UTC").to_string(),
        }
    }
}

fn titles<F: Stored>(
    found: &[Version<F>],
    title: fn(&F) -> &crate::model::text::Line,
) -> Vec<(Uuid, String)> {
    found.iter().map(|one| (one.id, title(&one.fact).to_string())).collect()
}

/// Every identifier in a value.
fn identifiers(of: &Value, found: &mut BTreeSet<Uuid>) {
    match of {
        Value::String(text) if text.len() == 36 => found.extend(Uuid::parse_str(text).ok()),
        Value::Array(items) => items.iter().for_each(|item| identifiers(item, found)),
        Value::Object(members) => members.values().for_each(|member| identifiers(member, found)),
        _ => {}
    }
}
