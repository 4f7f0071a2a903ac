//! Replacing the key that signs, from the command line; and following it with what every computer has.

use crate::place::Place;
use std::process::Command;

/// The lines of shell of the documentation after a mark.
fn documented(name: &str) -> String {
    let page = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/proving-the-record.md");
    let page = std::fs::read_to_string(page).unwrap();
    let (_, part) = page.split_once(&format!("<!-- {name} -->\n```sh\n")).unwrap();
    part.split("```").next().unwrap().to_owned()
}

fn fingerprints(list: &str) -> Vec<&str> {
    list.lines().map(|line| line.split(' ').next().unwrap()).collect()
}

#[test]
fn a_key_is_replaced_and_whoever_kept_the_old_one_follows_it() {
    let place = Place::with_registry("keys");
    assert_eq!(place.run(&["anchor", "anchor.txt", "--key", "old-key.pem"]).code, 0);
    assert_eq!(place.run(&["export", "bundle", "bundle.tar"]).code, 0);
    let token = place.run(&["token", "add", "first@example.org", "--label", "test"]).out;
    let refused = place.run_with_token(token.trim(), &["key", "rotate"]);
    assert!(refused.code == 1 && refused.err.contains("at the console"), "{}", refused.err);
    let rotated = place.run(&["key", "rotate"]);
    assert_eq!(rotated.code, 0, "{}", rotated.err);
    assert!(rotated.out.contains("signs in place of"), "{}", rotated.out);
    let list = place.run(&["key", "list"]).out;
    let [old, new] = fingerprints(&list)[..] else { panic!("{list}") };
    assert!(
        list.contains(&format!("followed by {new}\n"))
            && list.contains(&format!("announced by {old}, signs now"))
    );
    // What the old key signed is proved by it, and the proof says what followed.
    let proved = place.run(&["verify", "--anchor", "anchor.txt", "--key", "old-key.pem"]);
    assert_eq!(proved.code, 0, "{}", proved.err);
    assert!(proved.out.contains(&format!("signed with the key {old}\n")), "{}", proved.out);
    assert!(proved.out.contains(&format!(" by {new}\n")), "{}", proved.out);
    let there = Place::new("keys_there");
    let [bundle, key] = ["bundle.tar", "old-key.pem"].map(|name| place.path(name).display().to_string());
    let taken = there.run(&["import", "bundle", &bundle, "--key", &key, "--dry-run"]);
    assert_eq!(taken.code, 0, "{}", taken.err);
    // The old key alone leads to what the new one signs.
    assert_eq!(place.run(&["anchor", "new.txt", "--key", "now.pem"]).code, 0);
    let proved = place.run(&["verify", "--anchor", "new.txt", "--key", "old-key.pem"]);
    assert_eq!(proved.code, 0, "{}", proved.err);
    let backwards = place.run(&["verify", "--anchor", "anchor.txt", "--key", "now.pem"]);
    assert!(backwards.code == 1 && backwards.err.contains("no announcement leads"), "{}", backwards.err);
    // A stranger does the same with openssl.
    assert_eq!(place.run(&["key", "announcements", "announcements.txt"]).code, 0);
    assert_eq!(place.run(&["key", "announcements", "announcements.txt"]).code, 1, "never written over");
    let script = documented("follow a key");
    let run =
        || Command::new("bash").args(["-e", "-c", &script]).current_dir(place.path(".")).output().unwrap();
    let done = run();
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(done.status.success() && said.contains("Signature Verified Successfully"), "{said}");
    assert!(said.contains(new), "{said}");
    let read = |name: &str| std::fs::read_to_string(place.path(name)).unwrap();
    assert_eq!(read("next-key.pem"), read("now.pem"));
    std::fs::write(place.path("announcements.txt"), read("announcements.txt").replace("place 1", "place 2"))
        .unwrap();
    assert!(!run().status.success());
}

#[test]
fn a_key_of_a_file_is_replaced_by_another_file_and_the_setting_follows() {
    let place = Place::with_registry("keys_of_files");
    for name in ["one.pem", "two.pem"] {
        let path = place.path(name).display().to_string();
        let made = Command::new("openssl")
            .args(["genpkey", "-algorithm", "ed25519", "-out", &path])
            .output()
            .unwrap();
        assert!(made.status.success());
    }
    let with = |key: &str, arguments: &[&str]| {
        let output =
            place.command(arguments).env("DOSEWARD_SIGNING_KEY_FILE", place.path(key)).output().unwrap();
        let [out, err] =
            [output.stdout, output.stderr].map(|text| String::from_utf8_lossy(&text).into_owned());
        (output.status.code().unwrap(), out, err)
    };
    assert_eq!(with("one.pem", &["anchor", "a.txt"]).0, 0);
    assert!(with("one.pem", &["key", "rotate"]).2.contains("name that file here"));
    let (code, out, err) = with("one.pem", &["key", "rotate", "--new", "two.pem"]);
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("Set DOSEWARD_SIGNING_KEY_FILE to two.pem"), "{out}");
    assert!(with("one.pem", &["anchor", "b.txt"]).2.contains("the setting must name the key"));
    assert!(place.run(&["anchor", "b.txt"]).err.contains("DOSEWARD_SIGNING_KEY_FILE must name its file"));
    assert_eq!(with("two.pem", &["anchor", "b.txt"]).0, 0);
    let (code, out, err) = with("two.pem", &["verify", "--anchor", "a.txt"]);
    assert!(code == 0 && out.contains("which was followed on"), "{out}{err}");
}
