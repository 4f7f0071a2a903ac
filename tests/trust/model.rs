//! Random operations against a model of the facts in memory: recorded, corrected, voided, voiding withdrawn, by those who
//! may and those who may not. Every answer and everything that is read afterwards is what the model says.

use crate::draws::Draws;
use crate::length;
use crate::stage::{Answer, Stage};
use doseward::registry::verify::verify;
use serde_json::{Map, Value, json};

/// A kind of fact.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Group,
    Task,
    Absence,
}

impl Kind {
    /// The last name of its path.
    fn last(self) -> &'static str {
        match self {
            Self::Group => "groups",
            Self::Task => "tasks",
            Self::Absence => "absences",
        }
    }
}

/// A fact as the model knows it.
#[derive(Debug, Clone)]
struct Fact {
    kind: Kind,
    id: String,
    /// The site or the worker it was recorded under.
    parent: String,
    fields: Map<String, Value>,
    voided: bool,
    revision: u64,
    /// Every tag it had so far; the last is the present one.
    tags: Vec<String>,
}

/// The model, and the registry that must do as it does.
struct Model {
    stage: Stage,
    draws: Draws,
    sites: Vec<String>,
    workers: Vec<String>,
    facts: Vec<Fact>,
    codes: usize,
}

/// Who asks: the first may all of it, the second all of it on the second site, the others nothing of it.
const WHO: [&str; 6] = ["hygienist", "hygienist", "hygienist", "elsewhere", "corporate", "physician"];

impl Model {
    async fn begin(seed: u64) -> Self {
        let mut stage = Stage::set().await;
        let (mut sites, mut workers) = (Vec::new(), Vec::new());
        for code in ["NRD", "SED"] {
            let body = json!({"code": code, "name": format!("Works {code}"), "time_zone": "America/Denver",
                "rule_set": "us_general_industry"});
            sites.push(stage.post("hygienist", "/sites", &body).await.id().unwrap());
        }
        for n in 0..2 {
            let body = json!({"employee_number": format!("W{n}"), "given_name": "Given",
                "family_name": format!("Family{n}"), "employer": "Reedmere", "hired_on": "2025-01-06"});
            workers.push(stage.post("hygienist", "/workers", &body).await.id().unwrap());
        }
        stage.join("elsewhere", json!([{"role": "hygienist", "site_ids": [sites[1]]}])).await;
        Self { stage, draws: Draws::from(seed), sites, workers, facts: Vec::new(), codes: 0 }
    }

    /// Whether somebody sees what stands under a site or a worker; nobody else than who entered them sees the workers,
    /// who have no assignment.
    fn sees(&self, who: &str, parent: &str) -> bool {
        who != "elsewhere" || parent == self.sites[1]
    }

    fn find(&self, id: &str) -> Option<&Fact> {
        self.facts.iter().find(|fact| fact.id == id)
    }

    /// Whether a fact's fields are sound, whatever stands beside it.
    fn is_sound(&self, kind: Kind, parent: &str, fields: &Map<String, Value>) -> bool {
        match kind {
            Kind::Group => fields["title"] != "",
            Kind::Task => {
                let group = fields["group_id"].as_str().and_then(|id| self.find(id));
                fields["title"] != "" && group.is_some_and(|group| !group.voided && group.parent == parent)
            }
            Kind::Absence => fields["from"].as_str() < fields["to"].as_str(),
        }
    }

    /// Whether another fact of the site has the code.
    fn is_taken(&self, kind: Kind, parent: &str, fields: &Map<String, Value>, but: Option<&str>) -> bool {
        kind != Kind::Absence
            && self.facts.iter().any(|fact| {
                fact.kind == kind
                    && fact.parent == parent
                    && Some(fact.id.as_str()) != but
                    && fact.fields["code"] == fields["code"]
            })
    }

    fn code(&mut self) -> String {
        // An earlier one, now and then.
        if self.codes == 0 || !self.draws.one_in(8) {
            self.codes += 1;
        }
        let n = if self.draws.one_in(8) { 1 + self.draws.below(self.codes) } else { self.codes };
        format!("C{n}")
    }

    fn title(&mut self) -> String {
        if self.draws.one_in(10) { String::new() } else { format!("Title {}", self.draws.below(9)) }
    }

