//! A walk over every page, as every role, in a real browser: nothing that keeps people out, light and dark, wide and narrow.
//!
//! `TEST_PAGES_PICTURES` names a folder for pictures of every page at 390 and 1,440 pixels.

use crate::browser::Browser;
use crate::demonstration::Demonstration;
use doseward::pages::table::{Who, pages};
use serde_json::Value;
use std::path::PathBuf;

const ROLES: [&str; 5] = ["coordinator", "hygienist", "physician", "corporate", "administrator"];
/// A page may hold this much of what is loaded for it, all together.
const WEIGHT_MOST: i64 = 100_000;

/// The program that looks for what keeps people out; `tests/run` fetches it from npm.
pub(crate) fn axe() -> String {
    let path = std::env::var_os("TEST_PAGES_AXE").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/axe/node_modules/axe-core/axe.min.js"),
        PathBuf::from,
    );
    std::fs::read_to_string(&path).unwrap_or_else(|error| {
        panic!(
            "{}: {error}. The tests of the pages need axe-core: npm install --prefix target/axe axe-core@4.14.1 \
             (tests/run does so)",
            path.display()
        )
    })
}

/// What keeps people out of the page that is open.
async fn violations(browser: &Browser, axe: &str) -> Vec<String> {
    browser.run(axe, &[]).await;
    let found = browser
        .run_until(
            "const done = arguments[arguments.length - 1]; \
             axe.run(document, {runOnly: ['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa','best-practice']}) \
             .then(r => done(r.violations.map(v => v.id + ': ' + v.nodes[0].html.slice(0, 160) + ' ' + v.nodes[0].failureSummary)))",
        )
        .await;
    texts(&found)
}

/// What runs out of the window at the side, and what is too small to be hit.
async fn misfits(browser: &Browser) -> Vec<String> {
    let script = "const wide = document.documentElement.clientWidth; const out = [];
        if (document.documentElement.scrollWidth > wide) out.push('wider than the window: ' + document.documentElement.scrollWidth);
        for (const e of document.querySelectorAll('body *')) {
            if (e.closest('.unseen, .sprite, .skip, .scroll, thead, details:not([open]) form')) continue;
            const box = e.getBoundingClientRect();
            if (box.width > 1 && (box.right > wide + 1 || box.left < -1)) out.push('runs out: ' + e.outerHTML.slice(0, 120));
        }
        for (const e of document.querySelectorAll('a, button, input:not([type=hidden]), select, summary')) {
            const box = e.getBoundingClientRect();
            if (box.width && box.height < 23.5 && getComputedStyle(e).display !== 'inline') out.push('too small: ' + e.outerHTML.slice(0, 120));
        }
        return out.slice(0, 5);";
    texts(&browser.run(script, &[]).await)
}

fn texts(found: &Value) -> Vec<String> {
    found.as_array().unwrap().iter().map(|one| one.as_str().unwrap_or_default().to_owned()).collect()
}

/// The addresses of the pages that a role may open: those without a name in them, and those that links on them lead to.
async fn addresses(browser: &Browser, demo: &Demonstration) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let mut next = vec!["/".to_owned()];
    let templates: Vec<&str> = pages()
        .iter()
        .filter(|page| page.method == "GET" && page.path != "/assets/{name}" && page.who != Who::HalfSignedIn)
        .map(|page| page.path)
        .collect();
    let matches = |template: &str, path: &str| {
        let (one, other): (Vec<&str>, Vec<&str>) = (template.split('/').collect(), path.split('/').collect());
        one.len() == other.len()
            && one.iter().zip(&other).all(|(part, given)| part.starts_with('{') || part == given)
    };
    let mut seen = std::collections::BTreeSet::new();
    while let Some(path) = next.pop() {
        let bare = path.split(['?', '#']).next().unwrap_or_default();
        let Some(template) = templates.iter().find(|template| matches(template, bare)) else { continue };
        // One example of every page is enough.
        if !seen.insert(*template) {
            continue;
        }
        browser.open(&format!("{}{path}", demo.address)).await;
        found.push(path);
        let links = browser
            .run(
                "return [...document.querySelectorAll('a[href^=\"/\"]:not([download])')].map(a => a.getAttribute('href'))",
                &[],
            )
            .await;
        next.extend(texts(&links));
    }
    found
}

