//! Every text that is used is in the catalogue, and every text of the catalogue is used.

use super::*;
use crate::conclusions::history::basis::{Basis, GapKind};
use crate::hygiene::control_effect::TargetAnswer;
use crate::hygiene::en_689::{Outcome, Stage};
use crate::hygiene::profile::ProfileMethod;
use crate::hygiene::sufficiency::Sufficiency;
use crate::model::facts::account::{Role, TokenUse};
use crate::model::facts::agent::LimitKind;
use crate::model::facts::control::ControlKind;
use crate::model::facts::duty::{DutyActionKind, DutyKind, DutyStatus};
use crate::model::facts::laboratory::{BlankCorrected, HeldRowStatus, ResultStatus};
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::sampling::{Covers, NoiseCriterion, Position, Purpose, SampleOutcome, SamplerKind};
use crate::model::facts::standing_move::{Averaging, StandingValue};
use crate::pages::{stopped, table};
use fluent_syntax::ast::Entry;
use std::borrow::Cow;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Families of texts whose keys are put together, and the words of each.
fn families() -> Vec<(&'static str, Vec<&'static str>)> {
    vec![
        ("role", Role::ALL.iter().map(|one| one.as_str()).collect()),
        ("duty-kind", DutyKind::ALL.iter().map(|one| one.as_str()).collect()),
        ("duty-status", DutyStatus::ALL.iter().map(|one| one.as_str()).collect()),
        ("duty-action", DutyActionKind::ALL.iter().map(|one| one.as_str()).collect()),
        ("standing", StandingValue::ALL.iter().map(|one| one.as_str()).collect()),
        ("verdict", crate::hygiene::control_effect::Verdict::ALL.iter().map(|one| one.as_str()).collect()),
        ("field", vec!["duty", "action", "on", "note"]),
        ("en-689", Outcome::ALL.iter().map(|one| one.as_str()).collect()),
        ("en-689-stage", Stage::ALL.iter().map(|one| one.as_str()).collect()),
        ("criterion", NoiseCriterion::ALL.iter().map(|one| one.as_str()).collect()),
        ("averaging", Averaging::ALL.iter().map(|one| one.as_str()).collect()),
        ("profile-by", ProfileMethod::ALL.iter().map(|one| one.as_str()).collect()),
        ("control-kind", ControlKind::ALL.iter().map(|one| one.as_str()).collect()),
        ("target", TargetAnswer::ALL.iter().map(|one| one.as_str()).collect()),
        ("sufficiency", Sufficiency::ALL.iter().map(|one| one.as_str()).collect()),
        ("entry", entry_fields()),
        ("fact", vec!["group", "task", "calibrated_on"]),
        ("position", Position::ALL.iter().map(|one| one.as_str()).collect()),
        ("purpose", Purpose::ALL.iter().map(|one| one.as_str()).collect()),
        ("covers", Covers::ALL.iter().map(|one| one.as_str()).collect()),
        ("outcome", SampleOutcome::ALL.iter().map(|one| one.as_str()).collect()),
        ("sampler", SamplerKind::ALL.iter().map(|one| one.as_str()).collect()),
        ("result-status", ResultStatus::ALL.iter().map(|one| one.as_str()).collect()),
        ("held", HeldRowStatus::ALL.iter().map(|one| one.as_str()).collect()),
        ("lab", crate::pages::lab_draft::HEAD.to_vec()),
        ("lab-column", crate::registry::facts::laboratory_csv::COLUMNS.to_vec()),
        ("sample-field", vec!["reason", "agent_code", "sample_number"]),
        (
            "deed",
            vec![
                "recorded",
                "corrected",
                "voided",
                "voiding_withdrawn",
                "accepted",
                "replaced",
                "stands_again",
                "chosen_to_stand",
            ],
        ),
        (
            "correct-field",
            crate::pages::correction_fields::ALL
                .iter()
                .flat_map(|all| all.iter().map(|field| field.name))
                .chain(["reason"])
                .collect(),
        ),
        ("figure-position", Position::ALL.iter().map(|one| one.as_str()).collect()),
        ("figure-duty", DutyStatus::ALL.iter().map(|one| one.as_str()).collect()),
        ("basis", Basis::ALL.iter().map(|one| one.as_str()).collect()),
        ("gap", GapKind::ALL.iter().map(|one| one.as_str()).collect()),
        ("limit-kind", LimitKind::ALL.iter().map(|one| one.as_str()).collect()),
        ("fact-kind", crate::store::tables::TABLES.iter().map(|table| table.kind).collect()),
        ("rule-set", RuleSet::ALL.iter().map(|one| one.as_str()).collect()),
        ("blank-corrected", BlankCorrected::ALL.iter().map(|one| one.as_str()).collect()),
        ("token-use", TokenUse::ALL.iter().map(|one| one.as_str()).collect()),
    ]
}

/// The fields of the form of a sampling event.
fn entry_fields() -> Vec<&'static str> {
    use crate::pages::entry_form::{DAY, GRID, MORE};
    [DAY, GRID, MORE].concat()
}

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { files(&path, found) } else { found.push(path) }
    }
}