    fn any_group(&mut self) -> String {
        let groups: Vec<String> =
            self.facts.iter().filter(|fact| fact.kind == Kind::Group).map(|fact| fact.id.clone()).collect();
        if groups.is_empty() { self.sites[0].clone() } else { self.draws.one_of(&groups).clone() }
    }

    fn day(&mut self) -> String {
        format!("2026-02-{:02}", 1 + self.draws.below(27))
    }

    async fn step(&mut self) -> (&'static str, u16) {
        self.stage.pass(1);
        let who = *self.draws.one_of(&WHO);
        let known = !self.facts.is_empty() && !self.draws.one_in(3);
        if !known {
            return ("record", self.record(who).await);
        }
        let n = self.draws.below(self.facts.len());
        match self.draws.below(4) {
            0 | 1 => ("correct", self.correct(who, n).await),
            2 => ("void", self.turn(who, n, true).await),
            _ => ("withdraw", self.turn(who, n, false).await),
        }
    }

    async fn record(&mut self, who: &str) -> u16 {
        let kind = *self.draws.one_of(&[Kind::Group, Kind::Task, Kind::Absence]);
        let parents = if kind == Kind::Absence { &self.workers } else { &self.sites };
        let parent = self.draws.one_of(parents).clone();
        let fields = match kind {
            Kind::Group => json!({"code": self.code(), "title": self.title()}),
            Kind::Task => json!({"code": self.code(), "title": self.title(), "group_id": self.any_group()}),
            Kind::Absence => json!({"from": self.day(), "to": self.day()}),
        };
        let Value::Object(fields) = fields else { return 0 };
        let ought = if !may(who) {
            403
        } else if !self.sees(who, &parent) {
            404
        } else if !self.is_sound(kind, &parent, &fields) {
            422
        } else if self.is_taken(kind, &parent, &fields, None) {
            409
        } else {
            201
        };
        let under = if kind == Kind::Absence { "workers" } else { "sites" };
        let path = format!("/{under}/{parent}/{}", kind.last());
        let answer = self.stage.post(who, &path, &Value::Object(fields.clone())).await;
        expect(ought, &answer, &format!("{who} records {kind:?} {fields:?} under {parent}"));
        if let Some(id) = answer.id() {
            let fact = Fact { kind, id, parent, fields, voided: false, revision: 1, tags: Vec::new() };
            self.facts.push(fact);
            self.look(self.facts.len() - 1).await;
        }
        answer.status
    }

    async fn correct(&mut self, who: &str, n: usize) -> u16 {
        let fact = self.facts[n].clone();
        let patch = match (fact.kind, self.draws.below(3)) {
            (Kind::Absence, 0) => json!({"from": self.day()}),
            (Kind::Absence, _) => json!({"to": self.day()}),
            (_, 0) => json!({"code": self.code()}),
            (Kind::Task, 1) => json!({"group_id": self.any_group()}),
            _ => json!({"title": self.title()}),
        };
        let mut fields = fact.fields.clone();
        fields.extend(patch.as_object().unwrap().clone());
        let tag = match self.draws.below(8) {
            0 => None,
            // One that it had before, if it had another.
            1 | 2 => Some(self.draws.one_of(&fact.tags[..fact.tags.len().max(2) - 1]).clone()),
            _ => fact.tags.last().cloned(),
        };
        let ought = if !may(who) {
            403
        } else if tag.is_none() {
            428
        } else if !self.sees(who, &fact.parent) {
            404
        } else if fact.voided {
            409
        } else if tag.as_ref() != fact.tags.last() {
            412
        } else if !self.is_sound(fact.kind, &fact.parent, &fields) || fields == fact.fields {
            422
        } else if self.is_taken(fact.kind, &fact.parent, &fields, Some(&fact.id)) {
            409
        } else {
            200
        };
        let mut body = patch.clone();
        body["reason"] = json!("Looked at again.");
        let path = format!("/{}/{}", fact.kind.last(), fact.id);
        let answer = self.stage.patch(who, &path, tag.as_deref(), &body).await;
        expect(ought, &answer, &format!("{who} corrects {fact:?} by {patch} with {tag:?}"));
        if answer.status == 200 {
            self.facts[n].fields = fields;
            self.facts[n].revision += 1;
        }
        self.look(n).await;
        answer.status
    }