#[tokio::test]
async fn every_page_is_fit_for_everybody_in_light_and_dark_wide_and_narrow() {
    let (demo, axe) = (Demonstration::start(), axe());
    let browser = Browser::start().await;
    let pictures = std::env::var_os("TEST_PAGES_PICTURES").map(PathBuf::from);
    let mut wrong = Vec::new();
    let mut walked = std::collections::BTreeSet::new();
    for role in ROLES {
        browser.forget().await;
        browser.width(1_440).await;
        browser.open(&demo.links[role]).await;
        assert!(browser.text().await.contains("no second factor is asked for"), "the demonstration says so");
        if role == "coordinator" {
            look(&browser, &axe, pictures.as_ref(), "nobody-code", &mut wrong).await;
        }
        browser.click("main button").await;
        browser.find("form.out").await;
        for path in addresses(&browser, &demo).await {
            browser.open(&format!("{}{path}", demo.address)).await;
            let bare = path.split(['?', '#']).next().unwrap_or_default();
            let parts: Vec<&str> = bare
                .split('/')
                .filter(|part| !part.is_empty())
                .map(|part| if part.len() == 36 { "one" } else { part })
                .collect();
            let name = if parts.is_empty() { "first".to_owned() } else { parts.join("-") };
            // A page that is the same for everybody is looked at once; the first one and the list of duties are not.
            if !walked.insert(name.clone()) && !["first", "duties"].contains(&name.as_str()) {
                continue;
            }
            look(&browser, &axe, pictures.as_ref(), &format!("{role}-{name}"), &mut wrong).await;
        }
    }
    browser.forget().await;
    // The link works once; after that the password does.
    browser.open(&demo.links["corporate"]).await;
    assert!(browser.text().await.contains("There is nothing here"), "{}", browser.text().await);
    browser.open(&format!("{}/sign-in", demo.address)).await;
    browser.type_into("#email", "corporate@quillfeather.example").await;
    browser.type_into("#password", &demo.passwords["corporate"]).await;
    browser.click("main button.first").await;
    browser.find("form.out").await;
    browser.forget().await;
    for (path, name) in [("/sign-in", "nobody-sign-in"), ("/nowhere", "nobody-nowhere")] {
        browser.open(&format!("{}{path}", demo.address)).await;
        look(&browser, &axe, pictures.as_ref(), name, &mut wrong).await;
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    eprintln!("walked: {walked:?}");
}

/// Looks at the page that is open in every way.
pub(crate) async fn look(
    browser: &Browser,
    axe: &str,
    pictures: Option<&PathBuf>,
    name: &str,
    wrong: &mut Vec<String>,
) {
    for width in [360, 390, 1_440, 2_560] {
        browser.width(width).await;
        wrong.extend(misfits(browser).await.into_iter().map(|one| format!("{name} at {width}: {one}")));
        if [390, 1_440].contains(&width) {
            for tone in ["light", "dark"] {
                browser.tone(tone).await;
                let found = violations(browser, axe).await;
                wrong.extend(found.into_iter().map(|one| format!("{name} at {width}, {tone}: {one}")));
                if let Some(folder) = pictures {
                    std::fs::create_dir_all(folder).unwrap();
                    browser.picture(&folder.join(format!("{name}-{width}-{tone}.png"))).await;
                }
            }
        }
    }
    browser.tone("light").await;
    // What the page needs in all, whether it came over the line now or was kept from an earlier one.
    let weight = browser
        .run(
            "return [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')] \
             .reduce((sum, e) => sum + e.encodedBodySize, 0)",
            &[],
        )
        .await;
    if weight.as_i64().is_none_or(|weight| weight > WEIGHT_MOST) {
        wrong.push(format!("{name} weighs {weight} bytes"));
    }
    let elsewhere = browser
        .run(
            "return performance.getEntriesByType('resource').map(e => e.name).filter(n => !n.startsWith(location.origin))",
            &[],
        )
        .await;
    wrong.extend(texts(&elsewhere).into_iter().map(|one| format!("{name} asks for {one}")));
}

#[tokio::test]
async fn the_first_sight_is_light_works_without_scripts_and_runs_nobody_elses() {
    let app = crate::harness::TestApp::spawn().await;
    let browser = Browser::start().await;
    browser.open(&format!("{}/sign-in", app.address)).await;
    let weight = browser
        .run(
            "return [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')] \
             .reduce((sum, e) => sum + e.transferSize, 0)",
            &[],
        )
        .await;
    let weight = weight.as_i64().unwrap();
    assert!(weight > 10_000 && weight < WEIGHT_MOST, "{weight} bytes");
    // Signing in and out without a script.
    crate::person::set_password(&app, "hygienist").await;
    browser.scripts(false).await;
    browser.open(&format!("{}/sign-in?to=%2Faccount", app.address)).await;
    browser.type_into("#email", "hygienist@example.org").await;
    browser.type_into("#password", crate::person::PASSWORD).await;
    browser.click("main button.first").await;
    browser.find("form[action='/account/password']").await;
    assert!(browser.text().await.contains("hygienist@example.org"), "{}", browser.text().await);
    browser.click("form.out button").await;
    browser.find(".said").await;
    assert!(browser.text().await.contains("You are signed out"), "{}", browser.text().await);
    // What somebody types is shown as what it is.
    browser.scripts(true).await;
    browser.open(&format!("{}/sign-in", app.address)).await;
    let script =
        "\"><script>document.title='run'</script><img src=x onerror=\"document.title='run'\">@example.org";
    browser.run("document.querySelector('main form').noValidate = true", &[]).await;
    browser.type_into("#email", script).await;
    browser.type_into("#password", "not the password").await;
    browser.click("main button.first").await;
    browser.find(".stop[role=alert]").await;
    let (title, shown) = (
        browser.run("return document.title", &[]).await,
        browser.run("return document.querySelector('#email').value", &[]).await,
    );
    assert_ne!(title, "run");
    assert_eq!(shown, script);
    assert_eq!(browser.run("return document.scripts.length", &[]).await, 1);
    assert!(browser.address().await.ends_with("/sign-in"));
}
