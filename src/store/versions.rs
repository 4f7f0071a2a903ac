//! Facts as versions: one row per version, `known_to` the only thing ever updated.
//!
//! Every fact table has the same first columns and a few look-up columns of its own, so one set of statements serves
//! all kinds. The body is the fact's JSON: the very text that stands in the journal's image.

use crate::access::scope::{Scope, Sites};
use crate::model::identifiers::SiteId;
use crate::model::shape::{Faults, Shape};
use crate::model::version::Version;
use crate::store::backend::{Query, Tx};
use crate::store::error::StoreError;
use crate::store::tables::{Key, Sees, Stored, Table};
use chrono::NaiveDate;
use std::collections::BTreeSet;
use uuid::Uuid;

/// `known_to` of a current version.
pub const STILL: i64 = i64::MAX;

/// The moment of knowledge and the day from which "now" is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AsOf {
    /// The last journal position that is known.
    pub position: i64,
    /// The day on which the question is asked.
    pub date: NaiveDate,
}

/// A version as it stands in its row.
pub(crate) type VersionRow = (Uuid, i64, i64, Option<Uuid>, Option<Uuid>, Option<String>, String);

const COLUMNS: &str = "t.id, t.revision, t.known_from, t.site_id, t.parent_id, t.voided, t.body";

/// A fact's JSON as text: what the body column and the journal's image hold.
pub fn body_text<F: Shape>(fact: &F) -> String {
    fact.to_json().to_string()
}

/// Reads a row back into its fact.
pub(crate) fn read_row<F: Stored>(row: VersionRow) -> Result<Version<F>, StoreError> {
    let (id, revision, position, site, parent, voided, body) = row;
    let damaged = |what: String| StoreError::Damaged(format!("{} {id}: {what}", F::TABLE.kind));
    let value: serde_json::Value = serde_json::from_str(&body).map_err(|error| damaged(error.to_string()))?;
    let mut faults = Faults::default();
    let fact = F::read(&value, "", &mut faults).ok_or_else(|| {
        let faults: Vec<String> = faults.iter().map(|f| format!("{} {}", f.pointer, f.detail)).collect();
        damaged(faults.join("; "))
    })?;
    Ok(Version { id, revision, position, site: site.map(SiteId), parent, voided, fact })
}

