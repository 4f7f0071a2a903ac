//! The plate works: sites, accounts, groups, tasks, controls, workers and their assignments.

use crate::harness::{Answer, Client, TestApp};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The employer of everybody.
pub(super) const EMPLOYER: &str = "Brackenmoor Plate";

/// What has been entered, by names of the test's own.
pub(super) struct Plant<'a> {
    pub(super) app: &'a TestApp,
    tokens: BTreeMap<&'static str, String>,
    ids: BTreeMap<String, String>,
    /// The samples, in the order in which they were entered.
    pub(super) samples: Vec<String>,
    /// How many results the laboratories have sent.
    pub(super) results: usize,
}

impl<'a> Plant<'a> {
    /// The administrator makes the sites and an account, with a token, of everybody else.
    pub(super) async fn found(app: &'a TestApp) -> Self {
        let mut plant =
            Self { app, tokens: BTreeMap::new(), ids: BTreeMap::new(), samples: Vec::new(), results: 0 };
        let administrator = app.as_role("administrator");
        // Two time zones (IANA): Denver and New York.
        for (code, name, zone) in
            [("TRN", "Tarn works", "America/Denver"), ("QUI", "Quill yard", "America/New_York")]
        {
            let site =
                json!({"code": code, "name": name, "time_zone": zone, "rule_set": "us_general_industry"});
            let made = administrator.post("/sites", &site).await;
            plant.ids.insert(code.into(), made.id());
        }
        let sites = |code: &str| json!([plant.id(code)]);
        let accounts = [
            ("hygienist", json!([{"role": "hygienist"}])),
            ("tarn", json!([{"role": "coordinator", "site_ids": sites("TRN")}])),
            ("quill", json!([{"role": "coordinator", "site_ids": sites("QUI")}])),
            ("physician", json!([{"role": "physician"}])),
            ("corporate", json!([{"role": "corporate"}])),
        ];
        for (name, roles) in accounts {
            let account = json!({"email": format!("{name}@plate.example"), "roles": roles});
            let account = administrator.post("/accounts", &account).await.id();
            let token =
                administrator.post(&format!("/accounts/{account}/tokens"), &json!({"label": "desk"})).await;
            assert_eq!(token.status, 201, "{}", token.text);
            plant.tokens.insert(name, token.json["token"].as_str().unwrap().to_owned());
        }
        plant
    }

