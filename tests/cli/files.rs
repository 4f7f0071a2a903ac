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
