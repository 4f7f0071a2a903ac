//! The list of the rules that the program does not evaluate, each with its reason: made from the rules, not typed.
//!
//! One section for each table of rules; a new one is a new entry in [`sections`].

use doseward::surveillance::monitoring::not_evaluated::not_evaluated as monitoring;
use doseward::surveillance::not_evaluated::{
    LeftToPeople, left_as_notes, not_evaluated as surveillance, records_left_alone, respirators_left_alone,
};
use doseward::surveillance::pack::Pack;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// The rows of a table that are not evaluated.
struct Section {
    title: &'static str,
    said: &'static str,
    rows: Vec<Row>,
}

struct Row {
    rule_id: String,
    agent_code: String,
    clause: String,
    reason: String,
}

fn sections() -> Vec<Section> {
    let rows = |left: Vec<LeftToPeople>| {
        let row = |left: LeftToPeople| Row {
            rule_id: left.row,
            agent_code: left.agent_code,
            clause: left.clause,
            reason: left.why,
        };
        left.into_iter().map(row).collect()
    };
    let of_monitoring = monitoring(Pack::built_in()).expect("every row is read or has a reason");
    let of_monitoring = of_monitoring.into_iter().map(|row| Row {
        rule_id: row.rule_id,
        agent_code: row.agent_code,
        clause: row.clause,
        reason: row.reason,
    });
    vec![
        Section {
            title: "Medical surveillance",
            said: "Rows of `surveillance_triggers.csv`.",
            rows: rows(surveillance(Pack::built_in())),
        },
        Section {
            title: "Medical surveillance: what is left to people in rows that are evaluated",
            said: "Clauses of which something depends on what is not kept here: findings, age, a reassignment. What the \
                   program reads in these rows stands in `surveillance_details.csv`, with where it was read.",
            rows: rows(left_as_notes(Pack::built_in())),
        },
        Section {
            title: "Monitoring, notices and controls",
            said: "Rows of `monitoring_triggers.csv` and `controls.csv`. What the program reads in the others stands in \
                   `monitoring_readings.csv`, with where it was read.",
            rows: of_monitoring.collect(),
        },
        Section {
            title: "Records",
            said: "Rows of `records.csv` that set no date here. The others say until when exposure and medical records are kept, \
                   and by when a request for them is answered.",
            rows: rows(records_left_alone(Pack::built_in())),
        },
        Section {
            title: "Respirators",
            said: "Notes of `respirators.csv`. An assigned protection factor is used as it is recorded for a control; whether \
                   these allow it is for people to say.",
            rows: rows(respirators_left_alone(Pack::built_in())),
        },
    ]
}

/// The page from its sections.
fn page(sections: &[Section]) -> String {
    let mut page = "# Rules that are not evaluated\n\nThe tables under `rules/us-osha` hold more than the program \
        can turn into a date, a standing or a duty. Every row that it leaves alone is listed here with the reason, so that \
        nobody takes silence for \"nothing is asked\". The law in force and licensed professionals come first.\n\nThis page is \
        written by `DOSEWARD_WRITE_DOCS=1 cargo test --test documentation`; the test fails where it is out of date.\n"
        .to_owned();
    for section in sections {
        let _ = write!(page, "\n## {}\n\n{}\n\n", section.title, section.said);
        page.push_str("| row | agent | clause | why not |\n| --- | --- | --- | --- |\n");
        for Row { rule_id, agent_code, clause, reason } in &section.rows {
            let _ = writeln!(page, "| {rule_id} | {agent_code} | {clause} | {reason} |");
        }
    }
    page.push_str(TABLES_NOT_READ);
    page
}

/// Whole tables that stand in the repository as references alone.
const TABLES_NOT_READ: &str = "\n## Tables that are not read\n\n\
    * `noise.csv`: parameters and tables of 29 CFR 1910.95, with a check of each printed value against its formula. The program \
    computes by the formulas, not from the tables; the rows on training, notices of a threshold shift (within 21 days) and \
    protectors are left to people.\n\
    * `formulas.csv`: formulas that the sections print. The program has its own, each with its source; the lower lead limit of a \
    shift over eight hours (29 CFR 1910.1025(c)(2): 400 divided by the hours) is computed where it is asked for, and standings, \
    notices and plans are held against 50 ug/m3 over eight hours.\n";

fn path() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/rules-not-evaluated.md")
}

#[test]
fn the_list_of_rules_that_are_not_evaluated_is_what_the_rules_say() {
    let anew = page(&sections());
    if std::env::var_os("DOSEWARD_WRITE_DOCS").is_some() {
        std::fs::write(path(), &anew).expect("the page can be written");
    }
    let written = std::fs::read_to_string(path()).unwrap_or_default();
    assert!(written == anew, "DOSEWARD_WRITE_DOCS=1 cargo test --test documentation writes the list anew");
}

#[test]
fn no_cell_breaks_the_table_and_every_row_has_a_reason() {
    for row in sections().iter().flat_map(|section| &section.rows) {
        for cell in [&row.rule_id, &row.agent_code, &row.clause, &row.reason] {
            assert!(!cell.is_empty() && !cell.contains(['|', '\n']), "{}: {cell}", row.rule_id);
        }
    }
}
