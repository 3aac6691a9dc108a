"""The calendar read back by other parsers: own lines by the letter of RFC 5545, and dateutil."""

import re
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from io import StringIO
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from kit.errors import InputError
from kit.plan.schedule import Limits, schedule
from kit.plan.timetable.calendar import calendar_text
from kit.plan.timetable.clock import read_moment

MADE = datetime(2026, 11, 1, 12, 30, 15, 999, tzinfo=UTC)


def made(table_time="2026-10-25 09:45", zone="Europe/Berlin", title="Bake", doughs=None, **more):
    doughs = {"A": 16, "B": 40} if doughs is None else doughs
    runs = pd.DataFrame(
        [
            {"bake": 1, "dough": d, "load": i + 1, "retard_hours": h, "side_minutes": 6}
            for i, (d, h) in enumerate(doughs.items())
            for _ in range(6)
        ]
    )
    s = schedule(runs, table_time=table_time, zone=zone, **more)
    return s, calendar_text(s, title, made_at=MADE)


def lines_of(text):
    """Content lines: unfolded, name, parameters, value."""
    unfolded = text.replace("\r\n ", "").replace("\r\n\t", "")
    for line in unfolded.split("\r\n")[:-1]:
        name, value = re.match(r"((?:[^:\"]|\"[^\"]*\")+):(.*)", line, re.DOTALL).groups()
        name, *parameters = name.split(";")
        yield name, dict(p.split("=", 1) for p in parameters), value


def tree_of(text):
    """Nested components: (name, properties, children)."""
    stack = [("", [], [])]
    for name, parameters, value in lines_of(text):
        if name == "BEGIN":
            stack.append((value, [], []))
        elif name == "END":
            done = stack.pop()
            assert done[0] == value
            stack[-1][2].append(done)
        else:
            stack[-1][1].append((name, parameters, value))
    assert len(stack) == 1
    (calendar,) = stack[0][2]
    return calendar


def one(component, name):
    (found,) = [(p, v) for n, p, v in component[1] if n == name]
    return found


def plain(value):
    return re.sub(r"\\([\\;,nN])", lambda m: "\n" if m[1] in "nN" else m[1], value)


def offset_of(text):
    sign = -1 if text[0] == "-" else 1
    return sign * timedelta(hours=int(text[1:3]), minutes=int(text[3:5]))


def onsets(zone):
    """(moment in UTC, offset after it) of a VTIMEZONE, RFC 5545 3.6.5: onsets are local times
    by the offset before."""
    found = []
    for part in zone[2]:
        before, after = (offset_of(one(part, n)[1]) for n in ("TZOFFSETFROM", "TZOFFSETTO"))
        values = [one(part, "DTSTART")[1]]
        values += [v for n, _, value in part[1] if n == "RDATE" for v in value.split(",")]
        found += [(datetime.strptime(v, "%Y%m%dT%H%M%S") - before, after) for v in values]
    return sorted(found)


def moment(calendar, parameters, value):
    """UTC of a time with TZID, by the calendar's own VTIMEZONE alone."""
    if value.endswith("Z"):
        return datetime.strptime(value, "%Y%m%dT%H%M%SZ")
    (zone,) = [c for c in calendar[2] if c[0] == "VTIMEZONE"
               and one(c, "TZID")[1] == parameters["TZID"]]  # fmt: skip
    wall = datetime.strptime(value, "%Y%m%dT%H%M%S")
    steps = onsets(zone)
    for i, (start, offset) in enumerate(steps):
        end = steps[i + 1][0] if i + 1 < len(steps) else datetime.max
        if start <= wall - offset < end:
            return wall - offset
    raise AssertionError(value)


CASES = [
    ("2026-10-25 09:45", "Europe/Berlin"),
    ("2026-03-29 09:45", "Europe/Berlin"),
    ("2026-11-01 09:45", "America/New_York"),
    ("2026-03-08 09:45", "America/New_York"),
    ("2026-04-05 09:45", "Australia/Lord_Howe"),
    ("2026-11-05 09:45", "Asia/Kolkata"),
    ("2051-03-26 09:45", "Europe/Dublin"),
    ("2026-11-05 09:45", "UTC"),
]


