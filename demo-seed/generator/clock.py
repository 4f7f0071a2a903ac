"""Local times with the right offset, minutes between instants, and working days."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo


def day(text):
    """A date from `2024-06-11`."""
    return date.fromisoformat(text)


def instant(on, hhmm, zone):
    """The instant of a wall-clock time at a site."""
    hour, minute = divmod(hhmm, 100)
    return datetime(on.year, on.month, on.day, hour, minute, tzinfo=ZoneInfo(zone))


def later(start, minutes):
    """An instant so many minutes later, in the same zone, right across clock changes."""
    utc = start.astimezone(ZoneInfo("UTC")) + timedelta(minutes=minutes)
    return utc.astimezone(start.tzinfo)


def minutes_between(start, end):
    """Whole minutes between two instants."""
    utc = ZoneInfo("UTC")
    return round((end.astimezone(utc) - start.astimezone(utc)).total_seconds() / 60)


def workdays(first, count):
    """So many Mondays to Fridays from `first` on."""
    found = []
    while len(found) < count:
        if first.weekday() < 5:
            found.append(first)
        first += timedelta(days=1)
    return found


def monday(year, month, from_day):
    """The first Monday on or after a day of a month."""
    found = date(year, month, from_day)
    while found.weekday():
        found += timedelta(days=1)
    return found
