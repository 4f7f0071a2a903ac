//! The same input gives the same bytes: again, and on whatever thread.

use crate::asked::{Asked, all};
use crate::examples::examples;
use serde_json::Value;

/// The answers to the examples of the API document and of the page, as text.
fn answers() -> Vec<String> {
    let of_page = examples();
    let of_page = of_page.iter().filter_map(|example| {
        let name = example["calculation"].as_str()?;
        Some((all().into_iter().find(|asked| asked.name == name)?, example["input"].clone()))
    });
    let of_document = all().into_iter().map(|asked| {
        let example = (asked.example)();
        (asked, example)
    });
    let all: Vec<(Asked, Value)> = of_document.chain(of_page).collect();
    all.into_iter().map(|(asked, input)| (asked.answer)(&input).to_string()).collect()
}

#[test]
fn every_answer_is_the_same_text_again_and_on_every_thread() {
    let first = answers();
    assert!(first.len() > all().len());
    let others: Vec<Vec<String>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..4).map(|_| scope.spawn(answers)).collect();
        threads.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    for other in others {
        assert_eq!(first, other);
    }
}