@pytest.mark.parametrize(("table_time", "zone"), CASES)
def test_read_back_by_the_letter(table_time, zone):
    s, text = made(table_time, zone)
    calendar = tree_of(text)
    events = [c for c in calendar[2] if c[0] == "VEVENT"]
    told = s.to_frame().query("hands_on and what != 'changeover'")
    assert len(events) == len(told)
    for event, (_, step) in zip(events, told.iterrows(), strict=True):
        parameters, value = one(event, "DTSTART")
        assert moment(calendar, parameters, value) == step["start"].tz_convert(None)
        wall = datetime.strptime(value.rstrip("Z"), "%Y%m%dT%H%M%S")
        assert wall == step["start"].tz_localize(None)
        ends = max(
            step["end"], step["start"] + 5 * int(step["minutes"] == 0) * pd.Timedelta("1min")
        )
        assert moment(calendar, *one(event, "DTEND")) == ends.tz_convert(None)
        (alarm,) = event[2]
        assert alarm[0] == "VALARM"
        assert one(alarm, "TRIGGER")[1] == "-PT10M"
        assert one(alarm, "ACTION")[1] == "DISPLAY"
        assert one(event, "DTSTAMP")[1] == "20261101T123015Z"
        assert plain(one(event, "DESCRIPTION")[1]).lower().startswith(step["text"].lower())
    uids = [one(e, "UID")[1] for e in events]
    assert len(set(uids)) == len(uids)


@pytest.mark.parametrize(("table_time", "zone"), CASES[:-1])
def test_every_onset_is_one_of_the_zone(table_time, zone):
    calendar = tree_of(made(table_time, zone)[1])
    (vtimezone,) = [c for c in calendar[2] if c[0] == "VTIMEZONE"]
    real = ZoneInfo(zone)
    for start, offset in onsets(vtimezone)[1:]:
        at = start.replace(tzinfo=UTC)
        assert at.astimezone(real).utcoffset() == offset
        assert (at - timedelta(minutes=1)).astimezone(real).utcoffset() != offset


@pytest.mark.parametrize(("table_time", "zone"), CASES[:-1])
def test_dateutil_agrees(table_time, zone):
    tz = pytest.importorskip("dateutil.tz")
    s, text = made(table_time, zone)
    rules = tz.tzical(StringIO(text.replace("\r\n", "\n"))).get(zone)
    for step in s.to_frame().itertuples():
        assert step.start.tz_localize(None).to_pydatetime().replace(tzinfo=rules).utcoffset() == (
            step.start.utcoffset()
        )


def test_a_step_in_the_hour_the_clock_shows_twice():
    """Night of 25 October, on the table 02:30 for the second time: a zone cannot say it."""
    limits = Limits(awake_from="00:00", awake_to="24:00")
    late = datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    s, text = made(late, limits=limits)
    assert f"{s.table_time:%H:%M}" == "02:30"
    events = [c for c in tree_of(text)[2] if c[0] == "VEVENT"]
    assert one(events[-1], "DTSTART") == ({}, "20261025T013000Z")
    assert one(events[0], "DTSTART")[0] == {"TZID": "Europe/Berlin"}


def test_form():
    title = "Malt; a, b\\c\nümläut " + "ß" * 80
    _, text = made(title=title)
    assert text.endswith("END:VCALENDAR\r\n")
    assert "\n" not in text.replace("\r\n", "")
    assert "\r" not in text.replace("\r\n", "")
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75
    calendar = tree_of(text)
    assert one(calendar, "VERSION")[1] == "2.0"
    assert one(calendar, "PRODID")[1] == "-//bake-trial-kit//schedule//EN"
    event = next(c for c in calendar[2] if c[0] == "VEVENT")
    assert plain(one(event, "SUMMARY")[1]) == f"{title}: Mix dough B"


