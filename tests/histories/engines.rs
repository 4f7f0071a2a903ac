//! SQLite and PostgreSQL answer the same script of requests with the same bytes.

use crate::questions::{EXPORTS, beside, conclusions, with};
use crate::script::{Line, Script};
use crate::stage::{Stage, server};

/// How many steps the script has.
const STEPS: usize = 120;

/// Plays the script; gives every answer, and at the end everything that can be asked.
async fn played(stage: &Stage) -> Vec<Line> {
    let mut script = Script::begin(stage, 42).await;
    for _ in 0..STEPS {
        script.step().await;
        stage.settle().await;
    }
    let mut addresses: Vec<String> = EXPORTS.map(str::to_owned).into();
    for address in conclusions(&script.plant) {
        addresses.push(with(&address, "working=true"));
        addresses.push(with(&address, "accepted_only=true"));
        addresses.push(address);
    }
    addresses.extend(beside(&script.plant));
    let mut lines = script.lines;
    for asked in addresses {
        let answer = stage.get("physician", &asked).await;
        assert_eq!(answer.status, 200, "{asked}: {}", answer.text);
        lines.push(Line { asked, answer });
    }
    lines.extend(journal(stage).await);
    lines
}

/// The journal, page after page.
pub(crate) async fn journal(stage: &Stage) -> Vec<Line> {
    let mut pages = Vec::new();
    let mut asked = String::from("/journal?limit=500");
    loop {
        let answer = stage.get("physician", &asked).await;
        let next = answer.json()["next"].as_str().map(str::to_owned);
        pages.push(Line { asked, answer });
        match next {
            Some(next) => asked = format!("/journal?limit=500&after={next}"),
            None => return pages,
        }
    }
}

#[tokio::test]
async fn the_same_requests_get_the_same_bytes_on_both_engines() {
    let one = Stage::on_sqlite().await;
    let other = if let Some(server) = server() {
        println!("compared: SQLite with PostgreSQL");
        Stage::on_postgres(&server).await
    } else {
        println!("compared: SQLite with SQLite (TEST_DATABASE_URL is not set)");
        Stage::on_sqlite().await
    };
    let (ones, others) = (played(&one).await, played(&other).await);
    assert!(
        ones.iter().any(|line| line.asked.starts_with("/exports") && line.answer.text.lines().count() > 3)
    );
    for (one, other) in ones.iter().zip(&others) {
        assert_eq!(one.asked, other.asked, "the scripts part");
        assert!(one == other, "{}:\n{}\nand\n{}", one.asked, one.answer.text, other.answer.text);
    }
    assert_eq!(ones.len(), others.len());
}
