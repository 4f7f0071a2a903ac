//! Backing up, restoring, moving to another engine; and reading a backup with what every computer has.

use crate::place::Place;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::Command;

/// A registry with an account that has a token and a password, and its backup under a name.
fn backed_up(place: &Place, name: &str) -> String {
    let add = ["account", "add", "ada@example.org", "--role", "corporate", "--password-stdin"];
    let made = place.run_with_input("correct horse battery\n", &add);
    assert_eq!(made.code, 0, "{}", made.err);
    let token = place.run(&["token", "add", "ada@example.org", "--label", "test"]);
    assert_eq!(token.code, 0, "{}", token.err);
    let saved = place.run(&["backup", name]);
    assert_eq!(saved.code, 0, "{}", saved.err);
    token.out.trim().to_owned()
}

/// Runs lines of shell in a folder; everything they print.
fn shell(folder: &Path, lines: &str) -> String {
    let output = Command::new("bash")
        .args(["-euo", "pipefail", "-c", lines])
        .env("LC_ALL", "C")
        .current_dir(folder)
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{lines}\n{told}\n{}", String::from_utf8_lossy(&output.stderr));
    told
}

#[test]
fn a_backup_is_restored_by_one_command_and_old_tokens_work() {
    let (here, there) = (Place::new("backup_here"), Place::new("backup_there"));
    let token = backed_up(&here, "b.tar");
    let file = here.path("b.tar");
    assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
    let restored = there.run(&["restore", file.to_str().unwrap()]);
    assert_eq!(restored.code, 0, "{}", restored.err);
    assert!(restored.out.contains("rows beside them restored on"), "{}", restored.out);
    assert!(restored.out.contains("sound:"), "it is proved at once: {}", restored.out);
    assert!(!restored.out.contains("positions follow"), "{}", restored.out);
    let proved = there.run_with_token(&token, &["verify"]);
    assert_eq!(proved.code, 0, "{}", proved.err);
    // What the proof says of the chains is what it says where the backup came from, whose access log has gone on.
    let chains = |out: &str| -> Vec<String> {
        out.lines().filter(|line| !line.ends_with("access log")).map(str::to_owned).collect()
    };
    assert!(chains(&proved.out).len() > 1, "{}", proved.out);
    assert_eq!(chains(&proved.out), chains(&here.run_with_token(&token, &["verify"]).out));
    let again = there.run(&["restore", file.to_str().unwrap()]);
    assert_eq!(again.code, 1);
    assert!(again.err.contains("a backup is restored into an empty one"), "{}", again.err);
}

#[test]
fn a_file_that_is_there_is_written_over_only_on_demand() {
    let place = Place::with_registry("replace");
    place.file("b.tar", "mine");
    let refused = place.run(&["backup", "b.tar"]);
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains("b.tar is there already; --replace writes over it"), "{}", refused.err);
    assert_eq!(std::fs::read(place.path("b.tar")).unwrap(), b"mine");
    let replaced = place.run(&["backup", "b.tar", "--replace"]);
    assert_eq!(replaced.code, 0, "{}", replaced.err);
    let printed = replaced.out.lines().find_map(|line| line.strip_prefix("sha256 ")).unwrap().to_owned();
    assert!(shell(&place.path("."), "sha256sum b.tar").starts_with(&printed));
    assert_eq!(place.run(&["backup", "nowhere/b.tar"]).code, 1);
    assert_eq!(place.run(&["backup"]).code, 2);
}

#[test]
fn the_whole_registry_is_nothing_for_an_account() {
    let place = Place::with_registry("whole");
    let token = backed_up(&place, "b.tar");
    for arguments in [["backup", "c.tar"], ["restore", "b.tar"]] {
        let refused = place.run_with_token(&token, &arguments);
        assert_eq!(refused.code, 1);
        assert!(refused.err.contains("without DOSEWARD_TOKEN"), "{}", refused.err);
    }
    assert!(!place.path("c.tar").exists());
}

#[test]
fn a_file_that_is_no_good_leaves_no_database_behind() {
    let place = Place::new("no_good");
    let other = Place::new("no_good_there");
    backed_up(&place, "b.tar");
    let sound = std::fs::read(place.path("b.tar")).unwrap();
    std::fs::write(other.path("short.tar"), &sound[..sound.len() / 2]).unwrap();
    other.file("notes.txt", "Notes.");
    for (name, told) in [
        ("short.tar", "short.tar: the backup breaks off before its end"),
        ("notes.txt", "notes.txt: the file is no backup of a registry"),
        ("nowhere.tar", "nowhere.tar: No such file"),
    ] {
        let refused = other.run(&["restore", name]);
        assert_eq!(refused.code, 1);
        assert!(refused.err.contains(told), "{}", refused.err);
    }
    assert!(!other.path("registry.sqlite").exists());
}

/// The lines of shell in the documentation, under a heading.
fn documented(heading: &str) -> String {
    let page = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/keeping-the-record.md");
    let page = std::fs::read_to_string(page).unwrap();
    let (_, part) = page.split_once(&format!("## {heading}\n")).unwrap();
    let part = part.split("\n## ").next().unwrap();
    let blocks = part.split("```sh\n").skip(1).map(|block| block.split("```").next().unwrap());
    blocks.collect::<Vec<_>>().join("\n")
}

#[test]
fn a_backup_is_read_without_this_program_as_the_documentation_says() {
    let place = Place::new("stranger");
    let token = backed_up(&place, "registry.tar");
    let lines = documented("Reading a backup without this program");
    assert!(lines.contains("sha256sum --check SHA256SUMS"), "{lines}");
    let told = shell(&place.path("."), &lines);
    assert!(told.contains("manifest.json: OK"), "{told}");
    assert!(told.contains("\"kind\":\"account\""), "{told}");
    // No secret stands in it in clear, packed or unpacked.
    let all = shell(&place.path("."), "cd registry && cat read-me.txt manifest.json && gunzip --stdout *.gz");
    assert!(all.contains("ada@example.org"));
    for secret in [token.as_str(), "correct horse"] {
        assert!(!all.contains(secret));
    }
    assert!(all.contains("$argon2id$"), "the hash of the password is there");
    // An altered byte is seen by the same lines.
    let altered = "cd registry && f=$(ls *-token-secrets.jsonl.gz) && printf x | dd of=$f bs=1 seek=20 conv=notrunc 2>&1 && \
                   { sha256sum --check SHA256SUMS 2>&1 || true; }";
    assert!(shell(&place.path("."), altered).contains("token-secrets.jsonl.gz: FAILED"));
}
