//! A calendar of due dates after RFC 5545: one event a day long for each.

use crate::conclusions::due_date::DueDate;
use icalendar::{Calendar, Class, Component, Event, EventLike, EventStatus, Property};

/// What every entry says beside its title.
const CAUTION: &str = "A date as the clause appears to ask for it. The registry has the clause, its edition and the facts behind it; the law in force and a licensed professional decide.";

/// Writes the calendar.
pub fn write(dates: &[DueDate]) -> String {
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    calendar.append_property(Property::new("PRODID", "-//Doseward//due dates//EN"));
    calendar.name("Due dates").ttl(&chrono::Duration::hours(12));
    for date in dates {
        let mut event = Event::with_uid(&format!("{}@doseward", date.id));
        event
            .timestamp(date.changed_at)
            .last_modified(date.changed_at)
            .sequence(u32::try_from(date.sequence).unwrap_or_default())
            .all_day(date.due_on)
            .summary(&date.title)
            .description(CAUTION)
            .class(Class::Private)
            .status(if date.cancelled { EventStatus::Cancelled } else { EventStatus::Confirmed })
            .add_property("TRANSP", "TRANSPARENT");
        calendar.push(event.done());
    }
    calendar.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    // RFC 5545 (September 2009): 3.1 lines of at most 75 octets end in CRLF; 3.6.1 UID and DTSTAMP; 3.8.1.11 STATUS;
    // 3.3.11 commas and semicolons in text are escaped.
    #[test]
    fn an_entry_is_a_day_with_a_lasting_identifier() {
        let date = DueDate {
            id: Uuid::from_u128(7),
            sequence: 2,
            changed_at: "2026-03-02T08:30:00Z".parse().unwrap(),
            due_on: "2026-03-31".parse().unwrap(),
            title: "Air to be sampled again, ALD-G01; and a title long enough that its line has to be folded"
                .into(),
            cancelled: false,
        };
        let text = write(&[date.clone(), DueDate { cancelled: true, ..date }]);
        let unfolded = text.replace("\r\n ", "");
        let lines: Vec<&str> = unfolded.split("\r\n").collect();
        for line in [
            "BEGIN:VCALENDAR",
            "VERSION:2.0",
            "UID:00000000-0000-0000-0000-000000000007@doseward",
            "SEQUENCE:2",
            "DTSTAMP:20260302T083000Z",
            "DTSTART;VALUE=DATE:20260331",
            "STATUS:CONFIRMED",
            "STATUS:CANCELLED",
            "END:VCALENDAR",
        ] {
            assert!(lines.contains(&line), "{line} is missing in\n{text}");
        }
        assert!(unfolded.contains(r"SUMMARY:Air to be sampled again\, ALD-G01\; and"), "{text}");
        assert!(text.split("\r\n").all(|line| line.len() <= 75), "{text}");
        assert_eq!(text.matches("BEGIN:VEVENT").count(), 2);
    }
}