/// The keys that templates and handlers name, and those of the families.
fn used() -> BTreeSet<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut paths = Vec::new();
    files(&root.join("templates/pages"), &mut paths);
    files(&root.join("src/pages"), &mut paths);
    let mut keys = BTreeSet::new();
    for path in paths
        .iter()
        .filter(|path| !path.ends_with("texts/tests.rs") && path.extension() != Some("ftl".as_ref()))
    {
        let text = std::fs::read_to_string(path).unwrap_or_default();
        for quoted in text.split('"').skip(1).step_by(2) {
            keys.insert(quoted.to_owned());
        }
        // Templates hold quotes of HTML too, so that every second one may be another: look at both.
        for quoted in text.split('"').step_by(2) {
            keys.insert(quoted.to_owned());
        }
    }
    for (family, words) in families() {
        keys.extend(words.iter().map(|word| format!("{family}-{}", word.replace('_', "-"))));
    }
    for kind in stopped::KINDS {
        keys.extend(["title", "happened", "kept", "do"].map(|part| format!("stopped-{kind}-{part}")));
    }
    // `?said=` names them without their family.
    let said: Vec<String> = paths
        .iter()
        .filter_map(|path| std::fs::read_to_string(path).ok())
        .flat_map(|text| {
            let keys = text.split("said=").skip(1).map(|rest| {
                rest.chars().take_while(|c| c.is_ascii_lowercase() || *c == '-').collect::<String>()
            });
            keys.map(|key| format!("said-{key}")).collect::<Vec<_>>()
        })
        .collect();
    keys.extend(said);
    keys
}

fn catalogue() -> BTreeSet<String> {
    let resource = FluentResource::try_new(ENGLISH.to_owned()).map_err(|(_, faults)| faults).unwrap();
    let message = |entry: &Entry<&str>| match entry {
        Entry::Message(message) => Some(message.id.name.to_owned()),
        _ => None,
    };
    let keys: Vec<String> = resource.entries().filter_map(message).collect();
    let once: BTreeSet<String> = keys.iter().cloned().collect();
    assert_eq!(keys.len(), once.len(), "a key stands twice");
    once
}

/// What is asked for by `t("…")`, `n("…"`, `w("…"` and their kin, in templates and handlers.
fn asked_for() -> BTreeSet<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut paths = Vec::new();
    files(&root.join("templates/pages"), &mut paths);
    files(&root.join("src/pages"), &mut paths);
    let mut keys = BTreeSet::new();
    // Charts are drawn from what they are handed, and ask for no text by its key.
    let asks = |path: &&PathBuf| {
        !path.ends_with("texts/tests.rs") && !path.starts_with(root.join("src/pages/charts"))
    };
    for path in paths.iter().filter(asks) {
        let text = std::fs::read_to_string(path).unwrap_or_default();
        for call in [
            ".t(\"",
            ".n(\"",
            ".w(\"",
            ".with(\"",
            ".with_number(\"",
            ".in_menu(\"",
            "Frame::of(pages, visit, \"",
        ] {
            for rest in text.split(call).skip(1) {
                let key = rest.split('"').next().unwrap_or_default();
                // What stands in words is no key: figures are told with what they say.
                if !key.contains(['{', ' ']) && !key.is_empty() {
                    keys.insert(key.to_owned());
                }
            }
        }
    }
    keys
}

#[test]
fn every_text_that_is_asked_for_is_in_the_catalogue() {
    let there = catalogue();
    let mut missing: Vec<String> = asked_for().into_iter().filter(|key| !there.contains(key)).collect();
    for (family, words) in families() {
        let keys = words.iter().map(|word| format!("{family}-{}", word.replace('_', "-")));
        missing.extend(keys.filter(|key| !there.contains(key)));
    }
    for kind in stopped::KINDS {
        let parts = ["title", "happened", "kept", "do"].map(|part| format!("stopped-{kind}-{part}"));
        missing.extend(parts.into_iter().filter(|key| !there.contains(key)));
    }
    missing.extend(
        table::pages()
            .iter()
            .filter_map(|page| page.menu)
            .filter(|key| !there.contains(*key))
            .map(str::to_owned),
    );
    assert!(missing.is_empty(), "not in the catalogue: {missing:#?}");
}

#[test]
fn every_text_of_the_catalogue_is_used() {
    let used = used();
    let idle: Vec<String> = catalogue().into_iter().filter(|key| !used.contains(key)).collect();
    assert!(idle.is_empty(), "in the catalogue and nowhere used: {idle:#?}");
}

#[test]
fn a_number_decides_on_the_form_and_is_told_with_its_thousands_apart() {
    let texts =
        Texts::read("en", "shifts = { $n ->\n    [one] one shift\n   *[other] { $count } shifts\n }\n");
    assert_eq!(texts.n("shifts", 1), "one shift");
    assert_eq!(texts.n("shifts", 2_148), "2\u{202f}148 shifts");
    assert_eq!(texts.word("shifts", "not_there"), "not there");
}

/// A language that nobody speaks, longer by a third: what is not in the catalogue stays as it is and shows.
#[test]
fn a_language_that_nobody_speaks_reaches_every_text() {
    let mut texts = Texts::read("en", ENGLISH);
    texts.bundle.set_transform(Some(|text| {
        Cow::Owned(format!("[{}{}]", text, "~".repeat(text.chars().count() / 3)))
    }));
    for key in catalogue() {
        let put_in = [
            ("what", "x"),
            ("day", "x"),
            ("entry", "x"),
            ("who", "x"),
            ("by", "x"),
            ("n", "1"),
            ("count", "1"),
        ];
        let text = texts.with(&key, &put_in);
        assert!(text.contains('[') || text == "x", "{key}: {text}");
    }
}
