//! Files taken in from the command line, and misuse of it.

use crate::place::Place;

#[test]
fn what_cannot_be_meant_leaves_with_2_and_what_cannot_be_done_with_1() {
    let place = Place::with_registry("misuse");
    assert_eq!(place.run(&[]).code, 2);
    assert_eq!(place.run(&["dance"]).code, 2);
    assert_eq!(place.run(&["import", "songs", "x.json", "--site", "A"]).code, 2);
    let missing = place.run(&["import", "lab-report", "missing.csv", "--site", "A"]);
    assert_eq!(missing.code, 1);
    assert!(missing.err.contains("missing.csv"), "{}", missing.err);
    assert_eq!(place.run(&["--version"]).code, 0);
}

#[test]
fn a_report_of_an_unknown_site_and_a_file_that_is_no_json_are_refused_by_name() {
    let place = Place::with_registry("import");
    let report = place.file("report.csv", "sample_number,agent,value,unit,reporting_limit\n");
    let nowhere = place.run(&["import", "lab-report", &report, "--site", "NOWHERE"]);
    assert_eq!(nowhere.code, 1);
    assert!(nowhere.err.contains("NOWHERE"), "{}", nowhere.err);
    let events = place.file("events.json", "[{]");
    let unreadable = place.run(&["import", "sampling-events", &events, "--site", "NOWHERE"]);
    assert_eq!(unreadable.code, 1);
    assert!(unreadable.err.contains("is not JSON"), "{}", unreadable.err);
}

#[test]
fn a_file_is_taken_out_whole_or_not_at_all() {
    let place = Place::with_registry("export");
    let path = |name: &str| place.path(name).display().to_string();
    let taken = place.run(&["export", "journal", &path("journal.csv")]);
    assert_eq!(taken.code, 0, "{}", taken.err);
    let text = std::fs::read_to_string(place.path("journal.csv")).unwrap();
    let entries = usize::try_from(place.count("SELECT count(*) FROM journal_entry")).unwrap();
    assert!(entries > 500, "more than one part: {entries}");
    assert_eq!(text.lines().count(), entries + 1);
    assert!(text.starts_with("position,ordinal,chain,place,at,"), "{}", &text[..80]);
    assert!(taken.out.contains(&format!("{entries} rows")), "{}", taken.out);
    assert!(!place.path("journal.csv.part").exists());
    for (dataset, columns) in [("histories", "worker_id,worker_name,"), ("duties", "duty_id,kind,")] {
        let file = path(dataset);
        let taken = place.run(&["export", dataset, &file, "--as-known-on", "2026-01-01T00:00:00Z"]);
        assert_eq!(taken.code, 0, "{}", taken.err);
        let text = std::fs::read_to_string(&file).unwrap();
        assert!(text.starts_with(columns) && text.lines().count() == 1, "{text}");
    }
    let nowhere = place.run(&["export", "histories", &path("no/such/folder.csv")]);
    assert_eq!(nowhere.code, 1);
    assert!(nowhere.err.contains("folder.csv"), "{}", nowhere.err);
}
