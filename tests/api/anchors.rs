//! Anchors over HTTP: who gets what, that common tools can check one, and that files and papers carry how the record stood.

use crate::harness::{Answer, TestApp};
use crate::things::record_one_of_each;
use doseward::store::backend::Database;
use serde_json::json;
use std::process::Command;

/// The lines of an anchor that begin with a word.
fn lines<'a>(anchor: &'a str, word: &str) -> Vec<&'a str> {
    anchor.lines().filter_map(|line| line.strip_prefix(word)?.strip_prefix(' ')).collect()
}

async fn anchor(app: &TestApp, who: &str) -> String {
    let answer = app.as_role(who).get("/anchor").await;
    assert_eq!(answer.status, 200, "{}", answer.text);
    assert!(answer.header("content-disposition").starts_with("attachment; filename=\"anchor-"));
    answer.text
}

#[tokio::test]
async fn everybody_gets_an_anchor_of_what_he_sees() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let site = things.id("sites");
    let elsewhere = app.site("BRK").await;
    app.group(&elsewhere, "CAST").await;
    app.add_account_on("on_site", "coordinator", &[site]).await;
    app.add_account_on("one_sites_physician", "physician", &[site]).await;
    let names = |anchor: &str| -> Vec<String> {
        lines(anchor, "chain").iter().map(|line| line.split(' ').next().unwrap().to_owned()).collect()
    };
    let mut all = vec!["corporation".to_owned(), format!("site:{site}"), format!("site:{elsewhere}")];
    all.sort();
    for who in ["administrator", "hygienist", "coordinator", "corporate"] {
        let anchor = anchor(&app, who).await;
        assert_eq!(names(&anchor), all, "{who}");
        assert!(lines(&anchor, "blinded")[0].starts_with("medical "), "{anchor}");
    }
    for who in ["on_site", "one_sites_physician"] {
        let anchor = anchor(&app, who).await;
        assert_eq!(names(&anchor), ["corporation".to_owned(), format!("site:{site}")], "{who}");
        assert_eq!(lines(&anchor, "blinded").len(), 1, "{who}");
    }
    let open = anchor(&app, "physician").await;
    assert_eq!(names(&open).len(), 4);
    assert!(lines(&open, "chain").iter().any(|line| line.starts_with("medical 1 ")), "{open}");
}

/// The page of the documentation says the same lines.
#[tokio::test]
async fn common_tools_check_an_anchor_as_the_page_says() {
    if !["openssl", "bash", "sed", "base64", "sha256sum"].iter().all(|tool| found(tool)) {
        eprintln!("not checked: a tool is missing");
        return;
    }
    let app = TestApp::spawn().await;
    record_one_of_each(&app, "LYN").await;
    let folder = tempfile::tempdir().unwrap();
    let text = anchor(&app, "administrator").await;
    std::fs::write(folder.path().join("anchor.txt"), &text).unwrap();
    let pem = app.as_role("coordinator").get("/signing-key.pem").await;
    std::fs::write(folder.path().join("signing-key.pem"), &pem.text).unwrap();
    let page =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/docs/proving-the-record.md")).unwrap();
    let part = |name: &str| {
        let begin = format!("<!-- {name} -->\n```sh\n");
        let (_, after) = page.split_once(&begin).unwrap_or_else(|| panic!("the page has no part {name}"));
        after.split("```").next().unwrap().to_owned()
    };
    let run = |script: &str| {
        let done =
            Command::new("bash").args(["-e", "-c", script]).current_dir(folder.path()).output().unwrap();
        (done.status.success(), String::from_utf8_lossy(&done.stdout).into_owned())
    };
    let (good, said) = run(&part("check the signature"));
    assert!(good && said.contains("Signature Verified Successfully"), "{said}");
    let (good, said) = run(&part("compare the fingerprint"));
    let fingerprint = lines(&text, "key")[0];
    assert!(good && said.contains(fingerprint), "{said}");
    let told = app.as_role("coordinator").get("/signing-key").await;
    assert_eq!(
        (&told.json["fingerprint"], &told.json["public_key"]),
        (&json!(fingerprint), &json!(pem.text))
    );
    let forged = text.replacen("position ", "position 9", 1);
    std::fs::write(folder.path().join("anchor.txt"), forged).unwrap();
    let (good, said) = run(&part("check the signature"));
    assert!(!good && !said.contains("Successfully"), "{said}");
}

fn found(tool: &str) -> bool {
    Command::new(tool).arg("--help").output().is_ok()
}

