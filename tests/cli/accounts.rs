//! Accounts and tokens.

use crate::place::Place;

#[test]
fn a_token_stands_alone_on_standard_output_and_works() {
    let place = Place::new("token");
    let made = place.run(&["account", "add", "ada@example.org", "--role", "administrator"]);
    assert_eq!(made.code, 0, "{}", made.err);
    let token = place.run(&["token", "add", "ada@example.org", "--label", "test", "--days", "3"]);
    assert_eq!(token.code, 0, "{}", token.err);
    assert_eq!(token.out.lines().count(), 1);
    let secret = token.out.trim();
    assert!(secret.starts_with("dw1_"), "{secret}");
    // The administrator may make accounts with it …
    let by_token = place.run_with_token(secret, &["account", "add", "bo@example.org", "--role", "corporate"]);
    assert_eq!(by_token.code, 0, "{}", by_token.err);
    // … and a token of somebody who may not, does not.
    let corporate = place.run_with_token(secret, &["token", "add", "bo@example.org", "--label", "test"]);
    let refused = place
        .run_with_token(corporate.out.trim(), &["account", "add", "cy@example.org", "--role", "corporate"]);
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains("none of the account's roles"), "{}", refused.err);
}

#[test]
fn a_token_that_does_not_work_is_refused_by_the_name_of_its_variable() {
    let place = Place::with_registry("bad_token");
    let refused = place.run_with_token("dw1_nothing", &["verify"]);
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains("DOSEWARD_TOKEN"), "{}", refused.err);
}

#[test]
fn an_address_is_taken_once_and_an_unknown_account_has_no_token() {
    let place = Place::new("taken");
    let add = ["account", "add", "Ada@Example.org", "--role", "hygienist"];
    assert_eq!(place.run(&add).code, 0);
    let again = place.run(&["account", "add", "ada@example.org", "--role", "hygienist"]);
    assert_eq!(again.code, 1);
    assert!(again.err.contains("recorded already"), "{}", again.err);
    let nobody = place.run(&["token", "add", "nobody@example.org", "--label", "x"]);
    assert_eq!(nobody.code, 1);
    assert!(nobody.err.contains("nobody@example.org"), "{}", nobody.err);
    let endless = place.run(&["token", "add", "ada@example.org", "--label", "x", "--days", "366"]);
    assert_eq!(endless.code, 1);
    assert!(endless.err.contains("/days"), "{}", endless.err);
}

#[test]
fn a_role_that_cannot_be_meant_is_misuse_and_one_that_cannot_be_held_is_refused() {
    let place = Place::new("roles");
    assert_eq!(place.run(&["account", "add", "a@example.org", "--role", "king"]).code, 2);
    assert_eq!(place.run(&["account", "add", "a@example.org"]).code, 2);
    let both = ["account", "add", "a@example.org", "--role", "physician", "--role", "administrator"];
    assert_eq!(place.run(&both).code, 1);
    let nowhere = place.run(&["account", "add", "a@example.org", "--role", "coordinator:NOWHERE"]);
    assert_eq!(nowhere.code, 1);
    assert!(nowhere.err.contains("NOWHERE"), "{}", nowhere.err);
}

#[test]
fn a_short_password_is_refused_and_leaves_no_account() {
    let place = Place::new("password");
    let add = ["account", "add", "ada@example.org", "--role", "hygienist", "--password-stdin"];
    let short = place.run_with_input("elevensigns\n", &add);
    assert_eq!(short.code, 1);
    assert!(short.err.contains("12 characters"), "{}", short.err);
    let good = place.run_with_input("correct horse battery\n", &add);
    assert_eq!(good.code, 0, "{}", good.err);
    assert!(!good.out.contains("horse"));
}
