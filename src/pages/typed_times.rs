//! Times as people type them in one field: `07:02–11:31 12:04–14:58`, `0702 1458`, `22:00–06:00`, `07:02 443 min`.

use chrono::{Days, NaiveDate, NaiveTime, TimeDelta, TimeZone as _};
use chrono_tz::Tz;
use serde_json::{Value, json};

/// A time of day that lies this much before the one before it is taken as one of the next day; more is a slip of the pen.
/// (A run and a break of a shift are shorter; our own choice.)
const AHEAD_MOST: i64 = 16 * 60;
const DAY: i64 = 24 * 60;
/// Words that only hold times together.
const BETWEEN: &[&str] = &["to", "till", "until", "and"];

/// What was typed about when a sampler ran. Times are minutes after the midnight with which the shift date begins.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TypedRuns {
    /// Start and end; the last end may be missing.
    pub runs: Vec<(i64, Option<i64>)>,
    /// Minutes by the pump's own counter, where they stand beside whole runs.
    pub minutes: Option<f64>,
}

impl TypedRuns {
    /// Minutes run, by the counter or by the times; nothing where a run has no end, or one before its start.
    pub fn ran(&self) -> Option<f64> {
        let mut last = i64::MIN;
        let mut length = |(start, end): &(i64, Option<i64>)| {
            let end = end.filter(|end| end > start && *start >= last)?;
            last = end;
            Some(end - start)
        };
        let sum = self.runs.iter().map(&mut length).sum::<Option<i64>>();
        #[expect(clippy::cast_precision_loss, reason = "minutes of a few days")]
        self.minutes.or_else(|| sum.filter(|_| !self.runs.is_empty()).map(|sum| sum as f64))
    }
}

impl TypedRuns {
    /// The runs as a request holds them, by the clock of a site; nothing where the clocks jumped over one of the times.
    pub fn at_site(&self, date: NaiveDate, zone: Tz) -> Option<Vec<Value>> {
        let run = |(start, end): &(i64, Option<i64>)| {
            let mut run = json!({"start": instant(date, *start, zone)?});
            if let Some(end) = end {
                run["end"] = json!(instant(date, *end, zone)?);
            }
            Some(run)
        };
        self.runs.iter().map(run).collect()
    }
}

/// An instant of a site's clock; nothing where the clocks jumped over it. Where they show it twice, the first.
fn instant(date: NaiveDate, minutes: i64, zone: Tz) -> Option<String> {
    let days = u64::try_from(minutes.div_euclid(DAY)).ok()?;
    let time = NaiveTime::MIN.overflowing_add_signed(TimeDelta::minutes(minutes.rem_euclid(DAY))).0;
    let local = date.checked_add_days(Days::new(days))?.and_time(time);
    Some(zone.from_local_datetime(&local).earliest()?.to_rfc3339())
}

/// A piece of a text: a time, or minutes.
enum Piece {
    Time(i64),
    Minutes(f64),
}

/// Reads times.
///
/// # Errors
/// The piece that is neither a time nor a number of minutes.
pub fn runs(text: &str) -> Result<TypedRuns, String> {
    let (mut times, mut minutes): (Vec<i64>, Option<f64>) = (Vec::new(), None);
    for piece in pieces(text)? {
        match piece {
            Piece::Time(at) => {
                let before = times.last().copied().unwrap_or_default();
                times.push(after(before, at));
            }
            Piece::Minutes(more) => minutes = Some(minutes.unwrap_or_default() + more),
        }
    }
    let mut runs: Vec<(i64, Option<i64>)> =
        times.chunks(2).map(|pair| (pair[0], pair.get(1).copied())).collect();
    // A start with minutes behind it ends when they are over.
    if let (Some((start, end @ None)), Some(ran)) = (runs.last_mut(), minutes)
        && ran.fract() == 0.0
    {
        #[expect(clippy::cast_possible_truncation, reason = "whole minutes of a few days")]
        let ran = ran as i64;
        *end = Some(*start + ran);
        return Ok(TypedRuns { runs, minutes: None });
    }
    Ok(TypedRuns { runs, minutes })
}

/// Reads a number of minutes: `480 min`, `8 h`, `7 h 30 min`, `480`.
pub fn minutes(text: &str) -> Option<f64> {
    if let Ok(plain) = text.trim().parse::<f64>() {
        return Some(plain).filter(|plain| plain.is_finite());
    }
    let mut sum = None;
    for piece in pieces(text).ok()? {
        match piece {
            Piece::Minutes(more) => sum = Some(sum.unwrap_or_default() + more),
            Piece::Time(_) => return None,
        }
    }
    sum
}