#[tokio::test]
async fn the_proof_is_held_against_an_anchor_in_the_body() {
    let app = TestApp::spawn().await;
    record_one_of_each(&app, "LYN").await;
    let kept = anchor(&app, "corporate").await;
    let prove = async |who: &str, text: &str| {
        app.as_role(who).post("/journal/verification", &json!({"anchor": text})).await
    };
    app.site("BRK").await;
    let found = prove("administrator", &kept).await;
    let finding = &found.json["anchor"];
    assert_eq!(
        (&found.json["sound"], &finding["contained"], &finding["compared"]),
        (&json!(true), &json!(true), &json!(4))
    );
    assert!(!found.text.contains("medical"), "{}", found.text);
    let shown: i64 =
        found.json["chains"].as_array().unwrap().iter().map(|one| one["entries"].as_i64().unwrap()).sum();
    assert_eq!(found.json["entries"], json!(shown), "what is not shown is not to be reckoned from the sum");
    // An anchor that the physician got names the medical chain; to others a fault in it stays without name and place.
    let open = anchor(&app, "physician").await;
    let sql = "UPDATE journal_entry SET place = place + 100 WHERE chain = 'medical'";
    match &app.registry.database {
        Database::Sqlite(pool) => {
            assert!(sqlx::query(sql).execute(pool).await.is_ok());
        }
        Database::Postgres(pool) => {
            assert!(sqlx::query(sql).execute(pool).await.is_ok());
        }
    }
    for text in [&kept, &open] {
        let found = prove("hygienist", text).await;
        let finding = &found.json["anchor"];
        assert_eq!((&found.json["sound"], &finding["contained"]), (&json!(false), &json!(false)));
        assert!(!found.text.contains("medical"), "{}", found.text);
        let what = "a chain that is not shown does not contain what was anchored: it was cut or rewritten";
        assert_eq!(finding["faults"], json!([{"what": what}]));
    }
    for wrong in ["", "doseward-anchor 2\n", kept.trim_end()] {
        let refused = prove("administrator", wrong).await;
        assert_eq!((refused.status, refused.pointers()), (422, vec!["/anchor"]), "{wrong:?}");
    }
}

/// What an answer's headers say of the record.
fn state(answer: &Answer) -> [String; 4] {
    ["x-position", "x-chain", "x-chain-entries", "x-chain-head"].map(|name| answer.header(name).to_owned())
}

#[tokio::test]
async fn files_and_papers_carry_how_the_record_stood() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let site = things.id("sites");
    app.add_account_on("on_site", "hygienist", &[site]).await;
    app.registry.settle().await.unwrap();
    let kept = anchor(&app, "corporate").await;
    let position = lines(&kept, "position")[0];
    let expected = |chain: &str| {
        let line =
            lines(&kept, "chain").into_iter().find(|line| line.starts_with(&format!("{chain} "))).unwrap();
        let words: Vec<&str> = line.split(' ').collect();
        [position, words[0], words[1], words[2]].map(str::to_owned)
    };
    let corporation = expected("corporation");
    for file in ["samples.csv", "surveillance.json", "duties.csv", "surveillance.fhir.json"] {
        let path = format!("/exports/{file}");
        assert_eq!(state(&app.as_role("corporate").get(&path).await), corporation, "{file}");
        assert_eq!(
            state(&app.as_role("on_site").get(&path).await),
            expected(&format!("site:{site}")),
            "{file}"
        );
    }
    let worker = things.id("workers");
    let foot = format!(
        "Record at position {}; chain corporation, {} entries, head {}.",
        corporation[0],
        corporation[2],
        &corporation[3][..16]
    );
    for path in [
        format!("/workers/{worker}/examiner-packet.html?agent_code=chromium_vi"),
        format!("/workers/{worker}/access-log.html"),
    ] {
        let paper = app.as_role("physician").get(&path).await;
        assert!(paper.text.contains(&foot), "{path}: {}", paper.text);
        assert_eq!(state(&paper), corporation, "{path}");
    }
    let packet = format!("/workers/{worker}/examiner-packet?agent_code=chromium_vi");
    assert_eq!(state(&app.as_role("physician").get(&packet).await), corporation);
    // As known before, the foot is the one of then.
    let then = app.registry.clock.now().to_rfc3339();
    app.site("BRK").await;
    let before = format!("{packet}&as_known_on={}", then.replace('+', "%2B"));
    assert_eq!(state(&app.as_role("physician").get(&before).await), corporation);
    assert_ne!(state(&app.as_role("physician").get(&packet).await), corporation);
}
