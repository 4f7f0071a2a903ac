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