    async fn turn(&mut self, who: &str, n: usize, voided: bool) -> u16 {
        let fact = self.facts[n].clone();
        let ought = if !may(who) {
            403
        } else if !self.sees(who, &fact.parent) {
            404
        } else if fact.voided == voided {
            409
        } else if !voided && !self.is_sound(fact.kind, &fact.parent, &fact.fields) {
            422
        } else {
            201
        };
        let deed = if voided { "voiding" } else { "voiding-withdrawal" };
        let path = format!("/{}/{}/{deed}", fact.kind.last(), fact.id);
        let answer = self.stage.post(who, &path, &json!({"reason": "Looked at again."})).await;
        expect(ought, &answer, &format!("{who} asks for {deed} of {fact:?}"));
        if answer.status == 201 {
            self.facts[n].voided = voided;
            self.facts[n].revision += 1;
        }
        self.look(n).await;
        answer.status
    }

    /// The fact is as the model says: changed by what was accepted, and by nothing that was refused.
    async fn look(&mut self, n: usize) {
        let fact = &mut self.facts[n];
        let path = format!("/{}/{}", fact.kind.last(), fact.id);
        let (answer, tag) = self.stage.tagged("hygienist", &path).await;
        holds(&answer.json(), fact);
        if fact.tags.last() != Some(&tag) {
            fact.tags.push(tag);
        }
        assert_eq!(u64::try_from(fact.tags.len()).unwrap(), fact.revision, "a tag for every revision");
    }

    /// Every list holds what the model holds, in the order in which it was recorded.
    async fn look_at_all(&self) {
        let sites = self.sites.iter().map(|id| ("sites", id));
        for (under, parent) in sites.chain(self.workers.iter().map(|id| ("workers", id))) {
            let kinds: &[Kind] = if under == "sites" { &[Kind::Group, Kind::Task] } else { &[Kind::Absence] };
            for kind in kinds {
                let mut listed = Vec::new();
                let mut after = String::new();
                loop {
                    let path = format!("/{under}/{parent}/{}?limit=500{after}", kind.last());
                    let page = self.stage.get("hygienist", &path).await.json();
                    listed.extend(page["items"].as_array().unwrap().clone());
                    let Some(next) = page["next"].as_str() else { break };
                    after = format!("&after={next}");
                }
                let ought: Vec<&Fact> =
                    self.facts.iter().filter(|fact| fact.kind == *kind && fact.parent == *parent).collect();
                assert_eq!(listed.len(), ought.len());
                for (listed, ought) in listed.iter().zip(ought) {
                    holds(listed, ought);
                }
            }
        }
    }
}

fn expect(ought: u16, answer: &Answer, what: &str) {
    assert_eq!(ought, answer.status, "{what}: {}", answer.text);
}

fn may(who: &str) -> bool {
    matches!(who, "hygienist" | "elsewhere")
}

/// What was read is what the model holds.
fn holds(read: &Value, fact: &Fact) {
    assert_eq!(read["id"], json!(fact.id));
    for (name, value) in &fact.fields {
        assert_eq!(read[name], *value, "{name} of {fact:?}");
    }
    assert_eq!(read.get("voided").is_some(), fact.voided, "{fact:?}");
    assert_eq!(read["revision"], json!(fact.revision), "{fact:?}");
}

#[tokio::test]
async fn random_operations_are_answered_and_kept_as_a_model_in_memory_says() {
    let seed = length::seed("model", 20_260_316);
    let mut model = Model::begin(seed).await;
    let mut said = std::collections::BTreeMap::new();
    let steps = length::of(400, 10_000);
    for n in 0..steps {
        let before = head(&model.stage).await;
        let (deed, status) = model.step().await;
        let moved = head(&model.stage).await - before;
        assert_eq!(
            moved,
            i64::from(status < 300),
            "step {n}: one position for what was accepted, none for a refusal"
        );
        *said.entry((deed, status)).or_insert(0) += 1;
        if n % 100 == 99 {
            model.look_at_all().await;
        }
    }
    model.look_at_all().await;
    println!("{said:?}");
    for status in [200, 201, 403, 404, 409, 412, 422, 428] {
        assert!(said.keys().any(|(_, said)| *said == status), "{status} was never said: {said:?}");
    }
    let proof = verify(&model.stage.registry, |_| {}).await.unwrap();
    assert!(proof.sound, "{:?}", proof.first_fault);
}

async fn head(stage: &Stage) -> i64 {
    let mut tx = stage.registry.database.read().await.unwrap();
    stage.registry.now(&mut tx).await.unwrap().position
}
