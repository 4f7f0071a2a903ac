//! Dates, zones and clocks over HTTP: night shifts over clock changes on both sides of the Atlantic, one date at two sites,
//! the turn of a year, the leap day, and holidays in due dates.
//!
//! When clocks change is in the IANA time zone data: Denver on 9 March and 2 November 2025 at 02:00, London on 30 March and
//! 26 October 2025 at 01:00 UTC. How dates count is this registry's own rule.

use crate::harness::{Answer, TestApp};
use serde_json::{Value, json};

struct Works<'a> {
    app: &'a TestApp,
}

impl Works<'_> {
    async fn post(&self, path: &str, body: &Value) -> Answer {
        self.app.as_role("hygienist").post(path, body).await
    }

    async fn made(&self, path: &str, body: &Value) -> String {
        let answer = self.post(path, body).await;
        assert_eq!(answer.status, 201, "{path}: {}", answer.text);
        answer.id()
    }

    async fn site(&self, code: &str, zone: &str) -> String {
        let body = json!({"code": code, "name": code, "time_zone": zone, "rule_set": "us_general_industry"});
        self.made("/sites", &body).await
    }

    async fn worker(&self, number: &str) -> String {
        let body = json!({"employee_number": number, "given_name": "Ada", "family_name": "Vale",
            "employer": "Own works", "hired_on": "2023-01-02"});
        self.made("/workers", &body).await
    }

    async fn assign(&self, worker: &str, group: &str, from: &str, to: Option<&str>) {
        let mut body = json!({"group_id": group, "from": from, "shifts_per_week": 5, "hours_per_shift": 8});
        if let Some(to) = to {
            body["to"] = json!(to);
        }
        self.made(&format!("/workers/{worker}/assignments"), &body).await;
    }

    async fn event(&self, site: &str, sample: &Sample<'_>) -> Answer {
        let body = json!({"reference": sample.number, "sampled_by": "K. Marl",
            "shifts": [{"worker_id": sample.worker, "shift_date": sample.date, "group_id": sample.group,
                "shift_minutes": sample.shift_minutes}],
            "samples": [{"number": sample.number, "position": "breathing_zone", "shift_date": sample.date,
                "worker_id": sample.worker, "group_id": sample.group, "agent_codes": ["chromium_vi"],
                "runs": [{"start": sample.run[0], "end": sample.run[1]}], "calibrated_on": sample.date,
                "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}}]});
        self.post(&format!("/sites/{site}/sampling-events"), &body).await
    }

    /// Enters an accepted result in ug/m3; gives what the sample says.
    async fn measured(&self, site: &str, sample: &Sample<'_>, value: f64) -> Value {
        let made = self.event(site, sample).await;
        assert_eq!(made.status, 201, "{}", made.text);
        let result = json!({"sample_number": sample.number, "agent_code": "chromium_vi",
            "concentration": {"value": value, "unit": "ug/m3"}, "blank_corrected": "yes",
            "reporting_limit": {"value": 0.05, "unit": "ug/m3"}});
        let report = json!({"report_number": sample.number, "laboratory": "Hollow Lane Laboratory",
            "received_on": "2026-02-20", "results": [result]});
        self.made(&format!("/sites/{site}/lab-reports"), &report).await;
        let id = made.json["samples"][0]["id"].as_str().unwrap();
        let accepted = self.post(&format!("/samples/{id}/acceptance"), &json!({})).await;
        assert_eq!(accepted.status, 201, "{}", accepted.text);
        accepted.json
    }

    async fn read(&self, path: &str) -> Value {
        let answer = self.app.as_role("physician").get(path).await;
        assert_eq!(answer.status, 200, "{path}: {}", answer.text);
        answer.json
    }

    async fn days(&self, worker: &str) -> Value {
        let history = self.read(&format!("/workers/{worker}/history?agent_code=chromium_vi")).await;
        history["days_at_or_above_action_level"].clone()
    }

    /// The shift dates of a worker with their 8-hour averages.
    async fn averages(&self, worker: &str) -> Vec<(String, f64)> {
        let found = self.read(&format!("/shift-averages?worker_id={worker}&agent_code=chromium_vi")).await;
        let items = found["items"].as_array().unwrap().iter();
        let of = |item: &Value| {
            let date = item["shift_date"].as_str().unwrap().to_owned();
            (date, item["eight_hour_twa"]["value"].as_f64().unwrap())
        };
        items.map(of).collect()
    }
}

struct Sample<'s> {
    number: &'s str,
    worker: &'s str,
    group: &'s str,
    date: &'s str,
    run: [&'s str; 2],
    shift_minutes: i64,
}

#[tokio::test]
async fn a_night_shift_is_the_date_on_which_it_starts_and_as_long_as_it_was() {
    let app = TestApp::spawn().await;
    let works = Works { app: &app };
    let nights = [
        // From ten at night to six: seven hours where the clock goes forward, nine where it goes back.
        ("America/Denver", "2025-03-08", ["2025-03-08T22:00:00-07:00", "2025-03-09T06:00:00-06:00"], 420),
        ("America/Denver", "2025-11-01", ["2025-11-01T22:00:00-06:00", "2025-11-02T06:00:00-07:00"], 540),
        ("Europe/London", "2025-03-29", ["2025-03-29T22:00:00+00:00", "2025-03-30T06:00:00+01:00"], 420),
        ("Europe/London", "2025-10-25", ["2025-10-25T22:00:00+01:00", "2025-10-26T06:00:00+00:00"], 540),
    ];
    for (n, (zone, date, run, minutes)) in nights.into_iter().enumerate() {
        let site = works.site(&format!("S{n}"), zone).await;
        let group = app.group(&site, "NIGHT").await;
        let worker = works.worker(&n.to_string()).await;
        works.assign(&worker, &group, date, Some(run[1].split('T').next().unwrap())).await;
        let number = format!("N{n}");
        let sample =
            Sample { number: &number, worker: &worker, group: &group, date, run, shift_minutes: minutes };
        // The morning's date begins after the shift does.
        let morning = run[1].split('T').next().unwrap();
        let refused = works.event(&site, &Sample { date: morning, ..sample }).await;
        assert_eq!((refused.status, refused.pointers()), (422, vec!["/samples/0/runs/0"]), "{zone} {date}");
        // 29 CFR 1910.1000(d)(1)(i): C x T / 480 minutes.
        let said =
            works.measured(&site, &sample, 2.5 * 480.0 / f64::from(i32::try_from(minutes).unwrap())).await;
        // 2 L/min.
        assert_eq!(
            said["volume"],
            json!({"value": 2.0 * f64::from(i32::try_from(minutes).unwrap()), "unit": "L"}),
            "{zone} {date}"
        );
        let averages = works.averages(&worker).await;
        assert_eq!(averages.len(), 1);
        assert_eq!(averages[0].0, date);
        assert!((averages[0].1 - 2.5).abs() < 1e-9, "{zone} {date}: {averages:?}");
        // 29 CFR 1910.1026(b): exactly at 2.5 ug/m3 is at the action level. The assignment ends with that date.
        let days = works.days(&worker).await;
        assert_eq!(days["by_standing"]["worst_12_months"]["from"], date);
        assert_eq!(
            (&days["measured"], &days["by_standing"]["worst_12_months"]["count"]),
            (&json!(1), &json!(1))
        );
    }
}

#[tokio::test]
async fn runs_lie_within_thirty_six_hours_of_local_midnight_also_where_the_clock_changes() {
    let app = TestApp::spawn().await;
    let works = Works { app: &app };
    let worker = works.worker("1").await;
    // 36 hours after midnight it is one o'clock where the clock went forward, eleven where it went back.
    let days = [
        ("America/Denver", "2025-03-09", ["2025-03-10T12:00:00-06:00", "2025-03-10T13:00"], "-06:00"),
        ("America/Denver", "2025-11-02", ["2025-11-03T10:00:00-07:00", "2025-11-03T11:00"], "-07:00"),
        ("Europe/London", "2025-03-30", ["2025-03-31T12:00:00+01:00", "2025-03-31T13:00"], "+01:00"),
        ("Europe/London", "2025-10-26", ["2025-10-27T10:00:00+00:00", "2025-10-27T11:00"], "+00:00"),
    ];
    for (n, (zone, date, [start, end], offset)) in days.into_iter().enumerate() {
        let site = works.site(&format!("S{n}"), zone).await;
        let group = app.group(&site, "LONG").await;
        for (second, status) in [("01", 422), ("00", 201)] {
            let end = format!("{end}:{second}{offset}");
            let (number, run) = (format!("N{n}"), [start, &end]);
            let sample =
                Sample { number: &number, worker: &worker, group: &group, date, run, shift_minutes: 480 };
            let answer = works.event(&site, &sample).await;
            assert_eq!(answer.status, status, "{zone} {end}: {}", answer.text);
        }
        // A minute before local midnight is the day before.
        let early = format!("{date}T00:00:00{}", ["-07:00", "-06:00", "+00:00", "+01:00"][n]);
        let before = chrono::DateTime::parse_from_rfc3339(&early).unwrap() - chrono::Duration::minutes(1);
        let end = (before + chrono::Duration::hours(2)).to_rfc3339();
        let (number, before) = (format!("M{n}"), before.to_rfc3339());
        let run = [before.as_str(), &end];
        let sample =
            Sample { number: &number, worker: &worker, group: &group, date, run, shift_minutes: 480 };
        assert_eq!(works.event(&site, &sample).await.status, 422, "{zone} {before}");
        let on_time = Sample { run: [&early, &end], ..sample };
        assert_eq!(works.event(&site, &on_time).await.status, 201, "{zone} {early}");
    }
}

#[tokio::test]
async fn one_local_date_at_two_sites_is_one_day_whatever_the_date_in_universal_time() {
    let app = TestApp::spawn().await;
    let works = Works { app: &app };
    let (west, east) =
        (works.site("WST", "America/Denver").await, works.site("EST", "Pacific/Auckland").await);
    let (near, far) = (app.group(&west, "NEAR").await, app.group(&east, "FAR").await);
    let worker = works.worker("1").await;
    works.assign(&worker, &near, "2026-01-05", Some("2026-01-06")).await;
    // The same local date in both, and two dates in universal time: 9 and 10 February.
    let half = |group, site, number, run| (group, site, number, "2026-02-10", run);
    let morning = ["2026-02-10T08:00:00+13:00", "2026-02-10T12:00:00+13:00"];
    let same_date_west = ["2026-02-10T08:00:00-07:00", "2026-02-10T12:00:00-07:00"];
    for (group, site, number, date, run) in
        [half(&far, &east, "A1", morning), half(&near, &west, "A2", same_date_west)]
    {
        let sample = Sample { number, worker: &worker, group, date, run, shift_minutes: 240 };
        works.measured(site, &sample, 2.5).await;
    }
    // 2.5 x 240 / 480 = 1.25 in each, 2.5 together: at the action level (29 CFR 1910.1026(b)), which neither is alone.
    let both = [("2026-02-10".to_owned(), 1.25), ("2026-02-10".to_owned(), 1.25)];
    assert_eq!(works.averages(&worker).await, both);
    let days = works.days(&worker).await;
    let one = json!({"count": 1, "from": "2026-02-10", "to": "2027-02-10"});
    assert_eq!((&days["measured"], &days["by_standing"]["worst_12_months"]), (&json!(1), &one), "{days}");

    // One date in universal time, the 17th, and two local dates: two days, neither at the level.
    let other = works.worker("2").await;
    works.assign(&other, &near, "2026-01-05", Some("2026-01-06")).await;
    let evening = ["2026-02-16T18:00:00-07:00", "2026-02-16T22:00:00-07:00"];
    let next_date_east = ["2026-02-17T22:00:00+13:00", "2026-02-18T02:00:00+13:00"];
    for (group, site, number, date, run) in
        [(&near, &west, "B1", "2026-02-16", evening), (&far, &east, "B2", "2026-02-17", next_date_east)]
    {
        let sample = Sample { number, worker: &other, group, date, run, shift_minutes: 240 };
        works.measured(site, &sample, 2.5).await;
    }
    let apart = [("2026-02-16".to_owned(), 1.25), ("2026-02-17".to_owned(), 1.25)];
    assert_eq!(works.averages(&other).await, apart);
    assert_eq!(works.days(&other).await["measured"], json!(0));
}

#[tokio::test]
async fn a_night_over_new_year_and_a_leap_day_count_where_they_start() {
    let app = TestApp::spawn().await;
    let works = Works { app: &app };
    let site = works.site("DNV", "America/Denver").await;
    let group = app.group(&site, "NIGHT").await;
    let worker = works.worker("1").await;
    works.assign(&worker, &group, "2026-01-05", Some("2026-01-06")).await;
    for (number, date, run) in [
        ("A1", "2025-12-31", ["2025-12-31T22:00:00-07:00", "2026-01-01T06:00:00-07:00"]),
        ("A2", "2024-02-29", ["2024-02-29T22:00:00-07:00", "2024-03-01T06:00:00-07:00"]),
    ] {
        let sample = Sample { number, worker: &worker, group: &group, date, run, shift_minutes: 480 };
        works.measured(&site, &sample, 3.0).await;
    }
    let days = works.days(&worker).await;
    // 5 January 2026 was worked while the group stood at the level: the first round set it for ever before.
    assert_eq!(days["by_standing"]["calendar_years"], json!({"2024": 1, "2025": 1, "2026": 1}), "{days}");

    // 29 CFR 1910.1026(k)(2): 30 days after the first day, 30 January 2024, is 29 February. Twelve months from 29 February
    // end with 27 February: `to` is the 28th.
    for (number, from, to, due, window) in [
        ("2", "2024-01-30", "2024-05-01", "2024-02-29", ["2024-01-30", "2025-01-30"]),
        ("3", "2024-02-29", "2024-05-01", "2024-03-30", ["2024-02-29", "2025-02-28"]),
    ] {
        let worker = works.worker(number).await;
        works.assign(&worker, &group, from, Some(to)).await;
        // The agent concerns whoever was measured for it: one shift, below nothing.
        let number = format!("C{number}");
        let run = [format!("{from}T08:00:00-07:00"), format!("{from}T16:00:00-07:00")];
        let run = [run[0].as_str(), &run[1]];
        let sample =
            Sample { number: &number, worker: &worker, group: &group, date: from, run, shift_minutes: 480 };
        works.measured(&site, &sample, 3.0).await;
        app.registry.settle().await.unwrap();
        let duties = works.read(&format!("/duties?worker_id={worker}&kind=offer_examination")).await;
        let duty = &duties["items"][0];
        assert_eq!(duty["due_on"], due, "{duties}");
        assert_eq!(duty["window"], json!({"from": window[0], "to": window[1]}), "{duties}");
    }
}

#[tokio::test]
async fn a_notice_is_due_by_the_working_days_of_its_own_site() {
    let app = TestApp::spawn().await;
    let works = Works { app: &app };
    let mut notices = Vec::new();
    for code in ["ONE", "TWO"] {
        let site = works.site(code, "America/Denver").await;
        let group = app.group(&site, "WELD").await;
        let worker = works.worker(code).await;
        works.assign(&worker, &group, "2026-01-05", None).await;
        let run = ["2026-02-03T08:00:00-07:00", "2026-02-03T16:00:00-07:00"];
        let sample = Sample {
            number: code,
            worker: &worker,
            group: &group,
            date: "2026-02-03",
            run,
            shift_minutes: 480,
        };
        works.measured(&site, &sample, 3.0).await;
        notices.push(site);
    }
    let due = async |site: &str| -> Value {
        app.registry.settle().await.unwrap();
        let found = works.read(&format!("/duties?site_id={site}&kind=notify_results")).await;
        let items = found["items"].as_array().unwrap();
        assert_eq!(items.len(), 1, "{found}");
        items[0]["due_on"].clone()
    };
    // 29 CFR 1910.1026(d)(4)(i): 15 working days after Friday 20 February 2026: three weeks.
    for site in &notices {
        assert_eq!(due(site).await, "2026-03-13");
    }
    // Two days off at one of the sites, one of them a Sunday anyhow; then Monday 16 March, where the day would fall.
    for (date, moved) in
        [("2026-03-01", "2026-03-13"), ("2026-03-04", "2026-03-16"), ("2026-03-16", "2026-03-17")]
    {
        let holiday = json!({"date": date, "name": "Works holiday"});
        works.made(&format!("/sites/{}/holidays", notices[0]), &holiday).await;
        assert_eq!(
            (due(&notices[0]).await, due(&notices[1]).await),
            (json!(moved), json!("2026-03-13")),
            "{date}"
        );
    }
}