    /// Speaks as one of the accounts.
    pub(super) fn speak(&self, who: &str) -> Client<'a> {
        self.app.with_token(&self.tokens[who])
    }

    /// The identifier of what was entered under a name.
    #[track_caller]
    pub(super) fn id(&self, name: &str) -> &str {
        self.ids.get(name).unwrap_or_else(|| panic!("nothing is called {name}"))
    }

    /// Keeps an identifier under a name.
    pub(super) fn name(&mut self, name: &str, id: &str) {
        self.ids.insert(name.into(), id.into());
    }

    /// Enters something and keeps its identifier under a name.
    pub(super) async fn enter(&mut self, who: &str, path: &str, name: &str, body: Value) -> Answer {
        let made = self.speak(who).post(path, &body).await;
        let id = made.id();
        self.ids.insert(name.into(), id);
        made
    }

    /// Reads something that must be there.
    pub(super) async fn read(&self, who: &str, path: &str) -> Value {
        let answer = self.speak(who).get(path).await;
        assert_eq!(answer.status, 200, "{path}: {}", answer.text);
        answer.json
    }

    /// The hygienist enters groups, tasks, controls and from when on these stand.
    pub(super) async fn set_up_work(&mut self) {
        let groups = [
            ("TRN", "WLD", "Stainless welders"),
            ("TRN", "TRL", "Trial bay"),
            ("TRN", "NIT", "Night crew"),
            ("QUI", "CUT", "Plasma cutters"),
            ("QUI", "BAT", "Battery plates"),
            ("QUI", "GRD", "Grinders"),
            ("QUI", "MIX", "Mixed work"),
        ];
        for (site, code, title) in groups {
            let path = format!("/sites/{}/groups", self.id(site));
            self.enter("hygienist", &path, code, json!({"code": code, "title": title})).await;
        }
        let tasks = [("ROOT", "WLD"), ("TACK", "TRL"), ("FILL", "TRL"), ("CAP", "TRL"), ("GOUGE", "TRL")];
        let path = format!("/sites/{}/tasks", self.id("TRN"));
        for (code, group) in tasks {
            let task = json!({"code": code, "title": code, "group_id": self.id(group),
                "usual_minutes_per_shift": 240});
            self.enter("hygienist", &path, code, task).await;
        }
        let path = format!("/sites/{}/controls", self.id("TRN"));
        for (code, title, kind) in [
            ("ARM", "extraction arm", "engineering"),
            ("HOOD", "slotted hood", "engineering"),
            ("MASK", "half mask", "respirator"),
        ] {
            let control = json!({"code": code, "title": title, "kind": kind, "target_reduction_percent": 50});
            self.enter("hygienist", &path, code, control).await;
        }
        let path = format!("/tasks/{}/control-periods", self.id("ROOT"));
        for (control, from) in [("MASK", "2025-06-01"), ("ARM", "2025-09-01")] {
            let period = json!({"control_id": self.id(control), "from": from});
            self.enter("hygienist", &path, &format!("{control} in place"), period).await;
        }
    }

    /// The coordinators enter workers and assign them; the second site finds one whom the first has entered.
    pub(super) async fn bring_in_workers(&mut self) {
        let workers = [
            ("tarn", "Ada", "Moss", "T-01"),
            ("tarn", "Bram", "Kest", "T-02"),
            ("tarn", "Cleo", "Dray", "T-03"),
            ("tarn", "Orla", "Venn", "T-04"),
            ("tarn", "Uma", "Reed", "T-05"),
            ("tarn", "Vic", "Noll", "T-06"),
            ("tarn", "Nia", "Falk", "T-07"),
            ("quill", "Piet", "Sorn", "Q-01"),
            ("quill", "Lena", "Roe", "Q-02"),
            ("quill", "Milo", "Tark", "Q-03"),
            ("quill", "Gus", "Hale", "Q-04"),
            ("quill", "Mia", "Quist", "Q-05"),
            ("quill", "Rex", "Lorn", "Q-06"),
            ("quill", "Tam", "Hobb", "Q-07"),
        ];
        for (who, given, family, number) in workers {
            let worker = json!({"employee_number": number, "given_name": given, "family_name": family,
                "employer": EMPLOYER, "hired_on": "2025-03-03"});
            self.enter(who, "/workers", given, worker).await;
        }
        let assignments = [
            ("tarn", "Ada", "WLD", "2025-03-03", None, 5.0),
            ("tarn", "Bram", "WLD", "2025-03-03", Some("2025-03-31"), 2.5),
            ("tarn", "Cleo", "WLD", "2025-10-06", None, 5.0),
            ("tarn", "Orla", "WLD", "2025-03-03", Some("2025-03-31"), 5.0),
            ("tarn", "Uma", "TRL", "2026-01-05", Some("2026-01-31"), 5.0),
            ("tarn", "Vic", "TRL", "2026-01-05", Some("2026-01-31"), 5.0),
            ("tarn", "Nia", "NIT", "2025-10-20", None, 5.0),
            ("quill", "Piet", "CUT", "2025-09-08", Some("2025-09-22"), 5.0),
            ("quill", "Lena", "BAT", "2025-06-02", Some("2025-07-14"), 5.0),
            ("quill", "Milo", "BAT", "2025-06-02", Some("2025-07-15"), 5.0),
            ("quill", "Gus", "GRD", "2025-09-08", Some("2025-09-13"), 5.0),
            ("quill", "Mia", "MIX", "2025-05-05", Some("2025-05-31"), 5.0),
            ("quill", "Rex", "MIX", "2025-05-05", Some("2025-05-31"), 5.0),
            ("quill", "Tam", "MIX", "2025-05-05", Some("2025-05-31"), 5.0),
        ];
        for (who, worker, group, from, to, shifts) in assignments {
            self.assign(who, worker, group, (from, to), shifts).await;
        }
        // Orla's name is not to be had at the second site until somebody knows employer and number.
        let unseen = self.speak("quill").get(&format!("/workers/{}", self.id("Orla"))).await;
        assert_eq!(unseen.status, 404, "{}", unseen.text);
        let exact = json!({"employer": EMPLOYER, "employee_number": "T-04"});
        let search = self.speak("quill").post("/workers/search", &exact).await;
        assert_eq!(search.status, 200, "{}", search.text);
        assert_eq!(search.ids(), [self.id("Orla")]);
        self.assign("quill", "Orla", "CUT", ("2025-09-08", Some("2025-10-06")), 5.0).await;
    }

    async fn assign(
        &mut self,
        who: &str,
        worker: &str,
        group: &str,
        (from, to): (&str, Option<&str>),
        shifts_per_week: f64,
    ) {
        let mut assignment = json!({"group_id": self.id(group), "from": from,
            "shifts_per_week": shifts_per_week, "hours_per_shift": 8});
        if let Some(to) = to {
            assignment["to"] = json!(to);
        }
        let path = format!("/workers/{}/assignments", self.id(worker));
        self.enter(who, &path, &format!("{worker} in {group}"), assignment).await;
    }

    /// The hygienist accepts whatever results still wait.
    pub(super) async fn accept_everything(&self) {
        for sample in &self.samples {
            let path = format!("/samples/{sample}");
            let view = self.read("hygienist", &path).await;
            let waits = view["results"]
                .as_array()
                .unwrap()
                .iter()
                .any(|result| result["status"] == "submitted" && result["stands"] == true);
            if waits {
                self.accept(sample).await;
            }
        }
    }

    /// The hygienist accepts the results of a sample.
    pub(super) async fn accept(&self, sample: &str) {
        let path = format!("/samples/{sample}/acceptance");
        let accepted = self.speak("hygienist").post(&path, &json!({})).await;
        assert_eq!(accepted.status, 201, "{}", accepted.text);
    }
}