fn bind_key(query: Query<'_>, key: Key) -> Query<'_> {
    match key {
        Key::Id(id) => query.push_bind(id),
        Key::Text(text) => query.push_bind(text),
        Key::Date(date) => query.push_bind(date),
        Key::Number(number) => query.push_bind(number),
    }
}

/// Stores a version. Its position must be that of the open writing transaction.
pub async fn insert<F: Stored>(tx: &mut Tx, scope: &Scope, version: &Version<F>) -> Result<(), StoreError> {
    if let Some(site) = version.site
        && !scope.sites.holds(site)
    {
        return Err(StoreError::Missing);
    }
    let place = Placed {
        id: version.id,
        position: version.position,
        revision: version.revision,
        site: version.site.map(|site| site.0),
        parent: version.parent,
        voided: version.voided.clone(),
        body: body_text(&version.fact),
    };
    put(tx, F::TABLE, place, version.fact.keys()).await
}

/// A version as it is put into its row.
#[derive(Debug, Clone)]
pub struct Placed {
    /// The fact.
    pub id: Uuid,
    /// The position that brings it.
    pub position: i64,
    /// Its revision.
    pub revision: i64,
    /// Its site.
    pub site: Option<Uuid>,
    /// What it is recorded under.
    pub parent: Option<Uuid>,
    /// Why it is voided.
    pub voided: Option<String>,
    /// The fact's JSON.
    pub body: String,
}

/// Puts a current version into its row, with the values of the table's look-up columns.
pub async fn put(tx: &mut Tx, table: &Table, version: Placed, keys: Vec<Key>) -> Result<(), StoreError> {
    let mut query = tx
        .query("INSERT INTO ")
        .push(table.name)
        .push(" (id, known_from, known_to, revision, site_id, parent_id, voided, body");
    for key in table.keys {
        query = query.push(", ").push(key);
    }
    query = query
        .push(") VALUES (")
        .push_bind(version.id)
        .push(", ")
        .push_bind(version.position)
        .push(", ")
        .push_bind(STILL)
        .push(", ")
        .push_bind(version.revision)
        .push(", ")
        .push_bind(version.site)
        .push(", ")
        .push_bind(version.parent)
        .push(", ")
        .push_bind(version.voided)
        .push(", ")
        .push_bind(version.body);
    for key in keys {
        query = bind_key(query.push(", "), key);
    }
    query.push(")").execute().await?;
    Ok(())
}

/// Ends whatever version of a fact is current, where one is, at a position: for a journal that is being restored.
pub async fn end_current(tx: &mut Tx, table: &Table, id: Uuid, position: i64) -> Result<(), StoreError> {
    tx.query("UPDATE ")
        .push(table.name)
        .push(" SET known_to = ")
        .push_bind(position)
        .push(" WHERE id = ")
        .push_bind(id)
        .push(" AND known_to = ")
        .push_bind(STILL)
        .execute()
        .await?;
    Ok(())
}

/// Ends the current version of a fact at a position; the next one begins there.
///
/// # Errors
/// [`StoreError::Missing`] when the current version is not of this revision.
pub async fn end(
    tx: &mut Tx,
    table: &Table,
    id: Uuid,
    revision: i64,
    position: i64,
) -> Result<(), StoreError> {
    let ended = tx
        .query("UPDATE ")
        .push(table.name)
        .push(" SET known_to = ")
        .push_bind(position)
        .push(" WHERE id = ")
        .push_bind(id)
        .push(" AND known_to = ")
        .push_bind(STILL)
        .push(" AND revision = ")
        .push_bind(revision)
        .execute()
        .await?;
    if ended == 1 { Ok(()) } else { Err(StoreError::Missing) }
}

/// Restricts a statement over `t` to what the scope may see.
fn scoped<'q>(mut query: Query<'q>, table: &Table, scope: &Scope, position: i64) -> Query<'q> {
    let Sites::Only(sites) = &scope.sites else { return query };
    let ids = || sites.iter().map(|site| site.0).collect::<Vec<_>>();
    match table.sees {
        Sees::Everyone => query,
        Sees::Itself => query.push(" AND t.id IN ").push_list(ids()),
        Sees::Site => query.push(" AND t.site_id IN ").push_list(ids()),
        Sees::SiteOrEveryone => {
            query.push(" AND (t.site_id IS NULL OR t.site_id IN ").push_list(ids()).push(")")
        }
        Sees::Worker | Sees::OfWorker => {
            let worker = if table.sees == Sees::Worker { "t.id" } else { "t.parent_id" };
            query = query
                .push(" AND (EXISTS (SELECT 1 FROM assignment a WHERE a.parent_id = ")
                .push(worker)
                .push(" AND a.voided IS NULL AND a.known_from <= ")
                .push_bind(position)
                .push(" AND a.known_to > ")
                .push_bind(position)
                .push(" AND a.site_id IN ")
                .push_list(ids());
            query
                .push(") OR EXISTS (SELECT 1 FROM worker w WHERE w.id = ")
                .push(worker)
                .push(" AND w.entered_by = ")
                .push_bind(scope.account.0)
                .push(" AND NOT EXISTS (SELECT 1 FROM assignment b WHERE b.parent_id = w.id AND b.voided IS NULL")
                .push(" AND b.known_from <= ")
                .push_bind(position)
                .push(" AND b.known_to > ")
                .push_bind(position)
                .push(")))")
        }
    }
}

fn known(query: Query<'_>, position: i64) -> Query<'_> {
    query.push(" AND t.known_from <= ").push_bind(position).push(" AND t.known_to > ").push_bind(position)
}

fn select<'q>(tx: &'q mut Tx, table: &Table) -> Query<'q> {
    tx.query("SELECT ").push(COLUMNS).push(" FROM ").push(table.name).push(" t WHERE TRUE")
}

/// One fact as it was known.
pub async fn find<F: Stored>(
    tx: &mut Tx,
    scope: &Scope,
    as_of: AsOf,
    id: Uuid,
) -> Result<Option<Version<F>>, StoreError> {
    let query = known(select(tx, F::TABLE).push(" AND t.id = ").push_bind(id), as_of.position);
    let row = scoped(query, F::TABLE, scope, as_of.position).fetch_optional().await?;
    row.map(read_row).transpose()
}

