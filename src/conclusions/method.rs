//! What a sampling method asks of the volume of air and of the time until analysis: the table `rules/methods.csv`.
//!
//! What lies outside is flagged and used all the same: the laboratory and the hygienist judge it.

use crate::model::facts::agent::Verification;
use crate::model::facts::sampling::Sample;
use crate::model::rounding::significant;
use crate::record;
use crate::surveillance::pack::table;
use chrono::{Days, NaiveDate, NaiveTime};
use std::sync::LazyLock;

record! {
    /// A row of the table; an empty cell asks for nothing.
    pub struct MethodRow {
        /// The publisher and number.
        method: String,
        /// Which edition was read.
        edition: Option<String>,
        /// The least volume, litres.
        volume_min_l: Option<f64>,
        /// The largest volume, litres.
        volume_max_l: Option<f64>,
        /// Hours from the end of sampling within which the sample is analysed.
        holding_hours: Option<f64>,
        /// Where this is written.
        source: String,
        /// Whether that was read.
        verification: Verification,
    }
}

static METHODS: LazyLock<Vec<MethodRow>> = LazyLock::new(|| {
    table::rows(include_str!("../../rules/methods.csv"))
        .expect("the table was compiled in, and a test reads every row")
});

/// The rows that the text names: publisher and number must both stand in it, however they are joined
/// (`NIOSH 7605`, `niosh method 7605, issue 1`, `OSHA ID103`).
fn named(text: &str) -> impl Iterator<Item = &'static MethodRow> {
    let said = parts(text);
    METHODS.iter().filter(move |row| parts(&row.method).iter().all(|part| said.contains(part)))
}

/// Runs of letters and runs of digits, in small letters.
fn parts(text: &str) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    let mut before: Option<char> = None;
    for letter in text.chars().flat_map(char::to_lowercase) {
        if letter.is_alphanumeric() {
            let joins = |one: char| one.is_alphanumeric() && one.is_numeric() == letter.is_numeric();
            match parts.last_mut() {
                Some(part) if before.is_some_and(joins) => part.push(letter),
                _ => parts.push(letter.to_string()),
            }
        }
        before = Some(letter);
    }
    parts
}

/// Whether a volume in litres lies outside what the sample's method asks for; a method not in the table asks nothing.
pub fn volume_outside(sample: &Sample, litres: f64) -> bool {
    let litres = significant(litres);
    sample.method.iter().flat_map(|method| named(method.as_str())).any(|row| {
        row.volume_min_l.is_some_and(|least| litres < least)
            || row.volume_max_l.is_some_and(|most| litres > most)
    })
}

/// Whether a sample was analysed later than its method allows.
///
/// The analysis has a date only: its first moment counts (00:00 UTC), from the last end of sampling, or where no end is
/// stated from the end of the shift date, so that a doubtful case is not flagged.
pub fn analysed_late(sample: &Sample, analysed_on: NaiveDate) -> bool {
    let ends = sample.runs.iter().flatten().filter_map(|run| run.end);
    let day_after = || sample.shift_date.checked_add_days(Days::new(1));
    let ended = ends.max().map(|end| end.naive_utc()).or_else(|| Some(day_after()?.and_time(NaiveTime::MIN)));
    let held = ended.map(|ended| (analysed_on.and_time(NaiveTime::MIN) - ended).as_seconds_f64() / 3600.0);
    sample
        .method
        .iter()
        .flat_map(|method| named(method.as_str()))
        .any(|row| row.holding_hours.zip(held).is_some_and(|(allowed, held)| significant(held) > allowed))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::{date, sample};
    use serde_json::{Value, json};

    fn of_method(method: &str, change: &Value) -> Sample {
        let base = json!({"method": method});
        sample(50, &crate::conclusions::invented::with(base, change)).fact
    }

    #[test]
    fn every_row_is_read_and_names_itself() {
        assert_eq!(METHODS.len(), 5);
        for row in METHODS.iter() {
            assert_eq!(named(&row.method).collect::<Vec<_>>(), [row]);
        }
    }

    #[test]
    fn a_method_is_found_however_its_number_is_joined_and_never_by_part_of_it() {
        for text in ["NIOSH 7605", "niosh method 7605, issue 1", "NIOSH-7605", "NIOSH7605"] {
            assert_eq!(named(text).count(), 1, "{text}");
        }
        assert_eq!(named("OSHA ID103").count(), 1);
        for text in ["7605", "NIOSH 76055", "NIOSH 7300", "OSHA 103", "OSHA ID-1030"] {
            assert_eq!(named(text).count(), 0, "{text}");
        }
    }

    // NIOSH 7605 and 7600, front pages: at most 400 L; NIOSH 7703, front page: 54 to 1200 L; OSHA ID-103 (older): 30 to
    // 960 L (from memory); OSHA ID-215 (first version): 960 L recommended, no maximum.
    #[test]
    fn a_volume_is_outside_a_method_beyond_its_ends_only() {
        let outside = |method: &str, litres: f64| volume_outside(&of_method(method, &json!({})), litres);
        for method in ["NIOSH 7605", "NIOSH 7600"] {
            assert!(!outside(method, 400.0) && outside(method, 400.1), "{method}");
        }
        assert!(outside("NIOSH 7703", 53.9) && !outside("NIOSH 7703", 54.0));
        assert!(!outside("NIOSH 7703", 1200.0) && outside("NIOSH 7703", 1200.1));
        assert!(
            outside("OSHA ID-103", 29.9) && !outside("OSHA ID-103", 960.0) && outside("OSHA ID-103", 960.1)
        );
        assert!(!outside("OSHA ID-215", 1500.0));
        assert!(
            !outside("Some other method", 5000.0) && !volume_outside(&sample(50, &json!({})).fact, 5000.0)
        );
    }

    // NIOSH 7703, front page: analyse within 24 h. From when a date counts is this registry's rule.
    #[test]
    fn a_sample_is_analysed_late_when_even_the_first_moment_of_the_day_is_too_late() {
        let runs = json!({"runs": [{"start": "2026-03-02T14:00:00Z", "end": "2026-03-02T22:00:00Z"}]});
        let late =
            |method: &str, change: &Value, on: &str| analysed_late(&of_method(method, change), date(on));
        // 2 h and 26 h after the end.
        assert!(!late("NIOSH 7703", &runs, "2026-03-03") && late("NIOSH 7703", &runs, "2026-03-04"));
        // Without an end from the end of 2 March: 24 h and 48 h.
        assert!(
            !late("NIOSH 7703", &json!({}), "2026-03-04") && late("NIOSH 7703", &json!({}), "2026-03-05")
        );
        assert!(!late("NIOSH 7605", &runs, "2026-06-01"));
    }
}