/// A time of day after another: on the same day, or on the next where that is nearer than a slip of the pen.
fn after(before: i64, at: i64) -> i64 {
    let at = before.div_euclid(DAY) * DAY + at;
    if at < before && at + DAY - before <= AHEAD_MOST { at + DAY } else { at }
}

fn pieces(text: &str) -> Result<Vec<Piece>, String> {
    let parts = |c: char| c.is_whitespace() || "-–—−,;/".contains(c);
    let words: Vec<String> =
        text.split(parts).filter(|word| !word.is_empty()).map(str::to_lowercase).collect();
    let mut found = Vec::new();
    let mut rest = words.iter().map(String::as_str).peekable();
    while let Some(word) = rest.next() {
        if BETWEEN.contains(&word) {
            continue;
        }
        let (number, mut unit) =
            word.split_at(word.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(word.len()));
        if unit.is_empty()
            && let Some(next) = rest.peek().filter(|next| per(next).is_some())
        {
            unit = next;
        }
        if let (Some(per), Ok(number)) = (per(unit), number.parse::<f64>()) {
            if word.len() == number_length(word) {
                rest.next();
            }
            found.push(Piece::Minutes(number * per));
        } else {
            found.push(Piece::Time(time(word).ok_or_else(|| word.to_owned())?));
        }
    }
    Ok(found)
}

fn number_length(word: &str) -> usize {
    word.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(word.len())
}

/// Minutes in a unit of time.
fn per(unit: &str) -> Option<f64> {
    match unit {
        "min" | "mins" | "minute" | "minutes" => Some(1.0),
        "h" | "hr" | "hrs" | "hour" | "hours" => Some(60.0),
        _ => None,
    }
}

/// `7:02`, `07:02` or `0702`, as minutes after midnight.
fn time(word: &str) -> Option<i64> {
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    let (hours, minutes) = match word.split_once(':') {
        Some(parts) => parts,
        None if word.len() == 4 && word.is_ascii() => word.split_at(2),
        None => return None,
    };
    if !(1..=2).contains(&hours.len()) || minutes.len() != 2 || !digits(hours) || !digits(minutes) {
        return None;
    }
    let (hours, minutes): (i64, i64) = (hours.parse().ok()?, minutes.parse().ok()?);
    (hours < 24 && minutes < 60).then_some(hours * 60 + minutes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ran(text: &str) -> Option<f64> {
        runs(text).unwrap().ran()
    }

    #[test]
    fn times_are_read_however_they_are_joined() {
        let two = vec![(422, Some(691)), (724, Some(898))];
        for text in [
            "07:02–11:31 12:04–14:58",
            "7:02-11:31, 12:04-14:58",
            "0702 1131 1204 1458",
            "07:02 to 11:31; 12:04 to 14:58",
        ] {
            assert_eq!(runs(text).unwrap(), TypedRuns { runs: two.clone(), minutes: None }, "{text}");
        }
        assert_eq!(ran("07:02–11:31 12:04–14:58"), Some(443.0));
        assert_eq!(runs("  ").unwrap(), TypedRuns::default());
        assert_eq!(ran(""), None);
    }

    #[test]
    fn a_night_shift_goes_on_into_the_next_day_and_a_slip_of_the_pen_does_not() {
        assert_eq!(runs("22:00–06:00").unwrap().runs, [(1320, Some(1800))]);
        assert_eq!(runs("22:00–01:30 02:00–06:00").unwrap().runs, [(1320, Some(1530)), (1560, Some(1800))]);
        // The second run would take 23 hours and 24 minutes.
        let slip = runs("07:18–11:32 12:40–12:04").unwrap();
        assert_eq!((slip.runs[1], slip.ran()), ((760, Some(724)), None));
    }

    #[test]
    fn minutes_end_a_run_that_has_no_end_and_stand_beside_one_that_has() {
        assert_eq!(runs("07:02 443 min").unwrap().runs, [(422, Some(865))]);
        let counted = runs("07:02–14:58 443min").unwrap();
        assert_eq!((counted.ran(), counted.minutes), (Some(443.0), Some(443.0)));
        assert_eq!(runs("07:02–").unwrap().runs, [(422, None)]);
        assert_eq!(
            [minutes("480 min"), minutes("8 h"), minutes("7h 30min"), minutes("480")],
            [480.0, 480.0, 450.0, 480.0].map(Some)
        );
        assert_eq!([minutes("07:30"), minutes("long"), minutes("")], [None, None, None]);
    }

    #[test]
    fn what_is_no_time_is_named() {
        assert_eq!(runs("07:02–25:00"), Err("25:00".into()));
        assert_eq!(runs("seven"), Err("seven".into()));
        assert_eq!(runs("07:02 443"), Err("443".into()));
        assert_eq!(runs("7:2–8:00"), Err("7:2".into()));
    }
}