/// A restriction of a list.
#[derive(Debug, Clone)]
pub enum Where {
    /// Recorded under this thing.
    Parent(Uuid),
    /// Recorded under one of these.
    Parents(Vec<Uuid>),
    /// One of these facts.
    Ids(Vec<Uuid>),
    /// Of this site.
    Site(SiteId),
    /// A look-up column holds this.
    Is(&'static str, Key),
    /// A look-up column holds one of these.
    IsOneOf(&'static str, Vec<Uuid>),
    /// A look-up column holds one of these texts.
    TextIsOneOf(&'static str, Vec<String>),
    /// Not voided.
    Standing,
}

impl Where {
    fn push<'q>(&self, query: Query<'q>) -> Query<'q> {
        match self {
            Self::Parent(id) => query.push(" AND t.parent_id = ").push_bind(*id),
            Self::Parents(ids) => query.push(" AND t.parent_id IN ").push_list(ids.clone()),
            Self::Ids(ids) => query.push(" AND t.id IN ").push_list(ids.clone()),
            Self::Site(site) => query.push(" AND t.site_id = ").push_bind(site.0),
            Self::Is(column, key) => bind_key(query.push(" AND t.").push(column).push(" = "), key.clone()),
            Self::IsOneOf(column, ids) => {
                query.push(" AND t.").push(column).push(" IN ").push_list(ids.clone())
            }
            Self::TextIsOneOf(column, texts) => {
                query.push(" AND t.").push(column).push(" IN ").push_list(texts.clone())
            }
            Self::Standing => query.push(" AND t.voided IS NULL"),
        }
    }
}

/// Part of a list: after which identifier, and at most how many.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Page {
    /// The last identifier of the page before.
    pub after: Option<Uuid>,
    /// At most how many.
    pub limit: i64,
}

/// All facts that meet every restriction, in the order in which they were first recorded.
pub async fn list<F: Stored>(
    tx: &mut Tx,
    scope: &Scope,
    as_of: AsOf,
    restrictions: &[Where],
    page: Option<Page>,
) -> Result<Vec<Version<F>>, StoreError> {
    // An empty choice chooses nothing; no need to ask.
    if restrictions.iter().any(|restriction| match restriction {
        Where::Parents(ids) | Where::Ids(ids) | Where::IsOneOf(_, ids) => ids.is_empty(),
        Where::TextIsOneOf(_, texts) => texts.is_empty(),
        _ => false,
    }) {
        return Ok(Vec::new());
    }
    let mut query = known(select(tx, F::TABLE), as_of.position);
    for restriction in restrictions {
        query = restriction.push(query);
    }
    query = scoped(query, F::TABLE, scope, as_of.position);
    if let Some(Page { after: Some(after), .. }) = page {
        query = query.push(" AND t.id > ").push_bind(after);
    }
    query = query.push(" ORDER BY t.id");
    if let Some(page) = page {
        query = query.push(" LIMIT ").push_bind(page.limit);
    }
    query.fetch_all().await?.into_iter().map(read_row).collect()
}

/// Which of these facts the scope sees, whatever version of them.
pub async fn in_sight(
    tx: &mut Tx,
    scope: &Scope,
    table: &Table,
    position: i64,
    ids: Vec<Uuid>,
) -> Result<BTreeSet<Uuid>, StoreError> {
    if ids.is_empty() || scope.is_all() {
        return Ok(ids.into_iter().collect());
    }
    let query =
        tx.query("SELECT DISTINCT t.id FROM ").push(table.name).push(" t WHERE t.id IN ").push_list(ids);
    let rows: Vec<(Uuid,)> = scoped(query, table, scope, position).fetch_all().await?;
    Ok(rows.into_iter().map(|(id,)| id).collect())
}

/// The facts of a table that the scope sees, void ones too, in the order in which they were first recorded.
pub async fn ids(tx: &mut Tx, scope: &Scope, table: &Table, position: i64) -> Result<Vec<Uuid>, StoreError> {
    let query = known(tx.query("SELECT t.id FROM ").push(table.name).push(" t WHERE TRUE"), position);
    let rows: Vec<(Uuid,)> = scoped(query, table, scope, position).push(" ORDER BY t.id").fetch_all().await?;
    Ok(rows.into_iter().map(|(id,)| id).collect())
}

/// The last position, up to one, at which a version was written into a table; 0 before the first.
pub async fn last_written(tx: &mut Tx, table: &Table, position: i64) -> Result<i64, StoreError> {
    let (last,): (Option<i64>,) = tx
        .query("SELECT max(t.known_from) FROM ")
        .push(table.name)
        .push(" t WHERE t.known_from <= ")
        .push_bind(position)
        .fetch_one()
        .await?;
    Ok(last.unwrap_or_default())
}

/// How many facts of a table there are, in whatever version.
pub async fn how_many(tx: &mut Tx, table: &Table) -> Result<i64, StoreError> {
    let (facts,): (i64,) = tx.query("SELECT count(DISTINCT id) FROM ").push(table.name).fetch_one().await?;
    Ok(facts)
}

