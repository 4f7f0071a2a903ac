//! A registry of many groups and workers, written in one request: facts and journal entries as the registry writes them,
//! hundreds to a statement.

use chrono::{DateTime, NaiveDate, Utc};
use doseward::model::facts::control::Task;
use doseward::model::facts::group::Group;
use doseward::model::facts::rule_set::RuleSet;
use doseward::model::facts::site::Site;
use doseward::model::facts::worker::{Assignment, Employment, Worker};
use doseward::model::identifiers::{AccountId, GroupId, SiteId};
use doseward::model::shape::Shape as _;
use doseward::model::version::Version;
use doseward::registry::enter_pack::CONSOLE;
use doseward::registry::writer::Registry;
use doseward::store::backend::Database;
use doseward::store::chains;
use doseward::store::journal::{self, Envelope, NOTHING_BEFORE};
use doseward::store::tables::{Key, Stored, Table};
use doseward::store::versions::{STILL, body_text};
use serde_json::json;
use sqlx::QueryBuilder;
use std::collections::BTreeMap;
use uuid::Uuid;

/// How many rows go into one statement.
const AT_ONCE: usize = 500;
/// Workers in a group.
pub(crate) const IN_A_GROUP: usize = 20;

/// A group with its task and its workers.
#[derive(Debug)]
pub(crate) struct Bay {
    /// Its site.
    pub(crate) site: Uuid,
    /// The group.
    pub(crate) group: Uuid,
    /// Its task.
    pub(crate) task: Uuid,
    /// Its workers.
    pub(crate) workers: Vec<Uuid>,
}

/// A version that waits to be written.
struct Row {
    table: &'static Table,
    id: Uuid,
    site: Option<Uuid>,
    parent: Option<Uuid>,
    body: String,
    keys: Vec<Key>,
}

/// Its entry.
struct Entry {
    envelope: Envelope,
    image: String,
    salt: [u8; 16],
    digest: [u8; 32],
    previous: Vec<u8>,
    hash: [u8; 32],
}

/// Everything of one request.
struct Writing<'r> {
    registry: &'r Registry,
    at: DateTime<Utc>,
    position: i64,
    chains: BTreeMap<String, (i64, Vec<u8>)>,
    rows: Vec<Row>,
    entries: Vec<Entry>,
}

impl Writing<'_> {
    /// A fact with its entry, chained to the one before.
    fn add<F: Stored>(&mut self, site: Option<Uuid>, parent: Option<Uuid>, fact: F) -> Uuid {
        let id = self.registry.ids.id(self.at);
        let of_site = site.map(SiteId);
        let version =
            Version { id, revision: 1, position: self.position, site: of_site, parent, voided: None, fact };
        let chain = journal::chain_of(version.fact.is_medical(), of_site);
        let (place, previous) = self.chains.remove(&chain).unwrap_or_else(|| (0, NOTHING_BEFORE.to_vec()));
        let envelope = Envelope {
            position: self.position,
            ordinal: i64::try_from(self.entries.len()).unwrap() + 1,
            chain: chain.clone(),
            place: place + 1,
            at: self.at,
            account: CONSOLE,
            kind: F::TABLE.kind.into(),
            deed: "recorded".into(),
            subject: id,
            site: of_site,
            format: F::TABLE.format,
        };
        let image = journal::image_of(&version, None, Some("tester"));
        let mut salt = [0; 16];
        self.registry.ids.random(&mut salt);
        let digest = journal::digest_of(&salt, &image);
        let hash = journal::hash_of(&previous, &envelope, &digest);
        self.chains.insert(chain, (place + 1, hash.to_vec()));
        let body = body_text(&version.fact);
        let keys = version.fact.keys();
        self.rows.push(Row { table: F::TABLE, id, site, parent, body, keys });
        self.entries.push(Entry { envelope, image, salt, digest, previous, hash });
        id
    }
}

/// Facts read from JSON, as they are sent.
fn fact<F: Stored>(body: &serde_json::Value) -> F {
    F::parse(body).unwrap_or_else(|faults| panic!("{body}: {faults:?}"))
}

/// Founds so many sites with so many groups each; every group has a task and [`IN_A_GROUP`] workers.
pub(crate) async fn founded(registry: &Registry, sites: usize, groups: usize) -> Vec<Bay> {
    let mut tx = registry.database.read().await.unwrap();
    let (position, _) = journal::head(&mut tx).await.unwrap();
    let chains = chains::heads(&mut tx).await.unwrap();
    drop(tx);
    let mut writing = Writing {
        registry,
        at: registry.clock.now(),
        position: position + 1,
        chains: chains.into_iter().map(|(chain, entries, head)| (chain, (entries, head))).collect(),
        rows: Vec::new(),
        entries: Vec::new(),
    };
    let hired: NaiveDate = "2025-01-06".parse().unwrap();
    let mut bays = Vec::new();
    for s in 0..sites {
        let site = json!({"code": format!("S{s}"), "name": format!("Works {s}"), "time_zone": "America/Denver",
            "rule_set": RuleSet::UsGeneralIndustry.as_str()});
        let site = writing.add::<Site>(None, None, fact(&site));
        for g in 0..groups {
            let body = json!({"code": format!("G{g}"), "title": format!("Group {g}")});
            let group = writing.add::<Group>(Some(site), Some(site), fact(&body));
            let body =
                json!({"code": format!("T{g}"), "title": format!("Task {g}"), "group_id": group.to_string()});
            let task = writing.add::<Task>(Some(site), Some(site), fact(&body));
            let workers = (0..IN_A_GROUP).map(|w| worker(&mut writing, (site, group), hired, w)).collect();
            bays.push(Bay { site, group, task, workers });
        }
    }
    write(&writing).await;
    bays
}

