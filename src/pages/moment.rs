//! Where one stands in time: now, or as known on another day.

use crate::pages::Pages;
use crate::pages::form::Form;
use crate::pages::stopped::Stopped;
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};

/// The parameter that names another day.
pub(super) const ASKED: &str = "as_known_on";

/// A snapshot to answer from, and as of when.
#[derive(Debug)]
pub struct Moment {
    /// The snapshot.
    pub tx: Tx,
    /// Position and day.
    pub as_of: AsOf,
    /// The instant that was asked for; now where none was.
    pub as_known_on: Option<DateTime<Utc>>,
    /// What the page says of it.
    pub fix: Fix,
}

/// What a page says of where one stands in time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fix {
    /// The sentence.
    pub sentence: String,
    /// The day that was asked for, `2026-03-02`; empty: now.
    pub day: String,
    /// What else the address holds, so that looking from another day keeps it.
    pub kept: Vec<(String, String)>,
    /// The way back to now; empty where one is there.
    pub back: String,
}

impl Moment {
    /// The moment that a visit asks for: the end of a day (UTC), or now.
    ///
    /// # Errors
    /// What was given is no day, or one that has not come.
    pub async fn of(pages: &Pages, visit: &Visit) -> Result<Self, Stopped> {
        let now = pages.registry.clock.now();
        let day = match visit.query.given(ASKED) {
            None => None,
            Some(text) => {
                let day: NaiveDate = text.parse().map_err(|_| Stopped::no_day())?;
                if day > now.date_naive() {
                    return Err(Stopped::no_day());
                }
                Some(day).filter(|day| *day < now.date_naive())
            }
        };
        let end = |day: NaiveDate| day.succ_opt().map(|next| next.and_time(NaiveTime::MIN).and_utc());
        let as_known_on = day.and_then(end).map(|next| next - chrono::Duration::milliseconds(1));
        if as_known_on.is_none() {
            // What follows from what was just recorded is followed up before anybody reads it.
            pages.registry.settle().await?;
        }
        let mut tx = pages.registry.database.read().await?;
        let as_of = pages.registry.as_of(&mut tx, as_known_on).await?;
        let fix = Fix::new(visit, day, as_of);
        Ok(Self { tx, as_of, as_known_on, fix })
    }

    /// Whether it is now.
    pub fn is_now(&self) -> bool {
        self.as_known_on.is_none()
    }
}

impl Fix {
    fn new(visit: &Visit, day: Option<NaiveDate>, as_of: AsOf) -> Self {
        let texts = Texts::of(visit);
        let entry = told::count(as_of.position);
        let what = [("day", told::day(as_of.date)), ("entry", entry)];
        let what: Vec<(&str, &str)> = what.iter().map(|(name, value)| (*name, value.as_str())).collect();
        let key = if day.is_some() { "fix-then" } else { "fix-now" };
        let query: &Form = &visit.query;
        let kept = query
            .iter()
            .filter(|(name, value)| !value.is_empty() && ![ASKED, "said"].contains(name))
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .collect();
        let back = query.as_query(&[ASKED, "said"]);
        Self {
            sentence: texts.with(key, &what),
            day: day.map(|day| day.to_string()).unwrap_or_default(),
            kept,
            back: day.map(|_| format!("{}?{back}", visit.path)).unwrap_or_default(),
        }
    }
}