/// Whether there is such a fact, in whatever version.
pub async fn exists(tx: &mut Tx, table: &Table, id: Uuid) -> Result<bool, StoreError> {
    let row: Option<(i64,)> = tx
        .query("SELECT revision FROM ")
        .push(table.name)
        .push(" WHERE id = ")
        .push_bind(id)
        .push(" LIMIT 1")
        .fetch_optional()
        .await?;
    Ok(row.is_some())
}

/// A version as it stands in its row, of whatever kind.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct RawRow {
    /// The fact.
    pub id: Uuid,
    /// Its revision.
    pub revision: i64,
    /// The position that brought it.
    pub known_from: i64,
    /// Its site.
    pub site_id: Option<Uuid>,
    /// What it was recorded under.
    pub parent_id: Option<Uuid>,
    /// Why it was voided.
    pub voided: Option<String>,
    /// The fact's JSON.
    pub body: String,
}

/// The facts of a table as they were known at a position, after one, in the order in which they were first recorded.
pub async fn raw_page(
    tx: &mut Tx,
    table: &Table,
    position: i64,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<RawRow>, StoreError> {
    let mut query = known(select(tx, table), position);
    if let Some(after) = after {
        query = query.push(" AND t.id > ").push_bind(after);
    }
    query.push(" ORDER BY t.id LIMIT ").push_bind(limit).fetch_all().await
}

/// A version row with what follows it, for the proof that rows and images agree.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct LinkedRow {
    /// The fact.
    pub id: Uuid,
    /// Its revision.
    pub revision: i64,
    /// The position that brought it.
    pub known_from: i64,
    /// The position that ended it; [`STILL`] while it is current.
    pub known_to: i64,
    /// Its site.
    pub site_id: Option<Uuid>,
    /// What it was recorded under.
    pub parent_id: Option<Uuid>,
    /// Why it was voided.
    pub voided: Option<String>,
    /// The fact's JSON.
    pub body: String,
    /// Where the fact's next entry stands in the journal.
    pub next_entry: Option<i64>,
    /// Where the fact's next version begins.
    pub next_version: Option<i64>,
}

/// The versions of some facts that began between two positions (both counted in), with what follows each.
pub async fn linked(
    tx: &mut Tx,
    table: &Table,
    ids: Vec<Uuid>,
    (first, last): (i64, i64),
) -> Result<Vec<LinkedRow>, StoreError> {
    tx.query("SELECT ")
        .push(COLUMNS)
        .push(
            ", t.known_to, (SELECT min(e.position) FROM journal_entry e WHERE e.subject_id = t.id \
             AND e.position > t.known_from) AS next_entry, (SELECT min(n.known_from) FROM ",
        )
        .push(table.name)
        .push(" n WHERE n.id = t.id AND n.known_from > t.known_from) AS next_version FROM ")
        .push(table.name)
        .push(" t WHERE t.known_from >= ")
        .push_bind(first)
        .push(" AND t.known_from <= ")
        .push_bind(last)
        .push(" AND t.id IN ")
        .push_list(ids)
        .fetch_all()
        .await
}

/// Of these versions (fact, position, look-up values) those whose row holds just these look-up values.
pub async fn keyed_as(
    tx: &mut Tx,
    table: &Table,
    wanted: Vec<(Uuid, i64, Vec<Key>)>,
) -> Result<BTreeSet<(Uuid, i64)>, StoreError> {
    let mut query = tx.query("SELECT t.id, t.known_from FROM ").push(table.name).push(" t WHERE FALSE");
    for (id, position, keys) in wanted {
        query = query.push(" OR (t.id = ").push_bind(id).push(" AND t.known_from = ").push_bind(position);
        for (column, key) in table.keys.iter().zip(keys) {
            query = bind_key(query.push(" AND t.").push(column).push(" IS NOT DISTINCT FROM "), key);
        }
        query = query.push(")");
    }
    let rows: Vec<(Uuid, i64)> = query.fetch_all().await?;
    Ok(rows.into_iter().collect())
}

/// The earliest version that no journal entry brought: the fact, its position, its JSON.
pub async fn first_without_entry(
    tx: &mut Tx,
    table: &Table,
) -> Result<Option<(Uuid, i64, String)>, StoreError> {
    tx.query("SELECT t.id, t.known_from, t.body FROM ")
        .push(table.name)
        .push(
            " t WHERE NOT EXISTS (SELECT 1 FROM journal_entry e WHERE e.subject_id = t.id \
             AND e.position = t.known_from AND e.kind = ",
        )
        .push_bind(table.kind)
        .push(") ORDER BY t.known_from, t.id LIMIT 1")
        .fetch_optional()
        .await
}
