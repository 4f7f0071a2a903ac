//! Numbers and days as pages tell them.

use chrono::{DateTime, NaiveDate, Utc};

/// A day: `28 Nov 2026`. The months are written in English until there is a second language.
pub fn day(day: NaiveDate) -> String {
    day.format("%-d %b %Y").to_string()
}

/// An instant to the minute, in UTC.
pub fn instant(at: DateTime<Utc>) -> String {
    at.format("%-d %b %Y, %H:%M UTC").to_string()
}

/// A whole number with a narrow space between thousands.
pub fn count(number: i64) -> String {
    let digits = number.unsigned_abs().to_string();
    let mut text = String::new();
    for (n, digit) in digits.chars().enumerate() {
        if n > 0 && (digits.len() - n).is_multiple_of(3) {
            text.push('\u{202f}');
        }
        text.push(digit);
    }
    if number < 0 { format!("−{text}") } else { text }
}

/// A word of the API as people read it.
pub fn words(word: &str) -> String {
    word.replace('_', " ")
}

/// The same with a capital at its head.
pub fn heading(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_stand_apart_and_days_are_told_with_the_month_in_letters() {
        assert_eq!(count(41_882), "41\u{202f}882");
        assert_eq!((count(7), count(-1_000)), ("7".into(), "−1\u{202f}000".into()));
        assert_eq!(day(NaiveDate::from_ymd_opt(2026, 3, 2).unwrap()), "2 Mar 2026");
    }
}
