"""A schedule as an iCalendar file: an event with an alarm for each time somebody must be there.

RFC 5545: lines end in CRLF and hold at most 75 octets; every event has UID and DTSTAMP. Times
carry the kitchen's zone, and the file carries the zone's rules (VTIMEZONE), so that reminders
come right on a phone in another zone and across a change of the clock.
"""

from collections import Counter
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from kit import words
from kit.errors import InputError
from kit.plan.timetable import clock

if TYPE_CHECKING:
    import icalendar

    from kit.plan.timetable.scheduled import Schedule
    from kit.plan.timetable.steps import Step

__all__ = ["calendar_text"]

_SUMMARY = {
    "mix": "Mix dough {dough}",
    "chill": "Dough {dough} into the refrigerator",
    "shape": "Shape dough {dough}",
    "heat": "Heat the griddle",
    "load": "Load {load} on the griddle",
    "table": "On the table",
}
#: A step that takes no time is shown as lasting so many minutes: some calendars hide it otherwise.
_MOMENT = 5


def calendar_text(
    schedule: "Schedule",
    title: str = "Bake",
    alarm_minutes: int = 10,
    made_at: datetime | None = None,
) -> str:
    r"""Write a schedule as iCalendar text.

    Parameters
    ----------
    title : str
        In front of every event's name.
    alarm_minutes : int
        How long before each step the alarm rings; 0 is at its start.
    made_at : datetime, optional
        DTSTAMP, aware; now when not given.

    Returns
    -------
    str
        With CRLF: keep it when writing, ``Path("bake.ics").write_text(text, newline="")``.
        A step keeps its UID as long as title, bake and day stay the same, so that importing a
        changed plan again moves its events instead of doubling them.

    Raises
    ------
    InputError
        An alarm before which nobody can hear it, or a `made_at` without a zone.
    """
    import icalendar

    if not 0 <= alarm_minutes <= 7 * 1440:
        rule = "must lie between 0 and 10080, which is a week"
        raise InputError("alarm_minutes", alarm_minutes, rule, "Enter minutes before each step.")
    stamp = datetime.now(UTC) if made_at is None else made_at
    if stamp.tzinfo is None:
        raise InputError("made_at", str(made_at), "has no time zone", "Give it in UTC.")
    stamp = stamp.astimezone(UTC).replace(microsecond=0)
    book = icalendar.Calendar()
    book.add("prodid", "-//bake-trial-kit//schedule//EN")
    book.add("version", "2.0")
    book.add("calscale", "GREGORIAN")
    seen: Counter[tuple[str, str, str]] = Counter()
    for step in schedule.steps:
        if step.told:
            seen[kind := (step.what, step.dough, step.load)] += 1  # a dough may be shaped in parts
            book.add_component(_event(schedule, step, seen[kind], title, alarm_minutes, stamp))
    year = timedelta(days=366)
    first, last = (
        clock.local(m, schedule.zone) for m in (schedule.times.start, schedule.times.table)
    )
    book.add_missing_timezones(first_date=(first - year).date(), last_date=(last + year).date())
    for observance in (o for zone in book.walk("VTIMEZONE") for o in zone.subcomponents):
        _true_onset(observance, schedule.zone)
    return str(book.to_ical(), "utf-8")


def _true_onset(observance: Any, zone: ZoneInfo) -> None:
    """Put the onset of summer time where RFC 5545, 3.6.5 wants it: in the time before it.

    icalendar 7.3.2 writes 03:00 for the clock that is put forward at 02:00, so that a strict
    reader is an hour off for an hour. Left alone where the zone itself says that it is right.
    """
    before, after = (observance[name].td for name in ("TZOFFSETFROM", "TZOFFSETTO"))
    if after <= before:
        return
    dates = observance.get("RDATE")
    onsets = [observance["DTSTART"], *(dates.dts if dates is not None else [])]
    for onset in onsets:
        early = (onset.dt - after).replace(tzinfo=UTC)
        minute = timedelta(minutes=1)
        offsets = [moment.astimezone(zone).utcoffset() for moment in (early - minute, early)]
        if offsets == [before, after]:
            onset.dt -= after - before


def _event(
    schedule: "Schedule", step: "Step", part: int, title: str, alarm_minutes: int, stamp: datetime
) -> "icalendar.Event":
    import icalendar

    start = _shown(step.start, schedule.zone)
    end = _shown(max(step.end, step.start + _MOMENT * (step.end == step.start)), schedule.zone)
    summary = f"{title}: {_SUMMARY[step.what].format(dough=step.dough, load=step.load)}"
    day = f"{schedule.table_time:%Y-%m-%d}"
    key = "\x1f".join((title, schedule.bake.name, day, step.what, step.dough, step.load))
    key += f"\x1f{part}" if part > 1 else ""
    event = icalendar.Event()
    event.add("uid", f"{sha256(key.encode()).hexdigest()[:32]}@bake-trial-kit")
    event.add("dtstamp", stamp)
    event.add("summary", summary)
    event.add("description", _description(schedule, step))
    event.add("dtstart", start)
    event.add("dtend", end)
    alarm = icalendar.Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", summary)
    alarm.add("trigger", timedelta(minutes=-alarm_minutes))
    event.add_component(alarm)
    return event


def _shown(moment: int, zone: ZoneInfo) -> datetime:
    """Local time; in UTC where the clock shows it for the second time, which a zone cannot say."""
    local = clock.local(moment, zone)
    return clock.utc(moment) if local.fold else local


def _description(schedule: "Schedule", step: "Step") -> str:
    """What to do, and what does not fit or is to be known, with the first step."""
    text = f"{words.capital(step.text)}."
    if step is not next(s for s in schedule.steps if s.told):
        return text
    remarks = [f"Does not fit: {miss}." for miss in schedule.misses]
    remarks += [f"{words.capital(note)}." for note in schedule.notes]
    return "\n".join([text, *remarks])
