//! A bundle handed over and taken over from the command line, and checked with what every computer has.

use crate::place::Place;
use std::path::Path;
use std::process::Command;

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

/// The lines of shell in the documentation, under a heading.
fn documented(heading: &str) -> String {
    let page = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/handing-the-record-over.md");
    let page = std::fs::read_to_string(page).unwrap();
    let (_, part) = page.split_once(&format!("## {heading}\n")).unwrap();
    let part = part.split("\n## ").next().unwrap();
    let blocks = part.split("```sh\n").skip(1).map(|block| block.split("```").next().unwrap());
    blocks.collect::<Vec<_>>().join("\n")
}

#[test]
fn a_bundle_is_checked_without_this_program_as_the_documentation_says() {
    let place = Place::with_registry("bundle_stranger");
    let written = place.run(&["export", "bundle", "bundle.tar"]);
    assert_eq!(written.code, 0, "{}", written.err);
    let lines = documented("Checking a bundle");
    assert!(lines.contains("openssl pkeyutl -verify"), "{lines}");
    let told = shell(&place.path("."), &lines);
    assert!(told.contains("manifest.json: OK") && told.contains("data/agent.csv: OK"), "{told}");
    assert!(told.contains("Signature Verified Successfully"), "{told}");
    let key = written.out.lines().find_map(|line| line.strip_prefix("signed with the key ")).unwrap();
    assert_eq!(told.matches(key).count(), 2, "{told}");
    assert!(told.contains("id,revision,position,site_id,parent_id,voided,code,"), "{told}");
    // What was printed is what was signed.
    let sums = written.out.lines().find_map(|line| line.strip_prefix("checksums ")).unwrap();
    assert!(shell(&place.path("bundle"), "sha256sum SHA256SUMS").starts_with(sums));
    // An altered byte is seen by the same lines.
    let altered = "printf x | dd of=data/agent.csv bs=1 seek=20 conv=notrunc 2>&1 && { sha256sum --check SHA256SUMS 2>&1 || true; }";
    assert!(shell(&place.path("bundle"), altered).contains("data/agent.csv: FAILED"));
    let forged = "sed -i s/0/1/ SHA256SUMS && { openssl pkeyutl -verify -pubin -inkey public-key.pem -rawin -in SHA256SUMS \
                  -sigfile SHA256SUMS.sig 2>&1 || true; }";
    assert!(shell(&place.path("bundle"), forged).contains("Verification Failure"));
}

#[test]
fn a_bundle_is_taken_over_by_one_command_into_an_empty_registry() {
    let (here, there) = (Place::with_registry("bundle_here"), Place::new("bundle_there"));
    assert_eq!(here.run(&["anchor", "anchor.txt", "--key", "key.pem"]).code, 0);
    let written = here.run(&["export", "bundle", "bundle.tar"]);
    assert_eq!(written.code, 0, "{}", written.err);
    assert_eq!(here.run(&["export", "bundle", "bundle.tar"]).code, 1, "one that is there is left alone");
    let then = here.run(&["export", "bundle", "then.tar", "--as-known-on", "2100-01-01T00:00:00Z"]);
    assert!(
        then.code == 0
            && shell(&here.path("."), "tar -xOf then.tar manifest.json").contains("2100-01-01T00:00:00")
    );
    let lines =
        "SELECT count(*) FROM access_line WHERE request = 'doseward export bundle' AND scope = 'export'";
    assert_eq!(here.count(lines), 2, "who took it stands in the access log");
    let [bundle, key] = ["bundle.tar", "key.pem"].map(|name| here.path(name).display().to_string());
    let looked = there.run(&["import", "bundle", &bundle, "--key", &key, "--dry-run"]);
    assert_eq!(looked.code, 0, "{}", looked.err);
    assert!(looked.out.contains("entries of all, whole"), "{}", looked.out);
    let taken = there.run(&["import", "bundle", &bundle, "--key", &key]);
    assert_eq!(taken.code, 0, "{}", taken.err);
    assert!(taken.out.contains("taken over on") && taken.out.contains("sound:"), "{}", taken.out);
    // The rules that came with it are not entered again.
    let entries = there.count("SELECT count(*) FROM journal_entry");
    assert_eq!(there.run(&["verify"]).code, 0);
    assert_eq!(there.count("SELECT count(*) FROM journal_entry"), entries);
    let again = there.run(&["import", "bundle", &bundle]);
    assert!(again.code == 1 && again.err.contains("into an empty one"), "{}", again.err);
}

#[test]
fn what_goes_with_no_bundle_is_misuse_and_one_that_is_no_good_leaves_no_database() {
    let (here, there) = (Place::with_registry("bundle_misuse"), Place::new("bundle_no_good"));
    assert_eq!(here.run(&["export", "bundle", "bundle.tar"]).code, 0);
    let bundle = here.path("bundle.tar").display().to_string();
    for arguments in [
        vec!["import", "bundle", bundle.as_str(), "--site", "LYN"],
        vec!["import", "lab-report", "r.csv"],
        vec!["import", "lab-report", "r.csv", "--site", "LYN", "--key", "k.pem"],
        vec!["export", "samples", "s.csv", "--site", "LYN"],
        vec!["export", "bundle", "b.tar", "--as-known-on", "2026-01-01"],
    ] {
        assert_eq!(here.run(&arguments).code, 2, "{arguments:?}");
    }
    let nowhere = here.run(&["export", "bundle", "b.tar", "--site", "NOWHERE"]);
    assert!(nowhere.code == 1 && nowhere.err.contains("NOWHERE"), "{}", nowhere.err);
    let sound = std::fs::read(&bundle).unwrap();
    std::fs::write(there.path("short.tar"), &sound[..sound.len() / 2]).unwrap();
    let refused = there.run(&["import", "bundle", "short.tar"]);
    assert!(refused.code == 1 && refused.err.contains("the bundle breaks off"), "{}", refused.err);
    assert!(!there.path("registry.sqlite").exists());
    let tables = "SELECT count(*) FROM information_schema.tables WHERE table_schema = 'public'";
    let tables = if there.url().starts_with("sqlite:") { 0 } else { there.count(tables) };
    assert_eq!(tables, 0, "nor anything in a database that is there");
}

#[test]
fn files_are_read_again_and_nothing_is_changed() {
    let place = Place::with_registry("reparse");
    let done = place.run(&["reparse"]);
    assert_eq!(done.code, 0, "{}", done.err);
    assert!(
        done.out.contains("0 reports and events read again: 0 differences; nothing was changed"),
        "{}",
        done.out
    );
}
