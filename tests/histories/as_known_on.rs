//! What was answered then is answered again when it is asked as known then.

use crate::questions::{EXPORTS, conclusions, with};
use crate::script::Script;
use crate::stage::Stage;
use std::collections::BTreeMap;

/// How many steps are taken.
const STEPS: usize = 200;
/// How many conclusions are kept at every step, besides the exports.
const CONCLUSIONS: usize = 4;

#[tokio::test]
async fn exports_and_conclusions_as_known_then_are_the_bytes_saved_then() {
    let stage = Stage::set().await;
    let mut script = Script::begin(&stage, 20_260_302).await;
    let mut saved: Vec<(String, String, String)> = Vec::new();
    let mut turn = 0;
    for _ in 0..STEPS {
        script.step().await;
        stage.settle().await;
        let instant = stage.now().format("%Y-%m-%dT%H:%M:%SZ").to_string();
        let all = conclusions(&script.plant);
        let some = (turn..turn + CONCLUSIONS).map(|n| all[n * 7 % all.len()].clone());
        for address in EXPORTS.into_iter().map(str::to_owned).chain(some) {
            let text = stage.read("physician", &address).await;
            saved.push((instant.clone(), address, text));
        }
        turn += CONCLUSIONS;
    }
    let recorded = script.lines.iter().filter(|line| line.answer.status == 201).count();
    assert!(recorded > STEPS / 2, "only {recorded} requests recorded something");
    let mut texts: BTreeMap<&str, usize> = BTreeMap::new();
    for (_, address, text) in &saved {
        // Rows of a CSV file stand on lines, those of a JSON file in one array.
        let rows = texts.entry(address.as_str()).or_default();
        *rows = (*rows).max(text.lines().count() + text.matches("},{").count());
    }
    assert!(EXPORTS.iter().all(|export| texts[export] > 3), "the exports say something: {texts:?}");

    // Some days later, so that nothing is right by chance.
    stage.pass_days(9).await;
    for (instant, address, then) in &saved {
        let now = stage.read("physician", &with(address, &format!("as_known_on={instant}"))).await;
        assert!(now == *then, "{address} as known on {instant}:\n{now}\nbut then it was:\n{then}");
    }
}