def test_the_first_event_says_what_does_not_fit():
    s, text = made("2026-11-05 08:00")
    events = [c for c in tree_of(text)[2] if c[0] == "VEVENT"]
    told = plain(one(events[0], "DESCRIPTION")[1])
    assert f"Does not fit: {s.misses[0]}." in told
    assert "Does not fit" not in one(events[1], "DESCRIPTION")[1]


def test_the_same_plan_moved_keeps_its_names():
    def uids(text):
        return {one(c, "UID")[1] for c in tree_of(text)[2] if c[0] == "VEVENT"}

    first = uids(made("2026-11-05 09:45")[1])
    assert uids(made("2026-11-05 10:15")[1]) == first
    assert not uids(made("2026-11-12 09:45")[1]) & first
    assert not uids(made("2026-11-05 09:45", title="Salt")[1]) & first
    # nor does a later version of the kit double what is in a calendar already
    key = "\x1f".join(("Bake", "1", "2026-11-05", "table", "", ""))
    assert f"{sha256(key.encode()).hexdigest()[:32]}@bake-trial-kit" in first


def test_every_part_of_a_dough_that_is_shaped_has_a_name_of_its_own():
    """A phone keeps one event of a name."""
    runs = pd.DataFrame(
        {"dough": "A", "load": 1, "retard_hours": 16, "side_minutes": 6,
         "proof_minutes": [120, 60] * 3}
    )  # fmt: skip
    s = schedule(runs, table_time="2026-11-05 09:45", zone="Europe/Berlin")
    events = [c for c in tree_of(calendar_text(s, made_at=MADE))[2] if c[0] == "VEVENT"]
    shaped = [e for e in events if one(e, "SUMMARY")[1] == "Bake: Shape dough A"]
    assert len({one(e, "UID")[1] for e in shaped}) == len(shaped) == 2


def test_alarms_and_stamps():
    s, _ = made()
    assert calendar_text(s, alarm_minutes=0, made_at=MADE).count("TRIGGER:") == 8
    stamp = re.search(r"DTSTAMP:(\d{8}T\d{6})Z", calendar_text(s))
    written = datetime.strptime(stamp[1], "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
    assert abs(datetime.now(UTC) - written) < timedelta(minutes=1)
    with pytest.raises(InputError) as said:
        calendar_text(s, alarm_minutes=-5)
    assert str(said.value) == (
        "alarm_minutes is -5: must lie between 0 and 10080, which is a week. Enter minutes before "
        "each step."
    )
    with pytest.raises(InputError) as said:
        calendar_text(s, made_at=datetime(2026, 11, 1))
    assert str(said.value) == (
        "made_at is '2026-11-01 00:00:00': has no time zone. Give it in UTC."
    )


def test_a_moment_written_with_points():
    zone = ZoneInfo("Europe/Berlin")
    same = read_moment("2026-12-03 09:40", zone, "at")
    for typed in ("3.12.2026 9:40", "03.12.26, 09:40", "2026-12-03 9:40", "2026-12-03 9:40 am"):
        assert read_moment(typed, zone, "at") == same


def test_a_moment_by_a_twelve_hour_clock():
    zone = ZoneInfo("America/Chicago")
    for typed, meant in (
        ("2026-12-05 9am", "2026-12-05 09:00"),
        ("Dec 5, 2026 9:30 p.m.", "2026-12-05 21:30"),
        ("5.12.2026 12 am", "2026-12-05 00:00"),
        ("2026-12-05, 12:15 PM", "2026-12-05 12:15"),
    ):
        assert read_moment(typed, zone, "at") == read_moment(meant, zone, "at")
    for typed in ("2026-12-05 13 pm", "2026-12-05 112 am", "2026-12-05 0 am", "2026-12-05 9 amber"):
        with pytest.raises(InputError, match="is not a day and a time"):
            read_moment(typed, zone, "at")
