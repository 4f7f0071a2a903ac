//! Floors: a room uses only rooms below it, and each outside crate is known to its room alone.

use crate::source::{Source, sources};

/// The rooms from the ground up; those of one row do not know each other.
const FLOORS: &[&[&str]] = &[
    // The macros of `model`, which Rust puts at the root.
    &["record", "words"],
    &["model"],
    &["hygiene"],
    &["surveillance"],
    &["conclusions"],
    &["calculations"],
    &["access"],
    &["store"],
    &["registry"],
    &["export"],
    &["settings"],
    &["api", "pages"],
    &["service"],
    &["cli"],
    &["main", "lib"],
];

fn floor(room: &str) -> Option<usize> {
    FLOORS.iter().position(|rooms| rooms.contains(&room))
}

/// What a room must not name, or the only rooms that may.
fn hits(rooms: impl Fn(&str) -> bool, words: &[&str]) -> Vec<String> {
    let mut hits = Vec::new();
    for source in sources().iter().filter(|source| rooms(source.room())) {
        for (line, code) in source.code() {
            for word in words.iter().filter(|word| names(code, word)) {
                hits.push(format!("src/{}:{line} names {word}", source.path));
            }
        }
    }
    hits
}

/// Whether the code names a path, as a whole word.
fn names(code: &str, word: &str) -> bool {
    let part = |c: char| c.is_alphanumeric() || c == '_';
    code.match_indices(word)
        .any(|(at, _)| !code[..at].ends_with(part) && !code[at + word.len()..].starts_with(part))
}

#[test]
fn a_room_uses_only_rooms_below_it() {
    let mut faults = Vec::new();
    for source in sources() {
        let own = floor(source.room());
        let Some(own) = own else {
            faults.push(format!("src/{} stands in a room that is on no floor", source.path));
            continue;
        };
        for room in source.rooms_named() {
            if room == source.room() {
                continue;
            }
            match floor(&room) {
                Some(floor) if floor < own => {}
                _ => faults.push(format!("src/{} uses {room}, which is not below it", source.path)),
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn mathematics_rules_and_policy_know_no_database_network_file_or_clock() {
    let pure = ["model", "hygiene", "surveillance", "conclusions", "calculations", "access"];
    let hits = hits(
        |room| pure.contains(&room),
        &[
            "sqlx",
            "axum",
            "tokio",
            "std::fs",
            "std::net",
            "Utc::now",
            "Local::now",
            "SystemTime",
            "getrandom",
        ],
    );
    assert!(hits.is_empty(), "{}", hits.join("\n"));
}

#[test]
fn only_the_store_names_the_database_driver() {
    let hits = hits(|room| room != "store", &["sqlx"]);
    assert!(hits.is_empty(), "{}", hits.join("\n"));
}

#[test]
fn only_the_faces_name_the_web_framework() {
    let hits = hits(|room| !["api", "pages", "service"].contains(&room), &["axum"]);
    assert!(hits.is_empty(), "{}", hits.join("\n"));
}

#[test]
fn no_file_speaks_of_a_room_above_it_even_in_a_list() {
    let upward = Source { path: "model/x.rs".into(), text: "use crate::{access, store::open};".into() };
    let named = upward.rooms_named();
    assert!(named.iter().all(|room| floor(room) > floor(upward.room())), "{named:?}");
}
