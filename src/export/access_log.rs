//! Who looked at a worker, as a paper for him.

use crate::export::paper::{STYLE, foot};
use crate::registry::access_log::{AccessLineView, AccessPaper, Named};
use crate::registry::anchor::ChainState;
use askama::Template;
use chrono::{NaiveDate, SecondsFormat};

/// A row of the list.
struct Row {
    at: String,
    who: String,
    from: String,
    what: String,
    purpose: String,
}

#[derive(Template)]
#[template(path = "access_log.html")]
struct Paper<'p> {
    style: &'static str,
    list: &'p AccessPaper,
    on: NaiveDate,
    by_name: Vec<Row>,
    in_bulk: Vec<Row>,
    foot: String,
}

/// Writes the paper.
///
/// # Errors
/// Never for a list: the template writes into memory.
pub fn write(list: &AccessPaper, on: NaiveDate, state: &ChainState) -> Result<String, askama::Error> {
    let rows = |named: Named| {
        let of = list.lines.iter().filter(|line| line.named == Some(named));
        of.map(|line| row(list, line)).collect()
    };
    Paper {
        style: STYLE,
        list,
        on,
        by_name: rows(Named::ByName),
        in_bulk: rows(Named::InBulk),
        foot: foot(state),
    }
    .render()
}

fn row(list: &AccessPaper, line: &AccessLineView) -> Row {
    let reader = list.readers.get(&line.account_id).cloned();
    let spanned = line.scope.as_ref().filter(|_| line.worker_id.is_none());
    let spanned = spanned.map(|scope| format!(" ({scope}; {} people)", line.workers)).unwrap_or_default();
    Row {
        at: line.at.to_rfc3339_opts(SecondsFormat::Secs, true),
        who: reader.unwrap_or_else(|| format!("account {}", line.account_id)),
        from: line.client.clone().unwrap_or_else(|| "not known".into()),
        what: format!("{}{spanned}", line.request),
        purpose: match (&line.purpose, line.purpose_stated) {
            (Some(purpose), _) => purpose.clone(),
            (None, true) => "stated; the physician can tell".into(),
            (None, false) => "none stated".into(),
        },
    }
}
