//! Proving and rebuilding the record.

use crate::place::Place;

#[test]
fn a_fresh_registry_is_sound_and_rebuilds_to_the_same() {
    let place = Place::with_registry("sound");
    let proved = place.run(&["verify"]);
    assert_eq!(proved.code, 0, "{}", proved.err);
    assert!(proved.out.contains("sound:"), "{}", proved.out);
    let rebuilt = place.run(&["rebuild"]);
    assert_eq!(rebuilt.code, 0, "{}", rebuilt.err);
    assert!(rebuilt.out.contains("0 differ"), "{}", rebuilt.out);
}

#[test]
fn a_version_changed_behind_the_registrys_back_is_named_and_leaves_with_1() {
    let place = Place::new("forged");
    assert_eq!(place.run(&["account", "add", "ada@example.org", "--role", "hygienist"]).code, 0);
    let forge =
        "UPDATE account SET body = '{\"email\":\"eve@example.org\",\"roles\":[{\"role\":\"hygienist\"}]}'";
    place.on_database(forge);
    let proved = place.run(&["verify"]);
    assert_eq!(proved.code, 1);
    assert!(proved.err.contains("not sound: position"), "{}", proved.err);
}

#[test]
fn a_mistyped_address_is_no_empty_registry_that_proves_sound() {
    let place = Place::new("mistyped");
    let typo = format!("sqlite:{}", place.path("typo.sqlite").display());
    let mut command = place.command(&["verify"]);
    let done = command.env("DOSEWARD_DATABASE_URL", &typo).output().unwrap();
    assert_eq!(done.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&done.stderr).contains("there is no registry"));
    assert!(!place.path("typo.sqlite").exists());
}

#[test]
fn an_anchor_is_written_once_and_finds_a_tail_that_was_cut_off() {
    let place = Place::new("anchored");
    assert_eq!(place.run(&["account", "add", "ada@example.org", "--role", "hygienist"]).code, 0);
    let [file, key] = ["anchor.txt", "key.pem"].map(|name| place.path(name).display().to_string());
    let written = place.run(&["anchor", &file, "--key", &key]);
    assert_eq!(written.code, 0, "{}", written.err);
    // A witness is never written over.
    assert_eq!(place.run(&["anchor", &file]).code, 1);
    let proved = place.run(&["verify", "--anchor", &file, "--key", &key]);
    assert_eq!(proved.code, 0, "{}", proved.err);
    assert!(proved.out.contains("contains the anchor of"), "{}", proved.out);
    assert_eq!(place.run(&["verify", "--key", &key]).code, 2);
    // The last entry is taken away with all that tells of it.
    for sql in [
        "DELETE FROM account WHERE known_from = (SELECT position FROM journal_head)",
        "DELETE FROM journal_entry WHERE position = (SELECT position FROM journal_head)",
        "UPDATE journal_chain SET entries = entries - 1, head = (SELECT e.entry_hash FROM journal_entry e \
         WHERE e.chain = 'corporation' ORDER BY e.place DESC LIMIT 1) WHERE chain = 'corporation'",
        "UPDATE journal_head SET position = position - 1",
    ] {
        place.on_database(sql);
    }
    assert_eq!(place.run(&["verify"]).code, 0, "the record alone is sound");
    let proved = place.run(&["verify", "--anchor", &file]);
    assert_eq!(proved.code, 1);
    assert!(proved.err.contains("chain corporation: its tail was cut"), "{}", proved.err);
    std::fs::write(&file, "doseward-anchor 1\n").unwrap();
    assert!(place.run(&["verify", "--anchor", &file]).err.contains("is no anchor"));
}