/// A worker with an employment and an assignment.
fn worker(writing: &mut Writing<'_>, (site, group): (Uuid, Uuid), hired: NaiveDate, w: usize) -> Uuid {
    let number = writing.rows.len();
    let person = Worker {
        given_name: fact_line("Given"),
        family_name: fact_line(&format!("Family {w}")),
        job_title: None,
        entered_by: AccountId(CONSOLE.0),
    };
    let id = writing.add(None, None, person);
    let body = json!({"employer": "Reedmere", "employee_number": format!("W{number}"), "relation": "own",
        "from": hired.to_string()});
    writing.add::<Employment>(None, Some(id), fact(&body));
    let body = json!({"group_id": GroupId(group).to_string(), "from": hired.to_string(), "shifts_per_week": 5.0,
        "hours_per_shift": 8.0});
    writing.add::<Assignment>(Some(site), Some(id), fact(&body));
    id
}

fn fact_line(text: &str) -> doseward::model::text::Line {
    doseward::model::text::Line::parse(&json!(text)).unwrap()
}

/// The same statements for either engine; only the drivers' types differ.
macro_rules! write_with {
    ($pool:expr, $engine:ty, $writing:expr) => {{
        let writing: &Writing<'_> = $writing;
        let mut tx = $pool.begin().await.unwrap();
        let mut by_table: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
        for row in &writing.rows {
            by_table.entry(row.table.name).or_default().push(row);
        }
        for (name, rows) in by_table {
            for some in rows.chunks(AT_ONCE) {
                let columns: String = some[0].table.keys.iter().map(|key| format!(", {key}")).collect();
                let mut query = QueryBuilder::<$engine>::new(format!(
                    "INSERT INTO {name} (id, known_from, known_to, revision, site_id, parent_id, voided, body{columns}) "
                ));
                query.push_values(some, |mut values, row| {
                    values.push_bind(row.id).push_bind(writing.position).push_bind(STILL).push_bind(1_i64);
                    values.push_bind(row.site).push_bind(row.parent).push_bind(None::<String>);
                    values.push_bind(row.body.clone());
                    for key in row.keys.clone() {
                        match key {
                            Key::Id(id) => values.push_bind(id),
                            Key::Text(text) => values.push_bind(text),
                            Key::Date(date) => values.push_bind(date),
                            Key::Number(number) => values.push_bind(number),
                        };
                    }
                });
                query.build().execute(&mut *tx).await.unwrap();
            }
        }
        for some in writing.entries.chunks(AT_ONCE) {
            let mut query = QueryBuilder::<$engine>::new(
                "INSERT INTO journal_entry (position, ordinal, chain, place, at, account_id, kind, deed, subject_id, \
                 site_id, format, image, salt, image_digest, previous_hash, entry_hash) ",
            );
            query.push_values(some, |mut values, entry| {
                let envelope = &entry.envelope;
                values.push_bind(envelope.position).push_bind(envelope.ordinal);
                values.push_bind(envelope.chain.clone()).push_bind(envelope.place).push_bind(envelope.at);
                values.push_bind(envelope.account.0).push_bind(envelope.kind.clone());
                values.push_bind(envelope.deed.clone()).push_bind(envelope.subject);
                values.push_bind(envelope.site.map(|site| site.0)).push_bind(envelope.format);
                values.push_bind(entry.image.clone()).push_bind(entry.salt.to_vec());
                values.push_bind(entry.digest.to_vec()).push_bind(entry.previous.clone());
                values.push_bind(entry.hash.to_vec());
            });
            query.build().execute(&mut *tx).await.unwrap();
        }
        for (chain, (entries, head)) in &writing.chains {
            sqlx::query::<$engine>(
                "INSERT INTO journal_chain (chain, entries, head) VALUES ($1, $2, $3) ON CONFLICT (chain) \
                 DO UPDATE SET entries = excluded.entries, head = excluded.head",
            )
            .bind(chain.clone())
            .bind(*entries)
            .bind(head.clone())
            .execute(&mut *tx)
            .await
            .unwrap();
        }
        sqlx::query::<$engine>("UPDATE journal_head SET position = $1, at = $2 WHERE one = 1")
            .bind(writing.position)
            .bind(writing.at)
            .execute(&mut *tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
    }};
}

async fn write(writing: &Writing<'_>) {
    match &writing.registry.database {
        Database::Sqlite(pool) => write_with!(pool, sqlx::Sqlite, writing),
        Database::Postgres(pool) => write_with!(pool, sqlx::Postgres, writing),
    }
}
